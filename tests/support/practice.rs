//! Practice sessions for the study of the diagnosis: healthy ones of mixed size under several
//! skies, and ones with a single fault of a given size. All of it is invented.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use plumbeam::angle::Angle;
use plumbeam::faults::{Diagnosis, Fault, Options, diagnose};
use plumbeam::logbook::PeakLog;
use plumbeam::simulate::{Noise, Session, Spoil, SpoilAxis, SpoilUnit, Truth, session};
use plumbeam::sky::Sky;
use plumbeam::station::{EmitterKind, GearTeeth, Station};
use plumbeam::time::Utc;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A station with its sky and the day for which its elements are made.
pub struct Place {
    /// The station as filed.
    pub station: Station,
    /// Its sky.
    pub sky: Sky,
    /// First peak of the session that the elements were made for.
    pub day: Utc,
}

/// Folders of the stations, in the package.
const PLACES: [(&str, &str); 5] = [
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

/// The place with the fine beam.
pub const FINE: usize = 4;
/// Places with beacons or many kinds of satellite.
pub const COARSE: [usize; 4] = [0, 1, 2, 3];

/// Reads all places.
pub fn places() -> Vec<Place> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    PLACES
        .iter()
        .map(|(folder, day)| {
            let file = root.join(folder).join("station.toml");
            let station = Station::read(Path::new(&file)).expect("a sound station file");
            let sky = Sky::new(&station).expect("sound elements");
            let day = Utc::parse(day).expect("a time");
            Place { station, sky, day }
        })
        .collect()
}

