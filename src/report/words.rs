//! Mount errors in full names and plain words.

use crate::angle::Angle;
use crate::logbook::TermState;
use crate::mount::{AxisKind, FeedOffset, Group, Kind, Term, TermUnit};
use crate::number;
use crate::problem::printable;
use crate::solve::words::compass_word;
use crate::solve::{Outcome, TermEstimate};
use crate::station::Station;

/// Below this many standard deviations a value is not significantly different from zero: the usual
/// two.
const NOTICEABLE: f64 = 2.0;

/// A term's name in full.
pub fn term_name(kind: Kind, term: Term) -> &'static str {
    kind.term_words(term)
}

/// A group's name in full.
pub fn group_name(kind: Kind, group: Group) -> &'static str {
    kind.group_words(group)
}

/// The unit behind a term's number; a fraction is called so.
pub fn unit_name(unit: TermUnit) -> &'static str {
    match unit {
        TermUnit::Fraction => "fraction",
        other => other.symbol(),
    }
}

/// How a term came by its value.
pub fn state_name(state: TermState) -> &'static str {
    match state {
        TermState::Fitted => "fitted",
        TermState::Held => "held",
        TermState::NotSeparable => "not separable",
    }
}

/// Names of several terms as a list: groups where whole, else their parts.
pub fn term_list(kind: Kind, terms: &[Term]) -> String {
    let mut names: Vec<&str> = Vec::new();
    for term in terms {
        let whole = term.group().terms().all(|t| terms.contains(&t));
        let name = if whole {
            group_name(kind, term.group())
        } else {
            term_name(kind, *term)
        };
        if !names.contains(&name) {
            names.push(name);
        }
    }
    match names.as_slice() {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [many @ .., last] => format!("{} and {last}", many.join(", ")),
    }
}

/// The same with a capital letter in front.
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// One mount error said in plain words.
#[derive(Clone, Debug, PartialEq)]
pub struct Meaning {
    /// Of which errors.
    pub group: Group,
    /// What it means, a clause without full stop.
    pub text: String,
}

/// Every group of terms of an outcome in plain words, with uncertainties.
pub fn meanings(outcome: &Outcome) -> Vec<Meaning> {
    Group::ALL
        .into_iter()
        .filter_map(|group| {
            let members: Vec<&TermEstimate> = (outcome.terms.iter())
                .filter(|t| t.term.group() == group)
                .collect();
            let first = *members.first()?;
            let text = if members.iter().any(|t| t.state == TermState::NotSeparable) {
                not_separable(&members)
            } else if members.len() == 2 {
                vector_meaning(group, members[0], members[1], outcome)
            } else {
                single_meaning(outcome.model.kind(), first)
            };
            Some(Meaning { group, text })
        })
        .collect()
}

/// Where the beams of further feeds lie, a sentence each.
pub fn feeds(outcome: &Outcome, station: &Station) -> Vec<String> {
    let Some(first) = station.feeds.first() else {
        return Vec::new();
    };
    let found = outcome.explanation.iter().flat_map(|e| &e.feeds);
    found
        .filter_map(|found| Some((found, station.feeds.get(found.feed)?)))
        .map(|(found, feed)| {
            let part = |value: Angle, sigma: Angle, more: &str, less: &str| {
                let (size, sigma) = number::with_sigma(value.degrees().abs(), sigma.degrees());
                let side = if value < Angle::ZERO { less } else { more };
                format!("{size} +/- {sigma} deg {side}")
            };
            let (offset, sigma) = (found.offset, found.sigma);
            format!(
                "The beam of the feed {} lies {} and {} that of {}, seen along the beam with the {}'s \
                 outer end up ({}).",
                printable(&feed.name),
                part(offset.right, sigma.right, "to the right", "to the left"),
                part(offset.up, sigma.up, "above", "below"),
                printable(&first.name),
                outcome.model.kind().axis_1(),
                FeedOffset::term_names(&feed.name).join(", ")
            )
        })
        .collect()
}

fn not_separable(members: &[&TermEstimate]) -> String {
    let at = if members.iter().all(|t| t.value == 0.0) {
        "zero"
    } else {
        "a value given beforehand"
    };
    format!("cannot be told from other errors with these peaks; held at {at}")
}

fn held(estimate: &TermEstimate) -> &'static str {
    match estimate.state {
        TermState::Held => " (held, not measured)",
        _ => "",
    }
}

