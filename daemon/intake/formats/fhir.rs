//! FHIR R4: an Observation, or a Bundle of them.
//!
//! Codes and units are those of the HL7 guide for continuous glucose monitoring (`hl7.fhir.uv.cgm` 1.0.0, on
//! FHIR R4 4.0.1): a sensor reading is a LOINC code, an `effectiveDateTime`, and a `valueQuantity` in UCUM units
//! or a `dataAbsentReason`. Codes of glucose in blood are meter checks. Summaries of that guide are passed over:
//! they repeat what the readings say.

use std::borrow::Cow;

use serde_json::{Map, Value as Json};

use super::field::Field;
use super::row::{self, Cells, Rules};
use super::sheet::Sheet;
use crate::words::Unit;

type Object = Map<String, Json>;

/// Reads one resource into `sheet`.
pub(super) fn read(resource: &Object, rules: &Rules<'_>, sheet: &mut Sheet, line: usize) {
    match text(resource, "resourceType") {
        Some("Observation") => observation(resource, rules, sheet, line),
        Some("Bundle") => bundle(resource, rules, sheet),
        // Patients, devices and the like come along in bundles and bulk exports.
        Some(_) => {}
        None => reject(sheet, line, resource, "resourceType must be a text".to_owned()),
    }
}

fn bundle(bundle: &Object, rules: &Rules<'_>, sheet: &mut Sheet) {
    let entries = bundle.get("entry").and_then(Json::as_array).map_or(&[][..], Vec::as_slice);
    for (number, entry) in entries.iter().enumerate() {
        // A Bundle inside a Bundle is allowed by the standard and of no use here; it is passed over.
        if let Some(Json::Object(resource)) = entry.get("resource")
            && text(resource, "resourceType") == Some("Observation")
        {
            observation(resource, rules, sheet, number + 1);
        }
    }
}

fn observation(resource: &Object, rules: &Rules<'_>, sheet: &mut Sheet, line: usize) {
    let wrong = match what(resource) {
        Ok(What::Summary) => None,
        Ok(what) => cells(resource, what, rules)
            .and_then(|cells| row::read(&cells, rules, sheet).map_or(Ok(()), Err))
            .err(),
        Err(why) => Some(why),
    };
    if let Some(why) = wrong {
        reject(sheet, line, resource, why);
    }
}

#[derive(Clone, Copy, PartialEq)]
enum What {
    Reading,
    Meter,
    Summary,
}

fn what(resource: &Object) -> Result<What, String> {
    let codings = resource.get("code").and_then(|code| code.get("coding")).and_then(Json::as_array);
    let mut seen = Vec::new();
    for coding in codings.into_iter().flatten() {
        let code = coding.get("code").and_then(Json::as_str).unwrap_or_default();
        if coding.get("system").and_then(Json::as_str) != Some("http://loinc.org") {
            continue;
        }
        for (codes, what) in [(READING, What::Reading), (METER, What::Meter), (SUMMARY, What::Summary)] {
            if codes.contains(&code) {
                return Ok(what);
            }
        }
        seen.push(code);
    }
    Err(format!(
        "is not about glucose: LOINC code {}, expected {} for a sensor or {} for blood",
        if seen.is_empty() { "missing".to_owned() } else { seen.join(", ") },
        READING.join(", "),
        METER.join(", ")
    ))
}

