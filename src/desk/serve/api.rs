//! Requests from a page and their responses.

use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::body::Bytes;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Event, Shared};
use crate::desk::edit::EditRequest;
use crate::desk::export::{self, CALIBRATION_FILE};
use crate::desk::foreign::LogAnswers;
use crate::desk::import;
use crate::desk::runs::RunView;
use crate::desk::sky::{EmitterView, pass_views};
use crate::desk::solved::SolvedSession;
use crate::desk::state::{RefusedEdit, choices};
use crate::desk::view::{Trouble, View};
use crate::ephemeris::{Pass, passes};
use crate::plot::Render;
use crate::problem::Error;
use crate::report::{MapTrack, SkyErrorMap, pictures, sky_error_map};
use crate::solve::Outcome;
use crate::time::Utc;

/// Longest wait for the state of the newest edit; a very long log takes longer, and then the
/// previous state is shown.
const PATIENCE: Duration = Duration::from_secs(15);

/// An error response.
pub struct Refusal(StatusCode, Trouble);

/// Makes an error response with a message.
pub fn trouble(status: StatusCode, problem: &str, help: Option<&str>) -> Refusal {
    let help = help.map(str::to_owned);
    let problem = problem.to_owned();
    Refusal(status, Trouble { problem, help })
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        (self.0, Json(self.1)).into_response()
    }
}

impl From<Error> for Refusal {
    fn from(error: Error) -> Refusal {
        let status = match &error {
            Error::Io { .. } => StatusCode::INTERNAL_SERVER_ERROR,
            _ => StatusCode::UNPROCESSABLE_ENTITY,
        };
        Refusal(status, Trouble::of(&error))
    }
}

impl From<RefusedEdit> for Refusal {
    fn from(refused: RefusedEdit) -> Refusal {
        match refused {
            RefusedEdit::Wrong(error) => error.into(),
            RefusedEdit::Overtaken(why) => Refusal(StatusCode::CONFLICT, Trouble::said(&why)),
        }
    }
}

/// Runs slow work on a blocking thread, so that other requests are not held up.
pub async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| {
        Err(trouble(
            StatusCode::INTERNAL_SERVER_ERROR,
            "the program failed at this",
            Some("please report it with the log"),
        ))
    })
}

/// Parses the body of a request.
pub fn read<'a, T: Deserialize<'a>>(body: &'a [u8]) -> Result<T, Refusal> {
    serde_json::from_slice(body).map_err(|wrong| {
        let problem = format!("what was sent is not understood: {wrong}");
        trouble(StatusCode::BAD_REQUEST, &problem, Some("reload the page"))
    })
}

/// Returns the newest state that is ready, waiting a while for that of the newest edit.
pub fn newest(shared: &Shared) -> Result<(Arc<SolvedSession>, Arc<View>), Refusal> {
    shared.desk.newest(PATIENCE).ok_or_else(|| {
        trouble(
            StatusCode::SERVICE_UNAVAILABLE,
            "the log is still being explained",
            Some("wait and reload the page"),
        )
    })
}

pub async fn nothing() -> Refusal {
    trouble(StatusCode::NOT_FOUND, "there is nothing here", None)
}

/// What this desk is connected to.
#[derive(Serialize)]
struct LiveView {
    rotator: bool,
    power: bool,
    runs: Vec<RunView>,
}

/// A state, with what changes independently of it.
#[derive(Serialize)]
struct Shown<'a> {
    #[serde(flatten)]
    view: &'a View,
    emitters: &'a [EmitterView],
    live: LiveView,
    /// Whether a newer edit is being explained.
    solving: bool,
}

