//! What is lasting in one invented cat of the family that judges.
//!
//! Comes in: the temper and dice. Goes out: its constants, and the terms of the equation that need nothing else.
//! Chosen by us so that levels fit the tempers' names, except where a source is given.

use super::DRUG_ON_LIVER;
use crate::simulate::cat::Temper;
use crate::simulate::cat::dice::Dice;

/// One cat's constants. Times in minutes, levels in mg/dL.
#[derive(Clone, Debug)]
pub(super) struct Nature {
    /// The level without drug.
    pub(super) rest: f64,
    /// Share that is cleared each minute, without insulin.
    turnover: f64,
    /// Times of that which a usual dose adds at its best.
    pub(super) potency: f64,
    /// Logarithmic spread of strength between doses, and the walls of its change over days.
    pub(super) dose_spread: f64,
    pub(super) season: f64,
    /// Until half of a dose is on, and until half is off.
    pub(super) onset: f64,
    pub(super) duration: f64,
    /// Logarithmic spread of both between doses.
    pub(super) time_spread: f64,
    /// Exponents of coming on and going off.
    pub(super) sudden: f64,
    pub(super) steep: f64,
    /// Share of shots of which part comes late.
    pub(super) late_share: f64,
    /// Own insulin: times of the turnover at its most, and the level at half of it.
    own_most: f64,
    own_half: f64,
    pub(super) own_delay: usize,
    pub(super) liver_delay: usize,
    pub(super) liver_firmness: f64,
    /// Defence, mg/dL a minute at its most, and the level where it begins.
    pub(super) guard: f64,
    pub(super) guard_limit: f64,
    pub(super) guard_delay: usize,
    /// What follows a low for hours, mg/dL a minute at its most.
    pub(super) rebound: f64,
    pub(super) rhythm: f64,
    pub(super) rhythm_peak: f64,
    /// Spread of the waves in liver and need.
    pub(super) unrest: f64,
    pub(super) frights_per_day: f64,
    pub(super) fright: f64,
    pub(super) food: f64,
    /// Hardest play: share added to uptake.
    pub(super) play: f64,
}

/// What the temper decides: bounds to draw between.
struct Bounds {
    rest: (f64, f64),
    /// Where a usual dose at its best would hold it in the end.
    nadir: (f64, f64),
    dose_spread: (f64, f64),
    time_spread: (f64, f64),
    steep: (f64, f64),
    own: (f64, f64),
    own_half: f64,
    unrest: (f64, f64),
    season: f64,
}

impl Nature {
    /// Draws one.
    pub(super) fn draw(temper: Temper, dice: &mut Dice) -> Self {
        let bounds = bounds(temper);
        let mut of = |(low, high): (f64, f64)| dice.between(low, high);
        let mut nature = Self {
            rest: of(bounds.rest),
            turnover: of((0.0055, 0.011)),
            potency: 0.0,
            dose_spread: of(bounds.dose_spread),
            season: bounds.season * of((0.4, 1.0)),
            onset: of((80.0, 200.0)),
            duration: 0.0,
            time_spread: of(bounds.time_spread),
            sudden: of((2.5, 6.0)),
            steep: of(bounds.steep),
            late_share: of((0.0, 0.12)),
            own_most: of(bounds.own),
            own_half: bounds.own_half * of((0.9, 1.15)),
            own_delay: of((12.0, 45.0)) as usize,
            liver_delay: of((15.0, 60.0)) as usize,
            liver_firmness: of((0.4, 1.0)),
            guard: of((0.4, 1.4)),
            guard_limit: of((58.0, 76.0)),
            guard_delay: of((6.0, 22.0)) as usize,
            rebound: 0.0,
            rhythm: of((0.02, 0.14)),
            // Poorly regulated cats vary more by day than by night (Schuppisser et al., JFMS 2025): most peak by day.
            rhythm_peak: of((600.0, 1250.0)),
            unrest: of(bounds.unrest),
            frights_per_day: of((0.1, 0.9)),
            fright: of((20.0, 75.0)) * (bounds.rest.1 / 350.0).clamp(0.5, 1.0),
            food: of((5.0, 30.0)),
            play: of((0.2, 1.3)),
        };
        nature.potency = nature.potency_for(dice.between(bounds.nadir.0, bounds.nadir.1));
        // Duration of glargine in cats: median 470 min, 295 to 950 (Gilor et al., ACVIM 2008, five cats).
        nature.duration = (470.0 * dice.factor(0.25)).clamp(295.0, 950.0);
        // After lows, 25 % of diabetic cats went above 270 mg/dL within 12 h (Zini et al., JVIM 2018); of curves of
        // cats on glargine only 0.4 % did so after a deep low (Roomp & Rand, JFMS 2016): strong in few cats.
        nature.rebound = if dice.chance(0.2) { dice.between(0.8, 2.0) } else { dice.between(0.0, 0.4) };
        nature
    }

