//! The page and its files, built into the program.

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::api::trouble;
use crate::plot::{REGULAR_TTF, SEMIBOLD_TTF, dark_style};

const PAGE: &str = include_str!("../page/index.html");

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const PICTURE: &str = "image/svg+xml";
const FONT: &str = "font/ttf";

/// Style sheet for pictures on a dark screen, the same as in a report.
const PICTURE_STYLE: &str = "pictures.css";

/// Name, type and contents of every file of the page.
const ASSETS: &[(&str, &str, &[u8])] = &[
    ("desk.css", STYLE, include_bytes!("../page/desk.css")),
    ("dom.js", SCRIPT, include_bytes!("../page/dom.js")),
    ("files.js", SCRIPT, include_bytes!("../page/files.js")),
    ("hands.js", SCRIPT, include_bytes!("../page/hands.js")),
    ("icon.svg", PICTURE, include_bytes!("../page/icon.svg")),
    ("keys.js", SCRIPT, include_bytes!("../page/keys.js")),
    ("link.js", SCRIPT, include_bytes!("../page/link.js")),
    ("main.js", SCRIPT, include_bytes!("../page/main.js")),
    ("map.js", SCRIPT, include_bytes!("../page/map.js")),
    ("mark.js", SCRIPT, include_bytes!("../page/mark.js")),
    ("next.js", SCRIPT, include_bytes!("../page/next.js")),
    ("notice.js", SCRIPT, include_bytes!("../page/notice.js")),
    ("peaks.js", SCRIPT, include_bytes!("../page/peaks.js")),
    ("picture.js", SCRIPT, include_bytes!("../page/picture.js")),
    ("pictures.js", SCRIPT, include_bytes!("../page/pictures.js")),
    ("result.js", SCRIPT, include_bytes!("../page/result.js")),
    ("runs.js", SCRIPT, include_bytes!("../page/runs.js")),
    ("server.js", SCRIPT, include_bytes!("../page/server.js")),
    ("sort.js", SCRIPT, include_bytes!("../page/sort.js")),
    ("store.js", SCRIPT, include_bytes!("../page/store.js")),
    ("take.js", SCRIPT, include_bytes!("../page/take.js")),
    ("terms.js", SCRIPT, include_bytes!("../page/terms.js")),
    ("OpenSans-Regular.ttf", FONT, REGULAR_TTF),
    ("OpenSans-Semibold.ttf", FONT, SEMIBOLD_TTF),
];

pub async fn page() -> Html<&'static str> {
    Html(PAGE)
}

pub async fn asset(Path(name): Path<String>) -> Response {
    if name == PICTURE_STYLE {
        return ([(header::CONTENT_TYPE, STYLE)], dark_style("svg")).into_response();
    }
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
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/desk/page");
        let mut there: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|name| name != "index.html")
            .collect();
        there.sort();
        let mut served: Vec<&str> = ASSETS.iter().map(|(name, ..)| *name).collect();
        served.retain(|name| !name.ends_with(".ttf"));
        served.sort_unstable();
        assert_eq!(served, there);
    }

    #[test]
    fn the_page_names_nothing_outside() {
        for (name, _, bytes) in ASSETS.iter().filter(|(_, kind, _)| *kind != FONT) {
            let text = std::str::from_utf8(bytes).unwrap();
            for line in text.lines() {
                let names = line.contains("http://") || line.contains("https://");
                // An XML namespace is not an address to fetch.
                assert!(!names || line.contains("www.w3.org"), "{name}: {line}");
            }
        }
        assert!(!PAGE.contains("://"));
        // The content security policy blocks all of these.
        assert!(!PAGE.contains("<style") && !PAGE.contains(" style=") && !PAGE.contains("onclick"));
    }
}
