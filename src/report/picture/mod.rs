//! The pictures of a solve, one file a kind: each prepares its values from a report and then
//! draws them.

mod beam;
mod histogram;
mod peaks;
mod plan;
mod residuals;
mod round_sky;
pub(super) use round_sky::RoundSky;
mod sky;
mod sky_error;
mod step_numbers;
mod terms;
#[cfg(test)]
mod tests;

use super::Report;
use crate::plot::Render;
pub use plan::plan_picture;
use residuals::Against;
pub use sky_error::{MapTrack, SkyErrorMap, sky_error_map};

/// All pictures of a report, in the order in which they are shown.
pub fn pictures(report: &Report) -> Vec<Box<dyn Render>> {
    vec![
        Box::new(sky::SkyPicture::of(report)),
        Box::new(beam::BeamPicture::of(report)),
        Box::new(residuals::ResidualPicture::of(report, Against::Azimuth)),
        Box::new(residuals::ResidualPicture::of(report, Against::Elevation)),
        Box::new(residuals::ResidualPicture::of(report, Against::Time)),
        Box::new(residuals::ResidualPicture::of(report, Against::Order)),
        Box::new(histogram::HistogramPicture::of(report)),
        Box::new(terms::TermsPicture::of(report)),
    ]
}
