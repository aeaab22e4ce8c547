//! A polar mount with one motor on the arc of geostationary satellites: what the motor corrects,
//! and the settings of its three bolts by hand.
//!
//! The motor follows the hour angle of each satellite. What remains is how far the beam then passes
//! north or south of it: a part that is the same all along the arc (the declination bolt), a part
//! that is largest on the meridian (the altitude bolt), and one with opposite signs in east and
//! west (the azimuth bolt). They are found by least squares through the full model.

use nalgebra::{DMatrix, DVector};

use super::misaligned::turns;
use super::outcome::Outcome;
use super::significant::{KEEP_CLEAR, Words};
use crate::angle::{Angle, Apparent, Direction};
use crate::logbook::TermState;
use crate::mount::{ApproachSigns, Kind, MountModel, Pole, Term};
use crate::number::{by_sigma, significant, two_digits};
use crate::sky::geostationary_arc;
use crate::station::Station;

/// Satellites lower than this are left out: atmosphere and obstacles make them useless (common
/// practice, no source).
const LOWEST: Angle = Angle::from_degrees(5.0);
/// The bolts, as the model terms that they change: declination bolt of the dish, altitude and
/// azimuth bolts of the polar axis.
const BOLTS: [Term; 3] = [Term::ElevationZero, Term::TiltNorth, Term::TiltEast];
/// Fewer peaks with a declination do not determine three bolts: three unknowns need three
/// equations.
const LEAST_BY_HAND: usize = 3;
/// Fewer places of the arc do not separate three bolts.
const LEAST_PLACES: usize = 10;

/// Distance of the beam from the arc.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Miss {
    /// RMS over all its places.
    pub rms: Angle,
    /// The largest, as an absolute value.
    pub largest: Angle,
    /// The longitude of the largest.
    pub at: Angle,
}

/// A mount with one motor on the arc.
#[derive(Clone, Debug)]
pub struct ArcAlignment {
    /// Longitude of one end of its reach, limited by its hour angle range and horizon.
    pub from: Angle,
    /// Longitude of the other end.
    pub to: Angle,
    /// With the mount as it is.
    pub now: Miss,
    /// With the bolts set.
    pub then: Miss,
    /// Change by each bolt of the beam or the axis, with the signs of the terms: the dish north,
    /// the axis high, the axis east.
    pub changes: [Angle; 3],
}

/// The places of the arc that the mount reaches, with the required directions of the beam.
fn places(station: &Station, model: &MountModel) -> Vec<(Angle, Direction<Apparent>)> {
    let (low, high) = station.mount.azimuth_range;
    let middle = (low + high) / 2.0;
    geostationary_arc(station, LOWEST)
        .into_iter()
        .filter(|(_, there)| {
            readings(model, there, middle).is_some_and(|[one, _]| one >= low && one <= high)
        })
        .collect()
}

/// The required readings of both axes.
fn readings(model: &MountModel, there: &Direction<Apparent>, near: Angle) -> Option<[Angle; 2]> {
    let both = model.readings(there, ApproachSigns::UNKNOWN).ok()?;
    let one = both.direct.azimuth.nearest_turn_to(near);
    Some([one, both.direct.elevation])
}

/// Distance by which the beam passes south of each place when the second axis reads `fixed`.
fn misses(model: &MountModel, places: &[(Angle, Direction<Apparent>)], fixed: Angle) -> Vec<Angle> {
    let miss = |there| {
        let needed = readings(model, there, Angle::ZERO).map_or(fixed, |[_, two]| two);
        (needed - fixed).wrapped_signed()
    };
    places.iter().map(|(_, there)| miss(there)).collect()
}

fn of(places: &[(Angle, Direction<Apparent>)], misses: &[Angle]) -> Miss {
    let squares: f64 = misses.iter().map(|m| m.radians().powi(2)).sum();
    let rms = (squares / misses.len().max(1) as f64).sqrt();
    let (at, largest) = (places.iter().zip(misses))
        .map(|((longitude, _), miss)| (*longitude, miss.abs()))
        .fold((Angle::ZERO, Angle::ZERO), |most, one| {
            if one.1 > most.1 { one } else { most }
        });
    Miss {
        rms: Angle::from_radians(rms),
        largest,
        at,
    }
}

/// The required changes of the bolts of a mount with one motor; `None` for any other mount, or
/// where hardly any of the arc is in reach.
///
/// # Units
/// Angles; changes are to be ADDED to the terms of the same names.
pub fn arc(station: &Station, model: &MountModel) -> Option<ArcAlignment> {
    /// A small change of a term, radians: the model is smooth.
    const STEP: f64 = 1e-4;
    /// Newton steps: the misses are nearly linear in the bolts.
    const ROUNDS: usize = 3;
    let fixed = station.mount.fixed_declination?;
    let places = places(station, model);
    if places.len() < LEAST_PLACES {
        return None;
    }
    let now = misses(model, &places, fixed);
    let mut terms = *model.terms();
    let mut left = now.clone();
    for _ in 0..ROUNDS {
        let lever = |term: Term| {
            let mut moved = terms;
            moved.set_inside(term, terms.inside(term) + STEP);
            let moved = misses(&model.with_terms(moved), &places, fixed);
            (moved.iter().zip(&left))
                .map(|(m, l)| (*m - *l).radians() / STEP)
                .collect::<Vec<f64>>()
        };
        let columns: Vec<DVector<f64>> =
            BOLTS.iter().map(|t| DVector::from_vec(lever(*t))).collect();
        let levers = DMatrix::from_columns(&columns);
        let target = DVector::from_iterator(left.len(), left.iter().map(|m| -m.radians()));
        let step = levers.svd(true, true).solve(&target, 1e-9).ok()?;
        for (term, by) in BOLTS.into_iter().zip(step.iter()) {
            terms.set_inside(term, terms.inside(term) + by);
        }
        left = misses(&model.with_terms(terms), &places, fixed);
    }
    let changes = BOLTS.map(|t| Angle::from_radians(terms.inside(t) - model.terms().inside(t)));
    Some(ArcAlignment {
        from: places.first()?.0,
        to: places.last()?.0,
        now: of(&places, &now),
        then: of(&places, &left),
        changes,
    })
}

