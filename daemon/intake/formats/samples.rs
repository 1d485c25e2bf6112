//! Whole files through [`parse`]: the examples of `docs/formats.md`, the samples of the standards, damaged files,
//! and any bytes at all.

use super::*;
use crate::words::{MeterKind, ReadingKind, Value, minutes};

fn context() -> Context {
    Context {
        zone: chrono_tz::Europe::Vienna,
        cats: vec![(CatName::new("pepper").unwrap(), Unit::MgDl)],
        layouts: Vec::new(),
    }
}

fn two_cats() -> Context {
    let mut context = context();
    context.cats.push((CatName::new("mia").unwrap(), Unit::MmolL));
    context
}

fn with_layout(toml: &str) -> Context {
    let text: LayoutText = toml::from_str(toml).unwrap();
    Context { layouts: vec![Layout::new(&text).unwrap()], ..context() }
}

fn csv(text: &str) -> Parsed {
    parse("a.csv", text.as_bytes(), &context()).unwrap()
}

/// What went wrong, row by row, with its line.
fn reasons(parsed: &Parsed) -> Vec<String> {
    parsed.rejects.iter().map(|reject| format!("{}: {}", reject.line, reject.reason)).collect()
}

fn readings(parsed: &Parsed) -> Vec<(String, Value)> {
    parsed
        .records
        .iter()
        .map(|record| match record {
            Record::Reading { reading, .. } => (reading.measured_at.to_string(), reading.value),
            other => panic!("{other:?}"),
        })
        .collect()
}

/// Blocks of the page that a comment names: file name, what the comment says, the block.
fn examples(page: &str) -> Vec<(String, String, String)> {
    page.split("<!-- ")
        .skip(1)
        .map(|part| {
            let (said, rest) = part.split_once(" -->\n```").unwrap();
            let (name, counts) = said.split_once(": ").unwrap();
            let block = rest.split_once('\n').unwrap().1.split("```").next().unwrap();
            (name.to_owned(), counts.to_owned(), block.to_owned())
        })
        .collect()
}

#[test]
fn every_example_in_the_documentation_is_read_as_it_says() {
    let page = include_str!("../../../docs/formats.md");
    let toml = page.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    #[derive(serde::Deserialize)]
    struct Page {
        intake: Intake,
    }
    #[derive(serde::Deserialize)]
    struct Intake {
        layout: Vec<LayoutText>,
    }
    let configured: Page = toml::from_str(toml).unwrap();
    let layouts = configured.intake.layout.iter().map(|text| Layout::new(text).unwrap()).collect();
    let context = Context { layouts, ..context() };
    let examples = examples(page);
    assert!(examples.len() >= 11, "{}", examples.len());
    for (name, counts, block) in examples {
        let parsed =
            parse(&name, block.as_bytes(), &context).unwrap_or_else(|error| panic!("{name}: {error}"));
        let plural = |n: usize, word: &str| format!("{n} {word}{}", if n == 1 { "" } else { "s" });
        let found =
            [plural(parsed.records.len(), "record"), plural(parsed.rejects.len(), "reject")].join(", ");
        assert_eq!(found, counts, "{name}: {:?}", parsed.rejects);
    }
}

#[test]
fn the_clinic_example_means_what_it_should() {
    let page = include_str!("../../../docs/formats.md");
    let toml = page.split("[[intake.layout]]\n").nth(1).unwrap().split("```").next().unwrap();
    let context = with_layout(&toml.replace("[intake.layout.columns]", "[columns]"));
    let block = examples(page).into_iter().find(|(name, ..)| name == "clinic-march.txt").unwrap().2;
    let parsed = parse("clinic-march.txt", block.as_bytes(), &context).unwrap();
    let got = readings(&parsed);
    assert_eq!(got[0].0, "2026-03-01T05:00:00Z");
    assert!((got[0].1.level().unwrap() - 111.7).abs() < 0.01, "6.2 mmol/L");
    assert_eq!(got[1].1, Value::Below);
    assert!(
        matches!(&parsed.records[2], Record::Reading { reading, .. } if reading.kind == ReadingKind::Spot)
    );
    assert!(reasons(&parsed)[0].starts_with("8: 'Fehler' is not a glucose value"), "{:?}", parsed.rejects);
}

