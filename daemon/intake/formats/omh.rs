//! Open mHealth `omh:blood-glucose` (3.0 and 4.0), alone or as the body of a data point. Time, unit and statistic
//! are the shared pieces of IEEE 1752.1-2021.

use std::borrow::Cow;

use serde_json::{Map, Value as Json};

use super::fhir::subject;
use super::field::Field;
use super::row::{self, Cells, Rules};
use super::sheet::Sheet;

type Object = Map<String, Json>;

/// Reads one body or data point into `sheet`. Gives what is wrong with it.
pub(super) fn read(object: &Object, rules: &Rules<'_>, sheet: &mut Sheet) -> Option<String> {
    cells(object, rules).and_then(|cells| row::read(&cells, rules, sheet).map_or(Ok(()), Err)).err()
}

fn cells<'a>(object: &'a Object, rules: &Rules<'_>) -> Result<Cells<'a>, String> {
    let header = object.get("header");
    if let Some(name) = header.and_then(|header| header.get("schema_id")?.get("name")?.as_str())
        && name != "blood-glucose"
    {
        return Err(format!("is a '{name}', not a blood-glucose"));
    }
    let body = match object.get("body") {
        Some(Json::Object(body)) => body,
        Some(_) => return Err("'body' must be an object".to_owned()),
        None => object,
    };
    let mut cells = Cells::default();
    value(body, &mut cells)?;
    cells.set(Field::MeasuredAt, Cow::Borrowed(instant(body)?));
    match body.get("specimen_source").map(Json::as_str) {
        // Without a word on it, it is what this folder is for.
        None | Some(Some("interstitial fluid")) => {}
        Some(Some("capillary blood")) => cells.by_meter = true,
        Some(other) => return Err(format!("is of '{}', not of interstitial fluid", other.unwrap_or("?"))),
    }
    let user = header.and_then(|header| header.get("user_id")).and_then(Json::as_str);
    if let Some(user) = subject(user, rules) {
        cells.set(Field::Cat, Cow::Borrowed(user));
    }
    Ok(cells)
}

fn value(body: &Object, cells: &mut Cells<'_>) -> Result<(), String> {
    if let Some(statistic) = body.get("descriptive_statistic") {
        return Err(format!("is a summary ({statistic}), not a reading"));
    }
    let glucose = body.get("blood_glucose").ok_or("has no blood_glucose")?;
    let number = match glucose.get("value") {
        Some(Json::Number(number)) => number.to_string(),
        _ => return Err("blood_glucose has no number as its value".to_owned()),
    };
    let unit = glucose.get("unit").and_then(Json::as_str).ok_or("blood_glucose has no unit")?;
    cells.set(Field::Glucose, Cow::Owned(number));
    cells.set(Field::Unit, Cow::Owned(unit.to_owned()));
    Ok(())
}

fn instant(body: &Object) -> Result<&str, String> {
    let frame = body.get("effective_time_frame").ok_or("has no effective_time_frame")?;
    match (frame.get("date_time").and_then(Json::as_str), frame.get("time_interval")) {
        (Some(at), None) => Ok(at),
        (None, Some(_)) => Err("covers an interval: a reading needs one instant (date_time)".to_owned()),
        _ => Err("effective_time_frame must have exactly one of date_time and time_interval".to_owned()),
    }
}
