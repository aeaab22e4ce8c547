//! The map of rooms in DEVELOPERS.md, held against what the sources import; no circles, neither of
//! rooms nor of the files in one; the tuned constants, each under a heading that names its bench; and
//! no message with a run of spaces, which a lost line continuation leaves.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

type Imports = BTreeMap<String, BTreeSet<String>>;

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The room of a source file: the folder or file right below src.
fn room_of(src: &Path, path: &Path) -> String {
    let below = path.strip_prefix(src).expect("below src");
    let first = below.components().next().expect("a name");
    first
        .as_os_str()
        .to_string_lossy()
        .trim_end_matches(".rs")
        .to_owned()
}

/// Which rooms each room imports, its tests left out.
fn imports() -> Imports {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&src, &mut files);
    let rooms: BTreeSet<String> = files
        .iter()
        .map(|path| room_of(&src, path))
        .filter(|room| room != "lib" && room != "main")
        .collect();
    let mut found: Imports = rooms.iter().map(|r| (r.clone(), BTreeSet::new())).collect();
    for path in &files {
        let own = room_of(&src, path);
        let of_tests = path
            .components()
            .any(|c| c.as_os_str().to_string_lossy().starts_with("tests"));
        let Some(into) = found.get_mut(&own).filter(|_| !of_tests) else {
            continue;
        };
        let text = std::fs::read_to_string(path).expect("a source");
        let code = text.split("#[cfg(test)]\nmod ").next().unwrap_or_default();
        for line in code.lines() {
            let line = line.split("//").next().unwrap_or_default();
            for (at, _) in line.match_indices("crate::") {
                let name: String = line[at + "crate::".len()..]
                    .chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect();
                if rooms.contains(&name) && name != own {
                    into.insert(name);
                }
            }
        }
    }
    found
}

/// The table of rooms in DEVELOPERS.md: what each uses.
fn map() -> Imports {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md");
    let text = std::fs::read_to_string(page).expect("a page");
    text.lines()
        .skip_while(|line| !line.starts_with("| room | holds | uses |"))
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .map(|line| {
            let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
            let room = cells[0].trim_matches('`').trim_start_matches("src/");
            let room = room.trim_end_matches('/').trim_end_matches(".rs");
            let uses = cells[2]
                .split(", ")
                .filter(|u| *u != "nothing")
                .map(str::to_owned)
                .collect();
            (room.to_owned(), uses)
        })
        .collect()
}

#[test]
fn the_map_of_rooms_is_true() {
    let (imports, map) = (imports(), map());
    let names = |of: &Imports| of.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&map), names(&imports), "the rooms of DEVELOPERS.md");
    for (room, uses) in &imports {
        let told = &map[room];
        assert_eq!(told, uses, "what {room} uses, DEVELOPERS.md first");
    }
}

#[test]
fn no_room_imports_from_above() {
    let imports = imports();
    for room in imports.keys() {
        let mut reached: BTreeSet<&str> = BTreeSet::new();
        let mut ways: Vec<&str> = imports[room].iter().map(String::as_str).collect();
        while let Some(next) = ways.pop() {
            assert_ne!(next, room, "{room} imports itself by way of others");
            if reached.insert(next) {
                ways.extend(imports[next].iter().map(String::as_str));
            }
        }
    }
}

/// The code of each module by its path (`scan::one_scan::model`), without comments and tests.
fn modules() -> BTreeMap<String, String> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&src, &mut files);
    let mut found = BTreeMap::new();
    for path in files {
        let below = path
            .strip_prefix(&src)
            .expect("below src")
            .with_extension("");
        let parts = below.components().map(|c| c.as_os_str().to_string_lossy());
        let parts: Vec<_> = parts.filter(|part| part != "mod").collect();
        if parts.iter().any(|part| part.starts_with("tests")) {
            continue;
        }
        let text = std::fs::read_to_string(&path).expect("a source");
        let code = text.split("#[cfg(test)]\nmod ").next().unwrap_or_default();
        let lines = code
            .lines()
            .map(|l| l.split("//").next().unwrap_or_default());
        found.insert(parts.join("::"), lines.collect::<Vec<_>>().join("\n"));
    }
    found
}

