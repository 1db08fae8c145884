//! Texts that leave the app or come into it: files and the clipboard.

use js_sys::{Array, Function, Promise, Reflect};
use leptos::prelude::*;
use leptos::task::spawn_local;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{Blob, BlobPropertyBag, HtmlAnchorElement, HtmlInputElement, Url};

/// Has the browser save a text as a file, of the kind that its name ends in; false where it cannot.
pub fn save(name: &str, text: &str) -> bool {
    try_save(name, text).is_ok()
}

fn try_save(name: &str, text: &str) -> Result<(), JsValue> {
    let options = BlobPropertyBag::new();
    options.set_type(if name.ends_with(".csv") { "text/csv" } else { "application/json" });
    let blob = Blob::new_with_str_sequence_and_options(&Array::of1(&text.into()), &options)?;
    let url = Url::create_object_url_with_blob(&blob)?;
    let link: HtmlAnchorElement = document().create_element("a")?.unchecked_into();
    link.set_href(&url);
    link.set_download(name);
    link.click();
    // At once would be before some browsers have begun to read it.
    set_timeout(
        move || {
            let _ = Url::revoke_object_url(&url);
        },
        std::time::Duration::from_secs(60),
    );
    Ok(())
}

/// Puts a text on the clipboard and says whether that worked; browsers forbid it in places.
pub fn copy(text: &str, told: impl Fn(bool) + 'static) {
    let written = Reflect::get(&window().navigator(), &"clipboard".into()).ok().and_then(|clipboard| {
        let write: Function = Reflect::get(&clipboard, &"writeText".into()).ok()?.dyn_into().ok()?;
        write.call1(&clipboard, &text.into()).ok()?.dyn_into::<Promise>().ok()
    });
    spawn_local(async move {
        told(match written {
            Some(promise) => promise.await.is_ok(),
            None => false,
        });
    });
}

/// Hands a text or an address (`what` is `text` or `url`) to the system to share it; where there is no sharing, or
/// it fails, copies it and says whether that worked. Who closes the sharing again is told nothing.
pub fn share(what: &str, words: String, told: impl Fn(bool) + 'static) {
    let navigator = window().navigator();
    let data = js_sys::Object::new();
    // Setting a property of a fresh object cannot fail.
    let _ = Reflect::set(&data, &what.into(), &words.as_str().into());
    let begun = Reflect::get(&navigator, &"share".into()).ok().and_then(|share| {
        let share: Function = share.dyn_into().ok()?;
        share.call1(&navigator, &data).ok()?.dyn_into::<Promise>().ok()
    });
    let Some(promise) = begun else {
        copy(&words, told);
        return;
    };
    spawn_local(async move {
        if let Err(thrown) = promise.await
            && Reflect::get(&thrown, &"name".into()).ok().and_then(|name| name.as_string()).as_deref()
                != Some("AbortError")
        {
            copy(&words, told);
        }
    });
}

/// Reads the file chosen in a file input and hands its text over.
pub fn read_chosen(event: &web_sys::Event, done: impl FnOnce(String) + 'static) {
    let input = event.target().and_then(|target| target.dyn_into::<HtmlInputElement>().ok());
    let Some(file) = input.as_ref().and_then(HtmlInputElement::files).and_then(|files| files.get(0)) else {
        return;
    };
    let text = file.text();
    // The same file can be chosen again.
    if let Some(input) = input {
        input.set_value("");
    }
    spawn_local(async move {
        if let Some(text) = text.await.ok().and_then(|text| text.as_string()) {
            done(text);
        }
    });
}
