//! Mounts of every kind: sessions made by independent code (tests/data/reference/mounts/SOURCE.md),
//! and what spherical astronomy and the words of docs/mount-model.md say.

use super::common::{self, MOST_SIGMAS, Reference, assert_terms_near_truth};
use plumbeam::angle::{Angle, Apparent, Direction, EncoderReading};
use plumbeam::logbook::TermState;
use plumbeam::mount::{
    ApproachSigns, Geometry, Kind, LowerAxis, MountModel, Term, TermUnit, TermValues,
};
use plumbeam::solve::Options;
use proptest::prelude::*;

/// The reference gives readings to eleven decimals.
const POINT_CHECK_DEG: f64 = 1e-6;

const SESSIONS: [&str; 7] = [
    "polar-geostationary-only",
    "polar-north",
    "polar-south",
    "slant",
    "x-y-backlash",
    "x-y-east-west",
    "x-y-north-south",
];

fn reference(name: &str) -> Reference {
    common::of("mounts", name)
}

fn true_model(reference: &Reference) -> MountModel {
    let mut terms = TermValues::ZERO;
    for term in reference.kind().terms() {
        terms.set_shown(term, reference.truth_of(term));
    }
    MountModel::new(reference.station().mount.geometry, terms)
}

#[test]
fn every_session_gives_back_the_terms_of_its_truth() {
    for name in SESSIONS {
        let reference = reference(name);
        // Of what the arc alone cannot tell apart, two are held at the truth.
        let held: &[Term] = match name {
            "polar-geostationary-only" => &[Term::Collimation, Term::AxisSkew],
            _ => &[],
        };
        let free: Vec<Term> = (reference.fit_terms().into_iter())
            .filter(|t| !held.contains(t))
            .collect();
        let outcome = reference.solve(&Options {
            terms: Some(free.clone()),
            holds: (held.iter())
                .map(|t| (*t, t.unit().inward(reference.truth_of(*t))))
                .collect(),
            ..Options::default()
        });
        assert_terms_near_truth(&reference, &outcome);
        for term in free {
            let found = outcome.terms.iter().find(|t| t.term == term);
            assert_eq!(
                found.map(|t| t.state),
                Some(TermState::Fitted),
                "{name}: {}",
                reference.kind().term_name(term)
            );
        }
        let expected = reference.noise_deg() * std::f64::consts::SQRT_2;
        let after = outcome.rms_after.degrees();
        assert!((after / expected - 1.0).abs() < 0.3, "{name}: rms {after}");
        assert!(outcome.misread.is_none(), "{name}: {:?}", outcome.misread);
    }
}

#[test]
fn terms_chosen_by_the_data_lie_near_the_truth_too() {
    for name in SESSIONS {
        if name == "polar-geostationary-only" {
            continue;
        }
        let reference = reference(name);
        let outcome = reference.solve(&Options::default());
        assert!(outcome.misread.is_none(), "{name}: {:?}", outcome.misread);
        assert_terms_near_truth(&reference, &outcome);
    }
}

/// Play of which the log tells nothing has moved the peaks as it will move the beam: the promise holds
/// what their scatter leaves room for, on every kind of mount, and not what a builder might leave.
#[test]
fn the_promise_of_a_log_without_sides_keeps_to_its_scatter() {
    for name in ["polar-north", "x-y-north-south", "slant"] {
        let outcome = reference(name).solve(&Options::default());
        let expected = outcome.sky_error.as_ref().expect("a promise").rms.degrees();
        let scatter = outcome.rms_after.degrees();
        assert!(
            (scatter..2.0 * scatter).contains(&expected),
            "{name}: {expected} {scatter}"
        );
    }
}

