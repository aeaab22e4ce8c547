//! What a table can cover of what was asked, and the user's own grids.

use crate::angle::{Angle, EncoderReading};
use crate::mount::{ApproachSigns, AxisKind};
use crate::problem::Error;

use super::choose::{Chooser, CurvatureProfile, Span, Trial};
use super::correction_table::short;
use super::full::FullModel;
use super::grid::{Grid, GridAxis, MICRODEGREES_PER_DEGREE, Microdegrees, TURN};
use super::header::in_words;
use super::measure::{Density, Errors};
use super::request::TableRequest;

/// What can be covered, and how the full model bends over it.
pub(super) struct Spacing {
    pub span: Span,
    /// What the coordinates are called.
    axes: [&'static str; 2],
    pub profile: CurvatureProfile,
}

/// By itself a table goes this low toward the inner end of an axis that does not stand upright:
/// nearer, the corrections grow without limit.
const NEAR_THE_OTHER_END: Angle = Angle::from_degrees(80.0);

impl Spacing {
    pub fn of(full: &FullModel, request: &TableRequest) -> Result<Spacing, Error> {
        if !(request.tolerance > Angle::ZERO && request.tolerance.is_finite()) {
            return Err(Error::Usage("the tolerance must be above zero".to_owned()));
        }
        let (reach_low, reach_high) = reach(full);
        /// Rounding outward to whole degrees, a hair more than one is that one.
        const HAIR: f64 = 1e-9;
        let down = |angle: Angle| Angle::from_degrees((angle.degrees() + HAIR).floor());
        let up = |angle: Angle| Angle::from_degrees((angle.degrees() - HAIR).ceil());
        // Below the horizon only where the encoder's range says that the mount goes there.
        let floor = full.range.elevation.0.min(Angle::ZERO);
        // The lower end of an upright axis is below the ground, that of others may be in the sky:
        // near it the corrections grow as at the upper end.
        let floor = match full.mount.kind().is_az_el() {
            true => floor,
            false => floor.max(-NEAR_THE_OTHER_END),
        };
        let lowest = request.lowest.unwrap_or_else(|| down(reach_low.max(floor)));
        let highest = request
            .highest
            .unwrap_or_else(|| up(reach_high))
            .min(Angle::RIGHT);
        let hundredth = |angle: Angle| {
            let rounded = (angle.degrees() * 100.0).round();
            (rounded.abs() <= 9000.0)
                .then(|| Microdegrees(rounded as i32 * (MICRODEGREES_PER_DEGREE / 100)))
        };
        let [_, two] = full.mount.kind().axes().map(AxisKind::words);
        let bad = || {
            Error::Usage(format!(
                "a table from {two} {} to {} deg holds nothing; both must lie within -90 to \
                 90, the lowest first",
                short(lowest),
                short(highest)
            ))
        };
        let lowest_node = hundredth(lowest).ok_or_else(bad)?;
        let highest_node = hundredth(highest).ok_or_else(bad)?;
        if lowest_node >= highest_node {
            return Err(bad());
        }
        let (azimuth, one_turn) = if full.repeats_every_turn() {
            ((Microdegrees(0), Microdegrees(TURN)), true)
        } else {
            (unwrapped_azimuths(full, lowest, highest)?, false)
        };
        let span = Span {
            azimuth,
            one_turn,
            lowest: lowest_node,
            highest: highest_node,
        };
        Ok(Spacing {
            axes: full.mount.kind().axes().map(AxisKind::words),
            profile: CurvatureProfile::sample(full, &span),
            span,
        })
    }

    /// The best grid in a room: with the top that the user names, or the highest that will do.
    pub fn best<T>(
        &self,
        chooser: &Chooser<'_, T>,
        request: &TableRequest,
        room: usize,
    ) -> Option<Trial<T>> {
        match request.highest {
            Some(_) => chooser.smallest(self.span.highest.degrees(), request.tolerance, room),
            None => chooser.choose(request.tolerance, room),
        }
    }

