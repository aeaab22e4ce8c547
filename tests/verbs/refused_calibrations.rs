//! A calibration file that was edited into nonsense, cut short or written by a later version is
//! refused by every verb that reads one, with the same words: file, line and column, what was
//! found, what was expected.

use crate::command::TestFolder;

const CALIBRATION: &str = include_str!("../data/invented/calibration.json");
const PEAKS: &str =
    "time_utc,emitter,azimuth_deg,elevation_deg\n2026-09-12T12:00:00Z,sun,180.0,41.0\n";

fn demo_with_peaks() -> TestFolder {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    folder.write("peaks.csv", PEAKS);
    folder
}

impl TestFolder {
    /// What a verb says to a calibration that it must refuse.
    fn refusal(&self, arguments: &[&str], what: &str) -> String {
        let output = self.run(arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(
            output.status.code(),
            Some(3),
            "{what}, {arguments:?}: {said}"
        );
        assert!(output.stdout.is_empty(), "{what}, {arguments:?}");
        assert!(!self.path("new.out").exists(), "{what}, {arguments:?}");
        said
    }
    /// What every verb says to it: all the same.
    fn refused_alike(&self, calibration: &[u8], what: &str) -> String {
        std::fs::write(self.path("c.json"), calibration).unwrap();
        let said = self.refusal(&["point", "--calibration", "c.json", "180", "35"], what);
        for arguments in [
            &["table", "--calibration", "c.json", "--out", "new.out"][..],
            &[
                "recheck",
                "--against",
                "c.json",
                "--anyway",
                "peaks.csv",
                "--out",
                "new.out",
            ],
            &[
                "faults",
                "--calibration",
                "c.json",
                "peaks.csv",
                "--out",
                "new.out",
            ],
        ] {
            assert_eq!(self.refusal(arguments, what), said);
        }
        said
    }
}

/// Edits, what must be said of them, and where it must be said to be.
const NONSENSE: [(&str, &str, &str, &str); 23] = [
    (
        "0.02,",
        "-0.02,",
        ":8:",
        "the sigma_deg of azimuth-zero is -0.02",
    ),
    ("0.02,", "NaN,", ":8:", "NaN is not a number in JSON"),
    ("7.31", "1e999", ":7:", "this number is too large"),
    ("7.31", "7.31e30", ":7:", "azimuth-zero is 7310"),
    (
        "7.31",
        "4000",
        ":7:",
        "azimuth-zero is 4000; expected 360 degrees at most",
    ),
    (
        "0.85",
        "95",
        ":12:",
        "collimation is 95; expected 45 degrees at most",
    ),
    ("0.85", "-45.1", ":12:", "collimation is -45.1; expected 45"),
    (
        "\"collimation\": {\n      \"value_deg\": 0.85",
        "\"droop\": {\n      \"value_deg\": 300",
        ":12:",
        "droop is 300; expected 45 degrees at most",
    ),
    (
        "0.001",
        "-0.51",
        ":17:",
        "azimuth-scale is -0.51; expected a fraction of 0.5",
    ),
    ("7.31", "\"7.31\"", ":7:", "this is the text \"7.31\""),
    ("7.31", "7,31", ":7:", "this is not JSON"),
    (
        "\"value_deg\": 0.85,",
        "",
        ":11:",
        "collimation has no value",
    ),
    (
        "\"collimation\": {",
        "\"colimation\": {",
        ":11:",
        "expected collimation",
    ),
    (
        "\"collimation\": {",
        "\"azimuth-zero\": {",
        ":11:",
        "the term azimuth-zero appears again",
    ),
    ("\"fitted\"", "\"sure\"", ":9:", "the word is \"sure\""),
    ("-0.71", "-1.71", ":28:", "the correlation is -1.71"),
    ("-0.71", "null", ":28:", "expected a number"),
    (
        "\"collimation\"]",
        "\"droop\"]",
        ":27:",
        "\"droop\" is not a term of this calibration",
    ),
    ("\"row\": 2", "\"row\": 1", ":42:", "row 1 appears again"),
    ("\"rms_after_deg\": 0.021,", "", "", "rms_after_deg"),
    ("0.021", "-0.021", ":52:", "rms_after_deg is -0.021"),
    (
        "2026-04-04T05:00:48.771Z",
        "2026-04-31T05:00:48.771Z",
        ":34:",
        "",
    ),
    (
        "calibration 1",
        "calibration 7",
        ":2:",
        "of a later format, 7",
    ),
];

#[test]
fn nonsense_is_refused_by_every_verb_in_the_same_words() {
    let folder = demo_with_peaks();
    for (from, to, line, wanted) in NONSENSE {
        assert!(CALIBRATION.contains(from), "{from}");
        let said = folder.refused_alike(CALIBRATION.replacen(from, to, 1).as_bytes(), to);
        assert!(
            said.starts_with("plumbeam: c.json:"),
            "{from} to {to}: {said}"
        );
        assert!(said.contains(line), "{from} to {to}: {said}");
        assert!(said.contains(wanted), "{from} to {to}: {said}");
        let tells = ["expected", "help:", "is not an ISO 8601 time"];
        assert!(tells.iter().any(|t| said.contains(t)), "{said}");
    }
}

#[test]
fn a_file_cut_short_anywhere_is_refused_by_every_verb() {
    let folder = demo_with_peaks();
    // The last line end may go: what is left is whole.
    let whole = CALIBRATION.trim_end().len();
    for part in 0..24 {
        let cut = whole * part / 24;
        let said = folder.refused_alike(&CALIBRATION.as_bytes()[..cut], &format!("cut at {cut}"));
        let cut_short = said.contains("the file ends in the middle");
        assert!(cut_short || cut == 0, "cut at {cut}: {said}");
        assert!(cut > 0 || said.contains("the file is empty"), "{said}");
    }
}

#[test]
fn other_files_are_refused() {
    let folder = demo_with_peaks();
    let station = std::fs::read(folder.path("station.toml")).unwrap();
    for (bytes, what) in [
        (PEAKS.as_bytes(), "a log"),
        (&station[..], "a station file"),
        (
            &b"\x00\x00\x00\x00\x00"[..],
            "zeros, as a crashed disk leaves them",
        ),
        (&b"\xff\xfe{\x00}\x00"[..], "another encoding"),
        (&b"[]"[..], "a list"),
        (&b"{}"[..], "another document"),
    ] {
        let said = folder.refused_alike(bytes, what);
        assert!(said.starts_with("plumbeam: c.json"), "{what}: {said}");
    }
    std::fs::remove_file(folder.path("c.json")).unwrap();
    let said = folder.refusal(&["point", "--calibration", "c.json", "180", "35"], "none");
    assert!(said.contains("c.json"), "{said}");
}

#[test]
fn correlations_that_contradict_each_other_are_bad_input_for_recheck() {
    let folder = demo_with_peaks();
    // Of three errors each pair opposed: if a goes up b goes down and c up, but c must go down.
    let calibration = CALIBRATION
        .replace("\"azimuth-scale\": {\n      \"value\": 0.001,\n      \"state\": \"held\"",
            "\"tilt-north\": {\n      \"value_deg\": 0.001,\n      \"sigma_deg\": 0.01,\n      \"state\": \"fitted\"")
        .replace(
            "\"value\": -0.71\n    }",
            "\"value\": -0.9\n    },\n    {\"terms\": [\"azimuth-zero\", \"tilt-north\"], \"value\": -0.9},\n    \
             {\"terms\": [\"collimation\", \"tilt-north\"], \"value\": -0.9}",
        );
    assert!(calibration.contains("tilt-north\"], \"value\": -0.9"));
    std::fs::write(folder.path("c.json"), calibration).unwrap();
    let said = folder.refusal(
        &["recheck", "--against", "c.json", "--anyway", "peaks.csv"],
        "contradiction",
    );
    assert!(
        said.contains("c.json: the correlations contradict each other"),
        "{said}"
    );
}
