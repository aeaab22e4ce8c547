//! Options of `table` and `point` about demands.

use std::str::FromStr;

use clap::{Args as ClapArgs, ValueEnum};

use crate::angle::{Angle, EncoderReading};
use crate::logbook::AZIMUTH_READING;
use crate::table::DemandKind;

/// Which direction is demanded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Kind {
    /// Without air, as orbits and catalogues give it; refraction is added
    Geometric,
    /// Where the beam must point; the bending of the air is in it already
    Apparent,
}

/// In which coordinates demands are given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum DemandAs {
    /// Azimuth and elevation
    #[default]
    Sky,
    /// The mount's own coordinates, what it would read without any error: hour angle and
    /// declination, x and y
    Axes,
}

/// `--demand`.
#[derive(ClapArgs, Clone, Copy, Debug)]
pub struct DemandOption {
    /// Which direction is demanded [default: apparent]
    #[arg(long, value_enum, value_name = "KIND")]
    pub demand: Option<Kind>,
}

impl DemandOption {
    /// As said, or apparent.
    pub fn kind(self) -> DemandKind {
        match self.demand {
            Some(Kind::Geometric) => DemandKind::Geometric,
            Some(Kind::Apparent) | None => DemandKind::Apparent,
        }
    }
}

/// Two numbers of degrees with a comma between them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    azimuth: Angle,
    elevation: Angle,
}

impl Pair {
    /// Both.
    pub fn angles(self) -> (Angle, Angle) {
        (self.azimuth, self.elevation)
    }
    /// As encoder readings.
    pub fn reading(self) -> EncoderReading {
        EncoderReading {
            azimuth: self.azimuth,
            elevation: self.elevation,
        }
    }
}

impl FromStr for Pair {
    type Err = String;
    fn from_str(text: &str) -> Result<Pair, String> {
        let number = |part: &str| {
            let part = part.trim();
            AZIMUTH_READING.read("", part).ok().map(Angle::from_degrees)
        };
        let parts: Vec<&str> = text.split(',').collect();
        match parts.as_slice() {
            [azimuth, elevation] => number(azimuth).zip(number(elevation)),
            _ => None,
        }
        .map(|(azimuth, elevation)| Pair { azimuth, elevation })
        .ok_or_else(|| "expected azimuth and elevation in degrees, such as 135.2,41.8".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pair_is_two_finite_numbers() {
        let pair: Pair = " -12.5, 40".parse().unwrap();
        assert_eq!(pair.reading(), EncoderReading::from_degrees(-12.5, 40.0));
        for bad in ["", "1", "1,2,3", "1;2", "a,b", "nan,1", "inf,2", "1e18,0"] {
            assert!(bad.parse::<Pair>().is_err(), "{bad}");
        }
    }
}
