//! Reading a table back, from its CSV or its JSON form.
//!
//! Both forms carry the checksum of the CSV form; a table that was edited or damaged is refused,
//! not used.

use serde::Deserialize;
use serde_json::{Map, Value};

use crate::files::FileToRead;
use crate::mount::{Kind, LowerAxis, Pole};
use crate::problem::{Error, Problem, nearest_name};
use crate::station::limits::SHIFT;
use crate::text;

use super::correction_table::{CorrectionTable, Node, Nodes};
use super::demand::DemandKind;
use super::grid::{Grid, GridAxis, Microdegrees, TURN};
use super::header::{FORMAT, Header};
use super::ranges;
use super::text::{COLUMNS, Document, Row, columns};

/// The largest that can be written has a million nodes.
pub const EXPECTED: FileToRead = FileToRead::mebibytes("a correction table", 256);

const MEND: &str = "make the table again with plumbeam table; corrections are not edited by hand";

/// Reads the CSV or the JSON form; `file` is its name in messages.
///
/// # Errors
/// [`Error::Input`] with the place of the first fault, or when the checksum is wrong.
pub fn read_table(file: &str, bytes: &[u8]) -> Result<CorrectionTable, Error> {
    let text = text::decode(file, bytes)?;
    let (header, crc, rows) = if text.trim_start().starts_with('{') {
        from_json(file, text)?
    } else {
        from_csv(file, text)?
    };
    let table = assemble(file, header, rows)?;
    let found = table.crc32();
    if !found.eq_ignore_ascii_case(&crc) {
        return Err(Problem::of_file(
            file,
            format!("the checksum of the contents is {found}"),
            format!("{crc}, as the file states: it was edited or damaged"),
        )
        .mend(MEND)
        .into());
    }
    Ok(table)
}

type Parts = (Header, String, Vec<Row>);

fn from_json(file: &str, text: &str) -> Result<Parts, Error> {
    let document: Document = plain_json(text).map_err(|e| {
        Problem::of_file(file, e.to_string(), format!("a \"{FORMAT}\" as JSON"))
            .at(e.line().max(1), e.column().max(1))
            .mend(MEND)
    })?;
    Ok((document.header, document.crc32, document.rows))
}

/// The JSON form, whatever kind of mount its keys are named for.
fn plain_json(text: &str) -> serde_json::Result<Document> {
    #[derive(Deserialize)]
    struct MountOnly {
        #[serde(default)]
        mount: String,
    }
    let of: MountOnly = serde_json::from_str(text)?;
    match kind_named(&of.mount) {
        None => serde_json::from_str(text),
        Some(kind) => serde_json::from_value(plain(kind, serde_json::from_str(text)?)),
    }
}

/// A kind of mount whose keys are its own.
fn kind_named(name: &str) -> Option<Kind> {
    match name {
        "polar" => Some(Kind::Polar(Pole::North)),
        "x-y" => Some(Kind::XY(LowerAxis::NorthSouth)),
        _ => None,
    }
}

/// A document with the keys of an az-el mount instead of those of this kind.
fn plain(kind: Kind, value: Value) -> Value {
    match value {
        Value::Object(map) => Value::Object(
            map.into_iter()
                .map(|(key, value)| (plain_key(kind, &key), plain(kind, value)))
                .collect(),
        ),
        Value::Array(list) => Value::Array(list.into_iter().map(|v| plain(kind, v)).collect()),
        other => other,
    }
}

/// The key of an az-el mount for one of this kind.
fn plain_key(kind: Kind, key: &str) -> String {
    let known = Header::keys();
    (known.iter().map(String::as_str).chain(COLUMNS))
        .find(|k| kind.key_of(k) == key)
        .unwrap_or(key)
        .to_owned()
}

fn from_csv(file: &str, text: &str) -> Result<Parts, Error> {
    let wrong = |line: usize, found: String, expected: String| -> Error {
        Problem::of_file(file, found, expected)
            .at(line, 1)
            .mend(MEND)
            .into()
    };
    let mut entries = Map::new();
    let mut crc = None;
    let mut named = false;
    let mut rows = Vec::new();
    for (i, line) in text.lines().enumerate() {
        let number = i + 1;
        let line = line.trim();
        if let Some(comment) = line.strip_prefix('#') {
            let Some((key, value)) = comment.trim().split_once(':') else {
                return Err(wrong(
                    number,
                    format!("the comment {line:?}"),
                    "# key: value".to_owned(),
                ));
            };
            match key.trim() {
                "crc32" => crc = Some(value.trim().to_owned()),
                key => {
                    entries.insert(key.to_owned(), entry(key, value.trim()));
                }
            }
        } else if line.is_empty() {
        } else if !named {
            let mount = entries.get("mount").and_then(Value::as_str);
            let kind = mount.and_then(kind_named).unwrap_or_default();
            let expected = columns(kind).join(",");
            if line != expected {
                return Err(wrong(number, format!("the columns {line:?}"), expected));
            }
            named = true;
        } else {
            rows.push(row(line).ok_or_else(|| {
                wrong(
                    number,
                    format!("the row {line:?}"),
                    "four numbers with commas between them".to_owned(),
                )
            })?);
        }
    }
    if !entries.contains_key("format") {
        return Err(wrong(
            1,
            "no line '# format:'".to_owned(),
            format!("# format: {FORMAT}"),
        ));
    }
    let mount = entries.get("mount").and_then(Value::as_str);
    if let Some(kind) = mount.and_then(kind_named)
        && let Value::Object(renamed) = plain(kind, Value::Object(entries.clone()))
    {
        entries = renamed;
    }
    let known = Header::keys();
    if let Some(key) = entries
        .keys()
        .find(|k| !known.iter().any(|name| name == *k))
    {
        let near = nearest_name(key, known.iter().map(String::as_str));
        return Err(wrong(
            1,
            format!("the unknown entry {key:?}"),
            near.map_or_else(String::new, |n| format!("perhaps {n:?}")),
        ));
    }
    let header = serde_json::from_value(Value::Object(entries)).map_err(|e| {
        wrong(
            1,
            format!("in the header, {e}"),
            format!("the entries of a \"{FORMAT}\""),
        )
    })?;
    let crc = crc.ok_or_else(|| {
        wrong(
            1,
            "no line '# crc32:'".to_owned(),
            "the table's checksum".to_owned(),
        )
    })?;
    Ok((header, crc, rows))
}

