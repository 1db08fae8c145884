//! A batch on its way out: the brew sheet, printed or shared; a link or a QR code; its readings as a table.

use crate::keepsake_screen::OPEN;
use crate::page::batch_address;
use crate::signals::{Memo, RwSignal};
use crate::state::{Open, Shared};
use crate::view::{Shows, View, tag};
use crate::widgets::{back, button, live, picker};
use crate::{clock, text_file};
use batch::keep::link::{self, Part};
use batch::moment::Moment;
use batch::qr;
use batch::sheet::{Section, sheet};
use batch::table_text::readings_table;
use leptos::prelude::*;

/// Characters up to which nearly every messenger passes a link on whole. Our estimate.
const SAFE_LINK: usize = 2_000;

/// The screen of the open batch's ways out.
pub fn screen(shared: Shared) -> View {
    let open = Open::here();
    let batch = open.document.with_untracked(|batch| batch_address(&batch.id));
    View::many(vec![
        back(batch, "The batch"),
        tag("main")
            .class("out")
            .set("tabindex", "-1")
            .child(
                tag("div")
                    .class("actions")
                    .child(button("main", "print", "Print or save as PDF", || {
                        // A browser that cannot print does nothing.
                        let _ = window().print();
                    }))
                    .child(button("", "share-sheet", "Share as text", move || {
                        text_file::share("text", sheet_text(shared, open), move |done| {
                            shared.tell_copied(done)
                        });
                    })),
            )
            .child(live(move || sheet_view(shared, open)))
            .child(link_section(shared, open))
            .child(table_section(shared, open))
            .view(),
    ])
}

fn sections(open: Open) -> Vec<Section> {
    open.document.with(|batch| open.plan.with(|plan| sheet(batch, plan)))
}

/// A sentence as it stands on paper, which outlasts the week: with the date of every time in it.
fn on_paper(shared: Shared, sentence: &batch::say::Sentence) -> String {
    shared.preferences.with(|p| p.say(sentence, Moment::default()))
}

/// Name and day of the batch.
fn head(open: Open) -> (String, String) {
    open.document.with(|batch| {
        let invented = if batch.invented { ". An invented example" } else { "" };
        (batch.name.clone(), format!("Begun {}{invented}", clock::day(batch.begun)))
    })
}

fn sheet_view(shared: Shared, open: Open) -> View {
    let (name, under) = head(open);
    let parts = sections(open).into_iter().map(|section| {
        let line = |line: &batch::say::Sentence| tag("li").child(on_paper(shared, line)).view();
        let lines: Vec<View> = section.lines.iter().map(line).collect();
        tag("section").child(tag("h2").child(section.title)).child(tag("ul").child(lines)).view()
    });
    let parts: Vec<View> = parts.collect();
    tag("article")
        .class("brew-sheet")
        .set("data-test", "sheet")
        .child(tag("h1").child(name))
        .child(tag("p").class("aside").child(under))
        .child(tag("div").class("parts").child(parts))
        .view()
}

fn sheet_text(shared: Shared, open: Open) -> String {
    let (name, under) = head(open);
    let mut text = name + "\n" + &under + "\n";
    for section in sections(open) {
        text.push('\n');
        text.push_str(section.title);
        text.push('\n');
        for line in &section.lines {
            text.push_str("- ");
            text.push_str(&on_paper(shared, line));
            text.push('\n');
        }
    }
    text
}

