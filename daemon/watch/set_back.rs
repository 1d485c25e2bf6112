//! What becomes of a cat's state, and of the daemon's own, when a clock that ran ahead is set back. What that clock
//! stamped goes back by the same step, so that everything is as old as it really is and the cat stays watched: a
//! reading left in the future would count as fresh until its time has come, and hide every newer one. It decides
//! nothing; the rules look again in the same turn.

use super::house::HouseState;
use super::state::CatState;
use crate::words::{CatSettings, ClockStep, Finding};

impl CatState {
    /// Goes back with the clock. What would have been let in by then is let in first: live that happens at looks which are
    /// not in the record, and what waits for its time is not moved.
    pub fn set_back(&mut self, settings: Option<&CatSettings>, step: ClockStep) {
        if let Some(settings) = settings {
            self.let_in(settings, step.from);
        }
        self.tracker.set_back(step);
        step.move_all(self.newest.iter_mut().map(|reading| &mut reading.measured_at));
        // Where the clock and the sources disagreed, an older stamp may have become the newest.
        if let Some(newest) = self.tracker.newest() {
            self.newest =
                Some(self.newest.filter(|own| own.measured_at >= newest.measured_at).unwrap_or(newest));
        }
        step.move_all(&mut self.arrived);
        if let Some(scan) = &mut self.scan {
            step.move_all([&mut scan.at].into_iter().chain(&mut scan.newest));
        }
        if let Some(wear) = &mut self.wear {
            step.move_all([&mut wear.applied].into_iter().chain(&mut wear.error_since));
            step.move_all(wear.ended.iter_mut().map(|(at, _)| at).chain(&mut wear.first_reading));
        }
        step.move_all(self.bridge.iter_mut().map(|(_, since)| since));
        step.move_all(self.doses.iter_mut().map(|dose| &mut dose.given_at));
        self.doses.sort_by_key(|dose| dose.given_at);
        step.move_all(self.meter.iter_mut().map(|check| &mut check.measured_at));
        step.move_all(self.meter_word.iter_mut().map(|word| &mut word.at));
        step.move_all(&mut self.spares_at);
        if let Some(gap) = &mut self.gap {
            step.move_all([&mut gap.from, &mut gap.until]);
        }
        let memory = &mut self.memory;
        if let Some((since, newest, _)) = &mut memory.low_told {
            step.move_all([since, newest]);
        }
        step.move_all(
            (memory.high_since.iter_mut())
                .chain(&mut memory.scan_again)
                .chain(&mut memory.future_came)
                .chain(memory.future_low.iter_mut().map(|(_, came)| came))
                .chain(memory.future_said.iter_mut().map(|(_, at)| at))
                .chain(&mut memory.just_under)
                .chain(&mut memory.low_over)
                .chain(&mut memory.low_spoke)
                .chain(&mut memory.low_eased)
                .chain(memory.misdated.iter_mut().map(|held| &mut held.came)),
        );
        memory.low_ahead.set_back(step);
        memory.danger_ahead.set_back(step);
        step.move_all(memory.handed_over.iter_mut().map(|(_, _, at)| at));
        step.move_all(memory.conflict.iter_mut().map(|(at, ..)| at));
        step.move_all(memory.unread.iter_mut().flat_map(|(since, at, _)| [since, at]));
        self.open.values_mut().for_each(|finding| finding_back(finding, step));
        self.wake = None;
    }
}

impl HouseState {
    /// Goes back with the clock.
    pub fn set_back(&mut self, step: ClockStep) {
        self.open.values_mut().for_each(|finding| finding_back(finding, step));
    }
}

/// Its id stays: that is a name, and people may be about to answer it.
fn finding_back(finding: &mut Finding, step: ClockStep) {
    step.move_all([&mut finding.since, &mut finding.opened_at]);
    step.move_all(finding.look_again.iter_mut().chain(&mut finding.best_before));
    step.move_all(finding.basis.iter_mut().map(|basis| &mut basis.measured_at));
}
