//! Reading inputs: every form in which they come, and everything that can be wrong with them.

mod sample;

use bedplate_gauge::calculation::{Argument, Given};
use bedplate_handbook::given::{from_arguments, from_json, from_texts, no_files, to_texts};
use bedplate_handbook::problem::{Problem, Problems};
use proptest::prelude::*;
use sample::{SAMPLE, argument};
use serde_json::{Value as Json, json};

/// Files of the tests.
fn files(path: &str) -> Result<Vec<u8>, String> {
    let text = match path {
        "holes.csv" => "\u{feff}angle_°;radius\r\n0;30,5\r\n\r\n3,14159265 rad;1,2 in\r\n",
        "bad-holes.csv" => "radius,angel\n30,0\nthirty,0\n30\n30 kg,1\n",
        "readings.csv" => "piece,readings [mm]\nP1,0.0012\nP2,0.0002 mm\n",
        "column.csv" => "1.2\n0.2\n",
        "row.csv" => "1.2,0.2\n",
        "two.csv" => "1.2,0.2\n1.3,0.3\n",
        "latin.csv" => return Ok(b"radius,angle\n30,0\xb0\n".to_vec()),
        _ => return Err("no such file".to_owned()),
    };
    Ok(text.as_bytes().to_vec())
}

fn texts(pairs: &[(&str, &str)]) -> Result<Given, Problems> {
    from_texts(&SAMPLE, pairs, &files)
}

fn with(name: &str, text: &str) -> Result<Given, Problems> {
    let mut pairs = vec![("bore", "68 mm"), ("readings", "1.2, 0.2 µm")];
    pairs.retain(|(n, _)| *n != name);
    pairs.push((name, text));
    texts(&pairs)
}

fn with_json(name: &str, value: Json) -> Result<Given, Problems> {
    let mut object = json!({ "bore": 0.068, "readings": [1.2e-6, 2e-7] });
    object[name] = value;
    from_json(&SAMPLE, &object, &files)
}

fn said(result: Result<Given, Problems>) -> String {
    result.expect_err("a fault").to_string()
}

fn list(numbers: &[f64]) -> Argument {
    Argument::List(numbers.to_vec())
}

fn table(rows: &[[f64; 2]]) -> Argument {
    Argument::Table(rows.iter().map(|row| row.to_vec()).collect())
}

#[test]
fn texts_are_read_in_their_units_and_defaults_fill_in() {
    let given = from_arguments(&SAMPLE, &["bore=2.6772 in", "readings=1.2, 0.2 µm"], &files);
    let given = given.unwrap();
    // 1 in = 25.4 mm exactly, international yard and pound agreement of 1959.
    assert_eq!(argument(&given, "bore"), &Argument::Number(68.000_88));
    assert_eq!(argument(&given, "air"), &Argument::Number(20.0));
    assert_eq!(argument(&given, "cylinders"), &Argument::Count(4));
    assert_eq!(argument(&given, "rule"), &Argument::Word("guarded"));
    assert_eq!(argument(&given, "readings"), &list(&[1.2, 0.2]));
    assert_eq!(argument(&given, "holes"), &table(&[]));
}

#[test]
fn every_form_of_list_gives_the_same_numbers() {
    for text in [
        "1.2, 0.2 µm",
        "1.2 µm, 0.2 µm",
        "0.0012 mm, 0.2 um",
        "1,2; 0,2 µm",
        "1,2 µm; 0,2 µm;",
        "1.2,0.2 µm",
        "1.2\n0.2 µm\n",
        "@readings.csv",
        " @column.csv ",
        "@row.csv",
    ] {
        let given = with("readings", text).unwrap_or_else(|p| panic!("{text}: {p}"));
        assert_eq!(argument(&given, "readings"), &list(&[1.2, 0.2]), "{text}");
    }
    for value in [
        json!([1.2e-6, 2e-7]),
        json!(["1.2 µm", 2e-7]),
        json!({"value": [0.0012, 0.0002], "unit": "mm"}),
        json!([{"value": 1.2, "unit": "µm"}, "0.2 µm"]),
        json!("1.2, 0.2 µm"),
        json!("@column.csv"),
    ] {
        let given = with_json("readings", value.clone()).unwrap_or_else(|p| panic!("{value}: {p}"));
        assert_eq!(argument(&given, "readings"), &list(&[1.2, 0.2]), "{value}");
    }
}

