//! Headers that stand for known columns of a log.

/// Headers by the known columns for which they stand. One column may have several headers, for
/// several files; each file has the first of them that stands in it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ColumnNames {
    pub(super) named: Vec<(String, String)>,
}

impl ColumnNames {
    /// Adds what another says.
    pub fn extend(&mut self, other: ColumnNames) {
        self.named.extend(other.named);
    }

    /// Whether it names none.
    pub fn is_empty(&self) -> bool {
        self.named.is_empty()
    }

    /// Adds a header for a column.
    pub(super) fn push(&mut self, column: &str, header: String) {
        self.named.push((column.to_owned(), header));
    }

    /// Columns with their headers.
    pub(super) fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        (self.named.iter()).map(|(column, header)| (column.as_str(), header.as_str()))
    }

    /// The option's value that says the same, ready for a shell.
    pub(super) fn to_option(&self) -> String {
        let named: Vec<String> = (self.iter())
            .map(|(column, header)| format!("{column}={}", shell_word(header)))
            .collect();
        named.join(",")
    }
}

/// A text as one word of a command line; in double quotes, which every shell knows.
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
