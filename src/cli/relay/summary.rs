//! `plumbeam relay --summary`: tells how the passes in a log went.

use std::path::Path;

use serde::Serialize;

use super::args::Args;
use crate::cli::{Common, Console, Verdict};
use crate::live::{self, Figures};
use crate::outputs::Guard;
use crate::problem::{Error, printable};
use crate::report::{pass_text, write_passes};

/// The passes for machines.
#[derive(Serialize)]
pub struct Ended<'a> {
    /// How each went.
    pub summary: &'a [Figures],
}

/// Tells how the passes in a log went, and draws them.
///
/// # Errors
/// A log that is none or holds no pass; a folder that cannot be written.
pub fn summary(
    log: &Path,
    args: &Args,
    common: &Common,
    console: &mut Console,
) -> Result<Verdict, Error> {
    let mut guard = Guard::new("relay").reads("the log", log);
    guard.standard_output()?;
    let folder = match &args.report {
        Some(folder) => Some(guard.folder("--report", folder)?),
        None => None,
    };
    let told = live::read_log(log)?;
    for caveat in &told.caveats {
        console.warning(caveat);
    }
    if told.passes.is_empty() {
        return Err(Error::Unsupported(format!(
            "{} holds no reading under a demand: there is no pass to report",
            printable(&log.display().to_string())
        )));
    }
    let figures: Vec<Figures> = told.passes.iter().map(|p| p.figures.clone()).collect();
    let written = match &folder {
        Some(folder) => console.fill(folder, Some(crate::report::PASS_PAGE), |dir| {
            write_passes(dir, &told)
        }),
        None => Ok(()),
    };
    if common.json {
        console.json(&Ended { summary: &figures })?;
    } else {
        console.result(&pass_text(&figures, told.beamwidth))?;
    }
    written.map(|()| Verdict::Good)
}
