//! The manual of `docs/`, as pages of the server itself.

use axum::http::StatusCode;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use pulldown_cmark::{CowStr, Event, Options, Parser, Tag, TagEnd, html as markdown};

use crate::layout::CAUTION;

/// A page of the manual: its file below `docs/` without its ending, its short name, its text.
struct Page {
    path: &'static str,
    name: &'static str,
    text: &'static str,
}

macro_rules! page {
    ($path:literal, $name:literal) => {
        Page { path: $path, name: $name, text: include_str!(concat!("../../../docs/", $path, ".md")) }
    };
}

const PAGES: &[Page] = &[
    page!("README", "Manual"),
    page!("story", "Story"),
    page!("stages/design", "Design"),
    page!("check-card", "Design: how near"),
    page!("stages/calibrate", "Calibrate"),
    page!("stages/verify", "Verify"),
    page!("stages/weigh", "Weigh"),
    page!("weighing-card", "Weighing: report card"),
    page!("signal-filter", "The low-pass"),
    page!("stages/balance", "Balance"),
    page!("balance-card", "Balance: report card"),
    page!("stages/twin", "Twin"),
    page!("stages/ward", "Ward"),
    page!("scale", "Ward: scale"),
    page!("commands", "Commands"),
    page!("formats", "Formats"),
    page!("validation", "Validation"),
    page!("licences", "Licences"),
    page!("extend", "To add something"),
];

/// Drawings of the manual: file below `docs/`, and what it holds. They are part of the page that shows them.
const DRAWINGS: &[(&str, &str)] = &[("signal-filter.svg", include_str!("../../../docs/signal-filter.svg"))];

/// Where the manual lies on a server.
pub(crate) const AT: &str = "/manual";

/// The first page.
pub(crate) const FIRST: &str = "README";

/// A page by its file below `docs/`, or what to say where there is none.
pub(crate) fn page(path: &str) -> (StatusCode, String) {
    let (status, html) = match PAGES.iter().find(|page| page.path == path) {
        Some(page) => (StatusCode::OK, frame(page.path, page.name, &PreEscaped(body_of(page)))),
        None => {
            let body = html! { h1 { "Not in the manual" } p { "There is no page " code { (path) } "." } };
            (StatusCode::NOT_FOUND, frame(path, "Not in the manual", &body))
        }
    };
    (status, html.into_string())
}

/// The text as HTML. Headings get names to be linked to; links between files become links between pages; drawings are taken
/// in; wide tables scroll.
fn body_of(page: &Page) -> String {
    let mut events = Vec::new();
    let mut outside = false;
    let mut parser = Parser::new_ext(page.text, Options::ENABLE_TABLES).peekable();
    while let Some(event) = parser.next() {
        match event {
            Event::Start(Tag::Link { link_type, dest_url, title, id }) => match target(page.path, &dest_url) {
                Some(to) => {
                    events.push(Event::Start(Tag::Link { link_type, dest_url: CowStr::from(to), title, id }));
                }
                None => outside = true,
            },
            Event::End(TagEnd::Link) if outside => outside = false,
            Event::Start(Tag::Image { dest_url, .. }) => {
                let drawing = DRAWINGS.iter().find(|(path, _)| *path == &*dest_url).map_or("", |(_, drawing)| drawing);
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
    let page = PAGES.iter().find(|page| page.path == path)?;
    Some(if page.path == FIRST { AT.to_owned() + &place } else { format!("{AT}/{}{place}", page.path) })
}

fn frame(here: &str, title: &str, body: &Markup) -> Markup {
    let link = |page: &Page| if page.path == FIRST { AT.to_owned() } else { format!("{AT}/{}", page.path) };
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Bedplate manual" }
                link rel="icon" href="/static/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="/static/style.css";
            }
            body {
                a.skip href="#main" { "To the content" }
                nav.places aria-label="Manual" {
                    span.mark { "Bedplate" }
                    ol {
                        li { a href="/" { "Pages" } }
                        @for page in PAGES {
                            li { a href=(link(page)) aria-current=[(page.path == here).then_some("page")] { (page.name) } }
                        }
                    }
                }
                main #main .manual { (body) }
                footer { p.caution role="note" { (CAUTION) } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_between_files_become_links_between_pages() {
        assert_eq!(target("README", "stages/design.md").as_deref(), Some("/manual/stages/design"));
        assert_eq!(target("stages/design", "../formats.md#decktoml").as_deref(), Some("/manual/formats#decktoml"));
        assert_eq!(target("stages/ward", "../README.md").as_deref(), Some("/manual"));
        assert_eq!(target("stages/ward", "../../SECURITY.md"), None);
    }

    #[test]
    fn every_page_is_rendered_and_every_link_inside_the_manual_leads_somewhere() {
        for page in PAGES {
            let html = body_of(page);
            assert!(html.contains("<h1"), "{}", page.path);
            assert_eq!(
                page.text.matches("![").count(),
                html.matches("<svg").count(),
                "{}: a drawing is missing",
                page.path
            );
            for link in html.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next()) {
                let path = link.split('#').next().unwrap_or_default();
                let known = path.is_empty()
                    || path == AT
                    || PAGES.iter().any(|p| path.strip_prefix("/manual/") == Some(p.path));
                assert!(known, "{}: {link}", page.path);
            }
        }
    }

    #[test]
    fn a_page_that_is_not_there_is_404_and_escaped() {
        let (status, html) = page("<script>");
        assert_eq!(status, StatusCode::NOT_FOUND);
        assert!(!html.contains("<script>"), "{html}");
    }
}
