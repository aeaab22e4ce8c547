//! Several feeds in one dish: logged, solved together, pointed with each, made up and rechecked.

use serde_json::Value;

use super::command::{TestFolder, text};

const FOLDER: &str = "tests/data/reference/mounts/";
const FEEDS: &str = "\n[[feed]]\nname = \"l-band\"\nfrequency_mhz = 1420.0\n[[feed]]\nname = \"Ku\"\nfrequency_mhz = 11700.0\n";
const RIGHT_DEG: f64 = 1.3;
const UP_DEG: f64 = -0.8;

fn folder(session: &str) -> TestFolder {
    let folder = TestFolder::with(
        &format!("{FOLDER}{session}"),
        &["station.toml", "satellites.tle"],
    );
    let station = folder.read("station.toml");
    let line = station
        .lines()
        .find(|l| l.starts_with("frequency_mhz"))
        .expect("a frequency")
        .to_owned();
    let station = station.replace(&line, "frequency_mhz = 1420.0");
    let (before, emitters) = station.split_once("[[emitter]]").expect("emitters");
    folder.write(
        "station.toml",
        &format!("{before}{FEEDS}[[emitter]]{emitters}"),
    );
    folder
}

fn truth(folder: &TestFolder, first_zero: &str) {
    folder.write(
        "truth.toml",
        &format!(
            "[terms]\n{first_zero} = 2.5\ncollimation = 0.2\nfeed-Ku-right = {RIGHT_DEG}\nfeed-Ku-up = {UP_DEG}\n\
             [noise]\ncross_elevation_deg = 0.02\nelevation_deg = 0.02\n[session]\nfrom = \"2026-05-04T00:00:00Z\"\n\
             to = \"2026-05-05T00:00:00Z\"\npeaks = 50\n"
        ),
    );
    folder.ends(
        &[
            "simulate",
            "--truth",
            "truth.toml",
            "--seed",
            "7",
            "--out",
            "made.csv",
        ],
        0,
    );
}

fn number(value: &Value, keys: [&str; 2]) -> f64 {
    value[keys[0]][keys[1]]
        .as_f64()
        .unwrap_or_else(|| panic!("{keys:?} in {value}"))
}

/// Five standard deviations: six values are looked at.
const SIGMAS: f64 = 5.0;

#[test]
fn a_further_feed_is_a_pair_of_terms_on_every_kind_of_mount() {
    for (session, zero) in [
        ("polar-north", "hour-angle-zero"),
        ("polar-south", "hour-angle-zero"),
        ("x-y-east-west", "x-zero"),
        ("slant", "azimuth-zero"),
    ] {
        let folder = folder(session);
        truth(&folder, zero);
        let log = folder.read("made.csv");
        assert!(log.contains(",feed\n") && log.contains(",Ku\n") && log.contains(",l-band\n"));
        let said = text(&folder.ends(&["solve", "made.csv"], 0).stdout);
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            said.contains("The beam of the feed Ku lies 1."),
            "{session} {said}"
        );
        assert!(said.contains("deg to the right and 0."), "{said}");
        assert!(said.contains("below that of l-band"), "{said}");
        let calibration: Value =
            serde_json::from_str(&folder.read("calibration.json")).expect("JSON");
        let terms = &calibration["terms"];
        for (name, value) in [("feed-Ku-right", RIGHT_DEG), ("feed-Ku-up", UP_DEG)] {
            let sigma = number(terms, [name, "sigma_deg"]);
            assert!((0.001..0.05).contains(&sigma), "{session} {name} {sigma}");
            let found = number(terms, [name, "value_deg"]);
            assert!(
                (found - value).abs() < SIGMAS * sigma,
                "{session} {name} {found} {sigma}"
            );
        }
        // What the beam of the one feed hears from a reading, the other hears beside it.
        let point = |feed: &str, words: &[&str]| {
            let options = [
                "point",
                "--calibration",
                "calibration.json",
                "--anyway",
                "--feed",
                feed,
            ];
            let out = folder.ends(&[&options[..], words].concat(), 0).stdout;
            let numbers: Vec<f64> = text(&out)
                .split_whitespace()
                .map(|n| n.parse().expect("a number"))
                .collect();
            [numbers[0], numbers[1]]
        };
        let [one, two] = point("ku", &["160", "42"]);
        let (one, two) = (one.to_string(), two.to_string());
        let back = point("Ku", &["--inverse", &one, &two]);
        assert!(
            (back[0] - 160.0).abs() < 1e-4 && (back[1] - 42.0).abs() < 1e-4,
            "{session} {back:?}"
        );
        let first = point("l-band", &["--inverse", &one, &two]);
        let away = ((first[0] - 160.0) * 42f64.to_radians().cos()).hypot(first[1] - 42.0);
        assert!(
            (away - RIGHT_DEG.hypot(UP_DEG)).abs() < 0.1,
            "{session} {away}"
        );
        folder.ends(&["recheck", "--against", "calibration.json", "made.csv"], 0);
        let table = [
            "table",
            "--calibration",
            "calibration.json",
            "--feed",
            "Ku",
            "--out",
            "ku.csv",
        ];
        folder.ends(&table, 0);
        assert!(folder.read("ku.csv").contains("feed Ku"));
    }
}

