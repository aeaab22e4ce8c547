//! What a recheck found, for the terminal and for machines.

use serde_json::{Value, json};

use super::layout::wrapped;
use super::number::{by_sigma, significant};
use super::{WIDTH, term_name};
use crate::angle::Angle;
use crate::mount::TermUnit;
use crate::recheck::{History, Kind, Moved, Recheck, Verdict};
use crate::solve::words::probability;
use crate::station::Station;

/// The terminal's report of a recheck.
pub fn recheck_text(found: &Recheck, station: &Station) -> String {
    let mut page = String::new();
    let mut say = |text: &str| page.push_str(&wrapped("", text, WIDTH));
    let limit = degrees(found.limit);
    say(&match found.verdict {
        Verdict::True => format!(
            "STILL TRUE: the probability that the old calibration is off by more than {limit} deg \
             over the sky is {}.",
            probability(found.probability)
        ),
        Verdict::Moved => format!(
            "MOVED: the probability that the old calibration is off by more than {limit} deg over \
             the sky is {}.",
            certainly(found.probability)
        ),
        Verdict::CannotTell => format!(
            "CANNOT TELL: the probability that the old calibration is off by more than {limit} deg \
             over the sky is {}: neither small nor near one, or the new peaks do not agree.",
            certainly(found.probability)
        ),
    });
    say(&format!(
        "Error of the old calibration now, rms over the reachable sky: {} +/- {} deg; it costs {} \
         dB on this beam of {} deg. Peaks of an unmoved mount lie as far off with probability {}.",
        by_sigma(found.error.degrees(), found.error_sigma.degrees()),
        significant(found.error_sigma.degrees(), 2),
        significant(found.loss_db, 2),
        significant(station.dish.beamwidth.degrees(), 3),
        probability(found.chance)
    ));
    page.push('\n');
    page.push_str("New peaks against the old calibration's beam\n");
    for (row, distance) in &found.distances {
        let odd = found.odd_rows.iter().any(|(r, _)| r == row);
        page.push_str(&format!(
            "  row {row:>4}  {:>9.4} deg{}\n",
            distance.degrees(),
            if odd {
                "  left out: contradicts the others"
            } else {
                ""
            }
        ));
    }
    page.push('\n');
    if found.verdict == Verdict::Moved || found.kind != Kind::Unmoved {
        page.push_str(&wrapped("", &looks_like(found), WIDTH));
    }
    if !found.moved_terms.is_empty() {
        page.push_str("Terms that moved\n");
        for moved in &found.moved_terms {
            page.push_str(&format!("  {}\n", moved_in_words(moved)));
        }
    }
    if !found.advice.is_empty() {
        page.push_str(&wrapped("To know: ", &format!("{}.", found.advice), WIDTH));
    }
    for note in &found.notes {
        page.push_str(&wrapped("Note: ", note, WIDTH));
    }
    page
}

fn looks_like(found: &Recheck) -> String {
    let close: Vec<&str> = (found.rivals.iter())
        // Two units of twice the log likelihood: less than a factor of e in favour.
        .filter(|(_, behind)| *behind < 2.0)
        .map(|(kind, _)| kind.in_words())
        .collect();
    let others = if close.is_empty() {
        String::new()
    } else {
        format!("; nearly as likely: {}", close.join("; "))
    };
    format!("It looks like {}{others}.", found.kind.in_words())
}

fn moved_in_words(moved: &Moved) -> String {
    let unit = moved.term.unit();
    let shown = |v: f64| unit.outward(v);
    let mut change = moved.now - moved.before;
    if unit == TermUnit::Angle {
        change = Angle::from_radians(change).wrapped_signed().radians();
    }
    format!(
        "{:<22} by {} +/- {} {}, from {} to {}",
        term_name(moved.term),
        by_sigma(shown(change), shown(moved.sigma)),
        significant(shown(moved.sigma), 2),
        unit.symbol(),
        by_sigma(shown(moved.before), shown(moved.sigma)),
        by_sigma(shown(moved.now), shown(moved.sigma)),
    )
}

