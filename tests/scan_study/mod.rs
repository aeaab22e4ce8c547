//! Made-up nights of scans, and what becomes of them: the study behind docs/scans.md, shared by
//! the bench that runs it whole and the test that runs a little.

#![allow(dead_code)] // each user needs its own part

mod bound;
mod kinds;
pub mod moving;
pub mod statistics;

use std::path::Path;

use plumbeam::logbook::Scan;
use plumbeam::mount::{MountModel, Term, TermValues};
use plumbeam::scan::{ReduceOptions, ReducedScan, Reduction, ScanAxis, ScanVerdict, reduce_scans};
use plumbeam::simulate::{MadeUp, ScanPlan, Signal, made_up};
use plumbeam::sky::Sky;
use plumbeam::station::Station;
use plumbeam::time::Utc;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

pub use kinds::{Kind, kinds};

/// Where the invented station stands and where its marks are: everything else is the mount's.
pub struct StationAndSky {
    pub station: Station,
    pub sky: Sky,
}

/// Marks all over the sky.
const MARKS: usize = 16;

impl StationAndSky {
    /// An invented station with marks all over the sky, the Sun and the Moon.
    pub fn new(diameter_m: f64) -> StationAndSky {
        let mut text = format!(
            "
[site]
name = \"invented\"
latitude_deg = 48.0
longitude_deg = 11.0
height_m = 500.0
[mount]
kind = \"az-el\"
azimuth_range_deg = [-180.0, 540.0]
elevation_range_deg = [-10.0, 100.0]
[dish]
diameter_m = {diameter_m}
frequency_mhz = 1700.0
[[emitter]]
name = \"sun\"
kind = \"sun\"
[[emitter]]
name = \"moon\"
kind = \"moon\"
"
        );
        for k in 0..MARKS {
            let azimuth = k as f64 * 137.5 % 360.0;
            let elevation = 18.0 + (k as f64 * 17.3) % 50.0;
            text.push_str(&format!(
                "[[emitter]]\nname = \"mark-{k}\"\nkind = \"mark\"\nazimuth_deg = {azimuth}\nelevation_deg = {elevation}\n"
            ));
        }
        let station = Station::parse("station.toml", Path::new("."), text.as_bytes())
            .expect("a good station");
        let sky = Sky::new(&station).expect("a good station");
        StationAndSky { station, sky }
    }
}

/// A mount with the usual faults; the same for the same seed.
pub fn mount(seed: u64) -> TermValues {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut terms = TermValues::ZERO;
    for (term, sigma) in [
        (Term::AzimuthZero, 3.0),
        (Term::ElevationZero, 0.6),
        (Term::TiltNorth, 0.4),
        (Term::TiltEast, 0.4),
        (Term::Collimation, 0.4),
    ] {
        let deviate: f64 = StandardNormal.sample(&mut rng);
        terms.set_shown(term, sigma * deviate);
    }
    terms
}

/// A scan with the truth about it.
pub struct Made {
    pub plan: ScanPlan,
    pub signal: Signal,
    pub made: MadeUp,
}

/// A night of scans made up one by one; the same for the same seed.
pub fn night(
    seed: u64,
    scans: usize,
    place: &StationAndSky,
    mount: TermValues,
    mut plan: impl FnMut(usize, &mut ChaCha8Rng) -> (ScanPlan, Signal),
) -> Vec<Made> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let morning = Utc::parse("2026-06-10T08:00:00Z").expect("a time");
    let model = MountModel::az_el(mount);
    (0..scans)
        .map(|i| {
            let (mut plan, signal) = plan(i, &mut rng);
            plan.name = (i + 1).to_string();
            // The Sun is up all the while.
            plan.start = morning.plus_seconds(240.0 * i as f64 % 28_000.0);
            let (station, sky) = (&place.station, &place.sky);
            let made =
                made_up(&plan, &signal, station, sky, &model, &mut rng).expect("within reach");
            Made { plan, signal, made }
        })
        .collect()
}

