//! The message catalogues, one per language, parsed once.

use std::sync::OnceLock;

use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource};
use unic_langid::LanguageIdentifier;

/// The languages there is a catalogue for.
pub const LANGUAGES: &[&str] = &["en", "de", "fr"];

/// Adding a language is one file and a line here.
const SOURCES: &[(&str, &str)] =
    &[("en", include_str!("en.ftl")), ("de", include_str!("de.ftl")), ("fr", include_str!("fr.ftl"))];

type Bundle = FluentBundle<FluentResource>;

fn load(code: &str, source: &str) -> (Bundle, Vec<String>) {
    let (resource, mut problems) = match FluentResource::try_new(source.to_owned()) {
        Ok(resource) => (resource, Vec::new()),
        Err((resource, errors)) => (resource, errors.iter().map(|e| format!("{code}: {e}")).collect()),
    };
    let language: LanguageIdentifier = code.parse().unwrap_or_default();
    let mut bundle = FluentBundle::new_concurrent(vec![language]);
    // Isolating marks would show as boxes on some phones and break searching in a mailbox.
    bundle.set_use_isolating(false);
    if let Err(errors) = bundle.add_resource(resource) {
        problems.extend(errors.iter().map(|e| format!("{code}: {e}")));
    }
    (bundle, problems)
}

fn bundles() -> &'static Vec<(&'static str, Bundle, Vec<String>)> {
    static BUNDLES: OnceLock<Vec<(&'static str, Bundle, Vec<String>)>> = OnceLock::new();
    BUNDLES.get_or_init(|| {
        SOURCES
            .iter()
            .map(|(code, source)| {
                let (bundle, problems) = load(code, source);
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
    fn outline(source: &str) -> BTreeMap<String, BTreeSet<String>> {
        let resource = fluent_syntax::parser::parse(source).unwrap();
        let mut outline = BTreeMap::new();
        for entry in resource.body {
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
        for (code, source) in &SOURCES[1..] {
            let other = outline(source);
            for (key, values) in &english {
                let found = other.get(key).unwrap_or_else(|| panic!("{code} lacks {key}"));
                assert_eq!(found, values, "{code}: {key} uses other values");
            }
            assert_eq!(other.len(), english.len(), "{code} says more than English");
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
