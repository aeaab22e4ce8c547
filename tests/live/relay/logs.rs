//! Logs of positions that were read through the relay: the verbs that take peaks undo the correction,
//! or refuse.

use std::path::Path;
use std::process::{Command, Output, Stdio};

use plumbeam::angle::EncoderReading;
use plumbeam::logbook::{Approach, Calibration, PeakLog, checksum};
use plumbeam::mount::ApproachSigns;
use plumbeam::solve::record::model_of;
use plumbeam::station::Station;
use serde_json::Value;

/// Of positions written with nine decimals, through the model and back.
const ROUNDING: f64 = 1e-5;

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_plumbeam"))
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn terms(output: &Output) -> Vec<(String, f64)> {
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    let terms = document["terms"].as_object().unwrap();
    let value = |term: &Value| {
        ["value_deg", "value", "value_s"]
            .iter()
            .find_map(|key| term[*key].as_f64())
            .unwrap()
    };
    terms.iter().map(|(k, v)| (k.clone(), value(v))).collect()
}

#[test]
fn positions_through_the_relay_are_turned_back_or_refused() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    for name in ["station.toml", "satellites.tle", "peaks.csv"] {
        std::fs::copy(demo.join(name), at(name)).unwrap();
    }
    let solved = run(folder.path(), &["solve", "peaks.csv", "--json"]);
    assert!(solved.status.success());
    std::fs::write(at("kept.json"), &solved.stdout).unwrap();
    let sum = checksum(&solved.stdout);
    let calibration = Calibration::read(&at("kept.json")).unwrap();
    let model = model_of(&calibration).unwrap();
    let station = Station::read(&at("station.toml")).unwrap();
    let log = PeakLog::read(&at("peaks.csv"), &station).unwrap();
    let head = "time_utc,emitter,azimuth_deg,elevation_deg,azimuth_approach,elevation_approach\n";
    let mut encoder = format!("# readings = encoder\n{head}");
    let mut corrected = format!("# readings = corrected:{sum}\n{head}");
    for peak in &log.peaks {
        let (Some(azimuth), Some(elevation)) = (peak.azimuth, peak.elevation) else {
            continue;
        };
        let sign = |approach| match approach {
            Approach::Increasing => (1.0, "+"),
            Approach::Decreasing => (-1.0, "-"),
            Approach::Unknown => (0.0, ""),
        };
        let ((a, a_text), (e, e_text)) =
            (sign(peak.azimuth_approach), sign(peak.elevation_approach));
        let signs = ApproachSigns {
            azimuth: a,
            elevation: e,
        };
        let beam = model.beam(EncoderReading { azimuth, elevation }, signs);
        let lead = format!("{},{}", peak.time, peak.emitter);
        let row = |text: &mut String, az: f64, el: f64| {
            text.push_str(&format!("{lead},{az:.9},{el:.9},{a_text},{e_text}\n"));
        };
        row(&mut encoder, azimuth.degrees(), elevation.degrees());
        let turned = beam.azimuth().nearest_turn_to(azimuth);
        row(&mut corrected, turned.degrees(), beam.elevation().degrees());
    }
    std::fs::write(at("encoder.csv"), encoder).unwrap();
    std::fs::write(at("corrected.csv"), &corrected).unwrap();
    let plain = terms(&run(folder.path(), &["solve", "encoder.csv", "--json"]));
    let output = run(folder.path(), &["solve", "corrected.csv", "--json"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.contains("turned back into encoder readings"), "{said}");
    for ((name, value), (also, other)) in plain.iter().zip(terms(&output)) {
        assert_eq!(name, &also);
        assert!(
            (value - other).abs() < ROUNDING,
            "{name}: {value} and {other}"
        );
    }
    // By option, for a log that does not say.
    let unsaid = corrected.replacen(&format!("# readings = corrected:{sum}\n"), "", 1);
    std::fs::write(at("unsaid.csv"), unsaid).unwrap();
    let option = format!("corrected:{sum}");
    let output = run(
        folder.path(),
        &["solve", "unsaid.csv", "--json", "--readings", &option],
    );
    assert_eq!(terms(&output).len(), plain.len());
    // Not told at all, its zeros are nought beside a calibration with others: that is warned of.
    std::fs::copy(at("kept.json"), at("calibration.json")).unwrap();
    let output = run(folder.path(), &["solve", "unsaid.csv"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        said.contains(&format!("--readings corrected:{sum}")),
        "{said}"
    );

    // Without that calibration nothing is known of what the encoders read.
    for entry in std::fs::read_dir(folder.path()).unwrap() {
        // Those that were kept aside as well.
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "json") {
            let text = std::fs::read_to_string(&path).unwrap();
            std::fs::write(&path, text + "\n").unwrap();
        }
    }
    for verb in [
        &["solve", "corrected.csv"][..],
        &["faults", "corrected.csv"],
        &["recheck", "--against", "kept.json", "corrected.csv"],
    ] {
        let output = run(folder.path(), verb);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(4), "{verb:?}: {said}");
        assert!(said.contains("was not found"), "{verb:?}: {said}");
    }
}
