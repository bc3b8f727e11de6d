//! The evidence report of `verify`: every test, its rows, its chart inside its limits, its verdict, and what was not tested.

use maud::{Markup, html};
use report::charts::{of_test, test_name};
use report::number::{decimals_of, fixed, optional, significant};
use verify::{Mark, Row, TestReport, VerifyReport};

use super::chart;
use crate::document::{Document, Section};
use crate::layout::{standing, table, verdict};
use crate::words::Reader;

/// Names of the files behind the report.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EvidenceFiles<'a> {
    /// The deck.
    pub deck: &'a str,
    /// Its calibration.
    pub calibration: &'a str,
    /// The tests.
    pub tests: &'a str,
}

/// The whole document, made at `made_at` (RFC 3339).
#[must_use]
pub fn evidence(reader: Reader, report: &VerifyReport, files: EvidenceFiles, made_at: &str) -> Document {
    let mut sections = vec![Section::new(reader.say("Result"), result(reader, report))];
    let name = |t: &TestReport| reader.stage(test_name(t.test));
    sections.extend(report.tests.iter().map(|t| Section::new(&name(t), test(reader, t, report))));
    sections.push(Section::new(reader.say("What was not tested"), not_tested(reader, report)));
    sections.push(Section::new(reader.say("What the limits follow"), limits(reader, report)));
    sections.push(Section::new(reader.say("For the assessor"), assessor(reader)));
    let fact = |label: &str, value: String| (label.to_owned(), value);
    Document {
        reader,
        title: reader.fill("{} · evidence of verification", [&report.deck]),
        lede: format!("{} {}", headline(reader, report), reader.stage(report.statement)),
        facts: vec![
            fact(reader.say("deck"), format!("{} ({})", report.deck, files.deck)),
            fact(reader.say("class, interval"), format!("{}, e = {} g", report.class, significant(report.e_g, 3))),
            fact(
                reader.say("largest load"),
                format!("Max = {} kg, {} e", significant(report.max_kg, 4), intervals(report)),
            ),
            fact(
                reader.say("calibration"),
                reader.fill("made {} ({})", [&reader.moment(&report.calibrated_at), files.calibration]),
            ),
            fact(reader.say("tests"), files.tests.to_owned()),
            fact(reader.say("limits"), limits_of(reader, report).to_owned()),
        ],
        made_at: made_at.to_owned(),
        cautions: vec![
            reader.stage(report.statement),
            reader
                .say(
                    "Local law decides which edition applies, who may verify, and whether this deck may be used where it is.",
                )
                .into(),
        ],
        sections,
    }
}

fn intervals(report: &VerifyReport) -> String {
    fixed(report.max_kg * 1000.0 / report.e_g, 0)
}

fn limits_of(reader: Reader, report: &VerifyReport) -> &'static str {
    if report.phase.is_in_service() {
        reader.say("in service: permissible errors are twice those of initial verification")
    } else {
        reader.say("initial verification")
    }
}

fn headline(reader: Reader, report: &VerifyReport) -> String {
    let failed = report.tests.iter().filter(|t| !t.passed).count();
    let n = report.tests.len();
    let found = match (failed, n) {
        (0, 1) => reader.say("The one kind of test found stays within its limits").to_owned(),
        (0, n) => reader.fill("All {} kinds of test found stay within their limits", [&n.to_string()]),
        (failed, n) => reader.fill("{} of {} kinds of test found miss a limit", [&failed.to_string(), &n.to_string()]),
    };
    let mut said = found;
    match report.incomplete() {
        0 => {}
        open => said += &reader.fill("; {} of {} are not complete", [&open.to_string(), &n.to_string()]),
    }
    match report.not_tested.len() {
        0 => {}
        left => {
            said += &reader.fill("; {} of {} kinds were not tested", [&left.to_string(), &(left + n).to_string()]);
        }
    }
    said + "."
}

