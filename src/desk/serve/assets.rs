//! The page and what belongs to it, built into the program.

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::api::trouble;
use crate::plot::{REGULAR_TTF, SEMIBOLD_TTF};

const PAGE: &str = include_str!("../page/index.html");

const STYLE: &str = "text/css; charset=utf-8";
const FONT: &str = "font/ttf";
const DRAWING: &str = "image/svg+xml";

/// A module of the page, served under its own name.
macro_rules! module {
    ($name:literal) => {
        (
            $name,
            "text/javascript; charset=utf-8",
            include_bytes!(concat!("../page/", $name)),
        )
    };
}

/// Name, type and contents of every file of the page.
const ASSETS: &[(&str, &str, &[u8])] = &[
    ("desk.css", STYLE, include_bytes!("../page/desk.css")),
    ("icon.svg", DRAWING, include_bytes!("../page/icon.svg")),
    ("sans-regular.ttf", FONT, REGULAR_TTF),
    ("sans-semibold.ttf", FONT, SEMIBOLD_TTF),
    module!("dom.js"),
    module!("files.js"),
    module!("hands.js"),
    module!("keys.js"),
    module!("link.js"),
    module!("main.js"),
    module!("map.js"),
    module!("mark.js"),
    module!("next.js"),
    module!("notice.js"),
    module!("peaks.js"),
    module!("picture.js"),
    module!("pictures.js"),
    module!("result.js"),
    module!("runs.js"),
    module!("server.js"),
    module!("sort.js"),
    module!("store.js"),
    module!("take.js"),
    module!("terms.js"),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_of_the_page_is_served() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/desk/page");
        for entry in std::fs::read_dir(folder).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            let served = ASSETS.iter().any(|(known, ..)| *known == name);
            assert!(served || name == "index.html", "{name}");
        }
    }

    #[test]
    fn every_module_that_is_imported_is_there() {
        for (name, _, bytes) in ASSETS.iter().filter(|(name, ..)| name.ends_with(".js")) {
            let text = std::str::from_utf8(bytes).unwrap();
            for line in text.lines().filter(|l| l.starts_with("import ")) {
                let wanted = line.split("'./").nth(1).and_then(|l| l.split('\'').next());
                let wanted = wanted.unwrap_or_else(|| panic!("{name}: {line}"));
                assert!(ASSETS.iter().any(|(known, ..)| *known == wanted), "{line}");
            }
        }
    }
}
