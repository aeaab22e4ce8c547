//! The terms of the mount model.
//!
//! They are named for an az-el mount; on other kinds the azimuth axis stands for the first axis,
//! the elevation axis for the second, and the tilt for the first axis's misdirection. What files
//! and people call them on each kind is in [`super::Kind::term_name`].

use crate::angle::Angle;

/// One adjustable term of the mount model. The variants' documentation says what a
/// positive value means on an az-el mount; docs/mount-model.md has the other kinds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(usize)]
pub enum Term {
    /// The axis stands further clockwise than the encoder says.
    AzimuthZero,
    /// The axis stands higher than the encoder says.
    ElevationZero,
    /// The azimuth axis's top leans north.
    TiltNorth,
    /// The azimuth axis's top leans east.
    TiltEast,
    /// The beam points right of the dish's nominal axis.
    Collimation,
    /// The right-hand end of the elevation axis is high.
    AxisSkew,
    /// The beam sags by droop x cos(elevation).
    Droop,
    /// The azimuth axis moves further than the encoder says (fraction).
    AzimuthScale,
    /// The elevation axis moves further than the encoder says (fraction).
    ElevationScale,
    /// Once-per-turn azimuth error, cos part.
    AzimuthRunoutCos,
    /// Once-per-turn azimuth error, sin part.
    AzimuthRunoutSin,
    /// Once-per-turn elevation error, cos part.
    ElevationRunoutCos,
    /// Once-per-turn elevation error, sin part.
    ElevationRunoutSin,
    /// The azimuth track's twice-per-turn lift, cos part.
    TrackWarpCos,
    /// The azimuth track's twice-per-turn lift, sin part.
    TrackWarpSin,
    /// Full width of the azimuth play.
    AzimuthBacklash,
    /// Full width of the elevation play.
    ElevationBacklash,
    /// Seconds to add to the logged times.
    ClockOffset,
}

/// Unit of a term.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TermUnit {
    /// An angle: radians inside, degrees in files.
    Angle,
    /// A pure number.
    Fraction,
    /// Seconds of time.
    Seconds,
}

/// Terms that are fitted or left out together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs)] // each is named for its terms
pub enum Group {
    AzimuthZero,
    ElevationZero,
    Tilt,
    Collimation,
    AxisSkew,
    Droop,
    AzimuthScale,
    ElevationScale,
    AzimuthRunout,
    ElevationRunout,
    TrackWarp,
    AzimuthBacklash,
    ElevationBacklash,
    ClockOffset,
}

impl Term {
    /// Number of terms.
    pub const COUNT: usize = 18;

    /// All, in the order of the table in docs/files.md.
    pub const ALL: [Term; Term::COUNT] = [
        Term::AzimuthZero,
        Term::ElevationZero,
        Term::TiltNorth,
        Term::TiltEast,
        Term::Collimation,
        Term::AxisSkew,
        Term::Droop,
        Term::AzimuthScale,
        Term::ElevationScale,
        Term::AzimuthRunoutCos,
        Term::AzimuthRunoutSin,
        Term::ElevationRunoutCos,
        Term::ElevationRunoutSin,
        Term::TrackWarpCos,
        Term::TrackWarpSin,
        Term::AzimuthBacklash,
        Term::ElevationBacklash,
        Term::ClockOffset,
    ];

    /// The terms that a solve always fits.
    pub const BASIC: [Term; 5] = [
        Term::AzimuthZero,
        Term::ElevationZero,
        Term::TiltNorth,
        Term::TiltEast,
        Term::Collimation,
    ];

    /// The unit of the term.
    pub const fn unit(self) -> TermUnit {
        match self {
            Term::AzimuthScale | Term::ElevationScale => TermUnit::Fraction,
            Term::ClockOffset => TermUnit::Seconds,
            _ => TermUnit::Angle,
        }
    }

    /// The group it belongs to.
    pub const fn group(self) -> Group {
        match self {
            Term::AzimuthZero => Group::AzimuthZero,
            Term::ElevationZero => Group::ElevationZero,
            Term::TiltNorth | Term::TiltEast => Group::Tilt,
            Term::Collimation => Group::Collimation,
            Term::AxisSkew => Group::AxisSkew,
            Term::Droop => Group::Droop,
            Term::AzimuthScale => Group::AzimuthScale,
            Term::ElevationScale => Group::ElevationScale,
            Term::AzimuthRunoutCos | Term::AzimuthRunoutSin => Group::AzimuthRunout,
            Term::ElevationRunoutCos | Term::ElevationRunoutSin => Group::ElevationRunout,
            Term::TrackWarpCos | Term::TrackWarpSin => Group::TrackWarp,
            Term::AzimuthBacklash => Group::AzimuthBacklash,
            Term::ElevationBacklash => Group::ElevationBacklash,
            Term::ClockOffset => Group::ClockOffset,
        }
    }
}

