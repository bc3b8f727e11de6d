//! Pages of the manual that are made from the code: `docs/commands.md` and `docs/formats.md`. The tests fail when a page in
//! the folder is not what the code says now; with BEDPLATE_WRITE_DOCS set they write it anew.

use std::fmt::Write;
use std::path::Path;

use clap::CommandFactory;

use crate::cli::Cli;

/// Every verb with its help, as Markdown.
fn commands() -> String {
    let mut out = String::from(
        "# Commands\n\nThe help of every verb, as `bedplate VERB --help` prints it. This page is made from the code and checked by its tests.\n",
    );
    let mut program = Cli::command().term_width(110);
    program.build();
    let told = program.render_long_help().to_string();
    write!(out, "\n```text\n{}\n```\n", told.trim_end()).unwrap();
    verbs_under(&mut out, &program, "bedplate");
    out
}

fn verbs_under(out: &mut String, command: &clap::Command, name: &str) {
    for verb in command.get_subcommands().filter(|c| c.get_name() != "help") {
        let name = format!("{name} {}", verb.get_name());
        let told = verb.clone().term_width(110).render_long_help().to_string();
        write!(out, "\n## {name}\n\n```text\n{}\n```\n", told.trim_end()).unwrap();
        verbs_under(out, verb, &name);
    }
}

fn page_is_what_the_code_says(name: &str, now: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs").join(name);
    if std::env::var_os("BEDPLATE_WRITE_DOCS").is_some() {
        std::fs::write(&path, now).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    let difference = kept.lines().zip(now.lines()).position(|(a, b)| a != b);
    assert!(
        kept == now,
        "docs/{name} is not what the code says now (first difference in line {:?}); \
         BEDPLATE_WRITE_DOCS=1 cargo test -p bedplate manual writes it anew",
        difference.map(|line| line + 1)
    );
}

#[test]
fn the_page_of_commands_is_what_the_command_line_takes() {
    page_is_what_the_code_says("commands.md", &commands());
}

#[test]
fn the_page_of_formats_is_what_the_readers_ask_for() {
    let mut text = formats::reference::markdown().unwrap_or_else(|problems| panic!("{problems}"));
    text.push_str(&design::explore::table::reference());
    text.push_str(&twin::reference::markdown());
    page_is_what_the_code_says("formats.md", &text);
}
