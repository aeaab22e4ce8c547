//! The station: site, mount, dish, horizon and emitters, as written in `station.toml`.

mod air;
pub mod catalogue;
mod curve;
mod dish;
mod emitters;
mod feeds;
mod horizon;
mod keys;
pub(crate) mod limits;
mod mount;
mod read;
mod section;
mod sensor;
mod site;

use std::path::PathBuf;

use crate::angle::{Angle, EncoderReading};
use crate::mount::{Geometry, Kind};

pub(crate) use dish::SPEED_OF_LIGHT;
pub use sensor::Sensor;

/// Everything that `station.toml` says.
#[derive(Clone, Debug)]
pub struct Station {
    /// Where the dish stands and the weather there.
    pub site: Site,
    /// The axes.
    pub mount: Mount,
    /// The reflector and its receiver.
    pub dish: Dish,
    /// Lowest usable elevation by azimuth.
    pub horizon: Horizon,
    /// What can be observed, in file order.
    pub emitters: Vec<Emitter>,
    /// The feeds of the dish, the first that of [`Station::dish`]; empty when it has but one.
    pub feeds: Vec<Feed>,
}

/// One of several feeds in a dish.
#[derive(Clone, Debug, PartialEq)]
pub struct Feed {
    /// As logs and terms call it.
    pub name: String,
    /// What it receives.
    pub frequency_mhz: f64,
}

/// Where the dish stands.
#[derive(Clone, Debug)]
pub struct Site {
    /// As the user calls it.
    pub name: String,
    /// Geodetic, WGS 84, north positive.
    pub latitude: Angle,
    /// East positive.
    pub longitude: Angle,
    /// Above the WGS 84 ellipsoid, metres.
    pub height_m: f64,
    /// Surface weather, for refraction.
    pub weather: Weather,
    /// UT1 minus UTC, seconds; zero when not given.
    pub ut1_minus_utc_s: f64,
    /// Free electrons above the site, 10^16 in a square metre, when given.
    pub electron_content_tecu: Option<f64>,
    /// What the file left out and the tool filled in, and what it took at its word though it
    /// looks odd; in words.
    pub assumptions: Vec<String>,
}

/// Weather at the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weather {
    /// Station pressure (not reduced to sea level), hectopascal.
    pub pressure_hpa: f64,
    /// Degrees Celsius.
    pub temperature_c: f64,
    /// 0 to 1.
    pub relative_humidity: f64,
}

/// The axes of the mount.
#[derive(Clone, Debug)]
pub struct Mount {
    /// The kind of mount, and how it stands.
    pub geometry: Geometry,
    /// Lowest and highest reading of the first axis.
    pub azimuth_range: (Angle, Angle),
    /// Lowest and highest reading of the second axis.
    pub elevation_range: (Angle, Angle),
    /// Big gear and pinion of the first axis's drive, when given.
    pub azimuth_teeth: Option<GearTeeth>,
    /// Big gear and pinion of the second axis's drive, when given.
    pub elevation_teeth: Option<GearTeeth>,
    /// What holds the first axis in its direction, as far as it is given.
    pub bearings: Bearings,
    /// Where the dish is parked, when given.
    pub park: Option<EncoderReading>,
    /// How far the beam passes to the right of the crossing of the axes and above it, seen along the
    /// beam with the first axis's outer end up; metres.
    pub axis_offset_m: [f64; 2],
    /// Of a mount with one motor: the declination at which its second axis is bolted, which its
    /// reading always is. The range of that axis is then what still passes through the beam.
    pub fixed_declination: Option<Angle>,
    /// What tells the readings of the two axes, where that does not count degrees.
    pub sensors: [Option<Sensor>; 2],
}

/// What holds the first axis in its direction, so far as a remedy can say how far to move it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bearings {
    /// Of an azimuth axis: distance of the feet or shims from it, metres, when given.
    pub base_radius_m: Option<f64>,
    /// Of an azimuth axis: true azimuth at which each foot stands; empty when not given.
    pub base_feet_azimuth: Vec<Angle>,
    /// Of a polar axis: its bolts, when given.
    pub polar_bolts: Option<Bolts>,
    /// Of a lower axis: distance between its bearings, metres, when given.
    pub distance_m: Option<f64>,
}

/// The bolts that move a polar axis in altitude and azimuth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bolts {
    /// How far one turn moves the bolt, millimetres.
    pub pitch_mm: f64,
    /// How far the bolt stands from the hinge about which it turns the axis, millimetres.
    pub distance_mm: f64,
}

impl Mount {
    /// The kind of mount.
    pub fn kind(&self) -> Kind {
        self.geometry.kind()
    }
}

/// Tooth counts of a drive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GearTeeth {
    /// On the axis.
    pub gear: u32,
    /// On the motor side; none when the file gives only the big gear.
    pub pinion: Option<u32>,
}

/// The reflector.
#[derive(Clone, Copy, Debug)]
pub struct Dish {
    /// Metres.
    pub diameter_m: f64,
    /// Of the receiver, megahertz.
    pub frequency_mhz: f64,
    /// Half-power width of the beam.
    pub beamwidth: Angle,
    /// Whether the beamwidth was computed (70 x wavelength / diameter, in degrees) and not given.
    pub beamwidth_assumed: bool,
}

/// Lowest usable elevation, by azimuth, joined by straight lines round the circle.
#[derive(Clone, Debug, Default)]
pub struct Horizon {
    /// Azimuth in [0, 360) and lowest usable elevation, ascending in azimuth.
    pub mask: Vec<(Angle, Angle)>,
}

