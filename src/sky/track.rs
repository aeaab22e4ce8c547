//! One emitter at many times, by interpolation.

use std::sync::OnceLock;

use nalgebra::Vector3;

use super::satellite::nearest_orbit;
use super::timescale::tai_minus_utc_s;
use super::tuned::{INTERVALS_WORKED_OUT_TOGETHER, LONGEST_BETWEEN_NODES_S, TURN_BETWEEN_NODES};
use super::{EmitterError, EmitterId, Motion, Sky};
use crate::angle::{Apparent, Direction, Geometric};
use crate::time::Utc;

/// Nodes before an interval that interpolation by six points needs.
const BEFORE: usize = 2;
/// Nodes after the beginning of an interval that it needs.
const AFTER: usize = 3;

/// Directions of one emitter within a span of time, at some 0.2 microseconds each.
///
/// The geometric vector to the emitter is interpolated between rigorous nodes (six-point
/// Lagrange), and refraction is then applied in full. Against [`Sky::geometric`] the error is below
/// 0.01 arcsec for the Sun, the Moon and sources, and below 0.1 arcsec for satellites. Nodes are worked
/// out when first needed, so that a long span sparsely used costs little. Where nothing smooth can
/// be laid through the nodes (across a leap second, from one element set to the next, where an
/// orbit ends) and outside the span, the answer is that of the [`Sky`] itself. Threads may share
/// one.
#[derive(Debug)]
pub struct Track<'a> {
    sky: &'a Sky,
    id: EmitterId,
    from: Utc,
    step_s: f64,
    blocks: Vec<OnceLock<Option<Nodes>>>,
}

/// Vectors (east, north, up) at the nodes of a block and those just outside it.
type Nodes = Box<[Vector3<f64>; BEFORE + INTERVALS_WORKED_OUT_TOGETHER + AFTER]>;

impl<'a> Track<'a> {
    pub(super) fn new(sky: &'a Sky, id: EmitterId, from: Utc, to: Utc) -> Track<'a> {
        let step_s = match &sky.known(id).motion {
            Motion::Satellite(orbits) => orbits
                .iter()
                .map(|o| TURN_BETWEEN_NODES / o.fastest)
                .fold(LONGEST_BETWEEN_NODES_S, f64::min),
            _ => LONGEST_BETWEEN_NODES_S,
        };
        let span_s = to.seconds_since(from).max(0.0);
        // One more than is full, so that the very end is inside.
        let blocks = (span_s / (step_s * INTERVALS_WORKED_OUT_TOGETHER as f64)) as usize + 1;
        Track {
            sky,
            id,
            from,
            step_s,
            blocks: std::iter::repeat_with(OnceLock::new).take(blocks).collect(),
        }
    }

    /// Direction of the emitter without refraction.
    ///
    /// # Errors
    /// As [`Sky::geometric_of`].
    pub fn geometric(&self, time: Utc) -> Result<Direction<Geometric>, EmitterError> {
        match self.interpolated(time) {
            Some(v) => Ok(Direction::from_east_north_up(&v)),
            None => self.sky.geometric_of(self.id, time),
        }
    }

    /// Direction in which the beam must point.
    ///
    /// # Errors
    /// As [`Sky::apparent_of`].
    pub fn apparent(&self, time: Utc) -> Result<Direction<Apparent>, EmitterError> {
        match self.interpolated(time) {
            Some(v) => Ok(self.sky.through_the_air(&v)),
            None => self.sky.apparent_of(self.id, time),
        }
    }

    /// How fast the beam must move on the sky, in degrees per minute.
    ///
    /// # Errors
    /// As [`Sky::rate_of`].
    pub fn rate(&self, time: Utc) -> Result<f64, EmitterError> {
        self.sky.rate_by(self.id, time, |time| self.apparent(time))
    }

    /// The vector to a moving emitter; `None` where it must be computed rigorously.
    fn interpolated(&self, time: Utc) -> Option<Vector3<f64>> {
        if self.sky.known(self.id).motion.is_inside_the_air() {
            return None;
        }
        let steps = time.seconds_since(self.from) / self.step_s;
        if steps < 0.0 {
            return None;
        }
        let interval = steps as usize;
        let block = interval / INTERVALS_WORKED_OUT_TOGETHER;
        let nodes = self
            .blocks
            .get(block)?
            .get_or_init(|| self.nodes(block))
            .as_ref()?;
        let first = interval % INTERVALS_WORKED_OUT_TOGETHER;
        let weights = lagrange(steps - interval as f64);
        let sum = nodes[first..]
            .iter()
            .zip(weights)
            .fold(Vector3::zeros(), |sum, (node, weight)| sum + node * weight);
        Some(sum)
    }

    /// The nodes of a block; `None` if no smooth curve goes through them.
    fn nodes(&self, block: usize) -> Option<Nodes> {
        let time = |i: usize| {
            let steps = (block * INTERVALS_WORKED_OUT_TOGETHER + i) as f64 - BEFORE as f64;
            self.from.plus_seconds(steps * self.step_s)
        };
        let last = BEFORE + INTERVALS_WORKED_OUT_TOGETHER + AFTER - 1;
        if tai_minus_utc_s(time(0)) != tai_minus_utc_s(time(last)) {
            return None;
        }
        if let Motion::Satellite(orbits) = &self.sky.known(self.id).motion
            && nearest_orbit(orbits, time(0)).epoch != nearest_orbit(orbits, time(last)).epoch
        {
            return None;
        }
        let mut nodes: Nodes =
            Box::new([Vector3::zeros(); BEFORE + INTERVALS_WORKED_OUT_TOGETHER + AFTER]);
        for (i, node) in nodes.iter_mut().enumerate() {
            *node = self.sky.at(time(i)).towards(self.id).ok()?;
        }
        Some(nodes)
    }
}

/// Weights of the six nodes at -2, -1, 0, 1, 2, 3 for a place `x` from 0 to 1: the products of
/// (x - j)/(k - j) over the other nodes j (Lagrange).
fn lagrange(x: f64) -> [f64; BEFORE + 1 + AFTER] {
    let [a, b, c, d, e, f] = [x + 2.0, x + 1.0, x, x - 1.0, x - 2.0, x - 3.0];
    let (ab, ef) = (a * b, e * f);
    [
        b * c * d * ef / -120.0,
        a * c * d * ef / 24.0,
        ab * d * ef / -12.0,
        ab * c * ef / 12.0,
        ab * c * d * f / -24.0,
        ab * c * d * e / 120.0,
    ]
}
