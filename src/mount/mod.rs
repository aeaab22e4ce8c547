//! The mount model: from encoder readings to where the beam points, and back.

pub mod batch;
mod inverse;
mod lanes;
mod model;
mod term;

pub use inverse::{Keyhole, Solution, Wrap};
pub use lanes::{LANES, Lanes};
pub use model::{ApproachSigns, Beam, MountModel};
pub use term::{Group, Term, TermUnit, TermValues};
