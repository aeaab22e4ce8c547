//! An output never destroys an input: every verb, every input that it reads, every way to name it.

use crate::command::TestFolder;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The files that stand in every place.
const FILES: [&str; 7] = [
    "station.toml",
    "satellites.tle",
    "peaks.csv",
    "truth.toml",
    "scans.csv",
    "calibration.json",
    "table.csv",
];

fn filled() -> TestFolder {
    let folder =
        TestFolder::with_demo(&["station.toml", "satellites.tle", "peaks.csv", "truth.toml"]);
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let calibration = std::fs::read_to_string(root.join("tests/data/invented/calibration.json"));
    let calibration = calibration.unwrap().replace("Mill meadow", "Reedmere");
    std::fs::write(folder.path("calibration.json"), calibration).unwrap();
    let scans = "scan,time_utc,emitter,azimuth_deg,elevation_deg,power_db\n\
                 1,2026-09-12T06:25:45Z,sun,100.0,20.0,1.0\n";
    std::fs::write(folder.path("scans.csv"), scans).unwrap();
    folder.both(&[
        "table",
        "--calibration",
        "calibration.json",
        "--out",
        "table.csv",
    ]);
    folder
}

impl TestFolder {
    #[track_caller]
    fn both(&self, arguments: &[&str]) -> (String, String) {
        let output = self.run(arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(output.status.success(), "{arguments:?}: {said}");
        (String::from_utf8(output.stdout).unwrap(), said)
    }
    #[track_caller]
    fn refused(&self, arguments: &[&str]) -> String {
        let before = self.contents();
        let output = self.run(arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
        assert!(self.contents() == before, "{arguments:?}: files changed");
        said
    }
    /// All files in the folder and what they hold.
    fn contents(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let entries = std::fs::read_dir(self.root()).unwrap();
        entries
            .map(|e| e.unwrap().path())
            .filter(|p| p.is_file())
            .map(|p| (p.clone(), std::fs::read(p).unwrap()))
            .collect()
    }
    fn names(&self) -> Vec<String> {
        let name = |p: &PathBuf| p.file_name().unwrap().to_str().unwrap().to_owned();
        self.contents().keys().map(name).collect()
    }

    /// Every way to name a file of the place that this system has.
    fn ways_to(&self, name: &str) -> Vec<String> {
        let text = |path: PathBuf| path.to_str().unwrap().to_owned();
        let mut ways = vec![
            name.to_owned(),
            format!("./{name}"),
            format!("../{}/{name}", self.root().file_name().unwrap().display()),
            text(self.path(name)),
        ];
        let hard = self.path(&format!("hard-{name}"));
        if std::fs::hard_link(self.path(name), &hard).is_ok() {
            ways.push(text(hard));
        }
        let upper = name.to_uppercase();
        if self.path(&upper).exists() {
            ways.push(upper);
        }
        #[cfg(unix)]
        {
            use std::os::unix::fs::symlink;
            let make = |to: &str, link: &str| {
                let _ = std::fs::remove_file(self.path(link));
                symlink(to, self.path(link)).unwrap();
                link.to_owned()
            };
            ways.push(make(name, &format!("link-{name}")));
            ways.push(make(
                &format!("link-{name}"),
                &format!("link-to-link-{name}"),
            ));
            make(".", "link-to-folder");
            ways.push(format!("link-to-folder/{name}"));
            ways.push(make(
                &format!("hard-{name}"),
                &format!("link-to-hard-{name}"),
            ));
        }
        ways
    }
}

/// A verb as it is called, the options with which it writes files, and what it reads.
struct Called {
    arguments: &'static [&'static str],
    options: &'static [&'static str],
    reads: &'static [&'static str],
}

const STATION: [&str; 2] = ["station.toml", "satellites.tle"];