fn degrees(angle: Angle) -> String {
    significant(angle.degrees(), 2)
}

/// A probability that may be near one.
fn certainly(p: f64) -> String {
    if p > 0.999 {
        "over 0.999".to_owned()
    } else {
        probability(p)
    }
}

/// The machine-readable form of a recheck.
pub fn recheck_json(found: &Recheck) -> Value {
    let moved: Vec<Value> = (found.moved_terms.iter())
        .map(|m| {
            let unit = m.term.unit();
            let key = |stem: &str| match unit {
                TermUnit::Angle => format!("{stem}_deg"),
                TermUnit::Fraction => stem.to_owned(),
                TermUnit::Seconds => format!("{stem}_s"),
            };
            json!({
                "term": m.term.name(),
                key("change"): unit.outward(m.now - m.before),
                key("sigma"): unit.outward(m.sigma),
                key("before"): unit.outward(m.before),
                key("now"): unit.outward(m.now),
            })
        })
        .collect();
    json!({
        "verdict": found.verdict.name(),
        "probability": found.probability,
        "moved_terms": moved,
        "loss_db": found.loss_db,
        "error_deg": found.error.degrees(),
        "error_sigma_deg": found.error_sigma.degrees(),
        "limit_deg": found.limit.degrees(),
        "chance": found.chance,
        "looks_like": found.kind.in_words(),
        "distances": (found.distances.iter())
            .map(|(row, d)| json!({"row": row, "distance_deg": d.degrees()}))
            .collect::<Vec<_>>(),
        "odd_rows": found.odd_rows.iter().map(|(row, _)| *row).collect::<Vec<_>>(),
        "advice": found.advice,
        "notes": found.notes,
    })
}

/// The terminal's table of calibrations over time.
pub fn history_text(history: &History) -> String {
    let mut page = String::new();
    page.push_str(&format!(
        "{} calibrations, {} to {}\n",
        history.entries.len(),
        day(&history.entries.first().map(|e| e.created.to_string())),
        day(&history.entries.last().map(|e| e.created.to_string()))
    ));
    for term in &history.terms {
        page.push_str(&format!("\n{}\n", term_name(term.term)));
        for point in &term.points {
            let unit = term.term.unit();
            let change = match (point.change, point.real) {
                (Some(change), true) => format!(
                    "changed by {} {}: real (by chance {})",
                    by_sigma(unit.outward(change), unit.outward(point.change_sigma)),
                    unit.symbol(),
                    probability(point.chance)
                ),
                (Some(_), false) => "no real change".to_owned(),
                (None, _) => String::new(),
            };
            let sigma = unit.outward(point.sigma);
            page.push_str(&format!(
                "  {}  {:>10} +/- {:<8} {:<4} {change}\n",
                point.created.to_string().get(..16).unwrap_or_default(),
                by_sigma(unit.outward(point.value), sigma),
                significant(sigma, 2),
                unit.symbol(),
            ));
        }
    }
    page
}

fn day(text: &Option<String>) -> String {
    text.as_ref()
        .and_then(|t| t.get(..10))
        .unwrap_or_default()
        .to_owned()
}

/// The machine-readable form of a history.
pub fn history_json(history: &History) -> Value {
    let terms: Vec<Value> = (history.terms.iter())
        .map(|t| {
            let unit = t.term.unit();
            let points: Vec<Value> = (t.points.iter())
                .map(|p| {
                    json!({
                        "file": p.file,
                        "created_utc": p.created,
                        "value": unit.outward(p.value),
                        "sigma": unit.outward(p.sigma),
                        "change": p.change.map(|c| unit.outward(c)),
                        "real": p.real,
                        "chance": p.change.map(|_| p.chance),
                    })
                })
                .collect();
            let unit = match unit {
                TermUnit::Angle => "deg",
                TermUnit::Fraction => "1",
                TermUnit::Seconds => "s",
            };
            json!({"term": t.term.name(), "unit": unit, "points": points})
        })
        .collect();
    json!({ "terms": terms, "notes": history.notes })
}
