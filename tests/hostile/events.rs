//! Whatever gets through the doors, as bad as its types allow: the turn takes it without a fault of its own, and no
//! text that goes out carries a control character.

use std::fs;

use lowtide::config::load;
use lowtide::turn::{House, turn};
use lowtide::words::{Event, Household, Message, Moment, minutes};
use proptest::prelude::*;

use crate::mutate::{nasty, rounds};

pub fn household() -> Household {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lowtide.toml");
    fs::write(
        &file,
        "[home]\ntimezone = \"Europe/Vienna\"\n[[cat]]\nname = \"pepper\"\ncalled = \"Pepper\"\n[cat.plan]\nlow = 70\n\
         danger = 50\nhigh = 300\n[cat.doses]\ntimes = [\"07:00\", \"19:00\"]\n[notify.ntfy]\n\
         server = \"https://ntfy.example\"\n[[person]]\nname = \"owner\"\nntfy = \"a-topic\"\n[[person]]\nname = \"sitter\"\n\
         ntfy = \"another-topic\"\ntimezone = \"Pacific/Apia\"\nunits = \"mmol/L\"\nlanguage = \"de\"\n",
    )
    .unwrap();
    load(&file).unwrap().household
}

fn time() -> impl Strategy<Value = String> {
    let odd = [
        "0001-01-01T00:00:00Z",
        "9999-12-31T23:59:59Z",
        "+20000-01-01T00:00:00Z",
        "-0044-03-15T00:00:00Z",
        "1969-12-31T23:59:59.999Z",
        "2026-03-29T01:00:00Z",
        "2038-01-19T03:14:08Z",
    ];
    prop_oneof![
        1 => prop::sample::select(odd.map(str::to_owned).to_vec()),
        4 => (-3000..3000_i64).prop_map(|quarter| (start() + minutes(7.0 * quarter as f64)).to_string()),
    ]
}

fn start() -> Moment {
    Moment::parse("2026-03-28T12:00:00Z").unwrap()
}

fn number() -> impl Strategy<Value = String> {
    let odd = ["0", "-1", "1e308", "-1e308", "5e-324", "0.1", "39.999", "1e15"].map(str::to_owned).to_vec();
    prop_oneof![1 => prop::sample::select(odd), 4 => (20..500_i32).prop_map(|level| level.to_string())]
}

fn value() -> impl Strategy<Value = String> {
    prop_oneof![4 => number(), 1 => Just("\"LO\"".to_owned()), 1 => Just("\"HI\"".to_owned())]
}

fn text() -> impl Strategy<Value = String> {
    nasty().prop_map(|bytes| serde_json::to_string(&String::from_utf8_lossy(&bytes)).unwrap())
}

