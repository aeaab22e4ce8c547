//! Compares all scans of a log: finds what no single scan can show.

use std::collections::HashMap;

use nalgebra::{DMatrix, DVector};

use super::timing::{Timing, Ways, timing};
use super::trend::{TAKEN, Trend};
use super::tuned::{
    AGREEMENT_OF_WIDTHS, BEAMS_OF_A_DISPLACED_PEAK, BELIEVABLE_FACTOR_OF_WIDTHS,
    FACTOR_OF_WIDTHS_TO_GIVEN, FACTOR_OF_WIDTHS_TO_OTHERS, FACTOR_OF_WIDTHS_TO_WORKED_OUT,
    FACTOR_OF_WIDTHS_WORTH_A_REMARK, FEWEST_TO_AGREE_ON_A_WIDTH, FEWEST_TO_PLACE_A_PEAK,
    PART_THAT_AGREES_ON_A_WIDTH, SIGMAS_OF_A_DISPLACED_PEAK, SIGMAS_OF_A_SIDELOBE,
    SIGMAS_OF_ANOTHER_WIDTH, WIDTH_OF_A_SIDELOBE,
};
use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::logbook::{Approach, Readings};
use crate::mount::{ApproachSigns, MountModel};
use crate::scan::ScanAxis;
use crate::scan::one_scan::analyse::Analysis;
use crate::scan::one_scan::beam_frame::Fixed;
use crate::scan::one_scan::fitted::{AxisFit, FittedScan};
use crate::scan::one_scan::noise::NoiseLaw;
use crate::scan::one_scan::point::median;
use crate::scan::outcome::{AxisPeak, ReducedScan, Reduction};
use crate::scan::reason::{Reason, ScanVerdict, VAGUE};
use crate::station::Station;

/// A scan with the result of its own analysis.
#[derive(Clone, Debug)]
pub(crate) struct NamedAnalysis {
    pub name: String,
    pub emitter: String,
    pub line: usize,
    pub analysis: Analysis,
}

/// How far a mount's pointing may differ from its readings, radians: one degree. Common practice,
/// no source.
const MOUNT_ERROR: f64 = 0.0175;

/// Judges the scans against each other and corrects their peaks.
pub(crate) fn join(
    mut scans: Vec<NamedAnalysis>,
    station: &Station,
    noise_law: NoiseLaw,
) -> Reduction {
    let agreed = agreed_width(&scans);
    judge_widths(&mut scans, agreed, station.dish.beamwidth_assumed);
    let mut trend = trend(&scans);
    if let Some(found) = &trend
        && judge_places(&mut scans, found, station.dish.beamwidth.degrees())
    {
        trend = self::trend(&scans);
    }
    let [mut azimuth, mut elevation] = [Ways::default(), Ways::default()];
    for scan in scans.iter().filter(|s| counts(s)) {
        if let Some(fitted) = &scan.analysis.fitted {
            let cos = scan.analysis.emitter.cos;
            fitted.azimuth.iter().for_each(|fit| azimuth.add(fit, cos));
            fitted
                .elevation
                .iter()
                .for_each(|fit| elevation.add(fit, 1.0));
        }
    }
    let width = station.dish.beamwidth.degrees();
    let timings = [
        timing(ScanAxis::Azimuth, &azimuth, trend.as_ref(), width),
        timing(ScanAxis::Elevation, &elevation, trend.as_ref(), width),
    ];
    let tellable = [&azimuth, &elevation].map(|ways| ways.both_ways());
    let correct = Correct {
        trend: trend.as_ref(),
        timings: &timings,
        tellable,
        width,
    };
    let reduced = scans
        .iter()
        .enumerate()
        .map(|(i, scan)| correct.scan(i, scan, station))
        .collect();
    let mut remarks = Vec::new();
    if let Some(ratio) = agreed.filter(|r| r.ln().abs() > FACTOR_OF_WIDTHS_WORTH_A_REMARK.ln()) {
        remarks.push(format!(
            "the scans agree on a beam of {:.3} deg, {ratio:.2} times the station's: check diameter_m, frequency_mhz or beamwidth_deg in the station file",
            ratio * width
        ));
    }
    let [azimuth, elevation] = timings;
    Reduction {
        mount: station.mount.kind(),
        scans: reduced,
        azimuth,
        elevation,
        noise_law,
        beam_over_station: agreed,
        remarks,
        readings: Readings::Unsaid,
    }
}

