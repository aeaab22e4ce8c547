//! The zone round the Sun that the beam must not enter: whether a box of travel enters it, and
//! whether a path from inside leads out.

use nalgebra::Vector3;

use super::axes::{Axes, Beam, Travel};
use crate::angle::{Angle, angle_between};

/// A cone round the Sun, where the Sun is now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunZone {
    /// Unit vector (east, north, up) to the Sun.
    pub sun: Vector3<f64>,
    /// Half-angle of the cone.
    pub radius: Angle,
    /// Largest motion of the beam on the sky per unit change of a reading: see [`largest_rate`].
    pub rate: f64,
}

/// The default half-angle of the zone round the Sun: the larger of ten degrees and
/// three beamwidths, and three times the pointing error (one standard deviation, on the sky).
pub fn usual_radius(beamwidth: Angle, pointing_error: Angle) -> Angle {
    /// Where the focused spot has left the feed (common practice, no source).
    const LEAST: Angle = Angle::from_degrees(10.0);
    LEAST.max(beamwidth * 3.0) + pointing_error * 3.0
}

/// Boxes are halved down to this; one that is not clear of the zone by then counts as entering it.
const SMALLEST: Angle = Angle::from_degrees(0.05);
/// A path out is checked at steps of this size.
const STEP: Angle = Angle::from_degrees(0.25);
/// At its beginning it is checked after this step.
const PROBE: Angle = Angle::from_degrees(0.001);
/// No more checks than this are needed along one axis: a step of travel is short.
const MOST_LOOKS: usize = 400;

impl SunZone {
    /// The angle between the beam and the Sun.
    pub fn distance(&self, beam: &dyn Beam, axes: Axes) -> Angle {
        angle_between(&beam.beam(axes), &self.sun)
    }

    /// Whether the beam is in the zone.
    pub fn holds(&self, beam: &dyn Beam, axes: Axes) -> bool {
        // Not-a-number is never clear.
        let clear = self.distance(beam, axes) >= self.radius;
        !clear
    }

    /// Whether any reading of a box puts the beam into the zone. The answer errs to the safe side,
    /// by less than `SMALLEST`: a box is clear when the zone is farther from the beam at its middle
    /// than the beam moves from there to any corner; else its halves are checked.
    pub fn is_entered_by(&self, beam: &dyn Beam, travel: Travel) -> bool {
        let mut boxes = vec![travel];
        while let Some(travel) = boxes.pop() {
            let distance = self.distance(beam, travel.middle());
            let [first, second] = travel.half_size();
            let reach = Angle::from_radians(first.radians().hypot(second.radians())) * self.rate;
            if distance - reach >= self.radius {
                continue;
            }
            // Not-a-number is never clear.
            let inside = !matches!(
                distance.radians().partial_cmp(&self.radius.radians()),
                Some(std::cmp::Ordering::Greater | std::cmp::Ordering::Equal)
            );
            if inside || first.max(second) < SMALLEST {
                return true;
            }
            boxes.extend(travel.halves());
        }
        false
    }

    /// Whether every path from one reading to another, each axis moving at its own speed, takes the
    /// beam steadily away from the Sun while it is in the zone. Such a path cannot enter the zone
    /// again once it has left it.
    pub fn is_left_by(&self, beam: &dyn Beam, from: Axes, to: Axes) -> bool {
        let looks = |i: usize| {
            let ratio = (to.0[i] - from.0[i]).abs() / STEP;
            (ratio.ceil() as usize).clamp(usize::from(ratio > 0.0), MOST_LOOKS)
        };
        let (across, up) = (looks(0), looks(1));
        let place = |i: usize, j: usize| {
            let share = |k: usize, of: usize| {
                if of == 0 { 0.0 } else { k as f64 / of as f64 }
            };
            let along =
                |axis: usize, share: f64| from.0[axis] + (to.0[axis] - from.0[axis]) * share;
            Axes([along(0, share(i, across)), along(1, share(j, up))])
        };
        let distance = |i: usize, j: usize| self.distance(beam, place(i, j)).radians();
        let radius = self.radius.radians();
        // Along a line the distance falls, if at all, at its beginning: that is checked closely.
        let begins_well = |i: usize, j: usize, axis: usize| {
            let start = place(i, j);
            let way = (to.0[axis] - from.0[axis]).radians();
            let mut next = start;
            next.0[axis] += PROBE.min(Angle::from_radians(way.abs())) * way.signum();
            let less = self.distance(beam, start).radians();
            way == 0.0 || less >= radius || self.distance(beam, next).radians() > less
        };
        let begin =
            (0..=up).all(|j| begins_well(0, j, 0)) && (0..=across).all(|i| begins_well(i, 0, 1));
        if !begin {
            return false;
        }
        let mut before: Vec<f64> = Vec::new();
        for j in 0..=up {
            let row: Vec<f64> = (0..=across).map(|i| distance(i, j)).collect();
            let grows = |less: f64, more: f64| less >= radius && more >= radius || more > less;
            let along = row.windows(2).all(|pair| grows(pair[0], pair[1]));
            let rising = before
                .iter()
                .zip(&row)
                .all(|(less, more)| grows(*less, *more));
            if !along || !rising {
                return false;
            }
            before = row;
        }
        across + up > 0
    }
}

