//! The `[[feed]]` sections of a station file: several feeds in one dish.

use toml_edit::Item;

use super::keys::{FEED, elsewhere};
use super::limits;
use super::section::{Section, Source, kind_of};
use super::{Dish, Feed};
use crate::problem::Wrong;
use crate::text::quoted;

const NAME: &str = "a short name of letters, digits and hyphens, such as \"ku-band\"";

/// Reads all feeds, in file order; empty if the dish has a single feed, which needs no section.
pub(super) fn feeds(
    source: &mut Source<'_>,
    item: Option<&Item>,
    dish: Option<&Dish>,
) -> Vec<Feed> {
    let Some(item) = item else {
        return Vec::new();
    };
    let Some(tables) = item.as_array_of_tables() else {
        let wrong = Wrong::new(
            format!("feed is {}", kind_of(item)),
            "[[feed]] above each feed",
        )
        .mend("write the heading with double brackets: [[feed]]");
        source.wrong_item(item, wrong);
        return Vec::new();
    };
    let mut feeds: Vec<Feed> = Vec::new();
    for table in tables {
        let start = table.span().map_or(0, |s| s.start);
        let section = Section::new("[[feed]]", start, table);
        source.unknown_keys(&section, &FEED, elsewhere);
        let name = source.text(&section, "name", NAME);
        let frequency = source.number(&section, "frequency_mhz", &limits::FREQUENCY);
        let (Some(name), Some(frequency_mhz)) = (name, frequency) else {
            continue;
        };
        if let Some(wrong) = wrong_name(name, &feeds) {
            source.wrong_item(&table["name"], wrong);
            continue;
        }
        if let (true, Some(dish)) = (feeds.is_empty(), dish)
            && dish.frequency_mhz != frequency_mhz
        {
            let wrong = Wrong::new(
                format!(
                    "the first feed has frequency_mhz {frequency_mhz}, and [dish] has {}",
                    dish.frequency_mhz
                ),
                "the same: [dish] is of the first feed, from which the others are counted",
            );
            source.wrong_item(&table["frequency_mhz"], wrong);
        }
        feeds.push(Feed {
            name: name.to_owned(),
            frequency_mhz,
        });
    }
    feeds
}

/// Checks a name against the earlier ones.
fn wrong_name(name: &str, earlier: &[Feed]) -> Option<Wrong> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-';
    if !name.chars().all(plain) || name.starts_with('-') || name.ends_with('-') {
        return Some(Wrong::new(
            format!("a feed is called {}", quoted(name)),
            NAME,
        ));
    }
    (earlier.iter())
        .find(|feed| feed.name.eq_ignore_ascii_case(name))
        .map(|feed| {
            Wrong::new(
                format!("a feed is called {} already", quoted(&feed.name)),
                "each feed once",
            )
        })
}