fn result(reader: Reader, report: &VerifyReport) -> Markup {
    let rows: Vec<Vec<Markup>> = report
        .tests
        .iter()
        .map(|t| {
            let share = if t.limit_g > 0.0 { Some(100.0 * t.worst_error_g / t.limit_g) } else { None };
            vec![
                html! { (reader.stage(test_name(t.test))) },
                html! { (t.rows.len()) },
                html! { (fixed(t.worst_error_g, 1)) },
                html! { (fixed(t.limit_g, 1)) },
                html! { (optional(share, |s| fixed(s, 0))) },
                html! { (if t.gaps.is_empty() { "–".to_owned() } else { t.gaps.len().to_string() }) },
                standing(reader, t.standing()),
            ]
        })
        .collect();
    html! {
        (table(
            reader.say("Each kind of test by the row that uses most of its limit"),
            &[reader.say("test"), reader.say("rows"), reader.say("worst, g"), reader.say("limit, g"), reader.say("of the limit, %"), reader.say("open points"), reader.say("verdict")],
            &rows,
        ))
        @if let Some(d) = report.deviation_pct {
            p {
                (reader.say("Percentage deviation from the known loads (absolute error / load × 100 over the weighing rows):")) " "
                strong { (reader.fill("{} % on average, {} % at most", [&significant(d.mean, 2), &significant(d.max, 2)])) } "."
            }
        }
        @if !report.not_tested.is_empty() {
            p { (reader.say("Not tested:")) " " (report.not_tested.iter().map(|t| reader.stage(test_name(t))).collect::<Vec<_>>().join(", ")) "." }
        }
    }
}

fn test(reader: Reader, test: &TestReport, report: &VerifyReport) -> Markup {
    let drawn = reader.chart(of_test(test, &report.permissible));
    let caption = reader.fill("{} Dashed: limits.", [&drawn.description]);
    html! {
        p {
            (standing(reader, test.standing())) " · " (reader.fill("judged: {}", [&reader.stage(test.judged)])) "."
        }
        (chart(&drawn, &caption))
        (rows(reader, test))
        @if !test.gaps.is_empty() {
            h3 { (reader.say("What the recommendation asks and these rows do not show")) }
            ul.plain { @for gap in &test.gaps { li { (reader.stage(gap)) } } }
        }
        h3 { (reader.say("Clauses")) }
        ul.plain { @for rule in &test.rules { li { (reader.stage(rule.text)) " (" (mark(reader, rule.mark)) ")" } } }
    }
}

fn mark(reader: Reader, mark: Mark) -> &'static str {
    match mark {
        Mark::ReadSecond => reader.say("read in a secondary text"),
        Mark::Memory => reader.say("from memory"),
        Mark::Own => reader.say("our own rule"),
    }
}

/// Kilograms are shown to a tenth of a gram at most, far below any e/5.
const KG_DECIMALS: usize = 4;

/// Decimals of the columns that hold kilograms: one form a column.
struct Kilograms {
    load: usize,
    shown: usize,
}

/// A column of the rows: what it says of a row; shown where any row has something to say.
struct Column {
    name: &'static str,
    of: fn(Reader, &Row, &Kilograms) -> String,
}

const COLUMNS: [Column; 12] = [
    Column { name: "<step", of: |reader, r, _| reader.stage(&r.step) },
    Column { name: "<part", of: |reader, r, _| reader.stage(r.part) },
    Column { name: "<plate", of: |_, r, _| r.plate.clone().unwrap_or_default() },
    Column {
        name: "x, y, mm",
        of: |_, r, _| r.at_mm.map(|at| format!("{}, {}", fixed(at[0], 0), fixed(at[1], 0))).unwrap_or_default(),
    },
    Column { name: "min", of: |_, r, _| r.minutes.map(|v| significant(v, 3)).unwrap_or_default() },
    Column { name: "°C", of: |_, r, _| r.temperature_c.map(|v| fixed(v, 1)).unwrap_or_default() },
    Column { name: "tilt, °", of: |_, r, _| r.tilt_deg.map(|v| fixed(v, 1)).unwrap_or_default() },
    Column { name: "load, kg", of: |_, r, kg| fixed(r.load_kg, kg.load) },
    Column { name: "shown, kg", of: |_, r, kg| fixed(r.indication_kg, kg.shown) },
    Column { name: "added, g", of: |_, r, _| r.added_g.map(|v| fixed(v, 1)).unwrap_or_default() },
    Column { name: "error, g", of: |_, r, _| fixed(r.error_g, 1) },
    Column { name: "judged, g", of: |_, r, _| fixed(r.judged_g, 1) },
];

