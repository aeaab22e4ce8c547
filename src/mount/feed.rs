//! Further feeds beside the first: offsets of their beams, and names of their pairs of terms.

use super::geometry::Geometry;
use super::model::MountModel;
use super::term::Term;
use crate::angle::Angle;

/// Offset of the beam of a further feed from that of the first, seen along the beam with the first
/// axis's outer end up.
///
/// To the right it adds to the collimation, up to the angle of the second axis (against its reading
/// where that counts away from the outer end, as on a polar mount of the south).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FeedOffset {
    /// To the right.
    pub right: Angle,
    /// Toward the first axis's outer end.
    pub up: Angle,
}

/// Beginning of the name of a feed's term, and its ends.
const FEED: &str = "feed-";
const ENDS: [&str; 2] = ["-right", "-up"];

impl FeedOffset {
    /// The names of the pair of terms of a feed: `feed-NAME-right`, `feed-NAME-up`.
    pub fn term_names(feed: &str) -> [String; 2] {
        ENDS.map(|end| format!("{FEED}{feed}{end}"))
    }

    /// Returns the feed that a term belongs to, and the part: 0 right, 1 up; `None` for other
    /// terms.
    pub fn part_of(term: &str) -> Option<(&str, usize)> {
        let rest = term.strip_prefix(FEED)?;
        (ENDS.iter().enumerate()).find_map(|(i, end)| {
            let feed = rest.strip_suffix(end)?;
            (!feed.is_empty()).then_some((feed, i))
        })
    }

    /// Its two parts, in the order of [`FeedOffset::term_names`].
    pub fn parts(&self) -> [Angle; 2] {
        [self.right, self.up]
    }
}

impl Geometry {
    /// +1 when a growing reading of the second axis moves the beam toward the first axis's outer
    /// end, -1 when away from it.
    pub fn second_sense(&self) -> f64 {
        self.turn().map_or(1.0, |turn| turn.signs[1])
    }
}

impl MountModel {
    /// Returns the model of the same mount with a further feed.
    #[must_use]
    pub fn with_feed(&self, offset: FeedOffset) -> MountModel {
        let mut terms = *self.terms();
        let sense = self.geometry().second_sense();
        for (term, by) in [
            (Term::Collimation, offset.right.radians()),
            (Term::ElevationZero, offset.up.radians() * sense),
        ] {
            terms.set_inside(term, terms.inside(term) + by);
        }
        self.with_terms(terms)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle::{EncoderReading, SkyBasis};
    use crate::mount::{ApproachSigns, LowerAxis, TermValues};

    #[test]
    fn names_are_read_back() {
        let [right, up] = FeedOffset::term_names("ku-band");
        assert_eq!(
            (right.as_str(), up.as_str()),
            ("feed-ku-band-right", "feed-ku-band-up")
        );
        assert_eq!(FeedOffset::part_of(&right), Some(("ku-band", 0)));
        assert_eq!(FeedOffset::part_of(&up), Some(("ku-band", 1)));
        assert_eq!(FeedOffset::part_of("feed--up"), None);
        assert_eq!(FeedOffset::part_of("collimation"), None);
    }

    /// From the words: seen along the beam with the first axis's outer end up, the feed's beam lies
    /// to the right and up.
    #[test]
    fn a_feed_lies_to_the_right_and_toward_the_outer_end() {
        let degrees = Angle::from_degrees;
        /// First order: a degree times a degree.
        const SECOND_ORDER: f64 = 3e-4;
        for geometry in [
            Geometry::AZ_EL,
            Geometry::polar(degrees(48.0)),
            Geometry::polar(degrees(-33.0)),
            Geometry::x_y(LowerAxis::NorthSouth),
            Geometry::x_y(LowerAxis::EastWest),
            Geometry::slant(degrees(15.0), degrees(70.0)),
        ] {
            let first = MountModel::new(geometry, TermValues::ZERO);
            let reading = EncoderReading::from_degrees(25.0, 10.0);
            let beam = first.beam_vector(reading, ApproachSigns::UNKNOWN);
            let outer = geometry.axis_1();
            // Along the beam with the outer end up: right is beam x up.
            let right = beam.cross(&outer).normalize();
            let up = right.cross(&beam);
            for (offset, expected) in [
                (
                    FeedOffset {
                        right: degrees(1.0),
                        up: Angle::ZERO,
                    },
                    right,
                ),
                (
                    FeedOffset {
                        right: Angle::ZERO,
                        up: degrees(1.0),
                    },
                    up,
                ),
            ] {
                let moved = first
                    .with_feed(offset)
                    .beam_vector(reading, ApproachSigns::UNKNOWN);
                let step = (moved - beam) / degrees(1.0).radians();
                assert!(
                    (step - expected).norm() < 0.01 + SECOND_ORDER,
                    "{geometry:?} {offset:?}"
                );
            }
            assert!(SkyBasis::at(&beam).upward.z >= 0.0);
        }
    }
}
