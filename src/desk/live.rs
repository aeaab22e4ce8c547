//! Live data while the desk is open: mount readings, receiver power with the resulting estimate of
//! the peak, and watched runs.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use serde::Serialize;

use super::advice::{advice, lean};
use super::coach::{Coach, PowerSample};
use super::rotator::{KnownPosition, Rotator};
use super::runs::{RunView, Watched};
use super::session::DeskSession;
use super::state::Desk;
use crate::angle::Angle;
use crate::live::Axes;
use crate::logbook::PowerUnit;
use crate::mount::{ApproachSigns, MountModel};
use crate::number;
use crate::observe::{FromReceiver, Listening, PowerForm, PowerLines, PowerSource, listen};
use crate::problem::{Error, printable};
use crate::time::Utc;

/// A reading older than this, seconds, no longer gives the mount's present position.
const OLD_S: f64 = 2.0;
/// Shortest interval between powers sent to pages: nobody reads faster.
const SHOWN_OFTEN: Duration = Duration::from_millis(200);
/// Longest wait for a reading requested now.
const PATIENCE: Duration = Duration::from_secs(2);

/// What the command line asks to watch.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// Address of the mount's daemon, `HOST:PORT`.
    pub rotator: Option<String>,
    /// The receiver.
    pub power: Option<PowerSource>,
    /// Unit of the power.
    pub unit: PowerUnit,
    /// Format of the receiver's lines.
    pub form: PowerForm,
    /// Folders searched for runs besides the session's.
    pub watch: Vec<PathBuf>,
}

/// Live data sent to a page.
#[derive(Clone, Debug, PartialEq)]
pub enum News {
    /// The mount's position.
    MountReading(ReadingView),
    /// The receiver's power.
    Power(Box<PowerView>),
    /// Runs in progress.
    Runs(Vec<RunView>),
}

/// The mount's position, for a page.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReadingView {
    azimuth_deg: Option<f64>,
    elevation_deg: Option<f64>,
    azimuth_shown: Option<String>,
    elevation_shown: Option<String>,
    age_s: Option<f64>,
    problem: Option<String>,
}

/// The reading for a peak, as typed into a log.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TakenReading {
    time_utc: String,
    azimuth_shown: Option<String>,
    elevation_shown: Option<String>,
    peak_db: Option<f64>,
    peak_db_shown: Option<String>,
    problem: Option<String>,
}

/// The receiver's power and the resulting estimate of the peak, for a page.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PowerView {
    value: Option<f64>,
    value_shown: String,
    unit: &'static str,
    best: Option<f64>,
    best_shown: String,
    best_azimuth_shown: Option<String>,
    best_elevation_shown: Option<String>,
    /// Distance to the peak along the first axis, degrees; positive toward larger readings.
    right_deg: Option<f64>,
    /// Distance to the peak along the second axis.
    up_deg: Option<f64>,
    advice: String,
    problem: Option<String>,
}

/// The mount, the receiver and the runs that a desk watches.
pub struct Live {
    desk: Arc<Desk>,
    rotator: Option<Arc<Rotator>>,
    peaking: Arc<Peaking>,
    watched: Watched,
    hears: bool,
    _listening: Option<Listening>,
}

/// The receiver and the coach.
struct Peaking {
    unit: PowerUnit,
    coach: Mutex<Coach>,
    /// The emitter being peaked, if the page names one.
    emitter: Mutex<Option<String>>,
    heard: Mutex<Option<(Instant, Result<f64, String>)>>,
    /// Powers waiting for the mount reading that follows them.
    waiting: Mutex<VecDeque<(Instant, f64)>>,
}

