//! A document in blocks: what is to be said, without the medium that it is said on. The same
//! document becomes the terminal's text ([`terminal()`]) and one HTML page ([`page()`]).

mod folder;
mod page;
mod terminal;

use crate::plot::Render;

pub(super) use folder::write_document;
pub(super) use page::page;
pub(super) use terminal::terminal;

/// A document. Texts may come from users: whoever renders it makes them safe.
#[derive(Default)]
pub(super) struct Document<'a> {
    /// What kind of document it is: `Pointing report`.
    pub kind: &'static str,
    /// What it is about: the station's name.
    pub about: String,
    /// Both in one line: `Pointing of Orchard Wall`.
    pub title: String,
    /// Its sections, in the order in which they matter.
    pub sections: Vec<Section<'a>>,
    /// Small print at the end of a page: conventions, where numbers come from.
    pub closing: Vec<String>,
}

/// What a section is for. It decides where a medium puts it and what it folds away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(super) enum Role {
    /// The answer.
    Verdict,
    /// What to do with the hands.
    Action,
    /// What was found, with its numbers.
    #[default]
    Result,
    /// Numbers for whoever wants to check: folded on a page.
    Detail,
    /// What was worked on: place, dish, log.
    Session,
    /// What to do now: last on a terminal, where the eye is; near the top of a page.
    Next,
}

/// Where a section is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(super) enum Shown {
    /// Everywhere.
    #[default]
    Everywhere,
    /// On a page only.
    OnPage,
}

/// A part of a document under one heading.
#[derive(Default)]
pub(super) struct Section<'a> {
    /// What it is for.
    pub role: Role,
    /// Where it is shown.
    pub shown: Shown,
    /// Its heading; none for what stands right below the title.
    pub heading: Option<String>,
    /// What is said behind the heading.
    pub rest: Option<String>,
    /// What it holds.
    pub blocks: Vec<Block<'a>>,
}

/// One thing said.
pub(super) enum Block<'a> {
    /// A paragraph.
    Paragraph(String),
    /// A paragraph of small print.
    Note(String),
    /// Names and what is to be said of each.
    Facts(Vec<(String, String)>),
    /// One point after the other.
    Points(Vec<Point>),
    /// Steps by number.
    Steps(Vec<Point>),
    /// Findings by number, each with its facts and pictures.
    Findings(Vec<Finding<'a>>),
    /// What can hurt.
    Caution(String),
    /// Rows and columns.
    Table(Table),
    /// A picture: on a page only.
    Picture(&'a dyn Render),
}

/// A point of a list.
#[derive(Clone, Debug, Default)]
pub(super) struct Point {
    /// What stands out before the words.
    pub title: Option<String>,
    /// In words.
    pub words: String,
    /// A command as typed.
    pub command: Option<String>,
    /// More paragraphs.
    pub more: Vec<String>,
    /// What can hurt in doing it.
    pub caution: Option<String>,
}

/// One finding.
pub(super) struct Finding<'a> {
    /// In one line.
    pub title: String,
    /// Names and what is to be said of each.
    pub facts: Vec<(String, String)>,
    /// What shows it.
    pub pictures: Vec<&'a dyn Render>,
}

/// Rows and columns.
#[derive(Clone, Debug, Default)]
pub(super) struct Table {
    /// Name of the element on a page.
    pub id: String,
    /// What it shows, for those who cannot see it.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, each with a cell for every column.
    pub rows: Vec<Row>,
    /// So many rows stand on a terminal and on a page; the rest are counted.
    pub most: [usize; 2],
    /// Where the rest is to be found.
    pub rest: String,
}

/// One column.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// Its heading on a page.
    pub heading: String,
    /// Its heading on a terminal, shorter.
    pub short: String,
    /// What it holds.
    pub holds: Holds,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Holds {
    /// What the row is about.
    Name,
    /// A word or two: long ones are cut on a terminal.
    Text,
    /// Words that are never cut.
    Words,
    /// An instant.
    Time,
    /// Numbers: points under one another.
    Number,
    /// A sentence: on a terminal it stands below its row.
    Prose,
}

/// One row.
#[derive(Clone, Debug, Default)]
pub(super) struct Row {
    /// Set off by this.
    pub class: Option<&'static str>,
    /// Name of the element on a page.
    pub id: Option<String>,
    /// The row of the log that it shows: pictures mark the same peak.
    pub peak: Option<usize>,
    /// Said before it.
    pub before: Option<String>,
    /// Its cells.
    pub cells: Vec<Cell>,
}

/// One cell.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Cell {
    /// Words.
    Text(String),
    /// A number: unrounded, and as shown.
    Number(f64, String),
    /// Words that lead to a file beside the page.
    Link(String, String),
    /// Nothing to show.
    Empty,
}

impl<'a> Section<'a> {
    /// A section of results.
    pub fn new(heading: &str, blocks: Vec<Block<'a>>) -> Section<'a> {
        Section {
            heading: Some(heading.to_owned()),
            blocks,
            ..Section::default()
        }
    }
    /// The same for another purpose.
    pub fn role(self, role: Role) -> Section<'a> {
        Section { role, ..self }
    }
    /// The same, shown elsewhere.
    pub fn shown(self, shown: Shown) -> Section<'a> {
        Section { shown, ..self }
    }
    /// The same with something behind its heading.
    pub fn rest(self, rest: &str) -> Section<'a> {
        let rest = Some(rest.to_owned());
        Section { rest, ..self }
    }
}

impl<'a> Document<'a> {
    /// Adds a section unless it holds nothing.
    pub fn add(&mut self, section: Section<'a>) {
        let empty = section.blocks.iter().all(|block| match block {
            Block::Facts(facts) => facts.is_empty(),
            Block::Points(points) | Block::Steps(points) => points.is_empty(),
            Block::Findings(findings) => findings.is_empty(),
            Block::Table(table) => table.rows.is_empty(),
            _ => false,
        });
        if !empty {
            self.sections.push(section);
        }
    }
    /// Adds a section of points; none without points.
    pub fn add_list(&mut self, heading: &str, points: &[String], role: Role) {
        let points = points.iter().map(|p| Point::from(p.as_str())).collect();
        self.add(Section::new(heading, vec![Block::Points(points)]).role(role));
    }
}

impl From<&str> for Point {
    fn from(words: &str) -> Point {
        Point {
            words: words.to_owned(),
            ..Point::default()
        }
    }
}

impl Column {
    /// A column with one heading everywhere.
    pub fn new(heading: &str, holds: Holds) -> Column {
        Column {
            heading: heading.to_owned(),
            short: heading.to_lowercase(),
            holds,
        }
    }
    /// The same with another heading on a terminal.
    pub fn short(self, short: &str) -> Column {
        Column {
            short: short.to_owned(),
            ..self
        }
    }
}

impl Cell {
    /// Words.
    pub fn text(words: impl Into<String>) -> Cell {
        Cell::Text(words.into())
    }
}

impl Table {
    /// A table of which all rows are shown.
    pub fn new(id: &str, caption: &str, columns: Vec<Column>, rows: Vec<Row>) -> Table {
        Table {
            id: id.to_owned(),
            caption: caption.to_owned(),
            columns,
            rows,
            most: [usize::MAX; 2],
            rest: String::new(),
        }
    }
}

impl From<Vec<Cell>> for Row {
    fn from(cells: Vec<Cell>) -> Row {
        Row {
            cells,
            ..Row::default()
        }
    }
}
