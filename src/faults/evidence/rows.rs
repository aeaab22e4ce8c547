//! Bad peaks, in words with numbers.

use super::{finding, surprise};
use crate::explain::{Alike, BadKind, BadPeak, Explanation, Fault, FaultAxis};
use crate::faults::finding::{Finding, Rival, Subject};
use crate::mount::{AxisKind, Kind};
use crate::number;
use crate::solve::words;
use crate::station::Station;

/// Bad peaks grouped by kind.
pub fn of_rows(explanation: &Explanation, station: &Station) -> Vec<Finding> {
    let bad = explanation.bad_peaks.as_slice();
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
            findings.push(of_kind(explanation, fault, &of));
        }
    }
    let alike = explanation.alike.as_ref();
    findings.extend(alike.map(|a| of_alike(explanation, station, bad, a)));
    findings
}

/// Bad peaks that are off by the same amount: an axis that slipped and came back, or something that
/// looks the same.
fn of_alike(
    explanation: &Explanation,
    station: &Station,
    bad: &[BadPeak],
    alike: &Alike,
) -> Finding {
    /// An axis is called off when its step is this many standard deviations: often only one axis
    /// moves, and a limit of three would name both too often. Common practice, no source.
    const OFF: f64 = 4.0;
    let mount = explanation.session.kind();
    let of: Vec<&BadPeak> = alike.members.iter().map(|p| &bad[*p]).collect();
    let rows: Vec<usize> = of.iter().map(|b| b.row).collect();
    let off = [0, 1].map(|a| alike.step[a].abs() > alike.sigma[a] * OFF);
    let larger = usize::from(alike.step[1].abs() > alike.step[0].abs());
    let said: Vec<String> = ([0, 1].into_iter())
        .filter(|a| off[*a])
        .map(|a| {
            format!(
                "{} readings are off by {:+.2} deg, each to within {} deg",
                mount.axes()[a].words(),
                alike.step[a].degrees(),
                number::two_digits(alike.spread[a].degrees())
            )
        })
        .collect();
    let (fault, likely) = match (alike.emitter.and_then(|k| station.emitters.get(k)), larger) {
        (Some(emitter), _) => (
            Fault::WrongEmitter,
            format!(
                "all are peaks of {}: another source close to it, or a wrong position for \
                 it in the station file",
                emitter.name
            ),
        ),
        (None, axis) => (
            [Fault::AzimuthSlip, Fault::ElevationSlip][axis],
            if alike.together {
                "they follow each other in time: a slip that came back".to_owned()
            } else {
                "good peaks lie between them, so it came and went: steps lost and found again, a \
                 joint with two resting places, an offset left on for some of the rows, or another \
                 source close to the emitters"
                    .to_owned()
            },
        ),
    };
    let worst = of.iter().map(|b| b.p_value).fold(0.0, f64::max);
    let evidence = format!(
        "{} of {} peaks are off by the same amount: their {}; {likely}; a good peak anywhere in the log is this \
         far off with p-value {}",
        of.len(),
        explanation.session.peaks.len(),
        said.join(" and their "),
        number::probability(worst)
    );
    let axis = match off {
        [true, true] => FaultAxis::Both,
        _ => [FaultAxis::Azimuth, FaultAxis::Elevation][larger],
    };
    Finding {
        headline: format!(
            "{} peaks are off by the same amount ({})",
            rows.len(),
            words::rows(&rows)
        ),
        size: Some(alike.step[larger].degrees()),
        size_unit: "deg".to_owned(),
        sigma: Some(alike.sigma[larger].degrees()),
        rows,
        strength: of.iter().map(|b| surprise(b.p_value)).sum(),
        subject: Subject::Peaks(of.iter().map(|b| b.index).collect()),
        ..finding(mount, fault, axis, worst, evidence)
    }
}

