//! The table of names of docs/mounts.md, held against the program's own.

use plumbeam::explain::Fault;
use plumbeam::mount::{Kind, LowerAxis, Pole, Term};

const PAGE: &str = include_str!("../../docs/mounts.md");
const KINDS: [Kind; 3] = [
    Kind::AzEl,
    Kind::Polar(Pole::North),
    Kind::XY(LowerAxis::EastWest),
];

/// A row of the page, without the blanks between cells.
fn has_row(cells: [&str; 3]) -> bool {
    let cell = |text: &str| match text {
        "" => String::new(),
        text => format!("`{text}`"),
    };
    let wanted: String = cells.map(cell).join("|");
    (PAGE.lines().filter(|line| line.starts_with('|')))
        .any(|line| line.trim_matches('|').replace(' ', "") == wanted)
}

#[test]
fn every_term_has_its_row() {
    for term in Term::ALL {
        let names = KINDS.map(|kind| kind.term_name(term));
        assert!(has_row(names), "{names:?}");
    }
}

#[test]
fn every_fault_has_its_row_or_one_name() {
    for fault in Fault::ALL {
        let names = KINDS.map(|kind| fault.name_on(kind));
        let one = names.iter().all(|name| *name == names[0]);
        let row = has_row([&names[0], &names[1], &names[2]]);
        assert!(
            row || one && PAGE.contains(&format!("`{}`", names[0])),
            "{names:?}"
        );
    }
}

#[test]
fn every_key_of_the_table_is_what_the_kinds_call_it() {
    let keys = [
        "azimuth_deg",
        "elevation_sigma_deg",
        "azimuth_approach",
        "elevation_sensor",
        "cross_elevation_residual_deg",
        "elevation_residual_deg",
        "azimuth_correction_deg",
    ];
    for key in keys {
        let names = KINDS.map(|kind| kind.key_of(key));
        assert!(has_row([&names[0], &names[1], &names[2]]), "{names:?}");
    }
}