/// RFC 4180 section 2: rules 1 and 2 (CRLF, no break after the last line), 5 to 7 (quoted fields, line breaks and
/// commas inside, doubled quotes).
#[test]
fn tables_are_read_by_rfc_4180() {
    let text = "at,text,by\r\n2026-03-01 06:00,\"b \r\nbb\",\"a, \"\"quoted\"\" name\"\r\n\"2026-03-01 06:15\",zzz,yyy";
    let parsed = csv(text);
    assert_eq!(parsed.rejects, []);
    let Record::Note(note) = &parsed.records[0] else { panic!() };
    assert_eq!((note.text.as_str(), note.by.as_deref()), ("b \r\nbb", Some("a, \"quoted\" name")));
    assert_eq!(parsed.records.len(), 2);
}

#[test]
fn columns_go_by_name_in_any_order_and_strangers_are_ignored() {
    let parsed = csv("Battery,GLUCOSE,Measured at\n99,112,2026-03-01T06:00:00Z\n");
    assert_eq!(readings(&parsed), [("2026-03-01T06:00:00Z".to_owned(), Value::Level(112.0))]);
}

#[test]
fn bad_rows_are_told_with_line_and_reason_and_good_rows_are_kept() {
    let parsed = csv("measured_at,glucose,unit\r\n\
         2026-03-01T06:00:00Z,112,\r\n\
         2026-03-01T06:15:00Z,,\r\n\
         yesterday,100,\r\n\
         \r\n\
         2026-03-01T06:45:00Z,NaN,\r\n\
         2026-03-01T07:00:00Z,\"6,2\",mmol/L\r\n\
         2026-03-01T07:15:00Z,6,2,mmol/L\r\n\
         2026-03-01T07:30:00Z,100,mg\r\n\
         2026-03-01T07:45:00Z,5.6,\r\n\
         2026-03-01T08:00:00Z,111,\r\n\
         2026-03-01T08:15:00Z,1");
    assert_eq!(readings(&parsed).len(), 2);
    let expected = [
        "3: has a time but no value",
        "4: 'yesterday' is not a time",
        "6: NaN mg/dL cannot be",
        "7: '6,2' has a comma",
        "8: has 4 fields, the header has 3; is there a decimal comma",
        "9: 'mg' is not a unit",
        "10: 5.6 mg/dL is outside of what sensors and meters show; is it in mmol/L?",
        "12: has 2 fields, the header has 3; was it cut off?",
    ];
    let got = reasons(&parsed);
    assert_eq!(got.len(), expected.len(), "{got:?}");
    for (got, expected) in got.iter().zip(expected) {
        assert!(got.starts_with(expected), "{got} | {expected}");
    }
    assert_eq!(parsed.rejects[1].text, "yesterday,100,");
}

#[test]
fn a_quote_left_open_costs_one_row_and_not_the_file() {
    let mut text = "measured_at,glucose,sensor,remark\n2026-03-01T05:45:00Z,100,a,\"left open\n".to_owned();
    for minute in 0..50 {
        text += &format!("2026-03-01T06:{minute:02}:00Z,100,a,\n");
    }
    text += "2026-03-01T07:00:00Z,100,\"a,\n2026-03-01T07:15:00Z,100,a,fine\n";
    let parsed = csv(&text);
    assert_eq!(parsed.records.len(), 51, "{:?}", reasons(&parsed));
    let lines: Vec<_> = parsed.rejects.iter().map(|reject| reject.line).collect();
    assert_eq!(lines, [2, 53]);
    assert!(parsed.rejects.iter().all(|reject| reject.reason.contains("quote")), "{:?}", reasons(&parsed));
}

