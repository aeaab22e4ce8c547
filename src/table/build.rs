//! From a request to a finished table: what can be covered, the grid, the measured errors, and
//! what the user should know of it.

use crate::angle::Angle;
use crate::mount::{AxisKind, Term};
use crate::problem::Error;

use super::c_header::FirmwareTable;
use super::choose::{Chooser, Trial};
use super::correction_table::{CorrectionTable, Nodes, short};
use super::demand::DemandKind;
use super::full::FullModel;
use super::grid::Grid;
use super::header::{Header, NO_PLAY_DEG, Provenance, in_words};
use super::integer::{CellWidth, IntegerTable};
use super::measure::{Density, Errors, measure};
use super::request::TableRequest;
use super::spacing::Spacing;
use super::tuned::{BOTTOMS_TRIED_DEG, FACTOR_OF_A_LOOSER_TOLERANCE, MOST_STEPS_OF_TOLERANCE};

/// Rooms tried one after the other for a table in a file, in nodes: a file of half a megabyte, and
/// one of five.
const FILE_ROOMS: [usize; 2] = [10_000, 100_000];
/// Rooms tried for firmware when none is named, in bytes: a sixteenth, a quarter and the whole of
/// the 32 KiB of program memory that a common 8-bit controller has.
const FIRMWARE_ROOMS: [usize; 3] = [2 * 1024, 8 * 1024, 32 * 1024];
/// A smaller size is taken when its table reaches at least this high, degrees: an az-el mount
/// cannot follow much nearer to the zenith.
const HIGH_ENOUGH: f64 = 85.0;

/// The first trial that reaches high enough, else the one that reaches highest.
fn first_high<T>(trials: impl Iterator<Item = Trial<T>>) -> Option<Trial<T>> {
    let top = |trial: &Trial<T>| trial.grid.elevation.last();
    let mut best: Option<Trial<T>> = None;
    for trial in trials {
        if top(&trial).degrees() >= HIGH_ENOUGH {
            return Some(trial);
        }
        if best.as_ref().is_none_or(|b| top(&trial) > top(b)) {
            best = Some(trial);
        }
    }
    best
}

/// A finished table with what the user should know of it.
#[derive(Clone, Debug)]
pub struct Finished<T> {
    /// The table.
    pub table: T,
    /// Sentences for the screen.
    pub notes: Vec<String>,
    /// What the user must know even when told to be quiet.
    pub warnings: Vec<String>,
}

/// The table for CSV and JSON.
///
/// # Errors
/// [`Error::Unsupported`] when no sensible grid keeps to the tolerance, [`Error::Usage`] when
/// the request contradicts itself.
pub fn table(
    full: &FullModel,
    request: &TableRequest,
    provenance: &Provenance,
) -> Result<Finished<CorrectionTable>, Error> {
    from_low_enough(full, request, |request| {
        table_from(full, request, provenance)
    })
}

fn table_from(
    full: &FullModel,
    request: &TableRequest,
    provenance: &Provenance,
) -> Result<Finished<CorrectionTable>, Error> {
    let spacing = Spacing::of(full, request)?;
    let attempt = |grid: Grid, density: Density| {
        let nodes = Nodes::of(full, grid)?;
        let errors = measure(full, &grid, density, &|a, e| {
            nodes.correction(a.angle(), e.angle()).ok()
        });
        Some((nodes, errors))
    };
    let chooser = Chooser {
        span: spacing.span,
        profile: &spacing.profile,
        cost: &Grid::nodes,
        attempt: &attempt,
    };
    let trial = if let Some(steps) = request.steps {
        spacing.with_steps(steps, request, &attempt)?
    } else {
        let tried = FILE_ROOMS.iter();
        first_high(tried.filter_map(|&room| spacing.best(&chooser, request, room)))
            .ok_or_else(|| refusal(full, request))?
    };
    let header = Header::new(
        full,
        &trial.grid,
        &trial.errors,
        request.tolerance,
        provenance,
    );
    let (notes, warnings) = spacing.remarks(full, &trial, request, &header);
    Ok(Finished {
        table: CorrectionTable {
            header,
            nodes: trial.built,
        },
        notes,
        warnings,
    })
}

/// The table for firmware, in at most `most_bytes` of constants when that is given; the error that
/// results is then stated even where it is larger than the tolerance.
///
/// # Errors
/// As [`table`], and [`Error::Unsupported`] when not even the coarsest table has room.
pub fn firmware_table(
    full: &FullModel,
    request: &TableRequest,
    provenance: &Provenance,
    most_bytes: Option<usize>,
) -> Result<Finished<FirmwareTable>, Error> {
    from_low_enough(full, request, |request| {
        firmware_table_from(full, request, provenance, most_bytes)
    })
}

