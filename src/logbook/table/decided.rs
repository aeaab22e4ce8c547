//! What is decided about a file before its rows are read.

use super::super::log_options::CompassMeaning;
use crate::text::quoted;
use crate::time::{DateOrder, ZoneOffset};

/// What is decided of a file.
#[derive(Clone, Debug, Default)]
pub struct Decided {
    /// Offset from UTC of times that say none.
    pub offset: Option<ZoneOffset>,
    /// Order of dates that could be read either way.
    pub order: Option<DateOrder>,
    /// Why that order.
    pub order_from: OrderFrom,
    /// Whether some number has a decimal point.
    pub points: bool,
    /// What a compass point in a column of approaches is.
    pub compass: Option<CompassMeaning>,
}

/// Who said in which order dates are written.
#[derive(Clone, Debug, Default)]
pub enum OrderFrom {
    /// An option.
    #[default]
    Option,
    /// A date that exists in no other order, with its line.
    Row(usize, String),
}

impl Decided {
    /// How dates of open order are read, and why.
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
