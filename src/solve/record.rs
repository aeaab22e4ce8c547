//! Conversion between mount terms and their records in a calibration file.

use crate::logbook::{Calibration, TermRecord, TermState};
use crate::mount::{FeedOffset, MountModel, Term, TermUnit, TermValues};
use crate::problem::{Error, Wrong};

/// The mount model that a calibration describes; a term that it does not list is zero.
///
/// # Errors
/// When a term has an unknown name or its value is not given in its unit. Neither happens with a
/// calibration read by [`Calibration::read`].
pub fn model_of(calibration: &Calibration) -> Result<MountModel, Error> {
    let geometry = calibration.mount.geometry();
    let mut values = TermValues::ZERO;
    for (name, record) in &calibration.terms {
        if FeedOffset::part_of(name).is_some() {
            continue;
        }
        let term = geometry.kind().term_by_name(name);
        let shown = term.and_then(|term| Some((term, shown_value(term, record)?)));
        let Some((term, shown)) = shown else {
            let wrong = Wrong::new(
                format!("the term {name} is unknown or lacks its value"),
                "a calibration as solve writes it",
            );
            return Err(wrong.of_file("calibration").into());
        };
        values.set_shown(term, shown);
    }
    Ok(MountModel::new(geometry, values))
}

/// The terms that a calibration held, with their values in internal units.
///
/// # Errors
/// As [`model_of`].
pub fn held_of(calibration: &Calibration) -> Result<Vec<(Term, f64)>, Error> {
    let model = model_of(calibration)?;
    Ok(Term::ALL
        .into_iter()
        .filter(|term| {
            calibration
                .term(*term)
                .is_some_and(|r| r.state == TermState::Held)
        })
        .map(|term| (term, model.terms().inside(term)))
        .collect())
}

/// The record of a term. `value` and `sigma` are in internal units: radians, a fraction or seconds.
pub fn record(term: Term, value: f64, sigma: Option<f64>, state: TermState) -> TermRecord {
    let shown = Some(term.unit().outward(value));
    let shown_sigma = sigma.map(|s| term.unit().outward(s));
    let mut record = TermRecord {
        value_deg: None,
        value: None,
        value_s: None,
        sigma_deg: None,
        sigma: None,
        sigma_s: None,
        prior_sigma_deg: None,
        prior_sigma: None,
        prior_sigma_s: None,
        state,
    };
    let (value_place, sigma_place) = match term.unit() {
        TermUnit::Angle => (&mut record.value_deg, &mut record.sigma_deg),
        TermUnit::Fraction => (&mut record.value, &mut record.sigma),
        TermUnit::Seconds => (&mut record.value_s, &mut record.sigma_s),
    };
    *value_place = shown;
    *sigma_place = shown_sigma;
    record
}

/// The record with the prior standard deviation of the term, in internal units.
pub fn with_prior(term: Term, mut record: TermRecord, prior: Option<f64>) -> TermRecord {
    let shown = prior.map(|p| term.unit().outward(p));
    match term.unit() {
        TermUnit::Angle => record.prior_sigma_deg = shown,
        TermUnit::Fraction => record.prior_sigma = shown,
        TermUnit::Seconds => record.prior_sigma_s = shown,
    }
    record
}

/// The value of a record in the unit of files, taken from the key of the term's unit.
fn shown_value(term: Term, record: &TermRecord) -> Option<f64> {
    match term.unit() {
        TermUnit::Angle => record.value_deg,
        TermUnit::Fraction => record.value,
        TermUnit::Seconds => record.value_s,
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::logbook::{FORMAT, MountRecord, Trust};
    use crate::mount::Kind;
    use crate::time::Utc;

    fn calibration(terms: BTreeMap<String, TermRecord>) -> Calibration {
        Calibration {
            format: FORMAT.to_owned(),
            created_utc: Utc::parse("2026-04-04T05:00:00Z").unwrap(),
            station: "Invented".to_owned(),
            mount: MountRecord::default(),
            terms,
            correlations: Vec::new(),
            peaks: Vec::new(),
            rms_before_deg: 1.0,
            rms_after_deg: 0.1,
            degrees_of_freedom: 1,
            expected_pointing_error: None,
            trust: Trust::Good,
            reasons: Vec::new(),
            causes: Vec::new(),
            joined_from: None,
            warnings: Vec::new(),
        }
    }

    #[test]
    fn a_model_survives_its_file() {
        let mut values = TermValues::ZERO;
        let mut terms = BTreeMap::new();
        for (i, term) in Term::ALL.into_iter().enumerate() {
            values.set_inside(term, 0.001 * (i as f64 + 1.0) / 3.0);
            let written = record(term, values.inside(term), Some(1e-4), TermState::Fitted);
            terms.insert(Kind::AzEl.term_name(term).to_owned(), written);
        }
        let calibration = calibration(terms);
        let read = Calibration::parse("c.json", calibration.to_json().as_bytes()).unwrap();
        assert_eq!(read, calibration);
        let model = model_of(&read).unwrap();
        // Conversion to degrees and back costs one rounding error per value.
        const ROUNDING: f64 = 1e-15;
        for term in Term::ALL {
            let off = model.terms().inside(term) - values.inside(term);
            assert!(off.abs() <= ROUNDING, "{term:?}: {off}");
        }
    }

    #[test]
    fn a_term_that_is_not_listed_is_zero_and_an_unknown_one_is_refused() {
        let mut calibration = calibration(Default::default());
        let model = model_of(&calibration).unwrap();
        assert_eq!(model.terms(), &TermValues::ZERO);
        let droop = record(Term::Droop, 0.01, None, TermState::Held);
        calibration.terms.insert("sag".to_owned(), droop);
        assert!(
            model_of(&calibration)
                .unwrap_err()
                .to_string()
                .contains("sag")
        );
    }

    #[test]
    fn a_record_holds_its_value_under_the_key_of_its_unit() {
        let angle = record(Term::Droop, 0.01, Some(0.001), TermState::Fitted);
        assert!((angle.value_deg.unwrap() - 0.01f64.to_degrees()).abs() < 1e-12);
        assert!((angle.sigma_deg.unwrap() - 0.001f64.to_degrees()).abs() < 1e-12);
        assert_eq!((angle.value, angle.value_s), (None, None));
        let scale = record(Term::AzimuthScale, 0.01, None, TermState::Held);
        assert_eq!((scale.value, scale.sigma), (Some(0.01), None));
        let clock = record(Term::ClockOffset, -1.5, Some(0.5), TermState::Fitted);
        assert_eq!((clock.value_s, clock.sigma_s), (Some(-1.5), Some(0.5)));
    }
}
