//! Numbers that carry their derivatives: forward differentiation, exact to rounding.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// The most parameters of a certified nonlinear set.
pub const MOST: usize = 9;

/// A value and its derivatives with respect to the parameters.
#[derive(Clone, Copy, Debug)]
pub struct Dual {
    pub value: f64,
    pub slopes: [f64; MOST],
}

impl Dual {
    pub fn constant(value: f64) -> Dual {
        Dual {
            value,
            slopes: [0.0; MOST],
        }
    }
    pub fn parameter(value: f64, number: usize) -> Dual {
        let mut dual = Dual::constant(value);
        dual.slopes[number] = 1.0;
        dual
    }
    /// The chain rule: a function's value and its derivative here.
    fn through(self, value: f64, slope: f64) -> Dual {
        Dual {
            value,
            slopes: self.slopes.map(|d| d * slope),
        }
    }
    pub fn exp(self) -> Dual {
        let e = self.value.exp();
        self.through(e, e)
    }
    pub fn sin(self) -> Dual {
        self.through(self.value.sin(), self.value.cos())
    }
    pub fn cos(self) -> Dual {
        self.through(self.value.cos(), -self.value.sin())
    }
    pub fn atan(self) -> Dual {
        let slope = 1.0 / (1.0 + self.value * self.value);
        self.through(self.value.atan(), slope)
    }
    pub fn ln(self) -> Dual {
        self.through(self.value.ln(), 1.0 / self.value)
    }
    pub fn powf(self, power: Dual) -> Dual {
        (power * self.ln()).exp()
    }
    pub fn square(self) -> Dual {
        self * self
    }
}

impl Neg for Dual {
    type Output = Dual;
    fn neg(self) -> Dual {
        self.through(-self.value, -1.0)
    }
}
impl Add for Dual {
    type Output = Dual;
    fn add(mut self, other: Dual) -> Dual {
        self.value += other.value;
        for (a, b) in self.slopes.iter_mut().zip(other.slopes) {
            *a += b;
        }
        self
    }
}
impl Sub for Dual {
    type Output = Dual;
    fn sub(self, other: Dual) -> Dual {
        self + -other
    }
}
impl Mul for Dual {
    type Output = Dual;
    fn mul(self, other: Dual) -> Dual {
        self.through(self.value * other.value, other.value) + other.through(0.0, self.value)
    }
}
impl Div for Dual {
    type Output = Dual;
    fn div(self, other: Dual) -> Dual {
        let inverse = 1.0 / other.value;
        self * other.through(inverse, -inverse * inverse)
    }
}
impl Add<f64> for Dual {
    type Output = Dual;
    fn add(self, other: f64) -> Dual {
        self + Dual::constant(other)
    }
}
impl Mul<f64> for Dual {
    type Output = Dual;
    fn mul(self, other: f64) -> Dual {
        self.through(self.value * other, other)
    }
}
