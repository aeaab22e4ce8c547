//! An angle by its sine and cosine.

/// Sine and cosine of an angle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SinCos {
    pub sin: f64,
    pub cos: f64,
}

impl SinCos {
    pub fn of(radians: f64) -> SinCos {
        let (sin, cos) = radians.sin_cos();
        SinCos { sin, cos }
    }
    /// Of twice the angle.
    pub fn doubled(self) -> SinCos {
        SinCos {
            sin: 2.0 * self.sin * self.cos,
            cos: (self.cos - self.sin) * (self.cos + self.sin),
        }
    }
}
