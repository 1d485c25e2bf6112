//! The outcome on the terminal, for whoever is at work on the filter.

use lowtide::simulate::cat::Temper;

use crate::bound;
use crate::contest::{Cats, Outcome, Ruled};
use crate::forest::Forest;
use crate::measure::{LEVELS, Measure};

/// Which cats, and how low they go.
pub fn cats(cats: &Cats) {
    for temper in [Temper::Tight, Temper::Typical, Temper::Brittle, Temper::High] {
        let of = cats.traces.iter().zip(&cats.truths).filter(|(trace, _)| trace.temper == temper);
        let truths: Vec<_> = of.map(|(_, truth)| truth).collect();
        let mut nadirs: Vec<f32> = truths.iter().flat_map(|t| t.lows.iter().map(|low| low.nadir)).collect();
        nadirs.sort_by(f32::total_cmp);
        let weeks: f64 = truths.iter().map(|t| t.weeks).sum();
        let tenth = |k: usize| nadirs.get(nadirs.len() * k / 10).copied().unwrap_or(f32::NAN);
        println!(
            "{:8} {:3} cats, {:.2} lows a week, lowest points {:.0} {:.0} {:.0} (tenths 1, 5, 9)",
            format!("{temper:?}"),
            truths.len(),
            nadirs.len() as f64 / weeks,
            tenth(1),
            tenth(5),
            tenth(9),
        );
    }
}

/// Each method at its best point within the aim.
pub fn methods(outcome: &Outcome) {
    println!(
        "{:38} {:>6} {:>6} {:>7} {:>7} {:>5} {:>5} {:>11} {:>6}",
        "method", "warned", "caught", "at all", "false/w", "far/w", "lead", "deep w/c", "thr"
    );
    for entry in &outcome.entries {
        let Some((threshold, t)) = entry.best() else {
            println!("{:38} no point within the aim", entry.name);
            continue;
        };
        let share = |count: usize, of: usize| count as f64 / of.max(1) as f64;
        println!(
            "{:38} {:6.3} {:6.3} {:7.3} {:7.2} {:5.2} {:5.0} {:5.2} {:5.2} {:6.3}  {} lows, {:.0} weeks, asked {:.2}",
            entry.name,
            t.warned_share(),
            t.caught_share(),
            t.caught_at_all_share(),
            t.false_per_week(),
            t.far_alarms as f64 / t.weeks,
            t.median_lead(),
            share(t.by_depth[0][1], t.by_depth[0][0]),
            share(t.by_depth[0][2], t.by_depth[0][0]),
            threshold,
            t.lows,
            t.weeks,
            entry.asked,
        );
    }
}

/// The shipped alarm rule.
pub fn ruled(ruled: &[Ruled]) {
    for Ruled { style, tally: t, false_now } in ruled {
        println!(
            "  rule {:30} {:6.3} {:6.3} {:7.3} {:7.2} {:5.2} {:5.0}  false low-now {:.2}, under 60 told {:.3}",
            format!("{style:?}"),
            t.warned_share(),
            t.caught_share(),
            t.caught_at_all_share(),
            t.false_per_week(),
            t.far_alarms as f64 / t.weeks,
            t.median_lead(),
            *false_now as f64 / t.weeks,
            t.deep_share(),
        );
    }
}

/// How good the house's numbers are.
pub fn measure(measure: &Measure) {
    let (raw, ours) = measure.falling_bias();
    let (loss, base) = measure.log_loss();
    println!("while falling: raw {raw:+.2}, ours {ours:+.2}");
    let [falling, not] = measure.moods();
    println!(
        "  rms error while falling: raw {:5.2}, ours {:5.2}; else raw {:5.2}, ours {:5.2}",
        falling.0, falling.1, not.0, not.1
    );
    for (bound, (raw, ours)) in LEVELS.iter().zip(measure.rms()) {
        println!("  rms error while blood is under {bound:3}: raw {raw:5.2}, ours {ours:5.2}");
    }
    println!(
        "80 % interval holds {:.3}; log loss {loss:.4} (base rate alone {base:.4}); log density {:.3}; worst bin {:.3}",
        measure.coverage(),
        measure.log_density(),
        measure.worst_bin()
    );
    for (count, said, happened) in measure.bins {
        let of = count.max(1) as f64;
        println!("  said {:.3} happened {:.3} ({count} looks)", said / of, happened as f64 / of);
    }
}

/// What the bound looked at.
pub fn importances(forest: &Forest) {
    for (name, share) in bound::what_it_saw(forest).into_iter().take(20) {
        println!("  {share:.3} {name}");
    }
}