fn cells<'a>(resource: &'a Object, what: What, rules: &Rules<'_>) -> Result<Cells<'a>, String> {
    match text(resource, "status") {
        Some("final" | "amended" | "corrected" | "preliminary") => {}
        status => return Err(format!("has the status '{}' and is not taken", status.unwrap_or("missing"))),
    }
    let mut cells = Cells::new(what == What::Meter);
    let at = text(resource, "effectiveDateTime")
        .or_else(|| text(resource, "effectiveInstant"))
        .ok_or("has no effectiveDateTime: a reading needs one instant")?;
    cells.set(Field::MeasuredAt, Cow::Borrowed(at));
    let (value, unit) = quantity(resource)?;
    cells.set(Field::Glucose, value);
    cells.set(Field::Unit, Cow::Borrowed(unit.code()));
    if let Some(issued) = text(resource, "issued") {
        cells.set(Field::ReceivedAt, Cow::Borrowed(issued));
    }
    if let Some(device) = what_it_refers_to(resource, "device") {
        cells.set(Field::Sensor, Cow::Borrowed(device));
    }
    if let Some(subject) = subject(what_it_refers_to(resource, "subject"), rules) {
        cells.set(Field::Cat, Cow::Borrowed(subject));
    }
    Ok(cells)
}

/// The value as text, and its unit.
fn quantity(resource: &Object) -> Result<(Cow<'static, str>, Unit), String> {
    let Some(Json::Object(quantity)) = resource.get("valueQuantity") else {
        let reason = resource.get("dataAbsentReason").map(Json::to_string);
        return Err(match reason {
            Some(reason) => format!("has no value: {reason}"),
            None => "has no valueQuantity".to_owned(),
        });
    };
    let said = text(quantity, "code").or_else(|| text(quantity, "unit")).unwrap_or_default();
    let unit =
        Unit::parse(said).ok_or_else(|| format!("'{said}' is not a unit: expected mg/dL or mmol/L"))?;
    let Some(Json::Number(value)) = quantity.get("value") else {
        return Err("valueQuantity has no number".to_owned());
    };
    let mg_dl = unit.to_mg_dl(value.as_f64().unwrap_or(f64::NAN));
    let text = match text(quantity, "comparator") {
        None => Cow::Owned(value.to_string()),
        // Beyond the sensor's range only where a sensor's range may end: "under 200" says next to nothing.
        Some("<" | "<=") if mg_dl <= 70.0 => Cow::Borrowed("LO"),
        Some(">" | ">=") if mg_dl >= 300.0 => Cow::Borrowed("HI"),
        Some(other) => return Err(format!("says only '{other} {value} {unit}', which is not a range's end")),
    };
    Ok((text, unit))
}

/// The last part of a reference like `Patient/pepper`, or its display text.
fn what_it_refers_to<'a>(resource: &'a Object, field: &str) -> Option<&'a str> {
    let Some(Json::Object(reference)) = resource.get(field) else { return None };
    let id = text(reference, "reference").and_then(|path| path.rsplit(['/', ':']).next());
    id.or_else(|| text(reference, "display"))
}

/// The subject, unless a layout has said whose these files are and the subject is nobody known here.
pub(super) fn subject<'a>(said: Option<&'a str>, rules: &Rules<'_>) -> Option<&'a str> {
    let known = said.is_some_and(|name| rules.context.cats.iter().any(|(cat, _)| cat.as_str() == name));
    let fixed = rules.layout.is_some_and(|layout| layout.cat.is_some());
    said.filter(|_| known || !fixed)
}

fn text<'a>(object: &'a Object, field: &str) -> Option<&'a str> {
    object.get(field).and_then(Json::as_str)
}

fn reject(sheet: &mut Sheet, line: usize, resource: &Object, why: String) {
    sheet.reject(line, &serde_json::to_string(resource).unwrap_or_default(), why);
}

/// LOINC: glucose in interstitial fluid, mass and moles; 14745-4 (body fluid) is what a draft of the guide had.
const READING: &[&str] = &["99504-3", "105272-9", "14745-4"];
/// LOINC: glucose in blood, serum or plasma, capillary blood by meter; mass and moles (14743-9 from memory).
const METER: &[&str] = &["2339-0", "15074-8", "2345-7", "14749-6", "41653-7", "14743-9"];
/// LOINC: the guide's summaries.
const SUMMARY: &[&str] = &[
    "107931-8", "97507-8", "105273-7", "106793-3", "104642-4", "104641-6", "97510-2", "104640-8", "104639-0",
    "97506-0", "104638-2", "104636-6", "104637-4",
];
