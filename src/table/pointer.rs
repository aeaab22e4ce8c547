//! One demand to the readings to command, and back, by the full model or by a table.

use crate::angle::{Angle, EncoderReading};
use crate::mount::{ApproachSigns, AxisKind, Geometry, Kind, Term};
use crate::station::{Mount, Sensor};

use super::coordinates::Coordinates;
use super::correction_table::CorrectionTable;
use super::demand::{Demand, DemandKind};
use super::full::{EncoderRange, FullModel};
use super::header::{NO_PLAY_DEG, in_words};
use super::look_up::LookUp;
use super::refusal::Refusal;

/// What readings are computed with.
#[derive(Clone, Debug)]
pub enum Source {
    /// The full model.
    Full(Box<FullModel>),
    /// A table.
    Table(Box<LookUp>),
}

impl From<CorrectionTable> for Source {
    fn from(table: CorrectionTable) -> Source {
        Source::Table(Box::new(LookUp::new(table)))
    }
}

/// From which side the axes will arrive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ApproachChoice {
    /// As the user says.
    Fixed(ApproachSigns),
    /// As the way from the present position to the reading says; an axis that need not move has
    /// arrived as it last moved.
    FromMove,
}

/// Turns demands into readings. It remembers where the mount stands: the last answer.
#[derive(Clone, Debug)]
pub struct Pointer {
    source: Source,
    approach: ApproachChoice,
    present: Option<EncoderReading>,
    /// From which side each axis last arrived, when told from its moves.
    arrived: ApproachSigns,
    /// Whether demands are in the mount's own coordinates.
    in_axes: bool,
    /// What must be known of the source.
    caveats: Vec<String>,
    /// What tells the readings of the axes where that does not count degrees.
    sensors: [Option<Sensor>; 2],
    /// What the second axis always reads, when it has no motor.
    fixed: Option<Angle>,
}

impl Source {
    /// What the encoders can read.
    pub fn range(&self) -> EncoderRange {
        match self {
            Source::Full(full) => full.range,
            Source::Table(table) => table.range(),
        }
    }

    /// How the mount stands.
    pub fn geometry(&self) -> Geometry {
        match self {
            Source::Full(full) => *full.mount.geometry(),
            Source::Table(table) => table.table().header.geometry(),
        }
    }

    /// The kind of mount.
    pub fn mount(&self) -> Kind {
        match self {
            Source::Full(full) => full.mount.kind(),
            Source::Table(table) => table.kind(),
        }
    }

    /// Which demands it takes.
    pub fn demand(&self) -> DemandKind {
        match self {
            Source::Full(full) => full.air.demand(),
            Source::Table(table) => table.table().demand(),
        }
    }

    /// The reading to command.
    pub(super) fn command(
        &self,
        demand: Demand,
        approach: ApproachSigns,
        present: Option<EncoderReading>,
    ) -> Result<EncoderReading, Refusal> {
        match self {
            Source::Full(full) => full.command(demand, approach, present),
            Source::Table(table) => table.command(demand, approach, present),
        }
    }
}

impl FullModel {
    /// The reading to command for a demand: of those within the encoders' ranges the nearest to the
    /// present position.
    ///
    /// # Errors
    /// [`Refusal`].
    pub fn command(
        &self,
        demand: Demand,
        approach: ApproachSigns,
        present: Option<EncoderReading>,
    ) -> Result<EncoderReading, Refusal> {
        let direction = self.air.apparent(demand.azimuth, demand.elevation);
        let found = self
            .mount
            .reading_to_command(&direction, approach, &self.range.wrap(present))
            .map_err(Refusal::Keyhole)?;
        match found {
            Some(reading) => Ok(reading),
            None => {
                // Say what it would have taken, on the turn that lies best.
                let needed = self
                    .mount
                    .direct_reading_near(&direction, approach, self.range.middle())
                    .map_err(Refusal::Keyhole)?;
                Err(Refusal::OutOfRange(needed, self.range, self.mount.kind()))
            }
        }
    }
}

/// How far a beam that cannot move in declination passes beside a demand, in words.
pub fn miss_words(miss: Angle) -> String {
    format!(
        "the declination axis has no motor: the beam passes {:.3} deg {} of it",
        miss.degrees().abs(),
        if miss > Angle::ZERO { "south" } else { "north" }
    )
}

/// Azimuths beyond this many degrees (a hundred turns) either way are a mistake, not a cable wrap.
const MOST_AZIMUTH: f64 = 36_000.0;

