//! The pages of the repository: no link leads nowhere.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// The pages that people read.
fn pages() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut pages: Vec<PathBuf> = ["README.md", "DEVELOPERS.md", "CHANGELOG.md"]
        .map(|p| root.join(p))
        .into();
    let docs = std::fs::read_dir(root.join("docs")).expect("the pages for users");
    pages.extend(
        docs.map(|entry| entry.expect("an entry").path())
            .filter(|path| path.extension().is_some_and(|e| e == "md")),
    );
    pages
}

/// The lines of a page outside of blocks of code.
fn prose(page: &Path) -> Vec<String> {
    let text = std::fs::read_to_string(page).expect("a page");
    let mut code = false;
    let mut lines = Vec::new();
    for line in text.lines() {
        if line.starts_with("```") {
            code = !code;
        } else if !code {
            lines.push(line.to_owned());
        }
    }
    lines
}

/// What a browser makes of a heading: lower case, blanks as hyphens, no other marks.
fn anchors(page: &Path) -> BTreeSet<String> {
    let headings = prose(page).into_iter().filter(|line| line.starts_with('#'));
    let anchor = |heading: String| -> String {
        let words = heading.trim_start_matches('#').trim().to_lowercase();
        let kept = words
            .chars()
            .filter(|c| c.is_alphanumeric() || "-_ ".contains(*c));
        kept.map(|c| if c == ' ' { '-' } else { c }).collect()
    };
    headings.map(anchor).collect()
}

/// The targets of the links of a page, other sites left out.
fn links(page: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for line in prose(page) {
        for piece in line.split("](").skip(1) {
            let target = piece.split([')', ' ']).next().unwrap_or_default();
            if !target.contains("://") {
                found.push(target.to_owned());
            }
        }
    }
    found
}

#[test]
fn every_link_leads_to_a_file_and_a_heading() {
    let mut seen = 0;
    for page in pages() {
        for link in links(&page) {
            let (file, heading) = link.split_once('#').unwrap_or((&link, ""));
            let there = match file {
                "" => page.clone(),
                file => page.parent().expect("a folder").join(file),
            };
            assert!(there.exists(), "{}: {link}", page.display());
            if !heading.is_empty() {
                let known = anchors(&there);
                assert!(
                    known.contains(heading),
                    "{}: {link}, of {known:?}",
                    page.display()
                );
            }
            seen += 1;
        }
    }
    assert!(seen > 20, "links are found: {seen}");
}

/// A person who types what the page shows must have been told how to get the command before.
#[test]
fn the_readme_installs_before_it_runs() {
    let readme = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md"));
    let readme = readme.expect("a page");
    let install = readme
        .find("cargo install --path .")
        .expect("how to install");
    let first = readme.find("$ plumbeam ").expect("an example");
    assert!(install < first);
}
