//! The worked example of docs/mounts.md: the knots of an actuator from its three lengths, by the law
//! of cosines, and how well the curve through them follows it.

use std::path::Path;

use plumbeam::angle::Angle;
use plumbeam::station::{Sensor, Station};

const PAGE: &str = include_str!("../../docs/mounts.md");
const A_MM: f64 = 620.0;
const B_MM: f64 = 480.0;
const FULLY_IN_MM: f64 = 430.0;
const PULSES_PER_MM: f64 = 1.6;
const MERIDIAN_PULSES: f64 = 320.0;

/// The angle at the axis between the two pins, degrees: from the corners of the triangle, not by
/// the formula of the page.
fn angle_deg(pulses: f64) -> f64 {
    let length = FULLY_IN_MM + pulses / PULSES_PER_MM;
    // The half angle from the half perimeter.
    let s = (A_MM + B_MM + length) / 2.0;
    let half = ((s - A_MM) * (s - B_MM) / (s * (s - length))).sqrt().atan();
    2.0 * half.to_degrees()
}

fn hour_angle_deg(pulses: f64) -> f64 {
    angle_deg(pulses) - angle_deg(MERIDIAN_PULSES)
}

/// What the page writes is rounded to this.
const WRITTEN_DEG: f64 = 0.000_501;

#[test]
fn the_knots_of_the_page_are_those_of_the_law_of_cosines() {
    let rows: Vec<Vec<f64>> = (PAGE.lines())
        .filter(|line| line.starts_with("| ") && line.matches('|').count() == 5)
        .filter_map(|line| {
            let cells = line.trim_matches('|').split('|');
            cells.map(|c| c.trim().parse().ok()).collect()
        })
        .collect();
    assert_eq!(rows.len(), 6);
    for row in rows {
        let [pulses, length, angle, hour_angle] = row[..] else {
            panic!("{row:?}");
        };
        assert_eq!(length, FULLY_IN_MM + pulses / PULSES_PER_MM);
        assert!((angle - angle_deg(pulses)).abs() < WRITTEN_DEG, "{pulses}");
        assert!((hour_angle - hour_angle_deg(pulses)).abs() < WRITTEN_DEG);
        let knot = format!("[{pulses:.1}, {hour_angle:.3}]");
        assert!(PAGE.contains(&knot), "{knot}");
    }
    assert!((angle_deg(MERIDIAN_PULSES) - 68.525).abs() < WRITTEN_DEG);
}

/// The largest distance of the curve through so many knots from the law of cosines, degrees.
fn off_deg(knots: usize) -> f64 {
    let pulses = |i: usize, of: usize| 720.0 * i as f64 / of as f64;
    let knots: Vec<(f64, f64)> = (0..knots)
        .map(|i| pulses(i, knots - 1))
        .map(|p| (p, hour_angle_deg(p)))
        .collect();
    let sensor = Sensor::knots(&knots).expect("a curve");
    let off = (0..=2000).map(|i| {
        let p = pulses(i, 2000);
        (sensor.angle(p).expect("within").degrees() - hour_angle_deg(p)).abs()
    });
    off.fold(0.0, f64::max)
}

#[test]
fn the_curve_follows_the_law_of_cosines_as_the_page_says() {
    let (six, eleven) = (off_deg(6), off_deg(11));
    assert!((0.050..0.060).contains(&six), "{six}");
    assert!((0.005..0.010).contains(&eleven), "{eleven}");
}

#[test]
fn the_section_of_the_page_makes_that_curve() {
    let station = include_str!("../data/reference/mounts/polar-north/station.toml");
    let (_, behind) = PAGE.split_once("```toml\n[mount.axis_1.sensor]").unwrap();
    let section = behind.split_once("```").unwrap().0;
    let text = format!("{station}\n[mount.axis_1.sensor]{section}");
    let folder = Path::new("tests/data/reference/mounts/polar-north");
    let station = Station::parse("page", folder, text.as_bytes()).unwrap();
    let sensor = station.mount.sensors[0].as_ref().unwrap();
    assert_eq!(sensor.shown(Angle::from_degrees(9.372)), Some(432.0));
    // The range of the axis ends with the knots, which is said.
    let (low, high) = station.mount.azimuth_range;
    assert!((low.degrees() + 24.768).abs() < 1e-9 && (high.degrees() - 37.029).abs() < 1e-9);
    assert!(
        (station.site.assumptions.iter()).any(|a| a.contains("hour_angle_range_deg is cut to")),
        "{:?}",
        station.site.assumptions
    );
}
