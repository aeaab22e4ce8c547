//! A plan, for the terminal and for machines.

use serde_json::{Map, Value, json};

use super::layout::{cut, point_aligned, wrapped};
use super::terminal::{Colour, Page, WIDTH};
use super::words::{term_list, term_name, unit_name};
use crate::logbook::keyed;
use crate::mount::{AxisKind, Kind, Term};
use crate::number::{counted, significant};
use crate::plan::{Alone, Plan, Prediction, Step};
use crate::problem::printable;
use crate::station::Station;
use crate::text::some_of;
use crate::time::{Offset, Utc};

/// Longer names of emitters are cut, so that a step keeps to one line.
const NAME_WIDTH: usize = 18;

/// Shown with every plan that moves a mount.
const MOVING: &str = "Before the mount moves: nobody within reach of the dish, its counterweights \
    and cables; know where its stop button is. Stay away from the feed of a dish that transmits, \
    and from any dish in a thunderstorm. Local codes and licensed practice come first.";
const SUN: &str = "The Sun is in this plan. A dish on the Sun gathers its heat at the feed, where it \
    can burn skin, melt plastic and set things alight within seconds: move off it as soon as the \
    peak is written down, keep hands and face away from the feed, shade a shiny dish. Never look \
    along the dish, into it or through any sight or telescope at the Sun: it blinds.";

/// The terminal's form of a plan, with local time beside UTC when a zone is given.
pub fn plan_text(plan: &Plan, station: &Station, colour: Colour, zone: Option<Offset>) -> String {
    let mut page = Page::new(colour);
    header(&mut page, plan, station, zone);
    for caution in cautions(plan) {
        page.caution(caution);
    }
    steps(&mut page, plan, zone);
    if let Some(alone) = &plan.alone {
        come_back(&mut page, plan, alone, station, zone);
    }
    predictions(&mut page, plan, station);
    untold(&mut page, plan);
    passed_over(&mut page, plan);
    page.list("WARNINGS", &plan.warnings);
    page.list("ASSUMED", &plan.assumed);
    page.text
}

fn header(page: &mut Page, plan: &Plan, station: &Station, zone: Option<Offset>) {
    let title = format!(
        "Plan for {}",
        cut(&printable(&station.site.name), WIDTH - 10)
    );
    let title = page.colour.bold(&title);
    page.line(&title);
    if let (Some(first), Some(last)) = (plan.steps.first(), plan.steps.last()) {
        let visits = match plan.visits().len() {
            1 => String::new(),
            visits => format!(" in {}", counted(visits, "visit")),
        };
        let local = zone.map_or(String::new(), |zone| {
            let clock = |step: &Step| zone.clock(step.candidate.time);
            format!(" ({} to {} at {zone})", clock(first), clock(last))
        });
        page.paragraph(&format!(
            "{}{visits}, one every {} minutes, {} to {}{local}; each good to {} deg an axis",
            counted(plan.steps.len(), "peak"),
            significant(plan.every_s / 60.0, 2),
            clock(first.candidate.time),
            clock(last.candidate.time),
            significant(plan.sigma.degrees(), 2),
        ));
    }
}

fn steps(page: &mut Page, plan: &Plan, zone: Option<Offset>) {
    let sides = sides_matter(plan);
    let local = LocalColumn::of(plan, zone);
    let [one, two] = plan.mount.axes().map(AxisKind::words);
    let (wide, wider) = reading_widths(plan.mount);
    page.heading("WHAT TO MEASURE");
    page.line(&format!(
        "  {:>3} {:<16} {}{:<NAME_WIDTH$} {one:>wide$} {two:>wider$} {:>8}{}  tells most",
        "",
        "time (UTC)",
        local.heading(),
        "emitter",
        "deg/min",
        if sides { "  arrive" } else { "" },
    ));
    let visits = plan.visits();
    for (i, step) in plan.steps.iter().enumerate() {
        if i > 0 && visits.contains(&i) {
            page.line("      come back for the next ones:");
        }
        page.line(&step_line(plan.mount, i + 1, step, sides, &local));
        if let Some(shown) = shown(plan, step) {
            page.line(&shown);
        }
    }
    page.paragraph(&format!(
        "{} and {two} are what the encoders should show, in degrees: look for the peak near there, \
         and log the time at which it is found. The last column says by how much the uncertainty of \
         that term would grow without the step: when time runs short, leave out what tells least.",
        plan.mount.axes()[0].heading(),
    ));
    page.paragraph(&match sides {
        true => format!(
            "Arrive with the reading increasing (+) or decreasing (-) as given, {one} and {two}, and \
             log it."
        ),
        false => format!(
            "Arrive at every peak from the same side on both axes, so that play in the gears does no \
             harm; --terms +{},+{} makes a plan that measures it.",
            plan.mount.term_name(Term::AzimuthBacklash),
            plan.mount.term_name(Term::ElevationBacklash)
        ),
    });
}

