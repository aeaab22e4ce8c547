//! A plan, for the terminal and for machines.

use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};

use super::document::{
    self, Block, Cell, Column, Document, Holds, Point, Role, Row, Section, Shown, Table,
};
use super::layout::cut;
use super::made_by;
use super::picture::plan_picture;
use super::terminal::Colour;
use super::words::{term_list, term_name, unit_name};
use crate::logbook::keyed;
use crate::mount::{Kind, Term};
use crate::number::{counted, significant};
use crate::plan::{Alone, Plan, Prediction, Step};
use crate::plot::{Render, on_page};
use crate::problem::{Error, printable};
use crate::station::Station;
use crate::text::some_of;
use crate::time::{Utc, ZoneOffset};

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
pub fn plan_text(
    plan: &Plan,
    station: &Station,
    colour: Colour,
    zone: Option<ZoneOffset>,
) -> String {
    document::terminal(&of(plan, station, zone, None), colour)
}

/// Name of the page of a plan in its folder.
pub const PLAN_PAGE: &str = "plan.html";

/// Writes the page of a plan and its picture, as SVG and PNG, into `dir`, which is made if need
/// be. Gives the files' paths, the page first.
///
/// # Errors
/// When the folder cannot be made or a file cannot be written; files written before stay.
pub fn write_plan(
    dir: &Path,
    plan: &Plan,
    station: &Station,
    zone: Option<ZoneOffset>,
) -> Result<Vec<PathBuf>, Error> {
    let picture = on_page(Box::new(plan_picture(plan, station)));
    let picture = picture.as_ref();
    document::write_document(dir, PLAN_PAGE, &[picture], || {
        document::page(&of(plan, station, zone, Some(picture)))
    })
}

fn of<'a>(
    plan: &Plan,
    station: &Station,
    zone: Option<ZoneOffset>,
    picture: Option<&'a dyn Render>,
) -> Document<'a> {
    let about = station.site.name.clone();
    let mut document = Document {
        kind: "Plan",
        title: format!("Plan for {about}"),
        about,
        closing: vec![made_by()],
        ..Document::default()
    };
    let cautions = cautions(plan).into_iter();
    let said = headline(plan, zone).map(Block::Paragraph);
    document.add(Section {
        role: Role::Verdict,
        blocks: said.into_iter().collect(),
        ..Section::default()
    });
    document.add(Section {
        role: Role::Action,
        blocks: cautions
            .map(|words| Block::Caution(words.to_owned()))
            .collect(),
        ..Section::default()
    });
    document.add(steps(plan, zone));
    if let Some(picture) = picture {
        document.add(Section {
            shown: Shown::OnPage,
            blocks: vec![Block::Picture(picture)],
            ..Section::default()
        });
    }
    if let Some(alone) = &plan.alone {
        document.add(come_back(plan, alone, station, zone));
    }
    document.add(predictions(plan, station));
    document.add(untold(plan));
    document.add(passed_over(plan));
    document.add_list("Warnings", &plan.warnings, Role::Result);
    document.add_list("Assumed", &plan.assumed, Role::Result);
    document
}

fn headline(plan: &Plan, zone: Option<ZoneOffset>) -> Option<String> {
    let (first, last) = plan.steps.first().zip(plan.steps.last())?;
    let visits = match plan.visits().len() {
        1 => String::new(),
        visits => format!(" in {}", counted(visits, "visit")),
    };
    let local = zone.map_or(String::new(), |zone| {
        let clock = |step: &Step| zone.clock(step.candidate.time);
        format!(" ({} to {} at {zone})", clock(first), clock(last))
    });
    Some(format!(
        "{}{visits}, one every {} minutes, {} to {}{local}; each good to {} deg an axis",
        counted(plan.steps.len(), "peak"),
        significant(plan.every_s / 60.0, 2),
        clock(first.candidate.time),
        clock(last.candidate.time),
        significant(plan.sigma.degrees(), 2),
    ))
}

