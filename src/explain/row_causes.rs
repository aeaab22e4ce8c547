//! The most likely cause of a bad peak: Bayes' rule over the usual mistakes of people and displays.

use nalgebra::Vector3;
use statrs::distribution::{Continuous, StudentsT};

use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset};
use crate::sky::Sky;
use crate::station::Station;

use super::bad_peaks::Judged;
use super::candidates::catalogue_name;
use super::fault::{Fault, FaultAxis};
use super::joint_fit::JointFit;
use super::session::Session;
use super::tuned::{LEAST_TO_MENTION_BESIDE, LEAST_TO_NAME_A_BAD_PEAK, SIGMAS_OF_A_TESTED_DIGIT};

/// A bad peak gets a name when the known causes together have at least this probability. Common
/// practice, no source; how often names are right is measured in docs/faults.md.
const KNOWN: f64 = 0.8;

/// A peak that does not belong with the rest.
#[derive(Clone, Debug)]
pub struct BadPeak {
    /// Its place among the session's peaks.
    pub index: usize,
    /// Its row in the log.
    pub row: usize,
    /// Emitter minus modelled beam, at the encoders where it is large.
    pub off: Offset,
    /// The probability that any good peak of the session lies this far out by chance.
    pub p_value: f64,
    /// One standard deviation of its distance.
    pub sigma: Angle,
    /// Distance off in its own standard deviations, including that of the prediction.
    pub deviations: f64,
    /// Its most likely cause; `None` when nothing known fits.
    pub kind: Option<BadKind>,
    /// Other possible causes.
    pub instead: Vec<Fault>,
}

/// Possible causes of a bad peak.
#[derive(Clone, Debug, PartialEq)]
pub enum BadKind {
    /// The beam was on another emitter.
    Emitter {
        /// The name of the other emitter.
        really: String,
        /// Distance of the peak from it.
        left: Angle,
    },
    /// It was a sidelobe at this many beamwidths.
    Sidelobe {
        /// Distance from the beam's axis.
        beamwidths: f64,
    },
    /// A digit of a reading is wrong.
    Digit {
        /// The axis.
        axis: FaultAxis,
        /// The reading minus what it should have been.
        by: Angle,
        /// Whether two neighbouring digits were exchanged.
        exchanged: bool,
    },
    /// A reading is in another unit.
    Unit {
        /// The axis.
        axis: FaultAxis,
        /// The unit, in words.
        unit: &'static str,
    },
    /// Azimuth and elevation are in each other's column.
    Exchanged,
}

impl BadKind {
    /// The fault that it represents.
    pub fn fault(&self) -> Fault {
        match self {
            BadKind::Emitter { .. } => Fault::WrongEmitter,
            BadKind::Sidelobe { .. } => Fault::Sidelobe,
            BadKind::Digit { .. } => Fault::DigitSlip,
            BadKind::Unit { .. } => Fault::WrongUnit,
            BadKind::Exchanged => Fault::ColumnsExchanged,
        }
    }
}

/// Units other than degrees that people and displays use: one of them in degrees.
pub const UNITS: [(&str, f64); 4] = [
    ("radians", 180.0 / std::f64::consts::PI),
    ("grads", 0.9),
    ("minutes of arc", 1.0 / 60.0),
    ("mils (6400 to the turn)", 360.0 / 6400.0),
];

/// Prior probabilities of the kinds, the rest being "anything else"; common practice, no source; up
/// to a factor common to all. They are shared among the members of a kind.
mod before {
    /// It belongs to another emitter of the station file.
    pub const EMITTER: f64 = 0.3;
    /// It belongs to another satellite of the element files.
    pub const CATALOGUED: f64 = 0.05;
    /// It is on a side lobe.
    pub const SIDELOBE: f64 = 0.25;
    /// A digit is wrong.
    pub const DIGIT: f64 = 0.2;
    /// Two neighbouring digits are exchanged.
    pub const EXCHANGED_DIGITS: f64 = 0.05;
    /// It is in another unit.
    pub const UNIT: f64 = 0.02;
    /// Azimuth and elevation are exchanged.
    pub const EXCHANGED_COLUMNS: f64 = 0.02;
    /// It is the right emitter, poorly peaked.
    pub const POOR: f64 = 0.5;
    /// It is anything else.
    pub const ANYTHING: f64 = 0.1;
}

/// The first sidelobe of a round dish lies between these distances from the axis, beamwidths, from
/// an even to a strongly tapered aperture (common practice, no source).
pub const SIDELOBE: [f64; 2] = [1.1, 2.4];
/// Degrees of freedom of the Student's t distribution of poor peaks: the smallest with a finite
/// variance. Common practice, no source.
const POOR_FREEDOM: f64 = 3.0;

