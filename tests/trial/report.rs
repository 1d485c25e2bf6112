//! Measures everything and writes the measured part of `docs/outlook.md` and its pictures.
//!
//! Every figure comes out of this run; nothing is kept from an earlier one.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use lowtide::glucose::alarm::Style;
use lowtide::simulate::cat::{Family, Options, PUBLISHED_OFF, Temper};

use crate::bound;
use crate::checked;
use crate::contest::{
    AIM, BOUND, Cats, DAYS, Entry, Fitted, OURS, Outcome, Ruled, TEST_FROM, TRAINING_FROM, contest,
    enter_bound,
};
use crate::feed::Feed;
use crate::forest::Growth;
use crate::measure::{LEVELS, Measure};
use crate::picture::{Axes, Curve, STYLES, drawn};
use crate::score::{DEPTHS, Tally, best_within};

/// How many cats.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// To fit on.
    pub training: u64,
    /// To score on, in the main tables.
    pub test: u64,
    /// To score on, in each world of the robustness table.
    pub world: u64,
    /// How the bound is grown.
    pub growth: Growth,
}

/// Between these lines of `docs/outlook.md` everything is replaced.
const BEGIN: &str = "<!-- measured: everything from here is written by the trial -->";
/// The bound that learned on a simulator that judges.
const BOUND_THERE: &str = "the bound, had it learned here";
const END: &str = "<!-- measured: end -->";

/// Measures and writes.
///
/// # Errors
/// If `docs/outlook.md` cannot be read or written, or lacks the two marking lines.
pub fn write(size: Size) -> Result<(), String> {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs");
    let page = docs.join("outlook.md");
    let old = std::fs::read_to_string(&page).map_err(|e| format!("{}: {e}", page.display()))?;
    let (Some(begin), Some(end)) = (old.find(BEGIN), old.find(END)) else {
        return Err(format!("{}: the marking lines are missing", page.display()));
    };
    let measured = measured(size, &docs)?;
    let new = format!("{}{BEGIN}\n\n{measured}\n{}", &old[..begin], &old[end..]);
    std::fs::write(&page, new).map_err(|e| format!("{}: {e}", page.display()))
}

fn measured(size: Size, docs: &Path) -> Result<String, String> {
    let usual = Options::default();
    let training = Cats::new(TRAINING_FROM, size.training, &usual);
    let test = Cats::new(TEST_FROM, size.test, &usual);
    let others = Cats::new(TEST_FROM, size.test, &Options { family: Family::Curve, ..usual });
    let streamed = Fitted::on(&training, Feed::Streamed, Some(size.growth));
    let scanned = Fitted::on(&training, Feed::Scanned, Some(size.growth));
    let first = contest(&test, &streamed, Feed::Streamed);
    let mut text = format!(
        "Measured by `cargo bench --bench trial -- --write` on {} cats of {DAYS} days ({:.0} sensor-weeks, {} lows; seeds from \
         {TEST_FROM}), fitted on {} others (seeds from {TRAINING_FROM}).\n\n",
        size.test,
        test.truths.iter().map(|t| t.weeks).sum::<f64>(),
        lows_of(&first),
        size.training,
    );
    let curve = contest(&others, &streamed, Feed::Streamed);
    let swings = Cats::new(TEST_FROM, size.test, &Options { family: Family::Swing, ..Options::default() });
    let swing = contest(&swings, &streamed, Feed::Streamed);
    let [regime, echo] = Family::JUDGES.map(|family| judged(family, &streamed, size));
    let all = [&first, &curve, &swing, &regime, &echo];
    aims(&mut text, all);
    heading(&mut text, "Streamed sensor");
    methods(&mut text, &first);
    picture(docs, "outlook-warned.svg", &warned_picture(&first))?;
    text.push_str("![Share of lows warned of against false alarms per cat-week](outlook-warned.svg)\n\n");
    depths(&mut text, &first);
    heading(&mut text, "The alarm setting");
    settings(&mut text, &first.ruled);
    heading(&mut text, "The numbers behind the alarms");
    let measures = all.map(|outcome| &outcome.measure);
    numbers(&mut text, measures);
    picture(docs, "outlook-reliability.svg", &reliability_picture(measures))?;
    text.push_str("![Chance that was said against how often it happened](outlook-reliability.svg)\n\n");
    for (outcome, name) in all.into_iter().zip(NAMES).skip(1) {
        heading(&mut text, &format!("On the {name} simulator{}", judges(name)));
        methods(&mut text, outcome);
        settings(&mut text, &outcome.ruled);
    }
    heading(&mut text, "Scanned sensor");
    methods(&mut text, &contest(&test, &scanned, Feed::Scanned));
    heading(&mut text, "Scanned sensor, scanned again by day when asked to");
    methods(&mut text, &contest(&test, &scanned, Feed::ScannedWhenAsked));
    heading(&mut text, "With meter checks");
    text.push_str(&checked::table(&Family::ALL, TEST_FROM, 2 * size.world, 1.0));
    heading(&mut text, "With meter checks, and sensors as far off as was published of cats");
    text.push_str(&checked::table(&HEEDING, TEST_FROM, size.world, PUBLISHED_OFF));
    heading(&mut text, "Other worlds");
    robustness(&mut text, &streamed, size);
    heading(&mut text, "What the bound looks at");
    importances(&mut text, &streamed);
    Ok(text)
}

