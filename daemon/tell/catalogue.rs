//! The message catalogues, one per language, parsed once.

use std::sync::OnceLock;

use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource};
use unic_langid::LanguageIdentifier;

/// The languages there is a catalogue for.
pub const LANGUAGES: &[&str] = &["en", "de", "fr"];

/// Adding a language is two files (messages, paper) and a line here.
const SOURCES: &[(&str, &[&str])] = &[
    ("en", &[include_str!("en.ftl"), include_str!("paper.en.ftl")]),
    ("de", &[include_str!("de.ftl"), include_str!("paper.de.ftl")]),
    ("fr", &[include_str!("fr.ftl"), include_str!("paper.fr.ftl")]),
];

type Bundle = FluentBundle<FluentResource>;

fn load(code: &str, sources: &[&str]) -> (Bundle, Vec<String>) {
    let mut problems = Vec::new();
    let language: LanguageIdentifier = code.parse().unwrap_or_default();
    let mut bundle = FluentBundle::new_concurrent(vec![language]);
    // Isolating marks would show as boxes on some phones and break searching in a mailbox.
    bundle.set_use_isolating(false);
    for source in sources {
        let resource = FluentResource::try_new((*source).to_owned()).unwrap_or_else(|(resource, errors)| {
            problems.extend(errors.iter().map(|e| format!("{code}: {e}")));
            resource
        });
        if let Err(errors) = bundle.add_resource(resource) {
            problems.extend(errors.iter().map(|e| format!("{code}: {e}")));
        }
    }
    (bundle, problems)
}

fn bundles() -> &'static Vec<(&'static str, Bundle, Vec<String>)> {
    static BUNDLES: OnceLock<Vec<(&'static str, Bundle, Vec<String>)>> = OnceLock::new();
    BUNDLES.get_or_init(|| {
        SOURCES
            .iter()
            .map(|(code, sources)| {
                let (bundle, problems) = load(code, sources);
                (*code, bundle, problems)
            })
            .collect()
    })
}

/// What is wrong with the catalogues themselves; empty if they are sound.
#[must_use]
pub fn problems() -> Vec<String> {
    bundles().iter().flat_map(|(_, _, problems)| problems.iter().cloned()).collect()
}

fn bundle(language: &str) -> &'static Bundle {
    let all = bundles();
    let wanted = language.split('-').next().unwrap_or(language);
    // English is always there: SOURCES names it first.
    &all.iter().find(|(code, _, _)| *code == wanted).unwrap_or(&all[0]).1
}

