//! An observation of a pretended dish at one of the stations of the independent dish, on a clock of its
//! own.

#![allow(dead_code)] // each user takes its own part

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use plumbeam::angle::{Angle, EncoderReading};
use plumbeam::live::{Loudness, RelayNotice};
use plumbeam::logbook::PowerUnit;
use plumbeam::mount::{ApproachSigns, MountModel};
use plumbeam::observe::{
    Action, Ending, EvaluatedScan, ObservationRun, ObserveSettings, PowerForm, PowerLines,
    Practised, ScanRow, Solved, StopCause, practise,
};
use plumbeam::simulate::{Dish, Fault, Truth};
use plumbeam::sky::Sky;
use plumbeam::station::Station;
use plumbeam::time::Utc;

pub const START: &str = "2026-09-12T10:00:00Z";

pub const fn deg(degrees: f64) -> Angle {
    Angle::from_degrees(degrees)
}

pub fn station(name: &str) -> Station {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rig");
    Station::read(&folder.join(name)).expect("a sound station file")
}

/// A truth file of these terms and whatever more.
pub fn truth(terms: &str, more: &str) -> Truth {
    let text = format!(
        "[terms]\n{terms}\n[noise]\nresolution_deg = 0.1\n[session]\nfrom = \"{START}\"\nto = \
         \"2026-09-12T11:00:00Z\"\npeaks = 1\n{more}"
    );
    Truth::parse("truth.toml", &text).expect("a sound truth file")
}

pub fn settings(station: &Station, sky: &Sky) -> ObserveSettings {
    ObserveSettings::usual(station, sky, deg(10.0))
}

/// What an observation did.
#[derive(Default)]
pub struct Owner {
    pub told: Vec<(Duration, RelayNotice)>,
    pub rows: Vec<ScanRow>,
    pub looked: Vec<EvaluatedScan>,
    pub solved: Option<Solved>,
    pub peaks_csv: String,
    pub ending: Option<Ending>,
    pub stopped: Option<(Duration, StopCause)>,
    pub now: Duration,
    /// Goes on after so many stops.
    pub patience: usize,
    /// Stops after which it went on.
    pub stops: Vec<(Duration, StopCause)>,
    /// Keys to press at times, seconds.
    pub script: Vec<(f64, &'static [u8])>,
    /// Whether it types the words that are waited for.
    pub silent: bool,
}

impl Practised for Owner {
    fn action(&mut self, action: Action, at: Duration) {
        self.now = at;
        match action {
            Action::Tell(told) => {
                self.told.push((at, told));
            }
            Action::Rows(rows) => self.rows.extend(rows),
            Action::Renamed(scan, emitter) => match emitter {
                Some(emitter) => (self.rows.iter_mut().filter(|row| row.scan == scan))
                    .for_each(|row| row.emitter.clone_from(&emitter)),
                None => self.rows.retain(|row| row.scan != scan),
            },
            Action::EvaluatedScan(looked, solved) => {
                self.looked.push(*looked);
                self.solved = solved.or(self.solved.take());
            }
            Action::Peaks(csv) => self.peaks_csv = csv,
            Action::End(ending) => self.ending = Some(ending),
            _ => {}
        }
    }
    fn keys(&mut self, observation: &ObservationRun, at: Duration) -> Option<&'static [u8]> {
        if let Some((when, keys)) = self.script.first().copied()
            && at.as_secs_f64() >= when
        {
            self.script.remove(0);
            return Some(keys);
        }
        if let Some(cause) = observation.is_held()
            && self.patience > 0
        {
            self.patience -= 1;
            self.stops.push((at, cause.clone()));
            return Some(b"c");
        }
        match observation.waits_for() {
            Some("arm") if !self.silent => Some(b"arm\n"),
            Some("go") if !self.silent => Some(b"go\n"),
            _ => None,
        }
    }
    fn gives_up(&mut self, cause: &StopCause) -> bool {
        if self.patience > 0 {
            return false;
        }
        self.stopped = Some((self.now, cause.clone()));
        true
    }
}

