//! The command line: one file a verb, no arithmetic.
//!
//! Parsing only gathers; each verb's `run` resolves and acts. Results go to standard
//! output, all else to standard error with the program's name before it.

mod calibration;
mod completions;
mod demand;
mod demo;
mod desk;
mod excerpt;
mod faults;
mod follow;
mod keys;
mod log_options;
mod manual;
mod new;
mod observe;
mod observe_args;
mod observe_report;
mod observe_run;
mod output;
mod plan;
mod point;
mod readings;
mod recheck;
mod reduce;
mod relay;
mod run_record;
mod simulate;
mod sky;
mod solve;
mod table;
mod terms;
mod value;
mod zone;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, CommandFactory, Parser, Subcommand};

pub use output::Console;

use crate::problem::{Error, printable, printable_lines};
use crate::station::{Station, limits};

/// How a verb ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Done (exit code 0).
    Good,
    /// Done, but the verdict is bad (exit code 1).
    Bad,
    /// Done as far as it went, but the data cannot support what was asked (exit code 4).
    Unsupported,
}

const EXIT_CODES: &str = "\
Exit codes: 0 done; 1 done, but the verdict is bad; 2 wrong use of the command; \
3 bad input; 4 the data cannot support what was asked.";

/// Makes a motorised radio dish point true: from a log of peaks to what is wrong, which bolt to
/// turn, and the correction table for the mount's software.
#[derive(Parser, Debug)]
#[command(name = "plumbeam", version, after_help = EXIT_CODES, subcommand_required = true)]
struct Cli {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    verb: Verb,
}

/// Options that every verb takes.
#[derive(Args, Clone, Debug)]
pub struct Common {
    /// The station file
    #[arg(
        long,
        value_name = "FILE",
        default_value = "station.toml",
        global = true
    )]
    pub station: PathBuf,
    /// Free electrons above the station, in units of 1e16 per square metre, for the bend of the
    /// ionosphere below 1 GHz; as total_electron_content_tecu of the station file
    #[arg(long, value_name = "TECU", global = true, value_parser = electron_content)]
    pub tec: Option<f64>,
    /// Write the result to this file instead of its usual place
    #[arg(long, value_name = "FILE", global = true)]
    pub out: Option<PathBuf>,
    /// Print one JSON document on standard output, for machines
    #[arg(long, global = true)]
    pub json: bool,
    /// Leave out everything but results, warnings and errors
    #[arg(long, short, global = true)]
    pub quiet: bool,
}

fn electron_content(text: &str) -> Result<f64, String> {
    (limits::ELECTRON_CONTENT.read("the electron content", text))
        .map_err(|wrong| format!("{}; expected {}", wrong.found, wrong.expected))
}

impl Common {
    /// The station of the station file, with what options say otherwise.
    ///
    /// # Errors
    /// As [`Station::read`].
    pub fn read_station(&self) -> Result<Station, Error> {
        let mut station = Station::read(&self.station)?;
        station.site.electron_content_tecu = self.tec.or(station.site.electron_content_tecu);
        Ok(station)
    }
}

#[derive(Subcommand, Debug)]
enum Verb {
    New(new::Args),
    Sky(sky::Args),
    Plan(plan::Args),
    Reduce(reduce::Args),
    Solve(solve::Args),
    Faults(faults::Args),
    Table(table::Args),
    Point(point::Args),
    Recheck(recheck::Args),
    Desk(desk::Args),
    Relay(relay::Args),
    Observe(Box<observe::Args>),
    Simulate(simulate::Args),
    Demo(demo::Args),
    Completions(completions::Args),
    Manual(manual::Args),
}

/// Runs the command with this process's arguments.
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(refusal) => {
            let code = ExitCode::from(refusal.exit_code() as u8);
            // Help and version come this way too, with exit code 0; nothing of the user's is in
            // them.
            if !refusal.use_stderr() {
                let _ = refusal.print();
            } else {
                let arguments = std::env::args_os();
                let arguments = arguments.map(|a| a.to_string_lossy().into_owned());
                Console::new(false).refusal(&harmless(refusal, arguments));
            }
            return code;
        }
    };
    let mut console = Console::new(cli.common.quiet);
    match dispatch(&cli, &mut console) {
        Ok(Verdict::Good) => ExitCode::SUCCESS,
        Ok(Verdict::Bad) => ExitCode::from(1),
        Ok(Verdict::Unsupported) => ExitCode::from(4),
        // A reader that has seen enough, such as `head`, is not a failure.
        Err(Error::Io { source, .. }) if source.kind() == std::io::ErrorKind::BrokenPipe => {
            ExitCode::SUCCESS
        }
        Err(error) => {
            console.error(&error);
            ExitCode::from(error.exit_code())
        }
    }
}

/// The same refusal, about arguments in which what a terminal would obey is shown.
fn harmless(refusal: clap::Error, arguments: impl Iterator<Item = String>) -> clap::Error {
    match Cli::try_parse_from(arguments.map(|argument| printable(&argument))) {
        Err(same) if same.kind() == refusal.kind() => same,
        _ => refusal,
    }
}

/// Whether the command line understands these arguments, which begin behind the program's name.
/// Nothing is done.
///
/// # Errors
/// What would be said on standard error.
pub fn understands<'a>(arguments: impl IntoIterator<Item = &'a str>) -> Result<(), String> {
    let program = std::iter::once("plumbeam");
    let all: Vec<&str> = program.chain(arguments).collect();
    match Cli::try_parse_from(&all) {
        Err(refusal) if refusal.use_stderr() => {
            let shown = harmless(refusal, all.iter().map(|argument| (*argument).to_owned()));
            Err(printable_lines(&shown.render().to_string(), &[]))
        }
        _ => Ok(()),
    }
}

/// Runs another verb as a part of this one.
///
/// # Errors
/// As that verb.
fn run_again(arguments: Vec<std::ffi::OsString>, console: &mut Console) -> Result<Verdict, Error> {
    let cli = Cli::try_parse_from(arguments)
        .map_err(|refusal| Error::Usage(refusal.render().to_string()))?;
    dispatch(&cli, console)
}

fn dispatch(cli: &Cli, console: &mut Console) -> Result<Verdict, Error> {
    match &cli.verb {
        Verb::New(args) => new::run(args, &cli.common, console),
        Verb::Sky(args) => sky::run(args, &cli.common, console),
        Verb::Plan(args) => plan::run(args, &cli.common, console),
        Verb::Reduce(args) => reduce::run(args, &cli.common, console),
        Verb::Solve(args) => solve::run(args, &cli.common, console),
        Verb::Faults(args) => faults::run(args, &cli.common, console),
        Verb::Table(args) => table::run(args, &cli.common, console),
        Verb::Point(args) => point::run(args, &cli.common, console),
        Verb::Recheck(args) => recheck::run(args, &cli.common, console),
        Verb::Desk(args) => desk::run(args, &cli.common, console),
        Verb::Relay(args) => relay::run(args, &cli.common, console),
        Verb::Observe(args) => observe::run(args, &cli.common, console),
        Verb::Simulate(args) => simulate::run(args, &cli.common, console),
        Verb::Demo(args) => demo::run(args, &cli.common, console),
        Verb::Completions(args) => completions::run(args, Cli::command(), &cli.common, console),
        Verb::Manual(args) => manual::run(args, Cli::command(), &cli.common, console),
    }
}
