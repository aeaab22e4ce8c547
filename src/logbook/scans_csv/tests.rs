//! Tests of the reader of scans.

use super::*;

const HEADER: &str = "scan,time_utc,emitter,azimuth_deg,elevation_deg,power_db\n";

fn station() -> Station {
    let text = "
[site]
name = \"invented\"
latitude_deg = 50.0
longitude_deg = 8.0
height_m = 100.0
[mount]
kind = \"az-el\"
azimuth_range_deg = [0.0, 360.0]
elevation_range_deg = [0.0, 90.0]
[dish]
diameter_m = 1.8
frequency_mhz = 1700.0
[[emitter]]
name = \"sun\"
kind = \"sun\"
[[emitter]]
name = \"moon\"
kind = \"moon\"
";
    Station::parse("station.toml", std::path::Path::new("."), text.as_bytes()).unwrap()
}
fn row(scan: &str, second: usize, emitter: &str) -> String {
    format!("{scan},2026-04-07T08:00:{second:02}.500Z,{emitter},180.5,40.25,10\n")
}
fn all(text: &str) -> Result<(Vec<Scan>, Vec<String>), Error> {
    let (scans, remarks, _) = all_with(text, &ScanOptions::default())?;
    Ok((scans, remarks))
}
type Read = (Vec<Scan>, Vec<String>, Vec<String>);
/// Scans, remarks and what was taken.
fn all_with(text: &str, options: &ScanOptions) -> Result<Read, Error> {
    let station = station();
    let mut reader = ScanReader::new("s.csv", text.as_bytes(), &station, options)?;
    let mut scans = Vec::new();
    while let Some(scan) = reader.next_scan()? {
        scans.push(scan);
    }
    Ok((scans, reader.remarks(), reader.taken()))
}
fn told(text: &str) -> String {
    all(text).unwrap_err().to_string()
}

#[test]
fn scans_are_read_one_by_one_and_decibels_become_power() {
    let text = [
        HEADER,
        &row("1", 0, "sun"),
        &row("1", 1, "sun"),
        &row("b", 2, "moon"),
    ]
    .concat();
    let (scans, remarks) = all(&text).unwrap();
    assert_eq!(remarks, Vec::<String>::new());
    assert_eq!(scans.len(), 2);
    assert_eq!(scans[0].samples.len(), 2);
    assert!((scans[0].samples[0].power - 10.0).abs() < 1e-14);
    assert_eq!(scans[0].samples[0].azimuth.degrees(), 180.5);
    assert_eq!((scans[1].name.as_str(), scans[1].line), ("b", 4));
    assert_eq!(scans[1].emitter, "moon");
}

#[test]
fn a_repeated_header_and_a_cut_last_line_are_left_out_and_told() {
    let text = [
        HEADER,
        &row("1", 0, "sun"),
        HEADER,
        &row("1", 1, "sun"),
        "1,2026-04-07T08:00:02Z,su",
    ]
    .concat();
    let (scans, remarks) = all(&text).unwrap();
    assert_eq!(scans[0].samples.len(), 2);
    assert_eq!(
        remarks,
        [
            "s.csv:3: the header appears again; this line was left out",
            "s.csv:5: the last line is cut short; it was left out"
        ]
    );
}

#[test]
fn a_last_line_without_its_end_is_left_out_and_told() {
    // 2.95 may have been 2.959, and 1 may have been 12.
    let text = [HEADER, &row("1", 0, "sun"), row("1", 1, "sun").trim_end()].concat();
    let (scans, remarks) = all(&text).unwrap();
    assert_eq!(scans[0].samples.len(), 1);
    let words = "s.csv:3: the last line has no line end, so that its last field may be cut short; it was left out";
    assert_eq!(remarks, [words]);
    let whole = format!("{text}\r\n");
    let (scans, remarks) = all(&whole).unwrap();
    assert_eq!((scans[0].samples.len(), remarks.len()), (2, 0));
    let only = [HEADER, row("1", 1, "sun").trim_end()].concat();
    assert!(told(&only).contains("the file's only row is cut short, or lacks its line end"));
}

#[test]
fn a_damaged_row_is_left_out_and_told() {
    let text = [
        HEADER,
        &row("1", 0, "sun"),
        "1,2026-04-07T08:00:02Z,sun,180.5,4o.25,10\n",
        &row("1", 4, "sun"),
    ]
    .concat();
    let (scans, remarks) = all(&text).unwrap();
    assert_eq!(scans[0].samples.len(), 2);
    assert_eq!(remarks.len(), 1);
    assert!(
        remarks[0].starts_with(
            "row left out: s.csv:3:34: elevation_deg is \"4o.25\", which is not a number"
        ),
        "{remarks:?}"
    );
}

