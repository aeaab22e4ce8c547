//! What was found, in words with numbers.

use crate::angle::Angle;
use crate::solve::words;

use super::advice::{Advice, advice};
use super::cause::{Cause, Size};
use super::contest::Answer;
use super::finding::{Finding, Subject, measured};
use super::ground::{Ground, State};
use super::name::{Axis, Fault};
use super::north::Compass;
use super::rows::{BadKind, BadPeak};
use super::scatter::{LooseJoint, Worst};
use super::worlds::{World, unit_of, zone_of};

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
        axis,
        size: None,
        size_unit: String::new(),
        sigma: None,
        false_alarm_probability: false_alarm.clamp(0.0, 1.0),
        evidence,
        confirm: confirm.to_owned(),
        mend,
        otherwise: otherwise.to_owned(),
        rows: Vec::new(),
        rivals: Vec::new(),
        strength: 0.0,
        subject: Subject::Session,
    }
}

/// A cause of the joint fit.
pub fn of_cause(
    ground: &Ground,
    state: &State,
    index: usize,
    answer: &Answer,
    tried: usize,
) -> Finding {
    let cause = &answer.cause;
    let size = cause.size(&answer.values, &answer.covariance());
    let typical = typical_sigma(state);
    let before = (typical * answer.gain.variance_without.sqrt()).degrees();
    let after = (typical * state.variance.sqrt()).degrees();
    let evidence = format!(
        "{}; without it the peaks scatter by {} deg about the model, with it by {} deg \
         (one coordinate); by chance with probability {}, corrected for {tried} causes asked for{}",
        what_it_does(ground, state, cause, &answer.values, &size),
        words::two_digits(before),
        words::two_digits(after),
        words::probability(answer.false_alarm),
        if place_searched(cause) {
            " and for every place where it could be"
        } else {
            ""
        }
    );
    let rows = match cause {
        Cause::Slip { between, .. } => vec![between.0, between.1],
        Cause::Relabelled { emitter, .. } => rows_of_emitter(ground, *emitter),
        _ => Vec::new(),
    };
    if let (Cause::Clock, Some(hours)) = (cause, zone_of(size.value)) {
        return Finding {
            size: Some(hours),
            size_unit: "h".to_owned(),
            sigma: Some(size.sigma / 3600.0),
            strength: answer.criterion,
            subject: Subject::Cause(index),
            ..finding(Fault::TimeZone, Axis::Both, answer.false_alarm, evidence)
        };
    }
    if let Cause::Scale(axis) = cause
        && let Some((unit, degrees)) = unit_of(size.value, size.sigma)
    {
        let evidence = format!("{evidence}. One of its numbers is one of the {unit}");
        return Finding {
            size: Some(degrees),
            size_unit: "deg per unit".to_owned(),
            sigma: Some(size.sigma),
            strength: answer.criterion,
            subject: Subject::Cause(index),
            ..finding(Fault::WrongUnit, *axis, answer.false_alarm, evidence)
        };
    }
    let sized = match cause {
        Cause::Relabelled { steps, .. } => {
            let mut off: Vec<f64> = (steps.iter().map(|s| s.norm()))
                .filter(|s| *s > 0.0)
                .collect();
            off.sort_by(f64::total_cmp);
            let middle = off.get(off.len() / 2).copied().unwrap_or(0.0);
            Size {
                value: Angle::from_radians(middle).degrees(),
                sigma: after,
                unit: "deg",
            }
        }
        Cause::Scale(_) | Cause::Grads(_) => Size { unit: "", ..size },
        _ => size,
    };
    Finding {
        size: Some(sized.value),
        size_unit: sized.unit.to_owned(),
        sigma: Some(sized.sigma),
        rows,
        strength: answer.criterion,
        subject: Subject::Cause(index),
        ..finding(cause.fault(), cause.axis(), answer.false_alarm, evidence)
    }
}

fn place_searched(cause: &Cause) -> bool {
    matches!(
        cause,
        Cause::Slip { .. } | Cause::BalanceFlip { .. } | Cause::Flop { .. }
    )
}

