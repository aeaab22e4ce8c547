//! The table in scaled integers, and the look-up of the C header: both give identical integers.
//! Where firmware divides and counts turns step by step, for the sake of small processors, and works
//! out the nodes of a cell for each demand, for the sake of small memories, one operation does it
//! here; the tests hold each against the header's steps.

use std::fmt;

use crc32fast::Hasher;

use crate::angle::{Angle, EncoderReading};

use super::correction_table::{Node, Nodes};
use super::full::{Correction, EncoderRange};
use super::grid::{GridAxis, Microdegrees, TURN};
use super::integer_axis::IntegerAxis;

/// How wide a cell of the table is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CellWidth {
    /// One byte, with a base and a unit for each row.
    Bits8,
    /// Two bytes, with one base and one unit for all.
    Bits16,
    /// Four bytes, in microdegrees.
    Bits32,
}

/// One of the two corrections of a whole table: microdegrees = base + unit x cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cells {
    /// By row when the cells are one byte wide, else a single one for all.
    pub scales: Vec<CellScale>,
    /// Row by row.
    pub cells: Vec<i32>,
}

/// What a cell counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CellScale {
    /// Microdegrees of a cell of zero.
    pub base: i32,
    /// Microdegrees to one count.
    pub unit: i32,
}

/// A table in integers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IntegerTable {
    /// Demanded azimuths; over one turn without the last node, which is the first again.
    pub azimuth: GridAxis,
    /// Demanded elevations.
    pub elevation: GridAxis,
    /// Whether the azimuths are one turn.
    pub one_turn: bool,
    /// Width of a cell.
    pub width: CellWidth,
    /// Azimuth corrections.
    pub azimuth_cells: Cells,
    /// Elevation corrections.
    pub elevation_cells: Cells,
    /// Lowest and highest azimuth reading.
    pub azimuth_range: (Microdegrees, Microdegrees),
    /// Lowest and highest elevation reading.
    pub elevation_range: (Microdegrees, Microdegrees),
    /// The two axes, over one turn with its last node.
    columns: IntegerAxis,
    rows: IntegerAxis,
    /// What the cells stand for, row by row, over one turn with its last node: the nodes of a
    /// cell lie side by side.
    nodes: Vec<Node>,
}

/// Why the look-up has no answer; the numbers are those of the C header.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LookUpStatus {
    /// The demand lies below the table.
    Below = 1,
    /// The demand lies above the table, toward the keyhole.
    Above = 2,
    /// The demand lies outside of the unwrapped azimuths.
    Beside = 3,
    /// No reading for the demand lies within the encoders' range.
    OutOfRange = 4,
}

impl fmt::Display for LookUpStatus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            LookUpStatus::Below => "below the table",
            LookUpStatus::Above => "above the table",
            LookUpStatus::Beside => "outside of the table's azimuths",
            LookUpStatus::OutOfRange => "out of the encoders' range",
        })
    }
}

impl CellWidth {
    /// All, the usual one first.
    pub const ALL: [CellWidth; 3] = [CellWidth::Bits16, CellWidth::Bits8, CellWidth::Bits32];

    /// Bytes to a cell.
    pub const fn bytes(self) -> usize {
        match self {
            CellWidth::Bits8 => 1,
            CellWidth::Bits16 => 2,
            CellWidth::Bits32 => 4,
        }
    }

    /// Bytes of a table with this many stored columns and rows: cells of both corrections, and
    /// base and unit of both, once or for each row.
    pub const fn table_bytes(self, columns: usize, rows: usize) -> usize {
        let scales = match self {
            CellWidth::Bits8 => rows,
            CellWidth::Bits16 | CellWidth::Bits32 => 1,
        };
        2 * self.bytes() * columns * rows + 16 * scales
    }
}

impl Cells {
    /// `values` in microdegrees, row by row of `columns`.
    fn of(values: &[i32], columns: usize, width: CellWidth) -> Cells {
        let scale = |values: &[i32]| {
            let least = i64::from(values.iter().copied().min().unwrap_or(0));
            let most = i64::from(values.iter().copied().max().unwrap_or(0));
            let (counts, lowest) = match width {
                CellWidth::Bits8 => (0xff, -0x80),
                CellWidth::Bits16 => (0xffff, -0x8000),
                CellWidth::Bits32 => return CellScale { base: 0, unit: 1 },
            };
            let unit = ((most - least + counts - 1) / counts).max(1);
            // The lowest cell stands for the least value.
            CellScale {
                base: (least - lowest * unit) as i32,
                unit: unit as i32,
            }
        };
        let row_by_row = width == CellWidth::Bits8;
        let part = if row_by_row { columns } else { values.len() };
        let mut scales = Vec::new();
        let mut cells = Vec::with_capacity(values.len());
        for values in values.chunks(part) {
            let s = scale(values);
            scales.push(s);
            cells.extend(values.iter().map(|&v| {
                let counts = f64::from(v - s.base) / f64::from(s.unit);
                counts.round() as i32
            }));
        }
        Cells { scales, cells }
    }

