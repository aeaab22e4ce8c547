//! Builds the text of a station file line by line.

/// Remarks are wrapped at this column, so that a line fits a usual window.
const WIDTH: usize = 100;

/// Text that is built line by line.
#[derive(Default)]
pub struct Page {
    /// The text so far.
    pub text: String,
}

impl Page {
    /// Appends a line unchanged.
    pub fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }
    /// Appends lines that are commented out with #.
    pub fn commented(&mut self, lines: &str) {
        for line in lines.lines() {
            self.line(format!("# {line}").trim_end());
        }
    }
    /// Appends a remark, wrapped into lines.
    pub fn remark(&mut self, words: &str) {
        let mut line = String::from("#");
        for word in words.split_whitespace() {
            if line.chars().count() + 1 + word.chars().count() > WIDTH && line != "#" {
                self.line(&line);
                line = String::from("#");
            }
            line.push(' ');
            line.push_str(word);
        }
        self.line(&line);
    }
    pub fn heading(&mut self, heading: &str) {
        self.line("");
        self.line(heading);
    }
}

/// A number in the form of a TOML float.
pub fn number(value: f64) -> String {
    format!("{value:?}")
}
