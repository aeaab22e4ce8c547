//! The truth file: what the made-up mount is like and what is observed with it.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;

use super::ranges;
use super::spoil::Spoil;
use crate::files::{self, Expected};
use crate::mount::{MountModel, Term, TermValues};
use crate::problem::{Error, Problem, Problems, nearest_name};
use crate::time::Utc;

/// Whole nights take a thousandth of that.
const EXPECTED: Expected = Expected::mebibytes("a truth file", 1);

/// Everything a made-up session is made from.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Truth {
    /// Terms by the names of the design page, in degrees, fractions or seconds.
    #[serde(default)]
    pub terms: BTreeMap<String, f64>,
    /// How well a peak is found.
    #[serde(default)]
    pub noise: Noise,
    /// What is observed, when.
    pub session: Session,
    /// What is spoilt on purpose.
    #[serde(default)]
    pub spoil: Vec<Spoil>,
}

/// One standard deviation of a peak.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Noise {
    /// On the sky, across.
    pub cross_elevation_deg: f64,
    /// In elevation.
    pub elevation_deg: f64,
    /// Write the standard deviations into the log.
    pub logged: bool,
    /// Encoder readings are rounded to this step.
    pub resolution_deg: f64,
}

impl Default for Noise {
    fn default() -> Noise {
        Noise {
            cross_elevation_deg: 0.05,
            elevation_deg: 0.05,
            logged: false,
            resolution_deg: 0.001,
        }
    }
}

/// What is observed, when.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Session {
    /// First peak, ISO 8601 with zone.
    pub from: Utc,
    /// Last peak.
    pub to: Utc,
    /// How many peaks.
    pub peaks: usize,
    /// Which emitters; all of the station when empty.
    #[serde(default)]
    pub emitters: Vec<String>,
    /// Nothing below this apparent elevation, beside the station's own horizon; beacons and
    /// marks are exempt.
    #[serde(default = "ten")]
    pub lowest_elevation_deg: f64,
    /// Whether the log says from which side the axes arrived.
    #[serde(default)]
    pub approach_logged: bool,
}

fn ten() -> f64 {
    10.0
}

impl Truth {
    /// Reads a truth file.
    ///
    /// # Errors
    /// When it cannot be read, is no such TOML, or names an unknown term.
    pub fn read(path: &Path) -> Result<Truth, Error> {
        let (name, bytes) = files::read_bytes(path, EXPECTED)?;
        let text = String::from_utf8(bytes).map_err(|_| {
            Problem::of_file(&name, "text that is not UTF-8", "a truth file in UTF-8")
        })?;
        Truth::parse(&name, &text)
    }

    /// Reads the text of a truth file called `name`.
    ///
    /// # Errors
    /// When it is no such TOML, or names an unknown term.
    pub fn parse(name: &str, text: &str) -> Result<Truth, Error> {
        let truth: Truth = toml_edit::de::from_str(text).map_err(|e| {
            let problem = Problem::of_file(name, e.message(), "a truth file");
            match e.span() {
                Some(span) => {
                    let before = &text[..span.start.min(text.len())];
                    let line = before.matches('\n').count() + 1;
                    let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
                    problem.at(line, column)
                }
                None => problem,
            }
        })?;
        let mut problems = Problems::new();
        for term in truth.terms.keys().filter(|t| Term::by_name(t).is_none()) {
            let names = Term::ALL.map(Term::name);
            let problem = Problem::of_file(
                name,
                format!("unknown term {term:?} in [terms]"),
                "a term of the mount model",
            );
            problems.push(match nearest_name(term, names) {
                Some(near) => problem.mend(format!("did you mean {near:?}?")),
                None => problem.mend(format!("the terms are {}", names.join(", "))),
            });
        }
        problems.extend(ranges::faults(name, text));
        if truth.session.to < truth.session.from {
            problems.push(Problem::of_file(
                name,
                "[session] ends before it begins",
                "a time `to` that is later than `from`",
            ));
        }
        problems.or_value(truth)
    }

    /// The mount model of the truth.
    pub fn model(&self) -> MountModel {
        let mut values = TermValues::ZERO;
        for (name, value) in &self.terms {
            if let Some(term) = Term::by_name(name) {
                values.set_shown(term, *value);
            }
        }
        MountModel::new(values)
    }
}
