//! Reads `station.toml` strictly: all faults at once, each with line and column.

use std::io::ErrorKind;
use std::path::Path;

use toml_edit::Document;

use super::keys::elsewhere;
use super::section::{Section, Source, kind_of};
use super::{Station, dish, emitters, feeds, horizon, mount, site};
use crate::files::{self, FileToRead};
use crate::problem::{Error, Problem, Wrong};
use crate::quantity::Quantity;
use crate::text;

/// A station with a thousand emitters takes a tenth of that.
const EXPECTED: FileToRead = FileToRead::mebibytes("a station file", 4);

const SECTIONS: [&str; 6] = ["site", "mount", "dish", "horizon", "emitter", "feed"];

impl Station {
    /// Reads a station file.
    ///
    /// # Errors
    /// If it cannot be read, or everything that is wrong with it.
    pub fn read(path: &Path) -> Result<Station, Error> {
        let (name, bytes) = files::read_bytes(path, EXPECTED).map_err(|e| match e {
            Error::Io { file, source, .. } if source.kind() == ErrorKind::NotFound => {
                missing(&file)
            }
            other => other,
        })?;
        Station::parse(&name, path.parent().unwrap_or(Path::new("")), &bytes)
    }

    /// Reads a station file from its bytes; messages call it `file`, and the paths in it are
    /// relative to `folder`.
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub fn parse(file: &str, folder: &Path, bytes: &[u8]) -> Result<Station, Error> {
        let text = text::decode(file, bytes)?;
        let document = Document::parse(text).map_err(|e| syntax_problem(file, text, &e))?;
        let mut source = Source::new(file, text);
        let root = Section::new("the file", 0, document.as_table());
        source.unknown_keys(&root, &SECTIONS, elsewhere);
        let mut assumptions = Vec::new();
        let site = section(&mut source, &root, "site").and_then(|s| site::site(&mut source, &s));
        let latitude = site.as_ref().map(|s| s.latitude);
        let mount = section(&mut source, &root, "mount")
            .and_then(|s| mount::mount(&mut source, &s, latitude, &mut assumptions));
        let dish = section(&mut source, &root, "dish")
            .and_then(|s| dish::dish(&mut source, &s, &mut assumptions));
        let horizon = section(&mut source, &root, "horizon")
            .map(|s| horizon::horizon(&mut source, &s))
            .unwrap_or_default();
        let emitters =
            emitters::emitters(&mut source, root.get("emitter"), folder, &mut assumptions);
        let feeds = feeds::feeds(&mut source, root.get("feed"), dish.as_ref());
        match (site, mount, dish) {
            (Some(mut site), Some(mut mount), Some(dish)) if source.faults.is_empty() => {
                if let Some(fixed) = mount.fixed_declination {
                    // Out to the half-power points of the beam.
                    let half = dish.beamwidth / 2.0;
                    mount.elevation_range = (fixed - half, fixed + half);
                }
                site.assumptions.append(&mut assumptions);
                Ok(Station {
                    site,
                    mount,
                    dish,
                    horizon,
                    emitters,
                    feeds,
                })
            }
            _ => Err(source.problems().into()),
        }
    }
}

/// Reports that there is no station file of that name.
fn missing(file: &str) -> Error {
    Problem::of_file(
        file,
        "there is no such file",
        "a station file, which says where the dish stands and what it can hear",
    )
    .mend(
        "plumbeam new FOLDER --at LAT,LON --dish METRES --frequency MHZ writes one to begin with; if \
         you have one, say where it is: --station FILE",
    )
    .into()
}

/// Reports invalid TOML: the parser gives the position, but nothing about what follows.
fn syntax_problem(file: &str, text: &str, error: &toml_edit::TomlError) -> Error {
    let at = error.span().map_or(0, |s| s.start);
    let (line, column) = text::line_and_column(text.as_bytes(), at);
    let (found, expected) = match error.message().split_once(", expected ") {
        Some((found, expected)) => (found, expected),
        None => (error.message(), ""),
    };
    let written = text.lines().nth(line - 1).unwrap_or_default();
    let value = written.split_once('=').map_or("", |(_, v)| v.trim());
    let number = value.split('#').next().unwrap_or_default().trim();
    let numeric = number.starts_with(|c: char| c.is_ascii_digit() || "+-.\u{2212}".contains(c));
    let any_number = Quantity::new(f64::MIN, f64::MAX, "");
    let remedy = any_number.read("", number).map_err(|told| told.remedy);
    let remedy = if let (true, Err(remedy)) = (numeric, remedy) {
        remedy
    } else if found.contains("must be quoted") && !value.contains(['\u{201c}', '\u{201d}']) {
        format!("put text in double quotes: \"{number}\"")
    } else if written.contains(['\u{201c}', '\u{201d}', '\u{201e}']) {
        "use plain double quotes (\") around text".to_owned()
    } else if found.contains("duplicate key") {
        "delete one of the two; the heading of every emitter has double brackets: [[emitter]]"
            .to_owned()
    } else {
        "once this is mended, the rest of the file can be checked".to_owned()
    };
    Wrong::new(format!("this is not TOML: {found}"), expected)
        .mend(remedy)
        .at(file, line, column)
        .into()
}

