//! Moves along stretches of a way about an emitter whose place is computed anew at every reading, and
//! what is recorded meanwhile.

use std::time::Duration;

use super::events::{Action, ScanRow};
use super::machine::{ObservationRun, POLL_S, Phase};
use super::pattern::{Basis, Manner, Stretch};
use super::recorder::Joined;
use super::search::{EmptySky, PowerAtOffset};
use super::state::{Errand, Move, Stage};
use super::sun_cut::SUN_PAUSE_S;
use super::tuned::{
    EMPTY_SKY_LINES, EMPTY_SKY_S, LATENESS_OF_A_STRETCH_S, LEAD_OF_THE_TARGET_S, LOWEST_EMPTY_SKY,
};
use crate::angle::{Angle, angle_between};
use crate::live::{Axes, Drive, Refused};
use crate::logbook::Sample;
use crate::mount::{ApproachSigns, Wrap};
use crate::sky::EmitterId;

impl ObservationRun {
    /// Basis of a pattern; `rates` is the motion of the beam per unit change of each reading.
    pub(super) fn basis(&self, rates: [f64; 2]) -> Basis {
        Basis {
            beamwidth: self.station.dish.beamwidth,
            resolution: self.resolution,
            lines_a_second: self.empty.map_or(10.0, |e| e.lines_a_second.min(50.0)),
            fastest: self.fastest * rates[0].min(rates[1]).min(1.0),
            poll_s: POLL_S,
            manner: Manner::Sweep,
        }
    }

    /// Readings on an emitter, on the turn of the cable that leaves room for the offsets of a scan and
    /// is nearest to where the mount stands; and how far the beam moves while each changes by one.
    pub(super) fn base_of(&self, id: EmitterId) -> Option<(Axes, [f64; 2])> {
        let direction = self.sky.apparent_of(id, self.utc).ok()?;
        let model = self.knowledge.model();
        let (here, _) = self.reading?;
        let mount = &self.station.mount;
        let room = self.station.dish.beamwidth * 2.5;
        let needed = self.station.dish.beamwidth * 0.9;
        // Motion of the beam per unit change of the first axis there.
        let rough = model.readings(&direction, ApproachSigns::UNKNOWN).ok()?;
        let rate = (model.beam_with_derivatives(rough.direct, ApproachSigns::UNKNOWN))
            .by_azimuth
            .norm()
            .max(0.05);
        let shrunk = |(low, high): (Angle, Angle), by: Angle| (low + by, high - by);
        let wraps = [
            (
                shrunk(mount.azimuth_range, room / rate),
                shrunk(mount.elevation_range, room * 0.5),
            ),
            // A scan needs the whole peak and something of both flanks.
            (
                shrunk(mount.azimuth_range, needed / rate),
                shrunk(mount.elevation_range, needed),
            ),
        ];
        let reading = wraps.into_iter().find_map(|(azimuth, elevation)| {
            let wrap = Wrap {
                azimuth_range: azimuth,
                elevation_range: elevation,
                present: Some(here.into()),
            };
            model
                .reading_to_command(&direction, ApproachSigns::UNKNOWN, &wrap)
                .ok()
                .flatten()
        })?;
        let beam = model.beam_with_derivatives(reading, ApproachSigns::UNKNOWN);
        let rates = [beam.by_azimuth.norm(), beam.by_elevation.norm()].map(|r| r.max(0.02));
        Some((reading.into(), rates))
    }

    /// Starts a move.
    pub(super) fn start_move(
        &mut self,
        errand: Errand,
        emitter: Option<EmitterId>,
        (base, rates): (Axes, [f64; 2]),
        stretches: Vec<Stretch>,
    ) {
        self.cut.clear();
        self.watch.listen(self.now);
        let mv = Move {
            errand,
            emitter,
            model: self.knowledge.model(),
            base: (self.now, base),
            base_before: (self.now, base),
            rates,
            stretches: stretches.into(),
            stretch: None,
            stage: Stage::Approach,
            settled: 0,
            clear: None,
            seen: Vec::new(),
            samples: [Vec::new(), Vec::new()],
            powers: Vec::new(),
            began: self.now,
            done: 0,
        };
        self.phase = Phase::Moving(Box::new(mv));
        self.next_stretch();
    }

