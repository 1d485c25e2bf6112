//! What `lowtide check` prints, word for word.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use lowtide::config::check;
use lowtide::words::Moment;

/// The example, seen on an evening in November and on a day in the sitter's time.
#[test]
fn the_example_in_words() {
    let path = super::here("config/lowtide.example.toml");
    for (now, kept) in
        [("2026-11-25T18:30:00Z", "example-november.txt"), ("2026-12-24T05:30:00Z", "example-christmas.txt")]
    {
        let checked = check(&path, &super::surroundings(), Moment::parse(now).unwrap());
        assert_eq!(checked.exit_code, 0);
        let folder = super::here("config");
        let text = checked.text.replace(folder.to_str().unwrap(), "FOLDER");
        let file = super::here("tests/data/config/words").join(kept);
        if std::env::var_os("REWRITE").is_some() {
            fs::write(&file, &text).unwrap();
        }
        let expected = fs::read_to_string(file).unwrap_or_default();
        assert_eq!(text, expected, "{kept}\n{text}");
    }
}

#[test]
fn a_bare_plan_says_what_is_missing_and_what_follows() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lowtide.toml");
    let text = "[home]\ntimezone = \"Europe/Vienna\"\n[[cat]]\nname = \"pepper\"\n[[person]]\nname = \"owner\"\n\
                ntfy = \"x7k2m9qf4td8wz3h\"\n[notify.ntfy]\nserver = \"https://ntfy.example\"\n";
    fs::write(&path, text).unwrap();
    let checked = check(&path, &super::surroundings(), Moment::parse("2026-11-25T18:30:00Z").unwrap());
    assert_eq!(checked.exit_code, 0);
    for part in [
        "Missing from the plan: on_low (what to do at a low): messages at a low will only say \"call your vet\".",
        "Missing from the plan: vet_phone",
        "no limit is from your vet yet: warns under 70, is urgent under 50 mg/dL",
        "Doses: no times given",
        "nobody else is there to ask",
        "By hand only",
        "no reply_topic, so messages have no buttons",
        "A reminder, not a medical device.",
        "The configuration is sound.",
    ] {
        assert!(checked.text.contains(part), "{part}\n{}", checked.text);
    }
}

#[test]
fn problems_end_with_one_and_unreadable_files_with_two() {
    let now = Moment::parse("2026-11-25T18:30:00Z").unwrap();
    let checked =
        |name: &str| check(&super::here("tests/data/config").join(name), &super::surroundings(), now);
    let plan = checked("plan.toml");
    assert_eq!(plan.exit_code, 1);
    assert!(plan.text.contains("To be put right before the daemon starts:\n"), "{}", plan.text);
    assert!(plan.text.contains("the usual value stands") && !plan.text.contains("is sound"), "{}", plan.text);
    assert_eq!(checked("empty.toml").exit_code, 1);
    let syntax = checked("syntax.toml");
    assert_eq!(syntax.exit_code, 2);
    assert!(syntax.text.contains("syntax.toml:2: not TOML: string values must be quoted, expected literal string; a text stands in quotation marks"), "{}", syntax.text);
    assert_eq!(checked("none.toml").exit_code, 2);
}

/// What `check` says of a household with a page that is set up in these lines.
fn with_page(lines: &str) -> (u8, String) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lowtide.toml");
    let text = format!(
        "[home]\ntimezone = \"Europe/Vienna\"\n[[cat]]\nname = \"pepper\"\n[[person]]\nname = \"owner\"\n\
         ntfy = \"x7k2m9qf4td8wz3h\"\n[notify.ntfy]\nserver = \"https://ntfy.example\"\n\
         reply_topic = \"k3v9p1xw7hq2zr8d\"\n[page]\n{lines}\n"
    );
    fs::write(&path, text).unwrap();
    fs::write(folder.path().join("word"), "a-long-enough-one\n").unwrap();
    fs::write(folder.path().join("short"), "1234\n").unwrap();
    for name in ["word", "short"] {
        fs::set_permissions(folder.path().join(name), fs::Permissions::from_mode(0o600)).unwrap();
    }
    let checked = check(&path, &super::surroundings(), Moment::parse("2026-11-25T18:30:00Z").unwrap());
    (checked.exit_code, checked.text)
}

#[test]
fn the_page_is_said_to_be_where_it_is_and_never_open_to_the_network() {
    for (lines, code, part) in [
        (
            "listen = \"127.0.0.1:7412\"",
            0,
            "At http://127.0.0.1:7412/, without a password, for browsers on this machine.",
        ),
        ("listen = \"[::1]:7412\"\npassword_file = \"word\"", 0, "At http://[::1]:7412/, with a password"),
        (
            "listen = \"0.0.0.0:7412\"\npassword_file = \"word\"",
            0,
            "At port 7412 of each address of this machine, with a password.",
        ),
        ("listen = \"192.0.2.7:7412\"\npassword_file = \"word\"", 0, "never forward this port from outside"),
        (
            "listen = \"0.0.0.0:7412\"\npassword_file = \"short\"",
            0,
            "a short password; a program in your network could guess it: take 12 letters or more",
        ),
        (
            "listen = \"0.0.0.0:7412\"",
            1,
            "others on the network would see the page: name a password_file, or listen on 127.0.0.1",
        ),
        ("listen = \"0.0.0.0:7412\"\npassword_file = \"none\"", 1, "this file cannot be read"),
        ("password_file = \"word\"", 1, "[page]: found no listen; expected an address"),
        ("listen = \"pi:7412\"", 1, "expected an address of this machine with a port"),
        ("listen = \"127.0.0.1:7412\"\npassword = \"x\"", 1, "a secret in the configuration"),
    ] {
        let (found, text) = with_page(lines);
        assert!(text.contains(part), "{lines}: {text}");
        assert_eq!(found, code, "{lines}: {text}");
        assert!(!text.contains("a-long-enough-one") && !text.contains("1234\""), "{text}");
    }
    assert!(
        with_page("listen = \"127.0.0.1:7412\"")
            .1
            .contains("buttons answer through the topic k3v9p1xw7hq2zr8d")
    );
}

