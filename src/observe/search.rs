//! The search for an emitter whose place is not known to within a beam: scans rows over an area for
//! the strongest rise of the signal.

use std::collections::VecDeque;

use super::pattern::{Basis, Stretch};
use super::tuned::{FEWEST_LINES_FOR_SCATTER, SIGMAS_OF_A_RISE, WINDOW_OF_A_RISE};
use crate::angle::Angle;

/// A power at an offset from where the emitter was expected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerAtOffset {
    /// On the sky, along axis 1 and axis 2.
    pub offset: [Angle; 2],
    /// Proportional to power.
    pub power: f64,
}

/// What the receiver shows of the empty sky.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EmptySky {
    /// Its power.
    pub level: f64,
    /// Standard deviation of a sample.
    pub scatter: f64,
    /// Lines a second.
    pub lines_a_second: f64,
}

impl EmptySky {
    /// From powers that came within `seconds`; `None` if there are too few. Outliers do not count:
    /// level and scatter are those of the middle half.
    pub fn of(powers: &[f64], seconds: f64) -> Option<EmptySky> {
        /// Half the range between the quartiles over the standard deviation of a Gaussian.
        const QUARTILE: f64 = 0.674_49;
        if powers.len() < FEWEST_LINES_FOR_SCATTER || seconds <= 0.0 {
            return None;
        }
        let mut sorted = powers.to_vec();
        sorted.sort_by(f64::total_cmp);
        let at = |share: f64| sorted[(share * (sorted.len() - 1) as f64).round() as usize];
        let level = at(0.5);
        // A receiver with few bits may show no scatter at all.
        let least = level.abs() * 1e-6 + f64::MIN_POSITIVE;
        Some(EmptySky {
            level,
            scatter: ((at(0.75) - at(0.25)) / (2.0 * QUARTILE)).max(least),
            lines_a_second: powers.len() as f64 / seconds,
        })
    }
}

/// A significant rise of the signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SignalRise {
    /// Where.
    pub offset: [Angle; 2],
    /// Over the row's own baseline.
    pub height: f64,
    /// In standard deviations of the noise.
    pub significance: f64,
}

/// A search in progress.
#[derive(Clone, Debug)]
pub struct Search {
    rows: VecDeque<Stretch>,
    beamwidth: Angle,
    apart: Angle,
    empty: EmptySky,
    best: Option<SignalRise>,
    done: usize,
    all: usize,
}

impl Search {
    /// A search over an area of half-width `half` along each axis.
    pub fn new(basis: &Basis, half: [Angle; 2], empty: EmptySky) -> Search {
        let rows = basis.rows(half);
        Search {
            all: rows.len(),
            rows: rows.into(),
            beamwidth: basis.beamwidth,
            apart: basis.rows_apart(),
            empty,
            best: None,
            done: 0,
        }
    }

    /// Returns the next row; `None` if none is left.
    pub fn next_row(&mut self) -> Option<Stretch> {
        let row = self.rows.pop_front()?;
        self.done += 1;
        Some(row)
    }

    /// Number of rows done, and of all.
    pub fn progress(&self) -> (usize, usize) {
        (self.done, self.all)
    }

    /// The strongest rise so far.
    pub fn best(&self) -> Option<SignalRise> {
        self.best
    }

    /// Takes in a row. Once the signal was seen only the rows beside the strongest are left.
    pub fn take(&mut self, row: &[PowerAtOffset]) {
        let rise = rise(row, self.beamwidth, &self.empty);
        if let Some(rise) = rise
            && self.best.is_none_or(|best| rise.height > best.height)
        {
            self.best = Some(rise);
        }
        if let Some(best) = self.best {
            let near = self.apart * 1.5;
            self.rows
                .retain(|row| (row.from[1] - best.offset[1]).abs() < near);
        }
    }
}