#[test]
fn a_scan_that_comes_back_is_a_scan_of_its_own() {
    let text = [
        HEADER,
        &row("1", 0, "sun"),
        &row("2", 1, "sun"),
        &row("1", 2, "sun"),
        &row("1", 3, "moon"),
    ]
    .concat();
    let (scans, remarks) = all(&text).unwrap();
    assert_eq!(scans.len(), 4);
    assert!(remarks[0].starts_with("s.csv:4: scan 1 comes back after other scans"));
    assert!(remarks[1].starts_with("s.csv:5: scan 1 changes to emitter moon"));
}

#[test]
fn a_file_that_is_mostly_unusable_is_refused() {
    let bad: String = (0..5).map(|s| row("1", s, "sum")).collect();
    let text = [HEADER, &row("1", 9, "sun"), &bad].concat();
    assert!(told(&text).contains("the station file has no emitter \"sum\""));
    assert!(told(HEADER).contains("the file has a header but no rows"));
}

#[test]
fn exactly_one_column_of_power_is_needed() {
    let none = "scan,time_utc,emitter,azimuth_deg,elevation_deg\n";
    assert!(told(none).starts_with("s.csv:1:1: no column of power; expected exactly one"));
    let two = "scan,time_utc,emitter,azimuth_deg,elevation_deg,counts,power_db\n";
    assert!(told(two).contains("the columns power_db and counts together"));
    let misspelt = "scan,time_utc,emitter,azimuth_deg,elevation_deg,powr_db\n";
    assert!(told(misspelt).contains("add --columns power_db=powr_db"));
}

#[test]
fn readings_outside_the_encoder_range_are_told_once_a_scan() {
    let odd = |scan: &str, second| row(scan, second, "sun").replace("180.5", "835.25");
    let own = "# a remark\n";
    let text = [
        HEADER,
        &row("1", 0, "sun"),
        own,
        &row("1", 1, "sun"),
        &odd("1", 2),
        &odd("1", 3),
        &row("2", 4, "sun"),
        &row("3", 5, "sun").replace("40.25", "-0.5"),
    ]
    .concat();
    let (_, remarks) = all(&text).unwrap();
    let told = |line, scan, what| format!("s.csv:{line}: scan {scan}: {what} degrees");
    let words = "is outside the encoder range of the station file,";
    let first = told(5, 1, format!("azimuth reading 835.25 {words} 0 to 360"));
    let third = told(8, 3, format!("elevation reading -0.5 {words} 0 to 90"));
    assert_eq!(
        remarks,
        [first + ", and so in 1 more row of this scan", third]
    );
}

#[test]
fn many_remarks_of_a_kind_are_counted() {
    let mixed: String = (0..20)
        .map(|i| row(if i % 2 == 0 { "1" } else { "2" }, i, "sun"))
        .collect();
    let (_, remarks) = all(&[HEADER, &mixed].concat()).unwrap();
    // Eighteen scans reappear.
    assert_eq!(remarks.len(), 6);
    assert!(remarks[5].starts_with("s.csv: and 13 more like it: are rows of several scans"));
}

#[test]
fn a_missing_value_is_told() {
    let rows: String = (0..5).map(|s| row("1", s, "sun")).collect();
    let text = [HEADER, &rows, "1,2026-04-07T08:00:08Z,sun,180.5,,10\n"].concat();
    let (_, remarks) = all(&text).unwrap();
    assert!(remarks[0].contains("elevation_deg is empty"), "{remarks:?}");
    let text = text.replace("500Z", "500");
    assert!(told(&text).contains("without a zone"));
}

