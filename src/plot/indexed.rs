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
    drawn: Drawn,
    pixels: Vec<u8>,
}

/// A picture but for its bare paper.
#[derive(Default)]
struct Drawn {
    /// Number of the first pixel of each piece.
    firsts: Vec<u32>,
    /// Which of the picture's colours each pixel of the pieces has.
    colours: Vec<u32>,
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

/// Whether all bytes are those of bare paper: all are looked at, eight at a time, which takes less
/// time than to stop at the first that is not.
fn is_paper(piece: &[u8; 4 * PIECE]) -> bool {
    let (eights, _) = piece.as_chunks();
    let all = (eights.iter()).fold(u64::MAX, |all, eight| all & u64::from_ne_bytes(*eight));
    all == u64::MAX
}

/// Each piece of a picture that is not bare paper, with the number of its first pixel.
fn pieces(rgba: &[u8]) -> impl Iterator<Item = (usize, &[[u8; 4]])> {
    let (pieces, rest) = rgba.as_chunks::<{ 4 * PIECE }>();
    let rest = (pieces.len() * PIECE, rest.as_chunks().0);
    (pieces.iter().enumerate())
        .filter(|(_, piece)| !is_paper(piece))
        .map(|(i, piece)| (i * PIECE, piece.as_chunks().0))
        .chain([rest])
}

/// A colour of a picture.
struct Seen {
    pixel: [u8; 4],
    /// On so many pixels, counted in turn, so that one does not wait for the one before it.
    counts: [u32; 4],
}

impl Seen {
    fn count(&self) -> u32 {
        self.counts.iter().sum()
    }
}

/// The colours of a picture, numbered as they come; paper is the first.
struct Numbers {
    seen: Vec<Seen>,
    /// A number is compared and hashed faster than four bytes.
    known: HashMap<u32, u32, FixedState>,
}

impl Numbers {
    fn of(&mut self, pixel: [u8; 4]) -> u32 {
        *(self.known)
            .entry(u32::from_ne_bytes(pixel))
            .or_insert_with(|| {
                self.seen.push(Seen {
                    pixel,
                    counts: [0; 4],
                });
                self.seen.len() as u32 - 1
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

/// Takes down a picture but for bare paper, and gives the colours in it. Every pixel of a piece is
/// taken by itself: to find where a colour ends, which is soon and anywhere, takes longer.
fn take_down(rgba: &[u8], drawn: &mut Drawn) -> Vec<Seen> {
    drawn.firsts.clear();
    drawn.colours.clear();
    let mut numbers = Numbers {
        seen: Vec::new(),
        known: HashMap::default(),
    };
    // A picture's colours are few and come again soon: most are found here without a search.
    let mut recent = [(PAPER, numbers.of(PAPER)); RECENT];
    for (first, piece) in pieces(rgba) {
        drawn.firsts.push(first as u32);
        let colours = piece.iter().enumerate().map(|(i, &pixel)| {
            let met = &mut recent[slot(pixel)];
            if met.0 != pixel {
                *met = (pixel, numbers.of(pixel));
            }
            numbers.seen[met.1 as usize].counts[i % 4] += 1;
            met.1
        });
        drawn.colours.extend(colours);
    }
    numbers.seen
}

/// Adds a picture's own frequent colours to a palette, the most frequent first.
fn with_own(mut palette: Vec<Colour>, colours: &[Seen]) -> Vec<Colour> {
    let mut own: Vec<(u32, [u8; 4])> = (colours.iter())
        .map(|seen| (seen.count(), seen.pixel))
        .filter(|(count, _)| *count as usize >= OFTEN)
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
        let palette = with_own(palette(), &colours);
        let parts = Parts::of(&palette);
        let numbers: Vec<u8> = colours.iter().map(|c| nearest(&parts, c.pixel)).collect();
        // The number of bare paper is zero.
        self.pixels.clear();
        self.pixels.resize(rgba.len() / 4, 0);
        // Only the last piece can be a shorter one.
        let pieces = self
            .drawn
            .firsts
            .iter()
            .zip(self.drawn.colours.chunks(PIECE));
        for (first, colours) in pieces {
            let pixels = &mut self.pixels[*first as usize..][..colours.len()];
            for (pixel, colour) in pixels.iter_mut().zip(colours) {
                *pixel = numbers[*colour as usize];
            }
        }
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
            .flat_map(|colour| [*colour; OFTEN].concat())
            .collect();
        let mut indexer = Indexer::default();
        let image = indexer.indexed(&rgba);
        for (i, colour) in ramp.iter().enumerate() {
            let at = usize::from(image.pixels[i * OFTEN]) * 3;
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