/// Instructions by hand, bolt by bolt; `None` for a mount with two motors.
pub(super) fn by_hand(outcome: &Outcome, station: &Station) -> Option<Words> {
    let fixed = station.mount.fixed_declination?;
    let found = arc(station, &outcome.model)?;
    let sigma = |term: Term| {
        let estimate = outcome.terms.iter().find(|t| t.term == term)?;
        let sigma = estimate
            .sigma
            .filter(|_| estimate.state == TermState::Fitted)?;
        Some(Angle::from_radians(sigma)).filter(|s| *s < station.dish.beamwidth / 4.0)
    };
    let sigmas = BOLTS.map(sigma);
    let loss = |miss: Angle| significant(station.dish.loss_db(miss), 2);
    let degrees = |angle: Angle| significant(angle.degrees(), 2);
    let range = format!(
        "longitudes {:.0} to {:.0} deg (east positive)",
        found.from.degrees(),
        found.to.degrees()
    );
    // A peak in hour angle alone only shows that its satellite was within the beam.
    let by_hand = (outcome.peaks.iter())
        .filter(|p| p.used && p.elevation_sigma < station.dish.beamwidth / 8.0)
        .count();
    if by_hand < LEAST_BY_HAND || sigmas.iter().all(Option::is_none) {
        let title =
            "Whether the one motor follows the arc of geostationary satellites is not known: \
                    the peaks do not tell in declination"
                .to_owned();
        let text = "Loosen the declination bolt and peak three satellites by hand in declination too: one \
                   near the meridian, one far east, one far west. Log what a level on the dish then \
                   says as declination_deg, and solve again: each bolt gets its number."
                .to_owned();
        return Some((title, vec![text], KEEP_CLEAR));
    }
    let outer = match station.mount.kind() {
        Kind::Polar(Pole::South) => "south",
        _ => "north",
    };
    let number = |value: Angle, sigma: Angle| {
        format!(
            "{} +/- {} deg",
            by_sigma(value.degrees().abs(), sigma.degrees()),
            two_digits(sigma.degrees())
        )
    };
    let by_bolt = |value: Angle| match station.mount.bearings.polar_bolts {
        Some(bolts) => format!(
            ", {} turns of its bolt",
            significant(turns(bolts, value.abs().radians()), 2)
        ),
        None => String::new(),
    };
    let word = |value: Angle, more: &'static str, less: &'static str| {
        if value > Angle::ZERO { more } else { less }
    };
    let mut steps = vec![format!(
        "The motor brings each satellite to the beam in hour angle by itself, with the correction of \
         this calibration. Over the {range} the beam then passes up to {} deg beside ({} dB lost, at \
         longitude {:.0}), {} deg rms. That is set by hand:",
        degrees(found.now.largest),
        loss(found.now.largest),
        found.now.at.degrees(),
        degrees(found.now.rms),
    )];
    let [dish, high, east] = found.changes;
    let not_told = |bolt: &str| format!("{bolt} bolt: these peaks do not determine; leave it.");
    steps.push(match sigmas[0] {
        Some(sigma) => format!(
            "Declination bolt: set the dish {} further {}: an offset of {:.2} deg in place of {:.2}.",
            number(dish, sigma),
            word(dish, "north", "south"),
            (fixed + dish).degrees(),
            fixed.degrees()
        ),
        None => not_told("Declination"),
    });
    steps.push(match sigmas[1] {
        Some(sigma) => format!(
            "Altitude bolt: {} the polar axis's {outer} end by {}{}.",
            word(high, "raise", "lower"),
            number(high, sigma),
            by_bolt(high)
        ),
        None => not_told("Altitude"),
    });
    let about = 1.0 / station.site.latitude.cos().max(1e-3);
    steps.push(match sigmas[2] {
        Some(sigma) => format!(
            "Azimuth bolt: turn the polar axis's {outer} end {} by {}{}.",
            word(east, "east", "west"),
            number(east * about, sigma * about),
            by_bolt(east * about)
        ),
        None => not_told("Azimuth"),
    });
    if sigmas.iter().all(Option::is_some) {
        steps.push(format!(
            "With all three set up to {} deg is left ({} dB), {} deg rms: a dish at one declination follows \
             the arc no better. Move one at a time and a little at first, then measure again.",
            degrees(found.then.largest),
            loss(found.then.largest),
            degrees(found.then.rms)
        ));
    }
    let title = format!(
        "With its one motor the mount passes the arc of geostationary satellites by up to {} deg",
        degrees(found.now.largest)
    );
    Some((title, steps, KEEP_CLEAR))
}
