//! The certified sets: data, models written out from the published formulas, and the model
//! as the engine wants it.

use super::dual::{Dual, MOST};
use plumbeam::fit::{Block, Model, Unevaluable};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::f64::consts::PI;
use std::path::PathBuf;

#[derive(Deserialize)]
pub struct Certified {
    pub nonlinear: BTreeMap<String, Set>,
    pub linear: BTreeMap<String, Set>,
}

#[derive(Deserialize)]
pub struct Set {
    pub n_observations: usize,
    pub degrees_of_freedom: usize,
    pub start1: Option<Vec<f64>>,
    pub start2: Option<Vec<f64>>,
    pub certified: Vec<f64>,
    pub certified_sd: Vec<f64>,
    pub residual_sum_of_squares: f64,
    pub residual_sd: f64,
    pub csv: String,
}

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data/nist")
}

pub fn certified() -> Certified {
    let text = std::fs::read_to_string(folder().join("certified.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

impl Set {
    /// The rows y, x1, x2 ...
    pub fn rows(&self) -> Vec<Vec<f64>> {
        let mut reader = csv::Reader::from_path(folder().join(&self.csv)).unwrap();
        let rows: Vec<Vec<f64>> = reader.deserialize().map(|row| row.unwrap()).collect();
        assert_eq!(rows.len(), self.n_observations);
        rows
    }
}

/// The response as it is fitted, and the modelled value, from the published formulas.
pub fn response(name: &str, y: f64) -> f64 {
    if name == "Nelson" { y.ln() } else { y }
}

pub fn value(name: &str, b: &[Dual], x: &[f64]) -> Dual {
    let c = Dual::constant;
    let t = x[0];
    let power = |n: i32| t.powi(n);
    match name {
        "Bennett5" => b[0] * (b[1] + t).powf(c(-1.0) / b[2]),
        "BoxBOD" | "Misra1a" => b[0] * (c(1.0) - (-b[1] * t).exp()),
        "Chwirut1" | "Chwirut2" => (-b[0] * t).exp() / (b[1] + b[2] * t),
        "DanWood" => b[0] * c(t).powf(b[1]),
        "ENSO" => {
            let turn = |period: Dual| c(2.0 * PI * t) / period;
            b[0] + b[1] * turn(c(12.0)).cos()
                + b[2] * turn(c(12.0)).sin()
                + b[4] * turn(b[3]).cos()
                + b[5] * turn(b[3]).sin()
                + b[7] * turn(b[6]).cos()
                + b[8] * turn(b[6]).sin()
        }
        "Eckerle4" => b[0] / b[1] * (((c(t) - b[2]) / b[1]).square() * -0.5).exp(),
        "Gauss1" | "Gauss2" | "Gauss3" => {
            let bell = |height: Dual, centre: Dual, width: Dual| {
                height * (-(c(t) - centre).square() / width.square()).exp()
            };
            b[0] * (-b[1] * t).exp() + bell(b[2], b[3], b[4]) + bell(b[5], b[6], b[7])
        }
        "Hahn1" | "Thurber" => {
            (b[0] + b[1] * t + b[2] * power(2) + b[3] * power(3))
                / (b[4] * t + b[5] * power(2) + b[6] * power(3) + 1.0)
        }
        "Kirby2" => (b[0] + b[1] * t + b[2] * power(2)) / (b[3] * t + b[4] * power(2) + 1.0),
        "Lanczos1" | "Lanczos2" | "Lanczos3" => {
            b[0] * (-b[1] * t).exp() + b[2] * (-b[3] * t).exp() + b[4] * (-b[5] * t).exp()
        }
        "MGH09" => b[0] * (b[1] * t + power(2)) / (b[2] * t + b[3] + power(2)),
        "MGH10" => b[0] * (b[1] / (b[2] + t)).exp(),
        "MGH17" => b[0] + b[1] * (-b[3] * t).exp() + b[2] * (-b[4] * t).exp(),
        "Misra1b" => b[0] * (c(1.0) - c(1.0) / (b[1] * (0.5 * t) + 1.0).square()),
        "Misra1c" => b[0] * (c(1.0) - (b[1] * (2.0 * t) + 1.0).powf(c(-0.5))),
        "Misra1d" => b[0] * b[1] * t / (b[1] * t + 1.0),
        "Nelson" => b[0] - b[1] * t * (-b[2] * x[1]).exp(),
        "Rat42" => b[0] / ((b[1] - b[2] * t).exp() + 1.0),
        "Rat43" => b[0] / ((b[1] - b[2] * t).exp() + 1.0).powf(c(1.0) / b[3]),
        "Roszman1" => b[0] - b[1] * t - (b[2] / (c(t) - b[3])).atan() * (1.0 / PI),
        _ => unreachable!("{name} is not a certified nonlinear set"),
    }
}

/// A nonlinear set as the engine sees it.
pub struct Regression {
    pub name: String,
    pub rows: Vec<Vec<f64>>,
    pub parameters: usize,
}

impl Regression {
    pub fn row(&self, i: usize, parameters: &[f64]) -> Dual {
        let mut b = [Dual::constant(0.0); MOST];
        for (j, p) in parameters.iter().enumerate() {
            b[j] = Dual::parameter(*p, j);
        }
        let row = &self.rows[i];
        value(&self.name, &b, &row[1..]) * -1.0 + response(&self.name, row[0])
    }
}

impl Model for Regression {
    fn parameters(&self) -> usize {
        self.parameters
    }
    fn observations(&self) -> usize {
        self.rows.len()
    }
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        for i in block.range() {
            let row = self.row(i, parameters);
            block.push(i, row.value, &row.slopes[..self.parameters]);
        }
        Ok(())
    }
}

/// The regressors of a linear set.
pub fn regressors(name: &str, x: &[f64]) -> Vec<f64> {
    let powers = |degree: i32| (0..=degree).map(|n| x[0].powi(n)).collect();
    match name {
        "NoInt1" | "NoInt2" => vec![x[0]],
        "Norris" => powers(1),
        "Pontius" => powers(2),
        "Filip" => powers(10),
        "Longley" => std::iter::once(1.0).chain(x.iter().copied()).collect(),
        _ if name.starts_with("Wampler") => powers(5),
        _ => unreachable!("{name} is not a certified linear set"),
    }
}

/// A linear set as the engine sees it.
pub struct Linear {
    pub rows: Vec<(f64, Vec<f64>)>,
}

impl Linear {
    pub fn new(name: &str, set: &Set) -> Linear {
        let row = |row: Vec<f64>| (row[0], regressors(name, &row[1..]));
        Linear {
            rows: set.rows().into_iter().map(row).collect(),
        }
    }
}

impl Model for Linear {
    fn parameters(&self) -> usize {
        self.rows[0].1.len()
    }
    fn observations(&self) -> usize {
        self.rows.len()
    }
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        for i in block.range() {
            let (y, x) = &self.rows[i];
            let value: f64 = x.iter().zip(parameters).map(|(a, b)| a * b).sum();
            let slopes: Vec<f64> = x.iter().map(|a| -a).collect();
            block.push(i, y - value, &slopes);
        }
        Ok(())
    }
}

/// Correct decimal digits of the worst parameter, at most 11 (as many as are certified).
pub fn digits(found: &[f64], certified: &[f64]) -> f64 {
    let digits = |(a, b): (&f64, &f64)| {
        let error = if *b == 0.0 {
            a.abs()
        } else {
            (a - b).abs() / b.abs()
        };
        if error.is_nan() {
            0.0
        } else {
            (-error.max(1e-99).log10()).clamp(0.0, 11.0)
        }
    };
    found.iter().zip(certified).map(digits).fold(11.0, f64::min)
}
