//! What a report says in sentences and figures, whatever it is written on.

use super::{Report, words};
use crate::angle::Angle;
use crate::faults::Diagnosis;
use crate::logbook::{ExpectedPointingError, TermState, Trust};
use crate::mount::{Kind, Term};
use crate::number;
use crate::problem::printable;
use crate::solve::{self, NoiseSource, Outcome, PeakOutcome};
use crate::station::{Dish, Site, Station};
use crate::time::Utc;

/// Above this correlation two fitted terms are reported as strongly correlated; common practice, no
/// source.
pub const STRONG_CORRELATION: f64 = 0.9;

/// The Gaussian beam describes the main lobe only: beyond one beamwidth, near its first null, no
/// loss is given.
const BEAM_HOLDS_TO: f64 = 1.0;

/// An rms offset, as an angle, in beamwidths and as a loss.
#[derive(Clone, Debug, PartialEq)]
pub struct ErrorLine {
    /// `before` or `after`.
    pub name: &'static str,
    /// Degrees, unrounded: as in the calibration file.
    pub rms_deg: f64,
    /// Degrees, to the digits that it deserves.
    pub degrees: String,
    /// As a share of the beamwidth, in percent.
    pub beam_percent: String,
    /// Mean loss in decibels; none where the beam is missed altogether.
    pub loss_db: Option<String>,
}

/// Decibels lost at an offset; none where the emitter is outside the main beam.
pub fn loss_words(dish: &Dish, offset: Angle) -> Option<String> {
    (offset / dish.beamwidth <= BEAM_HOLDS_TO).then(|| number::significant(dish.loss_db(offset), 2))
}

/// The error before and after.
pub fn error_lines(report: &Report) -> [ErrorLine; 2] {
    let outcome = report.outcome;
    let line = |name, rms: Angle| {
        let beams = rms / report.station.dish.beamwidth;
        ErrorLine {
            name,
            rms_deg: rms.degrees(),
            degrees: number::rms(rms.degrees(), outcome.degrees_of_freedom),
            beam_percent: number::significant(beams * 100.0, 2),
            loss_db: loss_words(&report.station.dish, rms),
        }
    };
    [
        line("before", outcome.rms_before),
        line("after", outcome.rms_after),
    ]
}

/// An angle as degrees, a share of the beam and decibels.
fn error_words(report: &Report, error: Angle) -> String {
    let beams = error / report.station.dish.beamwidth;
    let loss = match loss_words(&report.station.dish, error) {
        Some(loss) => format!("{loss} dB"),
        None => "beyond the main beam".to_owned(),
    };
    format!(
        "{} deg ({} % of the beamwidth, {loss})",
        number::significant(error.degrees(), 2),
        number::significant(beams * 100.0, 2)
    )
}

/// Whether the corrected mount points well enough, in one sentence.
pub fn in_one_sentence(outcome: &Outcome, station: &Station) -> String {
    /// A pointing error within this share of the beamwidth loses an eighth of a decibel at most:
    /// nobody hears it (common practice, no source).
    const GOOD: f64 = 0.1;
    /// Within this share it loses less than 1.4 dB (common practice, no source).
    const USABLE: f64 = 1.0 / 3.0;
    if outcome.misread.is_some() {
        return "The log was misread: correct that first.".to_owned();
    }
    let (trust, _) = solve::trust(outcome, station);
    if trust == Trust::None {
        return "Do not use this: the numbers mean nothing yet.".to_owned();
    }
    let dish = &station.dish;
    let Some(sky) = &outcome.sky_error else {
        return "How well the corrected mount will point is not known.".to_owned();
    };
    let loss = match loss_words(dish, sky.rms_95) {
        Some(loss) => format!("loses at most {loss} dB on average over the sky"),
        None => "may miss the main beam".to_owned(),
    };
    let verdict = match sky.rms_95 / dish.beamwidth {
        share if share <= GOOD => "True enough",
        share if share <= USABLE => "Usable, and more peaks would help",
        _ => "Not true enough yet",
    };
    let but = match trust {
        Trust::Limited => "; see what limits it",
        _ => "",
    };
    format!("{verdict}: once corrected, the mount {loss}, with 95 % certainty{but}.")
}