fn verdict(scan: &NamedAnalysis) -> ScanVerdict {
    let reasons = scan.analysis.reasons.iter();
    reasons
        .map(Reason::verdict)
        .max()
        .unwrap_or(ScanVerdict::Good)
}

/// Whether a scan's position may be used to judge others.
fn counts(scan: &NamedAnalysis) -> bool {
    verdict(scan) != ScanVerdict::Refused
        && !scan
            .analysis
            .reasons
            .iter()
            .any(|r| r.doubts_emitter() || matches!(r, Reason::OneFlank { .. }))
}

fn trend(scans: &[NamedAnalysis]) -> Option<Trend> {
    let all: Vec<(&Analysis, bool)> = scans.iter().map(|s| (&s.analysis, counts(s))).collect();
    Trend::of(&all)
}

/// The beamwidth, as a ratio to the station's, on which the good scans agree; `None` if they do not
/// agree. Two emitters in one beam only ever widen a peak, so this is the densest cluster of widths
/// and not the median of all.
fn agreed_width(scans: &[NamedAnalysis]) -> Option<f64> {
    let mut logs: Vec<f64> = scans
        .iter()
        .filter(|s| verdict(s) == ScanVerdict::Good)
        .filter_map(|s| s.analysis.fitted.as_ref())
        .filter(|f| f.stretch_sigma < AGREEMENT_OF_WIDTHS)
        .map(|f| f.stretch.ln())
        .collect();
    logs.sort_by(f64::total_cmp);
    let from = |i: usize| {
        let beyond = logs.partition_point(|l| *l < logs[i] + AGREEMENT_OF_WIDTHS);
        &logs[i..beyond]
    };
    let densest = (0..logs.len()).map(from).max_by_key(|own| own.len())?;
    let middle = densest[densest.len() / 2];
    let near = logs
        .iter()
        .filter(|l| (*l - middle).abs() < AGREEMENT_OF_WIDTHS);
    let near = near.count();
    let agree = near >= FEWEST_TO_AGREE_ON_A_WIDTH
        && near as f64 > PART_THAT_AGREES_ON_A_WIDTH * logs.len() as f64;
    (agree && middle.abs() < BELIEVABLE_FACTOR_OF_WIDTHS.ln()).then(|| middle.exp())
}

/// The usual elongation of the beam: a dish with an elliptical beam shows it in most scans.
fn usual_elongation(scans: &[NamedAnalysis]) -> f64 {
    let all: Vec<f64> = scans
        .iter()
        .filter_map(|s| s.analysis.fitted.as_ref())
        .filter(|f| f.elongation_sigma > 0.0)
        .map(|f| f.elongation)
        .collect();
    match all.len() {
        n if n < FEWEST_TO_AGREE_ON_A_WIDTH => 1.0,
        _ => median(all),
    }
}

