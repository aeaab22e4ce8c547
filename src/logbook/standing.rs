//! Objections to the use of a calibration, or of a table made from one.

use super::calibration::{Calibration, TermState};
use super::calibration_trust::{CauseRecord, ExpectedPointingError, Trust};
use crate::mount::Kind;
use crate::number::two_digits;
use crate::problem::printable;
use crate::text::quoted;

/// Objections to using the numbers of a calibration.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// It belongs to another station: its name, and that in the station file.
    pub foreign: Option<String>,
    /// It states that its numbers are meaningless: the reason.
    pub worthless: Option<String>,
    /// What it cannot be used for, with numbers.
    pub limited: Option<String>,
    /// What changed while its peaks were taken.
    pub changed: Option<String>,
}

impl Standing {
    /// Why it must not be used unless the user insists; `None` if nothing forbids it.
    pub fn refusal(&self) -> Option<String> {
        let why: Vec<&str> = [&self.foreign, &self.worthless]
            .into_iter()
            .flatten()
            .map(String::as_str)
            .collect();
        (!why.is_empty()).then(|| why.join("; "))
    }

    /// Warnings to be given when it is used, one sentence each.
    pub fn caveats(&self) -> Vec<String> {
        [&self.foreign, &self.worthless, &self.limited, &self.changed]
            .into_iter()
            .flatten()
            .cloned()
            .collect()
    }

    /// Objections that follow from this trust.
    pub fn of_trust(
        trust: Trust,
        reasons: &[String],
        expected: Option<&ExpectedPointingError>,
    ) -> Standing {
        let why = printable(&reasons.join("; "));
        let mut standing = Standing::default();
        match trust {
            Trust::Good => {}
            Trust::None => {
                standing.worthless = Some(match why.is_empty() {
                    true => "the calibration states that its numbers mean nothing".to_owned(),
                    false => format!("the calibration states that its numbers mean nothing: {why}"),
                });
            }
            Trust::Limited => {
                let mut said = match why.is_empty() {
                    true => {
                        "the calibration does not say how far it can be trusted, as older files \
                             did not"
                            .to_owned()
                    }
                    false => format!("the calibration is of limited use: {why}"),
                };
                if let Some(expected) = expected {
                    said.push_str(&format!("; {}", expectation(expected)));
                }
                standing.limited = Some(said);
            }
        }
        standing
    }
}

/// The expected pointing error in words.
fn expectation(expected: &ExpectedPointingError) -> String {
    format!(
        "the expected pointing error over the sky is {} deg rms ({} deg in 95 % of cases), at worst \
         {} deg, at azimuth {:.0} and elevation {:.0}",
        two_digits(expected.rms_deg),
        two_digits(expected.rms_95_deg),
        two_digits(expected.largest_deg),
        expected.at.azimuth_deg,
        expected.at.elevation_deg
    )
}

impl Calibration {
    /// Objections to using it at the station of that name with a mount of that kind.
    pub fn standing(&self, station: &str, mount: Kind) -> Standing {
        let mut standing = Standing::of_trust(
            self.trust,
            &self.reasons,
            self.expected_pointing_error.as_ref(),
        );
        if self.station != station {
            standing.foreign = Some(format!(
                "the calibration is of the station {}, the station file of {}",
                quoted(&self.station),
                quoted(station)
            ));
        }
        if self.kind() != mount {
            standing.foreign = Some(format!(
                "the calibration is of a mount of kind {}, the station file of one of kind {mount}",
                self.kind()
            ));
        }
        // Reasons already given name the terms themselves.
        let lost: Vec<&str> = (self.terms.iter())
            .filter(|(_, record)| record.state == TermState::NotSeparable)
            .map(|(name, _)| name.as_str())
            .collect();
        if self.reasons.is_empty() && !lost.is_empty() {
            standing.limited = Some(format!(
                "the calibration could not tell {} apart from other terms; where its peaks did not \
                 reach, the corrections may be wrong",
                lost.join(", ")
            ));
        }
        if !self.causes.is_empty() {
            let causes: Vec<String> = self.causes.iter().map(in_words).collect();
            standing.changed = Some(format!(
                "something changed while the peaks were taken, and the calibration holds for the end \
                 of the log: {}",
                causes.join(", ")
            ));
        }
        standing
    }
}

/// `base-knock of 0.21 deg from row 12 on`.
fn in_words(cause: &CauseRecord) -> String {
    let size = cause.size.map(|size| {
        let size = format!("{} {}", two_digits(size), cause.size_unit);
        format!(" of {}", size.trim_end())
    });
    let row = cause.row.map(|row| format!(" from row {row} on"));
    printable(&format!(
        "{}{}{}",
        cause.fault,
        size.unwrap_or_default(),
        row.unwrap_or_default()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::SkyPlace;

    fn calibration() -> Calibration {
        let text = include_str!("../../tests/data/invented/calibration.json");
        Calibration::parse("c", text.as_bytes()).unwrap()
    }

    #[test]
    fn no_objections_to_a_good_calibration_at_its_own_station() {
        let mut good = calibration();
        good.trust = Trust::Good;
        good.terms.retain(|_, r| r.state != TermState::NotSeparable);
        assert_eq!(
            good.standing("Mill meadow", Kind::AzEl),
            Standing::default()
        );
        let standing = good.standing("Hill", Kind::AzEl);
        assert_eq!(
            standing.refusal().unwrap(),
            "the calibration is of the station \"Mill meadow\", the station file of \"Hill\""
        );
    }

    #[test]
    fn limits_are_reported_with_their_numbers() {
        let mut limited = calibration();
        limited.reasons = vec!["one side of the sky".to_owned()];
        limited.expected_pointing_error = Some(ExpectedPointingError {
            rms_deg: 0.0413,
            rms_95_deg: 0.061,
            largest_deg: 12.34,
            at: SkyPlace {
                azimuth_deg: 210.0,
                elevation_deg: 85.0,
            },
            loss_db: None,
        });
        limited.causes = vec![CauseRecord {
            fault: "base-knock".to_owned(),
            axis: None,
            row: Some(12),
            size: Some(0.2149),
            size_unit: "deg".to_owned(),
            sigma: None,
        }];
        let standing = limited.standing("Mill meadow", Kind::AzEl);
        assert_eq!(standing.refusal(), None);
        assert_eq!(
            standing.caveats(),
            [
                "the calibration is of limited use: one side of the sky; the expected \
                 pointing error over the sky is 0.041 deg rms (0.061 deg in 95 % of cases), at \
                 worst 12 deg, at azimuth 210 and elevation 85",
                "something changed while the peaks were taken, and the calibration holds for the \
                 end of the log: base-knock of 0.21 deg from row 12 on"
            ]
        );
    }

    #[test]
    fn a_meaningless_calibration_is_refused_with_its_reasons() {
        let mut none = calibration();
        none.distrust(Trust::None, "the time zone is wrong".to_owned());
        let refusal = none.standing("Hill", Kind::AzEl).refusal().unwrap();
        assert!(
            refusal.contains("of the station \"Mill meadow\""),
            "{refusal}"
        );
        assert!(
            refusal.ends_with("mean nothing: the time zone is wrong"),
            "{refusal}"
        );
    }
}
