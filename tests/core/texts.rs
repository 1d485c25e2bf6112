//! Every text a person may get: whole, short, without keys, holes, codes or values where they do not belong.

use std::fs;
use std::path::Path;

use lowtide::tell::{LANGUAGES, Reader, plain, what};
use lowtide::words::{AnswerWays, Arg, Change, Household, Message, Moment, Telling, minutes};

use crate::household::{at, household, streaming};
use crate::world::World;

fn catalogue() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("daemon/tell");
    ["en.ftl", "paper.en.ftl"].map(|name| fs::read_to_string(root.join(name)).unwrap()).concat()
}

fn keys() -> Vec<String> {
    let text = catalogue();
    let starts = |line: &&str| line.starts_with(|c: char| c.is_ascii_lowercase());
    text.lines()
        .filter(starts)
        .filter_map(|line| line.split_once(" ="))
        .map(|(key, _)| key.to_owned())
        .collect()
}

/// Fails if a message leaks a key or a hole, puts a value into its title, or is too long for a push server.
pub(crate) fn check(message: &Message) {
    let whole = format!("{}\n{}\n{}", message.title, message.text, message.more.join("\n"));
    assert!(!whole.contains(['{', '}', '$']), "a hole: {whole}");
    for key in keys().iter().filter(|key| key.contains('-')) {
        let leaked = whole.split(|c: char| !c.is_alphanumeric() && c != '-').any(|word| word == key);
        assert!(!leaked, "the key {key} leaks: {whole}");
    }
    for code in
        ['\u{2190}', '\u{2191}', '\u{2192}', '\u{2193}', '\u{2197}', '\u{2198}', '\u{21d1}', '\u{21d3}']
    {
        assert!(!whole.contains(code), "an arrow: {whole}");
    }
    assert!(!whole.contains("  ") && !whole.contains(" .") && !whole.contains(" ,"), "odd blanks: {whole}");
    // 4,095 bytes: above that, a push server makes a file of the text (server documentation of ntfy, "limitations").
    assert!(message.text.len() <= 4095, "{} bytes", message.text.len());
    assert!(!message.title.is_empty() && !message.text.is_empty());
    assert!(message.title.chars().count() <= 100, "{}", message.title);
    let glucose = ["mg/dL", "mmol/L", " in 10", "range"];
    assert!(
        glucose.iter().all(|word| !message.title.contains(word)),
        "a value in the title: {}",
        message.title
    );
    assert!(message.more.iter().any(|line| line.contains("not a medical device")), "{:?}", message.more);
}

/// Fails if what happened cannot be read in the first 150 characters, which is what a lock screen shows.
pub(crate) fn check_change(change: &Change, household: &Household, now: Moment) {
    for person in &household.persons {
        for language in LANGUAGES {
            let reader = Reader { language, ..Reader::person(person, household, now) };
            for telling in change.over.iter().chain([&change.finding.telling]) {
                let text = what(&reader, telling);
                assert!(!text.contains(['{', '}', '$']), "a hole in {language}: {text}");
                whole(&text, telling);
            }
        }
    }
}

fn whole(text: &str, telling: &Telling) {
    // Words from outside (a file's name, a server's answer) may be longer; what is ours may not.
    let foreign = [
        "file-rejected",
        "files-rejected",
        "message-rejected",
        "messages-rejected",
        "value-conflict",
        "source-refused",
        "source-folder",
        "delivery-failing",
        "database-error",
        "record-fails",
    ];
    if !foreign.contains(&telling.key.as_str()) {
        assert!(text.chars().count() <= 150, "{} characters: {text}", text.chars().count());
    }
    assert!(text.ends_with(['.', '!', '?']), "no end: {text}");
}

/// The literals in a source that can only be keys of the catalogue.
fn named_keys(source: &str) -> Vec<String> {
    let source = source.split("#[cfg(test)]").next().unwrap();
    let mut found = Vec::new();
    for call in ["telling(\"", "Telling::new(\"", "Word(\"", "phrase(\"", "word(\"", "common(\"", "say(\""] {
        for (at, _) in source.match_indices(call) {
            found.push(source[at + call.len()..].split('"').next().unwrap().to_owned());
        }
    }
    found
}