/// What the geostationary arc tells is a sum: hour-angle-zero + collimation / cos(dec) -
/// axis-skew x tan(dec) at the declination reading of the arc.
#[test]
fn the_geostationary_arc_tells_only_a_sum() {
    let reference = reference("polar-geostationary-only");
    let outcome = reference.solve(&Options {
        terms: Some(reference.fit_terms()),
        ..Options::default()
    });
    let held: Vec<&str> = (outcome.terms.iter())
        .filter(|t| t.state == TermState::NotSeparable)
        .map(|t| reference.kind().term_name(t.term))
        .collect();
    let together = reference.truth("not_separable").as_array().expect("a list");
    assert_eq!(held.len(), 2, "{held:?}");
    for name in &held {
        assert!(together.iter().any(|t| t.as_str() == Some(name)), "{name}");
    }
    let said: Vec<&str> = (outcome.not_separable.iter())
        .map(|group| group.meaning.as_str())
        .collect();
    let said = said.join("; ");
    for name in together {
        assert!(said.contains(name.as_str().expect("a name")), "{said}");
    }
    let told: Vec<&str> = (outcome.not_separable.iter())
        .map(|group| group.remedy.as_str())
        .collect();
    assert!(
        told.join(" ").contains("a peak at another declination"),
        "{told:?}"
    );
    // About -5 degrees, as the readings of the log.
    let declination = -5.2_f64.to_radians();
    let value = |values: &dyn Fn(Term) -> f64| {
        values(Term::AzimuthZero) + values(Term::Collimation) / declination.cos()
            - values(Term::AxisSkew) * declination.tan()
    };
    let truth = value(&|t| reference.truth_of(t));
    let found = value(&|t| {
        let estimate = outcome.terms.iter().find(|e| e.term == t);
        estimate.map_or(0.0, |e| e.shown())
    });
    let sigma = (outcome.terms.iter())
        .find(|e| e.term == Term::AzimuthZero)
        .and_then(|e| e.shown_sigma())
        .expect("the zero is fitted");
    assert!(
        (found - truth).abs() < MOST_SIGMAS * sigma + 0.02,
        "{found} {truth} {sigma}"
    );
}

#[test]
fn readings_for_demands_are_those_of_the_reference() {
    for name in SESSIONS {
        let reference = reference(name);
        let model = true_model(&reference);
        let checks = reference.truth("point_checks").as_array().expect("a list");
        assert_eq!(checks.len(), 40);
        for check in checks {
            let number = |key: &str| check[key].as_f64().expect("a number");
            let demand = Direction::<Apparent>::apparent(
                Angle::from_degrees(number("azimuth_deg")),
                Angle::from_degrees(number("elevation_deg")),
            );
            let expected = EncoderReading::from_degrees(number("axis_1_deg"), number("axis_2_deg"));
            let found = model
                .direct_reading_near(&demand, ApproachSigns::UNKNOWN, expected)
                .expect("no keyhole");
            let off = [
                (found.azimuth - expected.azimuth).degrees().abs(),
                (found.elevation - expected.elevation).degrees().abs(),
            ];
            assert!(off.iter().all(|o| *o < POINT_CHECK_DEG), "{name}: {off:?}");
            let beam = model.beam(expected, ApproachSigns::UNKNOWN);
            assert!(beam.separation(&demand).degrees() < POINT_CHECK_DEG);
        }
    }
}

/// Rounding, near the first axis divided by the sine of the distance from it.
const ROUNDING_DEG: f64 = 1e-9;

fn degrees(value: f64) -> Angle {
    Angle::from_degrees(value)
}

fn beam(geometry: Geometry, terms: TermValues, reading: (f64, f64)) -> Direction<Apparent> {
    MountModel::new(geometry, terms).beam(
        EncoderReading::from_degrees(reading.0, reading.1),
        ApproachSigns::UNKNOWN,
    )
}

fn ideal(geometry: Geometry, first: f64, second: f64) -> (f64, f64) {
    let found = beam(geometry, TermValues::ZERO, (first, second));
    (found.azimuth().degrees(), found.elevation().degrees())
}

