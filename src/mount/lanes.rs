//! Numbers processed four at a time, in loops that the compiler vectorises.

use std::ops::{Add, Mul, Neg, Sub};

/// Number of lanes.
pub const LANES: usize = 4;

/// [`LANES`] independent numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lanes(pub [f64; LANES]);

impl Lanes {
    /// Zeros.
    pub const ZERO: Lanes = Lanes([0.0; LANES]);

    /// The same number in each lane.
    #[inline(always)]
    pub fn all(x: f64) -> Lanes {
        Lanes([x; LANES])
    }
    /// Applies `f` to each element of an array.
    #[inline(always)]
    pub fn of<T: Copy>([a, b, c, d]: [T; LANES], f: impl Fn(T) -> f64) -> Lanes {
        // Written out: the compiler keeps these in registers, but not what `map` of an array
        // gathers one by one.
        Lanes([f(a), f(b), f(c), f(d)])
    }
    /// Applies `f` to each lane.
    #[inline(always)]
    pub fn map(self, f: impl Fn(f64) -> f64) -> Lanes {
        Lanes::of(self.0, f)
    }
    #[inline(always)]
    fn with(self, other: Lanes, f: impl Fn(f64, f64) -> f64) -> Lanes {
        let ([a, b, c, d], [e, g, h, i]) = (self.0, other.0);
        Lanes([f(a, e), f(b, g), f(c, h), f(d, i)])
    }
    /// Whether `f` holds for every lane.
    #[inline(always)]
    pub fn every(self, f: impl Fn(f64) -> bool) -> bool {
        // Without an early end, so that all are tested at once.
        self.0.iter().fold(true, |so_far, x| so_far & f(*x))
    }
    /// Square roots.
    #[inline(always)]
    pub fn sqrt(self) -> Lanes {
        self.map(f64::sqrt)
    }
    /// Reciprocals.
    #[inline(always)]
    pub fn inverse(self) -> Lanes {
        self.map(|x| 1.0 / x)
    }
    /// Sines and cosines; fast where all are small.
    #[inline(always)]
    pub fn sin_cos(self) -> (Lanes, Lanes) {
        if self.every(|x| x.abs() <= SMALL) {
            small_sin_cos(self)
        } else {
            let both = self.0.map(f64::sin_cos);
            (Lanes(both.map(|b| b.0)), Lanes(both.map(|b| b.1)))
        }
    }
}

/// Up to this angle, radians, truncating the series below costs less than 1e-17 of their sum.
const SMALL: f64 = 0.125;

/// Sines and cosines by their power series.
#[inline(always)]
fn small_sin_cos(x: Lanes) -> (Lanes, Lanes) {
    /// Taylor's series: one over the odd factorials,
    const SINE: [f64; 5] = [
        -1.0 / 39_916_800.0,
        1.0 / 362_880.0,
        -1.0 / 5_040.0,
        1.0 / 120.0,
        -1.0 / 6.0,
    ];
    /// and over the even ones.
    const COSINE: [f64; 5] = [
        -1.0 / 3_628_800.0,
        1.0 / 40_320.0,
        -1.0 / 720.0,
        1.0 / 24.0,
        -1.0 / 2.0,
    ];
    let square = x * x;
    let series = |coefficients: [f64; 5]| {
        let [first, rest @ ..] = coefficients;
        (rest.iter()).fold(Lanes::all(first), |sum, c| sum * square + Lanes::all(*c))
    };
    let one = Lanes::all(1.0);
    (x + x * square * series(SINE), one + square * series(COSINE))
}

impl Add for Lanes {
    type Output = Lanes;
    #[inline(always)]
    fn add(self, other: Lanes) -> Lanes {
        self.with(other, |x, y| x + y)
    }
}
impl Sub for Lanes {
    type Output = Lanes;
    #[inline(always)]
    fn sub(self, other: Lanes) -> Lanes {
        self.with(other, |x, y| x - y)
    }
}
impl Mul for Lanes {
    type Output = Lanes;
    #[inline(always)]
    fn mul(self, other: Lanes) -> Lanes {
        self.with(other, |x, y| x * y)
    }
}
impl Mul<f64> for Lanes {
    type Output = Lanes;
    #[inline(always)]
    fn mul(self, factor: f64) -> Lanes {
        self.map(|x| x * factor)
    }
}
impl Neg for Lanes {
    type Output = Lanes;
    #[inline(always)]
    fn neg(self) -> Lanes {
        self.map(|x| -x)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::array::from_fn;

    #[test]
    fn sines_and_cosines_are_right_to_the_last_digit_but_one() {
        const ROUNDING: f64 = 2.0 * f64::EPSILON;
        for i in 0..2000 {
            let x = Lanes(from_fn(|lane| {
                (i as f64 - 1000.0) * 1.3e-4 * (lane + 1) as f64
            }));
            let (sin, cos) = x.sin_cos();
            for lane in 0..LANES {
                let (s, c) = x.0[lane].sin_cos();
                assert!((sin.0[lane] - s).abs() <= ROUNDING * s.abs());
                assert!((cos.0[lane] - c).abs() <= ROUNDING);
            }
        }
    }
}
