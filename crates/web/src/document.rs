//! A document of one file: report, certificate, checklist. Nothing in it points outside, nothing in it runs.
//!
//! Style stands inside, so that the file can be kept, mailed and printed anywhere. On screen it follows the reader's light
//! or dark; on paper it is A4, dark on white, with its title, time and page number at the foot of every page. Sections
//! stand open and numbered: what is folded away does not print. Rows and figures are never split between pages.
//!
//! A document is written in one language; where the server gives it out in the other one too, it leads there, on screen alone.
//!
//! Not here: what a document says; the time it was made, which the caller passes in.

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::assets::DOCUMENT_STYLE;
use crate::layout;
use crate::words::{Language, Reader, sentences};

/// A document under one title.
#[derive(Debug, Clone)]
pub struct Document {
    /// Who is to read it: its language.
    pub reader: Reader,
    /// Title: what this is and of what.
    pub title: String,
    /// One sentence below it: what the document answers.
    pub lede: String,
    /// What it rests on, label and value: files, deck, serial numbers, period.
    pub facts: Vec<(String, String)>,
    /// When it was made, RFC 3339.
    pub made_at: String,
    /// Cautions of this document beside the usual one, which every document carries.
    pub cautions: Vec<String>,
    /// Sections in order.
    pub sections: Vec<Section>,
}

/// A section with its heading.
#[derive(Debug, Clone)]
pub struct Section {
    /// Heading.
    pub title: String,
    /// What it shows; tables of [`crate::layout::table`], figures with inline SVG, paragraphs.
    pub body: Markup,
}

impl Section {
    /// A section.
    #[must_use]
    pub fn new(title: &str, body: Markup) -> Self {
        Self { title: title.to_owned(), body }
    }
}

impl Document {
    /// The whole file: nothing in it points outside.
    #[must_use]
    pub fn render(&self) -> String {
        self.written(None)
    }

    /// The whole file as the server gives it out beside the same document in the other language, which stands under that name.
    pub(crate) fn render_beside(&self, other: &str) -> String {
        self.written(Some(other))
    }

    fn written(&self, other: Option<&str>) -> String {
        let Self { reader, made_at, .. } = self;
        let page = html! {
            (DOCTYPE)
            html lang=(reader.tag()) {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (self.title) }
                    style { (PreEscaped(DOCUMENT_STYLE)) (PreEscaped(self.foot_of_pages())) }
                }
                body {
                    @if let Some(other) = other { (self.way_to(other)) }
                    (self.head())
                    main {
                        div.cautions role="note" {
                            p { (layout::caution(*reader)) }
                            @for caution in &self.cautions { p { (caution) } }
                        }
                        @for (i, section) in self.sections.iter().enumerate() {
                            section.part {
                                h2 { span.number { (i + 1) } (section.title) }
                                (section.body)
                            }
                        }
                    }
                    footer.document { p { (reader.fill("{}, made {} by Bedplate.", [&self.title, &reader.moment(made_at)])) } }
                }
            }
        };
        // A hyphen is easily overlooked where it is a sign; a number has the decimal sign of its language.
        sentences::in_page(&page.into_string(), |text| reader.signs(text))
    }

    /// The way to the same document in the other language, named in that one.
    fn way_to(&self, other: &str) -> Markup {
        let (tag, words) = match self.reader.language {
            Language::English => ("de", "Dieses Dokument auf Deutsch"),
            Language::German => ("en", "This document in English"),
        };
        html! { nav.other-language { a href=(other) lang=(tag) hreflang=(tag) { (words) } } }
    }

    fn head(&self) -> Markup {
        html! {
            header.document {
                h1 { (self.title) }
                @if !self.lede.is_empty() { p.lede { (self.lede) } }
                dl.facts {
                    @for (label, value) in &self.facts { dt { (label) } dd { (value) } }
                    dt { (self.reader.say("made")) }
                    dd { (self.reader.moment(&self.made_at)) }
                }
            }
        }
    }

    /// Title and time at the foot of each printed page.
    fn foot_of_pages(&self) -> String {
        format!(
            "@page {{ @bottom-left {{ content: \"{}\"; font: 8pt system-ui, \"Noto Sans\", \"DejaVu Sans\", sans-serif; color: #444; }} }}",
            css_text(&format!("{} · {}", self.title, self.reader.moment(&self.made_at)))
        )
    }
}

