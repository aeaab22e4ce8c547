//! Practice sessions for the study of the diagnosis: healthy ones of mixed size under several
//! skies, and ones with a single fault of a given size. All of it is invented.

mod designs;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use plumbeam::angle::Angle;
use plumbeam::faults::{Diagnosis, Fault, Options, diagnose};
use plumbeam::logbook::PeakLog;
use plumbeam::simulate::{PeakNoise, SessionPlan, Spoil, SpoilAxis, Truth, session};
use plumbeam::sky::Sky;
use plumbeam::station::{EmitterKind, Station};
use plumbeam::time::Utc;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, StudentT};

pub use designs::designs;

/// A station with its sky and the day for which its elements are made.
pub struct DatedStation {
    /// The station as filed.
    pub station: Station,
    /// Its sky.
    pub sky: Sky,
    /// First peak of the session that the elements were made for.
    pub day: Utc,
}

/// Folders of the stations, in the package.
const STATIONS: [(&str, &str); 5] = [
    ("demo-data", "2026-09-12T06:10:00Z"),
    (
        "tests/data/reference/sessions/barn-roof",
        "2026-06-15T05:00:00Z",
    ),
    (
        "tests/data/reference/sessions/southern",
        "2026-06-07T20:00:00Z",
    ),
    (
        "tests/data/reference/sessions/over-the-top",
        "2026-07-07T03:00:00Z",
    ),
    (
        "tests/data/reference/sessions/hill-array",
        "2026-08-26T05:00:00Z",
    ),
];

/// The station with the fine beam.
pub const FINE: usize = 4;
/// Stations with beacons or many kinds of satellite.
pub const COARSE: [usize; 4] = [0, 1, 2, 3];

/// Reads all stations.
pub fn stations() -> Vec<DatedStation> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    STATIONS
        .iter()
        .map(|(folder, day)| {
            let file = root.join(folder).join("station.toml");
            let station = Station::read(Path::new(&file)).expect("a sound station file");
            let sky = Sky::new(&station).expect("sound elements");
            let day = Utc::parse(day).expect("a time");
            DatedStation { station, sky, day }
        })
        .collect()
}

/// One session made up, and what is known of it.
pub struct Made {
    /// Which of the stations.
    pub place: usize,
    /// The station file that goes with the log.
    pub station: Station,
    /// Its sky, when the site is not the station's own.
    pub sky: Option<Sky>,
    /// The truth.
    pub truth: Truth,
    /// The log.
    pub log: PeakLog,
}

fn normal(rng: &mut impl Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// A healthy mount: zeros anywhere or well set, the other terms as a careful builder leaves
/// them.
fn healthy_terms(rng: &mut impl Rng, beamwidth_deg: f64) -> BTreeMap<String, f64> {
    let careful = (beamwidth_deg / 8.0).max(0.2);
    let mut terms = BTreeMap::new();
    let mut set = |name: &str, value: f64| {
        terms.insert(name.to_owned(), value);
    };
    // Either the index of the encoder is anywhere, or somebody set it well.
    let zero = if rng.random_bool(0.5) {
        rng.random_range(-180.0..180.0)
    } else {
        rng.random_range(-1.0..1.0)
    };
    set("azimuth-zero", zero);
    // Low beacons must not run into the end of the elevation range.
    set("elevation-zero", rng.random_range(-2.0..0.5));
    set("tilt-north", careful * normal(rng));
    set("tilt-east", careful * normal(rng));
    set("collimation", 0.8 * careful * normal(rng));
    if rng.random_bool(0.6) {
        set("axis-skew", 0.8 * careful * normal(rng));
    }
    if rng.random_bool(0.6) {
        set("droop", 0.8 * careful * normal(rng).abs());
    }
    terms
}

/// The noise of a session: a share of the beam, as good or bad as people peak.
fn noise(rng: &mut impl Rng, beamwidth_deg: f64) -> PeakNoise {
    let share = (rng.random_range(f64::ln(1.0 / 200.0)..f64::ln(1.0 / 25.0))).exp();
    let sigma = beamwidth_deg * share;
    let ratio = if rng.random_bool(0.3) {
        rng.random_range(0.6..1.6)
    } else {
        1.0
    };
    PeakNoise {
        cross_elevation_deg: sigma,
        elevation_deg: sigma * ratio,
        logged: rng.random_bool(0.3),
        resolution_deg: if sigma > 0.03 && rng.random_bool(0.5) {
            0.01
        } else {
            0.001
        },
    }
}

/// How the peaks of a healthy session scatter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scatter {
    /// Normal, the axes nearly alike.
    Usual,
    /// Student's t with four degrees of freedom, of the same standard deviation.
    HeavyTails,
    /// Encoders that show steps of twice the noise.
    Coarse,
    /// Four times as large in elevation as across it.
    Unequal,
}

/// A healthy session of 7 to 400 peaks: the basic terms, skew and droop within care, and, in
/// some, traces of runout, warp and backlash that do no harm (a tenth of the noise).
pub fn healthy(stations: &[DatedStation], seed: u64) -> Option<Made> {
    healthy_with(stations, seed, Scatter::Usual)
}

