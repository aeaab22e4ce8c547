//! The page and what belongs to it, built into the program.

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::api::trouble;
use crate::plot::{REGULAR_TTF, SEMIBOLD_TTF};

const PAGE: &str = include_str!("../page/index.html");

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const FONT: &str = "font/ttf";

/// Name, type and contents of every file of the page.
const ASSETS: &[(&str, &str, &[u8])] = &[
    ("desk.css", STYLE, include_bytes!("../page/desk.css")),
    ("desk.js", SCRIPT, include_bytes!("../page/desk.js")),
    ("sans-regular.ttf", FONT, REGULAR_TTF),
    ("sans-semibold.ttf", FONT, SEMIBOLD_TTF),
];

pub async fn page() -> Html<&'static str> {
    Html(PAGE)
}

pub async fn asset(Path(name): Path<String>) -> Response {
    match ASSETS.iter().find(|(known, ..)| *known == name) {
        Some((_, kind, bytes)) => ([(header::CONTENT_TYPE, *kind)], *bytes).into_response(),
        None => trouble(StatusCode::NOT_FOUND, "there is nothing here", None).into_response(),
    }
}
