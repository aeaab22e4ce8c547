//! Rows in the layout that the reflections work on.

/// Rows that lie together in a tile: eight values of the first derivative, eight of the
/// second, and so on, and eight residuals last.
pub(crate) const TILE: usize = 8;
/// Half a tile: what a register of 256 bits holds, four double-precision values.
pub(crate) const HALF: usize = TILE / 2;

/// One column of a tile, on a cache line of its own: an access across two lines costs twice.
#[derive(Clone, Copy, Debug, PartialEq)]
#[repr(align(64))]
pub(crate) struct Column(pub [f64; TILE]);

impl Column {
    pub const ZERO: Column = Column([0.0; TILE]);

    #[inline(always)]
    pub fn of_halves([a, b]: &[[f64; HALF]; 2]) -> Column {
        Column([a[0], a[1], a[2], a[3], b[0], b[1], b[2], b[3]])
    }
    #[inline(always)]
    pub fn halves(&self) -> [[f64; HALF]; 2] {
        let [a, b, c, d, e, f, g, h] = self.0;
        [[a, b, c, d], [e, f, g, h]]
    }
}
