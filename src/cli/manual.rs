//! `plumbeam manual`: the manual page, from the same definitions as the help.

use clap::{Args as ClapArgs, Command};
use clap_mangen::Man;

use super::{Common, Console, Verdict};
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;

const EXAMPLE: &str = "\
Examples:
  plumbeam manual --out plumbeam.1 && man ./plumbeam.1
  plumbeam manual solve --out plumbeam-solve.1";

/// Print the manual page of plumbeam, or of one verb, as `man` reads it
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The verb [default: all, with a page that names them]
    pub verb: Option<String>,
}

/// Prints it.
///
/// # Errors
/// A verb that does not exist, or a file that cannot be written.
pub fn run(
    args: &Args,
    mut command: Command,
    common: &Common,
    console: &mut Console,
) -> Result<Verdict, Error> {
    // Fills in the options that every verb takes, and the full names.
    command.build();
    let mut guard = Guard::new("manual");
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Text)?;
    let page = match &args.verb {
        None => command,
        Some(verb) => command.find_subcommand(verb).cloned().ok_or_else(|| {
            let verbs: Vec<&str> = command.get_subcommands().map(Command::get_name).collect();
            Error::Usage(format!(
                "there is no verb {verb}; the verbs are {}",
                verbs.join(", ")
            ))
        })?,
    };
    let mut text = Vec::new();
    (Man::new(page).render(&mut text)).map_err(|e| Error::io("the manual page", "write", e))?;
    console.deliver(&String::from_utf8_lossy(&text), out.as_ref())?;
    Ok(Verdict::Good)
}