fn rows(reader: Reader, test: &TestReport) -> Markup {
    let kg = Kilograms {
        load: decimals_of(test.rows.iter().map(|r| r.load_kg), KG_DECIMALS),
        shown: decimals_of(test.rows.iter().map(|r| r.indication_kg), KG_DECIMALS),
    };
    // Every row of the file carries a temperature; only the test that is about it shows it.
    let wanted = |name: &str| name != "°C" || test.test == "temperature";
    let shown: Vec<&Column> = COLUMNS
        .iter()
        .filter(|c| wanted(c.name) && test.rows.iter().any(|r| !(c.of)(reader, r, &kg).is_empty()))
        .collect();
    let mut head = vec![reader.say("line")];
    head.extend(shown.iter().map(|c| reader.say(c.name)));
    head.extend([reader.say("limit, g"), reader.say("verdict")]);
    let body: Vec<Vec<Markup>> = test
        .rows
        .iter()
        .map(|r| {
            let mut cells = vec![html! { (r.line) }];
            cells.extend(shown.iter().map(|c| {
                if c.name.starts_with('<') {
                    html! { span.left { ((c.of)(reader, r, &kg)) } }
                } else {
                    html! { ((c.of)(reader, r, &kg)) }
                }
            }));
            cells.push(html! { (fixed(r.limit_g, 1)) });
            cells.push(verdict(reader, r.passed));
            cells
        })
        .collect();
    let caption = reader.fill("{}: rows, by the line of the file of tests", [&reader.stage(test_name(test.test))]);
    table(&caption, &head, &body)
}

fn not_tested(reader: Reader, report: &VerifyReport) -> Markup {
    html! {
        @if report.not_tested.is_empty() {
            p { (reader.say("The file holds rows of every kind of test that it has a word for.")) }
        } @else {
            h3 { (reader.say("Kinds of test without a row")) }
            ul.plain { @for t in &report.not_tested { li { (reader.stage(test_name(t))) } } }
        }
        @if report.tests.iter().any(|t| !t.gaps.is_empty()) {
            h3 { (reader.say("Open points of the tests above")) }
            ul.plain {
                @for t in &report.tests { @for gap in &t.gaps { li { (reader.stage(test_name(t.test))) ": " (reader.stage(gap)) } } }
            }
        }
        h3 { (reader.say("What a file of tests cannot show")) }
        ul.plain { @for what in report.beyond { li { (reader.stage(what)) } } }
    }
}

fn limits(reader: Reader, report: &VerifyReport) -> Markup {
    let mut from_kg = 0.0;
    let mut rows = Vec::new();
    let decimals = decimals_of(report.permissible.iter().map(|band| band.up_to_kg), KG_DECIMALS);
    for band in &report.permissible {
        rows.push(vec![
            html! { (reader.fill("{} to {}", [&fixed(from_kg, decimals), &fixed(band.up_to_kg, decimals)])) },
            html! { "± " (significant(band.limit_g, 3)) },
        ]);
        from_kg = band.up_to_kg;
    }
    html! {
        p { (reader.stage(report.edition)) }
        (table(&reader.fill("Permissible errors, {}", [limits_of(reader, report)]), &[reader.say("load, kg"), reader.say("error, g")], &rows))
        p { (reader.say("The upper end of a band belongs to it.")) }
    }
}

