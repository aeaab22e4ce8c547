//! From an emitter to the encoder readings that put the beam on it, at an instant or while it
//! moves.

use std::fmt;

use serde::Serialize;

use super::demand::Air;
use super::demand::Demand;
use super::pointer::{Pointer, Source};
use super::refusal::Refusal;
use super::stream::tidy;
use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::mount::Kind;
use crate::sky::{EmitterError, EmitterId, Notice, Sky};
use crate::station::{Station, Weather};
use crate::time::Utc;

/// An emitter with what turns its direction into readings.
#[derive(Clone, Debug)]
pub struct Follower<'a> {
    sky: &'a Sky,
    emitter: EmitterId,
    /// A beacon or a mark, which someone has seen where it stands.
    fixed: bool,
    /// What lies between the apparent direction and the demand that the pointer takes.
    air: Air,
    pointer: Pointer,
}

/// An emitter at an instant, and the readings to command.
#[derive(Clone, Debug)]
pub struct Sight {
    /// When.
    pub time: Utc,
    /// Where the beam must point.
    pub apparent: Direction<Apparent>,
    /// From the Sun, without air.
    pub sun_distance: Angle,
    /// The demand that the readings answer.
    pub demand: Demand,
    /// What to command.
    pub reading: EncoderReading,
    /// With a second axis that has no motor: by how much the beam passes south of the emitter.
    pub miss: Option<Angle>,
    /// What should be known of the emitter's place: an old orbit, a mask in the way.
    pub notices: Vec<Notice>,
}

/// Why there are no readings.
#[derive(Clone, Debug, PartialEq)]
pub enum Unseen {
    /// The emitter has no direction then.
    Nowhere(EmitterError),
    /// It is below the horizon.
    BelowHorizon {
        /// As the station file calls it.
        emitter: String,
        /// Its apparent elevation.
        elevation: Angle,
    },
    /// The mount cannot go there.
    Refused(Refusal),
}

impl fmt::Display for Unseen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unseen::Nowhere(error) => error.fmt(f),
            Unseen::BelowHorizon { emitter, elevation } => write!(
                f,
                "{emitter} is below the horizon (elevation {:.2} deg)",
                elevation.degrees()
            ),
            Unseen::Refused(refusal) => refusal.fmt(f),
        }
    }
}

impl std::error::Error for Unseen {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Unseen::Nowhere(error) => Some(error),
            Unseen::Refused(refusal) => Some(refusal),
            Unseen::BelowHorizon { .. } => None,
        }
    }
}

impl<'a> Follower<'a> {
    /// With the mount where the pointer takes it to stand.
    pub fn new(station: &Station, sky: &'a Sky, emitter: EmitterId, pointer: Pointer) -> Self {
        let fixed = station
            .emitter(sky.name(emitter))
            .is_some_and(|e| e.kind.is_fixed());
        Follower {
            air: air_of(pointer.source(), station.site.weather),
            sky,
            emitter,
            fixed,
            pointer,
        }
    }

    /// What it turns demands into readings with.
    pub fn pointer(&self) -> &Pointer {
        &self.pointer
    }

    /// The kind of mount.
    pub fn mount(&self) -> Kind {
        self.pointer.source().mount()
    }

    /// As the station file calls the emitter.
    pub fn name(&self) -> &'a str {
        self.sky.name(self.emitter)
    }

    /// The readings at an instant; they become the present position, so that a cable wrap once
    /// chosen is kept.
    ///
    /// # Errors
    /// [`Unseen`].
    pub fn at(&mut self, time: Utc) -> Result<Sight, Unseen> {
        let moment = self.sky.at(time);
        let apparent = moment.apparent(self.emitter).map_err(Unseen::Nowhere)?;
        if apparent.elevation() < Angle::ZERO && !self.fixed {
            return Err(Unseen::BelowHorizon {
                emitter: self.name().to_owned(),
                elevation: apparent.elevation(),
            });
        }
        let sun_distance = moment.sun_distance(self.emitter).map_err(Unseen::Nowhere)?;
        let (azimuth, elevation) = self.air.demand_of(&apparent);
        let demand = Demand { azimuth, elevation };
        let needed = self.pointer.command(demand).map_err(Unseen::Refused)?;
        let (reading, miss) = self.pointer.within_motors(needed);
        Ok(Sight {
            time,
            apparent,
            sun_distance,
            demand,
            reading,
            miss,
            notices: moment.notices(self.emitter),
        })
    }
}

