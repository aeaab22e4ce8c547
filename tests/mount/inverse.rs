//! The inverse of the mount model: forward of inverse is the identity over the whole sky, both
//! solutions of an over-the-top mount, cable wrap, keyhole and ranges.

use plumbeam::angle::{Angle, Apparent, Direction, EncoderReading};
use plumbeam::mount::{ApproachSigns, Geometry, MountModel, Term, TermUnit, TermValues, Wrap};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What issue 2 asks of the inverse, degrees on the sky.
const IDENTITY: f64 = 1e-9;
/// A reading found again from its own beam: the same, times what an azimuth at 80 degrees of
/// elevation is larger than on the sky.
const READING_IDENTITY: f64 = 1e-8;

fn degrees(d: f64) -> Angle {
    Angle::from_degrees(d)
}
fn apparent(azimuth: f64, elevation: f64) -> Direction<Apparent> {
    Direction::apparent(degrees(azimuth), degrees(elevation))
}
fn model(terms: &[(Term, f64)]) -> MountModel {
    let mut values = TermValues::ZERO;
    for (term, value) in terms {
        values.set_shown(*term, *value);
    }
    MountModel::az_el(values)
}
/// Every term at random, angles to `angle` degrees, fractions to `fraction`; zeros of any size.
fn random_model(rng: &mut ChaCha8Rng, angle: f64, fraction: f64) -> MountModel {
    let mut values = TermValues::ZERO;
    for term in Term::ALL {
        let size = match term.unit() {
            TermUnit::Angle => angle,
            TermUnit::Fraction => fraction,
            TermUnit::Seconds => 0.0,
        };
        values.set_shown(term, rng.random_range(-1.0..=1.0) * size);
    }
    values.set_shown(Term::AzimuthZero, rng.random_range(-360.0..360.0));
    MountModel::az_el(values)
}
fn random_signs(rng: &mut ChaCha8Rng) -> ApproachSigns {
    let mut sign = || f64::from(rng.random_range(-1_i32..=1));
    ApproachSigns {
        azimuth: sign(),
        elevation: sign(),
    }
}
fn wrap(azimuth: (f64, f64), elevation: (f64, f64), present: Option<(f64, f64)>) -> Wrap {
    Wrap {
        azimuth_range: (degrees(azimuth.0), degrees(azimuth.1)),
        elevation_range: (degrees(elevation.0), degrees(elevation.1)),
        present: present.map(|(a, e)| EncoderReading::from_degrees(a, e)),
    }
}

/// Both readings bring the beam back to the direction.
#[track_caller]
fn assert_identity(model: &MountModel, target: &Direction<Apparent>, approach: ApproachSigns) {
    let both = model.readings(target, approach).unwrap();
    for reading in [both.direct, both.over_the_top] {
        let miss = model.beam(reading, approach).separation(target).degrees();
        assert!(
            miss < IDENTITY,
            "{target:?}: {reading:?} misses by {miss:e} deg with {:?}",
            model.terms()
        );
    }
}

#[test]
fn forward_of_inverse_is_the_identity_over_the_whole_sky() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut met = 0;
    for _ in 0..20_000 {
        let model = random_model(&mut rng, 4.0, 0.04);
        let approach = random_signs(&mut rng);
        // Evenly over the sphere, below the horizon too.
        let up: f64 = rng.random_range(-1.0..1.0);
        let target = apparent(rng.random_range(0.0..360.0), up.asin().to_degrees());
        if model.readings(&target, approach).is_ok() {
            assert_identity(&model, &target, approach);
            met += 1;
        }
    }
    // Keyholes of a few degrees hold about a thousandth of the sky.
    assert!(met > 19_800, "only {met} directions were reached");
}

