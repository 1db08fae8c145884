//! What the screens are made of: elements, text, and parts that are drawn anew.
//!
//! One type stands for all of them. Views of the framework's own have a type for each shape, with code for
//! each; here all screens share one small piece of it. The framework's signals and effects keep them up to
//! date.

use leptos::prelude::*;
use std::borrow::Cow;
use std::cell::RefCell;
use std::rc::Rc;
use wasm_bindgen::prelude::Closure;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{Element, Event, Node};

/// A part of a screen, not yet on the page. One word: screens hand hundreds of them from call to call.
#[derive(Default)]
pub struct View(Option<Box<Kind>>);

/// What a view is, if it is not nothing at all.
enum Kind {
    /// Words.
    Text(Cow<'static, str>),
    /// An element.
    Tag(Tag),
    /// Several, one behind the other.
    Many(Vec<View>),
    /// Drawn anew when a signal it reads changes.
    Live(Box<dyn FnMut() -> View>),
}

/// What an attribute says; nothing for an attribute that is not there.
#[derive(PartialEq)]
pub struct Value(Option<Cow<'static, str>>);

/// An element, not yet on the page.
pub struct Tag(Box<Parts>);

struct Parts {
    name: &'static str,
    parts: Vec<Part>,
    children: Vec<View>,
}

struct Part {
    name: &'static str,
    what: What,
}

enum What {
    Fixed(Value),
    Live(Box<dyn Fn() -> Value>),
    Property(Box<dyn Fn() -> JsValue>),
    Class(Box<dyn Fn() -> bool>),
    On(Box<dyn FnMut(Event)>),
    Html(String),
}

/// An element of this name.
pub fn tag(name: &'static str) -> Tag {
    Tag(Box::new(Parts { name, parts: Vec::new(), children: Vec::new() }))
}

impl Tag {
    fn part(mut self, name: &'static str, what: What) -> Self {
        self.0.parts.push(Part { name, what });
        self
    }

    /// Its class.
    pub fn class(self, class: &'static str) -> Self {
        self.set("class", class)
    }

    /// An attribute.
    pub fn set(self, name: &'static str, value: impl Into<Value>) -> Self {
        self.part(name, What::Fixed(value.into()))
    }

    /// An attribute that follows signals.
    pub fn live<V: Into<Value>>(self, name: &'static str, value: impl Fn() -> V + 'static) -> Self {
        self.part(name, What::Live(Box::new(move || value().into())))
    }

    /// A property that follows signals: what a field holds, not what it held at first.
    pub fn property<V: Into<JsValue>>(self, name: &'static str, value: impl Fn() -> V + 'static) -> Self {
        self.part(name, What::Property(Box::new(move || value().into())))
    }

    /// A class that is there while this holds.
    pub fn class_while(self, name: &'static str, holds: impl Fn() -> bool + 'static) -> Self {
        self.part(name, What::Class(Box::new(holds)))
    }

    /// What happens at an event.
    pub fn on(self, name: &'static str, act: impl FnMut(Event) + 'static) -> Self {
        self.hears(name, Box::new(act))
    }

    fn hears(self, name: &'static str, mut act: Box<dyn FnMut(Event)>) -> Self {
        // What is shared is looked up where the element was made.
        let owner = Owner::current();
        self.part(
            name,
            What::On(Box::new(move |event| match &owner {
                Some(owner) => owner.with(|| act(event)),
                None => act(event),
            })),
        )
    }

    /// What is inside, as text of the page's language. Never anything a person typed.
    pub fn html(self, text: String) -> Self {
        self.part("", What::Html(text))
    }

    /// The next part inside.
    pub fn child(mut self, child: impl Into<View>) -> Self {
        self.0.children.push(child.into());
        self
    }
}

impl View {
    fn of(kind: Kind) -> Self {
        Self(Some(Box::new(kind)))
    }

    /// Nothing to see.
    pub const fn nothing() -> Self {
        Self(None)
    }

    /// Several, one behind the other.
    pub fn many(views: Vec<Self>) -> Self {
        Self::of(Kind::Many(views))
    }

    /// Drawn anew when a signal it reads changes.
    pub fn live(draw: Box<dyn FnMut() -> Self>) -> Self {
        Self::of(Kind::Live(draw))
    }

    /// Shows the view on the page, for as long as the page is there.
    pub fn show_for_ever(self) {
        if let Some(body) = document().body() {
            let shown = build(self);
            mount(&shown, &body, None);
            std::mem::forget(shown);
        }
    }
}

/// What can be shown.
pub trait Shows {
    /// The view of it.
    fn view(self) -> View;
}

impl<V: Into<View>> Shows for V {
    fn view(self) -> View {
        self.into()
    }
}

impl From<()> for View {
    fn from((): ()) -> Self {
        Self::nothing()
    }
}

impl From<&'static str> for View {
    fn from(words: &'static str) -> Self {
        Self::of(Kind::Text(Cow::Borrowed(words)))
    }
}

impl From<String> for View {
    fn from(words: String) -> Self {
        Self::of(Kind::Text(Cow::Owned(words)))
    }
}

impl From<Tag> for View {
    fn from(tag: Tag) -> Self {
        Self::of(Kind::Tag(tag))
    }
}

impl From<Vec<Self>> for View {
    fn from(views: Vec<Self>) -> Self {
        Self::many(views)
    }
}

impl<V: Into<Self>> From<Option<V>> for View {
    fn from(view: Option<V>) -> Self {
        view.map_or(Self::nothing(), Into::into)
    }
}

impl From<&'static str> for Value {
    fn from(text: &'static str) -> Self {
        Self(Some(Cow::Borrowed(text)))
    }
}

