//! Correction tables: what to add to a demanded direction to get the encoder reading to
//! command, on a grid, in files for people, machines and firmware; and the same without a
//! table, one demand at a time or as a stream.
//!
//! A *correction* is what is ADDED to a demanded direction to get the encoder reading to
//! command. Everything here follows from [`FullModel`], which is exact; a table is judged by how
//! far it is from that.

mod build;
mod c_header;
mod choose;
mod connection;
mod coordinates;
mod correction_table;
mod demand;
mod follow;
mod full;
mod grid;
mod header;
mod instants;
mod integer;
mod integer_axis;
mod jump;
mod live;
mod look_up;
mod measure;
mod pointer;
mod ranges;
mod read;
mod refusal;
mod request;
mod spacing;
mod stream;
mod text;
mod tuned;
mod undo;
mod watch;

pub use build::{Finished, firmware_table, table};
pub use c_header::{FirmwareTable, TestVector, c_header};
pub use connection::{Connection, PATIENCE, Patience, Socket, Wire};
pub use coordinates::Coordinates;
pub use correction_table::{CorrectionTable, Node, Nodes, OffTable};
pub use demand::{Air, Demand, DemandKind};
pub use follow::{FollowAnswer, FollowRow, Follower, Sight, Unseen};
pub use full::{Correction, EncoderRange, FullModel};
pub use grid::{Grid, GridAxis, MICRODEGREES_PER_DEGREE, Microdegrees};
pub use header::{FORMAT, Header, Provenance};
pub use instants::{Clock, Instants, WallClock};
pub use integer::{CellScale, CellWidth, Cells, IntegerTable, LookUpStatus};
pub use live::{listen, loopback, open_serial};
pub use look_up::LookUp;
pub use measure::{Density, Errors, measure, stated};
pub use pointer::{ApproachChoice, Pointer, Source, miss_words};
pub use read::{EXPECTED, read_table};
pub use refusal::Refusal;
pub use request::TableRequest;
pub use stream::{Answer, Reload, StreamForm, Tally, Writing, answer, behind, error_line, serve};
pub use text::COLUMNS;
pub use undo::undo;
pub use watch::{CalibrationWatch, Load, Loaded};
