//! What a recheck found, for the terminal and for machines.

use serde_json::{Value, json};

use super::layout::wrapped;
use super::{WIDTH, term_name};
use crate::angle::Angle;
use crate::mount::{Kind as Mount, TermUnit};
use crate::number::probability;
use crate::number::{by_sigma, significant};
use crate::problem::printable;
use crate::recheck::{ChangeKind, Doubt, Moved, Recheck, RecheckVerdict};
use crate::solve::Remedy;
use crate::station::Station;

/// With fewer peaks a diagnosis has little to go by; as many as bad ones need to be told reliably
/// (docs/accuracy.md).
const ENOUGH_FOR_FAULTS: usize = 12;

/// What comes after a move was found.
#[derive(Clone, Copy, Debug)]
pub struct AfterMove<'a> {
    /// What can be done by hand.
    pub remedies: &'a [Remedy],
    /// The old calibration as the user named it.
    pub against: &'a str,
    /// The new peaks as the user named them.
    pub log: &'a str,
    /// Where the joined calibration was written, if it was.
    pub joined: Option<&'a str>,
}

impl AfterMove<'_> {
    /// What to do, and the command for it, if there is one.
    fn steps(&self, found: &Recheck) -> Vec<(&'static str, Option<String>)> {
        let (against, log) = (printable(self.against), printable(self.log));
        let joined = printable(self.joined.unwrap_or("joined.json"));
        let mut steps = Vec::new();
        if !self.remedies.is_empty() {
            steps.push((
                "Mend what can be mended by hand (above), then take a full session and solve it: \
                 hardware first, software for the rest.",
                Some(format!(
                    "plumbeam plan --calibration {against} --for 2h --sheet session.csv"
                )),
            ));
        }
        if self.joined.is_none() {
            steps.push((
                "Or go on as it is: join old and new peaks into one calibration,",
                Some(format!(
                    "plumbeam recheck --against {against} {log} --out {joined}"
                )),
            ));
        }
        steps.push((
            "and write the correction table from it:",
            Some(format!("plumbeam table --calibration {joined}")),
        ));
        if found.distances.len() >= ENOUGH_FOR_FAULTS {
            steps.push((
                "This many peaks may say more about what happened:",
                Some(format!("plumbeam faults {log}")),
            ));
        }
        steps
    }
}

/// The terminal's report of a recheck, with what comes next when something moved.
pub fn recheck_text(found: &Recheck, station: &Station, after: &AfterMove<'_>) -> String {
    let mut page = String::new();
    let mut say = |lead: &str, text: &str| {
        page.push_str(&wrapped(lead, text, WIDTH));
        page.push('\n');
    };
    say("", &answer(found));
    say(
        "",
        &format!(
            "Error of the old calibration now, rms over the reachable sky: {} +/- {} deg; {} on this \
             beam of {} deg. Peaks of an unmoved mount lie as far off with probability {}.",
            by_sigma(found.error.degrees(), found.error_sigma.degrees()),
            significant(found.error_sigma.degrees(), 2),
            found.loss_db.map_or_else(
                || "the signal is lost, beyond the main lobe,".to_owned(),
                |loss| format!("it costs {} dB", significant(loss, 2)),
            ),
            significant(station.dish.beamwidth.degrees(), 3),
            probability(found.chance)
        ),
    );
    if found.kind != ChangeKind::Unmoved {
        say("", &looks_like(found));
    }
    if !found.advice.is_empty() {
        say("", &format!("What to observe: {}.", found.advice));
    }
    for note in &found.notes {
        say("Note: ", note);
    }
    if !found.moved_terms.is_empty() {
        page.push_str("\nWHAT MOVED\n");
        for moved in &found.moved_terms {
            page.push_str(&format!("  {}\n", moved_in_words(found.mount, moved)));
        }
    }
    page.push_str("\nNEW PEAKS against the old calibration's beam\n");
    for (row, distance) in &found.distances {
        let odd = found.odd_rows.iter().any(|(r, _)| r == row);
        let why = if odd {
            "  left out: contradicts the others"
        } else {
            ""
        };
        page.push_str(&format!(
            "  row {row:>4}  {:>9.4} deg off{why}\n",
            distance.degrees()
        ));
    }
    if found.verdict == RecheckVerdict::Moved {
        page.push_str(&after_text(found, after));
    }
    page
}

fn after_text(found: &Recheck, after: &AfterMove<'_>) -> String {
    let mut page = String::new();
    if !after.remedies.is_empty() {
        page.push_str("\nWHAT CAN BE DONE BY HAND about what moved, with its size as it is now\n");
    }
    for remedy in after.remedies {
        let words = format!("{}: {}", printable(&remedy.title), printable(&remedy.text));
        page.push_str(&wrapped("  - ", &words, WIDTH));
        page.push('\n');
        if !remedy.caution.is_empty() {
            let caution = printable(&remedy.caution);
            page.push_str(&wrapped("    Caution: ", &caution, WIDTH));
            page.push('\n');
        }
    }
    page.push_str("\nWHAT TO DO NEXT\n");
    for (i, (words, command)) in after.steps(found).iter().enumerate() {
        page.push_str(&wrapped(&format!("  {}. ", i + 1), words, WIDTH));
        page.push('\n');
        if let Some(command) = command {
            page.push_str(&format!("       {command}\n"));
        }
    }
    page
}