impl Owner {
    pub fn alarms(&self) -> Vec<&str> {
        (self.told.iter())
            .filter(|(_, told)| told.loudness == Loudness::Alarm)
            .map(|(_, told)| told.text.as_str())
            .collect()
    }
    pub fn says(&self, words: &str) -> bool {
        self.told.iter().any(|(_, told)| told.text.contains(words))
    }
}

/// Runs it.
pub struct Rig {
    pub station: Arc<Station>,
    pub sky: Arc<Sky>,
    pub truth: Truth,
    pub faults: Vec<Fault>,
    pub seed: u64,
    pub settings: ObserveSettings,
    pub stand_at: Option<[f64; 2]>,
    /// The station as the dish really is, when the file has it wrong.
    pub dish_station: Option<Arc<Station>>,
}

impl Rig {
    pub fn new(station: Station, truth: Truth) -> Rig {
        let sky = Sky::new(&station).expect("a sky");
        let settings = settings(&station, &sky);
        Rig {
            station: Arc::new(station),
            sky: Arc::new(sky),
            truth,
            faults: Vec::new(),
            seed: 1,
            settings,
            stand_at: None,
            dish_station: None,
        }
    }

    pub fn fault(mut self, text: &str) -> Rig {
        self.faults.push(Fault::parse(text).expect("a fault"));
        self
    }

    pub fn run(&self) -> (Owner, Duration, Dish) {
        let mut owner = Owner::default();
        let (took, dish) = self.run_for(&mut owner);
        (owner, took, dish)
    }

    /// For an owner that does more than type the words.
    pub fn run_for(&self, owner: &mut Owner) -> (Duration, Dish) {
        let start = Utc::parse(START).unwrap();
        let mut dish = Dish::new(
            self.dish_station.as_deref().unwrap_or(&self.station),
            &self.sky,
            &self.truth,
            self.faults.clone(),
            (start, self.seed),
        )
        .expect("a dish");
        if let Some(readings) = self.stand_at {
            dish.stand_at(readings);
        }
        let observation = ObservationRun::under(self.settings.clone(), &self.station, &self.sky);
        let lines = PowerLines::new(PowerForm::Line, PowerUnit::Decibels);
        let took = practise(observation, &mut dish, lines, start, owner);
        (took, dish)
    }
}

/// The nearest that the beam came to the Sun.
pub fn nearest_to_sun(dish: &Dish) -> Option<Angle> {
    (dish.sun_distances().iter())
        .map(|(_, distance)| *distance)
        .min_by(|a, b| a.radians().total_cmp(&b.radians()))
}

/// From when to when the beam was nearer to the Sun than this.
pub fn spells_near_sun(dish: &Dish, radius: Angle) -> Vec<(f64, f64)> {
    let mut spells: Vec<(f64, f64)> = Vec::new();
    for (seconds, distance) in dish.sun_distances() {
        if *distance >= radius {
            continue;
        }
        match spells.last_mut() {
            Some((_, to)) if seconds - *to < 0.5 => *to = *seconds,
            _ => spells.push((*seconds, *seconds)),
        }
    }
    spells
}

/// How far two models point apart over the sky that the mount reaches, rms.
pub fn apart(one: &MountModel, other: &MountModel) -> Angle {
    let mut sum = 0.0;
    let mut weights = 0.0;
    for azimuth in (0..360).step_by(15) {
        for elevation in (10..80).step_by(10) {
            let direction = plumbeam::angle::Direction::apparent(
                deg(f64::from(azimuth)),
                deg(f64::from(elevation)),
            );
            let signs = ApproachSigns::UNKNOWN;
            let Ok(solution) = one.readings(&direction, signs) else {
                continue;
            };
            let reading: EncoderReading = solution.direct;
            let off = other.beam(reading, signs).separation(&direction).radians();
            let weight = direction.elevation().cos();
            sum += weight * off * off;
            weights += weight;
        }
    }
    Angle::from_radians((sum / weights).sqrt())
}
