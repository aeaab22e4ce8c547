//! The triangle to which all rows are reduced: J = Q R by Householder reflections, a block
//! of rows at a time.

use super::block::Block;
use super::householder::{Left, reflect};
use nalgebra::{DMatrix, DVector};

/// An m by n problem `min |J d + r|` reduced to its n by n triangle `min |R d + z|`.
///
/// Each block of rows is appended under the triangle and reflected into it: the sequential
/// QR of Golub and Van Loan, Matrix Computations (QR updating by appended rows). The memory
/// is that of one block, whatever m is.
#[derive(Clone, Debug)]
pub struct Triangle {
    /// R, n by n, upper triangular; its diagonal may have either sign.
    r: DMatrix<f64>,
    /// The first n components of Q'r.
    z: DVector<f64>,
    /// Sum of squares of all residuals.
    squares: f64,
    /// Sum of squares of the components of Q'r beyond the first n.
    beyond: f64,
    /// Number of rows absorbed.
    rows: usize,
}

impl Triangle {
    /// Of no rows: all zero.
    pub fn new(parameters: usize) -> Triangle {
        Triangle {
            r: DMatrix::zeros(parameters, parameters),
            z: DVector::zeros(parameters),
            squares: 0.0,
            beyond: 0.0,
            rows: 0,
        }
    }
    /// Number of parameters, n.
    pub fn parameters(&self) -> usize {
        self.z.len()
    }
    /// R, n by n, upper triangular.
    pub fn r(&self) -> &DMatrix<f64> {
        &self.r
    }
    /// The first n components of Q'r.
    pub fn z(&self) -> &DVector<f64> {
        &self.z
    }
    /// The residual sum of squares, summed from the residuals themselves.
    pub fn squares(&self) -> f64 {
        self.squares
    }
    /// The residual sum of squares that no change of the parameters can lessen, as far as
    /// the problem is linear and of full rank.
    pub fn least_squares(&self) -> f64 {
        self.beyond
    }
    /// Number of rows absorbed.
    pub fn rows(&self) -> usize {
        self.rows
    }
    /// The Euclidean norm of each column of J (and so of R).
    pub fn column_norms(&self) -> Vec<f64> {
        (0..self.parameters())
            .map(|j| self.r.view((0, j), (j + 1, 1)).norm())
            .collect()
    }
    /// J'r, half the gradient of the sum of squares.
    pub fn gradient(&self) -> DVector<f64> {
        self.r.tr_mul(&self.z)
    }
    /// The largest cosine of the angle between the residual vector and a column of J: zero
    /// at a minimum, whatever the units. Zero when the residuals vanish.
    pub fn largest_cosine(&self) -> f64 {
        let norm = self.squares.sqrt();
        if norm == 0.0 {
            return 0.0;
        }
        (self.gradient().iter())
            .zip(self.column_norms())
            .filter(|(_, column)| *column > 0.0)
            .map(|(g, column)| (g / column / norm).abs())
            .fold(0.0, f64::max)
    }

    /// Reflects the rows of `block` into the triangle; the block's content is used up.
    ///
    /// # Errors
    /// The observation of a row that is not finite; nothing is changed.
    pub(crate) fn absorb(&mut self, block: &mut Block) -> Result<(), usize> {
        let rows = block.rows();
        if rows == 0 {
            return Ok(());
        }
        let reflected = match block.takes_only_some() {
            false => reflect_block(block, &mut self.r, &mut self.z),
            true => self.reflect_some(block),
        };
        let Some(left) = reflected else {
            return Err(block.first_not_finite());
        };
        self.rows += rows;
        self.squares += left.squares;
        self.beyond += left.beyond;
        block.clear();
        Ok(())
    }

