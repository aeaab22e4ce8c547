//! Checks the content of a calibration whose form is valid.

use std::collections::{HashMap, HashSet};

use super::calibration::{Calibration, CalibrationPeak, MountRecord, TermRecord, residual_keys};
use super::json_place::PathStep;
use crate::mount::{FeedOffset, Group, Kind, Term, TermUnit};
use crate::problem::{Wrong, nearest_name};
use crate::quantity::Quantity;
use crate::station::limits::{AXIS_TILT, BEAM_LOSS, ELEVATION, LATITUDE, OFFSET, TURN};
use crate::text::quoted;

/// Unit in which a term's value is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValueUnit {
    /// `value_deg`, `sigma_deg`.
    Degrees,
    /// `value`, `sigma`.
    Fraction,
    /// `value_s`, `sigma_s`.
    Seconds,
}

impl From<TermUnit> for ValueUnit {
    fn from(unit: TermUnit) -> ValueUnit {
        match unit {
            TermUnit::Angle => ValueUnit::Degrees,
            TermUnit::Fraction => ValueUnit::Fraction,
            TermUnit::Seconds => ValueUnit::Seconds,
        }
    }
}

impl ValueUnit {
    /// The key of a value in this unit.
    pub const fn value_key(self) -> &'static str {
        match self {
            ValueUnit::Degrees => "value_deg",
            ValueUnit::Fraction => "value",
            ValueUnit::Seconds => "value_s",
        }
    }
    /// The key of a standard deviation in this unit.
    pub const fn sigma_key(self) -> &'static str {
        match self {
            ValueUnit::Degrees => "sigma_deg",
            ValueUnit::Fraction => "sigma",
            ValueUnit::Seconds => "sigma_s",
        }
    }
    /// The key of a prior's standard deviation in this unit.
    pub const fn prior_sigma_key(self) -> &'static str {
        match self {
            ValueUnit::Degrees => "prior_sigma_deg",
            ValueUnit::Fraction => "prior_sigma",
            ValueUnit::Seconds => "prior_sigma_s",
        }
    }
    const fn words(self) -> &'static str {
        match self {
            ValueUnit::Degrees => "an angle in degrees",
            ValueUnit::Fraction => "a fraction",
            ValueUnit::Seconds => "a time in seconds",
        }
    }
}

/// Largest plausible magnitude of a term's value, in its unit: a full turn for encoder offsets and
/// backlash, 45 degrees for mechanical misalignments (beyond that the beam reaches little or none
/// of the sky), one half for a scale.
fn most(term: Term) -> f64 {
    match (term.unit(), term.group()) {
        (TermUnit::Fraction, _) => 0.5,
        (TermUnit::Seconds, _) => 1e9,
        (
            TermUnit::Angle,
            Group::AzimuthZero
            | Group::ElevationZero
            | Group::AzimuthBacklash
            | Group::ElevationBacklash,
        ) => 360.0,
        (TermUnit::Angle, _) => 45.0,
    }
}

/// Permitted values of a term, in the unit used in files.
pub fn term_quantity(term: Term) -> Quantity {
    let most = most(term);
    let words = match (term.unit(), most as u32) {
        (TermUnit::Angle, 360) => "degrees from -360 to 360",
        (TermUnit::Angle, _) => "degrees from -45 to 45",
        (TermUnit::Fraction, _) => "a fraction from -0.5 to 0.5",
        (TermUnit::Seconds, _) => "seconds from -1e9 to 1e9",
    };
    Quantity::new(-most, most, words)
}

/// Words for the upper bound of a term.
fn at_most(term: Term) -> String {
    let most = most(term);
    match term.unit() {
        TermUnit::Angle => format!("{most} degrees at most, either way"),
        TermUnit::Fraction => format!("a fraction of {most} at most, either way"),
        TermUnit::Seconds => format!("{most} seconds at most, either way"),
    }
}