proptest! {
    /// Hour angle and declination to azimuth and elevation: sin e = sin d sin f + cos d cos f cos H;
    /// tan A' = sin H / (cos H sin f - tan d cos f), from the south, west positive (Meeus,
    /// Astronomical Algorithms, 2nd edition, equations 13.5 and 13.6; from memory).
    #[test]
    fn a_perfect_polar_mount_points_where_spherical_astronomy_says(
        latitude in -89.0..89.0f64,
        hour_angle in -180.0..180.0f64,
        declination in -89.0..89.0f64,
    ) {
        let (sf, cf) = latitude.to_radians().sin_cos();
        let (sh, ch) = hour_angle.to_radians().sin_cos();
        let (sd, cd) = declination.to_radians().sin_cos();
        let up = sd * sf + cd * cf * ch;
        let south_west = (sh * cd).atan2(ch * cd * sf - sd * cf);
        let expected = Direction::<Apparent>::apparent(
            Angle::from_radians(south_west) + Angle::HALF_TURN,
            Angle::from_radians(up.clamp(-1.0, 1.0).asin()),
        );
        let found = beam(Geometry::polar(degrees(latitude)), TermValues::ZERO, (hour_angle, declination));
        // The arc sine loses half the digits near the zenith.
        let tolerance = if up.abs() < 0.999 { ROUNDING_DEG } else { 1e-5 };
        prop_assert!(found.separation(&expected).degrees() < tolerance);
    }

    #[test]
    fn the_inverse_undoes_the_forward_model_on_both_sides(
        kind in 0..5usize,
        stands in (-80.0..80.0f64, 0.0..360.0f64),
        values in prop::array::uniform18(-1.0..1.0f64),
        first in -170.0..170.0f64,
        second in -60.0..60.0f64,
        signs in prop::array::uniform2(-1i8..=1),
        scaled in prop::bool::ANY,
    ) {
        let approach = ApproachSigns { azimuth: f64::from(signs[0]), elevation: f64::from(signs[1]) };
        let geometry = match kind {
            0 => Geometry::AZ_EL,
            1 => Geometry::polar(degrees(stands.0)),
            2 => Geometry::x_y(LowerAxis::NorthSouth),
            3 => Geometry::x_y(LowerAxis::EastWest),
            _ => Geometry::slant(degrees(stands.0.abs()), degrees(stands.1)),
        };
        let mut terms = TermValues::ZERO;
        for term in geometry.kind().terms() {
            let size = if term.unit() == TermUnit::Fraction { 0.01 } else { 1.0 };
            if scaled || term.unit() != TermUnit::Fraction {
                terms.set_shown(term, size * values[term as usize]);
            }
        }
        let model = MountModel::new(geometry, terms);
        for over in [false, true] {
            let reading = EncoderReading::from_degrees(first, if over { 180.0 - second } else { second });
            let direction = model.beam(reading, approach);
            let both = model.readings(&direction, approach).expect("far from the keyhole");
            let near = |found: EncoderReading| {
                let one = (found.azimuth - reading.azimuth).wrapped_signed().abs();
                let two = (found.elevation - reading.elevation).wrapped_signed().abs();
                one.max(two).degrees()
            };
            // With a scale error another turn is another reading: the beam is what counts there.
            for found in [both.direct, both.over_the_top] {
                let back = model.beam(found, approach);
                prop_assert!(back.separation(&direction).degrees() < ROUNDING_DEG);
            }
            if !scaled {
                prop_assert!(near(both.direct).min(near(both.over_the_top)) < ROUNDING_DEG);
            }
        }
    }

    /// Without an elevation that sags, a slant by nothing is an az-el mount.
    #[test]
    fn a_slant_by_nothing_is_an_az_el_mount(
        values in prop::array::uniform18(-1.0..1.0f64),
        azimuth in -180.0..540.0f64,
        elevation in 0.0..180.0f64,
    ) {
        let mut terms = TermValues::ZERO;
        for term in Term::ALL {
            if term != Term::Droop && term.unit() == TermUnit::Angle {
                terms.set_shown(term, values[term as usize]);
            }
        }
        let upright = Geometry::slant(Angle::ZERO, degrees(123.0));
        let one = beam(upright, terms, (azimuth, elevation));
        let other = beam(Geometry::AZ_EL, terms, (azimuth, elevation));
        prop_assert!(one.separation(&other).degrees() < 1e-11);
    }
}

