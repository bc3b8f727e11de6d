//! The manual of `docs/`, as pages of the server itself, in the reader's language where a page is written in it.

use axum::http::StatusCode;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use pulldown_cmark::{CowStr, Event, Options, Parser, Tag, TagEnd, html as markdown};

use crate::layout;
use crate::words::{Language, Reader};

/// A page of the manual.
struct Page {
    /// Its file below `docs/` without its ending.
    path: &'static str,
    /// Its short name.
    name: &'static str,
    english: &'static str,
    /// What is made from the code, and long cards of measurements, are English alone.
    german: Option<&'static str>,
}

macro_rules! text {
    ($path:literal) => {
        include_str!(concat!("../../../docs/", $path, ".md"))
    };
}

const PAGES: &[Page] = &[
    Page { path: "README", name: "Manual", english: text!("README"), german: Some(text!("de/README")) },
    Page { path: "story", name: "Story", english: text!("story"), german: Some(text!("de/story")) },
    Page {
        path: "stages/design",
        name: "Design",
        english: text!("stages/design"),
        german: Some(text!("de/stages/design")),
    },
    Page {
        path: "check-card",
        name: "Design: how near",
        english: text!("check-card"),
        german: Some(text!("de/check-card")),
    },
    Page {
        path: "stages/calibrate",
        name: "Calibrate",
        english: text!("stages/calibrate"),
        german: Some(text!("de/stages/calibrate")),
    },
    Page {
        path: "stages/verify",
        name: "Verify",
        english: text!("stages/verify"),
        german: Some(text!("de/stages/verify")),
    },
    Page {
        path: "stages/weigh",
        name: "Weigh",
        english: text!("stages/weigh"),
        german: Some(text!("de/stages/weigh")),
    },
    Page { path: "weighing-card", name: "Weighing: report card", english: text!("weighing-card"), german: None },
    Page {
        path: "signal-filter",
        name: "The low-pass",
        english: text!("signal-filter"),
        german: Some(text!("de/signal-filter")),
    },
    Page {
        path: "stages/balance",
        name: "Balance",
        english: text!("stages/balance"),
        german: Some(text!("de/stages/balance")),
    },
    Page {
        path: "balance-card",
        name: "Balance: report card",
        english: text!("balance-card"),
        german: Some(text!("de/balance-card")),
    },
    Page { path: "stages/twin", name: "Twin", english: text!("stages/twin"), german: Some(text!("de/stages/twin")) },
    Page { path: "stages/ward", name: "Ward", english: text!("stages/ward"), german: Some(text!("de/stages/ward")) },
    Page { path: "scale", name: "Ward: scale", english: text!("scale"), german: Some(text!("de/scale")) },
    Page { path: "commands", name: "Commands", english: text!("commands"), german: None },
    Page { path: "formats", name: "Formats", english: text!("formats"), german: None },
    Page { path: "validation", name: "Validation", english: text!("validation"), german: None },
    Page { path: "licences", name: "Licences", english: text!("licences"), german: None },
    Page { path: "extend", name: "To add something", english: text!("extend"), german: Some(text!("de/extend")) },
];

/// Drawings of the manual: file below `docs/`, and what it holds. They are part of the page that shows them.
const DRAWINGS: &[(&str, &str)] = &[("signal-filter.svg", include_str!("../../../docs/signal-filter.svg"))];

/// Where the manual lies on a server.
pub(crate) const AT: &str = "/manual";

/// Folder of the German pages below `docs/`.
const GERMAN: &str = "de/";

/// The first page.
pub(crate) const FIRST: &str = "README";

/// A page by its file below `docs/`, or what to say where there is none.
pub(crate) fn page(reader: Reader, path: &str) -> (StatusCode, String) {
    let (status, html) = match PAGES.iter().find(|page| page.path == path) {
        Some(page) => (StatusCode::OK, frame(reader, page.path, reader.say(page.name), &shown(reader, page))),
        None => {
            let title = reader.say("Not in the manual");
            let body =
                html! { h1 { (title) } p { (reader.say("There is no page of this name:")) " " code { (path) } } };
            (StatusCode::NOT_FOUND, frame(reader, path, title, &body))
        }
    };
    (status, html.into_string())
}

/// The page in the reader's language, or in English with a word about it.
fn shown(reader: Reader, page: &Page) -> Markup {
    match (reader.language, page.german) {
        (Language::English, _) => PreEscaped(body_of(page.path, page.english)),
        (Language::German, Some(text)) => PreEscaped(body_of(&format!("{GERMAN}{}", page.path), text)),
        (Language::German, None) => html! {
            p.soft role="note" { (reader.say("This page is written in English alone.")) }
            div lang="en" { (PreEscaped(body_of(page.path, page.english))) }
        },
    }
}

