//! Every reading of a record comes back from every format with its bits, and texts come
//! back as they were. What other programs read is in `tests/peers/export.rs`.

use super::super::tests::header;
use super::super::{Durability, Header, InstrumentRow, ReadingRow, Record, Run};
use super::*;
use crate::instrument::{Measurand, Reading, Regulation, Role, Sample};
use crate::units::Seconds;
use std::io::Write as _;

/// Texts that a careless writer breaks.
const TEXTS: [&str; 10] = [
    "",
    " blanks beside ",
    "a, \"b\"\r\nand\nc",
    "=HYPERLINK(\"x\")",
    "-5 V is what it shows",
    "+1",
    "@SUM(A1)",
    "'quoted",
    "\ta tab, µΩ, \u{1}\u{8}\u{fffe}",
    "]]> & <b>",
];

const VALUES: [f64; 9] = [
    0.1 + 0.2,
    5e-324,
    f64::MAX,
    -1.234_567_890_123_457e-12,
    0.0,
    1e15,
    123_456_789.012_345_67,
    f64::INFINITY,
    f64::NEG_INFINITY,
];

fn awkward(folder: &std::path::Path) -> Run {
    let head = Header { title: TEXTS[3].into(), unit: TEXTS[2].into(), began: "2026-11-25T15:04:26Z".into(), ..header() };
    let mut record = Record::create(folder, &head, Durability::Rehearsal).unwrap();
    for identity in [None, Some(TEXTS[0]), Some(TEXTS[3])] {
        let identity = identity.map(str::to_owned);
        let row = InstrumentRow { role: "supply".into(), identity, profile: "p".into(), address: None, calibration_due: None };
        record.instrument(&row).unwrap();
    }
    record.begin_stage(1, "ramp", "a ramp", Seconds(0.5)).unwrap();
    let samples = VALUES.map(|value| Sample::Value { value, u: value.abs() / 3.0 }).into_iter().chain([
        Sample::BelowFloor { floor: 2e-3 },
        Sample::Overload,
        Sample::NoReply,
        Sample::Late,
        Sample::Garbled,
        Sample::Stale,
        Sample::NotANumber,
    ]);
    for (place, sample) in (0..).zip(samples) {
        for (role, measurand) in [(Role::Supply, Measurand::Voltage), (Role::Meter, Measurand::Current)] {
            let asked = Seconds(f64::from(place) / 3.0);
            let answered = Seconds(asked.0 + 0.1);
            let reading = Reading { role, measurand, asked, answered, sample, regulation: Regulation::Voltage };
            record.reading(1, (place > 3).then_some(7), Some(place), &reading).unwrap();
        }
    }
    for (place, text) in (0..).zip(TEXTS) {
        record.event(Seconds(f64::from(place)), "answer", text).unwrap();
    }
    record.finish("done", 0, Seconds(9.0)).unwrap();
    drop(record);
    // A stretch of another day has its own clock.
    let mut record = Record::append(folder, Durability::Rehearsal).unwrap();
    record.resumed(Seconds(10.0), Seconds(5.0), "2026-11-27T08:00:00+02:00", "", &[]).unwrap();
    record.event(Seconds(10.25), "off", "the next day").unwrap();
    record.finish("done", 0, Seconds(11.0)).unwrap();
    Run::open(folder).unwrap()
}

fn written(run: &Run, name: &str, format: Format) -> Vec<u8> {
    let all = tables(run).unwrap();
    let table = all.iter().find(|t| t.name == name).unwrap();
    let mut bytes = Vec::new();
    export(run, table, format, &mut bytes, "memory").unwrap();
    bytes
}

/// What a reading is in a table, numbers by their bits.
fn expected(r: &ReadingRow) -> [Option<u64>; 8] {
    let of = |measurand: &str, value: Option<f64>| value.filter(|_| r.measurand == measurand).map(f64::to_bits);
    [
        Some(r.asked.0.to_bits()),
        Some(r.answered.0.to_bits()),
        of("voltage", r.value),
        of("voltage", r.u),
        of("voltage", r.floor),
        of("current", r.value),
        of("current", r.u),
        of("current", r.floor),
    ]
}

