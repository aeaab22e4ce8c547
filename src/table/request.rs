//! The request for a correction table.

use crate::angle::Angle;

/// A request for a table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TableRequest {
    /// The largest error allowed, as an angle on the sky.
    pub tolerance: Angle,
    /// Lowest demanded elevation, when the user names it.
    pub lowest: Option<Angle>,
    /// Highest demanded elevation, when the user names it.
    pub highest: Option<Angle>,
    /// Steps in azimuth and elevation, when the user names them.
    pub steps: Option<(Angle, Angle)>,
}

impl TableRequest {
    /// The usual one for a beam of this half-power width: a hundredth of it.
    pub fn for_beam(beamwidth: Angle) -> TableRequest {
        TableRequest {
            tolerance: beamwidth / 100.0,
            lowest: None,
            highest: None,
            steps: None,
        }
    }
}
