//! A state of the session as a page shows it: numbers together with their display text.

use serde::Serialize;

use crate::angle::Angle;
use crate::logbook::Trust;
use crate::mount::Term;
use crate::number;
use crate::problem::{Error, Problem, printable};
use crate::report::{
    MOUNT_CAUTION, Report, SUN_CAUTION, assumptions, dish_words, in_one_sentence, loss_words,
    next_steps, noise_words, pictures, site_words, sun_was_used, verdict,
};
use crate::solve::{NoiseSource, Outcome};
use crate::station::Dish;

use super::edit::{Choices, NoiseChoice};
use super::edit_log::History;
use super::effective::Effective;
use super::export;
use super::peak_view::{PeakView, peaks};
use super::session::DeskSession;
use super::solved::{SessionFindings, SolvedSession};
use super::term_view::{TermView, terms};

/// Most edits that a page lists; older ones are omitted.
const MOST_EDITS: usize = 200;

/// What a page shows of a state.
#[derive(Clone, Debug, Serialize)]
pub struct View {
    /// Version of the state.
    pub version: u64,
    title: String,
    place: String,
    dish: String,
    log: String,
    folder_name: String,
    axes: [&'static str; 2],
    understood: Vec<String>,
    headline: String,
    verdict: Vec<Said>,
    trust: Trust,
    reasons: Vec<String>,
    problem: Option<Trouble>,
    expected: Option<Expected>,
    expected_before: Option<Expected>,
    #[serde(flatten)]
    rms: Rms,
    noise: Noise,
    terms: Vec<TermView>,
    peaks: Vec<PeakView>,
    findings: Vec<FindingView>,
    remedies: Vec<RemedyView>,
    mount_caution: &'static str,
    sun_caution: Option<&'static str>,
    not_separable: Vec<NotSeparable>,
    warnings: Vec<String>,
    assumed: Vec<String>,
    next_steps: Vec<StepView>,
    pictures: Vec<PictureView>,
    edits: Vec<EditView>,
    edited: bool,
    can_undo: bool,
    can_redo: bool,
    undo_words: Option<String>,
    redo_words: Option<String>,
    exports: Vec<ExportView>,
    commands: Vec<String>,
}

#[derive(Clone, Debug, Serialize)]
struct Said {
    about: &'static str,
    said: String,
}

/// What went wrong and how to fix it.
#[derive(Clone, Debug, Serialize)]
pub struct Trouble {
    /// One clear message.
    pub problem: String,
    /// How to fix it.
    pub help: Option<String>,
}

impl Trouble {
    /// Splits an error into its message and its help.
    pub fn of(error: &Error) -> Trouble {
        let Error::Input(problems) = error else {
            return Trouble::said(&error.to_string());
        };
        let bare = problems.as_slice().iter().map(|problem| {
            let bare = Problem {
                remedy: String::new(),
                ..problem.clone()
            };
            bare.to_string()
        });
        let mut said: Vec<String> = bare.collect();
        let more = problems.count() - said.len();
        if more > 0 {
            said.push(format!("… and {more} more"));
        }
        let remedies = problems
            .as_slice()
            .iter()
            .map(|problem| problem.remedy.as_str());
        let mut remedies: Vec<String> = remedies
            .filter(|remedy| !remedy.is_empty())
            .map(printable)
            .collect();
        remedies.dedup();
        Trouble {
            problem: said.join("\n"),
            help: (!remedies.is_empty()).then(|| remedies.join("\n")),
        }
    }
    /// Splits a message from the help that follows it, in the form the command line prints.
    pub fn said(text: &str) -> Trouble {
        match text.split_once("\n  help: ") {
            Some((problem, help)) => Trouble {
                problem: problem.to_owned(),
                help: Some(help.to_owned()),
            },
            None => Trouble {
                problem: text.to_owned(),
                help: None,
            },
        }
    }
}

#[derive(Clone, Debug, Serialize)]
struct Expected {
    rms_deg: f64,
    rms_shown: String,
    rms_95_deg: f64,
    rms_95_shown: String,
    loss_db: Option<f64>,
    loss_shown: String,
}

#[derive(Clone, Debug, Default, Serialize)]
struct Rms {
    rms_before_deg: Option<f64>,
    rms_before_shown: Option<String>,
    rms_after_deg: Option<f64>,
    rms_after_shown: Option<String>,
}

#[derive(Clone, Debug, Serialize)]
struct Noise {
    choice: &'static str,
    given_deg: Option<f64>,
    words: String,
    logged_possible: bool,
}

#[derive(Clone, Debug, Serialize)]
struct FindingView {
    fault: String,
    title: String,
    headline: String,
    in_words: String,
    evidence: Vec<String>,
    confirm: Vec<String>,
    mend: Vec<String>,
    otherwise: String,
    rivals: Vec<String>,
    false_alarm_probability: f64,
    false_alarm_probability_shown: String,
    rows: Vec<usize>,
}

#[derive(Clone, Debug, Serialize)]
struct RemedyView {
    title: String,
    text: String,
    caution: String,
}

#[derive(Clone, Debug, Serialize)]
struct NotSeparable {
    terms: String,
    meaning: String,
    remedy: String,
}

#[derive(Clone, Debug, Serialize)]
struct StepView {
    words: String,
    command: Option<String>,
}

#[derive(Clone, Debug, Serialize)]
struct PictureView {
    stem: String,
    title: String,
    caption: String,
}

#[derive(Clone, Debug, Serialize)]
struct EditView {
    n: u64,
    at: String,
    words: String,
    undone: bool,
}

#[derive(Clone, Debug, Serialize)]
struct ExportView {
    id: &'static str,
    label: String,
    file: &'static str,
}

impl View {
    /// Builds the view of a state; `before` is the session without edits.
    pub fn of(
        session: &DeskSession,
        solved: &SolvedSession,
        before: &SolvedSession,
        history: &History,
    ) -> View {
        let station = &session.station;
        let effective = &solved.effective;
        let log_name = export::log_names(session, effective).join(" ");
        let report = solved.report(&log_name, export::CALIBRATION_FILE);
        let found = solved.found.as_ref().ok();
        let mut warnings: Vec<String> = effective.warnings.clone();
        warnings.extend(effective.log.warnings.iter().cloned());
        warnings.extend(
            found
                .iter()
                .flat_map(|f| f.outcome.warnings.iter().map(|w| w.words.clone())),
        );
        let kind = station.mount.kind();
        let edited = !history.in_force().is_empty();
        let choices = super::state::choices(session, history);
        let [axis_1, axis_2] = kind.axes().map(|axis| axis.words());
        View {
            version: solved.version,
            title: printable(&station.site.name),
            place: site_words(&station.site),
            dish: dish_words(&station.dish),
            log: printable(&session.log_name()),
            folder_name: folder_name(session),
            axes: [axis_1, axis_2],
            understood: effective.log.taken.clone(),
            headline: headline(solved),
            verdict: said_of(report.as_ref(), solved),
            trust: found.map_or(Trust::None, |f| f.document.trust),
            reasons: found.map_or_else(Vec::new, |f| f.document.reasons.clone()),
            problem: solved.found.as_ref().err().map(Trouble::of),
            expected: found.and_then(|f| expected(f, &station.dish)),
            expected_before: (before.found.as_ref().ok())
                .filter(|_| edited)
                .and_then(|f| expected(f, &station.dish)),
            rms: found.map_or_else(Rms::default, |f| rms(&f.outcome)),
            noise: noise(report.as_ref(), &choices, effective),
            terms: terms(session, found, &choices),
            peaks: peaks(session, solved),
            findings: findings(found),
            remedies: (found.iter().flat_map(|f| &f.remedies))
                .map(|r| RemedyView {
                    title: r.title.clone(),
                    text: r.text.clone(),
                    caution: r.caution.clone(),
                })
                .collect(),
            mount_caution: MOUNT_CAUTION,
            sun_caution: (report.as_ref())
                .filter(|r| sun_was_used(r))
                .map(|_| SUN_CAUTION),
            not_separable: (found.iter().flat_map(|f| &f.outcome.not_separable))
                .map(|group| {
                    let terms: Vec<Term> = group.terms.iter().map(|(t, _)| *t).collect();
                    NotSeparable {
                        terms: crate::report::term_list(kind, &terms),
                        meaning: group.meaning.clone(),
                        remedy: group.remedy.clone(),
                    }
                })
                .collect(),
            warnings,
            assumed: report.as_ref().map_or_else(Vec::new, assumptions),
            next_steps: (report.iter().flat_map(next_steps))
                .map(|step| StepView {
                    words: step.words,
                    command: step.command,
                })
                .collect(),
            pictures: (report.iter().flat_map(pictures))
                .map(|picture| PictureView {
                    stem: picture.file_stem().to_owned(),
                    title: picture.title(),
                    caption: picture.caption(),
                })
                .collect(),
            edits: edits(history),
            edited,
            can_undo: !history.done.is_empty(),
            can_redo: !history.undone.is_empty(),
            undo_words: history.done.last().map(|k| k.words.clone()),
            redo_words: history.undone.last().map(|k| k.words.clone()),
            exports: (export::ALL.iter())
                .map(|what| ExportView {
                    id: what.id,
                    label: what.label(),
                    file: what.file,
                })
                .collect(),
            commands: export::commands(session, effective),
        }
    }
}

impl View {
    /// Whether any edit is in force.
    pub fn is_edited(&self) -> bool {
        self.edited
    }
}

fn folder_name(session: &DeskSession) -> String {
    let whole = std::fs::canonicalize(&session.folder);
    let name = whole
        .ok()
        .and_then(|p| Some(p.file_name()?.to_string_lossy().into_owned()));
    printable(&name.unwrap_or_default())
}

fn said_of(report: Option<&Report>, solved: &SolvedSession) -> Vec<Said> {
    match (report, &solved.found) {
        (Some(report), _) => (verdict(report).into_iter())
            .map(|(about, said)| Said { about, said })
            .collect(),
        (None, Err(error)) => vec![Said {
            about: "not solved",
            said: Trouble::of(error).problem,
        }],
        (None, Ok(_)) => Vec::new(),
    }
}

/// Whether the corrected mount points well enough, in one sentence.
fn headline(solved: &SolvedSession) -> String {
    let found = match &solved.found {
        Ok(found) => found,
        Err(_) if solved.effective.log.peaks.is_empty() => return "No peaks yet.".to_owned(),
        Err(_) => return "These peaks give no solution.".to_owned(),
    };
    in_one_sentence(&found.outcome, &solved.station)
}

fn expected(found: &SessionFindings, dish: &Dish) -> Option<Expected> {
    let sky = found.outcome.sky_error.as_ref()?;
    let shown = |angle: Angle| number::significant(angle.degrees(), 2);
    let loss = loss_words(dish, sky.rms);
    Some(Expected {
        rms_deg: sky.rms.degrees(),
        rms_shown: shown(sky.rms),
        rms_95_deg: sky.rms_95.degrees(),
        rms_95_shown: shown(sky.rms_95),
        loss_db: loss.is_some().then(|| dish.loss_db(sky.rms)),
        loss_shown: loss.map_or_else(|| "beyond the main beam".to_owned(), |l| format!("{l} dB")),
    })
}

fn rms(outcome: &Outcome) -> Rms {
    let shown = |angle: Angle| number::rms(angle.degrees(), outcome.degrees_of_freedom);
    Rms {
        rms_before_deg: Some(outcome.rms_before.degrees()),
        rms_before_shown: Some(shown(outcome.rms_before)),
        rms_after_deg: Some(outcome.rms_after.degrees()),
        rms_after_shown: Some(shown(outcome.rms_after)),
    }
}

fn noise(report: Option<&Report>, choices: &Choices, effective: &Effective) -> Noise {
    let (choice, given) = match choices.noise {
        NoiseChoice::Logged if !effective.sigmas_logged => ("scatter", None),
        NoiseChoice::Logged => ("logged", None),
        NoiseChoice::Scatter => ("scatter", None),
        NoiseChoice::Given(sigma) => ("given", Some(sigma)),
    };
    let words = match (report, given) {
        (None, _) => String::new(),
        (Some(report), Some(sigma)) if report.outcome.noise == NoiseSource::Logged => format!(
            "One standard deviation each, from the {} deg given for every peak; {} of freedom.",
            number::significant(sigma.degrees(), 2),
            number::counted(report.outcome.degrees_of_freedom, "degree")
        ),
        (Some(report), _) => noise_words(report),
    };
    Noise {
        choice,
        given_deg: given.map(Angle::degrees),
        words,
        logged_possible: effective.sigmas_logged,
    }
}

fn findings(found: Option<&SessionFindings>) -> Vec<FindingView> {
    let findings = found.and_then(|f| f.diagnosis.as_ref());
    (findings.iter().flat_map(|d| &d.findings))
        .map(|f| FindingView {
            fault: f.name.clone(),
            title: f.title(),
            headline: printable(&f.headline),
            in_words: f.in_words.clone(),
            evidence: lines(&f.evidence),
            confirm: lines(&f.confirm),
            mend: lines(&f.mend),
            otherwise: f.otherwise.clone(),
            rivals: (f.rivals.iter())
                .map(|r| format!("{}: {}", r.name, r.tell))
                .collect(),
            false_alarm_probability: f.false_alarm_probability,
            false_alarm_probability_shown: number::probability(f.false_alarm_probability),
            rows: f.rows.clone(),
        })
        .collect()
}

fn lines(text: &str) -> Vec<String> {
    let lines = text.lines().map(str::trim).filter(|l| !l.is_empty());
    lines.map(printable).collect()
}

fn edits(history: &History) -> Vec<EditView> {
    let done = history.done.iter().map(|k| (k, false));
    let undone = history.undone.iter().rev().map(|k| (k, true));
    let all: Vec<EditView> = done
        .chain(undone)
        .map(|(kept, undone)| EditView {
            n: kept.n,
            at: kept.at.to_string(),
            words: kept.words.clone(),
            undone,
        })
        .collect();
    let first = all.len().saturating_sub(MOST_EDITS);
    all.into_iter().skip(first).collect()
}