#[test]
fn a_wrong_letter_beside_a_reading_does_not_cost_it() {
    let parsed =
        parse("a.csv", b"measured_at,glucose,remark\n2026-03-01T06:00:00Z,112,Fr\xFChst\xFCck\n", &context());
    assert_eq!(parsed.unwrap().records.len(), 1);
}

#[test]
fn a_file_without_our_columns_says_what_it_has_and_what_is_needed() {
    let error = |text: &str| parse("a.csv", text.as_bytes(), &context()).unwrap_err().to_string();
    let wrong = error("Zeit,Wert\n1,2\n");
    assert!(
        wrong.contains("found 'Zeit', 'Wert'") && wrong.contains("'measured_at' and 'glucose'"),
        "{wrong}"
    );
    assert!(error("measured_at;glucose\n1;2\n").contains("separated by ';'"));
    assert!(error("2026-03-01T06:00:00Z,112\n").contains("looks like a row"));
    assert!(error("measured_at,glucose,glucose\n").contains("one column 'glucose', not two"));
    assert_eq!(parse("a.csv", b"", &context()), Err(FileError::Empty));
    assert!(matches!(parse("a.csv", b"PK\x03\x04\0\0", &context()), Err(FileError::Binary(_))));
    assert!(matches!(parse("a.pdf", b"%PDF", &context()), Err(FileError::UnknownType(_))));
    let big = vec![b'1'; BYTES_MAX as usize + 1];
    assert!(matches!(parse("a.csv", &big, &context()), Err(FileError::TooBig { .. })));
}

#[test]
fn a_file_in_the_wrong_unit_is_refused_as_a_whole() {
    let mut text = "measured_at,glucose\n".to_owned();
    for (minute, level) in [5.6, 5.9, 22.2, 6.8].into_iter().enumerate() {
        text += &format!("2026-03-01T06:{minute:02}:00Z,{level}\n");
    }
    let error = parse("a.csv", text.as_bytes(), &context()).unwrap_err().to_string();
    assert!(error.contains("3 of 4 values") && error.contains("is it in mmol/L?"), "{error}");
    let low_as_mmol = "measured_at,glucose,cat\n2026-03-01T06:00:00Z,45,mia\n";
    let parsed = parse("a.csv", low_as_mmol.as_bytes(), &two_cats()).unwrap();
    assert!(reasons(&parsed)[0].contains("is it in mg/dL?"), "45 mg/dL must not become 811");
}

#[test]
fn with_several_cats_a_row_must_say_which() {
    let text = "measured_at,glucose,cat\n2026-03-01T06:00:00Z,112,Pepper\n2026-03-01T06:00:00Z,6.2,mia\n\
                2026-03-01T06:15:00Z,112,felix\n2026-03-01T06:15:00Z,112,\n";
    let parsed = parse("mia-1.csv", text.as_bytes(), &two_cats()).unwrap();
    assert_eq!(parsed.records.iter().map(|r| r.cat().as_str()).collect::<Vec<_>>(), ["pepper", "mia"]);
    assert!((readings(&parsed)[1].1.level().unwrap() - 111.7).abs() < 0.01, "mia's unit is mmol/L");
    let got = reasons(&parsed);
    assert!(got[0].contains("no cat is called 'felix'") && got[0].contains("pepper, mia"), "{got:?}");
    assert!(got[1].contains("does not say which cat"), "{got:?}");
}

