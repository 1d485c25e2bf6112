//! Configurations that are sound, and what becomes of them.

use std::fs;
use std::path::Path;

use lowtide::config::{Config, KEYS, Surroundings, examine, heading, load};
use lowtide::words::{ChannelKind, SensorKind, Severity, Unit};

/// The settings of a text, which must be sound.
pub(crate) fn settings(text: &str) -> Config {
    settings_in(text, &super::surroundings())
}

fn settings_in(text: &str, surroundings: &Surroundings) -> Config {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lowtide.toml");
    fs::write(&path, text).unwrap();
    let examined = examine(&path, surroundings).unwrap();
    let said: Vec<String> = examined.problems.iter().map(|problem| problem.shown(Path::new("t"))).collect();
    assert!(examined.is_sound(), "{said:#?}");
    examined.config.unwrap()
}

/// A cat, a person and a channel.
const LEAST: &str = r#"
[[cat]]
name = "pepper"
[[person]]
name = "owner"
ntfy = "x7k2m9qf4td8wz3h"
[notify.ntfy]
server = "https://ntfy.example"
"#;

#[test]
fn a_cat_a_person_and_a_channel_are_enough() {
    let config = settings(LEAST);
    let home = &config.household;
    assert_eq!(home.home.timezone, chrono_tz::Europe::Vienna);
    assert_eq!(home.home.owner.as_str(), "owner");
    let cat = &home.cats[0];
    assert_eq!(
        (cat.called.as_str(), cat.units, cat.sensor.kind),
        ("Pepper", Unit::MgDl, SensorKind::Scanned)
    );
    assert_eq!((cat.plan.low, cat.plan.danger, cat.plan.meter_low), (70.0, 50.0, 60.0));
    assert_eq!((cat.sensor.lag_minutes, cat.doses.min_hours_between), (10.0, 8.0));
    let person = &home.persons[0];
    assert_eq!(person.channels[0].kind, ChannelKind::Ntfy);
    assert_eq!((person.receives, person.meter, person.private), (Severity::Notice, true, false));
    let advice: Vec<&str> = config.advice.iter().map(|advice| advice.key.as_str()).collect();
    assert_eq!(
        advice,
        ["[home] timezone", "[[cat]] plan"],
        "the borrowed zone and the missing plan are said"
    );
}

#[test]
fn relative_paths_are_beside_the_file_and_absolute_ones_stay() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lowtide.toml");
    fs::write(&path, format!("[home]\ntimezone = \"Europe/Vienna\"\ndata = \"memory\"\n{LEAST}")).unwrap();
    assert_eq!(load(&path).unwrap().data, folder.path().join("memory"));
    fs::write(&path, format!("[home]\ntimezone = \"Europe/Vienna\"\ndata = \"/srv/tide\"\n{LEAST}")).unwrap();
    assert_eq!(load(&path).unwrap().data, Path::new("/srv/tide"));
}

/// A message about a file is read on a phone, far from the folder in which the program was started.
#[test]
fn the_folders_of_files_are_whole_however_the_configuration_is_named() {
    let named = Path::new("config/lowtide.example.toml");
    let folder = examine(named, &super::surroundings()).unwrap().config.unwrap().folder.unwrap();
    assert_eq!(folder.path, super::here("config/inbox"));
    assert_eq!(folder.rejected, super::here("config/rejected"));
    let now = lowtide::words::Moment::parse("2026-11-25T18:30:00Z").unwrap();
    let said = lowtide::config::check(named, &super::surroundings(), now).text;
    for part in ["Everything is kept in", "Files in", "What cannot be read goes to"] {
        let whole = format!("{part} {}/", super::here("config").display());
        assert!(said.contains(&whole), "{whole}\n{said}");
    }
}

/// 3.9 mmol/L is printed beside 70 mg/dL, and 3.0 beside 54, in the consensus on time in range (Battelino et al.,
/// Diabetes Care 2019;42:1593-1603); within the rounding of one decimal they must come out the same.
#[test]
fn a_plan_in_millimoles_becomes_milligrams() {
    let text = format!(
        "[home]\nunits = \"mmol/L\"\n{LEAST}\n[[cat]]\nname = \"mint\"\n[cat.plan]\nlow = 3.9\ndanger = 3.0\nhigh = 16.7\n\
         [cat.watch]\nfalling_rate = -0.111\n[cat.sensor]\nrange = [2.2, 27.8]"
    );
    let config = settings(&text);
    let cat = &config.household.cats[1];
    assert_eq!((cat.plan.low.round(), cat.plan.danger.round()), (70.0, 54.0));
    assert_eq!(cat.plan.high.map(f64::round), Some(301.0));
    assert!((cat.watch.falling_rate + 2.0).abs() < 0.001, "{}", cat.watch.falling_rate);
    assert_eq!(cat.sensor.range.map(f64::round), [40.0, 501.0]);
    assert_eq!(config.household.cats[0].watch.falling_rate, -2.0, "a default is in mg/dL whatever the unit");
}