const VERBS: [Called; 19] = [
    Called {
        arguments: &["sky", "--at", "2026-09-12T12:00:00Z"],
        options: &["--out"],
        reads: &[],
    },
    Called {
        arguments: &["sky", "--at", "2026-09-12T12:00:00Z", "--json"],
        options: &["--out"],
        reads: &[],
    },
    Called {
        arguments: &["plan", "--from", "2026-09-12T06:00:00Z", "--for", "1h"],
        options: &["--out", "--sheet", "--report"],
        reads: &[],
    },
    Called {
        arguments: &[
            "plan",
            "--from",
            "2026-09-12T06:00:00Z",
            "--for",
            "1h",
            "--calibration",
            "calibration.json",
        ],
        options: &["--out", "--sheet", "--report"],
        reads: &["calibration.json"],
    },
    Called {
        arguments: &["reduce", "scans.csv"],
        options: &["--out", "--report"],
        reads: &["scans.csv"],
    },
    Called {
        arguments: &["solve", "peaks.csv"],
        options: &["--out", "--report"],
        reads: &["peaks.csv"],
    },
    Called {
        arguments: &["faults", "peaks.csv", "--calibration", "calibration.json"],
        options: &["--out", "--report"],
        reads: &["peaks.csv", "calibration.json"],
    },
    Called {
        arguments: &["table", "--calibration", "calibration.json"],
        options: &["--out"],
        reads: &["calibration.json"],
    },
    Called {
        arguments: &[
            "table",
            "--calibration",
            "calibration.json",
            "--format",
            "c-header",
        ],
        options: &["--out"],
        reads: &["calibration.json"],
    },
    Called {
        arguments: &["point", "--calibration", "calibration.json", "180", "35"],
        options: &["--out"],
        reads: &["calibration.json"],
    },
    Called {
        arguments: &["recheck", "--against", "calibration.json", "peaks.csv"],
        options: &["--out"],
        reads: &["calibration.json", "peaks.csv"],
    },
    Called {
        arguments: &["recheck", "--history", "."],
        options: &["--out", "--report"],
        reads: &["calibration.json"],
    },
    Called {
        arguments: &[
            "relay",
            "--calibration",
            "calibration.json",
            "--rotator",
            "127.0.0.1:1",
        ],
        options: &["--log"],
        reads: &["calibration.json"],
    },
    Called {
        arguments: &["relay", "--summary", "peaks.csv"],
        options: &["--report"],
        reads: &["peaks.csv"],
    },
    Called {
        arguments: &[
            "observe",
            "--practice",
            "--truth",
            "truth.toml",
            "--rehearse",
            "--calibration",
            "calibration.json",
            "--peaks",
            "new-peaks.csv",
            "--result",
            "new.json",
        ],
        options: &["--out"],
        reads: &["truth.toml", "calibration.json"],
    },
    Called {
        arguments: &[
            "observe",
            "--practice",
            "--truth",
            "truth.toml",
            "--rehearse",
            "--calibration",
            "calibration.json",
            "--out",
            "new-scans.csv",
            "--peaks",
            "new-peaks.csv",
            "--result",
            "new.json",
        ],
        options: &["--report"],
        reads: &["truth.toml", "calibration.json"],
    },
    Called {
        arguments: &[
            "observe",
            "--practice",
            "--truth",
            "truth.toml",
            "--rehearse",
            "--out",
            "new-scans.csv",
            "--result",
            "new.json",
        ],
        options: &["--peaks"],
        reads: &["truth.toml"],
    },
    Called {
        arguments: &[
            "observe",
            "--practice",
            "--truth",
            "truth.toml",
            "--rehearse",
            "--out",
            "new-scans.csv",
            "--peaks",
            "new-peaks.csv",
        ],
        options: &["--result"],
        reads: &["truth.toml"],
    },
    Called {
        arguments: &["simulate", "--truth", "truth.toml"],
        options: &["--out"],
        reads: &["truth.toml"],
    },
];

#[test]
fn no_verb_writes_past_the_guard() {
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src/cli")];
    let mut paths = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            match path.is_dir() {
                true => folders.push(path),
                false => paths.push(path),
            }
        }
    }
    let mut seen = 0;
    for path in paths {
        let code = std::fs::read_to_string(&path).unwrap();
        for past in [
            "fs::write",
            "fs::rename",
            "File::create",
            "OpenOptions",
            "write_whole",
            "WholeFile",
            ".write(path",
        ] {
            assert!(!code.contains(past), "{}: {past}", path.display());
        }
        seen += 1;
    }
    assert!(seen > 10, "the verbs are there");
}