#[test]
fn the_two_nights_on_which_the_clocks_change_are_read() {
    let mut text = "measured_at,glucose\n".to_owned();
    for time in ["01:45", "02:00", "02:15", "02:30", "02:45", "02:00", "02:15", "02:30", "02:45", "03:00"] {
        text += &format!("2026-10-25 {time},100\n");
    }
    let parsed = csv(&text);
    let start = Moment::parse("2026-10-24T23:45:00Z").unwrap();
    for (number, record) in parsed.records.iter().enumerate() {
        assert_eq!(record.at(), start + minutes(15.0 * number as f64), "every quarter of an hour, no gap");
    }
    let spring =
        csv("measured_at,glucose\n2026-03-29 01:45,100\n2026-03-29 02:15,100\n2026-03-29 03:00,100\n");
    assert_eq!(readings(&spring)[1].0, "2026-03-29T01:00:00Z");
    assert!(reasons(&spring)[0].contains("does not exist in Europe/Vienna"), "{:?}", reasons(&spring));
}

#[test]
fn layouts_read_utf_16_tabs_and_columns_by_number() {
    let context = with_layout(
        "files = 'export-*'\nheader_row = false\nskip_lines = 1\ndelimiter = 'tab'\nencoding = 'utf-16le'\n\
         date_format = '%m/%d/%Y %I:%M %p'\nzone = 'America/New_York'\ncolumns = { measured_at = 2, glucose = 3 }",
    );
    let text = "Export\r\nx\t03/01/2026 06:15 PM\t112\r\nx\t03/01/2026 06:30 PM\tLO\r\n";
    let bytes: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let parsed = parse("export-1.dat", &bytes, &context).unwrap();
    assert_eq!(parsed.rejects, []);
    assert_eq!(readings(&parsed)[0], ("2026-03-01T23:15:00Z".to_owned(), Value::Level(112.0)));
    assert!(matches!(parse("other.dat", &bytes, &context), Err(FileError::UnknownType(_))));
}

#[test]
fn a_layout_by_header_leaves_our_own_tables_alone() {
    let context = with_layout(
        "header = ['Wert']\ndelimiter = ';'\ncolumns = { measured_at = 'Zeit', glucose = 'Wert' }",
    );
    let theirs = parse("a.csv", b"Zeit;Wert\n2026-03-01 06:00;112\n", &context).unwrap();
    let ours = parse("b.csv", b"measured_at,glucose\n2026-03-01 06:00,112\n", &context).unwrap();
    assert_eq!(theirs.records, ours.records);
    assert_eq!(ours.records.len(), 1);
    let missing = parse("a.csv", b"Wert;Tag\n112;1\n", &context).unwrap_err().to_string();
    assert!(missing.contains("a column 'Zeit'") && missing.contains("layout 'Wert'"), "{missing}");
}

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

#[test]
fn a_sensor_event_a_spare_and_a_diary_line_are_told_apart() {
    let parsed =
        csv("at,event,count\n2026-03-01 09:00,Came off,\n2026-03-01 09:00,,2\n2026-03-01 09:00,flew away,\n");
    assert!(matches!(parsed.records[0], Record::Sensor(_)) && matches!(parsed.records[1], Record::Spare(_)));
    assert!(reasons(&parsed)[0].contains("expected one of applied, error"), "{:?}", reasons(&parsed));
    let diary = csv("measured_at,glucose,meter,units\n2026-03-01 07:00,187,pet,two\n");
    assert_eq!(diary.records.len(), 1, "the meter check is kept");
    assert!(reasons(&diary)[0].contains("'two' is not a number of insulin units"));
}

#[test]
fn a_slip_beside_a_reading_is_told_and_the_reading_kept() {
    let parsed = csv("measured_at,glucose,kind,received_at\n2026-03-01 07:00,187,old,soon\n");
    assert_eq!(parsed.records.len(), 1);
    let got = reasons(&parsed);
    assert!(
        got[0].contains("kept, but 'old' is not a kind") && got[0].contains("received_at: 'soon'"),
        "{got:?}"
    );
}

mod any_bytes {
    use super::*;
    use proptest::prelude::*;

    fn contexts() -> Vec<Context> {
        vec![
            context(),
            two_cats(),
            with_layout(
                "files = '*'\ndelimiter = ';'\ndecimal_comma = true\ndate_format = ['%d.%m.%Y %H:%M', 'unix-seconds']\n\
                 below = ['<']\nskip_lines = 1\ncolumns = { date = 1, time = 2, glucose = [3, 4] }\nheader_row = false",
            ),
            with_layout("files = '*'\nencoding = 'utf-16be'\nheader = ['glucose']"),
        ]
    }

