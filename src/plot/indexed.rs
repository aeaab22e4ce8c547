//! A raster's colours brought down to one byte a pixel.
//!
//! A picture holds the colours of one small palette and their blends at smooth edges. One
//! byte a pixel makes its file a fifth as large and quicker to write than three.

use std::collections::HashMap;

use foldhash::fast::FixedState;

use super::density::SHADES;
use super::palette::{ALL, Colour, colours};

/// Shades between the paper and each colour.
const BLENDS: usize = 14;

/// An image of one byte a pixel.
#[derive(Clone, Debug)]
pub(super) struct Indexed {
    /// Red, green and blue of each colour number.
    pub palette: Vec<u8>,
    /// One colour number a pixel, row by row.
    pub pixels: Vec<u8>,
}

/// The palette's colours and their blends with the paper; no more than a byte can number.
fn palette() -> Vec<Colour> {
    let mut palette = vec![colours::PAPER];
    for colour in ALL.into_iter().chain(SHADES) {
        palette.push(colour);
    }
    for colour in ALL {
        for step in 1..BLENDS {
            let share = step as f64 / BLENDS as f64;
            let mix = |c: u8, paper: u8| {
                (f64::from(c) * share + f64::from(paper) * (1.0 - share)).round() as u8
            };
            let paper = colours::PAPER;
            palette.push(Colour(
                mix(colour.0, paper.0),
                mix(colour.1, paper.1),
                mix(colour.2, paper.2),
            ));
        }
    }
    palette.truncate(256);
    palette
}

/// Colours that cover this many pixels without being in the palette get the places left in it:
/// those of a map. Rarer ones are blends at edges.
const OFTEN: usize = 24;

/// A pixel of bare paper.
const PAPER: [u8; 4] = [255; 4];
/// Pixels looked at together: most such pieces are bare paper.
const PIECE: usize = 16;

/// Each piece of a picture that is not bare paper, with the number of its first pixel.
fn pieces(rgba: &[u8]) -> impl Iterator<Item = (usize, &[[u8; 4]])> {
    let (pieces, rest) = rgba.as_chunks::<{ 4 * PIECE }>();
    let rest = (pieces.len() * PIECE, rest.as_chunks().0);
    (pieces.iter().enumerate())
        .filter(|(_, piece)| **piece != [255; 4 * PIECE])
        .map(|(i, piece)| (i * PIECE, piece.as_chunks().0))
        .chain([rest])
}

/// Adds a picture's own frequent colours to a palette, the most frequent first.
fn with_own(mut palette: Vec<Colour>, rgba: &[u8]) -> Vec<Colour> {
    let mut counts: HashMap<[u8; 4], usize, FixedState> = HashMap::default();
    for (_, piece) in pieces(rgba) {
        for run in piece.chunk_by(|a, b| a == b).filter(|r| r[0] != PAPER) {
            *counts.entry(run[0]).or_default() += run.len();
        }
    }
    let mut own: Vec<(usize, [u8; 4])> = (counts.into_iter())
        .filter(|(_, count)| *count >= OFTEN)
        .map(|(colour, count)| (count, colour))
        .collect();
    own.sort_unstable_by(|a, b| b.cmp(a));
    for (_, [r, g, b, _]) in own {
        let colour = Colour(r, g, b);
        if palette.len() < 256 && !palette.contains(&colour) {
            palette.push(colour);
        }
    }
    palette
}

/// Gives every pixel of four bytes (the last, its opacity, being full) the nearest colour.
pub(super) fn indexed(rgba: &[u8]) -> Indexed {
    let palette = with_own(palette(), rgba);
    let mut known: HashMap<[u8; 4], u8, FixedState> = HashMap::default();
    // The number of bare paper is zero.
    let mut pixels = vec![0; rgba.len() / 4];
    for (first, piece) in pieces(rgba) {
        let mut numbers = pixels[first..].iter_mut();
        for run in piece.chunk_by(|a, b| a == b) {
            let [r, g, b, _] = run[0];
            let number = match run[0] {
                PAPER => 0,
                colour => *(known.entry(colour)).or_insert_with(|| nearest(&palette, [r, g, b])),
            };
            numbers.by_ref().take(run.len()).for_each(|n| *n = number);
        }
    }
    Indexed {
        palette: palette.iter().flat_map(|c| [c.0, c.1, c.2]).collect(),
        pixels,
    }
}

fn nearest(palette: &[Colour], to: [u8; 3]) -> u8 {
    let distance = |c: &Colour| {
        let part = |a: u8, b: u8| (i32::from(a) - i32::from(b)).pow(2);
        part(c.0, to[0]) + part(c.1, to[1]) + part(c.2, to[2])
    };
    let best = (palette.iter().enumerate()).min_by_key(|(_, c)| distance(c));
    best.map_or(0, |(i, _)| i as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_palette_fits_a_byte_and_keeps_its_colours() {
        let all = palette();
        assert!(all.len() <= 256, "{}", all.len());
        let named = [colours::PAPER].into_iter().chain(ALL).chain(SHADES);
        for colour in named {
            let pixel = [colour.0, colour.1, colour.2, 255];
            let image = indexed(&pixel);
            let at = usize::from(image.pixels[0]) * 3;
            assert_eq!(image.palette[at..at + 3], pixel[..3]);
        }
    }

    #[test]
    fn colours_of_a_map_are_kept() {
        // A ramp of ninety colours that no palette has, each on many pixels.
        let ramp: Vec<[u8; 4]> = (0..90u8).map(|i| [60 + i, 180, 215 - i, 255]).collect();
        let rgba: Vec<u8> = (ramp.iter())
            .flat_map(|colour| [*colour; OFTEN].concat())
            .collect();
        let image = indexed(&rgba);
        for (i, colour) in ramp.iter().enumerate() {
            let at = usize::from(image.pixels[i * OFTEN]) * 3;
            assert_eq!(image.palette[at..at + 3], colour[..3]);
        }
    }

    #[test]
    fn a_blend_finds_its_like() {
        // Half ink on paper, as at the edge of a letter.
        let image = indexed(&[145, 147, 149, 255]);
        let at = usize::from(image.pixels[0]) * 3;
        let found = &image.palette[at..at + 3];
        assert!((i32::from(found[0]) - 145).abs() < 10, "{found:?}");
    }
}
