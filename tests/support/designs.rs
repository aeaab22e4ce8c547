//! The single faults of the study: what each does to a truth, at which sizes, and from which size
//! on docs/faults.md promises to find it.

use plumbeam::angle::Angle;
use plumbeam::faults::Fault;
use plumbeam::simulate::{Spoil, SpoilAxis, SpoilUnit};
use plumbeam::station::GearTeeth;
use rand::RngExt;

use super::{Design, FINE};

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
        stations: ALL,
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
            stations: &[3],
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
            stations: &[2, 4],
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
            stations: &[3],
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
            stations: &[3],
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
            6.0,
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
            stations: SITES_NORTH,
            ..design(Fault::LongitudeSign, "any site", ONCE, 1.0, |b, _| {
                b.spoil(Spoil::LongitudeSign);
            })
        },
        Design {
            stations: SITES_NORTH,
            ..design(Fault::SiteSwapped, "any site", ONCE, 1.0, |b, _| {
                b.spoil(Spoil::SiteSwapped);
            })
        },
        design(Fault::AzimuthReversed, "any", ONCE, 1.0, |b, _| {
            b.spoil(Spoil::AzimuthReversed);
        }),
        Design {
            stations: &[FINE],
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
            stations: &[FINE],
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
