//! A document on the terminal: plain text, at most [`WIDTH`] columns.

use super::{Block, Cell, Document, Finding, Holds, Point, Role, Row, Section, Shown, Table};
use crate::number;
use crate::problem::printable;
use crate::report::layout::{cut, point_aligned, wrapped};
use crate::report::terminal::{Colour, Page, WIDTH};

/// Longer words in a table's cell are cut, so that a row keeps to one line.
const WORDS_WIDTH: usize = 18;

/// The text.
pub(in crate::report) fn terminal(document: &Document, colour: Colour) -> String {
    let mut page = Page::new(colour);
    if !document.title.is_empty() {
        let title = cut(&printable(&document.title), WIDTH);
        let title = page.colour.bold(&title);
        page.line(&title);
    }
    let shown = || (document.sections.iter()).filter(|s| s.shown != Shown::OnPage);
    // What to do next stands last: that is where the eye is when the text has run past.
    let last = |s: &&Section| matches!(s.role, Role::Session | Role::Next);
    for s in shown().filter(|s| !last(s)) {
        section(&mut page, s);
    }
    for role in [Role::Session, Role::Next] {
        for s in shown().filter(|s| s.role == role) {
            section(&mut page, s);
        }
    }
    page.text
}

fn section(page: &mut Page, section: &Section) {
    if let Some(heading) = &section.heading {
        let mut set = printable(heading).to_uppercase();
        if let Some(rest) = &section.rest {
            set.push_str(", ");
            set.push_str(&printable(rest));
        }
        page.heading(&set);
    }
    let lead = if section.heading.is_some() { "  " } else { "" };
    for block in &section.blocks {
        self::block(page, block, lead);
    }
}

fn block(page: &mut Page, block: &Block, lead: &str) {
    match block {
        Block::Paragraph(words) | Block::Note(words) => {
            page.line(&wrapped(lead, &printable(words), WIDTH));
        }
        Block::Facts(facts) => {
            let wide = facts.iter().map(|(name, _)| name.chars().count()).max();
            let wide = wide.unwrap_or(0).max(10);
            for (name, words) in facts {
                let lead = format!("  {:<wide$}  ", printable(name));
                page.line(&wrapped(&lead, &printable(words), WIDTH));
            }
        }
        Block::Points(points) => {
            for p in points {
                point(page, "  - ", p);
            }
        }
        Block::Steps(steps) => {
            for (i, step) in steps.iter().enumerate() {
                point(page, &format!("  {}. ", i + 1), step);
            }
        }
        Block::Findings(findings) => {
            for (i, f) in findings.iter().enumerate() {
                if i > 0 {
                    page.line("");
                }
                finding(page, i + 1, f);
            }
        }
        Block::Caution(words) => {
            let set = wrapped(&format!("{lead}Caution: "), &printable(words), WIDTH);
            page.line(&page.colour.warning(&set));
        }
        Block::Table(t) => table(page, t),
        Block::Picture(_) => {}
    }
}

fn point(page: &mut Page, lead: &str, point: &Point) {
    let words = match &point.title {
        Some(title) if point.words.is_empty() => printable(title),
        Some(title) => format!("{}: {}", printable(title), printable(&point.words)),
        None => printable(&point.words),
    };
    page.line(&wrapped(lead, &words, WIDTH));
    let indent = " ".repeat(lead.chars().count());
    for more in &point.more {
        page.line(&wrapped(&indent, &printable(more), WIDTH));
    }
    if let Some(caution) = &point.caution {
        let set = wrapped(&format!("{indent}Caution: "), &printable(caution), WIDTH);
        page.line(&page.colour.warning(&set));
    }
    if let Some(command) = &point.command {
        // Whole on a line of its own, so that it can be copied.
        page.line(&format!("{indent}  {}", printable(command)));
    }
}

fn finding(page: &mut Page, number: usize, finding: &Finding) {
    let title = wrapped(&format!("{number}. "), &printable(&finding.title), WIDTH);
    page.line(&page.colour.bold(&title));
    for (name, words) in &finding.facts {
        // A lead before the text would push it to the right: it stands above.
        page.line(&format!("   {}", printable(name)));
        page.line(&wrapped("      ", &printable(words), WIDTH));
    }
}

/// The columns that stand side by side, each cell as wide as its column.
fn columns(table: &Table, rows: &[Row]) -> Vec<Vec<String>> {
    let beside = (table.columns.iter().enumerate()).filter(|(_, c)| c.holds != Holds::Prose);
    beside
        .map(|(i, column)| {
            let cells: Vec<String> = (rows.iter())
                .map(|row| match row.cells.get(i) {
                    Some(Cell::Text(words) | Cell::Link(words, _)) => match column.holds {
                        Holds::Text => cut(&printable(words), WORDS_WIDTH),
                        _ => printable(words),
                    },
                    Some(Cell::Number(_, shown)) => shown.clone(),
                    Some(Cell::Empty) | None => "-".to_owned(),
                })
                .collect();
            let numbers = column.holds == Holds::Number;
            let cells = match numbers {
                true => point_aligned(&cells),
                false => cells,
            };
            let heading = printable(&column.short);
            let wide = (cells.iter().chain([&heading])).map(|c| c.chars().count());
            let wide = wide.max().unwrap_or(0);
            ([heading].into_iter().chain(cells))
                .map(|cell| match numbers {
                    true => format!("{cell:>wide$}"),
                    false => format!("{cell:<wide$}"),
                })
                .collect()
        })
        .collect()
}

fn table(page: &mut Page, table: &Table) {
    let shown = &table.rows[..table.rows.len().min(table.most[0])];
    let columns = columns(table, shown);
    let line = |i: usize| {
        let cells: Vec<&str> = columns.iter().map(|c| c[i].as_str()).collect();
        format!("  {}", cells.join("  "))
    };
    if table.columns.iter().any(|c| !c.short.is_empty()) {
        page.line(&line(0));
    }
    for (i, row) in shown.iter().enumerate() {
        if let Some(before) = &row.before {
            page.line(&format!("  {}", printable(before)));
        }
        page.line(&line(i + 1));
        for (cell, column) in row.cells.iter().zip(&table.columns) {
            if let (Cell::Text(words), Holds::Prose) = (cell, column.holds)
                && !words.is_empty()
            {
                page.line(&wrapped("      ", &printable(words), WIDTH));
            }
        }
    }
    if table.rows.len() > shown.len() {
        let more = number::count(table.rows.len() - shown.len());
        page.line(&wrapped(
            "  ",
            &format!("... and {more} more{}", table.rest),
            WIDTH,
        ));
    }
}
