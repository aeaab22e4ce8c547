//! What a recheck found: as a document and for machines.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::document::{
    self, Block, Cell, Column, Document, Holds, Point, Role, Row, Section, Table,
};
use super::terminal::Colour;
use super::{caution, made_by, term_name};
use crate::angle::Angle;
use crate::mount::TermUnit;
use crate::number::probability;
use crate::number::{by_sigma, significant};
use crate::problem::{Error, printable};
use crate::recheck::{ChangeKind, Doubt, Moved, Recheck, RecheckVerdict};
use crate::solve::Remedy;
use crate::station::Station;

/// With fewer peaks a diagnosis has little to go by; as many as bad ones need to be told reliably
/// (docs/accuracy.md).
const ENOUGH_FOR_FAULTS: usize = 12;

/// Name of the page of a recheck in its folder.
pub const RECHECK_PAGE: &str = "recheck.html";

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
    document::terminal(&of(found, station, after), Colour::Never)
}

/// Writes the page of a recheck into `dir`, which is made if need be.
///
/// # Errors
/// When the folder cannot be made or the page cannot be written.
pub fn write_recheck(
    dir: &Path,
    found: &Recheck,
    station: &Station,
    after: &AfterMove<'_>,
) -> Result<Vec<PathBuf>, Error> {
    let mut document = of(found, station, after);
    document.kind = "Recheck";
    document.about = station.site.name.clone();
    document.title = format!("Recheck of {}", station.site.name);
    document.closing = vec![made_by()];
    let compared = vec![
        ("old calibration".to_owned(), after.against.to_owned()),
        ("new peaks".to_owned(), after.log.to_owned()),
    ];
    document
        .add(Section::new("What was compared", vec![Block::Facts(compared)]).role(Role::Session));
    document::write_document(dir, RECHECK_PAGE, &[], || document::page(&document))
}

fn of<'a>(found: &Recheck, station: &Station, after: &AfterMove<'_>) -> Document<'a> {
    let mut said = vec![
        answer(found),
        format!(
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
    ];
    if found.kind != ChangeKind::Unmoved {
        said.push(looks_like(found));
    }
    if !found.advice.is_empty() {
        said.push(format!("What to observe: {}.", found.advice));
    }
    said.extend(found.notes.iter().map(|note| format!("Note: {note}")));
    let mut document = Document::default();
    document.add(Section {
        role: Role::Verdict,
        blocks: said.into_iter().map(Block::Paragraph).collect(),
        ..Section::default()
    });
    document.add(what_moved(found));
    document.add(new_peaks(found));
    if found.verdict == RecheckVerdict::Moved {
        document.add(by_hand(after));
        let steps = (after.steps(found).into_iter())
            .map(|(words, command)| Point {
                command,
                ..Point::from(words)
            })
            .collect();
        document.add(Section::new("What to do next", vec![Block::Steps(steps)]).role(Role::Next));
    }
    document
}

fn by_hand<'a>(after: &AfterMove<'_>) -> Section<'a> {
    let points: Vec<Point> = (after.remedies.iter())
        .map(|remedy| Point {
            title: Some(remedy.title.clone()),
            words: remedy.text.clone(),
            caution: (!remedy.caution.is_empty()).then(|| remedy.caution.clone()),
            ..Point::default()
        })
        .collect();
    let blocks = match points.is_empty() {
        true => Vec::new(),
        false => vec![
            Block::Caution(caution::MOUNT.to_owned()),
            Block::Points(points),
        ],
    };
    Section::new("What can be done by hand", blocks)
        .rest("about what moved, with its size as it is now")
        .role(Role::Action)
}

fn what_moved<'a>(found: &Recheck) -> Section<'a> {
    let columns = vec![
        Column::new("Error", Holds::Name),
        Column::new("Moved by", Holds::Number),
        Column::new("Uncertainty", Holds::Number),
        Column::new("From", Holds::Number),
        Column::new("To", Holds::Number),
        Column::new("Unit", Holds::Text),
    ];
    let row = |moved: &Moved| {
        let unit = moved.term.unit();
        let sigma = unit.outward(moved.sigma);
        let number = |inside: f64| {
            let value = unit.outward(inside);
            Cell::Number(value, by_sigma(value, sigma))
        };
        let mut change = moved.now - moved.before;
        if unit == TermUnit::Angle {
            change = Angle::from_radians(change).wrapped_signed().radians();
        }
        Row::from(vec![
            Cell::text(term_name(found.mount, moved.term)),
            number(change),
            Cell::Number(sigma, significant(sigma, 2)),
            number(moved.before),
            number(moved.now),
            Cell::text(unit.symbol()),
        ])
    };
    let rows = found.moved_terms.iter().map(row).collect();
    let table = Table::new("moved", "What moved", columns, rows);
    Section::new("What moved", vec![Block::Table(table)])
}

fn new_peaks<'a>(found: &Recheck) -> Section<'a> {
    let columns = vec![
        Column::new("Row", Holds::Number),
        Column::new("Off by (deg)", Holds::Number).short("deg off"),
        Column::new("", Holds::Words),
    ];
    let rows = (found.distances.iter())
        .map(|(row, distance)| {
            let odd = found.odd_rows.iter().any(|(r, _)| r == row);
            let degrees = distance.degrees();
            Row {
                class: odd.then_some("unused"),
                peak: Some(*row),
                cells: vec![
                    Cell::Number(*row as f64, row.to_string()),
                    Cell::Number(degrees, format!("{degrees:.4}")),
                    Cell::text(match odd {
                        true => "left out: contradicts the others",
                        false => "",
                    }),
                ],
                ..Row::default()
            }
        })
        .collect();
    let table = Table::new("new-peaks", "New peaks", columns, rows);
    Section::new("New peaks", vec![Block::Table(table)]).rest("against the old calibration's beam")
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
