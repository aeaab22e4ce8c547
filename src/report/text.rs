//! The report on the terminal: plain text, at most [`WIDTH`] columns.

use std::fmt::Write;

use super::layout::{cut, point_aligned, wrapped};
use super::terminal::{Colour, Page, WIDTH};
use super::{Report, caution, summary, words};
use crate::logbook::TermState;
use crate::mount::AxisKind;
use crate::number;
use crate::number::probability;
use crate::problem::printable;

/// At most this many unused peaks are listed, a screenful; the rest are counted.
const MOST_LISTED: usize = 30;

/// The report as text.
pub fn text(report: &Report, colour: Colour) -> String {
    let mut page = Page::new(colour);
    title(&mut page, report);
    for (about, words) in summary::verdict(report) {
        page.fact(about, &words);
    }
    let faults = summary::FAULTS_HEADING.replacen("Faults", "FAULTS", 1);
    page.list(&faults, &summary::fault_lines(report));
    remedies(&mut page, report);
    not_separable(&mut page, report);
    errors(&mut page, report);
    terms(&mut page, report);
    unused(&mut page, report);
    if report.explain {
        decisions(&mut page, report);
    }
    page.list("WARNINGS", &escaped(&report.outcome.warnings));
    page.list("ASSUMED", &summary::assumptions(report));
    session(&mut page, report);
    next(&mut page, report);
    page.text
}

fn escaped(lines: &[String]) -> Vec<String> {
    lines.iter().map(|l| printable(l)).collect()
}

fn title(page: &mut Page, report: &Report) {
    let title = cut(&printable(&report.station.site.name), WIDTH - 12);
    let title = page.colour.bold(&format!("Pointing of {title}"));
    page.line(&title);
}

fn session(page: &mut Page, report: &Report) {
    page.heading("THE SESSION");
    page.fact("place", &summary::place_words(report));
    page.fact("dish", &summary::dish_words(&report.station.dish));
    page.fact("peaks", &summary::peak_words(report));
    if let Some(session) = summary::session_words(report) {
        page.fact("taken", &session);
    }
}

fn errors(page: &mut Page, report: &Report) {
    page.heading("POINTING ERROR, rms of the whole offset on the sky over the used peaks");
    let lines = summary::error_lines(report);
    let degrees = point_aligned(&lines.each_ref().map(|l| l.degrees.clone()));
    let beams = point_aligned(&lines.each_ref().map(|l| l.beam_percent.clone()));
    let losses = point_aligned(
        &lines
            .each_ref()
            .map(|l| l.loss_db.clone().unwrap_or_default()),
    );
    for (i, line) in lines.iter().enumerate() {
        let loss = match &line.loss_db {
            Some(_) => format!("{} dB lost on average", losses[i]),
            None => "beyond the main beam".to_owned(),
        };
        page.line(&format!(
            "  {:<8}{} deg   {} % of the beamwidth   {loss}",
            line.name, degrees[i], beams[i]
        ));
    }
}

fn terms(page: &mut Page, report: &Report) {
    page.heading("MOUNT ERRORS");
    let mut rows = vec![[
        "error".to_owned(),
        "value".to_owned(),
        "uncertainty".to_owned(),
        "unit".to_owned(),
        "state".to_owned(),
    ]];
    let (mut values, mut sigmas) = (Vec::new(), Vec::new());
    for t in &report.outcome.terms {
        let (value, sigma) = match (t.state, t.shown_sigma()) {
            (TermState::Fitted, Some(sigma)) => number::with_sigma(t.shown(), sigma),
            _ => (number::significant(t.shown(), 3), "-".to_owned()),
        };
        values.push(value);
        sigmas.push(sigma);
    }
    let (values, sigmas) = (point_aligned(&values), point_aligned(&sigmas));
    for (t, (value, sigma)) in report
        .outcome
        .terms
        .iter()
        .zip(values.into_iter().zip(sigmas))
    {
        rows.push([
            words::term_name(report.outcome.model.kind(), t.term).to_owned(),
            value,
            sigma,
            words::unit_name(t.term.unit()).to_owned(),
            words::state_name(t.state).to_owned(),
        ]);
    }
    let width = |i: usize| rows.iter().map(|r| r[i].chars().count()).max().unwrap_or(0);
    let (name, value, sigma, unit) = (width(0), width(1), width(2), width(3));
    for r in &rows {
        page.line(&format!(
            "  {:<name$}  {:>value$}  {:>sigma$}  {:<unit$}  {}",
            r[0], r[1], r[2], r[3], r[4]
        ));
    }
    page.line(&wrapped("  ", &summary::noise_words(report), WIDTH));

    page.heading("WHAT THEY MEAN");
    for meaning in words::meanings(report.outcome) {
        let lead = format!(
            "  {:<20}",
            words::group_name(report.outcome.model.kind(), meaning.group)
        );
        page.line(&wrapped(&lead, &meaning.text, WIDTH));
    }
    for feed in words::feeds(report.outcome, report.station) {
        page.line(&wrapped("  ", &feed, WIDTH));
    }
    for (a, b, r) in summary::tied_terms(report) {
        let note = summary::tied_words(report.outcome.model.kind(), a, b, r);
        page.line(&wrapped("  ", &note, WIDTH));
    }
}