/// An event as JSON. Not all of them are events: what the types refuse does not get as far as this.
fn event() -> impl Strategy<Value = Option<Event>> {
    let reading = (time(), value()).prop_map(|(at, value)| format!("{{\"t\":\"{at}\",\"v\":{value}}}"));
    let readings = (prop::collection::vec(reading, 0..12), text(), prop::option::of(time())).prop_map(|(rows, source, scan)| {
        let scan = scan.map(|at| format!("\"scanned_at\":\"{at}\",")).unwrap_or_default();
        format!("{{\"what\":\"readings\",\"cat\":\"pepper\",\"via\":\"mqtt\",{scan}\"source\":{source},\"readings\":[{}]}}", rows.join(","))
    });
    let dose = (time(), number(), text()).prop_map(|(at, units, by)| {
        format!(
            "{{\"what\":\"dose\",\"cat\":\"pepper\",\"given_at\":\"{at}\",\"units\":{units},\"by\":{by}}}"
        )
    });
    let meter = (time(), value()).prop_map(|(at, value)| {
        format!("{{\"what\":\"meter\",\"cat\":\"pepper\",\"measured_at\":\"{at}\",\"glucose\":{value},\"meter\":\"pet\"}}")
    });
    let sensor = (time(), "applied|expired|failed|came-off|removed|error|ok").prop_map(|(at, word)| {
        format!("{{\"what\":\"sensor\",\"cat\":\"pepper\",\"at\":\"{at}\",\"event\":\"{word}\"}}")
    });
    let note = (time(), text()).prop_map(|(at, text)| {
        format!("{{\"what\":\"note\",\"cat\":\"pepper\",\"at\":\"{at}\",\"text\":{text}}}")
    });
    let spare = (time(), 0..u32::MAX).prop_map(|(at, count)| {
        format!("{{\"what\":\"spare\",\"cat\":\"pepper\",\"at\":\"{at}\",\"count\":{count}}}")
    });
    let refused = text().prop_map(|why| format!("{{\"what\":\"refused\",\"via\":\"button\",\"why\":{why}}}"));
    let health = (text(), text()).prop_map(|(about, why)| {
        format!(
            "{{\"what\":\"health\",\"watch\":\"file-rejected\",\"about\":{about},\"trouble\":{{\"key\":\"file-rejected\",\
             \"args\":{{\"file\":{{\"text\":{about}}},\"reason\":{{\"text\":{why}}}}}}}}}"
        )
    });
    let other = prop::sample::select(
        ["{\"what\":\"tick\"}", "{\"what\":\"bridge\",\"cat\":\"pepper\",\"online\":false}",
         "{\"what\":\"answer\",\"person\":\"owner\",\"via\":\"mqtt\",\"verdict\":\"taken\"}",
         "{\"what\":\"answer\",\"person\":\"nobody\",\"via\":\"button\",\"finding\":\"pepper/low-now/0\",\"verdict\":\"later\"}",
         "{\"what\":\"outcome\",\"parcel\":{\"message\":\"x\",\"channel\":{\"kind\":\"ntfy\",\"address\":\"a-topic\"},\"attempt\":1},\"outcome\":{\"ended\":\"refused\",\"why\":\"no\"}}"]
        .map(str::to_owned).to_vec(),
    );
    prop_oneof![6 => readings, 1 => dose, 1 => meter, 1 => sensor, 1 => note, 1 => spare, 1 => refused, 1 => health, 2 => other]
        .prop_map(|json| serde_json::from_str(&json).ok())
}

fn harmless(message: &Message) -> Result<(), TestCaseError> {
    prop_assert!(!message.title.chars().any(char::is_control), "title {:?}", message.title);
    prop_assert!(!message.text.chars().any(|c| c.is_control() && c != '\n'), "text {:?}", message.text);
    prop_assert!(
        message.title.len() < 1000 && message.text.len() < 20_000,
        "{} {}",
        message.title.len(),
        message.text.len()
    );
    Ok(())
}

proptest! {
    #![proptest_config(rounds(250))]
    #[test]
    fn no_event_makes_the_house_stumble(events in prop::collection::vec((event(), 0.0..90.0_f64), 1..30)) {
        let mut house = House::default();
        let settings = Event::Household { program: "test".to_owned(), household: Box::new(household()) };
        let mut now = start();
        turn(&mut house, &settings, now);
        for (event, wait) in events.into_iter() {
            let Some(event) = event else { continue };
            now = now + minutes(wait);
            let turned = turn(&mut house, &event, now);
            turned.said.messages.iter().try_for_each(harmless)?;
            prop_assert!(turned.wake.is_none_or(|wake| wake > now), "{:?} is not after {now}", turned.wake);
            // It goes into the record and comes back.
            let text = serde_json::to_string(&house).unwrap();
            prop_assert!(serde_json::from_str::<House>(&text).is_ok_and(|back| back == house), "after {event:?}");
        }
    }
}

#[test]
fn the_events_here_are_events() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let strategy = event();
    let count = (0..400).filter(|_| strategy.new_tree(&mut runner).unwrap().current().is_some()).count();
    assert!(count > 250, "only {count} of 400 get as far as the turn");
}