/// What the verdict rests on in at most six lines: what each is about, and the words.
pub fn verdict(report: &Report) -> Vec<(&'static str, String)> {
    let outcome = report.outcome;
    let mut said = Vec::new();
    let before = error_words(report, outcome.rms_before);
    said.push(("before", format!("{before}, rms over the peaks used")));
    match &outcome.sky_error {
        Some(sky) => said.push((
            "expected",
            format!(
                "{} rms over the reachable sky once corrected, with 95 % certainty within {} deg; \
                 largest, {} deg, at azimuth {:.0}, elevation {:.0} deg",
                error_words(report, sky.rms),
                number::significant(sky.rms_95.degrees(), 2),
                number::significant(sky.largest.degrees(), 2),
                sky.at.azimuth().degrees(),
                sky.at.elevation().degrees()
            ),
        )),
        None => said.push((
            "expected",
            format!(
                "not known over the sky; {} rms over the peaks used",
                error_words(report, outcome.rms_after)
            ),
        )),
    }
    said.push(("the log", log_words(report)));
    said.push(("do first", first_words(report)));
    if let Some(unknown) = unknown_words(report) {
        said.push(("not known", unknown));
    }
    said
}

/// What is expected of the corrected mount, for whoever uses a calibration or a table.
pub fn expected_words(expected: &ExpectedPointingError) -> String {
    let degrees = |value: f64| number::significant(value, 2);
    format!(
        "the corrected mount is expected to point to {} deg rms over the sky that it reaches, with \
         95 % certainty to {} deg; largest, {} deg, at azimuth {:.0}, elevation {:.0} deg",
        degrees(expected.rms_deg),
        degrees(expected.rms_95_deg),
        degrees(expected.largest_deg),
        expected.at.azimuth_deg,
        expected.at.elevation_deg
    )
}

/// The first findings, a line each, for the report of a solve; none when there are none.
fn first_findings(diagnosis: &Diagnosis) -> Vec<String> {
    /// Findings that a summary names; the page lists all.
    const MOST: usize = 5;
    let mut said: Vec<String> = (diagnosis.findings.iter().take(MOST))
        .map(|finding| printable(&finding.one_line()))
        .collect();
    if diagnosis.findings.len() > MOST {
        let more = diagnosis.findings.len() - MOST;
        said.push(format!("and {more} more"));
    }
    said
}

/// What is wrong with the log.
fn log_words(report: &Report) -> String {
    let outcome = report.outcome;
    if outcome.misread.is_some() {
        return "misread: nothing below is valid until that is corrected".to_owned();
    }
    let rows: Vec<usize> = (outcome.peaks.iter())
        .filter(|p| !p.used)
        .map(|p| p.row)
        .collect();
    if rows.is_empty() {
        return "every peak fits".to_owned();
    }
    let bad = outcome
        .explanation
        .as_ref()
        .map_or(0, |e| e.bad_peaks.len());
    let loud = if 5 * bad > outcome.peaks.len() {
        "; more than a fifth of all, so trust nothing here until you have checked them"
    } else {
        ""
    };
    format!("{} not used, see below{loud}", rows_words(&rows))
}

/// What to do first.
fn first_words(report: &Report) -> String {
    if let Some(misread) = &report.outcome.misread {
        return printable(misread);
    }
    let finding = (report.diagnosis).and_then(|d| d.findings.iter().find(|f| f.rows.is_empty()));
    if let Some(finding) = finding {
        return format!(
            "{} (below: how to confirm and mend it)",
            printable(&finding.headline)
        );
    }
    match report.remedies.first() {
        Some(remedy) => printable(&remedy.title),
        None => "nothing to mend: correct in software".to_owned(),
    }
}

