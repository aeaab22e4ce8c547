//! Room for the rows of a few observations, in the layout in which they are reduced.

use super::householder::{Room, sum_of_squares};
use super::tile::{Column, HALF, TILE};
use nalgebra::{DMatrix, DVector};
use std::ops::Range;

/// How many observations of two rows fill a tile: see [`Block::push_pairs`].
pub const LANES: usize = HALF;

/// Room for the rows of a few observations, filled by a [`super::Model`].
#[derive(Clone, Debug, Default)]
pub struct Block {
    range: Range<usize>,
    parameters: usize,
    /// The parameters that the rows depend on, ascending; none means all. The others have no
    /// column.
    some: Option<Vec<usize>>,
    derivatives: bool,
    rows: usize,
    /// Tile after tile, in each the derivatives, if any, and the residuals.
    tiles: Vec<Column>,
    /// Which observation each row belongs to; as long as there is room.
    observations: Vec<usize>,
    work: Room,
}

impl Block {
    /// Empty, with room for this many rows with derivatives.
    pub(crate) fn new(parameters: usize, room: usize) -> Block {
        let mut block = Block::default();
        block.begin(parameters, true, room);
        block
    }
    /// Forgets all rows and makes room for this many, with derivatives or without.
    pub(crate) fn begin(&mut self, parameters: usize, derivatives: bool, room: usize) {
        self.rows = 0;
        self.parameters = parameters;
        self.some = None;
        self.derivatives = derivatives;
        self.observations.resize(room, 0);
        let needed = room.div_ceil(TILE) * self.columns();
        if self.tiles.len() < needed {
            self.tiles.resize(needed, Column::ZERO);
        }
    }
    /// Of all rows to come only the derivatives with respect to these parameters are taken.
    pub(crate) fn take_only(&mut self, parameters: &[usize]) {
        self.some = Some(parameters.to_vec());
    }
    /// Whether the rows have a column for some of the parameters only.
    pub(crate) fn takes_only_some(&self) -> bool {
        self.derivatives && self.some.is_some()
    }
    /// Forgets all rows.
    pub(crate) fn clear(&mut self) {
        self.rows = 0;
    }
    /// Asks for one more range; rows already there stay.
    pub(crate) fn ask(&mut self, range: Range<usize>) {
        self.range = range;
    }
    /// The observations wanted.
    pub fn range(&self) -> Range<usize> {
        self.range.clone()
    }
    /// Whether the derivatives are wanted, or the residuals only.
    #[inline(always)]
    pub fn wants_derivatives(&self) -> bool {
        self.derivatives
    }
    /// Adds one row of `observation`: its whitened residual and the derivatives of that
    /// residual (length n; ignored when they are not wanted).
    ///
    /// # Panics
    /// When wanted derivatives are not n in number, or a model pushes more rows than it said
    /// it would: faults of the calling code, not of data.
    #[inline(always)]
    pub fn push(&mut self, observation: usize, residual: f64, derivatives: &[f64]) {
        let (row, lane) = (self.rows, self.rows % TILE);
        let Some(place) = self.observations.get_mut(row) else {
            too_many();
        };
        *place = observation;
        self.rows += 1;
        if !self.derivatives {
            self.tiles[row / TILE].0[lane] = residual;
            return;
        }
        let n = self.columns() - 1;
        let first = row / TILE * (n + 1);
        let tile = &mut self.tiles[first..=first + n];
        assert_eq!(derivatives.len(), self.parameters, "one derivative each");
        tile[n].0[lane] = residual;
        match &self.some {
            None => {
                for (column, value) in tile.iter_mut().zip(derivatives) {
                    column.0[lane] = *value;
                }
            }
            Some(some) => {
                for (column, j) in tile.iter_mut().zip(some) {
                    column.0[lane] = derivatives[*j];
                }
            }
        }
    }
    /// Adds both rows of each of [`LANES`] observations, or of fewer: the same as two calls of
    /// [`Block::push`] for each, but faster where a model works out several at a time.
    ///
    /// `residuals` and each of the n `derivatives` (ignored when they are not wanted) hold the
    /// first rows' values by observation, then the second rows'; those beyond the number of
    /// `observations` mean nothing.
    ///
    /// # Panics
    /// As [`Block::push`].
    #[inline(always)]
    pub fn push_pairs(
        &mut self,
        observations: &[usize],
        residuals: &[[f64; LANES]; 2],
        derivatives: &[[[f64; LANES]; 2]],
    ) {
        let row = self.rows;
        let Some(four) = observations
            .first_chunk::<LANES>()
            .filter(|_| row.is_multiple_of(TILE) && self.some.is_none())
        else {
            return self.push_pairs_singly(observations, residuals, derivatives);
        };
        let Some(places) = self.observations.get_mut(row..row + TILE) else {
            too_many();
        };
        self.rows += TILE;
        let [first, second] = residuals;
        if !self.derivatives {
            places.copy_from_slice(&interleaved(four, four));
            self.tiles[row / TILE] = Column(interleaved(first, second));
            return;
        }
        places[..LANES].copy_from_slice(four);
        places[LANES..].copy_from_slice(four);
        let n = self.parameters;
        let start = row / TILE * (n + 1);
        let tile = &mut self.tiles[start..=start + n];
        assert_eq!(derivatives.len(), n, "one derivative each");
        tile[n] = Column::of_halves(residuals);
        for (column, pair) in tile.iter_mut().zip(derivatives) {
            *column = Column::of_halves(pair);
        }
    }
    #[inline(never)]
    fn push_pairs_singly(
        &mut self,
        observations: &[usize],
        residuals: &[[f64; LANES]; 2],
        derivatives: &[[[f64; LANES]; 2]],
    ) {
        let mut row: Vec<f64> = Vec::with_capacity(derivatives.len());
        for (lane, observation) in observations.iter().enumerate() {
            for side in 0..2 {
                row.clear();
                row.extend(derivatives.iter().map(|pair| pair[side][lane]));
                self.push(*observation, residuals[side][lane], &row);
            }
        }
    }

