//! Each sign of the mount model, pinned from the words of the table of terms in docs/files.md.
//!
//! "Beam minus encoder" is taken with small terms at moderate elevations, so that the
//! first-order words of the page hold to [`SECOND_ORDER`].

use plumbeam::angle::{Angle, EncoderReading};
use plumbeam::mount::{ApproachSigns, Geometry, MountModel, Term, TermValues};

/// A term of a thousandth of a degree leaves second-order parts of its square in radians times
/// tan squared of the elevation, up to 14 at 75 degrees: below 3e-7 degree.
const SECOND_ORDER: f64 = 3e-7;
const SMALL: f64 = 0.001;

/// Azimuth and elevation of the beam less those of the reading, degrees.
fn beam_minus_encoder(
    term: Term,
    value: f64,
    (azimuth, elevation): (f64, f64),
    approach: ApproachSigns,
) -> (f64, f64) {
    let model = MountModel::az_el(TermValues::ZERO.with_shown(term, value));
    let reading = EncoderReading::from_degrees(azimuth, elevation);
    let beam = model.beam(reading, approach);
    (
        (beam.azimuth() - reading.azimuth)
            .wrapped_signed()
            .degrees(),
        (beam.elevation() - reading.elevation).degrees(),
    )
}

fn at(term: Term, value: f64, place: (f64, f64)) -> (f64, f64) {
    beam_minus_encoder(term, value, place, ApproachSigns::UNKNOWN)
}

#[track_caller]
fn assert_near(found: (f64, f64), expected: (f64, f64)) {
    assert!(
        (found.0 - expected.0).abs() < SECOND_ORDER && (found.1 - expected.1).abs() < SECOND_ORDER,
        "beam minus encoder is {found:?}, expected {expected:?}"
    );
}

const PLACES: [(f64, f64); 6] = [
    (0.0, 30.0),
    (90.0, 45.0),
    (123.4, 12.0),
    (225.0, 60.0),
    (300.0, 75.0),
    (-100.0, 5.0),
];

#[test]
fn with_no_terms_the_encoders_are_right() {
    for place in PLACES {
        assert_near(at(Term::AzimuthZero, 0.0, place), (0.0, 0.0));
    }
    let over = MountModel::ideal(Geometry::AZ_EL).beam(
        EncoderReading::from_degrees(10.0, 120.0),
        ApproachSigns::UNKNOWN,
    );
    assert!(
        (over.azimuth().degrees() - 190.0).abs() < 1e-9,
        "over the top looks behind"
    );
    assert!((over.elevation().degrees() - 60.0).abs() < 1e-9);
}

#[test]
fn azimuth_zero_the_axis_stands_further_clockwise_than_the_encoder_says() {
    for place in PLACES {
        assert_near(at(Term::AzimuthZero, SMALL, place), (SMALL, 0.0));
    }
}

#[test]
fn elevation_zero_the_axis_stands_higher_than_the_encoder_says() {
    for place in PLACES {
        assert_near(at(Term::ElevationZero, SMALL, place), (0.0, SMALL));
    }
}

#[test]
fn tilt_takes_from_the_elevation_where_the_top_leans_toward() {
    // The top leans north: a beam to the north is lowered, one to the south is raised.
    assert!(at(Term::TiltNorth, SMALL, (0.0, 30.0)).1 < 0.0);
    assert!(at(Term::TiltNorth, SMALL, (180.0, 30.0)).1 > 0.0);
    assert!(at(Term::TiltEast, SMALL, (90.0, 30.0)).1 < 0.0);
    assert!(at(Term::TiltEast, SMALL, (270.0, 30.0)).1 > 0.0);
    // Across, the beam goes with the axis: a top that leans east carries a high beam in the
    // north to the east, so clockwise.
    for (az, el) in PLACES {
        let (a, tan) = (az.to_radians(), el.to_radians().tan());
        let north = at(Term::TiltNorth, SMALL, (az, el));
        assert_near(north, (-SMALL * a.sin() * tan, -SMALL * a.cos()));
        let east = at(Term::TiltEast, SMALL, (az, el));
        assert_near(east, (SMALL * a.cos() * tan, -SMALL * a.sin()));
    }
}

#[test]
fn the_axis_itself_leans_north_and_east_by_the_two_tilts() {
    let terms = TermValues::ZERO
        .with_shown(Term::TiltNorth, 0.3)
        .with_shown(Term::TiltEast, -0.4);
    // With the dish at its own zenith the beam lies along the azimuth axis.
    let axis = MountModel::az_el(terms).beam_vector(
        EncoderReading::from_degrees(77.0, 90.0),
        ApproachSigns::UNKNOWN,
    );
    let lean = |part: f64| part.asin().to_degrees();
    // sin(0.5 deg) in place of 0.5 deg: 6e-6 degree.
    assert!(
        (lean(axis.y) - 0.3).abs() < 1e-5,
        "leans north by {}",
        lean(axis.y)
    );
    assert!(
        (lean(axis.x) + 0.4).abs() < 1e-5,
        "leans east by {}",
        lean(axis.x)
    );
}

