//! Tests of the files of a new station, read back and compared with the sky.

use std::path::Path;

use super::*;
use crate::logbook::PeakLog;
use crate::station::EmitterKind;

fn request(latitude_deg: f64, diameter_m: f64, frequency_mhz: f64) -> SetupRequest {
    SetupRequest {
        name: "an \"invented\" place".to_owned(),
        latitude_deg,
        longitude_deg: 7.33,
        height_m: Some(21.0),
        diameter_m,
        frequency_mhz,
        system_temperature_k: None,
        mount: NewMount::AzEl,
    }
}

fn now() -> Utc {
    Utc::parse("2026-09-12T09:00:00Z").unwrap()
}

fn made(request: &SetupRequest) -> Setup {
    set_up(request, now()).unwrap()
}

fn names(setup: &Setup) -> Vec<&str> {
    (setup.station.emitters.iter())
        .map(|e| e.name.as_str())
        .collect()
}

#[test]
fn a_small_dish_hears_the_sun_and_a_large_one_the_strong_sources_too() {
    let small = made(&request(52.41, 3.0, 1420.0));
    assert_eq!(names(&small), ["sun"]);
    let large = made(&request(52.41, 10.0, 1420.0));
    assert_eq!(names(&large)[0], "sun");
    for source in ["moon", "Cas A", "Cyg A", "Tau A"] {
        assert!(names(&large).contains(&source), "{:?}", names(&large));
    }
    // Centaurus A is at declination -43 degrees and never rises at 52 degrees north.
    let becomes = |setup: &Setup, name: &str| {
        let found = setup.heard.iter().find(|h| h.emitter.name == name);
        found.unwrap().becomes.clone()
    };
    let never = Use::LeftOut("never rises at this latitude".to_owned());
    assert_eq!(becomes(&large, "Cen A"), never);
    assert!(
        large
            .station_text
            .contains("Not listed: Pictor A, Cen A (never rises")
    );
    // Cassiopeia A is at declination +59 degrees and never rises at 34 degrees south.
    let south = made(&request(-33.9, 10.0, 1420.0));
    assert_eq!(becomes(&south, "Cas A"), never);
    assert_ne!(becomes(&south, "Cen A"), never);
    // Sources detectable only by scanning are commented out, and so are those without a published
    // flux at the frequency, if they may be strong.
    let Use::Commented(why) = becomes(&large, "Vir A") else {
        panic!("{:?}", becomes(&large, "Vir A"));
    };
    assert!(why.contains("slow scans"), "{why}");
    assert!(large.station_text.contains("# name = \"Vir A\"\n"));
    let high = made(&request(52.41, 10.0, 10_700.0));
    let Use::Commented(why) = becomes(&high, "Cas A") else {
        panic!("{:?}", becomes(&high, "Cas A"));
    };
    assert!(why.contains("no published flux at 10700 MHz"), "{why}");
    let small_and_high = made(&request(52.41, 1.2, 10_700.0));
    assert!(matches!(becomes(&small_and_high, "Cas A"), Use::LeftOut(_)));
    assert_eq!(names(&small_and_high), ["sun", "moon"]);
}

#[test]
fn the_file_holds_what_was_asked_for() {
    let setup = made(&request(52.41, 3.0, 1420.0));
    let station = &setup.station;
    assert_eq!(station.site.name, "an \"invented\" place");
    assert!((station.site.latitude.degrees() - 52.41).abs() < 1e-12);
    assert!((station.site.longitude.degrees() - 7.33).abs() < 1e-12);
    assert_eq!(station.site.height_m, 21.0);
    assert_eq!(station.dish.diameter_m, 3.0);
    assert_eq!(station.dish.frequency_mhz, 1420.0);
    assert!(
        setup
            .assumed
            .iter()
            .any(|a| a.contains("encoders read from -180 to 540"))
    );
    let no_height = made(&SetupRequest {
        height_m: None,
        ..request(52.41, 3.0, 1420.0)
    });
    assert_eq!(no_height.station.site.height_m, 0.0);
    assert!(no_height.assumed[0].contains("no height given"));
    assert!(no_height.station_text.contains("CHECK: height"));
}