impl Group {
    /// All, in the order of the table in docs/files.md.
    pub const ALL: [Group; 14] = [
        Group::AzimuthZero,
        Group::ElevationZero,
        Group::Tilt,
        Group::Collimation,
        Group::AxisSkew,
        Group::Droop,
        Group::AzimuthScale,
        Group::ElevationScale,
        Group::AzimuthRunout,
        Group::ElevationRunout,
        Group::TrackWarp,
        Group::AzimuthBacklash,
        Group::ElevationBacklash,
        Group::ClockOffset,
    ];

    /// Its terms.
    pub fn terms(self) -> impl Iterator<Item = Term> {
        Term::ALL.into_iter().filter(move |t| t.group() == self)
    }
}

impl TermUnit {
    /// The key under which files give a value in this unit: `sigma_deg`, `sigma`, `sigma_s`.
    pub fn key(self, stem: &str) -> String {
        match self {
            TermUnit::Angle => format!("{stem}_deg"),
            TermUnit::Fraction => stem.to_owned(),
            TermUnit::Seconds => format!("{stem}_s"),
        }
    }
    /// Converts a value as shown in files and on screen (degrees, a fraction, seconds) to the
    /// value inside (radians, a fraction, seconds).
    pub fn inward(self, shown: f64) -> f64 {
        match self {
            TermUnit::Angle => Angle::from_degrees(shown).radians(),
            TermUnit::Fraction | TermUnit::Seconds => shown,
        }
    }
    /// Converts the value inside to the value shown.
    pub fn outward(self, inside: f64) -> f64 {
        match self {
            TermUnit::Angle => Angle::from_radians(inside).degrees(),
            TermUnit::Fraction | TermUnit::Seconds => inside,
        }
    }
    /// Symbol after the number on screen.
    pub const fn symbol(self) -> &'static str {
        match self {
            TermUnit::Angle => "deg",
            TermUnit::Fraction => "",
            TermUnit::Seconds => "s",
        }
    }
}

/// A value for every term, zero unless set. Values are held in radians, fractions and
/// seconds ("inside" values); [`TermUnit`] converts to and from the values in files.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct TermValues {
    inside: [f64; Term::COUNT],
}

impl TermValues {
    /// All zero: the encoder readings are taken as they are.
    pub const ZERO: TermValues = TermValues {
        inside: [0.0; Term::COUNT],
    };

    /// The value of an angle term.
    ///
    /// # Panics
    /// If the term is not an angle: a mistake in the program, not in its input.
    pub fn angle(&self, term: Term) -> Angle {
        assert!(term.unit() == TermUnit::Angle, "{term:?} is not an angle");
        Angle::from_radians(self.inside[term as usize])
    }
    /// Sets the value of an angle term.
    ///
    /// # Panics
    /// If the term is not an angle: a mistake in the program, not in its input.
    pub fn set_angle(&mut self, term: Term, value: Angle) {
        assert!(term.unit() == TermUnit::Angle, "{term:?} is not an angle");
        self.inside[term as usize] = value.radians();
    }
    /// The value inside, for fitting: radians, fraction or seconds. Other code uses
    /// [`TermValues::angle`] or [`TermValues::shown`].
    pub(crate) fn inside(&self, term: Term) -> f64 {
        self.inside[term as usize]
    }
    /// Sets the value inside, for fitting: radians, fraction or seconds.
    pub(crate) fn set_inside(&mut self, term: Term, value: f64) {
        self.inside[term as usize] = value;
    }
    /// The value as files show it: degrees, fraction or seconds.
    pub fn shown(&self, term: Term) -> f64 {
        term.unit().outward(self.inside[term as usize])
    }
    /// Sets a value as files show it: degrees, fraction or seconds.
    pub fn set_shown(&mut self, term: Term, value: f64) {
        self.inside[term as usize] = term.unit().inward(value);
    }
    /// The same values with those of a group zero.
    pub fn without(mut self, group: Group) -> TermValues {
        for term in group.terms() {
            self.set_inside(term, 0.0);
        }
        self
    }
    /// The same values with one set as files show it.
    pub fn with_shown(mut self, term: Term, value: f64) -> TermValues {
        self.set_shown(term, value);
        self
    }
}
