//! `draw`: a drawing of every plate and one of the whole deck, as SVG and DXF.

use std::path::PathBuf;

use formats::deck::Deck;
use report::drawing::{self, Drawing};

use crate::cli::DrawArgs;
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

/// What was written.
#[derive(serde::Serialize)]
struct Written {
    files: Vec<PathBuf>,
}

pub(crate) fn run(args: &DrawArgs) -> Result<Outcome, Failure> {
    let deck = files::read_deck(&args.deck)?;
    files::make_folder(&args.output)?;
    let mut written = Written { files: Vec::new() };
    for (name, drawing) in drawings(&deck) {
        for (ending, text) in [("svg", drawing::svg::write(&drawing)), ("dxf", drawing::dxf::write(&drawing))] {
            let path = args.output.join(format!("{name}.{ending}"));
            files::write_text(&path, &text)?;
            written.files.push(path);
        }
    }
    output::report(args.json, &written, |w| {
        let names: Vec<String> = w.files.iter().map(|f| format!("{}\n", f.display())).collect();
        format!("Drawings in mm, full size:\n{}", names.concat())
    })?;
    Ok(Outcome::Met)
}

/// Drawings with the names of their files.
fn drawings(deck: &Deck) -> Vec<(String, Drawing)> {
    let mut all = vec![("assembly".to_owned(), drawing::assembly(deck))];
    for plate in &deck.plates {
        let wanted = format!("plate-{}", file_name(&plate.name));
        // Names that differ only in what a file name cannot hold are told apart by a number.
        let taken = |name: &String| all.iter().any(|(other, _)| other.eq_ignore_ascii_case(name));
        let name = (1..).map(|n| if n == 1 { wanted.clone() } else { format!("{wanted}-{n}") }).find(|n| !taken(n));
        all.push((name.unwrap_or(wanted), drawing::plate(deck, plate)));
    }
    all
}

/// Letters and digits as they are, anything else a dash.
fn file_name(name: &str) -> String {
    name.chars().map(|c| if c.is_alphanumeric() || c == '_' { c } else { '-' }).collect()
}
