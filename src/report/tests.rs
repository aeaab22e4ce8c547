//! The report's folder as a whole.

use super::fixture::{self, Session};
use super::{PAGE_NAME, write_report};

#[test]
fn a_report_is_a_page_and_two_files_a_picture() {
    let (outcome, station) = (fixture::outcome(&Session::default()), fixture::station());
    let report = fixture::report(&outcome, &station, &[]);
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("new/report");
    let paths = write_report(&dir, &report).unwrap();
    assert_eq!(paths[0], dir.join(PAGE_NAME));
    let mut names: Vec<String> = (paths.iter())
        .map(|p| p.file_name().unwrap().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert_eq!(
        names,
        [
            "beam.png",
            "beam.svg",
            "histogram.png",
            "histogram.svg",
            "report.html",
            "residuals-by-azimuth.png",
            "residuals-by-azimuth.svg",
            "residuals-by-elevation.png",
            "residuals-by-elevation.svg",
            "residuals-by-order.png",
            "residuals-by-order.svg",
            "residuals-by-time.png",
            "residuals-by-time.svg",
            "sky.png",
            "sky.svg",
            "terms.png",
            "terms.svg",
        ]
    );
    // Nothing else is left behind, and the same files come out again.
    assert_eq!(std::fs::read_dir(&dir).unwrap().count(), names.len());
    let first = std::fs::read(&paths[1]).unwrap();
    write_report(&dir, &report).unwrap();
    assert_eq!(std::fs::read(&paths[1]).unwrap(), first);
}

#[test]
fn a_folder_that_cannot_be_made_is_said() {
    let (outcome, station) = (fixture::outcome(&Session::default()), fixture::station());
    let report = fixture::report(&outcome, &station, &[]);
    let file = tempfile::NamedTempFile::new().unwrap();
    let failure = write_report(&file.path().join("report"), &report).unwrap_err();
    assert!(failure.to_string().contains("cannot create"), "{failure}");
}
