//! Householder reflections of a block of rows into a triangle: the engine's inner loop.
//!
//! Compiled twice on x86-64, for any processor and for those with AVX2 and fused
//! multiply-add; the better one is chosen when the program runs. Elsewhere it is compiled for
//! what every processor of the kind has.

use super::tile::{Column, HALF};
use multiversion::{multiversion, target::target_cfg_f};

/// What the reflections leave of the residuals.
pub(super) struct Left {
    /// Sum of the squares of all residuals before.
    pub squares: f64,
    /// And after: the part that the triangle cannot take up.
    pub beyond: f64,
}

/// Room for work, used again and again.
#[derive(Clone, Debug, Default)]
pub(super) struct Room {
    /// For each column its product with the column at hand, in parts still to be summed.
    products: Vec<Parts>,
    /// For each column the multiple of the column at hand that is added to it.
    multiples: Vec<f64>,
}

/// A sum in as many parts as a register holds.
type Parts = [f64; HALF];

/// Reflects rows into the triangle [R | z]: Golub and Van Loan, Matrix Computations (QR
/// updating by appended rows). `tiles` of `columns` columns hold the rows from column number `first`
/// on, before which they are zero, the residual last; `r` is n by n, column by column, `z` has length
/// n = `first` + `columns` - 1.
///
/// None, and nothing changed, when a value is not finite.
pub(super) fn reflect(
    tiles: &mut [Column],
    columns: usize,
    first: usize,
    r: &mut [f64],
    z: &mut [f64],
    room: &mut Room,
) -> Option<Left> {
    room.products.clear();
    room.products.resize(columns, [0.0; HALF]);
    room.multiples.clear();
    room.multiples.resize(columns, 0.0);
    let work = Work {
        tiles,
        columns,
        first,
        products: &mut room.products,
        multiples: &mut room.multiples,
    };
    reflect_here(work, r, z)
}

/// Sum of the squares of the last column of each tile.
pub(super) fn sum_of_squares(tiles: &[Column], columns: usize) -> f64 {
    sum_of_squares_here(tiles, columns)
}

/// Where every processor of the kind multiplies and adds at once.
const ALWAYS_FUSED: bool = cfg!(target_arch = "aarch64");

