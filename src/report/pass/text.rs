//! Passes in words.

use super::super::WIDTH;
use super::super::layout::wrapped;
use crate::angle::Angle;
use crate::live::{Figures, ON_TARGET_DB};
use crate::number::{counted, fixed, significant};

/// The passes of a log for the terminal.
pub fn pass_text(passes: &[Figures], beamwidth: Angle) -> String {
    let mut page = String::new();
    if passes.is_empty() {
        return "No demand was followed.\n".to_owned();
    }
    let head = format!(
        "{} through the relay; the beam is {} deg wide, and on target is where less than {} dB is lost.",
        counted(passes.len(), "pass").replace("passs", "passes"),
        significant(beamwidth.degrees(), 3),
        ON_TARGET_DB
    );
    page.push_str(&wrapped("", &head, WIDTH));
    page.push('\n');
    for (i, figures) in passes.iter().enumerate() {
        let lead = format!("{}. ", i + 1);
        page.push_str(&wrapped(&lead, &sentence(figures), WIDTH));
        page.push('\n');
    }
    page
}

/// How a pass went, the verdict first.
pub fn sentence(figures: &Figures) -> String {
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
