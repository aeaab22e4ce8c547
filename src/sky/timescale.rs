//! Scales of time: from a [`Utc`] instant to UT1, which turns the Earth, and TT, which
//! drives the ephemerides.

use crate::time::{DAY_S, Utc};

/// Julian Date of 1970-01-01T00:00, the day from which [`Utc`] counts.
const UNIX_EPOCH_JD: f64 = 2_440_587.5;
/// TT minus TAI, by definition (IAU 1991 Recommendation IV).
const TT_MINUS_TAI_S: f64 = 32.184;

/// First year in which TAI minus UTC is a whole number of seconds, kept by leap seconds.
const FIRST_LEAP_SECOND_YEAR: i32 = 1972;
/// First year in which the leap-second table is no longer trusted. Leap seconds cannot be
/// predicted, and the table of the astronomy library ends with the one of 2017-01-01; SOFA,
/// whose table that is, calls a year dubious from the sixth after a release (`dat`, note 1),
/// and its last release before this version was of 2023 (year from memory).
const FIRST_UNCERTAIN_YEAR: i32 = 2029;

/// A Julian Date in two parts, as the SOFA routines take it: the day and the rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct JulianDate(pub f64, pub f64);

/// What is known about leap seconds at some time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LeapSeconds {
    /// The table holds.
    Known,
    /// Before 1972: UTC was then steered by rate and small steps, or did not exist.
    BeforeTable,
    /// So late that leap seconds unknown to this version may have been inserted.
    AfterTable,
}

impl LeapSeconds {
    /// Whether the table covers `time`.
    pub fn at(time: Utc) -> LeapSeconds {
        match time.calendar().0 {
            ..FIRST_LEAP_SECOND_YEAR => LeapSeconds::BeforeTable,
            FIRST_UNCERTAIN_YEAR.. => LeapSeconds::AfterTable,
            _ => LeapSeconds::Known,
        }
    }
}

/// TAI minus UTC, seconds. Before 1960 there is no UTC: zero, as SOFA has it (and
/// [`LeapSeconds::at`] says so).
pub(super) fn tai_minus_utc_s(time: Utc) -> f64 {
    let (year, month, day, ..) = time.calendar();
    let fraction = (time.seconds_of_day() / DAY_S).min(1.0);
    sofars::ts::dat(year, month.into(), day.into(), fraction).unwrap_or(0.0)
}

/// Terrestrial Time. TDB is within 2 ms of it and is not distinguished here: the Sun moves
/// 0.0001 arcsec in that time, the Moon 0.001.
pub(super) fn tt(time: Utc) -> JulianDate {
    let seconds = time.seconds_of_day() + tai_minus_utc_s(time) + TT_MINUS_TAI_S;
    JulianDate(UNIX_EPOCH_JD + time.unix_day() as f64, seconds / DAY_S)
}

/// UT1 from UT1 minus UTC in seconds. In a leap second the seconds of the day run on to 86,401,
/// and so does UT1.
pub(super) fn ut1(time: Utc, ut1_minus_utc_s: f64) -> JulianDate {
    JulianDate(
        UNIX_EPOCH_JD + time.unix_day() as f64,
        (time.seconds_of_day() + ut1_minus_utc_s) / DAY_S,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc(text: &str) -> Utc {
        Utc::parse(text).unwrap()
    }

    /// Differences of times near the present carry rounding of the day fraction.
    const ROUNDING_S: f64 = 1e-9;

    fn seconds_between(a: JulianDate, b: JulianDate) -> f64 {
        ((b.0 - a.0) + (b.1 - a.1)) * DAY_S
    }

    #[test]
    fn leap_seconds_count_in_terrestrial_time() {
        // IERS Bulletin C 52: a leap second at the end of 2016-12-31, TAI-UTC 36 before, 37 after.
        assert_eq!(tai_minus_utc_s(utc("2016-12-31T23:59:59Z")), 36.0);
        assert_eq!(tai_minus_utc_s(utc("2016-12-31T23:59:60.5Z")), 36.0);
        assert_eq!(tai_minus_utc_s(utc("2017-01-01T00:00:00Z")), 37.0);
        let before = tt(utc("2016-12-31T23:59:59.5Z"));
        let within = tt(utc("2016-12-31T23:59:60.5Z"));
        let after = tt(utc("2017-01-01T00:00:00.5Z"));
        assert!((seconds_between(before, within) - 1.0).abs() < ROUNDING_S);
        assert!((seconds_between(within, after) - 1.0).abs() < ROUNDING_S);
    }

    #[test]
    fn agrees_with_the_sofa_chain() {
        // dtf2d, utctai, taitt and utcut1 of the SOFA collection on the same instants.
        for (text, c) in [
            ("2026-04-04T05:00:48.771Z", (2026, 4, 4, 5, 0, 48.771)),
            ("1999-01-01T00:00:00Z", (1999, 1, 1, 0, 0, 0.0)),
            ("1972-06-30T23:59:59Z", (1972, 6, 30, 23, 59, 59.0)),
        ] {
            let (u1, u2) = sofars::ts::dtf2d("UTC", c.0, c.1, c.2, c.3, c.4, c.5).unwrap();
            let (a1, a2) = sofars::ts::utctai(u1, u2).unwrap();
            let (t1, t2) = sofars::ts::taitt(a1, a2).unwrap();
            assert!(
                seconds_between(JulianDate(t1, t2), tt(utc(text))).abs() < 1e-4,
                "{text}"
            );
            let (v1, v2) = sofars::ts::utcut1(u1, u2, 0.3).unwrap();
            assert!(seconds_between(JulianDate(v1, v2), ut1(utc(text), 0.3)).abs() < 1e-4);
        }
    }

    #[test]
    fn says_where_the_table_ends() {
        assert_eq!(
            LeapSeconds::at(utc("1971-12-31T23:59:59Z")),
            LeapSeconds::BeforeTable
        );
        assert_eq!(
            LeapSeconds::at(utc("1972-01-01T00:00:00Z")),
            LeapSeconds::Known
        );
        assert_eq!(
            LeapSeconds::at(utc("2028-12-31T23:59:59Z")),
            LeapSeconds::Known
        );
        assert_eq!(
            LeapSeconds::at(utc("2029-01-01T00:00:00Z")),
            LeapSeconds::AfterTable
        );
    }
}
