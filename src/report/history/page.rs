//! A history as one HTML page, pictures and typeface inside it.

use super::super::page::{escaped, opening};
use super::super::term_name;
use super::text::headline;
use super::{change_words, day, real_changes, shown, shown_in};
use crate::number::probability;
use crate::number::with_sigma;
use crate::plot::Render;
use crate::recheck::{History, TermHistory};

/// The page.
pub fn page(history: &History, pictures: &[Box<dyn Render>]) -> String {
    let site = (history.entries.last()).map_or("", |e| e.calibration.station.as_str());
    let site = escaped(site);
    let mut html = opening(&format!("Calibrations of {site}"));
    let mut raw = |text: &str| {
        html.push('\n');
        html.push_str(text);
    };
    raw(&format!(
        "<header><p class=\"kind\">Calibrations over time</p><h1>{site}</h1>\
         <p>{}</p></header>",
        escaped(&headline(history))
    ));
    let real: Vec<String> = history.terms.iter().flat_map(real_changes).collect();
    raw("<section><h2>Real changes</h2>");
    if real.is_empty() {
        raw("<p>None: all changes lie within their uncertainties.</p>");
    } else {
        raw("<ul>");
        for change in &real {
            raw(&format!("<li>{}</li>", escaped(change)));
        }
        raw("</ul>");
    }
    for note in &history.notes {
        raw(&format!("<p>{}</p>", escaped(note)));
    }
    raw("</section>");
    for picture in pictures {
        raw(&format!(
            "<figure id=\"{}\">{}<figcaption>{}</figcaption></figure>",
            escaped(picture.file_stem()),
            picture.inline_svg().trim_end(),
            escaped(&picture.caption())
        ));
    }
    raw("<section><h2>The numbers</h2>");
    for term in &history.terms {
        raw(&table(term));
    }
    raw(&format!(
        "</section><footer><p>Made by plumbeam {}.</p></footer></main></body></html>\n",
        env!("CARGO_PKG_VERSION")
    ));
    html
}

fn table(history: &TermHistory) -> String {
    let term = history.term;
    let mut html = format!(
        "<h3>{}, {}</h3><table><thead><tr><th>made</th><th class=\"n\">value</th>\
         <th class=\"n\">uncertainty</th><th>change</th><th class=\"n\">by chance</th><th>file</th></tr></thead><tbody>",
        escaped(term_name(history.mount, term)),
        shown_in(term)
    );
    for point in &history.points {
        let (value, sigma) = with_sigma(shown(term, point.value), shown(term, point.sigma));
        let (change, chance) = match point.change {
            Some(_) => (change_words(term, point), probability(point.chance)),
            None => (String::new(), String::new()),
        };
        let change = if point.real {
            format!("<strong>{}, real</strong>", escaped(&change))
        } else {
            escaped(&change)
        };
        html.push_str(&format!(
            "<tr><td class=\"time\">{}</td><td class=\"n\">{value}</td><td class=\"n\">{sigma}</td>\
             <td>{}</td><td class=\"n\">{chance}</td>\
             <td>{}</td></tr>",
            day(point.created),
            change,
            escaped(&point.file)
        ));
    }
    html.push_str("</tbody></table>");
    html
}
