//! The verb `sky` as a whole command, on the demo's invented station.

use crate::command::command;
use std::path::Path;
use std::process::Output;

fn sky(arguments: &[&str]) -> Output {
    let station = ["sky", "--station", "demo-data/station.toml"];
    command(Path::new(env!("CARGO_MANIFEST_DIR")), &station)
        .args(arguments)
        .output()
        .unwrap()
}

fn streams(output: &Output) -> String {
    format!(
        "exit code {}\n--- standard output\n{}--- standard error\n{}",
        output.status.code().unwrap(),
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

#[test]
fn an_instant() {
    let output = sky(&["--at", "2026-09-12T09:30:00Z", "sun", "mill-beacon"]);
    insta::assert_snapshot!(streams(&output), @r#"
        exit code 0
        --- standard output
        2026-09-12T09:30:00Z
        emitter                    azimuth  elevation   airless  deg/min from Sun  reachable
        sun                       142.9679    36.0030   35.9775    0.249     0.00  yes
        mill-beacon               306.1292     0.2925    0.2812    0.000   140.50  no: below the mask

        Degrees. The beam must point at azimuth and elevation; airless is the elevation without the
        air's bend. deg/min is the motion on the sky.
        --- standard error
        plumbeam: no beamwidth_deg: 5.150 degrees assumed, 70 x wavelength / diameter
        plumbeam: reach is judged for a faultless mount within the encoder ranges and the mask
        plumbeam: warning: sun: a dish on the Sun gathers its heat at the feed, a shiny one enough to burn, and the Sun's noise hides weak signals: do not leave it pointed there, and never look along the dish or through a sight at the Sun
        "#);
}

#[test]
fn a_span_as_json() {
    let output = sky(&[
        "--from",
        "2026-09-12T09:00:00Z",
        "--to",
        "2026-09-12T11:00:00+01:00",
        "--every",
        "30m",
        "--json",
        "fenlight-1",
    ]);
    assert_eq!(output.status.code(), Some(0), "{}", streams(&output));
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let rows = value["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 3);
    assert_eq!(rows[2]["time_utc"], "2026-09-12T10:00:00.000Z");
    assert_eq!(rows[0]["reachable"], true);
}

#[test]
fn local_time_stands_beside_utc() {
    let instant = sky(&["--at", "2026-09-12T20:30", "--zone", "+11:00", "sun"]);
    let shown = streams(&instant);
    assert!(
        shown.contains("2026-09-12T09:30:00Z, local 2026-09-12 20:30:00 +11:00\n"),
        "{shown}"
    );
    let span = sky(&[
        "--from",
        "2026-09-12T12:00Z",
        "--to",
        "2026-09-12T14:00Z",
        "--every",
        "1h",
        "--zone",
        "+11:00",
        "--quiet",
        "fenlight-1",
        "mill-beacon",
    ]);
    insta::assert_snapshot!(streams(&span), @r#"
        exit code 0
        --- standard output
        fenlight-1
        time (UTC)           +11:00        azimuth elevation  airless deg/min from Sun reachable
        2026-09-12T12:00:00Z 23:00        211.2972   26.8567  26.8202   0.002    22.03 yes
        2026-09-12T13:00:00Z 00:00 +1d    211.3089   26.9169  26.8805   0.000    11.12 yes
        2026-09-12T14:00:00Z 01:00 +1d    211.2909   26.8926  26.8561   0.001    14.60 yes

        mill-beacon
        time (UTC)           +11:00        azimuth elevation  airless deg/min from Sun reachable
        2026-09-12T12:00:00Z 23:00        306.1292    0.2925   0.2812   0.000   108.47 no: below the mask
        2026-09-12T13:00:00Z 00:00 +1d    306.1292    0.2925   0.2812   0.000    94.68 no: below the mask
        2026-09-12T14:00:00Z 01:00 +1d    306.1292    0.2925   0.2812   0.000    80.74 no: below the mask

        Degrees. The beam must point at azimuth and elevation; airless is the elevation without the
        air's bend. deg/min is the motion on the sky.
        The second column is local time at +11:00; +1d: on the next day there.
        --- standard error
        "#);
    // Machines get UTC.
    let json = sky(&[
        "--at",
        "2026-09-12T20:30",
        "--zone",
        "+11:00",
        "sun",
        "--json",
    ]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(value["rows"][0]["time_utc"], "2026-09-12T09:30:00.000Z");
}

#[test]
fn warnings_of_one_kind_are_one_line_that_names_the_emitters() {
    let shown = streams(&sky(&["--at", "2026-12-12T09:30:00Z"]));
    let old: Vec<&str> = (shown.lines().filter(|l| l.contains("orbit elements"))).collect();
    assert_eq!(old.len(), 1, "{shown}");
    assert!(
        old[0].contains("10 satellites (fenlight-1, fenlight-2, fenlight-3, ")
            && old[0].contains(" and 2 more): their orbit elements are"),
        "{old:?}"
    );
}

#[test]
fn an_emitter_that_is_not_found_is_answered_with_those_that_there_are() {
    let shown = streams(&sky(&["polaris"]));
    assert!(
        shown.contains("has no emitter \"polaris\"\n  help: it has sun, fenlight-1, "),
        "{shown}"
    );
    // Capitals do not matter.
    assert!(streams(&sky(&["SUN", "--at", "2026-09-12T09:30:00Z"])).contains("\nsun  "));
}

#[test]
fn now_is_the_default() {
    let output = sky(&["mill-beacon", "--quiet"]);
    assert_eq!(output.status.code(), Some(0), "{}", streams(&output));
}

#[test]
fn wrong_use_has_exit_code_two_and_says_what_is_wrong() {
    for (arguments, words) in [
        (&["sunn"][..], "did you mean \"sun\"?"),
        (&["--at", "2026-09-12T09:30:00"], "neither Z nor an offset"),
        (&["--at", "2026-09-12T09:30:00"], "--zone +02:00"),
        (&["--zone", "11:00"], "such as +11:00"),
        (
            &["--at", "today", "--zone", "+11:00"],
            "not an ISO 8601 time",
        ),
        (&["--from", "2026-09-12T09:30:00Z"], "--to"),
        (&["--every", "10m"], "--from"),
        (
            &[
                "--from",
                "2026-09-12T09:30:00Z",
                "--to",
                "2026-09-12T09:00:00Z",
            ],
            "before it begins",
        ),
        (
            &[
                "--from",
                "2026-09-12T09:30:00Z",
                "--to",
                "2026-09-13T09:00:00Z",
                "--every",
                "10",
            ],
            "30s, 10m or 1h30m",
        ),
    ] {
        let output = sky(arguments);
        let all = streams(&output);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {all}");
        assert!(all.contains(words), "{arguments:?}: {all}");
        assert!(output.stdout.is_empty(), "{arguments:?}: {all}");
    }
}

#[test]
fn a_time_without_any_direction_has_exit_code_four() {
    let output = sky(&["--at", "1850-01-01T00:00:00Z", "sun"]);
    assert_eq!(output.status.code(), Some(4), "{}", streams(&output));
}

#[test]
fn the_help_has_an_example() {
    let output = sky(&["--help"]);
    assert!(String::from_utf8_lossy(&output.stdout).contains("plumbeam sky --at"));
}
