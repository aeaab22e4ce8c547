//! Creates the folder of a new station: a commented station file with the emitters that its dish
//! can receive, and an empty log. The verb `new`.

mod file;
mod hear;
mod mount;
mod page;
mod rise;

use std::path::{Path, PathBuf};

use crate::angle::Angle;
use crate::ephemeris::{Reach, Times, ephemeris};
use crate::files;
use crate::mount::{AxisKind, MountModel};
use crate::plan::SYSTEM_TEMPERATURE_K;
use crate::problem::{Error, Problem};
use crate::sky::{EmitterId, Sky};
use crate::station::Station;
use crate::time::{DAY_S, Utc};

pub use hear::{HeardEmitter, Use};
pub use mount::NewMount;
pub use rise::Rise;

/// Names of the two files.
pub const STATION_FILE: &str = "station.toml";
/// The empty log.
pub const LOG_FILE: &str = "peaks.csv";

/// Columns of the log: those of a peaks file of an az-el mount that are filled in by hand.
const COLUMNS: [&str; 7] = [
    "time_utc",
    "emitter",
    "azimuth_deg",
    "elevation_deg",
    "azimuth_approach",
    "elevation_approach",
    "note",
];
/// Nothing is measured below this, where refraction is largest; same default as in `plan`.
const LOWEST: Angle = Angle::from_degrees(10.0);
/// Step of the search through the day ahead: a low satellite is up for about ten minutes, so no
/// pass is missed.
const LOOK_EVERY_S: f64 = 300.0;

/// Description of a new station.
#[derive(Clone, Debug)]
pub struct SetupRequest {
    /// Name of the site.
    pub name: String,
    /// Geodetic, north positive, degrees.
    pub latitude_deg: f64,
    /// East positive, degrees.
    pub longitude_deg: f64,
    /// Above the ellipsoid, metres, if known.
    pub height_m: Option<f64>,
    /// Metres.
    pub diameter_m: f64,
    /// Frequency of the receiver, megahertz.
    pub frequency_mhz: f64,
    /// Noise of receiver, feed and sky, kelvin, if known.
    pub system_temperature_k: Option<f64>,
    /// Arrangement of its axes.
    pub mount: NewMount,
}

impl SetupRequest {
    fn system_k(&self) -> f64 {
        self.system_temperature_k.unwrap_or(SYSTEM_TEMPERATURE_K)
    }
    fn latitude(&self) -> Angle {
        Angle::from_degrees(self.latitude_deg)
    }
}

/// Visibility of an emitter of the file in the day ahead, computed as by the verb `sky`.
#[derive(Clone, Debug)]
pub struct Today {
    /// Name in the station file.
    pub emitter: String,
    /// Periods in which it can be measured: within the mount's range and high enough.
    pub spans: Vec<(Utc, Utc)>,
    /// Its highest elevation, and when.
    pub highest: (Angle, Utc),
}

/// A station's folder, ready to be written.
#[derive(Clone, Debug)]
pub struct Setup {
    /// The text of the station file.
    pub station_text: String,
    /// The station as read back from that text.
    pub station: Station,
    /// Every emitter that was considered, and how it is treated.
    pub heard: Vec<HeardEmitter>,
    /// Visibility in the day ahead of the emitters in the file.
    pub today: Vec<Today>,
    /// What was assumed.
    pub assumed: Vec<String>,
}

/// Prepares the files of a new station. The station file is read back and the visibility of its
/// emitters is computed for a day from `now` on.
///
/// # Errors
/// If the values do not describe a valid station.
pub fn set_up(request: &SetupRequest, now: Utc) -> Result<Setup, Error> {
    let heard = hear::heard(request)?;
    let station_text = file::station_text(request, &heard);
    let station = read_back(&station_text)?;
    let sky = Sky::new(&station)?;
    Ok(Setup {
        today: today(&station, &sky, now)?,
        assumed: assumed(request, &station),
        station_text,
        station,
        heard,
    })
}

/// Parses the station file. Any fault comes from the request: the file does not exist yet, so no
/// line of it is named.
fn read_back(text: &str) -> Result<Station, Error> {
    Station::parse(STATION_FILE, Path::new(""), text.as_bytes()).map_err(|e| match e {
        Error::Input(problems) => Error::Usage(
            (problems.as_slice().iter())
                .map(|p| {
                    Problem {
                        line: None,
                        ..p.clone()
                    }
                    .to_string()
                })
                .collect::<Vec<_>>()
                .join("\n"),
        ),
        other => other,
    })
}