/// The contest on a family that nothing was learned on, with a bound that did learn there.
fn judged(family: Family, fitted: &Fitted, size: Size) -> Outcome {
    let of = |from, count| Cats::new(from, count, &Options { family, ..Options::default() });
    let cats = of(TEST_FROM, size.test);
    let mut outcome = contest(&cats, fitted, Feed::Streamed);
    let at_home = of(TRAINING_FROM, size.training);
    let forest = bound::learn(&at_home.traces, &at_home.truths, Feed::Streamed, size.growth);
    enter_bound(&mut outcome, BOUND_THERE, &cats, &forest, Feed::Streamed);
    outcome
}

/// The simulators whose sensor can be made as far off as was published; the fifth has errors of its own.
const HEEDING: [Family; 4] = [Family::Depot, Family::Curve, Family::Swing, Family::Regime];

/// What the five simulators are called, in the order of their tables; the last two judge.
pub const NAMES: [&str; 5] = ["first", "second", "third", "fourth", "fifth"];

fn judges(name: &str) -> &'static str {
    if NAMES[3..].contains(&name) { ", which nothing was learned on" } else { "" }
}

fn heading(text: &mut String, title: &str) {
    let _ = writeln!(text, "### {title}\n");
}

fn picture(docs: &Path, name: &str, svg: &str) -> Result<(), String> {
    let path: PathBuf = docs.join(name);
    std::fs::write(&path, svg).map_err(|e| format!("{}: {e}", path.display()))
}

fn lows_of(outcome: &Outcome) -> usize {
    outcome.entries[0].curve[0].1.lows
}

fn share(count: usize, of: usize) -> String {
    if of == 0 { "-".into() } else { format!("{:.0} %", 100.0 * count as f64 / of as f64) }
}

/// The textbook method that warns of most at the aim.
fn best_textbook(outcome: &Outcome) -> Option<&Entry> {
    let textbook = outcome.entries.iter().filter(|e| ![OURS, BOUND, BOUND_THERE].contains(&e.name.as_str()));
    textbook.max_by(|a, b| warned(a).total_cmp(&warned(b)))
}

fn warned(entry: &Entry) -> f64 {
    entry.best().map_or(0.0, |(_, tally)| tally.warned_share())
}

fn entry<'a>(outcome: &'a Outcome, name: &str) -> Option<&'a Entry> {
    outcome.entries.iter().find(|entry| entry.name == name)
}

