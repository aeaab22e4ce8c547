//! The report of a solve as a document.

use super::document::{
    Block, Cell, Column, Document, Holds, Point, Role, Row, Section, Shown, Table,
};
use super::peaks::{all_peaks, residual, residual_columns};
use super::terminal::Colour;
use super::{Report, caution, document, summary, words};
use crate::logbook::TermState;
use crate::mount::AxisKind;
use crate::number;
use crate::number::probability;
use crate::plot::Render;
use crate::solve::TermEstimate;

/// At most so many unused peaks are listed on a terminal, a screenful, and on a page, so that it
/// stays readable; the rest are counted.
const MOST_UNUSED: [usize; 2] = [30, 200];
/// The report as text.
pub fn text(report: &Report, colour: Colour) -> String {
    document::terminal(&of(report, &[]), colour)
}

/// The report as a page with these pictures.
pub(super) fn page(report: &Report, pictures: &[Box<dyn Render>]) -> String {
    let pictures: Vec<&dyn Render> = pictures.iter().map(AsRef::as_ref).collect();
    document::page(&of(report, &pictures))
}

/// The document.
fn of<'a>(report: &Report, pictures: &[&'a dyn Render]) -> Document<'a> {
    let about = report.station.site.name.clone();
    let mut document = Document {
        kind: "Pointing report",
        title: format!("Pointing of {about}"),
        about,
        closing: closing(report),
        ..Document::default()
    };
    let verdict = summary::verdict(report).into_iter();
    let verdict = verdict.map(|(about, said)| (about.to_owned(), said));
    document.add(Section {
        role: Role::Verdict,
        blocks: vec![
            Block::Paragraph(summary::in_one_sentence(report.outcome, report.station)),
            Block::Facts(verdict.collect()),
        ],
        ..Section::default()
    });
    document.add_list("Faults", &summary::fault_lines(report), Role::Action);
    if let Some(faults) = document.sections.last_mut()
        && faults.role == Role::Action
    {
        faults.rest = Some("of which plumbeam faults says more".to_owned());
    }
    document.add(remedies(report));
    document.add(not_separable(report));
    document.add(next(report));
    document.add(errors(report));
    document.add(terms(report));
    document.add(meanings(report));
    for picture in pictures {
        document.add(Section {
            shown: Shown::OnPage,
            blocks: vec![Block::Picture(*picture)],
            ..Section::default()
        });
    }
    document.add(unused(report));
    document.add(decisions(report));
    document.add(all_peaks(report.outcome, report.calibration_name));
    let warnings: Vec<String> = (report.outcome.warnings.iter())
        .map(|warning| warning.words.clone())
        .collect();
    document.add_list("Warnings", &warnings, Role::Result);
    document.add_list("Assumed", &summary::assumptions(report), Role::Result);
    document.add(session(report));
    document
}

fn session<'a>(report: &Report) -> Section<'a> {
    let mut facts = vec![
        ("place".to_owned(), summary::place_words(report)),
        ("dish".to_owned(), summary::dish_words(&report.station.dish)),
        ("peaks".to_owned(), summary::peak_words(report)),
    ];
    if let Some(session) = summary::session_words(report) {
        facts.push(("taken".to_owned(), session));
    }
    Section::new("The session", vec![Block::Facts(facts)]).role(Role::Session)
}

fn errors<'a>(report: &Report) -> Section<'a> {
    let columns = vec![
        Column::new("", Holds::Name),
        Column::new("Offset (deg)", Holds::Number).short("deg"),
        Column::new("Of the beamwidth (%)", Holds::Number).short("% of the beamwidth"),
        Column::new("Lost on average (dB)", Holds::Number).short("dB lost on average"),
    ];
    let rows = summary::error_lines(report).map(|line| {
        Row::from(vec![
            Cell::text(line.name),
            Cell::Number(line.rms_deg, line.degrees),
            Cell::text(line.beam_percent),
            Cell::text(line.loss_db.unwrap_or("beyond the main beam".to_owned())),
        ])
    });
    let what = "Pointing error before and after";
    let table = Table::new("pointing-error", what, columns, rows.into());
    let beam =
        "The loss is that of a Gaussian beam: 12 times the square of offset over beamwidth, dB.";
    Section::new(
        "Pointing error",
        vec![Block::Table(table), Block::Note(beam.to_owned())],
    )
    .rest("rms of the whole offset on the sky over the used peaks")
}