#[test]
fn what_a_person_leaves_out_is_taken_from_home() {
    let text = format!(
        "[home]\ntimezone = \"Europe/Vienna\"\nunits = \"mmol/L\"\nowner = \"owner\"\n{LEAST}\n[[person]]\nname = \"sitter\"\n\
         called = \"Sam\"\nntfy = \"q9w8e7r6t5z4u3i2\"\ntimezone = \"Asia/Tokyo\"\nunits = \"mg/dL\"\nquiet = \"22:30-06:30\"\n\
         receives = \"warning\"\nprivate = true\nwake_for_warnings = true\n"
    );
    let people = settings(&text).household.persons;
    assert_eq!((people[0].units, people[0].timezone), (Unit::MmolL, chrono_tz::Europe::Vienna));
    let sitter = &people[1];
    assert_eq!((sitter.units, sitter.timezone), (Unit::MgDl, chrono_tz::Asia::Tokyo));
    assert_eq!((sitter.called.as_str(), sitter.receives), ("Sam", Severity::Warning));
    assert!(
        sitter.private && sitter.wake_for_warnings && !sitter.meter,
        "only the owner can do a meter check unasked"
    );
    assert_eq!(sitter.quiet.unwrap().until.to_string(), "06:30:00");
}

#[test]
fn duty_is_on_the_clock_of_the_house_and_in_order() {
    let text = format!(
        "[home]\ntimezone = \"Europe/Vienna\"\n{LEAST}\n[[person]]\nname = \"sitter\"\nntfy = \"q9w8e7r6t5z4u3i2\"\n\
         [[duty]]\nperson = \"owner\"\nfrom = \"2027-01-03T12:00\"\nuntil = 2027-01-10T12:00:00\n\
         [[duty]]\nperson = \"sitter\"\nfrom = \"2026-12-20T18:00\"\nuntil = \"2027-01-03T12:00:00+01:00\"\n"
    );
    let config = settings(&text);
    let spans: Vec<String> = config
        .household
        .duty
        .iter()
        .map(|span| format!("{} {} {}", span.person, span.from, span.until))
        .collect();
    assert_eq!(
        spans,
        [
            "sitter 2026-12-20T17:00:00Z 2027-01-03T11:00:00Z",
            "owner 2027-01-03T11:00:00Z 2027-01-10T11:00:00Z"
        ]
    );
}

/// The least that works, as the documentation shows it.
#[test]
fn the_least_example_of_the_documentation_is_sound() {
    let page = fs::read_to_string(super::here("docs/configuration.md")).unwrap();
    let block = page.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    let config = settings(block);
    assert_eq!(config.household.cats.len(), 1);
    let advice: Vec<&str> = config.advice.iter().map(|advice| advice.key.as_str()).collect();
    let asked = ["[[cat]] name", "[[cat]] plan", "[[person]] ntfy", "[notify.ntfy] server"];
    assert!(asked.iter().all(|key| advice.contains(key)), "what is one's own is asked for: {advice:?}");
}

#[test]
fn the_example_is_sound_and_asks_only_for_what_is_ones_own() {
    let examined = examine(&super::here("config/lowtide.example.toml"), &super::surroundings()).unwrap();
    let keys: Vec<&str> = examined.problems.iter().map(|problem| problem.key.as_str()).collect();
    assert!(examined.is_sound(), "{keys:?}");
    assert!(examined.problems.iter().all(|problem| problem.want.starts_with("still as in the example")));
    assert_eq!(keys.len(), 12, "each part once: {keys:?}");
}

/// A cat called Pepper in Vienna, whose sitter is called Sam: nothing of that was left, it is theirs.
#[test]
fn what_a_household_happens_to_share_with_the_example_is_not_called_left() {
    let config = settings(&format!(
        "[home]\ntimezone = \"Europe/Vienna\"\n{LEAST}\n[[person]]\nname = \"sitter\"\ncalled = \"Sam\"\n\
         ntfy = \"q9w8e7r6t5z4u3i2\"\n"
    ));
    let advice: Vec<&str> = config.advice.iter().map(|advice| advice.key.as_str()).collect();
    assert_eq!(advice, ["[[cat]] plan"]);
}

