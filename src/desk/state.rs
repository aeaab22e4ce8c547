//! The desk itself: takes edits, explains the newest state and notifies those watching.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError, Weak};
use std::time::{Duration, Instant};

use crate::logbook::{checksum, holdable, term_named};
use crate::mount::Term;
use crate::problem::{Error, printable};
use crate::report::unit_name;
use crate::time::Utc;

use super::edit::{
    Addition, Choices, Edit, EditRequest, NoiseAsked, PeakName, TermAsked, checked_noise,
};
use super::edit_log::{EditLog, History};
use super::effective::Effective;
use super::next::{FRESH_S, NextPeaks};
use super::session::{DeskSession, clock};
use super::sky::{EmitterView, emitters};
use super::solved::SolvedSession;
use super::term_view::can_leave_out;
use super::view::View;

/// Number of states whose rows are remembered, for edits from a page showing an older state.
const REMEMBERED: usize = 64;

/// Rows and the names of their peaks, as of a version.
type Rows = (u64, Arc<Vec<(usize, PeakName)>>);

/// Notification to those watching.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happened {
    /// The state after that edit is ready to be shown.
    Changed(u64),
    /// The next best peaks for that state are ready.
    Next(u64),
}

/// Callback for notifications.
pub type Tell = Box<dyn Fn(Happened) + Send + Sync>;

/// Why an edit was not made.
#[derive(Debug)]
pub enum RefusedEdit {
    /// It is invalid, or no longer possible.
    Wrong(Error),
    /// It refers to a state that is out of date; the reason in words.
    Overtaken(String),
}

impl From<Error> for RefusedEdit {
    fn from(error: Error) -> RefusedEdit {
        RefusedEdit::Wrong(error)
    }
}

/// A session that is worked on live.
pub struct Desk {
    /// The session worked on.
    pub session: DeskSession,
    state: Mutex<State>,
    changed: Condvar,
    tell: Tell,
    planning: Mutex<Planning>,
    emitters: Mutex<Option<(Utc, Arc<Vec<EmitterView>>)>>,
}

/// The next best peaks, computed on request.
#[derive(Default)]
struct Planning {
    latest: Option<NextPeaks>,
    running: bool,
}

struct State {
    log: EditLog,
    effective: Arc<Effective>,
    rows: VecDeque<Rows>,
    /// The newest explained state, and its view.
    solved: Option<(Arc<SolvedSession>, Arc<View>)>,
    /// The session without edits, explained.
    before: Option<Arc<SolvedSession>>,
    /// How often the log was read again: each time makes a new state.
    reread: u64,
    /// Why the log could not be read again.
    unread: Option<String>,
    ended: bool,
}

impl State {
    /// Returns the version: the number of edits and of re-reads of the log.
    fn version(&self) -> u64 {
        self.log.history.version + self.reread
    }
}

