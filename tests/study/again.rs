//! A few new peaks of a made-up mount, moved or not, against its old calibration.

use plumbeam::angle::{Angle, Direction, Offset};
use plumbeam::explain::observe::Observations;
use plumbeam::logbook::Calibration;
use plumbeam::mount::{MountModel, TermValues};
use plumbeam::problem::Error;
use plumbeam::recheck::{ChangeKind, Old, Recheck, RecheckRequest, recheck_observed, usual_limit};
use plumbeam::solve::Options;
use plumbeam::solve::calibration;
use plumbeam::time::Utc;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use super::{Session, SkyKind, bell, observe, place, residual, side};

/// A mount and its old calibration.
pub struct Before {
    pub session: Session,
    pub old: Old,
    number: u64,
}

impl Before {
    /// Of the session of that number, solved as a user would; none when it cannot be.
    pub fn of(session: Session, number: u64, options: &Options) -> Option<Before> {
        let outcome = session.solve(options).ok()?;
        let calibration: Calibration = calibration(&outcome, &session.station, created());
        Some(Before {
            old: Old::new(calibration, "calibration.json").ok()?,
            session,
            number,
        })
    }

    /// New peaks, and what recheck says of them.
    pub fn again(&self, after: &After) -> Result<Recheck, Error> {
        let request = RecheckRequest {
            limit: match after.size {
                Size::Beams(_) => usual_limit(&self.session.station),
                Size::Noises(_) => self.session.noise,
            },
            seed: 1,
        };
        let found = self.new_peaks(after);
        recheck_observed(&self.session.station, found, &self.old, &request)
    }

    /// The truth after the change.
    pub fn truth(&self, after: &After) -> TermValues {
        let mut rng = self.rng(after);
        let error = match after.size {
            Size::Beams(beams) => self.session.station.dish.beamwidth * beams,
            Size::Noises(noises) => self.session.noise * noises,
        };
        let mut pattern = Vec::new();
        for change in after.kind.terms() {
            // No part is next to nothing: that would be a smaller kind of change.
            let part = rng.random_range(0.5..1.5) * side(&mut rng).sign();
            pattern.push((change.term, part));
        }
        let shifted = |scale: f64| {
            let mut truth = self.session.truth;
            for (term, part) in &pattern {
                let by = term.unit().outward(scale * part);
                truth.set_shown(*term, truth.shown(*term) + by);
            }
            truth
        };
        if after.kind == ChangeKind::Unmoved {
            return self.session.truth;
        }
        // Linear: a small step tells the size of a large one.
        const STEP: f64 = 1e-4;
        let unit = error_over_sky(&self.session.truth, &shifted(STEP)).radians() / STEP;
        shifted(error.radians() / unit)
    }

    fn rng(&self, after: &After) -> ChaCha12Rng {
        let of = after.kind as u64 + 16 * after.peaks as u64 + 1024 * after.wide as u64;
        ChaCha12Rng::seed_from_u64(0xa9a1_0000 + self.number + (of << 32))
    }

    fn new_peaks(&self, after: &After) -> Observations {
        let model = MountModel::az_el(self.truth(after));
        let mut rng = self.rng(after);
        let noise = self.session.noise;
        let sky = if after.wide {
            SkyKind::Whole
        } else {
            self.session.sky
        };
        let mut found = Observations::default();
        while found.usable.len() < after.peaks {
            let row = found.usable.len() + 1;
            let step = Offset {
                cross_elevation: noise * bell(&mut rng),
                elevation: noise * bell(&mut rng),
            };
            let target = place(&mut rng, sky);
            let approach = [side(&mut rng), side(&mut rng)];
            found
                .usable
                .extend(observe(&model, &mut rng, row, target, step, approach));
        }
        found
    }
}

/// Size of an error; the limit asked for goes with it.
#[derive(Clone, Copy, Debug)]
pub enum Size {
    /// In beamwidths; asked with the usual limit, a tenth of one.
    Beams(f64),
    /// In standard deviations of a peak's coordinate; asked with a limit of one.
    Noises(f64),
}

/// What happened between the calibration and the new peaks.
#[derive(Clone, Copy, Debug)]
pub struct After {
    pub kind: ChangeKind,
    /// The error that it makes, rms over the sky.
    pub size: Size,
    /// New peaks.
    pub peaks: usize,
    /// Whether the new peaks lie all over the sky, or where the old ones lay.
    pub wide: bool,
}

/// The error of one truth against another, rms over the sky from 5 to 80 degrees of elevation.
pub fn error_over_sky(one: &TermValues, other: &TermValues) -> Angle {
    let (one, other) = (MountModel::az_el(*one), MountModel::az_el(*other));
    let mut rng = ChaCha12Rng::seed_from_u64(7);
    let mut squares = Vec::new();
    for _ in 0..2000 {
        let (low, high) = (5f64.to_radians().sin(), 80f64.to_radians().sin());
        let elevation = rng.random_range(low..high).asin();
        let azimuth = rng.random_range(0.0..std::f64::consts::TAU);
        let target =
            Direction::apparent(Angle::from_radians(azimuth), Angle::from_radians(elevation));
        let approach = [side(&mut rng), side(&mut rng)];
        if let Some(o) = observe(&one, &mut rng, 1, target, Offset::default(), approach) {
            squares.push(residual(&other, &o).size().radians().powi(2));
        }
    }
    Angle::from_radians((squares.iter().sum::<f64>() / squares.len() as f64).sqrt())
}

fn created() -> Utc {
    Utc::from_unix_nanos(1_767_225_600_000_000_000)
}