/// The text as HTML. Headings get names to be linked to; links between files become links between pages; drawings are taken
/// in; wide tables scroll.
fn body_of(path: &str, text: &str) -> String {
    let mut events = Vec::new();
    let mut outside = false;
    let mut parser = Parser::new_ext(text, Options::ENABLE_TABLES).peekable();
    while let Some(event) = parser.next() {
        match event {
            Event::Start(Tag::Link { link_type, dest_url, title, id }) => match target(path, &dest_url) {
                Some(to) => {
                    events.push(Event::Start(Tag::Link { link_type, dest_url: CowStr::from(to), title, id }));
                }
                None => outside = true,
            },
            Event::End(TagEnd::Link) if outside => outside = false,
            Event::Start(Tag::Image { dest_url, .. }) => {
                let drawing =
                    DRAWINGS.iter().find(|(file, _)| dest_url.ends_with(file)).map_or("", |(_, drawing)| drawing);
                // The words that stand for the drawing are its own label, too.
                while !matches!(parser.next(), None | Some(Event::End(TagEnd::Image))) {}
                events.push(Event::InlineHtml(CowStr::from(drawing)));
            }
            Event::Start(Tag::Heading { level, classes, attrs, .. }) => {
                let name = match parser.peek() {
                    Some(Event::Text(text)) => Some(CowStr::from(anchor(text))),
                    _ => None,
                };
                events.push(Event::Start(Tag::Heading { level, id: name, classes, attrs }));
            }
            Event::Start(Tag::Table(columns)) => {
                events.push(Event::Html(CowStr::from(
                    "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Table\">",
                )));
                events.push(Event::Start(Tag::Table(columns)));
            }
            Event::End(TagEnd::Table) => {
                events.push(Event::End(TagEnd::Table));
                events.push(Event::Html(CowStr::from("</div>")));
            }
            other => events.push(other),
        }
    }
    let mut out = String::new();
    markdown::push_html(&mut out, events.into_iter());
    out.replace("<pre>", "<pre tabindex=\"0\">")
}

/// A heading as the name of its place: `twin trial` as `twin-trial`.
fn anchor(heading: &str) -> String {
    let plain = heading.to_lowercase().replace(' ', "-");
    plain.chars().filter(|c| c.is_alphanumeric() || matches!(c, '-' | '_')).collect()
}

/// Where a link of a page leads on the server; `None` for files that the server does not have.
fn target(from: &str, to: &str) -> Option<String> {
    if to.starts_with('#') {
        return Some(to.to_owned());
    }
    let (file, place) = to.split_once('#').map_or((to, String::new()), |(file, place)| (file, format!("#{place}")));
    let mut parts: Vec<&str> = from.split('/').collect();
    parts.pop();
    for part in file.strip_suffix(".md")?.split('/') {
        if part == ".." {
            parts.pop()?;
        } else {
            parts.push(part);
        }
    }
    let path = parts.join("/");
    // A page has one address in every language.
    let path = path.strip_prefix(GERMAN).unwrap_or(&path);
    let page = PAGES.iter().find(|page| page.path == path)?;
    Some(at(page) + &place)
}

/// Where a page lies on the server.
fn at(page: &Page) -> String {
    if page.path == FIRST { AT.to_owned() } else { format!("{AT}/{}", page.path) }
}

