//! A finding: a named fault with its size, its evidence and what to do about it.

use serde::Serialize;

use crate::angle::Angle;
use crate::number;

use crate::explain::{Fault, FaultAxis};

/// A named fault. Its JSON form has the keys listed by `faults --help`, and in addition `in_words`,
/// `otherwise`, `rows` and `rivals`.
#[derive(Clone, Debug, Serialize)]
pub struct Finding {
    /// The fault.
    #[serde(skip)]
    pub fault: Fault,
    /// Its name in files, for this kind of mount.
    #[serde(rename = "fault")]
    pub name: String,
    /// The finding as one plain sentence, with its size.
    pub headline: String,
    /// A plain description.
    pub in_words: String,
    /// The axis in which it shows.
    #[serde(skip)]
    pub axis: FaultAxis,
    /// The same by the name of the axis.
    #[serde(rename = "axis")]
    pub axis_name: String,
    /// Size, in `size_unit`; `None` where size has no meaning.
    pub size: Option<f64>,
    /// `deg`, `deg/h`, `s` ...; empty where there is no size.
    pub size_unit: String,
    /// One standard deviation of the size, in its unit.
    pub sigma: Option<f64>,
    /// The probability that a healthy session would show an effect this strong, corrected for
    /// everything tested.
    pub false_alarm_probability: f64,
    /// The evidence in the data, with numbers.
    pub evidence: String,
    /// How to confirm it by hand.
    pub confirm: String,
    /// How to repair it, with cautions.
    pub mend: String,
    /// What would be seen if it were something else.
    pub otherwise: String,
    /// Rows of the log concerned; empty when all are.
    pub rows: Vec<usize>,
    /// Hypotheses that explain these data about as well.
    pub rivals: Vec<Rival>,
    /// Fall of the information criterion, or the closest equivalent: findings are ranked by it.
    #[serde(skip)]
    pub strength: f64,
    /// What a picture of it shows.
    #[serde(skip)]
    pub subject: Subject,
}

/// Another explanation that these data cannot separate from the finding.
#[derive(Clone, Debug, Serialize)]
pub struct Rival {
    /// The fault that it would be.
    #[serde(skip)]
    pub fault: Fault,
    /// Its name in files, for this kind of mount.
    #[serde(rename = "fault")]
    pub name: String,
    /// The axis in which it would show.
    #[serde(skip)]
    pub axis: FaultAxis,
    /// The same by the name of the axis.
    #[serde(rename = "axis")]
    pub axis_name: String,
    /// How large it would be.
    pub size: f64,
    /// The unit of the size.
    pub size_unit: String,
    /// One standard deviation.
    pub sigma: f64,
    /// The observation that would separate the two.
    pub tell: String,
}

/// What a picture of a finding shows, and against which quantity.
#[derive(Clone, Debug, PartialEq)]
pub enum Subject {
    /// A cause of the joint fit, by its place among the causes.
    Cause(usize),
    /// Some peaks, by their place among the session's peaks.
    Peaks(Vec<usize>),
    /// The scatter of an axis against the azimuth (true) or elevation.
    Scatter {
        /// The axis.
        axis: FaultAxis,
        /// Against azimuth instead of elevation.
        by_azimuth: bool,
    },
    /// The azimuth zero against magnetic north, which is at this azimuth.
    Compass(Angle),
    /// The session as a whole.
    Session,
}

impl Finding {
    /// The finding in one line: the plain sentence, its file name and p-value, and what else
    /// explains the data as well.
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

    /// The fault's name, with its axis where the name does not include it.
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
        // Exact values, such as a whole hour.
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
