//! The next best peaks from now on, by the calibration of the present state.

use std::sync::Arc;

use serde::Serialize;

use crate::angle::Angle;
use crate::number;
use crate::plan::{Known, Plan, PlanRequest, Step, plan};
use crate::problem::printable;
use crate::report::{SUN_CAUTION, minute_words, term_name};
use crate::time::Utc;

use super::session::DeskSession;
use super::solved::SolvedSession;
use super::view::Trouble;

/// Planning horizon, seconds.
const AHEAD_S: f64 = 2.0 * 3600.0;
/// Most peaks proposed.
const MOST: usize = 6;
/// Older plans no longer match the sky and are made again, seconds.
pub const FRESH_S: f64 = 300.0;

/// The next best peaks as a page shows them.
#[derive(Clone, Debug, Serialize)]
pub struct NextPeaks {
    /// Version of the state used.
    pub version: u64,
    /// Whether the computation is done.
    pub ready: bool,
    steps: Vec<StepView>,
    assumed: Vec<String>,
    caution: Option<&'static str>,
    problem: Option<Trouble>,
    /// When they were computed.
    #[serde(skip)]
    pub at: Utc,
}

#[derive(Clone, Debug, Serialize)]
struct StepView {
    emitter: String,
    time_utc: String,
    time_shown: String,
    azimuth_deg: f64,
    elevation_deg: f64,
    azimuth_shown: String,
    elevation_shown: String,
    reading_1_shown: String,
    reading_2_shown: String,
    words: String,
    gain_shown: String,
}

impl NextPeaks {
    /// Reports that they are being worked out.
    pub fn pending(version: u64, now: Utc) -> NextPeaks {
        NextPeaks {
            version,
            ready: false,
            steps: Vec::new(),
            assumed: Vec::new(),
            caution: None,
            problem: None,
            at: now,
        }
    }

    /// Reports that planning failed.
    pub fn failed(version: u64, now: Utc) -> NextPeaks {
        NextPeaks {
            ready: true,
            problem: Some(Trouble::said(
                "the program failed at this plan: please report it",
            )),
            ..NextPeaks::pending(version, now)
        }
    }

    /// The best next peaks for that state.
    pub fn of(session: &DeskSession, solved: &Arc<SolvedSession>, now: Utc) -> NextPeaks {
        let mut next = NextPeaks {
            ready: true,
            ..NextPeaks::pending(solved.version, now)
        };
        // Without a calibration, or with one that is not usable, the mount is taken as built.
        let document = solved
            .found
            .as_ref()
            .ok()
            .map(|found| found.document.clone());
        let known = document.filter(|d| d.trust != crate::logbook::Trust::None);
        let known = known.map(|document| Known::of(document, "the present state"));
        let known = match known {
            Some(Ok(known)) => known,
            _ => Known::default(),
        };
        let request = PlanRequest {
            most: MOST,
            ..PlanRequest::new(&session.sky, now, now.plus_seconds(AHEAD_S))
        };
        match plan(&session.station, &session.sky, &known, &request) {
            Ok(plan) => {
                next.steps = plan
                    .steps
                    .iter()
                    .enumerate()
                    .map(|(i, s)| view(&plan, i, s))
                    .collect();
                next.assumed.clone_from(&plan.assumed);
                let sun = plan.steps.iter().any(|step| step.candidate.is_sun);
                next.caution = sun.then_some(SUN_CAUTION);
            }
            Err(why) => next.problem = Some(Trouble::of(&why)),
        }
        next
    }
}

fn view(plan: &Plan, index: usize, step: &Step) -> StepView {
    let direction = step.candidate.direction;
    let shown = |angle: Angle| number::typographic(&number::fixed(angle.degrees(), 1));
    let (term, share) = step.tells;
    let before = match index {
        0 => plan.error.0,
        i => plan.steps[i - 1].left,
    };
    let side = |sign: f64| match sign {
        s if s > 0.0 => "with increasing reading",
        s if s < 0.0 => "with decreasing reading",
        _ => "",
    };
    let [one, two] = plan.mount.axes().map(|axis| axis.words());
    let sides: Vec<String> = [(one, step.approach.azimuth), (two, step.approach.elevation)]
        .into_iter()
        .filter(|(_, sign)| *sign != 0.0)
        .map(|(axis, sign)| format!("arrive in {axis} {}", side(sign)))
        .collect();
    let mut words = format!(
        "tells {} most: without it that would be {} % less certain",
        term_name(plan.mount, term),
        number::significant(100.0 * share, 2)
    );
    for side in sides {
        words.push_str("; ");
        words.push_str(&side);
    }
    StepView {
        emitter: printable(&step.candidate.name),
        time_utc: step.candidate.time.to_string(),
        time_shown: minute_words(step.candidate.time),
        azimuth_deg: direction.azimuth().degrees(),
        elevation_deg: direction.elevation().degrees(),
        azimuth_shown: shown(direction.azimuth()),
        elevation_shown: shown(direction.elevation()),
        reading_1_shown: shown(step.reading.azimuth),
        reading_2_shown: shown(step.reading.elevation),
        words,
        gain_shown: format!(
            "expected error {} to {} deg",
            number::significant(before.degrees(), 2),
            number::significant(step.left.degrees(), 2)
        ),
    }
}
