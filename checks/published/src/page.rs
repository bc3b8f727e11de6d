//! The validation page.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use bedplate_published::Check;

/// Stages, by crate, in the order of the page.
const STAGES: [(&str, &str); 10] = [
    ("stats", "Statistics"),
    ("plates", "Plates"),
    ("body", "The patient's body"),
    ("deck", "Deck: limits, gravity, air, converter"),
    ("design", "Design"),
    ("calibrate", "Calibration"),
    ("verify", "Verification and agreement"),
    ("signal", "Signal path"),
    ("balance", "Balance and weight-dependent quantities"),
    ("twin", "Twin"),
];

/// A test, as its source shows it.
struct Test {
    name: String,
    about: String,
}

/// The test around a line of a source: its name, and the words above it.
fn test_around(source: &str, line: usize) -> Option<Test> {
    let lines: Vec<&str> = source.lines().take(line).collect();
    let is_test = |at: &usize| lines[..*at].iter().rev().take_while(|l| is_head(l)).any(|l| l.trim() == "#[test]");
    let at = (0..lines.len()).rev().filter(|&at| lines[at].trim_start().starts_with("fn ")).find(is_test)?;
    let name = lines[at].trim_start().strip_prefix("fn ")?.split('(').next()?.to_owned();
    let mut about: Vec<&str> = lines[..at]
        .iter()
        .rev()
        .take_while(|l| is_head(l))
        .filter_map(|l| l.trim().strip_prefix("///").map(str::trim))
        .collect();
    about.reverse();
    Some(Test { name, about: about.join(" ") })
}

/// What the check at a line of a source asks for: the code of its first argument, whose names say quantity and unit.
fn quantity(source: &str, line: usize) -> String {
    let rest: Vec<&str> = source.lines().skip(line.saturating_sub(1)).map(str::trim).collect();
    let call = rest.join(" ");
    // A check that a test's own helper makes stands there as the test calls it.
    let first = CHECKS.iter().filter_map(|name| call.find(name).map(|at| at + name.len())).min();
    let on_the_line = rest.first().map_or(0, |line| line.len());
    let text = match first {
        Some(begin) if begin <= on_the_line => first_argument(&call[begin..]),
        _ => call.split(';').next().unwrap_or_default(),
    };
    let text = text.trim().replace(".unwrap()", "");
    let short: String =
        if text.chars().count() > LONGEST { text.chars().take(LONGEST - 1).chain(['…']).collect() } else { text };
    short.replace('|', "\\|")
}

/// How a check is called, the longer name first where one holds the other.
const CHECKS: [&str; 3] = ["within_share(", "within(", "printed("];

/// No quantity is shown longer than that, characters.
const LONGEST: usize = 90;

/// The text up to the comma or bracket that ends the first argument.
fn first_argument(text: &str) -> &str {
    let mut open = 0;
    for (at, c) in text.char_indices() {
        match c {
            '(' | '[' | '{' => open += 1,
            ',' | ')' if open == 0 => return &text[..at],
            ')' | ']' | '}' => open -= 1,
            _ => {}
        }
    }
    text
}

/// Whether a line belongs to what stands above a function.
fn is_head(line: &str) -> bool {
    let line = line.trim();
    line.starts_with("///") || line.starts_with("#[")
}

/// Words at the head of a file, which speak for all its tests.
fn about_file(source: &str) -> String {
    let words = source.lines().map_while(|l| l.strip_prefix("//!"));
    words.map(str::trim).collect::<Vec<_>>().join(" ")
}

/// Figures with as many digits as tell something.
fn figure(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let magnitude = value.abs().log10().floor();
    if (-4.0..7.0).contains(&magnitude) {
        let decimals = (6.0 - magnitude).max(0.0) as usize;
        let text = format!("{value:.decimals$}");
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    } else {
        format!("{value:.6e}")
    }
}

/// How much of what is allowed was used.
fn used(share: f64) -> String {
    if share < 0.01 { "< 0.01".to_owned() } else { format!("{share:.2}") }
}

/// Makes the page; `source` gives the text of a file.
pub(crate) fn make(checks: &[Check], source: impl Fn(&str) -> Result<String, String>) -> Result<String, String> {
    let mut page = String::from(HEAD);
    let n_files = checks.iter().map(|c| c.file.as_str()).collect::<std::collections::BTreeSet<_>>().len();
    // Writing to a String cannot fail.
    let _ = writeln!(page, "{} values in {n_files} files of tests.\n", checks.len());
    let mut by_file: BTreeMap<&str, Vec<&Check>> = BTreeMap::new();
    for check in checks {
        by_file.entry(&check.file).or_default().push(check);
    }
    for (name, title) in STAGES {
        let mine: Vec<_> = by_file.iter().filter(|(file, _)| crate_of(file) == name).collect();
        if mine.is_empty() {
            continue;
        }
        let _ = writeln!(page, "## {title}\n");
        for (file, checks) in mine {
            section(&mut page, file, checks, &source(file)?)?;
        }
    }
    if let Some(file) = by_file.keys().find(|file| !STAGES.iter().any(|(name, _)| crate_of(file) == *name)) {
        return Err(format!("{file}: its crate has no place on the page"));
    }
    Ok(page)
}

