//! The parts that every picture is made of: a canvas over any plotters backend, a palette,
//! scales with sensible ticks, framed panels, marks, and the way out to SVG and PNG.
//!
//! Coordinates are picture pixels as `f64`, x to the right and y down. A picture draws on a
//! [`Canvas`] and knows nothing of the format it ends in.

mod axes;
mod canvas;
mod density;
mod font;
mod indexed;
mod output;
mod palette;
mod raster;
#[cfg(test)]
mod recorder;
mod scale;
mod style;
mod ticks;
mod time_ticks;

pub use axes::{Axis, Key, Panel, REACH_OF_MARK, Rect, notes};
pub use canvas::{Canvas, Marker, Point};
pub use density::{Density, MOST_SINGLE_MARKS, SHADES};
pub use font::{REGULAR_TTF, SEMIBOLD_TTF, text_width};
pub use output::{HEIGHT, Picture, Render, Sheet, SvgBody, WIDTH, on_page};
pub use palette::{Colour, colours, dark_style};
#[cfg(test)]
pub use recorder::{Recording, SetText};
pub use scale::Scale;
pub use style::{Align, Pen, Text};
pub use ticks::{Tick, azimuth_ticks, decimals_of_step, linear_ticks, nice_at_most, symlog_ticks};
pub use time_ticks::{TimeTicks, time_ticks};