    /// What they stand for in microdegrees, row by row of `columns`.
    fn values(&self, columns: usize) -> impl Iterator<Item = i32> {
        let by_row = self.scales.len() > 1;
        (self.cells.chunks(columns).enumerate()).flat_map(move |(row, cells)| {
            let scale = self.scales[if by_row { row } else { 0 }];
            (cells.iter()).map(move |cell| scale.base + scale.unit * cell)
        })
    }
}

/// From one value toward another by a fraction in 65536ths, rounded to the nearest, a half away
/// from the first. Firmware gets the same from the size of the difference, in two halves.
#[inline]
fn between(from: i32, to: i32, fraction: u32) -> i32 {
    let difference = i64::from(to) - i64::from(from);
    let toward_from = i64::from(difference < 0);
    let part = (difference * i64::from(fraction) + 0x8000 - toward_from) >> 16;
    from + part as i32
}

/// The same of both corrections.
#[inline]
fn node_between(from: Node, to: Node, fraction: u32) -> Node {
    let part = |from: Microdegrees, to: Microdegrees| Microdegrees(between(from.0, to.0, fraction));
    Node {
        azimuth: part(from.azimuth, to.azimuth),
        elevation: part(from.elevation, to.elevation),
    }
}

/// Of a reading and those whole turns from it the one within a range that is nearest to where the
/// axis stands, of two equally near the smaller; none when no turn is within it. Firmware tries
/// them one after the other.
#[inline]
fn nearest_turn(reading: i32, (lowest, highest): (i32, i32), present: i32) -> Option<i32> {
    // As it is nearly always: no other turn can be as near.
    let within = (lowest..=highest).contains(&reading);
    if within && reading.abs_diff(present) < TURN.unsigned_abs() / 2 {
        return Some(reading);
    }
    let [reading, lowest, highest, present] = [reading, lowest, highest, present].map(i64::from);
    let turn = i64::from(TURN);
    let first = lowest + (reading - lowest).rem_euclid(turn);
    let beyond = (present - first + turn / 2 - 1).div_euclid(turn);
    let turns = beyond.min((highest - first).div_euclid(turn));
    // Before the first there is none.
    let turned = first + turns.max(0) * turn;
    (turned <= highest).then_some(turned as i32)
}

impl IntegerTable {
    /// The same corrections in cells of this width; none when a range does not fit.
    pub fn of(nodes: &Nodes, width: CellWidth, range: &EncoderRange) -> Option<IntegerTable> {
        /// The look-up adds a turn to readings: a thousand degrees leaves room for it.
        const LARGEST: i32 = 1_000_000_000;
        let end = |angle: Angle| {
            Microdegrees::nearest(angle).filter(|m| (-LARGEST..=LARGEST).contains(&m.0))
        };
        let mut azimuth = nodes.grid.azimuth;
        let columns = azimuth.count - usize::from(nodes.grid.one_turn);
        let stored: Vec<_> = nodes
            .nodes
            .chunks(azimuth.count)
            .flat_map(|row| &row[..columns])
            .collect();
        let pick = |part: fn(&Node) -> Microdegrees| {
            let values: Vec<i32> = stored.iter().map(|n| part(n).0).collect();
            Cells::of(&values, columns, width)
        };
        if azimuth.first.0 < -LARGEST || azimuth.last().0 > LARGEST {
            return None;
        }
        azimuth.count = columns;
        let (azimuth_cells, elevation_cells) = (pick(|n| n.azimuth), pick(|n| n.elevation));
        Some(IntegerTable {
            columns: IntegerAxis::of(&nodes.grid.azimuth),
            rows: IntegerAxis::of(&nodes.grid.elevation),
            nodes: Self::nodes(
                &azimuth_cells,
                &elevation_cells,
                columns,
                nodes.grid.one_turn,
            ),
            azimuth,
            elevation: nodes.grid.elevation,
            one_turn: nodes.grid.one_turn,
            width,
            azimuth_cells,
            elevation_cells,
            azimuth_range: (end(range.azimuth.0)?, end(range.azimuth.1)?),
            elevation_range: (end(range.elevation.0)?, end(range.elevation.1)?),
        })
    }

    /// What cells of so many stored columns stand for; over one turn each row ends with its first
    /// node again.
    fn nodes(azimuth: &Cells, elevation: &Cells, columns: usize, one_turn: bool) -> Vec<Node> {
        let stored: Vec<Node> = (azimuth.values(columns).zip(elevation.values(columns)))
            .map(|(azimuth, elevation)| Node {
                azimuth: Microdegrees(azimuth),
                elevation: Microdegrees(elevation),
            })
            .collect();
        (stored.chunks(columns))
            .flat_map(|row| row.iter().chain(row.first().filter(|_| one_turn)))
            .copied()
            .collect()
    }

