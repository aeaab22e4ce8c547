//! Which grid: as high toward the zenith as the tolerance and the room allow, and no finer than
//! it must be.
//!
//! Linear interpolation over a step h misses a curve of second derivative f'' by at most
//! h^2 |f''| / 8 (Dahlquist and Bjorck, Numerical Methods, section 4.2; from memory), so the
//! curvatures of the full model, as angles on the sky, tell the steps. What comes out is
//! then measured; the measurement, not the estimate, is judged.

use crate::angle::Angle;

use super::full::FullModel;
use super::grid::{Grid, GridAxis, Microdegrees, TURN, divisions};
use super::measure::{Errors, stated};
use super::tuned::{
    AZIMUTHS_SAMPLED, BETWEEN_LEVELS_SAMPLED_DEG, LEAST_GROWTH_OF_THE_MARGIN,
    MARGIN_OF_THE_NEXT_GRID, ROUNDS_TO_THE_TOLERANCE, TIMES_THE_ROOM_TRIED, TOPS_TRIED_DEG,
};

/// The demands that a table could cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// First and last demanded azimuth.
    pub azimuth: (Microdegrees, Microdegrees),
    /// Whether that is one turn for all demands.
    pub one_turn: bool,
    /// Lowest demanded elevation.
    pub lowest: Microdegrees,
    /// Highest demanded elevation worth having.
    pub highest: Microdegrees,
}

/// How the largest error of a grid grows with its steps, up to one elevation.
#[derive(Clone, Copy, Debug)]
struct Curvature {
    /// Radians on the sky per squared radian of azimuth.
    by_azimuth: f64,
    /// Radians on the sky per squared radian of elevation.
    by_elevation: f64,
}

/// Curvatures by elevation, running maxima from the lowest upward.
#[derive(Clone, Debug)]
pub struct CurvatureProfile {
    levels: Vec<(f64, Curvature)>,
}

/// A grid that was tried.
#[derive(Clone, Debug)]
pub struct Trial<T> {
    /// The grid.
    pub grid: Grid,
    /// What was built on it.
    pub built: T,
    /// What was measured on it.
    pub errors: Errors,
}

impl CurvatureProfile {
    /// Samples the full model over the span.
    pub fn sample(full: &FullModel, span: &Span) -> CurvatureProfile {
        const STEP: f64 = 0.05; // degrees: small against every feature, large against rounding
        let (from, to) = (span.azimuth.0.degrees(), span.azimuth.1.degrees());
        let (lowest, highest) = (span.lowest.degrees(), span.highest.degrees());
        let mut levels = Vec::new();
        let mut most = Curvature {
            by_azimuth: 0.0,
            by_elevation: 0.0,
        };
        let count = ((highest - lowest) / BETWEEN_LEVELS_SAMPLED_DEG).ceil() as usize;
        for level in 0..=count {
            let elevation = (lowest + BETWEEN_LEVELS_SAMPLED_DEG * level as f64).min(highest);
            for i in 0..AZIMUTHS_SAMPLED {
                let azimuth = from + (to - from) * i as f64 / AZIMUTHS_SAMPLED as f64;
                let at = |a: f64, e: f64| {
                    full.correction(Angle::from_degrees(a), Angle::from_degrees(e))
                        .map(|c| (c.azimuth.radians(), c.elevation.radians()))
                        .unwrap_or((f64::INFINITY, f64::INFINITY))
                };
                let h = Angle::from_degrees(STEP).radians();
                let shrink = Angle::from_degrees(elevation).cos();
                let second = |p: (f64, f64), q: (f64, f64), r: (f64, f64)| {
                    let azimuth = (p.0 - 2.0 * q.0 + r.0) * shrink;
                    let elevation = p.1 - 2.0 * q.1 + r.1;
                    let size = azimuth.hypot(elevation) / (h * h);
                    if size.is_nan() { f64::INFINITY } else { size }
                };
                // At the zenith the three places would straddle it: step down from there.
                let centre = elevation.min(90.0 - 2.0 * STEP);
                let here = at(azimuth, centre);
                let by_azimuth =
                    second(at(azimuth - STEP, centre), here, at(azimuth + STEP, centre));
                let by_elevation =
                    second(at(azimuth, centre - STEP), here, at(azimuth, centre + STEP));
                most.by_azimuth = most.by_azimuth.max(by_azimuth);
                most.by_elevation = most.by_elevation.max(by_elevation);
            }
            levels.push((elevation, most));
        }
        CurvatureProfile { levels }
    }

    fn up_to(&self, elevation: f64) -> Curvature {
        let i = self.levels.partition_point(|(e, _)| *e < elevation);
        self.levels[i.min(self.levels.len() - 1)].1
    }
}

impl Curvature {
    /// The error is at most this large with these steps, radians on the sky.
    fn error(&self, azimuth_step: f64, elevation_step: f64) -> f64 {
        (self.by_azimuth * azimuth_step * azimuth_step
            + self.by_elevation * elevation_step * elevation_step)
            / 8.0
    }
}

