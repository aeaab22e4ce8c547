//! From a log of scans to a [`Reduction`]: batches of scans on all cores, then all scans compared.

use std::collections::HashMap;
use std::io::BufRead;

use rayon::prelude::*;

use super::all_scans::join::{NamedAnalysis, join};
use super::one_scan::analyse::{Analysis, analyse};
use super::one_scan::beam_frame::Fixed;
use super::one_scan::curve::FittedCurve;
use super::one_scan::noise::NoiseLaw;
use super::one_scan::passes::ScanShape;
use super::one_scan::point::ScanPoints;
use super::one_scan::setup::ExpectedBeam;
use super::outcome::Reduction;
use super::reason::Reason;
use crate::logbook::{Readings, Scan, ScanReader};
use crate::mount::Geometry;
use crate::problem::Error;
use crate::sky::{EmitterId, Sky, Track};
use crate::station::{EmitterKind, Station};
use crate::time::Utc;

/// What to assume about the noise.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AssumedNoise {
    /// Whichever law the scans' own scatter supports.
    #[default]
    Found,
    /// This law.
    Given(NoiseLaw),
}

/// Options of a reduction.
#[derive(Clone, Copy, Debug, Default)]
pub struct ReduceOptions {
    /// The law of the noise.
    pub noise: AssumedNoise,
    /// Whether to keep the samples and fitted curves of each scan, for pictures.
    pub keep_curves: bool,
}

/// Scans in a batch: enough for all cores, few enough to fit in memory.
const BATCH_SCANS: usize = 256;
/// A batch ends early with this many samples, so that it takes no more than some tens of megabytes.
const BATCH_SAMPLES: usize = 1 << 17;

/// Angular radius of the Sun at its mean distance, degrees: 959.6 seconds of arc (from memory).
const SUN_RADIUS_DEG: f64 = 0.266_6;
/// Of the Moon: 932.6 seconds of arc (from memory).
const MOON_RADIUS_DEG: f64 = 0.259_1;

/// Reduces all scans of a log.
///
/// # Errors
/// When the log cannot be read, holds no scan, or is mostly unusable.
pub fn reduce<R: BufRead + Send>(
    reader: &mut ScanReader<'_, R>,
    station: &Station,
    sky: &Sky,
    options: &ReduceOptions,
) -> Result<Reduction, Error> {
    let mut analyses = Vec::new();
    let mut law = Law::new(options.noise);
    let mut batch = Vec::new();
    let mut next = read_batch(reader)?;
    while !next.is_empty() {
        std::mem::swap(&mut batch, &mut next);
        // The next batch is read while this one is fitted.
        let (fitted, read) = rayon::join(
            || analyse_all(&batch, station, sky, &mut law, options),
            || read_batch(reader),
        );
        analyses.extend(fitted);
        next = read?;
    }
    let mut reduction = join(analyses, station, law.law);
    reduction.remarks.splice(0..0, reader.remarks());
    // A log that does not say holds encoder readings, as docs/files.md defines.
    reduction.readings = match reader.readings() {
        Readings::Unsaid => Readings::Encoder,
        said => said,
    };
    Ok(reduction)
}

/// Reduces scans that are already in memory.
pub fn reduce_scans(
    scans: &[Scan],
    station: &Station,
    sky: &Sky,
    options: &ReduceOptions,
) -> Reduction {
    let mut law = Law::new(options.noise);
    let analyses = analyse_all(scans, station, sky, &mut law, options);
    join(analyses, station, law.law)
}

fn read_batch<R: BufRead>(reader: &mut ScanReader<'_, R>) -> Result<Vec<Scan>, Error> {
    let mut batch = Vec::new();
    let mut samples = 0;
    while batch.len() < BATCH_SCANS && samples < BATCH_SAMPLES {
        let Some(scan) = reader.next_scan()? else {
            break;
        };
        samples += scan.samples.len();
        batch.push(scan);
    }
    Ok(batch)
}

/// The noise law that the scans so far support.
struct Law {
    law: NoiseLaw,
    found: bool,
    /// Sum of the log-likelihood ratios, radiometer over steady.
    evidence: f64,
}