/// What these peaks do not determine.
fn unknown_words(report: &Report) -> Option<String> {
    let outcome = report.outcome;
    let kind = outcome.model.kind();
    let held: Vec<Term> = (outcome.terms.iter())
        .filter(|t| t.state == TermState::NotSeparable)
        .map(|t| t.term)
        .collect();
    if !held.is_empty() {
        return Some(format!(
            "{} cannot be told from the rest with these peaks; which peaks would tell is below",
            words::term_list(kind, &held)
        ));
    }
    let (a, b, r) = tied_terms(report).into_iter().next()?;
    Some(format!(
        "{} and {} are strongly correlated ({}): well determined together, less well one by one",
        words::term_name(kind, a),
        words::term_name(kind, b),
        number::fixed(r, 3)
    ))
}

/// `row 7`, `rows 1, 2, 5`, or the first few and how many more.
fn rows_words(rows: &[usize]) -> String {
    crate::solve::words::rows(rows)
}

/// `1.80 m at 1700 MHz, half-power beamwidth 6.86 deg (computed …)`.
pub fn dish_words(dish: &Dish) -> String {
    let assumed = if dish.beamwidth_assumed {
        " (computed: 70 deg x wavelength / diameter)"
    } else {
        ""
    };
    format!(
        "{} m at {} MHz, half-power beamwidth {} deg{assumed}",
        number::fixed(dish.diameter_m, 2),
        number::significant(dish.frequency_mhz, 5).trim_end_matches(".0"),
        number::significant(dish.beamwidth.degrees(), 3)
    )
}

/// `47.0000 N 8.0000 E, 512 m above the ellipsoid`.
pub fn place_words(report: &Report) -> String {
    site_words(&report.station.site)
}

/// The same of a site.
pub fn site_words(site: &Site) -> String {
    let side = |angle: Angle, positive: &str, negative: &str| {
        let word = if angle.radians() < 0.0 {
            negative
        } else {
            positive
        };
        format!("{} deg {word}", number::fixed(angle.abs().degrees(), 4))
    };
    format!(
        "{}, {}, {} m above the ellipsoid",
        side(site.latitude, "north", "south"),
        side(site.longitude, "east", "west"),
        number::fixed(site.height_m, 0)
    )
}

/// To the minute: `2026-04-04 19:40`.
pub fn minute_words(t: Utc) -> String {
    let text = t.to_string();
    text.get(..16).unwrap_or(&text).replace('T', " ")
}

/// `60 in peaks.csv, 57 used, 3 not used`.
pub fn peak_words(report: &Report) -> String {
    let all = report.outcome.peaks.len();
    let used = report.outcome.peaks.iter().filter(|p| p.used).count();
    let rest = match all - used {
        0 => "all used".to_owned(),
        out => format!(
            "{} used, {} not used",
            number::count(used),
            number::count(out)
        ),
    };
    format!(
        "{} in {}, {rest}",
        number::count(all),
        printable(report.log_name)
    )
}