/// Describes each term whose value is a number but implausibly large: its value and what was
/// expected.
pub(super) fn beyond_sense(calibration: &Calibration) -> Vec<String> {
    let kind = calibration.kind();
    let of = |name: &str, record: &TermRecord| {
        let term = like(kind, name)?;
        let value = match term.unit() {
            TermUnit::Angle => record.value_deg,
            TermUnit::Fraction => record.value,
            TermUnit::Seconds => record.value_s,
        }?;
        (value.is_finite() && !within(value, most(term)))
            .then(|| format!("{name} is {value}; expected {}", at_most(term)))
    };
    (calibration.terms.iter())
        .filter_map(|(name, record)| of(name, record))
        .collect()
}

/// What is wrong, and its path in the document.
pub(super) type Fault = (Vec<PathStep>, Wrong);

/// Returns everything that is wrong with the content of a calibration.
pub(super) fn faults_of(calibration: &Calibration) -> Vec<Fault> {
    let mut faults = Vec::new();
    mount_faults(&calibration.mount, &mut faults);
    let kind = calibration.kind();
    for (name, record) in &calibration.terms {
        let found = term_faults(kind, name, record).into_iter();
        faults.extend(found.map(|(key, wrong)| {
            let mut path = vec![PathStep::key("terms"), PathStep::key(name)];
            path.extend(key.map(PathStep::key));
            (path, wrong)
        }));
    }
    correlation_faults(calibration, &mut faults);
    peak_faults(&calibration.peaks, &mut faults);
    for (key, rms) in [
        ("rms_before_deg", calibration.rms_before_deg),
        ("rms_after_deg", calibration.rms_after_deg),
    ] {
        if !(0.0..=180.0).contains(&rms) {
            let wrong = Wrong::new(format!("{key} is {rms}"), "degrees from 0 to 180");
            faults.push((vec![PathStep::key(key)], wrong));
        }
    }
    expectation_faults(calibration, &mut faults);
    cause_faults(calibration, &mut faults);
    lineage_faults(calibration, &mut faults);
    faults
}

/// Checks the geometry of the mount.
fn mount_faults(mount: &MountRecord, faults: &mut Vec<Fault>) {
    let numbers = match mount {
        MountRecord::AzEl | MountRecord::XY { .. } => Vec::new(),
        MountRecord::Polar { latitude_deg } => vec![("latitude_deg", *latitude_deg, LATITUDE)],
        MountRecord::Slant {
            axis_tilt_deg,
            axis_tilt_azimuth_deg,
        } => vec![
            ("axis_tilt_deg", *axis_tilt_deg, AXIS_TILT),
            ("axis_tilt_azimuth_deg", *axis_tilt_azimuth_deg, TURN),
        ],
    };
    for (key, value, quantity) in numbers {
        if let Err(wrong) = quantity.check(key, &value.to_string(), value) {
            faults.push((vec![PathStep::key("mount"), PathStep::key(key)], wrong));
        }
    }
}

/// Checks the expected pointing error.
fn expectation_faults(calibration: &Calibration, faults: &mut Vec<Fault>) {
    let Some(expected) = &calibration.expected_pointing_error else {
        return;
    };
    let numbers: [(&[&str], f64, Quantity); 6] = [
        (&["rms_deg"], expected.rms_deg, OFFSET),
        (&["rms_95_deg"], expected.rms_95_deg, OFFSET),
        (&["largest_deg"], expected.largest_deg, OFFSET),
        (&["at", "azimuth_deg"], expected.at.azimuth_deg, TURN),
        (
            &["at", "elevation_deg"],
            expected.at.elevation_deg,
            ELEVATION,
        ),
        (&["loss_db"], expected.loss_db.unwrap_or(0.0), BEAM_LOSS),
    ];
    for (keys, value, quantity) in numbers {
        if let Err(wrong) = quantity.check(keys[keys.len() - 1], &value.to_string(), value) {
            let mut path = vec![PathStep::key("expected_pointing_error")];
            path.extend(keys.iter().map(|key| PathStep::key(key)));
            faults.push((path, wrong));
        }
    }
}

