//! Sheets of readings: what is taken, what is refused, and with which words.

use std::io::{self, Read};

use bedplate_record::reading::Millis;
use bedplate_works::plan::read::parse;
use bedplate_works::plan::{Plan, SMALL_WORKS};
use bedplate_works::worksheet::check::{Field, Raw, check};
use bedplate_works::worksheet::mapping::{Mapping, MappingFault, Meaning};
use bedplate_works::worksheet::refused::refused_csv;
use bedplate_works::worksheet::{Defaults, Sheet, SheetFault, read_sheet};
use proptest::prelude::*;

/// 2026-11-24 12:00 UTC.
const NOON: Millis = 1_795_521_600_000;

fn demo() -> Plan {
    let text = include_str!("../../demo/works.toml");
    parse("works.toml", text).unwrap_or_else(|fault| panic!("{fault}"))
}

fn small() -> Plan {
    parse("works.toml", SMALL_WORKS).unwrap_or_else(|fault| panic!("{fault}"))
}

fn defaults(person: &str) -> Defaults {
    Defaults {
        person: Some(person.to_owned()),
        source: "test.csv".to_owned(),
        edition: "e".to_owned(),
        now: NOON,
        ..Defaults::default()
    }
}

fn read(plan: &Plan, input: impl Read) -> Result<Sheet, SheetFault> {
    let person = plan.people.keys().next().cloned().unwrap_or_default();
    read_sheet(input, plan, None, &defaults(&person))
}

fn values(sheet: &Sheet) -> Vec<(u64, String)> {
    let each = |(line, r): &(u64, bedplate_record::reading::Reading)| {
        let what = format!("{} {} {}", r.piece, r.characteristic, r.position);
        (*line, format!("{} = {}", what.trim_end(), r.value))
    };
    sheet.taken.iter().map(each).collect()
}

