//! A finding: a named fault with its size, its evidence and what to do about it.

use serde::Serialize;

use crate::angle::Angle;
use crate::number;

use crate::explain::{Fault, FaultAxis};

/// A named fault. As JSON it has the keys that `faults --help` tells, and beside them `in_words`,
/// `otherwise`, `rows` and `rivals`.
#[derive(Clone, Debug, Serialize)]
pub struct Finding {
    /// Which fault.
    #[serde(skip)]
    pub fault: Fault,
    /// Its name in files, for this kind of mount.
    #[serde(rename = "fault")]
    pub name: String,
    /// The finding as one plain sentence, with its size.
    pub headline: String,
    /// What it is, in plain words.
    pub in_words: String,
    /// Where it shows.
    #[serde(skip)]
    pub axis: FaultAxis,
    /// The same by the name of the axis.
    #[serde(rename = "axis")]
    pub axis_name: String,
    /// How large, in `size_unit`; none where size has no meaning.
    pub size: Option<f64>,
    /// `deg`, `deg/h`, `s` ...; empty where there is no size.
    pub size_unit: String,
    /// One standard deviation of the size, in its unit.
    pub sigma: Option<f64>,
    /// The probability that a healthy session would show as much, corrected for all that was
    /// looked for.
    pub false_alarm_probability: f64,
    /// What in the data says so, with numbers.
    pub evidence: String,
    /// How to confirm it with the hands.
    pub confirm: String,
    /// How to mend it, with cautions.
    pub mend: String,
    /// What would be seen if it were something else.
    pub otherwise: String,
    /// Rows of the log that are meant; empty when all are.
    pub rows: Vec<usize>,
    /// What explains these data about as well.
    pub rivals: Vec<Rival>,
    /// Fall of the information criterion, or what comes nearest to it: findings are ranked by
    /// it.
    #[serde(skip)]
    pub strength: f64,
    /// What a picture must show.
    #[serde(skip)]
    pub subject: Subject,
}

/// Another explanation that these data cannot tell from the finding.
#[derive(Clone, Debug, Serialize)]
pub struct Rival {
    /// Which fault it would be.
    #[serde(skip)]
    pub fault: Fault,
    /// Its name in files, for this kind of mount.
    #[serde(rename = "fault")]
    pub name: String,
    /// Where it would show.
    #[serde(skip)]
    pub axis: FaultAxis,
    /// The same by the name of the axis.
    #[serde(rename = "axis")]
    pub axis_name: String,
    /// How large it would be.
    pub size: f64,
    /// In which unit.
    pub size_unit: String,
    /// One standard deviation.
    pub sigma: f64,
    /// Which observation would tell the two apart.
    pub tell: String,
}

/// What a picture of a finding shows against what.
#[derive(Clone, Debug, PartialEq)]
pub enum Subject {
    /// A cause of the joint fit, by its place among the causes.
    Cause(usize),
    /// Some peaks, by their place among the session's peaks.
    Peaks(Vec<usize>),
    /// The scatter of an axis against the azimuth (true) or elevation.
    Scatter {
        /// Which axis.
        axis: FaultAxis,
        /// Against azimuth and not elevation.
        by_azimuth: bool,
    },
    /// The azimuth zero against magnetic north, which stands at this azimuth.
    Compass(Angle),
    /// The session as a whole.
    Session,
}

impl Finding {
    /// The finding in one line: the plain sentence, its file name and p-value, and what else
    /// explains as much.
    pub fn one_line(&self) -> String {
        let rivals = match self.rivals.as_slice() {
            [] => String::new(),
            rivals => {
                let mut names: Vec<&str> = rivals.iter().map(|r| r.name.as_str()).collect();
                names.dedup();
                format!("; or {}", names.join(", "))
            }
        };
        format!(
            "{} ({}, p-value {}){rivals}",
            self.headline,
            self.title(),
            number::probability(self.false_alarm_probability)
        )
    }

    /// The fault's name, with its axis where the name does not say it.
    pub fn title(&self) -> String {
        let (name, axis) = (&self.name, self.axis_name.replace('-', " "));
        if self.axis == FaultAxis::Both || name.starts_with(&self.axis_name) {
            return name.clone();
        }
        match self.fault {
            Fault::Creep
            | Fault::ThermalDrift
            | Fault::ToothError
            | Fault::WrongScale
            | Fault::LooseJoint
            | Fault::LooseDish
            | Fault::DigitSlip
            | Fault::WrongUnit => format!("{name} ({axis})"),
            _ => name.clone(),
        }
    }
}

/// A value with its standard deviation, and the unit of both.
pub fn measured(value: f64, sigma: f64, unit: &str) -> String {
    let said = if sigma == 0.0 {
        // Exact, such as a whole hour.
        format!("{value} {unit}")
    } else {
        let (value, sigma) = number::with_sigma(value, sigma);
        format!("{value} +/- {sigma} {unit}")
    };
    said.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_keep_two_digits_of_their_uncertainty() {
        assert_eq!(measured(0.84395, 0.0213, "deg"), "0.844 +/- 0.021 deg");
        assert_eq!(measured(3600.0, 12.0, "s"), "3600 +/- 12 s");
    }
}
