//! Each thing that can be wrong with a peaks file has its own message.

use std::path::Path;

use insta::assert_snapshot;
use plumbeam::angle::Angle;
use plumbeam::logbook::{Approach, ColumnNames, LogOptions, PeakLog};
use plumbeam::station::Station;
use plumbeam::time::Utc;

const STATION: &[u8] = include_bytes!("../data/invented/station.toml");

fn station() -> Station {
    Station::parse("station.toml", Path::new(""), STATION).unwrap()
}

/// What the reader says to a file that it must refuse.
fn told(csv: &str) -> String {
    told_bytes(csv.as_bytes())
}

fn told_bytes(csv: &[u8]) -> String {
    let refused = PeakLog::parse("peaks.csv", csv, &station());
    let error = refused.expect_err("the file is wrong");
    assert_eq!(error.exit_code(), 3);
    error.to_string()
}

fn rows(lines: &[&str]) -> String {
    lines.join("\n") + "\n"
}

#[test]
fn a_wrong_column_offers_the_nearest() {
    let said = told(&rows(&[
        "time_utc,emitter,azimut_deg,elevation_deg,el,colour,",
        "2026-04-04T05:00:48.771Z,sun,1,2,,,",
    ]));
    assert_snapshot!(said, @r"
    peaks.csv:1:1: the header has no column azimuth_deg; expected the columns time_utc, emitter, azimuth_deg, elevation_deg
      help: if these are meant, add --columns azimuth_deg=azimut_deg
    ");
}

#[test]
fn missing_columns_are_named() {
    let said = told(&rows(&["time_utc,emitter", "2026-04-04T05:00:48.771Z,sun"]));
    assert_snapshot!(said, @r"
    peaks.csv:1:1: the header has no column azimuth_deg and no elevation_deg; expected the columns time_utc, emitter, azimuth_deg, elevation_deg
      help: say which header is azimuth_deg and which elevation_deg: --columns azimuth_deg=HEADER
    ");
}

#[test]
fn a_repeated_column_is_refused() {
    let said = told(&rows(&[
        "time_utc,emitter,azimuth_deg,elevation_deg,azimuth_deg,x_a,x_a",
        "2026-04-04T05:00:48.771Z,sun,1,2,3,4,5",
    ]));
    assert_snapshot!(said, @r"
    peaks.csv:1:44: column azimuth_deg appears again, after field 3; expected each column once
      help: delete one, or rename it to begin with x_ to keep it as your own
    peaks.csv:1:60: column x_a appears again; expected each column once
      help: delete one, or give it another name
    ");
}

#[test]
fn numbers() {
    let said = told(&rows(&[
        "time_utc,emitter,azimuth_deg,elevation_deg",
        "2026-04-04T05:00:50Z,sun,NaN,2",
        "2026-04-04T05:00:51Z,sun,inf,2",
        "2026-04-04T05:00:52Z,sun,\"12,5\",2",
        "2026-04-04T05:00:53Z,sun,1,400",
        "2026-04-04T05:00:54Z,sun,123456,twenty",
        "2026-04-04T05:00:55Z,sun,,",
        "2026-04-04T05:00:56Z,sun,12:30:00,2",
        "2026-04-04T05:00:57Z,sun,−12.5,2",
        "2026-04-04T05:00:58Z,sun,1e999,1",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:2:26: azimuth_deg is NaN, which is not a number; expected degrees from -100000 to 100000
      help: leave the field empty if there is no value
    peaks.csv:3:26: azimuth_deg is inf, which is not finite; expected degrees from -100000 to 100000
      help: leave the field empty if there is no value
    peaks.csv:5:28: elevation_deg is 400; expected degrees from -90 to 270
      help: look for a slipped digit or exchanged columns
    peaks.csv:6:26: azimuth_deg is 123456; expected degrees from -100000 to 100000
      help: look for a slipped digit or exchanged columns
    peaks.csv:6:33: elevation_deg is "twenty", which is not a number; expected degrees from -90 to 270
    peaks.csv:8:26: azimuth_deg is "12:30:00", colons without a unit: 12.5 degrees, or 187.5 degrees if these are hours; expected a unit
      help: write 12°30'0" or 12.5
    peaks.csv:10:26: azimuth_deg is 1e999, which is too large for a number; expected degrees from -100000 to 100000
    "#);
}

#[test]
fn a_semicolon_too_many_is_told_as_such() {
    let said = told(&rows(&[
        "time_utc;emitter;azimuth_deg;elevation_deg",
        "2026-04-04T05:00:48.771Z;sun;1,5;2,5;3",
        "2026-04-04T05:00:48.771Z;sun;1,5",
        "2026-04-04T05:00:48.771Z;sun;1.234,5;1 234",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:2:38: this row has 5 fields; expected 4 fields as in the header
      help: put a text that holds a semicolon in double quotes, or name the column in the header
    peaks.csv:3:33: this row has 3 fields; expected 4 fields as in the header
      help: a semicolon is missing, or the row was cut short
    peaks.csv:4:30: azimuth_deg is "1.234,5", with marks between thousands; expected a number without them
      help: write the digits together, with one decimal mark at most
    peaks.csv:4:38: elevation_deg is "1 234", with marks between thousands; expected a number without them
      help: write the digits together, with one decimal mark at most
    "#);
}

#[test]
fn a_file_with_blanks() {
    let said = told("time_utc emitter azimuth_deg elevation_deg\n");
    assert_snapshot!(said, @r"
    peaks.csv:1:1: the columns are separated by blanks; expected commas, semicolons or tabs
      help: export the sheet again with one of these between fields
    ");
}

#[test]
fn decimal_commas_and_wrong_counts() {
    let said = told(&rows(&[
        "time_utc,emitter,azimuth_deg,elevation_deg",
        "2026-04-04T05:00:48.771Z,sun,1,5,22,5",
        "2026-04-04T05:00:48.771Z,sun,1.5",
        "2026-04-04T05:00:48.771Z,sun,1.5,3.5,",
        "2026-04-04T05:00:48.771Z,sun,1.5,3.5,windy",
    ]));
    assert_snapshot!(said, @r"
    peaks.csv:2:34: this row has 6 fields; expected 4 fields as in the header
      help: a decimal comma cuts a number in two: write 123.45, not 123,45, or put the number in double quotes
    peaks.csv:3:33: this row has 3 fields; expected 4 fields as in the header
      help: a comma is missing, or the row was cut short
    peaks.csv:5:38: this row has 5 fields; expected 4 fields as in the header
      help: put a text that holds a comma in double quotes, or name the column in the header
    ");
}

#[test]
fn times() {
    let said = told(&rows(&[
        "time_utc,emitter,azimuth_deg,elevation_deg",
        "2026-04-04T05:00:48.771,sun,1,2",
        "yesterday,sun,1,2",
        ",sun,1,2",
        "2026-02-30T05:00:48.771Z,sun,1,2",
        "04.04.2026 05:00:48Z,sun,1,2",
        "2026-04-04T25:00:48Z,sun,1,2",
        "2026-04-04T05:00:48+2,sun,1,2",
        "2206-04-04T05:00:48Z,sun,1,2",
        "2026-04-04T12:00:60Z,sun,1,2",
        "2026-04-04,sun,1,2",
        "05:00:48Z,sun,1,2",
        "2026-04-04T05:00:48 CEST,sun,1,2",
        "2026-04-04 05:00:48 UTC,sun,1,2",
        "2026-04-04T05Z,sun,1,2",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:2:1: "2026-04-04T05:00:48.771" is without a zone; expected Z or an offset behind it, or --zone
      help: --zone +00:00 if the clock showed UTC, else its offset from UTC: at this longitude most clocks show --zone +01:00 to +03:00
    peaks.csv:3:1: time_utc is "yesterday", which is not a time; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    peaks.csv:4:1: time_utc is empty; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    peaks.csv:5:1: time_utc is "2026-02-30T05:00:48.771Z", which is not a time: there is no such day; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    peaks.csv:7:1: time_utc is "2026-04-04T25:00:48Z", which is not a time: there is no such hour; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    peaks.csv:8:1: time_utc is "2026-04-04T05:00:48+2", which is not a time: "+2" is not an offset such as +02:00; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    peaks.csv:9:1: time_utc is "2206-04-04T05:00:48Z", far from any measurement; expected a year from 1960 to 2099
    peaks.csv:10:1: time_utc is "2026-04-04T12:00:60Z", which is not a time: a second of 60 stands only at 23:59:60 UTC; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    peaks.csv:11:1: time_utc is "2026-04-04", which is not a time: hours and minutes are missing; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    peaks.csv:12:1: time_utc is "05:00:48Z", which is not a time: the date is missing; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    peaks.csv:15:1: time_utc is "2026-04-04T05Z", which is not a time: hours and minutes are missing; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    "#);
}

#[test]
fn sigmas_approaches_and_use() {
    let said = told(&rows(&[
        "time_utc,emitter,azimuth_deg,elevation_deg,azimuth_sigma_deg,elevation_sigma_deg,azimuth_approach,use,peak_db,temperature_c",
        "2026-04-04T05:00:48.771Z,sun,1,2,0,-0.1,up,maybe,loud,290",
        "2026-04-04T05:00:49.771Z,sun,1,2,0.1,200,+,Yes,12,12",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:2:34: azimuth_sigma_deg is 0; expected one standard deviation in degrees, above 0 and at most 90
      help: leave it empty if it is not known
    peaks.csv:2:36: elevation_sigma_deg is -0.1; expected one standard deviation in degrees, above 0 and at most 90
      help: leave it empty if it is not known
    peaks.csv:2:41: azimuth_approach is "up"; expected + or -, clockwise or counter-clockwise
      help: + if the reading was increasing when the axis arrived, - if decreasing; empty if it is not known
    peaks.csv:2:50: peak_db is "loud", which is not a number; expected decibels from -400 to 400
    peaks.csv:2:55: temperature_c is 290; expected degrees Celsius from -100 to 100
      help: if that is kelvin, write 16.9
    peaks.csv:2:44: use is "maybe"; expected yes or no, or nothing, which means yes
    peaks.csv:3:38: elevation_sigma_deg is 200; expected one standard deviation in degrees, above 0 and at most 90
    "#);
}

#[test]
fn an_unknown_emitter_offers_the_nearest() {
    let said = told(&rows(&[
        "time_utc,emitter,azimuth_deg,elevation_deg",
        "2026-04-04T05:00:48Z,sn,1,2",
        "2026-04-04T05:00:49Z,Pigeon 1,1,2",
        "2026-04-04T05:00:50Z,jupiter,1,2",
        "2026-04-04T05:00:51Z,,1,2",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:2:22: the station file has no emitter "sn"; expected one of sun, moon, pigeon-1, Swan source, ridge-beacon, church-spire
      help: write sun if that is what was meant
    peaks.csv:3:22: the station file has no emitter "Pigeon 1"; expected one of sun, moon, pigeon-1, Swan source, ridge-beacon, church-spire
      help: write pigeon-1 if that is what was meant
    peaks.csv:4:22: the station file has no emitter "jupiter"; expected one of sun, moon, pigeon-1, Swan source, ridge-beacon, church-spire
      help: add it to the station file as an [[emitter]]
    peaks.csv:5:22: emitter is empty; expected the name of an emitter in the station file
    "#);
}

#[test]
fn a_duplicate_row_names_the_first() {
    let said = told(&rows(&[
        "# a comment",
        "time_utc,emitter,azimuth_deg,elevation_deg",
        "2026-04-04T05:00:48.771Z,sun,1,2",
        "2026-04-04T05:00:49.771Z,sun,1,2",
        "2026-04-04T07:00:48.771+02:00,sun,1.0,2",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:5:1: this row repeats line 3: the same time, emitter and readings; expected each peak once
      help: delete one of the two
    "#);
}

#[test]
fn an_empty_file() {
    let said = told("");
    assert_snapshot!(said, @"peaks.csv: the file is empty; expected a first line that names the columns");
}

#[test]
fn a_file_of_comments() {
    let said = told(&rows(&["# a", "", "# b"]));
    assert_snapshot!(said, @"peaks.csv: the file has no header line, only comments or empty lines; expected a first line that names the columns");
}

#[test]
fn a_header_without_rows() {
    let said = told(&rows(&[
        "# a",
        "time_utc,emitter,azimuth_deg,elevation_deg",
    ]));
    assert_snapshot!(said, @"peaks.csv:2:1: the file has a header but no rows; expected a row for each peak below it");
}

#[test]
fn rows_without_a_header() {
    let said = told("2026-04-04T05:00:48.771Z,sun,1,2\n");
    assert_snapshot!(said, @r"
    peaks.csv:1:1: the first line holds values, not names; expected a header line that names the columns
      help: if these are meant, add --columns time_utc=1,emitter=2,azimuth_deg=3,elevation_deg=4; or put above it: time_utc,emitter,azimuth_deg,elevation_deg
    ");
}

#[test]
fn quotes() {
    let said = told(&rows(&[
        "time_utc,emitter,azimuth_deg,elevation_deg,note",
        "2026-04-04T05:00:48.771Z,sun,1,2,\"a note",
        "2026-04-04T05:00:49.771Z,sun,1,200000,b",
        "2026-04-04T05:00:50.771Z,sun,1,2,\"a \"quoted\" note\"",
        ",,,,",
        "2026-04-04T05:00:51Z,sun,1,x,\"the last",
    ]));
    assert_snapshot!(said, @r"
    peaks.csv:2:34: a double quote is opened here and never closed; expected a closing double quote before the next field
      help: close it, or delete it; a double quote inside a quoted text is written twice
    peaks.csv:3:32: elevation_deg is 200000; expected degrees from -90 to 270
      help: look for a slipped digit or exchanged columns
    peaks.csv:4:38: text behind a closing double quote; expected a comma or the end of the row
      help: a double quote inside a quoted text is written twice
    peaks.csv:6:30: a double quote is opened here and never closed; expected a closing double quote before the next field
      help: close it, or delete it; a double quote inside a quoted text is written twice
    ");
}

#[test]
fn zero_bytes() {
    let said = told(
        "time_utc,emitter,azimuth_deg,elevation_deg\n2026-04-04T05:00:48.771Z,s\0n,1,2\n2026-04-04T05:00:48.771Z,sun,x,2\n",
    );
    assert_snapshot!(said, @r#"
    peaks.csv:2:27: a zero byte stands here; expected plain text
      help: the file may be damaged, for example by a card pulled out while it was written; delete the damaged rows
    peaks.csv:3:30: azimuth_deg is "x", which is not a number; expected degrees from -100000 to 100000
    "#);
}

#[test]
fn wrong_encodings_are_named_with_their_place() {
    let latin: Vec<u8> = HEADER
        .bytes()
        .chain(
            *b",note\n2026-04-04T05:00:48Z,sun,1,2,gr\xFCn\n2026-04-04T05:00:49Z,sun,1,2,gr\xFCn\n",
        )
        .collect();
    assert_snapshot!(told_bytes(&latin), @r#"
    peaks.csv:2:32: byte 0xFC is not UTF-8 (in Latin-1 it is "ü"); expected UTF-8 text
      help: save the file again as UTF-8 (in a spreadsheet: "CSV UTF-8"; in an editor: "Save as", encoding UTF-8)
    "#);
    let utf16: Vec<u8> = "\u{feff}time_utc,emitter\n"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    assert_snapshot!(told_bytes(&utf16), @r#"
    peaks.csv: this file is in UTF-16; expected UTF-8
      help: save it again as UTF-8 (in a spreadsheet: "CSV UTF-8"; in an editor: "Save as", encoding UTF-8)
    "#);
}

#[test]
fn a_line_without_an_end_is_not_read_into_memory_for_ever() {
    let endless = vec![b'7'; 3 << 20];
    assert_snapshot!(told_bytes(&endless), @r"
    peaks.csv:1:1: this line has no end; expected rows of a few hundred characters
      help: is this a log at all?
    ");
}

#[test]
fn twenty_faults_are_shown_and_the_rest_counted() {
    let rows: String = (0..33)
        .map(|i| format!("2026-04-04T05:{i:02}:00Z,sun,1,500\n"))
        .collect();
    let told = told(&format!("{HEADER}\n{rows}"));
    let shown = told.lines().filter(|l| l.starts_with("peaks.csv:")).count();
    assert_eq!(shown, 20);
    assert!(told.ends_with("\n… and 13 more"), "{told}");
}

#[test]
fn a_long_list_of_emitters_is_cut() {
    let many: String = (0..40)
        .map(|i| format!("[[emitter]]\nname = \"lamp-{i}\"\nkind = \"sun\"\n"))
        .collect();
    let toml = String::from_utf8(STATION.to_vec()).unwrap() + &many;
    let station = Station::parse("station.toml", Path::new(""), toml.as_bytes()).unwrap();
    let csv = format!("{HEADER}\n2026-04-04T05:00:48Z,venus,1,2\n");
    let error = PeakLog::parse("peaks.csv", csv.as_bytes(), &station).unwrap_err();
    assert_snapshot!(error, @r#"
    peaks.csv:2:22: the station file has no emitter "venus"; expected one of its 46: sun, moon, pigeon-1, Swan source, ridge-beacon, church-spire, lamp-0, lamp-1, lamp-2, lamp-3, lamp-4, lamp-5, …
      help: add it to the station file as an [[emitter]]
    "#);
}

#[test]
fn a_reading_beyond_the_encoder_range_is_a_warning_with_its_line() {
    let csv = format!(
        "{HEADER}\n2026-04-04T05:00:48Z,sun,-180.5,2\n# lunch\n2026-04-04T05:00:49Z,sun,540,90.25\n"
    );
    let log = PeakLog::parse("peaks.csv", csv.as_bytes(), &station()).unwrap();
    assert_eq!(log.peaks.len(), 2);
    assert_snapshot!(log.warnings.join("\n"), @r"
    peaks.csv:2: azimuth reading -180.5 is outside the encoder range of the station file, -180 to 540 degrees
    peaks.csv:4: elevation reading 90.25 is outside the encoder range of the station file, 0 to 90 degrees
    ");
    let rows: String = (0..33)
        .map(|i| format!("2026-04-04T05:{i:02}:00Z,sun,600,5\n"))
        .collect();
    let log = PeakLog::parse(
        "peaks.csv",
        format!("{HEADER}\n{rows}").as_bytes(),
        &station(),
    )
    .unwrap();
    assert_eq!(log.warnings.len(), 11);
    assert_eq!(
        log.warnings[10],
        "peaks.csv: 23 more readings are outside the encoder ranges of the station file"
    );
}

#[test]
fn columns_may_stand_in_any_order_with_comments_marks_and_either_line_end() {
    let csv = "\u{feff}# by hand\r\n\r\nx_sky,note,elevation_deg, azimuth_deg ,emitter,time_utc,use,elevation_approach,azimuth_sigma_deg\r\n\
        clear,\"dusk, \"\"calm\"\"\",20.5,,sun,2026-04-04 07:00:48.5+02:00,no,-,0.05\r\n\
        # pause\r\n\
        ,\" two\nlines \",,370.25,Swan source,2026-04-04T05:10:00Z,,,\r\n";
    let log = PeakLog::parse("peaks.csv", csv.as_bytes(), &station()).unwrap();
    assert_eq!(log.extra_columns, ["x_sky"]);
    let [first, second] = log.peaks.as_slice() else {
        panic!("{:?}", log.peaks);
    };
    assert_eq!((first.row, first.line), (1, 4));
    assert_eq!(first.time, Utc::parse("2026-04-04T05:00:48.5Z").unwrap());
    assert_eq!(
        (first.azimuth, first.elevation),
        (None, Some(Angle::from_degrees(20.5)))
    );
    assert_eq!(first.azimuth_sigma, Some(Angle::from_degrees(0.05)));
    assert_eq!(first.elevation_approach, Approach::Decreasing);
    assert_eq!(
        (first.use_it, first.note.as_str()),
        (false, "dusk, \"calm\"")
    );
    assert_eq!(first.extra, [(0, "clear".to_owned())]);
    assert_eq!((second.row, second.line), (2, 6));
    assert_eq!(second.azimuth, Some(Angle::from_degrees(370.25)));
    assert_eq!(second.emitter, "Swan source");
    assert_eq!(
        (second.use_it, second.note.as_str()),
        (true, " two\nlines ")
    );
    assert_eq!(second.azimuth_approach, Approach::Unknown);
    // What is written holds only the columns that are used.
    let written = log.to_csv();
    assert_eq!(
        written.lines().next(),
        Some(
            "time_utc,emitter,azimuth_deg,elevation_deg,azimuth_sigma_deg,elevation_approach,use,note,x_sky"
        )
    );
}

#[test]
fn a_row_that_measured_one_axis_is_no_duplicate_of_one_that_measured_the_other() {
    let csv = format!("{HEADER}\n2026-04-04T05:00:48Z,sun,7,\n2026-04-04T05:00:48Z,sun,,7\n");
    assert_eq!(
        PeakLog::parse("peaks.csv", csv.as_bytes(), &station())
            .unwrap()
            .peaks
            .len(),
        2
    );
}

#[test]
fn a_row_that_was_not_filled_in_is_told_once() {
    assert_snapshot!(told(&format!("{HEADER}\n,sun,,\n")), @"peaks.csv:1:1: its only row is not filled in: both readings are empty; expected the time of the peak and the encoder readings in one row at least");
}

#[test]
fn dates_that_cannot_all_be_written_the_same_way() {
    let said = told(&rows(&[
        HEADER,
        "03/04/2026 10:00Z,sun,1,2",
        "26/04/2026 10:00Z,sun,1,2",
        "04/27/2026 10:00Z,sun,1,2",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:4:1: "04/27/2026 10:00Z" cannot be written the same way as "26/04/2026 10:00Z" in line 3; expected day and month in the same order in all dates of a file
      help: write the dates as year-month-day
    "#);
}

#[test]
fn two_zones_in_one_file() {
    let said = told(&rows(&[
        HEADER,
        "2026-10-24 10:00 CEST,sun,1,2",
        "2026-10-25 10:00 CET,sun,1,2",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:2:1: "2026-10-24 10:00 CEST": CEST means another offset from UTC to others; expected UTC, an offset such as +02:00, or --zone
      help: --zone +00:00 if the clock showed UTC, else its offset from UTC: at this longitude most clocks show --zone +01:00 to +03:00
    peaks.csv:3:1: "2026-10-25 10:00 CET": CET, after CEST further up; expected one zone in a file, since --zone gives one offset
      help: write the offsets in place of the letters
    "#);
}

#[test]
fn a_comma_that_may_part_thousands() {
    let said = told(&rows(&[
        "time_utc;emitter;azimuth_deg;elevation_deg",
        "2026-04-04T05:00:48Z;sun;1,234;2.5",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:2:26: azimuth_deg is "1,234", which may be 1.234 or 1234: other numbers of this file have decimal points; expected a decimal point
      help: write 1.234 or 1234
    "#);
}

#[test]
fn headers_that_differ_in_capitals_only() {
    let said = told(&rows(&[
        "time_utc,emitter,Azimuth_deg,AZIMUTH_DEG,elevation_deg",
        "2026-04-04T05:00:48Z,sun,1,2,3",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:1:30: "Azimuth_deg" and "AZIMUTH_DEG" may both be azimuth_deg; expected each column once
      help: delete one, or rename it to begin with x_ to keep it as your own
    "#);
    // An exact match comes first; the other is the user's own.
    let csv = rows(&[
        "time_utc,emitter,azimuth_deg,AZIMUTH_DEG,elevation_deg",
        "2026-04-04T05:00:48Z,sun,1,2,3",
    ]);
    let log = PeakLog::parse("peaks.csv", csv.as_bytes(), &station()).unwrap();
    assert_eq!(log.peaks[0].azimuth, Some(Angle::from_degrees(1.0)));
    assert_eq!(log.extra_columns, ["x_AZIMUTH_DEG"]);
}

#[test]
fn times_of_a_spreadsheet_that_are_none() {
    let said = told(&rows(&[
        HEADER,
        "46291.2604,sun,1,2",
        "26.09.2026 08.15,sun,1,3",
        "26.09.2026,sun,1,4",
    ]));
    assert_snapshot!(said, @r#"
    peaks.csv:2:1: time_utc is "46291.2604", which is not a time: it looks like a spreadsheet's number of days; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
      help: give the cells a format of date and time and export the sheet again
    peaks.csv:3:1: time_utc is "26.09.2026 08.15", which is not a time; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
      help: write the hours and minutes with a colon: 08:15
    peaks.csv:4:1: time_utc is "26.09.2026", which is not a time: hours and minutes are missing; expected date and time in UTC, such as 2026-04-04T05:00:48.771Z
    "#);
}

#[test]
fn an_option_for_a_header_that_is_not_there() {
    let options = LogOptions {
        columns: ColumnNames::parse("note=Remark,power_db=P").unwrap(),
        ..LogOptions::default()
    };
    let csv = format!("{HEADER}\n2026-04-04T05:00:48Z,sun,1,2\n");
    let error = PeakLog::parse_with("peaks.csv", csv.as_bytes(), &station(), &options).unwrap_err();
    assert_snapshot!(error, @r#"
    peaks.csv: --columns says that "Remark" is note, but no header is that; expected a header of this file, as it is written there
    peaks.csv: --columns names power_db, which a log of peaks does not have; expected one of time_utc, emitter, azimuth_deg, elevation_deg, azimuth_sigma_deg, elevation_sigma_deg, azimuth_approach, elevation_approach, peak_db, temperature_c, use, note, azimuth_sensor, elevation_sensor, feed, azimuth_by_lag_deg, elevation_by_lag_deg
    "#);
}

/// Read and memory grow with the file, whatever is pasted together; a thousand columns are more
/// than any sheet has.
#[test]
fn headers_pasted_together_have_so_many_columns_of_their_own_at_most() {
    let pasted = |logs: usize| {
        let log = |k: usize| {
            format!(
                "time_utc,emitter,azimuth_deg,elevation_deg,x_{k},x_more_{k}\n\
                 2026-04-04T{:02}:{:02}:00Z,sun,1,2,first,\n",
                k / 60,
                k % 60
            )
        };
        let csv: String = (0..logs).map(log).collect();
        PeakLog::parse("peaks.csv", csv.as_bytes(), &station())
    };
    let log = pasted(500).unwrap();
    assert_eq!((log.files.len(), log.extra_columns.len()), (500, 1000));
    // Only what is filled in is kept of each.
    assert_eq!(log.peaks[499].extra, [(998, "first".to_owned())]);
    let last = log.to_csv();
    let last = last.lines().last().unwrap();
    assert!(last.ends_with(&format!("{}first,", ",".repeat(999))));
    insta::assert_snapshot!(pasted(501).unwrap_err(), @r"
    peaks.csv:1001:1: with this header there are 1002 columns with names unknown in a log of peaks; expected at most 1000 of them in all logs together
      help: delete the columns that are not needed, or read the logs one by one
    ");
}

#[test]
fn a_column_without_a_name_is_carried_along_when_it_holds_something() {
    let csv = |cell: &str| {
        format!(
            "time_utc,emitter,,azimuth_deg,elevation_deg\n2026-04-04T05:00:48Z,sun,{cell},1,2\n"
        )
    };
    let columns = |cell: &str| {
        PeakLog::parse("peaks.csv", csv(cell).as_bytes(), &station())
            .unwrap()
            .extra_columns
    };
    assert_eq!(columns("7"), ["x_column_3"]);
    assert_eq!(columns(""), Vec::<String>::new());
}

const HEADER: &str = "time_utc,emitter,azimuth_deg,elevation_deg";
