//! What was found, in words with numbers.

mod cause;
mod rows;

use crate::angle::Angle;
use crate::solve::words;

use super::advice::{Advice, advice};
use super::finding::{Finding, Subject};
use super::ground::State;
use super::name::{Axis, Fault};
use super::north::Compass;
use super::scatter::{LooseJoint, Worst};
use super::sound::scatter;
use super::worlds::World;

pub use cause::of_cause;
pub use rows::of_rows;

/// A finding with the advice that belongs to its fault, everything else to be filled in.
fn finding(fault: Fault, axis: Axis, false_alarm: f64, evidence: String) -> Finding {
    let Advice {
        confirm,
        mend,
        caution,
        otherwise,
    } = advice(fault, axis);
    let mend = if caution.is_empty() {
        mend.to_owned()
    } else {
        format!("{mend} {caution}")
    };
    Finding {
        fault,
        in_words: fault.words(),
        axis,
        size: None,
        size_unit: String::new(),
        sigma: None,
        false_alarm_probability: false_alarm.clamp(0.0, 1.0),
        evidence: sentence(&evidence),
        confirm: confirm.to_owned(),
        mend,
        otherwise: otherwise.to_owned(),
        rows: Vec::new(),
        rivals: Vec::new(),
        strength: 0.0,
        subject: Subject::Session,
    }
}

/// With a capital and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters
        .next()
        .iter()
        .flat_map(|c| c.to_uppercase())
        .collect();
    format!("{first}{}.", letters.as_str())
}

/// One standard deviation of a typical coordinate, to be multiplied by the noise.
pub fn typical_sigma(state: &State) -> Angle {
    let mut all: Vec<f64> = (state.sigmas.iter().flatten())
        .map(|s| s.radians())
        .collect();
    all.sort_by(f64::total_cmp);
    Angle::from_radians(all.get(all.len() / 2).copied().unwrap_or(0.0))
}

/// Another world.
pub fn of_world(
    world: &World,
    station: &crate::station::Station,
    as_logged: Option<&State>,
    really: &State,
    false_alarm: f64,
    tried: usize,
) -> Finding {
    let told = |state: &State| {
        let bad = state.kept.iter().filter(|k| !**k).count();
        let size = scatter(state).degrees();
        let among = state.kept.len();
        let absurd = if bad > 0 {
            format!(", {bad} of {among} peaks left out")
        } else {
            String::new()
        };
        format!("{} deg{absurd}", words::two_digits(size))
    };
    let before = as_logged.map_or_else(
        || "cannot be fitted at all".to_owned(),
        |s| format!("scatter by {}", told(s)),
    );
    let (what, axis, size) = match world {
        World::Hours(hours) => (
            format!("{hours:+} h added to all times"),
            Axis::Both,
            Some((*hours, "h")),
        ),
        World::LongitudeSign => {
            let right = -station.site.longitude.degrees();
            let what = format!("a longitude of {right:+.4} deg");
            (what, Axis::Both, Some((right, "deg")))
        }
        World::LatitudeSign => {
            let right = -station.site.latitude.degrees();
            let what = format!("a latitude of {right:+.4} deg");
            (what, Axis::Both, Some((right, "deg")))
        }
        World::SiteSwapped => (
            format!(
                "latitude {:+.4} and longitude {:+.4} deg",
                station.site.longitude.degrees(),
                station.site.latitude.degrees()
            ),
            Axis::Both,
            None,
        ),
        World::AzimuthReversed => (
            "the sign of every azimuth reading changed".to_owned(),
            Axis::Azimuth,
            None,
        ),
        World::Exchanged => (
            "the azimuth and elevation columns exchanged".to_owned(),
            Axis::Both,
            None,
        ),
        World::Unit {
            axis,
            unit,
            degrees,
        } => (
            format!("the readings of {} taken as {unit}", axis.words()),
            *axis,
            Some((*degrees, "deg per unit")),
        ),
        World::PointedMinutes(axis) => (
            format!(
                "the readings of {} taken as degrees and, behind the point, minutes of arc",
                axis.words()
            ),
            *axis,
            None,
        ),
    };
    let evidence = format!(
        "as logged the peaks {before}; with {what} they scatter by {}; by chance with probability \
         {}, corrected for {tried} such mistakes tried",
        told(really),
        words::probability(false_alarm)
    );
    let mut found = Finding {
        size: size.map(|s| s.0),
        size_unit: size.map_or(String::new(), |s| s.1.to_owned()),
        sigma: size.map(|_| 0.0),
        ..finding(world.fault(), axis, false_alarm, evidence)
    };
    if *world == World::LatitudeSign {
        found.in_words = "the latitude has the wrong sign";
        found.confirm =
            "Look the site up on a map: latitudes south of the equator are negative.".to_owned();
        found.mend = "Change the sign of latitude_deg in the station file.".to_owned();
        found.otherwise =
            "Latitude and longitude exchanged leave neither of the two right.".to_owned();
    }
    found
}

