//! A section of a TOML file, read key by key, every fault with its line and column.

use std::cell::OnceCell;
use std::collections::HashSet;

use toml_edit::{Item, TableLike, Value};

use crate::problem::{Problems, Wrong, nearest_name};
use crate::quantity::{NO_VALUE, Quantity};
use crate::text::{self, quoted};

/// A file's text and what is wrong with it so far.
pub(super) struct Source<'a> {
    pub(super) file: &'a str,
    pub(super) text: &'a str,
    /// By the bytes at which they stand, when they stand somewhere.
    pub(super) faults: Vec<(Option<usize>, Wrong)>,
    /// Keys that were probably meant by misspelt ones, with the start of their section.
    meant: HashSet<(usize, String)>,
    /// Bytes at which lines end, found when first asked for.
    line_ends: OnceCell<Vec<usize>>,
}

/// One table of the file.
pub(super) struct Section<'a> {
    /// As it stands in the file: `[site]`.
    pub(super) heading: String,
    /// Byte of the text at which it starts.
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
    /// The value under `key`, if it is there.
    pub(super) fn get(&self, key: &str) -> Option<&'a Item> {
        self.table.get(key)
    }
    /// Whether `key` is there.
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

    /// All that was found, in file order.
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

    /// The line of a byte of the text.
    pub(super) fn line(&self, byte: usize) -> usize {
        let ends = self.line_ends.get_or_init(|| {
            let ends = self.text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
            ends.map(|(at, _)| at).collect()
        });
        1 + ends.partition_point(|end| *end < byte)
    }

    /// A value as it stands in the file.
    fn written(&self, item: &Item) -> &'f str {
        item.span()
            .and_then(|s| self.text.get(s))
            .unwrap_or_default()
    }

    /// Whether a misspelt key of this section, which has been told, was probably meant for `key`.
    pub(super) fn was_meant(&self, section: &Section<'_>, key: &str) -> bool {
        !self.meant.is_empty() && self.meant.contains(&(section.start, key.to_owned()))
    }

    /// Takes a key of this section for meant, though another stands in its place, which is told.
    pub(super) fn mean(&mut self, section: &Section<'_>, key: &str) {
        self.meant.insert((section.start, key.to_owned()));
    }

    /// The value under a `key` that must be there.
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

    /// The number under a `key` that must be there.
    pub(super) fn number(
        &mut self,
        section: &Section<'_>,
        key: &str,
        quantity: &Quantity,
    ) -> Option<f64> {
        let item = self.required(section, key, quantity.words)?;
        self.as_number(item, key, quantity)
    }

    /// The number under a `key` that may be missing.
    pub(super) fn optional_number(
        &mut self,
        section: &Section<'_>,
        key: &str,
        quantity: &Quantity,
    ) -> Option<f64> {
        self.as_number(section.get(key)?, key, quantity)
    }

    /// A value as a number; an integer will do.
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

    /// The whole number under a `key` that may be missing.
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
        // The quantity's limits are those of its caller, all far below 2^32.
        Some(number as u32)
    }

    /// The text under a `key` that must be there: one line, no blanks around it, not empty.
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

    /// The list under a `key` that may be missing.
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

    /// The list of exactly two numbers in a value.
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

    /// Tells the keys of a section that are not among `known`; to be called before the keys are
    /// read, so that a misspelt key is not told as missing too. `elsewhere` gives the section
    /// to which a key belongs that stands in the wrong one.
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

/// A value of a list, which has a place of its own, as an item.
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
