//! Figures of a pass: time on target, the largest lag, and the loss with and without the
//! correction, computed from the rows of a relay's log, while they are written or from the file.

use serde::Serialize;

use super::aim::AskedDirection;
use super::record::{RELAY, RelayRow};
use crate::angle::{Angle, Direction};
use crate::station::limits::ENCODER_AZIMUTH;
use crate::time::Utc;

/// Losing less than this is being on target.
pub const ON_TARGET_DB: f64 = 1.0;
/// Rows farther apart than this do not cover the time between them.
const GAP_S: f64 = 2.0;
/// Demands farther apart than this belong to different passes.
const BETWEEN_PASSES_S: f64 = 300.0;

/// Where the beam was and should have been at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PassSample {
    /// When.
    pub time: Utc,
    /// What was demanded.
    pub demand: AskedDirection,
    /// Where the beam pointed.
    pub beam: AskedDirection,
    /// The angle between both.
    pub miss: Angle,
    /// How far off the beam would have been without the correction; `None` if the mount's readings
    /// are not azimuth and elevation.
    pub uncorrected: Option<Angle>,
    /// Angle from the beam to the Sun; `None` unless it was up.
    pub sun: Option<Angle>,
}

impl PassSample {
    /// Reads a row; `None` if it is not a reading under a demand. `az_el` says whether readings are
    /// azimuth and elevation.
    pub fn of(row: &RelayRow, az_el: bool) -> Option<PassSample> {
        if row.client != RELAY || row.command != "p" {
            return None;
        }
        let asked = |azimuth: f64, elevation: f64| AskedDirection {
            azimuth: Angle::from_degrees(azimuth),
            elevation: Angle::from_degrees(elevation),
        };
        let demand = asked(row.demand_azimuth_deg?, row.demand_elevation_deg?);
        let (azimuth, elevation) = row.reply.split_once(' ')?;
        let degrees = |text: &str| ENCODER_AZIMUTH.read("", text).ok();
        let beam = asked(degrees(azimuth)?, degrees(elevation)?);
        let reading = row.reading_1_deg.zip(row.reading_2_deg);
        let uncorrected = reading
            .filter(|_| az_el)
            // Without the correction the readings would be what is demanded: here the beam is as far
            // from its readings as it would be from the demand.
            .and_then(|(one, two)| apart(asked(one, two), beam));
        Some(PassSample {
            time: row.time_utc,
            demand,
            beam,
            miss: apart(demand, beam)?,
            uncorrected,
            sun: row.sun_distance_deg.map(Angle::from_degrees),
        })
    }
}

fn apart(one: AskedDirection, other: AskedDirection) -> Option<Angle> {
    let direction = |asked: AskedDirection| {
        let demand = asked.demand()?;
        Some(Direction::apparent(demand.azimuth, demand.elevation))
    };
    Some(direction(one)?.separation(&direction(other)?))
}

/// Signal lost at that distance from the beam's axis: 12 (offset/beamwidth)^2, the Gaussian beam
/// (common practice, no source), which holds within about one beamwidth; `None` beyond.
pub fn loss_db(miss: Angle, beamwidth: Angle) -> Option<f64> {
    let share = miss / beamwidth;
    (share <= 1.0).then_some(12.0 * share * share)
}

/// How a pass went, counted sample by sample in constant memory.
#[derive(Clone, Debug, PartialEq)]
pub struct PassTally {
    beamwidth: Angle,
    first: Option<Utc>,
    last: Option<Utc>,
    followed_s: f64,
    on_target_s: f64,
    arrived: bool,
    largest: Option<(Angle, Utc)>,
    loss: f64,
    uncorrected: f64,
    uncorrected_lost_s: f64,
    uncorrected_s: f64,
}

/// The figures of a pass.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figures {
    /// First reading under a demand.
    pub from_utc: Utc,
    /// Last one.
    pub to_utc: Utc,
    /// Seconds under a demand with readings.
    pub followed_s: f64,
    /// Seconds of them on target: less than [`ON_TARGET_DB`] lost.
    pub on_target_s: f64,
    /// The largest angle between demand and beam after it first was on target.
    pub largest_lag_deg: Option<f64>,
    /// When that was.
    pub largest_lag_utc: Option<Utc>,
    /// Mean loss while on target.
    pub lost_db: Option<f64>,
    /// Mean loss at the same times without the correction; `None` if the beam would have been
    /// beyond one beamwidth, where there is hardly any signal, or if it is not known.
    pub lost_without_correction_db: Option<f64>,
    /// Seconds on target at which the beam would have been beyond one beamwidth without the
    /// correction.
    pub beyond_the_beam_without_correction_s: f64,
}

impl PassTally {
    /// An empty tally.
    pub fn new(beamwidth: Angle) -> PassTally {
        PassTally {
            beamwidth,
            first: None,
            last: None,
            followed_s: 0.0,
            on_target_s: 0.0,
            arrived: false,
            largest: None,
            loss: 0.0,
            uncorrected: 0.0,
            uncorrected_lost_s: 0.0,
            uncorrected_s: 0.0,
        }
    }

