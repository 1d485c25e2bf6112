//! What the push server is to say when the daemon itself cannot say anything any more. Comes in: the household, a
//! person, the present. Goes out: title and text in that person's words.

use crate::tell::{Reader, plain, title};
use crate::words::{Arg, Household, Moment, Person, Telling};

/// What is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Calls {
    /// Nobody is watching.
    Warning,
    /// Somebody is again.
    Back,
    /// Only shown by a server that cannot take messages back.
    Trial,
}

/// Title and text for one person. `after_minutes` of silence it is said; `now` is when Lowtide was last there.
#[must_use]
pub fn nobody_watching(
    household: &Household,
    person: &Person,
    call: Calls,
    after_minutes: f64,
    now: Moment,
) -> (String, String) {
    let reader = Reader::person(person, household, now);
    let key = match call {
        Calls::Warning => "nobody-watching",
        Calls::Back => "nobody-watching-over",
        Calls::Trial => "nobody-watching-trial",
    };
    let cats: Vec<&str> = household.cats.iter().map(|cat| cat.called.as_str()).collect();
    let telling = Telling::new(key)
        .with("cat", Arg::Text(cats.join(", ")))
        .with("span", Arg::Minutes(after_minutes))
        .with("time", Arg::Time(now));
    (title(&reader, &telling), plain(&reader, &telling))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tell::LANGUAGES;

    #[test]
    fn every_language_has_words_for_it() {
        let household: Household = serde_json::from_value(serde_json::json!({
            "home": {"timezone": "Europe/Vienna", "units": "mg/dL", "language": "en", "owner": "olive",
                "gather_seconds": 60.0},
            "cats": [],
            "persons": [{"name": "olive", "called": "Olive", "channels": [], "timezone": "Europe/Vienna",
                "units": "mg/dL", "language": "en", "receives": "notice", "meter": true, "private": false,
                "wake_for_warnings": false}],
            "duty": []
        }))
        .unwrap();
        let noon = Moment::parse("2026-06-10T10:00:00Z").unwrap();
        for language in LANGUAGES {
            for call in [Calls::Warning, Calls::Back, Calls::Trial] {
                let person = Person { language: (*language).to_owned(), ..household.persons[0].clone() };
                let (title, text) = nobody_watching(&household, &person, call, 360.0, noon);
                assert!(
                    title.contains("Lowtide") && !title.contains("nobody-watching"),
                    "{language} {title}"
                );
                assert!(text.len() > 30 && !text.contains('{'), "{language} {text}");
                assert!(call != Calls::Warning || (text.contains("12:00") && text.contains('6')), "{text}");
            }
        }
    }
}
