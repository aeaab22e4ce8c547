//! The header of a table: the same entries in CSV, JSON and the C header.

use crate::number;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::angle::Angle;
use crate::logbook::{
    Calibration, ExpectedPointingError, LowerAxisRecord, MountRecord, SkyPlace, Standing, Trust,
};
use crate::mount::{ApproachSigns, AxisKind, Geometry, Kind, Term};
use crate::problem::printable;
use crate::station::Station;

use super::demand::DemandKind;
use super::full::{EncoderRange, FullModel};
use super::grid::Grid;
use super::measure::{Errors, stated};

/// The value of `format` that this version writes and reads.
pub const FORMAT: &str = "plumbeam correction table 1";

/// Where a table came from.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Provenance {
    /// The calibration file as the user named it.
    pub calibration: String,
    /// When that was written.
    pub created_utc: String,
    /// Name of the site.
    pub station: String,
    /// The calibration's own rms after its fit, when it is known.
    pub calibration_rms: Option<Angle>,
    /// Half-power width of the beam, when it is known.
    pub beamwidth: Option<Angle>,
    /// How far the calibration can be trusted.
    pub trust: Trust,
    /// Why no further.
    pub reasons: Vec<String>,
    /// What pointing error it leaves, when that was found out.
    pub expected: Option<ExpectedPointingError>,
}

impl Provenance {
    /// Of a calibration in that file, for that station.
    pub fn of(calibration: &Calibration, file: &str, station: &Station) -> Provenance {
        Provenance {
            calibration: file.to_owned(),
            created_utc: calibration.created_utc.to_string(),
            station: station.site.name.clone(),
            calibration_rms: Some(Angle::from_degrees(calibration.rms_after_deg)),
            beamwidth: Some(station.dish.beamwidth),
            trust: calibration.trust,
            reasons: calibration.reasons.clone(),
            expected: calibration.expected_pointing_error,
        }
    }
}

/// The entries, in the order in which they are written. Degrees and microdegrees are rounded
/// so that every form of the file reads back to the same numbers.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)] // each is named for what the file says
pub struct Header {
    pub format: String,
    // Of az-el mounts nothing is said, so that tables of before keep their checksum.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub mount: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mount_latitude_deg: Option<f64>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub mount_lower_axis: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mount_axis_tilt_deg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mount_axis_tilt_azimuth_deg: Option<f64>,
    pub how_to_use: String,
    pub demand: String,
    pub refraction: String,
    pub pressure_hpa: Option<f64>,
    pub temperature_c: Option<f64>,
    pub relative_humidity: Option<f64>,
    pub azimuth_axis: String,
    pub azimuth_how: String,
    pub azimuth_first_deg: f64,
    pub azimuth_last_deg: f64,
    pub azimuth_step_deg: f64,
    pub azimuth_count: usize,
    pub elevation_first_deg: f64,
    pub elevation_last_deg: f64,
    pub elevation_step_deg: f64,
    pub elevation_count: usize,
    pub encoder_azimuth_lowest_deg: f64,
    pub encoder_azimuth_highest_deg: f64,
    pub encoder_elevation_lowest_deg: f64,
    pub encoder_elevation_highest_deg: f64,
    pub largest_error_deg: f64,
    pub largest_error_at_azimuth_deg: f64,
    pub largest_error_at_elevation_deg: f64,
    pub largest_azimuth_error_deg: f64,
    pub largest_elevation_error_deg: f64,
    pub measured_directions: usize,
    pub error_meaning: String,
    pub tolerance_deg: f64,
    pub beamwidth_deg: Option<f64>,
    pub keyhole_half_angle_deg: f64,
    pub azimuth_axis_points_to_azimuth_deg: f64,
    pub azimuth_axis_points_to_elevation_deg: f64,
    pub above_the_table: String,
    pub over_the_top: String,
    pub approach: String,
    pub azimuth_backlash_half_width_deg: f64,
    pub elevation_backlash_half_width_deg: f64,
    pub clock_offset_s: f64,
    pub clock_offset: String,
    pub calibration: String,
    pub calibration_created_utc: String,
    pub station: String,
    pub calibration_rms_deg: Option<f64>,
    // Tables of before say nothing of trust, and keep their checksum.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub calibration_trust: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub calibration_reasons: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration_expected_rms_deg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration_expected_rms_95_deg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration_expected_largest_deg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration_expected_largest_at_azimuth_deg: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration_expected_largest_at_elevation_deg: Option<f64>,
    pub mount_terms: String,
    pub checksum: String,
}

