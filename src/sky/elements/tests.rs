//! Every form that is accepted, and what is said about those that are not.

use super::*;

const FIRST: &str = "1 99151U 20001A   26076.25000000  .00000000  00000-0  00000-0 0  9996";
const SECOND: &str = "2 99151   2.4058  85.0000 0005075  40.0000  45.0826  1.00270000    16";
const MESSAGE: &str = r#"{"OBJECT_NAME": "HALTE 1", "NORAD_CAT_ID": 99151,
    "EPOCH": "2026-03-17T06:00:00.000000", "MEAN_MOTION": 1.0027, "ECCENTRICITY": 0.0005075,
    "INCLINATION": 2.4058, "RA_OF_ASC_NODE": 85.0, "ARG_OF_PERICENTER": 40.0,
    "MEAN_ANOMALY": 45.0826, "BSTAR": 0}"#;

fn orbit(text: &str) -> Orbit {
    parse("elements", text.as_bytes()).unwrap().orbits[&99151][0].clone()
}

fn complaint(text: &str) -> String {
    parse("elements", text.as_bytes()).unwrap_err().to_string()
}

#[test]
fn every_accepted_form_gives_the_same_orbit() {
    let plain = orbit(&format!("{FIRST}\n{SECOND}\n"));
    assert_eq!(plain.epoch.to_string(), "2026-03-17T06:00:00.000Z");
    let position = plain.position_km(1000.0).unwrap();
    for text in [
        format!("HALTE 1\n{FIRST}\n{SECOND}"),
        format!("\u{feff}HALTE 1\r\n{FIRST}\r\n{SECOND}\r\n\r\n"),
        format!("0 HALTE 1\n{FIRST}  \n{SECOND}\n# a comment\n"),
        MESSAGE.to_owned(),
        format!("\u{feff}[{MESSAGE}]"),
        MESSAGE
            .replace("99151", "\"99151\"")
            .replace("1.0027", "\"1.0027\""),
        MESSAGE.replace("00.000000\"", "00Z\""),
    ] {
        let other = orbit(&text);
        assert_eq!(other.epoch, plain.epoch, "{text}");
        let off = (other.position_km(1000.0).unwrap() - position).norm();
        assert!(off < 1e-9, "{text}: {off} km");
    }
}

#[test]
fn several_sets_of_one_satellite_are_kept_in_order_of_epoch() {
    // The checksum changes with the day.
    let later = FIRST.replace("26076", "26078").replace("9996", "9998");
    let text = format!("{later}\n{SECOND}\n{FIRST}\n{SECOND}\n");
    let file = parse("elements", text.as_bytes()).unwrap();
    let days: Vec<i64> = file.orbits[&99151]
        .iter()
        .map(|o| o.epoch.unix_day())
        .collect();
    assert_eq!(days[1] - days[0], 2);
}

