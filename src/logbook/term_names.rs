//! Names of terms as users type them, and the values they may be held at.

use super::axes::AZIMUTH_READING;
use crate::mount::{Group, Kind, Term, TermUnit};
use crate::problem::{Error, nearest_name};
use crate::quantity::Quantity;

/// Values that a term may be held at. No mount is outside this range, and the pointing equations
/// would be meaningless there (common practice, no source).
pub fn holdable(term: Term) -> Quantity {
    match (term, term.unit()) {
        // As many turns as a reading may include.
        (Term::AzimuthZero, _) => AZIMUTH_READING,
        (Term::ElevationZero, _) => Quantity::new(-360.0, 360.0, "degrees from -360 to 360"),
        (_, TermUnit::Angle) => Quantity::new(-45.0, 45.0, "degrees from -45 to 45"),
        (_, TermUnit::Fraction) => Quantity::new(-0.5, 0.5, "a fraction from -0.5 to 0.5"),
        (_, TermUnit::Seconds) => {
            Quantity::new(-86_400.0, 86_400.0, "seconds from -86400 to 86400, a day")
        }
    }
}

/// Returns a term, or the terms of a group by the part of the name that they share: `tilt`,
/// `azimuth-runout`, `track-warp`, `polar-axis`, `lower-axis`.
///
/// # Errors
/// As [`term_named`].
pub fn terms_named(mount: Kind, name: &str) -> Result<Vec<Term>, Error> {
    let parts = Group::ALL.into_iter().find(|group| {
        let names: Vec<&str> = (group.terms())
            .filter(|t| mount.has(*t))
            .map(|t| mount.term_name(t))
            .collect();
        names.len() == 2
            && (names.iter()).all(|n| {
                n.strip_prefix(name)
                    .is_some_and(|rest| rest.starts_with('-'))
            })
    });
    match parts {
        Some(group) => Ok(group.terms().collect()),
        None => term_named(mount, name).map(|t| vec![t]),
    }
}

/// Returns the term of that name on a mount of that kind.
///
/// # Errors
/// [`Error::Usage`] for an unknown name, with the nearest one.
pub fn term_named(mount: Kind, name: &str) -> Result<Term, Error> {
    mount.term_by_name(name).ok_or_else(|| {
        let names = mount.term_names();
        Error::Usage(match (mount.others_with(name), nearest_name(name, names.iter().copied())) {
            (Some(others), _) => format!(
                "{name} is a term of {others} mounts, and this one is of kind {mount}: its terms are \
                 {}",
                names.join(", ")
            ),
            (None, Some(near)) => format!("unknown term {name:?}; did you mean {near:?}?"),
            (None, None) => {
                format!("unknown term {name:?}; the terms are {}", names.join(", "))
            }
        })
    })
}
