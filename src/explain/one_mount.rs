//! The rows of peaks for which one mount model applies, several at a time, from a compact form of
//! each peak.

use multiversion::multiversion;
use rayon::prelude::*;

use crate::angle::Angle;
use crate::fit::Block;
use crate::mount::batch::{Batch, MoreOfReadings, Readings};
use crate::mount::{Geometry, LANES, Lanes, MountModel, Term};

use super::observe::Sighting;
use super::peak::SessionPeak;
use super::tuned::PEAKS_WORTH_SHARING;

/// The data that every pass needs of the peaks: a fraction of the size of the log.
#[derive(Clone, Debug)]
pub struct KeptPeaks(Vec<Kept>);

#[derive(Clone, Copy, Debug)]
struct Kept {
    /// Sine and cosine of both readings.
    azimuth: [f64; 2],
    elevation: [f64; 2],
    /// Emitter position at the held clock offset, in the mount's own frame.
    target: [f64; 3],
    /// One over the standard deviations in cross-elevation and elevation; zero for a peak with an
    /// unmeasured axis.
    weight: [f64; 2],
}

impl Kept {
    fn of(
        sighting: &Sighting,
        sigma: &[Angle; 2],
        clock_offset_s: f64,
        geometry: &Geometry,
    ) -> Kept {
        let (Some(azimuth), Some(elevation)) = (sighting.azimuth, sighting.elevation) else {
            return Kept {
                azimuth: [0.0; 2],
                elevation: [0.0; 2],
                target: [0.0; 3],
                weight: [0.0; 2],
            };
        };
        Kept {
            azimuth: azimuth.sin_cos().into(),
            elevation: elevation.sin_cos().into(),
            target: geometry
                .to_mount(&sighting.target_at(clock_offset_s))
                .into(),
            weight: sigma.map(|s| 1.0 / s.radians()),
        }
    }
}

impl KeptPeaks {
    /// Prepares some peaks, with the clock offset of `held`, which applies unless the offset is
    /// fitted.
    pub fn of(peaks: &[SessionPeak], sigmas: &[[Angle; 2]], held: &MountModel) -> KeptPeaks {
        let clock_offset_s = held.terms().inside(Term::ClockOffset);
        let keep = |(peak, sigma): (&SessionPeak, &[Angle; 2])| {
            Kept::of(&peak.sighting, sigma, clock_offset_s, held.geometry())
        };
        KeptPeaks(if peaks.len() < PEAKS_WORTH_SHARING {
            peaks.iter().zip(sigmas).map(keep).collect()
        } else {
            peaks.par_iter().zip(sigmas).map(keep).collect()
        })
    }
    /// Whether both axes of a peak were measured; other peaks are not handled here.
    pub fn is_whole(&self, index: usize) -> bool {
        self.0[index].weight != [0.0; 2]
    }
}

/// One mount model and the peaks to which it applies.
pub struct OneMount<'a> {
    peaks: &'a [SessionPeak],
    kept: &'a KeptPeaks,
    /// The terms that are the parameters.
    terms: &'a [Term],
    batch: Batch,
    geometry: Geometry,
    /// Whether there are terms that depend on more than sines and cosines.
    more: bool,
    /// The clock offset where it is fitted.
    clock: Option<f64>,
}