#[test]
fn no_verb_writes_over_what_it_reads_by_whatever_name() {
    let folder = filled();
    let ways: Vec<(&str, Vec<String>)> = FILES
        .iter()
        .map(|name| (*name, folder.ways_to(name)))
        .collect();
    let mut asked = 0;
    for verb in &VERBS {
        // They need no station.
        let alone = ["--history", "--summary"].iter();
        let alone = alone.clone().any(|option| verb.arguments.contains(option));
        let station = STATION.iter().filter(|_| !alone);
        for input in verb.reads.iter().chain(station) {
            let (_, ways) = ways.iter().find(|(name, _)| name == input).unwrap();
            for way in ways {
                for option in verb.options {
                    let arguments = [verb.arguments, &[*option, way.as_str()]].concat();
                    let said = folder.refused(&arguments);
                    assert!(said.contains(option), "{arguments:?}: {said}");
                    assert!(said.contains("reads it"), "{arguments:?}: {said}");
                    assert!(said.contains("help: name another"), "{arguments:?}: {said}");
                    asked += 1;
                }
            }
        }
    }
    assert!(asked > 300, "only {asked} were asked");
}

#[test]
fn no_verb_writes_over_a_file_of_another_kind() {
    let folder = filled();
    for verb in &VERBS {
        for name in FILES {
            let own = |kind: &str| verb.arguments[0] == kind;
            // An older one of the same kind, which is kept.
            let same = match name {
                "calibration.json" => own("solve") || own("recheck") || own("observe"),
                "table.csv" => own("table"),
                _ => false,
            };
            for option in verb.options.iter().filter(|_| !same) {
                let said = folder.refused(&[verb.arguments, &[*option, name]].concat());
                assert!(said.contains("help: name another") || said.contains("is not a folder"));
            }
        }
    }
    let table = [
        "point",
        "--table",
        "table.csv",
        "180",
        "35",
        "--out",
        "table.csv",
    ];
    assert!(folder.refused(&table).contains("is the table"));
}

#[test]
fn a_log_that_is_read_from_standard_input_is_not_written_over_either() {
    let folder = filled();
    let led = |arguments: &[&str], input: &str| {
        let before = folder.contents();
        let file = std::fs::File::open(folder.path(input)).unwrap();
        let output = folder.command(arguments).stdin(file).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(folder.contents() == before, "{arguments:?}");
        said
    };
    let said = led(&["solve", "-", "--out", "peaks.csv"], "peaks.csv");
    assert!(said.contains("is the same as standard input"), "{said}");
    led(&["reduce", "-", "--out", "scans.csv"], "scans.csv");
    led(
        &["table", "--calibration", "-", "--out", "calibration.json"],
        "calibration.json",
    );
    std::fs::write(folder.path("demands.txt"), "180 35\n").unwrap();
    led(
        &["point", "--table", "table.csv", "--out", "demands.txt"],
        "demands.txt",
    );
}

#[test]
fn standard_output_is_not_led_into_an_input() {
    let folder = filled();
    let before = folder.contents();
    for (arguments, into) in [
        (&["reduce", "scans.csv"][..], "scans.csv"),
        (&["solve", "peaks.csv", "--json"], "peaks.csv"),
        (&["simulate", "--truth", "truth.toml"], "truth.toml"),
    ] {
        let file = std::fs::OpenOptions::new()
            .append(true)
            .open(folder.path(into));
        let output = folder
            .command(arguments)
            .stdout(file.unwrap())
            .output()
            .unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains("standard output is redirected to"), "{said}");
        assert!(folder.contents() == before, "{arguments:?}");
    }
}

#[test]
fn an_older_result_is_kept_under_its_own_time_and_never_replaced() {
    let folder = filled();
    let old = folder.read("calibration.json");
    let (_, said) = folder.both(&["solve", "peaks.csv"]);
    let kept = "calibration.2026-04-04T200000Z.json";
    assert!(
        said.contains(&format!("is kept as {kept}")) || said.contains(kept),
        "{said}"
    );
    assert_eq!(folder.read(kept), old);
    let first = folder.read("calibration.json");
    assert_ne!(first, old);
    // Another of the same second stands beside it.
    let other = old.replace("7.31", "7.32");
    std::fs::remove_file(folder.path("calibration.json")).unwrap();
    std::fs::write(folder.path("calibration.json"), &other).unwrap();
    folder.both(&["solve", "peaks.csv"]);
    assert_eq!(folder.read(kept), old);
    assert_eq!(folder.read("calibration.2026-04-04T200000Z-2.json"), other);
    // And the history finds them all.
    let (found, _) = folder.both(&["recheck", "--history", ".", "--json"]);
    let found: serde_json::Value = serde_json::from_str(&found).unwrap();
    let points = found["terms"][0]["points"].as_array().map(Vec::len);
    assert_eq!(points, Some(3), "{found}");
}

