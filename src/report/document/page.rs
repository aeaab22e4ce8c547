//! A document as one HTML page: pictures, typeface and script inside it, nothing fetched. Without
//! scripts it is whole; with them peaks can be picked, tables sorted and pictures enlarged.
//!
//! Every number that also stands in a file is a `data` element whose `value` is the unrounded
//! number, so that page and file can be compared by machine.

use base64::Engine;
use base64::prelude::BASE64_STANDARD as BASE64;

use super::{Block, Cell, Column, Document, Finding, Holds, Point, Role, Row, Section, Table};
use crate::number;
use crate::plot::{REGULAR_TTF, Render, SEMIBOLD_TTF, dark_style};
use crate::problem::printable;

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");
/// Nothing is ever fetched or sent, whatever a page may hold.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; \
     font-src data:; img-src 'self' data: file:; base-uri 'none'; form-action 'none'";

/// The page.
pub(in crate::report) fn page(document: &Document) -> String {
    let mut html = String::new();
    opening(&mut html, document);
    // The verdict, what to do with the hands, what to do next; then pictures and tables; then
    // what is folded.
    for role in [
        Role::Verdict,
        Role::Action,
        Role::Next,
        Role::Result,
        Role::Detail,
        Role::Session,
    ] {
        for s in document.sections.iter().filter(|s| s.role == role) {
            section(&mut html, s);
        }
        if role == Role::Verdict {
            contents(&mut html, document);
        }
    }
    push(&mut html, "</main><footer>");
    for words in &document.closing {
        push(&mut html, &format!("<p>{}</p>", prose(words)));
    }
    push(&mut html, "</footer>");
    push(
        &mut html,
        "<p id=\"picked\" role=\"status\" aria-live=\"polite\"></p>",
    );
    push(
        &mut html,
        &format!("<script>{SCRIPT}</script></body></html>"),
    );
    html
}

fn push(html: &mut String, part: &str) {
    html.push_str(part);
    html.push('\n');
}

/// Text of a user or of the program, safe within an element or an attribute.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in printable(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

/// Sentences: as [`escaped`], with the signs that print has for minus and for plus or minus.
fn prose(text: &str) -> String {
    escaped(&number::with_minus_signs(text)).replace("+/-", "±")
}

/// A name fit for an element: of letters, digits and hyphens.
fn slug(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            c if c.is_ascii_alphanumeric() => out.push(c.to_ascii_lowercase()),
            _ if !out.is_empty() && !out.ends_with('-') => out.push('-'),
            _ => {}
        }
    }
    out.trim_end_matches('-').to_owned()
}