/// The aims beside what was measured.
fn aims(text: &mut String, all: [&Outcome; 5]) {
    let first = all[0];
    let at = |outcome: &Outcome, name| entry(outcome, name).map_or(0.0, warned);
    let textbook = |outcome: &Outcome| best_textbook(outcome).map_or(0.0, warned);
    let told = entry(first, OURS)
        .and_then(Entry::best)
        .map_or((0.0, 0.0, 0.0), |(_, t)| (t.caught_share(), t.caught_at_all_share(), t.deep_share()));
    let biases = all.map(|outcome| outcome.measure.falling_bias());
    let coverage = first.measure.coverage();
    let mut row = |aim: &str, measured: String, met: bool| {
        let _ = writeln!(text, "| {aim} | {measured} | {} |", if met { "met" } else { "not met" });
    };
    row("Aim", "Measured".into(), true);
    let ratio = at(first, OURS) / textbook(first).max(1e-9);
    row(
        "lows warned of: at least 2 times the best textbook method",
        format!("{ratio:.2} times"),
        ratio >= 2.0,
    );
    let ratio = at(first, OURS) / at(first, BOUND).max(1e-9);
    row("lows warned of: at least 0.9 of the bound", format!("{ratio:.2} of it"), ratio >= 0.9);
    for (other, name) in all.into_iter().zip(NAMES).skip(1) {
        let ratio = at(other, OURS) / textbook(other).max(1e-9);
        row(
            &format!("not worse than the best textbook method on the {name} simulator{}", judges(name)),
            format!("{ratio:.2} times"),
            ratio >= 1.0,
        );
    }
    let caught = format!("{:.1} % within 30 min, {:.1} % before it was over", 100.0 * told.0, 100.0 * told.1);
    row("at least 97 % of lows told", caught, told.1 >= 0.97);
    row(
        "the same, lows that went under 60 mg/dL",
        format!("{:.1} % before it was over", 100.0 * told.2),
        told.2 >= 0.97,
    );
    let parts = biases.map(|(raw, ours)| ours / raw);
    row(
        "bias while falling under a quarter of the raw signal's",
        format!("{} of it on the five", parts.map(|part| format!("{part:.2}")).join(", ")),
        parts.iter().all(|part| part.abs() < 0.25),
    );
    let worst = all.map(|outcome| outcome.measure.worst_bin());
    row(
        "chances within 0.05 of what happened",
        format!("worst tenth {} off on the five", worst.map(|worst| format!("{worst:.3}")).join(", ")),
        worst.iter().all(|worst| *worst <= 0.05),
    );
    row(
        "80 % intervals hold 77 to 83 %",
        format!("{:.1} %", 100.0 * coverage),
        (0.77..=0.83).contains(&coverage),
    );
    *text = text.replace("| Aim | Measured | met |\n", "| Aim | Measured | |\n|---|---|---|\n");
    text.push('\n');
}

fn methods(text: &mut String, outcome: &Outcome) {
    text.push_str(
        "| At most 2 false alarms a cat-week | warned 15 min ahead | told within 30 min | told before it was over | \
         median warning | false alarms a week | of these not even near |\n|---|--:|--:|--:|--:|--:|--:|\n",
    );
    for entry in &outcome.entries {
        match entry.best() {
            Some((_, tally)) => line(text, &entry.name, tally),
            None => {
                let _ = writeln!(text, "| {} | no such point | | | | | |", entry.name);
            }
        }
    }
    text.push('\n');
    if let Some(asked) = outcome.entries.iter().map(|e| e.asked).find(|asked| *asked > 0.0) {
        let _ = writeln!(text, "{OURS} asked for {asked:.1} scans a day beside the household's own.\n");
    }
}

fn line(text: &mut String, name: &str, tally: &Tally) {
    let _ = writeln!(
        text,
        "| {name} | {} | {} | {} | {:.0} min | {:.2} | {:.2} |",
        share(tally.warned, tally.lows),
        share(tally.caught, tally.lows),
        share(tally.caught_at_all, tally.lows),
        tally.median_lead(),
        tally.false_per_week(),
        tally.far_alarms as f64 / tally.weeks.max(1e-9),
    );
}

/// Ours by how low the low went.
fn depths(text: &mut String, outcome: &Outcome) {
    let Some((_, ours)) = entry(outcome, OURS).and_then(Entry::best) else { return };
    let _ = writeln!(text, "{OURS} at the same point, by the lowest level of the low:\n");
    text.push_str(
        "| lowest level | lows | warned 15 min ahead | told before it was over |\n|---|--:|--:|--:|\n",
    );
    let mut from = String::from("under");
    for (bound, [lows, warned, told]) in DEPTHS.iter().zip(ours.by_depth) {
        let (warned, told) = (share(warned, lows), share(told, lows));
        let _ = writeln!(text, "| {from} {bound:.0} mg/dL | {lows} | {warned} | {told} |");
        from = format!("{bound:.0} to");
    }
    text.push('\n');
    text.push_str("| false alarms a week, at most | ");
    let budgets = [0.25, 0.5, 1.0, 2.0, 4.0, 7.0];
    text.push_str(&budgets.map(|b| format!("{b}")).join(" | "));
    let _ = writeln!(text, " |\n|---|{}", "--:|".repeat(budgets.len()));
    let textbook = best_textbook(outcome).map(|e| e.name.clone()).unwrap_or_default();
    for name in [textbook.as_str(), OURS, BOUND] {
        let Some(entry) = entry(outcome, name) else { continue };
        let cells = budgets.map(|budget| {
            best_within(&entry.curve, budget).map_or("-".into(), |(_, t)| share(t.warned, t.lows))
        });
        let _ = writeln!(text, "| {name}: warned | {} |", cells.join(" | "));
        let told = budgets.map(|budget| {
            best_within(&entry.curve, budget).map_or("-".into(), |(_, t)| share(t.caught_at_all, t.lows))
        });
        let _ = writeln!(text, "| {name}: told before it was over | {} |", told.join(" | "));
    }
    text.push('\n');
}

