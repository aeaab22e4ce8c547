//! Files survive: whatever kills the process at whatever instant, a file is the old one whole or
//! the new one whole.

use std::io::Write;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, SystemTime};

use crate::command::TestFolder;
use plumbeam::logbook::Calibration;

/// Kills of each file, at instants spread over the run and while it writes.
const KILLS: u32 = 8;

fn demo() -> TestFolder {
    TestFolder::with_demo(&["station.toml", "satellites.tle", "peaks.csv", "truth.toml"])
}

impl TestFolder {
    /// Temporary files in the folder.
    fn parts(&self) -> Vec<PathBuf> {
        let entries = std::fs::read_dir(self.root()).unwrap();
        (entries.map(|e| e.unwrap().path()))
            .filter(|p| p.extension().is_some_and(|e| e == "part"))
            .collect()
    }
}

/// Of temporary files and folders those that the next run must sweep up. One whose writer was killed
/// between making and locking it holds no byte yet: it cannot be told from one that somebody is about
/// to lock, and goes after a day.
fn to_be_swept(folder: &TestFolder) -> Vec<PathBuf> {
    let begun = |path: &PathBuf| {
        let record = match path.is_dir() {
            true => path.join(".plumbeam-report.json"),
            false => path.clone(),
        };
        std::fs::metadata(record).is_ok_and(|m| m.len() > 0)
    };
    folder.parts().into_iter().filter(begun).collect()
}

/// Kills the command in the middle of writing: the system ends it with a signal when a file grows
/// beyond a limit.
fn cut_short(folder: &TestFolder, target: &Path, arguments: &[&str], size: u64) {
    let old = std::fs::read(target).unwrap();
    // `ulimit -f` counts blocks of 512 or of 1024 bytes, as the shell has it.
    let most = (size - 1) / 1024;
    assert!(most > 0, "{arguments:?}: too small to be cut short");
    for blocks in [1, most / 2, most].into_iter().filter(|b| *b > 0) {
        let quoted: Vec<String> = arguments.iter().map(|a| format!("'{a}'")).collect();
        let ended = Command::new("sh")
            .arg("-c")
            .arg(format!(
                "ulimit -f {blocks}; exec '{}' {}",
                env!("CARGO_BIN_EXE_plumbeam"),
                quoted.join(" ")
            ))
            .current_dir(folder.root())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .unwrap();
        assert!(
            ended.signal().is_some(),
            "{arguments:?}: not killed while it wrote, but {ended}"
        );
        let parts = folder.parts();
        assert_eq!(parts.len(), 1, "{arguments:?}: what was written is left");
        let written = std::fs::metadata(&parts[0]).unwrap().len();
        assert!(written > 0 && written < size, "{written} of {size} bytes");
        assert!(std::fs::read(target).unwrap() == old, "{arguments:?}");
        folder.run(arguments);
        assert!(folder.parts().is_empty(), "{arguments:?}: swept up");
        std::fs::write(target, &old).unwrap();
    }
}

/// What a look at the folder can see of the writing: a temporary file, or a changed target.
fn look(folder: &TestFolder, target: &Path) -> (usize, Option<(u64, SystemTime)>) {
    let state = std::fs::metadata(target).ok();
    (
        folder.parts().len(),
        state.map(|m| (m.len(), m.modified().unwrap())),
    )
}

/// Waits until the process begins to write, or ends.
fn wait_for_writing(folder: &TestFolder, target: &Path, child: &mut Child) {
    let before = look(folder, target);
    while child.try_wait().unwrap().is_none() && look(folder, target) == before {}
}