    /// Columns of a tile: the derivatives, if any, and the residuals.
    pub(super) fn columns(&self) -> usize {
        match &self.some {
            _ if !self.derivatives => 1,
            None => self.parameters + 1,
            Some(some) => some.len() + 1,
        }
    }
    /// Number of rows pushed.
    pub(crate) fn rows(&self) -> usize {
        self.rows
    }
    /// Which observation each row belongs to. Rows of one observation follow one another when
    /// there are no derivatives, else they lie within a tile.
    pub(crate) fn observation_of_rows(&self) -> &[usize] {
        &self.observations[..self.rows]
    }
    /// One derivative of one row; the residual after the last.
    fn at(&self, row: usize, column: usize) -> f64 {
        self.tiles[row / TILE * self.columns() + column].0[row % TILE]
    }
    /// The residual of a row.
    pub(crate) fn residual(&self, row: usize) -> f64 {
        self.at(row, self.columns() - 1)
    }
    /// The residuals, a value a row.
    pub(crate) fn residuals(&self) -> impl Iterator<Item = f64> {
        let columns = self.columns();
        let tiles = self.tiles.chunks_exact(columns);
        let residuals = tiles.flat_map(move |tile| tile[columns - 1].0);
        residuals.take(self.rows)
    }
    /// One derivative of one row.
    pub(crate) fn derivative(&self, row: usize, parameter: usize) -> f64 {
        match &self.some {
            None => self.at(row, parameter),
            Some(some) => (some.binary_search(&parameter)).map_or(0.0, |j| self.at(row, j)),
        }
    }
    /// The tiles in use, rows that were not pushed zero; their number of columns; room for work.
    pub(super) fn tiles(&mut self) -> (&mut [Column], usize, &mut Room) {
        let (columns, filled) = (self.columns(), self.rows % TILE);
        let used = &mut self.tiles[..self.rows.div_ceil(TILE) * columns];
        if filled > 0 {
            for column in used.iter_mut().rev().take(columns) {
                column.0[filled..].fill(0.0);
            }
        }
        (used, columns, &mut self.work)
    }
    /// The parameters for which the rows have a column, where it is some only.
    pub(crate) fn parameters_taken(&self) -> Vec<usize> {
        self.some.clone().unwrap_or_default()
    }
    /// Instead of all rows some of a triangle over the k parameters taken, with a column for every
    /// parameter from number `first` on; the rows are zero before. `r` is k by k, `z` has length k.
    /// Tiles, their number of columns and room as [`Block::tiles`].
    pub(super) fn widened(
        &mut self,
        rows: &[usize],
        first: usize,
        r: &DMatrix<f64>,
        z: &DVector<f64>,
    ) -> (&mut [Column], usize, &mut Room) {
        let columns = self.parameters + 1 - first;
        let needed = rows.len().div_ceil(TILE) * columns;
        if self.tiles.len() < needed {
            self.tiles.resize(needed, Column::ZERO);
        }
        let tiles = &mut self.tiles[..needed];
        tiles.fill(Column::ZERO);
        for (place, i) in rows.iter().enumerate() {
            let tile = &mut tiles[place / TILE * columns..][..columns];
            for (j, parameter) in self.some.iter().flatten().enumerate().skip(*i) {
                tile[parameter - first].0[place % TILE] = r[(*i, j)];
            }
            tile[columns - 1].0[place % TILE] = z[*i];
        }
        (tiles, columns, &mut self.work)
    }
    /// Multiplies every row by `factor(observation)`.
    pub(crate) fn scale_rows(&mut self, factor: impl Fn(usize) -> f64) {
        let columns = self.columns();
        let tiles = self.tiles.chunks_exact_mut(columns);
        for (tile, observations) in tiles.zip(self.observations[..self.rows].chunks(TILE)) {
            let mut factors = [1.0; TILE];
            for (f, observation) in factors.iter_mut().zip(observations) {
                *f = factor(*observation);
            }
            if factors == [1.0; TILE] {
                continue;
            }
            for column in tile {
                for (value, f) in column.0.iter_mut().zip(factors) {
                    *value *= f;
                }
            }
        }
    }
    /// Multiplies the row pushed last.
    pub(crate) fn scale_last_row(&mut self, factor: f64) {
        let columns = self.columns();
        if let Some(row) = self.rows.checked_sub(1) {
            for column in &mut self.tiles[row / TILE * columns..][..columns] {
                column.0[row % TILE] *= factor;
            }
        }
    }
    /// Sum of the squares of the residuals.
    pub(crate) fn sum_of_squares(&mut self) -> f64 {
        let (tiles, columns, _) = self.tiles();
        sum_of_squares(tiles, columns)
    }
    /// Whether every value of every row is.
    pub(crate) fn is_finite(&mut self) -> bool {
        let mut spoilt = [0.0; TILE];
        for column in self.tiles().0 {
            for (sum, value) in spoilt.iter_mut().zip(&column.0) {
                // Zero, or not a number.
                *sum += *value * 0.0;
            }
        }
        spoilt == [0.0; TILE]
    }
    /// The observation of the first row that is not finite; when each is finite and only their
    /// sum is not, the first row stands for all.
    pub(crate) fn first_not_finite(&self) -> usize {
        let finite = |row: usize| (0..self.columns()).all(|c| self.at(row, c).is_finite());
        let bad = (0..self.rows).find(|row| !finite(*row));
        self.observations[bad.unwrap_or(0)]
    }
}

