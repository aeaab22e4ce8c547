//! The options that choose terms, shared by several verbs.

use clap::Args;

use crate::logbook::AZIMUTH_READING;
use crate::mount::{Group, Kind, Term, TermUnit};
use crate::problem::{Error, nearest_name};
use crate::quantity::Quantity;

/// Which terms to fit and which to hold.
#[derive(Args, Clone, Debug, Default)]
pub struct TermOptions {
    /// Fit exactly these terms, separated by commas; with a + before each name, these in
    /// addition to the two zeros, tilt and collimation
    #[arg(long, value_name = "TERMS", value_delimiter = ',', long_help = terms_help())]
    pub terms: Vec<String>,
    /// Hold a term at a value, in degrees (a scale as a fraction, the clock in seconds)
    #[arg(long, value_name = "TERM=VALUE", long_help = hold_help())]
    pub hold: Vec<String>,
}

/// The help of `--terms`, with every name.
fn terms_help() -> String {
    format!(
        "Fit exactly these terms, separated by commas; with a + before each name, these in addition \
         to the two zeros, tilt and collimation. A term brings the others of its group. The names: {}",
        all_names()
    )
}

/// The help of `--hold`, with every name.
fn hold_help() -> String {
    format!(
        "Hold a term at a value, in degrees (a scale as a fraction, the clock in seconds), such as \
         collimation=0.3. The names: {}",
        all_names()
    )
}

fn all_names() -> String {
    format!(
        "{}; on polar and x-y mounts {}",
        Kind::AzEl.term_names().join(", "),
        Kind::names_of_any()[Kind::AzEl.term_names().len()..].join(", ")
    )
}

impl TermOptions {
    /// The list of terms to fit; none when the data are to choose.
    ///
    /// # Errors
    /// An unknown name.
    pub fn listed(&self, mount: Kind) -> Result<Option<Vec<Term>>, Error> {
        if self.terms.is_empty() {
            return Ok(None);
        }
        let mut listed = Vec::new();
        for name in &self.terms {
            let bare = match name.strip_prefix('+') {
                Some(bare) => {
                    listed.extend(Term::BASIC);
                    bare
                }
                None => name,
            };
            listed.extend(terms_named(mount, bare.trim())?);
        }
        listed.sort();
        listed.dedup();
        Ok(Some(listed))
    }

    /// The held terms with their inside values.
    ///
    /// # Errors
    /// A text that is not name=number, an unknown name, a value beyond sense, a term held twice,
    /// or one that `--terms` names to be fitted.
    pub fn held(&self, mount: Kind) -> Result<Vec<(Term, f64)>, Error> {
        let mut held: Vec<(Term, f64)> = Vec::new();
        for text in &self.hold {
            let (term, value) = hold(mount, text)?;
            let name = mount.term_name(term);
            if held.iter().any(|(other, _)| *other == term) {
                return Err(Error::Usage(format!(
                    "{name} is held twice: leave out one --hold {name}=..."
                )));
            }
            // With its group or the basic terms a term may be listed and held: the rest is fitted.
            if (self.terms.iter()).any(|t| t.trim().trim_start_matches('+') == name) {
                return Err(Error::Usage(format!(
                    "--terms fits {name} and --hold holds it: leave out one of the two"
                )));
            }
            held.push((term, value));
        }
        Ok(held)
    }
}

/// The term and the inside value in a text such as `collimation=0.3`.
fn hold(mount: Kind, text: &str) -> Result<(Term, f64), Error> {
    let wrong = || {
        Error::Usage(format!(
            "--hold {text:?}: expected a term, an equals sign and a number, such as collimation=0.3"
        ))
    };
    let (name, written) = text.split_once('=').ok_or_else(wrong)?;
    let term = term_named(mount, name.trim())?;
    let value: f64 = written.trim().parse().map_err(|_| wrong())?;
    let value = (holdable(term).check(mount.term_name(term), written.trim(), value))
        .map_err(|w| Error::Usage(format!("--hold: {}; expected {}", w.found, w.expected)))?;
    Ok((term, term.unit().inward(value)))
}

/// What a term may be held at. Beyond it no mount is, and the pointing equations mean nothing
/// (common practice, no source).
fn holdable(term: Term) -> Quantity {
    match (term, term.unit()) {
        // As many turns as a reading may have.
        (Term::AzimuthZero, _) => AZIMUTH_READING,
        (Term::ElevationZero, _) => Quantity::new(-360.0, 360.0, "degrees from -360 to 360"),
        (_, TermUnit::Angle) => Quantity::new(-45.0, 45.0, "degrees from -45 to 45"),
        (_, TermUnit::Fraction) => Quantity::new(-0.5, 0.5, "a fraction from -0.5 to 0.5"),
        (_, TermUnit::Seconds) => {
            Quantity::new(-86_400.0, 86_400.0, "seconds from -86400 to 86400, a day")
        }
    }
}

/// A term, or a group's terms by the part of the name that they share: `tilt`,
/// `azimuth-runout`, `track-warp`, `polar-axis`, `lower-axis`.
fn terms_named(mount: Kind, name: &str) -> Result<Vec<Term>, Error> {
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

fn term_named(mount: Kind, name: &str) -> Result<Term, Error> {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn held(terms: &[&str], hold: &[&str]) -> Result<Vec<(Term, f64)>, String> {
        let owned = |texts: &[&str]| texts.iter().map(|t| (*t).to_owned()).collect();
        let options = TermOptions {
            terms: owned(terms),
            hold: owned(hold),
        };
        options.held(Kind::AzEl).map_err(|e| {
            assert_eq!(e.exit_code(), 2);
            e.to_string()
        })
    }

    #[test]
    fn a_term_is_held_once_and_not_fitted_too() {
        assert!(
            held(&[], &["collimation=1", "collimation=2"])
                .unwrap_err()
                .contains("collimation is held twice")
        );
        for named in ["droop", "+droop"] {
            assert!(
                held(&[named], &["droop=0.1"])
                    .unwrap_err()
                    .contains("leave out one of the two")
            );
        }
        // Half of a group, or one of the basic terms.
        assert_eq!(held(&["tilt"], &["tilt-east=0"]).unwrap().len(), 1);
        assert_eq!(held(&["+droop"], &["collimation=0"]).unwrap().len(), 1);
    }

    #[test]
    fn only_values_that_a_mount_can_have_are_held() {
        assert_eq!(
            held(&[], &["clock-offset=1e9"]).unwrap_err(),
            "--hold: clock-offset is 1e9; expected seconds from -86400 to 86400, a day"
        );
        for absurd in [
            "collimation=50",
            "droop=-1e6",
            "azimuth-scale=3",
            "elevation-zero=400",
        ] {
            assert!(held(&[], &[absurd]).is_err(), "{absurd}");
        }
        for bad in ["droop=nan", "droop=inf", "droop=", "droop", "drop=1"] {
            assert!(held(&[], &[bad]).is_err(), "{bad}");
        }
        let taken = [
            "azimuth-zero=725",
            "clock-offset=-3600",
            "elevation-zero=-90",
        ];
        assert_eq!(held(&[], &taken).unwrap().len(), 3);
    }
}
