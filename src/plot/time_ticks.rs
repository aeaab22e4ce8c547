//! Round times of UTC along an axis.

use super::Tick;
use crate::time::Utc;

const MINUTE: f64 = 60.0;
const HOUR: f64 = 3600.0;
const DAY: f64 = 86_400.0;
/// Steps within a day, in seconds; each divides a day evenly.
const STEPS: [f64; 17] = [
    1.0,
    5.0,
    10.0,
    15.0,
    30.0,
    MINUTE,
    2.0 * MINUTE,
    5.0 * MINUTE,
    10.0 * MINUTE,
    15.0 * MINUTE,
    30.0 * MINUTE,
    HOUR,
    2.0 * HOUR,
    3.0 * HOUR,
    6.0 * HOUR,
    12.0 * HOUR,
    DAY,
];
/// Steps of whole days below a month.
const DAYS: [i64; 4] = [1, 2, 5, 10];
/// Steps of whole months.
const MONTHS: [i64; 8] = [1, 2, 3, 6, 12, 24, 60, 120];
const MONTH_NAMES: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// Ticks of a time axis.
#[derive(Clone, Debug, PartialEq)]
pub struct TimeTicks {
    /// Their values are seconds since the axis's origin.
    pub ticks: Vec<Tick>,
}

/// At most about `most` round times from `low` to `high` seconds after `origin`. Within a day
/// the date stands under the first tick and under every tick that begins a new day.
pub fn time_ticks(origin: Utc, low: f64, high: f64, most: usize) -> TimeTicks {
    let wanted = (high - low) / most.max(1) as f64;
    let ticks = if let Some(step) = STEPS.into_iter().find(|s| *s >= wanted && *s < DAY) {
        clock_ticks(origin, low, high, step)
    } else if let Some(days) = DAYS.into_iter().find(|d| *d as f64 * DAY >= wanted) {
        day_ticks(origin, low, high, days)
    } else {
        let months = MONTHS
            .into_iter()
            .find(|m| *m as f64 * 28.0 * DAY >= wanted)
            .unwrap_or(240);
        month_ticks(origin, low, high, months)
    };
    TimeTicks { ticks }
}

fn date_label(t: Utc) -> String {
    let (year, month, day, ..) = t.calendar();
    format!("{day} {} {year}", month_name(month))
}

fn month_name(month: u8) -> &'static str {
    MONTH_NAMES[usize::from(month).clamp(1, 12) - 1]
}

/// Seconds from `origin` to the start of its day, zero or less.
fn midnight(origin: Utc) -> f64 {
    let (_, _, _, hour, minute, second) = origin.calendar();
    -(f64::from(hour) * HOUR + f64::from(minute) * MINUTE + second)
}

fn clock_ticks(origin: Utc, low: f64, high: f64, step: f64) -> Vec<Tick> {
    let start = midnight(origin);
    let first = ((low - start) / step).ceil();
    let mut last_day = None;
    (0..1000)
        .map(|i| start + (first + f64::from(i)) * step)
        .take_while(|v| *v <= high)
        .map(|value| {
            // To the whole second: sums of fractions must not show 04:59:59.
            let t = origin.plus_seconds(value).plus_seconds(0.001);
            let (_, _, _, hour, minute, second) = t.calendar();
            let mut tick = Tick::new(value, format!("{hour:02}:{minute:02}"));
            if step < MINUTE {
                tick.label = format!("{hour:02}:{minute:02}:{:02}", second as u8);
            }
            if last_day != Some(t.unix_day()) {
                last_day = Some(t.unix_day());
                tick.under = Some(date_label(t));
            }
            tick
        })
        .collect()
}

fn day_ticks(origin: Utc, low: f64, high: f64, days: i64) -> Vec<Tick> {
    let start = midnight(origin);
    let mut last_year = None;
    let first = ((low - start) / DAY).ceil() as i64;
    let last = ((high - start) / DAY).floor() as i64;
    (first..=last.min(first + 1000))
        .filter(|i| (origin.unix_day() + i).rem_euclid(days) == 0)
        .map(|i| {
            let value = start + i as f64 * DAY;
            let (year, month, day, ..) = origin.plus_seconds(value).plus_seconds(0.001).calendar();
            let mut tick = Tick::new(value, format!("{day} {}", month_name(month)));
            if last_year != Some(year) {
                last_year = Some(year);
                tick.under = Some(year.to_string());
            }
            tick
        })
        .collect()
}

fn month_ticks(origin: Utc, low: f64, high: f64, months: i64) -> Vec<Tick> {
    let (year, month, ..) = origin.plus_seconds(low).calendar();
    let from = i64::from(year) * 12 + i64::from(month) - 1;
    let first = from.div_euclid(months) * months;
    let mut ticks = Vec::new();
    for count in (first..).step_by(months as usize).take(1000) {
        let (year, month) = (count.div_euclid(12), count.rem_euclid(12) + 1);
        let Ok(t) = Utc::parse(&format!("{year:04}-{month:02}-01T00:00:00Z")) else {
            break;
        };
        let value = t.seconds_since(origin);
        if value > high {
            break;
        }
        if value >= low {
            let label = if months % 12 == 0 {
                year.to_string()
            } else {
                format!("{} {year}", month_name(month as u8))
            };
            ticks.push(Tick::new(value, label));
        }
    }
    ticks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(origin: &str, span: f64, most: usize) -> Vec<String> {
        time_ticks(Utc::parse(origin).unwrap(), 0.0, span, most)
            .ticks
            .iter()
            .map(|t| match &t.under {
                Some(under) => format!("{} / {under}", t.label),
                None => t.label.clone(),
            })
            .collect()
    }

    #[test]
    fn a_night_shows_hours_and_both_dates() {
        assert_eq!(
            shown("2026-04-04T20:11:00.5Z", 8.0 * HOUR, 6),
            ["22:00 / 4 Apr 2026", "00:00 / 5 Apr 2026", "02:00", "04:00"]
        );
    }

    #[test]
    fn minutes_seconds_weeks_and_years() {
        assert_eq!(
            shown("2026-12-31T23:59:30Z", 60.0, 4),
            [
                "23:59:30 / 31 Dec 2026",
                "23:59:45",
                "00:00:00 / 1 Jan 2027",
                "00:00:15",
                "00:00:30"
            ]
        );
        assert_eq!(
            shown("2026-12-28T10:00:00Z", 6.0 * DAY, 6),
            [
                "29 Dec / 2026",
                "30 Dec",
                "31 Dec",
                "1 Jan / 2027",
                "2 Jan",
                "3 Jan"
            ]
        );
        assert_eq!(
            shown("2026-01-15T00:00:00Z", 300.0 * DAY, 5),
            ["Apr 2026", "Jul 2026", "Oct 2026"]
        );
        assert_eq!(
            shown("2020-03-01T00:00:00Z", 4000.0 * DAY, 6),
            ["2022", "2024", "2026", "2028", "2030"]
        );
    }

    #[test]
    fn odd_spans_end() {
        for span in [0.0, 1e-9, 1e13, f64::NAN] {
            assert!(shown("2026-01-15T00:00:00Z", span, 6).len() <= 1000);
        }
    }
}