fn judge_widths(scans: &mut [NamedAnalysis], agreed: Option<f64>, worked_out: bool) {
    let tolerance = match agreed {
        Some(_) => FACTOR_OF_WIDTHS_TO_OTHERS,
        None if worked_out => FACTOR_OF_WIDTHS_TO_WORKED_OUT,
        None => FACTOR_OF_WIDTHS_TO_GIVEN,
    };
    let usual_elongation = usual_elongation(scans);
    for scan in scans {
        let Some(fitted) = &scan.analysis.fitted else {
            continue;
        };
        let mean = fitted.stretch / agreed.unwrap_or(1.0);
        // Two emitters in one beam lengthen it in one direction only.
        let longer = mean * (fitted.elongation / usual_elongation).max(1.0);
        let longer_sigma = fitted.stretch_sigma.hypot(fitted.elongation_sigma);
        let (ratio, sigma) = if longer.ln() / longer_sigma > mean.ln().abs() / fitted.stretch_sigma
        {
            (longer, longer_sigma)
        } else {
            (mean, fitted.stretch_sigma)
        };
        let sigmas = ratio.ln().abs() / sigma;
        // If the mount's pointing differs from its readings, a degree of azimuth is longer or
        // shorter on the sky than the readings suggest.
        let doubt = MOUNT_ERROR * scan.analysis.emitter.elevation.tan().abs();
        let narrow = ratio < WIDTH_OF_A_SIDELOBE && sigmas > SIGMAS_OF_A_SIDELOBE;
        if !narrow
            && (sigmas < SIGMAS_OF_ANOTHER_WIDTH || ratio.ln().abs() < tolerance.ln() + doubt)
        {
            continue;
        }
        let flank = |r: &Reason| matches!(r, Reason::OneFlank { .. });
        if scan.analysis.reasons.iter().any(flank) {
            continue;
        }
        scan.analysis.reasons.push(if ratio < WIDTH_OF_A_SIDELOBE {
            Reason::Narrow { ratio }
        } else {
            Reason::Width { ratio }
        });
    }
}

/// Finds peaks that lie away from where the other scans put them; returns true if there are any.
fn judge_places(scans: &mut [NamedAnalysis], trend: &Trend, width_deg: f64) -> bool {
    let good = scans.iter().filter(|s| counts(s)).count();
    if good < FEWEST_TO_PLACE_A_PEAK {
        return false;
    }
    let mut heights: HashMap<String, Vec<f64>> = HashMap::new();
    for scan in scans.iter().filter(|s| counts(s)) {
        if let Some(fitted) = &scan.analysis.fitted {
            heights
                .entry(scan.emitter.clone())
                .or_default()
                .push(fitted.height);
        }
    }
    let mut any = false;
    for (i, scan) in scans.iter_mut().enumerate() {
        let departures = [ScanAxis::Azimuth, ScanAxis::Elevation]
            .into_iter()
            .filter_map(|axis| trend.departure(i, axis));
        let (mut square, mut sigmas) = (0.0, 0.0f64);
        for (degrees, sigma) in departures {
            square += degrees * degrees;
            sigmas = sigmas.max(sigma);
        }
        let beams = square.sqrt() / width_deg;
        if beams > BEAMS_OF_A_DISPLACED_PEAK && sigmas > SIGMAS_OF_A_DISPLACED_PEAK {
            let strength = scan.analysis.fitted.as_ref().and_then(|f| {
                let all = heights.get(&scan.emitter).filter(|h| h.len() > 2)?;
                Some(f.height / median(all.clone()))
            });
            scan.analysis
                .reasons
                .push(Reason::Displaced { beams, strength });
            any = true;
        }
    }
    any
}

/// Corrects peaks for lag, backlash and the pull of the mount's errors.
struct Correct<'a> {
    trend: Option<&'a Trend>,
    timings: &'a [Timing; 2],
    /// Whether passes run in both directions along each axis.
    tellable: [bool; 2],
    width: f64,
}

