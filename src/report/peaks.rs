//! The table of all peaks, and the columns that tables of peaks share.

use super::document::{Block, Cell, Column, Holds, Role, Row, Section, Shown, Table};
use super::{summary, words};
use crate::angle::Angle;
use crate::mount::AxisKind;
use crate::number;
use crate::solve::Outcome;

/// Peaks in the table, so that a page opens at once on a telephone; the rest are counted.
const MOST_PEAKS: usize = 2000;

/// The two residuals of a peak by the words of this kind of mount, on a page and on a terminal.
pub(super) fn residual_columns(outcome: &Outcome) -> [Column; 2] {
    let axis = outcome.model.kind().axes()[1];
    let cross = match axis {
        AxisKind::Declination => "cross-decl",
        AxisKind::Y => "cross-Y",
        _ => "cross-elev",
    };
    let along = match axis {
        AxisKind::Declination => "decl",
        other => other.words(),
    };
    let named = |name: &str| format!("{} residual (deg)", words::sentence(name));
    [
        Column::new(&named(axis.cross_words()), Holds::Number).short(cross),
        Column::new(&named(axis.words()), Holds::Number).short(along),
    ]
}

/// One residual of a peak, where it was measured.
pub(super) fn residual(value: &Option<(f64, String)>) -> Cell {
    match value {
        Some((value, shown)) => Cell::Number(*value, shown.clone()),
        None => Cell::Empty,
    }
}

/// Every peak with its residuals: what pictures point at. `file` holds those that find no room.
pub(super) fn all_peaks<'a>(outcome: &Outcome, file: &str) -> Section<'a> {
    let [one, two] = outcome.model.kind().axes().map(AxisKind::heading);
    let [cross, along] = residual_columns(outcome);
    let columns = vec![
        Column::new("Row", Holds::Number),
        Column::new("Time (UTC)", Holds::Time),
        Column::new("Emitter", Holds::Text),
        Column::new(&format!("{one} reading (deg)"), Holds::Number),
        Column::new(&format!("{two} reading (deg)"), Holds::Number),
        cross,
        along,
        Column::new("Whole (deg)", Holds::Number),
        Column::new("Used", Holds::Text),
    ];
    let rows = (outcome.peaks.iter().take(MOST_PEAKS))
        .map(|p| {
            let said = summary::peak(p);
            let reading = |measured: bool, angle: Angle| match measured {
                true => Cell::Number(angle.degrees(), number::fixed(angle.degrees(), 3)),
                false => Cell::Empty,
            };
            Row {
                class: (!p.used).then_some("unused"),
                peak: Some(p.row),
                cells: vec![
                    Cell::Number(p.row as f64, p.row.to_string()),
                    Cell::text(said.time),
                    Cell::text(said.emitter),
                    reading(p.azimuth_measured, p.reading.azimuth),
                    reading(p.elevation_measured, p.reading.elevation),
                    residual(&said.cross_elevation),
                    residual(&said.elevation),
                    Cell::Number(said.size_deg, said.size),
                    Cell::text(if p.used { "yes" } else { "no" }),
                ],
                ..Row::default()
            }
        })
        .collect();
    let mut blocks = vec![Block::Table(Table::new(
        "all-peaks",
        "All peaks with their residuals",
        columns,
        rows,
    ))];
    if let Some(more) = outcome.peaks.len().checked_sub(MOST_PEAKS + 1) {
        blocks.push(Block::Note(format!(
            "… and {} more, all listed in {}.",
            number::count(more + 1),
            file
        )));
    }
    Section::new("All peaks", blocks)
        .role(Role::Detail)
        .shown(Shown::OnPage)
}
