//! CCSDS orbit mean-elements messages in JSON.

use serde_json::Value;

use super::{Orbits, TURN_PER_DAY};
use crate::angle::Angle;
use crate::problem::{Problem, Problems};
use crate::quantity::Quantity;
use crate::sky::satellite::{MeanElements, Orbit};
use crate::station::limits;
use crate::time::{TimeTextError, Utc};

/// Reads one message or a list of them.
pub(super) fn read(name: &str, text: &str, orbits: &mut Orbits, problems: &mut Problems) {
    let document: Value = match serde_json::from_str(text) {
        Ok(document) => document,
        Err(e) => {
            problems.push(
                Problem::of_file(
                    name,
                    without_place(&e.to_string()),
                    "one orbit mean-elements message or a list of them, in JSON",
                )
                .at(e.line(), e.column().max(1)),
            );
            return;
        }
    };
    let messages = match document {
        Value::Array(list) => list,
        one => vec![one],
    };
    let starts = object_lines(text);
    for (i, message) in messages.iter().enumerate() {
        let line = starts.get(i).copied().unwrap_or(1);
        match read_message(message) {
            Ok((norad_id, orbit)) => orbits.entry(norad_id).or_default().push(orbit),
            Err((found, expected)) => {
                problems.push(Problem::of_file(name, found, expected).at(line, 1));
            }
        }
    }
}

fn without_place(words: &str) -> String {
    words.split(" at line ").next().unwrap_or(words).to_owned()
}

/// The lines on which the outermost objects begin. The text is known to be JSON.
fn object_lines(text: &str) -> Vec<usize> {
    let (mut lines, mut depth, mut line) = (Vec::new(), 0usize, 1);
    let (mut in_string, mut escaped) = (false, false);
    for byte in text.bytes() {
        match byte {
            b'\n' => line += 1,
            _ if escaped => escaped = false,
            b'\\' if in_string => escaped = true,
            b'"' => in_string = !in_string,
            b'{' if !in_string => {
                if depth == 0 {
                    lines.push(line);
                }
                depth += 1;
            }
            b'}' if !in_string => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    lines
}

type Fault = (String, String);

/// One message. Keys that SGP4 has no use for are not asked for; those which say that the
/// elements are of another kind are heeded.
fn read_message(message: &Value) -> Result<(u64, Orbit), Fault> {
    let Value::Object(message) = message else {
        return Err((
            format!("{message}"),
            "an orbit mean-elements message, in braces".to_owned(),
        ));
    };
    let text = |key: &str| message.get(key).and_then(Value::as_str).map(str::trim);
    for (key, wanted) in [
        ("TIME_SYSTEM", &["UTC"][..]),
        ("REF_FRAME", &["TEME"][..]),
        ("CENTER_NAME", &["EARTH"][..]),
        ("MEAN_ELEMENT_THEORY", &["SGP4", "SGP/SGP4"][..]),
    ] {
        if let Some(given) = text(key)
            && !wanted.iter().any(|w| given.eq_ignore_ascii_case(w))
        {
            return Err((format!("{key} {given:?}"), wanted[0].to_owned()));
        }
    }
    let norad_id = number(message, "NORAD_CAT_ID")?;
    if norad_id < 0.0 || norad_id.fract() != 0.0 {
        return Err((
            format!("NORAD_CAT_ID {norad_id}"),
            "a whole number".to_owned(),
        ));
    }
    let epoch_text = text("EPOCH").ok_or_else(|| missing("EPOCH"))?;
    let epoch = match Utc::parse(epoch_text) {
        // The standard writes the epoch without a zone; TIME_SYSTEM says that it is UTC.
        Err(TimeTextError::NoZone) => Utc::parse(&format!("{epoch_text}Z")),
        other => other,
    }
    .map_err(|e| {
        (
            format!("EPOCH {epoch_text:?} {e}"),
            "a time in UTC".to_owned(),
        )
    })?;
    let angle = |key| number(message, key).map(|d| Angle::from_degrees(d).radians());
    let orbit = Orbit::new(&MeanElements {
        epoch,
        inclination: angle("INCLINATION")?,
        right_ascension: angle("RA_OF_ASC_NODE")?,
        eccentricity: number(message, "ECCENTRICITY")?,
        argument_of_perigee: angle("ARG_OF_PERICENTER")?,
        mean_anomaly: angle("MEAN_ANOMALY")?,
        mean_motion: number(message, "MEAN_MOTION")? * TURN_PER_DAY,
        drag_term: number(message, "BSTAR")?,
    })
    .map_err(|e| (e, "elements of an orbit".to_owned()))?;
    Ok((norad_id as u64, orbit))
}

fn missing(key: &str) -> Fault {
    (format!("no {key}"), format!("{key} in every message"))
}

/// What a number of a message may be.
fn quantity(key: &str) -> Quantity {
    match key {
        "NORAD_CAT_ID" => Quantity {
            low: 0.0,
            ..limits::NORAD_ID
        },
        "INCLINATION" => limits::INCLINATION,
        "ECCENTRICITY" => limits::ECCENTRICITY,
        "MEAN_MOTION" => limits::MEAN_MOTION,
        "BSTAR" => limits::DRAG_TERM,
        _ => limits::TURN,
    }
}

/// A number, which some issuers write as text.
fn number(message: &serde_json::Map<String, Value>, key: &str) -> Result<f64, Fault> {
    let given = message.get(key).ok_or_else(|| missing(key))?;
    let value = match given {
        Value::Number(n) => n.as_f64(),
        Value::String(s) => s.trim().parse().ok(),
        _ => None,
    };
    let value = value
        .filter(|x: &f64| x.is_finite())
        .ok_or_else(|| (format!("{key} {given}"), "a number".to_owned()))?;
    quantity(key)
        .check(key, &given.to_string(), value)
        .map_err(|wrong| (wrong.found, wrong.expected))
}
