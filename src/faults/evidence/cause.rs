//! A cause of the joint fit, in words with numbers.

use super::super::finding::{Finding, Subject, measured};
use super::{finding, rivals};
use crate::angle::Angle;
use crate::explain::{
    Cause, Explanation, Fault, FaultAxis, Hypothesis, SessionPeak, Size, unit_of, zone_of,
};
use crate::mount::{Group, Kind};
use crate::number;
use crate::solve::words;
use crate::station::Station;

/// A cause of the joint fit.
pub fn of_cause(explanation: &Explanation, station: &Station, place: usize) -> Finding {
    let cause = &explanation.causes[place];
    let hypothesis = &cause.hypothesis;
    let typical = explanation.fit.typical_sigma();
    let before = (typical * cause.evidence.variance_without.sqrt()).degrees();
    let after = explanation.scatter().degrees();
    let evidence = format!(
        "{}; without it the peaks scatter by {} deg about the model, with it by {} deg (one \
         coordinate); p-value {}, corrected for {} causes tested{}",
        what_it_does(explanation, station, cause),
        number::two_digits(before),
        number::two_digits(after),
        number::probability(cause.p_value),
        explanation.tried,
        if place_searched(hypothesis) {
            " and for every place or rate where it could be"
        } else {
            ""
        }
    );
    let rows = match hypothesis {
        Hypothesis::Relabelled { emitter, .. } => rows_of_emitter(explanation, *emitter),
        other => other
            .instant()
            .map_or_else(Vec::new, |i| vec![i.between.0, i.between.1]),
    };
    let (fault, size) = named(cause, after);
    let evidence = match (fault, hypothesis) {
        (Fault::WrongUnit, Hypothesis::Terms(_)) => format!(
            "{evidence}. One of its numbers is one of the {}",
            unit_of(cause.size.value, cause.size.sigma).map_or("other unit", |(unit, _)| unit)
        ),
        _ => evidence,
    };
    let found = finding(
        station.mount.kind(),
        fault,
        hypothesis.axis(),
        cause.p_value,
        evidence,
    );
    let (confirm, mend) = match hypothesis {
        Hypothesis::LogZero(_) => (
            format!("{ZEROED_AGAIN} If not: {}", found.confirm),
            format!("{ASK_FOR_ZEROS} If it was not meant to: {}", found.mend),
        ),
        _ => (found.confirm.clone(), found.mend.clone()),
    };
    Finding {
        confirm,
        mend,
        headline: headline(station, cause, fault, &size),
        size: Some(size.value),
        size_unit: size.unit.to_owned(),
        sigma: Some(size.sigma),
        rows,
        strength: cause.bic_fall,
        rivals: rivals(station.mount.kind(), &cause.rivals),
        subject: Subject::Cause(place),
        ..found
    }
}

/// How to confirm a zero that changed from one log to the next.
const ZEROED_AGAIN: &str =
    "Was the encoder zeroed again, taken off or switched off between the two logs?";
/// What to do about it.
const ASK_FOR_ZEROS: &str = "An encoder that is zeroed for each log needs no mending: solve with \
     --zeros-per-log, and zero it the same way before the correction is used.";

/// The fault's name and size: a clock offset of whole hours is a time zone, a scale error that
/// matches another unit is a wrong unit.
fn named(cause: &Cause, scatter_deg: f64) -> (Fault, Size) {
    let (fault, size) = (cause.fault(), cause.size);
    let zone = zone_of(size.value).filter(|_| fault == Fault::Clock);
    if let Some(hours) = zone {
        return (
            Fault::TimeZone,
            Size {
                value: hours,
                sigma: size.sigma / 3600.0,
                unit: "h",
            },
        );
    }
    let unit = unit_of(size.value, size.sigma).filter(|_| fault == Fault::WrongScale);
    if let Some((_, degrees)) = unit {
        return (
            Fault::WrongUnit,
            Size {
                value: degrees,
                unit: "deg per unit",
                ..size
            },
        );
    }
    match &cause.hypothesis {
        Hypothesis::Relabelled { .. } => (
            fault,
            Size {
                sigma: scatter_deg,
                ..size
            },
        ),
        _ => (fault, size),
    }
}

