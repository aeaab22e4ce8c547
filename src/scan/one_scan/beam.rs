//! The beam: received power as a function of distance from the emitter.
//!
//! Distances are in half-power widths throughout, and are passed as squares: the response is a
//! smooth function of the square, even at the centre.

use std::f64::consts::PI;
use std::sync::LazyLock;

/// Where (2 J1(u) / u)^2 is one half. A property of the function, computed to double precision.
pub(crate) const HALF_POWER: f64 = 1.616_339_948_310_703_2;

/// Largest ratio of disc to beam that is modelled: with more, the integration rings would show.
/// Wider discs are treated as this wide, which needs a dish of 60 m at 10 GHz.
const WIDEST_DISC: f64 = 8.0;
/// A disc whose radius is less than this fraction of the beam widens it by under 0.5 %. So small an
/// error is not worth the time.
pub(crate) const NARROWEST_DISC: f64 = 0.08;

/// The response at one distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Response {
    /// Power over that of a point source at beam centre.
    pub value: f64,
    /// Its derivative with respect to the squared distance.
    pub slope: f64,
    /// Its derivative with respect to the logarithm of the beam's width.
    pub stretch: f64,
}

/// The power pattern of a uniformly illuminated circular aperture, (2 J1(u) / u)^2 (Airy's pattern;
/// any textbook on antennas, from memory), of half-power width 1, for a point or for an evenly
/// bright disc.
#[derive(Clone, Debug)]
pub(crate) struct Beam {
    airy: &'static Airy,
    /// Integration points (x, y, weight) of a disc of radius 1; empty for a point source.
    disc: Vec<(f64, f64, f64)>,
}

impl Beam {
    /// The beam for a point source.
    pub fn of_point() -> Beam {
        Beam {
            airy: &AIRY,
            disc: Vec::new(),
        }
    }
    /// The beam for a disc whose radius is about `radius` half-power widths.
    pub fn of_disc(radius: f64) -> Beam {
        if radius < NARROWEST_DISC {
            return Beam::of_point();
        }
        let (rings, spokes) = match radius.min(WIDEST_DISC) {
            r if r < 0.6 => (2, 4),
            r if r < 2.0 => (5, 8),
            _ => (16, 24),
        };
        // Uniform over the area: Gauss-Legendre in the squared radius, the midpoint rule around the
        // circle, of which one half is enough by symmetry.
        let mut disc = Vec::with_capacity(rings * spokes);
        for (node, weight) in gauss_legendre(rings) {
            let ring = (0.5 + 0.5 * node).sqrt();
            for k in 0..spokes {
                let (s, c) = (PI * (k as f64 + 0.5) / spokes as f64).sin_cos();
                disc.push((ring * c, ring * s, 0.5 * weight / spokes as f64));
            }
        }
        Beam { airy: &AIRY, disc }
    }
    /// The response, accurate to a thousandth, at a distance of either sign, for a search; `radius`
    /// as in [`Beam::response`].
    #[inline(always)]
    pub fn rough(&self, distance: f64, radius: f64) -> f64 {
        let airy = self.airy;
        if self.disc.is_empty() {
            return airy.rough(distance);
        }
        let of_point = |(x, y, weight): &(f64, f64, f64)| {
            let (dx, dy) = (distance - radius * x, radius * y);
            weight * airy.rough((dx * dx + dy * dy).sqrt())
        };
        self.disc.iter().map(of_point).sum()
    }
    /// The response at squared distance `square`, to a disc of radius `radius` (which is
    /// ignored for a point).
    #[inline]
    pub fn response(&self, square: f64, radius: f64) -> Response {
        if self.disc.is_empty() {
            let (value, slope) = self.airy.at(square);
            return Response {
                value,
                slope,
                stretch: -2.0 * square * slope,
            };
        }
        let distance = square.sqrt();
        let mut sum = Response {
            value: 0.0,
            slope: 0.0,
            stretch: 0.0,
        };
        for (x, y, weight) in &self.disc {
            let (dx, dy) = (distance - radius * x, radius * y);
            let at = dx * dx + dy * dy;
            let (value, slope) = self.airy.at(at);
            sum.value += weight * value;
            // d/d(r^2) = (1/2r) d/dr; pairs of opposite points keep it finite at the centre.
            sum.slope += weight * slope * dx / distance.max(MIDDLE);
            sum.stretch -= weight * 2.0 * at * slope;
        }
        if distance < MIDDLE {
            sum.slope = self.response(MIDDLE * MIDDLE, radius).slope;
        }
        sum
    }
}

/// Closer to the centre than this the slope is taken at this distance, where the response is flat,
/// to avoid dividing by zero.
const MIDDLE: f64 = 1e-3;

