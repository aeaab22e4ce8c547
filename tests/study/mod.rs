//! Made-up sessions of many kinds, and what becomes of them: the study behind
//! docs/accuracy.md, shared by the bench that runs it whole and the test that runs a little.

#![allow(dead_code)] // each user needs its own part

pub mod again;

use std::collections::BTreeMap;

use nalgebra::DMatrix;
use plumbeam::angle::{Angle, Apparent, Direction, EncoderReading, Offset};
use plumbeam::explain::TermEstimate;
use plumbeam::explain::misfit::misfit_with_derivatives;
use plumbeam::explain::observe::{Observation, Observations};
use plumbeam::fit::quantile::student_two_sided;
use plumbeam::logbook::{Approach, Peak, TermState};
use plumbeam::mount::{
    ApproachSigns, Geometry, Kind, LowerAxis, MountModel, Term, TermValues, Wrap,
};
use plumbeam::problem::Error;
use plumbeam::simulate::reading_at_peak;
use plumbeam::solve::{Options, Outcome, solve_observed};
use plumbeam::station::{Bearings, Dish, Horizon, Mount, Site, Station, Weather};
use plumbeam::time::Utc;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

/// Where the peaks of a made-up session lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SkyKind {
    /// All azimuths, elevations 15 to 80 degrees.
    Whole,
    /// Half of the azimuths.
    Half,
    /// A southern arc as of geostationary satellites, and a third of the peaks elsewhere.
    ArcAndFew,
}

/// A made-up session and its truth.
pub struct Session {
    pub station: Station,
    pub observations: Observations,
    pub truth: TermValues,
    pub terms: Vec<Term>,
    pub noise: Angle,
    pub sky: SkyKind,
    /// Indices of peaks spoilt on purpose.
    pub bad: Vec<usize>,
}

/// What is made up.
#[derive(Clone, Copy, Debug)]
pub struct Recipe {
    /// Number of peaks; drawn between 7 and 400 when none.
    pub peaks: Option<usize>,
    /// Share of peaks spoilt.
    pub bad_share: f64,
    /// All spoilt peaks off by the same step.
    pub alike: bool,
}

pub const HEALTHY: Recipe = Recipe {
    peaks: None,
    bad_share: 0.0,
    alike: false,
};

/// What a mount that stands so can read: enough for all of the sky on the near side of its axis.
fn ranges(geometry: &Geometry) -> [(Angle, Angle); 2] {
    let of = |low, high| (Angle::from_degrees(low), Angle::from_degrees(high));
    match geometry.kind() {
        Kind::AzEl => [of(-180.0, 540.0), of(-20.0, 100.0)],
        Kind::Slant => [of(-180.0, 540.0), of(-80.0, 90.0)],
        Kind::Polar(_) | Kind::XY(_) => [of(-180.0, 180.0), of(-90.0, 90.0)],
    }
}

