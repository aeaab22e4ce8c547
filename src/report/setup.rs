//! A new station's folder, for the terminal and for machines.

use std::path::Path;

use serde_json::{Value, json};

use super::layout::{cut, wrapped};
use super::terminal::{Colour, Page, WIDTH};
use crate::number::significant;
use crate::problem::printable;
use crate::setup::{HeardEmitter, LOG_FILE, STATION_FILE, Setup, Today, Use};
use crate::station::EmitterKind;
use crate::text::some_of;
use crate::time::Utc;

/// Longer names of emitters are cut, so that the lines stay aligned.
const NAME_WIDTH: usize = 12;

const SUN: &str = "A dish pointed at the Sun gathers its heat at the feed: pass over it, never park on \
    it. Never look along the dish or through a sight at the Sun: it blinds.";

/// The terminal's form, with the three commands that come next.
pub fn setup_text(setup: &Setup, folder: &Path, colour: Colour) -> String {
    let mut page = Page::new(colour);
    let dish = &setup.station.dish;
    page.line(&format!(
        "{} holds a station file, {STATION_FILE}, and an empty log, {LOG_FILE}.",
        printable(&folder.display().to_string())
    ));
    page.heading(&format!(
        "WHAT THIS DISH CAN HEAR: {} m at {} MHz, beam {} deg",
        dish.diameter_m,
        dish.frequency_mhz,
        significant(dish.beamwidth.degrees(), 3)
    ));
    let listed = |h: &&HeardEmitter| h.becomes == Use::Listed;
    for one in setup.heard.iter().filter(listed) {
        let strength = one.strength.map_or(String::new(), |s| format!("{s}; "));
        let lead = format!("  {:<NAME_WIDTH$} ", cut(&one.emitter.name, NAME_WIDTH));
        let words = format!("{strength}{}", day_words(setup, one));
        page.line(&wrapped(&lead, &words, WIDTH));
    }
    if !setup.heard.iter().any(|h| listed(&h)) {
        page.paragraph(
            "Nothing in the sky is strong enough to be peaked by hand: add transmitters, satellites or a \
             beacon, to the station file, which holds a pattern for each.",
        );
    } else if only_the_sun(setup) {
        page.paragraph(
            "The Sun alone cannot separate some errors of the mount. Add what transmits on your \
             frequency, satellites or a beacon: the station file holds a pattern for each.",
        );
    }
    others(&mut page, setup);
    if setup
        .heard
        .iter()
        .filter(listed)
        .any(|h| h.emitter.kind.is_sun())
    {
        page.caution(SUN);
    }
    page.heading("WHAT TO DO NEXT");
    for (i, (words, command)) in next(setup, folder).iter().enumerate() {
        page.line(&wrapped(&format!("  {}. ", i + 1), words, WIDTH));
        if !command.is_empty() {
            page.line(&format!("       {command}"));
        }
    }
    page.list("ASSUMED", &setup.assumed);
    page.text
}

/// Whether the Sun is all that a hand can peak.
fn only_the_sun(setup: &Setup) -> bool {
    setup.station.emitters.iter().all(|e| e.kind.is_sun())
}

fn day_words(setup: &Setup, one: &HeardEmitter) -> String {
    match setup.today.iter().find(|t| t.emitter == one.emitter.name) {
        Some(today) => today_words(today),
        None => "it has no position in the sky at this time".to_owned(),
    }
}

fn today_words(today: &Today) -> String {
    let (elevation, at) = today.highest;
    let highest = format!("highest {:.0} deg at {}", elevation.degrees(), clock(at));
    match today.spans.as_slice() {
        [] => format!("out of reach in the next 24 hours ({highest} UTC)"),
        spans => {
            let spans: Vec<String> = (spans.iter())
                .map(|(from, to)| {
                    let (from, to) = (clock(*from), clock(*to));
                    // The day is said once.
                    let end = match from[..5] == to[..5] {
                        true => &to[6..],
                        false => to.as_str(),
                    };
                    format!("{from} to {end}")
                })
                .collect();
            format!(
                "in the next 24 hours from {} UTC, {highest}",
                spans.join(" and ")
            )
        }
    }
}

