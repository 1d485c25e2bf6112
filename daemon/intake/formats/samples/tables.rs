//! Tables: CSV by RFC 4180, by layouts, in other encodings, with what people get wrong in them.

use super::*;
use crate::words::minutes;

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

#[test]
fn words_and_signs_for_the_ends_of_the_range_are_read() {
    let value = |text: &str| {
        let parsed = csv(&format!("measured_at,glucose,unit\n2026-03-01T06:00:00Z,{text}\n"));
        readings(&parsed).first().map_or_else(|| Err(reasons(&parsed).join(" ")), |(_, value)| Ok(*value))
    };
    for text in [
        "LOW,",
        "Low,",
        "lo,",
        "<40,",
        "< 40 mg/dL,",
        "\u{2264}40,",
        "<=40,",
        "<30,",
        "<2.2,mmol/L",
        "< 2.2 mmol/L,",
    ] {
        assert_eq!(value(text), Ok(Value::Below), "{text}");
    }
    for text in ["HIGH,", "High,", "hi,", ">500,", "\u{2265} 500,", ">= 500,", ">600 mg/dL,", ">27.8,mmol/L"]
    {
        assert_eq!(value(text), Ok(Value::Above), "{text}");
    }
    for (text, part) in [
        ("<70,", "it is read down to 40 mg/dL ('range' in [cat.sensor])"),
        ("<3.9,mmol/L", "it is read down to 2.2 mmol/L"),
        (">400,", "it is read up to 500 mg/dL"),
        ("<4,", "is it in mmol/L?"),
        ("<,", "is not a glucose value"),
        ("<40 units,", "is not a glucose value"),
        ("<LO,", "is not a glucose value"),
        (">>500,", "is not a glucose value"),
        ("40>,", "is not a glucose value"),
    ] {
        let why = value(text).unwrap_err();
        assert!(why.contains(part), "{text}: {why}");
    }
    let wide = Context { ranges: vec![(CatName::new("pepper").unwrap(), [54.0, 400.0])], ..context() };
    let text = "measured_at,glucose\n2026-03-01T06:00:00Z,<54\n2026-03-01T06:15:00Z,>400\n";
    let parsed = parse("a.csv", text.as_bytes(), &wide).unwrap();
    assert_eq!(
        readings(&parsed).iter().map(|(_, value)| *value).collect::<Vec<_>>(),
        [Value::Below, Value::Above]
    );
    let meter =
        csv("measured_at,glucose,meter\n2026-03-01T06:00:00Z,<20,pet\n2026-03-01T06:15:00Z,<40,pet\n");
    assert!(matches!(&meter.records[..], [Record::Meter(check)] if check.glucose == Value::Below));
    assert!(reasons(&meter)[0].contains("it is read down to 20 mg/dL"), "{:?}", meter.rejects);
}

/// 21 mmol/L read as 21 mg/dL would be a critical low of a cat that is high.
#[test]
fn a_file_in_mmol_without_a_unit_is_no_low() {
    let table = |values: &[&str]| {
        let rows =
            values.iter().zip(10..).map(|(value, minute)| format!("2026-03-01T06:{minute}:00Z,{value}\n"));
        parse("a.csv", format!("measured_at,glucose\n{}", rows.collect::<String>()).as_bytes(), &context())
    };
    for values in [&["21.4", "20.7", "22", "19.3"][..], &["21", "18", "LO"], &["5.2", "6.1", "21.4"]] {
        let why = table(values).unwrap_err().to_string();
        assert!(why.contains("mmol/L"), "{values:?}: {why}");
    }
    let why = table(&["21.4", "20.7", "19.3"]).unwrap_err().to_string();
    assert!(
        why.contains("3 numbers without a unit look like mmol/L") && why.contains("column 'unit'"),
        "{why}"
    );
    // A number that no cat in mmol/L has, one that the sensor does read in mg/dL, or nothing too low for mg/dL.
    for (values, kept) in
        [(&["33", "8"][..], 1), (&["21", "112", "8"], 2), (&["21", "25"], 2), (&["21", "LO"], 2)]
    {
        assert_eq!(table(values).unwrap().records.len(), kept, "{values:?}");
    }
    let named = "measured_at,glucose,unit\n2026-03-01T06:00:00Z,21,mg/dL\n2026-03-01T06:15:00Z,8,mg/dL\n";
    assert_eq!(csv(named).records.len(), 1, "whoever names the unit means it");
}

#[test]
fn a_newest_value_that_cannot_be_read_is_told_apart_from_other_bad_rows() {
    let unread = |text: &str| {
        let parsed = csv(&format!("measured_at,glucose,meter,sensor\n{text}"));
        parsed
            .unread
            .iter()
            .map(|unread| (unread.at.to_string()[11..16].to_owned(), unread.shown.clone()))
            .collect::<Vec<_>>()
    };
    let good = "2026-03-01T06:00:00Z,112,,\n";
    let bad = "2026-03-01T06:15:00Z,ERR3,,\n";
    assert_eq!(unread(&format!("{good}{bad}")), [("06:15".to_owned(), "ERR3".to_owned())]);
    assert_eq!(
        unread(&format!("{bad}2026-03-01T06:20:00Z,n/a,,\n{good}")),
        [("06:20".to_owned(), "n/a".to_owned())]
    );
    assert_eq!(unread(&bad.replace("ERR3", &"-".repeat(500)))[0].1.len(), 20);
    for none in [
        format!("{bad}2026-03-01T06:30:00Z,112,,\n"),
        format!("{good}2026-03-01T06:15:00Z,,,\n"),
        format!("{good}2026-03-01T06:15:00Z,ERR3,pet,\n"),
        format!("{good}yesterday,ERR3,,\n"),
    ] {
        assert_eq!(unread(&none), [], "{none}");
    }
}

/// The night of 2026-10-25 in Vienna has 02:00 to 03:00 twice, from 00:00 and from 01:00 UTC.
#[test]
fn when_a_file_was_written_tells_the_two_hours_of_autumn_apart() {
    let read = |times: &[&str], arrived: &str| {
        let rows: String = times.iter().map(|time| format!("2026-10-25 {time},112\n")).collect();
        let arrived = Moment::parse(&format!("2026-10-25T{arrived}:00Z"));
        let text = format!("measured_at,glucose\n{rows}");
        let parsed = parse_arrived("a.csv", text.as_bytes(), &context(), arrived).unwrap();
        readings(&parsed).iter().map(|(at, _)| at[11..16].to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(read(&["02:20"], "00:21"), ["00:20"], "written in the first hour");
    assert_eq!(read(&["02:20"], "01:21"), ["01:20"], "in the second");
    assert_eq!(read(&["02:20", "02:25"], "01:26"), ["01:20", "01:25"]);
    assert_eq!(read(&["02:55"], "01:10"), ["00:55"], "of the second hour it would be of the future");
    assert_eq!(
        read(&["01:55", "02:20"], "01:21"),
        ["23:55", "00:20"],
        "the row before it is of the first hour"
    );
    assert_eq!(read(&["02:45", "02:20"], "01:50"), ["01:45", "01:20"], "newest first");
    assert_eq!(read(&["02:45", "02:20", "02:30"], "01:50")[2], "01:30");
}
