//! A reduction as a document.

use super::super::document::{
    self, Block, Cell, Column, Document, Holds, Point, Role, Row, Section, Table,
};
use super::super::{made_by, summary};
use super::words::file_stem;
use crate::mount::AxisKind;
use crate::number;
use crate::plot::Render;
use crate::scan::{AxisPeak, ReducedScan, Reduction, ScanVerdict};
use crate::station::Station;

/// Scans in the table, so that a page opens at once; the rest are counted.
const MOST_SCANS: usize = 2000;

/// The page, with the sheets that show all scans at once.
pub fn page(reduction: &Reduction, station: &Station, sheets: &[&dyn Render]) -> String {
    let about = station.site.name.clone();
    let mut document = Document {
        kind: "Scans",
        title: format!("Scans of {about}"),
        about,
        closing: vec![made_by()],
        ..Document::default()
    };
    let mut said = reduction.summary().into_iter();
    let verdict = said.next().map(Block::Paragraph);
    let rest = said.map(|line| Point::from(line.as_str())).collect();
    document.add(Section {
        role: Role::Verdict,
        blocks: verdict.into_iter().chain([Block::Points(rest)]).collect(),
        ..Section::default()
    });
    document.add_list("Of the log as a whole", &reduction.remarks, Role::Result);
    for sheet in sheets {
        document.add(Section {
            blocks: vec![Block::Picture(*sheet)],
            ..Section::default()
        });
    }
    document.add(scans(reduction));
    document::page(&document)
}

fn scans<'a>(reduction: &Reduction) -> Section<'a> {
    let [one, two] = reduction.mount.axes().map(AxisKind::heading);
    let columns = vec![
        Column::new("Scan", Holds::Name),
        Column::new("Emitter", Holds::Text),
        Column::new("Time (UTC)", Holds::Time),
        Column::new("ScanVerdict", Holds::Text),
        Column::new(&format!("{one} reading (deg)"), Holds::Number),
        Column::new("Uncertainty (deg)", Holds::Number),
        Column::new(&format!("{two} reading (deg)"), Holds::Number),
        Column::new("Uncertainty (deg)", Holds::Number),
        Column::new("Width (deg)", Holds::Number),
        Column::new("Signal to noise", Holds::Number),
        Column::new("Why", Holds::Prose),
    ];
    let rows = (reduction.scans.iter().enumerate())
        .map(|(i, scan)| Row {
            class: match scan.verdict {
                ScanVerdict::Good => None,
                ScanVerdict::Poor => Some("poor"),
                ScanVerdict::Refused => Some("unused"),
            },
            peak: Some(i + 1),
            cells: cells(i, scan),
            ..Row::default()
        })
        .collect();
    let table = Table {
        most: [MOST_SCANS; 2],
        rest: ": their pictures are in this folder.".to_owned(),
        ..Table::new("scans", "All scans", columns, rows)
    };
    Section::new("All scans", vec![Block::Table(table)])
        .rest("uncertainties on the sky; a scan's name opens its picture")
}

fn cells(index: usize, scan: &ReducedScan) -> Vec<Cell> {
    let name = match scan.curve {
        Some(_) => Cell::Link(
            scan.name.clone(),
            format!("{}.svg", file_stem(index, &scan.name)),
        ),
        None => Cell::text(scan.name.as_str()),
    };
    let axis = |peak: &Option<AxisPeak>| match peak {
        None => [Cell::Empty, Cell::Empty],
        Some(peak) => {
            let (reading, sigma) = (peak.reading.degrees(), peak.sigma.degrees());
            let (shown, uncertainty) = number::with_sigma(reading, sigma);
            [
                Cell::Number(reading, shown),
                Cell::Number(sigma, uncertainty),
            ]
        }
    };
    let [azimuth, azimuth_sigma] = axis(&scan.azimuth);
    let [elevation, elevation_sigma] = axis(&scan.elevation);
    let width = scan.width.map_or(Cell::Empty, |(width, sigma)| {
        let (shown, uncertainty) = number::with_sigma(width.degrees(), sigma.degrees());
        Cell::Number(width.degrees(), format!("{shown} ± {uncertainty}"))
    });
    let strength =
        (scan.signal_to_noise).map_or(Cell::Empty, |s| Cell::Number(s, number::significant(s, 2)));
    vec![
        name,
        Cell::text(scan.emitter.as_str()),
        Cell::text(summary::minute_words(scan.time)),
        Cell::text(scan.verdict.word()),
        azimuth,
        azimuth_sigma,
        elevation,
        elevation_sigma,
        width,
        strength,
        Cell::text(scan.why()),
    ]
}