/// One standard deviation of a typical coordinate, to be multiplied by the noise.
pub fn typical_sigma(state: &State) -> Angle {
    let mut all: Vec<f64> = (state.sigmas.iter().flatten())
        .map(|s| s.radians())
        .collect();
    all.sort_by(f64::total_cmp);
    Angle::from_radians(all.get(all.len() / 2).copied().unwrap_or(0.0))
}

fn rows_of_emitter(ground: &Ground, emitter: usize) -> Vec<usize> {
    let of = |c: &&super::case::Case| c.emitter == emitter;
    let rows = ground.cases.iter().filter(of);
    rows.map(|c| c.observation.peak.row).collect()
}

fn what_it_does(
    ground: &Ground,
    state: &State,
    cause: &Cause,
    values: &[f64],
    size: &Size,
) -> String {
    let said = measured(size.value, size.sigma, size.unit);
    let axis = cause.axis().words();
    let kept = || {
        (ground.cases.iter().zip(&state.kept))
            .filter(|(_, k)| **k)
            .map(|(c, _)| c)
    };
    let heading = |times: f64| {
        Angle::from_radians(values[1].atan2(values[0]) / times)
            .wrapped_positive()
            .degrees()
    };
    match cause {
        Cause::Backlash(which) => {
            let sign = |c: &super::case::Case| match which {
                Axis::Azimuth => c.observation.approach().azimuth,
                _ => c.observation.approach().elevation,
            };
            let up = kept().filter(|c| sign(c) > 0.0).count();
            let down = kept().filter(|c| sign(c) < 0.0).count();
            let odd = if size.value < 0.0 {
                "; it is negative, so + and - may be exchanged in the log"
            } else {
                ""
            };
            format!(
                "the {axis} axis stands {said} apart between the {up} peaks that arrived with \
                 increasing and the {down} that arrived with decreasing reading{odd}"
            )
        }
        Cause::BalanceFlip { at } => format!(
            "the elevation axis stands {said} higher above an elevation of {:.1} deg than below it, as \
             play does that falls to the other side where the dish is in balance",
            at.degrees()
        ),
        Cause::Slip { between, .. } => {
            let time = |row: usize| {
                (ground.cases.iter())
                    .find(|c| c.observation.peak.row == row)
                    .map_or(String::new(), |c| c.observation.peak.time.to_string())
            };
            format!(
                "between row {} ({}) and row {} ({}) the {axis} reading jumps by {said} for one \
                 and the same direction",
                between.0,
                time(between.0),
                between.1,
                time(between.1)
            )
        }
        Cause::Creep { .. } => {
            let span = kept().map(|c| c.hours).fold(0.0, f64::max);
            format!(
                "the {axis} reading of one and the same direction changes by {said}, {} deg over \
                 the {:.1} hours of the log",
                words::two_digits(size.value * span),
                span
            )
        }
        Cause::Temperature { mean_c, .. } => {
            let logged = || kept().filter_map(|c| c.observation.peak.temperature_c);
            let low = logged().fold(f64::INFINITY, f64::min);
            let high = logged().fold(f64::NEG_INFINITY, f64::max);
            format!(
                "the {axis} reading of one and the same direction follows the logged temperature \
                 ({low:.0} to {high:.0} C, mean {mean_c:.0} C) by {said}"
            )
        }
        Cause::DayCycle(_) => format!(
            "the {axis} axis swings with the time of day by {said}, farthest ahead at {:.1} h local \
             solar time; no temperature is logged to say more",
            heading(1.0) / 15.0
        ),
        Cause::Runout(Axis::Azimuth) => format!(
            "the azimuth axis is ahead and behind of its encoder by {said} once per turn, farthest \
             ahead at a reading of {:.0} deg",
            heading(1.0)
        ),
        Cause::Runout(_) => format!(
            "the elevation axis differs from its encoder by {said} times the sine of the reading; \
             the cosine's part cannot be told from droop"
        ),
        Cause::Warp { times } => format!(
            "the beam is lifted and lowered by {said} {} per turn of the azimuth, highest at a \
             reading of {:.0} deg",
            if *times == 2 { "twice" } else { "three times" },
            heading(f64::from(*times))
        ),
        Cause::Teeth {
            per_turn, pinion, ..
        } => format!(
            "the {axis} axis is off by {said} once per {}, {per_turn:.1} times per turn; {} peaks \
             sample it, each at one place only",
            if *pinion {
                "turn of the pinion"
            } else {
                "tooth"
            },
            kept().count()
        ),
        Cause::Scale(_) => format!(
            "the {axis} axis moves by {said} of the way more than its encoder says, {:+.2} deg in a \
             whole turn",
            size.value * 360.0
        ),
        Cause::Grads(_) => format!(
            "the {axis} axis moves by a tenth less than its numbers say ({said} measured freely): \
             they are grads, 400 to the turn"
        ),
        Cause::LooseDish(Axis::Azimuth) => format!(
            "the beam moves sideways in the dish by {said} as it is raised, more than collimation \
             and axis skew allow for"
        ),
        Cause::LooseDish(_) => format!(
            "the beam moves up and down in the dish by {said} as it is raised, more than droop by \
             the cosine allows for"
        ),
        Cause::Flop { at } => format!(
            "the beam jumps sideways in the dish by {said} at an elevation of {:.1} deg",
            at.degrees()
        ),
        Cause::Settling { .. } => format!(
            "the azimuth axis leans more and more, by {said} toward azimuth {:.0} deg",
            heading(1.0)
        ),
        Cause::Clock => format!(
            "emitters that move are where they should be when {said} are added to the logged times; \
             those that stand still are not affected"
        ),
        Cause::Stale { name, emitter } => {
            let rows = rows_of_emitter(ground, *emitter);
            let way: Vec<f64> = (ground.cases.iter())
                .filter(|c| c.emitter == *emitter)
                .map(|c| c.along_orbit.norm())
                .collect();
            let mean = way.iter().sum::<f64>() / way.len().max(1) as f64;
            let early = if size.value > 0.0 {
                "ahead of"
            } else {
                "behind"
            };
            format!(
                "{name} is {} {early} its elements along its own orbit, {} deg on the sky, in {}; \
                 the other emitters are not",
                measured(size.value.abs(), size.sigma, "s"),
                words::two_digits(Angle::from_radians(mean * size.value.abs()).degrees()),
                words::rows(&rows)
            )
        }
        Cause::Air { times } => {
            let free = format!(
                "{size:.2} +/- {sigma:.2}",
                size = size.value,
                sigma = size.sigma
            );
            if *times == 0.0 {
                format!(
                    "low emitters stand as if the air did not bend their rays ({free} times its \
                     bend is in the readings): they have been corrected for it already"
                )
            } else {
                format!(
                    "low emitters stand as if the air bent their rays twice ({free} times its bend \
                     is in the readings)"
                )
            }
        }
        Cause::Relabelled {
            logged,
            really,
            emitter,
            ..
        } => format!(
            "all peaks logged as {logged} ({}) lie on {really}",
            words::rows(&rows_of_emitter(ground, *emitter))
        ),
    }
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
        let scatter = (typical_sigma(state) * state.variance.sqrt()).degrees();
        let among = state.kept.len();
        let absurd = if bad > 0 {
            format!(", {bad} of {among} peaks left out")
        } else {
            String::new()
        };
        format!("{} deg{absurd}", words::two_digits(scatter))
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
    Finding {
        size: size.map(|s| s.0),
        size_unit: size.map_or(String::new(), |s| s.1.to_owned()),
        sigma: size.map(|_| 0.0),
        ..finding(world.fault(), axis, false_alarm, evidence)
    }
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

/// Bad peaks of one kind together, and what to say of those that nothing explains.
pub fn of_rows(ground: &Ground, bad: &[BadPeak]) -> (Vec<Finding>, Vec<String>) {
    let mut findings = Vec::new();
    for fault in [
        Fault::WrongEmitter,
        Fault::DigitSlip,
        Fault::Sidelobe,
        Fault::WrongUnit,
        Fault::ColumnsExchanged,
    ] {
        let of: Vec<(&BadPeak, &BadKind)> = bad
            .iter()
            .filter_map(|b| b.kind.as_ref().map(|k| (b, k)))
            .filter(|(_, k)| k.fault() == fault)
            .collect();
        if !of.is_empty() {
            findings.push(of_kind(ground, fault, &of));
        }
    }
    let unnamed: Vec<&BadPeak> = bad.iter().filter(|b| b.kind.is_none()).collect();
    let notes = (!unnamed.is_empty()).then(|| {
        let each: Vec<String> = unnamed
            .iter()
            .map(|b| format!("{} by {:.2} deg", b.row, b.off.size().degrees()))
            .collect();
        format!(
            "bad without a cause that is known here: row {}",
            each.join(", row ")
        )
    });
    (findings, notes.into_iter().collect())
}

fn of_kind(ground: &Ground, fault: Fault, of: &[(&BadPeak, &BadKind)]) -> Finding {
    let mut each = Vec::new();
    let mut sizes = Vec::new();
    let mut axes = Vec::new();
    let mut unit = "deg";
    for (bad, kind) in of {
        let case = &ground.cases[bad.index];
        let logged = &case.observation.peak.emitter;
        let off = bad.off.size().degrees();
        match kind {
            BadKind::Emitter { really, left } => {
                each.push(format!(
                    "row {}, logged as {logged}, misses it by {off:.2} deg and {really} by {:.2} deg",
                    bad.row,
                    left.degrees()
                ));
                sizes.push(off);
                axes.push(Axis::Both);
            }
            BadKind::Sidelobe { beamwidths } => {
                each.push(format!(
                    "row {} ({logged}) is {off:.2} deg off, {beamwidths:.2} beamwidths",
                    bad.row
                ));
                sizes.push(*beamwidths);
                unit = "beamwidths";
                axes.push(Axis::Both);
            }
            BadKind::Digit {
                axis,
                by,
                exchanged,
            } => {
                each.push(format!(
                    "row {} ({logged}): the {} reading is off by {:+} deg{}",
                    bad.row,
                    axis.words(),
                    (by.degrees() * 100.0).round() / 100.0,
                    if *exchanged {
                        ", as if two digits were exchanged"
                    } else {
                        ""
                    }
                ));
                sizes.push(by.degrees().abs());
                axes.push(*axis);
            }
            BadKind::Unit { axis, unit } => {
                each.push(format!(
                    "row {} ({logged}): the reading of {} fits when taken as {unit}",
                    bad.row,
                    axis.words()
                ));
                sizes.push(off);
                axes.push(*axis);
            }
            BadKind::Exchanged => {
                each.push(format!(
                    "row {} ({logged}) fits with azimuth and elevation exchanged",
                    bad.row
                ));
                sizes.push(off);
                axes.push(Axis::Both);
            }
        }
    }
    let worst = of.iter().map(|(b, _)| b.false_alarm).fold(0.0, f64::max);
    let evidence = format!(
        "{}; a good peak anywhere in the log is so far off by chance with probability {}",
        each.join("; "),
        words::probability(worst)
    );
    let axis = if axes.iter().all(|a| *a == axes[0]) {
        axes[0]
    } else {
        Axis::Both
    };
    sizes.sort_by(f64::total_cmp);
    Finding {
        size: sizes.get(sizes.len() / 2).copied(),
        size_unit: unit.to_owned(),
        sigma: None,
        rows: of.iter().map(|(b, _)| b.row).collect(),
        strength: of.iter().map(|(b, _)| surprise(b.false_alarm)).sum(),
        subject: Subject::Peaks(of.iter().map(|(b, _)| b.index).collect()),
        ..finding(fault, axis, worst, evidence)
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
