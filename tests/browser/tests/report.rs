//! The pages of reports, opened from disk.

use plumbeam_browser_tests::keys::{DOWN, END, ENTER, ESCAPE, RIGHT, TAB};
use plumbeam_browser_tests::{Browser, LAPTOP, TELEPHONE, View, light, run, session};
use serde_json::json;

/// The report of the invented session.
fn solved() -> tempfile::TempDir {
    let folder = session();
    run(
        folder.path(),
        &["solve", "peaks.csv", "--report", "report"],
        &[0],
    );
    folder
}

async fn report(folder: &tempfile::TempDir, view: View) -> Browser {
    let browser = Browser::open(view).await;
    browser
        .file(&folder.path().join("report/report.html"))
        .await;
    browser
}

#[tokio::test(flavor = "multi_thread")]
async fn a_peak_picked_in_a_picture_is_marked_everywhere_and_told() {
    let folder = solved();
    let browser = report(&folder, LAPTOP).await;
    browser
        .eval("document.querySelector('#residuals-by-azimuth circle.mark[data-row=\"7\"]').dispatchEvent(new PointerEvent('pointerover', {bubbles: true}))")
        .await;
    let told = browser
        .eval("document.getElementById('picked').textContent")
        .await;
    let told = told.as_str().unwrap();
    for part in ["Row 7", "Time (UTC)", "Emitter", "residual"] {
        assert!(told.contains(part), "{told}");
    }
    let marked = browser
        .eval("[...document.querySelectorAll('.marked')].map(e => e.closest('figure')?.id ?? e.closest('table').id)")
        .await;
    for place in [
        "sky",
        "beam",
        "residuals-by-azimuth",
        "residuals-by-time",
        "table-all-peaks",
    ] {
        assert!(
            marked.as_array().unwrap().contains(&json!(place)),
            "{place}: {marked}"
        );
    }
    // Only that row, and nothing once the pointer has gone.
    let rows = browser
        .eval("[...new Set([...document.querySelectorAll('.marked')].map(e => e.dataset.row))]")
        .await;
    assert_eq!(rows, json!(["7"]));
    browser
        .eval("document.querySelector('#residuals-by-azimuth circle.mark[data-row=\"7\"]').dispatchEvent(new PointerEvent('pointerout', {bubbles: true}))")
        .await;
    assert_eq!(
        browser
            .eval("document.querySelectorAll('.marked').length")
            .await,
        json!(0)
    );
    assert_eq!(browser.complaints().await, Vec::<String>::new());
}