#[test]
fn collimation_points_right_by_itself_across_the_sky() {
    for (az, el) in PLACES {
        let expected = SMALL / el.to_radians().cos();
        let found = at(Term::Collimation, SMALL, (az, el));
        // In azimuth the second order grows with 1/cos(el).
        assert!((found.0 - expected).abs() < SECOND_ORDER && found.1.abs() < SECOND_ORDER);
    }
}

#[test]
fn skew_a_high_right_hand_end_moves_the_beam_to_smaller_azimuth_by_tan_of_elevation() {
    for (az, el) in PLACES {
        let found = at(Term::AxisSkew, SMALL, (az, el));
        assert_near(found, (-SMALL * el.to_radians().tan(), 0.0));
    }
}

#[test]
fn droop_sags_by_the_cosine_of_elevation() {
    for (az, el) in PLACES {
        let found = at(Term::Droop, SMALL, (az, el));
        assert_near(found, (0.0, -SMALL * el.to_radians().cos()));
    }
}

#[test]
fn scale_multiplies_the_unwrapped_reading() {
    for (azimuth, expected) in [(100.0, 0.1), (460.0, 0.46), (-100.0, -0.1)] {
        let found = at(Term::AzimuthScale, 0.001, (azimuth, 20.0));
        assert_near(found, (expected, 0.0));
    }
    assert_near(at(Term::ElevationScale, 0.001, (50.0, 60.0)), (0.0, 0.06));
}

#[test]
fn runouts_take_the_reading_as_their_angle() {
    for (az, el) in PLACES {
        let (a, e) = (az.to_radians(), el.to_radians());
        assert_near(
            at(Term::AzimuthRunoutCos, SMALL, (az, el)),
            (SMALL * a.cos(), 0.0),
        );
        assert_near(
            at(Term::AzimuthRunoutSin, SMALL, (az, el)),
            (SMALL * a.sin(), 0.0),
        );
        assert_near(
            at(Term::ElevationRunoutCos, SMALL, (az, el)),
            (0.0, SMALL * e.cos()),
        );
        assert_near(
            at(Term::ElevationRunoutSin, SMALL, (az, el)),
            (0.0, SMALL * e.sin()),
        );
        assert_near(
            at(Term::TrackWarpCos, SMALL, (az, el)),
            (0.0, SMALL * (2.0 * a).cos()),
        );
        assert_near(
            at(Term::TrackWarpSin, SMALL, (az, el)),
            (0.0, SMALL * (2.0 * a).sin()),
        );
    }
}

#[test]
fn the_runout_angle_is_the_reading_and_not_the_axis() {
    // With the encoder 90 degrees off, the cos part still peaks at reading zero.
    let terms = TermValues::ZERO
        .with_shown(Term::AzimuthZero, 90.0)
        .with_shown(Term::AzimuthRunoutCos, SMALL);
    let beam = MountModel::az_el(terms).beam(
        EncoderReading::from_degrees(0.0, 20.0),
        ApproachSigns::UNKNOWN,
    );
    assert!((beam.azimuth().degrees() - 90.0 - SMALL).abs() < 1e-9);
}

#[test]
fn backlash_adds_half_its_width_with_the_approach_sign() {
    let place = (40.0, 35.0);
    for sign in [1.0, -1.0, 0.0] {
        let approach = ApproachSigns {
            azimuth: sign,
            elevation: sign,
        };
        assert_near(
            beam_minus_encoder(Term::AzimuthBacklash, SMALL, place, approach),
            (0.5 * SMALL * sign, 0.0),
        );
        assert_near(
            beam_minus_encoder(Term::ElevationBacklash, SMALL, place, approach),
            (0.0, 0.5 * SMALL * sign),
        );
    }
}

#[test]
fn droop_is_taken_after_all_else_that_moves_the_elevation_axis() {
    let terms = TermValues::ZERO
        .with_shown(Term::ElevationZero, 30.0)
        .with_shown(Term::Droop, 1.0);
    let beam = MountModel::az_el(terms).beam(
        EncoderReading::from_degrees(0.0, 30.0),
        ApproachSigns::UNKNOWN,
    );
    assert!((beam.elevation().degrees() - (60.0 - 0.5)).abs() < 1e-9);
}

#[test]
fn a_beam_is_a_unit_vector_whatever_the_terms() {
    let mut terms = TermValues::ZERO;
    for (i, term) in Term::ALL.into_iter().enumerate() {
        terms.set_shown(term, term.unit().outward(0.02 * (i as f64 - 7.0)));
    }
    let reading = EncoderReading {
        azimuth: Angle::from_degrees(400.0),
        elevation: Angle::from_degrees(88.0),
    };
    let v = MountModel::az_el(terms).beam_vector(reading, ApproachSigns::UNKNOWN);
    assert!((v.norm() - 1.0).abs() < 1e-14);
}