fn is_sensible(azimuth: Angle, elevation: Angle, most_elevation: f64) -> bool {
    // Not-a-number is within nothing.
    azimuth.degrees().abs() <= MOST_AZIMUTH && elevation.degrees().abs() <= most_elevation
}

impl Pointer {
    /// With the mount standing at `present`, if that is known.
    pub fn new(
        source: Source,
        approach: ApproachChoice,
        present: Option<EncoderReading>,
    ) -> Pointer {
        Pointer {
            source,
            approach,
            present,
            arrived: ApproachSigns::UNKNOWN,
            in_axes: false,
            caveats: Vec::new(),
            sensors: [None, None],
            fixed: None,
        }
    }

    /// The same for the sensors of a mount, and for its second axis when that has no motor.
    #[must_use]
    pub fn of_mount(mut self, mount: &Mount) -> Pointer {
        self.sensors.clone_from(&mount.sensors);
        self.fixed = mount.fixed_declination;
        self
    }

    /// What a mount can do about a reading: that itself, or, with a second axis that has no motor,
    /// what the first axis reads, and by how much the beam then passes south of the demand.
    pub fn within_motors(&self, reading: EncoderReading) -> (EncoderReading, Option<Angle>) {
        match self.fixed {
            None => (reading, None),
            Some(fixed) => (
                EncoderReading {
                    elevation: fixed,
                    ..reading
                },
                Some((reading.elevation - fixed).wrapped_signed()),
            ),
        }
    }

    /// What the sensors show at a reading; none of an axis that counts degrees.
    pub fn shown(&self, reading: EncoderReading) -> [Option<f64>; 2] {
        let angles = [reading.azimuth, reading.elevation];
        [0, 1].map(|i| self.sensors[i].as_ref()?.shown(angles[i]))
    }

    /// The same, with what must be known of its source.
    #[must_use]
    pub fn with_caveats(mut self, caveats: Vec<String>) -> Pointer {
        self.caveats = caveats;
        self
    }

    /// What must be known of its source.
    pub fn caveats(&self) -> &[String] {
        &self.caveats
    }

    /// Where the mount is taken to stand.
    pub fn present(&self) -> Option<EncoderReading> {
        self.present
    }

    /// What it computes with.
    pub fn source(&self) -> &Source {
        &self.source
    }

    /// Computes with something else from now on; where the mount stands is kept.
    pub fn replace_source(&mut self, source: Source, caveats: Vec<String>) {
        self.source = source;
        self.caveats = caveats;
    }

    /// The reading to command for a demand. It becomes the present position.
    ///
    /// # Errors
    /// [`Refusal`]; the present position is then kept.
    pub fn command(&mut self, demand: Demand) -> Result<EncoderReading, Refusal> {
        let demand = match self.in_axes {
            true => self.coordinates().demand(demand.azimuth, demand.elevation),
            false => demand,
        };
        // A hair above the zenith is rounding in whoever computed it.
        if !is_sensible(demand.azimuth, demand.elevation, 90.0 + 1e-9) {
            return Err(Refusal::NoDirection);
        }
        let signs = match self.approach {
            ApproachChoice::Fixed(signs) => signs,
            ApproachChoice::FromMove => {
                let rough = self.source.command(demand, self.arrived, self.present)?;
                self.arrival(rough)
            }
        };
        let reading = self.source.command(demand, signs, self.present)?;
        if !(reading.azimuth.is_finite() && reading.elevation.is_finite()) {
            return Err(Refusal::NoDirection);
        }
        self.arrived = signs;
        self.present = Some(reading);
        Ok(reading)
    }

    /// From which side each axis arrives on its way to a reading.
    fn arrival(&self, reading: EncoderReading) -> ApproachSigns {
        let Some(present) = self.present else {
            return ApproachSigns::UNKNOWN;
        };
        let sign = |way: Angle, last: f64| {
            if way == Angle::ZERO {
                last
            } else {
                way.radians().signum()
            }
        };
        ApproachSigns {
            azimuth: sign(reading.azimuth - present.azimuth, self.arrived.azimuth),
            elevation: sign(
                reading.elevation - present.elevation,
                self.arrived.elevation,
            ),
        }
    }