/// Finds the section of that name; all but the horizon are required.
fn section<'a>(source: &mut Source<'_>, root: &Section<'a>, name: &str) -> Option<Section<'a>> {
    let heading = format!("[{name}]");
    let keys = match name {
        "site" => "name, latitude_deg, longitude_deg and height_m under it",
        "mount" => "kind, azimuth_range_deg and elevation_range_deg under it",
        _ => "diameter_m and frequency_mhz under it",
    };
    let Some(item) = root.get(name) else {
        if name != "horizon" && !source.was_meant(root, name) {
            let wrong = Wrong::new(format!("the file has no section {heading}"), keys);
            source.wrong_file(wrong);
        }
        return None;
    };
    let start = item.span().map_or(0, |s| s.start);
    match item.as_table_like() {
        Some(table) => Some(Section::new(heading, start, table)),
        None => {
            let found = format!("{name} is {}", kind_of(item));
            source.wrong_at(start, Wrong::new(found, format!("one section {heading}")));
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::station::keys::{self, KINDS};

    /// The page that documents the file formats.
    const PAGE: &str = include_str!("../../docs/files.md");

    /// The first code block in a language on the page.
    fn block(language: &str) -> &'static str {
        let (_, from) = PAGE.split_once(&format!("```{language}\n")).unwrap();
        from.split_once("```").unwrap().0
    }

    #[test]
    fn every_key_is_documented_and_in_the_example() {
        let sections = [
            &keys::SITE[..],
            &keys::AZ_EL[..],
            &keys::DISH[..],
            &keys::HORIZON[..],
        ];
        for (kind, keys) in keys::MOUNTS {
            for key in keys {
                assert!(
                    PAGE.contains(&format!("`{key}`")),
                    "{key} of {kind} is not told"
                );
            }
        }
        let of_emitters = KINDS.iter().flat_map(|(_, keys)| keys.iter());
        for key in sections.into_iter().flatten().chain(of_emitters) {
            assert!(PAGE.contains(&format!("`{key}`")), "{key} is not told");
            let given = |line: &str| line.split(" = ").next() == Some(*key);
            assert!(block("toml").lines().any(given), "{key} is in no example");
        }
        for (kind, _) in KINDS {
            assert!(PAGE.contains(&format!("`{kind}`")), "{kind}");
            assert!(block("toml").contains(&format!("kind = \"{kind}\"")));
        }
    }

    #[test]
    fn the_example_of_the_page_is_read() {
        let folder = Path::new(".");
        let station = Station::parse("files.md", folder, block("toml").as_bytes()).unwrap();
        assert_eq!(station.emitters.len(), KINDS.len());
        assert_eq!(station.site.ut1_minus_utc_s, 0.04);
        assert!(station.mount.azimuth_teeth.is_some() && station.mount.elevation_teeth.is_some());
        for (kind, keys) in keys::MOUNTS.into_iter().skip(1) {
            let mount = block(&format!("toml {kind}"));
            let whole = block("toml");
            let (site, rest) = whole.split_once("[mount]").unwrap();
            let (_, dish) = rest.split_once("[dish]").unwrap();
            let text = format!("{site}{mount}[dish]{dish}");
            let station = Station::parse("files.md", folder, text.as_bytes()).unwrap();
            assert_eq!(station.mount.kind().name(), kind);
            for key in keys.iter().filter(|key| !keys::AZ_EL.contains(key)) {
                assert!(
                    mount.contains(&format!("{key} = ")) || PAGE.contains(&format!("\n{key} = ")),
                    "{key} is in no example"
                );
            }
        }
    }
}
