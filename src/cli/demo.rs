//! `plumbeam demo`: the whole job on the embedded session.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::{Common, Console, Verdict};
use crate::demo;
use crate::problem::Error;

const EXAMPLE: &str = "\
Example:
  plumbeam demo
  plumbeam demo --into somewhere-new";

/// Do the whole job on an invented session, and say what to try next
///
/// Writes the invented station, satellites and peaks into a new folder, solves, draws the
/// pictures and makes the correction table there.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The new folder (default: plumbeam-demo, or plumbeam-demo-2 and so on if that exists)
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
}

/// Runs the demo.
///
/// # Errors
/// When the folder exists already or cannot be written.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let folder = match &args.into {
        Some(folder) => folder.clone(),
        None => demo::new_folder(Path::new("plumbeam-demo")),
    };
    let done = demo::demo(&folder)?;
    if common.json {
        console.json(&done.calibration)?;
    } else {
        console.result(&done.summary)?;
    }
    Ok(Verdict::Good)
}
