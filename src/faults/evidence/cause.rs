//! A cause of the joint fit, in words with numbers.

use super::{finding, typical_sigma};
use crate::angle::Angle;
use crate::faults::cause::{Cause, GRADS_SCALE, Size};
use crate::faults::contest::Answer;
use crate::faults::finding::{Finding, Subject, measured};
use crate::faults::ground::{Ground, State};
use crate::faults::name::{Axis, Fault};
use crate::faults::worlds::{unit_of, zone_of};
use crate::solve::words;

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
        Cause::Scale(_) => Size { unit: "", ..size },
        Cause::Grads(_) => Size {
            value: 1.0 + GRADS_SCALE,
            sigma: 0.0,
            unit: "deg per unit",
        },
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

fn rows_of_emitter(ground: &Ground, emitter: usize) -> Vec<usize> {
    let of = |c: &&crate::faults::case::Case| c.emitter == emitter;
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
            let sign = |c: &crate::faults::case::Case| match which {
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
            "the {axis} axis moves by {} of the way {} than its encoder says, {:+.2} deg in a whole \
             turn",
            measured(size.value.abs(), size.sigma, ""),
            if size.value < 0.0 { "less" } else { "more" },
            size.value * 360.0
        ),
        Cause::Grads(_) => format!(
            "the {axis} axis moves by a tenth less than its numbers say: they are grads, 400 to the \
             turn"
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
