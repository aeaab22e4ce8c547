//! What the air and the distance do, through the verbs: signs from the words of docs/mounts.md.

use serde_json::Value;

use super::command::{TestFolder, text};

fn folder(frequency: f64, more_mount: &str, beacon: &str) -> TestFolder {
    let folder = TestFolder::empty();
    folder.write(
        "station.toml",
        &format!(
            "[site]\nname = \"a\"\nlatitude_deg = 50.0\nlongitude_deg = 8.0\nheight_m = 100.0\npressure_hpa = 1001.0\n\
             temperature_c = 15.0\nrelative_humidity = 0.5\n[mount]\nkind = \"az-el\"\nazimuth_range_deg = [-180.0, 540.0]\n\
             elevation_range_deg = [0.0, 90.0]\n{more_mount}\n[dish]\ndiameter_m = 3.0\nfrequency_mhz = {frequency:?}\n\
             beamwidth_deg = 8.0\n[[emitter]]\nname = \"sun\"\nkind = \"sun\"\n{beacon}"
        ),
    );
    folder
}

/// A beacon so many metres north of the site, at its height.
fn beacon(north_m: f64) -> String {
    format!(
        "[[emitter]]\nname = \"mast\"\nkind = \"beacon\"\nlatitude_deg = {:.8}\nlongitude_deg = 8.0\nheight_m = 100.0\n",
        50.0 + north_m / 111_229.0
    )
}

fn row(folder: &TestFolder, arguments: &[&str], emitter: &str) -> Value {
    let at = ["sky", "--at", "2026-06-21T05:30:00Z", "--json", emitter];
    let out = folder.ends(&[&at[..], arguments].concat(), 0).stdout;
    let found: Value = serde_json::from_slice(&out).expect("a document");
    found["rows"][0].clone()
}

fn number(row: &Value, key: &str) -> f64 {
    row[key].as_f64().unwrap_or_else(|| panic!("{key}: {row}"))
}

#[test]
fn the_ionosphere_raises_what_lies_behind_it() {
    let folder = folder(137.0, "", "");
    let plain = row(&folder, &[], "sun");
    let tec = row(&folder, &["--tec", "50"], "sun");
    let elevation = number(&plain, "geometric_elevation_deg");
    let raised = number(&tec, "apparent_elevation_deg") - number(&plain, "apparent_elevation_deg");
    // The formula of the page, with its own numbers.
    let (r, shell) = (6371e3, 6771e3);
    let a: f64 = r * elevation.to_radians().cos();
    let k = 40.308 * 50e16 / 137e6f64.powi(2);
    let expected = (k * a / (shell * shell) / (1.0 - (a / shell).powi(2)).powf(1.5)).to_degrees();
    assert!(expected > 0.05, "{expected}");
    // The bend of the air differs by a part in a hundred between the two elevations.
    assert!(
        (raised / expected - 1.0).abs() < 0.02,
        "{raised} {expected}"
    );
    assert_eq!(number(&tec, "geometric_elevation_deg"), elevation);
    // The station file says it too, and then nothing is left out that must be told.
    let station = folder
        .read("station.toml")
        .replace("[mount]", "total_electron_content_tecu = 50.0\n[mount]");
    let warned = text(
        &folder
            .ends(&["sky", "--at", "2026-06-21T05:30:00Z"], 0)
            .stderr,
    ) + &text(
        &folder
            .ends(&["sky", "--at", "2026-06-21T05:30:00Z"], 0)
            .stdout,
    );
    assert!(warned.contains("--tec"), "{warned}");
    folder.write("station.toml", &station);
    assert_eq!(row(&folder, &[], "sun"), tec);
    let quiet = folder.ends(&["sky", "--at", "2026-06-21T05:30:00Z"], 0);
    assert!(!(text(&quiet.stderr) + &text(&quiet.stdout)).contains("ionosphere"));
    let told = text(&folder.ends(&["sky", "--tec", "5e17"], 2).stderr);
    assert!(told.contains("from 0 to 1000"), "{told}");
}

#[test]
fn a_near_beacon_is_told_with_numbers() {
    // 2 x 9 m2 / 0.1765 m = 102 m.
    let near = folder(1698.0, "", &beacon(50.0));
    let said = near.ends(&["sky", "--at", "2026-06-21T05:30:00Z", "mast"], 0);
    let said = text(&said.stderr) + &text(&said.stdout);
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("mast: 50 m away, nearer than 2 D^2 / wavelength = 102 m"),
        "{said}"
    );
    // 9 / (8 x 50) / 0.1765.
    assert!(said.contains("0.13 wavelengths late"), "{said}");
    let far = folder(1698.0, "", &beacon(150.0));
    let said = far.ends(&["sky", "--at", "2026-06-21T05:30:00Z", "mast"], 0);
    assert!(!(text(&said.stderr) + &text(&said.stdout)).contains("nearer"));
}

#[test]
fn a_beam_beside_the_crossing_is_turned_back() {
    let straight = row(&folder(1698.0, "", &beacon(100.0)), &[], "mast");
    let direction = |offset: &str| {
        let mount = format!("axis_offset_m = {offset}");
        let found = row(&folder(1698.0, &mount, &beacon(100.0)), &[], "mast");
        let azimuth =
            number(&found, "apparent_azimuth_deg") - number(&straight, "apparent_azimuth_deg");
        let azimuth = (azimuth + 540.0).rem_euclid(360.0) - 180.0;
        [
            azimuth,
            number(&found, "apparent_elevation_deg") - number(&straight, "apparent_elevation_deg"),
        ]
    };
    let angle = |metres: f64| (metres / 100.0).atan().to_degrees();
    /// The beacon's place is written to a millimetre.
    const PLACE_DEG: f64 = 0.002;
    // A beam to the right must point left of it: a smaller azimuth; one above must point lower.
    let [azimuth, elevation] = direction("[2.0, 0.0]");
    assert!(
        (azimuth + angle(2.0)).abs() < PLACE_DEG && elevation.abs() < PLACE_DEG,
        "{azimuth} {elevation}"
    );
    let [azimuth, elevation] = direction("[0.0, 1.0]");
    assert!(
        (elevation + angle(1.0)).abs() < PLACE_DEG && azimuth.abs() < PLACE_DEG,
        "{azimuth} {elevation}"
    );
}