#[test]
fn every_key_that_the_rules_name_is_in_the_catalogue() {
    let known = keys();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("daemon");
    let mut looked = 0;
    for folder in ["watch", "watch/rules", "duty", "tell", "report", "."] {
        for entry in fs::read_dir(root.join(folder)).unwrap().map(|entry| entry.unwrap().path()) {
            if entry.extension().is_none_or(|end| end != "rs") {
                continue;
            }
            for key in named_keys(&fs::read_to_string(&entry).unwrap()) {
                assert!(known.contains(&key), "{key} in {} is not in en.ftl", entry.display());
                looked += 1;
            }
        }
    }
    assert!(looked > 60, "only {looked} keys were seen");
}

#[test]
fn no_key_stands_twice_and_titles_are_one_short_line() {
    let mut all = keys();
    let count = all.len();
    all.sort();
    all.dedup();
    assert_eq!(all.len(), count);
    for title in catalogue().lines().filter_map(|line| line.trim().strip_prefix(".title = ")) {
        assert!(title.len() < 80, "{title}");
        let values = ["$blood", "$value", "$check }", "$nadir", "$trend", "$chance", "$low", "$hold"];
        assert!(values.iter().all(|value| !title.contains(value)), "{title}");
    }
}

/// A record of an earlier version does not say where a file lies.
#[test]
fn a_file_that_could_not_be_read_is_told_with_its_place_if_that_is_known() {
    let settings = household();
    for language in LANGUAGES {
        let reader = Reader { language, ..Reader::home(&settings, at("2026-06-10T06:00:00Z")) };
        let text = |name: &str| Arg::Text(name.to_owned());
        for key in ["file-rejected", "files-rejected"] {
            let old = Telling::new(key)
                .with("file", text("scan.csv"))
                .with("rows", Arg::Count(2))
                .with("count", Arg::Count(50))
                .with("reason", text("no time in it"));
            let said = plain(&reader, &old);
            assert!(said.contains("rejected") && !said.contains(['{', '$']), "{said}");
            let asks = plain(&reader, &old.clone().with("reason", text("was it cut off?")));
            assert!(asks.contains("was it cut off? ") && !asks.contains("?."), "{asks}");
            for (seen, place) in
                [("aside", "/srv/rejected/scan.csv.reason.txt"), ("inbox", "/srv/inbox/scan.csv")]
            {
                let said = plain(&reader, &old.clone().with("seen", text(seen)).with("place", text(place)));
                assert!(said.contains(place) && !said.contains(['{', '$']), "{said}");
            }
        }
    }
}

/// A lock screen shows the first words, some 25 characters: what is the matter. The cat comes after it.
#[test]
fn titles_begin_with_the_matter_and_what_is_urgent_fits_a_lock_screen() {
    let urgent = ["low-now", "low-now-danger", "low-now-below-range", "low-now-meter", "low-now-meter-said"];
    let urgent = urgent.into_iter().chain(["dose-twice", "dose-stop", "dose-due-hold", "before-dose-hold"]);
    let urgent: Vec<&str> = urgent.collect();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("daemon/tell");
    for language in LANGUAGES {
        let text = fs::read_to_string(root.join(format!("{language}.ftl"))).unwrap();
        let (mut key, mut seen) = (String::new(), 0);
        for line in text.lines() {
            if let Some(name) = line.strip_suffix(" =") {
                name.clone_into(&mut key);
            }
            let Some(title) = line.trim().strip_prefix(".title = ") else { continue };
            let Some((matter, of)) = title.rsplit_once(": ") else { continue };
            assert!(["{ $cat }", "Lowtide"].contains(&of), "{language}: {title}");
            assert!(!matter.contains("$cat") && !matter.contains("Lowtide"), "{language}: {title}");
            // "Bas, plus dangereux" says "more dangerous" just as well as "no longer".
            assert!(*language != "fr" || !matter.contains(", plus "), "{title}");
            if urgent.contains(&key.as_str()) {
                assert!(matter.trim_end().chars().count() <= 25, "{language}: {title}");
                seen += 1;
            }
        }
        assert_eq!(seen, urgent.len(), "{language}");
    }
}