#[test]
fn a_log_in_another_dialect_holds_the_same_scans() {
    let rows: String = (0..9).map(|s| row("a", s, "sun")).collect();
    let (plain, _) = all(&[HEADER, &rows].concat()).unwrap();
    let sheet = [HEADER, &rows]
        .concat()
        .replace(',', ";")
        .replace("180.5", "180,5")
        .replace("40.25", "40°15'");
    let capitals = [HEADER, &rows]
        .concat()
        .replace("sun", "SUN")
        .to_uppercase();
    for (text, kinds) in [
        (
            sheet,
            &["semicolons", "decimal commas", "degrees, minutes"][..],
        ),
        (
            capitals,
            &["headers in other letters", "emitters in other capitals"],
        ),
    ] {
        let (scans, remarks, taken) = all_with(&text, &ScanOptions::default()).unwrap();
        assert_eq!(scans.len(), 1);
        assert_eq!(scans[0].samples, plain[0].samples);
        assert_eq!(scans[0].emitter, "sun");
        assert_eq!(remarks, Vec::<String>::new());
        // One line per kind.
        assert_eq!(taken.len(), kinds.len(), "{taken:?}");
        for (line, kind) in taken.iter().zip(kinds) {
            assert!(line.contains(kind), "{kind}: {taken:?}");
        }
    }
}

#[test]
fn without_names_scans_are_parted_by_pauses() {
    let header = "time_utc,emitter,azimuth_deg,elevation_deg,power_db\n";
    let row = |minute: usize, second: usize, emitter: &str| {
        format!("2026-04-07T08:{minute:02}:{second:02}Z,{emitter},180.5,40.25,10\n")
    };
    let text = [
        header.to_owned(),
        (0..20).map(|s| row(0, s, "sun")).collect(),
        (0..20).map(|s| row(1, s, "sun")).collect(),
        (20..30).map(|s| row(1, s, "moon")).collect(),
    ]
    .concat();
    let (scans, _, taken) = all_with(&text, &ScanOptions::default()).unwrap();
    let found: Vec<(&str, &str, usize)> = (scans.iter())
        .map(|s| (s.name.as_str(), s.emitter.as_str(), s.samples.len()))
        .collect();
    assert_eq!(
        found,
        [("1", "sun", 20), ("2", "sun", 20), ("3", "moon", 10)]
    );
    assert!(
        taken[0].contains("each pause of more than 30 s"),
        "{taken:?}"
    );
    let longer = ScanOptions {
        pause_s: Some(60.0),
        ..ScanOptions::default()
    };
    let (scans, _, _) = all_with(&text, &longer).unwrap();
    assert_eq!(scans.len(), 2);
}

/// Plain rows of a log with widely spaced samples do not split it into several scans.
#[test]
fn slow_samples_make_no_pauses() {
    let rows: String = (0..30)
        .map(|m| format!("2026-04-07T08:{m:02}:00Z,180.5,40.25,10\n"))
        .collect();
    let text = format!("time_utc,azimuth_deg,elevation_deg,power_db\n{rows}");
    let mut options = ScanOptions::default();
    options.log.emitter = Some("Moon".to_owned());
    let (scans, _, taken) = all_with(&text, &options).unwrap();
    assert_eq!((scans.len(), scans[0].samples.len()), (1, 30));
    assert_eq!(scans[0].emitter, "moon");
    assert!(taken[0].contains("all rows are of moon"), "{taken:?}");
}

#[test]
fn what_the_readings_are_is_handed_on() {
    let text = ["# readings = corrected:12ab\n", HEADER, &row("1", 0, "sun")].concat();
    let (station, options) = (station(), ScanOptions::default());
    let mut reader = ScanReader::new("s.csv", text.as_bytes(), &station, &options).unwrap();
    reader.next_scan().unwrap();
    assert_eq!(
        reader.readings(),
        super::super::Readings::Corrected("12ab".to_owned())
    );
}

/// The day above 12 comes long after the beginning that is examined first.
#[test]
fn a_file_is_looked_through_for_the_order_of_its_dates() {
    let row = |day: usize, i: usize| {
        let (minute, second) = (i / 60, i % 60);
        format!("1,{day:02}/04/2026 08:{minute:02}:{second:02}Z,sun,180.5,40.25,10\n")
    };
    let text = [
        HEADER.to_owned(),
        (0..3000).map(|i| row(7, i % 3600)).collect(),
        row(13, 0),
    ]
    .concat();
    assert!(text.len() as u64 > HEAD_BYTES);
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), &text).unwrap();
    let (station, options) = (station(), ScanOptions::default());
    let mut reader = ScanReader::open(file.path(), &station, &options, |input| input).unwrap();
    let scan = reader.next_scan().unwrap().unwrap();
    assert_eq!(
        scan.samples[0].time,
        Utc::parse("2026-04-07T08:00:00Z").unwrap()
    );
    // A pipe can be read only once.
    let piped = all(&text).unwrap_err().to_string();
    assert!(
        piped.contains("--dates day-month-year for 2026-04-07"),
        "{piped}"
    );
}