    /// Bytes of its constant data.
    pub fn bytes(&self) -> usize {
        self.width
            .table_bytes(self.azimuth.count, self.elevation.count)
    }

    /// The last demanded azimuth, of the one turn its end.
    fn azimuth_last(&self) -> i32 {
        self.azimuth.last().0
            + if self.one_turn {
                self.azimuth.step.0
            } else {
                0
            }
    }

    /// The correction at a demand. Over one turn any azimuth will do.
    ///
    /// # Errors
    /// [`LookUpStatus::Below`], [`LookUpStatus::Above`], [`LookUpStatus::Beside`].
    #[inline]
    pub fn correction(
        &self,
        azimuth: Microdegrees,
        elevation: Microdegrees,
    ) -> Result<(Microdegrees, Microdegrees), LookUpStatus> {
        match self.one_turn {
            true => self.correction_on_axis(turned_positive(azimuth.0), elevation),
            false => self.correction_on_axis(azimuth.0, elevation),
        }
    }

    /// The same, over one turn for 0 to 360 degrees.
    #[inline]
    fn correction_on_axis(
        &self,
        azimuth: i32,
        elevation: Microdegrees,
    ) -> Result<(Microdegrees, Microdegrees), LookUpStatus> {
        let Some(row) = self.rows.cell_place(elevation.0) else {
            return Err(match elevation < self.elevation.first {
                true => LookUpStatus::Below,
                false => LookUpStatus::Above,
            });
        };
        let column = self
            .columns
            .cell_place(azimuth)
            .ok_or(LookUpStatus::Beside)?;
        let width = self.columns.nodes();
        let along = |row: usize| {
            let first = row * width + column.cell;
            let pair = &self.nodes[first..first + 2];
            node_between(pair[0], pair[1], column.fraction)
        };
        let Node { azimuth, elevation } =
            node_between(along(row.cell), along(row.cell + 1), row.fraction);
        Ok((azimuth, elevation))
    }

    /// The reading to command for a demand of any turn: of those within the encoders' range the
    /// one nearest to the present azimuth reading, of two equally near the smaller.
    ///
    /// # Errors
    /// [`LookUpStatus`].
    #[inline]
    pub fn command(
        &self,
        azimuth: Microdegrees,
        elevation: Microdegrees,
        present: Microdegrees,
    ) -> Result<(Microdegrees, Microdegrees), LookUpStatus> {
        let demand = turned_positive(azimuth.0);
        if !self.one_turn {
            return self.command_unwrapped(demand, elevation, present);
        }
        let (across, up) = self.correction_on_axis(demand, elevation)?;
        let up = (self.reading_up(elevation, up)).ok_or(LookUpStatus::OutOfRange)?;
        let (lowest, highest) = self.azimuth_range;
        nearest_turn(demand + across.0, (lowest.0, highest.0), present.0)
            .map(|azimuth| (Microdegrees(azimuth), up))
            .ok_or(LookUpStatus::OutOfRange)
    }

    /// The reading of a demanded elevation and its correction; none out of the range.
    #[inline]
    fn reading_up(&self, elevation: Microdegrees, up: Microdegrees) -> Option<Microdegrees> {
        let reading = Microdegrees(elevation.0 + up.0);
        let (lowest, highest) = self.elevation_range;
        (lowest..=highest).contains(&reading).then_some(reading)
    }

    /// The same on an unwrapped axis, for a demand of 0 to 360 degrees: of its turns on the axis the
    /// one whose reading is nearest.
    fn command_unwrapped(
        &self,
        mut demand: i32,
        elevation: Microdegrees,
        present: Microdegrees,
    ) -> Result<(Microdegrees, Microdegrees), LookUpStatus> {
        let (lowest, highest) = self.azimuth_range;
        // The first turn of the demand on the unwrapped axis.
        while demand - TURN >= self.azimuth.first.0 {
            demand -= TURN;
        }
        while demand < self.azimuth.first.0 {
            demand += TURN;
        }
        if demand > self.azimuth_last() {
            return Err(LookUpStatus::Beside);
        }
        let mut best: Option<(u32, (Microdegrees, Microdegrees))> = None;
        loop {
            let (across, up) = self.correction_on_axis(demand, elevation)?;
            let turned = demand + across.0;
            if let Some(up) = self.reading_up(elevation, up)
                && (lowest.0..=highest.0).contains(&turned)
            {
                let way = turned.abs_diff(present.0);
                if best.is_none_or(|(least, _)| way < least) {
                    best = Some((way, (Microdegrees(turned), up)));
                }
            }
            if demand > self.azimuth_last() - TURN {
                break;
            }
            demand += TURN;
        }
        best.map(|(_, reading)| reading)
            .ok_or(LookUpStatus::OutOfRange)
    }