/// What a pointer's demands leave out: nothing when they are apparent, else the bend of the air in
/// the weather that it will add it for.
fn air_of(source: &Source, usual: Weather) -> Air {
    match source {
        Source::Full(full) => full.air.clone(),
        Source::Table(look_up) => {
            let header = &look_up.table().header;
            let weather = Weather {
                pressure_hpa: header.pressure_hpa.unwrap_or(usual.pressure_hpa),
                temperature_c: header.temperature_c.unwrap_or(usual.temperature_c),
                relative_humidity: header.relative_humidity.unwrap_or(usual.relative_humidity),
            };
            Air::for_demand(header.demand(), weather)
        }
    }
}

/// A line of a follow, as machines read it: the readings, or why there are none.
#[derive(Clone, Debug, Serialize)]
pub struct FollowRow {
    /// As the station file calls it.
    pub emitter: String,
    /// When.
    pub time_utc: Utc,
    /// The readings and what they answer.
    #[serde(flatten, skip_serializing_if = "Option::is_none")]
    pub answer: Option<FollowAnswer>,
    /// Why there are none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error: Option<String>,
    /// Assumptions in words.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub assumed: Vec<String>,
}

/// Readings and what they answer.
#[derive(Clone, Debug, Serialize)]
pub struct FollowAnswer {
    /// Azimuth reading.
    pub azimuth_deg: f64,
    /// Elevation reading.
    pub elevation_deg: f64,
    /// What the sensor of the first axis shows there, when it does not count degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub azimuth_sensor: Option<f64>,
    /// What that of the second shows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elevation_sensor: Option<f64>,
    /// With a second axis that has no motor: by how much the beam passes south of the emitter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub declination_miss_deg: Option<f64>,
    /// Where the beam must point.
    pub apparent_azimuth_deg: f64,
    /// Where the beam must point.
    pub apparent_elevation_deg: f64,
    /// Which demand: `geometric` or `apparent`.
    pub demand: &'static str,
    /// Demanded azimuth.
    pub demand_azimuth_deg: f64,
    /// Demanded elevation.
    pub demand_elevation_deg: f64,
}

