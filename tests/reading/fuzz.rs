//! A thousand inputs for every reader, the same in every run: good files with damage of the
//! kinds that break readers. The long run, which looks for inputs by itself, is in DEVELOPERS.md.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use rand::seq::IndexedRandom;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::targets::{self, TARGETS};

/// For each target.
const INPUTS: usize = 1000;
/// Longer ones take long, and break no more.
const LONGEST: usize = 20_000;

/// What readers stumble over.
const SCRAPS: [&str; 48] = [
    "nan",
    "inf",
    "-inf",
    "NaN",
    "1e18",
    "-1e18",
    "1e308",
    "-1e308",
    "1e999",
    "5e-324",
    "-0",
    "0",
    "-1",
    "18446744073709551616",
    "-9223372036854775809",
    "1_000",
    "0x10",
    "1,5",
    "12:30",
    "\0",
    "\"",
    "'",
    "\"\"\"",
    "\u{feff}",
    "\u{1b}[2J",
    "\u{202e}",
    "\u{9b}",
    "\u{2028}",
    "\r",
    "\r\n",
    "\n\n",
    "\t",
    ";",
    ",",
    ",,,,,",
    "#",
    "[",
    "]",
    "{",
    "}",
    "[[emitter]]\n",
    "=1+1",
    "null",
    "true",
    "ü",
    "\u{ffff}",
    "2026-02-30T25:61:61Z",
    "9999-12-31T23:59:60Z",
];

fn corpus(target: &str) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz/corpus")
        .join(target);
    let mut files: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    let read = |path: PathBuf| (path.clone(), std::fs::read(path).unwrap());
    files.into_iter().map(read).collect()
}

/// Where a number stands, if there is one behind a random place.
fn a_number(bytes: &[u8], random: &mut impl Rng) -> Option<(usize, usize)> {
    let from = random.random_range(0..bytes.len());
    let is = |b: &u8| b.is_ascii_digit() || b"+-.eE".contains(b);
    let start = from + bytes[from..].iter().position(u8::is_ascii_digit)?;
    let end = bytes[start..].iter().position(|b| !is(b));
    Some((start, end.map_or(bytes.len(), |n| start + n)))
}

/// One damage.
fn damage(bytes: &mut Vec<u8>, others: &[(PathBuf, Vec<u8>)], random: &mut ChaCha8Rng) {
    let scrap = SCRAPS.choose(random).unwrap().as_bytes();
    if bytes.is_empty() {
        bytes.extend_from_slice(scrap);
        return;
    }
    let at = random.random_range(0..=bytes.len());
    let end = (at + random.random_range(0..12)).min(bytes.len());
    match random.random_range(0..8) {
        // Another number, as a reader of numbers sees most.
        0..=2 => {
            if let Some((start, end)) = a_number(bytes, random) {
                bytes.splice(start..end, scrap.iter().copied());
            }
        }
        3 => {
            bytes.splice(at..end, scrap.iter().copied());
        }
        4 => {
            bytes.drain(at..end);
        }
        5 => {
            let at = at.min(bytes.len() - 1);
            bytes[at] = random.random();
        }
        // The same line again, or the same piece many times.
        6 => {
            let piece = bytes[at..end].repeat(random.random_range(1..200));
            bytes.splice(at..at, piece);
        }
        // The end of another file.
        _ => {
            let (_, other) = others.choose(random).unwrap();
            let from = random.random_range(0..=other.len());
            bytes.truncate(at);
            bytes.extend_from_slice(&other[from..]);
        }
    }
}

#[test]
fn what_is_good_is_taken() {
    for (name, target) in TARGETS {
        let files = corpus(name);
        assert!(!files.is_empty(), "{name}");
        for (path, bytes) in files {
            assert!(target(&bytes), "{} is not taken", path.display());
        }
    }
}

#[test]
fn no_damage_breaks_a_reader() {
    std::thread::scope(|scope| {
        let parts = TARGETS.map(|(name, target)| scope.spawn(move || walk(name, target)));
        for part in parts {
            part.join().unwrap();
        }
    });
}

fn walk(name: &str, target: targets::Target) {
    let files = corpus(name);
    let mut random = ChaCha8Rng::seed_from_u64(name.bytes().map(u64::from).sum());
    let mut taken = 0;
    for number in 0..INPUTS {
        let (_, mut bytes) = files.choose(&mut random).unwrap().clone();
        for _ in 0..random.random_range(1..6) {
            damage(&mut bytes, &files, &mut random);
        }
        bytes.truncate(LONGEST);
        match catch_unwind(AssertUnwindSafe(|| target(&bytes))) {
            Ok(was) => taken += usize::from(was),
            Err(_) => panic!(
                "{name}, input {number}: {}",
                String::from_utf8_lossy(&bytes)
            ),
        }
    }
    // Both ways are walked: else the damage is too great or too small to tell anything.
    assert!(taken > INPUTS / 100, "{name}: only {taken} were taken");
    assert!(taken < INPUTS, "{name}: all were taken");
}

#[test]
fn the_long_run_has_the_same_targets() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    let manifest = std::fs::read_to_string(folder.join("Cargo.toml")).unwrap();
    let names = TARGETS.map(|(name, _)| name);
    for name in names {
        assert!(manifest.contains(&format!("name = \"{name}\"\n")), "{name}");
        let binary = folder.join(format!("fuzz_targets/{name}.rs"));
        let text = std::fs::read_to_string(binary).unwrap();
        assert!(text.contains(&format!("targets::run(\"{name}\", bytes)")));
    }
    assert_eq!(manifest.matches("[[bin]]").count(), names.len());
    for entry in std::fs::read_dir(folder.join("corpus")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(names.contains(&name.as_str()), "{name}");
    }
}