    /// The correction as angles, for measuring.
    pub fn correction_angles(
        &self,
        azimuth: Microdegrees,
        elevation: Microdegrees,
    ) -> Option<Correction> {
        let (across, up) = self.correction(azimuth, elevation).ok()?;
        Some(Correction {
            azimuth: across.angle(),
            elevation: up.angle(),
        })
    }

    /// The middle of the encoders' range, for lack of a present position.
    pub fn middle(&self) -> EncoderReading {
        let middle = |(a, b): (Microdegrees, Microdegrees)| (a.angle() + b.angle()) / 2.0;
        EncoderReading {
            azimuth: middle(self.azimuth_range),
            elevation: middle(self.elevation_range),
        }
    }

    /// CRC-32 of the table as firmware holds it, each number with its low byte first: azimuth
    /// cells, elevation cells, then base and unit of the azimuth (row by row where each has its
    /// own), then of the elevation.
    pub fn crc32(&self) -> u32 {
        let mut crc = Hasher::new();
        let width = self.width.bytes();
        for cells in [&self.azimuth_cells, &self.elevation_cells] {
            for cell in &cells.cells {
                crc.update(&cell.to_le_bytes()[..width]);
            }
        }
        for cells in [&self.azimuth_cells, &self.elevation_cells] {
            for scale in &cells.scales {
                crc.update(&scale.base.to_le_bytes());
                crc.update(&scale.unit.to_le_bytes());
            }
        }
        crc.finalize()
    }
}

/// The same heading in [0, 360) degrees.
#[inline]
fn turned_positive(azimuth: i32) -> i32 {
    if (0..TURN).contains(&azimuth) {
        return azimuth;
    }
    let rest = azimuth % TURN;
    if rest < 0 { rest + TURN } else { rest }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// As `lookup.h` goes from one value toward another.
    fn in_two_halves(from: i32, to: i32, fraction: u32) -> i32 {
        let size = from.abs_diff(to);
        let part = (size >> 16) * fraction + (((size & 0xffff) * fraction + 0x8000) >> 16);
        match to >= from {
            true => from + part as i32,
            false => from - part as i32,
        }
    }

    /// As `lookup.h` chooses the turn.
    fn turn_by_turn(mut turned: i32, (lowest, highest): (i32, i32), present: i32) -> Option<i32> {
        while turned - TURN >= lowest {
            turned -= TURN;
        }
        while turned < lowest {
            turned += TURN;
        }
        let mut best: Option<(u32, i32)> = None;
        while turned <= highest {
            let way = turned.abs_diff(present);
            if best.is_none_or(|(least, _)| way < least) {
                best = Some((way, turned));
            }
            turned += TURN;
        }
        best.map(|(_, turned)| turned)
    }

    /// The header keeps corrections and ranges within a thousand degrees.
    const LARGEST: i32 = 1_000_000_000;

    #[test]
    fn of_two_turns_equally_near_the_smaller_is_chosen() {
        let range = (-TURN / 2, TURN / 2 + TURN);
        assert_eq!(nearest_turn(0, range, TURN / 2), Some(0));
        assert_eq!(nearest_turn(TURN, range, TURN / 2), Some(0));
        assert_eq!(nearest_turn(0, range, TURN / 2 + 1), Some(TURN));
        assert_eq!(nearest_turn(0, range, i32::MIN), Some(0));
        assert_eq!(nearest_turn(TURN / 2, range, i32::MAX), Some(range.1));
        assert_eq!(nearest_turn(TURN / 2, (0, TURN / 4), 0), None);
    }

    proptest! {
        #[test]
        fn values_between_are_those_of_the_c_header(
            from in -LARGEST..=LARGEST,
            to in -LARGEST..=LARGEST,
            fraction in 0..=65536u32,
        ) {
            prop_assert_eq!(between(from, to, fraction), in_two_halves(from, to, fraction));
        }

        #[test]
        fn near_values_round_as_in_the_c_header(
            from in -9..9,
            to in -9..9,
            half in 0..=4u32,
        ) {
            let fraction = half * 0x4000;
            prop_assert_eq!(between(from, to, fraction), in_two_halves(from, to, fraction));
        }

        #[test]
        fn turns_are_those_of_the_c_header(
            reading in -LARGEST..=LARGEST,
            lowest in -LARGEST..=LARGEST,
            width in 0..=2 * LARGEST,
            present: i32,
        ) {
            let range = (lowest, (i64::from(lowest) + i64::from(width)).min(LARGEST.into()) as i32);
            prop_assert_eq!(
                nearest_turn(reading, range, present),
                turn_by_turn(reading, range, present)
            );
        }
    }
}