#[test]
fn every_form_of_table_gives_the_same_rows() {
    for text in [
        "radius, angle; 30.5, 0; 30.5, 180",
        "30.5 mm, 0°; 3.05 cm, 180°",
        "angle | radius [cm]",
        "angle; radius (cm) | 0; 3,05 | 180; 3,05",
        "radius_mm,angle\n30.5,0\n30.5,180\n",
        "RADIUS mm\tangle\n30,5\t0\n30,5\t180",
    ] {
        if text == "angle | radius [cm]" {
            // A heading alone has one cell a row: refused, not taken for an empty table.
            assert!(with("holes", text).is_err());
            continue;
        }
        let given = with("holes", text).unwrap_or_else(|p| panic!("{text}: {p}"));
        assert_eq!(argument(&given, "holes"), &table(&[[30.5, 0.0], [30.5, 180.0]]), "{text}");
    }
    for value in [
        json!([{"radius": "30.5 mm", "angle": 0}, {"angle": "180°", "radius": 0.0305}]),
        json!([[0.0305, 0], ["30.5 mm", "180°"]]),
        json!({"radius": [0.0305, "30.5 mm"], "angle": [0, "180°"]}),
        json!({
            "columns": ["radius", {"name": "angle", "unit": "°"}],
            "rows": [[0.0305, 0], [0.0305, 180]],
        }),
        json!("radius, angle; 30.5, 0; 30.5, 180"),
    ] {
        let given = with_json("holes", value.clone()).unwrap_or_else(|p| panic!("{value}: {p}"));
        assert_eq!(argument(&given, "holes"), &table(&[[30.5, 0.0], [30.5, 180.0]]), "{value}");
    }
}

#[test]
fn a_file_with_its_own_units_is_converted() {
    let given = with("holes", "@holes.csv").unwrap();
    let Argument::Table(rows) = argument(&given, "holes") else { panic!("a table") };
    assert_eq!(rows[0], [30.5, 0.0]);
    assert_eq!(rows[1][0], 30.48);
    assert!((rows[1][1] - 180.0).abs() < 1e-6);
}

#[test]
fn a_bare_json_number_is_si() {
    let given = with_json("bore", json!(0.068_008_7)).unwrap();
    assert_eq!(argument(&given, "bore"), &Argument::Number(68.008_7));
    let given = with_json("air", json!(293.15)).unwrap();
    assert_eq!(argument(&given, "air"), &Argument::Number(20.0));
    let given = with_json("bore", json!({"value": 68.0087, "unit": "mm"})).unwrap();
    assert_eq!(argument(&given, "bore"), &Argument::Number(68.008_7));
    // 68.0087 metres: what a person who forgets the rule runs into.
    let message = said(with_json("bore", json!(68.0087)));
    assert_eq!(
        message,
        "bore: 68008.7 mm is outside the range; it must be more than 0 and up to 500 mm \
         (bore diameter)"
    );
}

#[test]
fn everything_wrong_is_told_at_once() {
    let arguments = [
        "bor=68 mm",
        "air=20 mm",
        "rule=guraded",
        "cylinders=2.5",
        "cylinders=3",
        "readings",
        "x=1",
    ];
    let problems = from_arguments(&SAMPLE, &arguments, &files).unwrap_err();
    let text = problems.to_string();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(
        lines,
        [
            "\"readings\" is not name=value; write it like bore=\"68 mm\"",
            "bore is missing: bore diameter, a length (mm), more than 0 and up to 500 mm; \
             write it like bore=\"68 mm\"",
            "air: \"20 mm\" is a length, but a temperature is wanted here, such as \"20 °C\"; \
             expected: temperature of the air, a temperature (°C)",
            "cylinders is given twice; give it once",
            "cylinders: \"2.5\" is not a whole number; expected: number of cylinders, a whole \
             number, from 1 to 16",
            "rule: \"guraded\" is none of guarded, simple; did you mean guarded? (decision rule)",
            "readings is missing: repeated readings: a list, each a length (µm), \
             -1000 µm or more; write it like readings=\"1.2, 0.2 µm\"",
            "\"bor\" is no input of this calculation; did you mean bore? (it takes bore, air, \
             cylinders, rule, readings, holes)",
            "\"x\" is no input of this calculation (it takes bore, air, cylinders, rule, readings, \
             holes)",
        ]
    );
    assert_eq!(problems.list()[1].input(), Some("bore"));
    assert_eq!(problems.to_json()["problems"][1]["input"], "bore");
}