#[test]
fn what_is_wrong_with_feeds_is_told() {
    let folder = folder("polar-north");
    truth(&folder, "hour-angle-zero");
    let log = folder.read("made.csv");
    folder.write("odd.csv", &log.replacen(",Ku\n", ",Kv\n", 1));
    let told = text(&folder.ends(&["solve", "odd.csv"], 3).stderr);
    assert!(
        told.contains("no feed is called \"Kv\"; expected one of l-band, Ku"),
        "{told}"
    );
    let only: String = (log.lines().filter(|l| !l.ends_with(",l-band")))
        .map(|l| format!("{l}\n"))
        .collect();
    folder.write("only.csv", &only);
    let told = text(&folder.ends(&["solve", "only.csv"], 4).stderr);
    assert!(
        told.contains("no peak was taken with the first feed"),
        "{told}"
    );
    let first: String = (log.lines().filter(|l| !l.ends_with(",Ku")))
        .map(|l| format!("{l}\n"))
        .collect();
    folder.write("first.csv", &first);
    folder.ends(&["solve", "first.csv", "--quiet"], 0);
    let point = [
        "point",
        "--calibration",
        "calibration.json",
        "--feed",
        "Ku",
        "160",
        "42",
    ];
    let told = text(&folder.ends(&point, 4).stderr);
    assert!(
        told.contains("does not tell where the beam of the feed Ku lies"),
        "{told}"
    );
    let told = text(
        &folder
            .ends(&["recheck", "--against", "calibration.json", "made.csv"], 4)
            .stderr,
    );
    assert!(told.contains("was peaked with the feed Ku"), "{told}");
    let point = [
        "point",
        "--calibration",
        "calibration.json",
        "--feed",
        "C",
        "160",
        "42",
    ];
    let told = text(&folder.ends(&point, 2).stderr);
    assert!(
        told.contains("no feed C") && told.contains("l-band, Ku"),
        "{told}"
    );
    let station = folder.read("station.toml");
    let other = station.replace(
        "name = \"Ku\"\nfrequency_mhz",
        "name = \"L-Band\"\nfrequency_mhz",
    );
    folder.write("station.toml", &other);
    let told = text(&folder.ends(&["sky"], 3).stderr);
    assert!(
        told.contains("a feed is called \"l-band\" already"),
        "{told}"
    );
    folder.write(
        "station.toml",
        &station.replacen(
            "name = \"l-band\"\nfrequency_mhz = 1420.0",
            "name = \"l-band\"\nfrequency_mhz = 1400.0",
            1,
        ),
    );
    let told = text(&folder.ends(&["sky"], 3).stderr);
    assert!(
        told.contains("the first feed has frequency_mhz 1400, and [dish] has 1420"),
        "{told}"
    );
}