/// The bad peaks of a joint fit, each with its most likely cause.
pub fn named(
    station: &Station,
    sky: Option<&Sky>,
    session: &Session,
    fit: &JointFit,
    judged: Vec<Judged>,
) -> Vec<BadPeak> {
    (judged.into_iter())
        .map(|j| {
            let (kind, instead) = kind(station, sky, session, fit, &j).unzip();
            BadPeak {
                kind,
                instead: instead.unwrap_or_default(),
                index: j.index,
                row: session.peaks[j.index].row,
                off: j.off,
                sigma: Angle::from_radians(j.sigma[0].hypot(j.sigma[1])),
                deviations: j.deviations,
                p_value: j.p_value,
            }
        })
        .collect()
}

/// The most likely cause of a bad peak, and the other possible ones: Bayes' rule over the kinds,
/// each with the density of its peaks near this one.
fn kind(
    station: &Station,
    sky: Option<&Sky>,
    session: &Session,
    fit: &JointFit,
    judged: &Judged,
) -> Option<(BadKind, Vec<Fault>)> {
    let peak = &session.peaks[judged.index];
    let (azimuth, elevation) = (peak.sighting.azimuth?, peak.sighting.elevation?);
    let here = fit.problem(session).at(judged.index, &fit.parameters);
    let gaussian = |off: &Offset| -> f64 {
        let [sx, sy] = judged.sigma;
        let (x, y) = (
            off.cross_elevation.radians() / sx,
            off.elevation.radians() / sy,
        );
        (-0.5 * (x * x + y * y)).exp() / (std::f64::consts::TAU * sx * sy)
    };
    let to_target = |target: Vector3<f64>| here.misfit_to(target);
    let with_reading = |reading: EncoderReading| here.misfit_of_reading(reading);
    let mut scores: Vec<(f64, BadKind)> = Vec::new();

    if let Some(sky) = sky {
        let moment = sky.at(peak.time.plus_seconds(peak.sighting.clock_offset_s));
        let up = |d: &Direction<Apparent>| d.elevation() > Angle::from_degrees(-1.0);
        let others: Vec<(String, Vector3<f64>)> = (station.emitters.iter().enumerate())
            .filter(|(k, _)| *k != peak.emitter)
            .filter_map(|(_, e)| {
                let there = moment.apparent(sky.emitter(&e.name)?).ok().filter(up)?;
                Some((e.name.clone(), there.east_north_up()))
            })
            .collect();
        let catalogued: Vec<(String, Vector3<f64>)> = (sky.catalogue().zip(moment.catalogued()))
            .filter_map(|(id, there)| Some((catalogue_name(id), there.filter(up)?.east_north_up())))
            .collect();
        for (list, chance) in [(others, before::EMITTER), (catalogued, before::CATALOGUED)] {
            let share = chance / list.len().max(1) as f64;
            for (really, target) in list {
                let left = to_target(target);
                let score = share * gaussian(&left);
                let left = left.size();
                scores.push((score, BadKind::Emitter { really, left }));
            }
        }
    }

    let beams = judged.off.size() / session.beamwidth;
    if (SIDELOBE[0]..SIDELOBE[1]).contains(&beams) {
        let width = session.beamwidth.radians();
        let ring =
            std::f64::consts::PI * (SIDELOBE[1].powi(2) - SIDELOBE[0].powi(2)) * width * width;
        let kind = BadKind::Sidelobe { beamwidths: beams };
        scores.push((before::SIDELOBE / ring, kind));
    }

    let cosine = elevation.cos().abs().max(1e-3);
    for (axis, reading, sigma) in [
        (FaultAxis::Azimuth, azimuth, judged.sigma[0] / cosine),
        (FaultAxis::Elevation, elevation, judged.sigma[1]),
    ] {
        let slipped = |by: Angle| match axis {
            FaultAxis::Azimuth => EncoderReading {
                azimuth: azimuth - by,
                elevation,
            },
            _ => EncoderReading {
                azimuth,
                elevation: elevation - by,
            },
        };
        let told = |(place, by): (f64, Angle)| {
            (Angle::from_degrees(place).radians() > SIGMAS_OF_A_TESTED_DIGIT * sigma).then_some(by)
        };
        let plain: Vec<Angle> = digits().filter_map(told).collect();
        let exchanged: Vec<Angle> = exchanged_digits(reading, axis).filter_map(told).collect();
        for (list, chance, exchanged) in [
            (plain, before::DIGIT, false),
            (exchanged, before::EXCHANGED_DIGITS, true),
        ] {
            // Half for each axis.
            let share = 0.5 * chance / list.len().max(1) as f64;
            for by in list {
                let score = share * gaussian(&with_reading(slipped(by)));
                let kind = BadKind::Digit {
                    axis,
                    by,
                    exchanged,
                };
                scores.push((score, kind));
            }
        }
    }
    for (unit, in_degrees) in UNITS {
        let share = before::UNIT / (3.0 * UNITS.len() as f64);
        for axis in [FaultAxis::Azimuth, FaultAxis::Elevation, FaultAxis::Both] {
            let reading = EncoderReading {
                azimuth: azimuth
                    * if axis == FaultAxis::Elevation {
                        1.0
                    } else {
                        in_degrees
                    },
                elevation: elevation
                    * if axis == FaultAxis::Azimuth {
                        1.0
                    } else {
                        in_degrees
                    },
            };
            let score = share * gaussian(&with_reading(reading));
            scores.push((score, BadKind::Unit { axis, unit }));
        }
    }
    let swapped = EncoderReading {
        azimuth: elevation,
        elevation: azimuth,
    };
    let score = before::EXCHANGED_COLUMNS * gaussian(&with_reading(swapped));
    scores.push((score, BadKind::Exchanged));

    // A gust, a weak signal, an unsteady hand: each coordinate by Student's t with few degrees of
    // freedom. Any other cause must be clearly more likely.
    let tail = |off: Angle, sigma: f64| {
        StudentsT::new(0.0, sigma, POOR_FREEDOM).map_or(0.0, |t| t.pdf(off.radians()))
    };
    let poor = before::POOR
        * tail(judged.off.cross_elevation, judged.sigma[0])
        * tail(judged.off.elevation, judged.sigma[1]);
    let anything = poor + before::ANYTHING / (4.0 * std::f64::consts::PI);
    let total: f64 = anything + scores.iter().map(|s| s.0).sum::<f64>();
    let (_, best) = scores.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    // Several members of the same fault add up.
    let share = |fault: Fault| -> f64 {
        let of = scores.iter().filter(|(_, k)| k.fault() == fault);
        of.map(|s| s.0).sum::<f64>() / total
    };
    let known = 1.0 - anything / total;
    let instead = (Fault::ALL.into_iter())
        .filter(|f| *f != best.fault() && share(*f) >= LEAST_TO_MENTION_BESIDE)
        .collect();
    (known >= KNOWN && share(best.fault()) >= LEAST_TO_NAME_A_BAD_PEAK)
        .then(|| (best.clone(), instead))
}

