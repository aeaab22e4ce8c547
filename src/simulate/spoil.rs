//! Faults that can be put into a simulated session on purpose.
//!
//! The formulas are written from the descriptions of the faults, not shared with the diagnosis, so
//! that each checks the other.

use std::f64::consts::PI;

use serde::Deserialize;

use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset};
use crate::mount::{Term, TermValues};
use crate::station::Station;

/// An axis, in a truth file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SpoilAxis {
    /// The azimuth axis.
    #[default]
    Azimuth,
    /// The elevation axis.
    Elevation,
    /// Both axes.
    Both,
}

/// A unit other than degrees, in a truth file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SpoilUnit {
    /// 57.3 degrees.
    Radians,
    /// 0.9 degrees.
    Grads,
    /// A sixtieth of a degree.
    Minutes,
    /// 6400 to the turn.
    Mils,
}

/// One fault put in on purpose, named after the fault it imitates.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields, tag = "kind", rename_all = "kebab-case")]
pub enum Spoil {
    /// These rows are peaks of a sidelobe: off by 1.5 beamwidths somewhere round the beam.
    Sidelobe {
        /// Data rows, counted from 1.
        rows: Vec<usize>,
    },
    /// These rows have one digit of a reading wrong.
    DigitSlip {
        /// Data rows, counted from 1.
        rows: Vec<usize>,
        /// Axis affected.
        #[serde(default)]
        axis: SpoilAxis,
        /// Size of the error.
        #[serde(default = "ten")]
        by_deg: f64,
    },
    /// These rows were observed on a different emitter from the one in the log.
    WrongEmitter {
        /// Data rows, counted from 1.
        rows: Vec<usize>,
        /// Emitter really observed.
        really: String,
    },
    /// The azimuth encoder jumps between two rows.
    AzimuthSlip {
        /// First row after the jump.
        from_row: usize,
        /// Reading after less reading before.
        size_deg: f64,
    },
    /// The elevation encoder jumps between two rows.
    ElevationSlip {
        /// First row after the jump.
        from_row: usize,
        /// Reading after less reading before.
        size_deg: f64,
    },
    /// An encoder's reading for one direction changes steadily.
    Creep {
        /// Which axis.
        axis: SpoilAxis,
        /// Change of the reading per hour.
        deg_per_hour: f64,
    },
    /// An encoder's reading for one direction follows the temperature, which goes up and down by
    /// 8 kelvin with the day.
    ThermalDrift {
        /// Which axis.
        axis: SpoilAxis,
        /// Change of the reading per kelvin.
        deg_per_kelvin: f64,
        /// Whether the temperature is in the log.
        #[serde(default = "yes")]
        logged: bool,
    },
    /// The azimuth axis leans more and more.
    Settling {
        /// Growth of the tilt toward north per hour.
        north_deg_per_hour: f64,
        /// Growth of the tilt toward east per hour.
        east_deg_per_hour: f64,
    },
    /// An axis runs ahead of and behind its encoder many times a turn.
    ToothError {
        /// Which axis.
        axis: SpoilAxis,
        /// How many times a turn.
        per_turn: f64,
        /// Largest error.
        size_deg: f64,
    },
    /// The track lifts the beam this many times a turn.
    WarpedTrack {
        /// How many times.
        times: u8,
        /// Largest lift.
        size_deg: f64,
        /// Azimuth reading of a high place.
        high_at_deg: f64,
    },
    /// The scatter is larger toward one azimuth.
    LooseJoint {
        /// Axis affected.
        axis: SpoilAxis,
        /// Toward this azimuth reading.
        toward_deg: f64,
        /// Factor of the noise there; on the other side the noise is as given.
        times: f64,
    },
    /// The beam moves in the dish as it is raised, by twice the elevation's sine.
    LooseDish {
        /// Sideways (azimuth) or up and down (elevation).
        axis: SpoilAxis,
        /// Largest movement.
        size_deg: f64,
    },
    /// The beam jumps sideways in the dish at an elevation.
    Flop {
        /// Elevation reading.
        at_deg: f64,
        /// How far, to the right above it.
        size_deg: f64,
    },
    /// The play of the elevation axis is taken up on the other side above an elevation.
    BalanceFlip {
        /// Elevation reading.
        at_deg: f64,
        /// Width of the play.
        size_deg: f64,
    },
    /// The logged times are those of another time zone.
    TimeZone {
        /// Hours to add to the logged times to get UTC.
        hours: f64,
    },
    /// The station file's longitude has the wrong sign.
    LongitudeSign,
    /// The station file's latitude and longitude are exchanged.
    SiteSwapped,
    /// The azimuth encoder counts the wrong way.
    AzimuthReversed,
    /// A satellite is ahead of its elements.
    StaleElements {
        /// Which.
        emitter: String,
        /// How far ahead, seconds.
        seconds: f64,
    },
    /// Readings are in another unit.
    WrongUnit {
        /// Axis affected.
        axis: SpoilAxis,
        /// Unit of the log.
        unit: SpoilUnit,
        /// Data rows, counted from 1; all when empty.
        #[serde(default)]
        rows: Vec<usize>,
    },
    /// The readings contain the refraction this many times, where once is right.
    Refraction {
        /// 0 or 2.
        times: f64,
    },
    /// Azimuth and elevation are in each other's column.
    ColumnsExchanged {
        /// Data rows, counted from 1; all when empty.
        #[serde(default)]
        rows: Vec<usize>,
    },
    /// The log holds the emitters' computed directions instead of readings.
    SkyForEncoder,
}