impl Correct<'_> {
    fn scan(&self, i: usize, scan: &NamedAnalysis, station: &Station) -> ReducedScan {
        let analysis = &scan.analysis;
        let mut verdict = verdict(scan);
        let mut reasons = analysis.reasons.clone();
        let fitted = analysis.fitted.as_ref();
        let lost = |axis: ScanAxis| {
            reasons
                .iter()
                .any(|r| matches!(r, Reason::OneFlank { axis: a, .. } if *a == axis))
        };
        let peak = |axis: ScanAxis| {
            let fit = fitted?.axis(axis).filter(|_| !lost(axis))?;
            Some(self.axis(i, axis, fit, analysis))
        };
        let (mut azimuth, mut elevation) = (peak(ScanAxis::Azimuth), peak(ScanAxis::Elevation));
        if verdict == ScanVerdict::Refused || (azimuth.is_none() && elevation.is_none()) {
            verdict = ScanVerdict::Refused;
            (azimuth, elevation) = (None, None);
        }
        reasons.dedup();
        let directions = [ScanAxis::Azimuth, ScanAxis::Elevation].map(|axis| {
            let groups = &fitted?.axis(axis)?.groups;
            let has = |sign: f64| groups.iter().any(|g| g.sign == sign);
            match (has(1.0), has(-1.0)) {
                (true, true) => Some("both"),
                (true, false) => Some("+"),
                (false, true) => Some("-"),
                (false, false) => None,
            }
        });
        let beam = station.dish.beamwidth;
        let decibels = |f: &FittedScan| {
            let top = f.level + f.height;
            (top > 0.0).then(|| 10.0 * top.log10())
        };
        ReducedScan {
            name: scan.name.clone(),
            emitter: scan.emitter.clone(),
            line: scan.line,
            time: analysis.mid,
            apparent: apparent(station, &analysis.emitter),
            shape: analysis.shape,
            directions,
            verdict,
            reasons,
            azimuth,
            elevation,
            width: fitted.map(|f| (beam * f.stretch, beam * (f.stretch * f.stretch_sigma))),
            signal_to_noise: fitted.map(|f| f.height / f.noise).filter(|s| s.is_finite()),
            peak_db: fitted.and_then(decibels),
            curve: match fitted {
                Some(fitted) => Some(fitted.curve.clone()).filter(|c| !c.points.is_empty()),
                None => analysis.bare.clone(),
            },
        }
    }

    /// One axis of a peak.
    fn axis(&self, i: usize, axis: ScanAxis, fit: &AxisFit, analysis: &Analysis) -> AxisPeak {
        let timing = match axis {
            ScanAxis::Azimuth => &self.timings[0],
            ScanAxis::Elevation => &self.timings[1],
        };
        let both = match axis {
            ScanAxis::Azimuth => self.tellable[0],
            ScanAxis::Elevation => self.tellable[1],
        };
        let (on_sky, place, near) = match axis {
            ScanAxis::Azimuth => (
                analysis.emitter.cos,
                analysis.emitter.azimuth,
                analysis.near.0,
            ),
            ScanAxis::Elevation => (1.0, analysis.emitter.elevation, analysis.near.1),
        };
        let n = fit.offsets.len();
        let speeds: Vec<f64> = fit.groups.iter().map(|g| g.speed.to_degrees()).collect();
        let signs: Vec<f64> = fit.groups.iter().map(|g| g.sign).collect();
        let lag = timing.lag_s.is_some();
        let finish = |w: &DVector<f64>, take: &DMatrix<f64>| -> (Angle, Angle) {
            let degrees = 180.0 / std::f64::consts::PI;
            let mut offsets = DVector::from_iterator(n, fit.offsets.iter().map(|o| o * degrees));
            let variance = match self.trend {
                Some(trend) => {
                    offsets -= trend.taken(axis, take);
                    let pulled = w.dot(&trend.taken(axis, &self::take(fit, false, false)));
                    trend.variance_after(i, axis, fit, w, take, on_sky)
                        + (HIGHER_ORDERS * pulled).powi(2)
                }
                None => (w.transpose() * &fit.covariance * w)[(0, 0)] * degrees * degrees,
            };
            let offset = w.dot(&offsets);
            let sigma = on_sky * variance.sqrt();
            let reading = Angle::from_radians(place) + Angle::from_degrees(offset);
            let reading = match axis {
                ScanAxis::Azimuth => reading.nearest_turn_to(Angle::from_radians(near)),
                ScanAxis::Elevation => reading,
            };
            (reading, Angle::from_degrees(sigma))
        };
        let weights = best_weights(&fit.covariance);
        let balanced = balanced_weights(&weights, &signs);
        let (arrived, _) = finish(&balanced, &take(fit, lag, false));
        // The error of the lag is common to all peaks, so it is given separately.
        let (_, arrived_sigma) = finish(&balanced, &take(fit, false, false));
        let by_lag = timing.lag_s.map(|lag| {
            let speed: f64 = balanced.iter().zip(&speeds).map(|(w, s)| w * s).sum();
            Angle::from_degrees(speed * lag.sigma)
        });
        // Lag and backlash are both subtracted if their combined shift of these passes is well
        // known, however it divides between the two.
        let told = both
            && self.trend.is_some_and(|t| {
                (0..n).all(|k| t.shift(axis, speeds[k], signs[k]).sigma < VAGUE * self.width)
            });
        let (reading, sigma) = if told {
            finish(&weights, &take(fit, true, true))
        } else {
            let by_lag = on_sky * by_lag.unwrap_or(Angle::ZERO).radians();
            let sigma = arrived_sigma.radians().hypot(by_lag);
            (arrived, Angle::from_radians(sigma))
        };
        let net: f64 = balanced.iter().zip(&signs).map(|(w, s)| w * s).sum();
        AxisPeak {
            reading,
            sigma,
            arrived,
            arrived_sigma,
            by_lag,
            approach: match net {
                s if s > 0.9 => Approach::Increasing,
                s if s < -0.9 => Approach::Decreasing,
                _ => Approach::Unknown,
            },
        }
    }
}

