//! The faults that can be named.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::mount::Kind;

/// A fault of the mount, the data or the operator, by the names used in files.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Fault {
    /// The azimuth axis has backlash: it stops short on the side from which it arrives.
    AzimuthBacklash,
    /// The elevation axis has backlash.
    ElevationBacklash,
    /// The tilt of the azimuth axis changes from one peak on.
    BaseKnock,
    /// The beam changes its direction on the dish from one peak on.
    DishKnock,
    /// A pattern that is certainly present and fits no name.
    Unexplained,
    /// The azimuth encoder jumped relative to the axis: slipped joint, lost steps.
    AzimuthSlip,
    /// The elevation encoder jumped relative to the axis.
    ElevationSlip,
    /// An encoder drifts slowly relative to its axis.
    Creep,
    /// The mount follows the temperature, or the time of day.
    ThermalDrift,
    /// The azimuth gear or encoder is eccentric: an error once per turn.
    AzimuthRunout,
    /// The elevation gear or encoder is eccentric.
    ElevationRunout,
    /// The azimuth track or bearing is not flat: an error twice or three times per turn.
    WarpedTrack,
    /// An error at the rate of a gear's teeth, or of the pinion.
    ToothError,
    /// The gear ratio or the steps per degree are wrong.
    WrongScale,
    /// The scatter depends on the dish's direction: something is loose.
    LooseJoint,
    /// The dish or the feed shifts relative to the elevation axis as it is raised.
    LooseDish,
    /// The tilt of the pier grows with time.
    Settling,
    /// The clock is off by seconds or minutes.
    Clock,
    /// The times are off by a time zone.
    TimeZone,
    /// The longitude has the wrong sign.
    LongitudeSign,
    /// Latitude and longitude are exchanged.
    SiteSwapped,
    /// The azimuth encoder counts the wrong way.
    AzimuthReversed,
    /// North was taken from a compass.
    MagneticNorth,
    /// A peak was logged under another emitter's name.
    WrongEmitter,
    /// A peak was found on a sidelobe.
    Sidelobe,
    /// The orbital elements are too old: a satellite is early or late on its orbit.
    StaleElements,
    /// A digit of a reading is wrong, or two were exchanged.
    DigitSlip,
    /// Readings are in a unit other than degrees.
    WrongUnit,
    /// Refraction was applied twice, or not at all.
    Refraction,
    /// Two columns of the log are exchanged.
    ColumnsExchanged,
}

impl Fault {
    /// All, in the order in which they are listed.
    pub const ALL: [Fault; 30] = [
        Fault::BaseKnock,
        Fault::DishKnock,
        Fault::Unexplained,
        Fault::AzimuthBacklash,
        Fault::ElevationBacklash,
        Fault::AzimuthSlip,
        Fault::ElevationSlip,
        Fault::Creep,
        Fault::ThermalDrift,
        Fault::AzimuthRunout,
        Fault::ElevationRunout,
        Fault::WarpedTrack,
        Fault::ToothError,
        Fault::WrongScale,
        Fault::LooseJoint,
        Fault::LooseDish,
        Fault::Settling,
        Fault::Clock,
        Fault::TimeZone,
        Fault::LongitudeSign,
        Fault::SiteSwapped,
        Fault::AzimuthReversed,
        Fault::MagneticNorth,
        Fault::WrongEmitter,
        Fault::Sidelobe,
        Fault::StaleElements,
        Fault::DigitSlip,
        Fault::WrongUnit,
        Fault::Refraction,
        Fault::ColumnsExchanged,
    ];