/// Errors of one digit: one to nine in the hundreds, tens, ones, tenths, hundredths; with the
/// digit's place in degrees.
fn digits() -> impl Iterator<Item = (f64, Angle)> {
    /// The places of a decimal reading, degrees.
    const PLACES: [f64; 5] = [100.0, 10.0, 1.0, 0.1, 0.01];
    PLACES.into_iter().flat_map(|place| {
        let most = if place == 100.0 { 3 } else { 9 };
        (1..=most).flat_map(move |d| {
            [1.0, -1.0].map(move |sign| (place, Angle::from_degrees(sign * place * f64::from(d))))
        })
    })
}

/// Errors made by exchanging two neighbouring digits of a reading before the second decimal: the
/// lower digit's place in degrees, and the reading minus what it should have been. Displays show
/// two digits before the point, three for azimuths: a leading zero may have been in the second
/// place.
fn exchanged_digits(reading: Angle, axis: FaultAxis) -> impl Iterator<Item = (f64, Angle)> {
    let shown = if axis == FaultAxis::Azimuth { 5 } else { 4 };
    let hundredths = (reading.degrees().abs() * 100.0 + 1e-6).floor() as i64;
    let sign = reading.degrees().signum();
    let mut digits: Vec<i64> =
        std::iter::successors(Some(hundredths), |n| (*n >= 10).then_some(n / 10))
            .map(|n| n % 10)
            .collect();
    digits.resize(digits.len().max(shown), 0);
    (0..digits.len().saturating_sub(1)).filter_map(move |k| {
        let (low, high) = (digits[k], digits[k + 1]);
        let by = (high - low) * 9 * 10_i64.pow(k as u32);
        let place = 10_f64.powi(k as i32) / 100.0;
        (by != 0).then(|| (place, Angle::from_degrees(sign * by as f64 / 100.0)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exchanged_digits_are_recognised_by_their_difference() {
        // 271.45 written for 217.45 is 54 too much.
        let errors: Vec<f64> = exchanged_digits(Angle::from_degrees(271.45), FaultAxis::Azimuth)
            .map(|(_, a)| a.degrees())
            .collect();
        assert!(errors.iter().any(|e| (e - 54.0).abs() < 1e-9), "{errors:?}");
        let negative: Vec<f64> = exchanged_digits(Angle::from_degrees(-12.0), FaultAxis::Elevation)
            .map(|(_, a)| a.degrees())
            .collect();
        // -12 written for -21 is 9 too much.
        assert!(
            negative.iter().any(|e| (e - 9.0).abs() < 1e-9),
            "{negative:?}"
        );
    }

    #[test]
    fn a_leading_zero_may_have_been_the_second_digit() {
        let has = |written: f64, axis: FaultAxis, meant: f64| {
            exchanged_digits(Angle::from_degrees(written), axis)
                .any(|(_, by)| (written - by.degrees() - meant).abs() < 1e-9)
        };
        assert!(has(3.41, FaultAxis::Elevation, 30.41));
        assert!(has(3.41, FaultAxis::Azimuth, 30.41));
        assert!(has(21.5, FaultAxis::Azimuth, 201.5));
        assert!(!has(21.5, FaultAxis::Elevation, 201.5));
    }
}