impl Desk {
    /// Opens a session with its edits and starts explaining it. `tell` gets the version of
    /// every state that is ready to be shown. Also returns warnings for the user.
    ///
    /// # Errors
    /// As [`EditLog::open`].
    pub fn open(session: DeskSession, tell: Tell) -> Result<(Arc<Desk>, Vec<String>), Error> {
        let (mut log, mut said) = EditLog::open(&session.folder)?;
        if let Some(bytes) = &session.base().bytes {
            said.extend(log.note_log(&session.log_name(), bytes)?);
        }
        let effective = Arc::new(session.effective(&choices(&session, &log.history)));
        said.extend(effective.warnings.iter().cloned());
        let rows = VecDeque::from([(log.history.version, effective.names.clone())]);
        let desk = Arc::new(Desk {
            session,
            state: Mutex::new(State {
                log,
                effective,
                rows,
                solved: None,
                before: None,
                reread: 0,
                unread: None,
                ended: false,
            }),
            changed: Condvar::new(),
            tell,
            planning: Mutex::default(),
            emitters: Mutex::default(),
        });
        let weak = Arc::downgrade(&desk);
        std::thread::spawn(move || work(&weak));
        Ok((desk, said))
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Returns the current version.
    pub fn version(&self) -> u64 {
        self.state().version()
    }

    /// Returns the edits made and undone.
    pub fn history(&self) -> History {
        self.state().log.history.clone()
    }

    /// Returns the current log and options, explained or not.
    pub fn effective(&self) -> Arc<Effective> {
        self.state().effective.clone()
    }

    /// Waits up to `patience` for the newest state to be explained; after that returns the newest
    /// one that is, or `None`.
    pub fn newest(&self, patience: Duration) -> Option<(Arc<SolvedSession>, Arc<View>)> {
        let until = Instant::now() + patience;
        let mut state = self.state();
        loop {
            let newest = state.version();
            let now = Instant::now();
            match &state.solved {
                Some(ready) if ready.0.version == newest || now >= until => {
                    return Some(ready.clone());
                }
                None if now >= until => return None,
                _ => {}
            }
            state = (self.changed)
                .wait_timeout(state, until - now)
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
    }

    /// Returns the explained session without edits; `None` until it is ready.
    pub fn before(&self) -> Option<Arc<SolvedSession>> {
        self.state().before.clone()
    }

    /// Makes an edit requested on the state of `version`. It is on disk when this
    /// returns. Returns the new version.
    ///
    /// # Errors
    /// If the edit is invalid, the state is out of date, or it cannot be written.
    pub fn post(
        &self,
        asked: &EditRequest,
        version: Option<u64>,
        now: Utc,
    ) -> Result<u64, RefusedEdit> {
        let mut state = self.state();
        let newest = state.version();
        if version.is_some_and(|v| v > newest) {
            return Err(RefusedEdit::Overtaken(
                "the desk does not know this state: reload the page".to_owned(),
            ));
        }
        match asked {
            EditRequest::Undo | EditRequest::Redo if version.is_some_and(|v| v != newest) => {
                return Err(RefusedEdit::Overtaken(
                    "another edit was made meanwhile: look at it before you take it back"
                        .to_owned(),
                ));
            }
            EditRequest::Undo if state.log.history.done.is_empty() => {
                return Err(wrong("there is nothing to take back"));
            }
            EditRequest::Redo if state.log.history.undone.is_empty() => {
                return Err(wrong("nothing was taken back"));
            }
            EditRequest::Undo => state.log.undo(now)?,
            EditRequest::Redo => state.log.redo(now)?,
            other => {
                let (edit, words) = self.edit(&state, other, version.unwrap_or(newest))?;
                state.log.edit(edit, words, now)?;
            }
        }
        let after = self.renew(&mut state);
        drop(state);
        self.changed.notify_all();
        Ok(after)
    }

    /// Rebuilds the state from the log and all edits; returns the new version.
    fn renew(&self, state: &mut State) -> u64 {
        let choices = choices(&self.session, &state.log.history);
        let mut effective = self.session.effective(&choices);
        effective.warnings.extend(state.unread.iter().cloned());
        state.effective = Arc::new(effective);
        let after = state.version();
        let names = match state.rows.back() {
            Some((_, last)) if **last == *state.effective.names => last.clone(),
            _ => state.effective.names.clone(),
        };
        state.rows.push_back((after, names));
        if state.rows.len() > REMEMBERED {
            state.rows.pop_front();
        }
        after
    }

    /// Reads the log again if its file changed, as it does while an observation writes to it.
    ///
    /// # Errors
    /// If the file of edits cannot be written.
    pub fn follow_log(&self) -> Result<(), Error> {
        let again = self.session.read_again();
        let mut state = self.state();
        match again {
            Ok(None) => return Ok(()),
            Ok(Some(base)) => {
                state.unread = None;
                if let Some(bytes) = &base.bytes {
                    state.log.note_log(&self.session.log_name(), bytes)?;
                }
            }
            Err(why) => {
                state.unread = Some(format!("the log changed and cannot be read again: {why}"));
            }
        }
        state.reread += 1;
        state.before = None;
        self.renew(&mut state);
        drop(state);
        self.changed.notify_all();
        Ok(())
    }

    /// Checks a request; returns the edit and its description.
    fn edit(
        &self,
        state: &State,
        asked: &EditRequest,
        version: u64,
    ) -> Result<(Edit, String), RefusedEdit> {
        let kind = self.session.station.mount.kind();
        let term_of = |name: &str| -> Result<Term, RefusedEdit> { Ok(term_named(kind, name)?) };
        let refused = |wrong: String| RefusedEdit::Wrong(Error::Usage(wrong));
        Ok(match asked {
            EditRequest::Use { row, use_it } => {
                let name = named(state, *row, version)?;
                let Some(at) = state.effective.names.iter().position(|(_, n)| *n == name) else {
                    return Err(RefusedEdit::Overtaken(format!(
                        "row {row} is not there any more"
                    )));
                };
                let peak = &state.effective.log.peaks[at];
                let what = if *use_it { "use" } else { "leave out" };
                let words = format!(
                    "{what} row {} ({}, {})",
                    peak.row,
                    printable(&peak.emitter),
                    clock(peak.time)
                );
                let (peak, use_it) = (name, *use_it);
                (Edit::Use { peak, use_it }, words)
            }
            EditRequest::Term { term, asked } => {
                let term = term_of(term)?;
                if *asked == TermAsked::LeaveOut && !can_leave_out(term) {
                    return Err(refused(format!(
                        "every fit needs the {}\n  help: hold it at a value if you know it",
                        kind.term_words(term)
                    )));
                }
                let said = kind.term_words(term);
                let words = match asked {
                    TermAsked::Data => format!("leave {said} to the data"),
                    TermAsked::Add => format!("fit {said}"),
                    TermAsked::LeaveOut => format!("leave {said} out"),
                };
                let (term, asked) = (kind.term_name(term).to_owned(), *asked);
                (Edit::Term { term, asked }, words)
            }
            EditRequest::Hold { term, value } => {
                let (term, value) = (term_of(term)?, *value);
                let name = kind.term_name(term);
                (holdable(term).check(name, &value.to_string(), value))
                    .map_err(|w| refused(format!("{}; expected {}", w.found, w.expected)))?;
                let words = format!(
                    "hold {} at {value} {}",
                    kind.term_words(term),
                    unit_name(term.unit())
                );
                let term = name.to_owned();
                (Edit::Hold { term, value }, words)
            }
            EditRequest::Noise { choice, given_deg } => {
                let given_deg = match (choice, given_deg) {
                    (NoiseAsked::Given, None) => {
                        return Err(refused("the noise is to be given, and is not".to_owned()));
                    }
                    (NoiseAsked::Given, Some(deg)) => Some(checked_noise(*deg).map_err(refused)?),
                    _ => None,
                };
                let words = match given_deg {
                    Some(deg) => format!("noise of a peak {deg} deg"),
                    None if *choice == NoiseAsked::Scatter => "noise from the scatter".to_owned(),
                    None => "noise as logged".to_owned(),
                };
                let choice = *choice;
                (Edit::Noise { choice, given_deg }, words)
            }
            EditRequest::AddPeak(typed) => {
                let peak = self.session.typed_peak(typed)?;
                if state.effective.has(&peak) {
                    return Err(refused(
                        "a peak of the same time, emitter and readings is there already".to_owned(),
                    ));
                }
                let words = format!(
                    "add a peak ({}, {})",
                    printable(&peak.emitter),
                    clock(peak.time)
                );
                let typed = typed.clone();
                (Edit::AddPeak { typed }, words)
            }
            EditRequest::Import { file, options } => {
                let path = super::foreign::inside(&self.session.folder, file)?;
                let log = self.session.imported(file, options)?;
                let again = choices(&self.session, &state.log.history)
                    .added
                    .iter()
                    .any(|a| matches!(a, Addition::Log(other, _) if other == file));
                if again {
                    return Err(refused(format!(
                        "{} is in the session already",
                        printable(file)
                    )));
                }
                if state.effective.has_all(&log.peaks) {
                    return Err(refused(format!(
                        "all peaks of {} are in the session already",
                        printable(file)
                    )));
                }
                let bytes = std::fs::read(&path).map_err(|e| Error::io(file, "read", e))?;
                let words = format!("import {} ({} peaks)", printable(file), log.peaks.len());
                let edit = Edit::Import {
                    file: file.clone(),
                    checksum: checksum(&bytes),
                    options: options.clone(),
                };
                (edit, words)
            }
            EditRequest::Reset => (Edit::Reset, "back to the log as it is".to_owned()),
            EditRequest::Undo | EditRequest::Redo => return Err(wrong("no edit")),
        })
    }

    /// Returns the next best peaks for the newest explained state if they are ready; otherwise
    /// starts working them out and notifies those watching when done.
    pub fn next(self: &Arc<Desk>, now: Utc) -> NextPeaks {
        let version = self.version();
        let mut planning = self.planning.lock().unwrap_or_else(PoisonError::into_inner);
        let fresh = |next: &&NextPeaks| {
            let age = now.seconds_since(next.at);
            next.version == version && (0.0..FRESH_S).contains(&age)
        };
        if let Some(next) = planning.latest.as_ref().filter(fresh) {
            return next.clone();
        }
        if !planning.running {
            planning.running = true;
            let desk = Arc::downgrade(self);
            std::thread::spawn(move || plan_newest(&desk));
        }
        NextPeaks::pending(version, now)
    }

    /// Returns all emitters with their positions, at most a minute old.
    pub fn emitters(&self, now: Utc) -> Arc<Vec<EmitterView>> {
        const MINUTE_S: f64 = 60.0;
        let mut known = self.emitters.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((at, emitters)) = known.as_ref()
            && (0.0..MINUTE_S).contains(&now.seconds_since(*at))
        {
            return emitters.clone();
        }
        let emitters = Arc::new(emitters(&self.session.station, &self.session.sky, now));
        *known = Some((now, emitters.clone()));
        emitters
    }

    /// Stops the worker; states not yet explained never will be.
    pub fn end(&self) {
        self.state().ended = true;
        self.changed.notify_all();
    }
}

fn wrong(text: &str) -> RefusedEdit {
    RefusedEdit::Wrong(Error::Usage(text.to_owned()))
}

/// Returns the name of the peak that was in a row as of `version`.
fn named(state: &State, row: usize, version: u64) -> Result<PeakName, RefusedEdit> {
    // Rows of the newest state up to `version`: they apply until the next remembered state.
    let rows = state.rows.iter().rev().find(|(of, _)| *of <= version);
    let Some((_, rows)) = rows else {
        return Err(RefusedEdit::Overtaken(
            "too many edits were made meanwhile: look at the rows again".to_owned(),
        ));
    };
    let found = rows.iter().find(|(r, _)| *r == row);
    found
        .map(|(_, name)| name.clone())
        .ok_or_else(|| wrong(&format!("there is no row {row}")))
}

/// Returns the sum of all edits of a history.
pub fn choices(session: &DeskSession, history: &History) -> Choices {
    let kind = session.station.mount.kind();
    let mut choices = Choices::default();
    for kept in history.in_force() {
        choices.take(kept.n, &kept.edit, kind, |typed| {
            session.typed_peak(typed).ok()
        });
    }
    choices
}

/// Works out the next best peaks for the newest state, again if it changed in the meantime.
fn plan_newest(desk: &Weak<Desk>) {
    /// Longest wait for a state to be explained.
    const PATIENCE: Duration = Duration::from_secs(600);
    loop {
        let Some(desk) = desk.upgrade() else { return };
        let solved = desk.newest(PATIENCE).map(|(solved, _)| solved);
        let next = solved.map(|solved| {
            let now = Utc::now();
            let work = || NextPeaks::of(&desk.session, &solved, now);
            catch_unwind(AssertUnwindSafe(work))
                .unwrap_or_else(|_| NextPeaks::failed(solved.version, now))
        });
        let version = next.as_ref().map(|next| next.version);
        let mut planning = desk.planning.lock().unwrap_or_else(PoisonError::into_inner);
        if next.is_some() {
            planning.latest = next;
        }
        let newest = version.is_none_or(|version| version == desk.version());
        planning.running = !newest;
        drop(planning);
        if let Some(version) = version.filter(|_| newest) {
            (desk.tell)(Happened::Next(version));
        }
        if newest {
            return;
        }
    }
}

/// Keeps explaining the newest state until the desk is dropped.
fn work(desk: &Weak<Desk>) {
    loop {
        let Some(desk) = desk.upgrade() else { return };
        if !desk.explain_newest() {
            return;
        }
    }
}

impl Desk {
    /// Waits for a state not yet explained and explains it; returns false once the desk has ended.
    fn explain_newest(&self) -> bool {
        /// Interval between checks whether the desk still exists.
        const LOOK: Duration = Duration::from_secs(1);
        let (version, effective) = {
            let mut state = self.state();
            if state.ended {
                return false;
            }
            let newest = state.version();
            if (state.solved.as_ref()).is_some_and(|(solved, _)| solved.version == newest) {
                state = (self.changed)
                    .wait_timeout(state, LOOK)
                    .unwrap_or_else(PoisonError::into_inner)
                    .0;
            }
            let newest = state.version();
            if state.ended
                || (state.solved.as_ref()).is_some_and(|(solved, _)| solved.version == newest)
            {
                return !state.ended;
            }
            (newest, state.effective.clone())
        };
        let before = self.before().unwrap_or_else(|| {
            let plain = Arc::new(self.session.effective(&Choices::default()));
            let solved = Arc::new(self.solved(0, plain));
            self.state().before = Some(solved.clone());
            solved
        });
        let solved = Arc::new(self.solved(version, effective));
        let history = self.history();
        let view = Arc::new(View::of(&self.session, &solved, &before, &history));
        let mut state = self.state();
        // A newer edit wins: this result is out of date and dropped.
        if state.version() == version {
            state.solved = Some((solved, view));
            drop(state);
            self.changed.notify_all();
            (self.tell)(Happened::Changed(version));
        }
        true
    }

    fn solved(&self, version: u64, effective: Arc<Effective>) -> SolvedSession {
        let kept = effective.clone();
        catch_unwind(AssertUnwindSafe(|| {
            SolvedSession::of(&self.session, version, effective, Utc::now())
        }))
        .unwrap_or_else(|_| {
            SolvedSession {
            version,
            effective: kept,
            found: Err(Error::Unsupported(
                "the program failed on this state: please report it with the log\n  help: undo the \
                 last edit"
                    .to_owned(),
            )),
            station: self.session.station.clone(),
        }
        })
    }
}
