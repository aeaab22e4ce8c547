//! The order of steps: from a choice to a search, a scan, the next choice.

use std::sync::Arc;

use super::evaluation::{Answer, EvaluatedScan, Job, NextMove};
use super::events::{Action, Ending};
use super::identity::Missed;
use super::machine::{Attempt, ObservationRun, Phase, Purpose};
use super::pattern::{Basis, Manner, Pattern, Stretch};
use super::search::Search;
use super::state::{Errand, Move};
use super::tuned::{
    BEAMS_THAT_NEED_NO_SEARCH, ERRORS_BESIDE_THE_ZEROS, FAILURES_THAT_CAST_DOUBT,
    FEWEST_PEAKS_OF_A_CALIBRATION, LEFT_ALONE_S, MOST_FAILURES, SIGMAS_COVERED, SLOWER,
    SLOWER_BY_TURNS, STANDS_OFF, WIDEST_SEARCH,
};
use super::watch::StopCause;
use crate::angle::Angle;
use crate::live::Loudness;
use crate::logbook::{Scan, Trust};
use crate::scan::ScanVerdict;
use crate::sky::EmitterId;

impl ObservationRun {
    /// Starts an evaluation.
    pub(super) fn evaluate(&mut self, purpose: Purpose) {
        self.watch.rest();
        self.aside.retain(|(_, until)| {
            let left = until.seconds_since(self.utc);
            left > 0.0
        });
        self.phase = Phase::Thinking;
        self.thinking_for = Some(purpose);
        let until = self
            .until
            .unwrap_or_else(|| self.utc.plus_seconds(self.settings.for_s));
        self.out.push(Action::Think(Box::new(Job {
            station: Arc::clone(&self.station),
            sky: Arc::clone(&self.sky),
            scans: Arc::new(self.scans.clone()),
            new: match purpose {
                Purpose::Scan => self.new_scans,
                _ => 0,
            },
            since: self.since,
            prior: self.prior.clone(),
            now: self.utc,
            until,
            each_s: self.seconds_a_peak,
            emitters: self.settings.emitters.clone(),
            named: self.settings.named,
            aside: self.aside.iter().map(|(id, _)| *id).collect(),
            search_on: self.settings.search_on,
            zone: self.zone_now,
            rehearse: purpose == Purpose::Rehearsal,
            uncalibrated: self.settings.uncalibrated,
            zeros: self.settings.zeros,
            missed: self.missed.clone(),
        })));
    }

    /// Handles the result of an evaluation.
    pub(super) fn thought(&mut self, answer: Answer) {
        let Some(purpose) = self.thinking_for.take() else {
            return;
        };
        self.knowledge = answer.knowledge;
        self.peaks = answer.peaks;
        self.solved = answer.solved;
        if answer.expected.is_some() {
            self.expected = answer.expected;
        }
        if purpose == Purpose::Scan {
            self.out.push(Action::Peaks(answer.peaks_csv));
            for looked in &answer.looked {
                let solved = self.solved.clone();
                self.out
                    .push(Action::EvaluatedScan(Box::new(looked.clone()), solved));
            }
        }
        self.doubtful = answer.doubtful;
        let renamed = !answer.renamed.is_empty();
        self.rename(answer.renamed);
        if !matches!(self.phase, Phase::Thinking) {
            // Stopped meanwhile: the results are kept, the next step is not begun.
            return;
        }
        self.replace_model();
        if renamed {
            self.evaluate(Purpose::Choice);
            return;
        }
        match (purpose, answer.looked.is_empty()) {
            (Purpose::Rehearsal, _) => {
                for line in answer.rehearsal {
                    self.note(line);
                }
                self.rehearsed();
            }
            (Purpose::Scan, false) => self.judge(&answer.looked, answer.next),
            _ => self.choose(answer.next),
        }
    }

