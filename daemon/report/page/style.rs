//! How the page looks: one column of text, large enough for a tired eye, on a phone, in a dark room, on paper.

/// The style of every page, served as `/page.css`.
pub const PAGE_STYLE: &str = "\
:root { color-scheme: light dark; --ink: #111; --paper: #fff; --faint: #555; --line: #767676; --act: #8f0000; --soon: #6b4a00; --field: #fff; }
@media screen and (prefers-color-scheme: dark) {
  :root { --ink: #e6e6e6; --paper: #121212; --faint: #b0b0b0; --line: #8a8a8a; --act: #ff9a8f; --soon: #f0c674; --field: #1d1d1d; }
  svg { filter: invert(0.9); }
}
* { box-sizing: border-box; }
html { background: var(--paper); color: var(--ink); }
body { font: 1.0625rem/1.45 sans-serif; margin: 0; }
main { max-width: 40rem; margin: 0 auto; padding: .75rem 1rem 3rem; }
h1 { font-size: 1.35rem; line-height: 1.2; margin: .25rem 0 .75rem; overflow-wrap: anywhere; }
h2 { font-size: 1.2rem; line-height: 1.25; margin: 1.75rem 0 .4rem; overflow-wrap: anywhere; }
h3 { font-size: 1.0625rem; margin: 1.25rem 0 .3rem; }
p { margin: .4rem 0; white-space: pre-line; overflow-wrap: anywhere; }
ul { margin: .3rem 0; padding-left: 1.2rem; }
li { margin: .25rem 0; overflow-wrap: anywhere; }
a { color: inherit; }
.small { font-size: .9rem; color: var(--faint); }
.notice { border: 2px solid var(--ink); border-radius: 6px; padding: .6rem .8rem; margin: 0 0 1rem; }
.open { border: 1px solid var(--line); border-radius: 6px; padding: .5rem .9rem .8rem; margin: 0 0 1rem; }
.open h2 { margin: 0 0 .3rem; }
.open > .small:first-child { margin: .1rem 0; color: inherit; }
.open.warning { border: 3px solid var(--soon); }
.open.critical { border: 6px double var(--act); }
.open.critical h2, .open.critical > .small:first-child { color: var(--act); }
.open.critical h2 { font-size: 1.4rem; }
a[href^='tel:'] { display: inline-block; min-height: 2.75rem; padding: .6rem 0; font-weight: bold; }
figure { margin: 1rem 0 .3rem; }
figcaption { font-weight: bold; }
svg { display: block; width: 100%; height: auto; overflow: visible; }
svg .plan { fill: #d9d9d9; }
svg .ahead { fill-opacity: 0.2; stroke-width: 1.5; }
svg polyline { stroke-width: 2.5; }
details { border-top: 1px solid var(--line); margin: .6rem 0; }
summary { min-height: 2.75rem; padding: .6rem 0; font-weight: bold; cursor: pointer; }
table { border-collapse: collapse; width: 100%; margin: .3rem 0; }
th, td { text-align: left; vertical-align: top; padding: .35rem .6rem .35rem 0; border-bottom: 1px solid var(--line); overflow-wrap: break-word; }
tbody th { font-weight: normal; }
form { margin: .6rem 0; }
label { display: block; margin: .6rem 0; }
input, select, textarea { display: block; width: 100%; max-width: 24rem; min-height: 2.75rem; margin-top: .2rem; padding: .4rem .6rem; font: inherit; color: inherit; background: var(--field); border: 1px solid var(--line); border-radius: 6px; }
button, .way { display: inline-block; min-height: 2.75rem; margin: .25rem .5rem .25rem 0; padding: .55rem 1rem; font: inherit; font-weight: bold; text-align: left; text-decoration: none; color: var(--ink); background: var(--field); border: 2px solid var(--ink); border-radius: 6px; cursor: pointer; }
form[action='/undose'] button, form[action='/unmeter'] button { font-weight: normal; border-width: 1px; }
.diary { list-style: none; padding: 0; }
.diary li { margin: .5rem 0; }
nav { border-top: 1px solid var(--line); margin-top: 2rem; }
nav ul { list-style: none; padding: 0; }
nav li { margin: 0; }
nav a { display: inline-block; min-height: 2.75rem; padding: .6rem 0; }
.people button { font-weight: normal; border-width: 1px; }
.people button[aria-current] { font-weight: bold; border-width: 2px; }
:focus-visible { outline: 3px solid var(--ink); outline-offset: 3px; }
@media (max-width: 30rem) {
  .open button, .open .way, form > button { width: 100%; }
  .people form > button { width: auto; }
  svg text { font-size: 18px; }
}
@media print {
  nav, form, .way, .people { display: none; }
  body { font-size: 10.5pt; }
  .open, figure { break-inside: avoid; }
}
";

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast as WCAG 2.1 defines them (from memory).
    fn luminance(colour: &str) -> f64 {
        let wide: String = match colour.len() {
            3 => colour.chars().flat_map(|digit| [digit, digit]).collect(),
            _ => colour.to_owned(),
        };
        let part = |at: usize| {
            let share = f64::from(u8::from_str_radix(&wide[at..at + 2], 16).unwrap()) / 255.0;
            if share <= 0.03928 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(0) + 0.7152 * part(2) + 0.0722 * part(4)
    }

    fn contrast(one: &str, other: &str) -> f64 {
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    #[test]
    fn letters_stand_out_by_day_and_by_night() {
        assert!((contrast("fff", "000000") - 21.0).abs() < 1e-9);
        let rooms: Vec<&str> = PAGE_STYLE.split(":root {").skip(1).collect();
        assert_eq!(rooms.len(), 2);
        for room in rooms {
            let colour = |name: &str| {
                let rest = room.split(&format!("--{name}: #")).nth(1).unwrap();
                rest.split(';').next().unwrap()
            };
            for letters in ["ink", "faint", "act", "soon"] {
                for under in ["paper", "field"] {
                    let contrast = contrast(colour(letters), colour(under));
                    assert!(contrast >= 4.5, "{letters} on {under}: {contrast}");
                }
            }
            // Edges of fields and buttons.
            assert!(contrast(colour("line"), colour("paper")) >= 3.0);
        }
    }
}
