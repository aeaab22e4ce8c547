//! Corrections by hand for each mount error.

use crate::angle::Angle;
use crate::mount::{AxisKind, Group, Kind, Term};
use crate::station::Station;

use super::arc;
use super::misaligned;
use super::outcome::Outcome;
use super::remarks::advice_words;
use super::significant::{KEEP_CLEAR, Significant, Words};
use super::words::{capital, compass_word, list};
use crate::explain::{Advice, TermEstimate, prior_size::careful};
use crate::logbook::TermState;
use crate::number::{by_sigma, two_digits};

/// Work to do at the mount.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// The mount error that it corrects (of a group, its first term).
    pub term: Term,
    /// What is wrong, in a few words with the size.
    pub title: String,
    /// The steps, one sentence each, with the numbers and their units.
    pub text: String,
    /// Dangers of the work; empty when there are none.
    pub caution: String,
}

const ON_THE_GROUND: &str = "Support the mount before a foot is loosened: a tall one can fall. \
    Work at height and foundations follow local codes; ask someone licensed where they say so.";

/// Corrections by hand for each significant term, hardware first; none while the log or the station
/// file is misread, because bolts must not be turned by such numbers.
///
/// # Units
/// Shims in millimetres, from angles in radians times lengths; signs are derived from the text of
/// docs/files.md and pinned by tests.
pub fn remedies(outcome: &Outcome, station: &Station) -> Vec<Remedy> {
    if outcome.misread.is_some() {
        return Vec::new();
    }
    let mut found = Vec::new();
    for group in [
        Group::Tilt,
        Group::AxisSkew,
        Group::Collimation,
        Group::AzimuthBacklash,
        Group::ElevationBacklash,
        Group::AzimuthRunout,
        Group::ElevationRunout,
        Group::TrackWarp,
        Group::AzimuthScale,
        Group::ElevationScale,
        Group::Droop,
        Group::ClockOffset,
        Group::AzimuthZero,
        Group::ElevationZero,
    ] {
        let together = (outcome.explanation.as_ref()).is_some_and(|e| {
            !e.told_only_together(&group.terms().collect::<Vec<_>>())
                .is_empty()
        });
        // With one motor its bolts are set together, for the arc.
        let bolted = matches!(group, Group::Tilt | Group::ElevationZero);
        if bolted && station.mount.fixed_declination.is_some() {
            if group == Group::Tilt {
                let by_hand = arc::by_hand(outcome, station);
                found.extend(by_hand.map(|(title, steps, caution)| Remedy {
                    term: Term::ElevationZero,
                    title,
                    text: steps.join(" "),
                    caution: caution.to_owned(),
                }));
            }
            continue;
        }
        let zero = matches!(group, Group::AzimuthZero | Group::ElevationZero);
        match Significant::of(outcome, group) {
            // An encoder zero is entered, not adjusted with a bolt: the terms it is combined with
            // are entered too.
            Some(size) if zero || !together => found.push(remedy(group, &size, station)),
            _ if zero => {}
            _ => found.extend(peaks_first(outcome, group)),
        }
    }
    say_cautions_once(&mut found);
    found
}

/// Gives each caution once, in full, at the first work it applies to: repeated six times it would
/// not be read.
fn say_cautions_once(remedies: &mut [Remedy]) {
    let mut said: Vec<String> = Vec::new();
    for remedy in remedies {
        if said.contains(&remedy.caution) {
            remedy.caution.clear();
        } else if !remedy.caution.is_empty() {
            said.push(remedy.caution.clone());
        }
    }
}

