//! The page of `plumbeam desk`.

use plumbeam_browser_tests::desk::{Desk, Dish, Relay};
use plumbeam_browser_tests::keys::{DOWN, END, ENTER, ESCAPE, RIGHT, SPACE, TAB};
use plumbeam_browser_tests::{Browser, LAPTOP, TELEPHONE, View, free_port, light, run, session};
use serde_json::{Value, json};

/// The smallest target for a finger, CSS pixels: Web Content Accessibility Guidelines 2.2, 2.5.5.
const TOUCH: f64 = 44.0;

async fn text(browser: &Browser, selector: &str) -> String {
    let text = browser
        .eval(&format!(
            "document.querySelector({}).textContent",
            json!(selector)
        ))
        .await;
    text.as_str().unwrap_or_default().to_owned()
}

async fn click(browser: &Browser, selector: &str) {
    let selector = json!(selector);
    let clicked = browser
        .eval(&format!(
            "(e => {{ e.click(); return !e.disabled; }})(document.querySelector({selector}))"
        ))
        .await;
    assert_eq!(clicked, json!(true), "{selector} cannot be pressed");
}

/// Waits until the edits are these, the last undone ones marked.
async fn edits_become(browser: &Browser, edits: &[&str]) {
    let all = "[...document.querySelectorAll('#edits li')].map(e => e.textContent)";
    let same = edits
        .iter()
        .enumerate()
        .map(|(i, part)| format!("{all}[{i}].includes({})", json!(part)))
        .chain([format!("{all}.length === {}", edits.len())])
        .rev()
        .collect::<Vec<_>>()
        .join(" && ");
    browser.until(&same).await;
}

/// Ticks or unticks a peak.
async fn tick(browser: &Browser, row: usize) {
    click(browser, &format!("tr[data-row=\"{row}\"] input")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_solution_follows_an_unticked_peak_and_comes_back() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    let first = text(&browser, "#strip-numbers").await;
    let terms = text(&browser, "#terms-table tbody").await;
    assert!(
        first.contains("expected error") && first.contains("dB"),
        "{first}"
    );
    tick(&browser, 13).await;
    edits_become(&browser, &["row 13"]).await;
    browser
        .until("document.querySelector('tr[data-row=\"13\"]').classList.contains('unused')")
        .await;
    assert_ne!(
        text(&browser, "#terms-table tbody").await,
        terms,
        "the fit did not follow"
    );
    // Both are told side by side, and to who listens.
    let head = text(&browser, "#compare thead").await;
    assert!(head.contains("before") && head.contains("now"), "{head}");
    assert!(text(&browser, "#spoken").await.contains("Expected error"));
    assert!(text(&browser, "#undo-words").await.contains("row 13"));
    click(&browser, "#undo").await;
    edits_become(&browser, &["taken back"]).await;
    browser
        .until(&format!(
            "document.querySelector('#terms-table tbody').textContent === {}",
            json!(terms)
        ))
        .await;
    assert_eq!(
        browser
            .eval("document.querySelector('tr[data-row=\"13\"] input').checked")
            .await,
        json!(true)
    );
    click(&browser, "#redo").await;
    browser
        .until("document.querySelector('#edits .undone') === null")
        .await;
    assert_eq!(browser.complaints().await, Vec::<String>::new());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_term_is_held_and_released_and_the_command_says_so() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    let row = "tr[data-key=\"droop\"]";
    click(&browser, &format!("{row} .choice button:last-child")).await;
    browser
        .until(&format!(
            "document.activeElement === document.querySelector('{row} form input')"
        ))
        .await;
    browser
        .eval(&format!(
            "document.querySelector('{row} form input').value = ''"
        ))
        .await;
    browser.press("lots").await;
    browser.press(ENTER).await;
    // What is no number is not sent.
    assert_eq!(
        browser
            .eval("document.querySelectorAll('#edits li').length")
            .await,
        json!(0)
    );
    browser
        .eval(&format!(
            "document.querySelector('{row} form input').select()"
        ))
        .await;
    browser.press("0.25").await;
    browser.press(ENTER).await;
    edits_become(&browser, &["0.25"]).await;
    browser
        .until(&format!(
            "document.querySelector('{row} .state').textContent === 'held'"
        ))
        .await;
    assert!(
        text(&browser, &format!("{row} td.n"))
            .await
            .contains("0.250")
    );
    assert!(
        text(&browser, "#commands")
            .await
            .contains("--hold droop=0.25")
    );
    click(&browser, &format!("{row} .choice button:first-child")).await;
    browser
        .until(&format!(
            "document.querySelector('{row} .state').textContent === 'fitted'"
        ))
        .await;
    assert!(!text(&browser, "#commands").await.contains("--hold"));
    assert_eq!(browser.complaints().await, Vec::<String>::new());
}

#[tokio::test(flavor = "multi_thread")]
async fn two_windows_stay_in_step() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let (one, other) = (desk.open(LAPTOP).await, desk.open(TELEPHONE).await);
    tick(&one, 2).await;
    edits_become(&other, &["row 2"]).await;
    other
        .until("!document.querySelector('tr[data-row=\"2\"] input').checked")
        .await;
    tick(&other, 4).await;
    edits_become(&one, &["row 2", "row 4"]).await;
    let same = "document.querySelector('#terms-table tbody').textContent";
    assert_eq!(one.eval(same).await, other.eval(same).await);
}