    /// The grid with the user's own steps: up to the named top, or as high as the tolerance holds.
    pub fn with_steps<T>(
        &self,
        (across, up): (Angle, Angle),
        request: &TableRequest,
        attempt: &dyn Fn(Grid, Density) -> Option<(T, Errors)>,
    ) -> Result<Trial<T>, Error> {
        /// Below this elevation a table is not worth having, degrees; as the automatic choice has
        /// it.
        const LOWEST_TOP: f64 = 60.0;
        /// More nodes take tens of megabytes, which no controller has.
        const MOST_NODES: usize = 1_000_000;
        let step = |angle: Angle, what: &str| {
            Microdegrees::nearest(angle)
                .filter(|m| m.0 > 0)
                .ok_or_else(|| {
                    Error::Usage(format!("the {what} step must be above 0 and sensible"))
                })
        };
        let (across, up) = (step(across, self.axes[0])?, step(up, self.axes[1])?);
        let (first, last) = self.span.azimuth;
        let (first, last) = if self.span.one_turn {
            if TURN % across.0 != 0 || TURN / across.0 < 3 {
                return Err(Error::Usage(format!(
                    "the {} step of {} deg does not divide 360 deg into whole steps",
                    self.axes[0],
                    across.degrees()
                )));
            }
            (first, last)
        } else {
            // Outward to whole steps.
            let down = first.0.div_euclid(across.0) * across.0;
            let up = -(-last.0).div_euclid(across.0) * across.0;
            (Microdegrees(down), Microdegrees(up))
        };
        let span = self.span.highest.0 - self.span.lowest.0;
        let most_rows = match request.highest {
            Some(_) if span % up.0 != 0 => {
                return Err(Error::Usage(format!(
                    "the {} step of {} deg does not lead from {} to {} deg in whole steps",
                    self.axes[1],
                    up.degrees(),
                    self.span.lowest.degrees(),
                    self.span.highest.degrees()
                )));
            }
            _ => (span / up.0) as usize,
        };
        if most_rows == 0 {
            return Err(Error::Usage(format!(
                "the {} step of {} deg is larger than the whole table",
                self.axes[1],
                up.degrees()
            )));
        }
        let columns = ((last.0 - first.0) / across.0) as usize;
        if (columns + 1).saturating_mul(most_rows + 1) > MOST_NODES {
            return Err(Error::Usage(format!(
                "with these steps the table would have more than {MOST_NODES} nodes; take larger \
                 ones"
            )));
        }
        let grid = |rows: usize| {
            let top = Microdegrees(self.span.lowest.0 + up.0 * rows as i32);
            Some(Grid {
                azimuth: GridAxis::new(first, last, columns)?,
                elevation: GridAxis::new(self.span.lowest, top, rows)?,
                one_turn: self.span.one_turn,
            })
        };
        let measured = |rows: usize, density: Density| {
            let grid = grid(rows)?;
            let (built, errors) = attempt(grid, density)?;
            errors.on_sky.is_finite().then_some(Trial {
                grid,
                built,
                errors,
            })
        };
        if request.highest.is_some() {
            return measured(most_rows, Density::Full).ok_or_else(|| {
                Error::Unsupported(format!(
                    "a table up to {} {} deg runs into the keyhole; take a lower --highest",
                    self.axes[1],
                    self.span.highest.degrees()
                ))
            });
        }
        let least_rows = ((LOWEST_TOP - self.span.lowest.degrees()) / up.degrees()).ceil();
        let least_rows = (least_rows as usize).clamp(1, most_rows.max(1));
        let good = |rows: usize, density: Density| {
            measured(rows, density).filter(|trial| trial.errors.keep_to(request.tolerance))
        };
        // The error grows with the top: the highest that will do is found by halving, in sketches.
        let (mut fits, mut fails) = (least_rows, most_rows + 1);
        while fails - fits > 1 {
            let middle = fits + (fails - fits) / 2;
            if good(middle, Density::Sketch).is_some() {
                fits = middle;
            } else {
                fails = middle;
            }
        }
        // The full measurement may find a little more than a sketch.
        let found = (least_rows..=fits)
            .rev()
            .take(5)
            .find_map(|rows| good(rows, Density::Full));
        found.ok_or_else(|| {
            let error = measured(least_rows, Density::Full)
                .map_or("without bound".to_owned(), |trial| {
                    format!("{} deg", in_words(trial.errors.on_sky.degrees()))
                });
            Error::Unsupported(format!(
                "with steps of {} and {} deg the interpolation error is {error} even for a table that ends at {} {} deg, and {} deg are allowed; take smaller steps, allow more with --tolerance, or name --highest to take it all the same",
                across.degrees(),
                up.degrees(),
                self.axes[1],
                self.span.lowest.degrees() + up.degrees() * least_rows as f64,
                in_words(request.tolerance.degrees())
            ))
        })
    }
}

/// The lowest and highest demanded elevation that the elevation encoder's range reaches.
fn reach(full: &FullModel) -> (Angle, Angle) {
    /// Places round the first axis, every ten degrees, at which readings are traced to demands.
    const AROUND: i32 = 36;
    /// Places along the second axis.
    const ALONG: i32 = 90;
    let (low, high) = full.range.elevation;
    let demand = |azimuth: i32, elevation: Angle| {
        let reading = EncoderReading {
            azimuth: Angle::TURN * (f64::from(azimuth) / f64::from(AROUND)),
            elevation,
        };
        let beam = full.mount.beam(reading, ApproachSigns::UNKNOWN);
        full.own_demand_of(&beam).1
    };
    let mut lowest = Angle::RIGHT;
    let mut highest = -Angle::RIGHT;
    for azimuth in 0..AROUND {
        lowest = lowest.min(demand(azimuth, low));
        for i in 0..=ALONG {
            let elevation = low + (high - low) * (f64::from(i) / f64::from(ALONG));
            highest = highest.max(demand(azimuth, elevation));
        }
    }
    (lowest, highest)
}

/// The unwrapped demanded azimuths that belong to the encoder's range, outward to whole
/// sixths of a turn.
fn unwrapped_azimuths(
    full: &FullModel,
    lowest: Angle,
    highest: Angle,
) -> Result<(Microdegrees, Microdegrees), Error> {
    /// Toward the azimuth axis, from here on, the readings stray far from the demands; there the
    /// ends of the cable's range are lost first.
    const HIGH: Angle = Angle::from_degrees(85.0);
    /// Degrees that readings may stray before the ends of the range are given up there.
    const MOST_STRAY: Angle = Angle::from_degrees(30.0);
    /// The ends of a table are multiples of sixty degrees.
    const SIXTH: i32 = TURN / 6;
    let (low, high) = full.range.azimuth;
    let mut stray = Angle::ZERO;
    for turn in 0..36 {
        for i in 0..=20 {
            let azimuth = Angle::from_degrees(f64::from(turn) * 10.0);
            let up = lowest + (highest.min(HIGH).max(lowest) - lowest) * (f64::from(i) / 20.0);
            if let Ok(reading) = full.reading(azimuth, up) {
                let rough = full.rough_demand_azimuth(reading.azimuth);
                stray = stray.max((rough - azimuth).abs());
            }
        }
    }
    let stray = stray.min(MOST_STRAY);
    let ends = (
        Microdegrees::nearest(full.rough_demand_azimuth(low) - stray),
        Microdegrees::nearest(full.rough_demand_azimuth(high) + stray),
    );
    let ends = match ends {
        (Some(a), Some(b)) if a < b && b.0 < i32::MAX - SIXTH && a.0 > i32::MIN + SIXTH => (a, b),
        _ => {
            return Err(Error::Unsupported(
                full.mount
                    .kind()
                    .said("the <azimuth> encoder's range is too wide for a table"),
            ));
        }
    };
    Ok((
        Microdegrees(ends.0.0.div_euclid(SIXTH) * SIXTH),
        Microdegrees(-(-ends.1.0).div_euclid(SIXTH) * SIXTH),
    ))
}