/// A value that may be large but is not known well enough to turn a bolt: the peaks to take first,
/// if any are known.
fn peaks_first(outcome: &Outcome, group: Group) -> Option<Remedy> {
    let explanation = outcome.explanation.as_ref()?;
    let terms: Vec<Term> = group.terms().collect();
    let estimates: Vec<&TermEstimate> = (terms.iter())
        .filter_map(|t| outcome.terms.iter().find(|e| e.term == *t))
        .collect();
    let first = *estimates.first()?;
    if group == Group::ClockOffset || estimates.iter().any(|e| e.state != TermState::Fitted) {
        return None;
    }
    let worst = |e: &&TermEstimate| {
        let reach = e.value.abs() + 2.0 * e.sigma.unwrap_or(0.0);
        reach > careful(e.term, explanation.session.beamwidth)
    };
    if !estimates.iter().any(worst) {
        return None;
    }
    let advice = explanation.what_would_tell(&terms);
    if advice == Advice::None {
        return None;
    }
    let unit = first.term.unit();
    let size = |e: &TermEstimate| unit.outward(e.value);
    let sigma = estimates
        .iter()
        .map(|e| unit.outward(e.sigma.unwrap_or(0.0)))
        .fold(0.0, f64::max);
    let values: Vec<String> = (estimates.iter())
        .map(|e| format!("{} +/- {}", by_sigma(size(e), sigma), two_digits(sigma)))
        .collect();
    let together = explanation.told_only_together(&terms);
    Some(Remedy {
        term: first.term,
        title: format!(
            "{} ({} {}) is not known well enough to turn a bolt by",
            capital(explanation.session.kind().group_words(group)),
            values.join(" and "),
            unit.symbol()
        ),
        text: format!(
            "{}First take more peaks: {}.",
            match together.is_empty() {
                true => String::new(),
                false => format!(
                    "It is determined only in combination with {}. ",
                    list(
                        &together
                            .iter()
                            .map(|t| explanation.session.kind().term_name(*t))
                            .collect::<Vec<_>>()
                    )
                ),
            },
            advice_words(explanation.session.kind(), &advice)
        ),
        caution: String::new(),
    })
}

fn remedy(group: Group, size: &Significant, station: &Station) -> Remedy {
    let kind = station.mount.kind();
    let [one, two] = kind.axes();
    let (title, steps, caution) = match group {
        Group::Tilt => match kind {
            Kind::AzEl | Kind::Slant => tilt(size, station),
            Kind::Polar(_) => misaligned::polar_axis(size, station),
            Kind::XY(lower) => misaligned::lower_axis(size, lower, &station.mount.bearings),
        },
        Group::AxisSkew => skew(kind, size),
        Group::Collimation => collimation(kind, size),
        Group::AzimuthBacklash => backlash(one.words(), size),
        Group::ElevationBacklash => backlash(two.words(), size),
        Group::AzimuthRunout => runout(one.words(), size),
        Group::ElevationRunout => runout(two.words(), size),
        Group::TrackWarp => warp(size, station),
        Group::AzimuthScale => scale(one.words(), size),
        Group::ElevationScale => scale(two.words(), size),
        Group::Droop => droop(kind, size),
        Group::ClockOffset => clock(size),
        Group::AzimuthZero => zero(one, size),
        Group::ElevationZero => zero(two, size),
    };
    Remedy {
        term: size.terms[0],
        title,
        text: steps.join(" "),
        caution: caution.to_owned(),
    }
}

/// How much to raise each foot (never lower), in the order of `feet`, to make an axis vertical that
/// leans by `tilt` toward azimuth `toward`: the base is low on that side.
///
/// # Units
/// Millimetres for a radius in metres: radius x tan(tilt) x (cos(foot - toward) minus the smallest
/// such cosine).
pub fn foot_shims_mm(tilt: Angle, toward: Angle, radius_m: f64, feet: &[Angle]) -> Vec<f64> {
    let rise: Vec<f64> = feet.iter().map(|foot| (*foot - toward).cos()).collect();
    let lowest = rise.iter().copied().fold(f64::INFINITY, f64::min);
    rise.iter()
        .map(|r| 1000.0 * radius_m * tilt.tan() * (r - lowest))
        .collect()
}

