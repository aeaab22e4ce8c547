//! Every file of the reference sessions reads.

use std::path::{Path, PathBuf};

use plumbeam::logbook::PeakLog;
use plumbeam::station::Station;

fn sessions() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/reference/sessions");
    let mut sessions: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    sessions.sort();
    assert_eq!(sessions.len(), 9);
    sessions
}

#[test]
fn every_session_reads_without_a_warning() {
    for session in sessions() {
        let station =
            Station::read(&session.join("station.toml")).unwrap_or_else(|e| panic!("{e}"));
        let log =
            PeakLog::read(&session.join("peaks.csv"), &station).unwrap_or_else(|e| panic!("{e}"));
        let text = std::fs::read_to_string(session.join("peaks.csv")).unwrap();
        assert_eq!(
            log.peaks.len(),
            text.lines().count() - 1,
            "{}",
            session.display()
        );
        assert_eq!(log.warnings, Vec::<String>::new(), "{}", session.display());
    }
}

#[test]
fn every_log_is_written_as_it_was_read() {
    for session in sessions() {
        let station = Station::read(&session.join("station.toml")).unwrap();
        let log = PeakLog::read(&session.join("peaks.csv"), &station).unwrap();
        let again = PeakLog::parse("again", log.to_csv().as_bytes(), &station).unwrap();
        assert_eq!(log.peaks, again.peaks, "{}", session.display());
    }
}