#[test]
fn the_identity_holds_within_a_hundredth_of_a_degree_of_the_azimuth_axis() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let mut met = 0;
    for _ in 0..20_000 {
        // Equal collimation and skew leave no keyhole about the upper end, opposite ones none
        // about the lower.
        let end: f64 = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
        let random = random_model(&mut rng, 4.0, 0.04);
        let mut terms = *random.terms();
        let collimation = terms.angle(Term::Collimation);
        terms.set_angle(Term::AxisSkew, collimation * end);
        let model = MountModel::az_el(terms);
        let axis = axis_end(&model, end);
        let target = about(&axis, 0.01 * rng.random_range(0.0..1.0_f64), &mut rng);
        let approach = random_signs(&mut rng);
        if model.readings(&target, approach).is_ok() {
            assert_identity(&model, &target, approach);
            met += 1;
        }
    }
    // Two of the terms are equal only to rounding: a few of the nearest may be refused.
    assert!(met > 19_990, "only {met} directions were reached");
}

#[test]
fn the_identity_holds_within_a_hundredth_of_a_degree_of_the_zenith() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    for _ in 0..5_000 {
        // A tilt of a degree or more moves the keyhole of half a degree away from the zenith.
        let model = model(&[
            (Term::TiltNorth, rng.random_range(1.0..3.0)),
            (Term::TiltEast, rng.random_range(-3.0..3.0)),
            (Term::Collimation, rng.random_range(-0.25..0.25)),
            (Term::AxisSkew, rng.random_range(-0.25..0.25)),
            (Term::Droop, rng.random_range(-1.0..1.0)),
        ]);
        let target = apparent(
            rng.random_range(0.0..360.0),
            90.0 - 0.01 * rng.random_range(0.0..1.0_f64),
        );
        assert_identity(&model, &target, ApproachSigns::UNKNOWN);
    }
    for elevation in [90.0, 90.0 - 1e-7, 90.0 - 1e-12, -90.0] {
        assert_identity(
            &MountModel::ideal(Geometry::AZ_EL),
            &apparent(77.0, elevation),
            ApproachSigns::UNKNOWN,
        );
    }
}

/// The upper (+1) or lower (-1) end of the azimuth axis: with collimation and skew undone, the
/// beam at 90 degrees of elevation.
fn axis_end(model: &MountModel, end: f64) -> Direction<Apparent> {
    let mut only_tilt = TermValues::ZERO;
    for term in [Term::TiltNorth, Term::TiltEast] {
        only_tilt.set_angle(term, model.terms().angle(term));
    }
    MountModel::az_el(only_tilt).beam(
        EncoderReading::from_degrees(0.0, 90.0 * end),
        ApproachSigns::UNKNOWN,
    )
}

/// A direction at `distance` degrees from `centre`, on any side of it.
fn about(centre: &Direction<Apparent>, distance: f64, rng: &mut ChaCha8Rng) -> Direction<Apparent> {
    let v = centre.east_north_up();
    let helper = if v.x.abs() < 0.5 {
        nalgebra::Vector3::x()
    } else {
        nalgebra::Vector3::y()
    };
    let p = v.cross(&helper).normalize();
    let q = v.cross(&p);
    let side = degrees(rng.random_range(0.0..360.0));
    let d = degrees(distance);
    Direction::from_east_north_up(&(v * d.cos() + (p * side.cos() + q * side.sin()) * d.sin()))
}

#[test]
fn the_rim_of_the_keyhole_is_sharp() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    for _ in 0..2_000 {
        let mut terms = *random_model(&mut rng, 3.0, 0.0).terms();
        terms.set_shown(Term::Collimation, rng.random_range(-3.0..3.0));
        let model = MountModel::az_el(terms);
        for end in [1.0, -1.0] {
            let (c, s) = (terms.shown(Term::Collimation), terms.shown(Term::AxisSkew));
            // At the top skew undoes collimation; at the bottom it adds to it.
            let half_angle = (c - end * s).abs();
            let axis = axis_end(&model, end);
            let outside = about(&axis, half_angle + 1e-7, &mut rng);
            assert_identity(&model, &outside, ApproachSigns::UNKNOWN);
            if half_angle > 1e-6 {
                let inside = about(&axis, half_angle - 1e-7, &mut rng);
                let refusal = model.readings(&inside, ApproachSigns::UNKNOWN).unwrap_err();
                assert!((refusal.half_angle.degrees() - half_angle).abs() < IDENTITY);
                assert!(
                    (refusal.distance.degrees() - (half_angle - 1e-7)).abs() < IDENTITY,
                    "{refusal:?}"
                );
            }
            if end > 0.0 {
                assert!((model.keyhole().degrees() - half_angle).abs() < IDENTITY);
            }
        }
    }
}