fn crate_of(file: &str) -> &str {
    file.strip_prefix("crates/").and_then(|rest| rest.split('/').next()).unwrap_or_default()
}

fn section(page: &mut String, file: &str, checks: &[&Check], source: &str) -> Result<(), String> {
    let _ = writeln!(page, "### `{file}`\n\n{}\n", about_file(source));
    let mut last = String::new();
    let (mut at, mut row) = (0, 0);
    while at < checks.len() {
        let line = checks[at].line;
        let same: Vec<&&Check> = checks[at..].iter().take_while(|c| c.line == line).collect();
        at += same.len();
        let test =
            test_around(source, line).ok_or_else(|| format!("{file}:{line}: no test stands around this check"))?;
        if test.name != last {
            let _ = writeln!(page, "\n**{}.** {}\n", test.name.replace('_', " "), test.about);
            page.push_str(
                "| | what was computed | values | expected | computed | may differ by | of that used |\n\
                 |--:|:--|--:|--:|--:|--:|--:|\n",
            );
            last = test.name;
            row = 0;
        }
        row += 1;
        // The one that uses most of what is allowed speaks for its line.
        let worst = same.iter().max_by(|a, b| a.share().total_cmp(&b.share())).unwrap_or(&same[0]);
        let _ = writeln!(
            page,
            "| {row} | `{}` | {} | {} | {} | {:.1e} | {} |",
            quantity(source, line),
            same.len(),
            figure(worst.expected),
            figure(worst.found),
            worst.allowed,
            used(worst.share())
        );
    }
    page.push('\n');
    Ok(())
}

/// What must not change without a look: all but what was computed, whose last digits differ between machines, and which of
/// several values on a line uses most.
pub(crate) fn skeleton(page: &str) -> Vec<String> {
    let kept = page.lines().map(|line| {
        let cells: Vec<&str> = line.split(" | ").collect();
        if line.starts_with("| ") && cells.len() == 7 { cells[..3].join(" | ") } else { line.to_owned() }
    });
    kept.filter(|line| !line.is_empty()).collect()
}

const HEAD: &str = "# Validation: what was published, and what Bedplate computes

This page is made by the tests (`checks/published`), and a test run holds it to them. Each value was set against one that is
*expected*: published, or computed apart from this code. The words above a table are those of the test, with its source, and say what is from
memory; rows stand in the order of the test's lines. *What was computed* is the code of the test, whose names say quantity and unit
(`_kg`, `_m2`; where a name has none, the value has none or that of its source). Where a line of a test checks several values,
the one that uses most of the allowed difference is shown. Checks of whole documents, of series read from
files of other programs, of laws and of coverage stand in the tests alone.

";

#[cfg(test)]
mod tests {
    use super::*;

    const SOURCE: &str = "//! Plates.\n\nfn helper() {\n}\n\n/// Source: a book, Table 3.\n#[test]\nfn a_plate_bends() {\n    within(1.0, 1.0, 0.1);\n}\n";

    fn check(line: usize) -> Check {
        Check { file: "crates/plates/tests/reference/x.rs".into(), line, expected: 2.5, found: 2.55, allowed: 0.1 }
    }

    #[test]
    fn a_check_stands_under_the_words_of_its_test() {
        let page = make(&[check(9)], |_| Ok(SOURCE.into())).unwrap();
        for part in [
            "## Plates",
            "**a plate bends.** Source: a book, Table 3.",
            "| 1 | `1.0` | 1 | 2.5 | 2.55 | 1.0e-1 | 0.50 |",
        ] {
            assert!(page.contains(part), "no {part:?} in {page}");
        }
        assert!(make(&[check(3)], |_| Ok(SOURCE.into())).is_err(), "a check outside every test has no source");
    }

    #[test]
    fn a_quantity_is_the_code_of_the_first_argument() {
        for (code, expected) in [
            ("published::within(mass_kg(2, [1.0, 3.0]).unwrap(), 9.81, 0.1);", "mass_kg(2, [1.0, 3.0])"),
            ("within_share(\n    a_m\n        + b_m,\n    1.0, 0.1);", "a_m + b_m"),
            ("for t in 0..9 { printed(of(|x| x), 1.0, 2) }", "of(\\|x\\| x)"),
            ("check(3.0, 4.0);\nwithin(1.0, 1.0, 0.0);", "check(3.0, 4.0)"),
        ] {
            assert_eq!(quantity(code, 1), expected, "{code}");
        }
        assert_eq!(quantity(&format!("within({}, 1.0, 0.1)", "x".repeat(200)), 1).chars().count(), LONGEST);
    }

    #[test]
    fn figures_show_what_tells_something() {
        for (value, text) in
            [(0.0, "0"), (9.81, "9.81"), (1234.5, "1234.5"), (0.000_012, "1.200000e-5"), (-0.25, "-0.25")]
        {
            assert_eq!(figure(value), text);
        }
    }
}
