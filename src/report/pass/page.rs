//! Passes as one HTML page, pictures and typeface inside it.

use super::super::page::{escaped, opening};
use super::text::sentence;
use crate::live::RelayLog;
use crate::plot::Render;

/// The page.
pub fn page(log: &RelayLog, pictures: &[Box<dyn Render>]) -> String {
    let site = escaped(&log.station);
    let mut html = opening(&format!("Passes of {site}"));
    let mut raw = |text: &str| {
        html.push('\n');
        html.push_str(text);
    };
    raw(&format!(
        "<header><p class=\"kind\">Passes through the relay</p><h1>{site}</h1>\
         <p>Beam {:.3} deg wide; demands are {} directions.</p></header>",
        log.beamwidth.degrees(),
        escaped(&log.demand)
    ));
    raw("<section><h2>How they went</h2><ol>");
    for pass in &log.passes {
        raw(&format!("<li>{}</li>", escaped(&sentence(&pass.figures))));
    }
    raw("</ol>");
    raw(&format!("<p>Stops sent to the mount: {}.</p>", log.stops));
    if !log.alarms.is_empty() {
        raw("<h3>Alarms</h3><ul>");
        for (time, text) in &log.alarms {
            raw(&format!("<li>{time}: {}</li>", escaped(text)));
        }
        raw("</ul>");
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
    raw(&format!(
        "<footer><p>Made by plumbeam {}.</p></footer></main></body></html>\n",
        env!("CARGO_PKG_VERSION")
    ));
    html
}