/// Who is done reads that it is sound; who is not is not told so.
#[test]
fn what_is_still_the_examples_is_not_called_sound() {
    let now = Moment::parse("2026-11-25T18:30:00Z").unwrap();
    let checked = check(&super::here("config/lowtide.example.toml"), &super::surroundings(), now);
    assert!(!checked.text.contains("is sound"), "{}", checked.text);
    assert!(checked.text.contains("still the example's and not yours"), "{}", checked.text);
    let left = checked.text.lines().filter(|line| line.contains("still as in the example")).count();
    assert_eq!(left, 12, "{}", checked.text);
}

/// Whatever a file holds, `check` must not print a secret out of it.
#[test]
fn nothing_secret_is_printed() {
    let now = Moment::parse("2026-11-25T18:30:00Z").unwrap();
    for name in ["secrets.toml", "secrets_elsewhere.toml", "plain_password.toml"] {
        let checked = check(&super::here("tests/data/config").join(name), &super::surroundings(), now);
        for secret in ["never-shown", "never_shown", "correct horse"] {
            assert!(!checked.text.contains(secret), "{name}: {}", checked.text);
        }
    }
}

/// Two duties that overlap, one by somebody who hears only what is critical, one on the night the clock is put forward.
#[test]
fn duties_that_are_over_give_no_advice_and_are_said_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lowtide.toml");
    let text = r#"
[home]
timezone = "Europe/Vienna"
[[cat]]
name = "pepper"
[[person]]
name = "owner"
ntfy = "x7k2m9qf4td8wz3h"
[[person]]
name = "sitter"
ntfy = "x7k2m9qf4td8wz3i"
receives = "critical"
[notify.ntfy]
server = "https://ntfy.example"
[[duty]]
person = "owner"
from = "2026-03-20T18:00"
until = "2026-03-29T02:30"
[[duty]]
person = "sitter"
from = "2026-03-28T12:00"
until = "2026-04-03T12:00"
[[duty]]
person = "owner"
from = "2026-04-04T12:00"
until = "2026-04-05T12:00"
[[duty]]
person = "owner"
weekly = "Mon 07:00-19:00"
until = "2026-05-01T12:00"
[[duty]]
person = "sitter"
weekly = "Mon 18:00-23:00"
until = "2026-05-01T12:00"
"#;
    fs::write(&path, text).unwrap();
    let said = |now: &str| check(&path, &super::surroundings(), Moment::parse(now).unwrap()).text;
    let advice =
        ["overlaps", "has the cat until", "a hole from", "put forward", "for sitter, who has the cat"];

    let before = said("2026-03-01T12:00:00Z");
    assert!(advice.iter().all(|advice| before.contains(advice)) && !before.contains("over and"), "{before}");

    // The sitter has the cat: what is now still counts.
    let during = said("2026-04-01T12:00:00Z");
    let (over, holds) = during.split_at(during.find("Worth knowing").unwrap());
    assert!(
        over.contains("One duty is over and changes nothing any more; it ended 2026-03-29 03:00."),
        "{during}"
    );
    assert!(!holds.contains("put forward") && !holds.contains("has the cat until 2026-03"), "{during}");
    assert!(holds.contains("for sitter, who has the cat") && holds.contains("a hole from"), "{during}");

    let after = said("2026-11-26T12:00:00Z");
    assert!(advice.iter().all(|advice| !after.contains(advice)), "{after}");
    let over = "5 duties are over and change nothing any more; the last one ended 2026-05-01 12:00.";
    assert!(after.contains(over) && !after.contains("Week by week"), "{after}");
}

/// What `check` and `status` print is English; the household's language is for messages.
#[test]
fn a_household_of_another_language_is_not_described_half_in_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lowtide.toml");
    let example = fs::read_to_string(super::here("config/lowtide.example.toml")).unwrap();
    fs::write(&path, example.replace("#language = \"en\"\n#gather", "language = \"de\"\n#gather")).unwrap();
    let checked = check(&path, &super::surroundings(), Moment::parse("2026-11-25T18:30:00Z").unwrap());
    assert_eq!(checked.exit_code, 0);
    assert!(checked.text.contains("keeps 8 hours; a reading every 15 minutes"), "{}", checked.text);
    assert!(checked.text.contains("From 18:00 on Sun 20 Dec: Sam."), "{}", checked.text);
    assert!(checked.text.contains("Eine Erinnerung, kein Medizinprodukt."), "{}", checked.text);
}