    /// The name used in files.
    pub const fn name(self) -> &'static str {
        match self {
            Fault::BaseKnock => "base-knock",
            Fault::DishKnock => "dish-knock",
            Fault::Unexplained => "unexplained",
            Fault::AzimuthBacklash => "azimuth-backlash",
            Fault::ElevationBacklash => "elevation-backlash",
            Fault::AzimuthSlip => "azimuth-slip",
            Fault::ElevationSlip => "elevation-slip",
            Fault::Creep => "creep",
            Fault::ThermalDrift => "thermal-drift",
            Fault::AzimuthRunout => "azimuth-runout",
            Fault::ElevationRunout => "elevation-runout",
            Fault::WarpedTrack => "warped-track",
            Fault::ToothError => "tooth-error",
            Fault::WrongScale => "wrong-scale",
            Fault::LooseJoint => "loose-joint",
            Fault::LooseDish => "loose-dish",
            Fault::Settling => "settling",
            Fault::Clock => "clock",
            Fault::TimeZone => "time-zone",
            Fault::LongitudeSign => "longitude-sign",
            Fault::SiteSwapped => "site-swapped",
            Fault::AzimuthReversed => "azimuth-reversed",
            Fault::MagneticNorth => "magnetic-north",
            Fault::WrongEmitter => "wrong-emitter",
            Fault::Sidelobe => "sidelobe",
            Fault::StaleElements => "stale-elements",
            Fault::DigitSlip => "digit-slip",
            Fault::WrongUnit => "wrong-unit",
            Fault::Refraction => "refraction",
            Fault::ColumnsExchanged => "columns-exchanged",
        }
    }

    /// The name used in files for a kind of mount: that of a fault of one axis begins with the
    /// axis.
    pub fn name_on(self, kind: Kind) -> String {
        let name = self.name();
        let [one, two] = kind.axes().map(|axis| axis.key().replace('_', "-"));
        if let Some(rest) = name.strip_prefix("azimuth") {
            return format!("{one}{rest}");
        }
        if let Some(rest) = name.strip_prefix("elevation") {
            return format!("{two}{rest}");
        }
        name.to_owned()
    }

    /// A plain description, for a kind of mount.
    pub fn words_on(self, kind: Kind) -> String {
        kind.said(self.template())
    }

    /// A plain description with the placeholders of [`Kind::said`].
    const fn template(self) -> &'static str {
        match self {
            Fault::BaseKnock => "the base was knocked: the <azimuth axis> <leans> differently",
            Fault::DishKnock => "the dish or the feed was knocked: the beam points elsewhere",
            Fault::Unexplained => "a pattern without a name",
            Fault::AzimuthBacklash => "the <azimuth axis> has play",
            Fault::ElevationBacklash => "the <elevation axis> has play",
            Fault::AzimuthSlip => "the <azimuth axis> slipped or lost steps",
            Fault::ElevationSlip => "the <elevation axis> slipped or lost steps",
            Fault::Creep => "an axis slips slowly",
            Fault::ThermalDrift => "the mount follows the temperature",
            Fault::AzimuthRunout => "the <azimuth> gear or encoder is eccentric",
            Fault::ElevationRunout => "the <elevation> gear or encoder is eccentric",
            Fault::WarpedTrack => "the azimuth track is warped or unlevel",
            Fault::ToothError => "a gear is wrong once per tooth or per turn of the pinion",
            Fault::WrongScale => "the gear ratio or the steps per degree are wrong",
            Fault::LooseJoint => "a joint is loose: the scatter depends on where the dish points",
            Fault::LooseDish => "the dish or the feed shifts as the dish is raised",
            Fault::Settling => "the pier leans more and more",
            Fault::Clock => "the clock is off",
            Fault::TimeZone => "the times are in another time zone",
            Fault::LongitudeSign => "the longitude has the wrong sign",
            Fault::SiteSwapped => "latitude and longitude are exchanged",
            Fault::AzimuthReversed => "the <azimuth> counts the wrong way",
            Fault::MagneticNorth => "north was taken from a compass",
            Fault::WrongEmitter => "peaks were logged under another emitter's name",
            Fault::Sidelobe => "peaks were found on a sidelobe",
            Fault::StaleElements => "a satellite's orbit elements are stale",
            Fault::DigitSlip => "a digit of a reading is wrong",
            Fault::WrongUnit => "readings are in another unit",
            Fault::Refraction => "refraction was applied twice or left out",
            Fault::ColumnsExchanged => "columns of the log are exchanged",
        }
    }

    /// The fault of that name.
    pub fn by_name(name: &str) -> Option<Fault> {
        Fault::ALL.into_iter().find(|f| f.name() == name)
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl Serialize for Fault {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

/// The axis in which a fault shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultAxis {
    /// The azimuth axis, or across the line of sight.
    Azimuth,
    /// The elevation axis, or up and down.
    Elevation,
    /// Both, or neither in particular.
    Both,
}

impl FaultAxis {
    /// In words for a kind of mount: `hour angle`, `declination`, `both axes`.
    pub fn words_on(self, kind: Kind) -> &'static str {
        match self {
            FaultAxis::Azimuth => kind.axes()[0].words(),
            FaultAxis::Elevation => kind.axes()[1].words(),
            FaultAxis::Both => "both axes",
        }
    }
    /// As a part of the machine.
    pub fn part_on(self, kind: Kind) -> &'static str {
        match self {
            FaultAxis::Azimuth => kind.axis_1(),
            FaultAxis::Elevation => kind.axis_2(),
            FaultAxis::Both => "mount",
        }
    }
    /// In machine-readable results: `hour-angle`, `both`.
    pub fn key_on(self, kind: Kind) -> String {
        match self {
            FaultAxis::Both => "both".to_owned(),
            _ => self.words_on(kind).to_lowercase().replace(' ', "-"),
        }
    }
    /// In words for an az-el mount: `azimuth`, `elevation`, `both axes`.
    pub const fn words(self) -> &'static str {
        match self {
            FaultAxis::Azimuth => "azimuth",
            FaultAxis::Elevation => "elevation",
            FaultAxis::Both => "both axes",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_is_found_by_its_name() {
        for fault in Fault::ALL {
            assert_eq!(Fault::by_name(fault.name()), Some(fault));
        }
    }
}