/// A size without sign and its deviation, in words: `0.62 +/- 0.02 deg`. A fraction is
/// said in percent.
fn size_words(value: f64, sigma: Option<f64>, unit: TermUnit) -> String {
    let (factor, name) = match unit {
        TermUnit::Fraction => (100.0, "%"),
        other => (1.0, other.symbol()),
    };
    let value = value.abs() * factor;
    match sigma.map(|s| s * factor) {
        Some(s) if number::decimals_for(s).is_some() => {
            let (v, s) = number::with_sigma(value, s);
            format!("{v} +/- {s} {name}")
        }
        _ => format!("{} {name}", number::significant(value, 3)),
    }
}

fn single_meaning(kind: Kind, t: &TermEstimate) -> String {
    let size = size_words(t.shown(), t.shown_sigma(), t.term.unit());
    if (t.shown_sigma()).is_some_and(|s| s > 0.0 && t.shown().abs() < NOTICEABLE * s) {
        return format!("not significant: {size} is within what chance alone gives");
    }
    if t.state == TermState::Held && t.value == 0.0 {
        return "held at zero, not measured".to_owned();
    }
    let up = t.value >= 0.0;
    let pick =
        |positive: &'static str, negative: &'static str| if up { positive } else { negative };
    let [one, two] = kind.axes();
    let (first, second) = (kind.axis_1(), kind.axis_2());
    let text = match t.term {
        Term::AzimuthZero => format!(
            "the {first} stands {size} further {} than the encoder says",
            pick(one.increasing(), one.decreasing())
        ),
        Term::ElevationZero if !kind.has_track() => format!(
            "the {second} stands {size} further {} than the encoder says",
            pick(two.increasing(), two.decreasing())
        ),
        Term::TiltNorth if !kind.has_track() => format!(
            "the outer end of the {first} points {size} too {}",
            pick("high", "low")
        ),
        Term::TiltEast if matches!(kind, Kind::Polar(_)) => format!(
            "the outer end of the {first} points {size} too far {}",
            pick("east", "west")
        ),
        Term::TiltEast if !kind.has_track() => format!(
            "the outer end of the {first} points {size} too far {}",
            pick("clockwise", "anticlockwise")
        ),
        Term::AxisSkew if !kind.has_track() => format!(
            "the {} end of the {second} leans {size} toward the outer end of the {first}, seen along \
             the beam with that end up",
            pick("right-hand", "left-hand")
        ),
        Term::Collimation if !kind.has_track() => format!(
            "the beam points {size} {} of the dish's nominal axis, seen along the beam with the outer \
             end of the {first} up",
            pick("right", "left")
        ),
        Term::ElevationZero => format!(
            "the elevation axis stands {size} {} than the encoder says",
            pick("higher", "lower")
        ),
        Term::TiltNorth => format!(
            "the azimuth axis's top leans {size} {}",
            pick("north", "south")
        ),
        Term::TiltEast => format!(
            "the azimuth axis's top leans {size} {}",
            pick("east", "west")
        ),
        Term::Collimation => format!(
            "the beam points {size} {} of the dish's nominal axis",
            pick("right", "left")
        ),
        Term::AxisSkew => format!(
            "the {} end of the elevation axis is high by {size}, seen along the beam",
            pick("right-hand", "left-hand")
        ),
        Term::Droop => format!(
            "the beam {} by {size} at the horizon, by half of it at elevation 60 deg",
            pick("sags", "rises (the opposite of sagging)")
        ),
        Term::AzimuthScale | Term::ElevationScale => format!(
            "the {} axis moves {size} {} than the encoder says",
            axis_word(kind, t.term),
            pick("further", "less far")
        ),
        Term::AzimuthBacklash | Term::ElevationBacklash => format!(
            "the {} drive has {size} of play{}",
            axis_word(kind, t.term),
            pick(
                "",
                ", but with the wrong sign: check the logged approach signs"
            )
        ),
        Term::ClockOffset => format!(
            "the logging clock runs {size} {}",
            pick(
                "slow: add it to the logged times",
                "fast: take it from the logged times"
            )
        ),
        Term::AzimuthRunoutCos
        | Term::AzimuthRunoutSin
        | Term::ElevationRunoutCos
        | Term::ElevationRunoutSin
        | Term::TrackWarpCos
        | Term::TrackWarpSin => {
            format!("only one part of it was requested: {}{size}", pick("", "-"))
        }
    };
    text + held(t)
}

fn axis_word(kind: Kind, term: Term) -> &'static str {
    let [one, two] = kind.axes().map(AxisKind::words);
    match term {
        Term::AzimuthScale | Term::AzimuthBacklash => one,
        _ => two,
    }
}

