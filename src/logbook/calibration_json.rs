//! `calibration.json`, read strictly and written atomically.

use std::path::Path;

use serde::Deserialize;

use super::calibration::{Calibration, FORMAT};
use super::calibration_faults::{beyond_sense, faults_of};
use super::calibration_trust::Trust;
use super::json_place;
use crate::files::{self, FileToRead};
use crate::problem::{Error, MOST_PROBLEMS_SHOWN, Problem, Problems, Wrong, nearest_name};
use crate::text::{self, quoted};

/// Enough for a million peaks.
const EXPECTED: FileToRead = FileToRead::mebibytes("a calibration file", 256);
/// Prefix of `format` in every version.
const FORMAT_FAMILY: &str = "plumbeam calibration ";

impl Calibration {
    /// Reads a calibration file, or standard input when `path` is `-`.
    ///
    /// # Errors
    /// If the file cannot be read, or what is wrong with it.
    pub fn read(path: &Path) -> Result<Calibration, Error> {
        Ok(Calibration::read_with_checksum(path)?.0)
    }

    /// As [`Calibration::read`], with the checksum by which logs name the calibration.
    ///
    /// # Errors
    /// As [`Calibration::read`].
    pub fn read_with_checksum(path: &Path) -> Result<(Calibration, String), Error> {
        let (name, bytes) = files::read_bytes(path, EXPECTED)?;
        Ok((Calibration::parse(&name, &bytes)?, super::checksum(&bytes)))
    }

    /// Reads a calibration file from its bytes; messages call it `file`.
    ///
    /// # Errors
    /// What is wrong with it: the first fault in its form, otherwise all faults in its content.
    pub fn parse(file: &str, bytes: &[u8]) -> Result<Calibration, Error> {
        let text = text::decode(file, bytes)?;
        if text.trim().is_empty() {
            let wrong = Wrong::new("the file is empty", "a calibration as solve writes it");
            return Err(wrong.of_file(file).into());
        }
        check_format(file, text)?;
        let mut calibration: Calibration =
            serde_json::from_str(text).map_err(|e| form_problem(file, text, &e))?;
        let [_, axis_2] = calibration.kind().axes();
        for peak in &mut calibration.peaks {
            peak.axis_2 = axis_2;
        }
        let mut faults = faults_of(&calibration);
        // Each position is found by a search from the beginning; faults that are only counted need
        // none.
        let counted = faults.split_off(faults.len().min(MOST_PROBLEMS_SHOWN));
        let mut found: Vec<Problem> = faults
            .into_iter()
            .map(|(path, wrong)| {
                let at = json_place::find(text, &path);
                let (line, column) = text::line_and_column(text.as_bytes(), at);
                wrong.at(file, line, column)
            })
            .collect();
        found.sort_by_key(|p| (p.line, p.column));
        let mut problems = Problems::new();
        problems.extend(found);
        problems.extend(counted.into_iter().map(|(_, wrong)| wrong.of_file(file)));
        problems.or_value(calibration)
    }

    /// The calibration as indented JSON with a trailing newline.
    pub fn to_json(&self) -> String {
        // Every key is text and every value has a JSON form, so this cannot fail.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// Lowers the trust to at most `trust` and puts this reason first.
    pub fn distrust(&mut self, trust: Trust, reason: String) {
        self.trust = self.trust.min(trust);
        self.reasons.insert(0, reason);
    }

    /// Checks that its values are physically possible; a fit that diverged, or an absurd held
    /// value, is reported before anything is written.
    ///
    /// # Errors
    /// The terms whose values are implausibly large; a file with them would be rejected on reading.
    pub fn sensible(&self) -> Result<(), Error> {
        let beyond = beyond_sense(self);
        if beyond.is_empty() {
            return Ok(());
        }
        Err(Error::Unsupported(format!(
            "no mount can have the errors found: {}. No calibration is written. Are the \
             peaks of the right emitters, the encoders' signs and units right, and the values of \
             --hold degrees? Fewer terms (--terms) may also tell more",
            beyond.join(", and ")
        )))
    }

    /// Returns the calibration as JSON after checking that it can be read back; messages call it
    /// `path`.
    ///
    /// # Errors
    /// As [`Calibration::sensible`], and if it contains anything else that could not be read back,
    /// such as a number that is not finite.
    pub fn checked_json(&self, path: &Path) -> Result<String, Error> {
        self.sensible()?;
        let name = path.display().to_string();
        let mut problems = Problems::new();
        let faults = faults_of(self).into_iter();
        problems.extend(faults.map(|(_, wrong)| wrong.of_file(&name)));
        problems.or_value(self.to_json())
    }

    /// Writes the calibration file atomically, replacing any existing file.
    ///
    /// # Errors
    /// As [`Calibration::checked_json`], and if it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), Error> {
        files::write_whole(path, self.checked_json(path)?.as_bytes())
    }
}

