//! Readings by a table, and demands back: what its header says in words and degrees is worked
//! out once, so that a demand costs a few multiplications and no memory.

use crate::angle::{Angle, EncoderReading};
use crate::mount::{ApproachSigns, Kind};

use super::coordinates::Coordinates;
use super::correction_table::{CorrectionTable, OffTable};
use super::demand::Demand;
use super::full::EncoderRange;
use super::refusal::Refusal;

/// A table made ready for many demands.
#[derive(Clone, Debug)]
pub struct LookUp {
    table: CorrectionTable,
    coordinates: Coordinates,
    kind: Kind,
    range: EncoderRange,
    /// Of the range.
    middle: EncoderReading,
}

impl LookUp {
    /// Of a table.
    pub fn new(table: CorrectionTable) -> LookUp {
        let geometry = table.header.geometry();
        let range = table.header.encoder_range();
        LookUp {
            coordinates: Coordinates::of(geometry),
            kind: geometry.kind(),
            middle: range.middle(),
            range,
            table,
        }
    }

    /// The table itself.
    pub fn table(&self) -> &CorrectionTable {
        &self.table
    }

    /// The kind of mount.
    pub(super) fn kind(&self) -> Kind {
        self.kind
    }

    /// What the encoders can read.
    pub(super) fn range(&self) -> EncoderRange {
        self.range
    }

    /// The reading to command: of those within the encoders' ranges the nearest to the present
    /// azimuth reading, of two equally near the smaller.
    pub(super) fn command(
        &self,
        demand: Demand,
        approach: ApproachSigns,
        present: Option<EncoderReading>,
    ) -> Result<EncoderReading, Refusal> {
        let shift = self.table.header.approach_shift(approach);
        let goal = present.map_or(self.middle.azimuth, |reading| reading.azimuth);
        let place = self.coordinates.of_demand(demand);
        let found = match self.table.nodes.grid.one_turn {
            true => (self.range).nearest_turn(self.shifted(place, shift)?, goal),
            false => self.nearest(place, shift, goal, |reading| self.range.holds(reading))?,
        };
        match found {
            Some(reading) => Ok(reading),
            None => Err(self.out_of_range(place, shift)),
        }
    }

    /// The refusal of a place whose readings all lie out of the range, with that on the turn that
    /// lies best.
    #[cold]
    fn out_of_range(&self, place: (Angle, Angle), shift: (Angle, Angle)) -> Refusal {
        let middle = self.middle;
        let needed = match self.table.nodes.grid.one_turn {
            true => self.shifted(place, shift).map(|mut reading| {
                reading.azimuth = reading.azimuth.nearest_turn_to(middle.azimuth);
                reading
            }),
            false => (self.nearest(place, shift, middle.azimuth, |_| true))
                .map(|needed| needed.unwrap_or(middle)),
        };
        match needed {
            Ok(needed) => Refusal::OutOfRange(needed, self.range, self.kind),
            Err(refusal) => refusal,
        }
    }

    /// The reading for a place of a table of one turn, shifted.
    #[inline]
    fn shifted(
        &self,
        (first, second): (Angle, Angle),
        shift: (Angle, Angle),
    ) -> Result<EncoderReading, Refusal> {
        let azimuth = first.wrapped_positive();
        let correction = (self.table.correction(azimuth, second))
            .map_err(|off| Refusal::OffTable(off, self.kind))?;
        Ok(EncoderReading {
            azimuth: azimuth + correction.azimuth + shift.0,
            elevation: second + correction.elevation + shift.1,
        })
    }

    /// Of the readings for a place of the table, shifted, that may be taken the one nearest to an
    /// azimuth, of two equally near the smaller.
    fn nearest(
        &self,
        (first, second): (Angle, Angle),
        shift: (Angle, Angle),
        to: Angle,
        may_be_taken: impl Fn(EncoderReading) -> bool,
    ) -> Result<Option<EncoderReading>, Refusal> {
        let mut best: Option<(Angle, EncoderReading)> = None;
        let take = |mut reading: EncoderReading| {
            reading.azimuth += shift.0;
            reading.elevation += shift.1;
            let way = (reading.azimuth - to).abs();
            if may_be_taken(reading) && best.is_none_or(|(least, _)| way < least) {
                best = Some((way, reading));
            }
        };
        (self.table.for_each_reading(first, second, take))
            .map_err(|off| Refusal::OffTable(off, self.kind))?;
        Ok(best.map(|(_, reading)| reading))
    }

    /// The demand whose correction leads to a reading: demand = reading - correction(demand), from
    /// the reading itself by repetition, which converges because corrections change slowly.
    pub(super) fn demand(
        &self,
        reading: EncoderReading,
        approach: ApproachSigns,
    ) -> Result<Demand, Refusal> {
        /// Degrees: a thousandth of a table's unit.
        const ENOUGH: Angle = Angle::from_degrees(1e-9);
        /// Rounds, so that the search ends; it converges even where the correction changes by
        /// nine tenths of the demand.
        const MOST: usize = 200;
        let table = &self.table;
        let off = |off: OffTable| Refusal::OffTable(off, self.kind);
        let shift = table.header.approach_shift(approach);
        let goal = (reading.azimuth - shift.0, reading.elevation - shift.1);
        let rows = table.nodes.grid.elevation;
        let (low, high) = (rows.first.angle(), rows.last().angle());
        let columns = table.nodes.grid.azimuth;
        let mut demand = Demand {
            azimuth: goal.0,
            elevation: goal.1,
        };
        for _ in 0..MOST {
            // On the way it may stray beyond the table; where it ends must lie on it.
            let mut azimuth = demand.azimuth;
            if !table.nodes.grid.one_turn {
                azimuth = azimuth
                    .max(columns.first.angle())
                    .min(columns.last().angle());
            }
            let elevation = demand.elevation.max(low).min(high);
            let correction = table.correction(azimuth, elevation).map_err(off)?;
            let next = Demand {
                azimuth: goal.0 - correction.azimuth,
                elevation: goal.1 - correction.elevation,
            };
            let step = (next.azimuth - demand.azimuth)
                .abs()
                .max((next.elevation - demand.elevation).abs());
            demand = next;
            if step < ENOUGH {
                table
                    .correction(demand.azimuth, demand.elevation)
                    .map_err(off)?;
                let heading = demand.azimuth.wrapped_positive();
                return Ok(self.coordinates.demand(heading, demand.elevation));
            }
        }
        Err(Refusal::NoInverse)
    }
}
