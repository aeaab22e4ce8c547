//! The `plumbeam` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    plumbeam::run_command()
}
