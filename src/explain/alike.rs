//! Bad peaks that are off by the same amount: one displacement that comes and goes.

use crate::angle::{Angle, Direction};

use super::joint_fit::JointFit;
use super::row_causes::BadPeak;
use super::session::Session;

/// This many bad peaks with the same displacement are not chance; common practice, no source.
const LEAST_ALIKE: usize = 4;
/// Two displacements are the same when they agree to within this many of their standard deviations:
/// the usual three sigmas.
const AGREE: f64 = 3.0;

/// Bad peaks whose readings are off by the same step.
#[derive(Clone, Debug)]
pub struct Alike {
    /// Their places among the bad peaks.
    pub members: Vec<usize>,
    /// Readings minus what they should have been, in azimuth and elevation, mean of the group.
    pub step: [Angle; 2],
    /// One standard deviation of each mean, from the spread.
    pub sigma: [Angle; 2],
    /// Spread of a single one.
    pub spread: [Angle; 2],
    /// Whether no other peak of the log lies between them in time.
    pub together: bool,
    /// The emitter common to all of them, by its number in the station file, if there is one.
    pub emitter: Option<usize>,
}

/// How far the readings of one bad peak are off.
struct Displacement {
    /// Its place among the bad peaks.
    place: usize,
    /// Readings minus what they should have been, radians.
    step: [f64; 2],
    /// Cosine of its elevation.
    cosine: f64,
    /// One standard deviation of its distance, radians.
    sigma: f64,
}

impl Displacement {
    fn near(&self, other: &Displacement) -> bool {
        let across = (self.step[0] - other.step[0]) * self.cosine.min(other.cosine);
        across.hypot(self.step[1] - other.step[1]) < AGREE * self.sigma.max(other.sigma)
    }
}

/// Returns the largest group of unnamed bad peaks that share the same offset.
pub fn alike(session: &Session, fit: &JointFit, bad: &[BadPeak]) -> Option<Alike> {
    let steps: Vec<Displacement> = (bad.iter().enumerate())
        .filter(|(_, b)| b.kind.is_none())
        .filter_map(|(place, b)| {
            let (step, cosine) = step_of(session, fit, b.index)?;
            Some(Displacement {
                place,
                step,
                cosine,
                sigma: b.sigma.radians(),
            })
        })
        .collect();
    let groups = steps
        .iter()
        .map(|centre| -> Vec<&Displacement> { steps.iter().filter(|s| s.near(centre)).collect() });
    let members = groups.max_by_key(Vec::len)?;
    let n = members.len();
    if n < LEAST_ALIKE {
        return None;
    }
    let mean = [0, 1].map(|a| members.iter().map(|m| m.step[a]).sum::<f64>() / n as f64);
    let spread = [0, 1].map(|a| {
        let squares: f64 = members.iter().map(|m| (m.step[a] - mean[a]).powi(2)).sum();
        (squares / (n - 1) as f64).sqrt()
    });
    let places: Vec<usize> = members.iter().map(|m| m.place).collect();
    let emitter_of = |place: usize| session.peaks[bad[place].index].emitter;
    let first = emitter_of(places[0]);
    let alone = places.iter().all(|p| emitter_of(*p) == first);
    Some(Alike {
        together: together(session, places.iter().map(|p| bad[*p].index).collect()),
        emitter: alone.then_some(first),
        members: places,
        step: mean.map(Angle::from_radians),
        sigma: spread.map(|s| Angle::from_radians(s / (n as f64).sqrt())),
        spread: spread.map(Angle::from_radians),
    })
}

/// A peak's readings minus those that would have put the beam on its emitter, radians, and the
/// cosine of its elevation; `None` when an axis was not read.
fn step_of(session: &Session, fit: &JointFit, index: usize) -> Option<([f64; 2], f64)> {
    let sighting = &session.peaks[index].sighting;
    (sighting.coordinates() == 2).then_some(())?;
    let there = fit.problem(session).at(index, &fit.parameters);
    let target = Direction::from_east_north_up(&there.target());
    let wanted = there.mount.readings(&target, sighting.approach).ok()?;
    let from = |to: crate::angle::EncoderReading| {
        [
            (there.reading.azimuth - to.azimuth)
                .wrapped_signed()
                .radians(),
            (there.reading.elevation - to.elevation)
                .wrapped_signed()
                .radians(),
        ]
    };
    let (direct, over) = (from(wanted.direct), from(wanted.over_the_top));
    let step = if direct[1].abs() <= over[1].abs() {
        direct
    } else {
        over
    };
    Some((step, there.reading.elevation.cos().abs()))
}

/// Whether these peaks follow each other in time with no other peak between them.
fn together(session: &Session, members: Vec<usize>) -> bool {
    let mut order: Vec<usize> = (0..session.peaks.len()).collect();
    order.sort_by(|a, b| session.peaks[*a].hours.total_cmp(&session.peaks[*b].hours));
    let of: Vec<usize> = (order.iter().enumerate())
        .filter(|(_, i)| members.contains(i))
        .map(|(place, _)| place)
        .collect();
    match (of.first(), of.last()) {
        (Some(first), Some(last)) => last - first + 1 == of.len(),
        _ => false,
    }
}