fn vector_meaning(group: Group, x: &TermEstimate, y: &TermEstimate, outcome: &Outcome) -> String {
    let (size, sigma, direction, spread) = outcome.size_and_direction(x, y);
    let words = size_words(size, sigma, x.term.unit());
    if sigma.is_some_and(|s| s > 0.0 && size < NOTICEABLE * s) {
        return format!("not significant: {words} is within what chance alone gives");
    }
    let heading = |a: Angle| {
        let degrees = a.wrapped_positive().degrees();
        match spread {
            Some(s) if number::decimals_for(s.degrees()).is_some() => {
                let (v, s) = number::with_sigma(degrees, s.degrees());
                format!("{v} +/- {s} deg")
            }
            _ => format!("{degrees:.0} deg"),
        }
    };
    let kind = outcome.model.kind();
    let [one, two] = kind.axes().map(AxisKind::words);
    let text = match group {
        Group::Tilt if !kind.has_track() => {
            let (high, aside) = (x.shown(), y.shown());
            let part = |e: &TermEstimate| size_words(e.shown(), e.shown_sigma(), e.term.unit());
            let sideways = match (kind, aside >= 0.0) {
                (Kind::Polar(_), true) => "east",
                (Kind::Polar(_), false) => "west",
                (_, true) => "clockwise",
                (_, false) => "anticlockwise",
            };
            format!(
                "the outer end of the {} points {} too {} and {} too far {sideways}, {words} in all",
                kind.axis_1(),
                part(x),
                if high >= 0.0 { "high" } else { "low" },
                part(y)
            )
        }
        Group::Tilt => format!(
            "the azimuth axis's top leans {words} toward azimuth {} ({})",
            heading(direction),
            compass_word(direction)
        ),
        Group::AzimuthRunout => format!(
            "once a turn the {one} axis runs up to {words} ahead of its encoder, most at reading {}",
            heading(direction)
        ),
        Group::ElevationRunout if !kind.has_track() => format!(
            "once a turn the {two} axis runs up to {words} ahead of its encoder, most at reading {}",
            heading(direction)
        ),
        Group::ElevationRunout => format!(
            "the elevation axis runs up to {words} above its encoder, most at reading {}",
            heading(direction)
        ),
        Group::TrackWarp => {
            let crest = direction / 2.0;
            format!(
                "twice a turn the track lifts the beam, by up to {words}, most at azimuth readings \
                 {:.0} and {:.0} deg",
                crest.wrapped_positive().degrees(),
                (crest + Angle::HALF_TURN).wrapped_positive().degrees()
            )
        }
        _ => format!("{words} in all"),
    };
    text + held(x)
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{self, Session};
    use super::*;
    use crate::angle::EncoderReading;
    use crate::mount::{ApproachSigns, MountModel, TermValues};

    /// The meaning of terms with these values, all fitted with a small deviation.
    fn said(values: &[(Term, f64)]) -> String {
        let mut outcome = fixture::outcome(&Session::default());
        outcome.correlations.clear();
        outcome.terms = (values.iter())
            .map(|(term, shown)| TermEstimate {
                prior_sigma: None,
                term: *term,
                value: term.unit().inward(*shown),
                sigma: Some(term.unit().inward(1e-4)),
                state: TermState::Fitted,
            })
            .collect();
        meanings(&outcome)[0].text.clone()
    }

    /// How the beam moves at a reading, in degrees of cross-elevation and elevation.
    fn beam_moves(values: &[(Term, f64)], azimuth: f64, elevation: f64) -> (f64, f64) {
        let terms =
            (values.iter()).fold(TermValues::ZERO, |all, (term, v)| all.with_shown(*term, *v));
        let reading = EncoderReading::from_degrees(azimuth, elevation);
        let beam = |terms| MountModel::az_el(terms).beam(reading, ApproachSigns::UNKNOWN);
        let step = beam(TermValues::ZERO).offset_to(&beam(terms));
        (step.cross_elevation.degrees(), step.elevation.degrees())
    }

    /// Words and model must say the same of each sign.
    #[test]
    fn words_have_the_sign_of_the_model() {
        for (term, word_up, word_down, beam_up) in [
            // For the positive value: what is said, and which way the beam goes at reading (40,
            // 50).
            (Term::AzimuthZero, " clockwise", "anticlockwise", (1.0, 0.0)),
            (Term::ElevationZero, "higher", "lower", (0.0, 1.0)),
            (Term::Collimation, "right", "left", (1.0, 0.0)),
            (Term::AxisSkew, "right-hand", "left-hand", (-1.0, 0.0)),
            (Term::Droop, "sags", "rises", (0.0, -1.0)),
            (Term::AzimuthScale, " further", "less far", (1.0, 0.0)),
            (Term::ElevationScale, " further", "less far", (0.0, 1.0)),
            // The top leans away to the north: a beam to the north sinks.
            (Term::TiltNorth, "north", "south", (0.0, -1.0)),
            (Term::TiltEast, "east", "west", (0.0, -1.0)),
        ] {
            let size = if term.unit() == TermUnit::Fraction {
                0.01
            } else {
                0.5
            };
            assert!(said(&[(term, size)]).contains(word_up), "{term:?}");
            assert!(said(&[(term, -size)]).contains(word_down), "{term:?}");
            assert!(!said(&[(term, size)]).contains(word_down), "{term:?}");
            let (cross, up) = beam_moves(&[(term, size)], 40.0, 50.0);
            assert!(
                cross * beam_up.0 + up * beam_up.1 > 0.1,
                "{term:?}: {cross} {up}"
            );
        }
        assert!(said(&[(Term::ClockOffset, 2.0)]).contains("slow: add it"));
        assert!(said(&[(Term::ClockOffset, -2.0)]).contains("fast: take it from"));
        assert!(
            said(&[(Term::ElevationBacklash, 0.3)]).ends_with("0.30000 +/- 0.00010 deg of play")
        );
    }

    #[test]
    fn headings_are_those_of_the_model() {
        let tilt = [(Term::TiltNorth, 0.3), (Term::TiltEast, -0.4)];
        let text = said(&tilt);
        assert!(
            text.contains("leans 0.50000 +/- 0.00010 deg toward azimuth 306.870"),
            "{text}"
        );
        assert!(text.contains("(north-west)"), "{text}");
        // In that direction the beam sinks most.
        let (_, there) = beam_moves(&tilt, 306.87, 20.0);
        assert!((there + 0.5).abs() < 1e-3, "{there}");

        let runout = [(Term::AzimuthRunoutCos, 0.3), (Term::AzimuthRunoutSin, 0.4)];
        assert!(
            said(&runout).contains("most at reading 53.130"),
            "{}",
            said(&runout)
        );
        assert!((beam_moves(&runout, 53.13, 0.0).0 - 0.5).abs() < 1e-4);

        let warp = [(Term::TrackWarpCos, 0.3), (Term::TrackWarpSin, 0.4)];
        assert!(
            said(&warp).contains("readings 27 and 207 deg"),
            "{}",
            said(&warp)
        );
        assert!((beam_moves(&warp, 206.565, 30.0).1 - 0.5).abs() < 1e-4);
    }

    #[test]
    fn what_chance_alone_gives_is_no_error() {
        let mut outcome = fixture::outcome(&Session::default());
        outcome.terms = vec![TermEstimate {
            prior_sigma: None,
            term: Term::Collimation,
            value: 0.001,
            sigma: Some(0.001),
            state: TermState::Fitted,
        }];
        assert!(meanings(&outcome)[0].text.starts_with("not significant"));
        outcome.terms[0].state = TermState::NotSeparable;
        assert!(
            meanings(&outcome)[0]
                .text
                .contains("cannot be told from other errors")
        );
    }

    #[test]
    fn lists_name_whole_groups() {
        assert_eq!(
            term_list(
                Kind::AzEl,
                &[Term::TiltNorth, Term::TiltEast, Term::AxisSkew]
            ),
            "axis tilt and axis skew"
        );
        assert_eq!(
            term_list(Kind::AzEl, &[Term::TiltEast]),
            "axis tilt, east part"
        );
    }

    #[test]
    fn directions_have_their_uncertainty() {
        let mut outcome = fixture::outcome(&Session::default());
        let part = |term, value: f64, sigma: f64| TermEstimate {
            prior_sigma: None,
            term,
            value,
            sigma: Some(sigma),
            state: TermState::Fitted,
        };
        let (x, y) = (
            part(Term::TiltNorth, 0.03, 0.001),
            part(Term::TiltEast, 0.0, 0.002),
        );
        outcome.correlations.clear();
        let (size, sigma, _, spread) = outcome.size_and_direction(&x, &y);
        // Along the lean the north part's deviation counts, across it the east part's.
        assert!((sigma.unwrap() - x.shown_sigma().unwrap()).abs() < 1e-12);
        let across = y.shown_sigma().unwrap() / size;
        assert!((spread.unwrap().radians() - across).abs() < 1e-12);
    }
}