fn terms<'a>(report: &Report) -> Section<'a> {
    let kind = report.outcome.model.kind();
    let columns = vec![
        Column::new("Error", Holds::Name),
        Column::new("Value", Holds::Number),
        Column::new("Uncertainty", Holds::Number),
        Column::new("Unit", Holds::Text),
        Column::new("State", Holds::Text),
    ];
    let row = |t: &TermEstimate| {
        let (value, sigma) = match (t.state, t.shown_sigma()) {
            (TermState::Fitted, Some(sigma)) => {
                let (value, shown) = number::with_sigma(t.shown(), sigma);
                (Cell::Number(t.shown(), value), Cell::Number(sigma, shown))
            }
            _ => {
                let shown = number::significant(t.shown(), 3);
                (Cell::Number(t.shown(), shown), Cell::Empty)
            }
        };
        let class = match t.state {
            TermState::Fitted => "fitted",
            TermState::Held => "held",
            TermState::NotSeparable => "not-separable",
        };
        Row {
            class: Some(class),
            id: Some(kind.term_name(t.term).to_owned()),
            cells: vec![
                Cell::text(words::term_name(kind, t.term)),
                value,
                sigma,
                Cell::text(words::unit_name(t.term.unit())),
                Cell::text(words::state_name(t.state)),
            ],
            ..Row::default()
        }
    };
    let rows = report.outcome.terms.iter().map(row).collect();
    let table = Table::new("mount-errors", "Mount errors", columns, rows);
    Section::new(
        "Mount errors",
        vec![
            Block::Table(table),
            Block::Note(summary::noise_words(report)),
        ],
    )
}

fn meanings<'a>(report: &Report) -> Section<'a> {
    let kind = report.outcome.model.kind();
    let facts = (words::meanings(report.outcome).into_iter())
        .map(|m| (words::group_name(kind, m.group).to_owned(), m.text))
        .collect();
    let feeds = words::feeds(report.outcome, report.station);
    let tied = (summary::tied_terms(report).into_iter())
        .map(|(a, b, r)| summary::tied_words(kind, a, b, r));
    let notes = feeds.into_iter().chain(tied).map(Block::Note);
    Section::new(
        "What they mean",
        [Block::Facts(facts)].into_iter().chain(notes).collect(),
    )
}

fn decisions<'a>(report: &Report) -> Section<'a> {
    let columns = vec![
        Column::new("Error or fault", Holds::Name).short(""),
        Column::new("Fitted", Holds::Text),
        Column::new("p-value", Holds::Number),
        Column::new("BIC gain", Holds::Number).short("BIC gain"),
        Column::new("CV error", Holds::Number).short("CV error"),
    ];
    let (mut rows, mut untried) = (Vec::new(), Vec::new());
    for d in &report.outcome.decisions {
        let Some(n) = d.numbers() else {
            untried.push(Point::from(format!("{}: {}", d.name, d.reason()).as_str()));
            continue;
        };
        rows.push(Row::from(vec![
            Cell::text(d.name.as_str()),
            Cell::text(if d.admitted { "yes" } else { "no" }),
            Cell::Number(n.p_value, probability(n.p_value)),
            Cell::Number(n.bic_fall, number::fixed(n.bic_fall, 1)),
            (n.cross_validation).map_or(Cell::Empty, |c| Cell::Number(c, number::fixed(c, 2))),
        ]));
    }
    let what = "Every error and fault that was tried";
    let table = Table::new("decisions", what, columns, rows);
    Section::new(
        "Which errors were fitted, and why",
        vec![
            Block::Table(table),
            Block::Note(summary::DECISIONS_NOTE.to_owned()),
            Block::Points(untried),
        ],
    )
    .role(Role::Detail)
    .shown(match report.explain {
        true => Shown::Everywhere,
        false => Shown::OnPage,
    })
}

fn not_separable<'a>(report: &Report) -> Section<'a> {
    let kind = report.outcome.model.kind();
    let points = (report.outcome.not_separable.iter())
        .map(|group| {
            let terms: Vec<_> = group.terms.iter().map(|(t, _)| *t).collect();
            Point {
                title: Some(words::term_list(kind, &terms)),
                words: group.meaning.clone(),
                more: match group.remedy.is_empty() {
                    true => Vec::new(),
                    false => vec![format!("To tell them apart: {}", group.remedy)],
                },
                ..Point::default()
            }
        })
        .collect();
    Section::new(
        "What these peaks cannot tell apart",
        vec![Block::Points(points)],
    )
    .role(Role::Action)
}

