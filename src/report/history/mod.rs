//! Calibrations over months: for the terminal, for machines, as pictures and as one page.

mod document;
mod picture;

use std::path::{Path, PathBuf};

use super::document::write_document;
use super::term_name;
use crate::mount::{Term, TermUnit};
use crate::number::by_sigma;
use crate::plot::{Render, on_page};
use crate::problem::Error;
use crate::recheck::{History, Point, TermHistory};
use crate::time::Utc;

pub use document::{history_json, history_text};
use picture::HistoryPicture;

/// Name of the page of a history in its folder.
pub const HISTORY_PAGE: &str = "history.html";

/// Terms in one picture: more panels are too small to read.
const PANELS: usize = 8;

/// The pictures of a history: every term in a panel of its own, so many panels to a picture that
/// they can be read.
pub fn history_pictures(history: &History) -> Vec<Box<dyn Render>> {
    let several = history.terms.len() > PANELS;
    (history.terms.chunks(PANELS).enumerate())
        .map(|(i, terms)| {
            let stem = if several {
                format!("history-{}", i + 1)
            } else {
                "history".to_owned()
            };
            let picture: Box<dyn Render> = Box::new(HistoryPicture::new(stem, history, terms));
            picture
        })
        .collect()
}

/// Writes the page of a history and every picture, as SVG and PNG, into `dir`, which is made if
/// need be. Gives the files' paths, the page first.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written; files written before stay.
pub fn write_history(dir: &Path, history: &History) -> Result<Vec<PathBuf>, Error> {
    let pictures: Vec<_> = (history_pictures(history).into_iter())
        .map(on_page)
        .collect();
    let drawn: Vec<&dyn Render> = pictures.iter().map(AsRef::as_ref).collect();
    write_document(dir, HISTORY_PAGE, &drawn, || {
        document::page(history, &pictures)
    })
}

/// Unit and factor in which a term is shown.
fn shown_in(term: Term) -> &'static str {
    match term.unit() {
        TermUnit::Angle => "deg",
        TermUnit::Fraction => "%",
        TermUnit::Seconds => "s",
    }
}

/// An inside value of a term as it is shown.
fn shown(term: Term, inside: f64) -> f64 {
    let factor = if term.unit() == TermUnit::Fraction {
        100.0
    } else {
        1.0
    };
    term.unit().outward(inside) * factor
}

/// `2026-09-12`.
fn day(time: Utc) -> String {
    time.to_string().get(..10).unwrap_or_default().to_owned()
}

/// `+2.02 +/- 0.16 deg`.
fn change_words(term: Term, point: &Point) -> String {
    let change = shown(term, point.change.unwrap_or(0.0));
    signed_words(term, change, shown(term, point.change_sigma))
}

fn signed_words(term: Term, change: f64, sigma: f64) -> String {
    format!(
        "{}{} +/- {} {}",
        if change > 0.0 { "+" } else { "" },
        by_sigma(change, sigma),
        crate::number::with_sigma(change, sigma).1,
        shown_in(term)
    )
}

/// What is real of one term's changes, a sentence each; empty when nothing is.
fn real_changes(history: &TermHistory) -> Vec<String> {
    let name = term_name(history.mount, history.term);
    let mut said: Vec<String> = (history.points.windows(2))
        .filter(|pair| pair[1].real)
        .map(|pair| {
            format!(
                "{name} changed by {} between {} and {}",
                change_words(history.term, &pair[1]),
                day(pair[0].created),
                day(pair[1].created)
            )
        })
        .collect();
    if history.creeps {
        let (by, sigma) = history.overall();
        said.push(format!(
            "{name} creeps: no single step is significant, but no one value fits all; it \
             went {} from the first to the last",
            signed_words(
                history.term,
                shown(history.term, by),
                shown(history.term, sigma)
            )
        ));
    }
    said
}