#[test]
fn a_refusal_inside_the_keyhole_says_how_large_it_is_and_how_far_inside() {
    let model = model(&[(Term::Collimation, 2.0), (Term::AxisSkew, 0.5)]);
    let refusal = model
        .readings(&apparent(0.0, 89.25), ApproachSigns::UNKNOWN)
        .unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "the direction lies 0.7500 deg from the azimuth axis, inside the keyhole of 1.5000 deg \
         that the beam cannot enter"
    );
}

#[test]
fn inverse_of_forward_finds_the_reading_again_on_either_side_of_the_top() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    for _ in 0..5_000 {
        let mut terms = *random_model(&mut rng, 1.0, 0.01).terms();
        terms.set_shown(Term::AzimuthZero, rng.random_range(-170.0..170.0));
        let model = MountModel::az_el(terms);
        let approach = random_signs(&mut rng);
        let azimuth = rng.random_range(-180.0..540.0);
        for elevation in [rng.random_range(0.0..80.0), rng.random_range(100.0..180.0)] {
            let reading = EncoderReading::from_degrees(azimuth, elevation);
            let target = model.beam(reading, approach);
            let full = wrap((-180.0, 540.0), (-5.0, 185.0), Some((azimuth, elevation)));
            let found = model
                .reading_to_command(&target, approach, &full)
                .unwrap()
                .unwrap();
            assert!(
                (found.azimuth - reading.azimuth).abs().degrees() < READING_IDENTITY
                    && (found.elevation - reading.elevation).abs().degrees() < READING_IDENTITY,
                "{found:?} is not {reading:?} with {:?}",
                model.terms()
            );
        }
    }
}

#[test]
fn over_the_top_is_half_a_turn_round_and_past_the_zenith() {
    let both = MountModel::ideal(Geometry::AZ_EL)
        .readings(&apparent(30.0, 60.0), ApproachSigns::UNKNOWN)
        .unwrap();
    assert!((both.direct.azimuth.degrees() - 30.0).abs() < IDENTITY);
    assert!((both.direct.elevation.degrees() - 60.0).abs() < IDENTITY);
    assert!((both.over_the_top.azimuth.degrees() + 150.0).abs() < IDENTITY);
    assert!((both.over_the_top.elevation.degrees() - 120.0).abs() < IDENTITY);
}

/// The readings in range as whole numbers of degrees.
fn rounded(readings: &[EncoderReading]) -> Vec<(i32, i32)> {
    readings
        .iter()
        .map(|r| {
            (
                r.azimuth.degrees().round() as i32,
                r.elevation.degrees().round() as i32,
            )
        })
        .collect()
}

#[test]
fn every_wrap_in_range_is_found_direct_ones_first() {
    let found = MountModel::ideal(Geometry::AZ_EL)
        .readings_in_range(
            &apparent(30.0, 60.0),
            ApproachSigns::UNKNOWN,
            &wrap((-180.0, 540.0), (0.0, 180.0), None),
        )
        .unwrap();
    assert_eq!(
        rounded(&found),
        [(30, 60), (390, 60), (-150, 120), (210, 120)]
    );
    // The ends of the range belong to it.
    let found = MountModel::ideal(Geometry::AZ_EL)
        .readings_in_range(
            &apparent(180.0, 0.0),
            ApproachSigns::UNKNOWN,
            &wrap((-180.0, 540.0), (0.0, 90.0), None),
        )
        .unwrap();
    assert_eq!(rounded(&found), [(-180, 0), (180, 0), (540, 0)]);
}

