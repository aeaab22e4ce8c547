//! Changes made at the desk, and the sum of all of them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::angle::Angle;
use crate::explain::Options;
use crate::logbook::{PEAK_SIGMA, Peak};
use crate::mount::{Kind, Term};
use crate::problem::printable;
use crate::time::Utc;

use super::foreign::LogAnswers;

/// A change as requested by a page.
#[derive(Clone, Debug, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum EditRequest {
    /// Use a peak or leave it out.
    Use {
        /// Its row, as the page shows it.
        row: usize,
        /// Whether to use it.
        #[serde(rename = "use")]
        use_it: bool,
    },
    /// Fit a term, leave it out, or leave that to the data.
    Term {
        /// Its name.
        term: String,
        /// What to do with it.
        asked: TermAsked,
    },
    /// Hold a term at a value.
    Hold {
        /// Its name.
        term: String,
        /// As shown: degrees, a fraction or seconds.
        value: f64,
    },
    /// Source of the noise level.
    Noise {
        /// The chosen source.
        choice: NoiseAsked,
        /// One standard deviation per peak and axis, degrees, if given.
        #[serde(default)]
        given_deg: Option<f64>,
    },
    /// A new peak.
    AddPeak(Typed),
    /// A separate log, as offered by `/api/import`.
    Import {
        /// The file in the session's folder.
        file: String,
        /// The answers given about it.
        #[serde(default)]
        options: LogAnswers,
    },
    /// Undo the last change.
    Undo,
    /// Redo the change undone last.
    Redo,
    /// Discard all changes.
    Reset,
}

/// A peak as typed: the cells of one row of a log.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Typed {
    /// Time, UTC.
    pub time_utc: String,
    /// Name of the emitter.
    pub emitter: String,
    /// Reading of the first axis; empty if not measured.
    pub azimuth: String,
    /// Reading of the second axis; empty if not measured.
    pub elevation: String,
    /// Direction of approach on the first axis: `+`, `-` or nothing.
    pub azimuth_approach: String,
    /// Direction of approach on the second axis.
    pub elevation_approach: String,
    /// Signal strength, decibels.
    pub peak_db: String,
    /// Feed number; empty for the first.
    pub feed: String,
    /// Free text.
    pub note: String,
}

/// What to do with a term.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TermAsked {
    /// Let the data decide.
    Data,
    /// Fit it.
    Add,
    /// Leave it out.
    LeaveOut,
}

/// Source of the noise level.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoiseAsked {
    /// From the standard deviations in the log.
    Logged,
    /// From the scatter of the residuals, ignoring the log.
    Scatter,
    /// Given by hand, the same for all peaks.
    Given,
}

/// A change as it is stored, with everything it depends on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Edit {
    /// Use a peak or leave it out.
    Use {
        /// Name of the peak.
        peak: PeakName,
        /// Whether to use it.
        #[serde(rename = "use")]
        use_it: bool,
    },
    /// Fit a term, leave it out, or leave that to the data.
    Term {
        /// Its name on this kind of mount.
        term: String,
        /// What to do with it.
        asked: TermAsked,
    },
    /// Hold a term at a value.
    Hold {
        /// Its name on this kind of mount.
        term: String,
        /// As shown: degrees, a fraction or seconds.
        value: f64,
    },
    /// Source of the noise level.
    Noise {
        /// The chosen source.
        choice: NoiseAsked,
        /// One standard deviation per peak and axis, degrees, if given.
        given_deg: Option<f64>,
    },
    /// A new peak.
    AddPeak {
        /// As typed.
        typed: Typed,
    },
    /// A separate log.
    Import {
        /// The file in the session's folder.
        file: String,
        /// Its checksum when it was imported.
        checksum: String,
        /// The answers given about it.
        options: LogAnswers,
    },
    /// Discard all changes.
    Reset,
}

/// Identifies a peak by row, time and emitter, so that it is still found if rows were inserted
/// into the log in the meantime.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct PeakName {
    /// The file of its log; empty for a peak added here.
    pub file: String,
    /// Its row there, counted from 1; for a peak added here, the number of that edit.
    pub row: usize,
    /// When it was taken.
    #[serde(with = "exact_time")]
    pub time_utc: Utc,
    /// Name of the emitter.
    pub emitter: String,
}

impl PeakName {
    /// Names the peak in that row of that file.
    pub fn new(file: &str, row: usize, peak: &Peak) -> PeakName {
        PeakName {
            file: file.to_owned(),
            row,
            time_utc: peak.time,
            emitter: peak.emitter.clone(),
        }
    }
    /// Whether both are the same peak, whatever its row in the file.
    pub fn is_same_peak(&self, other: &PeakName) -> bool {
        (&self.file, self.time_utc, &self.emitter) == (&other.file, other.time_utc, &other.emitter)
    }
}