fn firmware_table_from(
    full: &FullModel,
    request: &TableRequest,
    provenance: &Provenance,
    most_bytes: Option<usize>,
) -> Result<Finished<FirmwareTable>, Error> {
    let spacing = Spacing::of(full, request)?;
    let find = |tolerance: Angle, room: usize| -> Option<Trial<IntegerTable>> {
        let request = TableRequest {
            tolerance,
            ..*request
        };
        let with = |width: CellWidth| {
            let attempt = integer_attempt(full, width);
            let cost = |grid: &Grid| {
                let columns = grid.azimuth.count - usize::from(grid.one_turn);
                width.table_bytes(columns, grid.elevation.count)
            };
            let chooser = Chooser {
                span: spacing.span,
                profile: &spacing.profile,
                cost: &cost,
                attempt: &attempt,
            };
            spacing.best(&chooser, &request, room)
        };
        // Of the widths that do, the one that reaches highest, then the one that takes least;
        // four bytes only when two are too coarse.
        [CellWidth::Bits16, CellWidth::Bits8]
            .into_iter()
            .filter_map(with)
            .min_by_key(|trial| (-trial.grid.elevation.last().0, trial.built.bytes()))
            .or_else(|| with(CellWidth::Bits32))
    };
    let trial = if let Some(steps) = request.steps {
        let mut found = Err(refusal(full, request));
        for width in CellWidth::ALL {
            let trial = spacing.with_steps(steps, request, &integer_attempt(full, width))?;
            let good = trial.errors.keep_to(request.tolerance);
            if found.is_err() || good {
                found = Ok(trial);
            }
            if good {
                break;
            }
        }
        found?
    } else if let Some(room) = most_bytes {
        loosened(room, request.tolerance, &find).ok_or_else(|| {
            Error::Unsupported(format!(
                "no table of any use fits into {room} bytes; give --max-bytes more room, or a \
                     lower --highest"
            ))
        })?
    } else {
        let tried = FIRMWARE_ROOMS.iter();
        first_high(tried.filter_map(|&room| find(request.tolerance, room)))
            .ok_or_else(|| refusal(full, request))?
    };
    let header = Header::new(
        full,
        &trial.grid,
        &trial.errors,
        request.tolerance,
        provenance,
    );
    let (mut notes, mut warnings) = spacing.remarks(full, &trial, request, &header);
    let bytes = trial.built.bytes();
    let [columns, rows] = match full.mount.kind().has_track() {
        true => ["azimuths", "elevations"],
        false => ["columns", "rows"],
    };
    notes.push(format!(
        "the table takes {bytes} bytes ({} {columns} x {} {rows} x 2 corrections of {} bits)",
        trial.built.azimuth.count,
        trial.built.elevation.count,
        8 * trial.built.width.bytes()
    ));
    if let Some(room) = most_bytes.filter(|&room| bytes > room) {
        warnings.push(format!(
            "with these steps the table takes {bytes} bytes, more than the {room} allowed"
        ));
    }
    Ok(Finished {
        table: FirmwareTable {
            header,
            table: trial.built,
        },
        notes,
        warnings,
    })
}

/// The lower end of an axis that does not stand upright may lie in the sky, and near it the
/// corrections grow as at the upper end: where no table keeps to the tolerance from as low as the
/// mount goes, one that begins higher is made, and that is said.
fn from_low_enough<T>(
    full: &FullModel,
    request: &TableRequest,
    make: impl Fn(&TableRequest) -> Result<Finished<T>, Error>,
) -> Result<Finished<T>, Error> {
    let whole = make(request);
    let kind = full.mount.kind();
    if whole.is_ok() || kind.is_az_el() || request.lowest.is_some() {
        return whole;
    }
    for bottom in BOTTOMS_TRIED_DEG {
        let higher = TableRequest {
            lowest: Some(Angle::from_degrees(bottom)),
            ..*request
        };
        if let Ok(mut finished) = make(&higher) {
            let [one, two] = kind.axes().map(AxisKind::words);
            finished.notes.push(format!(
                "begins at {two} {bottom} deg: below it the {one} correction changes too fast; \
                 firmware must refuse demands there or use the full model"
            ));
            return Ok(finished);
        }
    }
    whole
}

