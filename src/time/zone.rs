//! Local time for display beside UTC.

use super::{Utc, ZoneOffset};

impl ZoneOffset {
    /// Local time of day, to the minute or, if the seconds are not zero, to the nearest second:
    /// `20:30`, or `20:30 +1d` if it is the next day there.
    pub fn clock(self, time: Utc) -> String {
        let there = self.shifted(time);
        let (.., hour, minute, second) = there.calendar();
        let days = match there.unix_day() - time.unix_day() {
            0 => String::new(),
            days => format!(" {days:+}d"),
        };
        match second as i64 {
            0 => format!("{hour:02}:{minute:02}{days}"),
            second => format!("{hour:02}:{minute:02}:{second:02}{days}"),
        }
    }

    /// Local date and time of day, with the zone: `2026-09-12 20:30:00 +11:00`.
    pub fn date_and_clock(self, time: Utc) -> String {
        let (year, month, day, hour, minute, second) = self.shifted(time).calendar();
        format!(
            "{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{:02} {self}",
            second as i64
        )
    }

    /// Local time, to the nearest second.
    fn shifted(self, time: Utc) -> Utc {
        time.plus_seconds(self.seconds() as f64 + 0.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zone(text: &str) -> ZoneOffset {
        text.parse().unwrap()
    }

    #[test]
    fn a_clock_east_of_greenwich_is_ahead_of_utc() {
        let noon = Utc::parse("2026-09-12T12:00:00Z").unwrap();
        assert_eq!(zone("+11:00").clock(noon), "23:00");
        assert_eq!(zone("-05:00").clock(noon), "07:00");
        assert_eq!(zone("+12:45").clock(noon), "00:45 +1d");
        assert_eq!(zone("-1230").clock(noon), "23:30 -1d");
        assert_eq!(zone("+02").clock(noon.plus_seconds(7.6)), "14:00:08");
        assert_eq!(
            zone("+12:45").date_and_clock(noon),
            "2026-09-13 00:45:00 +12:45"
        );
    }

    #[test]
    fn an_offset_reads_back_as_written() {
        for (text, shown) in [
            ("+11:00", "+11:00"),
            ("-0330", "-03:30"),
            ("+02", "+02:00"),
            ("Z", "+00:00"),
            ("-00:30", "-00:30"),
        ] {
            assert_eq!(zone(text).to_string(), shown);
            // A local time with its zone reads back as the original instant.
            let time = Utc::parse("2026-03-01T05:06:07Z").unwrap();
            let local = zone(text).date_and_clock(time);
            let (clock, offset) = local.rsplit_once(' ').unwrap();
            assert_eq!(Utc::parse(&format!("{clock}{offset}")), Ok(time));
        }
        for bad in ["11:00", "+25:00", "AEDT", "", "+", "Z+1"] {
            assert!(bad.parse::<ZoneOffset>().is_err(), "{bad}");
        }
    }
}