/// Values of `azimuth_axis`.
const ONE_TURN: &str = "one turn";
const UNWRAPPED: &str = "unwrapped";

/// How the checksum is made, in words.
const CHECKSUM: &str = "crc32 (IEEE 802.3, as in gzip and PNG) of this file in its CSV form with \
                        LF line ends, without the line that begins with '# crc32:'";

/// Play of less than this to either side, degrees, is not worth a word: finer than the encoders of any
/// motorised dish show. Common practice, no source.
pub(super) const NO_PLAY_DEG: f64 = 0.001;

/// Nine decimals: what a reader of any of the forms gets back exactly.
fn rounded(value: f64) -> f64 {
    (value * 1e9).round() / 1e9
}
/// Four significant digits, for sentences on the screen.
pub(super) fn in_words(value: f64) -> String {
    number::at_most(value, 4)
}
fn degrees(angle: Angle) -> f64 {
    rounded(angle.degrees())
}

impl Header {
    /// For a table of `full` on `grid` with these errors.
    pub fn new(
        full: &FullModel,
        grid: &Grid,
        errors: &Errors,
        tolerance: Angle,
        provenance: &Provenance,
    ) -> Header {
        let terms = full.mount.terms();
        let weather = full.air.weather();
        let axis = full.axis();
        let half = |term: Term| degrees(terms.angle(term) / 2.0);
        let clock = terms.inside(Term::ClockOffset);
        let kind = full.mount.kind();
        let [one, two] = kind.axes().map(AxisKind::words);
        let stands = Stands::of(&MountRecord::of(full.mount.geometry()));
        Header {
            format: FORMAT.to_owned(),
            mount: stands.kind,
            mount_latitude_deg: stands.latitude_deg,
            mount_lower_axis: stands.lower_axis,
            mount_axis_tilt_deg: stands.axis_tilt_deg,
            mount_axis_tilt_azimuth_deg: stands.axis_tilt_azimuth_deg,
            how_to_use: match kind {
                Kind::AzEl => "ADD each correction to the demanded direction to get the encoder \
                               reading to command; between the nodes interpolate linearly in both \
                               angles"
                    .to_owned(),
                _ => format!(
                    "turn the demanded direction into the {one} and {two} that this mount would read \
                     without any error, ADD each correction to get the encoder reading to command; \
                     between the nodes interpolate linearly in both angles"
                ),
            },
            demand: full.air.demand().name().to_owned(),
            refraction: match full.air.demand() {
                DemandKind::Geometric => {
                    "folded in: demands are directions without air; right for the weather given \
                     here only"
                }
                DemandKind::Apparent => {
                    "not in the table: demands must already hold the bending of the air"
                }
            }
            .to_owned(),
            pressure_hpa: weather.map(|w| rounded(w.pressure_hpa)),
            temperature_c: weather.map(|w| rounded(w.temperature_c)),
            relative_humidity: weather.map(|w| rounded(w.relative_humidity)),
            azimuth_axis: if grid.one_turn { ONE_TURN } else { UNWRAPPED }.to_owned(),
            azimuth_how: kind.said(if grid.one_turn {
                "bring the demand into 0 to 360, add the correction, then add or take away whole \
                 turns of 360 until the reading lies within the encoder's range"
            } else {
                "the <azimuth> encoder has a scale error: look up the demand plus each whole turn of \
                 360 that lies on the axis, and keep the readings that lie within the encoder's \
                 range"
            }),
            azimuth_first_deg: grid.azimuth.first.degrees(),
            azimuth_last_deg: grid.azimuth.last().degrees(),
            azimuth_step_deg: grid.azimuth.step.degrees(),
            azimuth_count: grid.azimuth.count,
            elevation_first_deg: grid.elevation.first.degrees(),
            elevation_last_deg: grid.elevation.last().degrees(),
            elevation_step_deg: grid.elevation.step.degrees(),
            elevation_count: grid.elevation.count,
            encoder_azimuth_lowest_deg: degrees(full.range.azimuth.0),
            encoder_azimuth_highest_deg: degrees(full.range.azimuth.1),
            encoder_elevation_lowest_deg: degrees(full.range.elevation.0),
            encoder_elevation_highest_deg: degrees(full.range.elevation.1),
            largest_error_deg: degrees(stated(errors.on_sky)),
            largest_error_at_azimuth_deg: degrees(errors.worst_azimuth),
            largest_error_at_elevation_deg: degrees(errors.worst_elevation),
            largest_azimuth_error_deg: degrees(stated(errors.azimuth)),
            largest_elevation_error_deg: degrees(stated(errors.elevation)),
            measured_directions: errors.directions,
            error_meaning: "largest angle on the sky, and per encoder, between this table and the \
                            full model, measured on a dense grid and rounded up; the calibration's \
                            own error comes on top"
                .to_owned(),
            tolerance_deg: degrees(tolerance),
            beamwidth_deg: provenance.beamwidth.map(degrees),
            keyhole_half_angle_deg: degrees(full.mount.keyhole()),
            azimuth_axis_points_to_azimuth_deg: degrees(axis.azimuth()),
            azimuth_axis_points_to_elevation_deg: degrees(axis.elevation()),
            above_the_table: kind.said(if grid.elevation.last().degrees() < 90.0 {
                "refuse: toward the <azimuth axis> the azimuth correction grows without bound; hold \
                 the mount until the emitter comes out again, or take readings from the full \
                 model (plumbeam point)"
            } else {
                match kind {
                    Kind::AzEl => "nothing: the table reaches the zenith",
                    _ => "nothing: the table reaches the first axis",
                }
            }),
            over_the_top: match kind {
                Kind::AzEl => "not in the table: the dish is taken to stand below the zenith",
                _ => "not in the table: the dish is taken to stand on the near side of its first axis",
            }
            .to_owned(),
            approach: "for an approach that is not known; when an axis arrives with increasing \
                       reading take its half width of backlash away from the reading, with \
                       decreasing reading add it"
                .to_owned(),
            azimuth_backlash_half_width_deg: half(Term::AzimuthBacklash),
            elevation_backlash_half_width_deg: half(Term::ElevationBacklash),
            clock_offset_s: rounded(clock),
            clock_offset: "not in the table: it belongs to the clock; add it to the clock's time \
                           before computing the demand"
                .to_owned(),
            calibration: one_line(&provenance.calibration),
            calibration_created_utc: one_line(&provenance.created_utc),
            station: one_line(&provenance.station),
            calibration_rms_deg: provenance.calibration_rms.map(degrees),
            calibration_trust: provenance.trust.word().to_owned(),
            calibration_reasons: one_line(&provenance.reasons.join("; ")),
            calibration_expected_rms_deg: provenance.expected.map(|e| rounded(e.rms_deg)),
            calibration_expected_rms_95_deg: provenance.expected.map(|e| rounded(e.rms_95_deg)),
            calibration_expected_largest_deg: provenance.expected.map(|e| rounded(e.largest_deg)),
            calibration_expected_largest_at_azimuth_deg: (provenance.expected)
                .map(|e| rounded(e.at.azimuth_deg)),
            calibration_expected_largest_at_elevation_deg: (provenance.expected)
                .map(|e| rounded(e.at.elevation_deg)),
            mount_terms: terms_in_words(full),
            checksum: CHECKSUM.to_owned(),
        }
    }

