//! How long a server asks us to wait. Pure.

use chrono::{DateTime, NaiveDateTime, Utc};
use reqwest::header::{DATE, HeaderMap, RETRY_AFTER};

/// Seconds to wait by `Retry-After` (RFC 9110 section 10.2.3): a number, or a date, which is taken relative to the
/// server's own `Date`, because a small computer's clock may be wrong for hours after a power cut. `None` if the
/// server does not say; never more than a day.
pub(super) fn seconds(headers: &HeaderMap) -> Option<u32> {
    let text = headers.get(RETRY_AFTER)?.to_str().ok()?.trim();
    if !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit()) {
        return Some(text.parse().unwrap_or(u32::MAX).min(SECONDS_MAX));
    }
    let until = http_date(text)?;
    let now = http_date(headers.get(DATE)?.to_str().ok()?)?;
    let seconds = (until - now).num_seconds().clamp(0, i64::from(SECONDS_MAX));
    u32::try_from(seconds).ok()
}

/// The three forms of RFC 9110 section 5.6.7.
fn http_date(text: &str) -> Option<DateTime<Utc>> {
    ["%a, %d %b %Y %H:%M:%S GMT", "%A, %d-%b-%y %H:%M:%S GMT", "%a %b %e %H:%M:%S %Y"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text.trim(), form).ok())
        .map(|naive| naive.and_utc())
}

const SECONDS_MAX: u32 = 86_400;

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(pairs: &[(&'static str, &'static str)]) -> Option<u32> {
        let headers: HeaderMap =
            pairs.iter().map(|(k, v)| (k.parse().unwrap(), v.parse().unwrap())).collect();
        seconds(&headers)
    }

    #[test]
    fn the_three_forms_of_the_standard_are_one_instant() {
        // The examples of RFC 9110 section 5.6.7.
        for text in
            ["Sun, 06 Nov 1994 08:49:37 GMT", "Sunday, 06-Nov-94 08:49:37 GMT", "Sun Nov  6 08:49:37 1994"]
        {
            assert_eq!(http_date(text).unwrap().timestamp(), 784_111_777, "{text}");
        }
        assert_eq!(http_date("tomorrow"), None);
    }

    #[test]
    fn a_number_is_seconds_and_a_date_counts_from_the_servers_own_clock() {
        // RFC 9110 section 10.2.3 has both: "120" and a date.
        assert_eq!(asked(&[("retry-after", "120")]), Some(120));
        let date = ("date", "Fri, 31 Dec 1999 23:58:59 GMT");
        assert_eq!(asked(&[("retry-after", "Fri, 31 Dec 1999 23:59:59 GMT"), date]), Some(60));
        assert_eq!(asked(&[("retry-after", "Fri, 31 Dec 1999 23:00:00 GMT"), date]), Some(0));
    }

    #[test]
    fn nonsense_asks_for_nothing_and_no_wait_is_longer_than_a_day() {
        assert_eq!(asked(&[]), None);
        assert_eq!(asked(&[("retry-after", "soon")]), None);
        assert_eq!(asked(&[("retry-after", "")]), None);
        assert_eq!(asked(&[("retry-after", "-5")]), None);
        assert_eq!(asked(&[("retry-after", "Fri, 31 Dec 1999 23:59:59 GMT")]), None);
        assert_eq!(asked(&[("retry-after", "99999999999999")]), Some(86_400));
    }
}