/// What the sensors of the axes will show at a step; none when they count degrees.
fn shown(plan: &Plan, step: &Step) -> Option<String> {
    let readings = [step.reading.azimuth, step.reading.elevation];
    let shown: Vec<String> = (plan.sensors.iter().zip(readings).zip(plan.mount.axes()))
        .filter_map(|((sensor, reading), axis)| {
            let shown = sensor.as_ref()?.shown_words(reading)?;
            Some(format!("{} {shown}", axis.words()))
        })
        .collect();
    (!shown.is_empty()).then(|| format!("      the sensors show: {}", shown.join(", ")))
}

/// Widths of the columns of readings.
fn reading_widths(mount: Kind) -> (usize, usize) {
    let [one, two] = mount.axes().map(|axis| axis.words().len());
    (one.max(8), two.max(9))
}

fn untold(page: &mut Page, plan: &Plan) {
    let untold = plan.not_separable();
    if !untold.is_empty() {
        page.heading("WHAT THESE PEAKS WOULD NOT TELL");
        page.paragraph(&format!(
            "{}: {}.",
            term_list(plan.mount, &untold),
            plan.to_tell
        ));
    }
}

/// When to come back, and what one emitter alone does not tell.
fn come_back(page: &mut Page, plan: &Plan, alone: &Alone, station: &Station, zone: Option<Offset>) {
    let name = called(&alone.emitter);
    let enough = station.dish.beamwidth / 10.0;
    page.heading("WHEN TO COME BACK");
    page.paragraph(&format!(
        "In this span only {name} can be observed. What it tells comes from its path across the sky: \
         a few peaks at a time, hours apart, are worth more than many in a row."
    ));
    for next in &alone.returns {
        let local = zone.map_or(String::new(), |zone| {
            format!(" ({} at {zone})", zone.clock(next.time))
        });
        page.line(&wrapped(
            "  - ",
            &format!(
                "{} UTC{local}: {} near azimuth {:.0}, elevation {:.0} deg; {} there would leave {} \
                 deg of the pointing error",
                clock(next.time),
                called(&next.emitter),
                next.direction.azimuth().degrees(),
                next.direction.elevation().degrees(),
                counted(next.peaks, "peak"),
                significant(next.left.degrees(), 2)
            ),
            WIDTH,
        ));
    }
    if alone.returns.is_empty() {
        page.paragraph(match plan.error.1 <= enough {
            true => {
                "These steps bring the pointing error below a tenth of the beamwidth: there is no \
                 need to come back."
            }
            false => {
                "Nothing that can be observed in the day after this span would make the error much \
                 smaller."
            }
        });
    }
    page.paragraph(&untold_in_a_day(plan.mount, alone));
}

/// As one speaks of it.
fn called(emitter: &str) -> String {
    match emitter.to_lowercase().as_str() {
        "sun" => "the Sun".to_owned(),
        "moon" => "the Moon".to_owned(),
        _ => printable(emitter),
    }
}

fn untold_in_a_day(mount: Kind, alone: &Alone) -> String {
    let name = called(&alone.emitter);
    let left = significant(alone.day_error.degrees(), 2);
    if alone.not_told_in_a_day.is_empty() {
        return format!(
            "A whole day of {name}, a peak every twenty minutes while it can be observed, would tell \
             all of the errors below and leave {left} deg of the pointing error."
        );
    }
    format!(
        "Even a whole day of {name}, a peak every twenty minutes while it can be observed, would not \
         tell {} and would leave {left} deg of the pointing error: it keeps to one path. Another \
         emitter away from that path tells more: a satellite, a beacon on a hill, the Sun of \
         another season.",
        term_list(mount, &alone.not_told_in_a_day)
    )
}

