//! The samples of one scan, prepared: in time order, encoders unwrapped, each with the emitter's
//! position at its own time.

use super::beam_frame::Fixed;
use super::tuned::{CATCH_UP_OF_A_STUCK_ENCODER, LEAST_SAMPLES_OF_A_STUCK_ENCODER};
use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::logbook::{Sample, Scan};
use crate::mount::{ApproachSigns, Geometry, MountModel};
use crate::scan::ScanAxis;
use crate::scan::reason::Reason;
use crate::sky::{EmitterError, Track};
use crate::time::Utc;

/// One sample, or the mean of a few neighbours. Angles are in radians.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ScanPoint {
    /// Seconds since the scan's mid time.
    pub seconds: f64,
    /// Azimuth encoder reading, unwrapped within the scan.
    pub azimuth: f64,
    /// Elevation encoder reading.
    pub elevation: f64,
    /// Where the beam should point in the mount's own coordinates, azimuth unwrapped within the
    /// scan.
    pub emitter: Fixed,
    /// Linear power.
    pub power: f64,
    /// Rows averaged into it.
    pub rows: f64,
}

impl ScanPoint {
    /// An axis's offset: encoder less emitter.
    pub fn offset(&self, axis: ScanAxis) -> f64 {
        match axis {
            ScanAxis::Azimuth => self.azimuth - self.emitter.azimuth,
            ScanAxis::Elevation => self.elevation - self.emitter.elevation,
        }
    }
}

/// A scan's samples as points.
#[derive(Clone, Debug)]
pub(crate) struct ScanPoints {
    /// Halfway between the first and the last sample.
    pub mid: Utc,
    /// The emitter's position at that time.
    pub emitter: Fixed,
    /// In time order.
    pub points: Vec<ScanPoint>,
    /// Faults found in the samples.
    pub reasons: Vec<Reason>,
}

impl ScanPoints {
    /// Prepares a scan whose emitter follows `track`.
    ///
    /// # Errors If the emitter's position at the scan's times cannot be computed.
    pub fn of(
        scan: &Scan,
        track: &Track<'_>,
        geometry: &Geometry,
    ) -> Result<ScanPoints, EmitterError> {
        let ideal = MountModel::ideal(*geometry);
        let at = |time: Utc| Ok::<_, EmitterError>(coordinates(&ideal, &track.apparent(time)?));
        let mut reasons = Vec::new();
        let samples = in_order(&scan.samples, &mut reasons);
        let (first, last) = (samples[0].time, samples[samples.len() - 1].time);
        let mid = first.midpoint(last);
        let middle = at(mid)?;
        let mut points = Vec::with_capacity(samples.len());
        let mut before = Angle::ZERO;
        for (i, sample) in samples.iter().enumerate() {
            // An encoder that shows 0 to 360 may jump by a turn within a scan.
            let azimuth = match i {
                0 => sample.azimuth,
                _ if (sample.azimuth - before).abs() > Angle::HALF_TURN => {
                    sample.azimuth.nearest_turn_to(before)
                }
                _ => sample.azimuth,
            };
            before = azimuth;
            points.push(ScanPoint {
                seconds: sample.time.seconds_since(mid),
                azimuth: azimuth.radians(),
                elevation: sample.elevation.radians(),
                emitter: fixed(&at(sample.time)?, middle.azimuth),
                power: sample.power,
                rows: 1.0,
            });
        }
        drop_still(&mut points, &mut reasons);
        Ok(ScanPoints {
            mid,
            emitter: fixed(&middle, middle.azimuth),
            points,
            reasons,
        })
    }
}

/// A direction in the mount's own coordinates: the readings of its encoders there without any
/// errors.
fn coordinates(ideal: &MountModel, direction: &Direction<Apparent>) -> EncoderReading {
    let own = EncoderReading {
        azimuth: direction.azimuth(),
        elevation: direction.elevation(),
    };
    match ideal.kind().is_az_el() {
        true => own,
        // On the axis itself any reading of the first encoder is right.
        false => {
            (ideal.readings(direction, ApproachSigns::UNKNOWN)).map_or(own, |both| both.direct)
        }
    }
}

fn fixed(at: &EncoderReading, near: Angle) -> Fixed {
    Fixed::new(
        at.azimuth.nearest_turn_to(near).radians(),
        at.elevation.radians(),
    )
}

/// The samples in time order, without duplicates.
fn in_order(samples: &[Sample], reasons: &mut Vec<Reason>) -> Vec<Sample> {
    let mut ordered = samples.to_vec();
    let backward = ordered.windows(2).filter(|w| w[1].time < w[0].time).count();
    if backward > 0 {
        ordered.sort_by_key(|s| s.time);
        reasons.push(Reason::OutOfOrder { places: backward });
    }
    let all = ordered.len();
    ordered.dedup();
    if ordered.len() < all {
        reasons.push(Reason::Repeated {
            samples: all - ordered.len(),
        });
    }
    ordered
}

/// An encoder that keeps one reading for this many times its usual number of samples is stuck;
/// common practice, no source.
const STUCK_TIMES: usize = 4;

/// Drops the samples whose position is not known because the encoders stuck while the mount kept
/// moving: runs of equal readings that are much longer than usual and end with a jump, and long
/// runs at the ends of the scan. A scan whose readings never change is one of a parked dish, and is
/// left unchanged.
fn drop_still(points: &mut Vec<ScanPoint>, reasons: &mut Vec<Reason>) {
    let same = |a: &ScanPoint, b: &ScanPoint| a.azimuth == b.azimuth && a.elevation == b.elevation;
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for i in 0..points.len() {
        match runs.last_mut() {
            Some((_, end)) if same(&points[i - 1], &points[i]) => *end = i + 1,
            _ => runs.push((i, i + 1)),
        }
    }
    if runs.len() < 3 {
        return;
    }
    let step = |run: usize| {
        let (from, to) = (&points[runs[run].0], &points[runs[run + 1].0]);
        let cross = (to.azimuth - from.azimuth) * from.emitter.cos;
        cross.hypot(to.elevation - from.elevation)
    };
    let usual_length = median(runs.iter().map(|(from, to)| (to - from) as f64).collect());
    let usual_step = median((0..runs.len() - 1).map(step).collect());
    let longest = LEAST_SAMPLES_OF_A_STUCK_ENCODER.max(STUCK_TIMES * usual_length as usize);
    let mut keep = vec![true; points.len()];
    let mut stuck = 0;
    for (i, (from, to)) in runs.iter().enumerate() {
        if to - from < longest {
            continue;
        }
        let at_an_end = i == 0 || i == runs.len() - 1;
        if at_an_end || step(i) > CATCH_UP_OF_A_STUCK_ENCODER * usual_step {
            // The reading is right at the start of a run, except in the first run, where it is
            // right at the end.
            let right = if i == 0 { to - 1 } else { *from };
            for (k, kept) in keep.iter_mut().enumerate().take(*to).skip(*from) {
                *kept = k == right;
            }
            stuck += to - from - 1;
        }
    }
    if stuck > 0 {
        reasons.push(Reason::Stuck { samples: stuck });
        let mut kept = keep.iter();
        points.retain(|_| *kept.next().unwrap_or(&true));
    }
}

/// Ratio of standard deviation to median absolute deviation for normal noise: 1 / 0.6745 (Huber and
/// Ronchetti, Robust Statistics, 2nd edition).
pub(crate) const SIGMA_OF_MEDIAN: f64 = 1.4826;

/// The median; zero if there are no values.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