impl<'a> OneMount<'a> {
    /// Prepares a mount model.
    pub fn new(
        mount: &MountModel,
        peaks: &'a [SessionPeak],
        kept: &'a KeptPeaks,
        terms: &'a [Term],
    ) -> OneMount<'a> {
        let batch = Batch::new(mount);
        OneMount {
            geometry: *mount.geometry(),
            peaks,
            kept,
            terms,
            more: batch.wants_more(terms),
            clock: (terms.contains(&Term::ClockOffset))
                .then(|| mount.terms().inside(Term::ClockOffset)),
            batch,
        }
    }

    /// Pushes the rows of some peaks, all with both axes measured.
    pub fn push_rows(&self, indices: &[usize], block: &mut Block) {
        push_rows_here(self, indices, block);
    }

    /// The readings of [`LANES`] peaks.
    #[inline(always)]
    fn readings(&self, four: &[usize; LANES], kept: &[&Kept; LANES]) -> Readings {
        let each = |of: fn(&Kept) -> f64| Lanes::of(*kept, of);
        Readings {
            azimuth: [each(|k| k.azimuth[0]), each(|k| k.azimuth[1])],
            elevation: [each(|k| k.elevation[0]), each(|k| k.elevation[1])],
            more: self.more.then(|| self.more_of_readings(four)),
        }
    }
    fn more_of_readings(&self, four: &[usize; LANES]) -> MoreOfReadings {
        let each = |of: fn(&Sighting) -> f64| Lanes::of(*four, |i| of(&self.peaks[i].sighting));
        MoreOfReadings {
            azimuth: each(|s| s.azimuth.map_or(0.0, Angle::radians)),
            elevation: each(|s| s.elevation.map_or(0.0, Angle::radians)),
            azimuth_approach: each(|s| s.approach.azimuth),
            elevation_approach: each(|s| s.approach.elevation),
        }
    }

    /// Their emitter positions.
    #[inline(always)]
    fn targets(&self, four: &[usize; LANES], kept: &[&Kept; LANES]) -> [Lanes; 3] {
        match self.clock {
            None => [0, 1, 2].map(|axis| Lanes::of(*kept, |k| k.target[axis])),
            Some(clock) => self.targets_at(four, clock),
        }
    }
    fn targets_at(&self, four: &[usize; LANES], clock: f64) -> [Lanes; 3] {
        let targets =
            four.map(|i| (self.geometry).to_mount(&self.peaks[i].sighting.target_at(clock)));
        [0, 1, 2].map(|axis| Lanes::of(targets, |target| target[axis]))
    }

    /// Their emitters' rates, per second.
    fn target_rates(&self, four: &[usize; LANES]) -> [Lanes; 3] {
        let rates = four.map(|i| self.geometry.to_mount(&self.peaks[i].sighting.target_rate));
        [0, 1, 2].map(|axis| Lanes::of(rates, |rate| rate[axis]))
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn push_rows_here(mount: &OneMount<'_>, indices: &[usize], block: &mut Block) {
    let mut derivatives = [[[0.0; LANES]; 2]; Term::COUNT];
    for chunk in indices.chunks(LANES) {
        // Lanes beyond the last peak repeat it and are not pushed.
        let last = chunk.len() - 1;
        let four = [
            chunk[0],
            chunk[last.min(1)],
            chunk[last.min(2)],
            chunk[last],
        ];
        let kept = four.map(|i| &mount.kept.0[i]);
        let readings = mount.readings(&four, &kept);
        let targets = mount.targets(&four, &kept);
        let weight = [0, 1].map(|axis| Lanes::of(kept, |k| k.weight[axis]));
        let weighted = |[x, y]: [Lanes; 2]| [(x * weight[0]).0, (y * weight[1]).0];
        let sight = mount.batch.sight(&readings);
        let residuals = weighted(sight.offset_to(&targets));
        if block.wants_derivatives() {
            let moves = mount.batch.moves(&sight);
            for (derivative, term) in derivatives.iter_mut().zip(mount.terms) {
                *derivative = weighted(match term {
                    Term::ClockOffset => sight.resolved(&mount.target_rates(&four)),
                    // Emitter minus beam.
                    _ => moves.by(*term, &readings).map(|x| -x),
                });
            }
        }
        block.push_pairs(chunk, &residuals, &derivatives[..mount.terms.len()]);
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::super::misfit::{misfit, misfit_with_derivatives};
    use super::super::problem::JointProblem;
    use std::sync::Arc;

    use super::super::log_change::LogSet;
    use super::super::shape::{Lever, Shape, ShapeColumn};
    use super::*;
    use crate::angle::{Direction, SkyBasis};
    use crate::fit::LeastSquares;
    use crate::mount::{ApproachSigns, Group, TermValues};
    use crate::time::Utc;

    /// A simulated session all over the sky, some peaks with one axis only, with the beam off by
    /// `off` radians.
    fn peaks(model: &MountModel, count: usize, off: f64) -> Vec<SessionPeak> {
        let part = |i: usize, step: f64| (0.5 + i as f64 * step).fract();
        (0..count)
            .map(|i| {
                let direction = Direction::apparent(
                    Angle::from_degrees(360.0 * part(i, 0.754_877_666)),
                    Angle::from_degrees(15.0 + 65.0 * part(i, 0.569_840_291)),
                );
                let approach = ApproachSigns {
                    azimuth: [1.0, -1.0, 0.0][i % 3],
                    elevation: [1.0, -1.0, 0.0][i / 3 % 3],
                };
                let reading = model.readings(&direction, approach).unwrap().direct;
                let basis = SkyBasis::at(&direction.east_north_up());
                let aside = basis.rightward * part(i, 0.414) + basis.upward * part(i, 0.236);
                SessionPeak {
                    sighting: Sighting {
                        azimuth: (i % 7 != 3).then_some(reading.azimuth),
                        elevation: (i % 11 != 5).then_some(reading.elevation),
                        approach,
                        target: (basis.outward + aside * off).normalize(),
                        target_rate: Vector3::new(2e-4, -1e-4, 3e-4).cross(&basis.outward),
                        clock_offset_s: 0.0,
                    },
                    log: 0,
                    feed: 0,
                    row: i + 1,
                    line: i + 2,
                    time: Utc::from_unix_nanos(1_790_000_000_000_000_000),
                    emitter_name: "invented".into(),
                    emitter: 0,
                    hours: 0.0,
                    day_angle: Angle::ZERO,
                    place_sigma: Angle::ZERO,
                    by_lag: [Angle::ZERO; 2],
                    temperature_c: None,
                    along_orbit: Vector3::zeros(),
                    bend: Vector3::zeros(),
                }
            })
            .collect()
    }

    fn whole(peaks: Vec<SessionPeak>) -> Vec<SessionPeak> {
        let both = |p: &SessionPeak| p.sighting.coordinates() == 2;
        peaks.into_iter().filter(both).collect()
    }

    /// The terms as columns of a fit.
    fn columns(terms: &[Term]) -> Vec<ShapeColumn> {
        let column = |term: &Term| ShapeColumn::term(*term, Shape::Always, 1.0);
        terms.iter().map(column).collect()
    }

    fn values(free: &[Term], terms: &TermValues) -> Vec<f64> {
        free.iter().map(|t| terms.inside(*t)).collect()
    }

    fn terms() -> TermValues {
        let mut terms = TermValues::ZERO;
        for (i, term) in Term::ALL.into_iter().enumerate() {
            terms.set_inside(term, 0.01 - 0.001 * i as f64);
        }
        terms.with_shown(Term::ClockOffset, 0.0)
    }

    /// Rows of one peak after the other, in the order of the observations.
    fn rows(
        problem: &JointProblem<'_>,
        parameters: &[f64],
        derivatives: bool,
    ) -> Vec<(usize, f64, Vec<f64>)> {
        let mut rows = Vec::new();
        (LeastSquares::new(problem, usize::MAX))
            .pass(parameters, derivatives, |block| {
                for (row, i) in block.observation_of_rows().iter().enumerate() {
                    let n = if derivatives { parameters.len() } else { 0 };
                    let slopes = (0..n).map(|j| block.derivative(row, j)).collect();
                    rows.push((*i, block.residual(row), slopes));
                }
            })
            .unwrap();
        rows.sort_by_key(|row| row.0);
        rows
    }

    #[test]
    fn rows_equal_those_of_each_misfit_by_itself() {
        const ROUNDING: f64 = 1e-12;
        let terms = terms();
        // Far off, as at a first step, and close.
        for off in [0.3, 1e-4] {
            let peaks = peaks(&MountModel::az_el(terms), 300, off);
            let sigmas: Vec<[Angle; 2]> = (0..300)
                .map(|i| [0.5, 2.0].map(|s| Angle::from_radians(s + 0.01 * i as f64)))
                .collect();
            let free = Term::ALL;
            let columns = columns(&free);
            let problem = JointProblem::new(
                &peaks,
                &sigmas,
                &columns,
                MountModel::ideal(Geometry::AZ_EL),
            );
            let mut parameters = values(&free, &terms);
            parameters[Term::ClockOffset as usize] = 0.7;
            let mount = problem.mount(&parameters);
            let mut expected = Vec::new();
            for (i, peak) in peaks.iter().enumerate() {
                let sigma = sigmas[i].map(Angle::radians);
                let mut slopes = [vec![0.0; free.len()], vec![0.0; free.len()]];
                let found = misfit_with_derivatives(&mount, &peak.sighting, &free, |j, change| {
                    slopes[0][j] = change[0] / sigma[0];
                    slopes[1][j] = change[1] / sigma[1];
                });
                let [cross, up] = slopes;
                let offset = found.offset;
                if peak.sighting.azimuth.is_some() {
                    expected.push((i, offset.cross_elevation.radians() / sigma[0], cross));
                }
                if peak.sighting.elevation.is_some() {
                    expected.push((i, offset.elevation.radians() / sigma[1], up));
                }
            }
            let found = rows(&problem, &parameters, true);
            assert_eq!(found.len(), expected.len());
            for (found, expected) in found.iter().zip(&expected) {
                assert_eq!(found.0, expected.0);
                assert!((found.1 - expected.1).abs() < ROUNDING);
                for (j, (a, b)) in found.2.iter().zip(&expected.2).enumerate() {
                    assert!((a - b).abs() < ROUNDING, "{:?} {a} {b}", free[j]);
                }
            }
            let bare = rows(&problem, &parameters, false);
            assert!(
                bare.iter()
                    .zip(&expected)
                    .all(|(a, b)| (a.1 - b.1).abs() < ROUNDING)
            );
        }
    }

    #[test]
    fn a_held_clock_offset_moves_the_emitters() {
        let terms = terms();
        let peaks = whole(peaks(&MountModel::az_el(terms), 30, 0.0));
        let sigmas = vec![[Angle::from_radians(1.0); 2]; peaks.len()];
        let free = [Term::AzimuthZero, Term::ElevationZero];
        let columns = columns(&free);
        // Coefficients are added to the held values.
        let held = (terms
            .without(Group::AzimuthZero)
            .without(Group::ElevationZero))
        .with_shown(Term::ClockOffset, 0.9);
        let problem = JointProblem::new(&peaks, &sigmas, &columns, MountModel::az_el(held));
        let parameters = values(&free, &terms);
        let mount = problem.mount(&parameters);
        let found = rows(&problem, &parameters, false);
        for (i, pair) in found.chunks(2).enumerate() {
            let offset = misfit(&mount, &peaks[i].sighting).offset;
            assert!((pair[0].1 - offset.cross_elevation.radians()).abs() < 1e-12);
            assert!((pair[1].1 - offset.elevation.radians()).abs() < 1e-12);
            assert!(offset.size().radians() > 1e-5);
        }
    }

    #[test]
    fn derivatives_agree_with_differences_of_the_residuals() {
        /// The error of central differences is of the order of this step squared.
        const STEP: f64 = 1e-5;
        const DIFFERENCE: f64 = 1e-8;
        let terms = terms();
        let model = MountModel::az_el(terms);
        let peaks = whole(peaks(&model, 40, 0.0));
        let sigmas = vec![[Angle::from_radians(1.0); 2]; peaks.len()];
        let free = Term::ALL;
        let columns = columns(&free);
        let problem = JointProblem::new(
            &peaks,
            &sigmas,
            &columns,
            MountModel::ideal(Geometry::AZ_EL),
        );
        let parameters = values(&free, &terms);
        let found = rows(&problem, &parameters, true);
        for j in 0..free.len() {
            let at = |step: f64| {
                let mut moved = parameters.clone();
                moved[j] += step;
                rows(&problem, &moved, false)
            };
            for ((after, before), row) in at(STEP).iter().zip(at(-STEP)).zip(&found) {
                let difference = (after.1 - before.1) / (2.0 * STEP);
                // Scale terms multiply a reading of up to seven radians.
                let error = (difference - row.2[j]).abs();
                assert!(error < 1e2 * DIFFERENCE, "{:?}: {error}", free[j]);
            }
        }
    }

    /// The same peaks split over two logs and two feeds, over some hours of a day that warms up,
    /// half of them of a satellite.
    fn told_of(mut peaks: Vec<SessionPeak>) -> Vec<SessionPeak> {
        for (i, peak) in peaks.iter_mut().enumerate() {
            let part = i as f64 / 40.0;
            let basis = SkyBasis::at(&peak.sighting.target);
            peak.log = i % 2;
            peak.feed = i % 3 % 2;
            peak.emitter = i % 2;
            peak.hours = 6.0 * part;
            peak.day_angle = Angle::from_degrees(90.0 + 90.0 * part);
            peak.by_lag = [0.002, -0.001].map(Angle::from_radians);
            peak.temperature_c = Some(10.0 + 8.0 * part);
            peak.along_orbit = basis.rightward * 1e-3 + basis.upward * 2e-3;
            peak.bend = basis.upward * 1e-3;
        }
        peaks
    }

    #[test]
    fn derivatives_of_every_lever_and_shape_agree_with_differences() {
        /// The error of central differences is of the order of this step squared.
        const STEP: f64 = 1e-5;
        const DIFFERENCE: f64 = 1e-5;
        let terms = TermValues::ZERO
            .with_shown(Term::AzimuthZero, 2.0)
            .with_shown(Term::Collimation, 0.5);
        let peaks = told_of(whole(peaks(&MountModel::az_el(terms), 60, 0.0)));
        let sigmas = vec![[Angle::from_radians(1.0); 2]; peaks.len()];
        let steps = (peaks.iter().enumerate()).map(|(i, peak)| {
            let basis = SkyBasis::at(&peak.sighting.target);
            basis.rightward * if i % 4 == 0 { 0.02 } else { 0.0 }
        });
        let shapes = [
            Shape::HoursSince(3.0),
            Shape::After(2.5),
            Shape::InLogs(LogSet::default().with(0)),
            Shape::OfFeed(1),
            Shape::Above(Angle::from_degrees(40.0)),
            Shape::CosAzimuth(3.0),
            Shape::SinAzimuth(2.0),
            Shape::CosElevation(4.0),
            Shape::SinElevation(1.0),
            Shape::CosDay,
            Shape::SinDay,
            Shape::ByLag {
                log: 1,
                second: false,
            },
            Shape::WarmerThan(14.0),
            Shape::CosAzimuth(20.0),
            Shape::SinElevation(15.0),
        ];
        let levers = [
            Term::TiltNorth,
            Term::AzimuthZero,
            Term::Collimation,
            Term::Droop,
        ];
        let mut columns = columns(&[Term::AzimuthZero, Term::Collimation]);
        columns.extend(
            (shapes.iter().zip(levers.iter().cycle()))
                .map(|(shape, term)| ShapeColumn::term(*term, *shape, 1.0)),
        );
        columns.push(ShapeColumn::target(Lever::Orbit(1), 1.0));
        columns.push(ShapeColumn::target(Lever::Air, 1.0));
        columns.push(ShapeColumn::target(
            Lever::Retarget(Arc::new(steps.collect())),
            1.0,
        ));
        let problem = JointProblem::new(&peaks, &sigmas, &columns, MountModel::az_el(terms));
        // On the beam, where the basis on the sky and the reading used by fast shapes are
        // stationary to first order.
        let parameters = vec![0.0; columns.len()];
        let found = rows(&problem, &parameters, true);
        for (j, column) in columns.iter().enumerate() {
            let at = |step: f64| {
                let mut moved = parameters.clone();
                moved[j] += step;
                rows(&problem, &moved, false)
            };
            let mut largest: f64 = 0.0;
            for ((after, before), row) in at(STEP).iter().zip(at(-STEP)).zip(&found) {
                let difference = (after.1 - before.1) / (2.0 * STEP);
                largest = largest.max(row.2[j].abs());
                let error = (difference - row.2[j]).abs();
                assert!(error < DIFFERENCE, "{column:?}: {error}");
            }
            assert!(
                largest > 50.0 * DIFFERENCE,
                "{column:?} moves nothing: {largest}"
            );
        }
    }

    #[test]
    fn any_list_of_observations_gives_its_rows() {
        let terms = terms();
        let peaks = peaks(&MountModel::az_el(terms), 700, 1e-3);
        let sigmas = vec![[Angle::from_radians(1.0); 2]; 700];
        let free = [Term::AzimuthZero, Term::Collimation, Term::ElevationScale];
        let columns = columns(&free);
        let problem = JointProblem::new(
            &peaks,
            &sigmas,
            &columns,
            MountModel::ideal(Geometry::AZ_EL),
        );
        let parameters = values(&free, &terms);
        let all = rows(&problem, &parameters, false);
        let chosen: Vec<usize> = (0..700).filter(|i| i % 3 != 1 || i % 5 == 0).collect();
        let squares = (LeastSquares::new(&problem, 1).choosing(&chosen))
            .sum_of_squares(&parameters)
            .unwrap();
        let expected: f64 = (all.iter())
            .filter(|row| chosen.contains(&row.0))
            .map(|row| row.1 * row.1)
            .sum();
        assert!((squares / expected - 1.0).abs() < 1e-12);
    }
}
