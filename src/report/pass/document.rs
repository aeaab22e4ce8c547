//! Passes as a document.

use super::super::document::{self, Block, Document, Point, Role, Section, Shown};
use super::super::made_by;
use super::super::terminal::Colour;
use crate::angle::Angle;
use crate::live::{Figures, ON_TARGET_DB, RelayLog};
use crate::number::{fixed, significant};
use crate::plot::Render;

/// The passes of a log for the terminal.
pub fn pass_text(passes: &[Figures], beamwidth: Angle) -> String {
    document::terminal(&of(passes, beamwidth), Colour::Never)
}

/// The page.
pub fn page(log: &RelayLog, pictures: &[Box<dyn Render>]) -> String {
    let figures: Vec<Figures> = log.passes.iter().map(|p| p.figures.clone()).collect();
    let mut document = of(&figures, log.beamwidth);
    document.kind = "Passes through the relay";
    document.about = log.station.clone();
    document.title = format!("Passes of {}", log.station);
    document.closing = vec![format!("Demands are {} directions.", log.demand), made_by()];
    let alarms = (log.alarms.iter()).map(|(time, text)| format!("{time}: {text}"));
    document.add_list("Alarms", &alarms.collect::<Vec<_>>(), Role::Action);
    for picture in pictures {
        document.add(Section {
            shown: Shown::OnPage,
            blocks: vec![Block::Picture(picture.as_ref())],
            ..Section::default()
        });
    }
    let stops = format!("Stops sent to the mount: {}.", log.stops);
    document.add(Section::new("Stops", vec![Block::Paragraph(stops)]));
    document::page(&document)
}

fn of<'a>(passes: &[Figures], beamwidth: Angle) -> Document<'a> {
    let mut document = Document::default();
    let said = match passes.is_empty() {
        true => vec![Block::Paragraph("No demand was followed.".to_owned())],
        false => {
            let count = match passes.len() {
                1 => "1 pass".to_owned(),
                n => format!("{} passes", crate::number::count(n)),
            };
            let head = format!(
                "{count} through the relay; the beam is {} deg wide, and on target is where less \
                 than {ON_TARGET_DB} dB is lost.",
                significant(beamwidth.degrees(), 3),
            );
            let each = passes.iter().map(|f| Point::from(sentence(f).as_str()));
            vec![Block::Paragraph(head), Block::Steps(each.collect())]
        }
    };
    document.add(Section {
        role: Role::Verdict,
        blocks: said,
        ..Section::default()
    });
    document
}

/// How a pass went, the verdict first.
fn sentence(figures: &Figures) -> String {
    let share = match figures.followed_s > 0.0 {
        true => 100.0 * figures.on_target_s / figures.followed_s,
        false => 0.0,
    };
    let mut said = format!(
        "On target {} % of {} ({} to {}).",
        fixed(share, 1),
        stretch(figures.followed_s),
        clock(figures.from_utc),
        clock(figures.to_utc)
    );
    if let (Some(lag), Some(at)) = (figures.largest_lag_deg, figures.largest_lag_utc) {
        said.push_str(&format!(
            " Largest lag {} deg, at {}.",
            significant(lag, 2),
            clock(at)
        ));
    }
    if let Some(lost) = figures.lost_db {
        said.push_str(&format!(
            " With the correction {} dB lost on average while on target",
            significant(lost, 2)
        ));
        said.push_str(&match figures.lost_without_correction_db {
            Some(without) => format!("; without it {} dB.", significant(without, 2)),
            None if figures.beyond_the_beam_without_correction_s > 0.0 => format!(
                "; without it the beam would have missed by more than its own width for {}.",
                stretch(figures.beyond_the_beam_without_correction_s)
            ),
            None => ".".to_owned(),
        });
    } else {
        said.push_str(" The beam never came on target.");
    }
    said
}

/// `10:02:11`.
pub fn clock(time: crate::time::Utc) -> String {
    time.to_string().get(11..19).unwrap_or_default().to_owned()
}

/// `42 s` or `8.4 min`.
fn stretch(seconds: f64) -> String {
    match seconds {
        s if s < 120.0 => format!("{} s", fixed(s, 0)),
        s if s < 7200.0 => format!("{} min", fixed(s / 60.0, 1)),
        s => format!("{} h", fixed(s / 3600.0, 1)),
    }
}
