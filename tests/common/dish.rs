//! The pretended dish of `simulate`, over sockets.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// A program that ends with the test.
pub struct Ended(pub Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Starts it in a folder with a `truth.toml`, and gives its ports.
pub fn pretended_dish(folder: &Path) -> (Ended, serde_json::Value) {
    let arguments = "simulate --truth truth.toml --rotator-port 0 --power-port 0";
    let mut dish = Command::new(env!("CARGO_BIN_EXE_plumbeam"))
        .args(arguments.split(' '))
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut first = String::new();
    BufReader::new(dish.stdout.take().unwrap())
        .read_line(&mut first)
        .unwrap();
    let ports = serde_json::from_str(&first).expect("ports");
    (Ended(dish), ports)
}
