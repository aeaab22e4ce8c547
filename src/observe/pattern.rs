//! How a scan is made: its lengths, its speed and the stretches of its way, from the beam, from what
//! is known of the mount and from the receiver's noise.

use super::tuned::{
    HALF_HEIGHT_OF_A_RASTER, HALF_LENGTH_OF_A_CUT, MOST_ADDED_TO_A_SCAN, ROWS_OF_A_RASTER_APART,
    ROWS_OF_A_SEARCH_APART, SAMPLES_A_BEAM, SAMPLES_A_BEAM_SEARCHING, SETTLING_BEFORE_A_STOP,
    SHARE_OF_SPEED, SIGMAS_COVERED, STOPS_A_BEAM, WANTED_SIGNIFICANCE,
};
use crate::angle::Angle;

/// A stretch of a way: offsets on the sky from the emitter along axis 1 and axis 2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Where it begins; the mount is brought there first.
    pub from: [Angle; 2],
    /// Where it ends.
    pub to: [Angle; 2],
    /// On the sky, per second.
    pub speed: Angle,
    /// Which scan it belongs to: passes the same way along both axes make one.
    pub part: usize,
    /// By steps, sampled only while the mount stands; none when it is swept along.
    pub stops: Option<Stops>,
}

/// The stops of a stretch, evenly from its beginning to its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stops {
    /// How many.
    pub count: usize,
    /// How long each is sampled, seconds.
    pub seconds: f64,
    /// How long the mount stands before sampling, seconds: the receiver's delay has passed then.
    pub settle_s: f64,
}

impl Stretch {
    /// How long it is.
    pub fn length(&self) -> Angle {
        let way = [0, 1].map(|i| (self.to[i] - self.from[i]).radians());
        Angle::from_radians(way[0].hypot(way[1]))
    }

    /// The offset of a stop, counted from 0.
    pub fn stop(&self, k: usize) -> [Angle; 2] {
        let last = self.stops.map_or(1, |stops| stops.count.max(2) - 1);
        let share = (k as f64 / last as f64).min(1.0);
        [0, 1].map(|i| self.from[i] + (self.to[i] - self.from[i]) * share)
    }

    /// How long it takes when it is swept along, seconds.
    pub fn seconds(&self) -> f64 {
        self.length() / self.speed
    }

    /// The offset so many seconds after its beginning.
    pub fn at(&self, seconds: f64) -> [Angle; 2] {
        let share = (seconds / self.seconds().max(1e-9)).clamp(0.0, 1.0);
        [0, 1].map(|i| self.from[i] + (self.to[i] - self.from[i]) * share)
    }
}

/// How an emitter is scanned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pattern {
    /// Both ways along each axis.
    #[default]
    Cross,
    /// Rows along axis 1.
    Raster,
}

/// How the mount goes along a cut.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Manner {
    /// Steadily, sampled on the way.
    #[default]
    Sweep,
    /// By steps, sampled while it stands.
    Dwell,
}

/// What the pattern is computed from.
#[derive(Clone, Copy, Debug)]
pub struct Basis {
    /// Half-power width.
    pub beamwidth: Angle,
    /// Step of the encoders.
    pub resolution: Angle,
    /// Powers a second.
    pub lines_a_second: f64,
    /// Speed of the slower axis, per second.
    pub fastest: Angle,
    /// How far the mount's readings come apart while it moves that fast.
    pub poll_s: f64,
    /// How the mount goes along a cut.
    pub manner: Manner,
}

/// Fewest powers at a stop: a spike among them is outvoted, and the scatter of their mean is half
/// that of one. Common practice, no source.
const FEWEST_AT_A_STOP: f64 = 4.0;

impl Basis {
    /// Degrees a second on the sky for so many samples a beamwidth.
    fn speed(&self, samples_a_beam: f64) -> Angle {
        let wanted = self.beamwidth * (self.lines_a_second / samples_a_beam);
        let speed = wanted.min(self.fastest * SHARE_OF_SPEED);
        self.irregular(speed)
    }

    /// About that speed, such that the readings of successive polls do not come apart by a simple
    /// ratio of the encoder's step: rounding would then shift every pass the same way.
    fn irregular(&self, speed: Angle) -> Angle {
        self.off_ratio(speed * self.poll_s) / self.poll_s
    }

    /// About that distance, in no simple ratio to the encoder's step, and never more.
    fn off_ratio(&self, way: Angle) -> Angle {
        /// The golden section: farthest from any simple ratio.
        const GOLDEN: f64 = 0.381_966;
        if self.resolution <= Angle::ZERO {
            return way;
        }
        let steps = way / self.resolution;
        // Below a step the roundings run through all values by themselves; far above it they do not
        // matter.
        if !(0.6..=30.0).contains(&steps) {
            return way;
        }
        let whole = steps.floor().max(1.0);
        let odd = whole - 1.0 + GOLDEN;
        let chosen = if whole + GOLDEN <= steps {
            whole + GOLDEN
        } else {
            odd.max(GOLDEN)
        };
        self.resolution * chosen
    }