fn style_name(style: Style) -> &'static str {
    match style {
        Style::Sooner => "`sooner`",
        Style::Balanced => "`balanced`",
        Style::Fewer => "`fewer`",
    }
}

/// The shipped watches with the three settings, nothing chosen afterwards.
fn settings(text: &mut String, ruled: &[Ruled]) {
    text.push_str(
        "The watches as shipped, with nothing chosen afterwards; warned of or told by `low-ahead` or by `low-now`, which takes over \
         from it:\n\n| setting | warned 15 min ahead | told within 30 min | told before it was over | median warning | false \
         `low-ahead` a week | of these not even near | false `low-now` a week | told before it was over, of lows under 60 mg/dL \
         |\n|---|--:|--:|--:|--:|--:|--:|--:|--:|\n",
    );
    for one in ruled {
        let mut cells = String::new();
        line(&mut cells, style_name(one.style), &one.tally);
        let false_now = one.false_now as f64 / one.tally.weeks.max(1e-9);
        let deep = 100.0 * one.tally.deep_share();
        let _ = writeln!(text, "{} {false_now:.2} | {deep:.1} % |", cells.trim_end());
    }
    text.push('\n');
}

fn numbers(text: &mut String, all: [&Measure; 5]) {
    let _ = writeln!(text, "| streamed, next 30 min | {} |\n|---|{}", NAMES.join(" | "), "--:|".repeat(5));
    let mut row = |what: &str, of: &dyn Fn(&Measure) -> String| {
        let _ = writeln!(text, "| {what} | {} |", all.map(of).join(" | "));
    };
    row("mean error while blood falls faster than 1 mg/dL/min: raw reading", &|m| {
        format!("{:+.1} mg/dL", m.falling_bias().0)
    });
    row("the same: blood estimate", &|m| format!("{:+.1} mg/dL", m.falling_bias().1));
    for (place, when) in ["while it falls so", "while it does not"].iter().enumerate() {
        row(&format!("root mean square error {when}: raw, estimate"), &|m| {
            format!("{:.1}, {:.1} mg/dL", m.moods()[place].0, m.moods()[place].1)
        });
    }
    for (place, bound) in LEVELS.iter().enumerate() {
        let under = if bound.is_finite() { format!("under {bound:.0}") } else { "higher".into() };
        row(&format!("root mean square error, blood {under}: raw, estimate"), &|m| {
            format!("{:.1}, {:.1} mg/dL", m.rms()[place].0, m.rms()[place].1)
        });
    }
    row("80 % interval holds", &|m| format!("{:.1} %", 100.0 * m.coverage()));
    row("log loss of the chance, nats a look", &|m| format!("{:.4}", m.log_loss().0));
    row("log loss of always saying the base rate", &|m| format!("{:.4}", m.log_loss().1));
    row("mean log density of blood at the end", &|m| format!("{:.3}", m.log_density()));
    let heads = NAMES.map(|name| format!("{name}: looks | mean said | happened"));
    let _ = writeln!(text, "\n| chance said | {} |\n|---|{}", heads.join(" | "), "--:|".repeat(15));
    for tenth in 0..10 {
        let cells = all.map(|measure| {
            let (count, said, happened) = measure.bins[tenth];
            let of = count.max(1) as f64;
            format!("{count} | {:.3} | {:.3}", said / of, happened as f64 / of)
        });
        let (from, to) = (tenth as f64 / 10.0, (tenth + 1) as f64 / 10.0);
        let _ = writeln!(text, "| {from:.1} to {to:.1} | {} |", cells.join(" | "));
    }
    text.push('\n');
}