fn decisions(page: &mut Page, report: &Report) {
    page.heading("WHICH ERRORS WERE FITTED, AND WHY");
    let mut rows = vec![["", "fitted", "p-value", "BIC gain", "CV error"].map(str::to_owned)];
    let mut untried = Vec::new();
    for d in &report.outcome.decisions {
        let name = printable(&d.name);
        let fitted = if d.admitted { "yes" } else { "no" };
        match d.numbers() {
            Some(n) => rows.push([
                name,
                fitted.to_owned(),
                probability(n.p_value),
                number::fixed(n.bic_fall, 1),
                n.cross_validation
                    .map_or("-".to_owned(), |c| number::fixed(c, 2)),
            ]),
            None => untried.push(format!("{name}: {}", d.reason())),
        }
    }
    let width = |i: usize| rows.iter().map(|r| r[i].chars().count()).max().unwrap_or(0);
    let widths = [0, 1, 2, 3, 4].map(width);
    for r in &rows {
        page.line(&format!(
            "  {:<a$}  {:<b$}  {:>c$}  {:>d$}  {:>e$}",
            r[0],
            r[1],
            r[2],
            r[3],
            r[4],
            a = widths[0],
            b = widths[1],
            c = widths[2],
            d = widths[3],
            e = widths[4]
        ));
    }
    page.line(&wrapped("  ", summary::DECISIONS_NOTE, WIDTH));
    for item in &untried {
        page.line(&wrapped("  - ", item, WIDTH));
    }
}

fn not_separable(page: &mut Page, report: &Report) {
    if report.outcome.not_separable.is_empty() {
        return;
    }
    page.heading("WHAT THESE PEAKS CANNOT TELL APART");
    for group in &report.outcome.not_separable {
        let terms: Vec<_> = group.terms.iter().map(|(t, _)| *t).collect();
        let words = format!(
            "{}: {}",
            words::term_list(report.outcome.model.kind(), &terms),
            printable(&group.meaning)
        );
        page.line(&wrapped("  - ", &words, WIDTH));
        if !group.remedy.is_empty() {
            let remedy = format!("To tell them apart: {}", printable(&group.remedy));
            page.line(&wrapped("    ", &remedy, WIDTH));
        }
    }
}

fn unused(page: &mut Page, report: &Report) {
    let peaks = summary::unused_peaks(report);
    if peaks.is_empty() {
        return;
    }
    let [_, axis_2] = report.outcome.model.kind().axes();
    let cross = match axis_2 {
        AxisKind::Declination => "cross-decl",
        AxisKind::Y => "cross-Y",
        _ => "cross-elev",
    };
    let along = match axis_2 {
        AxisKind::Declination => "decl",
        other => other.words(),
    };
    page.heading("PEAKS NOT USED, with what they are off by after the fit");
    page.line(&format!(
        "  {:>6} {:>6}  {:<16}  {:<14} {:>10} {:>10} {:>9}  unit",
        "row", "line", "time (UTC)", "emitter", cross, along, "whole"
    ));
    for p in peaks.iter().take(MOST_LISTED) {
        let part = |v: &Option<(f64, String)>| match v {
            Some((_, shown)) => shown.clone(),
            None => "-".to_owned(),
        };
        page.line(&format!(
            "  {:>6} {:>6}  {:<16}  {:<14} {:>10} {:>10} {:>9}  deg",
            p.row,
            p.line,
            p.time,
            cut(&p.emitter, 14),
            part(&p.cross_elevation),
            part(&p.elevation),
            p.size
        ));
        if !p.why.is_empty() {
            page.line(&wrapped("                 ", &p.why, WIDTH));
        }
    }
    if peaks.len() > MOST_LISTED {
        let more = number::count(peaks.len() - MOST_LISTED);
        let mut words = String::new();
        let _ = write!(
            words,
            "... and {more} more, all listed in {}",
            printable(report.calibration_name)
        );
        page.line(&wrapped("  ", &words, WIDTH));
    }
}

