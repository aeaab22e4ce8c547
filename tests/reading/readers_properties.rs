//! What holds for every file: no bytes make a reader panic, and what is written reads back as it
//! was.

use std::collections::BTreeMap;
use std::path::Path;

use plumbeam::angle::Angle;
use plumbeam::logbook::MountRecord;
use plumbeam::logbook::{
    Angles, Approach, Calibration, CalibrationPeak, CauseRecord, ColumnNames, CompassMeaning,
    Correlation, Dialect, ExpectedPointingError, FORMAT, JoinedFrom, LogOptions, Peak, PeakLog,
    RowReader, ScanOptions, ScanReader, SkyPlace, TermRecord, TermState, Trust, ValueUnit,
};
use plumbeam::mount::{AxisKind, Kind, Term};
use plumbeam::problem::{Error, Problems};
use plumbeam::station::Station;
use plumbeam::time::{DateOrder, Utc, ZoneOffset};
use proptest::prelude::*;

const STATION: &str = include_str!("../data/invented/station.toml");
const CALIBRATION: &str = include_str!("../data/invented/calibration.json");
const PEAKS: &str = "time_utc,emitter,azimuth_deg,elevation_deg,azimuth_sigma_deg,azimuth_approach,use,note,x_sky\n\
    2026-04-04T05:00:48.771Z,sun,491.961,23.669,0.02,+,yes,\"calm, \"\"dusk\"\"\",clear\n\
    # a comment\n\
    2026-04-04T05:11:26.909+02:00,Swan source,-178.52,,,-,no,,\n";

fn station() -> Station {
    Station::parse("station.toml", Path::new(""), STATION.as_bytes()).unwrap()
}

const SHEET: &str = include_str!("../data/logs/own-headers-local-time.csv");
const SWEEPS: &str = include_str!("../data/logs/sweeps.csv");

/// All that a log may ask for.
fn all_said() -> LogOptions {
    LogOptions {
        zone: Some(ZoneOffset::from_hours(11)),
        dates: Some(DateOrder::DayMonthYear),
        columns: ColumnNames::parse(
            "time_utc=When,emitter=What,azimuth_deg=Az reading,elevation_deg=El reading",
        )
        .unwrap(),
        emitter: Some("sun".to_owned()),
        approach: Some(CompassMeaning::From),
        readings: None,
    }
}

/// Reads the bytes as scans to their end.
fn scans(bytes: &[u8], options: &ScanOptions) -> Result<(), Error> {
    let station = station();
    let mut reader = ScanReader::new("file", bytes, &station, options)?;
    while reader.next_scan()?.is_some() {}
    reader.remarks();
    reader.taken();
    Ok(())
}

/// Reads the bytes as everything; a panic fails the test, and so does an error without a word.
fn read_as_everything(bytes: &[u8]) {
    let errors = [
        Station::parse("file", Path::new(""), bytes).err(),
        PeakLog::parse("file", bytes, &station()).err(),
        Calibration::parse("file", bytes).err(),
        PeakLog::parse_with("file", bytes, &station(), &all_said()).err(),
        scans(bytes, &ScanOptions::default()).err(),
        scans(bytes, &with_angles()).err(),
    ];
    for error in errors.into_iter().flatten() {
        assert!(error.to_string().starts_with("file"), "{error}");
    }
}

/// All said, and angles around the times of the sweeps.
fn with_angles() -> ScanOptions {
    let path = Path::new("tests/data/logs/angles-plain.csv");
    ScanOptions {
        angles: Some(Angles::read(path, &station(), &LogOptions::default()).unwrap()),
        log: all_said(),
        ..ScanOptions::default()
    }
}

