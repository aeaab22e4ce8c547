//! The regular grid of demands, in whole microdegrees so that firmware counts the same.

use crate::angle::Angle;

/// A millionth of a degree: 3.6 milliseconds of arc, finer than any radio dish points, and an
/// `i32` of them holds any cable wrap.
pub const MICRODEGREES_PER_DEGREE: i32 = 1_000_000;

/// And to a radian, so that a look-up multiplies.
const MICRODEGREES_PER_RADIAN: f64 = 180e6 / std::f64::consts::PI;

/// A whole turn in microdegrees.
pub const TURN: i32 = 360 * MICRODEGREES_PER_DEGREE;

/// An angle in whole microdegrees.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Microdegrees(pub i32);

impl Microdegrees {
    /// The nearest to an angle; none when it does not fit.
    pub fn nearest(angle: Angle) -> Option<Microdegrees> {
        let rounded = (angle.degrees() * f64::from(MICRODEGREES_PER_DEGREE)).round();
        (rounded.abs() <= f64::from(i32::MAX)).then_some(Microdegrees(rounded as i32))
    }
    /// In degrees.
    pub fn degrees(self) -> f64 {
        f64::from(self.0) / f64::from(MICRODEGREES_PER_DEGREE)
    }
    /// As an angle.
    pub fn angle(self) -> Angle {
        Angle::from_degrees(self.degrees())
    }
}

/// One axis of the grid: at least two nodes at equal steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GridAxis {
    /// The first node.
    pub first: Microdegrees,
    /// From node to node, positive.
    pub step: Microdegrees,
    /// How many nodes.
    pub count: usize,
}

impl GridAxis {
    /// From `first` to `last` in `cells` equal steps; none when they are not whole microdegrees.
    pub fn new(first: Microdegrees, last: Microdegrees, cells: usize) -> Option<GridAxis> {
        let span = i64::from(last.0) - i64::from(first.0);
        let parts = i64::try_from(cells).ok().filter(|&n| n > 0)?;
        // A wider one would overflow in the numbers of its nodes.
        if span <= 0 || span > i64::from(i32::MAX) || span % parts != 0 {
            return None;
        }
        Some(GridAxis {
            first,
            step: Microdegrees(i32::try_from(span / parts).ok()?),
            count: cells + 1,
        })
    }
    /// Node `i`.
    pub fn node(&self, i: usize) -> Microdegrees {
        Microdegrees(self.first.0 + self.step.0 * i as i32)
    }
    /// The last node.
    pub fn last(&self) -> Microdegrees {
        self.node(self.count - 1)
    }
    /// Between two nodes each.
    pub fn cells(&self) -> usize {
        self.count - 1
    }
    /// The cell that holds an angle and how far into it, 0 to 1; none outside.
    #[inline]
    pub fn locate(&self, angle: Angle) -> Option<(usize, f64)> {
        /// Microdegrees by which a demand at the very end may lie outside by rounding.
        const ROUNDING: f64 = 1e-3;
        let along = angle.radians() * MICRODEGREES_PER_RADIAN - f64::from(self.first.0);
        let length = f64::from(self.step.0) * self.cells() as f64;
        if !(along >= -ROUNDING && along <= length + ROUNDING) {
            return None;
        }
        let steps = (along / f64::from(self.step.0)).clamp(0.0, self.cells() as f64);
        let cell = (steps as usize).min(self.cells() - 1);
        Some((cell, steps - cell as f64))
    }
}

/// The grid of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Grid {
    /// Demanded azimuths; over one turn the last node repeats the first.
    pub azimuth: GridAxis,
    /// Demanded elevations.
    pub elevation: GridAxis,
    /// Whether the azimuths are one turn, for demands of any turn, and not the unwrapped range.
    pub one_turn: bool,
}

impl Grid {
    /// How many nodes.
    pub fn nodes(&self) -> usize {
        self.azimuth.count * self.elevation.count
    }
}

/// The numbers of equal cells, up to `most`, into which a span divides so that the step is a
/// whole number of twentieths of a degree, ascending.
pub fn divisions(span: i32, most: usize) -> Vec<usize> {
    /// A twentieth of a degree: steps are round numbers.
    const TWENTIETH: i64 = MICRODEGREES_PER_DEGREE as i64 / 20;
    (1..=most)
        .filter(|&n| i64::from(span) % (n as i64 * TWENTIETH) == 0)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A share of a cell after a few operations in double precision.
    const ROUNDING: f64 = 1e-12;

    #[test]
    fn both_ends_belong_to_the_axis() {
        let axis = GridAxis::new(Microdegrees(0), Microdegrees(85_000_000), 17).unwrap();
        assert_eq!(axis.step.0, 5_000_000);
        let locate = |degrees: f64| axis.locate(Angle::from_degrees(degrees));
        assert_eq!(locate(0.0), Some((0, 0.0)));
        assert_eq!(locate(85.0), Some((16, 1.0)));
        let (cell, share) = locate(7.5).unwrap();
        assert_eq!(cell, 1);
        assert!((share - 0.5).abs() < ROUNDING, "{share}");
        assert_eq!(locate(85.1), None);
        assert_eq!(locate(f64::NAN), None);
    }

    #[test]
    fn steps_are_whole_microdegrees_and_chosen_ones_twentieths() {
        assert_eq!(GridAxis::new(Microdegrees(0), Microdegrees(10), 3), None);
        assert_eq!(divisions(360_000_000, 10), [1, 2, 3, 4, 5, 6, 8, 9, 10]);
        assert_eq!(divisions(1_000_000, 40), [1, 2, 4, 5, 10, 20]);
    }
}