    /// Where to listen to the empty sky: far from every emitter and the Sun, near the mount.
    pub(super) fn empty_place(&self) -> Option<Axes> {
        let (here, _) = self.reading?;
        let model = self.knowledge.model();
        let emitters: Vec<_> = (self.sky.emitters().chain([self.sky.sun()]))
            .filter_map(|id| Some(self.sky.apparent_of(id, self.utc).ok()?.east_north_up()))
            .collect();
        let mut best: Option<(f64, Axes)> = None;
        let (low, high) = (self.range.low.0[1], self.range.high.0[1]);
        for k in 0..12 {
            for share in [0.2, 0.35, 0.5, 0.65, 0.8] {
                let mut place = here;
                place.0[0] += Angle::from_degrees(30.0 * f64::from(k - 6));
                place.0[1] = low + (high - low) * share;
                if !self.range.holds(place) {
                    continue;
                }
                let beam = model.beam_vector(place.into(), ApproachSigns::UNKNOWN);
                // Near the horizon the ground adds noise.
                if beam.z < LOWEST_EMPTY_SKY.sin() {
                    continue;
                }
                let nearest = (emitters.iter())
                    .map(|e| angle_between(e, &beam).degrees())
                    .fold(90.0, f64::min);
                let worth = nearest.min(40.0) - 0.1 * here.way_to(place).degrees();
                if best.is_none_or(|(most, _)| worth > most) {
                    best = Some((worth, place));
                }
            }
        }
        best.map(|(_, place)| place)
    }

    /// The next stretch, or what follows the last.
    pub(super) fn next_stretch(&mut self) {
        let Phase::Moving(mv) = &mut self.phase else {
            return;
        };
        let next = match &mut mv.errand {
            Errand::Search(search) => {
                if mv.stretch.is_some() {
                    search.take(&mv.seen);
                    mv.seen.clear();
                }
                search.next_row()
            }
            _ => mv.stretches.pop_front(),
        };
        self.cut.clear();
        let Some(stretch) = next else {
            let mv = mv.clone();
            self.moved(*mv);
            return;
        };
        mv.stretch = Some(stretch);
        mv.stage = Stage::Approach;
        mv.settled = 0;
        mv.done += 1;
        mv.clear = None;
        if mv.emitter == Some(self.sky.sun()) && self.settings.zone.is_some() {
            self.prepare_sun_cut(stretch);
            return;
        }
        self.watch.begin(None, self.now);
    }

    /// Handles a reading during a move.
    pub(super) fn move_position(&mut self, axes: Axes, joined: &[Joined]) {
        let (now, utc) = (self.now, self.utc);
        let near = (self.station.dish.beamwidth * 0.05)
            .max(self.resolution * 1.6)
            .max(Angle::from_degrees(0.02));
        let far = (self.station.dish.beamwidth * 0.15).max(self.resolution * 2.0);
        let stands = self.stands();
        let cools = self
            .sun_left
            .is_some_and(|left| now.saturating_sub(left) < Duration::from_secs_f64(SUN_PAUSE_S));
        let direction = match &self.phase {
            Phase::Moving(mv) => mv.emitter.and_then(|id| self.sky.apparent_of(id, utc).ok()),
            _ => return,
        };
        let Phase::Moving(mv) = &mut self.phase else {
            return;
        };
        if let Some(direction) = direction
            && let Ok(reading) =
                mv.model
                    .direct_reading_near(&direction, ApproachSigns::UNKNOWN, mv.base.1.into())
        {
            mv.base_before = mv.base;
            mv.base = (now, reading.into());
        }
        let Some(stretch) = mv.stretch else { return };
        let begin = mv.clear.map_or(stretch.from, |clear| clear[0]);
        let offset = match mv.stage {
            Stage::Approach => begin,
            Stage::In => stretch.from,
            Stage::Along(since) => {
                stretch.at((now.saturating_sub(since)).as_secs_f64() + LEAD_OF_THE_TARGET_S)
            }
            Stage::Stop(k, _) => stretch.stop(k),
            Stage::Out => mv.clear.map_or(stretch.to, |clear| clear[1]),
        };
        let end = match mv.stage {
            Stage::Along(_) => stretch.to,
            _ => offset,
        };
        let target = self.range.nearest(mv.at(offset));
        let final_target = self.range.nearest(mv.at(end));
        let left = axes.way_to(final_target);
        let stage = mv.stage;
        match stage {
            Stage::Approach => {
                let there = left <= near || stands && left <= far;
                mv.settled = if there { mv.settled + 1 } else { 0 };
                let is_cut = mv.clear.is_some();
                if mv.settled >= 2 && !(is_cut && cools) {
                    match is_cut {
                        true => self.enter_zone(),
                        false => self.begin_along(),
                    }
                    return self.move_position(axes, &[]);
                }
            }
            Stage::In => {
                if left <= far {
                    self.begin_along();
                    return self.move_position(axes, &[]);
                }
            }
            Stage::Along(since) => {
                let elapsed = now.saturating_sub(since).as_secs_f64();
                self.record(joined, since);
                let Phase::Moving(mv) = &self.phase else {
                    return;
                };
                let seconds = match mv.errand {
                    Errand::Empty => match mv.powers.len() >= EMPTY_SKY_LINES {
                        true => EMPTY_SKY_S,
                        false => f64::INFINITY,
                    },
                    _ => stretch.seconds(),
                };
                let over = elapsed >= seconds + 0.2 && left <= far
                    || elapsed >= seconds + LATENESS_OF_A_STRETCH_S;
                if over {
                    match mv.clear {
                        Some(_) => self.leave_zone(),
                        None => self.next_stretch(),
                    }
                    if matches!(self.phase, Phase::Moving(_)) {
                        self.move_position(axes, &[]);
                    }
                    return;
                }
            }
            Stage::Stop(k, None) => {
                let there = left <= near || stands && left <= far;
                mv.settled = if there { mv.settled + 1 } else { 0 };
                if let Some(stops) = stretch.stops.filter(|_| mv.settled >= 2) {
                    let from = now + Duration::from_secs_f64(stops.settle_s);
                    mv.stage = Stage::Stop(k, Some(from));
                }
            }
            Stage::Stop(k, Some(from)) => {
                let Some(stops) = stretch.stops else { return };
                self.record(joined, from);
                if now >= from + Duration::from_secs_f64(stops.seconds) {
                    match k + 1 < stops.count {
                        true => self.go_to_stop(k + 1),
                        false => self.next_stretch(),
                    }
                    if matches!(self.phase, Phase::Moving(_)) {
                        self.move_position(axes, &[]);
                    }
                    return;
                }
            }
            Stage::Out => {
                if left <= far {
                    self.left_zone();
                    self.next_stretch();
                    if matches!(self.phase, Phase::Moving(_)) {
                        self.move_position(axes, &[]);
                    }
                    return;
                }
            }
        }
        // A target is not sent again to a mount that is already there.
        if self.target != Some(target) {
            self.target = Some(target);
            self.drive(Drive::To(target));
        }
    }