/// Any emitter.
pub fn emitter(rng: &mut ChaCha8Rng) -> String {
    match rng.random_range(0..MARKS + 4) {
        k if k < MARKS => format!("mark-{k}"),
        _ => "sun".to_owned(),
    }
}

/// What many peaks show. Axes of peaks are counted, so that a cross counts twice.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub axes: usize,
    within_95: usize,
    over_bound: f64,
    over_sigma: f64,
    /// Largest error over its own sigma.
    pub worst: f64,
    pub good: usize,
    pub poor: usize,
    pub refused: usize,
    /// Errors of more than three sigmas, in words.
    pub far: Vec<String>,
    /// Of each scan that is not good.
    pub whys: Vec<String>,
}

impl Tally {
    pub fn scans(&self) -> usize {
        self.good + self.poor + self.refused
    }
    /// Part of the errors within 1.96 sigma.
    pub fn coverage(&self) -> f64 {
        self.within_95 as f64 / self.axes as f64
    }
    /// Rms of the errors over the Cramér-Rao bound.
    pub fn over_bound(&self) -> f64 {
        (self.over_bound / self.axes as f64).sqrt()
    }
    /// Rms of the errors over their sigmas.
    pub fn over_sigma(&self) -> f64 {
        (self.over_sigma / self.axes as f64).sqrt()
    }
    pub fn merge(mut self, other: Tally) -> Tally {
        self.axes += other.axes;
        self.within_95 += other.within_95;
        self.over_bound += other.over_bound;
        self.over_sigma += other.over_sigma;
        self.worst = self.worst.max(other.worst);
        self.good += other.good;
        self.poor += other.poor;
        self.refused += other.refused;
        self.whys.extend(other.whys);
        self.far.extend(other.far);
        self
    }

    /// Adds a scan; without bounds only its errors over their sigmas and its verdict count.
    pub fn take(&mut self, found: &ReducedScan, truth: &Made, bounds: [Option<f64>; 2]) {
        match found.verdict {
            ScanVerdict::Good => self.good += 1,
            ScanVerdict::Poor => self.poor += 1,
            ScanVerdict::Refused => self.refused += 1,
        }
        if found.verdict != ScanVerdict::Good {
            self.whys.push(found.why());
        }
        let peak = truth.made.peak;
        for (axis, bound) in [ScanAxis::Azimuth, ScanAxis::Elevation]
            .into_iter()
            .zip(bounds)
        {
            let (reading, on_sky) = match axis {
                ScanAxis::Azimuth => (peak.azimuth, found.apparent.elevation().cos()),
                ScanAxis::Elevation => (peak.elevation, 1.0),
            };
            let Some(own) = found.axis(axis) else {
                continue;
            };
            let error = (own.reading - reading).degrees() * on_sky;
            let sigmas = error / own.sigma.degrees();
            if sigmas.abs() > 3.0 {
                self.far.push(format!(
                    "{axis} {sigmas:+.1} sigma of {:.4} deg, {}, {} at elevation {:.0}, {} passes, directions {:?}, signal to noise {:.0}: {}",
                    own.sigma.degrees(),
                    found.shape.word(),
                    found.emitter,
                    found.apparent.elevation().degrees(),
                    truth.plan.repeats,
                    found.directions,
                    truth.signal.signal_to_noise,
                    found.why()
                ));
            }
            self.axes += 1;
            self.within_95 += usize::from(sigmas.abs() < 1.96);
            self.over_bound += bound.map_or(f64::NAN, |b| (error / b).powi(2));
            self.over_sigma += sigmas * sigmas;
            self.worst = self.worst.max(sigmas.abs());
        }
    }
}

/// Reduces a night and counts.
pub fn tally(night: &[Made], place: &StationAndSky, options: &ReduceOptions) -> (Tally, Reduction) {
    let scans: Vec<Scan> = night.iter().map(|n| n.made.scan.clone()).collect();
    let reduction = reduce_scans(&scans, &place.station, &place.sky, options);
    let mut tally = Tally::default();
    for (found, truth) in reduction.scans.iter().zip(night) {
        tally.take(found, truth, bound::bound(truth, place));
    }
    (tally, reduction)
}

