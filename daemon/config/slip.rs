//! What was probably meant by a line that is not TOML, for people who have never seen TOML. Pure. In: the line. Out:
//! what to do about it. Repeats nothing of the line: it may hold a secret.

/// What to do about a line that cannot be read; `None` if nothing is plain about it.
pub(super) fn slip(line: &str) -> Option<&'static str> {
    let line = line.trim();
    if line.starts_with('[') && !line.contains('=') {
        let (open, closed) = (line.matches('[').count(), line.matches(']').count());
        return (open != closed)
            .then_some("a heading begins and ends with as many brackets, as in [cat.plan]");
    }
    let Some((_, value)) = line.split_once('=') else {
        return Some("what now: write the key, an equals sign and the value, as in low = 70");
    };
    let value = value.split('#').next().unwrap_or_default().trim();
    if value.contains(CURLY) {
        return Some(
            "quotation marks must be straight ones, as in \"mg/dL\": the keyboard or the editor made curly ones",
        );
    }
    if value.starts_with(['"', '\'']) {
        let closed = value.len() > 1 && value.ends_with(['"', '\'']);
        return (!closed).then_some("a text needs a quotation mark at its end too");
    }
    if value.starts_with(|letter: char| letter.is_ascii_digit() || letter == '-') {
        return number(value);
    }
    if value.is_empty() {
        return Some("there is no value after the equals sign: write one or take the line out");
    }
    value
        .starts_with(char::is_alphabetic)
        .then_some("a text stands in quotation marks, as in units = \"mg/dL\"")
}

fn number(value: &str) -> Option<&'static str> {
    let digit = |letter: &char| letter.is_ascii_digit();
    let after = value.trim_start_matches('-').trim_start_matches(|letter| digit(&letter));
    if after.strip_prefix(',').is_some_and(|rest| rest.starts_with(|letter| digit(&letter))) {
        return Some("a number has a point and no comma, as in 5.5");
    }
    let rest = after.trim_start_matches(|letter: char| digit(&letter) || letter == '.').trim_start();
    if rest.starts_with(char::is_alphabetic) {
        return Some("a number stands alone, without a unit after it, as in low = 70");
    }
    let stands_as_text =
        value.starts_with('0') || rest.starts_with(|letter: char| digit(&letter) || "/:-".contains(letter));
    stands_as_text.then_some("a telephone number or a time stands in quotation marks, as in \"01 234 56\"")
}

const CURLY: &[char] =
    &['\u{201c}', '\u{201d}', '\u{201e}', '\u{201a}', '\u{2018}', '\u{2019}', '\u{ab}', '\u{bb}'];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_write_who_have_never_seen_toml_is_understood() {
        for (line, part) in [
            ("low = 4,0   # by the sensor", "a point and no comma"),
            ("price = 59,90 EUR", "a point and no comma"),
            ("falling_rate = -0,1", "a point and no comma"),
            ("low = 75 mg/dL", "without a unit"),
            ("low = 4.5mmol/L", "without a unit"),
            ("units = mg/dL", "a text stands in quotation marks"),
            ("units = \u{201c}mg/dL\u{201d}", "straight"),
            ("called = \"Alex", "at its end"),
            ("called: \"Alex\"", "an equals sign"),
            ("[cat.plan", "brackets"),
            ("vet_phone = 01 234 56 78", "a telephone number"),
            ("from = 7:00", "a telephone number"),
            ("low =", "no value"),
        ] {
            let said = slip(line).unwrap_or_else(|| panic!("nothing about {line}"));
            assert!(said.contains(part), "{line}: {said}");
        }
        for line in ["x = [1, 2", "called = \"Alex\" \"Sam\"", "[cat]] # two"] {
            assert!(slip(line).is_none_or(|said| !said.contains("comma")), "{line}");
        }
    }
}
