//! What `lowtide check` prints, word for word.

use std::fs;

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
    assert!(syntax.text.contains("syntax.toml:2: not TOML: string values must be quoted"), "{}", syntax.text);
    assert_eq!(checked("none.toml").exit_code, 2);
}

/// A household must not rely on a watch that is not there. Whoever builds one of these takes its line out here.
#[test]
fn what_is_not_built_yet_is_not_promised() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lowtide.toml");
    let text = "[home]\ntimezone = \"Europe/Vienna\"\n[[cat]]\nname = \"pepper\"\n[[person]]\nname = \"owner\"\n\
                ntfy = \"x7k2m9qf4td8wz3h\"\n[notify.ntfy]\nserver = \"https://ntfy.example\"\n\
                reply_topic = \"k3v9p1xw7hq2zr8d\"\n[page]\nlisten = \"127.0.0.1:7412\"\n";
    fs::write(&path, text).unwrap();
    let checked = check(&path, &super::surroundings(), Moment::parse("2026-11-25T18:30:00Z").unwrap());
    assert_eq!(checked.exit_code, 0, "{}", checked.text);
    let part = "[page] listen: found \"127.0.0.1:7412\"; kept for later: this version shows no page yet";
    assert!(checked.text.contains(part), "{part}\n{}", checked.text);
    assert!(checked.text.contains("buttons answer through the topic k3v9p1xw7hq2zr8d"), "{}", checked.text);
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