/// Kills the command at many instants; `whole` says whether a content is a whole new file.
fn survives(folder: &TestFolder, file: &str, arguments: &[&str], whole: &dyn Fn(&[u8]) -> bool) {
    let target = folder.path(file);
    let old = b"the old file, which must stay or be replaced as a whole\n";
    let started = std::time::Instant::now();
    folder.run(arguments);
    let took = started.elapsed();
    let new = std::fs::read(&target).unwrap();
    assert!(whole(&new) && !whole(old), "{file}: the check is no check");
    assert!(
        folder.parts().is_empty(),
        "{file}: a finished run leaves nothing"
    );
    std::fs::write(&target, old).unwrap();
    cut_short(folder, &target, arguments, new.len() as u64);
    for kill in 0..KILLS {
        std::fs::write(&target, old).unwrap();
        let mut child = folder.command(arguments).spawn().unwrap();
        if kill % 2 == 0 {
            wait_for_writing(folder, &target, &mut child);
            // At once, and ever later in the writing.
            std::thread::sleep(Duration::from_micros(u64::from(kill) * 40));
        } else {
            std::thread::sleep(took * kill / KILLS);
        }
        child.kill().unwrap();
        child.wait().unwrap();
        let found = std::fs::read(&target).unwrap();
        assert!(
            found == old || whole(&found),
            "{file}: {} bytes that are neither the old file nor the new one",
            found.len()
        );
        let parts = folder.parts();
        assert!(parts.len() <= 1, "{file}: one kill leaves one file at most");
        // What was written is swept by the next run, but perhaps not what was only begun.
        let begun = |p: &&PathBuf| std::fs::metadata(p).unwrap().len() == 0;
        (parts.iter().filter(begun)).for_each(|p| std::fs::remove_file(p).unwrap());
    }
    // And the next run is none the worse for it.
    folder.run(arguments);
    assert!(whole(&std::fs::read(&target).unwrap()));
}

#[test]
fn a_kill_at_any_instant_leaves_the_old_file_or_the_new_one() {
    let folder = demo();
    let calibration = |bytes: &[u8]| {
        Calibration::parse("c", bytes).is_ok_and(|c| c.peaks.len() == 60 && bytes.ends_with(b"}\n"))
    };
    survives(
        &folder,
        "calibration.json",
        &["solve", "peaks.csv", "--json", "--out", "calibration.json"],
        &calibration,
    );
    let table = ["table", "--calibration", "calibration.json"];
    let same = |made: &[&str], file: &str| {
        let arguments = [made, &["--out", file]].concat();
        folder.run(&arguments);
        let expected = std::fs::read(folder.path(file)).unwrap();
        survives(&folder, file, &arguments, &|bytes| bytes == expected);
    };
    same(&[&table[..], &["--tolerance", "0.02"]].concat(), "t.csv");
    same(&[&table[..], &["--format", "c-header"]].concat(), "t.h");
    same(&["simulate", "--truth", "truth.toml"], "made.csv");
}

#[test]
fn a_kill_at_any_instant_leaves_the_old_report_or_the_new_one() {
    let folder = demo();
    let demo = folder.path("peaks.csv");
    std::fs::create_dir(folder.path("old")).unwrap();
    folder.run(&["solve", "peaks.csv", "--out", "old/one.json"]);
    let history = ["recheck", "--history", "old", "--report", "report"];
    let started = std::time::Instant::now();
    folder.run(&history);
    let took = started.elapsed();
    let files = || {
        let entries = std::fs::read_dir(folder.path("report")).unwrap();
        let mut files: Vec<(String, Vec<u8>)> = entries
            .map(|e| e.unwrap())
            .map(|e| {
                let name = e.file_name().into_string().unwrap();
                (name, std::fs::read(e.path()).unwrap())
            })
            // Of the moment at which it was written.
            .filter(|(name, _)| !name.starts_with('.'))
            .collect();
        files.sort();
        files
    };
    let one = files();
    std::fs::copy(folder.path("old/one.json"), folder.path("old/two.json")).unwrap();
    folder.run(&history);
    let two = files();
    assert!(one != two && demo.exists());
    for kill in 0..KILLS {
        // From the report of two to that of one, and back.
        let (before, after) = match kill % 2 {
            0 => (&two, &one),
            _ => (&one, &two),
        };
        match kill % 2 {
            0 => std::fs::remove_file(folder.path("old/two.json")).unwrap(),
            _ => {
                std::fs::copy(folder.path("old/one.json"), folder.path("old/two.json")).unwrap();
            }
        }
        let mut child = folder.command(&history).spawn().unwrap();
        std::thread::sleep(took * (kill + 1) / (KILLS + 1));
        child.kill().unwrap();
        child.wait().unwrap();
        let found = files();
        assert!(found == *before || found == *after, "kill {kill}");
        folder.run(&history);
        assert!(files() == *after);
        assert_eq!(
            to_be_swept(&folder),
            Vec::<PathBuf>::new(),
            "the next run sweeps"
        );
    }
}

