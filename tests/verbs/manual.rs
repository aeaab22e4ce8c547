//! The manual page and the shell completions, made of the same definitions as the help.

use crate::command::plumbeam;

/// The verbs, as the help lists them.
fn verbs(folder: &std::path::Path) -> Vec<String> {
    let help = String::from_utf8(plumbeam(folder, &["--help"], 0).stdout).expect("text");
    help.lines()
        .skip_while(|l| !l.starts_with("Commands:"))
        .skip(1)
        .take_while(|l| l.starts_with("  "))
        .filter(|l| !l.starts_with("   "))
        .filter_map(|l| l.split_whitespace().next())
        .filter(|verb| *verb != "help")
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_verb_has_a_page_with_all_its_options() {
    let folder = tempfile::tempdir().expect("a folder");
    let verbs = verbs(folder.path());
    assert!(verbs.len() >= 11, "{verbs:?}");
    let all = plumbeam(folder.path(), &["manual"], 0).stdout;
    let all = String::from_utf8(all).expect("text").replace('\\', "");
    for verb in &verbs {
        assert!(all.contains(verb.as_str()), "{verb} is not in the manual");
        let page = plumbeam(folder.path(), &["manual", verb], 0).stdout;
        let page = String::from_utf8(page).expect("text").replace('\\', "");
        let help = plumbeam(folder.path(), &[verb, "--help"], 0).stdout;
        let help = String::from_utf8(help).expect("text");
        let options = help
            .lines()
            .map(str::trim_start)
            .filter(|l| l.starts_with("--") || (l.starts_with('-') && l.contains(", --")))
            .filter_map(|l| l.split("--").nth(1))
            .filter_map(|l| l.split([' ', '[', '=']).next());
        for option in options.filter(|o| *o != "help" && *o != "version") {
            assert!(page.contains(&format!("--{option}")), "{verb}: --{option}");
        }
    }
}

#[test]
fn every_shell_completes_every_verb() {
    let folder = tempfile::tempdir().expect("a folder");
    let verbs = verbs(folder.path());
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let text = plumbeam(folder.path(), &["completions", shell], 0).stdout;
        let text = String::from_utf8(text).expect("text");
        for verb in &verbs {
            assert!(text.contains(verb.as_str()), "{shell}: {verb}");
        }
    }
}

#[test]
fn a_verb_that_does_not_exist_is_wrong_use() {
    let folder = tempfile::tempdir().expect("a folder");
    let said = plumbeam(folder.path(), &["manual", "slove"], 2).stderr;
    let said = String::from_utf8(said).expect("text");
    assert!(said.contains("there is no verb slove"), "{said}");
    plumbeam(folder.path(), &["completions", "dos"], 2);
}

#[test]
fn a_page_is_written_to_a_file_when_asked() {
    let folder = tempfile::tempdir().expect("a folder");
    plumbeam(folder.path(), &["manual", "--out", "plumbeam.1"], 0);
    let page = std::fs::read_to_string(folder.path().join("plumbeam.1")).expect("a page");
    assert!(page.contains(".TH plumbeam 1"), "{page}");
}