/// Rows of a sheet of one reading a row; with each broken one, the heading of the column that is
/// wrong (empty: the row as a whole) and the reason.
const ROWS: &[(&str, Option<(&str, &str)>)] = &[
    ("2026-11-24 08:00,B01,block.bore,1,68.0071,mm,air-bore,v-marl", None),
    (
        "2026-11-24 08:01,B01,block.bore,2,sixty-eight,mm,,",
        Some(("value", "\"sixty-eight\" is not a number with a unit, such as \"68.000 mm\"")),
    ),
    (
        "2026-11-24 08:02,B01,block.bore,3,68.0071,g,,",
        Some((
            "unit",
            "\"68.0071 g\" is a mass, but a length is wanted here, such as \"68.000 mm\"",
        )),
    ),
    (
        "2026-11-24 08:03,B01,block.bore,3,68.0071,mmm,,",
        Some(("unit", "\"mmm\" is not a unit known here; did you mean \"mm\"?")),
    ),
    (
        "2026-11-24 08:04,B01,block.bore,3,NaN,,,",
        Some(("value", "\"NaN\" is not a number with a unit, such as \"68.000 mm\"")),
    ),
    (
        "2026-11-24 08:05,B01,block.bore,3,-inf,,,",
        Some(("value", "\"-inf\" is not a number with a unit, such as \"68.000 mm\"")),
    ),
    (
        "2026-11-24 08:06,B01,block.bore,3,1e400,,,",
        Some((
            "value",
            "\"1e400\" has more digits, or is larger or smaller, than a reading can be",
        )),
    ),
    (
        "2026-11-24 08:07,B01,block.bore,3,0.001e-2147483648,,,",
        Some((
            "value",
            "\"0.001e-2147483648\" has more digits, or is larger or smaller, than a reading can be",
        )),
    ),
    (
        "2026-11-24 08:08,B01,block.bore,3,,,,",
        Some(("value", "nothing is written here; expected 68.000 mm")),
    ),
    (
        "2026-11-24 08:09,B01,block.bore,3,\"68,0.071\",,,",
        Some((
            "value",
            "\"68,0.071\" has both a point and a comma; write one decimal sign and no \
             thousands sign",
        )),
    ),
    (
        "2026-11-24 08:10,B01,block.bore,3,68007.1,mm,,",
        Some((
            "value",
            "68007.1 mm is about a thousand times the nominal 68.000 mm; was 68007.1 µm meant?",
        )),
    ),
    (
        "2026-11-24 08:11,B01,block.bore,3,2.6774,,,",
        Some((
            "value",
            "2.6774 mm is about one part in 25.4 of the nominal 68.000 mm; was 2.6774 in meant?",
        )),
    ),
    ("2026-11-24 08:12,B01,block.bore,3,2.6774 in,,,", None),
    (
        "2026-11-24 08:13,B01,block.bore,4,68.0071 mm,in,,",
        Some(("unit", "the value \"68.0071 mm\" has a unit of its own, but \"in\" beside it")),
    ),
    (
        "2026-11-24 08:14,,block.bore,4,68.0071,,,",
        Some(("piece", "no piece is named; write the number of the piece measured")),
    ),
    (
        "2026-11-24 08:15,P01,block.bore,4,68.0071,,,",
        Some((
            "piece",
            "\"P01\" is of the part piston by its number, but block.bore is measured on block, \
             whose numbers begin with \"B\"",
        )),
    ),
    (
        "2026-11-24 08:16,b01,block.bore,4,68.0071,,,",
        Some((
            "piece",
            "\"b01\" is no number of the part block; such numbers are \"B\" and digits",
        )),
    ),
    (
        "2026-11-24 08:17,B01\u{7},block.bore,4,68.0071,,,",
        Some(("piece", "it holds the control character U+0007; remove it")),
    ),
    (
        "2026-11-24 08:18,B0000000000000000000000000000000000000000000000000000000000000000001,\
         block.bore,4,68.0071,,,",
        Some(("piece", "it is 68 characters long; at most 64 are taken")),
    ),
    (
        "2026-11-24 08:19,B01,block.boer,4,68.0071,,,",
        Some((
            "characteristic",
            "there is no characteristic \"block.boer\" in the plan; did you mean \"block.bore\"?",
        )),
    ),
    (
        "2026-11-24 08:20,B01,,4,68.0071,,,",
        Some(("characteristic", "no characteristic is named; write it like \"block.bore\"")),
    ),
    (
        "2026-11-24 08:21,B01,block.bore,5,68.0071,,,",
        Some(("position", "block.bore has no position \"5\"; its positions are 1, 2, 3, 4")),
    ),
    (
        "2026-11-24 08:22,B01,block.bore,,68.0071,,,",
        Some(("position", "no position is named; block.bore has 1, 2, 3, 4")),
    ),
    (
        "2026-11-24 08:23,B01,block.deck_height,1,208.2,,,",
        Some((
            "position",
            "block.deck_height is measured in one place only; leave the position empty instead of \
             \"1\"",
        )),
    ),
    ("2026-11-24 08:24,B01,block.deck_height,,208.193,,,", None),
    (
        "2026-11-24 08:25,B01,block.bore,4,68.0071,,air-boar,",
        Some(("gauge", "there is no gauge \"air-boar\" in the plan; did you mean \"air-bore\"?")),
    ),
    (
        "2026-11-24 08:26,B01,block.bore,4,68.0071,,,v-marll",
        Some(("person", "there is no person \"v-marll\" in the plan; did you mean \"v-marl\"?")),
    ),
    (
        "24/11/2026 08:27,B01,block.bore,4,68.0071,,,",
        Some((
            "time",
            "\"24/11/2026 08:27\" is not a time; write it like \"2026-11-24 14:10\" or \
             \"2026-11-24T14:10:00+00:00\"",
        )),
    ),
    (
        "2026-11-24,B01,block.bore,4,68.0071,,,",
        Some((
            "time",
            "\"2026-11-24\" is not a time; write it like \"2026-11-24 14:10\" or \
             \"2026-11-24T14:10:00+00:00\"",
        )),
    ),
    (
        "2026-12-24 08:28,B01,block.bore,4,68.0071,,,",
        Some((
            "time",
            "\"2026-12-24 08:28\" is more than a day in the future; it is now \
             2026-11-24T12:00:00+00:00",
        )),
    ),
    (
        "1969-12-31T08:00:00Z,B01,block.bore,4,68.0071,,,",
        Some(("time", "\"1969-12-31T08:00:00Z\" is before 1970")),
    ),
    (
        "2026-11-24T08:00:00+00:00,B01,block.bore,1,68.0071,,,",
        Some(("piece", "block.bore 1 of piece B01 stands in line 2 already")),
    ),
    (
        "2026-11-24 08:30,B01,block.bore,4",
        Some(("value", "the row has 4 fields, the heading 8; it ends before \"value\"")),
    ),
    (
        "2026-11-24 08:31,B01,block.bore,4,68,0071,mm,,",
        Some((
            "",
            "the row has 9 fields, the heading 8; if commas are decimal signs, part the fields by \
             semicolons",
        )),
    ),
    (
        "2026-11-24 08:32,B01,block.bore,4,\"68.0071,mm,,",
        Some((
            "value",
            "a quote is opened here and not closed on this line; close it, and write each row on \
             one line",
        )),
    ),
    (
        "2026-11-24 08:33,B01,block.bore,4,\"68.0071\"2,mm,,",
        Some((
            "value",
            "there is text after the closing quote; put the whole field in quotes and double the \
             quotes inside it",
        )),
    ),
    (
        "2026-11-24 08:34,B01,block.bore,4,68.0\u{0}71,mm,,",
        Some(("", "the row holds a NUL byte; it is not text")),
    ),
    (
        "2026-11-24 08:35,B01,block.leak,,0.5,,,",
        Some(("value", "\"0.5\" is neither 1 (good) nor 0 (not good), as block.leak wants")),
    ),
    (
        "2026-11-24 08:36,E7,engine.oil_pressure,,3 bar,,,",
        Some((
            "piece",
            "engine.oil_pressure is measured on an engine, whose number is digits; got \"E7\"",
        )),
    ),
    (",,,,,,,", None),
    (
        "2026-11-24 08:59,B01,block.bore,4,68,007,,,",
        Some((
            "",
            "the row has 9 fields, the heading 8; if commas are decimal signs, part the fields by \
             semicolons",
        )),
    ),
    ("2026-11-24 09:00,\"B01\",block.bore,4,\"68,0071\",mm,,", None),
];