impl Live {
    /// Starts watching; `tell` is called from several threads.
    ///
    /// # Errors
    /// If the receiver cannot be opened.
    pub fn begin(
        desk: &Arc<Desk>,
        wanted: &Wanted,
        tell: Arc<dyn Fn(News) + Send + Sync>,
    ) -> Result<Arc<Live>, Error> {
        let session = &desk.session;
        let rotator = wanted.rotator.as_ref().map(|place| {
            let told: Arc<Mutex<Option<std::sync::Weak<Rotator>>>> = Arc::default();
            let (inner, tell) = (told.clone(), tell.clone());
            let kind = session.station.clone();
            let rotator = Arc::new(Rotator::watch(place, move || {
                let weak = inner.lock().unwrap_or_else(PoisonError::into_inner).clone();
                if let Some(rotator) = weak.and_then(|weak| weak.upgrade()) {
                    tell(News::MountReading(reading_view(&kind, &rotator.seen())));
                }
            }));
            *told.lock().unwrap_or_else(PoisonError::into_inner) = Some(Arc::downgrade(&rotator));
            rotator
        });
        let peaking = Arc::new(Peaking {
            unit: wanted.unit,
            coach: Mutex::new(Coach::new(session.station.dish.beamwidth)),
            emitter: Mutex::default(),
            heard: Mutex::default(),
            waiting: Mutex::default(),
        });
        let listening = match &wanted.power {
            None => None,
            Some(source) => {
                let (desk, peaking) = (desk.clone(), peaking.clone());
                let (rotator, tell) = (rotator.clone(), tell.clone());
                let mut last_told: Option<Instant> = None;
                let hear = move |heard: FromReceiver| {
                    peaking.hear(&desk, rotator.as_deref(), heard);
                    if last_told.is_none_or(|at| at.elapsed() >= SHOWN_OFTEN) {
                        last_told = Some(Instant::now());
                        let view = peaking.view(&desk, rotator.as_deref());
                        tell(News::Power(Box::new(view)));
                    }
                };
                Some(listen(
                    source,
                    PowerLines::new(wanted.form, wanted.unit),
                    hear,
                )?)
            }
        };
        let live = Arc::new(Live {
            desk: desk.clone(),
            rotator,
            peaking,
            watched: Watched::new(&session.folder, &wanted.watch),
            hears: wanted.power.is_some(),
            _listening: listening,
        });
        let weak = Arc::downgrade(&live);
        std::thread::spawn(move || {
            /// Interval between searches for runs.
            const LOOK: Duration = Duration::from_secs(1);
            let mut last: Vec<RunView> = Vec::new();
            while let Some(live) = weak.upgrade() {
                // A file of edits that cannot be written is reported at the next edit.
                let _ = live.desk.follow_log();
                let views = live.runs();
                if views != last {
                    tell(News::Runs(views.clone()));
                    last = views;
                }
                drop(live);
                std::thread::sleep(LOOK);
            }
        });
        Ok(live)
    }

    /// Whether a mount is polled.
    pub fn has_rotator(&self) -> bool {
        self.rotator.is_some()
    }

    /// Whether a receiver is connected.
    pub fn has_power(&self) -> bool {
        self.hears
    }

    /// Runs in progress.
    pub fn runs(&self) -> Vec<RunView> {
        self.watched.views(Utc::now())
    }

    /// Stops a run by its stop file.
    ///
    /// # Errors
    /// If there is no such run, or its stop file cannot be created.
    pub fn stop(&self, id: &str) -> Result<String, Error> {
        self.watched.stop(id)
    }

    /// The time now and the mount's reading at that time. Without a mount, or if it does not
    /// answer, the time alone.
    pub fn take(&self) -> TakenReading {
        let station = &self.desk.session.station;
        let called = Instant::now();
        let now = Utc::now();
        let power = self.peaking.latest(called);
        let seen = self.rotator.as_ref().map(|rotator| rotator.fresh(PATIENCE));
        let fresh = seen
            .as_ref()
            .and_then(|s| s.reading)
            .filter(|r| r.at >= called);
        let [azimuth_shown, elevation_shown] = match fresh {
            Some(reading) => typed(station, reading.axes).map(Some),
            None => [None, None],
        };
        let problem = match (&seen, fresh) {
            (None, _) | (_, Some(_)) => None,
            (Some(seen), None) => Some(match &seen.problem {
                Some(why) => printable(why),
                None => "the mount's daemon does not answer".to_owned(),
            }),
        };
        TakenReading {
            time_utc: fresh.map_or(now, |r| r.time).to_exact_text(),
            azimuth_shown,
            elevation_shown,
            peak_db: power,
            peak_db_shown: power.map(|p| number::fixed(p, 2)),
            problem,
        }
    }