/// When the peaks were taken and on what; none without peaks.
pub fn session_words(report: &Report) -> Option<String> {
    let peaks = &report.outcome.peaks;
    let first = peaks.iter().map(|p| p.time).min()?;
    let last = peaks.iter().map(|p| p.time).max()?;
    let mut emitters: Vec<&str> = Vec::new();
    for p in peaks {
        if !emitters.contains(&p.emitter.as_str()) {
            emitters.push(&p.emitter);
        }
    }
    /// Emitters that a sentence names; the rest are counted.
    const MOST_NAMED: usize = 8;
    let names: Vec<String> = (emitters.iter().take(MOST_NAMED))
        .map(|n| printable(n))
        .collect();
    let more = match emitters.len().saturating_sub(MOST_NAMED) {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    Some(format!(
        "{} to {} UTC, on {}{more}",
        minute_words(first),
        minute_words(last),
        names.join(", ")
    ))
}

/// Where the uncertainties come from.
pub fn noise_words(report: &Report) -> String {
    let source = match report.outcome.noise {
        NoiseSource::Logged => "the standard deviations given in the log",
        NoiseSource::Scatter => "the scatter of the residuals",
    };
    format!(
        "One standard deviation each, from {source}; {} of freedom.",
        number::counted(report.outcome.degrees_of_freedom, "degree")
    )
}

/// Pairs of fitted terms that the data hardly tell apart.
pub fn tied_terms(report: &Report) -> Vec<(Term, Term, f64)> {
    let mut tied: Vec<_> = (report.outcome.correlations.iter())
        .filter(|(_, _, r)| r.abs() >= STRONG_CORRELATION)
        .copied()
        .collect();
    tied.sort_by(|a, b| b.2.abs().total_cmp(&a.2.abs()));
    tied
}

/// One peak as it is told.
#[derive(Clone, Debug, PartialEq)]
pub struct PeakWords {
    /// Row in the log.
    pub row: usize,
    /// Line in the log.
    pub line: usize,
    /// To the minute.
    pub time: String,
    /// Safe to print.
    pub emitter: String,
    /// Cross-elevation residual, degrees, unrounded and as shown; none when not measured.
    pub cross_elevation: Option<(f64, String)>,
    /// Elevation likewise.
    pub elevation: Option<(f64, String)>,
    /// Whole size, degrees, unrounded.
    pub size_deg: f64,
    /// The same as shown.
    pub size: String,
    /// Why it was not used, safe to print; empty when it was.
    pub why: String,
}

/// The peaks that were not used, in file order.
pub fn unused_peaks(report: &Report) -> Vec<PeakWords> {
    (report.outcome.peaks.iter())
        .filter(|p| !p.used)
        .map(peak)
        .collect()
}

/// A peak with its residuals.
pub fn peak(p: &PeakOutcome) -> PeakWords {
    let part = |measured: bool, angle: Angle, sigma: Angle| {
        measured.then(|| {
            let (value, sigma) = (angle.degrees(), sigma.degrees());
            (value, number::by_sigma(value, sigma))
        })
    };
    let kept = |measured: bool, angle: Angle| if measured { angle.degrees() } else { 0.0 };
    let size = kept(p.azimuth_measured, p.residual.cross_elevation)
        .hypot(kept(p.elevation_measured, p.residual.elevation));
    let sigma = (p.cross_elevation_sigma.degrees()).max(p.elevation_sigma.degrees());
    PeakWords {
        row: p.row,
        line: p.line,
        time: minute_words(p.time),
        emitter: printable(&p.emitter),
        cross_elevation: part(
            p.azimuth_measured,
            p.residual.cross_elevation,
            p.cross_elevation_sigma,
        ),
        elevation: part(
            p.elevation_measured,
            p.residual.elevation,
            p.elevation_sigma,
        ),
        size_deg: size,
        size: number::by_sigma(size, sigma),
        why: printable(&p.why),
    }
}

/// What the tool filled in for want of a better word.
pub fn assumptions(report: &Report) -> Vec<String> {
    let mut said: Vec<String> = (report.station.site.assumptions.iter())
        .map(|a| printable(a))
        .collect();
    if report.station.dish.beamwidth_assumed {
        said.push("the beamwidth was computed and not measured".to_owned());
    }
    said.extend(report.outcome.before_note.as_deref().map(|note| {
        format!(
            "the error before is given after this was corrected: {}",
            printable(note)
        )
    }));
    said
}

/// That two terms are tied together, in words.
pub fn tied_words(kind: Kind, a: Term, b: Term, correlation: f64) -> String {
    format!(
        "{} and {} are strongly correlated ({}): determined better together than one by one.",
        words::sentence(words::term_name(kind, a)),
        words::term_name(kind, b),
        number::fixed(correlation, 3)
    )
}

/// One thing to do.
#[derive(Clone, Debug, PartialEq)]
pub struct NextStep {
    /// In words.
    pub words: String,
    /// As typed.
    pub command: Option<String>,
}

/// What the columns of the table of decisions mean.
pub const DECISIONS_NOTE: &str = "p-value: the probability of as much by chance, corrected for all \
    that was tested (at most 0.01 admits). BIC gain: fall of the Bayesian information criterion \
    with it, more is better. CV error: error of peaks predicted from the others, with it over \
    without, below 1 is better.";

/// What the diagnosis found, a line each.
pub fn fault_lines(report: &Report) -> Vec<String> {
    report.diagnosis.map_or_else(Vec::new, first_findings)
}

/// Why a log could not be solved, with what the diagnosis makes of it.
pub fn unsolved(why: &str, diagnosis: Option<&Diagnosis>) -> String {
    const HELP: &str = "\n  help: ";
    let findings = diagnosis.map_or_else(Vec::new, first_findings);
    if findings.is_empty() || why.contains(HELP) {
        return why.to_owned();
    }
    format!("{why}{HELP}plumbeam faults finds: {}", findings.join("; "))
}

/// What to do now, in order.
pub fn next_steps(report: &Report) -> Vec<NextStep> {
    if let Some(misread) = &report.outcome.misread {
        return vec![NextStep {
            words: printable(misread),
            command: Some(format!("plumbeam faults {}", printable(report.log_name))),
        }];
    }
    let outcome = report.outcome;
    let calibration = printable(report.calibration_name);
    let step = |words: &str, command: Option<String>| NextStep {
        words: words.to_owned(),
        command,
    };
    let mut steps = Vec::new();
    if !outcome.not_separable.is_empty() {
        steps.push(step(
            "Take the peaks named above that tell the mixed errors apart, then solve again.",
            None,
        ));
    }
    if outcome.peaks.iter().any(|p| !p.used) {
        steps.push(step(
            "Look at the peaks not used: a wrong emitter, a slip of the pen or a bump can be corrected \
             in the log.",
            None,
        ));
    }
    if !report.remedies.is_empty() {
        steps.push(step(
            "Mend what can be mended by hand (above), then take new peaks and solve again: hardware \
             first, software for the rest.",
            None,
        ));
    }
    steps.push(step(
        "Write the correction table for the mount's software:",
        Some(format!("plumbeam table --calibration {calibration}")),
    ));
    steps.push(step(
        "To know more, let a plan say which peaks of the next hours tell most:",
        Some(format!(
            "plumbeam plan --calibration {calibration} --for 2h"
        )),
    ));
    steps.push(step(
        "After a move, a storm or a season, check with a few new peaks:",
        Some(format!(
            "plumbeam recheck --against {calibration} new-peaks.csv"
        )),
    ));
    steps
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{self, Session};
    use super::*;
    use crate::angle::Direction;
    use crate::explain::SkyError;

    /// The sentence when the corrected mount points to this share of the beamwidth.
    fn said(share: f64) -> String {
        let station = fixture::station();
        let mut outcome = fixture::outcome(&Session::default());
        let error = station.dish.beamwidth * share;
        outcome.sky_error = Some(SkyError {
            rms: error * 0.7,
            rms_95: error,
            largest: error * 2.0,
            at: Direction::apparent(Angle::ZERO, Angle::RIGHT * 0.5),
            allowed_for: Vec::new(),
            map: Vec::new(),
        });
        in_one_sentence(&outcome, &station)
    }

    #[test]
    fn the_sentence_follows_the_bound_in_beamwidths_and_tells_its_loss() {
        // Of a Gaussian beam it is 12 dB times the square of the offset in beamwidths.
        for (share, verdict, loss) in [
            (0.05, "True enough: ", "at most 0.030 dB"),
            (0.099, "True enough: ", "at most 0.12 dB"),
            (
                0.101,
                "Usable, and more peaks would help: ",
                "at most 0.12 dB",
            ),
            (
                0.33,
                "Usable, and more peaks would help: ",
                "at most 1.3 dB",
            ),
            (0.34, "Not true enough yet: ", "at most 1.4 dB"),
            (1.1, "Not true enough yet: ", "may miss the main beam"),
        ] {
            let said = said(share);
            assert!(said.starts_with(verdict), "{share}: {said}");
            assert!(said.contains(loss), "{share}: {said}");
        }
    }

    #[test]
    fn a_log_that_was_misread_gives_no_other_verdict() {
        let station = fixture::station();
        let mut outcome = fixture::outcome(&Session::default());
        outcome.misread = Some("the times are in another time zone".to_owned());
        let said = in_one_sentence(&outcome, &station);
        assert_eq!(said, "The log was misread: correct that first.");
    }
}