    /// Renames scans that belong to other emitters than assumed.
    fn rename(&mut self, renamed: Vec<(usize, EmitterId)>) {
        let mut said: Vec<String> = Vec::new();
        for (place, really) in &renamed {
            let name = self.sky.name(*really).to_owned();
            let Some(scan) = self.scans.get_mut(*place) else {
                continue;
            };
            let taken = std::mem::replace(&mut scan.emitter, name.clone());
            let scan = scan.name.clone();
            let words = format!("{taken} is {name}");
            if !said.contains(&words) {
                said.push(words);
            }
            self.out.push(Action::Renamed(scan, Some(name)));
        }
        if renamed.is_empty() {
            return;
        }
        self.tell(
            Loudness::Warning,
            format!(
                "the emitters are others than they were taken for, by what was found and what was not: {}",
                said.join(", ")
            ),
        );
        self.missed.clear();
        self.aside.clear();
        self.failures = 0;
        self.last_good = None;
        self.found_on = (self.scans.iter().skip(self.since))
            .filter_map(|scan| self.sky.emitter_named(&scan.emitter).ok())
            .collect();
        self.found_on.dedup();
    }

    /// Decides what to do after a cross of one or two scans.
    fn judge(&mut self, both: &[EvaluatedScan], next: NextMove) {
        for looked in both {
            self.tell_of(looked);
        }
        self.tell_of_error();
        // The better of both counts: what one way shows the other may have missed.
        let Some(looked) = both.iter().find(|l| l.found.is_some()).or(both.first()) else {
            self.choose(next);
            return;
        };
        if both.iter().any(|looked| looked.saturated) {
            self.saturated += 1;
            if self.saturated >= 2 {
                self.saturated = 0;
                self.halt(StopCause::Saturated);
                return;
            }
        } else {
            self.saturated = 0;
        }
        let beamwidth = self.station.dish.beamwidth;
        let Some(id) = self.attempt.emitter else {
            self.choose(next);
            return;
        };
        if looked.found.is_none() {
            self.missed(looked, id);
            return;
        }
        self.failures = 0;
        self.signal_to_noise = looked.signal_to_noise;
        let off = looked.off.filter(|(off, sigma)| {
            self.peaks >= 4 && *off > *sigma * STANDS_OFF.0 && *off > beamwidth * STANDS_OFF.1
        });
        if let Some((other, by)) = self.attempt.checks.take() {
            match off {
                Some((off, _)) => {
                    // Both new scans are of the mount as it stands now.
                    self.since = self
                        .scans
                        .len()
                        .saturating_sub(self.new_scans + self.scans_before);
                    self.halt(StopCause::Slipped {
                        emitter: looked.emitter.clone(),
                        by: off,
                    });
                    return;
                }
                None => self.note(format!(
                    "{} stands where it stood: that {other} stands {:.1} deg off is its own affair",
                    looked.emitter,
                    by.degrees()
                )),
            }
        } else if let Some((off, _)) = off
            && let Some(last) = self.last_good.filter(|last| *last != id)
            && self.base_of(last).is_some()
        {
            self.note(format!(
                "{} stands {:.1} deg from where it was expected: {} is looked at again",
                looked.emitter,
                off.degrees(),
                self.sky.name(last)
            ));
            self.scans_before = self.new_scans;
            self.attempt = Attempt {
                emitter: Some(last),
                wider: 1.0,
                checks: Some((looked.emitter.clone(), off)),
                ..Attempt::default()
            };
            self.measure(last);
            return;
        }
        self.last_good = Some(id);
        self.missed.retain(|missed| missed.emitter != id);
        if !self.found_on.contains(&id) {
            self.found_on.push(id);
        }
        // By steps there is no lag to separate from backlash.
        let swept = self.settings.manner == Manner::Sweep;
        if !std::mem::replace(&mut self.two_speeds, true) && swept {
            self.note(
                "the same once more at half the speed: that tells lag from backlash".to_owned(),
            );
            self.attempt.middle = [Angle::ZERO; 2];
            self.cross(id, SLOWER);
            return;
        }
        self.choose(next);
    }