fn assert_at(found: (f64, f64), expected: (f64, f64)) {
    let one = Direction::<Apparent>::apparent(degrees(found.0), degrees(found.1));
    let other = Direction::<Apparent>::apparent(degrees(expected.0), degrees(expected.1));
    let off = one.separation(&other).degrees();
    assert!(off < ROUNDING_DEG, "{found:?} {expected:?}");
}

#[test]
fn readings_mean_what_the_words_say() {
    // Polar, north: hour angle zero at the equator is due south at 90 - latitude; six hours west.
    let north = Geometry::polar(degrees(50.0));
    assert_at(ideal(north, 0.0, 0.0), (180.0, 40.0));
    assert_at(ideal(north, 90.0, 0.0), (270.0, 0.0));
    assert_at(ideal(north, 0.0, 90.0), (0.0, 50.0));
    // South: due north, and the south celestial pole at declination -90.
    let south = Geometry::polar(degrees(-30.0));
    assert_at(ideal(south, 0.0, 0.0), (0.0, 60.0));
    assert_at(ideal(south, 90.0, 0.0), (270.0, 0.0));
    assert_at(ideal(south, 0.0, -90.0), (180.0, 30.0));
    // X-y: zero is the zenith; X toward east or north, Y toward north or east.
    for (lower, x, y) in [
        (LowerAxis::NorthSouth, 90.0, 0.0),
        (LowerAxis::EastWest, 0.0, 90.0),
    ] {
        let mount = Geometry::x_y(lower);
        assert_at(ideal(mount, 0.0, 0.0), (0.0, 90.0));
        assert_at(ideal(mount, 90.0, 0.0), (x, 0.0));
        assert_at(ideal(mount, 0.0, 90.0), (y, 0.0));
        assert_at(ideal(mount, 60.0, 0.0), (x, 30.0));
    }
    // A slanted axis: reading straight up along it.
    let slant = Geometry::slant(degrees(20.0), degrees(70.0));
    assert_at(ideal(slant, 0.0, 90.0), (70.0, 70.0));
}

#[test]
fn a_positive_zero_means_that_the_axis_stands_at_a_larger_reading() {
    for geometry in [
        Geometry::polar(degrees(50.0)),
        Geometry::polar(degrees(-30.0)),
        Geometry::x_y(LowerAxis::NorthSouth),
        Geometry::x_y(LowerAxis::EastWest),
        Geometry::slant(degrees(20.0), degrees(70.0)),
    ] {
        let off = TermValues::ZERO
            .with_shown(Term::AzimuthZero, 2.0)
            .with_shown(Term::ElevationZero, 3.0);
        let there = beam(geometry, TermValues::ZERO, (12.0, 23.0));
        assert!(
            beam(geometry, off, (10.0, 20.0))
                .separation(&there)
                .degrees()
                < ROUNDING_DEG
        );
        // Half the play, arriving with increasing reading.
        let play = TermValues::ZERO
            .with_shown(Term::AzimuthBacklash, 4.0)
            .with_shown(Term::ElevationBacklash, 6.0);
        let arrived = MountModel::new(geometry, play).beam(
            EncoderReading::from_degrees(10.0, 20.0),
            ApproachSigns {
                azimuth: 1.0,
                elevation: 1.0,
            },
        );
        assert!(arrived.separation(&there).degrees() < ROUNDING_DEG);
        // A scale moves further, and runout goes with cosine and sine of the reading.
        let further = TermValues::ZERO
            .with_shown(Term::AzimuthScale, 0.2)
            .with_shown(Term::ElevationRunoutCos, 3.0 / 20.0_f64.to_radians().cos());
        assert!(
            beam(geometry, further, (10.0, 20.0))
                .separation(&there)
                .degrees()
                < ROUNDING_DEG
        );
    }
}

