//! Locates a value in a JSON text: the JSON parser keeps no positions after parsing.

/// One step into a JSON value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum PathStep {
    /// To the value under this key of an object.
    Key(String),
    /// To the element of that index of a list.
    Index(usize),
}

impl PathStep {
    pub(super) fn key(key: &str) -> PathStep {
        PathStep::Key(key.to_owned())
    }
}

/// Returns the byte offset of the value at the end of `path`, as far as the path can be followed.
/// The text must be valid JSON; otherwise the offset is arbitrary but within the text.
pub(super) fn find(text: &str, path: &[PathStep]) -> usize {
    let mut at = skip_blanks(text, 0);
    for step in path {
        let found = match step {
            PathStep::Key(key) => member(text, at, key),
            PathStep::Index(index) => element(text, at, *index),
        };
        match found {
            Some(next) => at = next,
            None => break,
        }
    }
    at
}

/// Start of the value under `key`, in the object at byte `at`.
fn member(text: &str, at: usize, key: &str) -> Option<usize> {
    let mut at = skip_blanks(text, open(text, at, b'{')?);
    while byte(text, at) == Some(b'"') {
        let end = skip_value(text, at);
        let name: Option<String> = serde_json::from_str(&text[at..end]).ok();
        let value = skip_blanks(text, open(text, skip_blanks(text, end), b':')?);
        if name.as_deref() == Some(key) {
            return Some(value);
        }
        at = next_part(text, value)?;
    }
    None
}

/// Start of the element of that index, in the list at byte `at`.
fn element(text: &str, at: usize, index: usize) -> Option<usize> {
    let mut at = skip_blanks(text, open(text, at, b'[')?);
    for _ in 0..index {
        at = next_part(text, at)?;
    }
    Some(at)
}

/// Offset after the value at byte `at` and the comma that follows it.
fn next_part(text: &str, at: usize) -> Option<usize> {
    let comma = skip_blanks(text, skip_value(text, at));
    Some(skip_blanks(text, open(text, comma, b',')?))
}

fn byte(text: &str, at: usize) -> Option<u8> {
    text.as_bytes().get(at).copied()
}

fn open(text: &str, at: usize, expected: u8) -> Option<usize> {
    (byte(text, at) == Some(expected)).then_some(at + 1)
}

fn skip_blanks(text: &str, at: usize) -> usize {
    let rest = &text.as_bytes()[at..];
    at + rest
        .iter()
        .position(|b| !b.is_ascii_whitespace())
        .unwrap_or(rest.len())
}

/// Offset of the byte after the value at byte `at`: brackets are counted, strings skipped.
fn skip_value(text: &str, at: usize) -> usize {
    let bytes = text.as_bytes();
    let (mut depth, mut at) = (0usize, at);
    while at < bytes.len() {
        match bytes[at] {
            b'"' => {
                at += 1;
                while at < bytes.len() && bytes[at] != b'"' {
                    at += if bytes[at] == b'\\' { 2 } else { 1 };
                }
                at = (at + 1).min(bytes.len());
                if depth == 0 {
                    return at;
                }
                continue;
            }
            b'{' | b'[' => depth += 1,
            b'}' | b']' | b',' if depth == 0 => return at,
            b'}' | b']' => {
                depth -= 1;
                if depth == 0 {
                    return at + 1;
                }
            }
            b if b.is_ascii_whitespace() && depth == 0 => return at,
            _ => {}
        }
        at += 1;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_followed_past_strings_and_brackets() {
        let text = r#" {"a\"{": [1, {"x]": "}"}, -2.5e3], "b" :{"c": null , "d":[ [] , "e"]}}"#;
        let key = PathStep::key;
        for (path, rest) in [
            (vec![], r#"{"a\"{"#),
            (vec![key("a\"{")], "[1,"),
            (vec![key("a\"{"), PathStep::Index(1), key("x]")], r#""}"}"#),
            (vec![key("a\"{"), PathStep::Index(2)], "-2.5e3"),
            (vec![key("b"), key("c")], "null"),
            (vec![key("b"), key("d"), PathStep::Index(1)], r#""e""#),
            // A path that does not exist ends where it can no longer be followed.
            (vec![key("b"), key("z")], r#"{"c""#),
            (vec![key("a\"{"), PathStep::Index(9)], "[1,"),
        ] {
            let at = find(text, &path);
            assert!(text[at..].starts_with(rest), "{path:?}: {}", &text[at..]);
        }
    }
}