    fn tell_of(&mut self, looked: &EvaluatedScan) {
        let sigma = looked.found.as_ref().map(|f| f.sigma);
        let text = match (looked.verdict, sigma) {
            (ScanVerdict::Refused, _) | (_, None) => {
                format!(
                    "scan {}, {}: no peak: {}",
                    looked.name, looked.emitter, looked.why
                )
            }
            (verdict, Some(_)) => {
                let off = looked.off.map_or(String::new(), |(off, _)| {
                    format!(", {:.2} deg from where it was expected", off.degrees())
                });
                let why = match looked.why.is_empty() {
                    true => String::new(),
                    false => format!(" ({})", looked.why),
                };
                format!(
                    "scan {}, {}: {}{off}{why}",
                    looked.name,
                    looked.emitter,
                    verdict.word()
                )
            }
        };
        self.note(text);
    }

    fn tell_of_error(&mut self) {
        if let Some(solved) = &self.solved {
            let text = format!(
                "{} peaks; expected pointing error {:.3} deg rms, below {:.3} in 95 % of cases; asked \
                 for {:.3}",
                self.peaks,
                solved.rms.degrees(),
                solved.rms_95.degrees(),
                self.settings.wanted.degrees()
            );
            self.milestone(text);
        }
    }

    /// Handles a missing peak: centres again, searches, or leaves the emitter.
    fn missed(&mut self, looked: &EvaluatedScan, id: EmitterId) {
        if looked.one_flank && self.attempt.centred == 0 {
            self.attempt.centred += 1;
            self.cross(id, 1.0);
            return;
        }
        if self.attempt.searched == 0 && self.attempt.checks.is_none() {
            self.attempt.middle = [Angle::ZERO; 2];
            self.search(id);
            return;
        }
        self.give_up(id, &looked.why);
    }

    fn give_up(&mut self, id: EmitterId, why: &str) {
        self.failures += 1;
        if let Some((base, _)) = self.base_of(id)
            && self.missed.iter().all(|missed| missed.emitter != id)
        {
            self.missed.push(Missed {
                emitter: id,
                time: self.utc,
                reading: base.into(),
                seen: self.attempt.seen,
            });
        }
        let checks = self.attempt.checks.take();
        self.aside.push((id, self.utc.plus_seconds(LEFT_ALONE_S)));
        if let Some((other, by)) = checks {
            // Neither where it was nor nearby: the cause is not this emitter alone.
            self.since = self
                .scans
                .len()
                .saturating_sub(self.new_scans + self.scans_before);
            self.halt(StopCause::Slipped { emitter: other, by });
            return;
        }
        // One emitter found and the next ones not, where they should be by it: it may have been another.
        if self.failures >= FAILURES_THAT_CAST_DOUBT
            && self.settings.uncalibrated
            && let [only] = self.found_on.as_slice()
        {
            let only = *only;
            self.note(format!(
                "what was found for {} may have been another emitter: it is searched for anew, on another",
                self.sky.name(only)
            ));
            self.found_on.clear();
            // Their emitters are unknown.
            for scan in self.scans.drain(self.since.min(self.scans.len())..) {
                self.out.push(Action::Renamed(scan.name, None));
            }
            self.new_scans = 0;
            self.missed.clear();
            self.last_good = None;
            self.failures = 0;
            self.aside = vec![(only, self.utc.plus_seconds(LEFT_ALONE_S))];
            self.evaluate(Purpose::Choice);
            return;
        }
        if self.failures >= MOST_FAILURES {
            let emitters = self.failures;
            self.failures = 0;
            self.aside.clear();
            self.halt(StopCause::NothingHeard { emitters });
            return;
        }
        let name = self.sky.name(id).to_owned();
        self.note(format!("{name} is left for now: {why}"));
        self.evaluate(Purpose::Choice);
    }