    /// The demand that a reading stands for. Its azimuth comes out in [0, 360) degrees.
    ///
    /// # Errors
    /// [`Refusal`] of what is not a reading, and where a table cannot be read backward.
    pub fn demand_at(&mut self, reading: EncoderReading) -> Result<Demand, Refusal> {
        if !is_sensible(reading.azimuth, reading.elevation, 360.0) {
            return Err(Refusal::NoDirection);
        }
        let signs = match self.approach {
            ApproachChoice::Fixed(signs) => signs,
            ApproachChoice::FromMove => self.arrival(reading),
        };
        let demand = match &self.source {
            Source::Full(full) => {
                let beam = full.mount.beam(reading, signs);
                let (azimuth, elevation) = full.air.demand_of(&beam);
                Demand { azimuth, elevation }
            }
            Source::Table(table) => table.demand(reading, signs)?,
        };
        self.arrived = signs;
        self.present = Some(reading);
        if self.in_axes {
            let (azimuth, elevation) = self.coordinates().of_demand(demand);
            return Ok(Demand { azimuth, elevation });
        }
        Ok(demand)
    }

    fn coordinates(&self) -> Coordinates {
        Coordinates::of(self.source.geometry())
    }

    /// Whether demands are given, and reported, in the mount's own coordinates instead of azimuth
    /// and elevation.
    #[must_use]
    pub fn with_demands_in_axes(mut self, in_axes: bool) -> Pointer {
        self.in_axes = in_axes;
        self
    }

    /// Whether demands are in the mount's own coordinates.
    pub fn takes_axes(&self) -> bool {
        self.in_axes
    }

    /// What was assumed, in sentences. `range_matters` when readings are chosen, not given.
    pub fn assumptions(&self, range_matters: bool) -> Vec<String> {
        let mut all = vec![self.demand_in_words()];
        all.extend(self.reading_assumptions(range_matters));
        all
    }

    /// Which demands it takes.
    fn demand_in_words(&self) -> String {
        match (self.source.demand(), &self.source) {
            (DemandKind::Apparent, _) => {
                "demands are apparent directions, which already hold the bending of the air \
                 (--demand geometric adds it)"
                    .to_owned()
            }
            (DemandKind::Geometric, Source::Full(full)) => match full.air.weather() {
                Some(w) => weather_in_words(w.pressure_hpa, w.temperature_c, w.relative_humidity),
                None => String::new(), // geometric demands always have a weather
            },
            (DemandKind::Geometric, Source::Table(table)) => weather_in_words(
                table.table().header.pressure_hpa.unwrap_or(f64::NAN),
                table.table().header.temperature_c.unwrap_or(f64::NAN),
                table.table().header.relative_humidity.unwrap_or(f64::NAN),
            ),
        }
    }

    /// The assumptions about readings alone, when it is known what is demanded.
    pub fn reading_assumptions(&self, range_matters: bool) -> Vec<String> {
        let mut all = Vec::new();
        let (halves, clock) = match &self.source {
            Source::Full(full) => {
                let terms = full.mount.terms();
                (
                    [Term::AzimuthBacklash, Term::ElevationBacklash].map(|t| terms.angle(t) / 2.0),
                    terms.inside(Term::ClockOffset),
                )
            }
            Source::Table(table) => {
                let header = &table.table().header;
                (
                    [
                        header.azimuth_backlash_half_width_deg,
                        header.elevation_backlash_half_width_deg,
                    ]
                    .map(Angle::from_degrees),
                    header.clock_offset_s,
                )
            }
        };
        let unknown = match self.approach {
            ApproachChoice::Fixed(signs) => [signs.azimuth == 0.0, signs.elevation == 0.0],
            ApproachChoice::FromMove => [self.present.is_none(); 2],
        };
        let axes = self.source.mount().axes().map(AxisKind::words);
        for ((axis, half), unknown) in axes.into_iter().zip(halves).zip(unknown) {
            if half.abs().degrees() >= NO_PLAY_DEG && unknown {
                all.push(format!(
                    "from which side the {axis} axis arrives is not known: the reading is good to \
                     half its backlash, {} deg (--approach says it)",
                    in_words(half.abs().degrees())
                ));
            }
        }
        if range_matters && self.present.is_none() {
            all.push(format!(
                "where the mount stands is not known: the reading nearest to the middle of the {} \
                 range is given (--present says it)",
                axes[0]
            ));
        }
        if clock != 0.0 {
            all.push(format!(
                "the clock-offset of {clock} s is not in the answer: add it to the time for which \
                 demands are computed"
            ));
        }
        all
    }
}

fn weather_in_words(pressure: f64, temperature: f64, humidity: f64) -> String {
    format!(
        "demands are geometric directions; refraction is added for {pressure:.1} hPa, \
         {temperature:.1} deg C, relative humidity {humidity:.2}"
    )
}