#[test]
fn the_wrap_nearest_to_the_present_position_is_chosen() {
    let command = |present: Option<(f64, f64)>, elevations: (f64, f64)| {
        let reading = MountModel::ideal(Geometry::AZ_EL)
            .reading_to_command(
                &apparent(30.0, 60.0),
                ApproachSigns::UNKNOWN,
                &wrap((-180.0, 540.0), elevations, present),
            )
            .unwrap()
            .unwrap();
        rounded(&[reading])[0]
    };
    assert_eq!(command(Some((0.0, 45.0)), (0.0, 90.0)), (30, 60));
    assert_eq!(command(Some((200.0, 45.0)), (0.0, 90.0)), (30, 60));
    assert_eq!(command(Some((220.0, 45.0)), (0.0, 90.0)), (390, 60));
    assert_eq!(command(Some((540.0, 45.0)), (0.0, 90.0)), (390, 60));
    // Over the top when that is the shorter way.
    assert_eq!(command(Some((200.0, 80.0)), (0.0, 180.0)), (210, 120));
    assert_eq!(command(Some((35.0, 120.0)), (0.0, 180.0)), (30, 60));
    // Without a present position: near the middle of the range (180), and not over the top.
    assert_eq!(command(None, (0.0, 180.0)), (30, 60));
}

#[test]
fn a_scale_error_makes_a_turn_of_the_axis_less_than_a_turn_of_reading() {
    // The axis moves 1 % further than the encoder says: a turn of the axis is 360 / 1.01.
    let model = model(&[(Term::AzimuthScale, 0.01)]);
    let found = model
        .readings_in_range(
            &apparent(101.0, 20.0),
            ApproachSigns::UNKNOWN,
            &wrap((-180.0, 540.0), (0.0, 90.0), None),
        )
        .unwrap();
    assert_eq!(found.len(), 2);
    assert!((found[0].azimuth.degrees() - 100.0).abs() < IDENTITY);
    assert!((found[1].azimuth.degrees() - 100.0 - 360.0 / 1.01).abs() < IDENTITY);
    // On every wrap the beam is on the direction, with warp and runout too.
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    for _ in 0..500 {
        let model = random_model(&mut rng, 1.0, 0.01);
        let target = apparent(rng.random_range(0.0..360.0), rng.random_range(10.0..80.0));
        let approach = random_signs(&mut rng);
        let all = wrap((-540.0, 900.0), (-90.0, 270.0), None);
        let found = model.readings_in_range(&target, approach, &all).unwrap();
        assert!(found.len() >= 6, "{found:?}");
        for reading in found {
            let miss = model.beam(reading, approach).separation(&target).degrees();
            assert!(miss < IDENTITY, "{reading:?} misses by {miss:e}");
        }
    }
}

#[test]
fn an_elevation_encoder_with_a_zero_of_nearly_a_turn_is_read_by_the_turn_in_its_range() {
    // The axis stands 350 degrees higher than the encoder says, which is 10 lower.
    let model = model(&[(Term::ElevationZero, 350.0)]);
    let found = model
        .readings_in_range(
            &apparent(0.0, 40.0),
            ApproachSigns::UNKNOWN,
            &wrap((-10.0, 10.0), (0.0, 100.0), None),
        )
        .unwrap();
    assert_eq!(rounded(&found), [(0, 50)]);
    let near = model
        .direct_reading_near(
            &apparent(0.0, 40.0),
            ApproachSigns::UNKNOWN,
            EncoderReading::from_degrees(370.0, 45.0),
        )
        .unwrap();
    assert_eq!(rounded(&[near]), [(360, 50)]);
}

#[test]
fn out_of_range_is_none_and_not_a_keyhole() {
    let out = MountModel::ideal(Geometry::AZ_EL).reading_to_command(
        &apparent(0.0, -3.0),
        ApproachSigns::UNKNOWN,
        &wrap((-180.0, 540.0), (0.0, 90.0), None),
    );
    assert_eq!(out, Ok(None));
    // A gap in azimuth: an arc from 10 to 300 degrees does not reach north.
    let out = MountModel::ideal(Geometry::AZ_EL).reading_to_command(
        &apparent(0.0, 30.0),
        ApproachSigns::UNKNOWN,
        &wrap((10.0, 300.0), (0.0, 90.0), Some((10.0, 30.0))),
    );
    assert_eq!(out, Ok(None));
}
