//! Makes `docs/validation.md` of the checks that the tests wrote down, or holds it to them.
//!
//! ```text
//! bedplate-published FOLDER docs/validation.md           writes the page
//! bedplate-published --hold FOLDER docs/validation.md    fails where its tests, sources or lines are not those of the page
//! ```

mod page;

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match arguments[..] {
        ["--hold", folder, page] => hold(folder, page),
        [folder, page] => write(folder, page),
        _ => Err("expected [--hold] FOLDER PAGE".to_owned()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            #[allow(clippy::print_stderr, reason = "a program for the command line")]
            {
                eprintln!("bedplate-published: {error}");
            }
            ExitCode::FAILURE
        }
    }
}

fn made(folder: &str) -> Result<String, String> {
    let read = |file: &str| std::fs::read_to_string(file).map_err(|e| format!("{file}: {e}"));
    page::make(&bedplate_published::read(Path::new(folder))?, read)
}

fn write(folder: &str, page: &str) -> Result<(), String> {
    std::fs::write(page, made(folder)?).map_err(|e| format!("{page}: {e}"))
}

fn hold(folder: &str, path: &str) -> Result<(), String> {
    let kept = std::fs::read_to_string(path).map_err(|e| format!("{path}: {e}"))?;
    let (kept, made) = (page::skeleton(&kept), page::skeleton(&made(folder)?));
    match made.iter().zip(&kept).find(|(made, kept)| made != kept) {
        None if made.len() == kept.len() => Ok(()),
        Some((made, kept)) => Err(format!("{path} says\n  {kept}\nwhere the tests say\n  {made}\nmake it anew: {HOW}")),
        None => {
            Err(format!("{path} has {} lines where the tests give {}; make it anew: {HOW}", kept.len(), made.len()))
        }
    }
}

const HOW: &str = "BEDPLATE_PUBLISHED=$PWD/target/published cargo test --workspace, then \
    cargo run -p bedplate-published -- target/published docs/validation.md";