fn tilt(size: &Significant, station: &Station) -> Words {
    let (lean, toward) = (size.length(), size.heading());
    let title = format!(
        "The azimuth axis's top leans {} deg toward azimuth {:.0} deg ({})",
        size.length_words(),
        toward.degrees(),
        compass_word(toward)
    );
    let mut steps = Vec::new();
    match (
        station.mount.bearings.base_radius_m,
        &station.mount.bearings.base_feet_azimuth,
    ) {
        (Some(radius), feet) if !feet.is_empty() => {
            let shims = foot_shims_mm(lean, toward, radius, feet);
            for (foot, shim) in feet.iter().zip(shims) {
                steps.push(format!(
                    "Foot at azimuth {:.0} deg, {:.0} mm from the axis: {}.",
                    foot.degrees(),
                    radius * 1000.0,
                    if shim < 0.005 {
                        "leave as it is".to_owned()
                    } else {
                        format!("raise by {} mm", size.millimetres(shim, radius * 1000.0))
                    }
                ));
            }
        }
        (radius, _) => {
            let radius_m = radius.unwrap_or(0.1);
            steps.push(format!(
                "The side toward azimuth {:.0} deg is low: raise it by {} mm at {:.0} mm from the \
                 axis, or lower the opposite side by as much.",
                toward.degrees(),
                size.millimetres(1000.0 * radius_m * lean.tan(), 1000.0 * radius_m),
                radius_m * 1000.0
            ));
            steps.push(
                "With base_radius_m and base_feet_azimuth_deg in the station file each foot's \
                 shim is worked out."
                    .to_owned(),
            );
        }
    }
    steps.push("Then measure again: the azimuth zero changes a little with the axis.".to_owned());
    (title, steps, ON_THE_GROUND)
}

fn skew(kind: Kind, size: &Significant) -> Words {
    let value = size.shown();
    let (high, low) = if value > 0.0 {
        ("right", "left")
    } else {
        ("left", "right")
    };
    let (first, second) = (kind.axis_1(), kind.axis_2());
    if !kind.has_track() {
        let title = format!(
            "The {second} is not square to the {first}: its {high}-hand end (seen along the beam, the \
             {first}'s outer end up) leans {} deg toward that end",
            size.size()
        );
        let steps = vec![format!(
            "Move the {low}-hand bearing of the {second} toward the {first}'s outer end (or the \
             {high}-hand one away from it) by {} mm for each 100 mm between the bearings.",
            size.per_100_mm()
        )];
        return (title, steps, KEEP_CLEAR);
    }
    let title = format!(
        "The elevation axis is not square to the azimuth axis: its {high}-hand end (seen along \
         the beam) is high by {} deg",
        size.size()
    );
    let steps = vec![format!(
        "Shim the {low}-hand bearing up (or the {high}-hand one down) by {} mm for each 100 mm \
         between the bearings.",
        size.per_100_mm()
    )];
    (title, steps, KEEP_CLEAR)
}

fn collimation(kind: Kind, size: &Significant) -> Words {
    let value = size.shown();
    let side = if value > 0.0 { "right" } else { "left" };
    let title = match kind {
        Kind::AzEl | Kind::Slant => format!(
            "The beam points {} deg to the {side} of square to the elevation axis",
            size.size()
        ),
        _ => format!(
            "The beam points {} deg to the {side} of square to the {} (seen along the beam, the {}'s \
             outer end up)",
            size.size(),
            kind.axis_2(),
            kind.axis_1()
        ),
    };
    let steps = vec![
        format!(
            "Shim the {side}-hand side of the dish's mounting face forward (seen along the beam) \
             by {} mm for each 100 mm of its width, which swings the beam the other way.",
            size.per_100_mm()
        ),
        format!(
            "Or look at the feed first: one that sits off the axis to the {} of a front-fed dish \
             throws the beam to the {side}.",
            if value > 0.0 { "left" } else { "right" }
        ),
    ];
    (title, steps, KEEP_CLEAR)
}

fn backlash(axis: &str, size: &Significant) -> Words {
    let value = size.shown();
    let title = format!("The {axis} drive has {} deg of play", size.size());
    let mut steps = vec![
        format!(
            "Close the {axis} gear's mesh or preload it (spring, counterweight off balance), then \
             measure from both sides again."
        ),
        "Until then arrive at each direction from the same side; the table holds for the middle \
         of the play."
            .to_owned(),
    ];
    if value < 0.0 {
        steps.insert(
            0,
            "The sign is negative, which play cannot be: check whether the approach columns are \
             exchanged (+ is arriving with increasing reading)."
                .to_owned(),
        );
    }
    (title, steps, KEEP_CLEAR)
}