/// Checks that the text is JSON and a calibration of this version.
fn check_format(file: &str, text: &str) -> Result<(), Error> {
    #[derive(Deserialize)]
    struct FormatOnly {
        format: Option<serde_json::Value>,
    }
    const EXPECTED: &str = "a calibration file, as solve writes it";
    if !text.trim_start().starts_with('{') {
        let wrong = Wrong::new("this file is not a JSON document in { }", EXPECTED);
        return Err(wrong.at(file, 1, 1).into());
    }
    let found: FormatOnly = serde_json::from_str(text).map_err(|e| form_problem(file, text, &e))?;
    let at = json_place::find(text, &[json_place::PathStep::key("format")]);
    let (line, column) = text::line_and_column(text.as_bytes(), at);
    let wrong = match found.format.as_ref().map(serde_json::Value::as_str) {
        Some(Some(FORMAT)) => return Ok(()),
        Some(Some(format)) => match format.strip_prefix(FORMAT_FAMILY) {
            Some(version) if version.parse::<u32>().is_ok_and(|v| v > 1) => Wrong::new(
                format!("this calibration is of a later format, {version}"),
                "format 1, the only one this version of plumbeam knows",
            )
            .mend("use the plumbeam that wrote it, or a newer one, or run solve again"),
            _ => Wrong::new(format!("format is {}", quoted(format)), quoted(FORMAT)),
        },
        Some(None) => Wrong::new("format is not text", quoted(FORMAT)),
        None => Wrong::new("this JSON has no format and is not a calibration", EXPECTED),
    };
    Err(wrong.at(file, line, column).into())
}

/// Describes an error of the JSON parser.
fn form_problem(file: &str, text: &str, error: &serde_json::Error) -> Error {
    let line_start: usize = text
        .split_inclusive('\n')
        .take(error.line().saturating_sub(1))
        .map(str::len)
        .sum();
    // The parser counts columns in bytes.
    let at = line_start + error.column().saturating_sub(1);
    let (line, column) = text::line_and_column(text.as_bytes(), at);
    // The JSON parser does not report a truncated number or string as an unexpected end.
    let at_end = at + 1 >= text.trim_end().len();
    let behind = error.to_string().starts_with("trailing characters");
    if error.is_eof() || (error.is_syntax() && at_end && !behind) {
        return Wrong::new("the file ends in the middle", "the rest of it")
            .mend("it was cut short: copy it again, or run solve again")
            .at(file, line, column)
            .into();
    }
    let message = error.to_string().replace('`', "\"");
    let message = message.split(" at line ").next().unwrap_or_default();
    let (found, expected) = message.rsplit_once(", expected ").unwrap_or((message, ""));
    let mut wrong = Wrong::new(in_words(found), expected);
    wrong.expected = match expected {
        "f64" => "a number".to_owned(),
        "usize" => "a whole number from 0".to_owned(),
        other => other.to_owned(),
    };
    if wrong.found.contains("appears again") {
        "each name once: keep the right one of the two".clone_into(&mut wrong.expected);
    }
    if wrong.found.starts_with("a key is missing") {
        "all keys that solve writes".clone_into(&mut wrong.expected);
        wrong = wrong.mend("put it back, or run solve again");
    }
    if error.is_syntax() {
        wrong = syntax_in_words(found, text.get(at.saturating_sub(1)..).unwrap_or_default());
    }
    let known = expected.split('"').skip(1).step_by(2);
    let near = found
        .strip_prefix("unknown field ")
        .and_then(|name| nearest_name(name.trim_matches('"'), known));
    if let Some(near) = near {
        wrong = wrong.mend(format!("write \"{near}\""));
    }
    wrong.at(file, line, column).into()
}

/// Describes a JSON syntax error from the parser's message and the text around it.
fn syntax_in_words(message: &str, around: &str) -> Wrong {
    // A bare NaN is the most common fault of files written by other programs.
    let token = around.trim_start_matches([' ', ':', '-']);
    for word in ["NaN", "Infinity", "nan", "inf"] {
        if token.starts_with(word) {
            return Wrong::new(format!("{word} is not a number in JSON"), "a finite number");
        }
    }
    match message {
        "key must be a string" => Wrong::new(
            "this is not JSON",
            "a key in quotes, or the end of the object",
        )
        .mend("numbers take a decimal point, not a comma; no comma stands before a }"),
        "number out of range" => Wrong::new("this number is too large", "a finite number"),
        _ => match message.strip_prefix("expected ") {
            Some(expected) => Wrong::new("this is not JSON", expected),
            None => Wrong::new(format!("this is not JSON: {message}"), ""),
        },
    }
}

/// Rephrases the JSON parser's message in plain words.
fn in_words(found: &str) -> String {
    for (theirs, ours) in [
        ("invalid type: string ", "this is the text "),
        ("invalid type: integer ", "this is the number "),
        ("invalid type: floating point ", "this is the number "),
        ("invalid value: integer ", "this is the number "),
        ("invalid type: map", "this is an object"),
        ("invalid type: sequence", "this is a list"),
        ("invalid type: ", "this is "),
        ("invalid value: ", "this is "),
        ("unknown field ", "no key is called "),
        ("unknown variant ", "the word is "),
        ("missing field ", "a key is missing before this place: "),
        ("duplicate field ", "this key appears again: "),
    ] {
        if let Some(rest) = found.strip_prefix(theirs) {
            return format!("{ours}{rest}");
        }
    }
    found.to_owned()
}