/// The same with another scatter.
pub fn healthy_with(stations: &[DatedStation], seed: u64, scatter: Scatter) -> Option<Made> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let place = rng.random_range(0..stations.len());
    let DatedStation { station, sky, day } = &stations[place];
    let beam = station.dish.beamwidth.degrees();
    let mut terms = healthy_terms(&mut rng, beam);
    let mut noise = noise(&mut rng, beam);
    match scatter {
        Scatter::Usual | Scatter::HeavyTails => {}
        Scatter::Coarse => noise.resolution_deg = 2.0 * noise.cross_elevation_deg,
        Scatter::Unequal => noise.elevation_deg = 4.0 * noise.cross_elevation_deg,
    }
    let peaks = rng.random_range(f64::ln(7.0)..f64::ln(400.0)).exp().round() as usize;
    if rng.random_bool(0.3) {
        let trace = 0.1 * noise.cross_elevation_deg.min(noise.elevation_deg)
            / (peaks as f64 / 60.0).sqrt().max(1.0);
        for name in [
            "azimuth-runout-cos",
            "azimuth-runout-sin",
            "track-warp-cos",
            "track-warp-sin",
        ] {
            terms.insert(name.to_owned(), trace * rng.random_range(-0.7..0.7));
        }
    }
    let hours = rng.random_range(2.0..14.0);
    let from = day.plus_seconds(3600.0 * rng.random_range(-12.0..12.0));
    let truth = Truth {
        scans: Default::default(),
        practice: Default::default(),
        terms,
        noise,
        session: SessionPlan {
            from,
            to: from.plus_seconds(3600.0 * hours),
            peaks,
            emitters: Vec::new(),
            lowest_elevation_deg: 10.0,
            approach_logged: rng.random_bool(0.5),
        },
        spoil: Vec::new(),
    };
    let log = match scatter {
        Scatter::HeavyTails => with_heavy_tails(station, sky, &truth, seed)?,
        _ => session(station, sky, &truth, seed).ok()?,
    };
    (log.peaks.len() >= 7).then(|| Made {
        place,
        station: station.clone(),
        sky: None,
        truth,
        log,
    })
}

/// A session with the noise of `truth` drawn from Student's t with four degrees of freedom.
fn with_heavy_tails(station: &Station, sky: &Sky, truth: &Truth, seed: u64) -> Option<PeakLog> {
    const FREEDOM: f64 = 4.0;
    let mut quiet = truth.clone();
    // What the simulation adds is as good as nothing; its logged sigmas would tell so.
    quiet.noise.cross_elevation_deg *= 1e-6;
    quiet.noise.elevation_deg *= 1e-6;
    quiet.noise.logged = false;
    let mut log = session(station, sky, &quiet, seed).ok()?;
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x7a11);
    let tails = StudentT::new(FREEDOM).ok()?;
    // Its variance is freedom / (freedom - 2).
    let unit = ((FREEDOM - 2.0) / FREEDOM).sqrt();
    let mut draw = |sigma: f64| Angle::from_degrees(sigma * unit * tails.sample(&mut rng));
    for peak in &mut log.peaks {
        let across = draw(truth.noise.cross_elevation_deg);
        let up = draw(truth.noise.elevation_deg);
        let raised = peak.elevation.map_or(1.0, Angle::cos).abs().max(0.05);
        peak.azimuth = peak.azimuth.map(|a| a + across / raised);
        peak.elevation = peak.elevation.map(|e| e + up);
    }
    Some(log)
}

/// A single fault to be found.
pub struct Design {
    /// Which.
    pub fault: Fault,
    /// What the size means, in words.
    pub meaning: &'static str,
    /// Sizes tried.
    pub sizes: &'static [f64],
    /// The size from which on docs/faults.md promises to find it.
    pub promised: f64,
    /// Stations at which it is tried.
    stations: &'static [usize],
    /// Peaks.
    peaks: usize,
    /// Hours of observing.
    hours: f64,
    /// Puts it into the truth, `size` in units of the noise where that has a meaning.
    spoil: fn(&mut Bench<'_>, f64),
}

/// What a design may change.
pub struct Bench<'a> {
    /// The truth so far.
    pub truth: &'a mut Truth,
    /// The station file.
    pub station: &'a mut Station,
    /// One standard deviation of a coordinate, degrees.
    pub sigma: f64,
    /// For choices.
    pub rng: &'a mut ChaCha8Rng,
}