/// The first of both, the second of both, and so on.
#[inline(always)]
fn interleaved<T: Copy>(a: &[T; LANES], b: &[T; LANES]) -> [T; TILE] {
    [a[0], b[0], a[1], b[1], a[2], b[2], a[3], b[3]]
}

#[cold]
fn too_many() -> ! {
    panic!("more rows than Model::most_rows allows");
}

/// The ascending `indices` as runs of neighbours.
pub(crate) fn runs(indices: &[usize]) -> impl Iterator<Item = Range<usize>> + '_ {
    (indices.chunk_by(|a, b| a + 1 == *b)).map(|run| run[0]..run[run.len() - 1] + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PARAMETERS: usize = 3;

    fn value(observation: usize, side: usize, column: usize) -> f64 {
        (100 * observation + 10 * side + column) as f64
    }

    /// Each row with its observation, in the order of the observations.
    fn rows(block: &Block, derivatives: bool) -> Vec<(usize, Vec<f64>)> {
        let columns = if derivatives { PARAMETERS } else { 0 };
        let row = |(row, observation): (usize, &usize)| {
            let mut values: Vec<f64> = (0..columns).map(|j| block.derivative(row, j)).collect();
            values.push(block.residual(row));
            (*observation, values)
        };
        let mut rows: Vec<_> = (block.observation_of_rows().iter().enumerate())
            .map(row)
            .collect();
        rows.sort_by_key(|(observation, _)| *observation);
        rows
    }

    #[test]
    fn pairs_are_the_same_as_each_row_pushed() {
        for derivatives in [true, false] {
            // From a whole tile on and from a broken one, with a rest.
            for single in [0, 1] {
                let (mut pairs, mut each) = (Block::default(), Block::default());
                for block in [&mut pairs, &mut each] {
                    block.begin(PARAMETERS, derivatives, 64);
                    for i in 0..single {
                        block.push(i, value(i, 0, 9), &[1.0; PARAMETERS]);
                    }
                }
                let observations: Vec<usize> = (single..single + 11).collect();
                for chunk in observations.chunks(LANES) {
                    let of = |column: usize| {
                        let lane = |side, lane: usize| {
                            (chunk.get(lane)).map_or(f64::NAN, |i| value(*i, side, column))
                        };
                        [0, 1].map(|side| std::array::from_fn(|l| lane(side, l)))
                    };
                    pairs.push_pairs(chunk, &of(9), &[of(0), of(1), of(2)]);
                    for i in chunk {
                        for side in 0..2 {
                            let slopes = [0, 1, 2].map(|column| value(*i, side, column));
                            each.push(*i, value(*i, side, 9), &slopes);
                        }
                    }
                }
                assert_eq!(rows(&pairs, derivatives), rows(&each, derivatives));
                assert_eq!(pairs.rows(), single + 22);
                if !derivatives {
                    assert_eq!(pairs.observation_of_rows(), each.observation_of_rows());
                    assert!(pairs.residuals().eq(each.residuals()));
                }
            }
        }
    }

    #[test]
    #[should_panic(expected = "more rows than")]
    fn more_rows_than_said_are_a_fault() {
        let mut block = Block::new(1, 1);
        block.push(0, 1.0, &[1.0]);
        block.push(0, 1.0, &[1.0]);
    }

    #[test]
    fn room_used_again_does_not_show_what_was_there() {
        let mut block = Block::new(2, 16);
        for i in 0..16 {
            block.push(i, f64::NAN, &[f64::NAN; 2]);
        }
        assert!(!block.is_finite());
        block.begin(2, true, 16);
        for i in 0..3 {
            block.push(i, 2.0, &[1.0; 2]);
        }
        assert!(block.is_finite());
        assert_eq!(block.sum_of_squares(), 12.0);
        block.begin(2, false, 16);
        block.push(0, 3.0, &[]);
        assert_eq!(block.sum_of_squares(), 9.0);
    }

    #[test]
    fn runs_are_of_neighbours() {
        let found: Vec<_> = runs(&[1, 2, 3, 7, 9, 10]).collect();
        assert_eq!(found, [1..4, 7..8, 9..11]);
        assert_eq!(runs(&[]).count(), 0);
    }
}
