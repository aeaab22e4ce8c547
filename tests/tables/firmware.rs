//! The C header: compiled by this machine's C compiler with warnings as errors, its answers
//! compared with the integer twin, bit for bit, and with the full model.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::table_cases::{Case, cases, demands, full_model, provenance, standing};
use plumbeam::angle::Angle;
use plumbeam::mount::Term;
use plumbeam::table::{
    Correction, FirmwareTable, IntegerTable, LookUpStatus, Microdegrees, Provenance, TableRequest,
    c_header, firmware_table, table,
};

/// How many demands go through the C look-up for each table.
const DEMANDS: usize = 4_000;
/// The float look-up holds an azimuth of up to 720 degrees to 3e-5 degree, on which the corrections
/// of these tables, where they are steepest, depend by less than a degree to the degree;
/// and its answers of at most 200 degrees to 8e-6 in each of three roundings.
const FLOAT_ERROR: f64 = 1e-4;

const STRICT: [&str; 9] = [
    "-std=c99",
    "-O2",
    "-Wall",
    "-Wextra",
    "-Wpedantic",
    "-Wconversion",
    "-Wshadow",
    "-Wundef",
    "-Werror",
];

/// Reads triples of demand and present azimuth, writes the answers of every look-up.
const HARNESS: &str = r#"
#define PLUMBEAM_SELF_TEST
#define PLUMBEAM_FLOAT
#include "table.h"
#include <stdio.h>
int main(void)
{
    long azimuth, elevation, present;
    int self_test = plumbeam_self_test();
    printf("%d\n", self_test);
    while (scanf("%ld %ld %ld", &azimuth, &elevation, &present) == 3) {
        int32_t a = 0, e = 0, ra = 0, re = 0;
        float fa = 0, fe = 0;
        int first = plumbeam_correction((int32_t)azimuth, (int32_t)elevation, &a, &e);
        int second = plumbeam_command((int32_t)azimuth, (int32_t)elevation, (int32_t)present,
                                      &ra, &re);
        int third = plumbeam_correction_real((float)azimuth / 1e6f, (float)elevation / 1e6f,
                                             &fa, &fe);
        printf("%d %ld %ld %d %ld %ld %d %.9g %.9g\n", first, (long)a, (long)e, second, (long)ra,
               (long)re, third, (double)fa, (double)fe);
    }
    return 0;
}
"#;

/// The machine's C compiler, or nothing with a word about it.
fn compiler() -> Option<&'static str> {
    let found = Command::new("cc")
        .arg("--version")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|s| s.success());
    if !found {
        // Straight to the terminal: the test harness swallows what passing tests print.
        let _ = writeln!(
            std::io::stderr(),
            "SKIPPED: no C compiler 'cc' on this machine, the C header was not compiled"
        );
    }
    found.then_some("cc")
}

fn compile(folder: &Path, source: &str, program: &str, flags: &[&str]) -> Result<(), String> {
    let file = folder.join(format!("{program}.c"));
    std::fs::write(&file, source).unwrap();
    let output = Command::new("cc")
        .args(flags)
        .arg("-o")
        .arg(folder.join(program))
        .arg(&file)
        .output()
        .unwrap();
    if output.status.success() {
        Ok(())
    } else {
        Err(String::from_utf8_lossy(&output.stderr).into_owned())
    }
}

