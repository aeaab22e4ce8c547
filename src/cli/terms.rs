//! The options that choose terms, shared by several verbs.

use clap::Args;

use crate::explain::Options;
use crate::logbook::{holdable, term_named, terms_named};
use crate::mount::{Kind, Term};
use crate::problem::Error;

/// Which terms to fit, to hold and to leave out.
#[derive(Args, Clone, Debug, Default)]
pub struct TermOptions {
    /// Fit exactly these terms, separated by commas; with a + before each name, these in
    /// addition to the two zeros, tilt and collimation
    #[arg(long, value_name = "TERMS", value_delimiter = ',', long_help = terms_help())]
    pub terms: Vec<String>,
    /// Hold a term at a value, in degrees (a scale as a fraction, the clock in seconds)
    #[arg(long, value_name = "TERM=VALUE", long_help = hold_help())]
    pub hold: Vec<String>,
    /// Fit these terms too, whatever the data say of them, separated by commas; which others are
    /// fitted is left to the data
    #[arg(long, value_name = "TERMS", value_delimiter = ',')]
    pub add: Vec<String>,
    /// Do not fit these terms, separated by commas; that they may be there all the same is in the
    /// expected pointing error
    #[arg(long, value_name = "TERMS", value_delimiter = ',')]
    pub leave_out: Vec<String>,
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
    /// The options of an explanation with what these say.
    ///
    /// # Errors
    /// An unknown name, a value beyond sense, a term of which two things are said.
    pub fn options(&self, mount: Kind) -> Result<Options, Error> {
        let named = |names: &[String]| -> Result<Vec<Term>, Error> {
            let terms = names.iter().map(|name| terms_named(mount, name.trim()));
            Ok(terms.collect::<Result<Vec<_>, _>>()?.concat())
        };
        let (also, without) = (named(&self.add)?, named(&self.leave_out)?);
        let (terms, holds) = (self.listed(mount)?, self.held(mount)?);
        let twice = |term: &Term, one: &str, other: &str| {
            Error::Usage(format!(
                "{} stands in {one} and in {other}: leave out one of the two",
                mount.term_name(*term)
            ))
        };
        if let Some(term) = without.iter().find(|t| also.contains(t)) {
            return Err(twice(term, "--add", "--leave-out"));
        }
        for (option, terms) in [("--add", &also), ("--leave-out", &without)] {
            if let Some((term, _)) = holds.iter().find(|(t, _)| terms.contains(t)) {
                return Err(twice(term, option, "--hold"));
            }
        }
        if let Some(term) = without
            .iter()
            .find(|t| terms.iter().flatten().any(|l| l == *t))
        {
            return Err(twice(term, "--leave-out", "--terms"));
        }
        Ok(Options {
            terms,
            also,
            without,
            holds,
            ..Options::default()
        })
    }

    /// The list of terms to fit; none when the data are to choose.
    ///
    /// # Errors
    /// An unknown name.
    fn listed(&self, mount: Kind) -> Result<Option<Vec<Term>>, Error> {
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
    fn held(&self, mount: Kind) -> Result<Vec<(Term, f64)>, Error> {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn held(terms: &[&str], hold: &[&str]) -> Result<Vec<(Term, f64)>, String> {
        let owned = |texts: &[&str]| texts.iter().map(|t| (*t).to_owned()).collect();
        let options = TermOptions {
            terms: owned(terms),
            hold: owned(hold),
            ..TermOptions::default()
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
    fn a_term_is_added_or_left_out_or_held() {
        let said = |add: &str, leave_out: &str, hold: &[&str], terms: &[&str]| {
            let owned = |texts: &[&str]| texts.iter().map(|t| (*t).to_owned()).collect();
            let list = |text: &str| match text {
                "" => Vec::new(),
                text => vec![text.to_owned()],
            };
            let options = TermOptions {
                terms: owned(terms),
                hold: owned(hold),
                add: list(add),
                leave_out: list(leave_out),
            };
            options.options(Kind::AzEl).map_err(|e| e.to_string())
        };
        let taken = said("azimuth-runout", "droop", &["collimation=0"], &[]).unwrap();
        assert_eq!(taken.also, [Term::AzimuthRunoutCos, Term::AzimuthRunoutSin]);
        assert_eq!(taken.without, [Term::Droop]);
        assert_eq!(taken.terms, None);
        assert_eq!(
            said("droop", "droop", &[], &[]).unwrap_err(),
            "droop stands in --add and in --leave-out: leave out one of the two"
        );
        assert!(said("droop", "", &["droop=0"], &[]).is_err());
        assert!(said("", "droop", &["droop=0"], &[]).is_err());
        assert!(said("", "collimation", &[], &["+droop"]).is_err());
        assert!(
            said("drop", "", &[], &[])
                .unwrap_err()
                .contains("did you mean")
        );
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