#[multiversion(targets("x86_64+avx2+fma"))]
fn reflect_here(work: Work, r: &mut [f64], z: &mut [f64]) -> Option<Left> {
    if ALWAYS_FUSED || target_cfg_f!(target_feature = "fma") {
        work.reflect::<true>(r, z)
    } else {
        work.reflect::<false>(r, z)
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn sum_of_squares_here(tiles: &[Column], columns: usize) -> f64 {
    if ALWAYS_FUSED || target_cfg_f!(target_feature = "fma") {
        squares::<true>(tiles, columns)
    } else {
        squares::<false>(tiles, columns)
    }
}

/// a * b + c, rounded once if `FUSED`.
#[inline(always)]
fn fused<const FUSED: bool>(a: f64, b: f64, c: f64) -> f64 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

#[inline(always)]
fn total([a, b, c, d]: Parts) -> f64 {
    (a + c) + (b + d)
}

#[inline(always)]
fn squares<const FUSED: bool>(tiles: &[Column], columns: usize) -> f64 {
    let mut sum = [0.0; HALF];
    for tile in tiles.chunks_exact(columns) {
        for x in tile[columns - 1].halves() {
            for i in 0..HALF {
                sum[i] = fused::<FUSED>(x[i], x[i], sum[i]);
            }
        }
    }
    total(sum)
}

/// Columns that one sweep over the rows carries along: with their multiples and sums they fill
/// the sixteen registers of AVX2.
const GROUP: usize = 6;

/// Calls a sweep with its number of columns known beforehand.
macro_rules! with_size {
    ($size:expr, $self:ident.$sweep:ident::<$fused:ident>($($argument:expr),*)) => {
        match $size {
            0 => $self.$sweep::<$fused, 0>($($argument),*),
            1 => $self.$sweep::<$fused, 1>($($argument),*),
            2 => $self.$sweep::<$fused, 2>($($argument),*),
            3 => $self.$sweep::<$fused, 3>($($argument),*),
            4 => $self.$sweep::<$fused, 4>($($argument),*),
            5 => $self.$sweep::<$fused, 5>($($argument),*),
            _ => $self.$sweep::<$fused, GROUP>($($argument),*),
        }
    };
}

/// The rows being reflected.
struct Work<'a> {
    tiles: &'a mut [Column],
    columns: usize,
    /// The column of the triangle to which the first of these belongs.
    first: usize,
    products: &'a mut [Parts],
    multiples: &'a mut [f64],
}

impl Work<'_> {
    #[inline(always)]
    fn reflect<const FUSED: bool>(mut self, r: &mut [f64], z: &mut [f64]) -> Option<Left> {
        let n = self.columns - 1;
        let squares = squares::<FUSED>(self.tiles, self.columns);
        self.multiply_all::<FUSED>(0);
        // Every value takes part in a product, and what is not finite spoils it.
        let sum: f64 = self.products.iter().map(|parts| total(*parts)).sum();
        if !(sum + squares).is_finite() {
            return None;
        }
        for k in 0..n {
            let below = total(self.products[k]);
            if below == 0.0 {
                self.multiply_all::<FUSED>(k + 1);
                continue;
            }
            let (row, stride) = (self.first + k, self.first + n);
            let diagonal = r[row * stride + row];
            let norm = (diagonal * diagonal + below).sqrt();
            // The new diagonal has the sign opposite to the old, so that v loses no digits.
            let v = diagonal + norm.copysign(diagonal);
            let beta = 1.0 / (norm * (norm + diagonal.abs()));
            r[row * stride + row] = -norm.copysign(diagonal);
            for j in k + 1..=n {
                let top = match j < n {
                    true => &mut r[(self.first + j) * stride + row],
                    false => &mut z[row],
                };
                let multiple = -beta * (v * *top + total(self.products[j]));
                *top += multiple * v;
                self.multiples[j] = multiple;
            }
            self.add_all::<FUSED>(k);
        }
        Some(Left {
            squares,
            beyond: total(self.products[n]),
        })
    }

    /// The products of column k with itself and all after it.
    #[inline(always)]
    fn multiply_all<const FUSED: bool>(&mut self, k: usize) {
        let mut from = k;
        while from < self.columns {
            let size = (self.columns - from).min(GROUP);
            with_size!(size, self.multiply::<FUSED>(k, from));
            from += size;
        }
    }

    /// The products of column k with `SIZE` columns from number `from` on.
    #[inline(always)]
    fn multiply<const FUSED: bool, const SIZE: usize>(&mut self, k: usize, from: usize) {
        let mut sums = [[0.0; HALF]; SIZE];
        for tile in self.tiles.chunks_exact(self.columns) {
            let x = tile[k].halves();
            let Some(group) = tile[from..].first_chunk::<SIZE>() else {
                continue;
            };
            for g in 0..SIZE {
                let y = group[g].halves();
                for half in 0..2 {
                    for i in 0..HALF {
                        sums[g][i] = fused::<FUSED>(x[half][i], y[half][i], sums[g][i]);
                    }
                }
            }
        }
        self.products[from..from + SIZE].copy_from_slice(&sums);
    }

    /// Adds the multiples of column k to all after it, and multiplies the next column, as it
    /// then is, with itself and all after it: what the next reflection needs.
    #[inline(always)]
    fn add_all<const FUSED: bool>(&mut self, k: usize) {
        let mut from = k + 2;
        let size = (self.columns - from).min(GROUP);
        with_size!(size, self.add_first::<FUSED>(k));
        from += size;
        while from < self.columns {
            let size = (self.columns - from).min(GROUP);
            with_size!(size, self.add_further::<FUSED>(k, from));
            from += size;
        }
    }

    /// For the next column and `SIZE` after it.
    #[inline(always)]
    fn add_first<const FUSED: bool, const SIZE: usize>(&mut self, k: usize) {
        let from = k + 2;
        let multiple = self.multiples[k + 1];
        let multiples: [f64; SIZE] = std::array::from_fn(|g| self.multiples[from + g]);
        let mut own = [0.0; HALF];
        let mut sums = [[0.0; HALF]; SIZE];
        for tile in self.tiles.chunks_exact_mut(self.columns) {
            let (head, rest) = tile.split_at_mut(from);
            let ([x, y], Some(group)) = (&mut head[k..], rest.first_chunk_mut::<SIZE>()) else {
                continue;
            };
            for (half, x) in x.halves().into_iter().enumerate() {
                let mut next = [0.0; HALF];
                for i in 0..HALF {
                    let at = half * HALF + i;
                    next[i] = fused::<FUSED>(multiple, x[i], y.0[at]);
                    y.0[at] = next[i];
                    own[i] = fused::<FUSED>(next[i], next[i], own[i]);
                }
                for g in 0..SIZE {
                    for i in 0..HALF {
                        let at = half * HALF + i;
                        let left = fused::<FUSED>(multiples[g], x[i], group[g].0[at]);
                        group[g].0[at] = left;
                        sums[g][i] = fused::<FUSED>(next[i], left, sums[g][i]);
                    }
                }
            }
        }
        self.products[k + 1] = own;
        self.products[from..from + SIZE].copy_from_slice(&sums);
    }

    /// For `SIZE` columns from number `from` on, the next one being done.
    #[inline(always)]
    fn add_further<const FUSED: bool, const SIZE: usize>(&mut self, k: usize, from: usize) {
        let multiples: [f64; SIZE] = std::array::from_fn(|g| self.multiples[from + g]);
        let mut sums = [[0.0; HALF]; SIZE];
        for tile in self.tiles.chunks_exact_mut(self.columns) {
            let (head, rest) = tile.split_at_mut(from);
            let ([x, next], Some(group)) = (&head[k..k + 2], rest.first_chunk_mut::<SIZE>()) else {
                continue;
            };
            let (x, next) = (x.halves(), next.halves());
            for half in 0..2 {
                for g in 0..SIZE {
                    for i in 0..HALF {
                        let at = half * HALF + i;
                        let left = fused::<FUSED>(multiples[g], x[half][i], group[g].0[at]);
                        group[g].0[at] = left;
                        sums[g][i] = fused::<FUSED>(next[half][i], left, sums[g][i]);
                    }
                }
            }
        }
        self.products[from..from + SIZE].copy_from_slice(&sums);
    }
}