// What surveying textbooks publish for a theodolite, whose axes are those of an az-el mount: the
// horizontal circle is off by c / cos h for a line of sight not square to the trunnion axis, by
// i tan h for a trunnion axis not square to the standing axis, and by v sin(alpha) tan h for a
// standing axis off plumb by v, alpha counted from the direction of the lean (Deumlich and Staiger,
// Instrumentenkunde der Vermessungstechnik, 2002; Ghilani and Wolf, Elementary Surveying; from
// memory). Here with the signs of this mount.

#[test]
fn collimation_moves_the_azimuth_by_c_over_cos_h_as_textbooks_have_it() {
    for (azimuth, elevation) in PLACES {
        let (by, _) = at(Term::Collimation, SMALL, (azimuth, elevation));
        let textbook = SMALL / elevation.to_radians().cos();
        assert!((by - textbook).abs() < SECOND_ORDER, "{by} {textbook}");
    }
}

#[test]
fn skew_moves_the_azimuth_by_i_tan_h_as_textbooks_have_it() {
    for (azimuth, elevation) in PLACES {
        let (by, _) = at(Term::AxisSkew, SMALL, (azimuth, elevation));
        let textbook = -SMALL * elevation.to_radians().tan();
        assert!((by - textbook).abs() < SECOND_ORDER, "{by} {textbook}");
    }
}

#[test]
fn tilt_moves_the_azimuth_by_v_sin_alpha_tan_h_as_textbooks_have_it() {
    // The top leans north and takes a beam raised in the east with it: to a smaller azimuth.
    for (azimuth, elevation) in PLACES {
        let (by, _) = at(Term::TiltNorth, SMALL, (azimuth, elevation));
        let alpha = azimuth.to_radians();
        let textbook = -SMALL * alpha.sin() * elevation.to_radians().tan();
        assert!((by - textbook).abs() < SECOND_ORDER, "{by} {textbook}");
    }
}

/// Off by how much the mean of the two faces is: the dish below the zenith, and driven over the
/// top with the azimuth half a turn on.
fn mean_of_two_faces(term: Term, (azimuth, elevation): (f64, f64)) -> f64 {
    let below = at(term, SMALL, (azimuth, elevation)).0;
    let model = MountModel::az_el(TermValues::ZERO.with_shown(term, SMALL));
    let over = model.beam(
        EncoderReading::from_degrees(azimuth + 180.0, 180.0 - elevation),
        ApproachSigns::UNKNOWN,
    );
    let over = (over.azimuth() - Angle::from_degrees(azimuth)).wrapped_signed();
    (below + over.degrees()) / 2.0
}

#[test]
fn the_mean_of_two_faces_cancels_collimation_and_skew_but_not_tilt() {
    for place in PLACES {
        for term in [Term::Collimation, Term::AxisSkew] {
            let left = mean_of_two_faces(term, place);
            assert!(left.abs() < SECOND_ORDER, "{term:?} at {place:?}: {left}");
        }
        let left = mean_of_two_faces(Term::TiltNorth, place);
        let one = at(Term::TiltNorth, SMALL, place).0;
        assert!((left - one).abs() < SECOND_ORDER, "{left} {one}");
    }
}

/// Levels on the alidade of a dish on a track tell how it is turned: about the elevation axis by
/// some angle, which changes the elevation by as much, and about the horizontal axis under the
/// beam, which moves it across by that angle times sin h (Gawronski, Modeling and Control of
/// Antennas and Telescopes, 2008; from memory).
#[test]
fn a_warped_track_turns_the_alidade_about_the_elevation_axis_alone() {
    for (azimuth, elevation) in PLACES {
        for (term, lift) in [
            (Term::TrackWarpCos, (2.0 * azimuth.to_radians()).cos()),
            (Term::TrackWarpSin, (2.0 * azimuth.to_radians()).sin()),
        ] {
            assert_near(at(term, SMALL, (azimuth, elevation)), (0.0, SMALL * lift));
        }
    }
}

#[test]
fn a_lean_to_the_right_moves_the_beam_across_by_sin_h_as_an_alidade_turned_under_the_beam() {
    for (azimuth, elevation) in PLACES {
        // The axis's top leans to the right of the beam, and takes the raised beam with it.
        let right = (azimuth + 90.0).to_radians();
        let terms = TermValues::ZERO
            .with_shown(Term::TiltNorth, SMALL * right.cos())
            .with_shown(Term::TiltEast, SMALL * right.sin());
        let beam = MountModel::az_el(terms).beam(
            EncoderReading::from_degrees(azimuth, elevation),
            ApproachSigns::UNKNOWN,
        );
        let across = (beam.azimuth() - Angle::from_degrees(azimuth))
            .wrapped_signed()
            .degrees()
            * elevation.to_radians().cos();
        let turned = SMALL * elevation.to_radians().sin();
        assert!((across - turned).abs() < SECOND_ORDER, "{across} {turned}");
    }
}
