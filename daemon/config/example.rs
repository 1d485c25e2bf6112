//! What still stands in a configuration as it stands in the example: numbers of nobody, a plan of no vet. In: the
//! sections. Out: advice. Values that a household may well share with the example (a cat of that name, one limit) are
//! said only where something that can be nobody's own was left as well.

use toml::de::DeTable;

use super::problem::ProblemSeverity;
use super::section::{Section, Sheet, quoted};

/// Keys of one section that belong together, and what to do about them.
struct Part {
    section: &'static str,
    keys: &'static [&'static str],
    when: When,
    want: &'static str,
}

/// From when on the same value means that it was left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum When {
    /// Each by itself.
    Any,
    /// All of them.
    All,
    /// Any, if something else was left too.
    Beside,
}

/// Notes what was left as in the example.
pub(super) fn still(root: &Section<'_>) {
    // Written out there for those who want buttons, and known to everybody all the same.
    let text = EXAMPLE.replace("\n#reply_topic", "\nreply_topic");
    let Ok(table) = DeTable::parse(&text) else { return };
    let sheet = Sheet::new(&text);
    let example = Section::root(&sheet, table.get_ref());
    let (beside, plain): (Vec<&Part>, Vec<&Part>) = PARTS.iter().partition(|part| part.when == When::Beside);
    let mut left = 0;
    for part in plain {
        left += note(root, &example, part);
    }
    for part in beside.into_iter().filter(|_| left > 0) {
        note(root, &example, part);
    }
}

/// Whether a topic stands in the example.
pub(super) fn has_topic(topic: &str) -> bool {
    EXAMPLE.contains(&quoted(topic))
}

/// Notes one part in each of its sections; gives in how many.
fn note(root: &Section<'_>, example: &Section<'_>, part: &Part) -> usize {
    let shown = sections(example, part.section);
    let mut noted = 0;
    for section in sections(root, part.section) {
        let same = |key: &&str| {
            section.has(key) && shown.iter().any(|shown| shown.written(key) == section.written(key))
        };
        let left: Vec<&str> = part.keys.iter().copied().filter(same).collect();
        let (Some(first), true) = (left.first(), part.when != When::All || left.len() == part.keys.len())
        else {
            continue;
        };
        let found = match left.as_slice() {
            [only] => section.written(only),
            several => format!("{} made-up values", several.len()),
        };
        let want = format!("{STILL}{}", part.want);
        section.note_at(section.line_of(first), &left.join(", "), &found, &want, ProblemSeverity::Still);
        noted += 1;
    }
    noted
}

fn sections<'a>(root: &Section<'a>, path: &'static str) -> Vec<Section<'a>> {
    match path {
        "cat" | "person" | "duty" => root.tables(path),
        "cat.plan" => root.tables("cat").iter().map(|cat| cat.table(path)).collect(),
        "notify.ntfy" | "notify.email" => vec![root.table("notify").table(path)],
        _ => vec![root.table(path)],
    }
}

const PARTS: &[Part] = &[
    Part {
        section: "cat.plan",
        keys: &["low", "danger", "meter_low", "high", "hold_dose_under"],
        when: When::All,
        want: ", where the numbers are made up. What now: ask your vet for each",
    },
    Part {
        section: "cat.plan",
        keys: &["on_low", "vet_phone", "out_of_hours_phone", "in_words"],
        when: When::Any,
        want: ", where they are made up: messages and the sitter's sheet would say them at a low. What now: write what \
               your vet says, or take them out",
    },
    Part { section: "person", keys: &["ntfy"], when: When::Any, want: KNOWN_TOPIC },
    Part { section: "notify.ntfy", keys: &["reply_topic"], when: When::Any, want: KNOWN_TOPIC },
    Part {
        section: "person",
        keys: &["email", "phone"],
        when: When::Any,
        want: ", where they reach nobody. What now: write your own, or take them out",
    },
    Part {
        section: "duty",
        keys: &["from", "until"],
        when: When::All,
        want: ": that person would have the cat then, and hear what somebody else should. What now: write your own, or take \
               it out",
    },
    Part {
        section: "home",
        keys: &["timezone"],
        when: When::Beside,
        want: ": doses, duty and quiet hours follow that clock. What now: write where the cat lives",
    },
    Part {
        section: "cat",
        keys: &["name", "called"],
        when: When::Beside,
        want: ". What now: write your cat's",
    },
    Part { section: "person", keys: &["called"], when: When::Beside, want: ". What now: write theirs" },
    Part { section: "notify.ntfy", keys: &["server"], when: When::Beside, want: NO_SERVER },
    Part { section: "notify.email", keys: &["smtp", "from"], when: When::Beside, want: NO_SERVER },
];

const STILL: &str = "still as in the example";
const KNOWN_TOPIC: &str = ", so whoever has read that can listen and send. What now: write 16 random letters and digits of \
                           your own (docs/configuration.md has a line that makes them)";
const NO_SERVER: &str = ", where no such server exists. What now: write yours, or take the section out";

const EXAMPLE: &str = include_str!("../../config/lowtide.example.toml");
