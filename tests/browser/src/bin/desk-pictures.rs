//! Takes the pictures of the desk for the handbook: `.ci/pictures` runs it.
//!
//!     desk-pictures FOLDER
//!
//! The session is the invented one of the demo.

use std::path::Path;

use plumbeam_browser_tests::desk::Desk;
use plumbeam_browser_tests::{Browser, LAPTOP, TELEPHONE, View, session};
use serde_json::json;

/// Writes what the window shows once an expression is true and no request is waited for.
async fn take(browser: &Browser, at: &str, ready: &str, path: &Path) {
    browser
        .eval("(() => { document.documentElement.style.scrollBehavior = 'auto'; return true; })()")
        .await;
    browser
        .eval(&format!(
            "document.querySelector('{at}').scrollIntoView() ?? true"
        ))
        .await;
    browser.until(ready).await;
    browser
        .until("!document.body.classList.contains('waiting') && document.fonts.status === 'loaded'")
        .await;
    browser.eval("document.activeElement.blur() ?? true").await;
    std::fs::write(path, browser.page.screenshot().await.unwrap()).unwrap();
    println!("{}", path.display());
}

/// The desk without the scroll bars of this machine.
async fn open(desk: &Desk, view: View) -> Browser {
    let browser = desk.open(view).await;
    browser
        .devtools("Emulation.setScrollbarsHidden", json!({"hidden": true}))
        .await;
    browser.page.refresh().await.unwrap();
    browser
        .until("document.querySelectorAll('#peaks-table tbody tr').length > 0")
        .await;
    browser
}

#[tokio::main]
async fn main() {
    let folder = std::env::args()
        .nth(1)
        .expect("the folder for the pictures");
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder).unwrap();
    let session = session();
    let desk = Desk::serve(session.path());
    let click = async |browser: &Browser, selector: &str| {
        browser
            .eval(&format!(
                "document.querySelector('{selector}').click() ?? true"
            ))
            .await;
    };

    let browser = open(&desk, LAPTOP).await;
    click(&browser, "tr[data-row=\"13\"] input").await;
    browser
        .until("document.querySelectorAll('#compare thead th').length === 2")
        .await;
    take(&browser, "body", "true", &folder.join("desk.png")).await;
    browser
        .eval("(s => { s.value = 'residuals-by-azimuth'; s.dispatchEvent(new Event('change')); return true; })(document.querySelector('#pane-stem'))")
        .await;
    browser
        .until("document.querySelector('#pane h3').textContent.includes('azimuth')")
        .await;
    // A click pins it, so that it is marked in the table and in the picture.
    click(&browser, "tr[data-row=\"9\"] th").await;
    take(
        &browser,
        "#peaks",
        "document.querySelector('#pane svg .mark.marked[data-row=\"9\"]') !== null",
        &folder.join("desk-peaks.png"),
    )
    .await;

    let browser = open(&desk, LAPTOP).await;
    browser
        .eval("(s => { s.value = 'hightide-1'; s.dispatchEvent(new Event('change')); return true; })(document.querySelector('#map-emitter'))")
        .await;
    browser
        .until("document.querySelectorAll('#map-passes button').length > 0")
        .await;
    // The first pass has begun and may be almost over; the next is a whole one.
    click(&browser, "#map-passes button:nth-child(2)").await;
    take(
        &browser,
        "#map",
        "document.querySelector('#map-picture svg')?.textContent.includes('dB') === true",
        &folder.join("desk-map.png"),
    )
    .await;

    let browser = open(
        &desk,
        View {
            dark: true,
            ..TELEPHONE
        },
    )
    .await;
    take(&browser, "#peaks", "true", &folder.join("desk-phone.png")).await;
}