/// Lines that begin with `#` and no space are settings; with the `#` taken off they must be right as well, and
/// where they show the usual value, nothing may change.
#[test]
fn every_setting_that_the_example_leaves_out_is_right_too() {
    let folder = tempfile::tempdir().unwrap();
    let example = fs::read_to_string(super::here("config/lowtide.example.toml")).unwrap();
    let is_setting = |line: &str| {
        line.starts_with('#') && line[1..].starts_with(|c: char| c.is_ascii_lowercase() || c == '[')
    };
    let whole: Vec<&str> = example
        .lines()
        .map(|line| if is_setting(line) { &line[1..] } else { line })
        .filter(|line| !line.starts_with("ca_file") && !line.starts_with("username"))
        .collect();
    fs::create_dir(folder.path().join("secret")).unwrap();
    for (name, text) in [
        ("mqtt-password", "a"),
        ("ntfy-token", "b"),
        ("heartbeat-url", "https://alive.example/x\n"),
        ("page-password", "sixteen letters!\n"),
    ] {
        fs::write(folder.path().join("secret").join(name), text).unwrap();
    }
    let whole = whole
        .join("\n")
        .replace("password_file = \"secret/mail-password\"", "")
        .replace("password_file = \"secret/mqtt-password\"", "");
    let path = folder.path().join("lowtide.toml");
    fs::write(&path, whole).unwrap();
    let examined = examine(&path, &super::surroundings()).unwrap();
    let errors: Vec<String> = examined
        .problems
        .iter()
        .filter(|problem| problem.is_error())
        .map(|problem| problem.shown(&path))
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
    let usual =
        examine(&super::here("config/lowtide.example.toml"), &super::surroundings()).unwrap().config.unwrap();
    let mut whole = examined.config.unwrap();
    // Follows from the reply topic, which the example leaves out.
    assert!(std::mem::take(&mut whole.household.home.answers.buttons));
    // A second duty is shown, not usual.
    let rounds = std::mem::take(&mut whole.household.rounds);
    assert_eq!((rounds.len(), rounds[0].hand_over), (1, false));
    assert_eq!(whole.household, usual.household);
    assert_eq!((whole.layouts.len(), usual.layouts.len()), (1, 0));
    assert_eq!(whole.folder.unwrap().rescan, usual.folder.unwrap().rescan);
    assert_eq!(whole.ntfy.unwrap().token.unwrap().expose(), "b");
    let (broker, usual_broker) = (whole.mqtt.unwrap(), usual.mqtt.unwrap());
    assert_eq!((&broker.prefix, &broker.client_id), (&usual_broker.prefix, &usual_broker.client_id));
    assert_eq!(whole.heartbeat_url.unwrap().expose(), "https://alive.example/x");
}

#[test]
fn every_key_is_explained_and_shown() {
    let page = fs::read_to_string(super::here("docs/configuration.md")).unwrap();
    let example = fs::read_to_string(super::here("config/lowtide.example.toml")).unwrap();
    let sections: Vec<&str> = KEYS.iter().map(|(path, _)| *path).collect();
    let mut lacking = Vec::new();
    for (path, keys) in KEYS.iter().filter(|(path, _)| !["", "intake", "notify"].contains(path)) {
        let heading = heading(path);
        let Some(explained) = part(&page, &format!("# {heading}\n"), "\n#") else {
            lacking.push(format!("{heading} in the documentation"));
            continue;
        };
        let shown = part(&example, &format!("\n{heading}"), "\n[");
        let shown = shown.or_else(|| part(&example, &format!("\n#{heading}"), "\n[")).unwrap_or_default();
        for key in keys.iter().filter(|key| !sections.contains(&format!("{path}.{key}").as_str())) {
            if !explained.contains(&format!("`{key}`")) {
                lacking.push(format!("{heading} {key} in the documentation"));
            }
            let ending = key.rsplit('_').next().unwrap();
            let mentioned = shown.contains(key)
                || ["env", "credential"].contains(&ending) && shown.contains(&format!("_{ending}"));
            if !mentioned {
                lacking.push(format!("{heading} {key} in the example"));
            }
        }
    }
    assert!(lacking.is_empty(), "{lacking:#?}");
}

/// The text after `start` up to the next `end`.
fn part<'t>(text: &'t str, start: &str, end: &str) -> Option<&'t str> {
    let after = &text[text.find(start)? + start.len()..];
    Some(&after[..after.find(end).unwrap_or(after.len())])
}