fn steps<'a>(plan: &Plan, zone: Option<ZoneOffset>) -> Section<'a> {
    let sides = sides_matter(plan);
    let [one, two] = plan.mount.axes();
    let mut columns = vec![
        Column::new("Step", Holds::Number).short(""),
        Column::new("Time (UTC)", Holds::Time).short("time (UTC)"),
    ];
    columns.extend(
        zone.map(|zone| Column::new(&format!("At {zone}"), Holds::Time).short(&zone.to_string())),
    );
    columns.extend([
        Column::new("Emitter", Holds::Text),
        Column::new(&format!("{} (deg)", one.heading()), Holds::Number).short(one.words()),
        Column::new(&format!("{} (deg)", two.heading()), Holds::Number).short(two.words()),
        Column::new("Deg a minute", Holds::Number).short("deg/min"),
    ]);
    if sides {
        columns.push(Column::new("Arrive", Holds::Words));
    }
    columns.push(Column::new("Tells most", Holds::Words));
    columns.push(Column::new("The sensors show", Holds::Prose));
    let any_sensor = plan.steps.iter().any(|step| shown(plan, step).is_some());
    let visits = plan.visits();
    let rows = (plan.steps.iter().enumerate())
        .map(|(i, step)| Row {
            before: (i > 0 && visits.contains(&i))
                .then(|| "    come back for the next ones:".to_owned()),
            cells: step_cells(plan, i + 1, step, sides, zone),
            ..Row::default()
        })
        .collect();
    let mut table = Table::new("steps", "What to measure, in this order", columns, rows);
    if !any_sensor {
        table.columns.pop();
    }
    let arrive = match sides {
        true => format!(
            "Arrive with the reading increasing (+) or decreasing (-) as given, {} and {}, and \
             log it.",
            one.words(),
            two.words()
        ),
        false => format!(
            "Arrive at every peak from the same side on both axes, so that play in the gears does no \
             harm; --terms +{},+{} makes a plan that measures it.",
            plan.mount.term_name(Term::AzimuthBacklash),
            plan.mount.term_name(Term::ElevationBacklash)
        ),
    };
    let readings = format!(
        "{} and {} are what the encoders should show, in degrees: look for the peak near there, \
         and log the time at which it is found. The last column says by how much the uncertainty of \
         that term would grow without the step: when time runs short, leave out what tells least.",
        one.heading(),
        two.words(),
    );
    Section::new(
        "What to measure",
        vec![
            Block::Table(table),
            Block::Paragraph(readings),
            Block::Paragraph(arrive),
        ],
    )
    .role(Role::Action)
}

fn step_cells(
    plan: &Plan,
    number: usize,
    step: &Step,
    sides: bool,
    zone: Option<ZoneOffset>,
) -> Vec<Cell> {
    let time = step.candidate.time;
    let degrees = |value: f64| Cell::Number(value, format!("{value:.2}"));
    let mut cells = vec![
        Cell::Number(number as f64, number.to_string()),
        Cell::text(clock(time)),
    ];
    cells.extend(zone.map(|zone| Cell::text(zone.clock(time))));
    cells.extend([
        Cell::text(step.candidate.name.as_str()),
        degrees(step.reading.azimuth.degrees()),
        degrees(step.reading.elevation.degrees()),
        degrees(step.candidate.degrees_a_minute()),
    ]);
    if sides {
        let (one, two) = (step.approach.azimuth, step.approach.elevation);
        cells.push(Cell::text(format!("{} {}", side(one), side(two))));
    }
    cells.push(Cell::text(format!(
        "{} (+{:.0} % without)",
        term_name(plan.mount, step.tells.0),
        100.0 * step.tells.1,
    )));
    cells.extend(shown(plan, step).map(Cell::Text));
    cells
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
    (!shown.is_empty()).then(|| format!("the sensors show: {}", shown.join(", ")))
}

fn untold<'a>(plan: &Plan) -> Section<'a> {
    let untold = plan.not_separable();
    let blocks = match untold.is_empty() {
        true => Vec::new(),
        false => vec![Block::Paragraph(format!(
            "{}: {}.",
            term_list(plan.mount, &untold),
            plan.to_tell
        ))],
    };
    Section::new("What these peaks would not tell", blocks)
}