/// Checks the changes found during the log.
fn cause_faults(calibration: &Calibration, faults: &mut Vec<Fault>) {
    for (i, cause) in calibration.causes.iter().enumerate() {
        let mut add = |key: &str, wrong| {
            let path = vec![
                PathStep::key("causes"),
                PathStep::Index(i),
                PathStep::key(key),
            ];
            faults.push((path, wrong));
        };
        if cause.row == Some(0) {
            add("row", Wrong::new("row is 0", "a data row, counted from 1"));
        }
        if let Some(size) = cause.size.filter(|s| !s.is_finite()) {
            add(
                "size",
                Wrong::new(format!("size is {size}"), "a finite number"),
            );
        }
        if let Some(sigma) = cause.sigma.filter(|s| !(0.0..f64::INFINITY).contains(s)) {
            let wrong = Wrong::new(
                format!("sigma is {sigma}"),
                "one standard deviation, 0 or more",
            );
            add("sigma", wrong);
        }
    }
}

/// Checks the record of the calibration that a joined one continues.
fn lineage_faults(calibration: &Calibration, faults: &mut Vec<Fault>) {
    let kind = calibration.kind();
    let set_free = calibration.joined_from.iter().flat_map(|f| &f.set_free);
    for (i, name) in set_free.enumerate() {
        if kind.term_by_name(name).is_none() {
            let path = vec![
                PathStep::key("joined_from"),
                PathStep::key("set_free"),
                PathStep::Index(i),
            ];
            faults.push((path, unknown_term(kind, name)));
        }
    }
}

/// Whether the magnitude of a value is at most `most`; false for NaN.
fn within(value: f64, most: f64) -> bool {
    value.abs() <= most
}

/// Returns the term whose unit and bounds apply to the named value; for the offsets of a further
/// feed these are the collimation's.
fn like(kind: Kind, name: &str) -> Option<Term> {
    let of_feed = FeedOffset::part_of(name).map(|_| Term::Collimation);
    kind.term_by_name(name).or(of_feed)
}

/// Reports that the mount has no such term.
fn unknown_term(kind: Kind, name: &str) -> Wrong {
    let known = kind.term_names();
    let found = match kind.others_with(name) {
        Some(others) => format!(
            "{} is a term of {others} mounts, and this calibration is of one of kind {kind}",
            quoted(name)
        ),
        None => format!("no term is called {}", quoted(name)),
    };
    let expected = match nearest_name(name, known.iter().copied()) {
        Some(near) => near.to_owned(),
        None => format!("one of {}", known.join(", ")),
    };
    Wrong::new(found, expected)
}

