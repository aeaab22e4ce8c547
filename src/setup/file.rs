//! The text of a new station file: every line explained, with the emitters that can be received.

use std::fmt::Write;

use super::hear::{HeardEmitter, Use};
use super::page::{Page, number};
use super::{LOWEST, SetupRequest, mount};
use crate::plan::FAINTEST_DB;
use crate::station::{Dish, EmitterKind};
use crate::text::some_of;

/// The whole file.
pub fn station_text(request: &SetupRequest, heard: &[HeardEmitter]) -> String {
    let mut page = Page::default();
    top(&mut page);
    site(&mut page, request);
    mount::section(&mut page, request);
    dish(&mut page, request);
    horizon(&mut page);
    emitters(&mut page, request, heard);
    templates(&mut page, request);
    page.text
}

/// A text as a TOML string.
fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string().trim().to_owned()
}

fn top(page: &mut Page) {
    page.remark(
        "The station file of plumbeam: where the dish stands, how its axes go, what it can hear. Lines \
         that begin with # are remarks and are not read; take the # away from a line to use it. What \
         you should check is marked CHECK.",
    );
    page.remark(
        "Angles are degrees with decimals, lengths metres. Azimuth counts from true north, clockwise: \
         east is 90. South and west are negative latitudes and longitudes.",
    );
}

fn site(page: &mut Page, request: &SetupRequest) {
    page.heading("[site]");
    page.remark("What you call the place; it heads reports and is kept in calibrations.");
    page.line(&format!("name = {}", quoted(&request.name)));
    page.remark(
        "Where the dish stands (WGS 84, as GNSS and maps show it). A thousandth of a degree, \
         100 m, is plenty for emitters in the sky; give more decimals when you use a near beacon.",
    );
    page.line(&format!("latitude_deg = {}", number(request.latitude_deg)));
    page.line(&format!(
        "longitude_deg = {}",
        number(request.longitude_deg)
    ));
    match request.height_m {
        Some(height) => {
            page.remark("Height above the WGS 84 ellipsoid, metres; 50 m off does no harm.");
            page.line(&format!("height_m = {}", number(height)));
        }
        None => {
            page.remark(
                "CHECK: height above the WGS 84 ellipsoid, metres; 50 m off does no harm. None was \
                 given.",
            );
            page.line("height_m = 0.0");
        }
    }
    page.remark(
        "The weather while you measure, for refraction; it matters below 20 degrees of \
         elevation. Without these lines it is that of the standard atmosphere.",
    );
    page.commented(
        "pressure_hpa = 1013.0      # at the station itself, not reduced to sea level\n\
         temperature_c = 15.0\n\
         relative_humidity = 0.5    # 0.5 is 50 %",
    );
}

fn dish(page: &mut Page, request: &SetupRequest) {
    page.heading("[dish]");
    page.remark(
        "Diameter in metres, and the frequency to which the receiver is tuned in megahertz.",
    );
    page.line(&format!("diameter_m = {}", number(request.diameter_m)));
    page.line(&format!(
        "frequency_mhz = {}",
        number(request.frequency_mhz)
    ));
    let usual = Dish::with_usual_beam(request.diameter_m, request.frequency_mhz);
    let width = usual.map_or(0.0, |dish| dish.beamwidth.degrees());
    page.remark(
        "Width of the beam between its half-power points. Without this line it is computed, 70 degrees \
         x wavelength / diameter; a measured one is better.",
    );
    page.commented(&format!("beamwidth_deg = {width:.2}"));
}

fn horizon(page: &mut Page) {
    page.line("");
    page.remark(
        "CHECK: what is in the way. Pairs of azimuth and the lowest elevation that is free there, \
         round the circle; straight lines join them. Without this section the view is free down to the \
         horizon.",
    );
    page.commented("[horizon]\nmask = [[0.0, 5.0], [90.0, 12.0], [180.0, 3.0], [270.0, 8.0]]");
}

fn emitters(page: &mut Page, request: &SetupRequest, heard: &[HeardEmitter]) {
    page.line("");
    page.remark(&format!(
        "WHAT THIS DISH CAN HEAR. The numbers say how much an emitter raises the noise of a receiver \
         with {:.0} K of noise in all ({}); they are good to a factor of two. By hand a peak is found \
         from {FAINTEST_DB} dB on.",
        request.system_k(),
        match request.system_temperature_k {
            Some(_) => "as given".to_owned(),
            None => "assumed; plumbeam plan --system-temperature takes another".to_owned(),
        }
    ));
    let mut left_out: Vec<(&str, Vec<&str>)> = Vec::new();
    for one in heard {
        let name = one.emitter.name.as_str();
        match &one.becomes {
            Use::Listed => {
                page.line("");
                about(page, one, "");
                page.text.push_str(&section(one));
            }
            Use::Commented(why) => {
                page.line("");
                about(page, one, why);
                page.commented(&section(one));
            }
            Use::LeftOut(why) => match left_out.iter_mut().find(|(known, _)| known == why) {
                Some((_, names)) => names.push(name),
                None => left_out.push((why, vec![name])),
            },
        }
    }
    for (why, names) in &left_out {
        page.line("");
        page.remark(&format!("Not listed: {} ({why}).", some_of(names)));
    }
}