/// One mount of each kind beside az-el, at the latitude of the study's station where that counts.
pub fn other_kinds() -> [(&'static str, Geometry); 5] {
    let d = Angle::from_degrees;
    [
        ("polar, north", Geometry::polar(d(50.0))),
        ("polar, south", Geometry::polar(d(-30.0))),
        ("x-y, north-south", Geometry::x_y(LowerAxis::NorthSouth)),
        ("x-y, east-west", Geometry::x_y(LowerAxis::EastWest)),
        ("slant", Geometry::slant(d(17.0), d(205.0))),
    ]
}

fn station(beamwidth: Angle, geometry: Geometry) -> Station {
    let [azimuth_range, mut elevation_range] = ranges(&geometry);
    if geometry.kind().is_az_el() {
        elevation_range = (Angle::ZERO, Angle::RIGHT);
    }
    Station {
        site: Site {
            name: "invented".to_owned(),
            latitude: Angle::from_degrees(50.0),
            longitude: Angle::from_degrees(10.0),
            height_m: 100.0,
            weather: Weather {
                pressure_hpa: 1000.0,
                temperature_c: 10.0,
                relative_humidity: 0.5,
            },
            ut1_minus_utc_s: 0.0,
            electron_content_tecu: None,
            assumptions: Vec::new(),
        },
        mount: Mount {
            geometry,
            azimuth_range,
            elevation_range,
            azimuth_teeth: None,
            elevation_teeth: None,
            bearings: Bearings::default(),
            park: None,
            sensors: [None, None],
            fixed_declination: None,
            axis_offset_m: [0.0; 2],
        },
        dish: Dish {
            diameter_m: 3.0,
            frequency_mhz: 1420.0,
            beamwidth,
            beamwidth_assumed: false,
        },
        feeds: Vec::new(),
        horizon: Horizon::default(),
        emitters: Vec::new(),
    }
}

/// The groups beyond the zeros that a truth may hold, in the order in which they join.
const JOINING: [&[Term]; 6] = [
    &[Term::Collimation],
    &[Term::TiltNorth, Term::TiltEast],
    &[Term::Droop],
    &[Term::AxisSkew],
    &[Term::AzimuthRunoutCos, Term::AzimuthRunoutSin],
    &[Term::TrackWarpCos, Term::TrackWarpSin],
];

/// The made-up session of that number.
pub fn session(number: u64, recipe: Recipe) -> Session {
    session_on(number, recipe, Geometry::AZ_EL)
}

/// The same for a mount that stands so.
pub fn session_on(number: u64, recipe: Recipe, geometry: Geometry) -> Session {
    let mut rng = ChaCha12Rng::seed_from_u64(0x5eed_0000 + number);
    let beamwidth = Angle::from_degrees([0.4, 2.0, 5.0, 10.0][rng.random_range(0..4)]);
    let noise = beamwidth * rng.random_range(0.005..0.02);
    let sky = [SkyKind::Whole, SkyKind::Half, SkyKind::ArcAndFew][rng.random_range(0..3)];
    let count = recipe.peaks.unwrap_or_else(|| {
        // Evenly in the logarithm from 7 to 400.
        let low = 7f64.ln();
        (low + rng.random_range(0.0..1.0) * (400f64.ln() - low))
            .exp()
            .round() as usize
    });
    // Three terms to eleven, but never so many that fewer than 1.5 rows a term are left.
    let mut terms = vec![Term::AzimuthZero, Term::ElevationZero];
    let groups = rng.random_range(1..=JOINING.len());
    for group in &JOINING[..groups] {
        let has = group.iter().all(|term| geometry.kind().has(*term));
        if has && 2 * count >= 3 * (terms.len() + group.len()) {
            terms.extend_from_slice(group);
        }
    }
    terms.sort();
    let mut truth = TermValues::ZERO;
    for term in &terms {
        let size: f64 = match term {
            Term::AzimuthZero => 0.5,
            Term::ElevationZero => 0.04,
            _ => 0.2 * beamwidth.radians(),
        };
        truth.set_shown(*term, term.unit().outward(size * bell(&mut rng)));
    }
    let model = MountModel::new(geometry, truth);
    let mut observations = Observations::default();
    let common = far(&mut rng, beamwidth);
    let mut bad = Vec::new();
    let spoilt = (recipe.bad_share * count as f64).floor() as usize;
    // Anywhere in the log: one after the other they would be a knock.
    let mut order: Vec<usize> = (1..=count).collect();
    order.shuffle(&mut ChaCha12Rng::seed_from_u64(0xbad0_0000 + number));
    let spoilt_rows = &order[..spoilt];
    while observations.usable.len() < count {
        let row = observations.usable.len() + 1;
        let target = place(&mut rng, sky);
        let mut step = Offset {
            cross_elevation: noise * bell(&mut rng),
            elevation: noise * bell(&mut rng),
        };
        let is_bad = spoilt_rows.contains(&row);
        if is_bad {
            let off = if recipe.alike {
                common
            } else {
                far(&mut rng, beamwidth)
            };
            step.cross_elevation += off.cross_elevation;
            step.elevation += off.elevation;
        }
        let approach = [side(&mut rng), side(&mut rng)];
        if let Some(observation) = observe(&model, &mut rng, row, target, step, approach) {
            if is_bad {
                bad.push(observations.usable.len());
            }
            observations.usable.push(observation);
        }
    }
    Session {
        station: station(beamwidth, geometry),
        observations,
        truth,
        terms,
        noise,
        sky,
        bad,
    }
}

/// A gross error: one to five beamwidths in any direction.
fn far(rng: &mut ChaCha12Rng, beamwidth: Angle) -> Offset {
    let (s, c) = Angle::from_degrees(rng.random_range(0.0..360.0)).sin_cos();
    let size = beamwidth * rng.random_range(1.0..5.0);
    Offset {
        cross_elevation: size * c,
        elevation: size * s,
    }
}

fn place(rng: &mut ChaCha12Rng, sky: SkyKind) -> Direction<Apparent> {
    let anywhere = match sky {
        SkyKind::Whole => true,
        SkyKind::Half => false,
        SkyKind::ArcAndFew => rng.random_bool(1.0 / 3.0),
    };
    let low: f64 = rng.random_range(15.0..80.0);
    let (azimuth, elevation): (f64, f64) = match (sky, anywhere) {
        (_, true) => (rng.random_range(0.0..360.0), low),
        (SkyKind::Half, false) => (rng.random_range(90.0..270.0), low),
        (_, false) => {
            let azimuth: f64 = rng.random_range(130.0..230.0);
            (azimuth, 34.0 - (azimuth - 180.0).abs() * 0.25)
        }
    };
    Direction::apparent(Angle::from_degrees(azimuth), Angle::from_degrees(elevation))
}

/// A peak at `target` missed by `step`; none where the mount cannot point.
pub fn observe(
    model: &MountModel,
    rng: &mut ChaCha12Rng,
    row: usize,
    target: Direction<Apparent>,
    step: Offset,
    approach: [Approach; 2],
) -> Option<Observation> {
    let [azimuth_range, elevation_range] = ranges(model.geometry());
    let wrap = Wrap {
        azimuth_range,
        elevation_range,
        present: Some(EncoderReading::from_degrees(
            rng.random_range(-180.0..540.0),
            45.0,
        )),
    };
    let signs = ApproachSigns {
        azimuth: approach[0].sign(),
        elevation: approach[1].sign(),
    };
    let reading = reading_at_peak(model, &target, step, signs, &wrap)?;
    Some(Observation {
        peak: Peak {
            log: 0,
            row,
            line: row + 1,
            time: Utc::from_unix_nanos(1_767_225_600_000_000_000 + row as i64 * 60_000_000_000),
            emitter: "invented".to_owned(),
            azimuth: Some(reading.azimuth),
            elevation: Some(reading.elevation),
            azimuth_sigma: None,
            elevation_sigma: None,
            by_lag: [None; 2],
            azimuth_approach: approach[0],
            elevation_approach: approach[1],
            peak_db: None,
            temperature_c: None,
            use_it: true,
            note: String::new(),
            feed: 0,
            extra: Vec::new(),
        },
        target: target.east_north_up(),
        target_rate: nalgebra::Vector3::zeros(),
        clock_offset_s: 0.0,
    })
}

/// A bell of unit width.
pub fn bell(rng: &mut ChaCha12Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn side(rng: &mut ChaCha12Rng) -> Approach {
    if rng.random_bool(0.5) {
        Approach::Increasing
    } else {
        Approach::Decreasing
    }
}

impl Session {
    /// A true value in radians, as a fraction or in seconds.
    pub fn true_value(&self, term: Term) -> f64 {
        term.unit().inward(self.truth.shown(term))
    }

    /// An estimate less the truth, in radians, as a fraction or in seconds.
    pub fn off(&self, estimate: &TermEstimate) -> f64 {
        estimate.term.unit().inward(estimate.shown()) - self.true_value(estimate.term)
    }

    /// The Cramér-Rao bound of each true term: from the Fisher information of the good peaks
    /// at the truth, with the true noise.
    pub fn bound(&self) -> Option<Vec<f64>> {
        let n = self.terms.len();
        let model = MountModel::new(self.station.mount.geometry, self.truth);
        let mut information = DMatrix::<f64>::zeros(n, n);
        for (i, observation) in self.observations.usable.iter().enumerate() {
            if self.bad.contains(&i) {
                continue;
            }
            let mut rows = DMatrix::<f64>::zeros(2, n);
            misfit_with_derivatives(
                &model,
                &observation.sighting(),
                &self.terms,
                |column, change| {
                    rows[(0, column)] = change[0] / self.noise.radians();
                    rows[(1, column)] = change[1] / self.noise.radians();
                },
            );
            information += rows.transpose() * rows;
        }
        let covariance = information.try_inverse()?;
        Some((0..n).map(|i| covariance[(i, i)].sqrt()).collect())
    }

    pub fn solve(&self, options: &Options) -> Result<Outcome, Error> {
        solve_observed(&self.station, &self.observations, options)
    }
}

/// Sums over sessions, a row a term.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Sessions in which the term was fitted.
    pub fitted: usize,
    /// Sum of ((estimate - truth) / bound)^2.
    pub squares: f64,
    /// 95 % intervals that cover the truth.
    pub covered: usize,
    /// Sum of sigma / bound.
    pub sigmas: f64,
}

impl Tally {
    pub fn scatter(&self) -> f64 {
        (self.squares / self.fitted.max(1) as f64).sqrt()
    }
    pub fn coverage(&self) -> f64 {
        self.covered as f64 / self.fitted.max(1) as f64
    }
    pub fn add(&mut self, other: &Tally) {
        self.fitted += other.fitted;
        self.squares += other.squares;
        self.covered += other.covered;
        self.sigmas += other.sigmas;
    }
}

/// Tallies by term.
pub type Tallies = BTreeMap<Term, Tally>;

/// Compares an outcome with its session's truth; `bound` as [`Session::bound`] gives it.
pub fn tally(session: &Session, bound: &[f64], outcome: &Outcome) -> Tallies {
    let mut tallies = Tallies::new();
    let reach = student_two_sided(0.95, outcome.degrees_of_freedom as f64);
    for estimate in &outcome.terms {
        let (Some(i), Some(sigma), TermState::Fitted) = (
            session.terms.iter().position(|t| *t == estimate.term),
            estimate.shown_sigma(),
            estimate.state,
        ) else {
            continue;
        };
        let sigma = estimate.term.unit().inward(sigma);
        let mut error = session.off(estimate);
        if estimate.term == Term::AzimuthZero {
            error = Angle::from_radians(error).wrapped_signed().radians();
        }
        let tally = tallies.entry(estimate.term).or_default();
        tally.fitted += 1;
        tally.squares += (error / bound[i]).powi(2);
        tally.covered += usize::from(error.abs() <= reach * sigma);
        tally.sigmas += sigma / bound[i];
    }
    tallies
}

/// Adds one set of tallies to another.
pub fn merge(mut into: Tallies, from: Tallies) -> Tallies {
    for (term, tally) in from {
        into.entry(term).or_default().add(&tally);
    }
    into
}

/// Offsets of peaks from the model, for a look at one session.
pub fn residual(model: &MountModel, observation: &Observation) -> Offset {
    let reading = EncoderReading {
        azimuth: observation.peak.azimuth.unwrap_or(Angle::ZERO),
        elevation: observation.peak.elevation.unwrap_or(Angle::ZERO),
    };
    let beam = model.beam_vector(reading, observation.approach());
    (model.geometry().basis_at(&beam)).offset_to(&observation.target)
}