/// Checks one term; each fault comes with the key concerned.
fn term_faults(kind: Kind, name: &str, record: &TermRecord) -> Vec<(Option<&'static str>, Wrong)> {
    let Some(term) = like(kind, name) else {
        return vec![(None, unknown_term(kind, name))];
    };
    let unit = &ValueUnit::from(term.unit());
    let mut faults = Vec::new();
    let given = [
        (
            ValueUnit::Degrees,
            record.value_deg,
            record.sigma_deg,
            record.prior_sigma_deg,
        ),
        (
            ValueUnit::Fraction,
            record.value,
            record.sigma,
            record.prior_sigma,
        ),
        (
            ValueUnit::Seconds,
            record.value_s,
            record.sigma_s,
            record.prior_sigma_s,
        ),
    ];
    for (other, value, sigma, prior) in given.iter().filter(|(other, ..)| other != unit) {
        let foreign = |key, right: &str| {
            let wrong = Wrong::new(format!("{name} has no {key}"), right)
                .mend(format!("{name} is {}", unit.words()));
            (Some(key), wrong)
        };
        faults.extend(value.map(|_| foreign(other.value_key(), unit.value_key())));
        faults.extend(sigma.map(|_| foreign(other.sigma_key(), unit.sigma_key())));
        faults.extend(prior.map(|_| foreign(other.prior_sigma_key(), unit.prior_sigma_key())));
    }
    let no_value = given.iter().all(|(_, value, ..)| value.is_none());
    if no_value {
        let wrong = Wrong::new(format!("{name} has no value"), unit.value_key());
        faults.push((None, wrong));
    }
    for (_, value, sigma, prior) in given.iter().filter(|(own, ..)| own == unit) {
        if let Some(value) = value.filter(|v| !within(*v, most(term))) {
            let wrong = Wrong::new(format!("{name} is {value}"), at_most(term))
                .mend("put back the value that solve wrote, or run solve again");
            faults.push((Some(unit.value_key()), wrong));
        }
        if let Some(sigma) = sigma.filter(|s| !(0.0..f64::INFINITY).contains(s)) {
            let wrong = Wrong::new(
                format!("the {} of {name} is {sigma}", unit.sigma_key()),
                "one standard deviation, 0 or more",
            );
            faults.push((Some(unit.sigma_key()), wrong));
        }
        if let Some(prior) = prior.filter(|p| !(p.is_finite() && *p > 0.0)) {
            let wrong = Wrong::new(
                format!("the {} of {name} is {prior}", unit.prior_sigma_key()),
                "one standard deviation, above 0",
            );
            faults.push((Some(unit.prior_sigma_key()), wrong));
        }
    }
    faults
}

fn correlation_faults(calibration: &Calibration, faults: &mut Vec<Fault>) {
    let mut seen = HashSet::new();
    for (i, correlation) in calibration.correlations.iter().enumerate() {
        let mut add = |key: &str, wrong| {
            let path = vec![
                PathStep::key("correlations"),
                PathStep::Index(i),
                PathStep::key(key),
            ];
            faults.push((path, wrong));
        };
        let (a, b) = (&correlation.terms.0, &correlation.terms.1);
        for name in [a, b] {
            if !calibration.terms.contains_key(name) {
                let wrong = Wrong::new(
                    format!("{} is not a term of this calibration", quoted(name)),
                    "two of its terms",
                );
                add("terms", wrong);
            }
        }
        if a == b || !seen.insert(if a < b { (a, b) } else { (b, a) }) {
            let wrong = Wrong::new(format!("the pair {a}, {b}"), "each pair of two terms once");
            add("terms", wrong);
        }
        /// A correlation of 1 may exceed 1 by a rounding error.
        const ROUNDING: f64 = 1e-9;
        if !within(correlation.value, 1.0 + ROUNDING) {
            let wrong = Wrong::new(
                format!("the correlation is {}", correlation.value),
                "a number from -1 to 1",
            );
            add("value", wrong);
        }
    }
}

fn peak_faults(peaks: &[CalibrationPeak], faults: &mut Vec<Fault>) {
    let mut first_of_row = HashMap::new();
    for (i, peak) in peaks.iter().enumerate() {
        let mut add = |key: &str, wrong| {
            let path = vec![
                PathStep::key("peaks"),
                PathStep::Index(i),
                PathStep::key(key),
            ];
            faults.push((path, wrong));
        };
        if peak.row == 0 {
            add("row", Wrong::new("row is 0", "a data row, counted from 1"));
        }
        if let Some(first) = first_of_row.insert(peak.row, i) {
            let wrong = Wrong::new(
                format!("row {} appears again, after peak {}", peak.row, first + 1),
                "each row of the log once",
            );
            add("row", wrong);
        }
        let residuals = [
            peak.cross_elevation_residual_deg,
            peak.elevation_residual_deg,
        ];
        for (key, residual) in residual_keys(peak.axis_2).into_iter().zip(residuals) {
            if let Some(residual) = residual.filter(|r| !within(*r, 180.0)) {
                let wrong = Wrong::new(format!("{key} is {residual}"), "degrees from -180 to 180");
                add(key, wrong);
            }
        }
    }
}