#[test]
fn the_time_of_a_result_that_says_none_is_that_of_its_last_change() {
    let folder = filled();
    let at = ["sky", "--out", "sky.txt", "--at"];
    folder.both(&[&at[..], &["2026-09-12T12:00:00Z"]].concat());
    let old = folder.read("sky.txt");
    let file = std::fs::File::options()
        .append(true)
        .open(folder.path("sky.txt"))
        .unwrap();
    // 2026-09-12T16:34:00Z
    let then = std::time::UNIX_EPOCH + std::time::Duration::from_secs(1_789_230_840);
    file.set_modified(then).unwrap();
    // The same again is nothing to keep.
    folder.both(&[&at[..], &["2026-09-12T12:00:00Z"]].concat());
    assert!(!folder.path("sky.2026-09-12T163400Z.txt").exists());
    file.set_modified(then).unwrap();
    drop(file);
    let file = std::fs::File::options()
        .append(true)
        .open(folder.path("sky.txt"))
        .unwrap();
    file.set_modified(then).unwrap();
    folder.both(&[&at[..], &["2026-09-12T13:00:00Z"]].concat());
    assert_eq!(folder.read("sky.2026-09-12T163400Z.txt"), old);
    assert_ne!(folder.read("sky.txt"), old);
}

#[test]
fn a_plan_s_sheet_is_written_anew_until_somebody_fills_it_in() {
    let folder = filled();
    let sheet = |hours: &'static str| {
        [
            "plan",
            "--from",
            "2026-09-12T06:00:00Z",
            "--for",
            hours,
            "--sheet",
            "sheet.csv",
        ]
    };
    let before = folder.names().len();
    folder.both(&sheet("1h"));
    let one = folder.read("sheet.csv");
    folder.both(&sheet("2h"));
    let two = folder.read("sheet.csv");
    assert_ne!(one, two);
    assert_eq!(folder.names().len(), before + 1, "nothing to keep");
    // A note of the user's own is kept, though no peak is in it yet.
    let noted = two.replace("planned", "cloudy; planned");
    assert_ne!(noted, two);
    std::fs::write(folder.path("sheet.csv"), &noted).unwrap();
    folder.both(&sheet("1h"));
    assert_eq!(folder.read("sheet.csv"), one);
    let kept = folder
        .names()
        .into_iter()
        .find(|n| n.starts_with("sheet.2"));
    assert_eq!(folder.read(&kept.unwrap()), noted);
    // And one reading is a night's work.
    let row = one.lines().position(|l| l.starts_with(',')).unwrap();
    let mut filled: Vec<String> = one.lines().map(str::to_owned).collect();
    filled[row] = filled[row].replacen(",,", ",12.5,", 1);
    std::fs::write(folder.path("sheet.csv"), filled.join("\n")).unwrap();
    let said = folder.refused(&sheet("1h"));
    assert!(said.contains("is a log with a filled row"), "{said}");
    assert!(said.contains("name another file with --sheet"), "{said}");
}

#[test]
fn a_log_of_the_verb_s_own_is_written_anew_unless_it_was_edited() {
    let folder = filled();
    let simulate = |seed: &'static str| {
        [
            "simulate",
            "--truth",
            "truth.toml",
            "--out",
            "made.csv",
            "--seed",
            seed,
        ]
    };
    folder.both(&simulate("1"));
    let one = folder.read("made.csv");
    folder.both(&simulate("2"));
    let two = folder.read("made.csv");
    assert_ne!(one, two);
    let kept = folder.names().into_iter().find(|n| n.starts_with("made.2"));
    assert_eq!(folder.read(&kept.unwrap()), one);
    // It is a log like any other.
    folder.both(&["solve", "made.csv", "--json"]);
    std::fs::write(folder.path("made.csv"), two.replace("sun", "moon")).unwrap();
    let said = folder.refused(&simulate("1"));
    assert!(said.contains("filled rows"), "{said}");
    // That of another verb is not its own.
    std::fs::write(folder.path("made.csv"), &two).unwrap();
    folder.refused(&["reduce", "scans.csv", "--out", "made.csv"]);
}

#[test]
fn two_outputs_do_not_go_to_one_place() {
    let folder = filled();
    let plan = ["plan", "--from", "2026-09-12T06:00:00Z", "--for", "1h"];
    let both = ["--out", "one.csv", "--sheet", "./one.csv"];
    let said = folder.refused(&[&plan[..], &both].concat());
    assert!(said.contains("both name"), "{said}");
    std::fs::create_dir(folder.path("r")).unwrap();
    let inside = ["--out", "r/plan.txt", "--report", "r"];
    let said = folder.refused(&[&plan[..], &inside].concat());
    assert!(said.contains("lies in the folder of --report"), "{said}");
}