/// Text inside a quoted CSS string inside a style element: all but plain letters, digits and blanks as code points, so that
/// no text can end the string or the element.
fn css_text(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_ascii_alphanumeric() || c == ' ' {
            out.push(c);
        } else {
            // One blank behind it belongs to the number, or it would take the text's own. Writing to a String cannot fail.
            let _ = write!(out, "\\{:06x} ", u32::from(c));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::CAUTION;

    const HOSTILE: &str = "</style><script>alert(1)</script>\"\\ & <b>";

    fn document(text: &str) -> String {
        made(Reader::ENGLISH, text).render()
    }

    fn made(reader: Reader, text: &str) -> Document {
        Document {
            reader,
            title: text.into(),
            lede: text.into(),
            facts: vec![("deck".into(), text.into())],
            made_at: "2031-11-04T18:00:00Z".into(),
            cautions: vec![text.into()],
            sections: vec![Section::new(text, html! { p { (text) } })],
        }
    }

    #[test]
    fn nothing_in_it_points_outside_or_runs() {
        let html = document("Hornbeam deck");
        for word in ["http", "<script", "<link", "@import", "url(", "src=", "href="] {
            assert!(!html.contains(word), "{word} in a document that must stand alone");
        }
    }

    #[test]
    fn what_comes_from_a_file_stays_text() {
        let html = document(HOSTILE);
        assert!(!html.contains("<script") && !html.contains("<b>"), "{html}");
        assert_eq!(html.matches("</style>").count(), 1);
        assert_eq!(
            html.matches("&lt;script&gt;").count(),
            8,
            "title, heading, lede, fact, caution, section, its text and the foot"
        );
    }

    #[test]
    fn the_foot_of_the_pages_carries_title_and_time() {
        assert_eq!(css_text("a\"·1"), "a\\000022 \\0000b7 1");
        let html = document("Hornbeam deck");
        assert!(html.contains(r#"content: "Hornbeam deck \0000b7  2031\00002d 11"#), "no foot");
    }

    #[test]
    fn the_usual_caution_cannot_be_left_out() {
        let html = Document {
            reader: Reader::ENGLISH,
            title: "t".into(),
            lede: String::new(),
            facts: vec![],
            made_at: "now".into(),
            cautions: vec![],
            sections: vec![],
        }
        .render();
        assert!(html.contains(CAUTION) && !html.contains("lede\""));
    }

    #[test]
    fn in_german_its_frame_its_signs_and_its_time_are_german() {
        let html = made(Reader::of_language(Language::German), "−1.5 kg").render();
        assert!(html.contains("<html lang=\"de\">") && html.contains("Allein keine Grundlage"), "{html}");
        assert!(html.contains("<p>−1,5 kg</p>"), "{html}");
        assert!(html.contains("<dt>erstellt</dt><dd>4.11.2031, 18:00:00 UTC</dd>"), "{html}");
        assert!(!html.contains("2031-11") && !html.contains(" by Bedplate"), "{html}");
    }

    /// What is kept stands alone; what the server gives out leads to its other language, and not on paper.
    #[test]
    fn only_what_the_server_gives_out_leads_to_the_other_language() {
        let english = made(Reader::ENGLISH, "Hornbeam deck");
        assert!(!english.render().contains("<nav"));
        let html = english.render_beside("a.de.html");
        assert!(
            html.contains(r#"<a href="a.de.html" lang="de" hreflang="de">Dieses Dokument auf Deutsch</a>"#),
            "{html}"
        );
        let html = made(Reader::of_language(Language::German), "Hornbeam deck").render_beside("a.html");
        assert!(html.contains(r#"<a href="a.html" lang="en" hreflang="en">This document in English</a>"#), "{html}");
        let print = &DOCUMENT_STYLE[DOCUMENT_STYLE.find("@media print").expect("paper")..];
        assert!(print.contains(".other-language { display: none; }"));
    }

    /// On paper the tokens of the dark screen must be overruled: print comes last.
    #[test]
    fn paper_is_light_whatever_the_screen() {
        let dark = DOCUMENT_STYLE.find("prefers-color-scheme: dark").expect("a dark screen");
        let print = DOCUMENT_STYLE.find("@media print").expect("paper");
        assert!(print > dark);
        assert!(DOCUMENT_STYLE.contains("size: A4"));
    }
}
