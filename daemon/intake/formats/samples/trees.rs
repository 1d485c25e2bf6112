//! JSON: our own, line by line, and of the standards.

use super::*;
use crate::words::MeterKind;

fn json(text: &str) -> Parsed {
    parse("a.json", text.as_bytes(), &context()).unwrap()
}

#[test]
fn json_is_one_object_many_or_a_scan() {
    let one = r#"{"measured_at":"2026-03-01T06:00:00Z","glucose":112}"#;
    assert_eq!(json(one).records.len(), 1);
    assert_eq!(json(&format!("[{one},{one}]")).records.len(), 2);
    let scan = json(&format!(r#"{{"readings":[{one}],"scanned_at":"2026-03-01T06:10:00Z","sensor":"s1"}}"#));
    assert_eq!(scan.scanned_at, Moment::parse("2026-03-01T06:10:00Z"));
    assert!(matches!(&scan.records[0], Record::Reading { sensor: Some(name), .. } if name == "s1"));
    assert_eq!(json(r#"{"scanned_at":"2026-03-01T06:10:00Z","readings":[]}"#).records, []);
    let meter = json(r#"{"measured_at":"2026-03-01T06:00:00Z","glucose":112,"meter":null}"#);
    assert!(matches!(&meter.records[0], Record::Meter(check) if check.meter == MeterKind::Unknown));
}

#[test]
fn broken_json_says_where_and_keeps_what_came_before() {
    let one = r#"{"measured_at":"2026-03-01T06:00:00Z","glucose":112}"#;
    let cut = json(&format!("[{one},{one},{{\"measured_at\":"));
    assert_eq!(cut.records.len(), 2);
    assert!(
        reasons(&cut)[0].contains("cut off") && reasons(&cut)[0].starts_with("3: "),
        "{:?}",
        reasons(&cut)
    );
    let error = parse("a.json", b"{\"readings\":[", &context()).unwrap_err().to_string();
    assert!(error.contains("line 1 column 13"), "{error}");
    assert!(parse("a.json", b"12", &context()).unwrap_err().to_string().contains("an object or a list"));
    let odd = json(r#"[7, {"glucose":[1]}, {"weight":4.2}, {"measured_at":5,"glucose":100}]"#);
    let got = reasons(&odd);
    assert!(got[0].contains("is not an object") && got[1].contains("must be a text or a number"), "{got:?}");
    assert!(got[2].contains("holds nothing known") && got[3].contains("'5' is not a time"), "{got:?}");
}

/// As some programs write what is missing; it costs its own row and no other.
#[test]
fn nan_and_infinity_in_json_are_nothing_and_what_comes_after_is_read() {
    let at = |minute: u32| format!("2026-03-01T06:{minute:02}:00Z");
    let object = |minute: u32, glucose: &str, sensor: &str| {
        format!(r#"{{"measured_at":"{}","glucose":{glucose},"sensor":"{sensor}"}}"#, at(minute))
    };
    let objects = [
        object(0, "112", "a"),
        object(15, "NaN", "a"),
        object(30, "-Infinity", "a"),
        object(45, "113", r#"NaN \"x\" Infinity"#),
    ];
    for (name, text) in [
        ("a.json", format!("[{}]", objects.join(","))),
        ("a.json", format!(r#"{{"readings":[{}]}}"#, objects.join(","))),
        ("a.ndjson", objects.join("\n")),
    ] {
        let parsed = parse(name, text.as_bytes(), &context()).unwrap();
        let values = [(at(0), Value::Level(112.0)), (at(45), Value::Level(113.0))];
        assert_eq!(readings(&parsed), values, "{text}");
        assert_eq!(reasons(&parsed), ["2: has a time but no value", "3: has a time but no value"], "{text}");
        let named = |record: &Record| matches!(record, Record::Reading { sensor: Some(name), .. } if name.contains("NaN \"x\" Inf"));
        assert!(parsed.records.iter().any(named), "what stands in quotes stays: {:?}", parsed.records);
    }
    let broken =
        parse("a.ndjson", format!("{{\"note\":\"cut\n{}", objects.join("\n")).as_bytes(), &context());
    assert_eq!(readings(&broken.unwrap()).len(), 2, "a quote that is left open costs its line");
}

#[test]
fn ndjson_rejects_line_by_line() {
    let text = "{\"given_at\":\"2026-03-01T06:00:00Z\"}\r\n\n{\"given_at\":\"2026-03-01T18:00:00Z\",\"units\":-1}\n{\"giv";
    let parsed = parse("a.ndjson", text.as_bytes(), &context()).unwrap();
    assert_eq!(parsed.records.len(), 1);
    let got = reasons(&parsed);
    assert!(got[0].starts_with("3: '-1' is not a number of insulin units"), "{got:?}");
    assert!(got[1].starts_with("4: the line is not JSON"), "{got:?}");
}

fn observation(inside: &str) -> String {
    format!(
        r#"{{"resourceType":"Observation","status":"final","effectiveDateTime":"2025-03-01T06:15:00+01:00",
        "code":{{"coding":[{{"system":"http://loinc.org","code":"99504-3"}}]}}{inside}}}"#
    )
}

/// FHIR R4 (4.0.1) Observation and Quantity, LOINC and UCUM codes of hl7.fhir.uv.cgm 1.0.0.
#[test]
fn fhir_observations_are_read_by_the_standard() {
    let quantity = |rest: &str| format!(r#","valueQuantity":{{"code":"mg/dL",{rest}}}"#);
    let bundle = [
        observation(&quantity(r#""value":112"#)),
        observation(&quantity(r#""value":40,"comparator":"<""#)),
        observation(&quantity(r#""value":500,"comparator":">""#)),
        observation(r#","valueQuantity":{"value":6.2,"code":"mmol/L"}"#).replace("99504-3", "105272-9"),
        observation(&quantity(r#""value":60"#)).replace("99504-3", "41653-7"),
        observation("").replace("99504-3", "97510-2"),
        r#"{"resourceType":"Patient","id":"pepper"}"#.to_owned(),
        observation(&quantity(r#""value":112"#)).replace("final", "entered-in-error"),
        observation(&quantity(r#""value":200,"comparator":"<""#)),
        observation(r#","dataAbsentReason":{"coding":[{"code":"error"}]}"#),
        observation(&quantity(r#""value":112"#)).replace("99504-3", "8867-4"),
        observation(&(quantity(r#""value":112"#) + r#","subject":{"reference":"Patient/somebody"}"#)),
    ];
    let entries: Vec<_> = bundle.iter().map(|resource| format!(r#"{{"resource":{resource}}}"#)).collect();
    let text = format!(r#"{{"resourceType":"Bundle","type":"collection","entry":[{}]}}"#, entries.join(","));
    let parsed = json(&text);
    let values: Vec<_> = readings(&Parsed { records: parsed.records[..4].to_vec(), ..Parsed::default() });
    assert_eq!(values[0], ("2025-03-01T05:15:00Z".to_owned(), Value::Level(112.0)));
    assert_eq!((values[1].1, values[2].1), (Value::Below, Value::Above));
    assert!((values[3].1.level().unwrap() - 111.7).abs() < 0.01);
    assert!(matches!(parsed.records[4], Record::Meter(_)) && parsed.records.len() == 5);
    let got = reasons(&parsed);
    for (got, expected) in got.iter().zip([
        "8: has the status 'entered-in-error'",
        "9: says only '< 200 mg/dL'",
        "10: has no value: ",
        "11: is not about glucose: LOINC code 8867-4",
        "12: no cat is called 'somebody'",
    ]) {
        assert!(got.starts_with(expected), "{got} | {expected}");
    }
    assert_eq!(got.len(), 5);
    let mut fixed = with_layout("files = 'clinic*.json'\ncat = 'pepper'");
    fixed.zone = chrono_tz::UTC;
    assert_eq!(parse("clinic.json", text.as_bytes(), &fixed).unwrap().records.len(), 6);
}

/// Open mHealth omh:blood-glucose 4.0 and IEEE 1752.1-2021 time-frame.
#[test]
fn open_mhealth_data_points_are_read_by_the_schema() {
    let body = r#"{"blood_glucose":{"value":95,"unit":"mg/dL"},
        "effective_time_frame":{"date_time":"2025-03-01T06:15:00+01:00"},"specimen_source":"interstitial fluid"}"#;
    let point = format!(r#"{{"header":{{"schema_id":{{"name":"blood-glucose"}}}},"body":{body}}}"#);
    let expected = [("2025-03-01T05:15:00Z".to_owned(), Value::Level(95.0))];
    assert_eq!(readings(&json(body)), expected);
    assert_eq!(readings(&json(&point)), expected);
    let meter = json(&body.replace("interstitial fluid", "capillary blood"));
    assert!(matches!(meter.records[0], Record::Meter(_)));
    for (from, to, reason) in [
        ("interstitial fluid", "tears", "is of 'tears'"),
        ("\"date_time\":\"2025-03-01T06:15:00+01:00\"", "\"time_interval\":{}", "covers an interval"),
        ("\"specimen_source\"", "\"descriptive_statistic\":\"average\",\"specimen_source\"", "is a summary"),
        ("\"unit\":\"mg/dL\"", "\"unit\":\"stone\"", "'stone' is not a unit"),
        (",\"unit\":\"mg/dL\"", "", "has no unit"),
    ] {
        let got = reasons(&json(&body.replace(from, to)));
        assert!(got[0].contains(reason), "{got:?}");
    }
    let other = json(&point.replace("blood-glucose", "heart-rate"));
    assert!(reasons(&other)[0].contains("is a 'heart-rate'"));
}