#[test]
fn a_wrong_value_names_itself_and_what_is_expected() {
    for (name, text, words) in [
        ("bore", "68", "\"68\" has no unit; write it like \"68.000 mm\"; expected: bore diameter"),
        ("bore", "sixty", "\"sixty\" is not a number with a unit"),
        ("bore", "NaN mm", "is not a number with a unit"),
        ("bore", "inf mm", "is not a number with a unit"),
        ("bore", "1e400 mm", "larger or smaller"),
        ("bore", "68 mmm", "did you mean \"mm\""),
        ("bore", "-3 mm", "-3 mm is outside the range; it must be more than 0 and up to 500 mm"),
        ("bore", "", "bore is missing"),
        ("cylinders", "0", "0 is outside the range; it must be from 1 to 16"),
        ("cylinders", "4 mm", "\"4 mm\" is not a whole number"),
        ("cylinders", "400 %", "\"400 %\" is not a whole number"),
        ("cylinders", "1e30", "is outside the range"),
        ("readings", "1.2, x, 0.2 µm", "readings, number 2: \"x\" is not a number"),
        ("readings", "1.2, 0.2", "readings, number 1: \"1.2\" has no unit"),
        ("readings", "1.2 µm, 0.2", "readings, number 2: \"0.2\" has no unit"),
        ("readings", "1, -2000 µm", "readings, number 2: -2000 µm is outside the range"),
        ("readings", "68,012 µm", "cannot be told whether a comma parts two numbers"),
        ("readings", "1,2, 1,3 µm", "cannot be told whether a comma parts two numbers"),
        ("readings", "1.2,, 3 µm", "readings, number 2: nothing is written here"),
        ("readings", ";", "readings is empty"),
        ("readings", "@none.csv", "readings: the file none.csv cannot be read: no such file"),
        ("readings", "@two.csv", "a file with several columns"),
        ("readings", "@latin.csv", "latin.csv is not UTF-8 text at byte 17"),
        ("holes", "30, 0, 5", "holes, row 1: 3 cells, but the table has 2 columns: radius, angle"),
        ("holes", "radius; 30", "the column angle is missing; expected: its angle from the mark"),
        ("holes", "30, 5 kg", "holes, row 1, angle: \"5 kg\" is a mass, but an angle is wanted"),
        ("holes", "radius [kg], angle; 1, 2", "is a mass, but a length is wanted"),
        ("holes", "radius, radius, angle; 1, 1, 2", "the column radius stands twice"),
        ("holes", "30, ", "holes, row 1, angle: nothing is written here"),
    ] {
        let message = said(with(name, text));
        assert!(message.contains(words), "{name}={text}: {message}");
        assert!(message.contains(name), "{name}={text}: {message}");
    }
}

#[test]
fn each_fault_of_a_file_is_told_with_its_line() {
    let message = said(with("holes", "@bad-holes.csv"));
    for words in [
        "holes, line 1: \"angel\" is no column of this table; did you mean angle? \
         (it has radius, angle)",
        "holes, line 1: the column angle is missing",
        "holes, line 3, radius: \"thirty\" is not a number",
        "holes, line 4: 1 cells",
        "holes, line 5, radius: \"30 kg\" is a mass",
    ] {
        assert!(message.contains(words), "{words} in {message}");
    }
}

#[test]
fn json_of_the_wrong_shape_is_refused() {
    for (name, value, words) in [
        ("bore", json!([0.068]), "an array is given where it does not fit"),
        ("bore", json!(true), "true or false is given where it does not fit"),
        ("bore", json!(null), "bore is missing"),
        ("bore", json!({"value": 68}), "an object other than"),
        ("bore", json!(1e306), "bore: 1e306 is too large to be worked with"),
        ("cylinders", json!(2.5), "\"2.5\" is not a whole number"),
        ("cylinders", json!([]), "an array is given"),
        ("rule", json!(1), "a number is given where it does not fit"),
        ("readings", json!([]), "readings is empty"),
        ("readings", json!(1.2e-6), "a number is given"),
        ("readings", json!([[1]]), "readings, number 1: an array is given"),
        ("readings", json!({"value": [1], "unit": "kg"}), "a mass, but a length is wanted"),
        ("holes", json!([{"radius": 0.03}]), "holes, row 1: the column angle is missing"),
        ("holes", json!([[0.03, 0], [0.03]]), "holes, row 2: 1 cells"),
        ("holes", json!([1]), "holes, row 1: a number is given"),
        ("holes", json!({"radius": [0.03], "angle": []}), "holes, row 1: 1 cells"),
        ("holes", json!({"columns": [1], "rows": []}), "holes, heading: \"\" is no column"),
    ] {
        let message = said(with_json(name, value.clone()));
        assert!(message.contains(words), "{name}={value}: {message}");
    }
    let message = said(from_json(&SAMPLE, &json!([1]), &files));
    assert!(
        message.starts_with("an array is given, but an object of inputs is wanted"),
        "{message}"
    );
}

