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

/// Everything in `station.toml`.
#[derive(Clone, Debug)]
pub struct Station {
    /// Location of the dish and the weather there.
    pub site: Site,
    /// The axes.
    pub mount: Mount,
    /// The reflector and its receiver.
    pub dish: Dish,
    /// Lowest usable elevation by azimuth.
    pub horizon: Horizon,
    /// What can be observed, in file order.
    pub emitters: Vec<Emitter>,
    /// The feeds of the dish, the first being that of [`Station::dish`]; empty if it has only one.
    pub feeds: Vec<Feed>,
}

/// One of several feeds in a dish.
#[derive(Clone, Debug, PartialEq)]
pub struct Feed {
    /// Name in logs and terms.
    pub name: String,
    /// Frequency that it receives.
    pub frequency_mhz: f64,
}

/// Location of the dish.
#[derive(Clone, Debug)]
pub struct Site {
    /// Name given by the user.
    pub name: String,
    /// Geodetic, WGS 84, north positive.
    pub latitude: Angle,
    /// East positive.
    pub longitude: Angle,
    /// Above the WGS 84 ellipsoid, metres.
    pub height_m: f64,
    /// Surface weather, for refraction.
    pub weather: Weather,
    /// UT1 minus UTC, seconds; zero if not given.
    pub ut1_minus_utc_s: f64,
    /// Total electron content above the site, 10^16 electrons per square metre, if given.
    pub electron_content_tecu: Option<f64>,
    /// Values that the file omits and that were assumed, and odd-looking values that were accepted;
    /// in words.
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
    /// Kind and geometry of the mount.
    pub geometry: Geometry,
    /// Lowest and highest reading of the first axis.
    pub azimuth_range: (Angle, Angle),
    /// Lowest and highest reading of the second axis.
    pub elevation_range: (Angle, Angle),
    /// Large gear and pinion of the first axis's drive, if given.
    pub azimuth_teeth: Option<GearTeeth>,
    /// Large gear and pinion of the second axis's drive, if given.
    pub elevation_teeth: Option<GearTeeth>,
    /// Supports of the first axis, as far as given.
    pub bearings: Bearings,
    /// Park position, if given.
    pub park: Option<EncoderReading>,
    /// Distance of the beam to the right of the intersection of the axes and above it, looking
    /// along the beam with the outer end of the first axis up; metres.
    pub axis_offset_m: [f64; 2],
    /// For a mount with one motor, the declination at which its second axis is bolted, which is its
    /// constant reading. The range of that axis is then the range of declinations within the beam.
    pub fixed_declination: Option<Angle>,
    /// Sensors of the two axes; `None` for an axis that reads degrees.
    pub sensors: [Option<Sensor>; 2],
}

/// Supports of the first axis, as far as needed to say by how much to adjust it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bearings {
    /// Azimuth axis: distance of the feet or shims from it, metres, if given.
    pub base_radius_m: Option<f64>,
    /// Azimuth axis: true azimuth of each foot; empty if not given.
    pub base_feet_azimuth: Vec<Angle>,
    /// Polar axis: its adjustment bolts, if given.
    pub polar_bolts: Option<Bolts>,
    /// Lower axis: distance between its bearings, metres, if given.
    pub distance_m: Option<f64>,
}

/// The bolts that adjust a polar axis in altitude and azimuth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bolts {
    /// Thread pitch: travel per turn, millimetres.
    pub pitch_mm: f64,
    /// Distance of the bolt from the hinge about which it turns the axis, millimetres.
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
    /// Teeth of the gear on the axis.
    pub gear: u32,
    /// Teeth on the motor side; `None` if the file gives only the large gear.
    pub pinion: Option<u32>,
}

/// The reflector.
#[derive(Clone, Copy, Debug)]
pub struct Dish {
    /// Metres.
    pub diameter_m: f64,
    /// Frequency of the receiver, megahertz.
    pub frequency_mhz: f64,
    /// Half-power width of the beam.
    pub beamwidth: Angle,
    /// Whether the beamwidth was computed (70 x wavelength / diameter, in degrees) rather than
    /// given.
    pub beamwidth_assumed: bool,
}