    /// The drug `D` at which supply and uptake balance at this level, by halving.
    fn potency_for(&self, level: f64) -> f64 {
        let (mut least, mut most) = (0.0, 30.0);
        for _ in 0..40 {
            let drug = 0.5 * (least + most);
            let late = (level / self.rest).powf(self.liver_firmness);
            let supply = self.supply() * 2.0 / (1.0 + late) / (1.0 + DRUG_ON_LIVER * drug);
            if supply > self.uptake(level, self.own(level) + drug) + self.kidneys(level) {
                least = drug;
            } else {
                most = drug;
            }
        }
        least
    }

    /// What the liver gives at rest, mg/dL a minute.
    pub(super) fn supply(&self) -> f64 {
        self.uptake(self.rest, self.own(self.rest)) + self.kidneys(self.rest)
    }

    /// Uptake at this level, mg/dL a minute, with `times` of the turnover added.
    pub(super) fn uptake(&self, level: f64, times: f64) -> f64 {
        self.turnover * level * level / (level + 15.0) / (1.0 + level / 450.0) * (1.0 + times)
    }

    /// What its own insulin adds, for the level that it answers to.
    pub(super) fn own(&self, level: f64) -> f64 {
        self.own_most / (1.0 + (self.own_half / level).powi(4))
    }

    /// Lost in urine, mg/dL a minute. The threshold of cats is 250 to 300 mg/dL (guidelines, second-hand).
    pub(super) fn kidneys(&self, level: f64) -> f64 {
        0.003 * (level - 270.0).max(0.0)
    }
}

const fn bounds(temper: Temper) -> Bounds {
    match temper {
        Temper::Tight => Bounds {
            rest: (95.0, 140.0),
            nadir: (75.0, 98.0),
            dose_spread: (0.1, 0.35),
            time_spread: (0.1, 0.3),
            steep: (2.5, 4.5),
            own: (0.4, 2.0),
            own_half: 110.0,
            unrest: (0.1, 0.22),
            season: 0.25,
        },
        Temper::Typical => Bounds {
            rest: (250.0, 360.0),
            nadir: (74.0, 135.0),
            dose_spread: (0.15, 0.4),
            time_spread: (0.1, 0.3),
            steep: (2.5, 5.0),
            own: (0.0, 0.6),
            own_half: 200.0,
            unrest: (0.08, 0.18),
            season: 0.3,
        },
        Temper::Brittle => Bounds {
            rest: (290.0, 400.0),
            nadir: (72.0, 120.0),
            dose_spread: (0.3, 0.6),
            time_spread: (0.2, 0.4),
            steep: (4.0, 8.0),
            own: (0.0, 0.2),
            own_half: 200.0,
            unrest: (0.12, 0.24),
            season: 0.45,
        },
        Temper::High => Bounds {
            rest: (330.0, 470.0),
            nadir: (200.0, 310.0),
            dose_spread: (0.1, 0.35),
            time_spread: (0.1, 0.3),
            steep: (2.5, 5.0),
            own: (0.0, 0.2),
            own_half: 250.0,
            unrest: (0.06, 0.16),
            season: 0.3,
        },
    }
}
