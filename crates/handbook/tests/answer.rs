//! Running, and the answer in JSON and in text.

mod sample;

use bedplate_gauge::calculation::{Argument, Calculation, Given};
use bedplate_handbook::answer::{RunError, run};
use bedplate_handbook::describe::{command_line, describe, help_text};
use bedplate_handbook::given::{from_json, from_texts, no_files};
use bedplate_handbook::schema::schema;
use sample::SAMPLE;
use serde_json::json;

fn example() -> Given {
    from_texts(&SAMPLE, SAMPLE.example, &no_files).expect("the example is sound")
}

#[test]
fn the_answer_in_json_keeps_its_keys() {
    let outcome = run(&SAMPLE, &example()).unwrap();
    let json = outcome.to_json();
    let keys: Vec<&String> = json.as_object().unwrap().keys().collect();
    assert_eq!(
        keys,
        ["calculation", "title", "inputs", "outputs", "formula", "source", "validity"]
    );
    assert_eq!(
        json["inputs"][0],
        json!({
            "name": "bore",
            "value": 68.0,
            "unit": "mm",
            "text": "68 mm",
            "meaning": "bore diameter",
        })
    );
    assert_eq!(json["inputs"][4]["value"], json!([1.2, 0.2]));
    assert_eq!(json["outputs"][1]["value"], json!(4));
    assert_eq!(json["outputs"][2]["text"], json!("guarded"));
    assert_eq!(json["outputs"][3]["text"], json!("0.2, 1.2 µm"));
    assert_eq!(json["outputs"][4]["value"]["rows"], json!([[30.0, 0.0], [30.0, 180.0]]));
    assert_eq!(json["outputs"][4]["value"]["columns"][1]["unit"], json!("°"));
}

#[test]
fn what_was_given_can_be_given_again() {
    let first = run(&SAMPLE, &example()).unwrap();
    let json = first.to_json();
    let mut again = json!({});
    for figure in json["inputs"].as_array().unwrap() {
        let name = figure["name"].as_str().unwrap();
        let bare = figure["unit"].as_str().unwrap().is_empty();
        again[name] = if bare {
            figure["value"].clone()
        } else {
            json!({ "value": figure["value"], "unit": figure["unit"] })
        };
    }
    let given = from_json(&SAMPLE, &again, &no_files).unwrap();
    assert_eq!(run(&SAMPLE, &given).unwrap(), first);
    let texts: Vec<(&str, String)> = first.inputs.iter().map(|f| (f.name, f.text())).collect();
    let given = from_texts(&SAMPLE, &texts, &no_files).unwrap();
    assert_eq!(run(&SAMPLE, &given).unwrap(), first);
}

#[test]
fn the_answer_on_a_terminal_is_set_in_columns() {
    let text = run(&SAMPLE, &example()).unwrap().to_text();
    let wanted = "\
Sample

Given
  bore       68 mm        bore diameter
  air        20 °C        temperature of the air
  cylinders  4            number of cylinders
  rule       guarded      decision rule
  readings   1.2, 0.2 µm  repeated readings
  holes                   holes that are already drilled
      radius [mm]  angle [°]
               30          0
               30        180

Found
  share      6800000 %    share of the bore in the spread of the readings
  cylinders  4            number of cylinders
  rule       guarded      decision rule
  sorted     0.2, 1.2 µm  the readings in order
  drilled                 the holes
      radius [mm]  angle [°]
               30          0
               30        180

Formula  s = d / R
Source   invented for the tests
Holds    The tests.
";
    assert_eq!(text, wanted);
}

#[test]
fn an_output_that_is_not_finite_is_an_error_that_names_it() {
    let pairs = [("bore", "68 mm"), ("readings", "1.2, 1.2 µm")];
    let given = from_texts(&SAMPLE, &pairs, &no_files).unwrap();
    let error = run(&SAMPLE, &given).unwrap_err();
    assert_eq!(error.to_string(), "the formula has no finite answer here: share came out as inf");
}