fn assumed(request: &SetupRequest, station: &Station) -> Vec<String> {
    let mut assumed = Vec::new();
    if request.height_m.is_none() {
        assumed.push("no height given: 0 m, sea level, is written".to_owned());
    }
    if request.system_temperature_k.is_none() {
        assumed.push(format!(
            "receiver, feed and sky together make {SYSTEM_TEMPERATURE_K:.0} K of noise (give \
             --system-temperature)"
        ));
    }
    let degrees = |(low, high): (Angle, Angle)| {
        format!("from {:.0} to {:.0} deg", low.degrees(), high.degrees())
    };
    let [one, two] = station.mount.kind().axes().map(AxisKind::words);
    assumed.push(match station.mount.fixed_declination {
        None => format!(
            "the encoders read {} in {one} and {} in {two}: correct it in the file",
            degrees(station.mount.azimuth_range),
            degrees(station.mount.elevation_range)
        ),
        Some(fixed) => format!(
            "the encoder reads {} in {one}, and the dish is bolted at a declination of {:.2} deg: \
             correct it in the file",
            degrees(station.mount.azimuth_range),
            fixed.degrees()
        ),
    });
    assumed
}

/// Computes the visibility of every emitter of a station in the day ahead.
fn today(station: &Station, sky: &Sky, now: Utc) -> Result<Vec<Today>, Error> {
    let ids: Vec<EmitterId> = sky.emitters().collect();
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let reach = Reach::new(station, MountModel::ideal(station.mount.geometry));
    let span = Times::Span {
        from: now,
        to: now.plus_seconds(DAY_S),
        every_s: LOOK_EVERY_S,
    };
    let found = ephemeris(station, sky, &reach, &ids, span)?;
    let of_emitter = |id: EmitterId| {
        let name = sky.name(id);
        let mut today: Option<Today> = None;
        let mut was_up = false;
        for row in found.rows.iter().filter(|r| r.emitter == name) {
            let elevation = Angle::from_degrees(row.apparent_elevation_deg);
            let day = today.get_or_insert(Today {
                emitter: name.to_owned(),
                spans: Vec::new(),
                highest: (elevation, row.time_utc),
            });
            if elevation > day.highest.0 {
                day.highest = (elevation, row.time_utc);
            }
            let up = row.reachable && elevation >= LOWEST;
            match (up, was_up, day.spans.last_mut()) {
                (true, true, Some(last)) => last.1 = row.time_utc,
                (true, ..) => day.spans.push((row.time_utc, row.time_utc)),
                _ => {}
            }
            was_up = up;
        }
        today
    };
    Ok(ids.into_iter().filter_map(of_emitter).collect())
}

impl Setup {
    /// The empty log: a header with the column names of the mount.
    fn log(&self) -> String {
        let mount = &self.station.mount;
        let one_motor = mount.fixed_declination.is_some();
        let columns: Vec<String> = (COLUMNS.iter())
            .filter(|column| !(one_motor && column.starts_with("elevation")))
            .map(|column| mount.kind().key_of(column))
            .collect();
        format!("# readings = encoder\n{}\n", columns.join(","))
    }

    /// Writes the folder, creating it if necessary. Returns the paths of the two files.
    ///
    /// # Errors
    /// If there is a file of that name, if the folder is not empty, or if it cannot be written; a
    /// partial result is removed.
    pub fn write(&self, folder: &Path) -> Result<[PathBuf; 2], Error> {
        must_be_free(folder)?;
        let made = !folder.exists();
        std::fs::create_dir_all(folder)
            .map_err(|e| Error::io(&folder.display().to_string(), "make", e))?;
        let paths = [folder.join(STATION_FILE), folder.join(LOG_FILE)];
        let written = files::write_whole(&paths[0], self.station_text.as_bytes())
            .and_then(|()| files::write_whole(&paths[1], self.log().as_bytes()));
        if let Err(error) = written {
            // Best effort: the reason for the failure matters more than a leftover file.
            let _ = std::fs::remove_file(&paths[0]);
            if made {
                let _ = std::fs::remove_dir(folder);
            }
            return Err(error);
        }
        Ok(paths)
    }
}

/// Makes sure that nothing existing is overwritten.
fn must_be_free(folder: &Path) -> Result<(), Error> {
    let shown = folder.display();
    let refused = |what: &str| {
        Err(Error::Usage(format!(
            "{shown} {what}: nothing is overwritten; name a folder that is new or empty"
        )))
    };
    match std::fs::metadata(folder) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(e) => Err(Error::io(&shown.to_string(), "read", e)),
        Ok(there) if !there.is_dir() => refused("is a file"),
        Ok(_) => {
            let mut entries =
                std::fs::read_dir(folder).map_err(|e| Error::io(&shown.to_string(), "read", e))?;
            match entries.next() {
                None => Ok(()),
                Some(_) => refused("holds files already"),
            }
        }
    }
}

#[cfg(test)]
mod tests;