fn answer(found: &Recheck) -> String {
    let limit = significant(found.limit.degrees(), 3);
    let off = format!(
        "the probability that the old calibration is off by more than {limit} deg over the sky is {}",
        certainly(found.probability)
    );
    match found.verdict {
        RecheckVerdict::True => format!("STILL TRUE: {off}."),
        RecheckVerdict::Moved => format!("MOVED: {off}."),
        RecheckVerdict::CannotTell(Doubt::Between) => {
            format!("CANNOT TELL: {off}, neither small nor near one.")
        }
        RecheckVerdict::CannotTell(Doubt::Accident) => {
            format!(
                "CANNOT TELL: {off}, but with so few peaks an unmoved mount might look the same."
            )
        }
        RecheckVerdict::CannotTell(Doubt::PeaksOff) => format!(
            "CANNOT TELL: {off}, but the new peaks lie much further off than that, which noise \
             cannot explain. Take more peaks, far apart, or a full session."
        ),
        RecheckVerdict::CannotTell(Doubt::Contradiction) => {
            "CANNOT TELL: the new peaks contradict each \
            other more than their noise allows, whatever has moved: a peak may be bad, an emitter \
            the wrong one, or something is loose. Peak them again; plumbeam faults may say more."
                .to_owned()
        }
    }
}

/// Changes that explain the peaks nearly as well.
fn close(found: &Recheck) -> Vec<String> {
    (found.rivals.iter())
        // Two units of twice the log likelihood: less than a factor of e in favour.
        .filter(|(kind, behind)| *kind != ChangeKind::Unmoved && *behind < 2.0)
        .map(|(kind, _)| kind.in_words(found.mount))
        .collect()
}

fn looks_like(found: &Recheck) -> String {
    let close = close(found);
    let others = if close.is_empty() {
        String::new()
    } else {
        format!("; nearly as likely: {}", close.join("; "))
    };
    format!(
        "It looks like {}{others}.",
        found.kind.in_words(found.mount)
    )
}

fn moved_in_words(mount: Mount, moved: &Moved) -> String {
    let unit = moved.term.unit();
    let shown = |v: f64| unit.outward(v);
    let mut change = moved.now - moved.before;
    if unit == TermUnit::Angle {
        change = Angle::from_radians(change).wrapped_signed().radians();
    }
    format!(
        "{:<22} by {} +/- {} {}, from {} to {}",
        term_name(mount, moved.term),
        by_sigma(shown(change), shown(moved.sigma)),
        significant(shown(moved.sigma), 2),
        unit.symbol(),
        by_sigma(shown(moved.before), shown(moved.sigma)),
        by_sigma(shown(moved.now), shown(moved.sigma)),
    )
}

/// A probability from samples, of which no more digits are known.
fn certainly(p: f64) -> String {
    if p > 0.999 {
        "over 0.999".to_owned()
    } else if p < 0.001 {
        "under 0.001".to_owned()
    } else {
        probability(p)
    }
}

/// The machine-readable form of a recheck.
pub fn recheck_json(found: &Recheck, after: &AfterMove<'_>) -> Value {
    let moved_at_all = found.verdict == RecheckVerdict::Moved;
    let after = moved_at_all.then_some(after);
    let remedies: Vec<Value> = (after.iter().flat_map(|after| after.remedies))
        .map(|r| {
            json!({
                "term": found.mount.term_name(r.term),
                "title": r.title,
                "text": r.text,
                "caution": r.caution,
            })
        })
        .collect();
    let next: Vec<String> = (after.iter().flat_map(|after| after.steps(found)))
        .filter_map(|(_, command)| command)
        .collect();
    let moved: Vec<Value> = (found.moved_terms.iter())
        .map(|m| {
            let unit = m.term.unit();
            let key = |stem: &str| unit.key(stem);
            json!({
                "term": found.mount.term_name(m.term),
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
        "looks_like": found.kind.in_words(found.mount),
        "nearly_as_likely": close(found),
        "distances": (found.distances.iter())
            .map(|(row, d)| json!({"row": row, "distance_deg": d.degrees()}))
            .collect::<Vec<_>>(),
        "odd_rows": found.odd_rows.iter().map(|(row, _)| *row).collect::<Vec<_>>(),
        "advice": found.advice,
        "notes": found.notes,
        "remedies": remedies,
        "next": next,
    })
}