/// The table for a room with the tolerance loosened no more than it must be.
fn loosened<T>(
    room: usize,
    tolerance: Angle,
    find: &dyn Fn(Angle, usize) -> Option<Trial<T>>,
) -> Option<Trial<T>> {
    let at = |step: i32| find(tolerance * FACTOR_OF_A_LOOSER_TOLERANCE.powi(step), room);
    if let Some(trial) = at(0) {
        return Some(trial);
    }
    // What fits at one step fits at the next: the first that does is found by halving.
    let (mut fails, mut fits) = (0, MOST_STEPS_OF_TOLERANCE);
    let mut best = at(MOST_STEPS_OF_TOLERANCE)?;
    while fits - fails > 1 {
        let middle = fails + (fits - fails) / 2;
        match at(middle) {
            Some(trial) => {
                fits = middle;
                best = trial;
            }
            None => fails = middle,
        }
    }
    Some(best)
}

fn integer_attempt(
    full: &FullModel,
    width: CellWidth,
) -> impl Fn(Grid, Density) -> Option<(IntegerTable, Errors)> {
    move |grid, density| {
        let built = IntegerTable::of(&Nodes::of(full, grid)?, width, &full.range)?;
        let errors = measure(full, &grid, density, &|a, e| built.correction_angles(a, e));
        Some((built, errors))
    }
}

fn refusal(full: &FullModel, request: &TableRequest) -> Error {
    // In the coordinates of a leaning axis the horizon is a curve through the table, along which
    // the bend of the air changes within a degree.
    let leaning = !full.mount.kind().is_az_el() && full.air.demand() == DemandKind::Geometric;
    Error::Unsupported(format!(
        "no table of sensible size keeps the interpolation error under {} deg{}; {}allow more with \
         --tolerance, take a lower --highest or a higher --lowest, or use the full model \
         (plumbeam point)",
        in_words(request.tolerance.degrees()),
        match request.highest {
            Some(top) => format!(
                " up to {} {} deg",
                full.mount.kind().axes()[1].words(),
                short(top)
            ),
            None => String::new(),
        },
        match leaning {
            true =>
                "on such a mount refraction near the horizon is what a table cannot follow: \
                 make it for apparent demands (--demand apparent), ",
            false => "",
        }
    ))
}

impl Spacing {
    fn remarks<T>(
        &self,
        full: &FullModel,
        trial: &Trial<T>,
        request: &TableRequest,
        header: &Header,
    ) -> (Vec<String>, Vec<String>) {
        let grid = &trial.grid;
        let terms = full.mount.terms();
        let [one, two] = full.mount.kind().axes().map(AxisKind::words);
        let mut notes = vec![
            format!(
                "takes {} demands; {one} {} to {} deg in steps of {}, {two} {} to {} deg in \
                 steps of {}",
                header.demand,
                header.azimuth_first_deg,
                header.azimuth_last_deg,
                header.azimuth_step_deg,
                header.elevation_first_deg,
                header.elevation_last_deg,
                header.elevation_step_deg
            ),
            format!(
                "largest error against the full model, measured at {} directions: {} deg on the \
                 sky (allowed {})",
                header.measured_directions,
                header.largest_error_deg,
                in_words(header.tolerance_deg)
            ),
        ];
        let mut warnings = Vec::new();
        if grid.elevation.last() < self.span.highest {
            notes.push(format!(
                "cut back at {two} {} deg: above it the {one} correction changes too fast toward \
                 the {} (keyhole half-angle {} deg); firmware must refuse \
                 demands there or use the full model",
                header.elevation_last_deg,
                full.mount.kind().axis_1(),
                in_words(header.keyhole_half_angle_deg)
            ));
        }
        if !trial.errors.keep_to(request.tolerance) {
            warnings.push(format!(
                "the error of {} deg is larger than the {} deg allowed",
                header.largest_error_deg,
                in_words(header.tolerance_deg)
            ));
        }
        for (term, half) in [
            (
                Term::AzimuthBacklash,
                header.azimuth_backlash_half_width_deg,
            ),
            (
                Term::ElevationBacklash,
                header.elevation_backlash_half_width_deg,
            ),
        ] {
            if half.abs() >= NO_PLAY_DEG {
                notes.push(format!(
                    "{} is not in the table, which holds for an unknown approach: arriving \
                     with increasing reading take {} deg away from the reading, with decreasing add \
                     it",
                    full.mount.kind().term_name(term),
                    in_words(half)
                ));
            }
        }
        if terms.inside(Term::ClockOffset) != 0.0 {
            warnings.push(format!(
                "clock-offset {} s is not in the table: a clock's error moves the emitters, not \
                 the mount; set the clock, or add it to the time for which demands are computed",
                header.clock_offset_s
            ));
        }
        (notes, warnings)
    }
}
