//! The mount model: from encoder readings to where the beam points, and back.

mod inverse;
mod model;
mod term;

pub use inverse::{Keyhole, Solution, Wrap};
pub use model::{ApproachSigns, Beam, MountModel};
pub use term::{Group, Term, TermUnit, TermValues};
