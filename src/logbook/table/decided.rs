//! What is decided about a file before its rows are read.

use super::super::log_options::CompassMeaning;
use crate::text::quoted;
use crate::time::{DateOrder, ZoneOffset};

/// What has been decided about a file.
#[derive(Clone, Debug, Default)]
pub struct Decided {
    /// Offset from UTC of times without a zone.
    pub offset: Option<ZoneOffset>,
    /// Order of ambiguous dates.
    pub order: Option<DateOrder>,
    /// Source of that order.
    pub order_from: OrderFrom,
    /// Whether any number has a decimal point.
    pub points: bool,
    /// Meaning of a compass point in a column of approaches.
    pub compass: Option<CompassMeaning>,
}

/// Source of the order of dates.
#[derive(Clone, Debug, Default)]
pub enum OrderFrom {
    /// An option.
    #[default]
    Option,
    /// A date that is valid in no other order, with its line.
    Row(usize, String),
}

impl Decided {
    /// How ambiguous dates are read, and why.
    pub fn order_words(&self) -> String {
        let order = self.order.unwrap_or(DateOrder::DayMonthYear);
        match &self.order_from {
            OrderFrom::Option => format!("dates as {order}, as --dates says"),
            OrderFrom::Row(line, text) => {
                format!(
                    "dates as {order}, since {} in line {line} can be no other date",
                    quoted(text)
                )
            }
        }
    }
}
