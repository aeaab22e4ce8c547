//! Corrections by hand of a first axis that does not point where it should: the bolts of a polar
//! axis, the bearings of a lower axis.

use super::significant::{KEEP_CLEAR, Significant, Words};
use crate::angle::Angle;
use crate::mount::Kind;
use crate::mount::{LowerAxis, Pole};
use crate::number::{by_sigma, two_digits};
use crate::station::{Bearings, Bolts, Station};

/// An axis error, radians, below which its bolt is not turned: rounding.
const NOTHING: f64 = 1e-9;

/// Turns of a bolt that rotate an axis by an angle about its hinge.
///
/// # Units
/// Turns: distance x tan(angle) / pitch, lengths in millimetres, the angle in radians.
pub fn turns(bolts: Bolts, angle: f64) -> f64 {
    bolts.distance_mm * angle.tan() / bolts.pitch_mm
}

/// A polar axis whose outer end points too high by the first term and too far east by the second.
pub(super) fn polar_axis(size: &Significant, station: &Station) -> Words {
    let [high, east] = [size.values[0], size.values[1]];
    let latitude = station.site.latitude;
    let outer = match station.mount.kind() {
        Kind::Polar(Pole::South) => "south",
        _ => "north",
    };
    let title = format!(
        "The polar axis points {} deg too {} and {} deg too far {} of the celestial pole",
        size.part(0),
        if high > 0.0 { "high" } else { "low" },
        size.part(1),
        if east > 0.0 { "east" } else { "west" }
    );
    let bolt = |angle: f64, sigma: f64| match station.mount.bearings.polar_bolts {
        Some(bolts) => {
            let sigma = turns(bolts, sigma);
            format!(
                ", {} +/- {} turns of its bolt",
                by_sigma(turns(bolts, angle.abs()), sigma),
                two_digits(sigma)
            )
        }
        None => String::new(),
    };
    let mut steps = Vec::new();
    if high.abs() > NOTHING {
        steps.push(format!(
            "Altitude bolt: {} the polar axis's {outer} end by {} deg{}.",
            if high > 0.0 { "lower" } else { "raise" },
            size.part(0),
            bolt(high, size.sigmas[0])
        ));
    }
    if east.abs() > NOTHING {
        // About a vertical hinge the angle is larger than on the sky.
        let about = 1.0 / latitude.cos().max(1e-3);
        steps.push(format!(
            "Azimuth bolt: turn the polar axis's {outer} end {} by {} deg, which moves where it \
             points by {} deg on the sky{}.",
            if east > 0.0 { "west" } else { "east" },
            two_digits(Angle::from_radians(east.abs() * about).degrees()),
            size.part(1),
            bolt(east * about, size.sigmas[1] * about)
        ));
    }
    if station.mount.bearings.polar_bolts.is_none() {
        steps.push(
            "With polar_bolt_pitch_mm and polar_bolt_distance_mm in the station file the turns of \
             the bolts are worked out."
                .to_owned(),
        );
    }
    steps.push(
        "Move one at a time and a little at first, then measure again: the hour angle zero changes \
         with the axis."
            .to_owned(),
    );
    (title, steps, KEEP_CLEAR)
}