#[test]
fn every_kind_of_broken_row_is_refused_with_its_line_and_reason_and_no_other() {
    let plan = demo();
    let mut text = "time,piece,characteristic,position,value,unit,gauge,person\n".to_owned();
    ROWS.iter().for_each(|(row, _)| text.extend([row, "\n"]));
    let sheet = read(&plan, text.as_bytes()).unwrap();
    let mut refused = sheet.refused.iter();
    for (i, (row, wanted)) in ROWS.iter().enumerate() {
        let Some((column, reason)) = wanted else { continue };
        let got = refused.next().unwrap();
        assert_eq!((got.line, got.text.as_str()), (i as u64 + 2, *row));
        assert_eq!(got.reason, *reason, "{row}");
        let heading = got.column.as_ref().map_or("", |(_, heading)| heading);
        assert_eq!(heading, *column, "{row}");
    }
    assert_eq!(refused.next(), None);
    assert_eq!(
        values(&sheet),
        [
            (2, "B01 block.bore 1 = 68.0071 mm".to_owned()),
            (14, "B01 block.bore 3 = 2.6774 in".to_owned()),
            (26, "B01 block.deck_height = 208.193 mm".to_owned()),
            (43, "B01 block.bore 4 = 68.0071 mm".to_owned()),
        ]
    );
    assert_eq!(sheet.rows_read, ROWS.len() as u64 - 1);
    // The first row's time, gauge and person are those it gives.
    let (_, first) = &sheet.taken[0];
    assert_eq!(first.at, NOON - 4 * 3_600_000);
    assert_eq!(first.context.gauge.as_ref(), "air-bore");
    assert_eq!(first.context.person.as_ref(), "v-marl");
}