#[test]
fn a_refusal_names_its_input() {
    let readings = vec!["1 µm"; 101].join(", ");
    let pairs = [("bore", "68 mm".to_owned()), ("readings", readings)];
    let given = from_texts(&SAMPLE, &pairs, &no_files).unwrap();
    let error = run(&SAMPLE, &given).unwrap_err();
    assert!(matches!(error, RunError::Refused(_)));
    assert_eq!(error.to_string(), "readings: at most 100 are taken");
    assert_eq!(error.to_json()["problems"][0]["input"], "readings");
}

#[test]
fn inputs_put_together_by_hand_are_checked_for_their_shape() {
    let error = |name: &'static str, argument: Option<Argument>| {
        let mut given = example();
        given.0.remove(name);
        given.0.extend(argument.map(|argument| (name, argument)));
        run(&SAMPLE, &given).unwrap_err().to_string()
    };
    assert_eq!(error("bore", None), "bore is not given in the shape that is declared");
    for (name, argument) in [
        ("bore", Argument::Count(1)),
        ("bore", Argument::Number(f64::NAN)),
        ("rule", Argument::Word("other")),
        ("readings", Argument::List(vec![f64::INFINITY])),
        ("holes", Argument::Table(vec![vec![1.0]])),
    ] {
        assert!(error(name, Some(argument)).starts_with(name), "{name}");
    }
}

#[test]
fn the_description_tells_everything() {
    let json = describe(&SAMPLE);
    assert_eq!(json["stage"], "Gauge");
    assert_eq!(json["inputs"][0]["json_number_unit"], "m");
    assert_eq!(json["inputs"][0]["lower"], json!({"value": 0.0, "included": false}));
    assert_eq!(json["inputs"][3]["words"], json!(["guarded", "simple"]));
    assert_eq!(json["inputs"][5]["columns"][0]["name"], "radius");
    assert_eq!(json["example"]["readings"], "1.2, 0.2 µm");
    let given = from_json(&SAMPLE, &json["example"], &no_files).unwrap();
    assert!(run(&SAMPLE, &given).is_ok());
}

#[test]
fn the_help_shows_a_command_that_can_be_typed() {
    let command = "bedplate calc sample bore=\"68 mm\" readings=\"1.2, 0.2 µm\" \
                   holes=\"30, 0; 30, 180\"";
    assert_eq!(command_line(&SAMPLE), command);
    let help = help_text(&SAMPLE);
    assert!(help.contains(command), "{help}");
    assert!(help.contains("bore diameter, a length (mm), more than 0 and up to 500 mm"), "{help}");
    assert!(
        help.contains("temperature of the air, a temperature (°C); 20 °C if left out"),
        "{help}"
    );
    let inch = Calculation { example: &[("bore", "2\"$"), ("n", "4"), ("w", "it's!")], ..SAMPLE };
    assert_eq!(command_line(&inch), "bedplate calc sample bore='2\"$' n=4 w='it'\\''s!'");
}

#[test]
fn the_schema_bounds_bare_numbers_in_si() {
    let schema = schema(&SAMPLE);
    let request = &schema["request"];
    assert_eq!(request["required"], json!(["bore", "readings"]));
    let bore = &request["properties"]["bore"];
    assert_eq!(bore["anyOf"][0]["exclusiveMinimum"], json!(0.0));
    assert_eq!(bore["anyOf"][0]["maximum"], json!(0.5));
    assert!(bore["description"].as_str().unwrap().contains("a number without a unit is in m"));
    assert_eq!(request["properties"]["rule"]["enum"], json!(["guarded", "simple"]));
    assert_eq!(request["properties"]["holes"]["default"], "");
    let json = run(&SAMPLE, &example()).unwrap().to_json();
    let response = &schema["response"];
    let keys: Vec<&String> = json.as_object().unwrap().keys().collect();
    assert_eq!(response["required"], json!(keys));
    let outputs = response["properties"]["outputs"]["items"]["oneOf"].as_array().unwrap();
    for (wanted, got) in outputs.iter().zip(json["outputs"].as_array().unwrap()) {
        assert_eq!(wanted["properties"]["name"]["const"], got["name"]);
        assert_eq!(wanted["properties"]["unit"]["enum"][0], got["unit"]);
    }
}
