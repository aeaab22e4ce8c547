//! Faults of the mount, one practice session each.

use serde_json::Value;

use super::practice::{Practice, expect, spoilt, with_terms};
use super::{findings, names, plumbeam};

#[test]
fn a_healthy_session_is_left_in_peace() {
    let folder = tempfile::tempdir().expect("a folder");
    let found = Practice::default().diagnose(folder.path());
    assert_eq!(names(&found), Vec::<String>::new());
    plumbeam(folder.path(), &["faults", "peaks.csv", "--strict"], 0);
}

#[test]
fn play_is_found_by_the_side_of_arrival_and_by_its_flip_at_the_balance() {
    let azimuth = with_terms("azimuth-backlash = 0.4");
    expect(&azimuth, "azimuth-backlash", Some(0.4));
    let elevation = with_terms("elevation-backlash = 0.3");
    expect(&elevation, "elevation-backlash", Some(0.3));
    let flip = spoilt("[[spoil]]\nkind=\"balance-flip\"\nat_deg=35.0\nsize_deg=0.5");
    let found = expect(&flip, "elevation-backlash", Some(0.5));
    assert!(
        found["evidence"]
            .as_str()
            .is_some_and(|e| e.contains("balance"))
    );
}

#[test]
fn slips_are_found_between_their_rows() {
    let one = spoilt("[[spoil]]\nkind=\"azimuth-slip\"\nfrom_row=30\nsize_deg=0.6");
    let found = expect(&one, "azimuth-slip", Some(0.6));
    assert_eq!(found["rows"], serde_json::json!([29, 30]));
    let several = spoilt(
        "[[spoil]]\nkind=\"elevation-slip\"\nfrom_row=20\nsize_deg=0.6\n\
         [[spoil]]\nkind=\"elevation-slip\"\nfrom_row=33\nsize_deg=0.7\n\
         [[spoil]]\nkind=\"elevation-slip\"\nfrom_row=45\nsize_deg=0.8",
    );
    let folder = tempfile::tempdir().expect("a folder");
    let found = several.diagnose(folder.path());
    assert_eq!(names(&found), ["elevation-slip"; 3]);
    let mut rows: Vec<u64> = (findings(&found).iter())
        .filter_map(|f| f["rows"][1].as_u64())
        .collect();
    rows.sort_unstable();
    assert_eq!(rows, [20, 33, 45]);
}

#[test]
fn slow_changes_are_told_apart() {
    let creep = spoilt("[[spoil]]\nkind=\"creep\"\naxis=\"azimuth\"\ndeg_per_hour=0.06");
    expect(&creep, "creep", Some(0.06));
    let settling =
        spoilt("[[spoil]]\nkind=\"settling\"\nnorth_deg_per_hour=0.03\neast_deg_per_hour=0.03");
    expect(&settling, "settling", Some(0.03_f64.hypot(0.03)));
    let logged = Practice {
        hours: Some(24),
        ..spoilt("[[spoil]]\nkind=\"thermal-drift\"\naxis=\"elevation\"\ndeg_per_kelvin=0.04")
    };
    expect(&logged, "thermal-drift", Some(0.04));
    let unlogged = Practice {
        hours: Some(24),
        ..spoilt(
            "[[spoil]]\nkind=\"thermal-drift\"\naxis=\"elevation\"\ndeg_per_kelvin=0.05\n\
             logged=false",
        )
    };
    // 8 kelvin up and down.
    expect(&unlogged, "thermal-drift", Some(0.4));
}

#[test]
fn what_repeats_with_the_turn_is_named_by_how_often() {
    let runout = with_terms("azimuth-runout-cos = 0.2\nazimuth-runout-sin = -0.25");
    expect(&runout, "azimuth-runout", Some(0.2_f64.hypot(0.25)));
    let twice = spoilt("[[spoil]]\nkind=\"warped-track\"\ntimes=2\nsize_deg=0.2\nhigh_at_deg=40.0");
    expect(&twice, "warped-track", Some(0.2));
    let thrice =
        spoilt("[[spoil]]\nkind=\"warped-track\"\ntimes=3\nsize_deg=0.2\nhigh_at_deg=40.0");
    expect(&thrice, "warped-track", Some(0.2));
    for per_turn in ["180.0", "9.0"] {
        let spoil = format!(
            "[[spoil]]\nkind=\"tooth-error\"\naxis=\"azimuth\"\nper_turn={per_turn}\nsize_deg=0.3"
        );
        let teeth = Practice {
            mount: "azimuth_gear_teeth = 180\nazimuth_pinion_teeth = 20",
            spoil: Box::leak(spoil.into_boxed_str()),
            ..Practice::default()
        };
        expect(&teeth, "tooth-error", Some(0.3));
    }
    for (terms, size, said) in [
        ("azimuth-scale = 0.004", 0.004, "of the way more than"),
        ("azimuth-scale = -0.004", -0.004, "of the way less than"),
    ] {
        let found = expect(&with_terms(terms), "wrong-scale", Some(size));
        let evidence = found["evidence"].as_str().expect("evidence");
        assert!(evidence.contains(said), "{evidence}");
    }
}

#[test]
fn elevation_runout_and_scale_look_alike_below_the_zenith_and_are_shown_together() {
    let runout = with_terms("elevation-runout-sin = 1.0");
    let folder = tempfile::tempdir().expect("a folder");
    let found = runout.diagnose(folder.path());
    assert_eq!(findings(&found).len(), 1);
    let first = &findings(&found)[0];
    let rivals = first["rivals"].as_array().expect("a list");
    let alike: Vec<&Value> = std::iter::once(&first["fault"])
        .chain(rivals.iter().map(|r| &r["fault"]))
        .collect();
    for fault in ["wrong-scale", "elevation-runout"] {
        assert!(alike.iter().any(|f| **f == fault), "{fault} in {alike:?}");
    }
    assert!(
        rivals
            .iter()
            .all(|r| r["tell"].as_str().is_some_and(|t| !t.is_empty()))
    );
}

#[test]
fn what_rattles_or_flops_is_found() {
    let joint = Practice {
        peaks: Some(120),
        ..spoilt("[[spoil]]\nkind=\"loose-joint\"\naxis=\"both\"\ntoward_deg=180.0\ntimes=5.0")
    };
    expect(&joint, "loose-joint", None);
    let dish = Practice {
        peaks: Some(120),
        ..spoilt("[[spoil]]\nkind=\"flop\"\nat_deg=35.0\nsize_deg=0.6")
    };
    expect(&dish, "loose-dish", Some(0.6));
}
