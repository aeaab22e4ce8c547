//! What may have changed since the old calibration.

use crate::explain::glaring;
use crate::mount::{Kind as Mount, Term};

/// A kind of change, by the terms that it sets free.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Nothing.
    Unmoved,
    /// The whole mount was moved: azimuth zero and tilt.
    WholeMount,
    /// It leans otherwise, since its ground has settled or a foot has given way: tilt.
    Lean,
    /// The azimuth axis or its encoder slipped.
    AzimuthSlip,
    /// The elevation axis or its encoder slipped.
    ElevationSlip,
    /// The dish or its feed was knocked: collimation and the elevation zero.
    Dish,
    /// All of these together; to see whether peaks agree with each other, and where no single
    /// change will do.
    Anything,
}

/// How a term changed, for messages.
#[derive(Clone, Copy, Debug)]
pub struct Change {
    /// Which term.
    pub term: Term,
    /// How far it may have gone, one standard deviation, as an inside value.
    pub may_be: f64,
}

impl Kind {
    /// The changes that compete; [`Kind::Anything`] does not.
    pub const ALL: [Kind; 6] = [
        Kind::Unmoved,
        Kind::WholeMount,
        Kind::Lean,
        Kind::AzimuthSlip,
        Kind::ElevationSlip,
        Kind::Dish,
    ];

    /// The terms that the change sets free.
    pub fn terms(self) -> Vec<Change> {
        let terms: &[Term] = match self {
            Kind::Unmoved => &[],
            Kind::WholeMount => &[Term::AzimuthZero, Term::TiltNorth, Term::TiltEast],
            Kind::Lean => &[Term::TiltNorth, Term::TiltEast],
            Kind::AzimuthSlip => &[Term::AzimuthZero],
            Kind::ElevationSlip => &[Term::ElevationZero],
            Kind::Dish => &[Term::ElevationZero, Term::Collimation],
            Kind::Anything => &[
                Term::AzimuthZero,
                Term::ElevationZero,
                Term::TiltNorth,
                Term::TiltEast,
                Term::Collimation,
            ],
        };
        terms
            .iter()
            .map(|term| Change {
                term: *term,
                // A mount set down again may face anywhere; its tilt would be seen.
                may_be: if *term == Term::AzimuthZero {
                    std::f64::consts::FRAC_PI_2
                } else {
                    glaring(*term)
                },
            })
            .collect()
    }

    /// Whether the change reaches beyond azimuth zero and tilt.
    pub fn frees_more_than_placement(self) -> bool {
        matches!(self, Kind::ElevationSlip | Kind::Dish | Kind::Anything)
    }

    /// In words.
    pub fn in_words(self, mount: Mount) -> String {
        mount.said(match (self, mount.has_track()) {
            (Kind::Lean, false) => {
                "a first axis that points elsewhere: a bolt or a bearing that gave way"
            }
            _ => self.plain_words(),
        })
    }

    /// In words for a mount with a track, with the marks of [`Mount::said`].
    fn plain_words(self) -> &'static str {
        match self {
            Kind::Unmoved => "no change",
            Kind::WholeMount => "a move of the whole mount",
            Kind::Lean => "a mount that leans differently: settled ground, or a foot that gave way",
            Kind::AzimuthSlip => "a slip of the <azimuth axis> or its encoder",
            Kind::ElevationSlip => "a slip of the <elevation axis> or its encoder",
            Kind::Dish => "a change in the dish or its feed",
            Kind::Anything => "several changes at once",
        }
    }
}