/// A good file with a few bytes replaced, taken out or put in.
fn damaged(file: &'static str) -> impl Strategy<Value = Vec<u8>> {
    let scraps = prop_oneof![
        any::<[u8; 1]>().prop_map(|b| b.to_vec()),
        prop::sample::select(vec![
            "\"",
            ",",
            "\n",
            "\r\n",
            "[",
            "]",
            "{",
            "}",
            "=",
            "NaN",
            "-",
            "e99",
            "9",
            "0",
            "\u{feff}",
            "\0",
            ";",
            "#",
            "'",
            ".",
            "Z",
            ":",
            "inf",
            "ü",
            "null",
            "[[emitter]]\n",
        ])
        .prop_map(|s| s.as_bytes().to_vec()),
    ];
    let damage = (any::<prop::sample::Index>(), 0usize..9, scraps);
    prop::collection::vec(damage, 1..5).prop_map(move |damages| {
        let mut bytes = file.as_bytes().to_vec();
        for (at, length, scrap) in damages {
            let start = at.index(bytes.len() + 1);
            let end = (start + length).min(bytes.len());
            bytes.splice(start..end, scrap);
        }
        bytes
    })
}

fn instant() -> impl Strategy<Value = Utc> {
    // From 1960 to 2100, to the nanosecond.
    (-315_000_000i64..4_100_000_000, 0i64..1_000_000_000)
        .prop_map(|(second, nanos)| Utc::from_unix_nanos(second * 1_000_000_000 + nanos))
}

/// As people write them with a few decimals, and as programs write them with all.
fn degrees(low: f64, high: f64) -> impl Strategy<Value = Angle> {
    prop_oneof![
        (low..=high, 0i32..6).prop_map(|(d, decimals)| {
            let scale = 10f64.powi(decimals);
            (d * scale).trunc() / scale
        }),
        low..=high,
    ]
    .prop_map(Angle::from_degrees)
}

/// Any text but for zero bytes, of a few lines at most.
fn note() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        "[ -~]{0,20}",
        "[a-c\",#\\r\\n ü]{0,12}",
        "\\PC{0,20}",
    ]
}

fn approach() -> impl Strategy<Value = Approach> {
    prop::sample::select(vec![
        Approach::Increasing,
        Approach::Decreasing,
        Approach::Unknown,
    ])
}

prop_compose! {
    fn peak()(
        time in instant(),
        emitter in prop::sample::select(vec!["sun", "Swan source", "ridge-beacon"]),
        azimuth in prop::option::of(degrees(-100_000.0, 100_000.0)),
        elevation in degrees(-90.0, 270.0),
        sigmas in (prop::option::of(degrees(1e-6, 90.0)), prop::option::of(degrees(1e-6, 90.0))),
        approaches in (approach(), approach()),
        numbers in (prop::option::of(-399.0..399.0), prop::option::of(-99.0..99.0)),
        use_it in any::<bool>(),
        notes in (note(), note(), note()),
    ) -> Peak {
        Peak {
            log: 0,
            row: 0,
            line: 0,
            time,
            emitter: emitter.to_owned(),
            feed: 0,
            azimuth,
            elevation: Some(elevation),
            // Zero is no standard deviation, however it was rounded.
            azimuth_sigma: sigmas.0.filter(|s| *s > Angle::ZERO),
            elevation_sigma: sigmas.1.filter(|s| *s > Angle::ZERO),
            by_lag: [None; 2],
            azimuth_approach: approaches.0,
            elevation_approach: approaches.1,
            peak_db: numbers.0,
            temperature_c: numbers.1,
            use_it,
            note: notes.0,
            extra: [notes.1, notes.2].into_iter().enumerate().filter(|(_, text)| !text.is_empty()).collect(),
        }
    }
}

/// The peaks without their places in the file.
fn placeless(peaks: &[Peak]) -> Vec<Peak> {
    let placeless = |p: &Peak| Peak {
        row: 0,
        line: 0,
        ..p.clone()
    };
    peaks.iter().map(placeless).collect()
}

