//! Headers assigned to known columns of a log.

/// Headers by the known column to which they are assigned. A column may have several headers, for
/// several files; in each file the first one found applies.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ColumnNames {
    pub(super) named: Vec<(String, String)>,
}

impl ColumnNames {
    /// Adds the entries of another.
    pub fn extend(&mut self, other: ColumnNames) {
        self.named.extend(other.named);
    }

    /// Whether it is empty.
    pub fn is_empty(&self) -> bool {
        self.named.is_empty()
    }

    /// Adds a header for a column.
    pub(super) fn push(&mut self, column: &str, header: String) {
        self.named.push((column.to_owned(), header));
    }

    /// Iterates over columns with their headers.
    pub(super) fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        (self.named.iter()).map(|(column, header)| (column.as_str(), header.as_str()))
    }

    /// The equivalent option value, quoted for a shell.
    pub(super) fn to_option(&self) -> String {
        let named: Vec<String> = (self.iter())
            .map(|(column, header)| format!("{column}={}", shell_word(header)))
            .collect();
        named.join(",")
    }
}

/// A text as one word of a command line, in double quotes, which every shell accepts.
fn shell_word(text: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "_-.+".contains(c);
    if text.chars().all(plain) {
        return text.to_owned();
    }
    let mut word = String::from("\"");
    for c in text.chars() {
        if matches!(c, '$' | '`' | '\\') {
            word.push('\\');
        }
        word.push(c);
    }
    word.push('"');
    word
}