/// Gauss-Legendre nodes and weights on -1 to 1, by Newton's method on the Legendre polynomials.
fn gauss_legendre(n: usize) -> Vec<(f64, f64)> {
    (0..n)
        .map(|i| {
            let mut x = (PI * (i as f64 + 0.75) / (n as f64 + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..50 {
                let (mut p, mut before) = (1.0, 0.0);
                for k in 0..n {
                    let k = k as f64;
                    let next = ((2.0 * k + 1.0) * x * p - k * before) / (k + 1.0);
                    before = p;
                    p = next;
                }
                slope = n as f64 * (x * p - before) / (x * x - 1.0);
                let step = p / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// Airy's pattern and its derivative with respect to the squared distance, tabulated against the
/// distance.
#[derive(Debug)]
struct Airy {
    /// For each interval between nodes, the cubics of the value and of its derivative with respect
    /// to the squared distance.
    cubics: Vec<[[f64; 4]; 2]>,
    /// The values alone, each with the difference to the next; zero at the last distance and
    /// beyond.
    values: Vec<(f64, f64)>,
}

/// Nodes per half-power width: the error of cubic interpolation is then under 1e-7.
const NODES_A_WIDTH: f64 = 64.0;
/// Beyond this many half-power widths the pattern, under 2e-5 there, is taken as zero.
const FARTHEST: f64 = 16.0;

static AIRY: LazyLock<Airy> = LazyLock::new(|| {
    // Value, slope, and the derivative of the slope with respect to the squared distance.
    let nodes = (0..=(FARTHEST * NODES_A_WIDTH) as usize)
        .map(|i| {
            let u = 2.0 * HALF_POWER * i as f64 / NODES_A_WIDTH;
            // With A = 2 J1/u and B = J2/u^2: dA/du = -2 u B, dB/du = -J3/u^2 and
            // u = 2 HALF_POWER r, so d/d(r^2) = 2 HALF_POWER^2 (1/u) d/du.
            let [a, b, c] = if u == 0.0 {
                [1.0, 0.125, 1.0 / 48.0]
            } else {
                let [j1, j2, j3] = bessel(u);
                [2.0 * j1 / u, j2 / (u * u), j3 / (u * u * u)]
            };
            let scale = 2.0 * HALF_POWER * HALF_POWER;
            // (A^2)' = 2 A (-2 u B), over u: -4 A B.
            let slope = -4.0 * scale * a * b;
            // (A B)' = -2 u B^2 - A J3/u^2, over u: -2 B^2 - A c.
            let bend = -4.0 * scale * scale * (-2.0 * b * b - a * c);
            [a * a, slope, bend]
        })
        .collect::<Vec<[f64; 3]>>();
    let last = nodes.len() - 1;
    let value = |i: usize| if i < last { nodes[i][0] } else { 0.0 };
    // Derivatives with respect to the position: d/dr = 2 r d/d(r^2).
    let step = 2.0 / (NODES_A_WIDTH * NODES_A_WIDTH);
    let cubics = nodes.windows(2).enumerate().map(|(i, pair)| {
        let ([v0, s0, b0], [v1, s1, b1]) = (pair[0], pair[1]);
        let (here, next) = (i as f64 * step, (i as f64 + 1.0) * step);
        [
            cubic(v0, v1, here * s0, next * s1),
            cubic(s0, s1, here * b0, next * b1),
        ]
    });
    Airy {
        cubics: cubics.collect(),
        values: (0..=last)
            .map(|i| (value(i), value((i + 1).min(last)) - value(i)))
            .collect(),
    }
});

impl Airy {
    /// Value at a distance of either sign, accurate to a thousandth.
    #[inline(always)]
    fn rough(&self, distance: f64) -> f64 {
        let place = (distance.abs() * NODES_A_WIDTH).min(FARTHEST * NODES_A_WIDTH);
        let i = place as u32;
        let (here, step) = self.values[i as usize];
        here + (place - f64::from(i)) * step
    }
    /// Value and slope at a squared distance.
    #[inline]
    fn at(&self, square: f64) -> (f64, f64) {
        let place = square.sqrt() * NODES_A_WIDTH;
        let i = place as u32;
        // NaN would convert to index zero, so it is excluded here.
        let Some(cubics) = self.cubics.get(i as usize).filter(|_| !place.is_nan()) else {
            return (0.0, 0.0);
        };
        let t = place - f64::from(i);
        let [value, slope] = cubics.map(|[a, b, c, d]| a + t * (b + t * (c + t * d)));
        (value, slope)
    }
}

/// The coefficients of the cubic through two values with two slopes, for a variable from 0 to 1.
fn cubic(v0: f64, v1: f64, d0: f64, d1: f64) -> [f64; 4] {
    let rise = v1 - v0;
    [v0, d0, 3.0 * rise - 2.0 * d0 - d1, d0 + d1 - 2.0 * rise]
}

/// J1, J2 and J3 at `u` > 0 by Miller's backward recurrence, normalised by
/// J0 + 2 (J2 + J4 + ...) = 1 (Abramowitz and Stegun, Handbook of Mathematical Functions,
/// 9.1.27, 9.1.46 and 9.12 example 1; from memory).
fn bessel(u: f64) -> [f64; 3] {
    let top = 2 * ((u + 30.0) as usize / 2 + 5);
    let (mut above, mut here) = (0.0, 1e-280);
    let mut found = [0.0; 4];
    let mut norm = 0.0;
    for n in (0..=top).rev() {
        // `here` is J_(n+1), about to become J_n.
        let below = 2.0 * (n as f64 + 1.0) / u * here - above;
        above = here;
        here = below;
        if here.abs() > 1e200 {
            let shrink = 1e-200;
            here *= shrink;
            above *= shrink;
            norm *= shrink;
            found.iter_mut().for_each(|j| *j *= shrink);
        }
        if n % 2 == 0 {
            norm += if n == 0 { here } else { 2.0 * here };
        }
        if n < 4 {
            found[n] = here;
        }
    }
    [found[1] / norm, found[2] / norm, found[3] / norm]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The tables have ten decimals.
    const TABLE: f64 = 1e-10;
    /// Allowed interpolation error.
    const INTERPOLATION: f64 = 1e-7;

    #[test]
    fn bessel_functions_are_those_of_the_tables() {
        // Abramowitz and Stegun, Table 9.1 and 9.2 (from memory).
        for (u, j1, j2) in [
            (1.0, 0.440_050_585_7, 0.114_903_484_9),
            (5.0, -0.327_579_137_6, 0.046_565_116_3),
            (10.0, 0.043_472_746_2, 0.254_630_313_7),
        ] {
            let [a, b, _] = bessel(u);
            assert!(
                (a - j1).abs() < TABLE && (b - j2).abs() < TABLE,
                "{u}: {a} {b}"
            );
        }
    }

    #[test]
    fn the_pattern_has_its_known_landmarks() {
        let beam = Beam::of_point();
        let value = |r: f64| beam.response(r * r, 0.0).value;
        assert!((value(0.0) - 1.0).abs() < INTERPOLATION);
        assert!((value(0.5) - 0.5).abs() < INTERPOLATION);
        // First null at u = 3.8317, first sidelobe of 0.0175 (-17.6 dB) at u = 5.1356.
        assert!(value(3.831_706 / (2.0 * HALF_POWER)) < INTERPOLATION);
        assert!((value(5.135_622 / (2.0 * HALF_POWER)) - 0.017_498).abs() < 1e-6);
    }

    #[test]
    fn rough_values_are_good_to_a_thousandth() {
        for (beam, radius) in [(Beam::of_point(), 0.0), (Beam::of_disc(0.5), 0.5)] {
            for i in 0..2000 {
                let r = i as f64 * 0.01;
                let value = beam.response(r * r, radius).value;
                for distance in [r, -r] {
                    let rough = beam.rough(distance, radius);
                    assert!((rough - value).abs() < 1e-3, "{distance}: {rough} {value}");
                }
            }
        }
    }

    #[test]
    fn slopes_are_those_of_the_values() {
        for (beam, radius) in [
            (Beam::of_point(), 0.0),
            (Beam::of_disc(0.3), 0.3),
            (Beam::of_disc(1.5), 1.5),
        ] {
            for r in [0.05f64, 0.3, 0.77, 1.3, 2.6] {
                let (square, h) = (r * r, 1e-4);
                let at = beam.response(square, radius);
                let up = beam.response(square + h, radius).value;
                let down = beam.response(square - h, radius).value;
                assert!(
                    ((up - down) / (2.0 * h) - at.slope).abs() < 1e-4,
                    "{r} {radius}"
                );
                // A wider beam scales all distances down, including the disc's radius.
                let shrink = |f: f64| beam.response(square / (f * f), radius / f).value;
                let stretch = (shrink(1.001) - shrink(0.999)) / 0.002;
                assert!((stretch - at.stretch).abs() < 1e-4, "{r} {radius}");
            }
        }
    }

    #[test]
    fn a_disc_keeps_the_whole_power_and_flattens_the_top() {
        for radius in [0.2f64, 1.0, 3.0, 6.0] {
            let disc = Beam::of_disc(radius);
            let point = Beam::of_point();
            let power = |beam: &Beam| -> f64 {
                let step = 2e-3;
                (0..7000)
                    .map(|i| {
                        let r = (i as f64 + 0.5) * step;
                        beam.response(r * r, radius).value * r * step
                    })
                    .sum()
            };
            let ratio = power(&disc) / power(&point);
            assert!((ratio - 1.0).abs() < 0.01, "{radius}: {ratio}");
            assert!(disc.response(0.0, radius).value < 1.0);
        }
        // Inside a disc much wider than the beam the response is uniform.
        let wide = Beam::of_disc(6.0);
        let ratio = wide.response(9.0, 6.0).value / wide.response(0.0, 6.0).value;
        assert!((ratio - 1.0).abs() < 0.05, "{ratio}");
    }
}
