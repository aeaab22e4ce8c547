//! Steps whose place must be searched for: in time, or in the elevation of the dish.

use crate::angle::Angle;
use crate::mount::Term;

use super::fault::FaultAxis;
use super::hypothesis::Hypothesis;
use super::log_change::LogInstant;
use super::peak::SessionPeak;
use super::shape::{Shape, ShapeColumn};

/// A kind of step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepKind {
    /// A slip of the azimuth axis.
    AzimuthSlip,
    /// A slip of the elevation axis.
    ElevationSlip,
    /// A knock that changes the tilt of the azimuth axis.
    BaseKnock,
    /// A knock that changes the beam's direction on the dish.
    DishKnock,
    /// Backlash that changes sides.
    BalanceFlip,
    /// A dish that drops to the other side.
    Flop,
}

impl StepKind {
    /// All kinds.
    pub const ALL: [StepKind; 6] = [
        StepKind::AzimuthSlip,
        StepKind::ElevationSlip,
        StepKind::BaseKnock,
        StepKind::DishKnock,
        StepKind::BalanceFlip,
        StepKind::Flop,
    ];

    /// The kind of a hypothesis, if its place was searched for.
    pub fn of(hypothesis: &Hypothesis) -> Option<StepKind> {
        match hypothesis {
            Hypothesis::Slip {
                axis: FaultAxis::Azimuth,
                ..
            } => Some(StepKind::AzimuthSlip),
            Hypothesis::Slip { .. } => Some(StepKind::ElevationSlip),
            Hypothesis::BaseKnock(_) => Some(StepKind::BaseKnock),
            Hypothesis::DishKnock(_) => Some(StepKind::DishKnock),
            Hypothesis::BalanceFlip { .. } => Some(StepKind::BalanceFlip),
            Hypothesis::Flop { .. } => Some(StepKind::Flop),
            _ => None,
        }
    }

    /// The terms that step.
    fn terms(self) -> &'static [Term] {
        match self {
            StepKind::AzimuthSlip => &[Term::AzimuthZero],
            StepKind::ElevationSlip | StepKind::BalanceFlip => &[Term::ElevationZero],
            StepKind::BaseKnock => &[Term::TiltNorth, Term::TiltEast],
            StepKind::DishKnock => &[Term::Collimation, Term::ElevationZero],
            StepKind::Flop => &[Term::Collimation],
        }
    }

    /// The columns of a step that starts before the first peak.
    pub fn probes(self) -> Vec<ShapeColumn> {
        (self.terms().iter())
            .map(|t| ShapeColumn::term(*t, Shape::Always, 1.0))
            .collect()
    }

    /// Whether it occurs at an elevation instead of a time.
    pub fn is_at_elevation(self) -> bool {
        matches!(self, StepKind::BalanceFlip | StepKind::Flop)
    }

    /// Groups of peaks in the order in which places are searched; peaks of one instant (or one
    /// elevation) form one group.
    pub fn order(self, peaks: &[SessionPeak]) -> Vec<Vec<usize>> {
        match self.is_at_elevation() {
            true => grouped(peaks.len(), |i| peaks[i].raised().radians()),
            false => grouped(peaks.len(), |i| peaks[i].hours),
        }
    }

    /// The hypothesis with its step before the group number `place` of an order.
    pub fn at(self, peaks: &[SessionPeak], order: &[Vec<usize>], place: usize) -> Hypothesis {
        let (before, after) = (&order[place - 1], &order[place]);
        let middle = || {
            let of = |group: &[usize]| peaks[group[0]].raised().radians();
            Angle::from_radians(0.5 * (of(before) + of(after)))
        };
        let row = |i: &usize| peaks[*i].row;
        let instant = LogInstant {
            hours: 0.5 * (peaks[before[0]].hours + peaks[after[0]].hours),
            between: (
                before.iter().map(row).max().unwrap_or(0),
                after.iter().map(row).min().unwrap_or(0),
            ),
        };
        let slip = |axis| Hypothesis::Slip { axis, instant };
        match self {
            StepKind::AzimuthSlip => slip(FaultAxis::Azimuth),
            StepKind::ElevationSlip => slip(FaultAxis::Elevation),
            StepKind::BaseKnock => Hypothesis::BaseKnock(instant),
            StepKind::DishKnock => Hypothesis::DishKnock(instant),
            StepKind::BalanceFlip => Hypothesis::BalanceFlip { at: middle() },
            StepKind::Flop => Hypothesis::Flop { at: middle() },
        }
    }
}

fn grouped(count: usize, key: impl Fn(usize) -> f64) -> Vec<Vec<usize>> {
    let mut order: Vec<(f64, usize)> = (0..count).map(|i| (key(i), i)).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let same = |a: &(f64, usize), b: &(f64, usize)| a.0 == b.0;
    (order.chunk_by(same))
        .map(|group| group.iter().map(|(_, i)| *i).collect())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn peaks_with_equal_keys_form_one_group() {
        let keys = [3.0, 1.0, 3.0, 2.0];
        assert_eq!(grouped(4, |i| keys[i]), vec![vec![1], vec![3], vec![0, 2]]);
    }
}