/// Something whose signal can be peaked.
#[derive(Clone, Debug)]
pub struct Emitter {
    /// As the logs call it.
    pub name: String,
    /// What it is and where.
    pub kind: EmitterKind,
}

/// What an emitter is and where to find it.
#[derive(Clone, Debug)]
pub enum EmitterKind {
    /// The Sun.
    Sun,
    /// The Moon.
    Moon,
    /// An Earth satellite.
    Satellite {
        /// Path of the elements file, already resolved against the station file's folder.
        elements: PathBuf,
        /// Which object in it.
        norad_id: u64,
    },
    /// A radio source at a fixed place among the stars (ICRS).
    RadioSource {
        /// ICRS right ascension.
        right_ascension: Angle,
        /// ICRS declination.
        declination: Angle,
    },
    /// A fixed transmitter (WGS 84).
    Beacon {
        /// Geodetic latitude.
        latitude: Angle,
        /// East positive.
        longitude: Angle,
        /// Above the ellipsoid, metres.
        height_m: f64,
    },
    /// A satellite of the geostationary arc, without orbit elements: it stands over the equator.
    Geostationary {
        /// East positive.
        longitude: Angle,
    },
    /// A surveyed direction, apparent.
    Mark {
        /// From true north, clockwise.
        azimuth: Angle,
        /// From the horizontal.
        elevation: Angle,
    },
}

/// A geostationary satellite stands so near the place over the equator that its longitude gives:
/// operators keep it within about this of it to every side (common practice, no source). A peak
/// of it tells the mount no better.
pub const GEOSTATIONARY_SIGMA: Angle = Angle::from_degrees(0.1);

/// The middle of the Sun's radio light lies within about this of the middle of its disc, one standard
/// deviation: active regions send up to some third of its flux at decimetre waves in active years
/// (64 of 100 to 200 solar flux units are the quiet disc's: Tapping, The 10.7 cm solar radio flux,
/// Space Weather 11 (2013) 394, from memory), and stand at most a radius, 0.27 degree, off.
pub const SUN_CENTRE_SIGMA: Angle = Angle::from_degrees(0.03);

/// The same of the Moon, whose sunlit side is warmer: a tenth of its mean warmth more at the bright
/// limb and less at the dark one (Linsky, The Moon as a proposed radiometric standard, Astrophysical
/// Journal Supplement 25 (1973) 163, from memory) moves the middle by a fortieth of its radius.
pub const MOON_CENTRE_SIGMA: Angle = Angle::from_degrees(0.01);

/// A beam as wide as this or wider is not peaked well enough for the middles of the Sun and the Moon to
/// matter.
const WIDE_BEAM: Angle = Angle::from_degrees(1.0);

impl EmitterKind {
    /// How well its place is known, one standard deviation an axis, for a beam of that width: no peak
    /// of it tells the mount better.
    pub fn place_sigma(&self, beamwidth: Angle) -> Angle {
        match self {
            EmitterKind::Geostationary { .. } => GEOSTATIONARY_SIGMA,
            EmitterKind::Sun if beamwidth < WIDE_BEAM => SUN_CENTRE_SIGMA,
            EmitterKind::Moon if beamwidth < WIDE_BEAM => MOON_CENTRE_SIGMA,
            _ => Angle::ZERO,
        }
    }
    /// Whether it never rises or sets.
    pub fn stands_still(&self) -> bool {
        matches!(
            self,
            EmitterKind::Beacon { .. }
                | EmitterKind::Geostationary { .. }
                | EmitterKind::Mark { .. }
        )
    }
    /// Whether it is the Sun.
    pub fn is_sun(&self) -> bool {
        matches!(self, EmitterKind::Sun)
    }
    /// Whether it stands where it stands: a beacon or a mark.
    pub fn is_fixed(&self) -> bool {
        matches!(self, EmitterKind::Beacon { .. } | EmitterKind::Mark { .. })
    }
    /// Whether it crosses the sky with the stars, or nearly so: the Sun, the Moon, a source.
    pub fn turns_with_the_sky(&self) -> bool {
        matches!(
            self,
            EmitterKind::Sun | EmitterKind::Moon | EmitterKind::RadioSource { .. }
        )
    }
}

impl Station {
    /// The place of the feed of that name among the feeds, in whatever capitals.
    pub fn feed(&self, name: &str) -> Option<usize> {
        (self.feeds.iter()).position(|feed| feed.name.eq_ignore_ascii_case(name))
    }

    /// The emitter of that name.
    pub fn emitter(&self, name: &str) -> Option<&Emitter> {
        self.emitters.iter().find(|e| e.name == name)
    }
}

impl Dish {
    /// Signal lost, in decibels, when the emitter lies `offset` from the beam's axis:
    /// 12 (offset/beamwidth)^2, the Gaussian beam (common practice, no source). It holds
    /// within about one beamwidth; an rms offset put in gives the mean loss.
    pub fn loss_db(&self, offset: Angle) -> f64 {
        12.0 * (offset / self.beamwidth).powi(2)
    }
}

impl Horizon {
    /// Lowest usable elevation at an azimuth; the horizontal where no mask is given.
    pub fn lowest(&self, azimuth: Angle) -> Angle {
        let n = self.mask.len();
        if n == 0 {
            return Angle::ZERO;
        }
        let az = azimuth.wrapped_positive();
        let after = self.mask.partition_point(|(a, _)| *a <= az);
        let (a0, e0) = self.mask[(after + n - 1) % n];
        let (a1, e1) = self.mask[after % n];
        let span = (a1 - a0).wrapped_positive();
        if span == Angle::ZERO {
            return e0;
        }
        e0 + (e1 - e0) * ((az - a0).wrapped_positive() / span)
    }
}