    /// Every entry that a header can have, by its key.
    pub fn keys() -> Vec<String> {
        let expected = Some(0.0);
        let any = || "any".to_owned();
        let whole = Header {
            mount: any(),
            mount_latitude_deg: expected,
            mount_lower_axis: any(),
            mount_axis_tilt_deg: expected,
            mount_axis_tilt_azimuth_deg: expected,
            calibration_trust: Trust::Good.word().to_owned(),
            calibration_reasons: "any".to_owned(),
            calibration_expected_rms_deg: expected,
            calibration_expected_rms_95_deg: expected,
            calibration_expected_largest_deg: expected,
            calibration_expected_largest_at_azimuth_deg: expected,
            calibration_expected_largest_at_elevation_deg: expected,
            ..Header::default()
        };
        whole
            .plain_entries()
            .into_iter()
            .map(|(key, _)| key)
            .collect()
    }

    /// How the mount stands.
    ///
    /// # Errors
    /// What is missing or wrong in it.
    pub fn mount(&self) -> Result<MountRecord, String> {
        let needed = |value: Option<f64>, key: &str| {
            value.ok_or_else(|| format!("a mount of kind {} without {key}", self.mount))
        };
        Ok(match self.mount.as_str() {
            "" | "az-el" => MountRecord::AzEl,
            "polar" => MountRecord::Polar {
                latitude_deg: needed(self.mount_latitude_deg, "mount_latitude_deg")?,
            },
            "x-y" => MountRecord::XY {
                lower_axis: match self.mount_lower_axis.as_str() {
                    "north-south" => LowerAxisRecord::NorthSouth,
                    "east-west" => LowerAxisRecord::EastWest,
                    other => return Err(format!("a lower axis that lies {other:?}")),
                },
            },
            "slant" => MountRecord::Slant {
                axis_tilt_deg: needed(self.mount_axis_tilt_deg, "mount_axis_tilt_deg")?,
                axis_tilt_azimuth_deg: needed(
                    self.mount_axis_tilt_azimuth_deg,
                    "mount_axis_tilt_azimuth_deg",
                )?,
            },
            other => return Err(format!("a mount of kind {other:?}")),
        })
    }

