//! An invented model with the shape of a pointing problem: two rows an observation, up to 16
//! terms, mildly nonlinear. It shares no code with the mount model and serves to exercise
//! the engine.
#![allow(dead_code)] // each test binary uses its own part

use plumbeam::fit::{Block, Model, Unevaluable};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// The most terms.
pub const MOST_TERMS: usize = 16;

/// One observation: where it is, what was seen there.
#[derive(Clone, Copy, Debug)]
pub struct Peak {
    pub azimuth: f64,
    pub elevation: f64,
    /// Plus or minus one.
    pub approach: [f64; 2],
    /// Cross-elevation and elevation error.
    pub seen: [f64; 2],
}

/// Peaks with a common noise, fitted with the first `terms` terms.
#[derive(Clone, Debug)]
pub struct Sky {
    pub peaks: Vec<Peak>,
    pub terms: usize,
    /// Standard deviation of each axis, radians; also what the rows are divided by.
    pub noise: f64,
}

/// How the peaks are spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spread {
    /// All over the sky.
    Whole,
    /// Within these azimuths and elevations (degrees).
    Patch([f64; 2], [f64; 2]),
    /// Most in one patch of 60 by 30 degrees; this many apart from all others.
    PatchAndFew(usize),
}

/// Plausible true values, radians (invented): degrees for zeros, tenths for the others.
pub fn truth(random: &mut impl Rng) -> [f64; MOST_TERMS] {
    let mut truth = [0.0; MOST_TERMS];
    for (j, value) in truth.iter_mut().enumerate() {
        let size: f64 = if j < 2 { 1.0 } else { 0.2 };
        let bell: f64 = StandardNormal.sample(random);
        *value = bell * size.to_radians();
    }
    truth
}

impl Sky {
    /// `count` peaks seen with normal noise of 0.02 degree.
    pub fn new(
        count: usize,
        terms: usize,
        spread: Spread,
        truth: &[f64],
        random: &mut impl Rng,
    ) -> Sky {
        let noise = 0.02_f64.to_radians();
        let inside = |random: &mut _, [a, b]: [f64; 2]| -> f64 {
            let share: f64 = RngExt::random(random);
            (a + (b - a) * share).to_radians()
        };
        let peaks = (0..count)
            .map(|i| {
                let (azimuths, elevations) = match spread {
                    Spread::Whole => ([0.0, 360.0], [12.0, 85.0]),
                    Spread::Patch(a, e) => (a, e),
                    Spread::PatchAndFew(few) if i < few => ([200.0, 320.0], [60.0, 85.0]),
                    Spread::PatchAndFew(_) => ([100.0, 160.0], [15.0, 45.0]),
                };
                let mut peak = Peak {
                    azimuth: inside(random, azimuths),
                    elevation: inside(random, elevations),
                    approach: [sign(random), sign(random)],
                    seen: [0.0; 2],
                };
                peak.seen = modelled(&peak, &truth[..terms], None);
                for axis in &mut peak.seen {
                    let bell: f64 = StandardNormal.sample(random);
                    *axis += noise * bell;
                }
                peak
            })
            .collect();
        Sky {
            peaks,
            terms,
            noise,
        }
    }
}

fn sign(random: &mut impl Rng) -> f64 {
    if random.random::<bool>() { 1.0 } else { -1.0 }
}

/// A seeded source of random numbers.
pub fn random(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

/// Cross-elevation and elevation error under the terms `p`, and their derivatives.
pub fn modelled(peak: &Peak, p: &[f64], slopes: Option<&mut [[f64; MOST_TERMS]; 2]>) -> [f64; 2] {
    let (sa, ca) = peak.azimuth.sin_cos();
    let (se, ce) = peak.elevation.sin_cos();
    let (s2, c2) = (2.0 * peak.azimuth).sin_cos();
    let [ka, ke] = peak.approach;
    let cross = [
        ce,
        0.0,
        se * sa,
        -se * ca,
        1.0,
        -se,
        0.0,
        ce * peak.azimuth,
        0.0,
        ce * ca,
        ce * sa,
        0.0,
        0.0,
        0.0,
        0.5 * ka * ce,
        0.0,
    ];
    let up = [
        0.0,
        1.0,
        -ca,
        -sa,
        0.0,
        0.0,
        -ce,
        0.0,
        peak.elevation,
        0.0,
        0.0,
        se,
        c2,
        s2,
        0.0,
        0.5 * ke,
    ];
    let n = p.len();
    let sum = |row: &[f64]| -> f64 { row.iter().zip(p).map(|(a, b)| a * b).sum() };
    let (sideways, raised) = (sum(&cross[..n]), sum(&up[..n]));
    if let Some(slopes) = slopes {
        for j in 0..n {
            slopes[0][j] = cross[j] * (1.0 + raised) + sideways * up[j];
            slopes[1][j] = up[j] - sideways * cross[j];
        }
    }
    // Second-order parts of the size that real rotations have.
    [
        sideways + sideways * raised,
        raised - 0.5 * sideways * sideways,
    ]
}

impl Model for Sky {
    fn parameters(&self) -> usize {
        self.terms
    }
    fn observations(&self) -> usize {
        self.peaks.len()
    }
    fn most_rows(&self) -> usize {
        2
    }
    fn evaluate(&self, p: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        let mut slopes = [[0.0; MOST_TERMS]; 2];
        for i in block.range() {
            let peak = &self.peaks[i];
            let value = modelled(peak, p, Some(&mut slopes));
            for axis in 0..2 {
                for slope in &mut slopes[axis] {
                    *slope /= -self.noise;
                }
                let residual = (peak.seen[axis] - value[axis]) / self.noise;
                block.push(i, residual, &slopes[axis][..self.terms]);
            }
        }
        Ok(())
    }
    fn shared(&self) -> Option<&(dyn Model + Sync)> {
        Some(self)
    }
}