fn assessor(reader: Reader) -> Markup {
    html! {
        p { (reader.say("Who carried out the tests, with which weights and under which conditions, is for the people below to state and to sign.")) }
        div.signature {
            span { (reader.say("tests carried out by, date")) }
            span { (reader.say("test weights, certificate numbers")) }
            span { (reader.say("seen by the assessor, date")) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use verify::{Deviation, Permissible, Phase, Rule};

    fn report(text: &str) -> VerifyReport {
        let row = |judged_g: f64| Row {
            line: 7,
            step: text.into(),
            part: "loads put on",
            plate: Some(text.into()),
            at_mm: Some([10.0, 20.0]),
            load_kg: 100.0,
            indication_kg: 100.1,
            added_g: Some(30.0),
            minutes: None,
            temperature_c: Some(21.0),
            tilt_deg: None,
            error_g: judged_g,
            judged_g,
            limit_g: 100.0,
            passed: judged_g.abs() <= 100.0,
        };
        let weighing = TestReport {
            test: "weighing",
            worst_error_g: 120.0,
            limit_g: 100.0,
            passed: false,
            judged: "error",
            rows: vec![row(20.0), row(-120.0)],
            gaps: vec!["no load near 2.000 kg, Min".into()],
            rules: vec![Rule { text: "3.5.1: so much", mark: Mark::Memory }],
        };
        VerifyReport {
            deck: text.into(),
            calibrated_at: text.into(),
            class: "III",
            e_g: 100.0,
            max_kg: 200.0,
            phase: Phase::InService,
            tests: vec![weighing],
            deviation_pct: Some(Deviation { mean: 0.07, max: 0.12 }),
            passed: false,
            not_tested: vec!["zero_return"],
            permissible: vec![Permissible { up_to_kg: 200.0, limit_g: 200.0 }],
            beyond: &["warm-up"],
            edition: "Limits follow R 76-1:2006. Local law decides.",
            statement: "Evidence for an assessor; not an approval.",
        }
    }

    const FILES: EvidenceFiles = EvidenceFiles { deck: "deck.toml", calibration: "c.json", tests: "tests.csv" };

    #[test]
    fn it_says_all_that_an_assessor_must_find() {
        let html = evidence(Reader::ENGLISH, &report("Invented deck"), FILES, "2031-11-04T18:00:00Z").render();
        for words in [
            "1 of 1 kinds of test found miss a limit; 1 of 2 kinds were not tested.",
            "not an approval",
            "Local law decides",
            "in service: permissible errors are twice",
            "✗ not met",
            "✓ met",
            "0.070 % on average, 0.12 % at most",
            "no load near 2.000 kg, Min",
            "3.5.1: so much (from memory)",
            "Zero return",
            "warm-up",
            "<svg class=\"chart\"",
            "−120.0",
            "class, interval",
        ] {
            assert!(html.contains(words), "{words:?} is missing");
        }
        // The temperature of the room is not the subject of a weighing test; no row has minutes.
        assert!(!html.contains("°C") && !html.contains(">min<"));
    }

    /// By the words of the recommendation a test is met only where all that it asks was judged.
    #[test]
    fn a_test_within_its_limits_that_lacks_rows_is_not_complete() {
        let mut found = report("Invented deck");
        found.tests[0].rows.remove(1);
        (found.tests[0].passed, found.passed) = (true, true);
        let html = evidence(Reader::ENGLISH, &found, FILES, "2031-11-04T18:00:00Z").render();
        assert!(
            html.contains("The one kind of test found stays within its limits; 1 of 1 are not complete;"),
            "{html}"
        );
        // In the list of all tests and over its own rows; the row itself is within its limit.
        assert_eq!((html.matches("◐ not complete").count(), html.matches("✓ met").count()), (2, 1));
        found.tests[0].gaps.clear();
        let html = evidence(Reader::ENGLISH, &found, FILES, "2031-11-04T18:00:00Z").render();
        assert!(!html.contains("not complete") && html.matches("✓ met").count() == 3);
    }

    #[test]
    fn a_column_of_kilograms_has_one_form() {
        let mut found = report("Invented deck");
        for (row, kg) in found.tests[0].rows.iter_mut().zip([-0.0003_f64, 49.9952]) {
            (row.load_kg, row.indication_kg) = (kg.round(), kg);
        }
        let html = evidence(Reader::ENGLISH, &found, FILES, "2031-11-04T18:00:00Z").render();
        for cell in ["<td>0</td><td>−0.0003</td>", "<td>50</td><td>49.9952</td>", "0 to 200"] {
            assert!(html.contains(cell), "{cell} is missing");
        }
    }

    #[test]
    fn what_comes_from_the_files_stays_text() {
        let html = evidence(Reader::ENGLISH, &report("<script>alert(1)</script>"), FILES, "now").render();
        assert!(!html.contains("<script"), "{html}");
    }
}