/// `a::{b, c::d}` as `a::b` and `a::c::d`.
fn spread(tree: &str, before: &str, into: &mut Vec<String>) {
    let (mut depth, mut from) = (0, 0);
    let mut pieces = Vec::new();
    for (i, c) in tree.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                pieces.push(&tree[from..i]);
                from = i + 1;
            }
            _ => {}
        }
    }
    pieces.push(&tree[from..]);
    for piece in pieces.into_iter().map(str::trim).filter(|p| !p.is_empty()) {
        match piece.split_once('{') {
            Some((head, rest)) => {
                let inner = rest.trim_end().trim_end_matches('}');
                spread(inner, &format!("{before}{head}"), into);
            }
            None => into.push(format!("{before}{piece}")),
        }
    }
}

/// The paths of all `use` declarations that begin with `start`.
fn declared(code: &str, start: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for statement in code.split(';') {
        let statement = statement.rsplit("\n\n").next().unwrap_or_default();
        let last = statement
            .lines()
            .map(str::trim)
            .skip_while(|l| !start.iter().any(|s| l.starts_with(s)));
        let text = last.collect::<Vec<_>>().join(" ");
        if let Some(tree) = start.iter().find_map(|s| text.strip_prefix(s)) {
            spread(tree, "", &mut found);
        }
    }
    found
}

/// The module that a path of names leads to from another, by way of what that one re-exports.
fn led_to(modules: &BTreeMap<String, String>, from: &str, names: &[&str]) -> String {
    let mut at = from.to_owned();
    for name in names {
        let below = format!("{at}::{name}");
        if modules.contains_key(&below) {
            at = below;
            continue;
        }
        let passed_on = ["pub use ", "pub(crate) use ", "pub(super) use "];
        for path in declared(&modules[&at], &passed_on) {
            let inner = path.trim_start_matches("self::");
            let (inner, called) = inner.split_once(" as ").unwrap_or((inner, inner));
            if called.rsplit("::").next() == Some(name) {
                let owners: Vec<&str> = inner.split("::").collect();
                let owner = format!("{at}::{}", owners[0]);
                if modules.contains_key(&owner) {
                    return led_to(modules, &owner, &owners[1..]);
                }
            }
        }
        break;
    }
    at
}

#[test]
fn no_file_of_a_room_imports_itself_by_way_of_others() {
    let modules = modules();
    let mut imports: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for (module, code) in &modules {
        let room = module.split("::").next().unwrap_or_default();
        let into = imports.entry(module).or_default();
        for path in declared(code, &["use "]) {
            let path = path.split(" as ").next().unwrap_or_default();
            let mut names: Vec<&str> = path.split("::").map(str::trim).collect();
            let mut base = module.clone();
            if names[0] == "crate" && names.get(1) == Some(&room) {
                base = room.to_owned();
                names.drain(..2);
            } else if names[0] != "super" && names[0] != "self" {
                continue;
            }
            while matches!(names.first(), Some(&"super" | &"self")) {
                if names.remove(0) == "super" {
                    base = base.rsplit_once("::").map_or("", |(up, _)| up).to_owned();
                }
            }
            if modules.contains_key(&base) {
                into.insert(led_to(&modules, &base, &names));
            }
        }
        into.remove(module);
    }
    assert!(
        imports.values().map(BTreeSet::len).sum::<usize>() > 500,
        "they are found"
    );
    for module in modules.keys() {
        let mut reached: BTreeSet<&str> = BTreeSet::new();
        let mut ways: Vec<&str> = imports[module.as_str()]
            .iter()
            .map(String::as_str)
            .collect();
        while let Some(next) = ways.pop() {
            assert_ne!(next, module, "{module} imports itself by way of others");
            if reached.insert(next) {
                ways.extend(imports[next].iter().map(String::as_str));
            }
        }
    }
}

