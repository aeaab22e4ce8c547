//! Colours that stay apart for colour-blind eyes and in grey print.

/// A colour: red, green and blue of the sRGB screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Colour(pub u8, pub u8, pub u8);

/// Every colour but the paper.
pub(super) const ALL: [Colour; 11] = [
    colours::INK,
    colours::SOFT_INK,
    colours::FRAME,
    colours::GRID,
    colours::SHADE,
    colours::BLUE,
    colours::VERMILLION,
    colours::GREEN,
    colours::ORANGE,
    colours::SKY,
    colours::PURPLE,
];

/// The palette.
///
/// The hues are those of Okabe and Ito, "Color Universal Design (CUD): How to make figures
/// and presentations that are friendly to colorblind people" (2008), reprinted in Wong,
/// "Points of view: Color blindness", Nature Methods 8, 441 (2011); both titles from memory.
/// Blue against vermillion is its strongest pair in light and dark; no two marks that differ
/// in meaning differ by colour alone.
pub mod colours {
    use super::Colour;

    /// Okabe and Ito's blue: what was used.
    pub const BLUE: Colour = Colour(0, 114, 178);
    /// Their vermillion: what was rejected.
    pub const VERMILLION: Colour = Colour(213, 94, 0);
    /// Their bluish green: limits that are good to be within.
    pub const GREEN: Colour = Colour(0, 158, 115);
    /// Their orange: what stood before.
    pub const ORANGE: Colour = Colour(230, 159, 0);
    /// Their sky blue.
    pub const SKY: Colour = Colour(86, 180, 233);
    /// Their reddish purple: curves that summarise.
    pub const PURPLE: Colour = Colour(204, 121, 167);

    /// Text.
    pub const INK: Colour = Colour(34, 38, 43);
    /// Text that steps back; 5.9 to 1 against white, so still easy to read.
    pub const SOFT_INK: Colour = Colour(96, 103, 112);
    /// Frames and zero lines.
    pub const FRAME: Colour = Colour(150, 157, 166);
    /// The thin grid.
    pub const GRID: Colour = Colour(226, 229, 233);
    /// Grounds that are set apart.
    pub const SHADE: Colour = Colour(243, 245, 247);
    /// The sheet.
    pub const PAPER: Colour = Colour(255, 255, 255);
}