/// `09-12 06:10`.
fn clock(time: Utc) -> String {
    let (_, month, day, hour, minute, _) = time.plus_seconds(30.0).calendar();
    format!("{month:02}-{day:02} {hour:02}:{minute:02}")
}

/// What is not in use, those of one reason together.
fn others(page: &mut Page, setup: &Setup) {
    let mut alike: Vec<(String, Vec<&str>)> = Vec::new();
    for one in &setup.heard {
        let why = match &one.becomes {
            Use::Listed => continue,
            Use::Commented(why) => format!("in the file behind #: {why}"),
            Use::LeftOut(why) => why.clone(),
        };
        match alike.iter_mut().find(|(known, _)| *known == why) {
            Some((_, names)) => names.push(&one.emitter.name),
            None => alike.push((why, vec![&one.emitter.name])),
        }
    }
    if alike.is_empty() {
        return;
    }
    page.heading("NOT IN USE");
    for (why, names) in &alike {
        page.line(&wrapped(
            "  - ",
            &format!("{}: {why}", some_of(names)),
            WIDTH,
        ));
    }
}

/// What to do, and the command for it.
fn next(setup: &Setup, folder: &Path) -> Vec<(String, String)> {
    let folder = printable(&folder.display().to_string());
    let quoted = match folder.contains(char::is_whitespace) {
        true => format!("\"{folder}\""),
        false => folder,
    };
    let span = if only_the_sun(setup) { "12h" } else { "2h" };
    let step = |words: &str, command: String| (words.to_owned(), command);
    vec![
        step(
            &format!(
                "Open {STATION_FILE} in an editor, correct what is marked CHECK, and add the \
                 transmitters that you hear. Then, in the folder:"
            ),
            format!("cd {quoted}"),
        ),
        step("See where the emitters are now:", "plumbeam sky".to_owned()),
        step(
            "Let a plan say what to measure and write a log to fill in:",
            format!("plumbeam plan --for {span} --sheet {LOG_FILE}"),
        ),
        step(
            "When the peaks are in the log, find what is wrong with the mount:",
            format!("plumbeam solve {LOG_FILE} --report report"),
        ),
    ]
}

/// The machine-readable form.
pub fn setup_json(setup: &Setup, folder: &Path) -> Value {
    let emitters: Vec<Value> = (setup.heard.iter())
        .map(|one| {
            let (becomes, why) = match &one.becomes {
                Use::Listed => ("listed", ""),
                Use::Commented(why) => ("commented", why.as_str()),
                Use::LeftOut(why) => ("left out", why.as_str()),
            };
            let today = setup.today.iter().find(|t| t.emitter == one.emitter.name);
            json!({
                "emitter": one.emitter.name,
                "kind": match one.emitter.kind {
                    EmitterKind::Sun => "sun",
                    EmitterKind::Moon => "moon",
                    _ => "radio-source",
                },
                "becomes": becomes,
                "why": why,
                "strength_k": one.strength.map(|s| s.kelvin),
                "strength_db": one.strength.map(|s| s.decibels),
                "highest_deg": [one.rise.highest.0.degrees(), one.rise.highest.1.degrees()],
                "hours_a_day": [one.rise.hours.0, one.rise.hours.1],
                "next_24_hours": today.map(|t| json!({
                    "highest_deg": t.highest.0.degrees(),
                    "highest_utc": t.highest.1,
                    "spans_utc": t.spans,
                })),
            })
        })
        .collect();
    let commands: Vec<String> = (next(setup, folder).into_iter())
        .map(|(_, command)| command)
        .collect();
    json!({
        "station": folder.join(STATION_FILE).display().to_string(),
        "log": folder.join(LOG_FILE).display().to_string(),
        "emitters": emitters,
        "next": commands,
        "assumed": setup.assumed,
    })
}
