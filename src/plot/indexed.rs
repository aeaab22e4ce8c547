//! A raster's colours brought down to one byte a pixel.
//!
//! A picture holds the colours of one small palette and their blends at smooth edges. One
//! byte a pixel makes its file a fifth as large and quicker to write than three.

use std::collections::HashMap;

use foldhash::fast::FixedState;
use multiversion::multiversion;

use super::density::SHADES;
use super::palette::{ALL, Colour, colours};

/// Shades between the paper and each colour.
const BLENDS: usize = 14;

/// An image of one byte a pixel.
#[derive(Debug)]
pub(super) struct Indexed<'a> {
    /// Red, green and blue of each colour number.
    pub palette: Vec<u8>,
    /// One colour number a pixel, row by row.
    pub pixels: &'a [u8],
}

/// Brings one picture after the other down to a byte a pixel, in the same memory.
#[derive(Default)]
pub(super) struct Indexer {
    drawn: Vec<Piece>,
    pixels: Vec<u8>,
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
const OFTEN: u32 = 24;

/// A pixel of bare paper.
const PAPER: [u8; 4] = [255; 4];
/// Pixels looked at together: most such pieces are bare paper. Longer ones hold more paper beside
/// what is drawn, shorter ones are more to look at.
const PIECE: usize = 8;

/// Pixels side by side that are not all bare paper.
struct Piece {
    /// Its number among the pieces of the picture.
    number: u32,
    /// Which of the picture's colours each pixel has.
    colours: [u32; PIECE],
}

/// Whether all pixels are bare paper: all are looked at, several at a time, which takes less time
/// than to stop at the first that is not.
fn is_paper(piece: &[[u8; 4]; PIECE]) -> bool {
    let all = (piece.iter()).fold(u32::MAX, |all, pixel| all & u32::from_ne_bytes(*pixel));
    all == u32::MAX
}

/// The colours of a picture, numbered as they come.
#[derive(Default)]
struct Numbers {
    colours: Vec<[u8; 4]>,
    /// A number is compared and hashed faster than four bytes.
    known: HashMap<u32, u32, FixedState>,
}

impl Numbers {
    fn of(&mut self, pixel: [u8; 4]) -> u32 {
        *(self.known)
            .entry(u32::from_ne_bytes(pixel))
            .or_insert_with(|| {
                self.colours.push(pixel);
                self.colours.len() as u32 - 1
            })
    }
}

/// Slots for the colours met last, a power of two: several times the colours of a picture that come
/// again and again, and yet within a processor's fastest memory.
const RECENT: usize = 1 << 11;

/// The slot of a colour: the upper bits of its product with 2^32 over the golden ratio, in which
/// every bit of the colour has a part (Knuth, The Art of Computer Programming, section 6.4).
fn slot(pixel: [u8; 4]) -> usize {
    let product = u32::from_ne_bytes(pixel).wrapping_mul(0x9e37_79b9);
    (product >> (u32::BITS - RECENT.ilog2())) as usize
}

/// Takes down a picture but for bare paper, and gives its colours. Every pixel of a piece is looked
/// up by itself: to find where a colour ends, which is soon and anywhere, takes longer.
fn take_down(rgba: &[u8], drawn: &mut Vec<Piece>) -> Vec<[u8; 4]> {
    drawn.clear();
    let mut numbers = Numbers::default();
    // A picture's colours are few and come again soon: most are found here without a search.
    let mut recent = [(PAPER, numbers.of(PAPER)); RECENT];
    let (pieces, rest) = rgba.as_chunks().0.as_chunks::<PIECE>();
    let mut last = [PAPER; PIECE];
    last[..rest.len()].copy_from_slice(rest);
    for (i, piece) in pieces.iter().chain([&last]).enumerate() {
        if is_paper(piece) {
            continue;
        }
        let mut colours = [0; PIECE];
        for (colour, pixel) in colours.iter_mut().zip(piece) {
            let met = &mut recent[slot(*pixel)];
            if met.0 != *pixel {
                *met = (*pixel, numbers.of(*pixel));
            }
            *colour = met.1;
        }
        drawn.push(Piece {
            number: i as u32,
            colours,
        });
    }
    numbers.colours
}

/// On how many pixels of the pieces each of so many colours is.
fn counts(drawn: &[Piece], colours: usize) -> Vec<u32> {
    // Two by turns, so that a count does not wait for that of the neighbour, often the same.
    let mut counts = vec![[0; 2]; colours];
    for piece in drawn {
        for (i, colour) in piece.colours.iter().enumerate() {
            counts[*colour as usize][i % 2] += 1;
        }
    }
    counts
        .iter()
        .map(|by_turns| by_turns.iter().sum())
        .collect()
}

/// Adds a picture's own frequent colours to a palette, the most frequent first.
fn with_own(mut palette: Vec<Colour>, colours: &[[u8; 4]], counts: &[u32]) -> Vec<Colour> {
    let mut own: Vec<(u32, [u8; 4])> = (counts.iter().copied().zip(colours.iter().copied()))
        .filter(|(count, _)| *count >= OFTEN)
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

impl Indexer {
    /// Gives every pixel of four bytes (the last, its opacity, being full) the nearest colour.
    pub fn indexed(&mut self, rgba: &[u8]) -> Indexed<'_> {
        let colours = take_down(rgba, &mut self.drawn);
        let counts = counts(&self.drawn, colours.len());
        let palette = with_own(palette(), &colours, &counts);
        let parts = Parts::of(&palette);
        let numbers: Vec<u8> = (colours.iter()).map(|c| nearest(&parts, *c)).collect();
        // The number of bare paper is zero.
        let pixels = rgba.len() / 4;
        self.pixels.clear();
        self.pixels.resize(pixels.next_multiple_of(PIECE), 0);
        let (pieces, _) = self.pixels.as_chunks_mut::<PIECE>();
        for piece in &self.drawn {
            let pixels = &mut pieces[piece.number as usize];
            for (pixel, colour) in pixels.iter_mut().zip(piece.colours) {
                *pixel = numbers[colour as usize];
            }
        }
        self.pixels.truncate(pixels);
        Indexed {
            palette: palette.iter().flat_map(|c| [c.0, c.1, c.2]).collect(),
            pixels: &self.pixels,
        }
    }
}

/// The red, green and blue parts of up to 256 colours, apart, so that a colour is compared with
/// several at once.
struct Parts([[i32; 256]; 3]);

impl Parts {
    fn of(palette: &[Colour]) -> Parts {
        /// Far from every colour.
        const NONE: i32 = 1000;
        let mut parts = [[NONE; 256]; 3];
        for (i, colour) in palette.iter().enumerate() {
            parts[0][i] = i32::from(colour.0);
            parts[1][i] = i32::from(colour.1);
            parts[2][i] = i32::from(colour.2);
        }
        Parts(parts)
    }
}

/// Number of the nearest colour, of several equally near the first.
#[multiversion(targets("x86_64+avx2+fma"))]
fn nearest(Parts([reds, greens, blues]): &Parts, to: [u8; 4]) -> u8 {
    let [red, green, blue, _] = to.map(i32::from);
    let mut least = i32::MAX;
    for i in 0..256 {
        let square = (reds[i] - red).pow(2) + (greens[i] - green).pow(2) + (blues[i] - blue).pow(2);
        // The number in the low byte decides between equals.
        least = least.min((square << 8) | i as i32);
    }
    least as u8
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
            let mut indexer = Indexer::default();
            let image = indexer.indexed(&pixel);
            let at = usize::from(image.pixels[0]) * 3;
            assert_eq!(image.palette[at..at + 3], pixel[..3]);
        }
    }

    #[test]
    fn colours_of_a_map_are_kept() {
        // A ramp of ninety colours that no palette has, each on many pixels.
        let ramp: Vec<[u8; 4]> = (0..90u8).map(|i| [60 + i, 180, 215 - i, 255]).collect();
        let rgba: Vec<u8> = (ramp.iter())
            .flat_map(|colour| [*colour; OFTEN as usize].concat())
            .collect();
        let mut indexer = Indexer::default();
        let image = indexer.indexed(&rgba);
        for (i, colour) in ramp.iter().enumerate() {
            let at = usize::from(image.pixels[i * OFTEN as usize]) * 3;
            assert_eq!(image.palette[at..at + 3], colour[..3]);
        }
    }

    #[test]
    fn a_blend_finds_its_like() {
        // Half ink on paper, as at the edge of a letter.
        let mut indexer = Indexer::default();
        let image = indexer.indexed(&[145, 147, 149, 255]);
        let at = usize::from(image.pixels[0]) * 3;
        let found = &image.palette[at..at + 3];
        assert!((i32::from(found[0]) - 145).abs() < 10, "{found:?}");
    }
}
