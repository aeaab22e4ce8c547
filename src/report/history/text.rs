//! A history in words and for machines.

use serde_json::{Value, json};

use super::super::layout::{point_aligned, wrapped};
use super::super::{WIDTH, term_name};
use super::{change_words, day, real_changes, shown, shown_in};
use crate::mount::TermUnit;
use crate::number::probability;
use crate::number::with_sigma;
use crate::problem::printable;
use crate::recheck::{History, REAL_BELOW, TermHistory};

/// The terminal's table of calibrations over time.
pub fn history_text(history: &History) -> String {
    let mut page = String::new();
    let mut say = |lead: &str, text: &str| {
        page.push_str(&wrapped(lead, text, WIDTH));
        page.push('\n');
    };
    say("", &headline(history));
    let real: Vec<String> = history.terms.iter().flat_map(real_changes).collect();
    if history.entries.len() < 2 {
        say("", "One calibration only: nothing to compare yet.");
    } else if real.is_empty() {
        say(
            "",
            "No change is real: all of them lie within their uncertainties.",
        );
    } else {
        say("", "Real changes:");
        for change in &real {
            say("  ", &format!("{change}."));
        }
        say(
            "",
            &format!(
                "A history in which nothing changed would show one with probability \
                 {REAL_BELOW} or less. A zero that was reset on purpose is a change too."
            ),
        );
    }
    for note in &history.notes {
        say("Note: ", &printable(note));
    }
    for term in &history.terms {
        page.push_str(&table(term));
    }
    page
}

/// How many calibrations, of which days.
pub fn headline(history: &History) -> String {
    let count = crate::number::counted(history.entries.len(), "calibration");
    match (history.entries.first(), history.entries.last()) {
        (Some(first), Some(last)) => format!(
            "{count} of {}, {} to {}",
            printable(&last.calibration.station),
            day(first.created),
            day(last.created)
        ),
        _ => count,
    }
}

fn table(history: &TermHistory) -> String {
    let term = history.term;
    let numbers: Vec<(String, String)> = (history.points.iter())
        .map(|p| with_sigma(shown(term, p.value), shown(term, p.sigma)))
        .collect();
    let values: Vec<String> = numbers.iter().map(|n| n.0.clone()).collect();
    let sigmas: Vec<String> = numbers.into_iter().map(|n| n.1).collect();
    let mut page = format!("\n{}, {}\n", term_name(history.mount, term), shown_in(term));
    let rows = point_aligned(&values)
        .into_iter()
        .zip(point_aligned(&sigmas));
    for (point, (value, sigma)) in history.points.iter().zip(rows) {
        let change = point.change.map_or(String::new(), |_| {
            format!(
                "{}, {}",
                change_words(term, point),
                if point.real {
                    format!("REAL (chance {})", probability(point.chance))
                } else {
                    format!("by chance ({})", probability(point.chance))
                }
            )
        });
        let made = point.created.to_string();
        let made = made.get(..16).unwrap_or_default().replace('T', " ");
        let line = format!(
            "  {made}  {value} +/- {sigma}  {change:<48}  {}",
            printable(&point.file)
        );
        page.push_str(line.trim_end());
        page.push('\n');
    }
    page
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
                        "change_sigma": p.change.map(|_| unit.outward(p.change_sigma)),
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
            json!({
                "term": t.mount.term_name(t.term),
                "unit": unit,
                "points": points,
                "steady_probability": t.steady,
                "creeps": t.creeps,
            })
        })
        .collect();
    json!({ "terms": terms, "notes": history.notes })
}
