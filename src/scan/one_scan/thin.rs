//! Thins dense scans to the detail that the beam can resolve, before anything is fitted.

use super::beam_frame::Fixed;
use super::passes::{ScanPass, steps};
use super::point::{SIGMA_OF_MEDIAN, ScanPoint, median};
use super::tuned::{LEAST_ROWS_TO_JUDGE_ONE, POINTS_A_BEAM, SIGMAS_OF_A_FAR_ROW};

/// Averages neighbouring points of each pass; points outside passes are left out.
pub(crate) fn thinned(
    points: &[ScanPoint],
    passes: &[ScanPass],
    width: f64,
) -> (Vec<ScanPoint>, Vec<ScanPass>) {
    let mut kept = Vec::new();
    let mut moved = Vec::with_capacity(passes.len());
    for pass in passes {
        let own = &points[pass.from..pass.to];
        let seconds = own[own.len() - 1].seconds - own[0].seconds;
        let along = match pass.axis {
            crate::scan::ScanAxis::Azimuth => own[own.len() / 2].emitter.cos,
            crate::scan::ScanAxis::Elevation => 1.0,
        };
        let beams = (pass.speed * along * seconds).abs() / width;
        let from = kept.len();
        match pass.by_steps {
            // Each stop becomes one point, however close its neighbours are.
            true => kept.extend(stops(own)),
            false => kept.extend(thinned_points(own, beams)),
        }
        moved.push(ScanPass {
            from,
            to: kept.len(),
            ..*pass
        });
    }
    (kept, moved)
}

/// The mean of each stop of a stepped track.
fn stops(points: &[ScanPoint]) -> Vec<ScanPoint> {
    let mut ends = steps(points);
    ends.push(points.len());
    let starts = std::iter::once(0).chain(ends.clone());
    (starts.zip(&ends))
        .map(|(from, to)| mean(&points[from..*to]))
        .collect()
}

/// Averages neighbouring points of a track that is this many beamwidths long.
pub(crate) fn thinned_points(points: &[ScanPoint], beams: f64) -> Vec<ScanPoint> {
    let together = (points.len() as f64 / (POINTS_A_BEAM * beams.max(1.0))) as usize;
    if together < 2 {
        return points.to_vec();
    }
    points.chunks(together).map(mean).collect()
}

/// The mean of neighbours, leaving out those whose power is far from the rest.
pub(crate) fn mean(points: &[ScanPoint]) -> ScanPoint {
    let mut kept: Vec<&ScanPoint> = points.iter().collect();
    if points.len() >= LEAST_ROWS_TO_JUDGE_ONE {
        let middle = median(points.iter().map(|p| p.power).collect());
        let spread = median(points.iter().map(|p| (p.power - middle).abs()).collect());
        let far = SIGMAS_OF_A_FAR_ROW * SIGMA_OF_MEDIAN * spread;
        if spread > 0.0 {
            kept.retain(|p| (p.power - middle).abs() <= far);
        }
    }
    let rows: f64 = kept.iter().map(|p| p.rows).sum();
    let mean = |value: &dyn Fn(&ScanPoint) -> f64| {
        kept.iter().map(|p| p.rows * value(p)).sum::<f64>() / rows
    };
    ScanPoint {
        seconds: mean(&|p| p.seconds),
        azimuth: mean(&|p| p.azimuth),
        elevation: mean(&|p| p.elevation),
        emitter: Fixed::new(mean(&|p| p.emitter.azimuth), mean(&|p| p.emitter.elevation)),
        power: mean(&|p| p.power),
        rows,
    }
}
