//! Text that grows on the terminal: plain, at most [`WIDTH`] columns.

use super::layout::wrapped;

/// Widest line, characters, so that text reads well in a usual window.
pub const WIDTH: usize = 100;

/// Whether headings and cautions are set off by the terminal's own colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Colour {
    /// Plain text.
    #[default]
    Never,
    /// By ANSI escape codes.
    Always,
}

/// All that is written to set something off.
pub const ESCAPE_CODES: [&str; 3] = ["\u{1b}[1m", "\u{1b}[1;33m", "\u{1b}[0m"];

impl Colour {
    /// A heading.
    pub fn bold(self, text: &str) -> String {
        self.with("1", text)
    }
    /// A caution.
    pub fn warning(self, text: &str) -> String {
        self.with("1;33", text)
    }
    fn with(self, code: &str, text: &str) -> String {
        match self {
            Colour::Never => text.to_owned(),
            Colour::Always => format!("\u{1b}[{code}m{text}\u{1b}[0m"),
        }
    }
}

/// The growing text.
#[derive(Debug, Default)]
pub struct Page {
    /// What has been said so far.
    pub text: String,
    /// Whether it is set off.
    pub colour: Colour,
}

impl Page {
    /// An empty one.
    pub fn new(colour: Colour) -> Page {
        Page {
            text: String::new(),
            colour,
        }
    }
    /// A line as it is.
    pub fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }
    /// A heading with an empty line before it.
    pub fn heading(&mut self, heading: &str) {
        let set = self.colour.bold(heading);
        self.text.push('\n');
        self.line(&set);
    }
    /// A heading and its items; nothing without items.
    pub fn list(&mut self, heading: &str, items: &[String]) {
        if items.is_empty() {
            return;
        }
        self.heading(heading);
        for item in items {
            self.line(&wrapped("  - ", item, WIDTH));
        }
    }
    /// A paragraph behind two blanks.
    pub fn paragraph(&mut self, words: &str) {
        self.line(&wrapped("  ", words, WIDTH));
    }
    /// A caution with an empty line before it.
    pub fn caution(&mut self, words: &str) {
        self.text.push('\n');
        let set = self.colour.warning(&wrapped("CAUTION  ", words, WIDTH));
        self.line(&set);
    }
}