    /// Puts aside the present emitter, which cannot be measured now.
    pub(super) fn put_aside(&mut self, why: &str) {
        let Some(id) = self.attempt.emitter else {
            self.halt(StopCause::Guard(why.to_owned()));
            return;
        };
        self.aside.push((id, self.utc.plus_seconds(LEFT_ALONE_S)));
        let name = self.sky.name(id).to_owned();
        self.note(format!("{name} is left for now: {why}"));
        self.target = None;
        self.evaluate(Purpose::Choice);
    }

    /// Starts the next step.
    fn choose(&mut self, next: NextMove) {
        let reached = self.solved.as_ref().is_some_and(|solved| {
            solved.rms_95 <= self.settings.wanted && solved.trust == Trust::Good
        });
        // With other names the calibration would be a different one.
        if reached && self.peaks >= FEWEST_PEAKS_OF_A_CALIBRATION && !self.doubtful {
            self.end(Ending::Reached);
            return;
        }
        if self.left_s() < self.seconds_a_peak {
            self.end(Ending::Over("the time is over".to_owned()));
            return;
        }
        if self.empty.is_none() {
            self.listen_to_empty_sky();
            return;
        }
        match next {
            NextMove::Measure(id, at) => {
                if at.seconds_since(self.utc) > 15.0 {
                    self.phase = Phase::Pausing(at, id);
                    return;
                }
                self.attempt = Attempt {
                    emitter: Some(id),
                    wider: 1.0,
                    ..Attempt::default()
                };
                self.measure(id);
            }
            NextMove::Nothing(why) => self.end(Ending::Over(why)),
        }
    }

    /// Chooses what to do at the end of a pause.
    pub(super) fn pause_is_over(&mut self) {
        self.evaluate(Purpose::Choice);
    }

    fn listen_to_empty_sky(&mut self) {
        let Some(place) = self.empty_place() else {
            self.halt(StopCause::Guard(
                "there is no empty sky to listen to".to_owned(),
            ));
            return;
        };
        let still = Stretch {
            from: [Angle::ZERO; 2],
            to: [Angle::ZERO; 2],
            speed: Angle::from_degrees(1.0),
            part: 0,
            stops: None,
        };
        self.start_move(Errand::Empty, None, (place, [1.0, 1.0]), vec![still]);
    }

    /// Scans an emitter, after a search if its place is not known well enough.
    fn measure(&mut self, id: EmitterId) {
        let Some((base, _)) = self.base_of(id) else {
            self.put_aside("the mount does not reach it");
            return;
        };
        let spread = self.knowledge.spread_at(base.into());
        let widest = spread[0].max(spread[1]) * SIGMAS_COVERED * self.attempt.wider;
        match widest > self.station.dish.beamwidth * BEAMS_THAT_NEED_NO_SEARCH {
            true => self.search(id),
            false => {
                let slower = self.by_turns();
                self.cross(id, slower);
            }
        }
    }

    /// Every other cross is slower.
    fn by_turns(&self) -> f64 {
        match self.two_speeds && self.crosses % 2 == 1 {
            true => SLOWER_BY_TURNS,
            false => 1.0,
        }
    }

    fn search(&mut self, id: EmitterId) {
        let (Some(there), Some(empty)) = (self.base_of(id), self.empty) else {
            self.put_aside("the mount does not reach it");
            return;
        };
        self.attempt.searched += 1;
        let beamwidth = self.station.dish.beamwidth;
        let half = (self.knowledge.spread_at(there.0.into())).map(|s| {
            (s * SIGMAS_COVERED * self.attempt.wider)
                .max(beamwidth)
                .min(WIDEST_SEARCH)
        });
        // Limited to the zeros given by the user plus the other errors of a mount.
        let half = match self.settings.zeros {
            Some(zeros) => {
                let most =
                    [zeros * there.1[0].min(1.0), zeros].map(|most| most + ERRORS_BESIDE_THE_ZEROS);
                [half[0].min(most[0]), half[1].min(most[1])]
            }
            None => half,
        };
        let search = Search::new(&self.basis(there.1), half, empty);
        self.start_move(Errand::Search(search), Some(id), there, Vec::new());
    }