fn runout(axis: &str, size: &Significant) -> Words {
    let title = format!(
        "The {axis} gear or encoder runs eccentric: {} deg once a turn, largest at reading {:.0} \
         deg",
        size.length_words(),
        size.heading().degrees()
    );
    let steps = vec![
        format!(
            "Centre the {axis} encoder disc or gear: it sits {} mm off for each 100 mm of its radius.",
            size.millimetres(100.0 * size.length().radians(), 100.0)
        ),
        "Turn it by hand past a dial gauge to see which of the two it is.".to_owned(),
    ];
    (title, steps, KEEP_CLEAR)
}

fn warp(size: &Significant, station: &Station) -> Words {
    let title = format!(
        "The azimuth track or bearing is warped: it lifts the dish by {} deg twice a turn",
        size.length_words()
    );
    let radius = station.mount.bearings.base_radius_m.unwrap_or(0.1);
    // warp(A) = amplitude x cos(2 (A - half the heading)).
    let highest = size.heading() / 2.0;
    let steps = vec![format!(
        "Level the track: over {:.0} mm of radius the lift is {} mm; the beam is raised most at \
         azimuth readings {:.0} and {:.0} deg.",
        radius * 1000.0,
        size.millimetres(1000.0 * radius * size.length().tan(), 1000.0 * radius),
        highest.degrees(),
        highest.degrees() + 180.0
    )];
    (title, steps, KEEP_CLEAR)
}

fn scale(axis: &str, size: &Significant) -> Words {
    let value = size.shown();
    let title = format!(
        "The {axis} axis moves {} % {} than the encoder says",
        size.digits(100.0 * value.abs(), 100.0),
        if value > 0.0 { "further" } else { "less" }
    );
    let steps = vec![
        format!(
            "Multiply the degrees per count (or per step) of the {axis} axis by {}; if the setting \
             is counts per degree, divide by it.",
            size.plain(1.0 + value, 1.0)
        ),
        "Compare with the gears: one tooth more or less on a pinion is the usual cause.".to_owned(),
    ];
    (title, steps, "")
}

fn droop(kind: Kind, size: &Significant) -> Words {
    let value = size.shown();
    let title = format!(
        "The beam {} by {} deg x cos(elevation)",
        if value > 0.0 { "sags" } else { "rises" },
        size.size()
    );
    let steps = vec![
        kind.said(
            "Look for what bends: feed struts, the dish's hub, the <elevation> drive's arm; a stiffer \
             strut or a moved counterweight helps.",
        ),
        "What is left is steady and the correction table takes it out.".to_owned(),
    ];
    (title, steps, KEEP_CLEAR)
}

fn clock(size: &Significant) -> Words {
    let value = size.shown();
    let title = format!(
        "The logging clock is {} s {}",
        size.size(),
        if value > 0.0 { "slow" } else { "fast" }
    );
    let steps = vec![format!(
        "Set the clock {} by {} s (GNSS or a time server), or add {} s to the logged times.",
        if value > 0.0 { "forward" } else { "back" },
        size.plain(value.abs(), 1.0),
        size.plain(value, 1.0)
    )];
    (title, steps, "")
}

fn zero(axis: AxisKind, size: &Significant) -> Words {
    let value = size.shown();
    let name = axis.words();
    let title = format!(
        "The {name} encoder reads {} deg too {}",
        size.size(),
        if value > 0.0 { "little" } else { "much" }
    );
    let steps = vec![
        format!(
            "Enter {}{} deg as the {name} encoder's offset, if the controller ADDS it to the reading.",
            if value > 0.0 { "+" } else { "-" },
            size.plain(value.abs(), 1.0)
        ),
        format!(
            "Or, with the axis held still, loosen the encoder and turn it until it reads {} deg \
             {} (the axis stands further {} than it says).",
            size.plain(value.abs(), 1.0),
            if value > 0.0 { "more" } else { "less" },
            if value > 0.0 {
                axis.increasing()
            } else {
                axis.decreasing()
            }
        ),
    ];
    (title, steps, KEEP_CLEAR)
}