fn run(program: &Path, input: &str) -> String {
    let mut child = Command::new(program)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_owned();
    let feeder = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
    let output = child.wait_with_output().unwrap();
    feeder.join().unwrap().unwrap();
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn answer(result: Result<(Microdegrees, Microdegrees), LookUpStatus>) -> [i64; 3] {
    match result {
        Ok((a, e)) => [0, i64::from(a.0), i64::from(e.0)],
        Err(status) => [status as i64, 0, 0],
    }
}

/// Demands over the whole table, and some of everything an `int32_t` can hold.
fn all_demands(t: &IntegerTable, firmware: &FirmwareTable) -> Vec<(i32, i32, i32)> {
    let grid = plumbeam::table::Grid {
        azimuth: t.azimuth,
        elevation: t.elevation,
        one_turn: t.one_turn,
    };
    let range = (t.azimuth_range.0.0, t.azimuth_range.1.0);
    let mut all: Vec<_> = demands(&grid, DEMANDS)
        .into_iter()
        .enumerate()
        .map(|(i, (azimuth, elevation))| {
            let present = range.0 + ((range.1 - range.0) / 1000) * (i % 1001) as i32;
            (azimuth.0, elevation.0, present)
        })
        .collect();
    let ends = [i32::MIN, i32::MIN + 1, -1, 0, 1, i32::MAX - 1, i32::MAX];
    for azimuth in ends {
        for elevation in ends {
            for present in ends {
                all.push((azimuth, elevation, present));
            }
        }
    }
    let (low, high) = (t.elevation.first.0, t.elevation.last().0);
    for azimuth in [
        i32::MIN,
        -360_000_000,
        359_999_999,
        360_000_000,
        720_000_000,
        i32::MAX,
    ] {
        for elevation in [low - 1, low, low + 1, high - 1, high, high + 1] {
            all.push((azimuth, elevation, i32::MIN));
        }
    }
    for vector in firmware.test_vectors() {
        all.push((vector.demand[0], vector.demand[1], vector.demand[2]));
    }
    all
}

#[test]
fn the_c_look_up_gives_the_integers_of_its_twin_and_keeps_to_the_stated_error() {
    if compiler().is_none() {
        return;
    }
    // Each case in two of the three forms by turns.
    const FORMS: [Option<usize>; 3] = [None, Some(16_000), Some(1024)];
    for (i, case) in cases().into_iter().enumerate() {
        let Case {
            name,
            full,
            request,
        } = case;
        for most_bytes in [FORMS[i % 3], FORMS[(i + 1) % 3]] {
            let firmware = firmware_table(&full, &request, &provenance(), most_bytes)
                .unwrap_or_else(|e| panic!("{name}, {most_bytes:?} bytes: {e}"))
                .table;
            let t = &firmware.table;
            if let Some(most) = most_bytes {
                assert!(t.bytes() <= most, "{name}: {} bytes", t.bytes());
            }
            let folder = tempfile::tempdir().unwrap();
            std::fs::write(folder.path().join("table.h"), c_header(&firmware)).unwrap();
            compile(folder.path(), HARNESS, "harness", &STRICT).unwrap();
            let all = all_demands(t, &firmware);
            let input: String = all
                .iter()
                .map(|(a, e, p)| format!("{a} {e} {p}\n"))
                .collect();
            let output = run(&folder.path().join("harness"), &input);
            let mut lines = output.lines();
            assert_eq!(lines.next(), Some("0"), "{name}: the self-test fails");
            let mut worst: f64 = 0.0;
            let mut answered = 0;
            for (&(azimuth, elevation, present), line) in all.iter().zip(&mut lines) {
                let found: Vec<f64> = line.split(' ').map(|n| n.parse().unwrap()).collect();
                let (azimuth, elevation) = (Microdegrees(azimuth), Microdegrees(elevation));
                let twin = answer(t.correction(azimuth, elevation));
                let whole: Vec<i64> = found[..6].iter().map(|&n| n as i64).collect();
                assert_eq!(whole[..3], twin, "{name}: {azimuth:?} {elevation:?}");
                assert_eq!(
                    whole[3..6],
                    answer(t.command(azimuth, elevation, Microdegrees(present))),
                    "{name}: {azimuth:?} {elevation:?} {present}"
                );
                if twin[0] != 0 || azimuth.0.unsigned_abs() > 1_000_000_000 {
                    continue;
                }
                answered += 1;
                let correction = Correction {
                    azimuth: Microdegrees(twin[1] as i32).angle(),
                    elevation: Microdegrees(twin[2] as i32).angle(),
                };
                let miss = full.miss(azimuth.angle(), elevation.angle(), correction);
                worst = worst.max(miss.degrees());
                // A demand on the rim of the table may round to its outside as a float.
                if found[6] == 0.0 {
                    let shrink = elevation.angle().cos();
                    let across = (found[7] - correction.azimuth.degrees()).abs() * shrink;
                    let up = (found[8] - correction.elevation.degrees()).abs();
                    assert!(
                        across < FLOAT_ERROR && up < FLOAT_ERROR,
                        "{name}: float differs by {across} and {up} at {azimuth:?} {elevation:?}"
                    );
                }
            }
            assert_eq!(lines.next(), None);
            assert!(answered >= DEMANDS, "{name}: only {answered} were answered");
            assert!(
                worst <= firmware.header.largest_error_deg,
                "{name}: {worst} is more than the stated {}",
                firmware.header.largest_error_deg
            );
            if most_bytes.is_none() {
                let stated = firmware.header.largest_error_deg;
                assert!(stated <= request.tolerance.degrees(), "{name}: {stated}");
            }
        }
    }
}

#[test]
fn nothing_in_the_c_look_up_is_undefined() {
    if compiler().is_none() {
        return;
    }
    // The trap form needs no run-time library.
    let sanitize = ["-fsanitize=undefined", "-fsanitize-undefined-trap-on-error"];
    let folder = tempfile::tempdir().unwrap();
    let flags = [STRICT.as_slice(), &sanitize].concat();
    if compile(
        folder.path(),
        "int main(void) { return 0; }\n",
        "probe",
        &flags,
    )
    .is_err()
    {
        let _ = writeln!(
            std::io::stderr(),
            "SKIPPED: this C compiler has no check for undefined behaviour"
        );
        return;
    }
    for Case { full, request, .. } in cases() {
        let firmware = firmware_table(&full, &request, &provenance(), Some(1024))
            .unwrap()
            .table;
        std::fs::write(folder.path().join("table.h"), c_header(&firmware)).unwrap();
        compile(folder.path(), HARNESS, "harness", &flags).unwrap();
        let all = all_demands(&firmware.table, &firmware);
        let input: String = all
            .iter()
            .map(|(a, e, p)| format!("{a} {e} {p}\n"))
            .collect();
        let output = run(&folder.path().join("harness"), &input);
        assert_eq!(output.lines().count(), all.len() + 1);
    }
}

#[test]
fn the_self_test_finds_a_changed_cell_and_a_wrong_machine() {
    if compiler().is_none() {
        return;
    }
    let Case { full, request, .. } = cases().remove(0);
    let firmware = firmware_table(&full, &request, &provenance(), None)
        .unwrap()
        .table;
    let header = c_header(&firmware);
    let run_with = |header: &str| {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("table.h"), header).unwrap();
        compile(folder.path(), HARNESS, "harness", &STRICT).unwrap();
        run(&folder.path().join("harness"), "")
    };
    assert_eq!(run_with(&header), "0\n");
    let cells = header.find("plumbeam_cells[2]").unwrap();
    let comma = cells + header[cells..].find(",").unwrap();
    let last_digit = header[..comma].chars().next_back().unwrap();
    let other = if last_digit == '1' { '2' } else { '1' };
    let changed = format!("{}{other}{}", &header[..comma - 1], &header[comma..]);
    assert_eq!(run_with(&changed), "-1\n");
    // A look-up that counts otherwise.
    let wrong = header.replace("UINT32_C(0x8000)", "UINT32_C(0x0000)");
    assert_ne!(wrong, header);
    assert_ne!(run_with(&wrong), "0\n");
    let wrong = header.replace("row + 1", "row");
    assert_ne!(wrong, header);
    assert_ne!(run_with(&wrong), "0\n");
}

