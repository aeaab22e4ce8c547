use proptest::prelude::*;

use super::*;
use crate::angle::{Angle, EncoderReading};
use crate::mount::model::tests::any_geometry;
use crate::mount::{ApproachSigns, Geometry, TermValues};

/// A few roundings; scale terms multiply them by a reading of up to ten radians.
const ROUNDING: f64 = 1e-14;

/// Terms of a real mount, or absurd ones, or only those that every mount has.
fn some_terms() -> impl Strategy<Value = TermValues> {
    let values = prop::array::uniform18(-1.0..1.0);
    (
        values,
        prop::sample::select(vec![0.02, 0.3]),
        1usize..=Term::COUNT,
    )
        .prop_map(|(values, size, count)| {
            let mut terms = TermValues::ZERO;
            for (term, value) in Term::ALL.into_iter().zip(values).take(count) {
                terms.set_inside(term, size * value);
            }
            // North may be anywhere.
            terms.set_inside(Term::AzimuthZero, 3.0 * values[0]);
            terms
        })
}

fn some_readings() -> impl Strategy<Value = [(EncoderReading, ApproachSigns); LANES]> {
    let one = (-4.0..10.0f64, -0.2..3.3f64, -1i8..=1, -1i8..=1).prop_map(|(a, e, da, de)| {
        let reading = EncoderReading {
            azimuth: Angle::from_radians(a),
            elevation: Angle::from_radians(e),
        };
        let approach = ApproachSigns {
            azimuth: f64::from(da),
            elevation: f64::from(de),
        };
        (reading, approach)
    });
    prop::array::uniform4(one)
}

fn together(four: &[(EncoderReading, ApproachSigns); LANES]) -> Readings {
    let each = |of: fn(&(EncoderReading, ApproachSigns)) -> f64| {
        Lanes([&four[0], &four[1], &four[2], &four[3]].map(of))
    };
    Readings {
        azimuth: [each(|r| r.0.azimuth.sin()), each(|r| r.0.azimuth.cos())],
        elevation: [each(|r| r.0.elevation.sin()), each(|r| r.0.elevation.cos())],
        more: Some(MoreOfReadings {
            azimuth: each(|r| r.0.azimuth.radians()),
            elevation: each(|r| r.0.elevation.radians()),
            azimuth_approach: each(|r| r.1.azimuth),
            elevation_approach: each(|r| r.1.elevation),
        }),
    }
}

proptest! {
    #[test]
    fn several_at_a_time_are_what_each_is_alone(
        geometry in any_geometry(),
        terms in some_terms(),
        four in some_readings(),
        aside in prop::array::uniform3(-1.0..1.0f64),
        how_far in prop::sample::select(vec![1e-5, 0.01, 0.2, 3.0]),
    ) {
        let model = MountModel::new(geometry, terms);
        let batch = Batch::new(&model);
        let readings = together(&four);
        let sight = batch.sight(&readings);
        let moves = batch.moves(&sight);
        for (lane, (reading, approach)) in four.into_iter().enumerate() {
            let alone = model.beam_with_derivatives(reading, approach);
            let here = Vector3::from(sight.outward.map(|x| x.0[lane]));
            let inside = geometry.to_mount(&alone.vector);
            prop_assert!((here - inside).norm() < ROUNDING);
            // Near the first axis the frame turns fast: a rounding there is worth more.
            let basis = geometry.basis_at(&alone.vector);
            let rounding = 10.0 * ROUNDING / SkyBasis::at(&inside).upward.z.max(1e-3);
            for term in Term::ALL {
                let expected = alone.by_term[term as usize];
                let found = moves.by(term, &readings).map(|x| x.0[lane]);
                prop_assert!((found[0] - basis.rightward.dot(&expected)).abs() < rounding, "{term:?}");
                prop_assert!((found[1] - basis.upward.dot(&expected)).abs() < rounding, "{term:?}");
            }
            let target = (alone.vector + Vector3::from(aside) * how_far).normalize();
            let expected = basis.offset_to(&target);
            let found = sight.offset_to(&[0, 1, 2].map(|i| Lanes::all(geometry.to_mount(&target)[i])));
            let off = found[0].0[lane] - expected.cross_elevation.radians();
            prop_assert!(off.abs() < rounding);
            let off = found[1].0[lane] - expected.elevation.radians();
            prop_assert!(off.abs() < rounding);
        }
    }
}

#[test]
fn more_of_a_reading_is_wanted_by_those_terms_that_look_at_it() {
    let plain = Batch::new(&MountModel::ideal(Geometry::AZ_EL));
    assert!(!plain.wants_more(&Term::BASIC));
    assert!(plain.wants_more(&[Term::AzimuthBacklash]));
    let held = TermValues::ZERO.with_shown(Term::ElevationScale, 0.01);
    assert!(Batch::new(&MountModel::az_el(held)).wants_more(&Term::BASIC));
}

#[test]
fn at_the_zenith_the_frame_is_that_of_north() {
    let batch = Batch::new(&MountModel::ideal(Geometry::AZ_EL));
    let up = (
        EncoderReading::from_degrees(0.0, 90.0),
        ApproachSigns::UNKNOWN,
    );
    let mut readings = together(&[up; LANES]);
    readings.elevation[1] = Lanes::ZERO;
    let sight = batch.sight(&readings);
    let east = sight.resolved(&[Lanes::all(1.0), Lanes::ZERO, Lanes::ZERO]);
    assert_eq!(east[0].0, [1.0; LANES]);
}