impl From<String> for Value {
    fn from(text: String) -> Self {
        Self(Some(Cow::Owned(text)))
    }
}

impl From<bool> for Value {
    fn from(holds: bool) -> Self {
        Self(holds.then_some(Cow::Borrowed("")))
    }
}

impl<V: Into<Self>> From<Option<V>> for Value {
    fn from(value: Option<V>) -> Self {
        value.map_or(Self(None), Into::into)
    }
}

/// A view on the page.
enum Shown {
    Nothing(Node),
    Text(Node, Cow<'static, str>),
    Tag(ShownTag),
    /// The mark stands behind the last of them.
    Many(Vec<Self>, Node),
    Live(RenderEffect<Self>),
}

struct ShownTag {
    name: &'static str,
    element: Element,
    parts: Vec<(&'static str, Kept)>,
    children: Vec<Shown>,
}

/// What keeps a part of an element as it should be; it ends when this is dropped.
enum Kept {
    Fixed(Value),
    Html(String),
    Attribute(RenderEffect<Value>),
    Effect(#[expect(dead_code, reason = "held")] RenderEffect<()>),
    On(Listener),
}

/// What is done at an event.
type Act = Box<dyn FnMut(Event)>;

struct Listener {
    element: Element,
    name: &'static str,
    heard: Closure<dyn FnMut(Event)>,
    act: Rc<RefCell<Act>>,
}

impl Drop for Listener {
    fn drop(&mut self) {
        let heard = self.heard.as_ref().unchecked_ref();
        // Removing what was added cannot fail.
        let _ = self.element.remove_event_listener_with_callback(self.name, heard);
    }
}

fn set_attribute(element: &Element, name: &str, value: &Value) {
    // The names are ours; a browser refuses only those with signs that no name has.
    let _ = match &value.0 {
        Some(text) => element.set_attribute(name, text),
        None => element.remove_attribute(name),
    };
}

fn keep(element: &Element, Part { name, what }: Part) -> (&'static str, Kept) {
    let at = element.clone();
    let kept = match what {
        What::Fixed(value) => {
            set_attribute(element, name, &value);
            Kept::Fixed(value)
        }
        What::Html(text) => {
            element.set_inner_html(&text);
            Kept::Html(text)
        }
        What::Live(value) => Kept::Attribute(follow(at, name, value, None)),
        What::Property(value) => Kept::Effect(RenderEffect::new(move |_| {
            let (name, value) = (JsValue::from_str(name), value());
            // Writing what a field holds already would move its cursor.
            if js_sys::Reflect::get(&at, &name).as_ref() != Ok(&value) {
                let _ = js_sys::Reflect::set(&at, &name, &value);
            }
        })),
        What::Class(holds) => Kept::Effect(RenderEffect::new(move |_| {
            let _ = at.class_list().toggle_with_force(name, holds());
        })),
        What::On(act) => {
            let act = Rc::new(RefCell::new(act));
            let present = Rc::clone(&act);
            let heard = Closure::wrap(Box::new(move |event| {
                // What it does cannot bring the same event about again before it is done.
                if let Ok(mut act) = present.try_borrow_mut() {
                    act(event);
                }
            }) as Box<dyn FnMut(Event)>);
            let _ = element.add_event_listener_with_callback(name, heard.as_ref().unchecked_ref());
            Kept::On(Listener { element: at, name, heard, act })
        }
    };
    (name, kept)
}

/// Keeps an attribute as signals say; what it says before they do.
fn follow(
    element: Element,
    name: &'static str,
    value: Box<dyn Fn() -> Value>,
    before: Option<Value>,
) -> RenderEffect<Value> {
    let act = move |before: Option<Value>| {
        let now = value();
        if before.as_ref() != Some(&now) {
            set_attribute(&element, name, &now);
        }
        now
    };
    RenderEffect::new_with_value(act, before)
}

/// Changes a part of an element into another of the same name, touching the page only where they differ.
fn renew(element: &Element, part: Part, kept: &mut (&'static str, Kept)) {
    match (part.what, &mut kept.1) {
        (What::Fixed(value), Kept::Fixed(before)) => {
            if value != *before {
                set_attribute(element, part.name, &value);
                *before = value;
            }
        }
        (What::Html(text), Kept::Html(before)) if text == *before => {}
        (What::Live(value), Kept::Attribute(before)) => {
            *before = follow(element.clone(), part.name, value, before.take_value());
        }
        (What::On(act), Kept::On(listener)) => {
            *listener.act.borrow_mut() = act;
        }
        (what, before) => {
            // What kept the old part ends first: else it could undo what the new one does.
            *before = Kept::Fixed(Value(None));
            *kept = keep(element, Part { name: part.name, what });
        }
    }
}

/// An element, of pictures where no other has its name.
fn element(name: &str) -> Result<Element, JsValue> {
    match name {
        "svg" | "text" | "rect" | "line" | "circle" | "path" => {
            document().create_element_ns(Some("http://www.w3.org/2000/svg"), name)
        }
        _ => document().create_element(name),
    }
}

fn mark() -> Node {
    document().create_comment("").into()
}

fn build(view: View) -> Shown {
    let Some(kind) = view.0 else { return Shown::Nothing(mark()) };
    match *kind {
        Kind::Text(words) => Shown::Text(document().create_text_node(&words).into(), words),
        Kind::Many(views) => Shown::Many(views.into_iter().map(build).collect(), mark()),
        Kind::Live(draw) => Shown::Live(redraw(draw, None)),
        Kind::Tag(Tag(tag)) => match element(tag.name) {
            Ok(element) => {
                let Parts { name, parts, children } = *tag;
                let children: Vec<Shown> = children.into_iter().map(build).collect();
                for child in &children {
                    mount(child, &element, None);
                }
                let parts = parts.into_iter().map(|part| keep(&element, part)).collect();
                Shown::Tag(ShownTag { name, element, parts, children })
            }
            // Not with the names of elements there are.
            Err(_) => Shown::Nothing(mark()),
        },
    }
}

/// Draws what signals say, and makes it of what was drawn before.
fn redraw(mut draw: Box<dyn FnMut() -> View>, before: Option<Shown>) -> RenderEffect<Shown> {
    let act = move |shown: Option<Shown>| match shown {
        Some(mut shown) => {
            update(draw(), &mut shown);
            shown
        }
        None => build(draw()),
    };
    RenderEffect::new_with_value(act, before)
}

/// Changes what is shown into another view, keeping the elements it can: what is typed or focused in them stays.
fn update(view: View, shown: &mut Shown) {
    match (view.0.map(|kind| *kind), shown) {
        (None, Shown::Nothing(_)) => {}
        (Some(Kind::Text(words)), Shown::Text(node, before)) => {
            if words != *before {
                node.set_node_value(Some(&words));
                *before = words;
            }
        }
        (Some(Kind::Live(draw)), Shown::Live(before)) => {
            let drawn = before.take_value();
            *before = redraw(draw, drawn);
        }
        (Some(Kind::Many(views)), Shown::Many(before, mark)) => {
            for mut gone in before.drain(views.len().min(before.len())..) {
                unmount(&mut gone);
            }
            for (place, view) in views.into_iter().enumerate() {
                match before.get_mut(place) {
                    Some(shown) => update(view, shown),
                    None => {
                        let new = build(view);
                        mount_before(&new, mark);
                        before.push(new);
                    }
                }
            }
        }
        (Some(Kind::Tag(Tag(tag))), Shown::Tag(shown)) if alike(&tag, shown) => {
            for (child, shown) in tag.children.into_iter().zip(&mut shown.children) {
                update(child, shown);
            }
            for (part, kept) in tag.parts.into_iter().zip(&mut shown.parts) {
                renew(&shown.element, part, kept);
            }
        }
        (kind, shown) => {
            let new = build(View(kind.map(Box::new)));
            if let Some(first) = first(shown) {
                mount_before(&new, &first);
            }
            unmount(shown);
            *shown = new;
        }
    }
}

/// True when one can be made of the other in place.
fn alike(tag: &Parts, shown: &ShownTag) -> bool {
    tag.name == shown.name
        && tag.children.len() == shown.children.len()
        && tag.parts.len() == shown.parts.len()
        && tag.parts.iter().zip(&shown.parts).all(|(part, shown)| part.name == shown.0)
}

fn first(shown: &Shown) -> Option<Node> {
    match shown {
        Shown::Nothing(node) | Shown::Text(node, _) => Some(node.clone()),
        Shown::Tag(tag) => Some(tag.element.clone().into()),
        Shown::Many(all, mark) => all.first().map_or_else(|| Some(mark.clone()), first),
        Shown::Live(effect) => effect.with_value_mut(|shown| first(shown)).flatten(),
    }
}

fn mount_before(shown: &Shown, node: &Node) {
    if let Some(parent) = node.parent_node() {
        mount(shown, &parent, Some(node));
    }
}

fn mount(shown: &Shown, parent: &Node, before: Option<&Node>) {
    each(shown, &mut |node| {
        let _ = parent.insert_before(node, before);
    });
}

fn unmount(shown: &mut Shown) {
    each(shown, &mut |node| {
        if let Some(parent) = node.parent_node() {
            let _ = parent.remove_child(node);
        }
    });
    end(shown);
}

/// Ends all effects and listeners of what leaves the page, at once: a dropped effect keeps what it drew until
/// its next turn, and an effect within that could read signals that are gone.
fn end(shown: &mut Shown) {
    match shown {
        Shown::Nothing(_) | Shown::Text(..) => {}
        Shown::Tag(tag) => {
            tag.parts.clear();
            tag.children.iter_mut().for_each(end);
        }
        Shown::Many(all, _) => all.iter_mut().for_each(end),
        Shown::Live(effect) => {
            if let Some(mut drawn) = effect.take_value() {
                end(&mut drawn);
            }
        }
    }
}

/// The outermost nodes, in their order.
fn each(shown: &Shown, act: &mut dyn FnMut(&Node)) {
    match shown {
        Shown::Nothing(node) | Shown::Text(node, _) => act(node),
        Shown::Tag(tag) => act(&tag.element),
        Shown::Many(all, mark) => {
            for shown in all {
                each(shown, act);
            }
            act(mark);
        }
        Shown::Live(effect) => {
            effect.with_value_mut(|shown| each(shown, act));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signals::RwSignal;
    use wasm_bindgen_test::{wasm_bindgen_test, wasm_bindgen_test_configure};

    wasm_bindgen_test_configure!(run_in_browser);

    /// Lets effects run that wait for their turn.
    async fn turn() {
        leptos::task::tick().await;
    }

    /// Shows a view in an element of its own.
    fn shown(view: impl FnOnce() -> View) -> (Element, Owner, Shown) {
        leptos::mount::mount_to_body(|| ());
        let owner = Owner::new();
        let place = document().create_element("div").unwrap();
        document().body().unwrap().append_child(&place).unwrap();
        let shown = owner.with(|| build(view()));
        mount(&shown, &place, None);
        (place, owner, shown)
    }

    fn words(all: &[&str]) -> View {
        all.iter().map(|word| tag("i").child((*word).to_owned()).view()).collect::<Vec<_>>().view()
    }

    fn live(draw: impl FnMut() -> View + 'static) -> View {
        View::live(Box::new(draw))
    }

    #[wasm_bindgen_test]
    async fn a_list_grows_and_shrinks_in_its_order() {
        let list = RwSignal::new(vec!["a", "b"]);
        let draw = move || View::many(vec!["<".view(), live(move || words(&list.get())), ">".view()]);
        let (place, _owner, _shown) = shown(draw);
        for (all, text) in [
            (vec!["a", "b"], "<ab>"),
            (vec!["a", "c", "d", "e"], "<acde>"),
            (vec![], "<>"),
            (vec!["f"], "<f>"),
        ] {
            list.set(all);
            turn().await;
            assert_eq!(place.text_content().unwrap(), text);
        }
    }

    #[wasm_bindgen_test]
    async fn a_field_keeps_its_focus_when_only_the_words_around_it_change() {
        let label = RwSignal::new("one");
        let (place, _owner, _shown) = shown(move || {
            live(move || tag("label").set("title", label.get()).child(label.get()).child(tag("input")).view())
        });
        let input = place.query_selector("input").unwrap().unwrap();
        input.unchecked_ref::<web_sys::HtmlElement>().focus().unwrap();
        label.set("two");
        turn().await;
        assert_eq!(place.text_content().unwrap(), "two");
        assert_eq!(place.query_selector("label").unwrap().unwrap().get_attribute("title").unwrap(), "two");
        assert!(place.query_selector("input").unwrap().unwrap().is_same_node(Some(&input)));
        assert!(document().active_element().unwrap().is_same_node(Some(&input)));
    }

    #[wasm_bindgen_test]
    async fn what_is_drawn_anew_inside_what_is_drawn_anew_stays_where_it_is_the_same() {
        let (outer, inner) = (RwSignal::new(1), RwSignal::new("a"));
        let (place, _owner, _shown) = shown(move || {
            live(move || {
                // Made with the part that is drawn, and gone when that is drawn again.
                let own = RwSignal::new(outer.get());
                let title = move || own.get().min(2).to_string();
                let words = live(move || [inner.get(), if own.get() > 2 { "!" } else { "" }].concat().view());
                tag("p")
                    .child(live(move || tag("b").live("title", title).child(inner.get()).view()))
                    .child(words)
                    .view()
            })
        });
        let bold = place.query_selector("b").unwrap().unwrap();
        let words = bold.first_child().unwrap();
        outer.set(2);
        turn().await;
        assert_eq!(bold.get_attribute("title").as_deref(), Some("2"));
        outer.set(3);
        turn().await;
        assert_eq!(place.text_content().unwrap(), "aa!");
        inner.set("b");
        turn().await;
        assert_eq!(place.text_content().unwrap(), "bb!");
        outer.set(1);
        inner.set("c");
        turn().await;
        assert_eq!(place.text_content().unwrap(), "cc");
        assert_eq!(bold.get_attribute("title").as_deref(), Some("1"));
        assert!(place.query_selector("b").unwrap().unwrap().is_same_node(Some(&bold)));
        assert!(bold.first_child().unwrap().is_same_node(Some(&words)));
    }

    #[wasm_bindgen_test]
    async fn what_leaves_the_page_follows_nothing_any_more() {
        let (count, other) = (RwSignal::new(2), RwSignal::new(0));
        let (place, _owner, _shown) = shown(move || {
            let item = move |_| {
                live(move || {
                    // Gone as soon as the list is drawn again.
                    let own = RwSignal::new("a");
                    let words = live(move || if other.get() < 9 { own.get().view() } else { "".view() });
                    tag("i").child(words).view()
                })
            };
            live(move || (0..count.get()).map(item).collect::<Vec<View>>().view())
        });
        for (left, text) in [(1, "a"), (0, ""), (3, "aaa"), (1, "a")] {
            count.set(left);
            other.update(|other| *other += 1);
            turn().await;
            assert_eq!(place.text_content().unwrap(), text);
        }
    }

    #[wasm_bindgen_test]
    async fn another_element_takes_the_place_of_the_one_before() {
        let late = RwSignal::new(false);
        let inner = RwSignal::new("x");
        let (place, _owner, _shown) = shown(move || {
            let changing = live(move || {
                if late.get() {
                    tag("b").child(live(move || inner.get().view())).view()
                } else {
                    View::nothing()
                }
            });
            View::many(vec![tag("p").child("before").view(), changing, tag("p").child("behind").view()])
        });
        assert_eq!(place.text_content().unwrap(), "beforebehind");
        late.set(true);
        turn().await;
        inner.set("y");
        turn().await;
        assert_eq!(place.text_content().unwrap(), "beforeybehind");
        late.set(false);
        turn().await;
        inner.set("z");
        turn().await;
        assert_eq!(place.text_content().unwrap(), "beforebehind");
    }

    #[wasm_bindgen_test]
    async fn attributes_classes_and_fields_follow_their_signals() {
        let on = RwSignal::new(true);
        let (place, _owner, _shown) = shown(move || {
            tag("input")
                .class("plain")
                .class_while("marked", move || on.get())
                .live("title", move || on.get().then_some("on"))
                .property("value", move || if on.get() { "1" } else { "2" })
                .view()
        });
        let input = place.query_selector("input").unwrap().unwrap();
        let value = || input.unchecked_ref::<web_sys::HtmlInputElement>().value();
        assert_eq!((input.class_name(), value()), ("plain marked".to_owned(), "1".to_owned()));
        assert_eq!(input.get_attribute("title").as_deref(), Some("on"));
        on.set(false);
        turn().await;
        assert_eq!((input.class_name(), value()), ("plain".to_owned(), "2".to_owned()));
        assert_eq!(input.get_attribute("title"), None);
    }

    #[wasm_bindgen_test]
    async fn only_the_present_view_hears_events() {
        let (version, heard) = (RwSignal::new(1), RwSignal::new(Vec::new()));
        let (place, _owner, mut shown) = shown(move || {
            live(move || {
                let version = version.get();
                tag("button").on("click", move |_| heard.update(|all| all.push(version))).view()
            })
        });
        let button = place.query_selector("button").unwrap().unwrap();
        let press = || button.unchecked_ref::<web_sys::HtmlElement>().click();
        press();
        version.set(2);
        turn().await;
        press();
        assert_eq!(heard.get_untracked(), [1, 2]);
        unmount(&mut shown);
        press();
        assert_eq!(heard.get_untracked(), [1, 2]);
    }
}