/// When to come back, and what one emitter alone does not tell.
fn come_back<'a>(
    plan: &Plan,
    alone: &Alone,
    station: &Station,
    zone: Option<ZoneOffset>,
) -> Section<'a> {
    let name = called(&alone.emitter);
    let enough = station.dish.beamwidth / 10.0;
    let mut blocks = vec![Block::Paragraph(format!(
        "In this span only {name} can be observed. What it tells comes from its path across the sky: \
         a few peaks at a time, hours apart, are worth more than many in a row."
    ))];
    let returns = alone.returns.iter().map(|next| {
        let local = zone.map_or(String::new(), |zone| {
            format!(" ({} at {zone})", zone.clock(next.time))
        });
        Point {
            words: format!(
                "{} UTC{local}: {} near azimuth {:.0}, elevation {:.0} deg; {} there would leave {} \
                 deg of the pointing error",
                clock(next.time),
                called(&next.emitter),
                next.direction.azimuth().degrees(),
                next.direction.elevation().degrees(),
                counted(next.peaks, "peak"),
                significant(next.left.degrees(), 2)
            ),
            ..Point::default()
        }
    });
    blocks.push(Block::Points(returns.collect()));
    if alone.returns.is_empty() {
        let words = match plan.error.1 <= enough {
            true => {
                "These steps bring the pointing error below a tenth of the beamwidth: there is no \
                 need to come back."
            }
            false => {
                "Nothing that can be observed in the day after this span would make the error much \
                 smaller."
            }
        };
        blocks.push(Block::Paragraph(words.to_owned()));
    }
    blocks.push(Block::Paragraph(untold_in_a_day(plan.mount, alone)));
    Section::new("When to come back", blocks)
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

fn passed_over<'a>(plan: &Plan) -> Section<'a> {
    let mut alike: Vec<(&str, Vec<String>)> = Vec::new();
    for over in &plan.passed_over {
        let name = printable(&over.emitter);
        match alike.iter_mut().find(|(why, _)| *why == over.why) {
            Some((_, names)) => names.push(name),
            None => alike.push((&over.why, vec![name])),
        }
    }
    let facts = (alike.iter())
        .map(|(why, names)| match names.as_slice() {
            [one] => (cut(one, NAME_WIDTH), (*why).to_owned()),
            several => (
                counted(several.len(), "emitter"),
                format!("{why}: {}", some_of(several)),
            ),
        })
        .collect();
    Section::new("Not in the plan", vec![Block::Facts(facts)])
}

fn cautions(plan: &Plan) -> Vec<&'static str> {
    let sun = plan.steps.iter().any(|s| s.candidate.is_sun);
    sun.then_some(SUN).into_iter().chain([MOVING]).collect()
}

fn sides_matter(plan: &Plan) -> bool {
    (plan.steps.iter()).any(|s| s.approach.azimuth != 0.0 || s.approach.elevation != 0.0)
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

fn predictions<'a>(plan: &Plan, station: &Station) -> Section<'a> {
    let columns = vec![
        Column::new("One standard deviation of", Holds::Name).short("one standard deviation of"),
        Column::new("Before", Holds::Number),
        Column::new("After", Holds::Number),
        Column::new("Unit", Holds::Text),
        Column::new("", Holds::Words),
    ];
    let row = |p: &Prediction| {
        let number = |inside: f64| {
            let value = p.term.unit().outward(inside);
            Cell::Number(value, significant(value, 2))
        };
        Row::from(vec![
            Cell::text(term_name(plan.mount, p.term)),
            number(p.before),
            number(p.after),
            Cell::text(unit_name(p.term.unit())),
            Cell::text(if p.told { "" } else { "not determined" }),
        ])
    };
    let rows = plan.predictions.iter().map(row).collect();
    let table = Table::new("known", "What would then be known", columns, rows);
    let (before, after) = plan.error;
    let words = format!(
        "Pointing error over the reachable sky, rms: {} deg before, {} deg after ({} dB lost on \
         this beam).",
        significant(before.degrees(), 2),
        significant(after.degrees(), 2),
        significant(station.dish.loss_db(after), 2)
    );
    Section::new(
        "What would then be known",
        vec![Block::Table(table), Block::Paragraph(words)],
    )
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
