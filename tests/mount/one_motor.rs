//! A polar mount with one motor: how far its beam passes the arc of geostationary satellites, and what
//! its bolts must do, from the words of docs/mounts.md.

use std::path::Path;

use plumbeam::angle::Angle;
use plumbeam::mount::{MountModel, Term, TermValues};
use plumbeam::solve::arc;
use plumbeam::station::Station;

/// Metres: the equator of WGS 84 and the geostationary orbit.
const EARTH_M: f64 = 6_378_137.0;
const ORBIT_M: f64 = 42_164_170.0;
/// The Earth's flattening moves a satellite's declination by less than this, the air above 5 degrees
/// by less than 0.16.
const FLATTENING_DEG: f64 = 0.03;

fn station(offset: f64) -> Station {
    let text = include_str!("../data/reference/mounts/polar-north/station.toml");
    let text = text.replace(
        "declination_range_deg = [-60.0, 85.0]",
        &format!("declination_offset_deg = {offset}"),
    );
    let folder = Path::new("tests/data/reference/mounts/polar-north");
    Station::parse("one motor", folder, text.as_bytes()).unwrap()
}

fn model(station: &Station, terms: &[(Term, f64)]) -> MountModel {
    let values = (terms.iter()).fold(TermValues::ZERO, |v, (t, d)| v.with_shown(*t, *d));
    MountModel::new(station.mount.geometry, values)
}

/// The declination of a satellite so many degrees of longitude from the site, on a round Earth.
fn declination_deg(station: &Station, away_deg: f64) -> f64 {
    let (sin, cos) = station.site.latitude.sin_cos();
    let away = away_deg.to_radians();
    let x = ORBIT_M * away.cos() - EARTH_M * cos;
    let y = ORBIT_M * away.sin();
    (-EARTH_M * sin).atan2(x.hypot(y)).to_degrees()
}

#[test]
fn its_beam_passes_the_ends_of_the_arc_when_set_for_the_middle() {
    let offset = declination_deg(&station(-7.0), 0.0);
    let station = station(offset);
    let found = arc(&station, &model(&station, &[])).unwrap();
    // The arc stands furthest from the equator on the meridian, and nearest at its ends.
    let ends = declination_deg(&station, (found.from - station.site.longitude).degrees()) - offset;
    assert!(ends > 0.3, "{ends}");
    let air_deg = 0.16;
    assert!((found.now.largest.degrees() - ends).abs() < FLATTENING_DEG + air_deg);
    // A declination axis bolted a little off and a polar axis a little off the pole follow it best.
    assert!(found.then.largest < found.now.largest / 5.0, "{found:?}");
    let [dish, high, east] = found.changes.map(Angle::degrees);
    // North of the equator the beam must come north at the ends, where the hour angle is large, and
    // stay where it is on the meridian: the dish goes north, and the axis's north end up, which takes
    // a beam in the south down by as much.
    assert!(dish > 0.3 && high > 0.3, "{dish} {high}");
    assert!(
        (dish - high).abs() < 0.1 && east.abs() < 0.02,
        "{dish} {high} {east}"
    );
}

#[test]
fn what_the_bolts_have_wrong_is_what_they_must_undo() {
    /// The bolts turn into each other to second order, 0.5 degree times 0.5 degree.
    const SECOND_ORDER_DEG: f64 = 0.01;
    let station = station(-7.4);
    let right = arc(&station, &model(&station, &[])).unwrap();
    for (place, term) in [Term::ElevationZero, Term::TiltNorth, Term::TiltEast]
        .into_iter()
        .enumerate()
    {
        for wrong in [0.5, -0.5] {
            let found = arc(&station, &model(&station, &[(term, wrong)])).unwrap();
            for (i, (there, here)) in right.changes.iter().zip(found.changes).enumerate() {
                let expected = if i == place { -wrong } else { 0.0 };
                let off = (here - *there).degrees() - expected;
                assert!(off.abs() < SECOND_ORDER_DEG, "{term:?} {wrong} {i}: {off}");
            }
            assert!((found.then.largest - right.then.largest).abs().degrees() < SECOND_ORDER_DEG);
        }
    }
}

#[test]
fn the_motor_takes_up_what_lies_across() {
    let station = station(-7.4);
    let right = arc(&station, &model(&station, &[])).unwrap();
    let across = arc(&station, &model(&station, &[(Term::AzimuthZero, 1.5)])).unwrap();
    // Only which satellites the hour angle range reaches could change.
    assert!((across.now.rms - right.now.rms).abs().degrees() < 0.01);
}

#[test]
fn two_motors_have_no_such_bolts() {
    let folder = Path::new("tests/data/reference/mounts/polar-north");
    let station = Station::read(&folder.join("station.toml")).unwrap();
    assert!(arc(&station, &model(&station, &[])).is_none());
}
