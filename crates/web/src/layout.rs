//! The frame of every page: head, way between the pages, the caution, the foot.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::manual;
use crate::words::Reader;

/// Said on every page that shows a weight or a balance.
pub const CAUTION: &str = "Engineering and research tool. Not for dosing or treatment decisions on its own. \
    Local codes, the manufacturer of the bed and licensed practice come first.";

/// A page of the site: its path, its short name, and the question it answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Path, such as `/design`.
    pub path: &'static str,
    /// Short name.
    pub name: &'static str,
    /// The question that the page answers.
    pub question: &'static str,
}

/// The pages, in the order of the job.
pub const PLACES: [Place; 10] = [
    Place { path: "/", name: "Overview", question: "Where does the whole job stand?" },
    Place {
        path: "/design",
        name: "Design",
        question: "Will it carry, stay stiff, be accurate, affordable and liftable?",
    },
    Place {
        path: "/calibration",
        name: "Calibration",
        question: "What does a count weigh, how sure are we, which cell is wrong?",
    },
    Place { path: "/verification", name: "Verification", question: "Does the deck meet the limits of its class?" },
    Place { path: "/weight", name: "Weight", question: "What does the patient weigh, and may I believe it?" },
    Place {
        path: "/balance",
        name: "Balance",
        question: "What fluid was gained or lost, what did the chart miss, what comes next?",
    },
    WORKBENCH,
    GUIDE,
    TESTS,
    TWIN,
];

/// The pages of the bench.
pub const BENCH: &[Place] = &[WORKBENCH, GUIDE, TESTS, TWIN];

/// The twin, watched.
pub const TWIN: Place = Place { path: "/twin", name: "Twin", question: "How would this deck do, before it is built?" };

/// The guided calibration.
pub const GUIDE: Place =
    Place { path: "/guide", name: "Guided calibration", question: "What do I put where, and has it settled?" };

/// The guided verification.
pub const TESTS: Place = Place {
    path: "/tests",
    name: "Guided verification",
    question: "Which load do I put where, and does the deck stay within its limits?",
};

/// The workbench of a deck file.
pub const WORKBENCH: Place =
    Place { path: "/workbench", name: "Workbench", question: "What if a cell moved, or a layer were thicker?" };

/// A whole page around `body`.
#[must_use]
pub fn page(reader: Reader, place: Place, subject: &str, body: &Markup) -> Markup {
    page_among(reader, &PLACES, place, subject, body)
}

/// A whole page of a site that has these places.
#[must_use]
pub fn page_among(reader: Reader, places: &[Place], place: Place, subject: &str, body: &Markup) -> Markup {
    frame(
        reader,
        places,
        &format!("{} · {subject}", reader.say(place.name)),
        Some(place.path),
        &html! {
            header.title {
                h1 { (reader.say(place.name)) }
                p.question { (reader.say(place.question)) }
            }
            (body)
        },
    )
}

/// The page for a path that is not there.
#[must_use]
pub fn not_found<'a>(reader: Reader, path: &str, paths: impl Iterator<Item = &'a str>) -> Markup {
    frame(
        reader,
        &[],
        reader.say("Not here"),
        None,
        &html! {
            header.title { h1 { (reader.say("Not here")) } }
            p { (reader.say("There is no such page:")) " " code { (path) } ". " (reader.say("These are:")) }
            ul { @for path in paths { li { a href=(path) { (path) } } } }
        },
    )
}

/// Where to go back to: to a page of this server, and nowhere else. `//` would name another one.
pub(crate) fn back(asked: Option<&str>) -> &str {
    let is_here = |b: &&str| {
        // A browser leaves tabs and ends of lines out of an address: `/`, a tab and `/` are `//` to it.
        b.starts_with('/') && !b.starts_with("//") && !b.contains(|c: char| c == '\\' || c.is_control())
    };
    asked.filter(is_here).unwrap_or("/")
}

fn frame(reader: Reader, places: &[Place], title: &str, here: Option<&str>, main: &Markup) -> Markup {
    let main = reader.drawn(&main.0);
    html! {
        (DOCTYPE)
        html lang=(reader.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Bedplate" }
                link rel="icon" href="/static/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="/static/style.css";
                script src="/static/plot-library.js" defer {}
                script src="/static/plots.js" defer {}
                script type="module" src="/static/tour.js" {}
            }
            body {
                a.skip href="#main" { (reader.say("To the content")) }
                nav.places aria-label=(reader.say("Pages")) {
                    span.mark { "Bedplate" }
                    ol {
                        @for place in places {
                            li { a href=(place.path) aria-current=[(here == Some(place.path)).then_some("page")] { (reader.say(place.name)) } }
                        }
                        li { a href=(manual::AT) { (reader.say("Manual")) } }
                    }
                    (languages(reader, here.unwrap_or("/")))
                }
                main #main tabindex="-1" { (PreEscaped(main)) }
                footer { p.caution role="note" { (caution(reader)) } }
            }
        }
    }
}