/// The text of `key` (`attribute` of it, if given) in `language`; `None` if the catalogue has none.
///
/// A language without a catalogue is told in English. A value that is missing shows as its name in braces: an
/// alarm with a hole in it is better than none.
pub(super) fn phrase(
    language: &str,
    key: &str,
    attribute: Option<&str>,
    args: &FluentArgs<'_>,
) -> Option<String> {
    let bundle = bundle(language);
    let message = bundle.get_message(key)?;
    let pattern = match attribute {
        Some(name) => message.get_attribute(name)?.value(),
        None => message.value()?,
    };
    let mut errors = Vec::new();
    Some(bundle.format_pattern(pattern, Some(args), &mut errors).into_owned())
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use super::*;

    #[test]
    fn the_catalogues_parse_without_a_problem() {
        assert_eq!(problems(), Vec::<String>::new());
    }

    /// What a catalogue says, by message and attribute: the names of the values in it.
    fn outline(sources: &[&str]) -> BTreeMap<String, BTreeSet<String>> {
        let mut outline = BTreeMap::new();
        for entry in sources.iter().flat_map(|s| fluent_syntax::parser::parse(*s).unwrap().body) {
            let fluent_syntax::ast::Entry::Message(message) = entry else { continue };
            let mut parts: Vec<(String, String)> =
                message.value.iter().map(|value| (String::new(), format!("{value:?}"))).collect();
            parts.extend(message.attributes.iter().map(|a| (a.id.name.to_owned(), format!("{:?}", a.value))));
            for (part, shown) in parts {
                let named = shown.split("VariableReference { id: Identifier { name: \"").skip(1);
                let names = named.filter_map(|rest| rest.split('"').next()).map(str::to_owned).collect();
                outline.insert(format!("{}.{part}", message.id.name), names);
            }
        }
        outline
    }

    #[test]
    fn every_language_says_the_same_things_with_the_same_values() {
        let english = outline(SOURCES[0].1);
        assert!(english.len() > 100 && english["taken.what"].contains("person"));
        for (code, sources) in &SOURCES[1..] {
            let other = outline(sources);
            for (key, values) in &english {
                let found = other.get(key).unwrap_or_else(|| panic!("{code} lacks {key}"));
                assert_eq!(found, values, "{code}: {key} uses other values");
            }
            assert_eq!(other.len(), english.len(), "{code} says more than English");
        }
    }

    /// The categories of whole numbers: Unicode CLDR 45, "Language Plural Rules", cardinal; from memory. French has
    /// `many` too, for a million and the like, which no count here reaches.
    const PLURALS: &[(&str, &[&str])] =
        &[("en", &["one", "other"]), ("de", &["one", "other"]), ("fr", &["one", "other"])];

    /// The names of the variants of every choice in a catalogue that is made by a number, by key.
    fn choices(sources: &[&str]) -> Vec<(String, Vec<String>)> {
        let mut found = Vec::new();
        for source in sources {
            let mut key = String::new();
            let mut open: Option<Vec<String>> = None;
            for line in source.lines() {
                if let Some((name, _)) = line.split_once(" =").filter(|_| !line.starts_with([' ', '#'])) {
                    name.clone_into(&mut key);
                }
                let variant = line.trim().trim_start_matches('*').strip_prefix('[');
                match (variant.and_then(|rest| rest.split_once(']')), &mut open) {
                    (Some((name, _)), Some(names)) => names.push(name.to_owned()),
                    // What is seen is chosen by a word; anything else by a number.
                    _ if line.ends_with("->") && !line.contains("$seen") => open = Some(Vec::new()),
                    _ if line.trim_start().starts_with('}') => {
                        found.extend(open.take().map(|names| (key.clone(), names)));
                    }
                    _ => {}
                }
            }
        }
        found
    }

    #[test]
    fn plural_forms_are_those_that_the_language_has() {
        for (code, sources) in SOURCES {
            let (_, categories) = PLURALS
                .iter()
                .find(|(known, _)| known == code)
                .unwrap_or_else(|| panic!("{code}: add the categories that CLDR gives for it to PLURALS"));
            let choices = choices(sources);
            assert!(choices.len() >= 9, "{code}: only {} choices were seen", choices.len());
            for (key, names) in choices {
                let plain: Vec<&str> =
                    names.iter().map(String::as_str).filter(|name| name.parse::<i64>().is_err()).collect();
                assert_eq!(plain, *categories, "{code}: {key}");
            }
        }
    }

    /// CLDR: in French 0 and 1 are `one`; in English and German only 1 is. So a French `one` must name its number.
    #[test]
    fn none_one_and_many_read_right_in_each_language() {
        let say = |code: &str, count: i64| {
            let mut args = FluentArgs::new();
            args.set("count", count);
            phrase(code, "span-days", None, &args).unwrap()
        };
        for (code, none, one, two) in [
            ("en", "0 days", "1 day", "2 days"),
            ("de", "0 Tage", "1 Tag", "2 Tage"),
            ("fr", "0 jour", "1 jour", "2 jours"),
        ] {
            assert_eq!((say(code, 0), say(code, 1), say(code, 2)), (none.into(), one.into(), two.into()));
        }
        let french = outline(SOURCES[2].1);
        assert!(french.len() > 100);
        for line in SOURCES[2].1.iter().flat_map(|source| source.lines()) {
            if let Some(text) = line.trim().strip_prefix("[one]") {
                assert!(text.contains("{ $"), "a French 'one' is also none: {text}");
            }
        }
    }

    #[test]
    fn a_language_without_a_catalogue_is_told_in_english() {
        let args = FluentArgs::new();
        assert_eq!(phrase("xx", "critical", None, &args).as_deref(), Some("critical"));
        assert_eq!(phrase("en-GB", "critical", None, &args).as_deref(), Some("critical"));
        assert_eq!(phrase("en", "no-such-key", None, &args), None);
    }
}