#[test]
fn a_changed_digit_is_found_by_the_checksum() {
    insta::assert_snapshot!(complaint(&format!("{FIRST}\n{}\n", SECOND.replace("2.4058", "2.4059"))), @r#"
        elements:2:69: checksum 6; expected 7, by the other characters of the line
          help: a character was changed; fetch the elements again
        "#);
}

#[test]
fn lost_blanks_and_lost_lines_are_told_apart() {
    insta::assert_snapshot!(complaint(&format!("{}\n{SECOND}\n", FIRST.replace("  .0000", " .0000"))), @r#"
        elements:1:69: a line of 68 characters; expected 69 characters
          help: copy the line again with all its blanks; columns count
        "#);
    insta::assert_snapshot!(complaint(&format!("HALTE 1\n{FIRST}\n")), @r#"
        elements:3:1: line 1 of a set without its line 2; expected a line beginning with 2
          help: copy all lines of the set
        "#);
    insta::assert_snapshot!(complaint(&format!("HALTE 1\n{SECOND}\n")), @r#"
        elements:1:1: "HALTE 1" without an element set behind it; expected line 1 of a two-line element set, or a title before one
          help: copy all lines of the set, each with its blanks
        elements:2:1: a second line without its first; expected a line beginning with 1
          help: copy all lines of the set
        "#);
}

#[test]
fn a_field_that_is_no_number_is_named_by_its_column() {
    // x for a zero leaves the checksum as it was.
    insta::assert_snapshot!(complaint(&format!("T\n{FIRST}\n{}\n", SECOND.replace("85.0000", "85.x000"))), @r#"
        elements:3:18: " 85.x000"; expected a number
          help: columns matter: copy the line again with all its blanks, or fetch the elements again
        "#);
}

#[test]
fn sets_of_two_satellites_do_not_match() {
    let other = SECOND.replace("99151", "99160");
    insta::assert_snapshot!(complaint(&format!("{FIRST}\n{other}\n")), @r#"
        elements:2:3: catalogue number 99160; expected 99151, as in line 1 of the set
          help: lines of two satellites were mixed up; copy the set again
        "#);
}

#[test]
fn what_is_no_element_file_at_all() {
    insta::assert_snapshot!(complaint(""), @r#"
        elements: no orbit elements; expected two-line element sets, or orbit mean-elements messages in JSON
          help: fetch the elements again; the download may have failed
        "#);
    insta::assert_snapshot!(complaint("<!DOCTYPE html>\n<html>\n"), @r#"
        elements:1:1: a web page or XML; expected two-line element sets, or orbit mean-elements messages in JSON
          help: open the file: it may be an error page; otherwise fetch TLE or JSON
        "#);
    insta::assert_snapshot!(complaint("time_utc,emitter\n2026-03-17T06:00:00Z,sun\n"), @r#"
        elements:1:1: "time_utc,emitter" without an element set behind it; expected line 1 of a two-line element set, or a title before one
          help: copy all lines of the set, each with its blanks
        elements:2:1: "2026-03-17T06:00:00Z,sun" without an element set behind it; expected line 1 of a two-line element set, or a title before one
          help: copy all lines of the set, each with its blanks
        "#);
    let bytes = b"HALTE \xe4\n";
    insta::assert_snapshot!(parse("elements", bytes).unwrap_err().to_string(), @r#"
        elements:1:7: byte 0xE4 is not UTF-8 (in Latin-1 it is "ä"); expected UTF-8 text
          help: save the file again as UTF-8 (in a spreadsheet: "CSV UTF-8"; in an editor: "Save as", encoding UTF-8)
        "#);
    let other = FIRST.replace("20001A", "2\u{f6}001A");
    insta::assert_snapshot!(complaint(&format!("{other}\n{SECOND}")), @"elements:1:11: 'ö'; expected letters, digits, signs and blanks only");
}

#[test]
fn faulty_messages() {
    insta::assert_snapshot!(complaint("{\"NORAD_CAT_ID\": 99151,\n oops}"), @"elements:2:2: key must be a string; expected one orbit mean-elements message or a list of them, in JSON");
    insta::assert_snapshot!(complaint("[]"), @r#"
        elements: no orbit elements; expected two-line element sets, or orbit mean-elements messages in JSON
          help: fetch the elements again; the download may have failed
        "#);
    insta::assert_snapshot!(complaint(&format!("[{MESSAGE},\n{{}}]")), @"elements:5:1: no NORAD_CAT_ID; expected NORAD_CAT_ID in every message");
    insta::assert_snapshot!(complaint(&MESSAGE.replace("BSTAR", "bstar")), @"elements:1:1: no BSTAR; expected BSTAR in every message");
    insta::assert_snapshot!(complaint(&MESSAGE.replace("2.4058", "\"2,4058\"")), @r#"elements:1:1: INCLINATION "2,4058"; expected a number"#);
    insta::assert_snapshot!(complaint(&MESSAGE.replace("17T06", "45T06")), @r#"elements:1:1: EPOCH "2026-03-45T06:00:00.000000" is not an ISO 8601 time (there is no such day); expected a time in UTC"#);
    insta::assert_snapshot!(complaint(&MESSAGE.replace("0.0005075", "1.5")), @"elements:1:1: ECCENTRICITY is 1.5; expected a number from 0 to below 1");
    insta::assert_snapshot!(complaint(&MESSAGE.replace("\"BSTAR\"", "\"TIME_SYSTEM\": \"TAI\", \"BSTAR\"")), @r#"elements:1:1: TIME_SYSTEM "TAI"; expected UTC"#);
}

#[test]
fn all_faults_are_told_in_one_go() {
    let text = format!(
        "{}\n{SECOND}\n{FIRST}\nnothing\n",
        FIRST.replace("9996", "9990")
    );
    let found = parse("elements", text.as_bytes()).unwrap_err();
    let lines: Vec<_> = found.as_slice().iter().map(|p| p.line).collect();
    assert_eq!(lines, [Some(1), Some(4), Some(4)]);
}

#[test]
fn a_missing_file_is_a_fault_and_no_panic() {
    let found = read(Path::new("tests/data/no-such.tle")).unwrap_err();
    assert!(
        found
            .to_string()
            .starts_with("tests/data/no-such.tle: cannot be read")
    );
}
