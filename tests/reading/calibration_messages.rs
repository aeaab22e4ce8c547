//! Each thing that can be wrong with a calibration file has its own message.

use insta::assert_snapshot;
use plumbeam::logbook::{Calibration, Trust};

const CALIBRATION: &str = include_str!("../data/invented/calibration.json");

/// What the reader says to a file that it must refuse.
fn told(json: &str) -> String {
    let refused = Calibration::parse("calibration.json", json.as_bytes());
    let error = refused.expect_err("the file is wrong");
    assert_eq!(error.exit_code(), 3);
    error.to_string()
}

/// What it says to a good file after some edits.
fn told_after(edits: &[(&str, &str)]) -> String {
    told(
        &edits
            .iter()
            .fold(CALIBRATION.to_owned(), |json, (from, to)| {
                assert!(json.contains(from), "{from}");
                json.replacen(from, to, 1)
            }),
    )
}

#[test]
fn a_later_format() {
    let said = told_after(&[("calibration 1", "calibration 2")]);
    assert_snapshot!(said, @r#"
    calibration.json:2:13: this calibration is of a later format, 2; expected format 1, the only one this version of plumbeam knows
      help: use the plumbeam that wrote it, or a newer one, or run solve again
    "#);
}

#[test]
fn an_odd_format() {
    let said = told_after(&[("calibration 1", "calibration one")]);
    assert_snapshot!(said, @r#"
    calibration.json:2:13: format is "plumbeam calibration one"; expected "plumbeam calibration 1"
    "#);
}

#[test]
fn no_format() {
    let said = told_after(&[("\"format\": \"plumbeam calibration 1\",", "")]);
    assert_snapshot!(said, @r#"
    calibration.json:1:1: this JSON has no format and is not a calibration; expected a calibration file, as solve writes it
    "#);
}

#[test]
fn an_unknown_term_offers_the_nearest() {
    let said = told_after(&[("\"collimation\": {", "\"colimation\": {")]);
    assert_snapshot!(said, @r#"
    calibration.json:11:19: no term is called "colimation"; expected collimation
    calibration.json:27:16: "collimation" is not a term of this calibration; expected two of its terms
    "#);
}

#[test]
fn a_term_set_free_that_no_mount_has() {
    let joined = "\"joined_from\": {\"created_utc\": \"2026-04-01T00:00:00Z\", \"set_free\": \
                  [\"azimuth-zero\", \"tilt-nord\"]}, \"warnings\":";
    let said = told_after(&[("\"warnings\":", joined)]);
    assert_snapshot!(said, @r#"calibration.json:54:87: no term is called "tilt-nord"; expected tilt-north"#);
}

#[test]
fn negative_sigmas() {
    let said = told_after(&[("0.015", "-0.015"), ("0.02,", "-1,")]);
    assert_snapshot!(said, @r#"
    calibration.json:8:20: the sigma_deg of azimuth-zero is -1; expected one standard deviation, 0 or more
    calibration.json:13:20: the sigma_deg of collimation is -0.015; expected one standard deviation, 0 or more
    "#);
}

#[test]
fn units_that_do_not_match_the_term() {
    let said = told_after(&[
        ("\"value\": 0.001", "\"value_deg\": 0.001"),
        ("\"value_s\": 0.0", "\"value_deg\": 0.0"),
        ("\"sigma_deg\": 0.015", "\"sigma_s\": 0.015"),
    ]);
    assert_snapshot!(said, @r#"
    calibration.json:13:18: collimation has no sigma_s; expected sigma_deg
      help: collimation is an angle in degrees
    calibration.json:17:20: azimuth-scale has no value_deg; expected value
      help: azimuth-scale is a fraction
    calibration.json:21:20: clock-offset has no value_deg; expected value_s
      help: clock-offset is a time in seconds
    "#);
}

#[test]
fn a_term_without_a_value() {
    let said = told_after(&[("\"value\": 0.001,", "")]);
    assert_snapshot!(said, @r#"
    calibration.json:16:22: azimuth-scale has no value; expected value
    "#);
}

#[test]
fn not_a_number() {
    let said = told_after(&[("7.31", "NaN")]);
    assert_snapshot!(said, @r#"
    calibration.json:7:20: NaN is not a number in JSON; expected a finite number
    "#);
}

#[test]
fn infinity() {
    let said = told_after(&[("-0.71", "-Infinity")]);
    assert_snapshot!(said, @r#"
    calibration.json:28:17: Infinity is not a number in JSON; expected a finite number
    "#);
}

#[test]
fn text_for_a_number() {
    let said = told_after(&[("7.31", "\"7.31\"")]);
    assert_snapshot!(said, @r#"
    calibration.json:7:25: this is the text "7.31"; expected a number
    "#);
}

#[test]
fn a_number_too_large() {
    let said = told_after(&[("7.31", "1e999")]);
    assert_snapshot!(said, @r#"
    calibration.json:7:24: this number is too large; expected a finite number
    "#);
}

#[test]
fn values_out_of_all_bounds() {
    let said = told_after(&[
        ("7.31", "1e9"),
        ("0.001", "30"),
        ("-0.71", "-1.5"),
        ("7.4", "-7.4"),
        ("0.021", "1e5"),
        ("1.9", "190"),
    ]);
    assert_snapshot!(said, @r#"
    calibration.json:7:20: azimuth-zero is 1000000000; expected 360 degrees at most, either way
      help: put back the value that solve wrote, or run solve again
    calibration.json:17:16: azimuth-scale is 30; expected a fraction of 0.5 at most, either way
      help: put back the value that solve wrote, or run solve again
    calibration.json:28:16: the correlation is -1.5; expected a number from -1 to 1
    calibration.json:45:39: cross_elevation_residual_deg is 190; expected degrees from -180 to 180
    calibration.json:51:21: rms_before_deg is -7.4; expected degrees from 0 to 180
    calibration.json:52:20: rms_after_deg is 100000; expected degrees from 0 to 180
    "#);
}

#[test]
fn an_unknown_state() {
    let said = told_after(&[("\"fitted\"", "\"guessed\"")]);
    assert_snapshot!(said, @r#"
    calibration.json:9:24: the word is "guessed"; expected one of "fitted", "held", "not separable"
    "#);
}

/// A good file with the keys that tell of trust.
fn with_trust(edits: &[(&str, &str)]) -> String {
    const TRUST: &str = r#""expected_pointing_error": {
    "rms_deg": 0.04,
    "rms_95_deg": 0.06,
    "largest_deg": 0.11,
    "at": {"azimuth_deg": 210.0, "elevation_deg": 85.0},
    "loss_db": null
  },
  "trust": "limited",
  "reasons": ["the sky was seen on one side only"],
  "causes": [
    {"fault": "base-knock", "row": 2, "size": 0.21, "size_unit": "deg", "sigma": 0.03}
  ],
  "warnings": []"#;
    edits.iter().fold(
        CALIBRATION.replace("\"warnings\": []", TRUST),
        |json, (from, to)| {
            assert!(json.contains(from), "{from}");
            json.replacen(from, to, 1)
        },
    )
}

#[test]
fn what_a_calibration_says_of_its_trust_is_read_and_written_the_same() {
    let calibration = Calibration::parse("c", with_trust(&[]).as_bytes()).unwrap();
    assert_eq!(calibration.trust, Trust::Limited);
    let expected = calibration.expected_pointing_error.unwrap();
    assert_eq!((expected.rms_95_deg, expected.loss_db), (0.06, None));
    assert_eq!(calibration.causes[0].row, Some(2));
    let again = Calibration::parse("again", calibration.to_json().as_bytes()).unwrap();
    assert_eq!(calibration, again);
}

#[test]
fn a_file_of_before_is_trusted_within_limits() {
    let calibration = Calibration::parse("c", CALIBRATION.as_bytes()).unwrap();
    assert_eq!(calibration.trust, Trust::Limited);
    assert!(calibration.reasons.is_empty());
    assert_eq!(calibration.expected_pointing_error, None);
}

#[test]
fn trust_once_lost_is_not_won_by_a_smaller_reason() {
    let mut calibration = Calibration::parse("c", CALIBRATION.as_bytes()).unwrap();
    calibration.trust = Trust::Good;
    calibration.distrust(Trust::None, "wrong site".to_owned());
    calibration.distrust(Trust::Limited, "few peaks".to_owned());
    assert_eq!(calibration.trust, Trust::None);
    assert_eq!(calibration.reasons, ["few peaks", "wrong site"]);
}

#[test]
fn an_unknown_trust() {
    let said = told(&with_trust(&[("\"limited\"", "\"great\"")]));
    assert_snapshot!(said, @r#"
    calibration.json:61:18: the word is "great"; expected one of "none", "limited", "good"
    "#);
}

#[test]
fn an_expected_error_that_is_none() {
    let said = told(&with_trust(&[
        ("\"rms_deg\": 0.04", "\"rms_deg\": -0.04"),
        ("210.0", "2100"),
        ("\"loss_db\": null", "\"loss_db\": 1e9"),
    ]));
    assert_snapshot!(said, @r#"
    calibration.json:55:16: rms_deg is -0.04; expected degrees from 0 to 180
    calibration.json:58:27: azimuth_deg is 2100; expected degrees from -360 to 360
    calibration.json:59:16: loss_db is 1000000000; expected decibels from 0 to 12, or null beyond that
    "#);
}

#[test]
fn an_expected_error_without_its_loss() {
    let said = told(&with_trust(&[(",\n    \"loss_db\": null", "")]));
    assert_snapshot!(said, @r#"
    calibration.json:59:3: a key is missing before this place: "loss_db"; expected all keys that solve writes
      help: put it back, or run solve again
    "#);
}

#[test]
fn causes_that_are_none() {
    let said = told(&with_trust(&[
        ("\"row\": 2, \"size\"", "\"row\": 0, \"size\""),
        ("\"sigma\": 0.03", "\"sigma\": -0.03"),
    ]));
    assert_snapshot!(said, @r#"
    calibration.json:64:36: row is 0; expected a data row, counted from 1
    calibration.json:64:82: sigma is -0.03; expected one standard deviation, 0 or more
    "#);
}

#[test]
fn a_prior_of_another_unit_or_none() {
    let said = told(&with_trust(&[
        (
            "\"sigma_deg\": 0.015",
            "\"sigma_deg\": 0.015, \"prior_sigma\": 1",
        ),
        (
            "\"sigma_deg\": 0.02",
            "\"sigma_deg\": 0.02, \"prior_sigma_deg\": 0",
        ),
    ]));
    assert_snapshot!(said, @r#"
    calibration.json:8:45: the prior_sigma_deg of azimuth-zero is 0; expected one standard deviation, above 0
    calibration.json:13:42: collimation has no prior_sigma; expected prior_sigma_deg
      help: collimation is an angle in degrees
    "#);
}

#[test]
fn a_row_that_stands_twice() {
    let said = told_after(&[("\"row\": 2", "\"row\": 1")]);
    assert_snapshot!(said, @r#"
    calibration.json:42:14: row 1 appears again, after peak 1; expected each row of the log once
    "#);
}

#[test]
fn row_zero() {
    let said = told_after(&[("\"row\": 2", "\"row\": 0")]);
    assert_snapshot!(said, @r#"
    calibration.json:42:14: row is 0; expected a data row, counted from 1
    "#);
}

#[test]
fn a_negative_row() {
    let said = told_after(&[("\"row\": 2", "\"row\": -2")]);
    assert_snapshot!(said, @r#"
    calibration.json:42:15: this is the number "-2"; expected a whole number from 0
    "#);
}

#[test]
fn an_unknown_key_offers_the_nearest() {
    let said = told_after(&[("\"rms_after_deg\"", "\"rms_after\"")]);
    assert_snapshot!(said, @r#"
    calibration.json:52:13: no key is called "rms_after"; expected one of "format", "created_utc", "station", "mount", "terms", "correlations", "peaks", "rms_before_deg", "rms_after_deg", "degrees_of_freedom", "expected_pointing_error", "trust", "reasons", "causes", "joined_from", "warnings"
      help: write "rms_after_deg"
    "#);
}

#[test]
fn an_unknown_key_of_a_term() {
    let said = told_after(&[("\"value_deg\"", "\"value_degrees\"")]);
    assert_snapshot!(said, @r#"
    calibration.json:7:21: no key is called "value_degrees"; expected one of "value_deg", "value", "value_s", "sigma_deg", "sigma", "sigma_s", "prior_sigma_deg", "prior_sigma", "prior_sigma_s", "state"
      help: write "value_deg"
    "#);
}

#[test]
fn a_missing_key() {
    let said = told_after(&[("\"rms_after_deg\": 0.021,", "")]);
    assert_snapshot!(said, @r#"
    calibration.json:55:1: a key is missing before this place: "rms_after_deg"; expected all keys that solve writes
      help: put it back, or run solve again
    "#);
}

#[test]
fn a_missing_key_that_may_be_null() {
    let said = told_after(&[("\"elevation_residual_deg\": null,", "")]);
    assert_snapshot!(said, @r#"
    calibration.json:40:5: a key is missing before this place: "elevation_residual_deg"; expected all keys that solve writes
      help: put it back, or run solve again
    "#);
}

#[test]
fn a_term_that_stands_twice() {
    let said = told_after(&[("\"collimation\": {", "\"azimuth-zero\": {")]);
    assert_snapshot!(said, @r#"
    calibration.json:11:18: the term azimuth-zero appears again; expected each name once: keep the right one of the two
    "#);
}

#[test]
fn a_correlation_of_an_unlisted_term() {
    let said = told_after(&[(
        "[\"azimuth-zero\", \"collimation\"]",
        "[\"azimuth-zero\", \"droop\"]",
    )]);
    assert_snapshot!(said, @r#"
    calibration.json:27:16: "droop" is not a term of this calibration; expected two of its terms
    "#);
}

#[test]
fn a_correlation_of_a_term_with_itself() {
    let said = told_after(&[(
        "[\"azimuth-zero\", \"collimation\"]",
        "[\"azimuth-zero\", \"azimuth-zero\"]",
    )]);
    assert_snapshot!(said, @r#"
    calibration.json:27:16: the pair azimuth-zero, azimuth-zero; expected each pair of two terms once
    "#);
}

#[test]
fn a_time_without_a_zone() {
    let said = told_after(&[("05:11:26.909Z", "05:11:26.909")]);
    assert_snapshot!(said, @r#"
    calibration.json:43:43: time "2026-04-04T05:11:26.909" has neither Z nor an offset from UTC
    "#);
}

#[test]
fn a_missing_comma() {
    let said = told_after(&[("7.31,", "7.31")]);
    assert_snapshot!(said, @r#"
    calibration.json:8:7: this is not JSON; expected "," or "}"
    "#);
}

#[test]
fn a_file_cut_short() {
    let said = told(
        "{\n  \"format\": \"plumbeam calibration 1\",\n  \"created_utc\": \"2026-04-04T20:00:00.000Z\",\n",
    );
    assert_snapshot!(said, @r#"
    calibration.json:4:1: the file ends in the middle; expected the rest of it
      help: it was cut short: copy it again, or run solve again
    "#);
}

#[test]
fn a_file_cut_within_quotes() {
    let said =
        told("{\n  \"format\": \"plumbeam calibration 1\",\n  \"created_utc\": \"2026-04-\n");
    assert_snapshot!(said, @r#"
    calibration.json:3:26: the file ends in the middle; expected the rest of it
      help: it was cut short: copy it again, or run solve again
    "#);
}

#[test]
fn an_empty_file() {
    let said = told("\n");
    assert_snapshot!(said, @r#"
    calibration.json: the file is empty; expected a calibration as solve writes it
    "#);
}

#[test]
fn a_file_of_another_kind() {
    let said = told("time_utc,emitter\n");
    assert_snapshot!(said, @r#"
    calibration.json:1:1: this file is not a JSON document in { }; expected a calibration file, as solve writes it
    "#);
}

#[test]
fn a_list() {
    let said = told("[\"plumbeam calibration 1\"]\n");
    assert_snapshot!(said, @r#"
    calibration.json:1:1: this file is not a JSON document in { }; expected a calibration file, as solve writes it
    "#);
}

#[test]
fn what_is_read_is_written_the_same() {
    let calibration = Calibration::parse("calibration.json", CALIBRATION.as_bytes()).unwrap();
    let again = Calibration::parse("again", calibration.to_json().as_bytes()).unwrap();
    assert_eq!(calibration, again);
    assert_eq!(calibration.terms["azimuth-zero"].value_deg, Some(7.31));
    assert_eq!(calibration.peaks[0].elevation_residual_deg, None);
}

#[test]
fn a_file_is_written_whole_and_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("calibration.json");
    let calibration = Calibration::parse("calibration.json", CALIBRATION.as_bytes()).unwrap();
    calibration.write(&path).unwrap();
    assert_eq!(Calibration::read(&path).unwrap(), calibration);
}

#[test]
fn a_calibration_that_could_not_be_read_back_is_not_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("calibration.json");
    let mut calibration = Calibration::parse("calibration.json", CALIBRATION.as_bytes()).unwrap();
    calibration.rms_after_deg = f64::NAN;
    let error = calibration.write(&path).unwrap_err().to_string();
    assert!(
        error.ends_with("rms_after_deg is NaN; expected degrees from 0 to 180"),
        "{error}"
    );
    assert!(!path.exists());
}

#[test]
fn a_missing_file_is_told() {
    let error = Calibration::read(std::path::Path::new("no/such/calibration.json")).unwrap_err();
    assert_eq!(error.exit_code(), 3);
    assert!(
        error
            .to_string()
            .starts_with("no/such/calibration.json: cannot read: ")
    );
}

#[test]
fn no_correlations_may_be_an_empty_object_but_not_a_full_one() {
    let list = "[\n    {\n      \"terms\": [\"azimuth-zero\", \"collimation\"],\n      \"value\": -0.71\n    }\n  ]";
    assert!(CALIBRATION.contains(list));
    let empty = CALIBRATION.replace(list, "{}");
    assert!(
        Calibration::parse("c", empty.as_bytes())
            .unwrap()
            .correlations
            .is_empty()
    );
    assert_snapshot!(told_after(&[(list, "{\"azimuth-zero\": 1}")]), @"calibration.json:25:33: this is an object; expected a list of correlations");
}

#[test]
fn a_file_cut_anywhere_is_refused_with_a_place() {
    for end in 1..CALIBRATION.trim_end().len() {
        let told = told(&CALIBRATION[..end]);
        assert!(told.starts_with("calibration.json:"), "{end}: {told}");
        assert!(
            told.contains("the file ends in the middle"),
            "{end}: {told}"
        );
    }
}