/// One session made up, and what is known of it.
pub struct Made {
    /// Which place.
    pub place: usize,
    /// The station file that goes with the log.
    pub station: Station,
    /// Its sky, when the site is not the place's own.
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
fn noise(rng: &mut impl Rng, beamwidth_deg: f64) -> Noise {
    let share = (rng.random_range(f64::ln(1.0 / 200.0)..f64::ln(1.0 / 25.0))).exp();
    let sigma = beamwidth_deg * share;
    let ratio = if rng.random_bool(0.3) {
        rng.random_range(0.6..1.6)
    } else {
        1.0
    };
    Noise {
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

/// A healthy session of 7 to 400 peaks: the basic terms, skew and droop within care, and, in
/// some, traces of runout, warp and backlash that do no harm (a tenth of the noise).
pub fn healthy(places: &[Place], seed: u64) -> Option<Made> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let place = rng.random_range(0..places.len());
    let Place { station, sky, day } = &places[place];
    let beam = station.dish.beamwidth.degrees();
    let mut terms = healthy_terms(&mut rng, beam);
    let noise = noise(&mut rng, beam);
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
        terms,
        noise,
        session: Session {
            from,
            to: from.plus_seconds(3600.0 * hours),
            peaks,
            emitters: Vec::new(),
            lowest_elevation_deg: 10.0,
            approach_logged: rng.random_bool(0.5),
        },
        spoil: Vec::new(),
    };
    let log = session(station, sky, &truth, seed).ok()?;
    (log.peaks.len() >= 7).then(|| Made {
        place,
        station: station.clone(),
        sky: None,
        truth,
        log,
    })
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
    /// Places in which it is tried.
    places: &'static [usize],
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

const ALL: &[usize] = &[0, 1, 2, 3, 4];
const SITES_NORTH: &[usize] = &[0, 1, 3, 4];
const USUAL: &[f64] = &[0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0];
const WIDE: &[f64] = &[1.0, 2.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0];
const ONCE: &[f64] = &[1.0];

/// All designs: sixty peaks over ten hours unless said otherwise.
pub fn designs() -> Vec<Design> {
    let design = |fault, meaning, sizes, promised, spoil| Design {
        fault,
        meaning,
        sizes,
        promised,
        places: ALL,
        peaks: 60,
        hours: 10.0,
        spoil,
    };
    vec![
        design(Fault::AzimuthBacklash, "width", USUAL, 3.0, |b, k| {
            let width = k * b.sigma;
            b.add("azimuth-backlash", width);
        }),
        design(Fault::ElevationBacklash, "width", USUAL, 2.0, |b, k| {
            let width = k * b.sigma;
            b.add("elevation-backlash", width);
        }),
        design(Fault::AzimuthSlip, "jump", USUAL, 4.0, |b, k| {
            let size_deg = k * b.sigma * b.sign();
            let from_row = b.middle_row();
            b.spoil(Spoil::AzimuthSlip { from_row, size_deg });
        }),
        design(Fault::ElevationSlip, "jump", USUAL, 3.0, |b, k| {
            let size_deg = k * b.sigma * b.sign();
            let from_row = b.middle_row();
            b.spoil(Spoil::ElevationSlip { from_row, size_deg });
        }),
        design(
            Fault::AzimuthSlip,
            "each of three jumps, at a third, half and two thirds",
            WIDE,
            8.0,
            |b, k| {
                let n = b.truth.session.peaks;
                for from_row in [n / 3, n / 2, 2 * n / 3] {
                    let size_deg = k * b.sigma * b.sign();
                    b.spoil(Spoil::AzimuthSlip { from_row, size_deg });
                }
            },
        ),
        design(
            Fault::ElevationBacklash,
            "play that flips at a balance of 40 degrees, arrivals not logged",
            WIDE,
            8.0,
            |b, k| {
                b.truth.session.approach_logged = false;
                let size_deg = k * b.sigma;
                b.spoil(Spoil::BalanceFlip {
                    at_deg: 40.0,
                    size_deg,
                });
            },
        ),
        design(
            Fault::Creep,
            "change over the session",
            WIDE,
            6.0,
            |b, k| {
                let deg_per_hour = k * b.sigma * b.sign() / b.hours();
                let axis = b.axis();
                b.spoil(Spoil::Creep { axis, deg_per_hour });
            },
        ),
        Design {
            hours: 24.0,
            ..design(
                Fault::ThermalDrift,
                "change over 16 kelvin, temperature logged, 24 hours",
                WIDE,
                4.0,
                |b, k| {
                    let deg_per_kelvin = k * b.sigma * b.sign() / 16.0;
                    let axis = b.axis();
                    b.spoil(Spoil::ThermalDrift {
                        axis,
                        deg_per_kelvin,
                        logged: true,
                    });
                },
            )
        },
        Design {
            hours: 24.0,
            ..design(
                Fault::ThermalDrift,
                "change over 16 kelvin, temperature not logged, 24 hours",
                WIDE,
                6.0,
                |b, k| {
                    let deg_per_kelvin = k * b.sigma * b.sign() / 16.0;
                    let axis = b.axis();
                    b.spoil(Spoil::ThermalDrift {
                        axis,
                        deg_per_kelvin,
                        logged: false,
                    });
                },
            )
        },
        design(Fault::AzimuthRunout, "amplitude", USUAL, 3.0, |b, k| {
            let length = k * b.sigma;
            b.pair(["azimuth-runout-cos", "azimuth-runout-sin"], length);
        }),
        // Below the zenith alone it cannot be told from a scale or a loose dish.
        Design {
            places: &[3],
            peaks: 120,
            ..design(
                Fault::ElevationRunout,
                "amplitude, 120 peaks on both sides of the zenith",
                USUAL,
                3.0,
                |b, k| {
                    let size = k * b.sigma * b.sign();
                    b.add("elevation-runout-sin", size);
                },
            )
        },
        design(Fault::WarpedTrack, "amplitude", USUAL, 2.0, |b, k| {
            let size_deg = k * b.sigma;
            let high_at_deg = b.angle().to_degrees();
            let times = if b.rng.random_bool(0.5) { 2 } else { 3 };
            b.spoil(Spoil::WarpedTrack {
                times,
                size_deg,
                high_at_deg,
            });
        }),
        // A ripple steeper than the axis turns is no gear: it must stay below a sixth of a tooth.
        Design {
            places: &[2, 4],
            ..design(
                Fault::ToothError,
                "amplitude, 180 teeth and a pinion of 20",
                USUAL,
                3.0,
                |b, k| {
                    let teeth = GearTeeth {
                        gear: 180,
                        pinion: Some(20),
                    };
                    b.station.mount.azimuth_teeth = Some(teeth);
                    b.station.mount.elevation_teeth = Some(teeth);
                    let per_turn = if b.rng.random_bool(0.5) { 180.0 } else { 9.0 };
                    let size_deg = k * b.sigma;
                    b.spoil(Spoil::ToothError {
                        axis: SpoilAxis::Azimuth,
                        per_turn,
                        size_deg,
                    });
                },
            )
        },
        design(
            Fault::WrongScale,
            "error over a whole turn of azimuth",
            WIDE,
            4.0,
            |b, k| {
                let fraction = k * b.sigma / 360.0 * b.sign();
                b.add("azimuth-scale", fraction);
            },
        ),
        design(
            Fault::WrongScale,
            "error over a quarter turn of elevation, seen below the zenith only",
            &[12.0, 24.0, 48.0, 96.0],
            96.0,
            |b, k| {
                let fraction = k * b.sigma / 90.0 * b.sign();
                b.add("elevation-scale", fraction);
            },
        ),
        Design {
            peaks: 120,
            ..design(
                Fault::LooseJoint,
                "times the noise on its loud side, 120 peaks",
                &[1.5, 2.0, 3.0, 4.0, 6.0, 8.0],
                3.0,
                |b, k| {
                    // Where there are emitters: toward the equator.
                    let equator = if b.station.site.latitude.degrees() > 0.0 {
                        180.0
                    } else {
                        0.0
                    };
                    let zero = b.truth.terms.get("azimuth-zero").copied().unwrap_or(0.0);
                    let toward_deg = equator - zero + b.rng.random_range(-60.0..60.0);
                    b.spoil(Spoil::LooseJoint {
                        axis: SpoilAxis::Both,
                        toward_deg,
                        times: k,
                    });
                },
            )
        },
        Design {
            peaks: 120,
            ..design(
                Fault::LooseDish,
                "sideways jump at an elevation of 40 degrees, 120 peaks",
                WIDE,
                6.0,
                |b, k| {
                    let size_deg = k * b.sigma * b.sign();
                    b.spoil(Spoil::Flop {
                        at_deg: 40.0,
                        size_deg,
                    });
                },
            )
        },
        // Below the zenith alone the mount's own terms take it up.
        Design {
            places: &[3],
            peaks: 120,
            ..design(
                Fault::LooseDish,
                "smooth sideways amplitude, 120 peaks on both sides of the zenith",
                USUAL,
                3.0,
                |b, k| {
                    let size_deg = k * b.sigma * b.sign();
                    b.spoil(Spoil::LooseDish {
                        axis: SpoilAxis::Azimuth,
                        size_deg,
                    });
                },
            )
        },
        Design {
            places: &[3],
            peaks: 120,
            ..design(
                Fault::LooseDish,
                "smooth amplitude up and down, 120 peaks on both sides of the zenith",
                WIDE,
                6.0,
                |b, k| {
                    let size_deg = k * b.sigma * b.sign();
                    b.spoil(Spoil::LooseDish {
                        axis: SpoilAxis::Elevation,
                        size_deg,
                    });
                },
            )
        },
        design(
            Fault::Settling,
            "lean gained over the session",
            USUAL,
            4.0,
            |b, k| {
                let rate = k * b.sigma / b.hours();
                let (s, c) = b.angle().sin_cos();
                b.spoil(Spoil::Settling {
                    north_deg_per_hour: rate * c,
                    east_deg_per_hour: rate * s,
                });
            },
        ),
        design(
            Fault::Clock,
            "way of the Sun meanwhile; satellites go faster",
            &[0.05, 0.1, 0.2, 0.5, 1.0, 2.0],
            1.0,
            |b, k| {
                // The sky turns by 15 degrees an hour.
                let seconds = k * b.sigma * 240.0 * b.sign();
                b.add("clock-offset", seconds);
            },
        ),
        design(Fault::TimeZone, "any whole hour", ONCE, 1.0, |b, _| {
            let hours = f64::from(b.rng.random_range(1..=10)) * b.sign();
            b.spoil(Spoil::TimeZone { hours });
        }),
        Design {
            places: SITES_NORTH,
            ..design(Fault::LongitudeSign, "any site", ONCE, 1.0, |b, _| {
                b.spoil(Spoil::LongitudeSign);
            })
        },
        Design {
            places: SITES_NORTH,
            ..design(Fault::SiteSwapped, "any site", ONCE, 1.0, |b, _| {
                b.spoil(Spoil::SiteSwapped);
            })
        },
        design(Fault::AzimuthReversed, "any", ONCE, 1.0, |b, _| {
            b.spoil(Spoil::AzimuthReversed);
        }),
        Design {
            places: &[FINE],
            peaks: 120,
            ..design(
                Fault::MagneticNorth,
                "a zero within 0.2 degrees of a declination of 15, 120 peaks",
                ONCE,
                1.0,
                |b, _| {
                    // On the west coast of North America; the sources are up there too.
                    b.station.site.longitude = Angle::from_degrees(-122.3);
                    let time = b.truth.session.from;
                    let there = plumbeam::faults::declination(&b.station.site, time);
                    let declination = there.map_or(0.0, |d| d.value.degrees());
                    let zero = declination + 0.2 * b.rng.random_range(-1.0..1.0);
                    b.truth.terms.insert("azimuth-zero".to_owned(), zero);
                },
            )
        },
        design(
            Fault::WrongEmitter,
            "three rows of another emitter, anywhere",
            ONCE,
            1.0,
            |b, _| {
                let names: Vec<String> =
                    b.station.emitters.iter().map(|e| e.name.clone()).collect();
                let rows = b.rows(3);
                let k = b.rng.random_range(0..names.len());
                b.spoil(Spoil::WrongEmitter {
                    rows,
                    really: names[k].clone(),
                });
            },
        ),
        design(
            Fault::Sidelobe,
            "three rows, 1.5 beamwidths off",
            ONCE,
            1.0,
            |b, _| {
                let rows = b.rows(3);
                b.spoil(Spoil::Sidelobe { rows });
            },
        ),
        design(
            Fault::StaleElements,
            "way along its orbit, on the sky",
            WIDE,
            4.0,
            |b, k| {
                if let Some(emitter) = b.satellite() {
                    // Seen from the ground twelve-hour satellites move by some 30 degrees an
                    // hour against the stars at most, 20 typically.
                    let seconds = k * b.sigma * 180.0 * b.sign();
                    b.spoil(Spoil::StaleElements { emitter, seconds });
                }
            },
        ),
        design(
            Fault::DigitSlip,
            "two rows, elevation, 1 or 10 degrees or what is 12 times the noise",
            ONCE,
            1.0,
            |b, _| {
                let least = 12.0 * b.sigma;
                let places: Vec<f64> = [0.1, 1.0, 10.0]
                    .into_iter()
                    .filter(|p| *p > least)
                    .collect();
                let k = b.rng.random_range(0..places.len().max(1));
                let digit = f64::from(b.rng.random_range(1..=4));
                let by_deg = places.get(k).copied().unwrap_or(10.0) * digit * b.sign();
                let rows = b.rows(2);
                b.spoil(Spoil::DigitSlip {
                    rows,
                    axis: SpoilAxis::Elevation,
                    by_deg,
                });
            },
        ),
        design(
            Fault::WrongUnit,
            "both axes in radians, grads, minutes of arc or mils",
            ONCE,
            1.0,
            |b, _| {
                let units = [
                    SpoilUnit::Radians,
                    SpoilUnit::Grads,
                    SpoilUnit::Minutes,
                    SpoilUnit::Mils,
                ];
                let unit = units[b.rng.random_range(0..4)];
                b.truth.noise.resolution_deg = 0.0;
                b.spoil(Spoil::WrongUnit {
                    axis: SpoilAxis::Both,
                    unit,
                    rows: Vec::new(),
                });
            },
        ),
        Design {
            places: &[FINE],
            peaks: 120,
            ..design(
                Fault::Refraction,
                "bend at 10 degrees of elevation, 120 peaks down to 5 degrees, either way",
                &[4.0, 8.0, 16.0, 32.0],
                8.0,
                |b, k| {
                    // The bend at 10 degrees is some 500 arcsec.
                    let sigma = 500.0 / 3600.0 / k;
                    b.truth.noise.cross_elevation_deg = sigma;
                    b.truth.noise.elevation_deg = sigma;
                    b.truth.session.lowest_elevation_deg = 5.0;
                    b.truth.noise.resolution_deg = 1e-4;
                    let times = if b.rng.random_bool(0.5) { 0.0 } else { 2.0 };
                    b.spoil(Spoil::Refraction { times });
                },
            )
        },
        design(
            Fault::ColumnsExchanged,
            "azimuth and elevation, or the sky's positions for readings",
            ONCE,
            1.0,
            |b, _| {
                if b.rng.random_bool(0.5) {
                    b.spoil(Spoil::ColumnsExchanged { rows: Vec::new() });
                } else {
                    b.spoil(Spoil::SkyForEncoder);
                }
            },
        ),
    ]
}

impl Design {
    /// A session with this fault.
    pub fn make(&self, places: &[Place], size: f64, seed: u64) -> Option<Made> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5bd1_e995);
        let place = self.places[rng.random_range(0..self.places.len())];
        let Place { station, sky, day } = &places[place];
        let mut station = station.clone();
        let beam = station.dish.beamwidth.degrees();
        let sigma = beam / 80.0;
        let from = day.plus_seconds(3600.0 * rng.random_range(-6.0..6.0));
        let mut truth = Truth {
            terms: healthy_terms(&mut rng, beam),
            noise: Noise {
                cross_elevation_deg: sigma,
                elevation_deg: sigma,
                logged: false,
                resolution_deg: 0.001,
            },
            session: Session {
                from,
                to: from.plus_seconds(3600.0 * self.hours),
                peaks: self.peaks,
                emitters: Vec::new(),
                lowest_elevation_deg: 10.0,
                approach_logged: true,
            },
            spoil: Vec::new(),
        };
        (self.spoil)(
            &mut Bench {
                truth: &mut truth,
                station: &mut station,
                sigma,
                rng: &mut rng,
            },
            size,
        );
        let moved = (station.site.longitude != places[place].station.site.longitude)
            .then(|| sky.seen_from(&station));
        let log = session(&station, moved.as_ref().unwrap_or(sky), &truth, seed).ok()?;
        // A satellite that was hardly observed cannot be judged.
        let observed = |name: &str| log.peaks.iter().filter(|p| p.emitter == name).count();
        if truth.spoil.iter().any(|s| match s {
            Spoil::StaleElements { emitter, .. } => observed(emitter) < 5,
            // Rows fall away when the other emitter is not up; some may be its own.
            Spoil::WrongEmitter { rows, really } => {
                let own = |r: &usize| log.peaks.get(r - 1).is_none_or(|p| p.emitter == *really);
                log.peaks.len() < self.peaks || rows.iter().any(own)
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
pub fn examine(places: &[Place], made: &Made) -> Option<Diagnosis> {
    let options = Options {
        seed: 1,
        ..Options::default()
    };
    let sky = made.sky.as_ref().unwrap_or(&places[made.place].sky);
    diagnose(&made.station, sky, &made.log, &options).ok()
}
