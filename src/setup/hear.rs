//! Which celestial emitters a dish can receive.

use super::rise::Rise;
use super::{LOWEST, SetupRequest};
use crate::angle::Angle;
use crate::plan::{FAINTEST_DB, Strength, strength};
use crate::problem::Error;
use crate::station::catalogue::{self, RadioSource};
use crate::station::{Dish, Emitter, EmitterKind};

/// Too faint to be found by hand, but detectable by averaging over a slow scan: by the radiometer
/// equation, relative noise of 1/sqrt(bandwidth x time), one megahertz for one second leaves 0.004
/// dB.
const FAINTEST_BY_SCAN_DB: f64 = 0.03;

/// How an emitter is treated in the station file.
#[derive(Clone, Debug, PartialEq)]
pub enum Use {
    /// Listed in the file.
    Listed,
    /// Commented out, and why.
    Commented(String),
    /// Left out, and why.
    LeftOut(String),
}

/// An emitter, its strength and its treatment.
#[derive(Clone, Debug)]
pub struct HeardEmitter {
    /// Name in the station file.
    pub emitter: Emitter,
    /// Catalogue entry, for a radio source.
    pub source: Option<&'static RadioSource>,
    /// Rise in noise that it causes; `None` if no flux is published for this frequency.
    pub strength: Option<Strength>,
    /// How high it rises here.
    pub rise: Rise,
    /// How it is treated in the file.
    pub becomes: Use,
}

/// Returns the Sun, the Moon and the sources of the catalogue; listed ones first, strongest first.
///
/// # Errors
/// If the dish has no usable beam at this frequency.
pub fn heard(request: &SetupRequest) -> Result<Vec<HeardEmitter>, Error> {
    let dish = Dish::with_usual_beam(request.diameter_m, request.frequency_mhz).ok_or_else(|| {
        Error::Usage(format!(
            "--dish {} --frequency {}: the dish is no wider than the wave is long and has no beam; \
             expected metres and megahertz",
            request.diameter_m, request.frequency_mhz
        ))
    })?;
    let latitude = request.latitude();
    let emitter = |name: &str, kind| Emitter {
        name: name.to_owned(),
        kind,
    };
    let make = |emitter: Emitter, source: Option<&'static RadioSource>, rise| {
        let strength_at = |frequency_mhz: f64| {
            let dish = Dish {
                frequency_mhz,
                ..dish
            };
            strength(&dish, &emitter, request.system_k())
        };
        let known = strength_at(request.frequency_mhz);
        // Outside the published range, the flux at its nearest end gives a rough estimate.
        let about = || {
            let source: &RadioSource = source?;
            let (low, high) = source.spectrum.valid_mhz;
            strength_at(request.frequency_mhz.clamp(low, high))
        };
        HeardEmitter {
            becomes: becomes(known, known.or_else(about), &rise, request.frequency_mhz),
            emitter,
            source,
            strength: known,
            rise,
        }
    };
    let mut all = vec![
        make(
            emitter("sun", EmitterKind::Sun),
            None,
            Rise::of_sun(latitude, LOWEST),
        ),
        make(
            emitter("moon", EmitterKind::Moon),
            None,
            Rise::of_moon(latitude, LOWEST),
        ),
    ];
    all.extend(catalogue::ALL.iter().map(|source| {
        let kind = EmitterKind::RadioSource {
            right_ascension: source.right_ascension,
            declination: source.declination,
        };
        let rise = Rise::of_source(source.declination, latitude, LOWEST);
        make(emitter(source.name, kind), Some(source), rise)
    }));
    let order = |h: &HeardEmitter| match h.becomes {
        Use::Listed => 0,
        Use::Commented(_) => 1,
        Use::LeftOut(_) => 2,
    };
    let decibels = |h: &HeardEmitter| h.strength.map_or(0.0, |s| s.decibels);
    all.sort_by(|a, b| (order(a).cmp(&order(b))).then(decibels(b).total_cmp(&decibels(a))));
    Ok(all)
}

fn becomes(
    known: Option<Strength>,
    about: Option<Strength>,
    rise: &Rise,
    frequency_mhz: f64,
) -> Use {
    if !rise.rises() {
        return Use::LeftOut("never rises at this latitude".to_owned());
    }
    if !rise.useful() {
        return Use::LeftOut(format!(
            "rises to {:.0} deg only, below the {:.0} deg under which the air bends most",
            rise.highest.1.degrees(),
            LOWEST.degrees()
        ));
    }
    let faint = "too faint for this dish".to_owned();
    match (known, about) {
        (Some(s), _) if s.decibels >= FAINTEST_DB => Use::Listed,
        (Some(s), _) if s.decibels >= FAINTEST_BY_SCAN_DB => Use::Commented(
            "too faint to peak by hand; slow scans with a receiver that averages may show it"
                .to_owned(),
        ),
        (None, Some(s)) if s.decibels >= FAINTEST_BY_SCAN_DB => Use::Commented(format!(
            "no published flux at {frequency_mhz} MHz is known here: use it if you know that you hear it"
        )),
        _ => Use::LeftOut(faint),
    }
}

impl HeardEmitter {
    /// The usual long name, where there is one.
    pub fn long_name(&self) -> Option<&'static str> {
        let first = self.source?.aliases.first()?;
        first
            .chars()
            .all(|c| c.is_alphabetic() || c == ' ')
            .then_some(*first)
    }

    /// Celestial position, if it is a radio source.
    pub fn celestial(&self) -> Option<(Angle, Angle)> {
        match self.emitter.kind {
            EmitterKind::RadioSource {
                right_ascension,
                declination,
            } => Some((right_ascension, declination)),
            _ => None,
        }
    }
}