#[test]
fn the_header_says_what_it_holds() {
    let Case { full, request, .. } = cases().remove(0);
    let firmware = firmware_table(&full, &request, &provenance(), Some(2000))
        .unwrap()
        .table;
    let header = c_header(&firmware);
    for wanted in [
        format!("The table takes {} bytes", firmware.table.bytes()),
        " * demand: apparent\n".to_owned(),
        " * station: Test hill (invented)\n".to_owned(),
        "#define PLUMBEAM_KEYHOLE INT32_C(350000)".to_owned(),
        "#define PLUMBEAM_AZIMUTH_LOWEST (-INT32_C(180000000))".to_owned(),
        format!(
            " * largest_error_deg: {}\n",
            firmware.header.largest_error_deg
        ),
    ] {
        assert!(header.contains(&wanted), "{wanted} is missing");
    }
}

#[test]
fn text_of_the_users_cannot_break_out_of_the_comment() {
    if compiler().is_none() {
        return;
    }
    let Case { full, request, .. } = cases().remove(0);
    let nasty = Provenance {
        station: "a */ int x; /* \n \\ b".to_owned(),
        calibration: "cal/*.json */".to_owned(),
        ..provenance()
    };
    let firmware = firmware_table(&full, &request, &nasty, Some(1024))
        .unwrap()
        .table;
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("table.h"), c_header(&firmware)).unwrap();
    compile(folder.path(), HARNESS, "harness", &STRICT).unwrap();
    // And the same text survives in a CSV table.
    let written = table(&full, &request, &nasty).unwrap().table;
    let back = plumbeam::table::read_table("t", written.to_csv().as_bytes()).unwrap();
    assert_eq!(back, written);
}

