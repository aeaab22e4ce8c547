//! The report as one HTML page: pictures and typeface inside it, nothing fetched.
//!
//! Every number that also stands in the calibration file is a `data` element whose `value`
//! is the unrounded number, so that page and file can be compared by machine.

use base64::Engine;
use base64::prelude::BASE64_STANDARD as BASE64;

use super::{Report, summary, words};
use crate::logbook::TermState;
use crate::mount::{AxisKind, Group, Kind};
use crate::number;
use crate::number::probability;
use crate::plot::{REGULAR_TTF, Render, SEMIBOLD_TTF};
use crate::problem::printable;
use crate::solve::TermEstimate;

const STYLE: &str = include_str!("page.css");
/// At most this many unused peaks are listed, so that the page stays readable; the rest are
/// counted.
const MOST_LISTED: usize = 200;

/// The page.
pub fn page(report: &Report, pictures: &[Box<dyn Render>]) -> String {
    let mut html = Html::default();
    head(&mut html, report);
    verdict(&mut html, report);
    html.list(summary::FAULTS_HEADING, &summary::fault_lines(report));
    remedies(&mut html, report);
    next(&mut html, report);
    not_separable(&mut html, report);
    errors(&mut html, report);
    terms(&mut html, report);
    figures(&mut html, pictures);
    unused(&mut html, report);
    decisions(&mut html, report);
    html.list("Warnings", &report.outcome.warnings);
    html.list("Assumed", &summary::assumptions(report));
    foot(&mut html, report);
    html.text
}

/// Text of a user or of the program, safe within an element or an attribute.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in printable(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

/// Sentences of the program: as [`escaped`], with the sign that print has for plus or minus.
fn prose(text: &str) -> String {
    escaped(text).replace("+/-", "±")
}

/// A number as shown, with the unrounded one behind it.
fn data(value: f64, shown: &str) -> String {
    format!(
        "<data value=\"{value}\">{}</data>",
        escaped(&number::typographic(shown))
    )
}

/// The growing page.
#[derive(Default)]
struct Html {
    text: String,
}

impl Html {
    fn raw(&mut self, html: &str) {
        self.text.push_str(html);
        self.text.push('\n');
    }
    fn heading(&mut self, heading: &str) {
        self.raw(&format!("<h2>{}</h2>", escaped(heading)));
    }
    fn paragraph(&mut self, class: &str, text: &str) {
        self.raw(&format!("<p class=\"{class}\">{}</p>", prose(text)));
    }
    fn list(&mut self, heading: &str, items: &[String]) {
        if items.is_empty() {
            return;
        }
        self.raw("<section>");
        self.heading(heading);
        self.raw("<ul>");
        for item in items {
            self.raw(&format!("<li>{}</li>", prose(item)));
        }
        self.raw("</ul></section>");
    }
}