/// What to do with a term that is not left to the data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wish {
    /// Fit it.
    Add,
    /// Leave it out.
    LeaveOut,
    /// Hold it at this value, in internal units.
    Hold(f64),
}

/// Source of the noise level.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum NoiseChoice {
    /// From the standard deviations in the log, where it has any.
    #[default]
    Logged,
    /// From the scatter of the residuals.
    Scatter,
    /// One standard deviation, the same for all peaks.
    Given(Angle),
}

/// Something added to the peaks of the log itself.
#[derive(Clone, Debug, PartialEq)]
pub enum Addition {
    /// A peak added by the edit with this number.
    Peak(u64, Box<Peak>),
    /// A separate log.
    Log(String, LogAnswers),
}

/// The sum of all changes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choices {
    /// Peaks used or left out by hand.
    pub uses: BTreeMap<PeakName, bool>,
    /// Terms not left to the data.
    pub terms: BTreeMap<Term, Wish>,
    /// Source of the noise level.
    pub noise: NoiseChoice,
    /// What was added, in order.
    pub added: Vec<Addition>,
    /// Changes that could not be applied, in words.
    pub lost: Vec<String>,
}

impl Choices {
    /// Whether there are no changes.
    pub fn is_empty(&self) -> bool {
        *self == Choices::default()
    }

    /// Applies one more change, number `n`. `peak` parses a typed peak.
    pub fn take(
        &mut self,
        n: u64,
        edit: &Edit,
        kind: Kind,
        peak: impl FnOnce(&Typed) -> Option<Peak>,
    ) {
        match edit {
            Edit::Use { peak, use_it } => {
                self.uses.insert(peak.clone(), *use_it);
            }
            Edit::Term { term, asked } => {
                let Some(term) = kind.term_by_name(term) else {
                    return;
                };
                match asked {
                    TermAsked::Data => self.terms.remove(&term),
                    TermAsked::Add => self.terms.insert(term, Wish::Add),
                    TermAsked::LeaveOut => self.terms.insert(term, Wish::LeaveOut),
                };
            }
            Edit::Hold { term, value } => {
                if let Some(term) = kind.term_by_name(term) {
                    let inside = term.unit().inward(*value);
                    self.terms.insert(term, Wish::Hold(inside));
                }
            }
            Edit::Noise { choice, given_deg } => {
                self.noise = match (choice, given_deg) {
                    (NoiseAsked::Scatter, _) => NoiseChoice::Scatter,
                    (NoiseAsked::Given, Some(deg)) => NoiseChoice::Given(Angle::from_degrees(*deg)),
                    _ => NoiseChoice::Logged,
                };
            }
            Edit::AddPeak { typed } => match peak(typed) {
                Some(peak) => self.added.push(Addition::Peak(n, Box::new(peak))),
                None => self.lost.push(format!(
                    "the peak on {} at {}, which was added here, cannot be read with this station \
                         file any more and is left out",
                    printable(&typed.emitter),
                    printable(&typed.time_utc)
                )),
            },
            Edit::Import { file, options, .. } => {
                self.added
                    .push(Addition::Log(file.clone(), options.clone()));
            }
            Edit::Reset => *self = Choices::default(),
        }
    }

    /// Returns the equivalent options for an explanation.
    pub fn options(&self) -> Options {
        let wished = |wish: Wish| {
            let all = self.terms.iter();
            all.filter(move |(_, w)| **w == wish).map(|(t, _)| *t)
        };
        Options {
            also: wished(Wish::Add).collect(),
            without: wished(Wish::LeaveOut).collect(),
            holds: (self.terms.iter())
                .filter_map(|(term, wish)| match wish {
                    Wish::Hold(value) => Some((*term, *value)),
                    _ => None,
                })
                .collect(),
            seed: SEED,
            ..Options::default()
        }
    }
}

/// Random seed: the default of the command line.
pub const SEED: u64 = 1;

/// Checks a standard deviation given by hand, with the same limits as in a log.
///
/// # Errors
/// What was found and what was expected, in words.
pub fn checked_noise(degrees: f64) -> Result<f64, String> {
    let shown = degrees.to_string();
    (PEAK_SIGMA.check("the noise of a peak", &shown, degrees))
        .map_err(|wrong| format!("{}; expected {}", wrong.found, wrong.expected))
}

/// Times with all their digits: a name must read back exactly.
mod exact_time {
    use serde::{Deserialize, Deserializer, Serializer, de};

    use crate::time::Utc;

    pub fn serialize<S: Serializer>(time: &Utc, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&time.to_exact_text())
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Utc, D::Error> {
        let text = String::deserialize(deserializer)?;
        Utc::parse(&text).map_err(|e| de::Error::custom(format!("time {text:?} {e}")))
    }
}
