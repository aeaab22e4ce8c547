//! Numbers beside marks, so that none lies over another: marks that stand close share a label, and
//! a label that finds no room beside its mark stands farther off with a line to it. Labels keep off
//! the way from mark to mark where they can.

use plotters_backend::DrawingBackend;

use crate::plot::{Canvas, Pen, Point, Rect, Text, colours};

/// Size of the numbers, pixels: the smallest that reads well in print.
const SIZE: f64 = 12.0;
/// Marks within this distance share a label, pixels; when the labels find no room, marks farther
/// apart do too. Chosen by looking at pictures, as are the distances below.
const SHARED_WITHIN: [f64; 7] = [13.0, 20.0, 30.0, 45.0, 70.0, 110.0, 170.0];
/// Between a mark and its label, pixels.
const DISTANCES: [f64; 4] = [7.0, 12.0, 20.0, 34.0];
/// From this distance on a line leads from the mark to its label.
const LINE_FROM: f64 = 20.0;
/// A label keeps this far from all marks, pixels.
const CLEAR_OF_MARKS: f64 = 6.0;
/// The track between marks is checked in steps of this many pixels: less than a letter.
const WAY_STEP: f64 = 3.0;

/// A label in its place.
#[derive(Clone, Debug)]
struct Placed {
    text: String,
    room: Rect,
    /// From the mark to the label, when it stands off.
    line: Option<(Point, Point)>,
}

/// Draws the numbers of marks, counted from 1 in their order, within `room` and clear of what is
/// `taken` already. What finds no place at all goes without.
pub fn draw<DB: DrawingBackend>(
    canvas: &mut Canvas<DB>,
    marks: &[Point],
    room: Rect,
    taken: &[Rect],
) {
    let style = Text::new(colours::INK, SIZE);
    let pen = Pen::new(colours::FRAME, 0.8);
    for label in labels(marks, room, taken, &style) {
        if let Some((from, to)) = label.line {
            canvas.line(from, to, &pen);
        }
        canvas.text(
            (label.room.left, label.room.bottom - 2.0),
            &label.text,
            &style,
        );
    }
}

fn labels(marks: &[Point], room: Rect, taken: &[Rect], style: &Text) -> Vec<Placed> {
    let surroundings = Surroundings {
        marks,
        way: &way(marks),
        room,
    };
    let mut best: Vec<Placed> = Vec::new();
    for within in SHARED_WITHIN {
        let shared = shared(marks, within);
        let mut placed: Vec<Placed> = Vec::new();
        for (at, numbers) in &shared {
            let others = taken.iter().chain(placed.iter().map(|p| &p.room));
            let others: Vec<Rect> = others.copied().collect();
            placed.extend(surroundings.find_room(*at, &runs(numbers), &others, style));
        }
        if placed.len() == shared.len() {
            return placed;
        }
        if placed.len() > best.len() {
            best = placed;
        }
    }
    best
}

/// Marks near each other together: the middle one's place, and the numbers.
fn shared(marks: &[Point], within: f64) -> Vec<(Point, Vec<usize>)> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (i, at) in marks.iter().enumerate() {
        let near = |group: &Vec<usize>| {
            let first = marks[group[0]];
            (first.0 - at.0).hypot(first.1 - at.1) < within
        };
        match groups.iter_mut().find(|group| near(group)) {
            Some(group) => group.push(i),
            None => groups.push(vec![i]),
        }
    }
    (groups.into_iter())
        .map(|group| {
            let middle = marks[group[group.len() / 2]];
            (middle, group.into_iter().map(|i| i + 1).collect())
        })
        .collect()
}

/// Points along the way from mark to mark.
fn way(marks: &[Point]) -> Vec<Point> {
    (marks.windows(2))
        .flat_map(|pair| {
            let (from, to) = (pair[0], pair[1]);
            let steps = ((to.0 - from.0).hypot(to.1 - from.1) / WAY_STEP)
                .ceil()
                .max(1.0);
            (0..=steps as usize).map(move |i| {
                let part = i as f64 / steps;
                (
                    from.0 + part * (to.0 - from.0),
                    from.1 + part * (to.1 - from.1),
                )
            })
        })
        .collect()
}

/// What labels are set on.
struct Surroundings<'a> {
    marks: &'a [Point],
    way: &'a [Point],
    room: Rect,
}