/// Readings that are the sky's own positions.
pub fn of_too_good(rms: Angle, without_air: bool, peaks: usize) -> Finding {
    let evidence = format!(
        "the {peaks} readings equal the computed {} directions of the emitters to {} deg rms: \
         they are computed positions and not what the encoders showed at a peak",
        if without_air { "airless" } else { "apparent" },
        words::two_digits(rms.degrees())
    );
    Finding {
        size: Some(rms.degrees()),
        size_unit: "deg".to_owned(),
        sigma: Some(0.0),
        strength: f64::INFINITY,
        // Each coordinate agrees a hundred times better than any mount does unsolved.
        ..finding(
            Fault::ColumnsExchanged,
            Axis::Both,
            0.01_f64.powi(2 * peaks.min(10) as i32),
            evidence,
        )
    }
}

/// -2 ln of a probability, within reason: what ranks findings that have no information
/// criterion.
fn surprise(probability: f64) -> f64 {
    -2.0 * probability.max(1e-12).ln()
}

/// A loose joint.
pub fn of_scatter(joint: &LooseJoint) -> Finding {
    let place = match joint.worst {
        Worst::Azimuth(at) => format!("toward azimuth reading {:.0} deg", at.degrees()),
        Worst::High => "high up".to_owned(),
        Worst::Low => "low down".to_owned(),
    };
    let evidence = format!(
        "peaks scatter by {} deg in {} {place} and by {} deg in the other half; by chance with \
         probability {}, corrected for 6 ways in which it could depend",
        words::two_digits(joint.loud.degrees()),
        joint.axis.words(),
        words::two_digits(joint.quiet.degrees()),
        words::probability(joint.false_alarm)
    );
    Finding {
        size: Some(joint.ratio),
        size_unit: "times".to_owned(),
        sigma: Some(joint.sigma),
        strength: surprise(joint.false_alarm),
        subject: Subject::Scatter {
            axis: joint.axis,
            by_azimuth: matches!(joint.worst, Worst::Azimuth(_)),
        },
        ..finding(Fault::LooseJoint, joint.axis, joint.false_alarm, evidence)
    }
}

/// A north that a compass may have given, where too many other zeros would agree as well.
pub fn hint_of_compass(compass: &Compass) -> String {
    format!(
        "the azimuth zero ({:+.2} deg) agrees with the magnetic declination ({:+.2} deg): north may \
         have been taken from a compass, though so small a zero agrees by chance with probability \
         {}",
        compass.zero.degrees(),
        compass.declination.value.degrees(),
        words::two_digits(compass.false_alarm)
    )
}

/// North by the compass.
pub fn of_compass(compass: &Compass) -> Finding {
    let zero = compass.zero.degrees();
    let declination = compass.declination.value.degrees();
    let evidence = format!(
        "the azimuth zero is {zero:+.2} deg, and the magnetic declination at the site on that day \
         {declination:+.2} +/- {:.2} deg (World Magnetic Model): an encoder set to zero along a \
         compass needle would show just that; a zero set without one agrees so well with \
         probability {}. This is a hint, no proof",
        compass.declination.sigma.degrees(),
        words::probability(compass.false_alarm)
    );
    Finding {
        size: Some(zero),
        size_unit: "deg".to_owned(),
        sigma: Some(compass.sigma.degrees()),
        strength: surprise(compass.false_alarm),
        subject: Subject::Compass(compass.declination.value),
        ..finding(
            Fault::MagneticNorth,
            Axis::Azimuth,
            compass.false_alarm,
            evidence,
        )
    }
}