    /// How the mount stands; an az-el mount when the header does not say it.
    pub fn geometry(&self) -> Geometry {
        self.mount().unwrap_or_default().geometry()
    }

    /// What pointing error is expected of the corrected mount; none when its calibration did not
    /// say.
    pub fn expected_pointing_error(&self) -> Option<ExpectedPointingError> {
        Some(ExpectedPointingError {
            rms_deg: self.calibration_expected_rms_deg?,
            rms_95_deg: self.calibration_expected_rms_95_deg?,
            largest_deg: self.calibration_expected_largest_deg?,
            at: SkyPlace {
                azimuth_deg: self.calibration_expected_largest_at_azimuth_deg?,
                elevation_deg: self.calibration_expected_largest_at_elevation_deg?,
            },
            loss_db: None,
        })
    }

    /// What stands against using the table.
    pub fn standing(&self) -> Standing {
        let trust = [Trust::None, Trust::Limited, Trust::Good]
            .into_iter()
            .find(|trust| trust.word() == self.calibration_trust);
        let reasons = match self.calibration_reasons.as_str() {
            "" => Vec::new(),
            reasons => vec![reasons.to_owned()],
        };
        Standing::of_trust(
            trust.unwrap_or_default(),
            &reasons,
            self.expected_pointing_error().as_ref(),
        )
    }

    /// Which demands the table takes.
    pub fn demand(&self) -> DemandKind {
        DemandKind::by_name(&self.demand).unwrap_or(DemandKind::Apparent)
    }