/// The words behind each `word` of a text.
fn behind<'a>(text: &'a str, word: &str) -> Vec<&'a str> {
    text.match_indices(word)
        .map(|(at, _)| {
            let rest = text[at + word.len()..].trim_start();
            let end = rest.find(|c: char| !c.is_alphanumeric() && c != '_');
            &rest[..end.unwrap_or(rest.len())]
        })
        .collect()
}

/// A file of tuned constants cut at its blank lines: the comment that heads each run of constants, one
/// line, and the constants under it.
fn groups(text: &str) -> Vec<(String, Vec<&str>)> {
    let mut found: Vec<(String, Vec<&str>)> = Vec::new();
    for part in text.split("\n\n") {
        let comment = |mark: &str| {
            let lines = part.lines().filter_map(|l| l.strip_prefix(mark));
            lines.map(str::trim).collect::<Vec<_>>().join(" ")
        };
        let constants = behind(part, "pub const ");
        if part.starts_with("//!") {
            found.push((comment("//!"), Vec::new()));
        } else if part.starts_with("// ") {
            found.push((comment("// "), constants));
        } else if let Some((_, under)) = found.last_mut().filter(|_| !constants.is_empty()) {
            under.extend(constants);
        }
    }
    found
}

#[test]
fn tuned_constants_name_their_bench() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let manifest = std::fs::read_to_string(root.join("Cargo.toml")).expect("a manifest");
    let benches: BTreeSet<&str> = (manifest.split("[[bench]]").skip(1))
        .filter_map(|part| part.split('"').nth(1))
        .collect();
    assert!(benches.contains("scan_study"), "{benches:?}");
    let mut files = Vec::new();
    sources(&root.join("src"), &mut files);
    files.retain(|path| path.ends_with("tuned.rs"));
    assert!(files.len() >= 8, "{files:?}");
    for path in files {
        let file = path.strip_prefix(root).expect("below the root").display();
        let text = std::fs::read_to_string(&path).expect("a source");
        for (before, line) in text.lines().zip(text.lines().skip(1)) {
            let begins = line.starts_with("// ") && !before.starts_with("// ");
            assert!(
                !begins || before.is_empty(),
                "{file}: no blank line before the heading: {line}"
            );
        }
        let groups = groups(&text);
        assert!(
            groups[0].1.is_empty(),
            "{file}: constants without a heading"
        );
        for (heading, constants) in &groups {
            let named = behind(heading, "--bench ");
            for bench in &named {
                assert!(benches.contains(bench), "{file}: no bench {bench}");
            }
            assert!(
                !named.is_empty() || heading.contains("no bench"),
                "{file}: a heading names a bench or says 'no bench': {heading}"
            );
            let is_of_the_file = heading == &groups[0].0;
            assert_eq!(constants.is_empty(), is_of_the_file, "{file}: {heading}");
        }
        let all: Vec<&str> = groups.iter().flat_map(|(_, c)| c.iter().copied()).collect();
        let unique: BTreeSet<&str> = all.iter().copied().collect();
        assert_eq!(all.len(), unique.len(), "{file}: a name twice");
        assert_eq!(
            all.len(),
            behind(&text, "const ").len(),
            "{file}: all are read"
        );
    }
}

/// Where the tests of a source file begin, in bytes.
fn before_tests(text: &str) -> &str {
    &text[..text.find("#[cfg(test)]").unwrap_or(text.len())]
}

/// A run of so many spaces between words is no layout: rustfmt aligns nothing within a line.
const RUN: usize = 6;

#[test]
fn no_message_has_a_run_of_spaces() {
    let mut files = Vec::new();
    sources(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut files,
    );
    let run = " ".repeat(RUN);
    let mut found = Vec::new();
    for path in files {
        let text = std::fs::read_to_string(&path).expect("text");
        for (number, line) in before_tests(&text).lines().enumerate() {
            let words = line.trim_start();
            let is_message = words.split_once(&run).is_some_and(|(before, after)| {
                before.contains('"') && after.trim_start().starts_with(char::is_alphabetic)
            });
            if is_message {
                found.push(format!("{}:{}: {words}", path.display(), number + 1));
            }
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}