fn opening(html: &mut String, document: &Document) {
    let title = escaped(&document.title);
    push(html, "<!DOCTYPE html>");
    push(html, "<html lang=\"en\"><head><meta charset=\"utf-8\">");
    push(
        html,
        &format!("<meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">"),
    );
    push(
        html,
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">",
    );
    push(html, "<meta name=\"color-scheme\" content=\"light dark\">");
    push(html, &format!("<title>{title}</title>"));
    push(html, "<style>");
    for (weight, font) in [(400, REGULAR_TTF), (600, SEMIBOLD_TTF)] {
        push(
            html,
            &format!(
                "@font-face{{font-family:\"Report Sans\";font-weight:{weight};\
                 src:url(data:font/ttf;base64,{}) format(\"truetype\")}}",
                BASE64.encode(font)
            ),
        );
    }
    push(html, STYLE);
    push(html, &dark_style("figure svg"));
    push(html, "</style></head><body>");
    push(html, "<a class=\"skip\" href=\"#main\">To the result</a>");
    push(
        html,
        &format!(
            "<header><p class=\"kind\">{}</p><h1>{}</h1></header><main id=\"main\">",
            document.kind,
            escaped(&document.about)
        ),
    );
}

/// Links to the sections, when there are enough of them to need it.
fn contents(html: &mut String, document: &Document) {
    let headings: Vec<&str> = (document.sections.iter())
        .filter(|s| s.role != Role::Verdict)
        .filter_map(|s| s.heading.as_deref())
        .collect();
    if headings.len() < 4 {
        return;
    }
    push(html, "<nav aria-label=\"Contents\"><ul>");
    for heading in headings {
        push(
            html,
            &format!(
                "<li><a href=\"#{}\">{}</a></li>",
                slug(heading),
                escaped(heading)
            ),
        );
    }
    push(html, "</ul></nav>");
}

fn section(html: &mut String, section: &Section) {
    let class = match section.role {
        Role::Verdict => "verdict",
        Role::Action => "action",
        Role::Next => "next",
        Role::Result => "result",
        Role::Detail => "detail",
        Role::Session => "session",
    };
    let folded = section.role == Role::Detail;
    match &section.heading {
        None => push(html, &format!("<section class=\"{class}\">")),
        Some(heading) => {
            let (id, words) = (slug(heading), escaped(heading));
            push(
                html,
                &format!(
                    "<section class=\"{class}\" id=\"{id}\" aria-labelledby=\"{id}-heading\">"
                ),
            );
            let heading = format!("<h2 id=\"{id}-heading\">{words}</h2>");
            match folded {
                true => push(html, &format!("<details><summary>{heading}</summary>")),
                false => push(html, &heading),
            }
        }
    }
    if let Some(rest) = &section.rest {
        push(html, &format!("<p class=\"note\">{}</p>", prose(rest)));
    }
    for b in &section.blocks {
        block(html, b);
    }
    if folded && section.heading.is_some() {
        push(html, "</details>");
    }
    push(html, "</section>");
}

fn block(html: &mut String, block: &Block) {
    match block {
        Block::Paragraph(words) => push(html, &format!("<p>{}</p>", prose(words))),
        Block::Note(words) => push(html, &format!("<p class=\"note\">{}</p>", prose(words))),
        Block::Facts(facts) => self::facts(html, facts),
        Block::Points(points) => list(html, "ul", points),
        Block::Steps(points) => list(html, "ol", points),
        Block::Findings(findings) => {
            for (i, f) in findings.iter().enumerate() {
                finding(html, i + 1, f);
            }
        }
        Block::Caution(words) => push(html, &caution(words)),
        Block::Table(t) => table(html, t),
        Block::Picture(picture) => figure(html, *picture),
    }
}

fn facts(html: &mut String, facts: &[(String, String)]) {
    push(html, "<dl>");
    for (name, words) in facts {
        let name = escaped(&crate::report::words::sentence(name));
        push(html, &format!("<dt>{name}</dt><dd>{}</dd>", prose(words)));
    }
    push(html, "</dl>");
}

fn caution(words: &str) -> String {
    format!(
        "<p class=\"caution\"><strong>Caution</strong> {}</p>",
        prose(words)
    )
}

fn list(html: &mut String, element: &str, points: &[Point]) {
    push(html, &format!("<{element}>"));
    for p in points {
        let mut item = String::from("<li>");
        if let Some(title) = &p.title {
            item.push_str(&format!("<strong>{}</strong> ", prose(title)));
        }
        item.push_str(&prose(&p.words));
        if let Some(command) = &p.command {
            item.push_str(&format!(" <code>{}</code>", escaped(command)));
        }
        for more in &p.more {
            item.push_str(&format!("<p>{}</p>", prose(more)));
        }
        if let Some(words) = &p.caution {
            item.push_str(&caution(words));
        }
        item.push_str("</li>");
        push(html, &item);
    }
    push(html, &format!("</{element}>"));
}

fn finding(html: &mut String, number: usize, finding: &Finding) {
    push(html, "<article class=\"finding\">");
    push(
        html,
        &format!("<h3>{number}. {}</h3>", prose(&finding.title)),
    );
    facts(html, &finding.facts);
    for picture in &finding.pictures {
        figure(html, *picture);
    }
    push(html, "</article>");
}

fn figure(html: &mut String, picture: &dyn Render) {
    let (id, title) = (escaped(picture.file_stem()), escaped(&picture.title()));
    push(
        html,
        &format!("<figure id=\"{id}\"><h3 id=\"{id}-title\">{title}</h3>"),
    );
    let svg = picture.inline_svg();
    // Named by its heading, described by its caption.
    let named = format!("<svg aria-labelledby=\"{id}-title\" ");
    push(html, svg.trim_end().replacen("<svg ", &named, 1).as_str());
    let caption = prose(&picture.caption());
    push(
        html,
        &format!("<figcaption>{caption}</figcaption></figure>"),
    );
}

/// Tables of so many columns of words and numbers keep their columns on a telephone.
const FEW_COLUMNS: usize = 5;

fn table(html: &mut String, table: &Table) {
    let id = escaped(&table.id);
    let sentences = table.columns.iter().any(|c| c.holds == Holds::Prose);
    let class = match table.columns.len() <= FEW_COLUMNS && !sentences {
        true => "few",
        false => "many",
    };
    push(
        html,
        &format!(
            "<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"{} (table)\"><table id=\"table-{id}\" class=\"{class}\">",
            escaped(&table.caption)
        ),
    );
    push(html, "<thead><tr>");
    for column in &table.columns {
        let heading = escaped(&column.heading);
        push(
            html,
            &match (column.holds, heading.is_empty()) {
                (_, true) => "<td></td>".to_owned(),
                (Holds::Number, _) => format!("<th scope=\"col\" class=\"n\">{heading}</th>"),
                _ => format!("<th scope=\"col\">{heading}</th>"),
            },
        );
    }
    push(html, "</tr></thead><tbody>");
    for row in table.rows.iter().take(table.most[1]) {
        table_row(html, &table.columns, row);
    }
    push(html, "</tbody></table></div>");
    if table.rows.len() > table.most[1] {
        let more = number::count(table.rows.len() - table.most[1]);
        let words = format!("… and {more} more{}", table.rest);
        push(html, &format!("<p class=\"note\">{}</p>", prose(&words)));
    }
}

fn table_row(html: &mut String, columns: &[Column], row: &Row) {
    if let Some(before) = &row.before {
        push(
            html,
            &format!(
                "<tr class=\"between\"><td colspan=\"{}\">{}</td></tr>",
                columns.len(),
                prose(before)
            ),
        );
    }
    let mut line = String::from("<tr");
    if let Some(class) = row.class {
        line.push_str(&format!(" class=\"{class}\""));
    }
    if let Some(id) = &row.id {
        line.push_str(&format!(" id=\"{}\"", escaped(id)));
    }
    if let Some(peak) = row.peak {
        line.push_str(&format!(" data-row=\"{peak}\""));
    }
    line.push('>');
    for (cell, column) in row.cells.iter().zip(columns) {
        let held = match cell {
            Cell::Text(words) => prose(words),
            Cell::Number(value, shown) => data(*value, shown),
            Cell::Link(words, file) => {
                format!("<a href=\"{}\">{}</a>", escaped(file), prose(words))
            }
            Cell::Empty => "–".to_owned(),
        };
        let label = escaped(&column.heading);
        line.push_str(&match column.holds {
            Holds::Name => format!("<th scope=\"row\">{held}</th>"),
            Holds::Number => format!("<td class=\"n\" data-label=\"{label}\">{held}</td>"),
            Holds::Text | Holds::Words => format!("<td data-label=\"{label}\">{held}</td>"),
            Holds::Time => format!("<td class=\"time\" data-label=\"{label}\">{held}</td>"),
            Holds::Prose => format!("<td class=\"prose\" data-label=\"{label}\">{held}</td>"),
        });
    }
    line.push_str("</tr>");
    push(html, &line);
}

/// A number as shown, with the unrounded one behind it.
fn data(value: f64, shown: &str) -> String {
    format!(
        "<data value=\"{value}\">{}</data>",
        escaped(&number::typographic(shown))
    )
}