fn of_kind(explanation: &Explanation, fault: Fault, of: &[(&BadPeak, &BadKind)]) -> Finding {
    let mount = explanation.session.kind();
    let mut each = Vec::new();
    let mut sizes = Vec::new();
    let mut axes = Vec::new();
    let mut unit = "deg";
    for (bad, kind) in of {
        let logged = &explanation.session.peaks[bad.index].emitter_name;
        let off = bad.off.size().degrees();
        match kind {
            BadKind::Emitter { really, left } => {
                each.push(format!(
                    "row {}, logged as {logged}, misses it by {off:.2} deg and {really} by {:.2} deg",
                    bad.row,
                    left.degrees()
                ));
                sizes.push(off);
                axes.push(FaultAxis::Both);
            }
            BadKind::Sidelobe { beamwidths } => {
                each.push(format!(
                    "row {} ({logged}) is {off:.2} deg off, {beamwidths:.2} beamwidths",
                    bad.row
                ));
                sizes.push(*beamwidths);
                unit = "beamwidths";
                axes.push(FaultAxis::Both);
            }
            BadKind::Digit {
                axis,
                by,
                exchanged,
            } => {
                each.push(format!(
                    "row {} ({logged}): the {} reading is off by {:+} deg{}",
                    bad.row,
                    axis.words_on(mount),
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
                    axis.words_on(mount)
                ));
                sizes.push(off);
                axes.push(*axis);
            }
            BadKind::Exchanged => {
                let [one, two] = mount.axes().map(AxisKind::words);
                each.push(format!(
                    "row {} ({logged}) fits with {one} and {two} exchanged",
                    bad.row
                ));
                sizes.push(off);
                axes.push(FaultAxis::Both);
            }
        }
    }
    let worst = of.iter().map(|(b, _)| b.p_value).fold(0.0, f64::max);
    let evidence = format!(
        "{}; a good peak anywhere in the log is this far off with p-value {}",
        each.join("; "),
        number::probability(worst)
    );
    let axis = if axes.iter().all(|a| *a == axes[0]) {
        axes[0]
    } else {
        FaultAxis::Both
    };
    sizes.sort_by(f64::total_cmp);
    let rows: Vec<usize> = of.iter().map(|(b, _)| b.row).collect();
    Finding {
        headline: words::capital(&format!("{}: {}", words::rows(&rows), row_fault(fault))),
        size: sizes.get(sizes.len() / 2).copied(),
        size_unit: unit.to_owned(),
        sigma: None,
        rows,
        strength: of.iter().map(|(b, _)| surprise(b.p_value)).sum(),
        rivals: rivals(mount, of),
        subject: Subject::Peaks(of.iter().map(|(b, _)| b.index).collect()),
        ..finding(mount, fault, axis, worst, evidence)
    }
}

/// Other possible causes for some of the rows.
fn rivals(mount: Kind, of: &[(&BadPeak, &BadKind)]) -> Vec<Rival> {
    let instead = |fault: Fault| of.iter().find(|(b, _)| b.instead.contains(&fault));
    Fault::ALL
        .into_iter()
        .filter_map(|fault| {
            let (bad, kind) = instead(fault)?;
            let either = [fault, kind.fault()];
            let tell = if either.contains(&Fault::WrongEmitter) {
                "peak both emitters again and compare frequency, strength and modulation"
            } else if either.contains(&Fault::Sidelobe) {
                "peak that emitter again with a search wider than three beamwidths: a sidelobe shows \
                 up again next to a stronger lobe, a slip of the pen does not"
            } else {
                "look at the notes or the display's photograph for that row"
            };
            Some(Rival {
                fault,
                name: fault.name_on(mount),
                axis: FaultAxis::Both,
                axis_name: FaultAxis::Both.key_on(mount),
                size: bad.off.size().degrees(),
                size_unit: "deg".to_owned(),
                sigma: bad.sigma.degrees(),
                tell: format!("row {}: {tell}", bad.row),
            })
        })
        .collect()
}

/// What happened to rows with a fault.
fn row_fault(fault: Fault) -> &'static str {
    match fault {
        Fault::WrongEmitter => "peaked on another emitter than logged",
        Fault::DigitSlip => "a digit of a reading is wrong",
        Fault::Sidelobe => "peaked on a sidelobe",
        Fault::WrongUnit => "written in another unit",
        _ => "columns exchanged",
    }
}
