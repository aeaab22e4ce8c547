//! A history as a document and for machines.

use serde_json::{Value, json};

use super::super::document::{
    self, Block, Cell, Column, Document, Holds, Point, Role, Row, Section, Shown, Table,
};
use super::super::terminal::Colour;
use super::super::{made_by, term_name};
use super::{change_words, day, real_changes, shown, shown_in};
use crate::mount::TermUnit;
use crate::number::probability;
use crate::number::with_sigma;
use crate::plot::Render;
use crate::recheck::{FALSE_ALARM_OF_A_CHANGE, History, TermHistory};

/// The terminal's tables of calibrations over time.
pub fn history_text(history: &History) -> String {
    document::terminal(&of(history, &[]), Colour::Never)
}

/// The page.
pub fn page(history: &History, pictures: &[Box<dyn Render>]) -> String {
    let site = (history.entries.last()).map_or("", |e| e.calibration.station.as_str());
    let mut document = of(history, pictures);
    document.kind = "Calibrations over time";
    document.about = site.to_owned();
    document.title = format!("Calibrations of {site}");
    document.closing = vec![made_by()];
    document::page(&document)
}

fn of<'a>(history: &History, pictures: &'a [Box<dyn Render>]) -> Document<'a> {
    let real: Vec<String> = history.terms.iter().flat_map(real_changes).collect();
    let mut said = vec![Block::Paragraph(headline(history))];
    if history.entries.len() < 2 {
        let one = "One calibration only: nothing to compare yet.";
        said.push(Block::Paragraph(one.to_owned()));
    } else if real.is_empty() {
        let none = "No change is real: all of them lie within their uncertainties.";
        said.push(Block::Paragraph(none.to_owned()));
    } else {
        said.push(Block::Paragraph("Real changes:".to_owned()));
        let points = real.iter().map(|c| Point::from(format!("{c}.").as_str()));
        said.push(Block::Points(points.collect()));
        said.push(Block::Paragraph(format!(
            "A history in which nothing changed would show one with probability {FALSE_ALARM_OF_A_CHANGE} or \
             less. A zero that was reset on purpose is a change too."
        )));
    }
    let mut document = Document::default();
    document.add(Section {
        role: Role::Verdict,
        blocks: said,
        ..Section::default()
    });
    document.add_list("Notes", &history.notes, Role::Result);
    for picture in pictures {
        document.add(Section {
            shown: Shown::OnPage,
            blocks: vec![Block::Picture(picture.as_ref())],
            ..Section::default()
        });
    }
    for term in &history.terms {
        let heading = term_name(term.mount, term.term);
        document
            .add(Section::new(heading, vec![Block::Table(table(term))]).rest(shown_in(term.term)));
    }
    document
}

/// How many calibrations, of which days.
fn headline(history: &History) -> String {
    let count = crate::number::counted(history.entries.len(), "calibration");
    match (history.entries.first(), history.entries.last()) {
        (Some(first), Some(last)) => format!(
            "{count} of {}, {} to {}",
            last.calibration.station,
            day(first.created),
            day(last.created)
        ),
        _ => count,
    }
}

fn table(history: &TermHistory) -> Table {
    let term = history.term;
    let columns = vec![
        Column::new("Made (UTC)", Holds::Time).short("made (UTC)"),
        Column::new("Value", Holds::Number),
        Column::new("Uncertainty", Holds::Number),
        Column::new("Change", Holds::Words),
        Column::new("By chance", Holds::Number),
        Column::new("", Holds::Text),
        Column::new("File", Holds::Words),
    ];
    let rows = (history.points.iter())
        .map(|point| {
            let (value, sigma) = (shown(term, point.value), shown(term, point.sigma));
            let (value_shown, sigma_shown) = with_sigma(value, sigma);
            let made = point.created.to_string();
            let made = made.get(..16).unwrap_or_default().replace('T', " ");
            let (change, chance) = match point.change {
                Some(_) => (
                    Cell::text(change_words(term, point)),
                    Cell::Number(point.chance, probability(point.chance)),
                ),
                None => (Cell::text(""), Cell::text("")),
            };
            Row {
                class: point.real.then_some("real"),
                cells: vec![
                    Cell::text(made),
                    Cell::Number(value, value_shown),
                    Cell::Number(sigma, sigma_shown),
                    change,
                    chance,
                    Cell::text(if point.real { "real" } else { "" }),
                    Cell::text(point.file.as_str()),
                ],
                ..Row::default()
            }
        })
        .collect();
    let name = history.mount.term_name(term);
    Table::new(
        name,
        &format!("{} over time", term_name(history.mount, term)),
        columns,
        rows,
    )
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