impl Surroundings<'_> {
    /// The first free place round a mark, near ones first; off the way if there is one.
    fn find_room(&self, at: Point, text: &str, taken: &[Rect], style: &Text) -> Option<Placed> {
        let width = style.room_for(text);
        let found = |off_the_way: bool| {
            DISTANCES.iter().find_map(|far| {
                let rooms = around(at, *far, width);
                let room = rooms
                    .into_iter()
                    .find(|r| self.free(r, taken, off_the_way))?;
                Some((*far, room))
            })
        };
        let (far, room) = found(true).or_else(|| found(false))?;
        let end = (
            at.0.clamp(room.left, room.right),
            at.1.clamp(room.top, room.bottom),
        );
        Some(Placed {
            text: text.to_owned(),
            room,
            line: (far >= LINE_FROM).then_some((at, end)),
        })
    }

    fn free(&self, r: &Rect, taken: &[Rect], off_the_way: bool) -> bool {
        let inside = r.left >= self.room.left
            && r.right <= self.room.right
            && r.top >= self.room.top
            && r.bottom <= self.room.bottom;
        let hits =
            |o: &Rect| r.left < o.right && o.left < r.right && r.top < o.bottom && o.top < r.bottom;
        let covers = |p: &Point, by: f64| {
            (r.left - by..r.right + by).contains(&p.0) && (r.top - by..r.bottom + by).contains(&p.1)
        };
        let in_the_way = off_the_way && self.way.iter().any(|p| covers(p, 0.0));
        let on_a_mark = self.marks.iter().any(|p| covers(p, CLEAR_OF_MARKS));
        inside && !in_the_way && !on_a_mark && !taken.iter().any(hits)
    }
}

/// Rooms for a label at a distance from a point: right, left, above, below, then the corners.
fn around(at: Point, far: f64, width: f64) -> [Rect; 8] {
    let slant = far * std::f64::consts::FRAC_1_SQRT_2;
    let (half, height) = (width / 2.0, SIZE);
    [
        (far, -height / 2.0),
        (-far - width, -height / 2.0),
        (-half, -far - height),
        (-half, far),
        (slant, -slant - height),
        (slant, slant),
        (-slant - width, -slant - height),
        (-slant - width, slant),
    ]
    .map(|(across, down)| Rect {
        left: at.0 + across,
        top: at.1 + down,
        right: at.0 + across + width,
        bottom: at.1 + down + height,
    })
}

/// `3`, `3, 4`, `3–6, 9`.
fn runs(numbers: &[usize]) -> String {
    let mut text: Vec<String> = Vec::new();
    let mut rest = numbers;
    while let Some(first) = rest.first() {
        let length = (rest.iter().zip(*first..))
            .take_while(|(n, k)| **n == *k)
            .count();
        match length {
            1 => text.push(first.to_string()),
            _ => text.push(format!("{first}–{}", first + length - 1)),
        }
        rest = &rest[length..];
    }
    text.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROOM: Rect = Rect {
        left: 0.0,
        top: 0.0,
        right: 400.0,
        bottom: 400.0,
    };

    #[test]
    fn numbers_in_a_row_are_joined() {
        assert_eq!(runs(&[3]), "3");
        assert_eq!(runs(&[3, 4, 7]), "3–4, 7");
        assert_eq!(runs(&[1, 2, 3, 9, 10]), "1–3, 9–10");
    }

    #[test]
    fn marks_close_to_each_other_share_a_label_and_every_step_is_named() {
        let style = Text::new(colours::INK, SIZE);
        // A line of marks four pixels apart.
        let marks: Vec<Point> = (0..24).map(|i| (100.0 + 4.0 * i as f64, 200.0)).collect();
        let placed = labels(&marks, ROOM, &[], &style);
        let named: Vec<usize> = (placed.iter())
            .flat_map(|p| {
                let ends: Vec<usize> = p.text.split('–').map(|n| n.parse().unwrap()).collect();
                ends[0]..=ends[ends.len() - 1]
            })
            .collect();
        assert_eq!(named, (1..=24).collect::<Vec<_>>());
        // Far from each other each has its own.
        let apart = [(50.0, 50.0), (200.0, 50.0), (50.0, 200.0)];
        let texts: Vec<String> = (labels(&apart, ROOM, &[], &style).into_iter())
            .map(|p| p.text)
            .collect();
        assert_eq!(texts, ["1", "2", "3"]);
    }

    #[test]
    fn a_label_that_finds_no_room_beside_its_mark_stands_off_with_a_line() {
        let style = Text::new(colours::INK, SIZE);
        let beside = Rect {
            left: 185.0,
            top: 185.0,
            right: 215.0,
            bottom: 215.0,
        };
        let placed = labels(&[(200.0, 200.0)], ROOM, &[beside], &style);
        assert_eq!(placed.len(), 1);
        let (from, to) = placed[0].line.expect("a line");
        assert_eq!(from, (200.0, 200.0));
        assert!((to.0 - 200.0).hypot(to.1 - 200.0) >= LINE_FROM);
        // Where there is no room at all there is no label.
        assert!(labels(&[(200.0, 200.0)], ROOM, &[ROOM], &style).is_empty());
    }
}
