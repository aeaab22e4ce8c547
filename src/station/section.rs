//! Reads a section of a TOML file key by key, each fault with its line and column.

use std::cell::OnceCell;
use std::collections::HashSet;

use toml_edit::{Item, TableLike, Value};

use crate::problem::{Problems, Wrong, nearest_name};
use crate::quantity::{NO_VALUE, Quantity};
use crate::text::{self, quoted};

/// Text of a file and the faults found so far.
pub(super) struct Source<'a> {
    pub(super) file: &'a str,
    pub(super) text: &'a str,
    /// Faults by byte offset; `None` for a fault of the whole file.
    pub(super) faults: Vec<(Option<usize>, Wrong)>,
    /// Keys that misspelt ones were probably meant for, with the start of their section.
    meant: HashSet<(usize, String)>,
    /// Byte offsets of line ends, computed on first use.
    line_ends: OnceCell<Vec<usize>>,
}

/// One table of the file.
pub(super) struct Section<'a> {
    /// As written in the file: `[site]`.
    pub(super) heading: String,
    /// Byte offset of its start.
    pub(super) start: usize,
    table: &'a dyn TableLike,
}

impl<'a> Section<'a> {
    pub(super) fn new(
        heading: impl Into<String>,
        start: usize,
        table: &'a dyn TableLike,
    ) -> Section<'a> {
        Section {
            heading: heading.into(),
            start,
            table,
        }
    }
    /// The value under `key`, if present.
    pub(super) fn get(&self, key: &str) -> Option<&'a Item> {
        self.table.get(key)
    }
    /// Whether `key` is present.
    pub(super) fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }
}