/// Writes the remark about an emitter.
fn about(page: &mut Page, one: &HeardEmitter, why: &str) {
    let mut words = match (&one.emitter.kind, one.long_name()) {
        (EmitterKind::Sun, _) => "The Sun".to_owned(),
        (EmitterKind::Moon, _) => "The Moon".to_owned(),
        (_, Some(long)) => long.to_owned(),
        (_, None) => one.emitter.name.clone(),
    };
    match one.strength {
        Some(strength) => words.push_str(&format!(": {strength}")),
        None => words.push_str(": strength not known here"),
    }
    words.push_str(&format!("; {}.", one.rise.in_words(LOWEST)));
    if !why.is_empty() {
        words.push_str(&format!(" {}{}.", why[..1].to_uppercase(), &why[1..]));
    }
    page.remark(&words);
    if let Some(source) = one.source {
        let note = match source.note.is_empty() {
            true => String::new(),
            false => format!("; {}", source.note),
        };
        page.remark(&format!(
            "Its position is ICRS, from memory; its flux: {}{note}.",
            source.published
        ));
    }
    if one.emitter.kind.is_sun() {
        page.remark(
            "CAUTION: a dish on the Sun gathers its heat at the feed, a shiny one enough to burn. Pass \
             over it, never park on it, and never look along the dish or through a sight at the Sun.",
        );
    }
}

fn section(one: &HeardEmitter) -> String {
    let kind = match one.emitter.kind {
        EmitterKind::Sun => "sun",
        EmitterKind::Moon => "moon",
        _ => "radio-source",
    };
    let mut text = format!(
        "[[emitter]]\nname = {}\nkind = \"{kind}\"\n",
        quoted(&one.emitter.name)
    );
    if let Some((right_ascension, declination)) = one.celestial() {
        // Writing to a string does not fail.
        let _ = writeln!(
            text,
            "right_ascension_deg = {:.5}",
            right_ascension.degrees()
        );
        let _ = writeln!(text, "declination_deg = {:.5}", declination.degrees());
    }
    text
}

fn templates(page: &mut Page, request: &SetupRequest) {
    page.line("");
    page.remark(
        "TRANSMITTERS ARE STRONG, and with the Sun alone a mount is poorly determined: add whatever \
         transmits on your frequency. A satellite needs its orbit elements in a file beside this one (two-line elements or \
         OMM in JSON) and its catalogue number; for one that circles fast, not older than a few days. A \
         geostationary one stands still and can be peaked at any hour; two or three along the arc are \
         worth more than one.",
    );
    page.commented(
        "[[emitter]]\n\
         name = \"a-satellite\"\n\
         kind = \"satellite\"\n\
         elements = \"satellites.tle\"\n\
         norad_id = 99999",
    );
    page.line("");
    page.remark(
        "A transmitter on the ground: a beacon on a hill, a neighbour's antenna. Its place is needed to \
         some metres when it is near.",
    );
    page.commented(&format!(
        "[[emitter]]\n\
         name = \"a-beacon\"\n\
         kind = \"beacon\"\n\
         latitude_deg = {:.4}\n\
         longitude_deg = {:.4}\n\
         height_m = {:.1}",
        nudged(request.latitude_deg, 90.0),
        nudged(request.longitude_deg, 360.0),
        request.height_m.unwrap_or(0.0)
    ));
    page.line("");
    page.remark("A direction that you have surveyed, as the beam must point to it.");
    page.commented(
        "[[emitter]]\n\
         name = \"a-mark\"\n\
         kind = \"mark\"\n\
         azimuth_deg = 123.4\n\
         elevation_deg = 2.5",
    );
}

/// A coordinate shifted by a few kilometres, within its limit.
fn nudged(degrees: f64, most: f64) -> f64 {
    /// 5.6 km in latitude: clearly another place, but in the same area.
    const SOME_KM_DEG: f64 = 0.05;
    if degrees + SOME_KM_DEG <= most {
        degrees + SOME_KM_DEG
    } else {
        degrees - SOME_KM_DEG
    }
}