#[test]
fn a_local_time_is_in_the_works_zone_and_summer_time_counts() {
    let plan = demo();
    let at = |at: &str| {
        let raw = Raw {
            characteristic: "block.deck_height",
            piece: "B1",
            value: "208.2",
            at,
            ..Raw::default()
        };
        check(&plan, &raw, &defaults("v-marl")).map(|r| r.at)
    };
    // 13:00 in London in July is 12:00 UTC.
    assert_eq!(at("2026-07-01 13:00"), at("2026-07-01T12:00:00Z"));
    assert_eq!(at("2026-11-24T12:00:00"), Ok(NOON));
    assert_eq!(at(""), Ok(NOON));
    assert_eq!(at("noon:").unwrap_err().field, Field::Time);
}

#[test]
fn both_shapes_of_sheet_are_read_as_a_bench_writes_them() {
    let plan = demo();
    let long = "time,piece,characteristic,position,value,gauge,person,machine,spindle\n\
                2026-11-24T10:44:44Z,B02612,block.bore,1,68.0071 mm,air-bore,t-askew,\
                fine bore 1,1\n";
    let wide =
        "block,block.bore 1,block.bore 2,block.deck_height\nB02612,68.0071,68.0045,208.193\n";
    let long = read(&plan, long.as_bytes()).unwrap();
    assert_eq!(values(&long), [(2, "B02612 block.bore 1 = 68.0071 mm".to_owned())]);
    let context = &long.taken[0].1.context;
    assert_eq!((context.machine.as_ref(), context.spindle.as_ref()), ("fine bore 1", "1"));
    assert_eq!(context.source.as_ref(), "test.csv");
    assert_eq!(read(&plan, wide.as_bytes()).unwrap().taken.len(), 3);
}

#[test]
fn without_times_the_same_place_may_stand_once() {
    let sheet = read(&small(), &b"piece,bore1,bore2\nB1,68.001,68.002\nB1,68.003,\nB2,,68.1\n"[..]);
    let sheet = sheet.unwrap();
    assert_eq!(sheet.taken.len(), 3);
    assert_eq!(sheet.refused[0].line, 3);
    assert_eq!(
        sheet.refused[0].reason,
        "block.bore 1 of piece B1 stands in line 2 already; give the times if it was measured twice"
    );
}

#[test]
fn a_row_of_several_readings_is_taken_whole_or_refused_whole() {
    let text = "piece,bore1,bore 2 (mm),block.bore 3,bore_4_um\nB1,68.001,,68.003,68004\n\
                B2,68.001,68.002,68.003,x\nB3,,,,\n";
    let sheet = read(&small(), text.as_bytes()).unwrap();
    let taken = [
        (2, "B1 block.bore 1 = 68.001 mm".to_owned()),
        (2, "B1 block.bore 3 = 68.003 mm".to_owned()),
        (2, "B1 block.bore 4 = 68004 µm".to_owned()),
    ];
    assert_eq!(values(&sheet), taken);
    let columns: Vec<_> = sheet.refused.iter().map(|r| (r.line, r.column.clone())).collect();
    assert_eq!(columns, [(3, Some((5, "bore_4_um".to_owned()))), (4, None)]);
    assert_eq!(sheet.refused[1].reason, "nothing is measured in this row");
}

