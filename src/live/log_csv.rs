//! Reads the log of a relay back.

use std::path::Path;

use super::pass::{Figures, PassSample, PassTally};
use super::record::{COLUMNS, FORMAT, RelayRow};
use crate::angle::Angle;
use crate::files;
use crate::problem::{Error, Problem, Problems, Wrong};
use crate::quantity::Quantity;
use crate::station::limits::{BEAMWIDTH, ENCODER_AZIMUTH, OFFSET};
use crate::text::quoted;
use crate::time::Utc;

/// A pass of a log.
#[derive(Clone, Debug)]
pub struct LoggedPass {
    /// Its figures.
    pub figures: Figures,
    /// Where the beam was and should have been, in the order of time; thinned when there are many.
    pub samples: Vec<PassSample>,
}

/// The contents of a log.
#[derive(Clone, Debug)]
pub struct RelayLog {
    /// Name of the site.
    pub station: String,
    /// Half-power width of the beam.
    pub beamwidth: Angle,
    /// `geometric` or `apparent`.
    pub demand: String,
    /// Its passes.
    pub passes: Vec<LoggedPass>,
    /// Alarms, with their times.
    pub alarms: Vec<(Utc, String)>,
    /// How often the mount was stopped.
    pub stops: usize,
    /// Caveats, a sentence each.
    pub caveats: Vec<String>,
}

/// Most samples of a pass kept for the plot.
const MOST_SAMPLES: usize = 20_000;

/// A log of days at five rows a second.
const EXPECTED: files::FileToRead =
    files::FileToRead::mebibytes("a log of a relay", 512).or_piped();

/// Reads a log.
///
/// # Errors
/// A file that cannot be read or is not a log of a relay; invalid rows.
pub fn read_log(path: &Path) -> Result<RelayLog, Error> {
    let (name, bytes) = files::read_bytes(path, EXPECTED)?;
    parse_log(&name, &bytes)
}

/// Reads a log from its bytes; `file` is its name in messages.
///
/// # Errors
/// As [`read_log`].
pub fn parse_log(file: &str, bytes: &[u8]) -> Result<RelayLog, Error> {
    let text = String::from_utf8_lossy(bytes);
    let text = text.trim_start_matches('\u{feff}');
    let no_log = |found: &str| {
        Error::from(
            Problem::of_file(
                file,
                found,
                format!("a log of plumbeam relay: {FORMAT:?} first"),
            )
            .mend("give the file that relay --log wrote"),
        )
    };
    if !text.starts_with(FORMAT) {
        return Err(no_log("no log of a relay"));
    }
    let of = |key: &str| {
        let lead = format!("# {key} = ");
        text.lines()
            .rev()
            .find_map(|line| line.strip_prefix(&lead))
            .map(|value| value.trim().to_owned())
    };
    let beamwidth = of("beamwidth_deg")
        .and_then(|value| BEAMWIDTH.read("beamwidth_deg", &value).ok())
        .filter(|value| *value > 0.0)
        .map(Angle::from_degrees)
        .ok_or_else(|| no_log("no beamwidth_deg in its comments"))?;
    let az_el = of("kind").is_none_or(|kind| kind == "az-el");
    let mut log = RelayLog {
        station: of("station").unwrap_or_default(),
        beamwidth,
        demand: of("demand").unwrap_or_default(),
        passes: Vec::new(),
        alarms: Vec::new(),
        stops: 0,
        caveats: Vec::new(),
    };
    let mut rows = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let mut problems = Problems::new();
    let mut samples: Vec<PassSample> = Vec::new();
    let mut unfinished = false;
    let complete = text.ends_with('\n');
    for record in rows.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => return Err(no_log(&format!("a row that is none: {error}"))),
        };
        let line = record.position().map_or(0, |p| p.line() as usize);
        if record.iter().eq(COLUMNS.split(',')) {
            continue;
        }
        match row(&record) {
            Ok(row) => {
                if row.command == "alarm" {
                    log.alarms.push((row.time_utc, row.reply.clone()));
                } else if row.command == "S" && row.client == super::record::RELAY {
                    log.stops += 1;
                }
                samples.extend(PassSample::of(&row, az_el));
                unfinished = false;
            }
            Err(wrong) => {
                unfinished = !complete;
                problems.push(wrong.at(file, line, 1));
            }
        }
    }
    if unfinished && problems.count() == 1 {
        // The end of a log whose relay was killed in the middle of a row.
        log.caveats.push(format!(
            "the last row of {file} is not whole and is left out"
        ));
        problems = Problems::new();
    }
    log.passes = passes(samples, beamwidth);
    problems.or_value(log)
}

