//! The option that assigns headers to columns, for every kind of log.

use super::column_names::ColumnNames;
use super::{peaks_csv, scan_columns};
use crate::problem::nearest_name;
use crate::text::quoted;

impl ColumnNames {
    /// Reads `time_utc="Date Time",azimuth_deg=AZ`, with or without the quotes. A date and a time
    /// of day in separate columns are joined by a plus: `time_utc=Date+Time`.
    ///
    /// # Errors
    /// What is wrong with a text of any other form.
    pub fn parse(text: &str) -> Result<ColumnNames, String> {
        let mut named: Vec<(String, String)> = Vec::new();
        for piece in text.split(',') {
            let known = piece
                .split_once('=')
                .map(|(key, header)| (key.trim(), header));
            match known {
                Some((key, header)) if is_known(key) => {
                    named.push((key.to_owned(), header.to_owned()));
                }
                // A header may contain a comma.
                _ => match named.last_mut() {
                    Some((_, header)) if known.is_none() => {
                        header.push(',');
                        header.push_str(piece);
                    }
                    _ => return Err(unknown(piece)),
                },
            }
        }
        for (key, header) in &mut named {
            *header = header.replace('"', "").trim().to_owned();
            if header.is_empty() {
                return Err(format!("{key} has no header behind its equals sign"));
            }
        }
        Ok(ColumnNames { named })
    }
}

fn is_known(key: &str) -> bool {
    known_columns().any(|known| known == key)
}

/// All known columns of all kinds of log.
fn known_columns() -> impl Iterator<Item = &'static str> {
    let peaks = peaks_csv::ALL_COLUMNS.iter().flat_map(|c| c.iter());
    let scans = scan_columns::ALL_COLUMNS.iter().flat_map(|c| c.iter());
    peaks.chain(scans).copied()
}

fn unknown(piece: &str) -> String {
    let example = "such as time_utc=\"Date Time\",azimuth_deg=AZ";
    match piece.split_once('=') {
        None => format!("{} is not COLUMN=HEADER, {example}", quoted(piece)),
        Some((key, header)) => {
            let near = nearest_name(key, known_columns())
                .or_else(|| nearest_name(header, known_columns()).filter(|n| *n == header));
            let found = format!("no column is called {}", quoted(key));
            match near {
                Some(near) if near == header => {
                    format!("{found}; the column stands first: {header}={key}")
                }
                Some(near) => format!("{found}; is it {near}?"),
                None => format!("{found}, {example}"),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_is_documented() {
        let page = include_str!("../../docs/files.md");
        let peaks = peaks_csv::ALL_COLUMNS.iter().flat_map(|c| c.iter());
        let scans = scan_columns::ALL_COLUMNS.iter().flat_map(|c| c.iter());
        for column in peaks.chain(scans) {
            assert!(page.contains(&format!("`{column}`")), "{column}");
        }
        for name in crate::mount::Kind::names_of_any() {
            assert!(page.contains(&format!("`{name}`")), "{name}");
        }
    }

    fn read(text: &str) -> Vec<(String, String)> {
        ColumnNames::parse(text).unwrap().named
    }
    fn pairs(pairs: &[(&str, &str)]) -> Vec<(String, String)> {
        (pairs.iter())
            .map(|(a, b)| ((*a).to_owned(), (*b).to_owned()))
            .collect()
    }

    #[test]
    fn headers_are_read_with_and_without_quotes() {
        let expected = pairs(&[("time_utc", "Date Time"), ("azimuth_deg", "AZ")]);
        assert_eq!(read("time_utc=\"Date Time\",azimuth_deg=AZ"), expected);
        // The shell removes the quotes.
        assert_eq!(read("time_utc=Date Time,azimuth_deg=AZ"), expected);
        assert_eq!(
            read("azimuth_deg=Az, deg,note=a=b, c"),
            pairs(&[("azimuth_deg", "Az, deg"), ("note", "a=b, c")])
        );
        assert_eq!(
            read("time_utc=Datum+Uhrzeit"),
            pairs(&[("time_utc", "Datum+Uhrzeit")])
        );
    }

    #[test]
    fn invalid_mappings_are_reported() {
        let told = |text: &str| ColumnNames::parse(text).unwrap_err();
        assert!(told("AZ").contains("not COLUMN=HEADER"));
        assert_eq!(
            told("azimut=AZ"),
            "no column is called \"azimut\"; is it azimuth_deg?"
        );
        assert!(told("AZ=azimuth_deg").contains("azimuth_deg=AZ"));
        assert!(told("azimuth_deg=").contains("no header"));
        assert!(told("azimuth_deg=AZ,foo=bar").contains("\"foo\""));
    }

    #[test]
    fn suggestions_read_back() {
        let mut names = ColumnNames::default();
        names.push("time_utc", "Datum Uhrzeit".to_owned());
        names.push("azimuth_deg", "Az [°]".to_owned());
        names.push("elevation_deg", "Höhe".to_owned());
        let option = names.to_option();
        assert_eq!(
            option,
            "time_utc=\"Datum Uhrzeit\",azimuth_deg=\"Az [°]\",elevation_deg=Höhe"
        );
        assert_eq!(ColumnNames::parse(&option).unwrap(), names);
    }
}