#[test]
fn marks_line_ends_separators_and_decimal_commas_of_any_spreadsheet_are_read() {
    let plain = "piece,bore1,bore2\nB1,68.001,68.002\nB2,68.003,\n";
    let wanted = values(&read(&small(), plain.as_bytes()).unwrap());
    assert_eq!(wanted.len(), 3);
    let commas = "piece;bore1;bore2\nB1;68,001;68,002\nB2;68,003;\n";
    let texts = [
        format!("\u{feff}{plain}"),
        plain.replace('\n', "\r\n"),
        plain.replace('\n', "\r"),
        plain.replace(',', "\t"),
        plain.replace(',', ";"),
        plain.trim_end().to_owned(),
    ];
    for text in &texts {
        assert_eq!(values(&read(&small(), text.as_bytes()).unwrap()), wanted, "{text:?}");
    }
    let comma_values: Vec<String> = wanted.iter().map(|(_, v)| v.clone()).collect();
    let got = read(&small(), commas.as_bytes()).unwrap();
    assert_eq!(values(&got).into_iter().map(|(_, v)| v).collect::<Vec<_>>(), comma_values);
    let with_mark = format!("\u{feff}sep=;\r\n{commas}");
    let got = read(&small(), with_mark.as_bytes()).unwrap();
    assert_eq!(values(&got).len(), 3);
    assert_eq!(got.mapping.separator, ';');
}

#[test]
fn files_that_are_no_utf8_text_are_refused_by_name_with_the_way_out() {
    let says = |bytes: &[u8]| read(&small(), bytes).unwrap_err().to_string();
    let utf16: Vec<u8> = "piece,bore1\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    for bytes in [[&[0xff, 0xfe][..], &utf16].concat(), utf16] {
        assert!(says(&bytes).starts_with("the file is in UTF-16; save it as UTF-8"));
    }
    assert!(says(b"PK\x03\x04....").contains("save it with the file type \"CSV UTF-8\""));
    assert!(says(b"pi\xe8ce,bore1\n").contains("line 1: the heading is not UTF-8 but Latin-1"));
    assert_eq!(says(b"\n \n"), "the file is empty; its first line names the columns");
    assert!(says(b"piece,\"bore1\n").contains("column 2 of the heading: a quote is opened"));
    // A row in Latin-1 among UTF-8 rows is refused alone.
    let sheet =
        read(&small(), &b"piece,bore1,note\nB1,68.001,\nB2,68.002,gepr\xfcft\nB3,68.003,\n"[..]);
    let sheet = sheet.unwrap();
    assert_eq!(sheet.taken.len(), 2);
    assert_eq!(
        sheet.refused[0].reason,
        "the row is not UTF-8 at its byte 15 (it looks like Latin-1); save the file with the file \
         type \"CSV UTF-8\""
    );
    assert_eq!(sheet.refused[0].text, "B2,68.002,geprüft");
}

#[test]
fn a_line_of_200_mb_is_refused_as_its_row_and_the_next_is_read() {
    let before = &b"piece,bore1\nB1,68.001\nB2,"[..];
    let input = before.chain(io::repeat(b'6').take(200_000_000)).chain(&b"\nB3,68.003\n"[..]);
    let sheet = read(&small(), input).unwrap();
    assert_eq!(sheet.taken.iter().map(|(line, _)| *line).collect::<Vec<_>>(), [2, 4]);
    let refused = &sheet.refused[0];
    assert_eq!(refused.line, 3);
    assert_eq!(
        refused.reason,
        "the line is 200000003 bytes long; a line is at most 1 MiB (1048576 bytes)"
    );
    assert!(refused.text.len() < 1_000 && refused.text.starts_with("B2,666"));
    let heading = io::repeat(b'p').take(3_000_000);
    assert!(read(&small(), heading).unwrap_err().to_string().contains("3000000 bytes long"));
}

#[test]
fn a_stream_that_breaks_says_where() {
    struct Breaking;
    impl Read for Breaking {
        fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
            Err(io::Error::other("cable out"))
        }
    }
    let fault = read(&small(), (&b"piece,bore1\nB1,68.0\n"[..]).chain(Breaking)).unwrap_err();
    assert_eq!(fault.to_string(), "line 3 could not be read: cable out");
}