    /// Stops along a cut of about that length for so many samples a beamwidth, and the way from one to
    /// the next; none when it is swept along.
    fn stops(&self, length: Angle, samples_a_beam: f64) -> Option<(Stops, Angle)> {
        if self.manner == Manner::Sweep {
            return None;
        }
        let step = self.off_ratio(self.beamwidth / STOPS_A_BEAM);
        let lines = self.lines_a_second.max(0.01);
        let samples = (samples_a_beam * (step / self.beamwidth)).max(FEWEST_AT_A_STOP);
        let stops = Stops {
            count: (length / step).ceil().max(2.0) as usize + 1,
            seconds: samples / lines,
            settle_s: SETTLING_BEFORE_A_STOP
                .0
                .max(SETTLING_BEFORE_A_STOP.1 / lines),
        };
        Some((stops, step))
    }

    /// A cross, both ways along each axis and each way a scan of its own, so that both sides of arrival
    /// have their peak, about a middle that is uncertain by `spread` (one standard
    /// deviation along each axis) on an emitter whose peak stands `signal_to_noise` high.
    pub fn cross(
        &self,
        middle: [Angle; 2],
        spread: [Angle; 2],
        signal_to_noise: Option<f64>,
        slower: f64,
    ) -> Vec<Stretch> {
        let (least, most) = SAMPLES_A_BEAM;
        let needed = signal_to_noise.map_or(least, |s| (WANTED_SIGNIFICANCE / s.max(0.1)).powi(2));
        let needed = needed.clamp(least, most);
        let speed = self.speed(needed) / slower;
        let mut stretches = Vec::new();
        for side in [-1.0, 1.0] {
            for axis in [0, 1] {
                let added =
                    (SIGMAS_COVERED * (spread[axis] / self.beamwidth)).min(MOST_ADDED_TO_A_SCAN);
                let wanted = self.beamwidth * (HALF_LENGTH_OF_A_CUT + added);
                let stops = self.stops(wanted * 2.0, needed);
                let half = match stops {
                    Some((stops, step)) => step * (0.5 * (stops.count - 1) as f64),
                    None => wanted,
                };
                let mut from = middle;
                let mut to = middle;
                from[axis] += half * side;
                to[axis] -= half * side;
                stretches.push(Stretch {
                    from,
                    to,
                    speed,
                    part: usize::from(side > 0.0),
                    stops: stops.map(|(stops, _)| stops),
                });
            }
        }
        stretches
    }

    /// Rows along axis 1 about a middle, there and back, over the beam and what is uncertain.
    pub fn raster(
        &self,
        middle: [Angle; 2],
        spread: [Angle; 2],
        signal_to_noise: Option<f64>,
        slower: f64,
    ) -> Vec<Stretch> {
        let row = self.cross(middle, spread, signal_to_noise, slower);
        let along = [row[0], row[2]];
        let added = (SIGMAS_COVERED * (spread[1] / self.beamwidth)).min(MOST_ADDED_TO_A_SCAN);
        let rows = ((HALF_HEIGHT_OF_A_RASTER + added) / ROWS_OF_A_RASTER_APART).ceil() as i32;
        (-rows..=rows)
            .map(|k| {
                let mut stretch = along[usize::from(k % 2 != 0)];
                stretch.part = 0;
                let height = self.beamwidth * (ROWS_OF_A_RASTER_APART * f64::from(k));
                stretch.from[1] += height;
                stretch.to[1] += height;
                stretch
            })
            .collect()
    }

    /// Rows of a search along axis 1, the middle one first, then by turns on both sides of it, over
    /// `half` of an area along each axis.
    pub fn rows(&self, half: [Angle; 2]) -> Vec<Stretch> {
        let apart = self.beamwidth * ROWS_OF_A_SEARCH_APART;
        let count = (half[1] / apart).ceil().max(1.0) as i32;
        let mut places = vec![0];
        for k in 1..=count {
            places.extend([k, -k]);
        }
        (places.into_iter().enumerate())
            .map(|(n, k)| self.row(half[0], apart * f64::from(k), n % 2 == 1))
            .collect()
    }

    /// Returns a row at that height.
    fn row(&self, half: Angle, height: Angle, backward: bool) -> Stretch {
        // So that a whole beam is seen even at the end.
        let end = half + self.beamwidth * 1.2;
        let (from, to) = if backward { (end, -end) } else { (-end, end) };
        Stretch {
            from: [from, height],
            to: [to, height],
            speed: self.speed(SAMPLES_A_BEAM_SEARCHING),
            part: 0,
            stops: None,
        }
    }