fn unused<'a>(report: &Report) -> Section<'a> {
    let [cross, along] = residual_columns(report.outcome);
    let columns = vec![
        Column::new("Row", Holds::Number),
        Column::new("Line", Holds::Number),
        Column::new("Time (UTC)", Holds::Time).short("time (UTC)"),
        Column::new("Emitter", Holds::Text),
        cross,
        along,
        Column::new("Whole (deg)", Holds::Number).short("whole, deg"),
        Column::new("Why", Holds::Prose),
    ];
    let rows = (summary::unused_peaks(report).into_iter())
        .map(|p| Row {
            peak: Some(p.row),
            cells: vec![
                Cell::Number(p.row as f64, p.row.to_string()),
                Cell::Number(p.line as f64, p.line.to_string()),
                Cell::text(p.time),
                Cell::text(p.emitter),
                residual(&p.cross_elevation),
                residual(&p.elevation),
                Cell::Number(p.size_deg, p.size),
                Cell::text(p.why),
            ],
            ..Row::default()
        })
        .collect();
    let table = Table {
        most: MOST_UNUSED,
        rest: format!(", all listed in {}.", report.calibration_name),
        ..Table::new("unused-peaks", "Peaks not used", columns, rows)
    };
    Section::new("Peaks not used", vec![Block::Table(table)])
        .rest("with what they are off by after the fit")
}

fn remedies<'a>(report: &Report) -> Section<'a> {
    let points: Vec<Point> = (report.remedies.iter())
        .map(|r| Point {
            title: Some(r.title.clone()),
            words: r.text.clone(),
            caution: (!r.caution.is_empty()).then(|| r.caution.clone()),
            ..Point::default()
        })
        .collect();
    let blocks = match points.is_empty() {
        true => vec![Block::Points(points)],
        false => vec![
            Block::Caution(caution::MOUNT.to_owned()),
            Block::Points(points),
        ],
    };
    Section::new("What can be done by hand", blocks).role(Role::Action)
}

fn next<'a>(report: &Report) -> Section<'a> {
    let mut blocks = Vec::new();
    if caution::sun_was_used(report) {
        blocks.push(Block::Caution(caution::SUN.to_owned()));
    }
    let steps = (summary::next_steps(report).into_iter())
        .map(|step| Point {
            words: step.words,
            command: step.command,
            ..Point::default()
        })
        .collect();
    blocks.push(Block::Steps(steps));
    Section::new("What to do next", blocks).role(Role::Next)
}

fn closing(report: &Report) -> Vec<String> {
    let kind = report.outcome.model.kind();
    let [one, two] = kind.axes().map(AxisKind::words);
    let article = match one.starts_with(['a', 'X', 'h']) {
        true => "an",
        false => "a",
    };
    vec![
        format!(
            "Conventions: azimuth from true north, clockwise; elevation from the horizontal; \
             {} is {article} {one} difference times cos({two}), an angle on the sky; a residual \
             is the emitter's direction minus the beam's. Numbers are those of {}, rounded to what \
             their uncertainty supports.",
            kind.axes()[1].cross_words(),
            report.calibration_name,
        ),
        format!(
            "Made by plumbeam {} on {} UTC.",
            env!("CARGO_PKG_VERSION"),
            summary::minute_words(report.created),
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{self, Session};
    use super::super::pictures;
    use super::super::terminal::WIDTH;
    use super::*;
    use crate::explain::Remark;
    use crate::mount::Kind;
    use crate::solve::Warning;

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

    fn made(session: &Session) -> String {
        let (outcome, station) = (fixture::outcome(session), fixture::station());
        let remedies = fixture::remedies();
        let report = fixture::report(&outcome, &station, &remedies);
        super::page(&report, &pictures(&report))
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
        without_values(&without_parts(&out))
    }

    /// The page without its style and its script.
    fn without_parts(html: &str) -> String {
        let mut out = html.to_owned();
        for (from, to) in [("<style>", "</style>"), ("<script>", "</script>")] {
            let (start, end) = (out.find(from).unwrap(), out.find(to).unwrap());
            out.replace_range(start + from.len()..end, "");
        }
        out
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
            // The name of the SVG language, which nobody fetches, and that of a header.
            let named = ["http://www.w3.org/2000/svg", "http-equiv="];
            assert!(named.iter().any(|n| link.starts_with(n)), "{link}");
        }
        assert!(!html.contains("<link") && !html.contains("src=\""));
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
        outcome.warnings.push(Warning {
            remark: Remark::NoCausesAsked,
            words: "<i>&".to_owned(),
        });
        let mut station = fixture::station();
        station.site.name = "</title><script>alert(1)</script>\u{0}".to_owned();
        let report = fixture::report(&outcome, &station, &[]);
        let html = super::page(&report, &pictures(&report));
        let html = without_parts(&html);
        assert_eq!(html.matches("<script").count(), 1);
        assert!(
            !html.contains("alert(1)</script") && !html.contains("<b>") && !html.contains("<i>")
        );
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