#[test]
fn headings_are_understood_or_asked_about_and_never_guessed_near() {
    let says = |plan: &Plan, heading: &str| {
        let text = format!("{heading}\n");
        read(plan, text.as_bytes()).unwrap_err().to_string()
    };
    let (small, demo) = (small(), demo());
    for (heading, wanted) in [
        ("piece,boer1", "column 2 \"boer1\" is not known; did you mean \"block.bore 1\"?"),
        (
            "piece,bore",
            "column 2 \"bore\" does not say which position; it may be block.bore 1, block.bore 2, \
             block.bore 3, block.bore 4",
        ),
        (
            "piece,bore1 (g)",
            "column 2 \"bore1 (g)\" says block.bore 1 in g, but it is measured in such as mm",
        ),
        (
            "piece,bore1 (xyz)",
            "column 2 \"bore1 (xyz)\" says block.bore 1 in \"xyz\", which is no unit",
        ),
        (
            "piece,bore1,Bore 1",
            "columns 2 \"bore1\" and 3 \"Bore 1\" both mean block.bore 1; remove one of them",
        ),
        ("bore1,bore2", "no column says which piece was measured; head it \"piece\""),
        ("piece,characteristic", "no column says the value; head it \"value\""),
        (
            "piece,value",
            "no column says which characteristic was measured; head it \"characteristic\"",
        ),
        ("piece,time", "no column says what was measured; head columns"),
        (
            "piece,characteristic,value,bore1",
            "column 4 \"bore1\" holds the readings of block.bore 1, but the sheet also has a \
             column of values",
        ),
        ("piece,shoe size", "column 2 \"shoe size\" is not known; name a characteristic"),
    ] {
        let got = says(&small, heading);
        assert!(got.starts_with(&format!("line 1: {wanted}")), "{got}");
    }
    let got = says(&demo, "piece,mass");
    assert!(got.contains("can mean piston.mass or rod.mass; write which"), "{got}");
    // A column that names the part settles which.
    assert!(read(&demo, &b"rod_id,mass_g\nR1,612\n"[..]).unwrap().taken.len() == 1);
    let many = format!("piece{}", ",x".repeat(5_000));
    assert!(says(&small, &many).contains("5001 columns; at most 4096"));
}

#[test]
fn a_mapping_that_was_mended_is_given_back_and_used() {
    let plan = small();
    let text = b"Teil,Bohrung 1\nB1,68.001\n";
    let Err(SheetFault::Columns {
        fault: MappingFault::Unclear { guessed, n_unclear, .. }, ..
    }) = read(&plan, &text[..])
    else {
        panic!("the headings are not known");
    };
    assert_eq!(n_unclear, 2);
    let mut mapping = guessed;
    mapping.columns[0].meaning = Meaning::Piece;
    let measured = |p: &str| Meaning::Measured {
        characteristic: "block.bore".into(),
        position: p.into(),
        unit: None,
    };
    mapping.columns[1].meaning = measured("1");
    let kept = serde_json::to_string(&mapping).unwrap();
    let mapping: Mapping = serde_json::from_str(&kept).unwrap();
    let with =
        |mapping: &Mapping, text: &[u8]| read_sheet(text, &plan, Some(mapping), &defaults("me"));
    assert_eq!(with(&mapping, &text[..]).unwrap().taken.len(), 1);
    let other = with(&mapping, b"Teil,Masse\nP1,418\n").unwrap_err().to_string();
    assert!(other.contains("its column 2 is \"Bohrung 1\", here it is \"Masse\""), "{other}");
    let mut wrong = mapping;
    wrong.columns[1].meaning = measured("9");
    let wrong = with(&wrong, &text[..]).unwrap_err().to_string();
    assert!(wrong.contains("does not fit the plan: block.bore has no position \"9\""), "{wrong}");
}