/// Largest motion of the beam on the sky per unit change of a reading, over all readings of a box;
/// with a small margin for what lies between the points checked.
pub fn largest_rate(beam: &dyn Beam, travel: Travel) -> f64 {
    /// Along each axis: several to each wave of the errors that come twice a turn.
    const PLACES: usize = 24;
    /// Periodic errors change slowly from one place to the next.
    const ROOM: f64 = 1.05;
    let step = Angle::from_degrees(0.01);
    let size = travel.half_size().map(|half| half * 2.0);
    let mut largest: f64 = 1.0;
    for i in 0..=PLACES {
        for j in 0..=PLACES {
            let share = |k: usize| k as f64 / PLACES as f64;
            let at = Axes([
                travel.low.0[0] + size[0] * share(i),
                travel.low.0[1] + size[1] * share(j),
            ]);
            let here = beam.beam(at);
            let rates = [0, 1].map(|axis| {
                let mut there = at;
                there.0[axis] += step;
                angle_between(&here, &beam.beam(there)) / step
            });
            // Both axes may add up where they are not square.
            largest = largest.max(rates[0].hypot(rates[1]).min(rates[0] + rates[1]) / 2f64.sqrt());
            largest = largest.max(rates[0]).max(rates[1]);
        }
    }
    largest * ROOM
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(axes: Axes) -> Vector3<f64> {
        let [a, e] = axes.0.map(Angle::radians);
        Vector3::new(e.cos() * a.sin(), e.cos() * a.cos(), e.sin())
    }

    fn zone(azimuth: f64, elevation: f64, radius: f64) -> SunZone {
        SunZone {
            sun: plain(Axes::from_degrees(azimuth, elevation)),
            radius: Angle::from_degrees(radius),
            rate: 1.05,
        }
    }

    fn travel(from: (f64, f64), to: (f64, f64)) -> Travel {
        Travel::between(
            Axes::from_degrees(from.0, from.1),
            Axes::from_degrees(to.0, to.1),
        )
    }

    #[test]
    fn the_usual_zone_is_wider_for_a_wide_beam_and_for_a_mount_less_known() {
        let radius = |beamwidth, error| {
            let [beamwidth, error] = [beamwidth, error].map(Angle::from_degrees);
            usual_radius(beamwidth, error).degrees()
        };
        /// Degrees through radians and back.
        const ROUNDING: f64 = 1e-12;
        for (beamwidth, error, zone) in [(1.0, 0.0, 10.0), (5.0, 0.0, 15.0), (1.0, 2.0, 16.0)] {
            assert!((radius(beamwidth, error) - zone).abs() < ROUNDING, "{zone}");
        }
    }

    #[test]
    fn a_box_enters_when_any_of_its_readings_does() {
        let zone = zone(180.0, 40.0, 10.0);
        // Its diagonal passes the Sun far off, its corner does not.
        assert!(zone.is_entered_by(&plain, travel((100.0, 35.0), (182.0, 80.0))));
        assert!(zone.is_entered_by(&plain, travel((90.0, 10.0), (270.0, 80.0))));
        assert!(!zone.is_entered_by(&plain, travel((90.0, 0.0), (270.0, 29.9))));
        assert!(zone.is_entered_by(&plain, travel((90.0, 0.0), (270.0, 30.1))));
        assert!(!zone.is_entered_by(&plain, travel((0.0, 0.0), (150.0, 89.0))));
        // A whole turn further on is the same sky.
        assert!(zone.is_entered_by(&plain, travel((530.0, 40.0), (535.0, 41.0))));
        // A beam that is not a valid direction is never clear.
        let nowhere = |_: Axes| Vector3::repeat(f64::NAN);
        assert!(zone.is_entered_by(&nowhere, travel((0.0, 0.0), (0.0, 0.0))));
        assert!(zone.holds(&nowhere, Axes::from_degrees(0.0, 0.0)));
    }

    #[test]
    fn out_is_where_the_distance_grows() {
        let zone = zone(180.0, 40.0, 10.0);
        let out = |from: (f64, f64), to: (f64, f64)| {
            zone.is_left_by(
                &plain,
                Axes::from_degrees(from.0, from.1),
                Axes::from_degrees(to.0, to.1),
            )
        };
        assert!(out((185.0, 44.0), (195.0, 54.0)));
        assert!(out((185.0, 44.0), (185.0, 60.0)));
        assert!(out((175.0, 38.0), (160.0, 20.0)));
        // Past the Sun first.
        assert!(!out((185.0, 44.0), (165.0, 44.0)));
        assert!(!out((185.0, 44.0), (195.0, 30.0)));
        assert!(!out((185.0, 44.0), (185.0, 44.0)));
    }

    #[test]
    fn a_plain_mount_moves_its_beam_no_faster_than_its_readings() {
        let rate = largest_rate(&plain, travel((0.0, 0.0), (360.0, 90.0)));
        assert!((1.0..1.1).contains(&rate), "{rate}");
    }
}