impl Law {
    fn new(noise: AssumedNoise) -> Law {
        match noise {
            AssumedNoise::Found => Law {
                law: NoiseLaw::Steady,
                found: true,
                evidence: 0.0,
            },
            AssumedNoise::Given(law) => Law {
                law,
                found: false,
                evidence: 0.0,
            },
        }
    }
    /// Adds the evidence of more scans; returns true if this changes the law.
    fn learn(&mut self, analyses: &[Analysis]) -> bool {
        if !self.found {
            return false;
        }
        let fitted = analyses
            .iter()
            .filter(|a| a.reasons.iter().all(|r| !r.distorts()));
        self.evidence += fitted
            .filter_map(|a| a.fitted.as_ref()?.radiometer_evidence)
            .sum::<f64>();
        let law = if self.evidence > ENOUGH_EVIDENCE {
            NoiseLaw::Radiometer
        } else {
            NoiseLaw::Steady
        };
        std::mem::replace(&mut self.law, law) != law
    }
}

/// A likelihood ratio of twenty (e cubed), below which evidence is not strong (Kass and Raftery,
/// *Bayes factors*, 1995; from memory).
const ENOUGH_EVIDENCE: f64 = 3.0;

fn analyse_all(
    scans: &[Scan],
    station: &Station,
    sky: &Sky,
    law: &mut Law,
    options: &ReduceOptions,
) -> Vec<NamedAnalysis> {
    let tracks = tracks(scans, sky);
    let prepared: Vec<Result<ScanPoints, Reason>> = scans
        .par_iter()
        .map(|scan| prepare(scan, &tracks, &station.mount.geometry))
        .collect();
    let fit_all = |law: NoiseLaw| -> Vec<Analysis> {
        scans
            .par_iter()
            .zip(&prepared)
            .map(|(scan, points)| match points {
                Ok(points) => analyse(points, &expected(scan, station), law),
                Err(reason) => nothing(scan, reason),
            })
            .collect()
    };
    let mut analyses = fit_all(law.law);
    if law.learn(&analyses) {
        analyses = fit_all(law.law);
    }
    scans
        .iter()
        .zip(analyses)
        .zip(&prepared)
        .map(|((scan, mut analysis), points)| {
            match (&mut analysis.fitted, points) {
                (Some(fitted), _) if !options.keep_curves => fitted.curve = FittedCurve::default(),
                (None, Ok(points)) if options.keep_curves => {
                    analysis.bare = Some(FittedCurve::bare(points, &expected(scan, station)));
                }
                _ => {}
            }
            NamedAnalysis {
                name: scan.name.clone(),
                emitter: scan.emitter.clone(),
                line: scan.line,
                analysis,
            }
        })
        .collect()
}

/// The expected beam for a scan's emitter.
fn expected(scan: &Scan, station: &Station) -> ExpectedBeam {
    let radius_deg = match station.emitter(&scan.emitter).map(|e| &e.kind) {
        Some(EmitterKind::Sun) => SUN_RADIUS_DEG,
        Some(EmitterKind::Moon) => MOON_RADIUS_DEG,
        _ => 0.0,
    };
    ExpectedBeam {
        width: station.dish.beamwidth.radians(),
        disc: radius_deg.to_radians(),
    }
}

/// One track for each emitter, over all its scans.
fn tracks<'a>(scans: &[Scan], sky: &'a Sky) -> HashMap<String, Track<'a>> {
    let mut spans: HashMap<&str, (EmitterId, Utc, Utc)> = HashMap::new();
    for scan in scans {
        let Some(id) = sky.emitter(&scan.emitter) else {
            continue;
        };
        let times = || scan.samples.iter().map(|sample| sample.time);
        let (Some(first), Some(last)) = (times().min(), times().max()) else {
            continue;
        };
        let span = spans.entry(&scan.emitter).or_insert((id, first, last));
        span.1 = span.1.min(first);
        span.2 = span.2.max(last);
    }
    spans
        .into_iter()
        .map(|(name, (id, from, to))| (name.to_owned(), sky.track_of(id, from, to)))
        .collect()
}

fn prepare(
    scan: &Scan,
    tracks: &HashMap<String, Track<'_>>,
    geometry: &Geometry,
) -> Result<ScanPoints, Reason> {
    let no_place = |why: String| Reason::NoPlace(why);
    let track = tracks
        .get(&scan.emitter)
        .ok_or_else(|| no_place(format!("the station has no emitter {}", scan.emitter)))?;
    ScanPoints::of(scan, track, geometry).map_err(|e| no_place(e.to_string()))
}

/// The analysis of a scan that cannot be used.
fn nothing(scan: &Scan, reason: &Reason) -> Analysis {
    Analysis {
        mid: match (scan.samples.first(), scan.samples.last()) {
            (Some(first), Some(last)) => first.time.midpoint(last.time),
            _ => Utc::from_unix_nanos(0),
        },
        emitter: Fixed::new(0.0, 0.0),
        shape: ScanShape::Still,
        near: (0.0, 0.0),
        reasons: vec![reason.clone()],
        fitted: None,
        bare: None,
    }
}
