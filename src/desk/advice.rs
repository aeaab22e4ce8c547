//! Which way the peak lies and how far, in words.

use super::coach::PeakSoFar;
use crate::angle::Angle;
use crate::live::Axes;
use crate::mount::Kind;
use crate::number;

/// Closer to the top than this share of the beamwidth there is nothing to gain: 0.005 dB.
const THERE: f64 = 0.02;

/// Factor by which a degree of the first axis is smaller on the sky.
pub fn lean(kind: Kind, axes: Axes) -> f64 {
    let second = axes.0[1];
    match kind {
        // The second axis of an x-y mount is perpendicular to the first: the same cosine.
        Kind::AzEl | Kind::Slant | Kind::Polar(_) | Kind::XY(_) => second.cos().abs(),
    }
}

/// Distance along each axis, with the words: to the top of the parabola if known, otherwise back to
/// the best reading.
pub fn advice(
    standing: &PeakSoFar,
    kind: Kind,
    lean: f64,
    beamwidth: Angle,
) -> ([Option<Angle>; 2], String) {
    let (Some(now), Some(best)) = (standing.now.place, standing.best.place) else {
        let behind = standing.best.power_db - standing.now.power_db;
        let ago = standing
            .now
            .at
            .saturating_duration_since(standing.best.at)
            .as_secs();
        let words = match behind {
            b if b < 0.1 => "this is the best so far".to_owned(),
            b => format!("{} dB below the best, {ago} s ago", number::fixed(b, 1)),
        };
        return ([None, None], words);
    };
    let way = [0, 1].map(|axis| match standing.top[axis] {
        Some((top, _)) => top - now[axis],
        None => best[axis] - now[axis],
    });
    let small = |axis: usize| {
        let on_sky = way[axis].abs() * if axis == 0 { lean } else { 1.0 };
        on_sky < beamwidth * THERE
    };
    let known = standing.top.iter().all(Option::is_some);
    if small(0) && small(1) {
        let words = match known {
            true => format!(
                "this is the peak, by a parabola through {} readings: take it",
                standing.readings
            ),
            false => "this is the best so far: go on past it to either side".to_owned(),
        };
        return (way.map(Some), words);
    }
    let parts: Vec<String> = (kind.axes().into_iter().enumerate())
        .filter(|(axis, _)| !small(*axis))
        .map(|(axis, of)| {
            let side = match way[axis] > Angle::ZERO {
                true => of.increasing(),
                false => of.decreasing(),
            };
            let sigma = standing.top[axis].map(|(_, sigma)| sigma.degrees());
            let size = way[axis].abs().degrees();
            let size = match sigma.filter(|s| *s > 0.0) {
                Some(sigma) => number::by_sigma(size, sigma),
                None => number::significant(size, 2),
            };
            format!("{size} deg {side}")
        })
        .collect();
    let parts = parts.join(" and ");
    let words = match standing.top {
        [Some(_), Some(_)] => {
            format!(
                "{parts} to the peak, by a parabola through {} readings",
                standing.readings
            )
        }
        [None, None] => format!("{parts} back to the best so far"),
        [one, _] => {
            let [first, second] = kind.axes().map(|axis| axis.words());
            let (fitted, other) = match one {
                Some(_) => (first, second),
                None => (second, first),
            };
            format!("{parts}: the peak in {fitted} is known, go to and fro in {other} too")
        }
    };
    (way.map(Some), words)
}