/// A small error of one term, in degrees.
const SMALL: f64 = 0.1;
/// What the second order leaves of it.
const SECOND_ORDER: f64 = 5e-3;

/// Where the first axis's outer end points with an error: there the beam of a faultless dish stands
/// at a second reading of 90 or, in the south, -90.
fn axis_end(geometry: Geometry, term: Term) -> Direction<Apparent> {
    let at = if geometry.kind() == Geometry::polar(degrees(-1.0)).kind() {
        -90.0
    } else {
        90.0
    };
    beam(
        geometry,
        TermValues::ZERO.with_shown(term, SMALL),
        (0.0, at),
    )
}

#[test]
fn a_first_axis_that_is_off_points_where_the_words_say() {
    // Polar: high raises the end at the celestial pole, east moves it east, as angles on the sky.
    for latitude in [50.0, -30.0] {
        let mount = Geometry::polar(degrees(latitude));
        let pole_azimuth = if latitude > 0.0 { 0.0 } else { 180.0 };
        let high = axis_end(mount, Term::TiltNorth);
        let up = high.elevation().degrees() - f64::abs(latitude);
        assert!((up - SMALL).abs() < SECOND_ORDER, "{high:?}");
        let east = axis_end(mount, Term::TiltEast);
        let to_east = (east.azimuth() - degrees(pole_azimuth)).wrapped_signed();
        let to_east = to_east.degrees() * degrees(latitude).cos();
        let sign = if latitude > 0.0 { 1.0 } else { -1.0 };
        assert!((sign * to_east - SMALL).abs() < SECOND_ORDER, "{east:?}");
    }
    // Lower axis: high raises the north or east end, clockwise takes it to larger azimuth.
    for (lower, end) in [(LowerAxis::NorthSouth, 0.0), (LowerAxis::EastWest, 90.0)] {
        let mount = Geometry::x_y(lower);
        let high = axis_end(mount, Term::TiltNorth);
        assert!((high.elevation().degrees() - SMALL).abs() < SECOND_ORDER);
        let clockwise = axis_end(mount, Term::TiltEast);
        let moved = (clockwise.azimuth() - degrees(end))
            .wrapped_signed()
            .degrees();
        assert!((moved - SMALL).abs() < SECOND_ORDER, "{clockwise:?}");
    }
    // Slant: tilt north and east lean the axis's top further north and east.
    let mount = Geometry::slant(degrees(20.0), degrees(90.0));
    let east = axis_end(mount, Term::TiltEast);
    assert!((east.elevation().degrees() - (70.0 - SMALL)).abs() < SECOND_ORDER);
    let north = axis_end(mount, Term::TiltNorth);
    assert!(north.east_north_up().y > 0.5 * SMALL.to_radians());
}

#[test]
fn collimation_goes_to_larger_hour_angle_in_the_north_and_to_smaller_x_on_a_north_south_axis() {
    let off = TermValues::ZERO.with_shown(Term::Collimation, SMALL);
    for (mount, sign) in [
        (Geometry::polar(degrees(50.0)), 1.0),
        (Geometry::polar(degrees(-30.0)), -1.0),
        (Geometry::x_y(LowerAxis::NorthSouth), -1.0),
        (Geometry::x_y(LowerAxis::EastWest), 1.0),
        (Geometry::slant(degrees(20.0), degrees(70.0)), 1.0),
    ] {
        let (first, second) = (5.0, 10.0);
        let moved = beam(mount, off, (first, second));
        let expected = beam(
            mount,
            TermValues::ZERO,
            (first + sign * SMALL / f64::to_radians(second).cos(), second),
        );
        assert!(
            moved.separation(&expected).degrees() < SECOND_ORDER,
            "{mount:?}"
        );
    }
}