#[test]
fn refused_rows_are_mended_and_read_again() {
    let plan = demo();
    let text = "piece;characteristic;position;value;remark\nB1;block.bore;1;=1+1;\"=SUM(A1;A2)\"\n\
                B2;block.bore;1;68,0x;-5\nB3;block.bore;1\nB4;block.bore;1;68,001;\n";
    let sheet = read(&plan, text.as_bytes()).unwrap();
    assert_eq!(sheet.taken.len(), 1);
    let csv = refused_csv(&sheet.mapping, &sheet.refused);
    let lines: Vec<&str> = csv.lines().collect();
    assert_eq!(lines[0], "piece;characteristic;position;value;remark;line;why");
    assert!(lines[1].starts_with("B1;block.bore;1;'=1+1;\"'=SUM(A1;A2)\";2;"), "{}", lines[1]);
    assert!(lines[2].starts_with("B2;block.bore;1;68,0x;-5;3;"), "{}", lines[2]);
    assert!(
        lines[3].starts_with("B3;block.bore;1;4;\"column 4 value: the row has 3"),
        "{}",
        lines[3]
    );
    // Unmended, each is refused for what it was refused for, but the row that is too short.
    let again = read(&plan, csv.as_bytes()).unwrap();
    assert!(again.taken.is_empty());
    let reasons = |s: &Sheet| s.refused[..2].iter().map(|r| r.reason.clone()).collect::<Vec<_>>();
    assert_eq!(reasons(&again), reasons(&sheet));
    // Mended, they are taken; refused once more, no second pair of columns is added.
    let mended = csv.replace("'=1+1", "68,002").replace("68,0x", "68,003");
    let mended = read(&plan, mended.as_bytes()).unwrap();
    assert_eq!(mended.taken.len(), 2);
    let once_more = refused_csv(&again.mapping, &again.refused);
    assert_eq!(once_more.lines().next(), Some(lines[0]));
}

#[test]
fn small_form_deviations_are_no_slip_of_unit_and_large_ones_are() {
    let plan = demo();
    let of = |value: &str| {
        let raw = Raw {
            characteristic: "block.bore_roundness",
            piece: "B1",
            position: "1",
            value,
            ..Raw::default()
        };
        check(&plan, &raw, &defaults("v-marl")).map(|r| r.value.to_string()).map_err(|r| r.reason)
    };
    assert_eq!(of("0.1"), Ok("0.1 µm".to_owned()));
    assert_eq!(of("95"), Ok("95 µm".to_owned()));
    assert_eq!(
        of("3.2 mm"),
        Err("3.2 mm is about a thousand times what the limit 5.0 µm lets expect; was 3.2 µm \
             meant?"
            .to_owned())
    );
}

fn csv_bytes() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        Just(b"B1".to_vec()),
        Just(b"block.bore".to_vec()),
        Just(b"68.0".to_vec()),
        Just(b",".to_vec()),
        Just(b";".to_vec()),
        Just(b"\"".to_vec()),
        Just(b"\r\n".to_vec()),
        Just(b"\n".to_vec()),
        Just(b"\r".to_vec()),
        Just(b"'=".to_vec()),
        Just(b"2026-11-24 08:00".to_vec()),
        proptest::collection::vec(any::<u8>(), 0..4),
    ];
    proptest::collection::vec(piece, 0..60).prop_map(|parts| parts.concat())
}

/// Lines as a plain second reading counts them: those that are not blank once parted.
fn n_data_lines(bytes: &[u8]) -> u64 {
    let text = String::from_utf8_lossy(bytes).replace("\r\n", "\n").replace('\r', "\n");
    let blank = |line: &str| line.chars().all(|c| c.is_whitespace() || c == ',');
    text.split('\n').filter(|line| !blank(line)).count() as u64
}

proptest! {
    #[test]
    fn any_bytes_are_answered_and_every_line_is_accounted_for(bytes in csv_bytes()) {
        let plan = small();
        let _ = read(&plan, &bytes[..]);
        let mut whole = b"time,piece,characteristic,position,value\n".to_vec();
        whole.extend_from_slice(&bytes);
        let sheet = read(&plan, &whole[..]).unwrap();
        prop_assert_eq!(sheet.rows_read, (sheet.taken.len() + sheet.refused.len()) as u64);
        // Quotes with nothing in them make a blank line too.
        if !bytes.contains(&b'"') {
            prop_assert_eq!(sheet.rows_read, n_data_lines(&bytes));
        }
        let csv = refused_csv(&sheet.mapping, &sheet.refused);
        let again = read(&plan, csv.as_bytes()).unwrap();
        prop_assert!(again.rows_read >= sheet.refused.len() as u64);
    }
}