/// The strongest rise in a row, if it is significant.
fn rise(row: &[PowerAtOffset], beamwidth: Angle, empty: &EmptySky) -> Option<SignalRise> {
    if row.len() < 5 {
        return None;
    }
    // A single sample that stands out from both neighbours is interference.
    let calm: Vec<f64> = (0..row.len())
        .map(|i| {
            let (before, after) = (i.saturating_sub(1), (i + 1).min(row.len() - 1));
            let mut three = [row[before].power, row[i].power, row[after].power];
            three.sort_by(f64::total_cmp);
            three[1]
        })
        .collect();
    let mut sorted = calm.clone();
    sorted.sort_by(f64::total_cmp);
    // The lower quarter of a row is empty sky; where it is not, the level seen before is lower.
    let baseline = sorted[sorted.len() / 4] + 0.5 * empty.scatter;
    let window = beamwidth * (0.5 * WINDOW_OF_A_RISE);
    let mut best: Option<SignalRise> = None;
    for middle in row {
        let mut sum = 0.0;
        let mut count: f64 = 0.0;
        for (seen, power) in row.iter().zip(&calm) {
            if (seen.offset[0] - middle.offset[0]).abs() <= window {
                sum += power;
                count += 1.0;
            }
        }
        let height = sum / count - baseline;
        let significance = height / (empty.scatter / count.sqrt());
        if significance > SIGMAS_OF_A_RISE && best.is_none_or(|b| height > b.height) {
            best = Some(SignalRise {
                offset: middle.offset,
                height,
                significance,
            });
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha12Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    const fn deg(d: f64) -> Angle {
        Angle::from_degrees(d)
    }

    const EMPTY: EmptySky = EmptySky {
        level: 1.0,
        scatter: 0.02,
        lines_a_second: 10.0,
    };

    fn search() -> Search {
        let basis = Basis {
            beamwidth: deg(5.0),
            resolution: deg(0.1),
            lines_a_second: 10.0,
            fastest: deg(6.0),
            poll_s: 0.2,
            manner: crate::observe::Manner::Sweep,
        };
        Search::new(&basis, [deg(10.0), deg(10.0)], EMPTY)
    }

    /// What a row shows of an emitter there.
    fn row(
        stretch: &Stretch,
        emitter: [f64; 2],
        height: f64,
        rng: &mut ChaCha12Rng,
    ) -> Vec<PowerAtOffset> {
        let n = (stretch.seconds() * 10.0) as usize;
        (0..n)
            .map(|i| {
                let offset = stretch.at(i as f64 / 10.0);
                let off =
                    (offset[0].degrees() - emitter[0]).hypot(offset[1].degrees() - emitter[1]);
                let noise: f64 = StandardNormal.sample(rng);
                let power = 1.0 + height * 2f64.powf(-4.0 * (off / 5.0).powi(2)) + 0.02 * noise;
                PowerAtOffset { offset, power }
            })
            .collect()
    }

    #[test]
    fn an_emitter_is_found_wherever_it_is_in_the_area_also_a_weak_one() {
        let mut rng = ChaCha12Rng::seed_from_u64(3);
        for (emitter, height) in [
            ([8.0, -9.0], 1.0),
            ([-9.0, 9.0], 0.1),
            ([0.0, 0.0], 0.2),
            ([3.0, 4.4], 15.0),
        ] {
            let mut search = search();
            let mut rows = 0;
            while let Some(stretch) = search.next_row() {
                rows += 1;
                search.take(&row(&stretch, emitter, height, &mut rng));
            }
            let found = search.best().expect("a rise").offset;
            let off = [0, 1].map(|i| (found[i].degrees() - emitter[i]).abs());
            assert!(off[0] < 1.5 && off[1] < 2.0, "{emitter:?}: {found:?}");
            assert!(rows <= 9);
        }
    }

    #[test]
    fn noise_and_single_spikes_are_no_emitter() {
        let mut rng = ChaCha12Rng::seed_from_u64(5);
        for _ in 0..200 {
            let mut search = search();
            while let Some(stretch) = search.next_row() {
                let mut seen = row(&stretch, [0.0, 0.0], 0.0, &mut rng);
                let n = seen.len();
                seen[n / 3].power += 5.0;
                search.take(&seen);
            }
            assert_eq!(search.best(), None);
        }
    }

    #[test]
    fn the_empty_sky_has_a_level_and_a_scatter() {
        let mut rng = ChaCha12Rng::seed_from_u64(7);
        let mut powers: Vec<f64> = (0..60)
            .map(|_| {
                let deviate: f64 = StandardNormal.sample(&mut rng);
                2.0 + 0.1 * deviate
            })
            .collect();
        powers[7] = 50.0;
        let empty = EmptySky::of(&powers, 6.0).unwrap();
        assert!((empty.level - 2.0).abs() < 0.05);
        assert!((0.06..0.15).contains(&empty.scatter), "{}", empty.scatter);
        assert_eq!(empty.lines_a_second, 10.0);
        assert_eq!(EmptySky::of(&powers[..5], 1.0), None);
    }
}