    /// Sets the emitter being peaked; discards earlier readings.
    ///
    /// # Errors
    /// An unknown emitter.
    pub fn peak_on(&self, emitter: Option<&str>) -> Result<(), Error> {
        if let Some(name) = emitter {
            self.desk.session.sky.emitter_named(name)?;
        }
        *self
            .peaking
            .emitter
            .lock()
            .unwrap_or_else(PoisonError::into_inner) = emitter.map(str::to_owned);
        self.peaking
            .coach
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .restart();
        Ok(())
    }

    /// Discards earlier readings, for a new peak.
    pub fn restart(&self) {
        self.peaking
            .coach
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .restart();
    }
}

/// Expected reading of an emitter, by the calibration of the present state or as built. Positions
/// measured from it do not drift while the emitter moves across the sky.
fn expected_reading(desk: &Desk, emitter: &str, near: Axes, time: Utc) -> Option<Axes> {
    let session: &DeskSession = &desk.session;
    let direction = session.sky.apparent(emitter, time).ok()?;
    let solved = desk.newest(Duration::ZERO).map(|(solved, _)| solved);
    let model = solved
        .as_ref()
        .and_then(|solved| solved.found.as_ref().ok())
        .map_or_else(
            || MountModel::ideal(session.station.mount.geometry),
            |found| found.outcome.model,
        );
    let both = model.readings(&direction, ApproachSigns::UNKNOWN).ok()?;
    let [_, second] = near.0;
    let off = |reading: &crate::angle::EncoderReading| (reading.elevation - second).abs();
    let reading = match off(&both.over_the_top) < off(&both.direct) {
        true => both.over_the_top,
        false => both.direct,
    };
    Some(Axes([
        reading.azimuth.nearest_turn_to(near.0[0]),
        reading.elevation,
    ]))
}

