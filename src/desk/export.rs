//! All files that the command line would write for a state, and the commands to reproduce it.

use std::path::{Path, PathBuf};

use crate::corrected::full_model;
use crate::mount::Term;
use crate::outputs::{Guard, OutputKind};
use crate::problem::{Error, printable};
use crate::report::{
    Colour, FAULTS_PAGE, PAGE_NAME, faults_json, faults_text, text, write_faults, write_report,
};
use crate::table::{DemandKind, Provenance, TableRequest, c_header, firmware_table, table};

use super::edit::{Addition, Choices};
use super::effective::Effective;
use super::session::DeskSession;
use super::solved::{SessionFindings, SolvedSession};

/// The calibration in the session's folder: what `solve` writes there.
pub const CALIBRATION_FILE: &str = "calibration.json";

/// Something that can be exported.
#[derive(Clone, Copy, Debug)]
pub struct Export {
    /// Its id on a page.
    pub id: &'static str,
    what: &'static str,
    /// Name of the file or folder in the session's folder.
    pub file: &'static str,
    kind: ExportKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum ExportKind {
    Log,
    Calibration,
    Result,
    TableCsv,
    TableJson,
    Header,
    Findings,
    FindingsText,
    Report,
    FaultsReport,
}

/// Everything that can be exported.
pub const ALL: [Export; 10] = [
    export("log", "Log as edited", "desk-peaks.csv", ExportKind::Log),
    export(
        "calibration",
        "Calibration",
        CALIBRATION_FILE,
        ExportKind::Calibration,
    ),
    export("result", "Result as text", "solve.txt", ExportKind::Result),
    export(
        "table",
        "Correction table",
        "corrections.csv",
        ExportKind::TableCsv,
    ),
    export(
        "table-json",
        "Correction table as JSON",
        "corrections.json",
        ExportKind::TableJson,
    ),
    export(
        "c-header",
        "Correction table for firmware",
        "corrections.h",
        ExportKind::Header,
    ),
    export(
        "findings",
        "Faults as JSON",
        "findings.json",
        ExportKind::Findings,
    ),
    export(
        "faults",
        "Faults as text",
        "faults.txt",
        ExportKind::FindingsText,
    ),
    export(
        "report",
        "Report with pictures",
        "report",
        ExportKind::Report,
    ),
    export(
        "faults-report",
        "Report of the faults",
        "faults",
        ExportKind::FaultsReport,
    ),
];

const fn export(
    id: &'static str,
    what: &'static str,
    file: &'static str,
    kind: ExportKind,
) -> Export {
    Export {
        id,
        what,
        file,
        kind,
    }
}

impl Export {
    /// What it is and where it is written, for display.
    pub fn label(&self) -> String {
        format!("{} ({})", self.what, self.file)
    }
}

/// Result of an export.
#[derive(Clone, Debug, Default, serde::Serialize)]
pub struct Exported {
    /// Files and folders written, by name in the session's folder.
    pub written: Vec<String>,
    /// Notes about them.
    pub said: Vec<String>,
}

/// File names of the logs of a state: the log itself if unchanged, otherwise the file exported in
/// its place.
pub fn log_names(session: &DeskSession, effective: &Effective) -> Vec<String> {
    if effective.as_logged {
        return vec![named_from(&session.folder, &session.log_path)];
    }
    (0..effective.logs().len().max(1))
        .map(exported_log)
        .collect()
}

/// Path of a file for a command run in that folder.
fn named_from(folder: &Path, path: &Path) -> String {
    let whole = |path: &Path| std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let (folder, path) = (whole(folder), whole(path));
    path.strip_prefix(&folder)
        .unwrap_or(&path)
        .display()
        .to_string()
}

/// `desk-peaks.csv`, `desk-peaks-2.csv` …
fn exported_log(index: usize) -> String {
    match index {
        0 => "desk-peaks.csv".to_owned(),
        n => format!("desk-peaks-{}.csv", n + 1),
    }
}

/// The commands that give the same result, once an edited log is exported.
pub fn commands(session: &DeskSession, effective: &Effective) -> Vec<String> {
    let kind = session.station.mount.kind();
    let mut words = Vec::new();
    for name in log_names(session, effective) {
        words.push(shell_word(&name));
    }
    let station = session.station_file.file_name().unwrap_or_default();
    if station != "station.toml" {
        let name = station.to_string_lossy();
        words.push(format!("--station {}", shell_word(&name)));
    }
    let named = |terms: &[Term]| {
        let names: Vec<&str> = terms.iter().map(|t| kind.term_name(*t)).collect();
        names.join(",")
    };
    let options = &effective.options;
    if !options.also.is_empty() {
        words.push(format!("--add {}", named(&options.also)));
    }
    if !options.without.is_empty() {
        words.push(format!("--leave-out {}", named(&options.without)));
    }
    for (term, inside) in &options.holds {
        let value = term.unit().outward(*inside);
        words.push(format!("--hold {}={value}", kind.term_name(*term)));
    }
    let words = words.join(" ");
    vec![
        format!("plumbeam solve {words} --report report"),
        format!("plumbeam faults {words} --report faults"),
        format!("plumbeam table --calibration {CALIBRATION_FILE}"),
    ]
}

/// Quotes a text as one word of a POSIX shell command line.
fn shell_word(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "_-./+:,=@".contains(c);
    let text = printable(text);
    match !text.is_empty() && text.chars().all(plain) && !text.starts_with('-') {
        true => text,
        false => format!("'{}'", text.replace('\'', "'\\''")),
    }
}

/// Writes the requested exports into the session's folder. Files of an earlier run are kept.
///
/// # Errors
/// An unknown id; a write that would destroy something; a state without results to write. What was
/// already written stays.
pub fn write(
    session: &DeskSession,
    solved: &SolvedSession,
    choices: &Choices,
    ids: &[String],
) -> Result<Exported, Error> {
    let mut wanted = Vec::new();
    for id in ids {
        let known = ALL.iter().find(|export| export.id == id);
        let export = known.ok_or_else(|| {
            let all: Vec<&str> = ALL.iter().map(|export| export.id).collect();
            Error::Usage(format!(
                "nothing to export is called {}; there are {}",
                crate::text::quoted(id),
                all.join(", ")
            ))
        })?;
        if !wanted.iter().any(|w: &Export| w.id == export.id) {
            wanted.push(*export);
        }
    }
    let mut guard = Guard::new("desk").reads_station(&session.station_file, &session.station);
    if session.base().is_there() {
        guard = guard.reads("the log", &session.log_path);
    }
    for addition in &choices.added {
        if let Addition::Log(file, _) = addition {
            guard = guard.reads("an imported log", &session.folder.join(file));
        }
    }
    let mut written = Exported::default();
    for export in &wanted {
        export.write(session, solved, &mut guard, &mut written)?;
    }
    Ok(written)
}

impl Export {
    fn write(
        &self,
        session: &DeskSession,
        solved: &SolvedSession,
        guard: &mut Guard,
        written: &mut Exported,
    ) -> Result<(), Error> {
        let mut file = |name: &str, kind: OutputKind, text: &str| -> Result<(), Error> {
            let path = session.folder.join(name);
            refuse_links(&path)?;
            let kept = guard
                .file("the export", &path, kind)?
                .write(text.as_bytes())?;
            written.note(name, kept);
            Ok(())
        };
        if self.kind == ExportKind::Log {
            for (index, log) in solved.effective.logs().iter().enumerate() {
                file(&exported_log(index), OutputKind::Log, &log.to_csv())?;
            }
            return Ok(());
        }
        let found = solved
            .found
            .as_ref()
            .map_err(|why| Error::Unsupported(format!("{} cannot be written: {why}", self.file)))?;
        let log_name = log_names(session, &solved.effective).join(" ");
        let Some(report) = solved.report(&log_name, CALIBRATION_FILE) else {
            return Ok(());
        };
        let diagnosis = || {
            found.diagnosis.as_ref().ok_or_else(|| {
                Error::Unsupported(format!(
                    "{} cannot be written: there are too few peaks to judge anything",
                    self.file
                ))
            })
        };
        match self.kind {
            ExportKind::Log => Ok(()),
            ExportKind::Calibration => {
                let json = found
                    .document
                    .checked_json(&session.folder.join(self.file))?;
                file(self.file, OutputKind::Calibration, &json)
            }
            ExportKind::Result => file(self.file, OutputKind::Text, &text(&report, Colour::Never)),
            ExportKind::TableCsv | ExportKind::TableJson | ExportKind::Header => {
                let (text, said) = self.table(session, found)?;
                file(self.file, OutputKind::Table, &text)?;
                written.said.extend(said);
                Ok(())
            }
            ExportKind::Findings => {
                let json = format!("{:#}\n", faults_json(diagnosis()?));
                file(self.file, OutputKind::Text, &json)
            }
            ExportKind::FindingsText => {
                file(self.file, OutputKind::Text, &faults_text(diagnosis()?))
            }
            ExportKind::Report | ExportKind::FaultsReport => {
                let path = session.folder.join(self.file);
                refuse_links(&path)?;
                let folder = guard.folder("the export", &path)?;
                let (page, done) = match self.kind {
                    ExportKind::Report => (
                        PAGE_NAME,
                        folder.write(|dir| write_report(dir, &report).map(drop))?,
                    ),
                    _ => {
                        let diagnosis = diagnosis()?;
                        let write = |dir: &Path| {
                            write_faults(dir, diagnosis, &session.station, &log_name).map(drop)
                        };
                        (FAULTS_PAGE, folder.write(write)?)
                    }
                };
                written.note(&format!("{}/{page}", self.file), done.kept);
                Ok(())
            }
        }
    }