fn row(record: &csv::StringRecord) -> Result<RelayRow, Wrong> {
    let cells: Vec<&str> = record.iter().collect();
    let [
        time,
        client,
        command,
        demand_1,
        demand_2,
        command_1,
        command_2,
        reading_1,
        reading_2,
        sun,
        reply,
    ] = cells.as_slice()
    else {
        return Err(Wrong::new(
            format!("a row of {} cells", cells.len()),
            format!("the columns {COLUMNS}"),
        ));
    };
    let number = |name: &str, quantity: Quantity, cell: &str| match cell {
        "" => Ok(None),
        cell => quantity.read(name, cell).map(Some),
    };
    let angle = |name: &str, cell: &str| number(name, ENCODER_AZIMUTH, cell);
    Ok(RelayRow {
        time_utc: Utc::parse(time).map_err(|why| {
            let found = format!("{}, which {why}", quoted(time));
            Wrong::new(found, "the time of the row, UTC")
        })?,
        client: (*client).to_owned(),
        command: (*command).to_owned(),
        demand_azimuth_deg: angle("demand_azimuth_deg", demand_1)?,
        demand_elevation_deg: angle("demand_elevation_deg", demand_2)?,
        command_1_deg: angle("command_1_deg", command_1)?,
        command_2_deg: angle("command_2_deg", command_2)?,
        reading_1_deg: angle("reading_1_deg", reading_1)?,
        reading_2_deg: angle("reading_2_deg", reading_2)?,
        sun_distance_deg: number("sun_distance_deg", OFFSET, sun)?,
        reply: (*reply).to_owned(),
    })
}

fn passes(mut samples: Vec<PassSample>, beamwidth: Angle) -> Vec<LoggedPass> {
    // Commands that waited for their answer are logged a little after their time.
    samples.sort_by_key(|sample| sample.time);
    let mut passes = Vec::new();
    let mut tally = PassTally::new(beamwidth);
    let mut of_pass: Vec<PassSample> = Vec::new();
    let end =
        |tally: &mut PassTally, of_pass: &mut Vec<PassSample>, passes: &mut Vec<LoggedPass>| {
            let samples = thinned(std::mem::take(of_pass));
            let figures = std::mem::replace(tally, PassTally::new(beamwidth)).figures();
            passes.extend(figures.map(|figures| LoggedPass { figures, samples }));
        };
    for sample in samples {
        if tally.is_over(sample.time) {
            end(&mut tally, &mut of_pass, &mut passes);
        }
        tally.add(&sample);
        of_pass.push(sample);
    }
    end(&mut tally, &mut of_pass, &mut passes);
    passes
}

/// Thins samples evenly to at most `MOST_SAMPLES`.
fn thinned(samples: Vec<PassSample>) -> Vec<PassSample> {
    let step = samples.len().div_ceil(MOST_SAMPLES).max(1);
    samples.into_iter().step_by(step).collect()
}

#[cfg(test)]
mod tests {
    use super::super::record::{About, RELAY, head};
    use super::*;

    fn log() -> String {
        let about = About {
            station: "Mill meadow".to_owned(),
            mount_kind: "az-el".to_owned(),
            beamwidth_deg: 5.0,
            demand: "apparent".to_owned(),
            checksum: "0badcafe".to_owned(),
        };
        let start = Utc::parse("2026-09-12T10:00:00Z").unwrap();
        let mut text = head(&about);
        for k in [0.0, 1.0, 2.0, 1000.0, 1001.0] {
            let row = RelayRow {
                demand_azimuth_deg: Some(10.0),
                demand_elevation_deg: Some(20.0),
                reading_1_deg: Some(7.0),
                reading_2_deg: Some(20.0),
                ..RelayRow::new(start.plus_seconds(k), RELAY, "p", "10.0 20.1")
            };
            text.push_str(&row.line());
        }
        text + &RelayRow::new(start, RELAY, "alarm", "the Sun, you know").line()
    }

    #[test]
    fn what_is_written_is_read() {
        let read = parse_log("r.csv", log().as_bytes()).unwrap();
        assert_eq!(read.station, "Mill meadow");
        assert_eq!(read.passes.len(), 2);
        assert_eq!(read.passes[0].figures.on_target_s, 2.0);
        assert_eq!(read.alarms[0].1, "the Sun, you know");
        assert!(read.caveats.is_empty());
        // Started again in the same file.
        let twice = log() + &log();
        assert_eq!(
            parse_log("r.csv", twice.as_bytes()).unwrap().alarms.len(),
            2
        );
    }

    #[test]
    fn a_row_cut_off_at_the_end_is_told_and_left_out() {
        let cut = log() + "2026-09-12T10:20:00.000Z,relay,p,10";
        let read = parse_log("r.csv", cut.as_bytes()).unwrap();
        assert_eq!(read.passes.len(), 2);
        assert!(read.caveats[0].contains("last row of r.csv"));
    }

    #[test]
    fn other_files_and_bad_rows_are_told() {
        let told = |text: &str| parse_log("r.csv", text.as_bytes()).unwrap_err().to_string();
        assert!(told("time_utc,azimuth_deg\n").contains("r.csv: no log of a relay"));
        let bad = told(&(log() + "x,relay,p,,,,,,,,\n"));
        assert!(bad.contains("r.csv:15:1: \"x\""), "{bad}");
        let bad = told(&(log() + "1,2,3\n"));
        assert!(bad.contains("a row of 3 cells"), "{bad}");
    }
}
