//! Mistakes of people and data, one practice session each.

use super::practice::{Practice, expect, spoilt, with_terms};
use super::{assert_size, findings, json, names, plumbeam};

#[test]
fn clocks_zones_and_sites_are_put_right() {
    expect(&with_terms("clock-offset = 20.0"), "clock", Some(20.0));
    expect(&with_terms("clock-offset = -150.0"), "clock", Some(-150.0));
    let zone = spoilt("[[spoil]]\nkind=\"time-zone\"\nhours=-2.0");
    expect(&zone, "time-zone", Some(-2.0));
    let sign = spoilt("[[spoil]]\nkind=\"longitude-sign\"");
    expect(&sign, "longitude-sign", Some(-7.33));
    expect(
        &spoilt("[[spoil]]\nkind=\"site-swapped\""),
        "site-swapped",
        None,
    );
    let reversed = spoilt("[[spoil]]\nkind=\"azimuth-reversed\"");
    expect(&reversed, "azimuth-reversed", None);
}

#[test]
fn faults_that_come_together_are_all_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let several = Practice {
        terms: "azimuth-backlash = 0.6",
        ..spoilt(
            "[[spoil]]\nkind=\"azimuth-reversed\"\n\
             [[spoil]]\nkind=\"sidelobe\"\nrows=[3, 22, 51]",
        )
    };
    let found = several.diagnose(folder.path());
    let told = names(&found);
    assert_eq!(told[0], "azimuth-reversed");
    for name in ["azimuth-backlash", "sidelobe"] {
        assert!(told.iter().any(|t| t == name), "{told:?}");
    }
    assert_eq!(told.len(), 3, "{found:#}");
    let play = findings(&found)
        .iter()
        .find(|f| f["fault"] == "azimuth-backlash");
    assert_size(play.expect("found"), 0.6);
}

#[test]
fn units_and_columns_are_told_however_absurd_the_readings() {
    for (axis, unit, degrees) in [
        ("both", "mils", 360.0 / 6400.0),
        ("both", "minutes", 1.0 / 60.0),
        ("azimuth", "radians", 180.0 / std::f64::consts::PI),
        ("elevation", "grads", 0.9),
    ] {
        let spoil = format!("[[spoil]]\nkind=\"wrong-unit\"\naxis=\"{axis}\"\nunit=\"{unit}\"");
        let practice = Practice {
            unrounded: true,
            spoil: Box::leak(spoil.into_boxed_str()),
            ..Practice::default()
        };
        let found = expect(&practice, "wrong-unit", Some(degrees));
        assert_eq!(found["axis"], axis);
        assert_eq!(found["size_unit"], "deg per unit");
    }
    let whole = spoilt("[[spoil]]\nkind=\"columns-exchanged\"");
    expect(&whole, "columns-exchanged", None);
    let some = spoilt("[[spoil]]\nkind=\"columns-exchanged\"\nrows=[20, 44]");
    let found = expect(&some, "columns-exchanged", None);
    assert_eq!(found["rows"], serde_json::json!([20, 44]));
    let sky = spoilt("[[spoil]]\nkind=\"sky-for-encoder\"");
    expect(&sky, "columns-exchanged", None);
    // For other commands the same log is faulty.
    let folder = tempfile::tempdir().expect("a folder");
    whole.make(folder.path());
    plumbeam(folder.path(), &["solve", "peaks.csv"], 3);
}

#[test]
fn single_bad_rows_are_named() {
    let other = spoilt("[[spoil]]\nkind=\"wrong-emitter\"\nrows=[9, 31]\nreally=\"fenlight-2\"");
    let found = expect(&other, "wrong-emitter", None);
    assert_eq!(found["rows"], serde_json::json!([9, 31]));
    assert!(
        found["evidence"]
            .as_str()
            .is_some_and(|e| e.contains("fenlight-2"))
    );
    let side = spoilt("[[spoil]]\nkind=\"sidelobe\"\nrows=[12, 40]");
    let found = expect(&side, "sidelobe", None);
    assert_eq!(found["rows"], serde_json::json!([12, 40]));
    let digit =
        spoilt("[[spoil]]\nkind=\"digit-slip\"\nrows=[17]\naxis=\"elevation\"\nby_deg=-10.0");
    let found = expect(&digit, "digit-slip", None);
    assert_eq!(found["rows"], serde_json::json!([17]));
    assert_eq!(found["size"], 10.0);
    // Two beamwidths off it could be a sidelobe as well.
    assert_eq!(found["rivals"][0]["fault"], "sidelobe");
}

