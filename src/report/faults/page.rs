//! A diagnosis as one HTML page, pictures and typeface inside it.

use super::super::page::{escaped, opening};
use crate::faults::{Diagnosis, Finding, measured};
use crate::plot::Render;
use crate::station::Station;

/// The page.
pub fn page(
    diagnosis: &Diagnosis,
    station: &Station,
    log_name: &str,
    pictures: &[(usize, Box<dyn Render>)],
) -> String {
    let site = escaped(&station.site.name);
    let mut html = opening(&format!("Faults of {site}"));
    let mut raw = |text: &str| {
        html.push('\n');
        html.push_str(text);
    };
    raw(&format!(
        "<header><p class=\"kind\">Diagnosis</p><h1>{site}</h1><dl><dt>Log</dt><dd>{}</dd>\
         <dt>Peaks</dt><dd>{}</dd></dl></header>",
        escaped(log_name),
        diagnosis.explanation.session.peaks.len()
    ));
    if diagnosis.findings.is_empty() {
        raw("<p>No fault found: what is left looks like noise.</p>");
    }
    for (place, finding) in diagnosis.findings.iter().enumerate() {
        raw(&section(place, finding));
        for (_, picture) in pictures.iter().filter(|(p, _)| *p == place) {
            raw(&format!(
                "<figure id=\"{}\">{}<figcaption>{}</figcaption></figure>",
                escaped(picture.file_stem()),
                picture.inline_svg().trim_end(),
                escaped(&picture.caption())
            ));
        }
        raw("</section>");
    }
    if !diagnosis.notes.is_empty() {
        raw("<section><h2>Notes</h2><ul>");
        for note in &diagnosis.notes {
            raw(&format!("<li>{}</li>", escaped(note)));
        }
        raw("</ul></section>");
    }
    raw(&format!(
        "<footer><p>Made by plumbeam {}.</p></footer></main></body></html>\n",
        env!("CARGO_PKG_VERSION")
    ));
    html
}

fn section(place: usize, finding: &Finding) -> String {
    let mut html = format!(
        "<section><h2>{}. {}</h2><dl>",
        place + 1,
        escaped(&finding.one_line())
    );
    let mut say = |name: &str, text: &str| {
        html.push_str(&format!("<dt>{name}</dt><dd>{}</dd>", escaped(text)));
    };
    say("Evidence", &finding.evidence);
    say("Confirm", &finding.confirm);
    say("Mend", &finding.mend);
    say("Else", &finding.otherwise);
    for rival in &finding.rivals {
        say(
            "Not ruled out",
            &format!(
                "{} of {}. To tell: {}",
                rival.fault,
                measured(rival.size, rival.sigma, &rival.size_unit),
                rival.tell
            ),
        );
    }
    html.push_str("</dl>");
    html
}