    /// How far rows lie apart.
    pub fn rows_apart(&self) -> Angle {
        self.beamwidth * ROWS_OF_A_SEARCH_APART
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn deg(d: f64) -> Angle {
        Angle::from_degrees(d)
    }

    fn basis(resolution: f64) -> Basis {
        Basis {
            beamwidth: deg(5.0),
            resolution: deg(resolution),
            lines_a_second: 10.0,
            fastest: deg(6.0),
            poll_s: 0.2,
            manner: Manner::Sweep,
        }
    }

    #[test]
    fn by_steps_a_cross_has_stops_in_no_simple_ratio_to_the_encoders_step() {
        for resolution in [0.05, 0.1, 0.2, 0.5] {
            let basis = Basis {
                manner: Manner::Dwell,
                ..basis(resolution)
            };
            for cut in basis.cross([Angle::ZERO; 2], [Angle::ZERO; 2], Some(50.0), 1.0) {
                let stops = cut.stops.expect("stops");
                assert!(cut.length() >= deg(15.0) && cut.length() < deg(16.1));
                let last = cut.stop(stops.count - 1);
                assert!((0..2).all(|i| (last[i] - cut.to[i]).abs() < deg(1e-9)));
                assert_eq!(cut.stop(0), cut.from);
                let step = cut.length() / (stops.count - 1) as f64;
                assert!(step <= deg(1.0) && step > deg(0.6), "{step:?}");
                let steps = step / deg(resolution);
                for denominator in 1..=4 {
                    let ratio = steps * f64::from(denominator);
                    let off = (ratio - ratio.round()).abs() / f64::from(denominator);
                    assert!(off > 0.03, "{resolution}: {steps} x {denominator}");
                }
                // Lines come ten times a second.
                assert!((0.4..0.5).contains(&stops.seconds) && stops.settle_s == 1.0);
            }
        }
        // A weak signal is listened to for longer; a slow receiver is waited for.
        let slow = Basis {
            manner: Manner::Dwell,
            lines_a_second: 1.0,
            ..basis(0.1)
        };
        let cut = slow.cross([Angle::ZERO; 2], [Angle::ZERO; 2], Some(8.0), 1.0)[0];
        let stops = cut.stops.unwrap();
        assert!(stops.seconds > 8.0 && stops.settle_s == 1.5, "{stops:?}");
    }

    #[test]
    fn a_cross_runs_both_ways_along_each_axis_past_the_whole_beam() {
        let cross = basis(0.1).cross([deg(0.3), deg(-0.2)], [Angle::ZERO; 2], None, 1.0);
        assert_eq!(cross.len(), 4);
        for (i, stretch) in cross.iter().enumerate() {
            let axis = i % 2;
            assert!((stretch.length() - deg(15.0)).abs() < deg(1e-9));
            assert_eq!(stretch.from[1 - axis], stretch.to[1 - axis]);
            let rises = stretch.to[axis] > stretch.from[axis];
            assert_eq!(rises, i < 2);
            assert_eq!(stretch.part, i / 2);
            let samples = stretch.seconds() * 10.0 / 3.0;
            assert!((13.0..25.0).contains(&samples), "{samples} a beamwidth");
        }
        let middle = cross[0].at(cross[0].seconds() / 2.0);
        assert!((middle[0] - deg(0.3)).abs() < deg(1e-9));
        // A weak signal is scanned more slowly, an uncertain place more widely.
        let weak = basis(0.1).cross([Angle::ZERO; 2], [deg(2.0), deg(0.1)], Some(8.0), 1.0);
        assert!(weak[0].speed < cross[0].speed / 2.0);
        assert!(weak[0].length() > weak[1].length());
    }

    #[test]
    fn steps_between_readings_are_in_no_simple_ratio_to_the_encoders_step() {
        for resolution in [0.05, 0.1, 0.2, 0.5] {
            let basis = basis(resolution);
            for samples in [6.0, 10.0, 14.0, 25.0, 40.0] {
                let steps = basis.speed(samples) * 0.2 / deg(resolution);
                if !(0.6..=30.0).contains(&steps) {
                    continue;
                }
                for denominator in 1..=4 {
                    let ratio = steps * f64::from(denominator);
                    let off = (ratio - ratio.round()).abs() / f64::from(denominator);
                    assert!(
                        off > 0.03,
                        "{resolution} {samples}: {steps} x {denominator}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_search_covers_its_area_from_the_middle() {
        let rows = basis(0.1).rows([deg(10.0), deg(10.0)]);
        assert_eq!(rows[0].from[1], Angle::ZERO);
        let mut heights: Vec<f64> = rows.iter().map(|r| r.from[1].degrees()).collect();
        heights.sort_by(f64::total_cmp);
        assert!(heights[0] <= -10.0 && heights[heights.len() - 1] >= 10.0);
        assert!(heights.windows(2).all(|w| (w[1] - w[0] - 3.0).abs() < 1e-9));
        assert!(rows.iter().all(|r| r.length() >= deg(20.0)));
    }
}