#[tokio::test(flavor = "multi_thread")]
async fn every_peak_with_both_axes_stands_in_every_picture_of_peaks() {
    let folder = solved();
    let browser = report(&folder, LAPTOP).await;
    let rows = browser
        .eval("[...document.querySelectorAll('#table-all-peaks tbody tr')].filter(r => ![...r.cells].some(c => c.textContent === '–')).map(r => r.dataset.row)")
        .await;
    assert!(rows.as_array().unwrap().len() > 50);
    for picture in [
        "sky",
        "beam",
        "residuals-by-azimuth",
        "residuals-by-elevation",
        "residuals-by-time",
        "residuals-by-order",
    ] {
        let missing = browser
            .eval(&format!("{rows}.filter(row => !document.querySelector(`#{picture} circle.mark[data-row=\"${{row}}\"]`))"))
            .await;
        assert_eq!(missing, json!([]), "{picture}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn tables_sort_by_number_and_filter() {
    let folder = solved();
    let browser = report(&folder, LAPTOP).await;
    browser
        .eval("document.querySelector('#all-peaks details').open = true")
        .await;
    let wholes = "[...document.querySelectorAll('#table-all-peaks tbody tr')].map(r => Number(r.cells[7].querySelector('data').value))";
    let head = "#table-all-peaks thead th:nth-child(8)";
    for (state, sign) in [("ascending", 1.0), ("descending", -1.0)] {
        browser
            .eval(&format!("document.querySelector('{head} button').click()"))
            .await;
        assert_eq!(
            browser
                .eval(&format!("document.querySelector('{head}').ariaSort"))
                .await,
            json!(state)
        );
        let values: Vec<f64> = serde_json::from_value(browser.eval(wholes).await).unwrap();
        assert!(
            values.windows(2).all(|w| sign * w[0] <= sign * w[1]),
            "{values:?}"
        );
    }
    let shown = "[...document.querySelectorAll('#table-all-peaks tbody tr')].filter(r => !r.hidden).map(r => r.cells[2].textContent)";
    browser
        .eval("(() => { const i = document.getElementById('table-all-peaks-filter'); i.value = 'sun'; i.dispatchEvent(new Event('input')); return true; })()")
        .await;
    let names: Vec<String> = serde_json::from_value(browser.eval(shown).await).unwrap();
    assert!(
        !names.is_empty() && names.iter().all(|n| n.contains("sun")),
        "{names:?}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_keyboard_is_enough() {
    let folder = solved();
    let browser = report(&folder, LAPTOP).await;
    // The first stop leads past everything to the result.
    browser.press(TAB).await;
    assert_eq!(
        browser.eval("document.activeElement.className").await,
        json!("skip")
    );
    // A picture: arrows from row to row, Enter holds, Escape lets go.
    browser
        .eval("document.querySelector('#residuals-by-order svg').focus()")
        .await;
    browser.press(RIGHT).await;
    let first = browser
        .eval("document.getElementById('picked').textContent")
        .await;
    assert!(first.as_str().unwrap().starts_with("Row 1 "), "{first}");
    browser.press(END).await;
    browser.press(ENTER).await;
    browser.eval("document.activeElement.blur()").await;
    let held = browser
        .eval("document.getElementById('picked').textContent")
        .await;
    assert!(held.as_str().unwrap().starts_with("Row 60 "), "{held}");
    browser.press(ESCAPE).await;
    assert_eq!(
        browser
            .eval("document.getElementById('picked').textContent")
            .await,
        json!("")
    );
    // A table: arrows from row to row.
    browser
        .eval("document.querySelector('#table-unused-peaks tbody tr').focus()")
        .await;
    let before = browser.eval("document.activeElement.dataset.row").await;
    browser.press(DOWN).await;
    let after = browser.eval("document.activeElement.dataset.row").await;
    assert_ne!(before, after);
    assert_eq!(
        browser
            .eval("document.activeElement.classList.contains('marked')")
            .await,
        json!(true)
    );
    // A picture enlarges and closes.
    browser
        .eval("document.querySelector('#sky .enlarge').focus()")
        .await;
    browser.press(ENTER).await;
    browser.until("document.querySelector('dialog').open").await;
    browser.press(ESCAPE).await;
    browser
        .until("!document.querySelector('dialog').open")
        .await;
    assert_eq!(
        browser.eval("document.activeElement.className").await,
        json!("enlarge"),
        "the focus comes back"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn without_scripts_the_page_is_whole() {
    let folder = solved();
    let bare = View {
        scripts: false,
        ..LAPTOP
    };
    let browser = report(&folder, bare).await;
    let mut source = browser.page.source().await.unwrap();
    for (from, to) in [("<style>", "</style>"), ("<script>", "</script>")] {
        let (start, end) = (source.find(from).unwrap(), source.find(to).unwrap());
        source.replace_range(start..end, "");
    }
    for part in [
        "What can be done by hand",
        "What to do next",
        "table-all-peaks",
        "id=\"sky\"",
    ] {
        assert!(source.contains(part), "{part}");
    }
    for script_made in [
        "class=\"enlarge\"",
        "<dialog",
        "aria-sort",
        "type=\"search\"",
    ] {
        assert!(
            !source.contains(script_made),
            "{script_made} does nothing without scripts"
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_leaves_the_machine() {
    let folder = solved();
    let browser = Browser::open(LAPTOP).await;
    // What the browser's first page of its own asked for is not ours.
    browser.page.goto("about:blank").await.unwrap();
    browser.asked_for().await;
    browser
        .file(&folder.path().join("report/report.html"))
        .await;
    browser.until("document.readyState === 'complete'").await;
    let asked = browser.asked_for().await;
    assert!(
        asked.iter().any(|url| url.ends_with("report.html")),
        "the page itself was asked for: {asked:?}"
    );
    for url in asked.iter().filter(|url| !url.starts_with("chrome")) {
        assert!(url.starts_with("file://"), "{url}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_telephone_needs_no_scrolling_sideways_and_starts_with_the_verdict() {
    let folder = solved();
    run(
        folder.path(),
        &["faults", "peaks.csv", "--report", "faults"],
        &[0, 1],
    );
    for name in ["report/report.html", "faults/faults.html"] {
        let browser = Browser::open(TELEPHONE).await;
        browser.file(&folder.path().join(name)).await;
        let wide = browser.eval("document.documentElement.scrollWidth").await;
        assert!(
            wide.as_u64().unwrap() <= u64::from(TELEPHONE.width),
            "{name}: {wide}"
        );
        let cut = browser
            .eval("[...document.querySelectorAll('td, dd, li, h1, h2, h3, p')].filter(e => e.getClientRects().length && !e.closest('figure') && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.textContent.slice(0, 60))")
            .await;
        assert_eq!(cut, json!([]), "{name}");
        let first = browser
            .eval("document.querySelector('main > section').className")
            .await;
        assert_eq!(first, json!("verdict"), "{name}");
        let top = browser
            .eval("document.querySelector('section.verdict').getBoundingClientRect().top")
            .await;
        assert!(
            top.as_f64().unwrap() < 200.0,
            "{name}: the verdict stands at {top}"
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dark_screen_gets_dark_sheets_and_light_letters() {
    let folder = solved();
    let browser = report(
        &folder,
        View {
            dark: true,
            ..LAPTOP
        },
    )
    .await;
    let sheet = browser
        .eval("getComputedStyle(document.body).backgroundColor")
        .await;
    let letters = browser.eval("getComputedStyle(document.body).color").await;
    assert!(
        light(&sheet) < 60.0 && light(&letters) > 200.0,
        "{sheet} {letters}"
    );
    // The letters of pictures too.
    let written = browser
        .eval("[...new Set([...document.querySelectorAll('figure svg text')].map(t => getComputedStyle(t).fill))]")
        .await;
    for colour in written.as_array().unwrap() {
        assert!(light(colour) > 110.0, "{colour} on a dark sheet");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn print_shows_what_is_folded_and_leaves_out_what_only_a_screen_needs() {
    let folder = solved();
    let browser = report(&folder, LAPTOP).await;
    // A4 and letter, inches: ISO 216 and ANSI/ASME Y14.1, from memory.
    for (width, height) in [(8.27, 11.69), (8.5, 11.0)] {
        let printed = browser
            .devtools(
                "Page.printToPDF",
                json!({"paperWidth": width, "paperHeight": height, "preferCSSPageSize": false}),
            )
            .await;
        assert!(
            printed["data"].as_str().unwrap().starts_with("JVBER"),
            "a PDF begins so"
        );
    }
    browser
        .devtools("Emulation.setEmulatedMedia", json!({"media": "print"}))
        .await;
    for gone in ["nav", ".enlarge", ".filter", "#picked"] {
        let display = browser
            .eval(&format!(
                "getComputedStyle(document.querySelector('{gone}')).display"
            ))
            .await;
        assert_eq!(display, json!("none"), "{gone}");
    }
    browser
        .prints_without_buttons("#table-all-peaks thead")
        .await;
    // Folded on the screen, printed whole, even without a script.
    let height = browser
        .eval("document.querySelector('#table-all-peaks').getBoundingClientRect().height")
        .await;
    assert!(height.as_f64().unwrap() > 500.0, "{height}");
    let wide = browser
        .eval("document.documentElement.scrollWidth <= innerWidth")
        .await;
    assert_eq!(wide, json!(true));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_scan_opens_from_the_page_of_a_reduction() {
    let folder = session();
    run(
        folder.path(),
        &[
            "simulate",
            "--truth",
            "truth.toml",
            "--kind",
            "scans",
            "--out",
            "scans.csv",
        ],
        &[0],
    );
    run(
        folder.path(),
        &[
            "reduce",
            "scans.csv",
            "--report",
            "scans",
            "--out",
            "reduced.csv",
        ],
        &[0],
    );
    let browser = Browser::open(LAPTOP).await;
    browser.file(&folder.path().join("scans/scans.html")).await;
    browser
        .eval("document.querySelector('#table-scans tbody a').click()")
        .await;
    browser.until("document.querySelector('dialog').open").await;
    browser
        .until("document.querySelector('dialog img').complete && document.querySelector('dialog img').naturalWidth > 0")
        .await;
    assert_eq!(browser.complaints().await, Vec::<String>::new());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_accessibility_rules_hold() {
    let folder = solved();
    run(
        folder.path(),
        &["faults", "peaks.csv", "--report", "faults"],
        &[0, 1],
    );
    for name in ["report/report.html", "faults/faults.html"] {
        for view in [
            LAPTOP,
            View {
                dark: true,
                ..TELEPHONE
            },
        ] {
            let browser = Browser::open(view).await;
            browser.file(&folder.path().join(name)).await;
            browser
                .eval("[...document.querySelectorAll('details')].forEach(d => d.open = true)")
                .await;
            assert_eq!(
                browser.violations().await,
                Vec::<String>::new(),
                "{name} {view:?}"
            );
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hostile_name_is_shown_as_text() {
    let folder = session();
    let station = folder.path().join("station.toml");
    let text = std::fs::read_to_string(&station).unwrap();
    let named = text.replacen(
        "name = \"",
        "name = \"<img src=x onerror=document.title='caught'> ",
        1,
    );
    assert_ne!(text, named);
    std::fs::write(&station, named).unwrap();
    run(
        folder.path(),
        &["solve", "peaks.csv", "--report", "report"],
        &[0],
    );
    let browser = report(&folder, LAPTOP).await;
    let heading = browser
        .eval("document.querySelector('h1').textContent")
        .await;
    assert!(
        heading.as_str().unwrap().contains("<img src=x"),
        "{heading}"
    );
    assert_eq!(
        browser
            .eval("document.querySelectorAll('h1 img').length")
            .await,
        json!(0)
    );
    let title = browser.eval("document.title").await;
    assert_ne!(title, json!("caught"));
}