fn ten() -> f64 {
    10.0
}
fn yes() -> bool {
    true
}

/// When and in what weather a peak is taken.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Circumstance {
    /// Data row, counted from 1.
    pub row: usize,
    /// Hours since the start of the session.
    pub hours: f64,
    /// Air temperature, degrees Celsius.
    pub temperature_c: f64,
    /// The station's usual temperature.
    pub usual_c: f64,
}

/// Temperature at a local solar time: warmest at 15 h.
pub fn temperature(usual_c: f64, solar_hours: f64) -> f64 {
    /// Kelvin by which the invented day is warmer or colder than its mean.
    const SWING: f64 = 8.0;
    usual_c + SWING * ((solar_hours - 15.0) / 24.0 * 2.0 * PI).cos()
}

fn hits(rows: &[usize], row: usize) -> bool {
    rows.is_empty() || rows.contains(&row)
}

impl SpoilAxis {
    fn zero(self) -> Term {
        match self {
            SpoilAxis::Elevation => Term::ElevationZero,
            _ => Term::AzimuthZero,
        }
    }
    fn covers(self, axis: SpoilAxis) -> bool {
        self == axis || self == SpoilAxis::Both
    }
}

impl SpoilUnit {
    fn degrees(self) -> f64 {
        match self {
            SpoilUnit::Radians => 180.0 / PI,
            SpoilUnit::Grads => 0.9,
            SpoilUnit::Minutes => 1.0 / 60.0,
            SpoilUnit::Mils => 360.0 / 6400.0,
        }
    }
}

impl Spoil {
    /// Returns the true station if its file is wrong, else `None`.
    pub fn real_station(spoils: &[Spoil], filed: &Station) -> Option<Station> {
        let mut real = filed.clone();
        let mut changed = false;
        for spoil in spoils {
            match spoil {
                Spoil::LongitudeSign => real.site.longitude = -real.site.longitude,
                Spoil::SiteSwapped => {
                    std::mem::swap(&mut real.site.latitude, &mut real.site.longitude);
                }
                _ => continue,
            }
            changed = true;
        }
        changed.then_some(real)
    }

    /// Returns the emitter really observed in a row, if it is not the one in the log.
    pub fn really(spoils: &[Spoil], row: usize) -> Option<&str> {
        spoils.iter().find_map(|s| match s {
            Spoil::WrongEmitter { rows, really } if rows.contains(&row) => Some(really.as_str()),
            _ => None,
        })
    }

    /// Seconds by which a satellite is ahead of its elements.
    pub fn ahead_s(spoils: &[Spoil], name: &str) -> f64 {
        spoils
            .iter()
            .map(|s| match s {
                Spoil::StaleElements { emitter, seconds } if emitter == name => *seconds,
                _ => 0.0,
            })
            .sum()
    }

    /// Seconds to subtract from the true time to get the logged time.
    pub fn behind_s(spoils: &[Spoil]) -> f64 {
        spoils
            .iter()
            .map(|s| match s {
                Spoil::TimeZone { hours } => hours * 3600.0,
                _ => 0.0,
            })
            .sum()
    }

    /// Direction of the beam when the readings contain the refraction `bend` (apparent less airless
    /// elevation) other than once.
    pub fn bent(
        spoils: &[Spoil],
        apparent: Direction<Apparent>,
        bend: Angle,
    ) -> Direction<Apparent> {
        let times: f64 = spoils
            .iter()
            .map(|s| match s {
                Spoil::Refraction { times } => times - 1.0,
                _ => 0.0,
            })
            .sum();
        Direction::apparent(apparent.azimuth(), apparent.elevation() + bend * times)
    }

