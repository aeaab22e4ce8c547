//! `plumbeam new`: a folder to begin with.

use std::path::PathBuf;
use std::str::FromStr;

use clap::Args as ClapArgs;

use super::value::above_zero;
use super::{Common, Console, Verdict};
use crate::problem::{Error, Wrong, printable};
use crate::quantity::Quantity;
use crate::report::{setup_json, setup_text};
use crate::setup::{NewMount, SetupRequest, set_up};
use crate::station::limits;
use crate::time::Utc;

const EXAMPLE: &str = "\
Example:
  plumbeam new backyard --at 52.41,7.33,21 --dish 3 --frequency 1420
  plumbeam new roof --at -33.92,18.42 --dish 1.2 --frequency 1700 --name \"The roof\"
  plumbeam new garden --at 52.41,7.33 --dish 1.2 --frequency 11700 --mount polar-one-motor";

/// Begin: a station file to fill in, and an empty log
///
/// Makes a folder with a station file in which every line is explained and the strong emitters
/// stand that this dish can hear at this place, and with an empty log. Says when they are up, and
/// what to do next. Nothing that exists is written over.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The folder, new or empty
    pub folder: PathBuf,
    /// Where the dish stands: latitude and longitude in degrees with decimals (south and west
    /// negative), and the height in metres if you know it
    #[arg(long, value_name = "LAT,LON[,HEIGHT]", allow_hyphen_values = true)]
    pub at: SitePlace,
    /// Diameter of the dish, metres
    #[arg(long, value_name = "METRES", value_parser = diameter, allow_negative_numbers = true)]
    pub dish: f64,
    /// Frequency of the receiver, megahertz
    #[arg(long, value_name = "MHZ", value_parser = frequency, allow_negative_numbers = true)]
    pub frequency: f64,
    /// Name of the station (default: that of the folder)
    #[arg(long, value_name = "NAME")]
    pub name: Option<String>,
    /// How the axes are arranged: az-el, polar, polar-one-motor, x-y or slant
    #[arg(long, value_name = "KIND", default_value = "az-el")]
    pub mount: NewMount,
    /// Noise of receiver, feed and sky together
    #[arg(long, value_name = "KELVIN", value_parser = above_zero, allow_negative_numbers = true)]
    pub system_temperature: Option<f64>,
}

/// `--at`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SitePlace {
    latitude_deg: f64,
    longitude_deg: f64,
    height_m: Option<f64>,
}

impl FromStr for SitePlace {
    type Err = String;
    fn from_str(text: &str) -> Result<SitePlace, String> {
        let parts: Vec<&str> = text.split(',').map(str::trim).collect();
        let (latitude, longitude, height) = match parts.as_slice() {
            [latitude, longitude] => (latitude, longitude, None),
            [latitude, longitude, height] => (latitude, longitude, Some(height)),
            _ => {
                return Err(
                    "expected latitude and longitude in degrees with decimal points and a \
                            comma between them, and the height in metres behind them if you know \
                            it, such as 52.41,7.33,21"
                        .to_owned(),
                );
            }
        };
        let number = |name: &str, quantity: &Quantity, text: &str| {
            quantity.read(name, text).map_err(|wrong| in_words(&wrong))
        };
        let longitude_deg = number("the longitude", &limits::LONGITUDE, longitude)?;
        let latitude_deg = number("the latitude", &limits::LATITUDE, latitude).map_err(|said| {
            // Exchanged, both would do.
            match (longitude_deg.abs() <= 90.0, latitude.parse::<f64>()) {
                (true, Ok(first)) if (-180.0..=360.0).contains(&first) => format!(
                    "{said}; the latitude comes first: if they are exchanged, write \
                         {longitude},{latitude}"
                ),
                _ => said,
            }
        })?;
        let height_m = match height {
            None => None,
            Some(text) => Some(number("the height", &limits::HEIGHT, text)?),
        };
        Ok(SitePlace {
            latitude_deg,
            longitude_deg,
            height_m,
        })
    }
}

fn in_words(wrong: &Wrong) -> String {
    let help = match wrong.remedy.is_empty() {
        true => String::new(),
        false => format!(" ({})", wrong.remedy),
    };
    format!("{}; expected {}{help}", wrong.found, wrong.expected)
}

fn diameter(text: &str) -> Result<f64, String> {
    (limits::DIAMETER.read("the diameter", text)).map_err(|wrong| in_words(&wrong))
}

fn frequency(text: &str) -> Result<f64, String> {
    (limits::FREQUENCY.read("the frequency", text)).map_err(|wrong| in_words(&wrong))
}

/// What the place is called.
fn name(args: &Args) -> Result<String, Error> {
    let name = match &args.name {
        Some(name) => name.clone(),
        None => match args
            .folder
            .canonicalize()
            .unwrap_or(args.folder.clone())
            .file_name()
        {
            Some(name) => name.to_string_lossy().into_owned(),
            None => "my station".to_owned(),
        },
    };
    if name.trim() != name || name.is_empty() || name.contains(char::is_control) {
        return Err(Error::Usage(format!(
            "\"{}\" is not a name for a station: it is empty, or has blanks at an end or control \
             characters in it; give another with --name",
            printable(&name)
        )));
    }
    Ok(name)
}

/// Makes the folder.
///
/// # Errors
/// When the folder holds anything already or cannot be written.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    if common.out.is_some() {
        return Err(Error::Usage(
            "new writes a folder, named first: leave --out out".to_owned(),
        ));
    }
    let request = SetupRequest {
        name: name(args)?,
        latitude_deg: args.at.latitude_deg,
        longitude_deg: args.at.longitude_deg,
        height_m: args.at.height_m,
        diameter_m: args.dish,
        frequency_mhz: args.frequency,
        system_temperature_k: args.system_temperature,
        mount: args.mount,
    };
    let setup = set_up(&request, Utc::now().next_minute())?;
    setup.write(&args.folder)?;
    if common.json {
        console.json(&setup_json(&setup, &args.folder))?;
    } else {
        console.result(&setup_text(&setup, &args.folder, console.colour()))?;
    }
    Ok(Verdict::Good)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_read_with_and_without_its_height() {
        let place: SitePlace = " 52.41, -7.33 ,21".parse().unwrap();
        assert_eq!(
            place,
            SitePlace {
                latitude_deg: 52.41,
                longitude_deg: -7.33,
                height_m: Some(21.0)
            }
        );
        assert_eq!("-33.9,18.4".parse::<SitePlace>().unwrap().height_m, None);
    }

    #[test]
    fn a_wrong_place_is_told_what_is_wrong() {
        let told = |text: &str| text.parse::<SitePlace>().unwrap_err();
        for text in ["52.41", "", "52.41 7.33", "52,41,7,33"] {
            assert!(told(text).contains("such as 52.41,7.33,21"), "{text}");
        }
        // Sydney with its longitude first.
        let exchanged = told("151.2,-33.9");
        assert!(exchanged.contains("the latitude is 151.2; expected degrees from -90 to 90"));
        assert!(exchanged.contains("write -33.9,151.2"), "{exchanged}");
        assert!(!told("151.2,100").contains("exchanged"));
        assert!(told("52.4,400").contains("the longitude is 400"));
        assert!(told("52.4N,7").contains("not a number"));
        assert!(told("52.4,7,30000").contains("-500 to 9000"));
        assert!(told("52.4,7,12000").contains("if that is feet, write 3657.6"));
        assert!(
            frequency("1.42")
                .unwrap_err()
                .contains("if that is gigahertz, write 1420")
        );
        assert!(diameter("300").unwrap_err().contains("centimetres"));
    }
}
