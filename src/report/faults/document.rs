//! A diagnosis as a document and for machines.

use serde_json::{Value, json};

use super::super::document::{self, Block, Document, Finding as Told, Role, Section, Shown};
use super::super::peaks::all_peaks;
use super::super::terminal::Colour;
use super::super::{caution, made_by};
use crate::faults::{Diagnosis, Finding, measured};
use crate::plot::Render;
use crate::solve::Outcome;
use crate::station::Station;

/// The terminal's report of a diagnosis.
pub fn faults_text(diagnosis: &Diagnosis) -> String {
    document::terminal(&of(diagnosis, &[]), Colour::Never)
}

/// The page, with each picture's place among the findings.
pub fn page(
    diagnosis: &Diagnosis,
    station: &Station,
    log_name: &str,
    pictures: &[(usize, Box<dyn Render>)],
) -> String {
    let peaks = diagnosis.explanation.session.peaks.len().to_string();
    let facts = vec![
        ("log".to_owned(), log_name.to_owned()),
        ("peaks".to_owned(), peaks),
    ];
    let mut document = of(diagnosis, pictures);
    document.kind = "Diagnosis";
    document.about = station.site.name.clone();
    document.title = format!("Faults of {}", station.site.name);
    document.closing = vec![made_by()];
    let outcome = Outcome::of(diagnosis.explanation.clone(), station);
    document.add(all_peaks(&outcome, "the calibration of plumbeam solve"));
    document.add(Section::new("The session", vec![Block::Facts(facts)]).role(Role::Session));
    document::page(&document)
}

fn of<'a>(diagnosis: &Diagnosis, pictures: &'a [(usize, Box<dyn Render>)]) -> Document<'a> {
    let mut document = Document::default();
    let peaks = diagnosis.explanation.session.peaks.len();
    if diagnosis.findings.is_empty() {
        let words = format!(
            "No fault found in {peaks} peaks: what is left looks like noise. Faults too small \
             for these peaks to show may still be there."
        );
        document.add(Section {
            role: Role::Verdict,
            blocks: vec![Block::Paragraph(words)],
            ..Section::default()
        });
    } else {
        let titles = diagnosis.findings.iter().map(Finding::one_line);
        let found = titles.map(|title| document::Point::from(title.as_str()));
        document.add(Section {
            role: Role::Verdict,
            shown: Shown::OnPage,
            blocks: vec![Block::Steps(found.collect())],
            ..Section::default()
        });
        document.add(Section {
            role: Role::Action,
            shown: Shown::OnPage,
            heading: Some("Before you touch the mount".to_owned()),
            blocks: vec![Block::Caution(caution::MOUNT.to_owned())],
            ..Section::default()
        });
    }
    let findings = (diagnosis.findings.iter().enumerate())
        .map(|(place, finding)| told(finding, place, pictures))
        .collect();
    document.add(Section {
        role: Role::Action,
        blocks: vec![Block::Findings(findings)],
        ..Section::default()
    });
    document.add_list("Notes", &diagnosis.notes, Role::Result);
    document
}

fn told<'a>(finding: &Finding, place: usize, pictures: &'a [(usize, Box<dyn Render>)]) -> Told<'a> {
    let mut facts: Vec<(String, String)> = [
        ("Evidence", &finding.evidence),
        ("Confirm", &finding.confirm),
        ("Mend", &finding.mend),
        ("If it were something else", &finding.otherwise),
    ]
    .map(|(name, words)| (name.to_owned(), words.clone()))
    .into();
    for rival in &finding.rivals {
        let words = format!(
            "{} ({}) of {}. To tell: {}",
            rival.fault,
            rival.axis.words(),
            measured(rival.size, rival.sigma, &rival.size_unit),
            rival.tell
        );
        facts.push(("These peaks cannot rule out".to_owned(), words));
    }
    Told {
        title: finding.one_line(),
        facts,
        pictures: (pictures.iter())
            .filter(|(p, _)| *p == place)
            .map(|(_, picture)| picture.as_ref())
            .collect(),
    }
}

/// The machine-readable form of a diagnosis.
pub fn faults_json(diagnosis: &Diagnosis) -> Value {
    json!({
        "findings": diagnosis.findings,
        "notes": diagnosis.notes,
    })
}