    /// Rows that depend on k of the parameters: first by themselves to a triangle of k rows, then
    /// those into this one. A row of theirs whose place here is still empty is put there as it is.
    fn reflect_some(&mut self, block: &mut Block) -> Option<Left> {
        let k = block.columns() - 1;
        let (mut r, mut z) = (DMatrix::zeros(k, k), DVector::zeros(k));
        let mut left = reflect_block(block, &mut r, &mut z)?;
        let parameters = block.parameters_taken();
        let mut others = Vec::with_capacity(k);
        for (i, row) in parameters.iter().enumerate() {
            if self.z[*row] != 0.0 || self.r.row(*row).iter().any(|x| *x != 0.0) {
                others.push(i);
                continue;
            }
            for (j, column) in parameters.iter().enumerate().skip(i) {
                self.r[(*row, *column)] = r[(i, j)];
            }
            self.z[*row] = z[i];
        }
        if let Some(lowest) = others.first() {
            let first = parameters[*lowest];
            let (tiles, columns, room) = block.widened(&others, first, &r, &z);
            let (r, z) = (self.r.as_mut_slice(), self.z.as_mut_slice());
            left.beyond += reflect(tiles, columns, first, r, z, room)?.beyond;
        }
        Some(left)
    }

    /// Absorbs one row. A row that is not finite makes the whole triangle so.
    pub fn absorb_row(&mut self, residual: f64, derivatives: &[f64]) {
        let mut block = Block::new(self.parameters(), 1);
        block.push(0, residual, derivatives);
        self.absorb_or_spoil(&mut block);
    }

    /// Absorbs the rows of `block`; those that are not finite make the whole triangle so.
    pub(crate) fn absorb_or_spoil(&mut self, block: &mut Block) {
        if self.absorb(block).is_err() {
            self.r.fill_upper_triangle(f64::NAN, 0);
            self.z.fill(f64::NAN);
            self.squares = f64::NAN;
            self.beyond = f64::NAN;
            block.clear();
        }
    }

    /// Absorbs the rows that another triangle of the same parameters stands for.
    pub(crate) fn absorb_triangle(&mut self, other: &Triangle, block: &mut Block) {
        let n = self.parameters();
        block.begin(n, true, n);
        let mut row = vec![0.0; n];
        for i in 0..n {
            for (j, value) in row.iter_mut().enumerate() {
                *value = other.r[(i, j)];
            }
            block.push(i, other.z[i], &row);
        }
        let squares = self.squares + other.squares;
        let rows = self.rows + other.rows;
        self.absorb_or_spoil(block);
        self.squares = squares;
        self.beyond += other.beyond;
        self.rows = rows;
    }

    /// The linearised problem seen from where the parameters have changed by `change`.
    pub(crate) fn moved(&self, change: &DVector<f64>) -> Triangle {
        let z = &self.z + &self.r * change;
        // What the triangle cannot take up stays as it is.
        let squares = self.squares - self.z.norm_squared() + z.norm_squared();
        Triangle {
            z,
            squares: squares.max(0.0),
            ..self.clone()
        }
    }

    /// The same problem in fewer unknowns: d = `basis` y, with `basis` n by k.
    pub(crate) fn restricted(&self, basis: &DMatrix<f64>) -> Triangle {
        let product = &self.r * basis;
        let mut block = Block::new(basis.ncols(), self.parameters());
        for row in 0..self.parameters() {
            let derivatives: Vec<f64> = product.row(row).iter().copied().collect();
            block.push(row, self.z[row], &derivatives);
        }
        let mut small = Triangle::new(basis.ncols());
        small.absorb_or_spoil(&mut block);
        small.squares = self.squares;
        small.beyond += self.beyond;
        small.rows = self.rows;
        small
    }
}

fn reflect_block(block: &mut Block, r: &mut DMatrix<f64>, z: &mut DVector<f64>) -> Option<Left> {
    let (tiles, columns, room) = block.tiles();
    reflect(tiles, columns, 0, r.as_mut_slice(), z.as_mut_slice(), room)
}

/// Norms with one instead of zero, so that a parameter without effect has a scale.
pub(crate) fn positive(norms: Vec<f64>) -> Vec<f64> {
    (norms.into_iter())
        .map(|norm| if norm > 0.0 { norm } else { 1.0 })
        .collect()
}