/// Said on every page.
pub(crate) fn caution(reader: Reader) -> &'static str {
    reader.say(CAUTION)
}

/// The choice of a language, which leads back here.
pub(crate) fn languages(reader: Reader, here: &str) -> Markup {
    let choice = |tag: &str, name: &str| {
        html! { button.choice name="language" value=(tag) lang=(tag) aria-pressed=(reader.tag() == tag) { (name) } }
    };
    html! {
        div.choices.all {
            form.choices method="post" action="/reader" {
                input type="hidden" name="back" value=(here);
                (choice("en", "English")) (choice("de", "Deutsch"))
            }
        }
    }
}

/// A panel with a heading.
#[must_use]
pub fn panel(heading: &str, body: &Markup) -> Markup {
    html! { section.panel { h2 { (heading) } (body) } }
}

/// A text with true minus signs: a hyphen is easily overlooked. One that joins words or the parts of a date stays.
#[must_use]
pub fn signs(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let is_sign = c == '-' && !before.is_alphanumeric() && rest.peek().is_some_and(char::is_ascii_digit);
        out.push(if is_sign { '−' } else { c });
        before = c;
    }
    out
}

/// A figure that matters, with its unit and what it says.
#[must_use]
pub fn headline(label: &str, value: &str, unit: &str, note: &str) -> Markup {
    html! {
        div.headline {
            p.label { (label) }
            p.value { (signs(value)) @if !unit.is_empty() { span.unit { " " (unit) } } }
            @if !note.is_empty() { p.note { (signs(note)) } }
        }
    }
}

/// Met or not, in words and shape as well as colour.
#[must_use]
pub fn verdict(reader: Reader, met: bool) -> Markup {
    if met {
        html! { span.verdict.met { "✓ " (reader.say("met")) } }
    } else {
        html! { span.verdict.missed { "✗ " (reader.say("not met")) } }
    }
}

/// What may be said of a kind of test, in words and shape as well as colour.
#[must_use]
pub fn standing(reader: Reader, standing: verify::Standing) -> Markup {
    match standing {
        verify::Standing::Missed => verdict(reader, false),
        verify::Standing::Incomplete => html! { span.verdict.open { "◐ " (reader.say("not complete")) } },
        verify::Standing::Met => verdict(reader, true),
    }
}

/// A table; the first column is the row's heading, numbers stand right. A heading that begins with `<` stands left, as
/// the words below it do.
#[must_use]
pub fn table(caption: &str, head: &[&str], rows: &[Vec<Markup>]) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label=(caption) {
            table {
                caption { (caption) }
                thead { tr { @for h in head {
                    @match h.strip_prefix('<') {
                        Some(words) => { th.words scope="col" { (words) } },
                        None => { th scope="col" { (h) } },
                    }
                } } }
                tbody {
                    @for row in rows {
                        tr {
                            @for (i, cell) in row.iter().enumerate() {
                                @if i == 0 {
                                    th scope="row" { (cell) }
                                } @else if head.get(i).is_some_and(|h| h.starts_with('<')) {
                                    td.words { (cell) }
                                } @else {
                                    td { (cell) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{back, signs};

    #[test]
    fn the_way_back_leads_to_a_page_of_this_server_alone() {
        assert_eq!(back(Some("/beds/A1?since=24")), "/beds/A1?since=24");
        for elsewhere in
            ["//evil.example/", "/\t/evil.example/", "/\n/evil.example/", "/\\evil.example/", "evil.example", ""]
        {
            assert_eq!(back(Some(elsewhere)), "/", "{elsewhere:?}");
        }
        assert_eq!(back(None), "/");
    }

    #[test]
    fn a_minus_is_a_minus_and_a_hyphen_stays() {
        assert_eq!(signs("-1.4 to -0.9 (-3)"), "−1.4 to −0.9 (−3)");
        assert_eq!(signs("2031-11-06 back-left R76-1 - 5"), "2031-11-06 back-left R76-1 - 5");
    }
}