impl FollowRow {
    /// Of an instant.
    pub fn new(follower: &Follower<'_>, time: Utc, seen: &Result<Sight, Unseen>) -> FollowRow {
        FollowRow {
            emitter: follower.name().to_owned(),
            time_utc: time,
            answer: seen.as_ref().ok().map(|sight| FollowAnswer {
                azimuth_deg: tidy(sight.reading.azimuth),
                elevation_deg: tidy(sight.reading.elevation),
                azimuth_sensor: follower.pointer.shown(sight.reading)[0],
                elevation_sensor: follower.pointer.shown(sight.reading)[1],
                declination_miss_deg: sight.miss.map(tidy),
                apparent_azimuth_deg: tidy(sight.apparent.azimuth()),
                apparent_elevation_deg: tidy(sight.apparent.elevation()),
                demand: follower.pointer.source().demand().name(),
                demand_azimuth_deg: tidy(sight.demand.azimuth),
                demand_elevation_deg: tidy(sight.demand.elevation),
            }),
            error: seen.as_ref().err().map(Unseen::to_string),
            assumed: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::mount::{ApproachSigns, MountModel, Term, TermValues};
    use crate::table::{ApproachChoice, DemandKind, EncoderRange, FullModel, Instants};

    fn start() -> Utc {
        Utc::parse("2026-09-12T09:30:00Z").unwrap()
    }

    fn model(station: &Station, kind: DemandKind) -> Source {
        let terms = TermValues::ZERO
            .with_shown(Term::AzimuthZero, 3.0)
            .with_shown(Term::ElevationZero, -1.0);
        Source::Full(Box::new(FullModel {
            mount: MountModel::az_el(terms),
            air: Air::for_demand(kind, station.site.weather),
            range: EncoderRange {
                azimuth: station.mount.azimuth_range,
                elevation: station.mount.elevation_range,
            },
        }))
    }

    fn pointer(source: Source) -> Pointer {
        Pointer::new(source, ApproachChoice::Fixed(ApproachSigns::UNKNOWN), None)
    }

    #[test]
    fn readings_put_the_beam_on_the_apparent_direction_whatever_the_demand() {
        let station = Station::read(Path::new("demo-data/station.toml")).unwrap();
        let sky = Sky::new(&station).unwrap();
        for name in ["sun", "fenlight-1", "mill-beacon"] {
            let id = sky.emitter(name).unwrap();
            for kind in [DemandKind::Apparent, DemandKind::Geometric] {
                let pointer = pointer(model(&station, kind));
                let mut follower = Follower::new(&station, &sky, id, pointer);
                let sight = follower.at(start()).unwrap();
                let target = sky.apparent(name, start()).unwrap();
                // The axes stand 3 degrees further clockwise and 1 degree lower than they say.
                let azimuth = sight.reading.azimuth + Angle::from_degrees(3.0) - target.azimuth();
                let elevation = sight.reading.elevation - Angle::from_degrees(1.0);
                assert!(azimuth.wrapped_signed().abs().arcseconds() < 0.01, "{name}");
                assert!(
                    (elevation - target.elevation()).abs().arcseconds() < 0.01,
                    "{name}"
                );
            }
        }
    }

    #[test]
    fn what_is_below_the_horizon_or_out_of_reach_is_said() {
        let mut station = Station::read(Path::new("demo-data/station.toml")).unwrap();
        let sky = Sky::new(&station).unwrap();
        let id = sky.emitter("sun").unwrap();
        let night = Utc::parse("2026-09-12T23:00:00Z").unwrap();
        let at = |station: &Station, time| {
            let pointer = pointer(model(station, DemandKind::Apparent));
            Follower::new(station, &sky, id, pointer).at(time)
        };
        let below = at(&station, night).unwrap_err();
        assert!(matches!(below, Unseen::BelowHorizon { .. }));
        assert!(
            below
                .to_string()
                .starts_with("sun is below the horizon (elevation -")
        );
        station.mount.azimuth_range = (Angle::ZERO, Angle::RIGHT);
        let refused = at(&station, start()).unwrap_err();
        assert!(refused.to_string().contains("out of reach"), "{refused}");
    }

    #[test]
    fn a_wrap_once_chosen_is_kept() {
        let station = Station::read(Path::new("demo-data/station.toml")).unwrap();
        let sky = Sky::new(&station).unwrap();
        let id = sky.emitter("sun").unwrap();
        let mut near = pointer(model(&station, DemandKind::Apparent));
        // As if it stood a turn further on.
        near.command(Demand {
            azimuth: Angle::from_degrees(179.0),
            elevation: Angle::from_degrees(40.0),
        })
        .unwrap();
        let mut follower = Follower::new(&station, &sky, id, near);
        let hours: Vec<f64> = Instants::given(start(), 600.0, 5.0 * 3600.0)
            .map(|t| follower.at(t).unwrap().reading.azimuth.degrees())
            .collect();
        assert!(
            hours.windows(2).all(|p| p[1] > p[0] && p[1] - p[0] < 10.0),
            "{hours:?}"
        );
    }
}