impl Bench<'_> {
    fn add(&mut self, term: &str, value: f64) {
        *self.truth.terms.entry(term.to_owned()).or_insert(0.0) += value;
    }
    fn pair(&mut self, terms: [&str; 2], length: f64) {
        let (s, c) = self.angle().sin_cos();
        self.add(terms[0], length * c);
        self.add(terms[1], length * s);
    }
    fn angle(&mut self) -> f64 {
        self.rng.random_range(0.0..std::f64::consts::TAU)
    }
    fn spoil(&mut self, spoil: Spoil) {
        self.truth.spoil.push(spoil);
    }
    fn middle_row(&mut self) -> usize {
        let n = self.truth.session.peaks;
        self.rng.random_range(n / 4..=3 * n / 4)
    }
    fn sign(&mut self) -> f64 {
        if self.rng.random_bool(0.5) { 1.0 } else { -1.0 }
    }
    fn axis(&mut self) -> SpoilAxis {
        if self.rng.random_bool(0.5) {
            SpoilAxis::Azimuth
        } else {
            SpoilAxis::Elevation
        }
    }
    fn hours(&self) -> f64 {
        let plan = &self.truth.session;
        plan.to.seconds_since(plan.from) / 3600.0
    }
    fn rows(&mut self, count: usize) -> Vec<usize> {
        let n = self.truth.session.peaks;
        let mut rows: Vec<usize> = Vec::new();
        while rows.len() < count {
            let row = self.rng.random_range(1..=n);
            if !rows.contains(&row) {
                rows.push(row);
            }
        }
        rows.sort_unstable();
        rows
    }
    /// A satellite of the station that moves by at least so many degrees an hour, or any.
    fn satellite(&mut self) -> Option<String> {
        let names: Vec<&str> = self
            .station
            .emitters
            .iter()
            .filter(|e| matches!(e.kind, EmitterKind::Satellite { .. }))
            .map(|e| e.name.as_str())
            .filter(|n| n.starts_with("mid") || n.starts_with("high"))
            .collect();
        let k = self.rng.random_range(0..names.len().max(1));
        names.get(k).map(|n| (*n).to_owned())
    }
}

impl Design {
    /// A session with this fault.
    pub fn make(&self, stations: &[DatedStation], size: f64, seed: u64) -> Option<Made> {
        self.make_with(None, stations, size, seed)
    }

    /// A session with this fault, and another of a given size beside it.
    pub fn make_with(
        &self,
        other: Option<(&Design, f64)>,
        stations: &[DatedStation],
        size: f64,
        seed: u64,
    ) -> Option<Made> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5bd1_e995);
        let both = |place: &usize| other.is_none_or(|(o, _)| o.stations.contains(place));
        let shared: Vec<usize> = self.stations.iter().copied().filter(both).collect();
        let place = *shared.get(rng.random_range(0..shared.len().max(1)))?;
        let hours = other.map_or(self.hours, |(o, _)| self.hours.max(o.hours));
        let peaks = other.map_or(self.peaks, |(o, _)| self.peaks.max(o.peaks));
        let DatedStation { station, sky, day } = &stations[place];
        let mut station = station.clone();
        let beam = station.dish.beamwidth.degrees();
        let sigma = beam / 80.0;
        let from = day.plus_seconds(3600.0 * rng.random_range(-6.0..6.0));
        let mut truth = Truth {
            scans: Default::default(),
            practice: Default::default(),
            terms: healthy_terms(&mut rng, beam),
            noise: PeakNoise {
                cross_elevation_deg: sigma,
                elevation_deg: sigma,
                logged: false,
                resolution_deg: 0.001,
            },
            session: SessionPlan {
                from,
                to: from.plus_seconds(3600.0 * hours),
                peaks,
                emitters: Vec::new(),
                lowest_elevation_deg: 10.0,
                approach_logged: true,
            },
            spoil: Vec::new(),
        };
        for (design, size) in std::iter::once((self, size)).chain(other) {
            (design.spoil)(
                &mut Bench {
                    truth: &mut truth,
                    station: &mut station,
                    sigma,
                    rng: &mut rng,
                },
                size,
            );
        }
        let moved = (station.site.longitude != stations[place].station.site.longitude)
            .then(|| sky.seen_from(&station));
        let log = session(&station, moved.as_ref().unwrap_or(sky), &truth, seed).ok()?;
        // A satellite that was hardly observed cannot be judged.
        let observed = |name: &str| log.peaks.iter().filter(|p| p.emitter == name).count();
        if truth.spoil.iter().any(|s| match s {
            Spoil::StaleElements { emitter, .. } => observed(emitter) < 5,
            // Rows fall away when the other emitter is not up; some may be its own.
            Spoil::WrongEmitter { rows, really } => {
                let own = |r: &usize| log.peaks.get(r - 1).is_none_or(|p| p.emitter == *really);
                log.peaks.len() < peaks || rows.iter().any(own)
            }
            _ => false,
        }) {
            return None;
        }
        (log.peaks.len() >= 20).then_some(Made {
            place,
            station,
            sky: moved,
            truth,
            log,
        })
    }
}

/// The diagnosis of a session.
pub fn examine(stations: &[DatedStation], made: &Made) -> Option<Diagnosis> {
    let options = Options {
        seed: 1,
        ..Options::default()
    };
    let sky = made.sky.as_ref().unwrap_or(&stations[made.place].sky);
    diagnose(&made.station, sky, &made.log, &options).ok()
}