/// Where only sigmas are of interest.
const NO_BOUNDS: [Option<f64>; 2] = [None, None];

/// One scan in so many of a mixed night is of its kind.
const ONE_IN: usize = 5;

/// A night of which every fifth scan is of a kind and the rest good: what becomes of both, how
/// many of the kind were judged as they should be, and how the others were.
pub fn mixed(
    kind: &Kind,
    seed: u64,
    scans: usize,
    place: &StationAndSky,
) -> (Tally, Tally, usize, Vec<String>) {
    let made = night(seed, scans, place, mount(31 + seed), |i, rng| {
        if i % ONE_IN == 0 {
            (kind.make)(rng)
        } else {
            (kinds::any_way(rng), Signal::default())
        }
    });
    let all: Vec<Scan> = made.iter().map(|n| n.made.scan.clone()).collect();
    let reduction = reduce_scans(&all, &place.station, &place.sky, &ReduceOptions::default());
    let (mut own, mut others, mut well) = (Tally::default(), Tally::default(), 0);
    let mut wrong = Vec::new();
    for (i, (found, truth)) in reduction.scans.iter().zip(&made).enumerate() {
        if i % ONE_IN != 0 {
            others.take(found, truth, NO_BOUNDS);
            continue;
        }
        own.take(found, truth, NO_BOUNDS);
        if kind.is_judged_well(found.verdict, &found.why()) {
            well += 1;
        } else {
            wrong.push(format!(
                "{} {}: {}; signal to noise {:.0}, found {:.1}",
                found.shape.word(),
                found.verdict.word(),
                found.why(),
                truth.signal.signal_to_noise,
                found.signal_to_noise.unwrap_or(0.0)
            ));
        }
    }
    (own, others, well, wrong)
}

/// Errors of lag and backlash over their sigmas.
#[derive(Clone, Debug, Default)]
pub struct Lags {
    pub lag: Vec<f64>,
    pub backlash: Vec<f64>,
    pub peaks: Tally,
}

impl Lags {
    pub fn merge(mut self, other: Lags) -> Lags {
        self.lag.extend(other.lag);
        self.backlash.extend(other.backlash);
        self.peaks = self.peaks.merge(other.peaks);
        self
    }
}

/// A night of cuts along both axes, both ways, at two speeds, with lag and backlash drawn anew.
pub fn lags(seed: u64, place: &StationAndSky) -> Lags {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let lag_s = rng.random_range(-0.5..1.5);
    let width = [rng.random_range(0.0..0.6), rng.random_range(0.0..0.6)];
    let mut terms = mount(500 + seed);
    terms.set_shown(Term::AzimuthBacklash, width[0]);
    terms.set_shown(Term::ElevationBacklash, width[1]);
    let made = night(9000 + seed, 32, place, terms, |i, rng| {
        let axis = if i / 4 % 2 == 0 {
            ScanAxis::Azimuth
        } else {
            ScanAxis::Elevation
        };
        let plan = ScanPlan {
            emitter: emitter(rng),
            way: plumbeam::simulate::Way::Cut(axis),
            speed_deg_s: if i / 2 % 2 == 0 { 0.343 } else { 0.98 },
            backward: i % 2 == 1,
            ..ScanPlan::default()
        };
        let signal = Signal {
            signal_to_noise: 40.0,
            lag_s,
            ..Signal::default()
        };
        (plan, signal)
    });
    let (peaks, reduction) = tally(&made, place, &ReduceOptions::default());
    let mut lags = Lags {
        peaks,
        ..Lags::default()
    };
    for (timing, width) in [
        (&reduction.azimuth, width[0]),
        (&reduction.elevation, width[1]),
    ] {
        lags.lag
            .extend(timing.lag_s.map(|e| (e.value - lag_s) / e.sigma));
        lags.backlash
            .extend(timing.backlash_deg.map(|e| (e.value - width) / e.sigma));
    }
    lags
}