#[test]
fn an_optional_table_may_be_empty() {
    for value in [json!([]), json!(""), json!(null), json!({"radius": [], "angle": []})] {
        let given = with_json("holes", value.clone()).unwrap_or_else(|p| panic!("{value}: {p}"));
        assert_eq!(argument(&given, "holes"), &table(&[]), "{value}");
    }
}

#[test]
fn files_are_read_only_where_the_caller_reads_them() {
    let pairs = [("bore", "68 mm"), ("readings", "@readings.csv")];
    let message = said(from_texts(&SAMPLE, &pairs, &no_files));
    assert!(message.contains("files are read on the command line only"), "{message}");
}

#[test]
fn a_file_full_of_faults_is_cut_short_and_counted() {
    let huge = |_: &str| Ok(format!("radius,angle\n{}", "x,y\n".repeat(100_000)).into_bytes());
    let pairs = [("bore", "68 mm"), ("readings", "1.2, 0.2 µm"), ("holes", "@huge.csv")];
    let problems = from_texts(&SAMPLE, &pairs, &huge).unwrap_err();
    assert_eq!(problems.list().len(), 200);
    assert_eq!(problems.more(), 200_000 - 200);
    assert!(problems.to_string().ends_with("more like these"));
}

#[test]
fn a_text_of_many_megabytes_is_refused_quickly() {
    let huge = "1".repeat(20_000_000);
    for name in ["bore", "cylinders", "rule", "readings", "holes", "hugename"] {
        let message = said(with(name, &huge));
        assert!(message.len() < 2_000, "{name}");
    }
    let name = "n".repeat(20_000_000);
    assert!(said(with(&name, "1")).len() < 2_000);
}

fn is_place_given(problem: &Problem) -> bool {
    !problem.to_string().is_empty()
}

proptest! {
    #[test]
    fn any_text_for_any_input_is_read_or_refused(
        which in 0..6_usize,
        text in prop_oneof!["\\PC{0,40}", "[-0-9.,;|@ emuµ°\n\"radiusngle\\[\\]]{0,60}"],
    ) {
        let name = SAMPLE.inputs[which].name;
        if let Err(problems) = with(name, &text) {
            prop_assert!(problems.list().iter().all(is_place_given));
        }
        let _ = with_json(name, json!(text));
        let _ = from_arguments(&SAMPLE, &[text], &files);
    }

    #[test]
    fn any_json_for_any_input_is_read_or_refused(which in 0..6_usize, value in any_json()) {
        let _ = with_json(SAMPLE.inputs[which].name, value.clone());
        let _ = from_json(&SAMPLE, &value, &files);
    }

    #[test]
    fn what_is_written_out_reads_back_as_the_same(
        bore in 1e-6..500.0_f64,
        air in -1e3..1e3_f64,
        readings in prop::collection::vec(-1e3..1e9_f64, 1..9),
        holes in prop::collection::vec((-1e9..1e9_f64, -360.0..360.0_f64), 0..5),
    ) {
        let pairs = [("bore", "68 mm"), ("readings", "1 µm")];
        let mut given = texts(&pairs).unwrap();
        given.0.insert("bore", Argument::Number(bore));
        given.0.insert("air", Argument::Number(air));
        given.0.insert("readings", Argument::List(readings));
        let rows = holes.iter().map(|(radius, angle)| vec![*radius, *angle]).collect();
        given.0.insert("holes", Argument::Table(rows));
        let written = to_texts(&SAMPLE, &given);
        let back = from_texts(&SAMPLE, &written, &no_files).unwrap();
        prop_assert_eq!(back.0, given.0);
    }
}

fn any_json() -> impl Strategy<Value = Json> {
    let leaf = prop_oneof![
        Just(Json::Null),
        any::<bool>().prop_map(Json::from),
        any::<f64>().prop_map(Json::from),
        any::<i64>().prop_map(Json::from),
        "\\PC{0,12}".prop_map(Json::from),
        "[0-9.]{1,3} (mm|µm|°)".prop_map(Json::from),
    ];
    let key = prop_oneof![
        "[a-z]{0,5}",
        Just("radius".to_owned()),
        Just("angle".to_owned()),
        Just("value".to_owned()),
        Just("unit".to_owned()),
        Just("columns".to_owned()),
        Just("rows".to_owned()),
        Just("bore".to_owned()),
    ];
    leaf.prop_recursive(4, 32, 6, move |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Json::from),
            prop::collection::btree_map(key.clone(), inner, 0..5)
                .prop_map(|map| Json::Object(map.into_iter().collect())),
        ]
    })
}