    /// A correction table, with notes about it.
    fn table(
        &self,
        session: &DeskSession,
        found: &SessionFindings,
    ) -> Result<(String, Vec<String>), Error> {
        use crate::logbook::Trust;
        let (station, calibration) = (&session.station, &found.document);
        if calibration.trust == Trust::None {
            return Err(Error::Unsupported(format!(
                "the calibration states that its numbers mean nothing, so no table is made of it: {}",
                calibration.reasons.join("; ")
            )));
        }
        let full = full_model(calibration, station, DemandKind::Apparent)?;
        let request = TableRequest::for_beam(station.dish.beamwidth);
        let provenance = Provenance::of(calibration, CALIBRATION_FILE, station);
        Ok(match self.kind {
            ExportKind::Header => {
                let done = firmware_table(&full, &request, &provenance, None)?;
                (c_header(&done.table), [done.notes, done.warnings].concat())
            }
            ExportKind::TableJson => {
                let done = table(&full, &request, &provenance)?;
                (done.table.to_json(), [done.notes, done.warnings].concat())
            }
            _ => {
                let done = table(&full, &request, &provenance)?;
                (done.table.to_csv(), [done.notes, done.warnings].concat())
            }
        })
    }
}

impl Exported {
    fn note(&mut self, name: &str, kept: Option<PathBuf>) {
        self.written.push(name.to_owned());
        let kept = kept.as_deref().and_then(Path::file_name);
        self.said.extend(kept.map(|kept| {
            format!(
                "the earlier {} is kept as {}",
                printable(name),
                printable(&kept.to_string_lossy())
            )
        }));
    }
}

/// Refuses a link, which could point outside the session's folder.
fn refuse_links(path: &Path) -> Result<(), Error> {
    match std::fs::symlink_metadata(path) {
        Ok(there) if there.is_symlink() => Err(Error::Usage(format!(
            "{} is a link, which may lead out of the session's folder\n  help: move it away",
            printable(&path.display().to_string())
        ))),
        _ => Ok(()),
    }
}