/// The finding as one plain sentence.
fn headline(station: &Station, cause: &Cause, fault: Fault, size: &Size) -> String {
    let mount = station.mount.kind();
    let said = measured(size.value.abs(), size.sigma, size.unit);
    let axis = cause.hypothesis.axis().words_on(mount);
    let emitter =
        |k: usize| (station.emitters.get(k)).map_or("a satellite".to_owned(), |e| e.name.clone());
    let after = |what: String| match cause.instant() {
        Some(i) => format!("{what} after row {}", i.between.0),
        None => what,
    };
    match (&cause.hypothesis, fault) {
        (_, Fault::TimeZone) => format!("The times are {:+} h off: another time zone", -size.value),
        (_, Fault::WrongUnit) => format!("The {axis} readings are in another unit than degrees"),
        (_, Fault::AzimuthBacklash | Fault::ElevationBacklash) => {
            format!("The {axis} axis has {said} of play")
        }
        (Hypothesis::LogZero(_), _) => after(format!(
            "The {axis} reading is another, by {said}, from one log to the next,"
        )),
        (Hypothesis::Slip { .. }, _) => {
            after(format!("The {axis} axis slipped or lost steps, by {said},"))
        }
        (Hypothesis::BaseKnock(_), _) => {
            let moved = match mount.has_track() {
                true => "leans",
                false => "points",
            };
            after(format!(
                "The {} {moved} differently, by {said},",
                mount.axis_1()
            ))
        }
        (Hypothesis::DishKnock(_), _) => {
            after(format!("The beam points elsewhere on the dish, by {said},"))
        }
        (Hypothesis::Creep { .. }, _) => format!("The {axis} axis slips slowly, by {said}"),
        (Hypothesis::Temperature { .. } | Hypothesis::DayCycle(_), _) => {
            format!("The {axis} axis follows the temperature, by {said}")
        }
        (_, Fault::AzimuthRunout | Fault::ElevationRunout) => {
            format!("The {axis} gear or encoder is eccentric: {said} once per turn")
        }
        (Hypothesis::WarpThrice, _) => {
            format!("The azimuth track lifts the dish by {said} three times per turn")
        }
        (_, Fault::WarpedTrack) => {
            format!("The azimuth track lifts the dish by {said} twice per turn")
        }
        (Hypothesis::Ripple { per_turn, .. }, _) => format!(
            "The {axis} axis has a fast ripple of {said}, {per_turn} times per turn (every {} deg)",
            number::two_digits(360.0 / f64::from(*per_turn))
        ),
        (Hypothesis::Teeth { pinion, .. }, _) => format!(
            "The {axis} axis is off by {said} once per {}",
            if *pinion {
                "turn of the pinion"
            } else {
                "tooth"
            }
        ),
        (Hypothesis::Pattern { with, times, .. }, _) => format!(
            "Something unexplained moves the {axis} axis by {said}, {times} times per turn of the {}",
            with.words_on(mount)
        ),
        (_, Fault::WrongScale) => {
            let way = if size.value < 0.0 { "less" } else { "further" };
            format!(
                "The {axis} axis moves {} % {way} than its encoder says",
                measured(100.0 * size.value.abs(), 100.0 * size.sigma, "")
            )
        }
        (Hypothesis::LooseDish(_) | Hypothesis::Flop { .. }, _) => {
            format!("The dish or the feed shifts by {said} as the dish is raised")
        }
        (Hypothesis::Settling { .. }, _) => format!("The pier leans more and more, by {said}"),
        (_, Fault::Clock) => format!(
            "The clock is {}: {said} must be {} the logged times",
            if size.value > 0.0 { "slow" } else { "fast" },
            if size.value > 0.0 {
                "added to"
            } else {
                "taken from"
            }
        ),
        (Hypothesis::Stale { emitter: k }, _) => format!(
            "The orbit elements of {} are stale: it is {said} {}",
            emitter(*k),
            if size.value > 0.0 { "early" } else { "late" }
        ),
        (Hypothesis::Air { times }, _) => match times {
            0.0 => "The readings leave refraction out".to_owned(),
            _ => "The readings have refraction applied twice".to_owned(),
        },
        (
            Hypothesis::Relabelled {
                emitter: k, really, ..
            },
            _,
        ) => {
            format!("The peaks logged as {} were {really}", emitter(*k))
        }
        _ => words::capital(&fault.words_on(mount)),
    }
}

fn place_searched(hypothesis: &Hypothesis) -> bool {
    hypothesis.instant().is_some() && !matches!(hypothesis, Hypothesis::LogZero(_))
        || matches!(
            hypothesis,
            Hypothesis::BalanceFlip { .. } | Hypothesis::Flop { .. } | Hypothesis::Ripple { .. }
        )
}

fn rows_of_emitter(explanation: &Explanation, emitter: usize) -> Vec<usize> {
    let peaks = explanation.session.peaks.iter();
    peaks
        .filter(|p| p.emitter == emitter)
        .map(|p| p.row)
        .collect()
}

