//! `plumbeam completions`: what a shell needs to complete verbs and options.

use clap::{Args as ClapArgs, Command};
use clap_complete::{Shell, generate};

use super::{Common, Console, Verdict};
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;

const EXAMPLE: &str = "\
Examples:
  plumbeam completions bash > ~/.local/share/bash-completion/completions/plumbeam
  plumbeam completions zsh --out _plumbeam
  plumbeam completions fish --out ~/.config/fish/completions/plumbeam.fish";

/// Print the completions of verbs and options for a shell
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// Which shell
    #[arg(value_enum)]
    pub shell: Shell,
}

/// Prints them.
///
/// # Errors
/// When the file cannot be written.
pub fn run(
    args: &Args,
    mut command: Command,
    common: &Common,
    console: &mut Console,
) -> Result<Verdict, Error> {
    let mut guard = Guard::new("completions");
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Text)?;
    let mut text = Vec::new();
    generate(args.shell, &mut command, "plumbeam", &mut text);
    console.deliver(&String::from_utf8_lossy(&text), out.as_ref())?;
    Ok(Verdict::Good)
}
