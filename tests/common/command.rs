//! The built binary, started in a folder; when it ends otherwise than expected, all that it said.

use std::path::Path;
use std::process::{Command, Output, Stdio};

/// Runs `plumbeam` in a folder, without the environment and with nothing to read.
///
/// # Panics
/// With exit code, output and errors whole when the exit code is not `code`.
#[track_caller]
pub fn plumbeam(folder: &Path, arguments: &[&str], code: i32) -> Output {
    let output = Command::new(env!("CARGO_BIN_EXE_plumbeam"))
        .args(arguments)
        .current_dir(folder)
        .env_clear()
        .stdin(Stdio::null())
        .output()
        .expect("the command runs");
    assert_eq!(
        output.status.code(),
        Some(code),
        "plumbeam {}\n--- out\n{}--- err\n{}",
        arguments.join(" "),
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    output
}