    fn cross(&mut self, id: EmitterId, slower: f64) {
        let Some(there) = self.base_of(id) else {
            self.put_aside("the mount does not reach it");
            return;
        };
        let beamwidth = self.station.dish.beamwidth;
        // After a search the place is known to a part of the beam.
        let spread = match self.attempt.searched + self.attempt.centred > 0 {
            true => [beamwidth * 0.2; 2],
            false => self.knowledge.spread_at(there.0.into()),
        };
        // A cut across the Sun must be over in seconds.
        let manner = match id == self.sky.sun() && self.settings.zone.is_some() {
            true => Manner::Sweep,
            false => self.settings.manner,
        };
        let (basis, middle, signal) = (
            Basis {
                manner,
                ..self.basis(there.1)
            },
            self.attempt.middle,
            self.signal_to_noise,
        );
        let stretches = match self.settings.pattern {
            Pattern::Cross => basis.cross(middle, spread, signal, slower),
            Pattern::Raster => basis.raster(middle, spread, signal, slower),
        };
        self.crosses += 1;
        let first = self.scan_number + 1;
        self.scan_number += 1 + stretches.iter().map(|s| s.part).max().unwrap_or(0);
        self.start_move(Errand::Cross(first), Some(id), there, stretches);
    }

    /// Handles the end of a move.
    pub(super) fn moved(&mut self, mv: Move) {
        match &mv.errand {
            Errand::Empty => {
                self.empty = self.empty_sky(&mv);
                match self.empty {
                    Some(empty) => {
                        self.watch.lines(empty.lines_a_second);
                        self.note(format!(
                            "empty sky: {:.1} lines a second, scatter {:.2} % of the power",
                            empty.lines_a_second,
                            100.0 * empty.scatter / empty.level.abs().max(f64::MIN_POSITIVE)
                        ));
                        self.evaluate(Purpose::Choice);
                    }
                    None => self.halt(StopCause::SilentReceiver { seconds: 4.0 }),
                }
            }
            Errand::Search(search) => match (search.best(), mv.emitter) {
                (Some(rise), Some(id)) => {
                    self.attempt.middle = rise.offset;
                    self.attempt.seen = true;
                    let [across, up] = rise.offset.map(Angle::degrees);
                    self.milestone(format!(
                        "{} found {across:+.1} deg along axis 1 and {up:+.1} along axis 2 from where it \
                         was expected",
                        self.sky.name(id)
                    ));
                    self.cross(id, 1.0);
                }
                (None, Some(id)) => self.give_up(id, "it was not found"),
                _ => self.evaluate(Purpose::Choice),
            },
            Errand::Cross(_) => {
                let took = self.now.saturating_sub(mv.began).as_secs_f64();
                self.seconds_a_peak = (0.7 * self.seconds_a_peak + 0.3 * took).clamp(20.0, 1200.0);
                if let Some(strongest) = mv.strongest() {
                    self.attempt.middle = strongest;
                }
                self.keep_scan(&mv);
                self.evaluate(Purpose::Scan);
            }
        }
    }

    /// Keeps the samples of a scan, complete or not: they are in the log.
    pub(super) fn keep_scan(&mut self, mv: &Move) {
        let (Errand::Cross(first), Some(id)) = (&mv.errand, mv.emitter) else {
            return;
        };
        self.new_scans = 0;
        for (part, samples) in mv.samples.iter().enumerate() {
            if samples.is_empty() {
                continue;
            }
            let mut scan = Scan::new(&(first + part).to_string(), self.sky.name(id), 0);
            scan.samples.clone_from(samples);
            self.scans.push(scan);
            self.new_scans += 1;
        }
    }
}