fn record(unit: ValueUnit, value: f64, sigma: Option<f64>, state: TermState) -> TermRecord {
    let when = |wanted| unit == wanted;
    TermRecord {
        value_deg: when(ValueUnit::Degrees).then_some(value),
        // A scale is off by half at most.
        value: when(ValueUnit::Fraction).then_some(value / 20.0),
        value_s: when(ValueUnit::Seconds).then_some(value),
        sigma_deg: sigma.filter(|_| when(ValueUnit::Degrees)),
        sigma: sigma.filter(|_| when(ValueUnit::Fraction)),
        sigma_s: sigma.filter(|_| when(ValueUnit::Seconds)),
        prior_sigma_deg: sigma.filter(|s| *s > 0.0 && when(ValueUnit::Degrees)),
        prior_sigma: None,
        prior_sigma_s: sigma.filter(|s| *s > 0.0 && when(ValueUnit::Seconds)),
        state,
    }
}

prop_compose! {
    fn calibration()(
        created in instant(),
        station in "\\PC{0,20}",
        terms in prop::collection::btree_map(
            0..Term::COUNT,
            (-9.0..9.0, prop::option::of(0.0..9.0), 0..3usize),
            0..8,
        ),
        peaks in prop::collection::vec(
            (instant(), note(), prop::option::of(-180.0..180.0), any::<bool>()),
            0..5,
        ),
        rms in (0.0..180.0, 0.0..180.0),
        correlation in -1.0..1.0,
        expected in prop::option::of((0.0..180.0, prop::option::of(0.0..12.0))),
        trust in 0..3usize,
        warnings in prop::collection::vec(note(), 0..3),
    ) -> Calibration {
        const STATES: [TermState; 3] =
            [TermState::Fitted, TermState::Held, TermState::NotSeparable];
        let terms: BTreeMap<String, TermRecord> = terms
            .into_iter()
            .map(|(i, (value, sigma, state))| {
                let name = Kind::AzEl.term_name(Term::ALL[i]);
                let unit = ValueUnit::from(Term::ALL[i].unit());
                (name.to_owned(), record(unit, value, sigma, STATES[state]))
            })
            .collect();
        let pair: Vec<&String> = terms.keys().take(2).collect();
        let correlations = match pair.as_slice() {
            [a, b] => vec![Correlation {
                terms: ((*a).clone(), (*b).clone()),
                value: correlation,
            }],
            _ => Vec::new(),
        };
        let free: Vec<String> = terms.keys().take(trust).cloned().collect();
        // The file gives times to the millisecond.
        let whole = |time: Utc| Utc::parse(&time.to_string()).unwrap();
        Calibration {
            format: FORMAT.to_owned(),
            created_utc: whole(created),
            station,
            mount: MountRecord::default(),
            correlations,
            terms,
            peaks: peaks
                .into_iter()
                .enumerate()
                .map(|(i, (time, emitter, residual, used))| CalibrationPeak {
                    row: i + 1,
                    time_utc: whole(time),
                    emitter,
                    cross_elevation_residual_deg: residual,
                    elevation_residual_deg: residual.map(|r| -r),
                    used,
                    why: String::new(),
                    axis_2: AxisKind::Elevation,
                })
                .collect(),
            rms_before_deg: rms.0,
            rms_after_deg: rms.1,
            degrees_of_freedom: 3,
            expected_pointing_error: expected.map(|(offset, loss_db)| ExpectedPointingError {
                rms_deg: offset,
                rms_95_deg: offset,
                largest_deg: offset,
                at: SkyPlace {
                    azimuth_deg: offset,
                    elevation_deg: offset / 2.0,
                },
                loss_db,
            }),
            trust: [Trust::None, Trust::Limited, Trust::Good][trust],
            joined_from: (trust > 0).then(|| JoinedFrom {
                created_utc: whole(created),
                set_free: free,
            }),
            reasons: warnings.clone(),
            causes: warnings
                .iter()
                .enumerate()
                .map(|(i, fault)| CauseRecord {
                    fault: fault.clone(),
                    axis: (i == 1).then(|| fault.clone()),
                    row: i.checked_sub(1),
                    size: expected.map(|(offset, _)| -offset),
                    size_unit: fault.clone(),
                    sigma: expected.map(|(offset, _)| offset),
                })
                .filter(|cause| cause.row != Some(0))
                .collect(),
            warnings,
        }
    }
}

