//! Where a demand lies on an axis of the table, in whole numbers: the cell and 65536ths of it. The
//! step of an axis never changes, so its reciprocal is worked out once and a place costs a
//! multiplication; firmware, which divides, gets the same numbers.

use super::grid::GridAxis;

/// Where a demand lies on an axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct CellPlace {
    /// Number of the cell.
    pub cell: usize,
    /// From its first node toward its second in 65536ths, 0 to 65536.
    pub fraction: u32,
}

/// An axis made ready for many demands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct IntegerAxis {
    /// Microdegrees of its first node.
    first: i32,
    /// Microdegrees from its first node to its last.
    span: u32,
    /// Number of its last cell.
    last_cell: usize,
    step: Reciprocal,
}

impl IntegerAxis {
    pub fn of(axis: &GridAxis) -> IntegerAxis {
        IntegerAxis {
            first: axis.first.0,
            span: axis.last().0.abs_diff(axis.first.0),
            last_cell: axis.cells() - 1,
            step: Reciprocal::of(axis.step.0 as u32),
        }
    }

    /// How many nodes.
    #[inline]
    pub fn nodes(&self) -> usize {
        self.last_cell + 2
    }

    /// The place of a value in microdegrees; none before the first node and beyond the last, which
    /// belongs to the cell before it.
    #[inline]
    pub fn cell_place(&self, value: i32) -> Option<CellPlace> {
        // What lies before the first node comes out larger than any span.
        let offset = (value as u32).wrapping_sub(self.first as u32);
        if offset > self.span {
            return None;
        }
        let along = self.step.steps(offset);
        let cell = ((along >> 16) as usize).min(self.last_cell);
        Some(CellPlace {
            cell,
            fraction: (along - ((cell as u64) << 16)) as u32,
        })
    }
}

/// What to multiply by in place of dividing by a step.
///
/// Exact by theorem 4.2 of T. Granlund and P. L. Montgomery, "Division by invariant integers using
/// multiplication" (PLDI 1994): with `2^shift` at least the step, the quotient of any number below
/// `2^BITS` is its product with `multiplier`, which is `2^(BITS + shift) / step` rounded down and
/// one more, shifted down by as much.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Reciprocal {
    multiplier: u64,
    shift: u32,
}

impl Reciprocal {
    /// Bits of what is divided: an offset on an axis, below 2^31, in 65536ths.
    const BITS: u32 = 31 + 16;

    /// Of a step from 1 to 2^31.
    fn of(step: u32) -> Reciprocal {
        let shift = step.next_power_of_two().trailing_zeros();
        let whole = (1u128 << (Self::BITS + shift)) / u128::from(step);
        Reciprocal {
            // At most 2^48.
            multiplier: whole as u64 + 1,
            shift,
        }
    }

    /// The steps in an offset below 2^31, in 65536ths, rounded down.
    #[inline]
    fn steps(self, offset: u32) -> u64 {
        // Raised to the top of its 64 bits, so that the first part of the shift is the upper half
        // of the product.
        let raised = u64::from(offset) << (64 - Self::BITS + 16);
        let product = u128::from(raised) * u128::from(self.multiplier);
        (product >> 64) as u64 >> self.shift
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::grid::Microdegrees;
    use super::*;

    /// As `lookup.h` divides.
    fn by_long_division(mut rest: u32, step: u32) -> u32 {
        if rest >= step {
            return 65536;
        }
        let mut fraction = 0;
        for _ in 0..16 {
            rest <<= 1;
            fraction <<= 1;
            if rest >= step {
                rest -= step;
                fraction |= 1;
            }
        }
        fraction
    }

    /// And finds the cell and the fraction.
    fn as_the_c_header(offset: u32, step: u32, cells: u32) -> (usize, u32) {
        let cell = (offset / step).min(cells - 1);
        (cell as usize, by_long_division(offset - cell * step, step))
    }

    fn plainly_divided(offset: u32, step: u32) -> u64 {
        (u64::from(offset) << 16) / u64::from(step)
    }

    proptest! {
        #[test]
        fn multiplying_divides_exactly(step in 1..=1u32 << 31, offset in 0..1u32 << 31) {
            prop_assert_eq!(Reciprocal::of(step).steps(offset), plainly_divided(offset, step));
        }

        #[test]
        fn multiplying_divides_exactly_by_steps_of_any_size(
            step in (0..31u32).prop_flat_map(|bits| 1u32 << bits..=2u32 << bits),
            offset in 0..1u32 << 31,
        ) {
            // Quotients that come out whole are where a reciprocal too large or too small shows.
            let whole = offset - offset % step;
            for offset in [offset, whole, whole.saturating_sub(1), (1 << 31) - 1] {
                prop_assert_eq!(Reciprocal::of(step).steps(offset), plainly_divided(offset, step));
            }
        }

        #[test]
        fn places_on_an_axis_are_those_of_the_c_header(
            first in -1_000_000_000..0i32,
            (step, cells) in (0..22u32)
                .prop_flat_map(|bits| 1u32 << bits..=2u32 << bits)
                .prop_flat_map(|step| (Just(step), 1..=200u32)),
            along in 0..=65536u64,
        ) {
            let axis = IntegerAxis::of(&GridAxis {
                first: Microdegrees(first),
                step: Microdegrees(step as i32),
                count: cells as usize + 1,
            });
            let span = step * cells;
            let offset = ((u64::from(span) * along) >> 16) as u32;
            let node = offset - offset % step;
            for offset in [offset, node, node.saturating_sub(1), span - 1, span] {
                let place = axis.cell_place(first + offset as i32).expect("on the axis");
                prop_assert_eq!(
                    (place.cell, place.fraction),
                    as_the_c_header(offset, step, cells)
                );
            }
            prop_assert!(axis.cell_place(first - 1).is_none());
            prop_assert!(axis.cell_place(first + span as i32 + 1).is_none());
            prop_assert!(axis.cell_place(i32::MIN).is_none());
            prop_assert!(axis.cell_place(i32::MAX).is_none());
        }
    }
}