#[tokio::test(flavor = "multi_thread")]
async fn edits_outlive_a_server_that_is_killed_and_the_page_finds_it_again() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    tick(&browser, 2).await;
    tick(&browser, 4).await;
    edits_become(&browser, &["row 2", "row 4"]).await;
    let terms = text(&browser, "#terms-table tbody").await;
    let port = desk.port();
    desk.kill();
    browser
        .until("document.body.classList.contains('gone')")
        .await;
    assert!(text(&browser, "#link").await.contains("has not answered"));
    // What cannot be kept is said, and the tick comes back.
    tick(&browser, 6).await;
    browser
        .until("!document.querySelector('#problem').hidden")
        .await;
    browser
        .until("document.querySelector('tr[data-row=\"6\"] input').checked")
        .await;
    let _desk = Desk::serve_at(folder.path(), port, &[]);
    browser
        .until("!document.body.classList.contains('gone')")
        .await;
    edits_become(&browser, &["row 2", "row 4"]).await;
    assert_eq!(text(&browser, "#terms-table tbody").await, terms);
    tick(&browser, 6).await;
    edits_become(&browser, &["row 2", "row 4", "row 6"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn typing_goes_on_while_the_log_is_explained() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    for row in [2, 4, 8] {
        tick(&browser, row).await;
    }
    browser
        .eval("document.querySelector('[name=azimuth]').focus()")
        .await;
    browser.press("171.2").await;
    tick(&browser, 4).await;
    edits_become(&browser, &["row 2", "row 4", "row 8", "row 4"]).await;
    // The last word on each peak stands, and what was typed too.
    let ticks =
        "[2, 4, 8].map(row => document.querySelector(`tr[data-row=\"${row}\"] input`).checked)";
    assert_eq!(browser.eval(ticks).await, json!([false, true, false]));
    assert_eq!(
        browser
            .eval("document.querySelector('[name=azimuth]').value")
            .await,
        json!("171.2")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_peak_is_marked_everywhere() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    browser
        .until("document.querySelector('#pane svg .mark[data-row=\"7\"]') !== null")
        .await;
    browser
        .eval("document.querySelector('#pane svg .mark[data-row=\"7\"]').dispatchEvent(new PointerEvent('pointerover', {bubbles: true, pointerType: 'mouse'}))")
        .await;
    let card = text(&browser, "#card").await;
    for part in ["Row 7", "UTC", "reading", "residual", "of peaks.csv"] {
        assert!(card.contains(part), "{card}");
    }
    let marked = browser
        .eval("[...new Set([...document.querySelectorAll('.marked')].map(e => e.dataset.row))]")
        .await;
    assert_eq!(marked, json!(["7"]));
    assert_eq!(
        browser
            .eval("document.querySelector('tr.marked') !== null")
            .await,
        json!(true)
    );
    // Away from it the mark goes.
    browser
        .eval("document.querySelector('h1').dispatchEvent(new PointerEvent('pointerover', {bubbles: true, pointerType: 'mouse'}))")
        .await;
    assert_eq!(
        browser
            .eval("document.querySelectorAll('.marked').length")
            .await,
        json!(0)
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_table_sorts_and_filters() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    let heading = "#peaks-table thead th:nth-child(4)";
    let shown = "[...document.querySelectorAll('#peaks-table tbody tr')].map(r => Number(r.cells[3].textContent))";
    for (way, sign) in [("ascending", 1.0), ("descending", -1.0)] {
        click(&browser, &format!("{heading} button")).await;
        assert_eq!(
            browser
                .eval(&format!("document.querySelector('{heading}').ariaSort"))
                .await,
            json!(way)
        );
        let sizes: Vec<f64> = serde_json::from_value(browser.eval(shown).await).unwrap();
        // Shown to the digits that each deserves: neighbours may round past each other.
        assert!(
            sizes.windows(2).all(|w| sign * w[0] <= sign * w[1] + 0.02),
            "{sizes:?}"
        );
    }
    browser
        .eval("document.querySelector('#peaks-find').focus()")
        .await;
    browser.press("sun").await;
    let names = browser.eval("[...new Set([...document.querySelectorAll('#peaks-table tbody tr')].map(r => r.cells[2].textContent))]").await;
    assert_eq!(names, json!(["sun"]));
    assert!(text(&browser, "#peaks-count").await.starts_with("Showing"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_keyboard_is_enough() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    browser.press(TAB).await;
    assert_eq!(
        browser.eval("document.activeElement.className").await,
        json!("skip")
    );
    let label = "document.activeElement.getAttribute('aria-label')";
    // Single keys, listed under the question mark.
    browser.press("j").await;
    browser
        .until(&format!("{label} === 'Use row 1, mill-beacon'"))
        .await;
    browser.press(DOWN).await;
    browser
        .until(&format!("({label} ?? '').startsWith('Use row 2')"))
        .await;
    browser.press(SPACE).await;
    edits_become(&browser, &["row 2"]).await;
    assert!(
        browser
            .eval(label)
            .await
            .as_str()
            .unwrap()
            .starts_with("Use row 2"),
        "the focus was lost"
    );
    browser.press("u").await;
    edits_become(&browser, &["taken back"]).await;
    browser.press("?").await;
    browser.until("document.querySelector('#keys').open").await;
    browser.press(ESCAPE).await;
    browser.until("!document.querySelector('#keys').open").await;
    // In a picture: one stop of Tab, arrows from peak to peak, Space leaves out.
    browser
        .until("document.querySelector('#pane svg .mark[tabindex=\"0\"]') !== null")
        .await;
    assert_eq!(
        browser
            .eval("document.querySelectorAll('#pane svg [tabindex=\"0\"]').length")
            .await,
        json!(1)
    );
    browser
        .eval("document.querySelector('#pane svg .mark[tabindex=\"0\"]').focus()")
        .await;
    browser.press(RIGHT).await;
    browser.press(END).await;
    let last = browser.eval("document.activeElement.dataset.row").await;
    let rows = browser
        .eval("String(document.querySelectorAll('#peaks-table tbody tr').length)")
        .await;
    assert_eq!(last, rows);
    assert!(
        text(&browser, "#card")
            .await
            .contains(&format!("Row {}", last.as_str().unwrap()))
    );
    browser.press(SPACE).await;
    edits_become(&browser, &[&format!("row {}", last.as_str().unwrap())]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_peak_is_taken_with_one_press() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(TELEPHONE).await;
    click(&browser, "#take-now").await;
    browser
        .until("document.querySelector('[name=time_utc]').value !== ''")
        .await;
    browser
        .until("document.activeElement.name === 'azimuth'")
        .await;
    browser
        .eval("document.querySelector('#take-form').elements.emitter.value = 'fenlight-2'")
        .await;
    browser.press("nowhere").await;
    browser
        .eval("document.querySelector('[name=elevation]').value = '30.5'")
        .await;
    click(&browser, "#take-form [type=submit]").await;
    browser
        .until("!document.querySelector('#take-problem').hidden")
        .await;
    assert!(text(&browser, "#take-problem").await.contains("nowhere"));
    // A refusal costs nothing that was typed.
    assert_eq!(
        browser
            .eval("document.querySelector('[name=elevation]').value")
            .await,
        json!("30.5")
    );
    browser
        .eval("document.querySelector('[name=azimuth]').value = '171.2'")
        .await;
    click(&browser, "#take-form [type=submit]").await;
    edits_become(&browser, &["fenlight-2"]).await;
    browser
        .until("document.querySelector('#peaks-table tr.added') !== null")
        .await;
    assert_eq!(
        browser
            .eval("document.querySelector('#take-problem').hidden")
            .await,
        json!(true)
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn the_mount_and_the_receiver_are_shown_while_peaking_and_read_at_the_press() {
    let folder = session();
    let dish = Dish::pretend(folder.path());
    let watched = ["--rotator", &dish.rotator, "--power", &dish.power];
    let desk = Desk::serve_at(folder.path(), free_port(), &watched);
    let browser = desk.open(TELEPHONE).await;
    browser
        .until("document.querySelector('#coach').textContent.includes('The mount reads')")
        .await;
    browser
        .until("document.querySelector('#coach .signal').textContent.includes('dB')")
        .await;
    browser
        .until("document.querySelector('#coach').textContent.includes('Best so far')")
        .await;
    click(&browser, "#take-now").await;
    for field in ["time_utc", "azimuth", "elevation", "peak_db"] {
        browser
            .until(&format!(
                "document.querySelector('[name={field}]').value !== ''"
            ))
            .await;
    }
    // Nothing is missing: the next press keeps it.
    browser
        .until("document.activeElement.textContent === 'Keep this peak'")
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_relay_that_runs_is_shown_and_stopped_with_one_press() {
    let folder = session();
    run(folder.path(), &["solve", "peaks.csv"], &[0]);
    let dish = Dish::pretend(folder.path());
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    let runs = "document.querySelector('#runs')";
    assert_eq!(browser.eval(&format!("{runs}.hidden")).await, json!(true));
    let relay = Relay::before(folder.path(), &dish);
    browser
        .until(&format!(
            "!{runs}.hidden && {runs}.textContent.includes({})",
            json!(dish.rotator)
        ))
        .await;
    click(&browser, "#runs .stop").await;
    // Stopped is the mount; the relay itself goes on, and cannot be stopped twice.
    browser
        .until("document.querySelector('#runs .stop').hidden")
        .await;
    assert!(folder.path().join("relay-run.stop").exists());
    drop(relay);
    browser
        .until(&format!(
            "{runs}.textContent.includes('ended without saying so')"
        ))
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_log_with_two_meanings_is_asked_about() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    let before = browser
        .eval("document.querySelectorAll('#peaks-table tbody tr').length")
        .await;
    let log = "date,time,emitter,azimuth_deg,elevation_deg\\n03/04/2026,10:00:00,mill-beacon,-58.30,2.42\\n03/04/2026,10:05:00,mill-beacon,-58.31,2.41\\n";
    browser
        .eval(&format!("(() => {{ const held = new DataTransfer(); held.items.add(new File(['{log}'], 'more.csv')); const input = document.querySelector('#import-file'); input.files = held.files; input.dispatchEvent(new Event('change', {{bubbles: true}})); return true; }})()"))
        .await;
    // One question after the other, then what was understood.
    let asked = "document.querySelector('#import-result input[name=choice]') !== null";
    let ready = "[...document.querySelectorAll('#import-result button')].some(b => b.textContent === 'Take these peaks')";
    browser.until(&format!("{asked} || {ready}")).await;
    assert_eq!(
        browser.eval(asked).await,
        json!(true),
        "nothing was asked about 03/04/2026"
    );
    while browser.eval(asked).await == json!(true) {
        let question = text(&browser, "#import-result legend").await;
        click(&browser, "#import-result input[name=choice]").await;
        click(&browser, "#import-result [type=submit]").await;
        browser
            .until(&format!(
                "document.querySelector('#import-result legend')?.textContent !== {}",
                json!(question)
            ))
            .await;
    }
    browser.until(ready).await;
    assert!(text(&browser, "#import-result").await.contains("2 peaks"));
    assert_eq!(
        browser
            .eval("document.querySelectorAll('#edits li').length")
            .await,
        json!(0),
        "taken unasked"
    );
    click(&browser, "#import-result [type=submit]").await;
    edits_become(&browser, &["more.csv"]).await;
    browser
        .until(&format!(
            "document.querySelectorAll('#peaks-table tbody tr').length === {before} + 2"
        ))
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn files_are_written_where_the_session_is() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    click(&browser, "#export-form [type=submit]").await;
    browser
        .until("document.querySelector('#export-result').textContent.includes('Tick')")
        .await;
    click(&browser, "#export-list input[value=calibration]").await;
    click(&browser, "#export-form [type=submit]").await;
    browser
        .until("document.querySelector('#export-result').textContent.startsWith('Written')")
        .await;
    assert!(folder.path().join("calibration.json").exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_map_shows_now_and_before() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    browser
        .until("document.querySelector('#map-picture svg polygon') !== null")
        .await;
    let before = "[...document.querySelectorAll('#map-which button')].find(b => b.textContent.startsWith('Before'))";
    assert_eq!(
        browser.eval(&format!("{before}.disabled")).await,
        json!(true)
    );
    tick(&browser, 13).await;
    browser.until(&format!("!{before}.disabled")).await;
    browser.eval(&format!("{before}.click()")).await;
    browser
        .until("document.querySelector('#map-picture h3').textContent.includes('before')")
        .await;
    browser
        .until("document.querySelector('#map-picture svg polygon') !== null")
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_telephone_needs_no_scrolling_sideways_and_every_control_takes_a_finger() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(TELEPHONE).await;
    browser
        .eval("[...document.querySelectorAll('details')].forEach(d => d.open = true)")
        .await;
    let wide = browser.eval("document.documentElement.scrollWidth").await;
    assert!(
        wide.as_u64().unwrap() <= u64::from(TELEPHONE.width),
        "{wide}"
    );
    let small = browser
        .eval(&format!(
            "[...document.querySelectorAll('button, select, summary, .tick, .check, input:not([type=checkbox]):not([type=radio]):not(.unseen), a.button, nav a')]\
             .filter(e => e.getClientRects().length).filter(e => e.getBoundingClientRect().height < {TOUCH} - 0.5)\
             .map(e => e.outerHTML.slice(0, 80))"
        ))
        .await;
    assert_eq!(small, json!([]));
    // The result stays in sight.
    browser
        .eval("scrollTo(0, document.body.scrollHeight)")
        .await;
    let strip = browser
        .eval("document.querySelector('.strip').getBoundingClientRect().bottom")
        .await;
    assert!(
        strip.as_f64().unwrap() <= f64::from(TELEPHONE.height),
        "{strip}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dark_screen_gets_a_dark_page_and_light_letters() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk
        .open(View {
            dark: true,
            ..LAPTOP
        })
        .await;
    browser
        .until("document.querySelector('#pane svg text') !== null")
        .await;
    let style =
        |of: &str, what: &str| format!("getComputedStyle(document.querySelector('{of}')).{what}");
    assert!(light(&browser.eval(&style("body", "backgroundColor")).await) < 60.0);
    assert!(light(&browser.eval(&style("body", "color")).await) > 200.0);
    let written = browser
        .eval("[...new Set([...document.querySelectorAll('svg text')].map(t => getComputedStyle(t).fill))]")
        .await;
    for colour in written.as_array().unwrap() {
        assert!(light(colour) > 110.0, "{colour} on a dark sheet");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn print_holds_every_peak_and_no_controls() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    browser
        .devtools("Emulation.setEmulatedMedia", json!({"media": "print"}))
        .await;
    for gone in ["nav", "#undo", "#take", "#export-form", "#peaks-filter"] {
        let shown = browser
            .eval(&format!(
                "document.querySelector('{gone}').getClientRects().length"
            ))
            .await;
        assert_eq!(shown, json!(0), "{gone}");
    }
    let cut = browser
        .eval("(box => box.scrollHeight - box.clientHeight)(document.querySelector('#peaks-table').parentElement)")
        .await;
    assert_eq!(cut, json!(0), "peaks are cut off");
    browser.prints_without_buttons("#peaks-table thead").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hostile_name_is_shown_as_text() {
    const NAME: &str = "<img src=x onerror=document.title='caught'>";
    let folder = session();
    for file in ["station.toml", "peaks.csv"] {
        let path = folder.path().join(file);
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.contains("mill-beacon"), "{file}");
        std::fs::write(&path, text.replace("mill-beacon", NAME)).unwrap();
    }
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    assert_eq!(
        text(&browser, "tr[data-row=\"1\"] td:nth-child(3)").await,
        NAME
    );
    tick(&browser, 1).await;
    edits_become(&browser, &[NAME]).await;
    browser
        .until("document.querySelector('#next-list li, #next-words:not(:empty)') !== null")
        .await;
    assert_eq!(
        browser
            .eval("document.querySelectorAll('img').length")
            .await,
        json!(0)
    );
    assert_ne!(browser.eval("document.title").await, json!("caught"));
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_asked_of_any_other_machine() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    let browser = desk.open(LAPTOP).await;
    tick(&browser, 2).await;
    edits_become(&browser, &["row 2"]).await;
    browser
        .eval("document.querySelector('#gallery').scrollIntoView()")
        .await;
    browser
        .until("document.querySelector('#gallery svg') !== null")
        .await;
    let asked = browser.asked_for().await;
    assert!(
        asked.iter().any(|url| url.ends_with("/api/state")),
        "{asked:?}"
    );
    let elsewhere: Vec<&String> = (asked.iter())
        .filter(|url| !url.starts_with(&desk.address()) && !url.starts_with("chrome"))
        .collect();
    assert!(elsewhere.is_empty(), "{elsewhere:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_accessibility_rules_hold() {
    let folder = session();
    let desk = Desk::serve(folder.path());
    for view in [
        LAPTOP,
        View {
            dark: true,
            ..TELEPHONE
        },
    ] {
        let browser = desk.open(view).await;
        browser
            .until("document.querySelector('#pane svg .mark') !== null")
            .await;
        browser
            .until("document.querySelector('#map-picture svg') !== null")
            .await;
        browser
            .eval("[...document.querySelectorAll('details')].forEach(d => d.open = true)")
            .await;
        tick(&browser, 9).await;
        browser
            .until("document.querySelector('#edits li') !== null")
            .await;
        assert_eq!(browser.violations().await, Vec::<String>::new(), "{view:?}");
        click(&browser, "#pane .enlarge").await;
        browser
            .until("document.querySelector('#enlarged').open")
            .await;
        assert_eq!(
            browser.violations().await,
            Vec::<String>::new(),
            "{view:?}, enlarged"
        );
        click(&browser, "#close-enlarged").await;
        tick(&browser, 9).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn other_computers_need_the_token() {
    let folder = session();
    let (_desk, said) = Desk::open_to_the_network(folder.path());
    let browser = Browser::open(LAPTOP).await;
    let (address, token) = said
        .split_once("?token=")
        .expect("an address with its token");
    browser.page.goto(address).await.unwrap();
    browser
        .until("document.querySelector('#ask-token').open")
        .await;
    assert_eq!(
        browser
            .eval("document.querySelectorAll('#peaks-table tbody tr').length")
            .await,
        json!(0)
    );
    browser
        .eval("document.querySelector('#token').focus()")
        .await;
    browser.press(token).await;
    browser.press(ENTER).await;
    browser
        .until("document.querySelectorAll('#peaks-table tbody tr').length > 0")
        .await;
    // In the address it would be seen and saved.
    browser.page.goto(&said).await.unwrap();
    browser
        .until("document.querySelectorAll('#peaks-table tbody tr').length > 0")
        .await;
    assert_eq!(browser.eval("location.search").await, json!(""));
}