#[test]
fn where_the_plan_says_not_to_inject_the_title_sends_to_the_vet() {
    let settings = household();
    for (language, vet) in [("en", "vet"), ("de", "Praxis"), ("fr", "Vétérinaire")] {
        let reader = Reader { language, ..Reader::home(&settings, at("2026-06-10T06:00:00Z")) };
        for key in ["before-dose-hold", "dose-due-hold"] {
            let title =
                lowtide::tell::title(&reader, &Telling::new(key).with("cat", Arg::Text("Pepper".into())));
            assert!(title.contains(vet), "{title}");
        }
    }
}

/// What a low says to Olive, who has a push channel and a mailbox.
fn told(private: bool, answers: AnswerWays, language: &str) -> Message {
    let mut settings = household();
    settings.persons[0].private = private;
    settings.persons[0].language = language.into();
    settings.home.answers = answers;
    let mut world = World::new(settings, at("2026-06-10T06:00:00Z"));
    world.scan_back(120.0, |since| 60.0 - since * 0.5);
    world.pass(2.0);
    assert!(world.now > at("2026-06-10T06:00:00Z") + minutes(1.0));
    world.last("olive").clone()
}

#[test]
fn a_mail_names_the_ways_to_answer_that_there_are() {
    let none = told(false, AnswerWays::default(), "en").ways.unwrap();
    assert_eq!(none, "To answer: \"lowtide log answer taken --person olive\" on Lowtide's computer.");
    let all = AnswerWays { buttons: true, mqtt: Some("house".into()) };
    for (language, parts) in [
        ("en", ["a button of the push message", "house/in/pepper/answer over MQTT", "--person olive"]),
        ("de", ["mit einem Knopf der Push-Nachricht", "house/in/pepper/answer über MQTT", "--person olive"]),
        ("fr", ["un bouton de la notification", "house/in/pepper/answer par MQTT", "--person olive"]),
    ] {
        let ways = told(false, all.clone(), language).ways.unwrap();
        assert!(parts.iter().all(|part| ways.contains(part)), "{ways}");
        assert!(!ways.contains('\n') && !ways.contains(['{', '}', '$']), "{ways}");
    }
}

/// The command must be one that the command line takes: its words are those of the answers in files.
#[test]
fn every_answer_has_the_word_that_files_have() {
    use lowtide::words::Verdict;
    for verdict in [
        Verdict::Taken,
        Verdict::SensorFine,
        Verdict::Later,
        Verdict::Given,
        Verdict::NotGiven,
        Verdict::GivenToo,
        Verdict::MeterLow,
        Verdict::MeterFine,
    ] {
        assert_eq!(serde_json::to_value(verdict).unwrap(), verdict.word());
    }
}

#[test]
fn a_private_message_names_the_ways_to_answer_and_no_value() {
    for language in LANGUAGES {
        let message = told(true, AnswerWays { buttons: true, mqtt: Some("house".into()) }, language);
        let shown = format!("{} {} {}", message.title, message.text, message.ways.unwrap());
        assert!(shown.contains("--person olive"), "{shown}");
        assert!(!shown.contains(|c: char| c.is_ascii_digit()), "a value: {shown}");
        assert!(!shown.contains("mg/dL") && !shown.contains("honey"), "{shown}");
    }
}

#[test]
fn a_message_that_is_said_again_says_how_old_its_reading_is_by_then() {
    let mut world = World::new(streaming(), at("2026-06-10T10:00:00Z"));
    world.stream_levels(&[100.0, 80.0, 62.0, 46.0]);
    world.pass(100.0);
    let ages: Vec<String> = world
        .heard("olive")
        .iter()
        .filter(|heard| heard.message.text.contains("The last reading is"))
        .map(|heard| heard.message.text.split(" old").next().unwrap().to_owned())
        .collect();
    assert!(ages.len() >= 4, "{}", world.story());
    for two in ages.windows(2) {
        assert_ne!(two[0], two[1], "{}", world.story());
    }
}
