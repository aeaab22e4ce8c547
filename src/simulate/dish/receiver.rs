//! Power that a simulated receiver shows while the beam passes over the emitters.

use nalgebra::Vector3;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

use super::super::scan_session::DISC_RADIUS_DEG;
use super::super::truth::Practice;
use crate::angle::{Angle, angle_between};
use crate::scan::Beam;
use crate::sky::{EmitterId, Sky};
use crate::station::{EmitterKind, Station};
use crate::time::Utc;

/// Interval, seconds, at which the directions of emitters that turn with the sky are computed;
/// between them they are interpolated linearly. The sky turns by 0.02 degrees in it, and the error
/// is far below any beamwidth.
const SKY_STEP_S: f64 = 5.0;
/// The same for satellites, which may move a degree a second.
const SATELLITE_STEP_S: f64 = 0.5;
/// Strengths of the emitters vary by up to this many decibels either way; invented.
const STRENGTHS_DB: f64 = 2.0;
/// What the receiver shows with no emitter in the beam, decibels; invented.
const FLOOR_DB: f64 = -90.0;

/// An emitter as the receiver sees it.
struct Heard {
    id: EmitterId,
    /// Height of its peak above the empty sky, which is 1.
    height: f64,
    beam: Beam,
    /// Radius of its disc, beamwidths.
    disc: f64,
    step_s: f64,
    /// Two directions and their times, seconds of the run, to interpolate between.
    nodes: Option<[(f64, Option<Vector3<f64>>); 2]>,
}

pub struct Receiver {
    sky: Sky,
    start: Utc,
    emitters: Vec<Heard>,
    sun: Heard,
    beamwidth: Angle,
    practice: Practice,
    rng: ChaCha12Rng,
    strongest: f64,
}

impl Receiver {
    pub fn new(
        station: &Station,
        sky: &Sky,
        (practice, signal_to_noise): (Practice, f64),
        (start, seed): (Utc, u64),
    ) -> Receiver {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let beamwidth = station.dish.beamwidth;
        let emitters: Vec<Heard> = (sky.emitters())
            .map(|id| {
                let kind = station.emitter(sky.name(id)).map(|e| &e.kind);
                let disc = match kind {
                    Some(EmitterKind::Sun | EmitterKind::Moon) => {
                        DISC_RADIUS_DEG / beamwidth.degrees()
                    }
                    _ => 0.0,
                };
                let moves = matches!(kind, Some(EmitterKind::Satellite { .. }));
                let decibels = rng.random_range(-STRENGTHS_DB..=STRENGTHS_DB);
                Heard {
                    id,
                    height: signal_to_noise * practice.scatter * 10f64.powf(decibels / 10.0),
                    beam: Beam::of_disc(disc),
                    disc,
                    step_s: if moves { SATELLITE_STEP_S } else { SKY_STEP_S },
                    nodes: None,
                }
            })
            .collect();
        Receiver {
            strongest: emitters.iter().map(|e| e.height).fold(0.0, f64::max),
            sun: Heard {
                id: sky.sun(),
                height: 0.0,
                beam: Beam::of_point(),
                disc: 0.0,
                step_s: SKY_STEP_S,
                nodes: None,
            },
            sky: sky.clone(),
            start,
            emitters,
            beamwidth,
            practice,
            rng,
        }
    }

    /// Direction of the Sun; `None` while it is below the horizon.
    pub fn sun(&mut self, seconds: f64) -> Option<Vector3<f64>> {
        (self.sun.direction(&self.sky, self.start, seconds)).filter(|sun| sun.z > 0.0)
    }

    /// Returns the line of power, decibels, for a beam direction at `seconds` after the start.
    pub fn line(&mut self, beam: &Vector3<f64>, seconds: f64, saturated: bool) -> String {
        let chord = 2.0 * (0.5 * self.beamwidth.radians()).sin();
        let mut power = 1.0;
        for emitter in &mut self.emitters {
            let Some(there) = emitter.direction(&self.sky, self.start, seconds) else {
                continue;
            };
            let apart = angle_between(beam, &there);
            // The dish receives nothing from behind.
            if apart < Angle::RIGHT {
                let distance = apart.radians().sin() / chord;
                let response = emitter.beam.response(distance * distance, emitter.disc);
                power += emitter.height * response.value;
            }
        }
        let drift_db = self.practice.drift_db_per_hour * seconds / 3600.0;
        power *= 10f64.powf(drift_db / 10.0);
        let deviate: f64 = StandardNormal.sample(&mut self.rng);
        power *= (1.0 + self.practice.scatter * deviate).max(1e-3);
        let spikes = self.practice.spikes_per_minute / 60.0 / self.practice.lines_a_second;
        if self.rng.random_range(0.0..1.0) < spikes {
            power += self.strongest * self.rng.random_range(0.3..1.3);
        }
        if saturated {
            power = power.min(1.0 + 0.5 * self.strongest);
        }
        format!("{:.4}", 10.0 * power.log10() + FLOOR_DB)
    }
}

impl Heard {
    /// Direction of the emitter, interpolated; `None` where the sky has no direction for it.
    fn direction(&mut self, sky: &Sky, start: Utc, seconds: f64) -> Option<Vector3<f64>> {
        let inside = |nodes: &[(f64, Option<Vector3<f64>>); 2]| {
            nodes[0].0 <= seconds && seconds <= nodes[1].0
        };
        if !self.nodes.as_ref().is_some_and(inside) {
            let before = (seconds / self.step_s).floor() * self.step_s;
            let at = |s: f64| {
                let there = sky.apparent_of(self.id, start.plus_seconds(s)).ok();
                (s, there.map(|d| d.east_north_up()))
            };
            self.nodes = Some([at(before), at(before + self.step_s)]);
        }
        let [(from, one), (to, other)] = self.nodes?;
        let share = (seconds - from) / (to - from);
        Some((one? * (1.0 - share) + other? * share).normalize())
    }
}