#[test]
fn every_line_fits_and_every_template_is_right_when_its_mark_is_taken_away() {
    let setup = made(&request(52.41, 3.0, 1420.0));
    for line in setup.station_text.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    // A line with `key = value` or a heading after # is a template; everything else is a remark.
    let used: String = (setup.station_text.lines())
        .map(|line| {
            let bare = line.strip_prefix("# ").unwrap_or(line);
            let key = bare.split(" = ").next().unwrap_or_default();
            let is_key =
                bare.contains(" = ") && key.chars().all(|c| c.is_ascii_lowercase() || c == '_');
            let line = if is_key || bare.starts_with('[') {
                bare
            } else {
                line
            };
            format!("{line}\n")
        })
        .collect();
    let station = Station::parse("used.toml", Path::new(""), used.as_bytes());
    let station = station.unwrap_or_else(|e| panic!("{e}\n{used}"));
    let kinds =
        |of: fn(&EmitterKind) -> bool| station.emitters.iter().filter(|e| of(&e.kind)).count();
    assert_eq!(kinds(|k| matches!(k, EmitterKind::Satellite { .. })), 1);
    assert_eq!(kinds(|k| matches!(k, EmitterKind::Beacon { .. })), 1);
    assert_eq!(kinds(|k| matches!(k, EmitterKind::Mark { .. })), 1);
    assert!(kinds(|k| matches!(k, EmitterKind::RadioSource { .. })) >= 1);
    assert_eq!(station.horizon.mask.len(), 4);
    assert!(
        station.mount.azimuth_teeth.is_some() && station.mount.bearings.base_radius_m.is_some()
    );
    let width = station.dish.beamwidth.degrees();
    assert!((width - setup.station.dish.beamwidth.degrees()).abs() < 0.01);
}

#[test]
fn how_high_it_rises_is_what_the_sky_says() {
    /// The rise neglects refraction (0.1 deg at 10 deg) and precession since 2000 (0.15 deg), and
    /// uses only the extremes of the Sun and the Moon; the sky is sampled every five minutes.
    const ABOUT_DEG: f64 = 0.5;
    for latitude in [52.41, -33.9, 8.0, 67.0] {
        let setup = made(&request(latitude, 25.0, 1420.0));
        assert!(setup.today.len() > 6, "{latitude}");
        for today in &setup.today {
            let heard = (setup.heard.iter())
                .find(|h| h.emitter.name == today.emitter)
                .unwrap();
            let (worst, best) = heard.rise.highest;
            let seen = today.highest.0.degrees();
            assert!(
                (worst.degrees() - ABOUT_DEG..=best.degrees() + ABOUT_DEG).contains(&seen),
                "{latitude} {}: {seen}, {:?}",
                today.emitter,
                heard.rise
            );
            // Five minutes at each end, and a source gains four minutes a day on the Sun.
            let hours: f64 = (today.spans.iter())
                .map(|(from, to)| to.seconds_since(*from) / 3600.0)
                .sum();
            let (least, most) = heard.rise.hours;
            let slack = 0.35;
            assert!(
                (least - slack..=most + slack).contains(&hours),
                "{latitude} {}: {hours} h, {:?}",
                today.emitter,
                heard.rise
            );
        }
    }
}

#[test]
fn the_log_has_a_header_that_the_reader_knows() {
    let setup = made(&request(52.41, 3.0, 1420.0));
    let empty = PeakLog::parse(LOG_FILE, setup.log().as_bytes(), &setup.station).unwrap_err();
    assert!(
        empty.to_string().contains("a header but no rows"),
        "{empty}"
    );
    let filled = format!(
        "{}2026-09-12T09:30:00Z,sun,142.9,36.0,+,-,windy\n",
        setup.log()
    );
    let log = PeakLog::parse(LOG_FILE, filled.as_bytes(), &setup.station).unwrap();
    assert_eq!(log.peaks.len(), 1);
    assert_eq!(log.peaks[0].note, "windy");
}

#[test]
fn nothing_that_exists_is_written_over() {
    let setup = made(&request(52.41, 3.0, 1420.0));
    let place = tempfile::tempdir().unwrap();
    let full = place.path().join("full");
    std::fs::create_dir(&full).unwrap();
    std::fs::write(full.join(".hidden"), "mine").unwrap();
    let refused = setup.write(&full).unwrap_err();
    assert_eq!(refused.exit_code(), 2);
    assert!(refused.to_string().contains("holds files already"));
    assert_eq!(std::fs::read_dir(&full).unwrap().count(), 1);
    let file = place.path().join("file");
    std::fs::write(&file, "mine").unwrap();
    assert!(
        setup
            .write(&file)
            .unwrap_err()
            .to_string()
            .contains("is a file")
    );
    assert_eq!(std::fs::read(&file).unwrap(), b"mine");
    // An empty folder is accepted, and missing parent folders are created.
    let empty = place.path().join("a/b/empty");
    std::fs::create_dir_all(&empty).unwrap();
    let paths = setup.write(&empty).unwrap();
    assert!(Station::read(&paths[0]).is_ok());
    assert_eq!(setup.write(&empty).unwrap_err().exit_code(), 2);
    assert!(setup.write(&place.path().join("new/one")).is_ok());
}

#[test]
fn what_makes_no_station_is_refused_in_words() {
    let no_beam = set_up(&request(52.41, 0.2, 300.0), now()).unwrap_err();
    assert_eq!(no_beam.exit_code(), 2);
    assert!(no_beam.to_string().contains("has no beam"), "{no_beam}");
}