#[test]
fn skew_moves_the_beam_left_with_the_sine_of_h() {
    let off = TermValues::ZERO.with_shown(Term::AxisSkew, SMALL);
    for (mount, sign) in [
        // h is the declination in the north and minus it in the south, Y on an x-y mount.
        (Geometry::polar(degrees(50.0)), -1.0),
        (Geometry::polar(degrees(-30.0)), -1.0),
        (Geometry::x_y(LowerAxis::NorthSouth), 1.0),
        (Geometry::x_y(LowerAxis::EastWest), -1.0),
    ] {
        let (first, second) = (5.0, 30.0);
        let moved = beam(mount, off, (first, second));
        let by = sign * SMALL * f64::to_radians(second).tan();
        let expected = beam(mount, TermValues::ZERO, (first + by, second));
        assert!(
            moved.separation(&expected).degrees() < SECOND_ORDER,
            "{mount:?}"
        );
    }
}

/// Scale and runout act on the readings in the readings' own sense, whatever the kind.
#[test]
fn scales_and_runouts_move_an_axis_to_larger_readings() {
    let (first, second) = (40.0, 25.0);
    let part = |of: fn(f64) -> f64, reading: f64| of(f64::to_radians(reading));
    for geometry in [
        Geometry::AZ_EL,
        Geometry::polar(degrees(50.0)),
        Geometry::polar(degrees(-30.0)),
        Geometry::x_y(LowerAxis::NorthSouth),
        Geometry::x_y(LowerAxis::EastWest),
        Geometry::slant(degrees(20.0), degrees(70.0)),
    ] {
        for (term, value, moved) in [
            (Term::AzimuthScale, 0.05, (0.05 * first, 0.0)),
            (Term::ElevationScale, 0.05, (0.0, 0.05 * second)),
            (
                Term::AzimuthRunoutCos,
                1.5,
                (1.5 * part(f64::cos, first), 0.0),
            ),
            (
                Term::AzimuthRunoutSin,
                1.5,
                (1.5 * part(f64::sin, first), 0.0),
            ),
            (
                Term::ElevationRunoutCos,
                1.5,
                (0.0, 1.5 * part(f64::cos, second)),
            ),
            (
                Term::ElevationRunoutSin,
                1.5,
                (0.0, 1.5 * part(f64::sin, second)),
            ),
        ] {
            let off = TermValues::ZERO.with_shown(term, value);
            let found = beam(geometry, off, (first, second));
            let there = beam(
                geometry,
                TermValues::ZERO,
                (first + moved.0, second + moved.1),
            );
            let apart = found.separation(&there).degrees();
            assert!(apart < ROUNDING_DEG, "{geometry:?} {term:?} {apart}");
        }
    }
}

#[test]
fn the_beam_of_every_kind_sags_toward_the_horizon() {
    let off = TermValues::ZERO.with_shown(Term::Droop, SMALL);
    for mount in [
        Geometry::polar(degrees(50.0)),
        Geometry::polar(degrees(-30.0)),
        Geometry::x_y(LowerAxis::NorthSouth),
        Geometry::x_y(LowerAxis::EastWest),
        Geometry::slant(degrees(20.0), degrees(70.0)),
    ] {
        for reading in [(20.0, 30.0), (-40.0, -10.0), (3.0, 40.0)] {
            let still = beam(mount, TermValues::ZERO, reading);
            let sagged = beam(mount, off, reading);
            let expected = still.elevation().degrees() - SMALL * still.elevation().cos();
            assert!((sagged.elevation().degrees() - expected).abs() < ROUNDING_DEG);
            let turned = (sagged.azimuth() - still.azimuth()).wrapped_signed();
            assert!(turned.degrees().abs() < ROUNDING_DEG);
        }
    }
}

#[test]
fn kinds_have_their_own_names() {
    let names = reference("x-y-backlash").kind().term_names();
    assert!(names.contains(&"lower-axis-clockwise") && !names.contains(&"azimuth-zero"));
    assert_eq!(Kind::AzEl.term_names().len(), Term::COUNT);
}