fn passed_over(page: &mut Page, plan: &Plan) {
    if plan.passed_over.is_empty() {
        return;
    }
    page.heading("NOT IN THE PLAN");
    let mut alike: Vec<(&str, Vec<String>)> = Vec::new();
    for over in &plan.passed_over {
        let name = printable(&over.emitter);
        match alike.iter_mut().find(|(why, _)| *why == over.why) {
            Some((_, names)) => names.push(name),
            None => alike.push((&over.why, vec![name])),
        }
    }
    for (why, names) in &alike {
        match names.as_slice() {
            [one] => {
                let name = cut(one, NAME_WIDTH);
                page.line(&wrapped(&format!("  {name:<NAME_WIDTH$} "), why, WIDTH));
            }
            several => {
                let lead = format!("  {:<NAME_WIDTH$} ", counted(several.len(), "emitter"));
                page.line(&wrapped(
                    &lead,
                    &format!("{why}: {}", some_of(several)),
                    WIDTH,
                ));
            }
        }
    }
}

fn cautions(plan: &Plan) -> Vec<&'static str> {
    let sun = plan.steps.iter().any(|s| s.candidate.is_sun);
    sun.then_some(SUN).into_iter().chain([MOVING]).collect()
}

fn sides_matter(plan: &Plan) -> bool {
    (plan.steps.iter()).any(|s| s.approach.azimuth != 0.0 || s.approach.elevation != 0.0)
}

fn step_line(mount: Kind, number: usize, step: &Step, sides: bool, local: &LocalColumn) -> String {
    let local = local.at(step.candidate.time);
    let (wide, wider) = reading_widths(mount);
    let arrive = match sides {
        true => format!(
            "  {:<6}",
            format!(
                "{} {}",
                side(step.approach.azimuth),
                side(step.approach.elevation)
            )
        ),
        false => String::new(),
    };
    format!(
        "  {number:>3} {:<16} {local}{:<NAME_WIDTH$} {:>wide$.2} {:>wider$.2} {:>8.2}{arrive}  {} (+{:.0} % without)",
        clock(step.candidate.time),
        cut(&printable(&step.candidate.name), NAME_WIDTH),
        step.reading.azimuth.degrees(),
        step.reading.elevation.degrees(),
        step.candidate.degrees_a_minute(),
        term_name(mount, step.tells.0),
        100.0 * step.tells.1,
    )
}

fn side(sign: f64) -> &'static str {
    match sign {
        s if s > 0.0 => "+",
        s if s < 0.0 => "-",
        _ => " ",
    }
}

/// To the minute, or to the second where the plan needs it.
fn clock(time: Utc) -> String {
    let (year, month, day, hour, minute, second) = time.plus_seconds(0.5).calendar();
    match second as i64 {
        0 => format!("{year}-{month:02}-{day:02} {hour:02}:{minute:02}"),
        s => format!("{month:02}-{day:02} {hour:02}:{minute:02}:{s:02}"),
    }
}

/// The column of local times, a blank behind it; empty without a zone.
struct LocalColumn {
    zone: Option<Offset>,
    width: usize,
}

impl LocalColumn {
    fn of(plan: &Plan, zone: Option<Offset>) -> LocalColumn {
        let of_zone = |zone: Offset| {
            (plan.steps.iter())
                .map(|s| zone.clock(s.candidate.time).len())
                .fold(zone.to_string().len(), usize::max)
        };
        LocalColumn {
            zone,
            width: zone.map_or(0, of_zone),
        }
    }
    fn heading(&self) -> String {
        (self.zone).map_or(String::new(), |z| self.cell(z.to_string()))
    }
    fn at(&self, time: Utc) -> String {
        (self.zone).map_or(String::new(), |z| self.cell(z.clock(time)))
    }
    fn cell(&self, text: String) -> String {
        format!("{text:<width$} ", width = self.width)
    }
}

fn predictions(page: &mut Page, plan: &Plan, station: &Station) {
    const HEADING: &str = "one standard deviation of";
    let column = |of: fn(&Prediction) -> f64| {
        let shown = |p: &Prediction| significant(p.term.unit().outward(of(p)), 2);
        point_aligned(&plan.predictions.iter().map(shown).collect::<Vec<_>>())
    };
    let (before, after) = (column(|p| p.before), column(|p| p.after));
    let wide = (before.iter().chain(&after).map(String::len)).fold("before".len(), usize::max);
    let name = (plan
        .predictions
        .iter()
        .map(|p| term_name(plan.mount, p.term).len()))
    .fold(HEADING.len(), usize::max);
    page.heading("WHAT WOULD THEN BE KNOWN");
    page.line(&format!(
        "  {HEADING:<name$}  {:>wide$}  {:>wide$}  unit",
        "before", "after"
    ));
    for (p, (before, after)) in plan.predictions.iter().zip(before.iter().zip(&after)) {
        page.line(&format!(
            "  {:<name$}  {before:>wide$}  {after:>wide$}  {}{}",
            term_name(plan.mount, p.term),
            unit_name(p.term.unit()),
            if p.told { "" } else { "  not determined" }
        ));
    }
    let (before, after) = plan.error;
    page.paragraph(&format!(
        "Pointing error over the reachable sky, rms: {} deg before, {} deg after ({} dB lost on \
         this beam).",
        significant(before.degrees(), 2),
        significant(after.degrees(), 2),
        significant(station.dish.loss_db(after), 2)
    ));
}