/// The start of a page up to its main part; `title` is safe already.
pub(super) fn opening(title: &str) -> String {
    let mut html = Html::default();
    html.raw("<!DOCTYPE html>");
    html.raw("<html lang=\"en\"><head><meta charset=\"utf-8\">");
    html.raw("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">");
    html.raw(&format!("<title>{title}</title>"));
    html.raw("<style>");
    for (weight, font) in [(400, REGULAR_TTF), (600, SEMIBOLD_TTF)] {
        html.raw(&format!(
            "@font-face{{font-family:\"Report Sans\";font-weight:{weight};\
             src:url(data:font/ttf;base64,{}) format(\"truetype\")}}",
            BASE64.encode(font)
        ));
    }
    html.raw(STYLE);
    html.text.push_str("</style></head><body><main>");
    html.text
}

fn head(html: &mut Html, report: &Report) {
    let site = escaped(&report.station.site.name);
    html.raw(&opening(&format!("Pointing of {site}")));
    html.raw(&format!(
        "<header><p class=\"kind\">Pointing report</p><h1>{site}</h1><dl>"
    ));
    let mut fact = |name: &str, words: &str| {
        html.raw(&format!("<dt>{name}</dt><dd>{}</dd>", escaped(words)));
    };
    fact("Place", &summary::place_words(report));
    fact("Dish", &summary::dish_words(&report.station.dish));
    fact("Peaks", &summary::peak_words(report));
    if let Some(session) = summary::session_words(report) {
        fact("Taken", &session);
    }
    html.raw("</dl></header>");
}

fn verdict(html: &mut Html, report: &Report) {
    html.raw("<section><dl class=\"verdict\">");
    for (about, said) in summary::verdict(report) {
        let about = escaped(&words::sentence(about));
        html.raw(&format!("<dt>{about}</dt><dd>{}</dd>", prose(&said)));
    }
    html.raw("</dl></section>");
}

fn caution(html: &mut Html, words: &str) {
    html.raw(&format!(
        "<p class=\"caution\"><strong>Caution</strong> {}</p>",
        escaped(words)
    ));
}

fn errors(html: &mut Html, report: &Report) {
    html.raw("<section><div class=\"figures\">");
    for line in summary::error_lines(report) {
        let loss = match &line.loss_db {
            Some(loss) => format!("{} dB lost on average", escaped(loss)),
            None => "beyond the main beam".to_owned(),
        };
        html.raw(&format!(
            "<div><span class=\"label\">{}</span><span class=\"big\">{} deg</span>\
             <span>{} % of the beamwidth</span><span>{loss}</span></div>",
            escaped(&words::sentence(line.name)),
            data(line.rms_deg, &line.degrees),
            escaped(&line.beam_percent),
        ));
    }
    html.raw("</div>");
    html.paragraph(
        "note",
        "Pointing error: rms of the whole offset on the sky over the used peaks. The loss is that of \
         a Gaussian beam, 12 (offset / beamwidth)² dB.",
    );
    html.raw("</section>");
}

fn terms(html: &mut Html, report: &Report) {
    html.raw("<section>");
    html.heading("Mount errors");
    html.raw(
        "<div class=\"wide\"><table><thead><tr><th>Error</th><th class=\"n\">Value</th><th class=\"n\">Uncertainty</th>\
         <th>Unit</th><th>State</th><th>What it means</th></tr></thead><tbody>",
    );
    let meanings = words::meanings(report.outcome);
    let mut told: Vec<Group> = Vec::new();
    for t in &report.outcome.terms {
        let group = t.term.group();
        let mut meaning = String::new();
        if !told.contains(&group) {
            told.push(group);
            let members = (report.outcome.terms.iter())
                .filter(|o| o.term.group() == group)
                .count();
            let text = (meanings.iter().find(|m| m.group == group)).map_or("", |m| m.text.as_str());
            let text = prose(&number::with_minus_signs(text));
            meaning = format!("<td rowspan=\"{members}\">{text}</td>");
        }
        html.raw(&term_row(report.outcome.model.kind(), t, &meaning));
    }
    html.raw("</tbody></table></div>");
    for feed in words::feeds(report.outcome, report.station) {
        html.paragraph("note", &feed);
    }
    html.paragraph("note", &summary::noise_words(report));
    for (a, b, r) in summary::tied_terms(report) {
        let tied =
            number::with_minus_signs(&summary::tied_words(report.outcome.model.kind(), a, b, r));
        html.paragraph("note", &tied);
    }
    html.raw("</section>");
}

fn term_row(kind: Kind, t: &TermEstimate, meaning: &str) -> String {
    let (value, sigma) = match (t.state, t.shown_sigma()) {
        (TermState::Fitted, Some(sigma)) => {
            let (v, s) = number::with_sigma(t.shown(), sigma);
            (data(t.shown(), &v), data(sigma, &s))
        }
        _ => {
            let shown = number::significant(t.shown(), 3);
            (data(t.shown(), &shown), "–".to_owned())
        }
    };
    let class = match t.state {
        TermState::Fitted => "fitted",
        TermState::Held => "held",
        TermState::NotSeparable => "not-separable",
    };
    format!(
        "<tr class=\"{class}\" id=\"{}\"><th scope=\"row\">{}</th><td class=\"n\">{value}</td>\
         <td class=\"n\">{sigma}</td><td>{}</td><td class=\"state\">{}</td>{meaning}</tr>",
        kind.term_name(t.term),
        words::term_name(kind, t.term),
        words::unit_name(t.term.unit()),
        words::state_name(t.state),
    )
}

fn decisions(html: &mut Html, report: &Report) {
    html.raw("<section><details><summary>Which errors were fitted, and why</summary>");
    html.raw(
        "<div class=\"wide\"><table><thead><tr><th></th><th>Fitted</th><th class=\"n\">p-value</th>\
         <th class=\"n\">BIC gain</th><th class=\"n\">CV error</th></tr></thead><tbody>",
    );
    let mut untried = Vec::new();
    for d in &report.outcome.decisions {
        let Some(n) = d.numbers() else {
            untried.push(format!("{}: {}", d.name, d.reason()));
            continue;
        };
        html.raw(&format!(
            "<tr><th scope=\"row\">{}</th><td>{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td>\
             <td class=\"n\">{}</td></tr>",
            escaped(&d.name),
            if d.admitted { "yes" } else { "no" },
            probability(n.p_value),
            number::typographic(&number::fixed(n.bic_fall, 1)),
            n.cross_validation
                .map_or("–".to_owned(), |c| number::fixed(c, 2)),
        ));
    }
    html.raw("</tbody></table></div>");
    html.paragraph("note", summary::DECISIONS_NOTE);
    for item in &untried {
        html.paragraph("note", item);
    }
    html.raw("</details></section>");
}

fn not_separable(html: &mut Html, report: &Report) {
    if report.outcome.not_separable.is_empty() {
        return;
    }
    html.raw("<section>");
    html.heading("What these peaks cannot tell apart");
    for group in &report.outcome.not_separable {
        let terms: Vec<_> = group.terms.iter().map(|(t, _)| *t).collect();
        html.raw(&format!(
            "<p><strong>{}</strong>: {}</p>",
            escaped(&words::term_list(report.outcome.model.kind(), &terms)),
            escaped(&group.meaning)
        ));
        if !group.remedy.is_empty() {
            html.paragraph("", &format!("To tell them apart: {}", group.remedy));
        }
    }
    html.raw("</section>");
}

fn remedies(html: &mut Html, report: &Report) {
    if report.remedies.is_empty() {
        return;
    }
    html.raw("<section>");
    html.heading("What can be done by hand");
    caution(html, super::caution::MOUNT);
    for r in report.remedies {
        html.raw("<div class=\"remedy\">");
        html.raw(&format!("<h3>{}</h3>", prose(&r.title)));
        html.paragraph("", &r.text);
        if !r.caution.is_empty() {
            caution(html, &r.caution);
        }
        html.raw("</div>");
    }
    html.raw("</section>");
}

fn next(html: &mut Html, report: &Report) {
    html.raw("<section>");
    html.heading("What to do next");
    if super::caution::sun_was_used(report) {
        caution(html, super::caution::SUN);
    }
    html.raw("<ol>");
    for step in summary::next_steps(report) {
        let command = (step.command.iter())
            .map(|c| format!(" <code>{}</code>", escaped(c)))
            .collect::<String>();
        html.raw(&format!("<li>{}{command}</li>", escaped(&step.words)));
    }
    html.raw("</ol></section>");
}

fn figures(html: &mut Html, pictures: &[Box<dyn Render>]) {
    for picture in pictures {
        html.raw(&format!("<figure id=\"{}\">", escaped(picture.file_stem())));
        html.raw(&format!("<h2>{}</h2>", escaped(&picture.title())));
        html.raw(picture.inline_svg().trim_end());
        let caption = escaped(&picture.caption());
        html.raw(&format!("<figcaption>{caption}</figcaption></figure>"));
    }
}

fn unused(html: &mut Html, report: &Report) {
    let peaks = summary::unused_peaks(report);
    if peaks.is_empty() {
        return;
    }
    html.raw("<section>");
    html.heading("Peaks not used");
    html.raw(
        "<div class=\"wide\"><table><thead><tr><th class=\"n\">Row</th><th class=\"n\">Line</th><th>Time (UTC)</th>\
         <th>Emitter</th><th class=\"n\">Cross-elevation residual (deg)</th>\
         <th class=\"n\">Elevation residual (deg)</th><th class=\"n\">Whole (deg)</th><th>Why</th>\
         </tr></thead><tbody>",
    );
    for p in peaks.iter().take(MOST_LISTED) {
        let part = |v: &Option<(f64, String)>| match v {
            Some((value, shown)) => data(*value, shown),
            None => "not measured".to_owned(),
        };
        html.raw(&format!(
            "<tr><td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"time\">{}</td>\
             <td class=\"free\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{}</td>\
             <td class=\"free\">{}</td></tr>",
            p.row,
            p.line,
            p.time,
            escaped(&p.emitter),
            part(&p.cross_elevation),
            part(&p.elevation),
            p.size,
            escaped(&p.why)
        ));
    }
    html.raw("</tbody></table></div>");
    if peaks.len() > MOST_LISTED {
        let more = number::count(peaks.len() - MOST_LISTED);
        let words = format!(
            "… and {more} more, all listed in {}.",
            report.calibration_name
        );
        html.paragraph("note", &words);
    }
    html.raw("</section>");
}

fn foot(html: &mut Html, report: &Report) {
    let kind = report.outcome.model.kind();
    let [one, two] = kind.axes().map(AxisKind::words);
    html.raw(&format!(
        "<footer><p>Conventions: azimuth from true north, clockwise; elevation from the horizontal; \
         {} is {} {one} difference times cos({two}), an angle on the sky; a residual \
         is the emitter's direction minus the beam's. Numbers are those of {}, rounded to what their \
         uncertainty supports.</p><p>Made by plumbeam {} on {} UTC.</p></footer>",
        kind.axes()[1].cross_words(),
        if one.starts_with(['a', 'X', 'h']) { "an" } else { "a" },
        escaped(report.calibration_name),
        env!("CARGO_PKG_VERSION"),
        escaped(&summary::minute_words(report.created)),
    ));
    html.raw("</main></body></html>");
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{self, Session};
    use super::super::pictures;
    use super::*;

    fn made(session: &Session) -> String {
        let (outcome, station) = (fixture::outcome(session), fixture::station());
        let remedies = fixture::remedies();
        let report = fixture::report(&outcome, &station, &remedies);
        page(&report, &pictures(&report))
    }

    /// The page without its pictures and typeface.
    fn skeleton(html: &str) -> String {
        let mut out = String::new();
        let mut drawing = false;
        for line in html.lines() {
            if line.starts_with("<svg") {
                drawing = true;
                out.push_str("<svg/>\n");
            }
            if !drawing && !line.starts_with("@font-face") {
                out.push_str(line);
                out.push('\n');
            }
            drawing &= line != "</svg>";
        }
        without_values(&out.replace(STYLE, "/* page.css */"))
    }

    /// Unrounded numbers end differently on other machines.
    fn without_values(html: &str) -> String {
        let mut parts = html.split("<data value=\"");
        let mut out = parts.next().unwrap_or_default().to_owned();
        for part in parts {
            let (_, rest) = part.split_once('"').unwrap();
            out.push_str("<data value=\"…\"");
            out.push_str(rest);
        }
        out
    }

    #[test]
    fn the_skeleton_of_the_page() {
        insta::assert_snapshot!(skeleton(&made(&Session::default())));
    }

    #[test]
    fn nothing_is_fetched() {
        let html = made(&Session::default());
        for (at, _) in html.match_indices("http") {
            let link = &html[at..html.len().min(at + 30)];
            // The name of the SVG language, which nobody fetches.
            assert!(link.starts_with("http://www.w3.org/2000/svg"), "{link}");
        }
        assert!(!html.contains("<script") && !html.contains("<link") && !html.contains("src=\""));
    }

    #[test]
    fn the_numbers_are_those_of_the_outcome() {
        let outcome = fixture::outcome(&Session::default());
        let html = made(&Session::default());
        for t in &outcome.terms {
            let row = html
                .split(&format!("id=\"{}\"", Kind::AzEl.term_name(t.term)))
                .nth(1)
                .unwrap();
            let mut values = row.split("<data value=\"").skip(1).map(|v| {
                let (number, _) = v.split_once('"').unwrap();
                number.parse::<f64>().unwrap()
            });
            assert_eq!(values.next(), Some(t.shown()));
            if let Some(sigma) = t.shown_sigma() {
                assert_eq!(values.next(), Some(sigma));
            }
        }
        for rms in [outcome.rms_before, outcome.rms_after] {
            assert!(html.contains(&format!("<data value=\"{}\">", rms.degrees())));
        }
    }

    #[test]
    fn user_text_is_escaped() {
        let mut outcome = fixture::outcome(&Session::default());
        for p in &mut outcome.peaks {
            p.emitter = "<b>\u{1b}&\"'".to_owned();
            p.why = "<script>".to_owned();
        }
        outcome.warnings.push("<i>&".to_owned());
        let mut station = fixture::station();
        station.site.name = "</title><script>alert(1)</script>\u{0}".to_owned();
        let report = fixture::report(&outcome, &station, &[]);
        let html = page(&report, &pictures(&report));
        assert!(!html.contains("<script") && !html.contains("<b>") && !html.contains("<i>"));
        assert!(html.chars().all(|c| !c.is_control() || c == '\n'));
    }

    #[test]
    fn long_lists_end() {
        let session = Session {
            peaks: 5000,
            bad_every: 3,
            ..Session::default()
        };
        let html = made(&session);
        assert!(html.contains("and 1,466 more, all listed in calibration.json"));
    }
}
