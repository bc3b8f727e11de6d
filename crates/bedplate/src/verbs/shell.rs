//! `completions` and `man`: what a shell and `man` want to know of this program, made from the command line itself.

use std::io::Write;

use clap::CommandFactory;

use crate::cli::{Cli, CompletionsArgs, ManArgs};
use crate::failure::Failure;
use crate::files;
use crate::output::{self, Outcome};

pub(crate) fn completions(args: &CompletionsArgs) -> Result<Outcome, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "bedplate", &mut script);
    std::io::stdout().write_all(&script).map_err(output::closed)?;
    Ok(Outcome::Met)
}

pub(crate) fn man(args: &ManArgs) -> Result<Outcome, Failure> {
    files::make_folder(&args.output)?;
    let mut program = Cli::command();
    program.build();
    write_page(args, &program, "bedplate")?;
    write_pages_under(args, &program, "bedplate")?;
    Ok(Outcome::Met)
}

fn write_pages_under(args: &ManArgs, command: &clap::Command, name: &str) -> Result<(), Failure> {
    for verb in command.get_subcommands().filter(|c| c.get_name() != "help") {
        let name = format!("{name}-{}", verb.get_name());
        write_page(args, verb, &name)?;
        write_pages_under(args, verb, &name)?;
    }
    Ok(())
}

fn write_page(args: &ManArgs, command: &clap::Command, name: &str) -> Result<(), Failure> {
    let mut page = Vec::new();
    let path = args.output.join(format!("{name}.1"));
    clap_mangen::Man::new(command.clone()).title(name).render(&mut page).map_err(|e| Failure::write(&path, e))?;
    files::write_bytes(&path, &page)
}