#[test]
fn who_reads_while_it_is_replaced_always_finds_a_whole_file() {
    let folder = demo();
    let arguments = ["simulate", "--truth", "truth.toml", "--out", "made.csv"];
    folder.run(&arguments);
    let expected = std::fs::read(folder.path("made.csv")).unwrap();
    for _ in 0..8 {
        let mut child = folder.command(&arguments).spawn().unwrap();
        while child.try_wait().unwrap().is_none() {
            assert!(std::fs::read(folder.path("made.csv")).unwrap() == expected);
        }
    }
}

#[test]
fn what_a_kill_has_left_is_swept_up() {
    let folder = demo();
    let leave = |name: &str, age: u64| {
        let mut file = std::fs::File::create(folder.path(name)).unwrap();
        file.write_all(if name.contains("half") { b"half" } else { b"" })
            .unwrap();
        let then = SystemTime::now() - Duration::from_secs(age * 3600);
        file.set_modified(then).unwrap();
    };
    leave(".plumbeam-old.part", 30);
    leave(".plumbeam-half.part", 0);
    // Perhaps of a run that is about to write, and of another program.
    leave(".plumbeam-new.part", 1);
    leave(".other-old.part", 30);
    // Of a run that is still writing.
    leave(".plumbeam-half-now.part", 0);
    let writing = std::fs::File::open(folder.path(".plumbeam-half-now.part")).unwrap();
    writing.lock().unwrap();
    folder.run(&["simulate", "--truth", "truth.toml", "--out", "made.csv"]);
    assert!(!folder.path(".plumbeam-old.part").exists());
    assert!(!folder.path(".plumbeam-half.part").exists());
    assert!(folder.path(".plumbeam-half-now.part").exists());
    assert!(folder.path(".plumbeam-new.part").exists());
    assert!(folder.path(".other-old.part").exists());
}

#[test]
fn a_link_stays_a_link_and_a_pipe_a_pipe() {
    let folder = demo();
    std::fs::create_dir(folder.path("kept")).unwrap();
    std::fs::write(folder.path("kept/made.csv"), "old").unwrap();
    std::os::unix::fs::symlink("kept/made.csv", folder.path("made.csv")).unwrap();
    folder.run(&["simulate", "--truth", "truth.toml", "--out", "made.csv"]);
    let link = std::fs::symlink_metadata(folder.path("made.csv")).unwrap();
    assert!(link.is_symlink());
    let made = std::fs::read_to_string(folder.path("kept/made.csv")).unwrap();
    assert!(made.starts_with("# An invented session"));
    let pipe = folder.path("pipe");
    let made_one = Command::new("mkfifo").arg(&pipe).status().unwrap();
    assert!(made_one.success());
    let from = pipe.clone();
    let reader = std::thread::spawn(move || std::fs::read_to_string(from).unwrap());
    folder.run(&["simulate", "--truth", "truth.toml", "--out", "pipe"]);
    assert_eq!(reader.join().unwrap(), made);
    assert!(!std::fs::metadata(&pipe).unwrap().is_file());
}

#[test]
fn a_failure_leaves_the_old_file_and_nothing_else() {
    let folder = demo();
    std::fs::write(folder.path("t.csv"), "old").unwrap();
    std::fs::write(folder.path("calibration.json"), "{").unwrap();
    let status = (folder.command(&[
        "table",
        "--calibration",
        "calibration.json",
        "--out",
        "t.csv",
    ]))
    .status()
    .unwrap();
    assert_eq!(status.code(), Some(3));
    assert_eq!(std::fs::read(folder.path("t.csv")).unwrap(), b"old");
    assert!(folder.parts().is_empty());
}
