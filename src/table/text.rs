//! The table as CSV and as JSON.

use std::fmt::Write;

use crc32fast::Hasher;
use serde::{Deserialize, Serialize};

use crate::logbook::keyed;
use crate::mount::Kind;

use super::correction_table::CorrectionTable;
use super::grid::Microdegrees;
use super::header::Header;

/// The columns of the CSV form, and the keys of a row of the JSON form.
pub const COLUMNS: [&str; 4] = [
    "azimuth_deg",
    "elevation_deg",
    "azimuth_correction_deg",
    "elevation_correction_deg",
];

/// The columns for a kind of mount.
pub(super) fn columns(kind: Kind) -> [String; 4] {
    COLUMNS.map(|column| kind.key_of(column))
}

/// The JSON form.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Document {
    #[serde(flatten)]
    pub header: Header,
    pub crc32: String,
    pub rows: Vec<Row>,
}

/// One node of the JSON form.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Row {
    pub azimuth_deg: f64,
    pub elevation_deg: f64,
    pub azimuth_correction_deg: f64,
    pub elevation_correction_deg: f64,
}

impl CorrectionTable {
    /// The CSV form: a header of `# key: value` lines, then [`COLUMNS`], one row to a node.
    pub fn to_csv(&self) -> String {
        let (header, rows) = self.parts();
        // The checksum stands at the end of the header, before the column names.
        format!("{header}# crc32: {}\n{rows}", checksum(&header, &rows))
    }

    /// The JSON form: the entries of the header, `crc32`, and `rows`.
    pub fn to_json(&self) -> String {
        let document = Document {
            header: self.header.clone(),
            crc32: self.crc32(),
            rows: self
                .places()
                .map(|(azimuth, elevation, node)| Row {
                    azimuth_deg: azimuth.degrees(),
                    elevation_deg: elevation.degrees(),
                    azimuth_correction_deg: node.azimuth.degrees(),
                    elevation_correction_deg: node.elevation.degrees(),
                })
                .collect(),
        };
        let kind = self.header.geometry().kind();
        // A plain struct of numbers and texts always serialises.
        let text = match kind.is_az_el() {
            true => serde_json::to_string_pretty(&document),
            false => serde_json::to_value(&document)
                .and_then(|value| serde_json::to_string_pretty(&keyed(kind, value))),
        };
        text.unwrap_or_default() + "\n"
    }

    /// The checksum that both forms carry.
    pub fn crc32(&self) -> String {
        let (header, rows) = self.parts();
        checksum(&header, &rows)
    }

    /// The CSV form without its checksum: header lines, and column names with rows.
    fn parts(&self) -> (String, String) {
        let mut header = String::new();
        for (key, value) in self.header.entries() {
            // Writing to a string cannot fail.
            let _ = writeln!(header, "# {key}: {value}");
        }
        let mut out = String::new();
        let _ = writeln!(out, "{}", columns(self.header.geometry().kind()).join(","));
        for (azimuth, elevation, node) in self.places() {
            let _ = writeln!(
                out,
                "{:.6},{:.6},{:.6},{:.6}",
                azimuth.degrees(),
                elevation.degrees(),
                node.azimuth.degrees(),
                node.elevation.degrees()
            );
        }
        (header, out)
    }

    /// Every node with its demand, row by row.
    fn places(
        &self,
    ) -> impl Iterator<Item = (Microdegrees, Microdegrees, &super::correction_table::Node)> {
        let grid = self.nodes.grid;
        self.nodes.nodes.iter().enumerate().map(move |(i, node)| {
            (
                grid.azimuth.node(i % grid.azimuth.count),
                grid.elevation.node(i / grid.azimuth.count),
                node,
            )
        })
    }
}

fn checksum(header: &str, rows: &str) -> String {
    let mut crc = Hasher::new();
    crc.update(header.as_bytes());
    crc.update(rows.as_bytes());
    format!("{:08x}", crc.finalize())
}