#[test]
fn a_satellite_under_anothers_name_is_recognised_even_when_only_the_elements_file_has_it() {
    let folder = tempfile::tempdir().expect("a folder");
    Practice::default().make(folder.path());
    let log = folder.path().join("peaks.csv");
    let text = std::fs::read_to_string(&log).expect("a log");
    // Only peaks of hightide-4 stay beside the others, and they bear the name of hightide-5.
    let lines = text.lines().filter(|l| !l.contains("hightide-5"));
    let renamed: Vec<String> = lines
        .map(|l| l.replace("hightide-4", "hightide-5"))
        .collect();
    std::fs::write(&log, renamed.join("\n") + "\n").expect("a log");
    let found = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    assert_eq!(names(&found), ["wrong-emitter"]);
    let evidence = findings(&found)[0]["evidence"].as_str().expect("evidence");
    assert!(evidence.contains("lie on hightide-4"), "{evidence}");
    // Without hightide-4 in the station file its elements are still in the elements file.
    let file = folder.path().join("station.toml");
    let station = std::fs::read_to_string(&file).expect("a station");
    let table = "[[emitter]]\nname = \"hightide-4\"\nkind = \"satellite\"\n\
                 elements = \"satellites.tle\"\nnorad_id = 99824\n";
    assert!(station.contains(table));
    std::fs::write(&file, station.replace(table, "")).expect("a station");
    let found = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    assert_eq!(names(&found), ["wrong-emitter"]);
    let evidence = findings(&found)[0]["evidence"].as_str().expect("evidence");
    assert!(evidence.contains("99824"), "{evidence}");
}

#[test]
fn stale_elements_and_refraction_are_told() {
    let stale = spoilt("[[spoil]]\nkind=\"stale-elements\"\nemitter=\"hightide-3\"\nseconds=150.0");
    expect(&stale, "stale-elements", Some(150.0));
    for times in ["0.0", "2.0"] {
        let spoil = format!("[[spoil]]\nkind=\"refraction\"\ntimes={times}");
        let bent = Practice {
            station: "hill-array",
            peaks: Some(120),
            noise: Some(0.004),
            lowest: Some(5.0),
            unrounded: true,
            spoil: Box::leak(spoil.into_boxed_str()),
            ..Practice::default()
        };
        let found = expect(&bent, "refraction", times.parse().ok());
        assert_eq!(found["size_unit"], "times");
    }
}

#[test]
fn a_zero_along_the_needle_is_a_hint_of_a_compass() {
    let folder = tempfile::tempdir().expect("a folder");
    let station = Practice {
        station: "hill-array",
        peaks: Some(120),
        noise: Some(0.01),
        ..Practice::default()
    };
    station.make(folder.path());
    // On the west coast of North America needles point 15 degrees east of north.
    let file = folder.path().join("station.toml");
    let text = std::fs::read_to_string(&file).expect("a station");
    let moved: Vec<&str> = (text.lines())
        .map(|l| {
            if l.starts_with("longitude_deg") {
                "longitude_deg = -122.3"
            } else {
                l
            }
        })
        .collect();
    std::fs::write(&file, moved.join("\n")).expect("a station");
    let station = plumbeam::station::Station::read(&file).expect("a station");
    let time = plumbeam::time::Utc::parse("2026-08-26T05:00:00Z").expect("a time");
    let declination = plumbeam::faults::declination(&station.site, time).expect("a model");
    let truth = folder.path().join("truth.toml");
    let text = std::fs::read_to_string(&truth).expect("a truth");
    let zero = format!("azimuth-zero = {:.2}", declination.value.degrees());
    std::fs::write(&truth, text.replace("azimuth-zero = 137.2", &zero)).expect("a truth");
    let simulate = ["simulate", "--truth", "truth.toml", "--out", "peaks.csv"];
    plumbeam(folder.path(), &simulate, 0);
    let found = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    assert_eq!(names(&found), ["magnetic-north"]);
    let evidence = findings(&found)[0]["evidence"].as_str().expect("evidence");
    assert!(evidence.contains("hint"), "{evidence}");
}