    /// Handles a target sent by the relay. A cut must not leave its line, even to avoid the Sun.
    pub(super) fn was_sent(&mut self, to: Axes) {
        /// Rounding and the leash of a target that runs ahead.
        const OFF_LINE: Angle = Angle::from_degrees(1.0);
        let along = match &self.phase {
            Phase::Moving(mv) => matches!(mv.stage, Stage::Along(_)),
            _ => false,
        };
        if along
            && self
                .target
                .is_some_and(|target| target.way_to(to) > OFF_LINE)
        {
            self.refused(&Refused::WayNearSun.to_string());
        }
    }

    fn go_to_stop(&mut self, k: usize) {
        if let Phase::Moving(mv) = &mut self.phase {
            mv.stage = Stage::Stop(k, None);
            mv.settled = 0;
        }
    }

    fn begin_along(&mut self) {
        let Phase::Moving(mv) = &mut self.phase else {
            return;
        };
        let Some(stretch) = mv.stretch else { return };
        if stretch.stops.is_some() {
            self.go_to_stop(0);
            return;
        }
        mv.stage = Stage::Along(self.now);
        let slowest = mv.rates[0].max(mv.rates[1]).max(1e-3);
        let speed = stretch.speed / slowest;
        self.watch.begin(Some(speed), self.now);
    }

    /// Takes samples of the present stretch.
    fn record(&mut self, joined: &[Joined], since: Duration) {
        let mut rows = Vec::new();
        let floor = self.empty.map_or(1.0, |e| e.level);
        for sample in joined.iter().filter(|sample| sample.at >= since) {
            let (power, time) = (self.linear(sample.value), self.utc_of(sample.at));
            let Phase::Moving(mv) = &mut self.phase else {
                return;
            };
            let offset = mv.offset_of(sample.axes, sample.at);
            let along = mv.stretch.map_or(0, |s| usize::from(s.from[1] != s.to[1]));
            self.cut.push((
                offset[along] / self.station.dish.beamwidth,
                10.0 * (power / floor).max(1e-6).log10(),
            ));
            match &mv.errand {
                Errand::Empty => mv.powers.push(power),
                Errand::Search(_) => mv.seen.push(PowerAtOffset { offset, power }),
                Errand::Cross(first) => {
                    let part = mv.stretch.map_or(0, |s| s.part);
                    mv.seen.push(PowerAtOffset { offset, power });
                    let [azimuth, elevation] = sample.axes.0;
                    mv.samples[part].push(Sample {
                        time,
                        azimuth,
                        elevation,
                        power,
                    });
                    let emitter = mv.emitter.map_or("", |id| self.sky.name(id));
                    rows.push(ScanRow {
                        scan: (*first + part).to_string(),
                        emitter: emitter.to_owned(),
                        time,
                        axes: sample.axes,
                        value: sample.value,
                    });
                }
            }
        }
        if !rows.is_empty() {
            self.out.push(Action::Rows(rows));
        }
    }

    /// The receiver's noise, from its powers on empty sky.
    pub(super) fn empty_sky(&mut self, mv: &Move) -> Option<EmptySky> {
        let seconds = self.now.saturating_sub(mv.began).as_secs_f64();
        let along = match mv.stage {
            Stage::Along(since) => self.now.saturating_sub(since).as_secs_f64(),
            _ => seconds,
        };
        EmptySky::of(&mv.powers, along)
    }
}