#[cfg(test)]
mod tests {
    use super::super::tile::TILE;
    use super::*;
    use nalgebra::DMatrix;

    /// Roundings of well-conditioned rows.
    const ROUNDING: f64 = 1e-13;

    fn row(i: usize, j: usize) -> f64 {
        (0.5 + (i * 29 + j * 7) as f64 * 0.754_877_666).fract() - 0.5
    }

    /// Rows with a residual last, in tiles; `empty` is a column of zeros.
    fn tiles(rows: usize, columns: usize, empty: usize) -> (Vec<Column>, DMatrix<f64>) {
        let matrix = DMatrix::from_fn(
            rows,
            columns,
            |i, j| {
                if j == empty { 0.0 } else { row(i, j) }
            },
        );
        let mut tiles = vec![Column::ZERO; rows.div_ceil(TILE) * columns];
        for i in 0..rows {
            for j in 0..columns {
                tiles[i / TILE * columns + j].0[i % TILE] = matrix[(i, j)];
            }
        }
        (tiles, matrix)
    }

    fn reflected<const FUSED: bool>(
        tiles: &mut [Column],
        columns: usize,
        r: &mut [f64],
        z: &mut [f64],
    ) -> Option<Left> {
        let work = Work {
            tiles,
            columns,
            first: 0,
            products: &mut vec![[0.0; HALF]; columns],
            multiples: &mut vec![0.0; columns],
        };
        work.reflect::<FUSED>(r, z)
    }

    fn gives_the_triangle<const FUSED: bool>() {
        // All group sizes, whole and broken tiles, with and without an empty column.
        for n in 0..20 {
            for (rows, empty) in [(64, n + 1), (61, n + 1), (3, n + 1), (40, n / 2)] {
                let (first, upper) = tiles(rows, n + 1, empty);
                let (mut second, lower) = tiles(24, n + 1, n + 1);
                let (mut r, mut z) = (vec![0.0; n * n], vec![0.0; n]);
                let mut left = [0.0; 2];
                let mut first = first;
                for block in [&mut first, &mut second] {
                    let found = reflected::<FUSED>(block, n + 1, &mut r, &mut z).unwrap();
                    left[0] += found.squares;
                    left[1] += found.beyond;
                }
                let whole = upper.tr_mul(&upper) + lower.tr_mul(&lower);
                let r = DMatrix::from_column_slice(n, n, &r);
                assert!((1..n).all(|i| (0..i).all(|j| r[(i, j)] == 0.0)));
                let mut all = r.clone().resize(n, n + 1, 0.0);
                all.column_mut(n).copy_from_slice(&z);
                let mut found = all.tr_mul(&all);
                found[(n, n)] += left[1];
                assert!(
                    (&found - &whole).norm() < ROUNDING * whole.norm(),
                    "{n} {rows}"
                );
                assert!((left[0] - whole[(n, n)]).abs() < ROUNDING * whole[(n, n)]);
            }
        }
    }

    #[test]
    fn the_triangle_is_that_of_all_rows() {
        gives_the_triangle::<false>();
        gives_the_triangle::<true>();
    }

    #[test]
    fn a_value_that_is_not_finite_changes_nothing() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            for j in 0..4 {
                // Beside a zero and beside a number.
                for empty in [0, 4] {
                    let (mut tiles, _) = tiles(20, 4, empty);
                    tiles[4 + j].0[3] = bad;
                    let before = tiles.clone();
                    let (mut r, mut z) = (vec![1.0; 9], vec![1.0; 3]);
                    assert!(
                        reflect(&mut tiles, 4, 0, &mut r, &mut z, &mut Room::default()).is_none()
                    );
                    assert_eq!((r, z), (vec![1.0; 9], vec![1.0; 3]));
                    // NaN is equal to nothing: all others are.
                    let same = tiles.iter().zip(&before).filter(|(a, b)| a == b).count();
                    assert!(same >= tiles.len() - 1);
                }
            }
        }
    }
}