/// A lower axis whose outer end points too high by the first term and too far clockwise by the
/// second.
pub(super) fn lower_axis(size: &Significant, lower: LowerAxis, bearings: &Bearings) -> Words {
    let [high, clockwise] = [size.values[0], size.values[1]];
    // Clockwise as seen from above, the north end moves east and the east end south.
    let (outer, ahead, back) = match lower {
        LowerAxis::NorthSouth => ("north", "east", "west"),
        LowerAxis::EastWest => ("east", "south", "north"),
    };
    let title = format!(
        "The lower axis's {outer} end points {} deg too {} and {} deg too far {}",
        size.part(0),
        if high > 0.0 { "high" } else { "low" },
        size.part(1),
        if clockwise > 0.0 { ahead } else { back }
    );
    let (distance_mm, over) = match bearings.distance_m {
        Some(metres) => (
            1000.0 * metres,
            format!("over the {:.0} mm between the bearings", 1000.0 * metres),
        ),
        None => (100.0, "for each 100 mm between the bearings".to_owned()),
    };
    let shift = |angle: f64| size.millimetres(distance_mm * angle.abs().tan(), distance_mm);
    let mut steps = Vec::new();
    if high.abs() > NOTHING {
        steps.push(format!(
            "{} the {outer} bearing by {} mm {over}.",
            if high > 0.0 { "Lower" } else { "Raise" },
            shift(high)
        ));
    }
    if clockwise.abs() > NOTHING {
        steps.push(format!(
            "Move the {outer} bearing {} by {} mm {over}.",
            if clockwise > 0.0 { back } else { ahead },
            shift(clockwise)
        ));
    }
    if bearings.distance_m.is_none() {
        steps.push(
            "With lower_bearing_distance_m in the station file the whole way is worked out."
                .to_owned(),
        );
    }
    steps.push("Then measure again: the X zero changes a little with the axis.".to_owned());
    (title, steps, KEEP_CLEAR)
}

#[cfg(test)]
mod tests {
    use super::super::significant::made::pair;
    use super::*;
    use crate::mount::Term;

    #[test]
    fn a_polar_axis_that_points_high_is_lowered_and_one_too_far_east_goes_west() {
        let station = crate::station::Station::parse(
            "s",
            std::path::Path::new(""),
            b"[site]\nname = \"here\"\nlatitude_deg = 60.0\nlongitude_deg = 0.0\nheight_m = 0.0\n\
              [mount]\nkind = \"polar\"\nhour_angle_range_deg = [-90.0, 90.0]\n\
              declination_range_deg = [-40.0, 80.0]\npolar_bolt_pitch_mm = 1.5\n\
              polar_bolt_distance_mm = 300.0\n[dish]\ndiameter_m = 2.0\nfrequency_mhz = 4000.0\n",
        )
        .unwrap();
        let (title, steps, _) = polar_axis(
            &pair([Term::TiltNorth, Term::TiltEast], [0.5, 0.25]),
            &station,
        );
        assert!(
            title.contains("too high") && title.contains("far east"),
            "{title}"
        );
        // 300 mm x tan(0.5 deg) / 1.5 mm a turn.
        assert!(
            steps[0].starts_with("Altitude bolt: lower the polar axis's north end"),
            "{}",
            steps[0]
        );
        assert!(steps[0].contains("1.745 +/- 0.035 turns"), "{}", steps[0]);
        // About a vertical hinge at latitude 60 the angle is twice that on the sky.
        assert!(
            steps[1].contains("north end west by 0.50 deg"),
            "{}",
            steps[1]
        );
        let (_, steps, _) = polar_axis(
            &pair([Term::TiltNorth, Term::TiltEast], [-0.5, -0.25]),
            &station,
        );
        assert!(
            steps[0].contains("raise") && steps[1].contains("north end east"),
            "{steps:?}"
        );
    }

    #[test]
    fn a_lower_axis_is_moved_back_against_its_error() {
        let bearings = Bearings {
            distance_m: Some(0.8),
            ..Bearings::default()
        };
        let size = pair([Term::TiltNorth, Term::TiltEast], [0.5, 0.5]);
        let (_, steps, _) = lower_axis(&size, LowerAxis::NorthSouth, &bearings);
        // 800 mm x tan(0.5 deg).
        assert!(
            steps[0].starts_with("Lower the north bearing by 6.98 +/- 0.14 mm"),
            "{}",
            steps[0]
        );
        // Clockwise: the north end has moved east.
        assert!(
            steps[1].starts_with("Move the north bearing west by 6.98"),
            "{}",
            steps[1]
        );
        let (_, steps, _) = lower_axis(&size, LowerAxis::EastWest, &bearings);
        // Clockwise: the east end has moved south.
        assert!(
            steps[1].starts_with("Move the east bearing north by 6.98"),
            "{}",
            steps[1]
        );
    }
}