/// The machine-readable form of a plan.
pub fn plan_json(plan: &Plan) -> Value {
    keyed(plan.mount, plain_json(plan))
}

/// The same by the keys of an az-el mount.
fn plain_json(plan: &Plan) -> Value {
    let side = |sign: f64| match sign {
        s if s > 0.0 => json!("+"),
        s if s < 0.0 => json!("-"),
        _ => Value::Null,
    };
    let steps: Vec<Value> = (plan.steps.iter().enumerate())
        .map(|(i, s)| {
            let mut step = json!({
                "step": i + 1,
                "time_utc": s.candidate.time,
                "emitter": s.candidate.name,
                "azimuth_deg": s.reading.azimuth.degrees(),
                "elevation_deg": s.reading.elevation.degrees(),
                "apparent_azimuth_deg": s.candidate.direction.azimuth().degrees(),
                "apparent_elevation_deg": s.candidate.direction.elevation().degrees(),
                "rate_deg_per_min": s.candidate.degrees_a_minute(),
                "azimuth_approach": side(s.approach.azimuth),
                "elevation_approach": side(s.approach.elevation),
                "tells": plan.mount.term_name(s.tells.0),
                "sigma_growth_without": s.tells.1,
                "error_left_deg": s.left.degrees(),
                "strength_db": s.candidate.strength.map(|s| s.decibels),
            });
            let readings = [s.reading.azimuth, s.reading.elevation];
            let keys = ["azimuth_sensor", "elevation_sensor"];
            for ((sensor, reading), key) in plan.sensors.iter().zip(readings).zip(keys) {
                if let Some(sensor) = sensor {
                    step[key] = json!(sensor.shown(reading));
                }
            }
            step
        })
        .collect();
    let predicted: Map<String, Value> = (plan.predictions.iter())
        .map(|p| {
            let unit = p.term.unit();
            let key = |stem: &str| unit.key(stem);
            let value = json!({
                key("sigma"): unit.outward(p.after),
                key("before"): unit.outward(p.before),
            });
            (plan.mount.term_name(p.term).to_owned(), value)
        })
        .collect();
    let visits: Vec<usize> = plan.visits().iter().map(|first| first + 1).collect();
    json!({
        "steps": steps,
        "predicted_sigma": predicted,
        "not_separable": plan.not_separable().iter().map(|t| plan.mount.term_name(*t))
            .collect::<Vec<_>>(),
        "to_tell": plan.to_tell,
        "visits": visits,
        "come_back": plan.alone.as_ref().map(|alone| come_back_json(plan.mount, alone)),
        "error_before_deg": plan.error.0.degrees(),
        "error_after_deg": plan.error.1.degrees(),
        "peak_sigma_deg": plan.sigma.degrees(),
        "passed_over": plan.passed_over.iter()
            .map(|o| json!({ "emitter": o.emitter, "why": o.why }))
            .collect::<Vec<_>>(),
        "cautions": cautions(plan),
        "assumed": plan.assumed,
        "warnings": plan.warnings,
    })
}

fn come_back_json(mount: Kind, alone: &Alone) -> Value {
    let returns: Vec<Value> = (alone.returns.iter())
        .map(|r| {
            json!({
                "time_utc": r.time,
                "emitter": r.emitter,
                "apparent_azimuth_deg": r.direction.azimuth().degrees(),
                "apparent_elevation_deg": r.direction.elevation().degrees(),
                "peaks": r.peaks,
                "error_left_deg": r.left.degrees(),
            })
        })
        .collect();
    let untold = alone.not_told_in_a_day.iter().map(|t| mount.term_name(*t));
    json!({
        "emitter": alone.emitter,
        "returns": returns,
        "day_error_deg": alone.day_error.degrees(),
        "not_told_in_a_day": untold.collect::<Vec<_>>(),
    })
}