    /// The mount's terms at one peak, with the encoders at `reading`.
    pub(crate) fn terms(
        spoils: &[Spoil],
        usual: &TermValues,
        when: &Circumstance,
        reading: &EncoderReading,
    ) -> TermValues {
        let mut terms = *usual;
        let (a, e) = (reading.azimuth, reading.elevation);
        let mut add = |term: Term, degrees: f64| {
            terms.set_shown(term, terms.shown(term) + degrees);
        };
        for spoil in spoils {
            match spoil {
                // The reading grows for one direction: the axis is less far round than it reads.
                Spoil::Creep { axis, deg_per_hour } => {
                    add(axis.zero(), -deg_per_hour * when.hours);
                }
                Spoil::ThermalDrift {
                    axis,
                    deg_per_kelvin,
                    ..
                } => {
                    let warmer = when.temperature_c - when.usual_c;
                    add(axis.zero(), -deg_per_kelvin * warmer);
                }
                Spoil::Settling {
                    north_deg_per_hour,
                    east_deg_per_hour,
                } => {
                    add(Term::TiltNorth, north_deg_per_hour * when.hours);
                    add(Term::TiltEast, east_deg_per_hour * when.hours);
                }
                Spoil::ToothError {
                    axis,
                    per_turn,
                    size_deg,
                } => {
                    let turned = match axis {
                        SpoilAxis::Elevation => e,
                        _ => a,
                    };
                    add(axis.zero(), size_deg * (turned * *per_turn).sin());
                }
                Spoil::WarpedTrack {
                    times,
                    size_deg,
                    high_at_deg,
                } => {
                    let turned = (a - Angle::from_degrees(*high_at_deg)) * f64::from(*times);
                    add(Term::ElevationZero, size_deg * turned.cos());
                }
                Spoil::LooseDish { axis, size_deg } => {
                    let term = match axis {
                        SpoilAxis::Elevation => Term::ElevationZero,
                        _ => Term::Collimation,
                    };
                    add(term, size_deg * (e * 2.0).sin());
                }
                Spoil::Flop { at_deg, size_deg } if e.degrees() > *at_deg => {
                    add(Term::Collimation, *size_deg);
                }
                Spoil::BalanceFlip { at_deg, size_deg } => {
                    let side = if e.degrees() > *at_deg { 0.5 } else { -0.5 };
                    add(Term::ElevationZero, side * size_deg);
                }
                _ => {}
            }
        }
        terms
    }

    /// Factor of the noise in each axis, relative to its usual size.
    pub fn louder(spoils: &[Spoil], azimuth: Angle) -> [f64; 2] {
        let mut factors = [1.0; 2];
        for spoil in spoils {
            if let Spoil::LooseJoint {
                axis,
                toward_deg,
                times,
            } = spoil
            {
                let toward = (azimuth - Angle::from_degrees(*toward_deg)).cos();
                let factor = 1.0 + (times - 1.0) * toward.max(0.0);
                if axis.covers(SpoilAxis::Azimuth) {
                    factors[0] *= factor;
                }
                if axis.covers(SpoilAxis::Elevation) {
                    factors[1] *= factor;
                }
            }
        }
        factors
    }

    /// Whether a row is the peak of a sidelobe.
    pub fn on_sidelobe(spoils: &[Spoil], row: usize) -> bool {
        spoils
            .iter()
            .any(|s| matches!(s, Spoil::Sidelobe { rows } if rows.contains(&row)))
    }

    /// Returns the reading that is logged instead of the true one.
    pub fn reading(
        spoils: &[Spoil],
        row: usize,
        mut reading: EncoderReading,
        sky: &Direction<Apparent>,
    ) -> EncoderReading {
        for spoil in spoils {
            match spoil {
                Spoil::DigitSlip { rows, axis, by_deg } if rows.contains(&row) => {
                    let by = Angle::from_degrees(*by_deg);
                    if axis.covers(SpoilAxis::Azimuth) {
                        reading.azimuth += by;
                    }
                    if axis.covers(SpoilAxis::Elevation) {
                        reading.elevation += by;
                    }
                }
                Spoil::AzimuthSlip { from_row, size_deg } if row >= *from_row => {
                    reading.azimuth += Angle::from_degrees(*size_deg);
                }
                Spoil::ElevationSlip { from_row, size_deg } if row >= *from_row => {
                    reading.elevation += Angle::from_degrees(*size_deg);
                }
                Spoil::AzimuthReversed => reading.azimuth = -reading.azimuth,
                Spoil::WrongUnit { axis, unit, rows } if hits(rows, row) => {
                    if axis.covers(SpoilAxis::Azimuth) {
                        reading.azimuth = reading.azimuth / unit.degrees();
                    }
                    if axis.covers(SpoilAxis::Elevation) {
                        reading.elevation = reading.elevation / unit.degrees();
                    }
                }
                Spoil::ColumnsExchanged { rows } if hits(rows, row) => {
                    std::mem::swap(&mut reading.azimuth, &mut reading.elevation);
                }
                Spoil::SkyForEncoder => {
                    reading.azimuth = sky.azimuth();
                    reading.elevation = sky.elevation();
                }
                _ => {}
            }
        }
        reading
    }

    /// Whether the temperature is in the log.
    pub fn logs_temperature(spoils: &[Spoil]) -> bool {
        spoils
            .iter()
            .any(|s| matches!(s, Spoil::ThermalDrift { logged: true, .. }))
    }

    /// A sidelobe's place about the beam: the first one of an evenly lit round aperture stands
    /// 1.64 wavelengths/diameter from the axis, 1.6 half-power widths; feeds taper it inward
    /// (common practice, no source).
    pub fn sidelobe(beamwidth: Angle, round: Angle) -> Offset {
        let (s, c) = round.sin_cos();
        let far = beamwidth * 1.5;
        Offset {
            cross_elevation: far * c,
            elevation: far * s,
        }
    }
}
