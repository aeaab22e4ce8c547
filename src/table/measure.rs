//! How far a look-up is from the full model, measured on a dense grid.

use rayon::prelude::*;

use crate::angle::Angle;

use super::full::{Correction, FullModel};
use super::grid::{Grid, Microdegrees};

/// The largest differences between a look-up and the full model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Errors {
    /// Between the beam and the demand, as an angle on the sky.
    pub on_sky: Angle,
    /// Demanded azimuth of the largest.
    pub worst_azimuth: Angle,
    /// Demanded elevation of the largest.
    pub worst_elevation: Angle,
    /// In the azimuth reading.
    pub azimuth: Angle,
    /// In the elevation reading.
    pub elevation: Angle,
    /// At how many demands it was measured.
    pub directions: usize,
}

/// How densely to measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Density {
    /// On the sky only, at the centre of each cell and of two of its sides: for choosing among
    /// grids.
    Sketch,
    /// At eight by eight places of each cell, its centre among them, and the last nodes.
    Full,
}

/// The largest errors of a look-up over the whole grid; infinite where one of the two has
/// no answer.
pub fn measure(
    full: &FullModel,
    grid: &Grid,
    density: Density,
    lookup: &(dyn Fn(Microdegrees, Microdegrees) -> Option<Correction> + Sync),
) -> Errors {
    let offsets: &[(i64, i64)] = match density {
        Density::Sketch => &[(4, 4), (0, 4), (4, 0)],
        Density::Full => &EIGHTHS,
    };
    let whole = |axis: &super::grid::GridAxis, cell: usize, eighths: i64| {
        Microdegrees((i64::from(axis.node(cell).0) + i64::from(axis.step.0) * eighths / 8) as i32)
    };
    // One row more than there are cells: the last nodes, at their own elevation.
    (0..grid.elevation.count)
        .into_par_iter()
        .map(|row| {
            let mut worst = Errors::NONE;
            let last = row == grid.elevation.cells();
            for column in 0..grid.azimuth.cells() {
                for &(right, up) in offsets {
                    if last && up != 0 {
                        continue;
                    }
                    let azimuth = whole(&grid.azimuth, column, right);
                    let elevation = whole(&grid.elevation, row, up);
                    worst = worst.larger(at(full, azimuth, elevation, density, lookup));
                }
            }
            worst
        })
        .reduce(|| Errors::NONE, Errors::larger)
}

/// Every place of a cell counted in eighths, its lower and left sides among them.
const EIGHTHS: [(i64, i64); 64] = {
    let mut all = [(0, 0); 64];
    let mut i = 0;
    while i < 64 {
        all[i as usize] = (i % 8, i / 8);
        i += 1;
    }
    all
};

fn at(
    full: &FullModel,
    azimuth: Microdegrees,
    elevation: Microdegrees,
    density: Density,
    lookup: &(dyn Fn(Microdegrees, Microdegrees) -> Option<Correction> + Sync),
) -> Errors {
    let found = lookup(azimuth, elevation);
    let (azimuth, elevation) = (azimuth.angle(), elevation.angle());
    let far = Angle::from_radians(f64::INFINITY);
    // For a sketch a place in the keyhole need not be told apart: it is missed by its own depth.
    let exact = || match density {
        Density::Sketch => found,
        Density::Full => full.correction(azimuth, elevation).ok(),
    };
    let (on_sky, azimuth_error, elevation_error) = match found.zip(exact()) {
        Some((found, exact)) => (
            full.miss(azimuth, elevation, found),
            (found.azimuth - exact.azimuth).abs(),
            (found.elevation - exact.elevation).abs(),
        ),
        None => (far, far, far),
    };
    Errors {
        on_sky,
        worst_azimuth: azimuth,
        worst_elevation: elevation,
        azimuth: azimuth_error,
        elevation: elevation_error,
        directions: 1,
    }
}

/// A measured error as it is stated: a little more, rounded up to three significant digits of a
/// degree, so that it is never too small.
pub fn stated(error: Angle) -> Angle {
    /// The worst place lies at most a sixteenth of a cell beside one that was measured. Along a
    /// parabola that is zero at both nodes, 4 x (1 - x), this hides at most 1.6 %.
    const BETWEEN_PLACES: f64 = 1.02;
    let degrees = error.degrees() * BETWEEN_PLACES;
    if degrees <= 0.0 || !degrees.is_finite() {
        return error;
    }
    let digit = 10f64.powf(degrees.log10().floor() - 2.0);
    Angle::from_degrees((degrees / digit).ceil() * digit)
}

impl Errors {
    /// Whether what is stated of the error on the sky keeps to a tolerance.
    pub fn keep_to(&self, tolerance: Angle) -> bool {
        stated(self.on_sky) <= tolerance
    }

    const NONE: Errors = Errors {
        on_sky: Angle::ZERO,
        worst_azimuth: Angle::ZERO,
        worst_elevation: Angle::ZERO,
        azimuth: Angle::ZERO,
        elevation: Angle::ZERO,
        directions: 0,
    };

    fn larger(self, other: Errors) -> Errors {
        // Which of two equal ones is kept must not depend on how the work was shared.
        let worst = if other.on_sky > self.on_sky
            || (other.on_sky == self.on_sky
                && (other.worst_elevation, other.worst_azimuth)
                    < (self.worst_elevation, self.worst_azimuth))
        {
            other
        } else {
            self
        };
        Errors {
            on_sky: worst.on_sky,
            worst_azimuth: worst.worst_azimuth,
            worst_elevation: worst.worst_elevation,
            azimuth: self.azimuth.max(other.azimuth),
            elevation: self.elevation.max(other.elevation),
            directions: self.directions + other.directions,
        }
    }
}
