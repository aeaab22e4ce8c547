//! The table itself: corrections at the nodes of a grid, and the look-up between them.

use std::fmt;

use crate::angle::{Angle, EncoderReading};

use super::demand::DemandKind;
use super::full::{Correction, FullModel};
use super::grid::{Grid, MICRODEGREES_PER_DEGREE, Microdegrees};
use super::header::Header;
use crate::mount::{AxisKind, Kind};

/// The two corrections at a node, rounded to microdegrees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Node {
    /// Added to the azimuth.
    pub azimuth: Microdegrees,
    /// Added to the elevation.
    pub elevation: Microdegrees,
}

/// Corrections at the nodes of a regular grid of demands.
#[derive(Clone, Debug, PartialEq)]
pub struct Nodes {
    /// Where the nodes are.
    pub grid: Grid,
    /// Row by row of equal elevation, ascending, in each the azimuths ascending.
    pub nodes: Vec<Node>,
}

/// A table that says what it is.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionTable {
    /// What it is and where it came from.
    pub header: Header,
    /// The corrections.
    pub nodes: Nodes,
}

/// The demand lies outside of the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OffTable {
    /// Lower than the lowest elevation, given.
    Below(Angle),
    /// Higher than the highest elevation, given.
    Above(Angle),
    /// Outside of the unwrapped azimuths, given.
    Beside(Angle, Angle),
}

impl OffTable {
    /// In words, for a kind of mount.
    pub fn words_on(&self, mount: Kind) -> String {
        let [one, two] = mount.axes().map(AxisKind::words);
        match self {
            OffTable::Below(lowest) => format!(
                "the demand lies below the table, which begins at {two} {} deg",
                short(*lowest)
            ),
            OffTable::Above(highest) => format!(
                "the demand lies above the table, which was cut at {two} {} deg because of the \
                 keyhole; use the full model there, or let the emitter come out of it",
                short(*highest)
            ),
            OffTable::Beside(low, high) if mount.has_track() => format!(
                "the demand lies outside of the table's azimuths, {} to {} deg",
                short(*low),
                short(*high)
            ),
            OffTable::Beside(low, high) => format!(
                "the demand lies outside of the table, whose {one} goes from {} to {} deg",
                short(*low),
                short(*high)
            ),
        }
    }
}

impl fmt::Display for OffTable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words_on(Kind::AzEl))
    }
}

impl std::error::Error for OffTable {}

/// Degrees with up to six decimals.
pub(super) fn short(angle: Angle) -> f64 {
    (angle.degrees() * 1e6).round() / 1e6
}

impl Nodes {
    /// The full model's corrections at every node; none when one of them cannot be reached or a
    /// correction is beyond a thousand degrees.
    pub fn of(full: &FullModel, grid: Grid) -> Option<Nodes> {
        /// Twice this still fits an `i32` of microdegrees, which firmware needs for differences.
        const LARGEST: i32 = 1000 * MICRODEGREES_PER_DEGREE;
        let node = |angle: Angle| {
            Microdegrees::nearest(angle).filter(|m| (-LARGEST..=LARGEST).contains(&m.0))
        };
        let mut nodes = Vec::with_capacity(grid.nodes());
        for row in 0..grid.elevation.count {
            for column in 0..grid.azimuth.count {
                let azimuth = grid.azimuth.node(column).angle();
                let elevation = grid.elevation.node(row).angle();
                let correction = full.correction(azimuth, elevation).ok()?;
                nodes.push(Node {
                    azimuth: node(correction.azimuth)?,
                    elevation: node(correction.elevation)?,
                });
            }
        }
        Some(Nodes { grid, nodes })
    }

    /// The correction at a demand, bilinear between the four nodes around it. Over one turn any
    /// azimuth will do; otherwise it must be unwrapped.
    ///
    /// # Errors
    /// [`OffTable`].
    #[inline]
    pub fn correction(&self, azimuth: Angle, elevation: Angle) -> Result<Correction, OffTable> {
        let (axis, rows) = (&self.grid.azimuth, &self.grid.elevation);
        let azimuth = if self.grid.one_turn {
            azimuth.wrapped_positive()
        } else {
            azimuth
        };
        let (column, right) = axis
            .locate(azimuth)
            .ok_or_else(|| OffTable::Beside(axis.first.angle(), axis.last().angle()))?;
        let (row, up) = rows.locate(elevation).ok_or_else(|| {
            if elevation < rows.first.angle() {
                OffTable::Below(rows.first.angle())
            } else {
                OffTable::Above(rows.last().angle())
            }
        })?;
        let low = row * axis.count + column;
        let high = low + axis.count;
        let (lower, upper) = (&self.nodes[low..low + 2], &self.nodes[high..high + 2]);
        let at = |node: &Node| [node.azimuth, node.elevation].map(|m| f64::from(m.0));
        let between = |from: [f64; 2], to: [f64; 2], share: f64| {
            [0, 1].map(|i| from[i] + (to[i] - from[i]) * share)
        };
        let along = |pair: &[Node]| between(at(&pair[0]), at(&pair[1]), right);
        let [azimuth, elevation] =
            between(along(lower), along(upper), up).map(|m| Angle::MICRODEGREE * m);
        Ok(Correction { azimuth, elevation })
    }
}

impl CorrectionTable {
    /// Which demands it takes.
    pub fn demand(&self) -> DemandKind {
        self.header.demand()
    }

    /// The correction at a demand: [`Nodes::correction`].
    ///
    /// # Errors
    /// [`OffTable`].
    #[inline]
    pub fn correction(&self, azimuth: Angle, elevation: Angle) -> Result<Correction, OffTable> {
        self.nodes.correction(azimuth, elevation)
    }

    /// Gives every reading that a demand could have to `take`, in ascending azimuth: over one turn
    /// a single one, which stands for all that are whole turns from it.
    ///
    /// # Errors
    /// [`OffTable`] when the table holds no turn of the demand.
    pub fn for_each_reading(
        &self,
        azimuth: Angle,
        elevation: Angle,
        mut take: impl FnMut(EncoderReading),
    ) -> Result<(), OffTable> {
        let azimuth = azimuth.wrapped_positive();
        let (lowest, highest) = if self.nodes.grid.one_turn {
            (0, 0)
        } else {
            let axis = &self.nodes.grid.azimuth;
            let (first, last) = (axis.first.angle(), axis.last().angle());
            let turns = (
                -(azimuth - first).whole_turns(),
                (last - azimuth).whole_turns(),
            );
            if turns.0 > turns.1 {
                return Err(OffTable::Beside(first, last));
            }
            turns
        };
        for turn in lowest..=highest {
            let demand = azimuth + Angle::TURN * turn as f64;
            let correction = self.correction(demand, elevation)?;
            take(EncoderReading {
                azimuth: demand + correction.azimuth,
                elevation: elevation + correction.elevation,
            });
        }
        Ok(())
    }
}
