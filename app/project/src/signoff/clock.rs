//! The time of day as text.

use std::time::{SystemTime, UNIX_EPOCH};

/// Now, in UTC, as RFC 3339 writes it: `2026-03-01T09:30:00Z`.
pub fn utc() -> String {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    written(since.map_or(0, |d| d.as_secs()))
}

/// Seconds since the beginning of 1970 as date and time.
///
/// The date is counted in eras of 400 years from March on, so that leap days come last
/// (H. Hinnant, "chrono-Compatible Low-Level Date Algorithms", from memory).
fn written(seconds: u64) -> String {
    let (days, rest) = (seconds / 86_400, seconds % 86_400);
    let from_march_0 = days + 719_468;
    let (era, day_of_era) = (from_march_0 / 146_097, from_march_0 % 146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = match month_from_march {
        m if m < 10 => m + 3,
        m => m - 9,
    };
    let year = year_of_era + era * 400 + u64::from(month <= 2);
    let (hour, minute, second) = (rest / 3600, rest / 60 % 60, rest % 60);
    format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Made with GNU date: `date -u -d @SECONDS +%FT%TZ`.
    #[test]
    fn dates_are_those_of_the_calendar() {
        for (seconds, text) in [
            (0, "1970-01-01T00:00:00Z"),
            (951_782_399, "2000-02-28T23:59:59Z"),
            (951_782_400, "2000-02-29T00:00:00Z"),
            (951_868_800, "2000-03-01T00:00:00Z"),
            (1_735_689_599, "2024-12-31T23:59:59Z"),
            (4_107_542_400, "2100-03-01T00:00:00Z"),
        ] {
            assert_eq!(written(seconds), text);
        }
    }
}