fn what_it_does(explanation: &Explanation, station: &Station, cause: &Cause) -> String {
    let mount = station.mount.kind();
    let (size, values) = (&cause.size, &cause.values);
    let said = measured(size.value, size.sigma, size.unit);
    let axis = cause.hypothesis.axis().words_on(mount);
    let kept = || {
        (explanation.session.peaks.iter().zip(&explanation.fit.kept))
            .filter(|(_, k)| **k)
            .map(|(p, _)| p)
    };
    let heading = |times: f64| {
        Angle::from_radians(values[1].atan2(values[0]) / times)
            .wrapped_positive()
            .degrees()
    };
    let between = |rows: (usize, usize)| {
        let time = |row: usize| {
            (explanation.session.peaks.iter())
                .find(|p| p.row == row)
                .map_or(String::new(), |p| p.time.to_string())
        };
        format!(
            "between row {} ({}) and row {} ({})",
            rows.0,
            time(rows.0),
            rows.1,
            time(rows.1)
        )
    };
    let waves = |with: &str, times: f64| {
        format!(
            "the {axis} axis runs ahead of and behind its encoder by {said}, {times} times per turn of \
             the {with}, farthest ahead at a reading of {:.0} deg",
            heading(times)
        )
    };
    match &cause.hypothesis {
        // Not a fault: feeds are mounted at an offset.
        Hypothesis::Feed(_) => String::new(),
        Hypothesis::Terms(terms) => match terms.first().map(|t| t.group()) {
            Some(Group::AzimuthBacklash | Group::ElevationBacklash) => {
                let sign = |p: &SessionPeak| match cause.hypothesis.axis() {
                    FaultAxis::Azimuth => p.sighting.approach.azimuth,
                    _ => p.sighting.approach.elevation,
                };
                let up = kept().filter(|p| sign(p) > 0.0).count();
                let down = kept().filter(|p| sign(p) < 0.0).count();
                let odd = if size.value < 0.0 {
                    "; it is negative, so + and - may be exchanged in the log"
                } else {
                    ""
                };
                format!(
                    "the {axis} axis stands {said} apart between the {up} peaks that arrived with \
                     increasing readings and the {down} that arrived with decreasing readings{odd}"
                )
            }
            Some(Group::AzimuthRunout) => format!(
                "the {axis} axis runs ahead of and behind its encoder by {said} once per turn, \
                 farthest ahead at a reading of {:.0} deg",
                heading(1.0)
            ),
            Some(Group::ElevationRunout) if values.len() == 2 => format!(
                "the {axis} axis runs ahead of and behind its encoder by {said} once per turn, \
                 farthest ahead at a reading of {:.0} deg",
                heading(1.0)
            ),
            Some(Group::ElevationRunout) => format!(
                "the {axis} axis differs from its encoder by {said} times the sine of the \
                 reading; the cosine's part cannot be told from droop"
            ),
            Some(Group::TrackWarp) => format!(
                "the beam is lifted and lowered by {said} twice per turn of the azimuth, highest at \
                 a reading of {:.0} deg",
                heading(2.0)
            ),
            Some(Group::ClockOffset) => format!(
                "emitters that move are where they should be when {said} are added to the logged \
                 times; those that stand still are not affected"
            ),
            _ => format!(
                "the {axis} axis moves by {} of the way {} than its encoder says, {:+.2} deg in a \
                 whole turn",
                measured(size.value.abs(), size.sigma, ""),
                if size.value < 0.0 { "less" } else { "more" },
                size.value * 360.0
            ),
        },
        Hypothesis::BalanceFlip { at } => format!(
            "the {axis} axis stands {said} higher above an elevation of {:.1} deg than below it, as \
             play does when it falls to the other side at the point of balance",
            at.degrees()
        ),
        Hypothesis::LogZero(change) => format!(
            "from {} to {}, {}, the {axis} reading jumps by {said} for the same direction: \
             the encoder was zeroed again, or lost its place between the logs",
            explanation.session.log_name(change.logs.0),
            explanation.session.log_name(change.logs.1),
            between(change.instant.between)
        ),
        Hypothesis::Slip { instant, .. } => format!(
            "{} the {axis} reading jumps by {said} for the same direction",
            between(instant.between)
        ),
        Hypothesis::BaseKnock(instant) if !mount.has_track() => format!(
            "{} the {} moves by {said}, {:+.3} deg up and {:+.3} deg {}, and stays there",
            between(instant.between),
            mount.axis_1(),
            Angle::from_radians(values[0]).degrees(),
            Angle::from_radians(values[1]).degrees(),
            match mount {
                Kind::Polar(_) => "east",
                _ => "clockwise",
            }
        ),
        Hypothesis::BaseKnock(instant) => format!(
            "{} the azimuth axis's top moves by {said} toward azimuth {:.0} deg and stays there",
            between(instant.between),
            heading(1.0)
        ),
        Hypothesis::DishKnock(instant) => format!(
            "{} the beam moves on the dish by {said}, {:+.3} deg to the right and {:+.3} deg up",
            between(instant.between),
            Angle::from_radians(values[0]).degrees(),
            Angle::from_radians(values[1]).degrees()
        ),
        Hypothesis::Ripple { per_turn, .. } => format!(
            "{}; its period is {} deg. The station file gives no teeth to say which gear it is",
            waves(axis, f64::from(*per_turn)),
            number::two_digits(360.0 / f64::from(*per_turn))
        ),
        Hypothesis::Pattern { with, times, .. } => {
            format!(
                "{}; no known cause does that",
                waves(with.words_on(mount), f64::from(*times))
            )
        }
        Hypothesis::Creep { .. } => {
            let span = kept().map(|c| c.hours).fold(0.0, f64::max);
            format!(
                "the {axis} reading for the same direction changes by {said}, {} deg over \
                 the {:.1} hours of the log",
                number::two_digits(size.value * span),
                span
            )
        }
        Hypothesis::Temperature { mean_c, .. } => {
            let logged = || kept().filter_map(|c| c.temperature_c);
            let low = logged().fold(f64::INFINITY, f64::min);
            let high = logged().fold(f64::NEG_INFINITY, f64::max);
            format!(
                "the {axis} reading for the same direction follows the logged temperature \
                 ({low:.0} to {high:.0} C, mean {mean_c:.0} C) by {said}"
            )
        }
        Hypothesis::DayCycle(_) => format!(
            "the {axis} axis swings with the time of day by {said}, farthest ahead at {:.1} h local \
             solar time; no temperature is logged, so more cannot be said",
            heading(1.0) / 15.0
        ),
        Hypothesis::WarpThrice => format!(
            "the beam is lifted and lowered by {said} three times per turn of the azimuth, highest \
             at a reading of {:.0} deg",
            heading(3.0)
        ),
        Hypothesis::Teeth {
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
        Hypothesis::Grads(_) => format!(
            "the {axis} axis moves by a tenth less than its numbers say: they are grads, 400 to the \
             turn"
        ),
        Hypothesis::LooseDish(FaultAxis::Azimuth) => format!(
            "the beam moves sideways in the dish by {said} as it is raised, more than collimation \
             and axis skew allow for"
        ),
        Hypothesis::LooseDish(_) => format!(
            "the beam moves up and down in the dish by {said} as it is raised, more than droop by \
             the cosine allows for"
        ),
        Hypothesis::Flop { at } => format!(
            "the beam jumps sideways in the dish by {said} at an elevation of {:.1} deg",
            at.degrees()
        ),
        // Not a fault: it is never reported.
        Hypothesis::Lag { .. } => String::new(),
        Hypothesis::Settling { .. } if !mount.has_track() => {
            format!("the {} moves more and more, by {said}", mount.axis_1())
        }
        Hypothesis::Settling { .. } => format!(
            "the azimuth axis leans more and more, by {said} toward azimuth {:.0} deg",
            heading(1.0)
        ),
        Hypothesis::Stale { emitter } => {
            let name = (station.emitters.get(*emitter)).map_or("a satellite", |e| e.name.as_str());
            let rows = rows_of_emitter(explanation, *emitter);
            let way: Vec<f64> = (explanation.session.peaks.iter())
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
                number::two_digits(Angle::from_radians(mean * size.value.abs()).degrees()),
                words::rows(&rows)
            )
        }
        Hypothesis::Air { times } => {
            let free = format!(
                "{size:.2} +/- {sigma:.2}",
                size = size.value,
                sigma = size.sigma
            );
            if *times == 0.0 {
                format!(
                    "low emitters appear as if the air did not bend their rays ({free} times its \
                     bending is in the readings): they have been corrected for it already"
                )
            } else {
                format!(
                    "low emitters appear as if the air bent their rays twice ({free} times its \
                     bending is in the readings)"
                )
            }
        }
        Hypothesis::Relabelled {
            really, emitter, ..
        } => format!(
            "all peaks logged as {} ({}) lie on {really}",
            (station.emitters.get(*emitter)).map_or("that emitter", |e| e.name.as_str()),
            words::rows(&rows_of_emitter(explanation, *emitter))
        ),
    }
}