const NUMBERS: [&str; 8] =
    ["asked_s", "answered_s", "voltage_V", "voltage_u_V", "voltage_floor_V", "current_A", "current_u_A", "current_floor_A"];

#[test]
fn every_reading_comes_back_from_json_lines() {
    let folder = tempfile::tempdir().unwrap();
    let run = awkward(folder.path());
    let text = String::from_utf8(written(&run, "readings", Format::JsonLines)).unwrap();
    let back: Vec<serde_json::Value> = text.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    let rows = run.readings(1).unwrap();
    assert_eq!((back.len(), rows.len()), (32, 32));
    for (line, row) in back.iter().zip(&rows) {
        let number = |name: &str| match &line[name] {
            serde_json::Value::Null => None,
            serde_json::Value::String(text) => Some(text.parse::<f64>().unwrap().to_bits()),
            // serde_json reads to the last bit only with its feature `float_roundtrip`.
            number => Some(number.to_string().parse::<f64>().unwrap().to_bits()),
        };
        let text = |name: &str| line[name].as_str().unwrap().to_owned();
        assert!(close(NUMBERS.map(number), expected(row)), "{line}");
        assert_eq!(
            (text("flag"), text("role"), text("regulation")),
            (row.kind.clone(), row.role.clone(), row.regulation.clone())
        );
        assert_eq!(line["step"].as_u64().map(|s| s as u32), row.step);
        assert_eq!(line["start"].as_u64().map(|s| s as u32), row.start);
    }
    let first = text.lines().next().unwrap();
    assert!(first.contains("\"answered_utc\":\"2026-11-25T15:04:26.100000+00:00\""), "{first}");
}

/// Equal but for the last digit of serde_json's own reading.
fn close(ours: [Option<u64>; 8], theirs: [Option<u64>; 8]) -> bool {
    ours.iter().zip(&theirs).all(|(a, b)| match (a, b) {
        (Some(a), Some(b)) => a.abs_diff(*b) <= 1,
        (a, b) => a == b,
    })
}

#[cfg(feature = "parquet")]
#[test]
fn every_reading_comes_back_from_parquet() {
    use ::parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
    use arrow_array::{Array, Float64Array, StringArray};
    let folder = tempfile::tempdir().unwrap();
    let run = awkward(folder.path());
    let mut file = tempfile::tempfile().unwrap();
    file.write_all(&written(&run, "readings", Format::Parquet)).unwrap();
    let reader = ParquetRecordBatchReaderBuilder::try_new(file).unwrap();
    let schema = reader.schema().clone();
    assert_eq!(schema.field_with_name("current_u_A").unwrap().metadata()["unit"], "A");
    assert_eq!(schema.field_with_name("asked_s").unwrap().metadata()["unit"], "s");
    assert_eq!(schema.metadata()["unit under test"], TEXTS[2]);
    let mut rows = run.readings(1).unwrap().into_iter();
    for batch in reader.build().unwrap() {
        let batch = batch.unwrap();
        let column = |name: &str| batch.column_by_name(name).unwrap().clone();
        let numbers = NUMBERS.map(|name| column(name).as_any().downcast_ref::<Float64Array>().unwrap().clone());
        let flags = column("flag").as_any().downcast_ref::<StringArray>().unwrap().clone();
        for place in 0..batch.num_rows() {
            let row = rows.next().unwrap();
            let found = numbers.each_ref().map(|n| n.is_valid(place).then(|| n.value(place).to_bits()));
            assert_eq!(found, expected(&row));
            assert_eq!(flags.value(place), row.kind);
        }
    }
    assert!(rows.next().is_none());
}