#[test]
fn an_output_that_cannot_be_a_file_is_refused_before_the_work() {
    let folder = filled();
    std::fs::create_dir(folder.path("folder")).unwrap();
    for (out, wanted) in [
        ("folder", "is a folder"),
        ("no/such/folder/c.json", "there is no folder"),
        ("-", "leave it out to print"),
    ] {
        let said = folder.refused(&["solve", "peaks.csv", "--out", out]);
        assert!(said.contains(wanted), "{said}");
    }
    for report in [".", "..", "peaks.csv"] {
        folder.refused(&["solve", "peaks.csv", "--report", report]);
    }
}

#[cfg(unix)]
mod unix {
    use std::os::unix::fs::{PermissionsExt, symlink};

    use super::*;

    #[test]
    fn file_modes_are_kept() {
        let folder = filled();
        for mode in [0o600, 0o640, 0o664] {
            let old = std::fs::Permissions::from_mode(mode);
            std::fs::set_permissions(folder.path("calibration.json"), old).unwrap();
            folder.both(&["solve", "peaks.csv"]);
            let new = std::fs::metadata(folder.path("calibration.json")).unwrap();
            assert_eq!(new.permissions().mode() & 0o777, mode);
        }
        // A new file is as the umask says.
        let command = format!(
            "umask 027; {} simulate --truth truth.toml --out made.csv",
            env!("CARGO_BIN_EXE_plumbeam")
        );
        let mut shell = Command::new("sh");
        shell.args(["-c", &command]).current_dir(folder.path(""));
        assert!(shell.output().unwrap().status.success());
        let made = std::fs::metadata(folder.path("made.csv")).unwrap();
        assert_eq!(made.permissions().mode() & 0o777, 0o640);
    }

    #[test]
    fn a_link_is_written_through_though_nothing_is_there_yet() {
        let folder = filled();
        std::fs::create_dir(folder.path("kept")).unwrap();
        symlink("kept/c.json", folder.path("c.json")).unwrap();
        folder.both(&["solve", "peaks.csv", "--out", "c.json"]);
        let is_link = |name: &str| {
            std::fs::symlink_metadata(folder.path(name))
                .unwrap()
                .is_symlink()
        };
        assert!(is_link("c.json") && !is_link("kept/c.json"));
        let first = folder.read("kept/c.json");
        folder.both(&["solve", "peaks.csv", "--out", "c.json"]);
        assert!(is_link("c.json"));
        // The earlier one is kept where the file really stands.
        let kept: Vec<PathBuf> = std::fs::read_dir(folder.path("kept"))
            .unwrap()
            .map(|e| e.unwrap().path())
            .filter(|p| !p.ends_with("c.json"))
            .collect();
        assert_eq!(kept.len(), 1, "{kept:?}");
        assert_eq!(std::fs::read_to_string(&kept[0]).unwrap(), first);
    }

    #[test]
    fn results_are_printed_though_their_file_cannot_be_written() {
        let folder = filled();
        // A disk that is always full.
        if !Path::new("/dev/full").exists() {
            return;
        }
        for (arguments, wanted) in [
            (&["solve", "peaks.csv"][..], "MOUNT ERRORS"),
            (&["solve", "peaks.csv", "--json"], "\"terms\""),
            (&["sky", "--at", "2026-09-12T12:00:00Z"], "reachable"),
            (
                &["plan", "--from", "2026-09-12T06:00:00Z", "--for", "1h"],
                "WHAT TO MEASURE",
            ),
            (&["simulate", "--truth", "truth.toml"], "time_utc,emitter"),
            (&["faults", "peaks.csv"], "Evidence"),
            (
                &["table", "--calibration", "calibration.json"],
                "azimuth_correction_deg",
            ),
            (
                &["point", "--calibration", "calibration.json", "180", "35"],
                "17",
            ),
        ] {
            let output = folder.run(&[arguments, &["--out", "/dev/full"]].concat());
            let (result, said) = (
                String::from_utf8(output.stdout).unwrap(),
                String::from_utf8(output.stderr).unwrap(),
            );
            assert_eq!(output.status.code(), Some(3), "{arguments:?}: {said}");
            assert!(result.contains(wanted), "{arguments:?}: {result}");
            assert!(said.contains("/dev/full: cannot write"), "{said}");
        }
    }
}