#[cfg(test)]
mod tests {
    use nalgebra::{Rotation3, Vector3};

    use super::super::significant::made::of;
    use super::*;

    #[test]
    fn the_shims_undo_the_tilt() {
        // A base plate through three raised feet must have a vertical normal: the plate leans by
        // the tilt, so its point at azimuth t and radius r is at height -r sin(tilt) cos(t -
        // toward); the shims bring all to one height.
        let (tilt, toward) = (Angle::from_degrees(0.8), Angle::from_degrees(60.0));
        let feet = [20.0, 140.0, 260.0].map(Angle::from_degrees);
        let shims = foot_shims_mm(tilt, toward, 0.4, &feet);
        // The same by rotating the plate: top toward azimuth 60 about the horizontal axis.
        let lean = Rotation3::from_scaled_axis(
            Vector3::new(-toward.cos(), toward.sin(), 0.0) * tilt.radians(),
        );
        let heights: Vec<f64> = feet
            .iter()
            .zip(&shims)
            .map(|(foot, shim)| {
                let place = Vector3::new(foot.sin(), foot.cos(), 0.0) * 400.0;
                (lean * place).z + shim
            })
            .collect();
        for h in &heights {
            // tan in place of sin: 0.4 m x tilt^3 is below 0.001 mm.
            assert!((h - heights[0]).abs() < 2e-3, "{heights:?}");
        }
        assert!(shims.iter().all(|s| *s >= 0.0));
        assert!(
            shims[0] > shims[2],
            "the foot where the axis leans to is low"
        );
    }

    #[test]
    fn the_collimation_shim_swings_the_beam_back() {
        // Shimming the right-hand side forward turns the dish so that right moves forward; the same
        // turn must move a beam that points right of forward toward the middle.
        let (right, forward) = (Vector3::<f64>::x(), Vector3::<f64>::y());
        let turn = Rotation3::rotation_between(&right, &(right + forward * 0.02)).unwrap();
        let beam = forward + right * 0.02;
        assert!((turn * beam).x.abs() < beam.x / 10.0);
        let (_, steps, _) = collimation(Kind::AzEl, &of(Term::Collimation, 0.5));
        assert!(steps[0].contains("right-hand side") && steps[0].contains("forward"));
        assert!(
            steps[0].contains("0.87 +/- 0.017 mm"),
            "100 mm x tan(0.5 deg): {}",
            steps[0]
        );
        let (_, steps, _) = collimation(Kind::AzEl, &of(Term::Collimation, -0.5));
        assert!(steps[0].contains("left-hand side"));
    }

    #[test]
    fn the_low_end_of_a_skewed_axis_is_raised() {
        let (title, steps, _) = skew(Kind::AzEl, &of(Term::AxisSkew, 0.5));
        assert!(
            title.contains("right-hand end"),
            "positive: the right-hand end is high"
        );
        assert!(steps[0].contains("left-hand bearing up"));
    }

    #[test]
    fn zeros_are_added_and_scales_multiplied() {
        // Positive: the axis is further clockwise than the encoder says, so the encoder reads too
        // little and the offset to add is positive.
        let (title, steps, _) = zero(AxisKind::Azimuth, &of(Term::AzimuthZero, 3.42));
        assert!(
            title.ends_with("reads 3.420 +/- 0.010 deg too little"),
            "{title}"
        );
        assert!(steps[0].starts_with("Enter +3.420 deg"), "{}", steps[0]);
        let (_, steps, _) = zero(AxisKind::Elevation, &of(Term::ElevationZero, -0.87));
        assert!(steps[0].starts_with("Enter -0.870 deg"), "{}", steps[0]);
        assert!(steps[1].contains("0.870 deg less"), "{}", steps[1]);
        // Positive: the axis moves further than the encoder says.
        let mut size = of(Term::AzimuthScale, 0.001);
        size.sigma = 0.0001;
        let (_, steps, _) = scale("azimuth", &size);
        assert!(steps[0].contains("by 1.00100"), "{}", steps[0]);
    }
}