/// The same contest in harder worlds.
fn robustness(text: &mut String, fitted: &Fitted, size: Size) {
    text.push_str(
        "Nothing is fitted anew: the sensor settings say a lag of 10 min throughout.\n\n| world | best textbook method | warned | \
         Lowtide warned | the bound warned | told within 30 min: textbook | Lowtide | `balanced`: warned | false `low-ahead` a week |\n\
         |---|---|--:|--:|--:|--:|--:|--:|--:|\n",
    );
    for (name, options) in worlds() {
        let cats = Cats::new(TEST_FROM, size.world, &options);
        let outcome = contest(&cats, fitted, Feed::Streamed);
        let best = |name: &str| entry(&outcome, name).and_then(Entry::best).map(|(_, tally)| tally);
        let percent = |x: f64| format!("{:.0} %", 100.0 * x);
        let warned = |t: Option<&Tally>| t.map_or("-".into(), |t| percent(t.warned_share()));
        let told = |t: Option<&Tally>| t.map_or("-".into(), |t| percent(t.caught_share()));
        let textbook = best_textbook(&outcome).map(|e| e.name.clone()).unwrap_or_default();
        let rule = outcome.ruled.iter().find(|one| one.style == Style::Balanced).map(|one| &one.tally);
        let _ = writeln!(
            text,
            "| {name} | {textbook} | {} | {} | {} | {} | {} | {} | {} |",
            warned(best(&textbook)),
            warned(best(OURS)),
            warned(best(BOUND)),
            told(best(&textbook)),
            told(best(OURS)),
            warned(rule),
            rule.map_or("-".into(), |t| format!("{:.2}", t.false_per_week())),
        );
    }
    text.push('\n');
}

fn worlds() -> Vec<(&'static str, Options)> {
    let usual = Options::default;
    let lag = |minutes| Options { lag_minutes: Some(minutes), ..usual() };
    vec![
        ("as above, fewer cats", usual()),
        ("lag 5 min", lag(5.0)),
        ("lag 8 min", lag(8.0)),
        ("lag 12 min", lag(12.0)),
        ("lag 20 min", lag(20.0)),
        ("noise doubled", Options { noise: 2.0, ..usual() }),
        ("sensors as far off as was published", Options { off: PUBLISHED_OFF, ..usual() }),
        ("no doses recorded", Options { doses_recorded: false, ..usual() }),
        ("half the readings missing", Options { missing: 0.5, ..usual() }),
        ("second simulator, noise doubled", Options { family: Family::Curve, noise: 2.0, ..usual() }),
        ("third simulator, noise doubled", Options { family: Family::Swing, noise: 2.0, ..usual() }),
        ("fourth simulator, noise doubled", Options { family: Family::Regime, noise: 2.0, ..usual() }),
        ("fifth simulator, noise doubled", Options { family: Family::Echo, noise: 2.0, ..usual() }),
        (
            "high cats, low for the first time on day 15",
            Options { temper: Some(Temper::High), mishap_day: Some(15), ..usual() },
        ),
    ]
}

fn importances(text: &mut String, fitted: &Fitted) {
    let Some(forest) = fitted.bound() else { return };
    text.push_str("| column | share of what it learned |\n|---|--:|\n");
    for (name, share) in bound::what_it_saw(forest).into_iter().take(12) {
        let _ = writeln!(text, "| {} | {share:.3} |", name);
    }
    text.push('\n');
}

fn warned_picture(outcome: &Outcome) -> String {
    let curves: Vec<Curve> = outcome
        .entries
        .iter()
        .zip(STYLES)
        .map(|(entry, (colour, dash))| {
            let mut points: Vec<(f64, f64)> =
                entry.curve.iter().map(|(_, t)| (t.false_per_week(), t.warned_share())).collect();
            points.retain(|(x, _)| *x <= 8.0);
            let name = entry.name.split(" (").next().unwrap_or_default().to_owned();
            Curve { name, colour, dash, points }
        })
        .collect();
    let axes = Axes {
        title: "Streamed sensor: lows warned of at least 15 min ahead",
        x: ("false alarms per cat-week", 8.0, 1.0),
        y: ("share of lows", 1.0, 0.2),
    };
    debug_assert!(AIM <= axes.x.1);
    drawn(&axes, &curves)
}

fn reliability_picture(all: [&Measure; 5]) -> String {
    let of = |measure: &Measure| {
        let bins = measure.bins.iter().filter(|bin| bin.0 >= 50);
        bins.map(|(n, said, happened)| (said / *n as f64, *happened as f64 / *n as f64)).collect()
    };
    let mut curves = vec![Curve {
        name: "as it should be".into(),
        colour: "#999999",
        dash: "2 4",
        points: vec![(0.0, 0.0), (1.0, 1.0)],
    }];
    for ((measure, name), (colour, dash)) in all.into_iter().zip(NAMES).zip(STYLES) {
        curves.push(Curve { name: format!("{name} simulator"), colour, dash, points: of(measure) });
    }
    let axes = Axes {
        title: "Chance of going under 70 mg/dL within 30 min",
        x: ("chance that was said", 1.0, 0.2),
        y: ("share in which it happened", 1.0, 0.2),
    };
    drawn(&axes, &curves)
}
