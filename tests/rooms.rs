//! The map of rooms in DEVELOPERS.md, held against what the sources import; and no circles.

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