#[test]
fn csv_is_as_rfc_4180_has_it_and_nothing_is_computed() {
    let folder = tempfile::tempdir().unwrap();
    let run = awkward(folder.path());
    let text = String::from_utf8(written(&run, "events", Format::Csv(Texts::Guarded))).unwrap();
    let expected = "at_utc,at_s,kind,text\r\n\
        2026-11-25T15:04:26.000000+00:00,0,answer,\"\"\r\n\
        2026-11-25T15:04:27.000000+00:00,1,answer,\" blanks beside \"\r\n\
        2026-11-25T15:04:28.000000+00:00,2,answer,\"a, \"\"b\"\"\r\nand\nc\"\r\n\
        2026-11-25T15:04:29.000000+00:00,3,answer,\"'=HYPERLINK(\"\"x\"\")\"\r\n\
        2026-11-25T15:04:30.000000+00:00,4,answer,'-5 V is what it shows\r\n\
        2026-11-25T15:04:31.000000+00:00,5,answer,'+1\r\n\
        2026-11-25T15:04:32.000000+00:00,6,answer,'@SUM(A1)\r\n\
        2026-11-25T15:04:33.000000+00:00,7,answer,''quoted\r\n\
        2026-11-25T15:04:34.000000+00:00,8,answer,\"'\ta tab, µΩ, \u{1}\u{8}\u{fffe}\"\r\n\
        2026-11-25T15:04:35.000000+00:00,9,answer,]]> & <b>\r\n\
        2026-11-27T06:00:00.250000+00:00,10.25,off,the next day\r\n";
    assert_eq!(text, expected);
    let plain = String::from_utf8(written(&run, "events", Format::Csv(Texts::Plain))).unwrap();
    assert!(plain.contains(",-5 V is what it shows\r\n") && plain.contains(",'quoted\r\n"), "{plain}");
    let readings = String::from_utf8(written(&run, "readings", Format::Csv(Texts::Guarded))).unwrap();
    // A negative number is a number, and gets nothing in front.
    assert!(readings.contains(",-1.234567890123457e-12,") && readings.contains(",5e-324,"), "{readings}");
    let first = format!(",value,0.30000000000000004,{},,,,,", (0.1 + 0.2) / 3.0);
    assert!(readings.lines().nth(1).unwrap().contains(&first), "{readings}");
}

#[test]
fn a_missing_cell_and_an_empty_text_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let run = awkward(folder.path());
    let csv = String::from_utf8(written(&run, "instruments", Format::Csv(Texts::Plain))).unwrap();
    assert_eq!(csv.lines().nth(1), Some("1,supply,,p,,"));
    assert_eq!(csv.lines().nth(2), Some("1,supply,\"\",p,,"));
    let lines = String::from_utf8(written(&run, "instruments", Format::JsonLines)).unwrap();
    assert!(lines.contains("\"identity\":null") && lines.contains("\"identity\":\"\""), "{lines}");
}

#[test]
fn a_ramp_pairs_each_current_with_the_voltage_before_it() {
    let folder = tempfile::tempdir().unwrap();
    let run = awkward(folder.path());
    let text = String::from_utf8(written(&run, "ramp", Format::JsonLines)).unwrap();
    let rows: Vec<serde_json::Value> = text.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(rows.len(), 16);
    assert!(rows.iter().all(|r| r["voltage_flag"] == r["current_flag"] && r["voltage_V"] == r["current_A"]), "{text}");
}

#[test]
fn junit_holds_only_what_xml_allows() {
    let folder = tempfile::tempdir().unwrap();
    let run = awkward(folder.path());
    let text = junit(&run).unwrap();
    let allowed = |c: char| matches!(c, '\n' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..);
    assert!(text.chars().all(allowed), "{text}");
    assert!(text.contains("value=\"a, &quot;b&quot;&#13;&#10;and&#10;c\""), "{text}");
    assert!(text.contains("<skipped message=\"the stage was cut off\"/>"), "{text}");
}