impl<'f> Source<'f> {
    pub(super) fn new(file: &'f str, text: &'f str) -> Source<'f> {
        Source {
            file,
            text,
            faults: Vec::new(),
            meant: HashSet::new(),
            line_ends: OnceCell::new(),
        }
    }

    /// Adds a problem of the file as a whole.
    pub(super) fn wrong_file(&mut self, wrong: Wrong) {
        self.faults.push((None, wrong));
    }

    /// All problems found, in file order.
    pub(super) fn problems(self) -> Problems {
        text::problems_at(self.file, self.text, self.faults)
    }

    /// Adds a problem at a byte of the text.
    pub(super) fn wrong_at(&mut self, byte: usize, wrong: Wrong) {
        self.faults.push((Some(byte), wrong));
    }

    /// Adds a problem at a value.
    pub(super) fn wrong_item(&mut self, item: &Item, wrong: Wrong) {
        self.wrong_at(item.span().map_or(0, |s| s.start), wrong);
    }

    /// Line number of a byte of the text.
    pub(super) fn line(&self, byte: usize) -> usize {
        let ends = self.line_ends.get_or_init(|| {
            let ends = self.text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
            ends.map(|(at, _)| at).collect()
        });
        1 + ends.partition_point(|end| *end < byte)
    }

    /// A value as written in the file.
    fn written(&self, item: &Item) -> &'f str {
        item.span()
            .and_then(|s| self.text.get(s))
            .unwrap_or_default()
    }

    /// Whether a misspelt key of this section, already reported, was probably meant for `key`.
    pub(super) fn was_meant(&self, section: &Section<'_>, key: &str) -> bool {
        !self.meant.is_empty() && self.meant.contains(&(section.start, key.to_owned()))
    }

    /// Marks a key of this section as meant by another, wrong key that has been reported.
    pub(super) fn mean(&mut self, section: &Section<'_>, key: &str) {
        self.meant.insert((section.start, key.to_owned()));
    }

    /// Reads the value under a required `key`.
    pub(super) fn required<'s>(
        &mut self,
        section: &Section<'s>,
        key: &str,
        expected: &str,
    ) -> Option<&'s Item> {
        let item = section.get(key);
        if item.is_none() && !self.was_meant(section, key) {
            let wrong = Wrong::new(format!("{} has no {key}", section.heading), expected)
                .mend(format!("add a line below it: {key} = …"));
            self.wrong_at(section.start, wrong);
        }
        item
    }

    /// Reads the number under a required `key`.
    pub(super) fn number(
        &mut self,
        section: &Section<'_>,
        key: &str,
        quantity: &Quantity,
    ) -> Option<f64> {
        let item = self.required(section, key, quantity.words)?;
        self.as_number(item, key, quantity)
    }

    /// Reads the number under an optional `key`.
    pub(super) fn optional_number(
        &mut self,
        section: &Section<'_>,
        key: &str,
        quantity: &Quantity,
    ) -> Option<f64> {
        self.as_number(section.get(key)?, key, quantity)
    }

    /// Reads a value as a number; integers are accepted.
    pub(super) fn as_number(
        &mut self,
        item: &Item,
        name: &str,
        quantity: &Quantity,
    ) -> Option<f64> {
        let number = item
            .as_float()
            .or_else(|| item.as_integer().map(|i| i as f64));
        let read = match number {
            Some(number) => quantity.check(name, self.written(item), number),
            None => Err(not_a_number(item, name, quantity)),
        };
        read.map_err(|wrong| self.wrong_item(item, wrong)).ok()
    }

    /// Reads the integer under an optional `key`.
    pub(super) fn optional_whole(
        &mut self,
        section: &Section<'_>,
        key: &str,
        quantity: &Quantity,
    ) -> Option<u32> {
        let item = section.get(key)?;
        let number = self.as_number(item, key, quantity)?;
        if number.fract() != 0.0 {
            let found = format!("{key} is {}", self.written(item));
            self.wrong_item(item, Wrong::new(found, quantity.words));
            return None;
        }
        // The limits given by callers are all far below 2^32.
        Some(number as u32)
    }

    /// Reads the text under a required `key`: one line, no surrounding blanks, not empty.
    pub(super) fn text<'s>(
        &mut self,
        section: &Section<'s>,
        key: &str,
        expected: &str,
    ) -> Option<&'s str> {
        let item = self.required(section, key, expected)?;
        let Some(text) = item.as_str() else {
            let wrong = Wrong::new(format!("{key} is {}", kind_of(item)), expected)
                .mend(format!("write it in quotes: {key} = \"…\""));
            self.wrong_item(item, wrong);
            return None;
        };
        let (fault, expected) = if text.trim().is_empty() {
            ("is empty", expected)
        } else if text.trim() != text {
            ("has a blank at its beginning or end", "none there")
        } else if text.contains(char::is_control) {
            ("holds a control character", "plain text on one line")
        } else {
            return Some(text);
        };
        self.wrong_item(item, Wrong::new(format!("{key} {fault}"), expected));
        None
    }

    /// Reads the list under an optional `key`.
    pub(super) fn optional_list<'s>(
        &mut self,
        section: &Section<'s>,
        key: &str,
        expected: &str,
    ) -> Option<&'s toml_edit::Array> {
        let item = section.get(key)?;
        let list = item.as_array();
        if list.is_none() {
            let found = format!("{key} is {}", kind_of(item));
            self.wrong_item(item, Wrong::new(found, expected));
        }
        list
    }

    /// Reads a value as a list of exactly two numbers.
    pub(super) fn pair(
        &mut self,
        item: &Item,
        name: &str,
        expected: &str,
        quantities: [&Quantity; 2],
    ) -> Option<[f64; 2]> {
        let parts = match item.as_array() {
            Some(list) if list.len() == 2 => list,
            list => {
                let found = match list {
                    Some(list) => format!("{name} is a list of {}", list.len()),
                    None => format!("{name} is {}", kind_of(item)),
                };
                self.wrong_item(item, Wrong::new(found, expected));
                return None;
            }
        };
        let mut part = |i: usize| {
            let item = value_item(parts.get(i)?);
            self.as_number(&item, name, quantities[i])
        };
        let (first, second) = (part(0), part(1));
        Some([first?, second?])
    }

    /// Reports the keys of a section that are not among `known`; to be called before the keys are
    /// read, so that a misspelt key is not also reported as missing. `elsewhere` gives the right
    /// section for a key that is in the wrong one.
    pub(super) fn unknown_keys(
        &mut self,
        section: &Section<'_>,
        known: &[&str],
        elsewhere: impl Fn(&str) -> Option<String>,
    ) {
        for (name, item) in section.table.iter() {
            if known.contains(&name) {
                continue;
            }
            let at = section
                .table
                .key(name)
                .and_then(toml_edit::Key::span)
                .or_else(|| item.span())
                .map_or(section.start, |s| s.start);
            let (found, thing) = if item.is_value() {
                let found = format!("{} has no key {}", section.heading, quoted(name));
                (found, "line")
            } else {
                (format!("no section is called {}", quoted(name)), "section")
            };
            let wrong = match (elsewhere(name), nearest_name(name, known.iter().copied())) {
                (Some(home), _) => Wrong::new(found, format!("{name} in {home}"))
                    .mend(format!("move the line to {home}")),
                (None, Some(near)) => {
                    self.meant.insert((section.start, near.to_owned()));
                    Wrong::new(found, near).mend(format!("rename it {near}, or delete the {thing}"))
                }
                (None, None) => Wrong::new(found, format!("one of {}", known.join(", "))),
            };
            self.wrong_at(at, wrong);
        }
    }
}

/// Converts a list element to an item, preserving its position.
pub(super) fn value_item(value: &Value) -> Item {
    Item::Value(value.clone())
}

/// What a value is, in words.
pub(super) fn kind_of(item: &Item) -> String {
    match item {
        Item::Value(Value::String(text)) => format!("the text {}", quoted(text.value())),
        Item::Value(Value::Integer(number)) => format!("the number {}", number.value()),
        Item::Value(Value::Float(number)) => format!("the number {}", number.value()),
        Item::Value(Value::Boolean(truth)) => format!("the word {}", truth.value()),
        Item::Value(Value::Datetime(_)) => "a date".to_owned(),
        Item::Value(Value::Array(list)) => format!("a list of {}", list.len()),
        Item::Value(Value::InlineTable(_)) | Item::Table(_) => "a section".to_owned(),
        Item::ArrayOfTables(_) => "a list of sections".to_owned(),
        Item::None => "nothing".to_owned(),
    }
}

fn not_a_number(item: &Item, name: &str, quantity: &Quantity) -> Wrong {
    let wrong = Wrong::new(format!("{name} is {}", kind_of(item)), quantity.words);
    let Some(text) = item.as_str() else {
        return wrong;
    };
    match quantity.read(name, text.trim()) {
        Ok(_) => wrong.mend(format!("write it without quotes: {name} = {}", text.trim())),
        Err(told) if told.remedy == NO_VALUE => {
            wrong.mend("leave the line out if there is no value")
        }
        Err(told) => wrong.mend(told.remedy),
    }
}