#[test]
fn the_room_decides_the_form_and_the_error_is_stated() {
    let Case { full, request, .. } = cases().remove(0);
    let mut last = f64::INFINITY;
    let mut coverage = 0.0;
    for room in [128, 256, 1024, 4096, 16_384] {
        let finished = firmware_table(&full, &request, &provenance(), Some(room)).unwrap();
        let (header, t) = (&finished.table.header, &finished.table.table);
        assert!(t.bytes() <= room);
        // More room is never worse: it first brings the error down, then the top up.
        assert!(header.largest_error_deg <= last.max(request.tolerance.degrees()));
        let over = header.largest_error_deg > request.tolerance.degrees();
        assert_eq!(
            !finished.warnings.is_empty(),
            over,
            "{:?}",
            finished.warnings
        );
        if !over {
            assert!(header.elevation_last_deg >= coverage);
            coverage = header.elevation_last_deg;
        }
        last = header.largest_error_deg;
    }
    let refused = firmware_table(&full, &request, &provenance(), Some(20)).unwrap_err();
    assert_eq!(refused.exit_code(), 4);
}

#[test]
fn the_command_chooses_the_wrap_and_keeps_to_the_range() {
    let full = full_model(
        &[(Term::AzimuthZero, 10.0)],
        None,
        (-180.0, 540.0),
        (0.0, 90.0),
    );
    let request = TableRequest::for_beam(Angle::from_degrees(1.0));
    let t = firmware_table(&full, &request, &provenance(), None)
        .unwrap()
        .table
        .table;
    let micro = |degrees: i32| Microdegrees(degrees * 1_000_000);
    let command = |azimuth: i32, elevation: i32, present: i32| {
        t.command(micro(azimuth), micro(elevation), micro(present))
            .map(|(a, e)| (a.degrees(), e.degrees()))
    };
    // The axis stands 10 further clockwise: command 10 less, on the nearest turn.
    assert_eq!(command(30, 45, 0), Ok((20.0, 45.0)));
    assert_eq!(command(30, 45, 500), Ok((380.0, 45.0)));
    assert_eq!(command(390, 45, -100), Ok((20.0, 45.0)));
    assert_eq!(command(5, 45, 0), Ok((-5.0, 45.0)));
    assert_eq!(command(5, 45, 176), Ok((355.0, 45.0)));
    // Of two equally near the smaller.
    assert_eq!(command(190, 45, 0), Ok((-180.0, 45.0)));
    assert_eq!(command(30, -1, 0), Err(LookUpStatus::Below));
    assert_eq!(command(30, 91, 0), Err(LookUpStatus::Above));
}

/// The bend of the air near the horizon runs slantwise through the table of a leaning axis.
#[test]
fn a_table_of_geometric_demands_that_cannot_be_made_for_a_leaning_axis_says_what_can() {
    let d = plumbeam::angle::Angle::from_degrees;
    let full = full_model(
        &[(plumbeam::mount::Term::TiltNorth, 0.4)],
        Some((980.0, 20.0, 0.4)),
        (-120.0, 120.0),
        (-85.0, 50.0),
    );
    let full = standing(plumbeam::mount::Geometry::polar(d(-33.0)), full);
    let request = plumbeam::table::TableRequest::for_beam(d(5.0));
    let refused = firmware_table(&full, &request, &provenance(), None).unwrap_err();
    assert_eq!(refused.exit_code(), 4);
    assert!(
        refused.to_string().contains("--demand apparent"),
        "{refused}"
    );
}
