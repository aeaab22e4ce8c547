//! Invented mounts, weathers and demands that the tests of tables share.
#![allow(dead_code)] // each test file uses its part

use plumbeam::angle::Angle;
use plumbeam::mount::{Geometry, LowerAxis, MountModel, Term, TermValues};
use plumbeam::station::Weather;
use plumbeam::table::{
    Air, DemandKind, EncoderRange, FullModel, Grid, Microdegrees, Provenance, TableRequest,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

pub struct Case {
    pub name: &'static str,
    pub full: FullModel,
    pub request: TableRequest,
}

pub fn full_model(
    terms: &[(Term, f64)],
    weather: Option<(f64, f64, f64)>,
    azimuth: (f64, f64),
    elevation: (f64, f64),
) -> FullModel {
    let mut values = TermValues::ZERO;
    for (term, value) in terms {
        values.set_shown(*term, *value);
    }
    let d = Angle::from_degrees;
    FullModel {
        mount: MountModel::az_el(values),
        air: match weather {
            None => Air::Included,
            Some((pressure_hpa, temperature_c, relative_humidity)) => Air::for_demand(
                DemandKind::Geometric,
                Weather {
                    pressure_hpa,
                    temperature_c,
                    relative_humidity,
                },
            ),
        },
        range: EncoderRange {
            azimuth: (d(azimuth.0), d(azimuth.1)),
            elevation: (d(elevation.0), d(elevation.1)),
        },
    }
}

/// The same mount standing otherwise.
pub fn standing(geometry: Geometry, full: FullModel) -> FullModel {
    FullModel {
        mount: MountModel::new(geometry, *full.mount.terms()),
        ..full
    }
}

/// A small dish with the usual terms; the same for geometric demands; every term there is, with an
/// azimuth zero at the seam of half a turn and a wide cable range; a narrow beam; mounts of other
/// kinds.
pub fn cases() -> Vec<Case> {
    let d = Angle::from_degrees;
    let usual = [
        (Term::AzimuthZero, 13.2),
        (Term::ElevationZero, -0.8),
        (Term::TiltNorth, 0.4),
        (Term::TiltEast, -0.3),
        (Term::Collimation, 0.35),
        (Term::Droop, 0.2),
    ];
    let every = [
        (Term::AzimuthZero, -179.9),
        (Term::ElevationZero, 1.5),
        (Term::TiltNorth, -0.3),
        (Term::TiltEast, 0.2),
        (Term::Collimation, -0.3),
        (Term::AxisSkew, 0.2),
        (Term::Droop, 0.15),
        (Term::AzimuthScale, 0.002),
        (Term::ElevationScale, -0.003),
        (Term::AzimuthRunoutCos, 0.1),
        (Term::AzimuthRunoutSin, -0.15),
        (Term::ElevationRunoutSin, 0.1),
        (Term::TrackWarpCos, 0.05),
        (Term::TrackWarpSin, 0.08),
        (Term::AzimuthBacklash, 0.2),
        (Term::ElevationBacklash, 0.1),
        (Term::ClockOffset, 2.0),
    ];
    let case = |name, full, beam| Case {
        name,
        full,
        request: TableRequest::for_beam(d(beam)),
    };
    let cable = (-180.0, 540.0);
    vec![
        case(
            "small dish, apparent",
            full_model(&usual, None, cable, (0.0, 90.0)),
            10.3,
        ),
        case(
            "small dish, geometric",
            full_model(&usual, Some((870.0, 25.0, 0.3)), (0.0, 360.0), (5.0, 88.0)),
            10.3,
        ),
        case(
            "every term",
            full_model(
                &every,
                Some((1013.25, 15.0, 0.5)),
                (-270.0, 450.0),
                (-3.0, 95.0),
            ),
            4.9,
        ),
        case(
            "narrow beam",
            full_model(&usual, None, cable, (0.0, 90.0)),
            0.7,
        ),
        case(
            "polar in the south",
            standing(
                Geometry::polar(d(-33.0)),
                full_model(&usual, None, (-120.0, 120.0), (-85.0, 50.0)),
            ),
            5.0,
        ),
        case(
            "polar in the north",
            standing(
                Geometry::polar(d(48.0)),
                full_model(&usual, None, (-110.0, 110.0), (-50.0, 85.0)),
            ),
            5.0,
        ),
        case(
            "x-y on an east-west axis",
            standing(
                Geometry::x_y(LowerAxis::EastWest),
                full_model(&usual, None, (-80.0, 80.0), (-75.0, 75.0)),
            ),
            5.0,
        ),
        case(
            "x-y on a north-south axis",
            standing(
                Geometry::x_y(LowerAxis::NorthSouth),
                full_model(&usual, None, (-85.0, 85.0), (-80.0, 80.0)),
            ),
            5.0,
        ),
        case(
            "slant",
            standing(
                Geometry::slant(d(17.0), d(205.0)),
                full_model(&usual, None, cable, (0.0, 90.0)),
            ),
            5.0,
        ),
    ]
}

pub fn provenance() -> Provenance {
    Provenance {
        calibration: "calibration.json".to_owned(),
        created_utc: "2026-05-01T20:00:00.000Z".to_owned(),
        station: "Test hill (invented)".to_owned(),
        calibration_rms: Some(Angle::from_degrees(0.05)),
        beamwidth: Some(Angle::from_degrees(10.3)),
        ..Provenance::default()
    }
}

/// So many demands at random over a grid, and more near its top, where tables are worst.
pub fn demands(grid: &Grid, count: usize) -> Vec<(Microdegrees, Microdegrees)> {
    let mut rng = ChaCha8Rng::seed_from_u64(20_260_501);
    let (low, high) = (grid.elevation.first.0, grid.elevation.last().0);
    (0..count)
        .map(|i| {
            let azimuth = rng.random_range(grid.azimuth.first.0..=grid.azimuth.last().0);
            let from = if i % 4 == 0 {
                high - (high - low) / 10
            } else {
                low
            };
            (
                Microdegrees(azimuth),
                Microdegrees(rng.random_range(from..=high)),
            )
        })
        .collect()
}
