//! The mount model: from encoder readings to the direction of the beam, and back.

pub mod batch;
mod feed;
mod geometry;
mod inverse;
mod kind;
mod lanes;
mod model;
mod sin_cos;
mod term;

pub use feed::FeedOffset;
pub use geometry::Geometry;
pub use inverse::{BothReadings, Keyhole, Wrap};
pub use kind::{AxisKind, Kind, LowerAxis, Pole};
pub use lanes::{LANES, Lanes};
pub use model::{ApproachSigns, Beam, MountModel};
pub use term::{Group, Term, TermUnit, TermValues};
