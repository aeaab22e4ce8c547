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

impl Colour {
    /// As SVG writes it.
    fn in_svg(self) -> String {
        format!("#{:02X}{:02X}{:02X}", self.0, self.1, self.2)
    }
}

/// What stands for each colour on a dark screen: as far from the dark sheet as the colour is from
/// white paper, by eye.
const ON_DARK: [(Colour, Colour); 20] = [
    (colours::INK, Colour(232, 235, 239)),
    (colours::SOFT_INK, Colour(170, 178, 188)),
    (colours::FRAME, Colour(110, 118, 128)),
    (colours::GRID, Colour(52, 58, 66)),
    (colours::SHADE, Colour(38, 43, 50)),
    (colours::BLUE, Colour(92, 178, 232)),
    (colours::VERMILLION, Colour(255, 132, 62)),
    (colours::GREEN, Colour(40, 196, 150)),
    (colours::ORANGE, Colour(245, 184, 61)),
    (colours::SKY, Colour(120, 200, 245)),
    (colours::PURPLE, Colour(226, 150, 192)),
    (colours::PAPER, Colour(27, 31, 36)),
    // The more, the farther from the sheet, as on paper.
    (colours::RAMP[0], Colour(23, 50, 74)),
    (colours::RAMP[1], Colour(28, 66, 99)),
    (colours::RAMP[2], Colour(35, 84, 124)),
    (colours::RAMP[3], Colour(44, 106, 154)),
    (colours::RAMP[4], Colour(63, 134, 185)),
    (colours::RAMP[5], Colour(99, 165, 210)),
    (colours::RAMP[6], Colour(148, 198, 230)),
    (colours::RAMP[7], Colour(205, 230, 247)),
];

/// Style that shows the SVG pictures of a page under `selector` in colours for a dark screen when
/// the reader's screen is dark.
pub fn dark_style(selector: &str) -> String {
    let mut style = String::from("@media screen and (prefers-color-scheme: dark) {\n");
    for (light, dark) in ON_DARK {
        let (light, dark) = (light.in_svg(), dark.in_svg());
        for part in ["fill", "stroke"] {
            style.push_str(&format!(
                "{selector} [{part}=\"{light}\"] {{ {part}: {dark}; }}\n"
            ));
        }
    }
    style.push_str("}\n");
    style
}

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
    /// Light to dark of one hue: the more, the darker.
    pub const RAMP: [Colour; 8] = [
        Colour(214, 230, 243),
        Colour(190, 214, 234),
        Colour(161, 197, 225),
        Colour(128, 177, 212),
        Colour(95, 158, 201),
        Colour(50, 128, 180),
        Colour(14, 98, 148),
        Colour(0, 68, 116),
    ];
    /// The sheet.
    pub const PAPER: Colour = Colour(255, 255, 255);
}