fn link_section(shared: Shared, open: Open) -> View {
    let part = RwSignal::new(Part::Whole);
    let parts = vec![
        (Part::Whole, "All of it, readings and house numbers too".to_owned()),
        (Part::Recipe, "The recipe only, nothing measured".to_owned()),
    ];
    let made = Memo::new(move || {
        let text = link::write(&open.envelope_now(), part.get()).map_err(|problem| problem.to_string())?;
        Ok::<String, String>(address() + &text)
    });
    let shown = move || match made.get() {
        Err(problem) => tag("p").class("banner stop").set("role", "alert").child(problem).view(),
        Ok(link) => {
            let length = link.len();
            let long = (length > SAFE_LINK).then(|| {
                tag("p").class("aside").child("Some messengers cut links of more than 2,000 characters. Share the recipe only, or a keepsake file.")
            });
            let (shared_link, copied_link) = (link.clone(), link.clone());
            View::many(vec![
                tag("label")
                    .class("wide")
                    .child(format!("The link, {length} characters"))
                    .child(
                        tag("textarea")
                            .set("readonly", true)
                            .set("rows", "3")
                            .set("data-test", "link-text")
                            .property("value", {
                                let link = link.clone();
                                move || link.clone()
                            }),
                    )
                    .view(),
                long.view(),
                tag("div")
                    .class("actions")
                    .child(button("main", "share-link", "Share the link", move || {
                        text_file::share("url", shared_link.clone(), move |done| shared.tell_copied(done));
                    }))
                    .child(button("", "copy-link", "Copy the link", move || shared.copy(&copied_link)))
                    .view(),
                qr_view(&link),
            ])
        }
    };
    tag("section")
        .set("data-test", "link")
        .child(tag("h2").child("As a link or a QR code"))
        .child(tag("p").class("aside").child("The batch itself is in the link. Nothing is sent to a server, and it opens without a network where Tartwright is installed."))
        .child(picker("What goes into it", "link-part", parts, move || part.get(), move |chosen| part.set(chosen)))
        .child(live(shown))
        .view()
}

/// The page's own address, before the batch.
fn address() -> String {
    let href = window().location().href().unwrap_or_default();
    href.split(['#', '?']).next().unwrap_or_default().to_owned() + OPEN
}

fn qr_view(link: &str) -> View {
    let Some(code) = qr::code(link) else {
        return tag("p")
            .class("aside")
            .set("data-test", "no-qr")
            .child("Too long for a QR code, which holds 2,953 characters: a batch with about 300 readings and few notes. Share the link, the recipe only, or a keepsake file.")
            .view();
    };
    let dense = (link.len() > qr::READS_WELL).then(|| {
        tag("p").class("aside").child("This code is dense: beyond about 1,270 characters, some 120 readings, many phones cannot read it. Share the link, the recipe only, or a keepsake file.")
    });
    let size = code.size.to_string();
    let svg = ["<svg viewBox=\"0 0 ", &size, " ", &size, "\" role=\"img\" aria-label=\"QR code of the link above\" shape-rendering=\"crispEdges\"><path fill=\"#fff\" d=\"M0 0h", &size, "v", &size, "H0z\"/><path fill=\"#000\" d=\"", &code.path, "\"/></svg>"].concat();
    View::many(vec![tag("div").class("qr").set("data-test", "qr").html(svg).view(), dense.view()])
}

fn table_section(shared: Shared, open: Open) -> View {
    let table = move || open.document.with_untracked(readings_table);
    tag("section")
        .child(tag("h2").child("The readings as a table"))
        .child(
            tag("p").class("aside").child("One line for each reading, for a spreadsheet. Times are in UTC."),
        )
        .child(
            tag("div")
                .class("actions")
                .child(button("", "save-table", "Save a CSV file", move || {
                    if !text_file::save("tartwright-readings.csv", &table()) {
                        shared.tell("This browser did not save the file. Copy the table instead.");
                    }
                }))
                .child(button("", "copy-table", "Copy the table", move || shared.copy(&table()))),
        )
        .child(tag("h2").child("This batch as a keepsake file"))
        .child(button("", "export-one", "Save a keepsake file", move || {
            let done = open.keepsake().is_some_and(|text| text_file::save("tartwright-batch.json", &text));
            if !done {
                shared.tell("This browser did not save the file. Share a link instead.");
            }
        }))
        .view()
}