    /// Letters that make something happen, so that more than the first check is reached.
    fn texts() -> impl Strategy<Value = Vec<u8>> {
        let piece = prop::sample::select(vec![
            "measured_at",
            "glucose",
            "given_at",
            "units",
            "at",
            "event",
            "cat",
            "unit",
            "readings",
            ",",
            ";",
            "\n",
            "\r\n",
            "\"",
            "\"\"",
            "{",
            "}",
            "[",
            "]",
            ":",
            "null",
            "112",
            "5,6",
            "LO",
            "-1",
            "1e999",
            "NaN",
            "2026-10-25 02:30",
            "2026-03-01T06:00:00Z",
            "9999999999999999",
            "pepper",
            "resourceType",
            "Observation",
            "Bundle",
            "entry",
            "body",
            "header",
            "blood_glucose",
            "valueQuantity",
            "\u{fe}\u{ff}",
            "\0",
            "\u{1F408}",
        ]);
        prop::collection::vec(piece, 0..60).prop_map(|pieces| pieces.concat().into_bytes())
    }

    fn survives(bytes: &[u8]) -> Result<(), TestCaseError> {
        for context in contexts() {
            for name in ["a.csv", "a.json", "a.ndjson", "a.csv.gz", "a", ""] {
                let Ok(parsed) = parse(name, bytes, &context) else { continue };
                for record in &parsed.records {
                    let level = match record {
                        Record::Reading { reading, .. } => reading.value.level(),
                        Record::Meter(check) => check.glucose.level(),
                        Record::Dose(dose) => dose.units,
                        _ => None,
                    };
                    prop_assert!(level.is_none_or(|number| number.is_finite() && number > 0.0));
                }
                let count = parsed.records.iter().filter(|r| matches!(r, Record::Reading { .. })).count();
                let events = parsed.into_events(Via::Folder, name);
                let mut kept = 0;
                for (_, event) in &events {
                    if let Event::Readings(batch) = event {
                        kept += batch.readings.len() + batch.repeated as usize;
                        let rising = |pair: &[Reading]| {
                            (pair[0].measured_at, pair[0].kind) < (pair[1].measured_at, pair[1].kind)
                        };
                        prop_assert!(batch.readings.windows(2).all(rising));
                    }
                }
                prop_assert_eq!(kept, count, "no reading is lost on the way into events");
            }
        }
        Ok(())
    }

    proptest! {
        #[test]
        fn never_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
            survives(&bytes)?;
        }

        #[test]
        fn that_look_like_something_never_panic(bytes in texts()) {
            survives(&bytes)?;
        }

        #[test]
        fn after_a_good_header_never_panic(rest in texts()) {
            survives(&[b"measured_at,glucose,unit,cat\n".as_slice(), &rest].concat())?;
            survives(&[b"[{\"measured_at\":\"".as_slice(), &rest].concat())?;
        }

        #[test]
        fn a_table_we_write_is_the_table_we_read(
            rows in prop::collection::vec((0_i64..4_000_000_000, 20_u32..=700), 1..50)
        ) {
            let mut text = "measured_at,glucose\n".to_owned();
            for (seconds, level) in &rows {
                text += &format!("{},{level}\n", Moment::from_millis(seconds * 1000));
            }
            let parsed = parse("a.csv", text.as_bytes(), &context()).unwrap();
            let got: Vec<_> = readings(&parsed);
            let expected: Vec<_> = rows
                .iter()
                .map(|(s, level)| (Moment::from_millis(s * 1000).to_string(), Value::Level(f64::from(*level))))
                .collect();
            prop_assert_eq!(got, expected);
        }
    }

    use crate::words::{Event, Via};
}