#[test]
fn too_few_peaks_are_refused_and_not_accused() {
    for peaks in [3, 4, 5] {
        let folder = tempfile::tempdir().expect("a folder");
        let few = Practice {
            peaks: Some(peaks),
            ..Practice::default()
        };
        few.make(folder.path());
        let refused = plumbeam(folder.path(), &["faults", "peaks.csv"], 4);
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(said.contains("at least six"), "{said}");
        let solve = ["solve", "peaks.csv", "--hold", "collimation=0.4"];
        let solved = plumbeam(folder.path(), &solve, 0);
        let page = String::from_utf8_lossy(&solved.stdout).into_owned();
        assert!(!page.contains("wrong-unit"), "{page}");
    }
    let six = Practice {
        peaks: Some(6),
        ..Practice::default()
    };
    let folder = tempfile::tempdir().expect("a folder");
    assert_eq!(names(&six.diagnose(folder.path())), [""; 0]);
}

/// Makes the practice session and changes a line of its station file afterwards.
fn with_station_line(folder: &std::path::Path, key: &str, change: impl Fn(&str) -> String) {
    Practice::default().make(folder);
    change_station_line(folder, key, change);
}

fn change_station_line(folder: &std::path::Path, key: &str, change: impl Fn(&str) -> String) {
    let file = folder.join("station.toml");
    let text = std::fs::read_to_string(&file).expect("a station");
    // The site's comes first; beacons have places of their own.
    let mut done = false;
    let lines = text.lines().map(|l| match l.split_once('=') {
        Some((k, value)) if k.trim() == key && !done => {
            done = true;
            let value = value.split('#').next().unwrap_or_default();
            format!("{key} = {}", change(value.trim()))
        }
        _ => l.to_owned(),
    });
    let changed: Vec<String> = lines.collect();
    assert_ne!(changed.join("\n"), text.trim_end());
    std::fs::write(&file, changed.join("\n")).expect("a station");
}

#[test]
fn a_latitude_of_the_wrong_sign_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    with_station_line(folder.path(), "latitude_deg", |v| format!("-{v}"));
    let found = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    assert_eq!(names(&found), ["site-swapped"], "{found:#}");
    let first = &findings(&found)[0];
    assert_eq!(first["in_words"], "the latitude has the wrong sign");
    assert!(first["size"].as_f64().is_some_and(|s| s > 0.0), "{first}");
}

#[test]
fn a_site_that_nothing_explains_is_not_given_a_name() {
    let folder = tempfile::tempdir().expect("a folder");
    // Few, since every other explanation is tried.
    let few = Practice {
        peaks: Some(24),
        ..Practice::default()
    };
    few.make(folder.path());
    change_station_line(folder.path(), "latitude_deg", |_| "10.0".to_owned());
    let refused = plumbeam(folder.path(), &["faults", "peaks.csv"], 4);
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(said.contains("nothing explains these peaks"), "{said}");
}

/// Displaces some rows' readings by +3 deg in azimuth and +4 deg in elevation.
fn displace(folder: &std::path::Path, rows: impl Fn(usize) -> bool) {
    let log = folder.join("peaks.csv");
    let text = std::fs::read_to_string(&log).expect("a log");
    let mut header: Option<Vec<String>> = None;
    let mut row = 0;
    let mut lines = Vec::new();
    for line in text.lines() {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        match &header {
            _ if line.starts_with('#') => {}
            None => header = Some(cells.clone()),
            Some(names) => {
                row += 1;
                for (name, by) in [("azimuth_deg", 3.0), ("elevation_deg", 4.0)] {
                    let at = names.iter().position(|n| n == name).expect("a column");
                    let value: f64 = cells[at].parse().expect("a number");
                    if rows(row) {
                        cells[at] = format!("{:.2}", value + by);
                    }
                }
            }
        }
        lines.push(cells.join(","));
    }
    std::fs::write(&log, lines.join("\n") + "\n").expect("a log");
}

#[test]
fn many_rows_displaced_alike_are_named() {
    let folder = tempfile::tempdir().expect("a folder");
    Practice::default().make(folder.path());
    // Twenty-one of sixty, all over the log.
    displace(folder.path(), |row| row * 13 % 60 < 21);
    let strict = ["faults", "peaks.csv", "--strict", "--json"];
    let output = plumbeam(folder.path(), &strict, 1);
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let first = &findings(&found)[0];
    assert_eq!(first["fault"], "elevation-slip", "{found:#}");
    // High up, where azimuth hardly counts, a row may be a digit slip of 4 deg as well.
    const LEAST_ROWS: usize = 19;
    let rows = first["rows"].as_array().map_or(0, Vec::len);
    assert!((LEAST_ROWS..=21).contains(&rows), "{first}");
    assert_size(first, 4.0);
    let evidence = first["evidence"].as_str().expect("evidence");
    assert!(evidence.contains("came and went"), "{evidence}");
}