fn frame(reader: Reader, here: &str, title: &str, body: &Markup) -> Markup {
    let back = PAGES.iter().find(|page| page.path == here).map_or_else(|| AT.to_owned(), at);
    html! {
        (DOCTYPE)
        html lang=(reader.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · " (reader.say("Bedplate manual")) }
                link rel="icon" href="/static/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="/static/style.css";
            }
            body {
                a.skip href="#main" { (reader.say("To the content")) }
                nav.places aria-label=(reader.say("Manual")) {
                    span.mark { "Bedplate" }
                    ol {
                        li { a href="/" { (reader.say("Pages")) } }
                        @for page in PAGES {
                            li { a href=(at(page)) aria-current=[(page.path == here).then_some("page")] { (reader.say(page.name)) } }
                        }
                    }
                    (layout::languages(reader, &back))
                }
                main #main .manual { (body) }
                footer { p.caution role="note" { (layout::caution(reader)) } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn links_between_files_become_links_between_pages() {
        assert_eq!(target("README", "stages/design.md").as_deref(), Some("/manual/stages/design"));
        assert_eq!(target("stages/design", "../formats.md#decktoml").as_deref(), Some("/manual/formats#decktoml"));
        assert_eq!(target("stages/ward", "../README.md").as_deref(), Some("/manual"));
        assert_eq!(target("stages/ward", "../../SECURITY.md"), None);
        assert_eq!(target("de/stages/ward", "../scale.md").as_deref(), Some("/manual/scale"));
        assert_eq!(target("de/story", "../commands.md").as_deref(), Some("/manual/commands"));
    }

    #[test]
    fn every_page_is_rendered_and_every_link_inside_the_manual_leads_somewhere() {
        let german = PAGES.iter().filter_map(|p| Some((format!("{GERMAN}{}", p.path), p.german?)));
        for (path, text) in PAGES.iter().map(|p| (p.path.to_owned(), p.english)).chain(german) {
            let html = body_of(&path, text);
            assert!(html.contains("<h1"), "{path}");
            assert_eq!(text.matches("![").count(), html.matches("<svg").count(), "{path}: a drawing is missing");
            for link in html.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next()) {
                let (page, place) = link.split_once('#').unwrap_or((link, ""));
                let found = PAGES.iter().find(|p| page == at(p));
                assert!(page.is_empty() || found.is_some(), "{path}: {link}");
                let there = found.map(|p| body_of(p.path, p.english));
                let named = format!("id=\"{place}\"");
                assert!(place.is_empty() || there.unwrap_or_else(|| html.clone()).contains(&named), "{path}: {link}");
            }
        }
    }

    /// The figures of the running text in the order of their digits. `comma` is what one inside a figure stands for: nothing, or the
    /// decimal sign.
    fn figures(text: &str, comma: &str) -> Vec<String> {
        let outside: String = text.split("```").step_by(2).collect();
        let outside: String = outside.split('`').step_by(2).collect::<Vec<_>>().join(" ");
        // Without the targets of links, and the space that parts thousands.
        let mut parts = outside.split("](");
        let words: String =
            parts.next().into_iter().chain(parts.map(|p| p.split_once(')').map_or("", |(_, r)| r))).collect();
        let words: Vec<char> = words.chars().filter(|c| *c != '\u{202f}').collect();
        let is_digit = |i: usize| words.get(i).is_some_and(char::is_ascii_digit);
        let mut found = Vec::new();
        let mut i = 0;
        while i < words.len() {
            let from = i;
            while is_digit(i) || (i > from && matches!(words[i..], ['.' | ',', ..]) && is_digit(i + 1)) {
                i += 1;
            }
            if i > from {
                found.push(words[from..i].iter().collect::<String>().replace(',', comma));
            }
            i += 1;
        }
        found.sort();
        found
    }

    /// What only one of two lists has.
    fn apart(a: &[String], b: &[String]) -> Vec<String> {
        let less = |a: &[String], b: &[String]| {
            let mut left = b.to_vec();
            let only = a.iter().filter(|x| left.iter().position(|y| y == *x).map(|i| left.swap_remove(i)).is_none());
            only.cloned().collect::<Vec<_>>()
        };
        [less(a, b), less(b, a)].concat()
    }

    /// What a reader types, and how a page is parted: the same in both languages, so that neither is left behind.
    #[test]
    fn a_german_page_has_the_code_and_the_parts_of_the_english_one() {
        let code =
            |text: &str| -> Vec<String> { text.split("```").skip(1).step_by(2).map(ToOwned::to_owned).collect() };
        let heads = |text: &str| -> Vec<usize> {
            let outside: String = text.split("```").step_by(2).collect();
            outside
                .lines()
                .filter(|l| l.starts_with('#'))
                .map(|l| l.chars().take_while(|c| *c == '#').count())
                .collect()
        };
        // Names of files, options and keys in the running text, each once.
        let names = |text: &str| -> BTreeSet<String> {
            let outside: String = text.split("```").step_by(2).collect();
            let names = outside.split('`').skip(1).step_by(2);
            names.map(|name| name.split_whitespace().collect::<Vec<_>>().join(" ")).collect()
        };
        let rows = |text: &str| text.lines().filter(|line| line.starts_with('|')).count();
        for (page, german) in PAGES.iter().filter_map(|p| Some((p, p.german?))) {
            let of = |what: &str, same: bool| assert!(same, "{what} of {} differ between the languages", page.path);
            of("code blocks", code(page.english) == code(german));
            let (english, german_names) = (names(page.english), names(german));
            let only: Vec<&String> = english.symmetric_difference(&german_names).collect();
            of(&format!("names {only:?}"), only.is_empty());
            of("headings", heads(page.english) == heads(german));
            of("rows of tables", rows(page.english) == rows(german));
            let (english, german) = (figures(page.english, ""), figures(german, "."));
            of(&format!("figures {:?}", apart(&english, &german)), english == german);
        }
    }

    #[test]
    fn a_page_that_is_not_there_is_404_and_escaped() {
        for reader in Language::ALL.map(Reader::of_language) {
            let (status, html) = page(reader, "<script>");
            assert_eq!(status, StatusCode::NOT_FOUND);
            assert!(!html.contains("<script>"), "{html}");
        }
    }
}
