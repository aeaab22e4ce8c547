//! A diagnosis in words and for machines.

use serde_json::{Value, json};

use super::super::WIDTH;
use super::super::layout::wrapped;
use crate::faults::{Diagnosis, Finding, measured};
use crate::problem::printable;

/// The text as lines of their own, each as wide as the terminal's report.
fn lines(lead: &str, text: &str) -> String {
    let wrapped = wrapped(lead, text, WIDTH);
    format!("{}\n", wrapped.trim_end_matches('\n'))
}

/// The terminal's report of a diagnosis.
pub fn faults_text(diagnosis: &Diagnosis) -> String {
    let mut page = String::new();
    let peaks = diagnosis.explanation.session.peaks.len();
    if diagnosis.findings.is_empty() {
        page.push_str(&lines(
            "",
            &format!(
                "No fault found in {peaks} peaks: what is left looks like noise. Faults too small \
                 for these peaks to show may still be there."
            ),
        ));
    }
    for (place, finding) in diagnosis.findings.iter().enumerate() {
        if place > 0 {
            page.push('\n');
        }
        one(&mut page, place + 1, finding);
    }
    if !diagnosis.notes.is_empty() {
        page.push('\n');
    }
    for note in &diagnosis.notes {
        page.push_str(&lines("Note: ", &printable(note)));
    }
    page
}

fn one(page: &mut String, number: usize, finding: &Finding) {
    let lead = format!("{number}. ");
    page.push_str(&lines(&lead, &printable(&finding.one_line())));
    // A lead before the text would push it to the right: it stands above.
    let mut say = |lead: &str, text: &str| {
        page.push_str(&format!("   {lead}\n"));
        page.push_str(&lines("      ", &printable(text)));
    };
    say("Evidence", &finding.evidence);
    say("Confirm", &finding.confirm);
    say("Mend", &finding.mend);
    say("If it were something else", &finding.otherwise);
    for rival in &finding.rivals {
        say(
            "These peaks cannot rule out",
            &format!(
                "{} ({}) of {}. To tell: {}",
                rival.fault,
                rival.axis.words(),
                measured(rival.size, rival.sigma, &rival.size_unit),
                rival.tell
            ),
        );
    }
}

/// The machine-readable form of a diagnosis.
pub fn faults_json(diagnosis: &Diagnosis) -> Value {
    json!({
        "findings": diagnosis.findings,
        "notes": diagnosis.notes,
    })
}