    /// Whether the azimuths are one turn, for demands of any turn.
    pub fn is_one_turn(&self) -> bool {
        self.azimuth_axis == ONE_TURN
    }

    /// What the encoders can read.
    pub fn encoder_range(&self) -> EncoderRange {
        let d = Angle::from_degrees;
        EncoderRange {
            azimuth: (
                d(self.encoder_azimuth_lowest_deg),
                d(self.encoder_azimuth_highest_deg),
            ),
            elevation: (
                d(self.encoder_elevation_lowest_deg),
                d(self.encoder_elevation_highest_deg),
            ),
        }
    }

    /// What to add to a reading for the side from which each axis arrives.
    pub fn approach_shift(&self, approach: ApproachSigns) -> (Angle, Angle) {
        let d = Angle::from_degrees;
        (
            d(self.azimuth_backlash_half_width_deg) * -approach.azimuth,
            d(self.elevation_backlash_half_width_deg) * -approach.elevation,
        )
    }

    /// Key and value of every entry, in order, for the forms whose header is lines of text; the
    /// keys are named for the mount's axes.
    pub fn entries(&self) -> Vec<(String, String)> {
        let kind = self.geometry().kind();
        (self.plain_entries().into_iter())
            .map(|(key, value)| (kind.key_of(&key), value))
            .collect()
    }

    /// The same by the keys of an az-el mount.
    fn plain_entries(&self) -> Vec<(String, String)> {
        let Ok(Value::Object(map)) = serde_json::to_value(self) else {
            return Vec::new(); // a plain struct of numbers and texts always is an object
        };
        map.into_iter()
            .map(|(key, value)| {
                let text = match value {
                    Value::String(text) => text,
                    Value::Null => "none".to_owned(),
                    other => other.to_string(),
                };
                (key, text)
            })
            .collect()
    }
}

/// How a mount stands, entry by entry; nothing of an az-el mount.
#[derive(Default)]
struct Stands {
    kind: String,
    latitude_deg: Option<f64>,
    lower_axis: String,
    axis_tilt_deg: Option<f64>,
    axis_tilt_azimuth_deg: Option<f64>,
}

impl Stands {
    fn of(mount: &MountRecord) -> Stands {
        let none = Stands::default();
        match mount {
            MountRecord::AzEl => none,
            MountRecord::Polar { latitude_deg } => Stands {
                kind: "polar".to_owned(),
                latitude_deg: Some(*latitude_deg),
                ..none
            },
            MountRecord::XY { lower_axis } => Stands {
                kind: "x-y".to_owned(),
                lower_axis: match lower_axis {
                    LowerAxisRecord::NorthSouth => "north-south",
                    LowerAxisRecord::EastWest => "east-west",
                }
                .to_owned(),
                ..none
            },
            MountRecord::Slant {
                axis_tilt_deg,
                axis_tilt_azimuth_deg,
            } => Stands {
                kind: "slant".to_owned(),
                axis_tilt_deg: Some(*axis_tilt_deg),
                axis_tilt_azimuth_deg: Some(*axis_tilt_azimuth_deg),
                ..none
            },
        }
    }
}

/// Text of the user's as it can stand in one line of a comment, in C too.
fn one_line(text: &str) -> String {
    printable(text)
        .replace("*/", "* /")
        .replace("/*", "/ *")
        .trim()
        .to_owned()
}

/// The terms that are not zero, as files show them.
fn terms_in_words(full: &FullModel) -> String {
    let terms = full.mount.terms();
    let all: Vec<String> = Term::ALL
        .into_iter()
        .filter(|term| terms.inside(*term) != 0.0)
        .map(|term| {
            let symbol = term.unit().symbol();
            let gap = if symbol.is_empty() { "" } else { " " };
            let name = full.mount.kind().term_name(term);
            format!("{name} {}{gap}{symbol}", rounded(terms.shown(term)))
        })
        .collect();
    if all.is_empty() {
        "all zero".to_owned()
    } else {
        all.join(", ")
    }
}