pub async fn state(State(shared): State<Shared>) -> Result<Response, Refusal> {
    aside(move || {
        let (_, view) = newest(&shared)?;
        let solving = view.version != shared.desk.version();
        let state = Shown {
            view: &view,
            emitters: &shared.desk.emitters(Utc::now()),
            live: LiveView {
                rotator: shared.live.has_rotator(),
                power: shared.live.has_power(),
                runs: shared.live.runs(),
            },
            solving,
        };
        Ok(Json(state).into_response())
    })
    .await
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct EditSent {
    #[serde(default)]
    version: Option<u64>,
    edit: EditRequest,
}

pub async fn edit(State(shared): State<Shared>, body: Bytes) -> Result<Response, Refusal> {
    aside(move || {
        let sent: EditSent = read(&body)?;
        let version = shared.desk.post(&sent.edit, sent.version, Utc::now())?;
        if matches!(sent.edit, EditRequest::AddPeak(_)) {
            // Peaking starts afresh for the next peak.
            shared.live.restart();
        }
        Ok(Json(json!({ "version": version })).into_response())
    })
    .await
}

pub async fn picture(
    State(shared): State<Shared>,
    Path(name): Path<String>,
) -> Result<Response, Refusal> {
    aside(move || {
        let (solved, _) = newest(&shared)?;
        let log_name = export::log_names(&shared.desk.session, &solved.effective).join(" ");
        let report = solved.report(&log_name, CALIBRATION_FILE);
        let stem = name.strip_suffix(".svg");
        let all = report.iter().flat_map(pictures);
        let mut found = all.filter(|picture| stem == Some(picture.file_stem()));
        let picture = found
            .next()
            .ok_or_else(|| trouble(StatusCode::NOT_FOUND, "there is no such picture", None))?;
        Ok(svg(picture.inline_svg()))
    })
    .await
}

/// Makes a response from an SVG picture.
pub fn svg(text: String) -> Response {
    (
        [(header::CONTENT_TYPE, "image/svg+xml; charset=utf-8")],
        text,
    )
        .into_response()
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ExportSent {
    ids: Vec<String>,
}

pub async fn export(State(shared): State<Shared>, body: Bytes) -> Result<Response, Refusal> {
    aside(move || {
        let sent: ExportSent = read(&body)?;
        let (solved, view) = newest(&shared)?;
        if view.version != shared.desk.version() {
            return Err(trouble(
                StatusCode::CONFLICT,
                "the newest edit is still being explained",
                Some("try again in a moment"),
            ));
        }
        let session = &shared.desk.session;
        let choices = choices(session, &shared.desk.history());
        let written = export::write(session, &solved, &choices, &sent.ids)?;
        Ok(Json(written).into_response())
    })
    .await
}

#[derive(Deserialize)]
pub struct ImportNamed {
    #[serde(default)]
    name: String,
}

pub async fn import(
    State(shared): State<Shared>,
    Query(named): Query<ImportNamed>,
    body: Bytes,
) -> Result<Response, Refusal> {
    aside(move || {
        let offered = import::take(&shared.desk.session, &named.name, &body)?;
        Ok(Json(offered).into_response())
    })
    .await
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ImportAnswered {
    file: String,
    #[serde(default)]
    options: LogAnswers,
}

pub async fn import_answered(
    State(shared): State<Shared>,
    body: Bytes,
) -> Result<Response, Refusal> {
    aside(move || {
        let sent: ImportAnswered = read(&body)?;
        let offered = import::again(&shared.desk.session, &sent.file, &sent.options)?;
        Ok(Json(offered).into_response())
    })
    .await
}

pub async fn next(State(shared): State<Shared>) -> Result<Response, Refusal> {
    aside(move || Ok(Json(shared.desk.next(Utc::now())).into_response())).await
}

#[derive(Deserialize)]
pub struct OfEmitter {
    emitter: String,
}

/// Returns the passes of the emitter of that name.
fn passes_of(shared: &Shared, emitter: &str) -> Result<Vec<Pass>, Refusal> {
    let session = &shared.desk.session;
    let id = session.sky.emitter_named(emitter).map_err(|why| {
        let help = "one of the emitters of the station file";
        trouble(StatusCode::NOT_FOUND, &why.to_string(), Some(help))
    })?;
    Ok(passes(&session.station, &session.sky, id, Utc::now()))
}

pub async fn passes_listed(
    State(shared): State<Shared>,
    Query(of): Query<OfEmitter>,
) -> Result<Response, Refusal> {
    aside(move || {
        let passes = passes_of(&shared, &of.emitter)?;
        let (solved, _) = newest(&shared)?;
        let expected = solved
            .found
            .as_ref()
            .ok()
            .and_then(|f| f.outcome.sky_error.as_ref());
        let views = pass_views(&shared.desk.session.station, &passes, expected);
        Ok(Json(views).into_response())
    })
    .await
}

#[derive(Deserialize)]
pub struct MapAsked {
    #[serde(default)]
    which: Option<String>,
    #[serde(default)]
    emitter: Option<String>,
    #[serde(default)]
    pass: Option<String>,
}

pub async fn map(
    State(shared): State<Shared>,
    Query(asked): Query<MapAsked>,
) -> Result<Response, Refusal> {
    aside(move || {
        let missing = |problem: &str| trouble(StatusCode::NOT_FOUND, problem, None);
        let (solved, view) = newest(&shared)?;
        let before = shared.desk.before();
        let edited = view.is_edited();
        let wants_before = match asked.which.as_deref() {
            None | Some("now" | "") => false,
            Some("before") if edited => true,
            Some("before") => return Err(missing("there are no edits")),
            Some(_) => return Err(missing("there is no such map")),
        };
        let outcome = |solved: &'_ SolvedSession| -> Option<Outcome> {
            solved
                .found
                .as_ref()
                .ok()
                .map(|found| found.outcome.clone())
        };
        let now = outcome(&solved);
        let old = before.as_ref().filter(|_| edited).and_then(|b| outcome(b));
        let (shown, beside) = match wants_before {
            true => (old.as_ref(), now.as_ref()),
            false => (now.as_ref(), old.as_ref()),
        };
        let shown = shown.ok_or_else(|| missing("there is no solution to draw a map of"))?;
        let expected = (shown.sky_error.as_ref())
            .ok_or_else(|| missing("what is to be expected over the sky is not known"))?;
        let track = match (asked.emitter.as_deref(), asked.pass.as_deref()) {
            (Some(emitter), Some(pass)) if !emitter.is_empty() && !pass.is_empty() => {
                let passes = passes_of(&shared, emitter)?;
                let index: Option<usize> = pass.parse().ok();
                let pass = index.and_then(|index| passes.into_iter().nth(index));
                let pass = pass.ok_or_else(|| missing("there is no such pass any more"))?;
                Some(MapTrack {
                    emitter: emitter.to_owned(),
                    points: pass.points,
                })
            }
            _ => None,
        };
        let picture = sky_error_map(&SkyErrorMap {
            station: &shared.desk.session.station,
            expected,
            beside: beside.and_then(|b| b.sky_error.as_ref()),
            which: match (edited, wants_before) {
                (false, _) => "",
                (true, true) => "before the edits",
                (true, false) => "now",
            },
            peaks: &shown.peaks,
            track: track.as_ref(),
        });
        Ok(svg(picture.inline_svg()))
    })
    .await
}

pub async fn reading(State(shared): State<Shared>) -> Result<Response, Refusal> {
    aside(move || Ok(Json(shared.live.take()).into_response())).await
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PeakingSent {
    #[serde(default)]
    emitter: Option<String>,
}

/// Sets the emitter being peaked; earlier readings are discarded.
pub async fn peaking(State(shared): State<Shared>, body: Bytes) -> Result<Response, Refusal> {
    aside(move || {
        let sent: PeakingSent = read(&body)?;
        let emitter = sent.emitter.as_deref().filter(|name| !name.is_empty());
        shared.live.peak_on(emitter)?;
        Ok(Json(json!({ "emitter": emitter })).into_response())
    })
    .await
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StopSent {
    id: String,
}

pub async fn stop(State(shared): State<Shared>, body: Bytes) -> Result<Response, Refusal> {
    aside(move || {
        let sent: StopSent = read(&body)?;
        let said = shared.live.stop(&sent.id)?;
        shared.bus.tell(Event::new("runs", &shared.live.runs()));
        Ok(Json(json!({ "said": said })).into_response())
    })
    .await
}