/// Fields of all rows behind the header, and whether anything was wrong.
fn rows_of(csv: &[u8]) -> (Vec<Vec<String>>, bool) {
    let mut problems = Problems::new();
    let mut reader = RowReader::new("file", csv, Dialect::default());
    let mut rows = Vec::new();
    reader.header().unwrap();
    while let Some(row) = reader.next(&mut problems).unwrap() {
        rows.push(row.texts().map(str::to_owned).collect());
    }
    (rows, !problems.is_empty())
}

proptest! {
    #[test]
    fn no_bytes_make_a_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        read_as_everything(&bytes);
    }

    #[test]
    fn no_text_makes_a_reader_panic(text in "\\PC{0,200}") {
        read_as_everything(text.as_bytes());
    }

    #[test]
    fn no_damaged_file_makes_a_reader_panic(
        bytes in prop_oneof![
            damaged(STATION),
            damaged(PEAKS),
            damaged(CALIBRATION),
            damaged(SHEET),
            damaged(&SWEEPS[..2000]),
        ]
    ) {
        read_as_everything(&bytes);
    }

    #[test]
    fn every_log_reads_back_as_it_was_written(
        peaks in prop::collection::vec(peak(), 1..12)
    ) {
        let mut peaks = peaks;
        peaks.sort_by_key(|p| p.time);
        peaks.dedup_by_key(|p| p.time);
        let log = PeakLog {
            file: "log".to_owned(),
            peaks,
            extra_columns: vec!["x_one".to_owned(), "x_two, \"quoted\"".to_owned()],
            ..PeakLog::default()
        };
        let csv = log.to_csv();
        let read = PeakLog::parse("log", csv.as_bytes(), &station());
        let read = read.map_err(|e| TestCaseError::fail(format!("{e}\n{csv}")))?;
        prop_assert_eq!(placeless(&read.peaks), placeless(&log.peaks));
        prop_assert_eq!(&read.extra_columns, &log.extra_columns);
        // Writing again changes nothing, and neither does another kind of line end around rows.
        prop_assert_eq!(read.to_csv(), csv);
    }

    #[test]
    fn every_calibration_reads_back_as_it_was_written(calibration in calibration()) {
        let json = calibration.to_json();
        let read = Calibration::parse("c.json", json.as_bytes());
        let read = read.map_err(|e| TestCaseError::fail(format!("{e}\n{json}")))?;
        prop_assert_eq!(read, calibration);
    }

    /// The csv crate as an independent writer and reader of the format.
    #[test]
    fn rows_are_cut_as_the_csv_crate_cuts_them(
        rows in prop::collection::vec((note(), note(), note()), 1..6),
        always in any::<bool>(),
        windows in any::<bool>(),
    ) {
        let style = if always { csv::QuoteStyle::Always } else { csv::QuoteStyle::Necessary };
        let end = if windows { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') };
        let mut writer = csv::WriterBuilder::new()
            .quote_style(style)
            .terminator(end)
            .from_writer(Vec::new());
        writer.write_record(["one", "two", "three"]).unwrap();
        let mut expected = Vec::new();
        for (a, b, c) in rows {
            // Blanks around an unquoted field do not count, and an empty row is a fault.
            let cells = [a, b, c].map(|t| if always { t } else { t.trim().to_owned() });
            let comment = !always && cells[0].starts_with('#');
            if comment || cells.iter().all(String::is_empty) {
                continue;
            }
            writer.write_record(&cells).unwrap();
            expected.push(cells.to_vec());
        }
        let csv = writer.into_inner().unwrap();
        prop_assert_eq!(rows_of(&csv), (expected.clone(), false));
        let mut reader = csv::Reader::from_reader(csv.as_slice());
        let theirs: Vec<Vec<String>> = reader
            .records()
            .map(|r| r.unwrap().iter().map(str::to_owned).collect())
            .collect();
        prop_assert_eq!(theirs, expected);
    }
}