fn remedies(page: &mut Page, report: &Report) {
    if report.remedies.is_empty() {
        return;
    }
    page.heading("WHAT CAN BE DONE BY HAND");
    page.line(&(page.colour).warning(&wrapped("  Caution: ", caution::MOUNT, WIDTH)));
    for r in report.remedies {
        let words = format!("{}: {}", printable(&r.title), printable(&r.text));
        page.line(&wrapped("  - ", &words, WIDTH));
        if !r.caution.is_empty() {
            let caution = wrapped("    Caution: ", &printable(&r.caution), WIDTH);
            let set = page.colour.warning(&caution);
            page.line(&set);
        }
    }
}

fn next(page: &mut Page, report: &Report) {
    page.heading("WHAT TO DO NEXT");
    if caution::sun_was_used(report) {
        page.line(&(page.colour).warning(&wrapped("  Caution: ", caution::SUN, WIDTH)));
    }
    for (i, step) in summary::next_steps(report).iter().enumerate() {
        page.line(&wrapped(&format!("  {}. ", i + 1), &step.words, WIDTH));
        if let Some(command) = &step.command {
            // Whole on a line of its own, so that it can be copied.
            page.line(&format!("       {}", cut(command, WIDTH - 7)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{self, Session};
    use super::*;

    fn lines_too_wide(text: &str) -> Vec<&str> {
        (text.lines())
            .filter(|l| l.chars().count() > WIDTH)
            .collect()
    }

    #[test]
    fn the_whole_report() {
        let (outcome, station) = (fixture::outcome(&Session::default()), fixture::station());
        let remedies = fixture::remedies();
        let text = text(
            &fixture::report(&outcome, &station, &remedies),
            Colour::Never,
        );
        assert_eq!(lines_too_wide(&text), Vec::<&str>::new());
        insta::assert_snapshot!(text);
    }

    #[test]
    fn a_small_outcome_without_remedies() {
        let session = Session {
            peaks: 4,
            bad_every: 0,
            ..Session::default()
        };
        let mut outcome = fixture::outcome(&session);
        outcome.not_separable.clear();
        outcome
            .peaks
            .iter_mut()
            .for_each(|p| p.emitter = "moon".to_owned());
        let station = fixture::station();
        let text = text(&fixture::report(&outcome, &station, &[]), Colour::Never);
        assert!(!text.contains("CAUTION"), "{text}");
        insta::assert_snapshot!(text);
    }

    #[test]
    fn hostile_names_and_huge_lists_stay_in_their_columns() {
        let session = Session {
            peaks: 20_000,
            bad_every: 3,
            azimuth_zero_deg: -143.2,
            ..Session::default()
        };
        let mut outcome = fixture::outcome(&session);
        for p in &mut outcome.peaks {
            p.emitter = format!("{}\u{1b}[31m\n{}", p.emitter, "long ".repeat(9));
            p.why = "w".repeat(300);
        }
        let mut station = fixture::station();
        station.site.name = "n".repeat(500) + "\u{7}";
        let text = text(&fixture::report(&outcome, &station, &[]), Colour::Never);
        assert_eq!(lines_too_wide(&text), Vec::<&str>::new());
        let control = text.chars().find(|c| c.is_control() && *c != '\n');
        assert_eq!(control, None);
        assert!(text.lines().count() < 400);
        assert!(text.contains("beyond the main beam"), "{text}");
    }

    #[test]
    fn the_sun_brings_its_caution() {
        let (outcome, station) = (fixture::outcome(&Session::default()), fixture::station());
        let report = fixture::report(&outcome, &station, &[]);
        assert!(text(&report, Colour::Never).contains("Caution: The Sun was used."));
        let coloured = text(&report, Colour::Always);
        assert!(coloured.contains("\u{1b}[1;33m  Caution"));
    }

    #[test]
    fn a_perfect_fit_and_no_peaks_at_all_can_be_told() {
        let station = fixture::station();
        for peaks in [0, 1, 9] {
            let session = Session {
                peaks,
                noise_deg: 0.0,
                ..Session::default()
            };
            let outcome = fixture::outcome(&session);
            let text = text(&fixture::report(&outcome, &station, &[]), Colour::Never);
            assert!(!text.contains("NaN") && !text.contains(" inf "), "{text}");
        }
    }
}
