//! Tuned constants of how a table's grid is chosen: they trade the size of a table, how far it
//! reaches and the time to make it for each other, never its error, which is measured against the
//! full model whatever they are. No source gives their values.
//!
//! `cargo bench --bench table` measures the time to make a table (docs/performance.md); no bench
//! measures its size, which `table` prints. Values that were tried and dropped are not recorded: to
//! change one, run the bench and make the demo's tables before and after.

// How the full model is sampled before grids are tried. `cargo bench --bench table`.

/// Azimuths sampled: the fastest term, warp, then has 24 samples a period.
pub const AZIMUTHS_SAMPLED: usize = 48;
/// Degrees of elevation between the levels sampled: fine enough for terms that grow toward the
/// zenith.
pub const BETWEEN_LEVELS_SAMPLED_DEG: f64 = 0.5;

// Which grids are tried. `cargo bench --bench table`.

/// Where the top of a table may be, degrees, highest first: close together where the corrections
/// grow fastest.
pub const TOPS_TRIED_DEG: [f64; 16] = [
    90.0, 89.5, 89.0, 88.0, 87.0, 86.0, 85.0, 84.0, 82.0, 80.0, 78.0, 75.0, 72.0, 70.0, 65.0, 60.0,
];
/// Where a table may begin, degrees: the lowest that can be covered is taken.
pub const BOTTOMS_TRIED_DEG: [f64; 6] = [-75.0, -70.0, -65.0, -60.0, -50.0, -40.0];
/// The estimate of a grid's error is an upper bound, but a close one for grids so fine that room is
/// short: beyond this many times the room nothing is tried.
pub const TIMES_THE_ROOM_TRIED: usize = 2;
/// How often the grid is mended to bring the measured error to the tolerance.
pub const ROUNDS_TO_THE_TOLERANCE: usize = 6;
/// Where a table does not fit its room, each step lets the tolerance grow by this factor: finer
/// than anyone chooses one.
pub const FACTOR_OF_A_LOOSER_TOLERANCE: f64 = 1.3;
/// After this many steps, four thousand times the tolerance, a table is no use at all.
pub const MOST_STEPS_OF_TOLERANCE: i32 = 32;
/// What the measured error is over the estimated one is taken to be this much more on the next
/// grid, so that it keeps to the tolerance.
pub const MARGIN_OF_THE_NEXT_GRID: f64 = 1.02;
/// And by this factor more than before at least, while no grid has kept to it.
pub const LEAST_GROWTH_OF_THE_MARGIN: f64 = 1.1;