/// No step is finer than this, degrees: such a table would not fit any controller.
const FINEST_STEP: f64 = 0.1;

/// How to judge and build grids.
pub struct Chooser<'a, T> {
    /// What could be covered.
    pub span: Span,
    /// How the full model bends.
    pub profile: &'a CurvatureProfile,
    /// The room that a grid takes.
    pub cost: &'a dyn Fn(&Grid) -> usize,
    /// Builds on a grid and measures, by a sketch or fully; none when it cannot be built.
    pub attempt: &'a dyn Fn(Grid, super::measure::Density) -> Option<(T, Errors)>,
}

impl<T> Chooser<'_, T> {
    /// The highest table whose error keeps to `tolerance` in `room`, and of those with that top
    /// the smallest; none when no top will do.
    pub fn choose(&self, tolerance: Angle, room: usize) -> Option<Trial<T>> {
        let highest = self.span.highest.degrees();
        let mut tops: Vec<f64> = TOPS_TRIED_DEG
            .into_iter()
            .filter(|t| *t < highest)
            .collect();
        tops.insert(0, highest);
        tops.into_iter()
            .filter(|top| *top > self.span.lowest.degrees())
            .find_map(|top| self.smallest(top, tolerance, room))
    }

    /// The smallest grid with this top that keeps to the tolerance in the room.
    pub fn smallest(&self, top: f64, tolerance: Angle, room: usize) -> Option<Trial<T>> {
        use super::measure::Density;
        let top = Microdegrees::nearest(Angle::from_degrees(top))?;
        let curvature = self.profile.up_to(top.degrees());
        let mut factor = 1.0; // measured error over estimated error
        let mut best: Option<(usize, Grid)> = None;
        for _ in 0..ROUNDS_TO_THE_TOLERANCE {
            let Some(grid) = self.cheapest(top, curvature, factor, tolerance) else {
                break;
            };
            let cost = (self.cost)(&grid);
            if cost > room.saturating_mul(TIMES_THE_ROOM_TRIED)
                || best.is_some_and(|(least, _)| cost >= least)
            {
                break;
            }
            let Some((_, errors)) = (self.attempt)(grid, Density::Sketch) else {
                break;
            };
            let estimate = curvature.error(
                grid.azimuth.step.angle().radians(),
                grid.elevation.step.angle().radians(),
            );
            let seen = stated(errors.on_sky).radians() / estimate;
            if errors.keep_to(tolerance) {
                best = Some((cost, grid));
                factor = seen * MARGIN_OF_THE_NEXT_GRID;
            } else if seen.is_finite() {
                factor = (factor * LEAST_GROWTH_OF_THE_MARGIN).max(seen * MARGIN_OF_THE_NEXT_GRID);
            } else {
                break;
            }
        }
        let (mut cost, mut grid) = best?;
        // The full measurement may find a little more than the sketch did.
        for _ in 0..ROUNDS_TO_THE_TOLERANCE {
            if cost > room {
                return None;
            }
            let (built, errors) = (self.attempt)(grid, Density::Full)?;
            if errors.keep_to(tolerance) {
                return Some(Trial {
                    grid,
                    built,
                    errors,
                });
            }
            factor *= (stated(errors.on_sky) / tolerance).max(MARGIN_OF_THE_NEXT_GRID);
            grid = self.cheapest(top, curvature, factor, tolerance)?;
            cost = (self.cost)(&grid);
        }
        None
    }

    /// The cheapest grid whose estimated error, times `factor`, keeps to the tolerance.
    fn cheapest(
        &self,
        top: Microdegrees,
        curvature: Curvature,
        factor: f64,
        tolerance: Angle,
    ) -> Option<Grid> {
        let limit = tolerance.radians() / factor;
        let rows = self.axes(self.span.lowest, top);
        let columns = self.axes(self.span.azimuth.0, self.span.azimuth.1);
        let mut best: Option<(usize, Grid)> = None;
        for elevation in &rows {
            // The fewest columns that do with these rows: the list runs from few to many.
            let fits = columns.iter().find(|azimuth| {
                curvature.error(
                    azimuth.step.angle().radians(),
                    elevation.step.angle().radians(),
                ) <= limit
            });
            let Some(azimuth) = fits else { continue };
            let grid = Grid {
                azimuth: *azimuth,
                elevation: *elevation,
                one_turn: self.span.one_turn,
            };
            let cost = (self.cost)(&grid);
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, grid));
            }
        }
        best.map(|(_, grid)| grid)
    }

    /// Every regular axis from one end to the other, from few to many nodes.
    fn axes(&self, first: Microdegrees, last: Microdegrees) -> Vec<GridAxis> {
        let span = last.0 - first.0;
        let most = (f64::from(span) / 1e6 / FINEST_STEP) as usize;
        divisions(span, most.max(1))
            .into_iter()
            .filter_map(|cells| GridAxis::new(first, last, cells))
            .filter(|axis| span != TURN || axis.cells() >= 4)
            .collect()
    }
}
