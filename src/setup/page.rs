//! Text of a station file that grows line by line.

/// Remarks are broken at this column, so that a line fits a usual window.
const WIDTH: usize = 100;

/// Text that grows line by line.
#[derive(Default)]
pub struct Page {
    /// As far as it has grown.
    pub text: String,
}

impl Page {
    /// A line as it is.
    pub fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }
    /// Lines that are not read until the # is taken away.
    pub fn commented(&mut self, lines: &str) {
        for line in lines.lines() {
            self.line(format!("# {line}").trim_end());
        }
    }
    /// A remark, broken into lines.
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

/// A number as TOML takes it for one with decimals.
pub fn number(value: f64) -> String {
    format!("{value:?}")
}