/// The value of a header line. Which entries are numbers shows in their names' ends.
fn entry(key: &str, value: &str) -> Value {
    let is_number = ["_deg", "_count", "_s", "_hpa", "_c", "_directions"]
        .iter()
        .any(|end| key.ends_with(end))
        || key == "relative_humidity";
    if !is_number {
        return Value::String(value.to_owned());
    }
    if value == "none" {
        return Value::Null;
    }
    serde_json::from_str(value).unwrap_or_else(|_| Value::String(value.to_owned()))
}

fn row(line: &str) -> Option<Row> {
    let mut cells = line.split(',').map(|cell| cell.trim().parse::<f64>().ok());
    let mut next = || cells.next().flatten();
    let row = Row {
        azimuth_deg: next()?,
        elevation_deg: next()?,
        azimuth_correction_deg: next()?,
        elevation_correction_deg: next()?,
    };
    cells.next().is_none().then_some(row)
}

/// Checks that the rows are the nodes of the header's grid.
fn assemble(file: &str, header: Header, rows: Vec<Row>) -> Result<CorrectionTable, Error> {
    let wrong = |found: String, expected: String| -> Error {
        Problem::of_file(file, found, expected).mend(MEND).into()
    };
    if header.format != FORMAT {
        return Err(wrong(
            format!("the format {:?}", header.format),
            format!("{FORMAT:?}; a table of a later version needs a later plumbeam"),
        ));
    }
    if DemandKind::by_name(&header.demand).is_none() {
        return Err(wrong(
            format!("the demand {:?}", header.demand),
            "\"geometric\" or \"apparent\"".to_owned(),
        ));
    }
    if let Err(found) = header.mount() {
        return Err(wrong(found, "how the mount stands".to_owned()));
    }
    if let Some(fault) = ranges::fault(&header) {
        return Err(fault.mend(MEND).of_file(file).into());
    }
    let micro = |degrees: f64| Microdegrees::nearest(crate::angle::Angle::from_degrees(degrees));
    let axis = |first: f64, last: f64, count: usize| {
        GridAxis::new(micro(first)?, micro(last)?, count.checked_sub(1)?)
    };
    let azimuth = axis(
        header.azimuth_first_deg,
        header.azimuth_last_deg,
        header.azimuth_count,
    );
    let elevation = axis(
        header.elevation_first_deg,
        header.elevation_last_deg,
        header.elevation_count,
    );
    let (Some(azimuth), Some(elevation)) = (azimuth, elevation) else {
        return Err(wrong(
            "a grid whose first, last and count do not fit together".to_owned(),
            "at least two nodes at equal steps on both axes".to_owned(),
        ));
    };
    let expected = azimuth.count.checked_mul(elevation.count);
    if expected != Some(rows.len()) {
        return Err(wrong(
            format!("{} rows", rows.len()),
            format!("{} x {}", azimuth.count, elevation.count),
        ));
    }
    let mut nodes = Vec::with_capacity(rows.len());
    for (i, row) in rows.iter().enumerate() {
        let place = (
            azimuth.node(i % azimuth.count),
            elevation.node(i / azimuth.count),
        );
        let found = (micro(row.azimuth_deg), micro(row.elevation_deg));
        let shift = |degrees: f64| {
            SHIFT.check("correction", "", degrees).ok()?;
            micro(degrees)
        };
        let node = shift(row.azimuth_correction_deg).zip(shift(row.elevation_correction_deg));
        let (true, Some((across, up))) = (found == (Some(place.0), Some(place.1)), node) else {
            return Err(wrong(
                format!(
                    "row {} for azimuth {}, elevation {}",
                    i + 1,
                    row.azimuth_deg,
                    row.elevation_deg
                ),
                format!(
                    "azimuth {}, elevation {}, and finite corrections",
                    place.0.degrees(),
                    place.1.degrees()
                ),
            ));
        };
        nodes.push(Node {
            azimuth: across,
            elevation: up,
        });
    }
    let one_turn = header.is_one_turn();
    if one_turn && (azimuth.first.0, azimuth.last().0) != (0, TURN) {
        return Err(wrong(
            "an azimuth axis of one turn that does not run from 0 to 360".to_owned(),
            "0 to 360".to_owned(),
        ));
    }
    Ok(CorrectionTable {
        header,
        nodes: Nodes {
            grid: Grid {
                azimuth,
                elevation,
                one_turn,
            },
            nodes,
        },
    })
}