impl Peaking {
    fn emitter(&self) -> Option<String> {
        self.emitter
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// The latest power if it is recent, decibels.
    fn latest(&self, now: Instant) -> Option<f64> {
        let heard = self.heard.lock().unwrap_or_else(PoisonError::into_inner);
        let (at, power) = heard.as_ref()?;
        let young = now.saturating_duration_since(*at).as_secs_f64() <= OLD_S;
        power.as_ref().ok().copied().filter(|_| young)
    }

    /// Handles a message from the receiver.
    fn hear(&self, desk: &Desk, rotator: Option<&Rotator>, heard: FromReceiver) {
        let at = Instant::now();
        let power = match heard {
            FromReceiver::Power(power) => decibels(self.unit, power.value),
            FromReceiver::Nothing(why) => Err(printable(&why)),
        };
        *self.heard.lock().unwrap_or_else(PoisonError::into_inner) = Some((at, power.clone()));
        let Ok(power_db) = power else { return };
        let Some(rotator) = rotator else {
            let place = None;
            self.take(PowerSample {
                at,
                power_db,
                place,
            });
            return;
        };
        // The mount's position at that time is known once a later reading has arrived.
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        waiting.push_back((at, power_db));
        let seen = rotator.seen();
        while let Some((at, power_db)) = waiting.front().copied() {
            let late = at.elapsed().as_secs_f64() > OLD_S;
            if !late && seen.reading.is_none_or(|reading| reading.at < at) {
                break;
            }
            waiting.pop_front();
            let place = seen
                .place_at(at)
                .and_then(|axes| self.place_beside_emitter(desk, axes, at));
            self.take(PowerSample {
                at,
                power_db,
                place,
            });
        }
    }

    /// Position relative to the emitter's expected one, if the emitter being peaked is known.
    fn place_beside_emitter(&self, desk: &Desk, axes: Axes, at: Instant) -> Option<[Angle; 2]> {
        let zero = match self.emitter() {
            Some(emitter) => {
                let time = Utc::now().plus_seconds(-at.elapsed().as_secs_f64());
                expected_reading(desk, &emitter, axes, time)?
            }
            None => Axes::from_degrees(0.0, 0.0),
        };
        Some([axes.0[0] - zero.0[0], axes.0[1] - zero.0[1]])
    }

    fn take(&self, sample: PowerSample) {
        self.coach
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take(sample);
    }

    /// The data for a page.
    fn view(&self, desk: &Desk, rotator: Option<&Rotator>) -> PowerView {
        let station = &desk.session.station;
        let kind = station.mount.kind();
        let heard = self
            .heard
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone();
        let problem = heard.and_then(|(_, power)| power.err());
        let reading = rotator.and_then(|rotator| rotator.seen().reading);
        let lean = reading.map_or(1.0, |r| lean(kind, r.axes));
        let standing = self
            .coach
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .standing(lean);
        let Some(standing) = standing else {
            return PowerView {
                value: None,
                value_shown: String::new(),
                unit: "dB",
                best: None,
                best_shown: String::new(),
                best_azimuth_shown: None,
                best_elevation_shown: None,
                right_deg: None,
                up_deg: None,
                advice: "no power heard yet".to_owned(),
                problem,
            };
        };
        let zero = match (self.emitter(), reading) {
            (Some(emitter), Some(r)) => expected_reading(desk, &emitter, r.axes, r.time),
            _ => Some(Axes::from_degrees(0.0, 0.0)),
        };
        let best_at = standing
            .best
            .place
            .zip(zero)
            .map(|([a, b], zero)| typed(station, Axes([a + zero.0[0], b + zero.0[1]])));
        let (way, advice) = advice(&standing, kind, lean, station.dish.beamwidth);
        let shown = |power: f64| number::typographic(&number::fixed(power, 1));
        let [best_azimuth_shown, best_elevation_shown] = match best_at {
            Some(both) => both.map(Some),
            None => [None, None],
        };
        PowerView {
            value: Some(standing.now.power_db),
            value_shown: shown(standing.now.power_db),
            unit: "dB",
            best: Some(standing.best.power_db),
            best_shown: shown(standing.best.power_db),
            best_azimuth_shown,
            best_elevation_shown,
            right_deg: way[0].map(Angle::degrees),
            up_deg: way[1].map(Angle::degrees),
            advice,
            problem,
        }
    }
}

fn decibels(unit: PowerUnit, value: f64) -> Result<f64, String> {
    match unit {
        PowerUnit::Decibels => Ok(value),
        PowerUnit::Linear | PowerUnit::Counts if value > 0.0 => Ok(10.0 * value.log10()),
        PowerUnit::Linear | PowerUnit::Counts => {
            Err("a power that is not above zero cannot be given in decibels".to_owned())
        }
    }
}

/// Readings as typed into a log: degrees, or the units that the sensor shows.
fn typed(station: &crate::station::Station, axes: Axes) -> [String; 2] {
    [0, 1].map(|axis| match &station.mount.sensors[axis] {
        None => number::fixed(axes.0[axis].degrees(), 3),
        Some(sensor) => {
            let shown = sensor.shown(axes.0[axis]);
            shown.map_or_else(String::new, |value| number::fixed(value, 4))
        }
    })
}

fn reading_view(station: &crate::station::Station, seen: &KnownPosition) -> ReadingView {
    let reading = seen.reading;
    let degrees = reading.map(|r| r.axes.degrees());
    let [azimuth_shown, elevation_shown] = match reading {
        Some(reading) => typed(station, reading.axes).map(Some),
        None => [None, None],
    };
    ReadingView {
        azimuth_deg: degrees.map(|d| d[0]),
        elevation_deg: degrees.map(|d| d[1]),
        azimuth_shown,
        elevation_shown,
        age_s: reading.map(|r| (r.at.elapsed().as_secs_f64() * 10.0).round() / 10.0),
        problem: seen.problem.as_deref().map(printable),
    }
}

impl Live {
    /// The mount's position, for a page; `None` without a mount.
    pub fn reading(&self) -> Option<ReadingView> {
        let rotator = self.rotator.as_ref()?;
        Some(reading_view(&self.desk.session.station, &rotator.seen()))
    }
    /// The receiver's power, for a page; `None` without a receiver.
    pub fn power(&self) -> Option<PowerView> {
        self.hears
            .then(|| self.peaking.view(&self.desk, self.rotator.as_deref()))
    }
}