/// Lowest usable elevation by azimuth, interpolated linearly around the circle.
#[derive(Clone, Debug, Default)]
pub struct Horizon {
    /// Azimuth in [0, 360) and lowest usable elevation, ascending in azimuth.
    pub mask: Vec<(Angle, Angle)>,
}

/// Something whose signal can be peaked.
#[derive(Clone, Debug)]
pub struct Emitter {
    /// Name in logs.
    pub name: String,
    /// What it is and where to find it.
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
        /// Path of the elements file, resolved against the station file's folder.
        elements: PathBuf,
        /// Catalogue number of the object in it.
        norad_id: u64,
    },
    /// A radio source at a fixed celestial position (ICRS).
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
    /// A geostationary satellite without orbit elements, assumed above the equator.
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

/// One standard deviation of a geostationary satellite's position: operators keep it within about
/// this of its nominal longitude on the equator in every direction (common practice, no source). A
/// peak of it determines the mount no better.
pub const GEOSTATIONARY_SIGMA: Angle = Angle::from_degrees(0.1);

/// One standard deviation of the centroid of the Sun's radio emission about the centre of its disc:
/// active regions emit up to about a third of its flux at decimetre waves in active years (64 of
/// 100 to 200 solar flux units are the quiet disc's: Tapping, The 10.7 cm solar radio flux, Space
/// Weather 11 (2013) 394, from memory), and lie at most one radius, 0.27 degree, from the centre.
pub const SUN_CENTRE_SIGMA: Angle = Angle::from_degrees(0.03);

/// The same for the Moon, whose sunlit side is warmer: a brightness temperature a tenth above the
/// mean at the bright limb and a tenth below it at the dark one (Linsky, The Moon as a proposed
/// radiometric standard, Astrophysical Journal Supplement 25 (1973) 163, from memory) shifts the
/// centroid by a fortieth of its radius.
pub const MOON_CENTRE_SIGMA: Angle = Angle::from_degrees(0.01);

/// With a beam this wide or wider, peaks are not accurate enough for the centroids of the Sun and
/// the Moon to matter.
const WIDE_BEAM: Angle = Angle::from_degrees(1.0);

impl EmitterKind {
    /// Uncertainty of its position, one standard deviation per axis, for a beam of that width: no
    /// peak of it determines the mount better.
    pub fn place_sigma(&self, beamwidth: Angle) -> Angle {
        match self {
            EmitterKind::Geostationary { .. } => GEOSTATIONARY_SIGMA,
            EmitterKind::Sun if beamwidth < WIDE_BEAM => SUN_CENTRE_SIGMA,
            EmitterKind::Moon if beamwidth < WIDE_BEAM => MOON_CENTRE_SIGMA,
            _ => Angle::ZERO,
        }
    }
    /// Whether it stays fixed in the sky and never rises or sets.
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
    /// Whether its direction is exactly fixed: a beacon or a mark.
    pub fn is_fixed(&self) -> bool {
        matches!(self, EmitterKind::Beacon { .. } | EmitterKind::Mark { .. })
    }
    /// Whether it moves across the sky with the stars, or nearly so: the Sun, the Moon, a source.
    pub fn turns_with_the_sky(&self) -> bool {
        matches!(
            self,
            EmitterKind::Sun | EmitterKind::Moon | EmitterKind::RadioSource { .. }
        )
    }
}

impl Station {
    /// Index of the feed of that name, ignoring case.
    pub fn feed(&self, name: &str) -> Option<usize> {
        (self.feeds.iter()).position(|feed| feed.name.eq_ignore_ascii_case(name))
    }

    /// The emitter of that name.
    pub fn emitter(&self, name: &str) -> Option<&Emitter> {
        self.emitters.iter().find(|e| e.name == name)
    }
}

impl Dish {
    /// Signal loss, in decibels, with the emitter at `offset` from the beam axis: 12
    /// (offset/beamwidth)^2, the Gaussian beam (common practice, no source). It holds within about
    /// one beamwidth; for an rms offset it gives the mean loss.
    pub fn loss_db(&self, offset: Angle) -> f64 {
        12.0 * (offset / self.beamwidth).powi(2)
    }
}

impl Horizon {
    /// Lowest usable elevation at an azimuth; zero if no mask is given.
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
