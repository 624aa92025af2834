//! Days and times as the shop's own clock shows them. Records hold UTC; where one day ends and the next begins is the shop's.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

/// Today, by the machine's own time zone.
pub(super) fn today() -> Date {
    Timestamp::now().to_zoned_datetime(TimeZone::system()).date()
}

/// The first moment of a day and of the next, as records hold times; `None` at the end of the calendar.
pub(super) fn bounds(day: Date) -> Option<(String, String)> {
    bounds_in(day, &TimeZone::system())
}

fn bounds_in(day: Date, zone: &TimeZone) -> Option<(String, String)> {
    let start = |day: Date| Some(format!("{:.3}", day.to_zoned_datetime(zone.clone()).ok()?.timestamp()));
    Some((start(day)?, start(day.checked_add(1.day()).ok()?)?))
}

/// Day and time of day of a record's time.
pub(super) fn when(time: &str) -> String {
    when_in(time, &TimeZone::system())
}

fn when_in(time: &str, zone: &TimeZone) -> String {
    let Ok(moment) = time.parse::<Timestamp>() else { return time.to_owned() };
    let here = moment.to_zoned_datetime(zone.clone());
    let far = if here.offset().is_zero() { String::new() } else { here.strftime("%:z").to_string() };
    format!("{} UTC{far}", here.strftime("%Y-%m-%d %H:%M"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn zone(posix: &str) -> TimeZone {
        TimeZone::posix(posix).unwrap()
    }

    /// Worked out by hand: east of Greenwich a day begins while it is still the day before there.
    #[test]
    fn a_day_is_the_shop_s() {
        let bounds = |zone| bounds_in(date(2026, 11, 26), &zone).unwrap();
        let text = |from: &str, until: &str| (from.to_owned(), until.to_owned());
        assert_eq!(bounds(TimeZone::UTC), text("2026-11-26T00:00:00.000Z", "2026-11-27T00:00:00.000Z"));
        assert_eq!(bounds(zone("<+09>-9")), text("2026-11-25T15:00:00.000Z", "2026-11-26T15:00:00.000Z"));
        assert_eq!(bounds(zone("<-08>8")), text("2026-11-26T08:00:00.000Z", "2026-11-27T08:00:00.000Z"));
        // The day on which clocks go forward has 23 hours.
        let central = zone("CET-1CEST,M3.5.0,M10.5.0/3");
        let short = bounds_in(date(2026, 3, 29), &central).unwrap();
        assert_eq!(short, text("2026-03-28T23:00:00.000Z", "2026-03-29T22:00:00.000Z"));
        assert_eq!(bounds_in(Date::MAX, &TimeZone::UTC), None);
    }

    #[test]
    fn times_are_shown_as_the_shop_s_clock_shows_them() {
        let time = "2026-11-26T20:31:15.123Z";
        assert_eq!(when_in(time, &TimeZone::UTC), "2026-11-26 20:31 UTC");
        assert_eq!(when_in(time, &zone("<+0530>-5:30")), "2026-11-27 02:01 UTC+05:30");
        assert_eq!(when_in(time, &zone("<-08>8")), "2026-11-26 12:31 UTC-08:00");
        assert_eq!(when_in("no time", &TimeZone::UTC), "no time");
    }
}
