//! Steps whose place must be searched for: in time, or in how far the dish is raised.

use crate::angle::Angle;
use crate::mount::Term;

use super::case::Case;
use super::cause::Cause;
use super::name::Axis;
use super::shape::{Column, Shape};

/// A kind of step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Searched {
    /// A slip of the azimuth axis.
    AzimuthSlip,
    /// A slip of the elevation axis.
    ElevationSlip,
    /// Play that falls to the other side.
    BalanceFlip,
    /// A dish that flops over sideways.
    Flop,
}

impl Searched {
    /// All kinds.
    pub const ALL: [Searched; 4] = [
        Searched::AzimuthSlip,
        Searched::ElevationSlip,
        Searched::BalanceFlip,
        Searched::Flop,
    ];

    /// The kind that a cause is of, if its place was searched for.
    pub fn of(cause: &Cause) -> Option<Searched> {
        match cause {
            Cause::Slip {
                axis: Axis::Azimuth,
                ..
            } => Some(Searched::AzimuthSlip),
            Cause::Slip { .. } => Some(Searched::ElevationSlip),
            Cause::BalanceFlip { .. } => Some(Searched::BalanceFlip),
            Cause::Flop { .. } => Some(Searched::Flop),
            _ => None,
        }
    }

    /// The column of a step that begins before the first peak.
    pub fn probe(self) -> Column {
        let term = match self {
            Searched::AzimuthSlip => Term::AzimuthZero,
            Searched::ElevationSlip | Searched::BalanceFlip => Term::ElevationZero,
            Searched::Flop => Term::Collimation,
        };
        Column::term(term, Shape::Always, 1.0)
    }

    /// Groups of peaks in the order in which places are searched; those of one instant (or one
    /// elevation) together.
    pub fn order(self, cases: &[Case]) -> Vec<Vec<usize>> {
        match self {
            Searched::AzimuthSlip | Searched::ElevationSlip => {
                grouped(cases.len(), |i| cases[i].hours)
            }
            Searched::BalanceFlip | Searched::Flop => {
                grouped(cases.len(), |i| cases[i].raised().radians())
            }
        }
    }

    /// The cause with its step before the group number `place` of an order.
    pub fn at(self, cases: &[Case], order: &[Vec<usize>], place: usize) -> Cause {
        let (before, after) = (&order[place - 1], &order[place]);
        let middle = || {
            let of = |group: &[usize]| cases[group[0]].raised().radians();
            Angle::from_radians(0.5 * (of(before) + of(after)))
        };
        let slip = |axis| {
            let row = |i: &usize| cases[*i].observation.peak.row;
            Cause::Slip {
                axis,
                hours: 0.5 * (cases[before[0]].hours + cases[after[0]].hours),
                between: (
                    before.iter().map(row).max().unwrap_or(0),
                    after.iter().map(row).min().unwrap_or(0),
                ),
            }
        };
        match self {
            Searched::AzimuthSlip => slip(Axis::Azimuth),
            Searched::ElevationSlip => slip(Axis::Elevation),
            Searched::BalanceFlip => Cause::BalanceFlip { at: middle() },
            Searched::Flop => Cause::Flop { at: middle() },
        }
    }
}

fn grouped(count: usize, key: impl Fn(usize) -> f64) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by(|a, b| key(*a).total_cmp(&key(*b)));
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for i in order {
        match groups.last_mut() {
            Some(last) if key(last[0]) == key(i) => last.push(i),
            _ => groups.push(vec![i]),
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_keys_stand_together() {
        let keys = [3.0, 1.0, 3.0, 2.0];
        assert_eq!(grouped(4, |i| keys[i]), vec![vec![1], vec![3], vec![0, 2]]);
    }
}
