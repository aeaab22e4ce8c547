//! Bad peaks, in words with numbers.

use super::{finding, surprise};
use crate::faults::finding::{Finding, Rival, Subject};
use crate::faults::ground::Ground;
use crate::faults::name::{Axis, Fault};
use crate::faults::rows::{BadKind, BadPeak};
use crate::solve::words;

/// Bad peaks of one kind together, and what to say of those that nothing explains.
pub fn of_rows(ground: &Ground, bad: &[BadPeak]) -> (Vec<Finding>, Vec<String>) {
    let mut findings = Vec::new();
    for fault in [
        Fault::WrongEmitter,
        Fault::DigitSlip,
        Fault::Sidelobe,
        Fault::WrongUnit,
        Fault::ColumnsExchanged,
    ] {
        let of: Vec<(&BadPeak, &BadKind)> = bad
            .iter()
            .filter_map(|b| b.kind.as_ref().map(|k| (b, k)))
            .filter(|(_, k)| k.fault() == fault)
            .collect();
        if !of.is_empty() {
            findings.push(of_kind(ground, fault, &of));
        }
    }
    let unnamed: Vec<&BadPeak> = bad.iter().filter(|b| b.kind.is_none()).collect();
    let notes = (!unnamed.is_empty()).then(|| {
        let each: Vec<String> = unnamed
            .iter()
            .map(|b| format!("{} by {:.2} deg", b.row, b.off.size().degrees()))
            .collect();
        format!(
            "bad without a cause that is known here: row {}",
            each.join(", row ")
        )
    });
    (findings, notes.into_iter().collect())
}

fn of_kind(ground: &Ground, fault: Fault, of: &[(&BadPeak, &BadKind)]) -> Finding {
    let mut each = Vec::new();
    let mut sizes = Vec::new();
    let mut axes = Vec::new();
    let mut unit = "deg";
    for (bad, kind) in of {
        let case = &ground.cases[bad.index];
        let logged = &case.observation.peak.emitter;
        let off = bad.off.size().degrees();
        match kind {
            BadKind::Emitter { really, left } => {
                each.push(format!(
                    "row {}, logged as {logged}, misses it by {off:.2} deg and {really} by {:.2} deg",
                    bad.row,
                    left.degrees()
                ));
                sizes.push(off);
                axes.push(Axis::Both);
            }
            BadKind::Sidelobe { beamwidths } => {
                each.push(format!(
                    "row {} ({logged}) is {off:.2} deg off, {beamwidths:.2} beamwidths",
                    bad.row
                ));
                sizes.push(*beamwidths);
                unit = "beamwidths";
                axes.push(Axis::Both);
            }
            BadKind::Digit {
                axis,
                by,
                exchanged,
            } => {
                each.push(format!(
                    "row {} ({logged}): the {} reading is off by {:+} deg{}",
                    bad.row,
                    axis.words(),
                    (by.degrees() * 100.0).round() / 100.0,
                    if *exchanged {
                        ", as if two digits were exchanged"
                    } else {
                        ""
                    }
                ));
                sizes.push(by.degrees().abs());
                axes.push(*axis);
            }
            BadKind::Unit { axis, unit } => {
                each.push(format!(
                    "row {} ({logged}): the reading of {} fits when taken as {unit}",
                    bad.row,
                    axis.words()
                ));
                sizes.push(off);
                axes.push(*axis);
            }
            BadKind::Exchanged => {
                each.push(format!(
                    "row {} ({logged}) fits with azimuth and elevation exchanged",
                    bad.row
                ));
                sizes.push(off);
                axes.push(Axis::Both);
            }
        }
    }
    let worst = of.iter().map(|(b, _)| b.false_alarm).fold(0.0, f64::max);
    let evidence = format!(
        "{}; a good peak anywhere in the log is so far off by chance with probability {}",
        each.join("; "),
        words::probability(worst)
    );
    let axis = if axes.iter().all(|a| *a == axes[0]) {
        axes[0]
    } else {
        Axis::Both
    };
    sizes.sort_by(f64::total_cmp);
    Finding {
        size: sizes.get(sizes.len() / 2).copied(),
        size_unit: unit.to_owned(),
        sigma: None,
        rows: of.iter().map(|(b, _)| b.row).collect(),
        strength: of.iter().map(|(b, _)| surprise(b.false_alarm)).sum(),
        rivals: rivals(of),
        subject: Subject::Peaks(of.iter().map(|(b, _)| b.index).collect()),
        ..finding(fault, axis, worst, evidence)
    }
}

/// What some of the rows could be instead.
fn rivals(of: &[(&BadPeak, &BadKind)]) -> Vec<Rival> {
    let instead = |fault: Fault| of.iter().find(|(b, _)| b.instead.contains(&fault));
    Fault::ALL
        .into_iter()
        .filter_map(|fault| {
            let (bad, kind) = instead(fault)?;
            let either = [fault, kind.fault()];
            let tell = if either.contains(&Fault::WrongEmitter) {
                "peak both emitters again and compare frequency, strength and modulation"
            } else if either.contains(&Fault::Sidelobe) {
                "peak that emitter again with a search wider than three beamwidths: the sidelobe is \
                 there again beside a stronger lobe, a slip of the pen is not"
            } else {
                "look at the notes or the display's photograph for that row"
            };
            Some(Rival {
                fault,
                axis: Axis::Both,
                size: bad.off.size().degrees(),
                size_unit: "deg".to_owned(),
                sigma: bad.sigma.degrees(),
                tell: format!("row {}: {tell}", bad.row),
            })
        })
        .collect()
}
