//! What was known of blood glucose at each reading when it was received. Comes in: the series before and after
//! a batch. Goes out: a line for each reading of the batch.
//!
//! In a batch of many readings (a scan) each is taken as if it had come alone, in its turn: its line rests on
//! what was measured up to it, never on what came later. A reading that came after a newer one is the exception:
//! its line rests on everything held by then.

use super::line::{EstimateLine, KnownThen};
use crate::glucose::{Estimate, Tracker};
use crate::words::{Batch, CatSettings, Moment, Reading};

/// Makes the lines of one batch.
pub(super) struct Estimator {
    /// The series before the batch, if the batch has more than one reading.
    series: Option<Tracker>,
    /// The newest reading before it.
    newest: Option<Moment>,
}

impl Estimator {
    /// To be made before the batch goes in.
    pub(super) fn new(before: &Tracker, batch: &Batch) -> Self {
        let newest = before.newest().map(|newest| newest.measured_at);
        Self { series: (batch.readings.len() > 1).then(|| before.clone()), newest }
    }

    /// To be asked after the batch went in.
    pub(super) fn lines<'a>(
        mut self,
        after: &Tracker,
        settings: &CatSettings,
        batch: &'a Batch,
        received_at: Moment,
    ) -> Vec<EstimateLine<'a>> {
        let late = batch.readings.first().is_some_and(|first| Some(first.measured_at) <= self.newest);
        let smoothed = if late { after.smoothed() } else { Vec::new() };
        let known = |series: &mut Option<Tracker>, reading: &Reading| {
            let at = reading.measured_at;
            let recent = after.recent();
            let place = recent.partition_point(|held| held.measured_at < at);
            if recent.get(place).is_none_or(|held| held.measured_at != at) && held_out(series, recent, at) {
                return None;
            }
            if Some(at) <= self.newest {
                let then = smoothed.iter().find(|estimate| estimate.at == at)?;
                return Some(shown(then, None));
            }
            if let Some(series) = series {
                series.add(std::slice::from_ref(reading));
            }
            let series = series.as_ref().unwrap_or(after);
            let then = series.estimate(at)?;
            let horizon = settings.watch.low_ahead_minutes;
            let outlook = series.outlook(at, horizon, settings.plan.low);
            Some(shown(&then, outlook.map(|outlook| outlook.chance)))
        };
        batch
            .readings
            .iter()
            .map(|reading| EstimateLine {
                cat: &batch.cat,
                measured_at: reading.measured_at,
                received_at,
                glucose: reading.value,
                known: known(&mut self.series, reading),
            })
            .collect()
    }
}

/// Whether the reading was set aside, and has not merely left the ring again while a long batch went in.
fn held_out(series: &Option<Tracker>, recent: &[Reading], at: Moment) -> bool {
    let oldest = recent.first().map(|oldest| oldest.measured_at);
    series.is_none() || oldest.is_none_or(|oldest| at >= oldest)
}

fn shown(estimate: &Estimate, p_low: Option<f64>) -> KnownThen {
    KnownThen {
        blood: estimate.blood,
        blood_sd: estimate.blood_sd,
        rate_per_min: estimate.rate_per_min,
        p_low,
    }
}
