//! `[cat.plan]`: the vet's limits and instructions. In: its section, in the unit of `[home]`. Out: mg/dL.
//! Invents nothing but the three limits that the watches cannot do without, and says so each time.

use super::home::other_unit;
use super::section::Section;
use crate::words::{Plan, SensorSettings, Unit};

/// Human level 1 hypoglycaemia, under 70 mg/dL (3.9 mmol/L): International Hypoglycaemia Study Group,
/// Diabetologia 2017;60:3-6. No feline guideline number could be verified.
pub const USUAL_LOW: f64 = 70.0;
/// Chosen by us: under human level 2, 54 mg/dL (3.0 mmol/L, the same source), and over the lowest value that
/// common sensors read, so that it can be seen before *below range*.
pub const USUAL_DANGER: f64 = 50.0;
/// 60 mg/dL (3.3 mmol/L) is common practice in information for cat owners; no guideline text was seen.
pub const USUAL_METER_LOW: f64 = 60.0;

pub(super) fn plan(section: &Section<'_>, cat: &Section<'_>, units: Unit, sensor: &SensorSettings) -> Plan {
    if !section.is_present() {
        let found = "no [cat.plan]".to_owned();
        let want = format!(
            "no limit is from your vet yet: warns under {}, is urgent under {} {units}. Ask the vet for the numbers",
            units.show(USUAL_LOW),
            units.show(USUAL_DANGER)
        );
        cat.advise("plan", &found, &want);
    }
    let usual = |key: &str, usual: f64| {
        if section.is_present() && !section.has(key) {
            let want =
                format!("the plan's {key} is not from your vet yet: {} {units} is used", units.show(usual));
            section.advise(key, "nothing", &want);
        }
        usual
    };
    let level = |key: &str, least: f64, most: f64| limit(section, key, units, least, most);
    let plan = Plan {
        low: level("low", 40.0, 150.0).unwrap_or_else(|| usual("low", USUAL_LOW)),
        danger: level("danger", 30.0, 120.0).unwrap_or_else(|| usual("danger", USUAL_DANGER)),
        meter_low: level("meter_low", 30.0, 150.0).unwrap_or_else(|| usual("meter_low", USUAL_METER_LOW)),
        high: level("high", 120.0, 600.0),
        hold_dose_under: level("hold_dose_under", 50.0, 400.0),
        on_low: section.text("on_low").map(|text| text.value.to_owned()),
        vet_phone: section.text("vet_phone").map(|text| text.value.to_owned()),
        out_of_hours_phone: section.text("out_of_hours_phone").map(|text| text.value.to_owned()),
        in_words: section.text("in_words").map(|text| text.value.to_owned()),
        sglt2_inhibitor: section.flag("sglt2_inhibitor").unwrap_or(false),
    };
    order(section, &plan, units);
    apart(section, &plan, units);
    if plan.danger <= sensor.range[0] && section.has("danger") {
        let found = units.show(plan.danger);
        let want = format!(
            "the sensor reads nothing under {}: this limit shows only as \"below range\"",
            units.show(sensor.range[0])
        );
        section.advise("danger", &found, &want);
    }
    plan
}

/// A limit in mg/dL, if it is one that a plan can have; says when it looks like the other unit.
fn limit(section: &Section<'_>, key: &str, units: Unit, least: f64, most: f64) -> Option<f64> {
    let number = section.number(key, f64::MIN..=f64::MAX, "")?;
    let mg_dl = units.to_mg_dl(number);
    if (least..=most).contains(&mg_dl) {
        return Some(mg_dl);
    }
    let other = other_unit(units);
    let hint = if (least..=most).contains(&other.to_mg_dl(number)) {
        format!("; is it in {other}? The plan is written in the units of [home]")
    } else {
        String::new()
    };
    let want = format!("expected {} to {} {units}{hint}", units.show(least), units.show(most));
    section.wrong(key, &format!("{number} {units}"), &want);
    None
}

/// The limits must stand in the order danger, low, high.
fn order(section: &Section<'_>, plan: &Plan, units: Unit) {
    let pairs = [
        ("danger", Some(plan.danger), "low", Some(plan.low)),
        ("low", Some(plan.low), "high", plan.high),
        ("low", Some(plan.low), "hold_dose_under", plan.hold_dose_under),
        ("meter_low", Some(plan.meter_low), "high", plan.high),
    ];
    for (lower, under, upper, over) in pairs {
        let (Some(under), Some(over)) = (under, over) else { continue };
        if under >= over {
            // The one that is written is the one to look at; the other may be the usual value.
            let key = if section.has(lower) { lower } else { upper };
            let found = format!("{lower} {} and {upper} {} {units}", units.show(under), units.show(over));
            section.wrong(key, &found, &format!("expected {lower} to be under {upper}"));
        }
    }
}

/// A low and a dangerous low that lie closer together than a sensor's noise are the same to the watches.
fn apart(section: &Section<'_>, plan: &Plan, units: Unit) {
    let apart = plan.low - plan.danger;
    if apart <= 0.0 || apart >= APART || !(section.has("danger") || section.has("low")) {
        return;
    }
    let key = if section.has("danger") { "danger" } else { "low" };
    let found = format!("danger {} and low {} {units}", units.show(plan.danger), units.show(plan.low));
    let want = format!(
        "less than {} {units} apart is no more than a sensor's noise: nearly every low will be told as critical, again and \
         again until somebody answers. Ask the vet from where a low is an emergency, and set danger to that",
        units.show(APART)
    );
    section.advise(key, &found, &want);
}

/// What a plan lacks, and what follows from that; for `check`.
#[must_use]
pub fn missing_parts(plan: &Plan) -> Vec<String> {
    let mut missing = Vec::new();
    if plan.on_low.is_none() {
        missing.push(
            "on_low (what to do at a low): messages at a low will only say \"call your vet\"".to_owned(),
        );
    }
    if plan.vet_phone.is_none() {
        missing.push("vet_phone: messages that say \"call your vet\" will have no number".to_owned());
    }
    if plan.high.is_none() {
        missing.push("high: nothing is said about glucose that stays high".to_owned());
    }
    if plan.hold_dose_under.is_none() {
        missing
            .push("hold_dose_under: before a dose, no limit for \"do not inject, call\" is given".to_owned());
    }
    missing
}

/// mg/dL; an estimate near a low is off by about 8 (`docs/outlook.md`).
const APART: f64 = 10.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_that_is_missing_says_what_follows() {
        let bare = Plan { low: 70.0, danger: 50.0, meter_low: 60.0, ..Plan::default() };
        assert_eq!(missing_parts(&bare).len(), 4);
        let phone = Plan { vet_phone: Some("01 2345".into()), ..bare };
        assert!(!missing_parts(&phone).join(" ").contains("vet_phone"));
    }
}
