//! The built binary, started in a folder; when it ends otherwise than expected, all that it said.

#![allow(dead_code)] // each test file uses its own part

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// `plumbeam` with these arguments in a folder, without the environment and with nothing to read.
pub fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_plumbeam"));
    command
        .args(arguments)
        .current_dir(folder)
        .env_clear()
        .stdin(Stdio::null());
    command
}

/// Runs `plumbeam` in a folder.
///
/// # Panics
/// With exit code, output and errors whole when the exit code is not `code`.
#[track_caller]
pub fn plumbeam(folder: &Path, arguments: &[&str], code: i32) -> Output {
    let output = command(folder, arguments)
        .output()
        .expect("the command runs");
    assert_eq!(
        output.status.code(),
        Some(code),
        "plumbeam {}\n--- out\n{}--- err\n{}",
        arguments.join(" "),
        text(&output.stdout),
        text(&output.stderr)
    );
    output
}

/// What was said, as text.
pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A folder of its own in which a test runs the binary; it goes with the test.
pub struct TestFolder {
    root: tempfile::TempDir,
}

impl TestFolder {
    pub fn empty() -> TestFolder {
        TestFolder {
            root: tempfile::tempdir().expect("a folder for the test"),
        }
    }
    /// With copies of some files of a folder of the repository.
    pub fn with(source: &str, names: &[&str]) -> TestFolder {
        let folder = TestFolder::empty();
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join(source);
        for name in names {
            std::fs::copy(from.join(name), folder.path(name))
                .unwrap_or_else(|e| panic!("{source}/{name}: {e}"));
        }
        folder
    }
    /// With copies of some files of the demo.
    pub fn with_demo(names: &[&str]) -> TestFolder {
        TestFolder::with("demo-data", names)
    }
    pub fn root(&self) -> &Path {
        self.root.path()
    }
    pub fn path(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }
    #[track_caller]
    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }
    #[track_caller]
    pub fn write(&self, name: &str, contents: &(impl AsRef<[u8]> + ?Sized)) {
        std::fs::write(self.path(name), contents).unwrap_or_else(|e| panic!("{name}: {e}"));
    }
    /// Writes a file as the tool itself does: a new one that takes the old one's place.
    #[track_caller]
    pub fn replace(&self, name: &str, contents: &(impl AsRef<[u8]> + ?Sized)) {
        self.write("replace.tmp", contents);
        std::fs::rename(self.path("replace.tmp"), self.path(name)).expect("a file to replace");
    }
    pub fn command(&self, arguments: &[&str]) -> Command {
        command(self.root(), arguments)
    }
    /// Runs `plumbeam`, whatever its exit code.
    pub fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().expect("the command runs")
    }
    /// Runs `plumbeam`, which must end with this exit code.
    #[track_caller]
    pub fn ends(&self, arguments: &[&str], code: i32) -> Output {
        plumbeam(self.root(), arguments, code)
    }
    /// What it says on standard error, ending with this exit code.
    #[track_caller]
    pub fn said(&self, arguments: &[&str], code: i32) -> String {
        text(&self.ends(arguments, code).stderr)
    }
    /// What it gives on standard output, ending well.
    #[track_caller]
    pub fn gives(&self, arguments: &[&str]) -> String {
        text(&self.ends(arguments, 0).stdout)
    }
}