    /// Whether a sample belongs to another pass than those before it.
    pub fn is_over(&self, time: Utc) -> bool {
        self.last
            .is_some_and(|last| time.seconds_since(last) > BETWEEN_PASSES_S)
    }

    /// Adds a sample.
    pub fn add(&mut self, sample: &PassSample) {
        let since = self
            .last
            .map_or(0.0, |last| sample.time.seconds_since(last));
        let seconds = match (0.0..=GAP_S).contains(&since) {
            true => since,
            false => 0.0,
        };
        self.first = self.first.or(Some(sample.time));
        self.last = Some(sample.time);
        self.followed_s += seconds;
        let loss = loss_db(sample.miss, self.beamwidth);
        let on_target = loss.is_some_and(|db| db < ON_TARGET_DB);
        self.arrived |= on_target;
        if self.arrived && self.largest.is_none_or(|(most, _)| sample.miss > most) {
            self.largest = Some((sample.miss, sample.time));
        }
        if !on_target {
            return;
        }
        self.on_target_s += seconds;
        self.loss += loss.unwrap_or(0.0) * seconds;
        if let Some(miss) = sample.uncorrected {
            match loss_db(miss, self.beamwidth) {
                Some(db) => {
                    self.uncorrected += db * seconds;
                    self.uncorrected_s += seconds;
                }
                None => self.uncorrected_lost_s += seconds,
            }
        }
    }

    /// Returns the figures; `None` if there was no reading under a demand.
    pub fn figures(&self) -> Option<Figures> {
        let mean = |sum: f64, seconds: f64| (seconds > 0.0).then(|| sum / seconds);
        Some(Figures {
            from_utc: self.first?,
            to_utc: self.last?,
            followed_s: self.followed_s,
            on_target_s: self.on_target_s,
            largest_lag_deg: self.largest.map(|(miss, _)| miss.degrees()),
            largest_lag_utc: self.largest.map(|(_, time)| time),
            lost_db: mean(self.loss, self.on_target_s),
            lost_without_correction_db: match self.uncorrected_lost_s > 0.0 {
                true => None,
                false => mean(self.uncorrected, self.uncorrected_s),
            },
            beyond_the_beam_without_correction_s: self.uncorrected_lost_s,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(second: f64, demand: (f64, f64), beam: (f64, f64), reading: (f64, f64)) -> RelayRow {
        let start = Utc::parse("2026-09-12T10:00:00Z").unwrap();
        let reply = format!("{} {}", beam.0, beam.1);
        RelayRow {
            demand_azimuth_deg: Some(demand.0),
            demand_elevation_deg: Some(demand.1),
            reading_1_deg: Some(reading.0),
            reading_2_deg: Some(reading.1),
            ..RelayRow::new(start.plus_seconds(second), RELAY, "p", &reply)
        }
    }

    #[test]
    fn a_pass_is_counted_from_its_rows() {
        /// Of sums of a few numbers.
        const ROUNDING: f64 = 1e-6;
        let mut tally = PassTally::new(Angle::from_degrees(2.0));
        // Ten seconds on the way, ten on target a tenth of a degree low; the readings are a degree off.
        for k in 0..=20 {
            let low = if k < 10 {
                20.0 - 2.0 * f64::from(k)
            } else {
                0.1
            };
            let row = row(
                f64::from(k),
                (100.0, 30.0),
                (100.0, 30.0 - low),
                (100.0, 31.0 - low),
            );
            tally.add(&PassSample::of(&row, true).unwrap());
        }
        let figures = tally.figures().unwrap();
        assert!((figures.followed_s - 20.0).abs() < ROUNDING);
        assert!((figures.on_target_s - 11.0).abs() < ROUNDING);
        assert!((figures.largest_lag_deg.unwrap() - 0.1).abs() < ROUNDING);
        assert!((figures.lost_db.unwrap() - 12.0 * 0.05f64.powi(2)).abs() < ROUNDING);
        assert!((figures.lost_without_correction_db.unwrap() - 3.0).abs() < ROUNDING);
        assert!(tally.is_over(figures.to_utc.plus_seconds(BETWEEN_PASSES_S + 1.0)));
    }

    #[test]
    fn rows_of_other_things_and_gaps_count_nothing() {
        let good = row(0.0, (1.0, 2.0), (1.0, 2.0), (1.0, 2.0));
        for other in [
            RelayRow {
                client: "127.0.0.1:9".to_owned(),
                ..good.clone()
            },
            RelayRow {
                command: "P".to_owned(),
                ..good.clone()
            },
            RelayRow {
                demand_azimuth_deg: None,
                ..good.clone()
            },
            RelayRow {
                reply: "RPRT -5".to_owned(),
                ..good.clone()
            },
        ] {
            assert_eq!(PassSample::of(&other, true), None);
        }
        assert_eq!(PassSample::of(&good, false).unwrap().uncorrected, None);
        let mut tally = PassTally::new(Angle::from_degrees(1.0));
        assert_eq!(tally.figures(), None);
        tally.add(&PassSample::of(&good, true).unwrap());
        tally.add(&PassSample::of(&row(100.0, (1.0, 2.0), (1.0, 2.0), (1.0, 2.0)), true).unwrap());
        assert_eq!(tally.figures().unwrap().followed_s, 0.0);
    }
}