/// Factors of what is subtracted from a scan's offsets: always the pull of the mount's errors, and
/// the lag and the backlash if asked for.
fn take(fit: &AxisFit, lag: bool, backlash: bool) -> DMatrix<f64> {
    DMatrix::from_fn(fit.offsets.len(), TAKEN, |k, j| match j {
        0 if lag => fit.groups[k].speed.to_degrees(),
        1 if backlash => -0.5 * fit.groups[k].sign,
        0 | 1 => 0.0,
        _ => fit.pull[(k, j - 2)],
    })
}

/// Fraction of the mount errors' pull that may be wrong because it is computed to first order only:
/// that of a tilt of half a degree at elevation 85.
const HIGHER_ORDERS: f64 = 0.1;

/// Weights of the mean with the least variance.
fn best_weights(covariance: &DMatrix<f64>) -> DVector<f64> {
    let n = covariance.nrows();
    let ones = DVector::from_element(n, 1.0);
    let even = &ones / n as f64;
    match covariance.clone().cholesky() {
        Some(cholesky) => {
            let w = cholesky.solve(&ones);
            let sum = w.sum();
            if sum > 0.0 { w / sum } else { even }
        }
        None => even,
    }
}

/// The same, but with equal total weight for each direction, so that backlash cancels.
fn balanced_weights(weights: &DVector<f64>, signs: &[f64]) -> DVector<f64> {
    let sum = |sign: f64| -> f64 {
        weights
            .iter()
            .zip(signs)
            .filter(|(_, s)| **s == sign)
            .map(|(w, _)| w)
            .sum()
    };
    let (plus, minus) = (sum(1.0), sum(-1.0));
    if plus <= 0.0 || minus <= 0.0 {
        return weights.clone();
    }
    let moving = plus + minus;
    DVector::from_fn(weights.len(), |k, _| match signs[k] {
        1.0 => weights[k] * 0.5 * moving / plus,
        -1.0 => weights[k] * 0.5 * moving / minus,
        _ => weights[k],
    })
}
/// Converts the emitter's position from the mount's own coordinates to a direction on the sky.
fn apparent(station: &Station, emitter: &Fixed) -> Direction<Apparent> {
    let at = EncoderReading {
        azimuth: Angle::from_radians(emitter.azimuth),
        elevation: Angle::from_radians(emitter.elevation),
    };
    match station.mount.kind().is_az_el() {
        true => Direction::apparent(at.azimuth, at.elevation),
        false => MountModel::ideal(station.mount.geometry).beam(at, ApproachSigns::UNKNOWN),
    }
}
