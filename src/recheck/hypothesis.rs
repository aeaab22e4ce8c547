//! What may have changed since the old calibration.

use crate::explain::glaring;
use crate::mount::{Kind as Mount, Term};

/// A kind of change, by the terms that it frees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeKind {
    /// Nothing.
    Unmoved,
    /// The whole mount was moved: azimuth zero and tilt.
    WholeMount,
    /// It leans differently because the ground has settled or a foot has given way: tilt.
    Lean,
    /// The azimuth axis or its encoder slipped.
    AzimuthSlip,
    /// The elevation axis or its encoder slipped.
    ElevationSlip,
    /// The dish or its feed was knocked: collimation and the elevation zero.
    Dish,
    /// All of these together; used to test whether peaks agree with each other, and where no single
    /// change suffices.
    Anything,
}

/// A possible change of a term.
#[derive(Clone, Copy, Debug)]
pub struct Change {
    /// The term.
    pub term: Term,
    /// Plausible size of its change, one standard deviation, in internal units.
    pub may_be: f64,
}

impl ChangeKind {
    /// The changes that compete; [`ChangeKind::Anything`] does not.
    pub const ALL: [ChangeKind; 6] = [
        ChangeKind::Unmoved,
        ChangeKind::WholeMount,
        ChangeKind::Lean,
        ChangeKind::AzimuthSlip,
        ChangeKind::ElevationSlip,
        ChangeKind::Dish,
    ];

    /// The terms that the change frees.
    pub fn terms(self) -> Vec<Change> {
        let terms: &[Term] = match self {
            ChangeKind::Unmoved => &[],
            ChangeKind::WholeMount => &[Term::AzimuthZero, Term::TiltNorth, Term::TiltEast],
            ChangeKind::Lean => &[Term::TiltNorth, Term::TiltEast],
            ChangeKind::AzimuthSlip => &[Term::AzimuthZero],
            ChangeKind::ElevationSlip => &[Term::ElevationZero],
            ChangeKind::Dish => &[Term::ElevationZero, Term::Collimation],
            ChangeKind::Anything => &[
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
                // A mount that is set down again may face any direction; a large tilt would be
                // noticed.
                may_be: if *term == Term::AzimuthZero {
                    std::f64::consts::FRAC_PI_2
                } else {
                    glaring(*term)
                },
            })
            .collect()
    }

    /// The names of the terms that the change frees.
    pub fn term_names(self, mount: Mount) -> Vec<&'static str> {
        (self.terms().iter())
            .map(|change| mount.term_name(change.term))
            .collect()
    }

    /// Whether the change frees more than azimuth zero and tilt.
    pub fn frees_more_than_placement(self) -> bool {
        matches!(
            self,
            ChangeKind::ElevationSlip | ChangeKind::Dish | ChangeKind::Anything
        )
    }

    /// In words.
    pub fn in_words(self, mount: Mount) -> String {
        mount.said(match (self, mount.has_track()) {
            (ChangeKind::Lean, false) => {
                "a first axis that points elsewhere: a bolt or a bearing that gave way"
            }
            _ => self.plain_words(),
        })
    }

    /// In words for a mount with a track, with the placeholders of [`Mount::said`].
    fn plain_words(self) -> &'static str {
        match self {
            ChangeKind::Unmoved => "no change",
            ChangeKind::WholeMount => "a move of the whole mount",
            ChangeKind::Lean => {
                "a mount that leans differently: settled ground, or a foot that gave way"
            }
            ChangeKind::AzimuthSlip => "a slip of the <azimuth axis> or its encoder",
            ChangeKind::ElevationSlip => "a slip of the <elevation axis> or its encoder",
            ChangeKind::Dish => "a change in the dish or its feed",
            ChangeKind::Anything => "several changes at once",
        }
    }
}
