//! Sound works files: what is read from them, and that what was read can be read again.

use std::time::{Duration, Instant};

use bedplate_gauge::judge::DecisionRule;
use bedplate_gauge::quantity::Quantity;
use bedplate_works::plan::json::to_json;
use bedplate_works::plan::read::parse;
use bedplate_works::plan::{Characteristic, Kind, Plan, SMALL_WORKS, Sampling, Shown, Source};

const FULL: &str = include_str!("plan/full.toml");
const DEMO: &str = include_str!("../../demo/works.toml");

fn plan(text: &str) -> Plan {
    parse("works.toml", text).unwrap_or_else(|fault| panic!("{fault}"))
}

fn text(quantity: Option<Quantity>) -> String {
    quantity.map_or_else(|| "none".to_owned(), |q| q.to_string())
}

fn limits(c: &Characteristic) -> (String, String) {
    (text(c.lower), text(c.upper))
}

#[test]
fn the_small_works_is_sound_and_explains_every_line() {
    let plan = plan(SMALL_WORKS);
    assert_eq!(plan.engines["QB4"].firing_order, [1, 3, 4, 2]);
    assert_eq!(plan.people["me"].roles.len(), 5);
    assert_eq!(plan.fits["piston-in-bore"].target.to("µm"), 36.0);
    let longest = SMALL_WORKS.lines().map(|l| l.chars().count()).max();
    assert!(longest <= Some(100), "{longest:?}");
}

#[test]
fn the_demo_works_is_sound_and_read_in_a_moment() {
    let demo = plan(DEMO);
    assert!(demo.characteristics.len() >= 60, "{}", demo.characteristics.len());
    let fastest = (0..7).map(|_| {
        let start = Instant::now();
        let _ = std::hint::black_box(parse("works.toml", std::hint::black_box(DEMO)));
        start.elapsed()
    });
    let fastest = fastest.min().expect("seven runs");
    assert!(fastest < Duration::from_millis(20), "{fastest:?}");
}

#[test]
fn the_works_is_read_as_written() {
    let works = plan(FULL).works;
    assert_eq!(works.name, "Quarrybeck Engine Works");
    assert_eq!(works.units, Shown::Metric);
    assert_eq!(works.decision, DecisionRule::Guarded { factor: 1.0 });
    assert_eq!((works.day_rate, works.working_time.to("h")), (92, 15.0));
    let shifts: Vec<_> = works.shifts.iter().map(|s| (s.name.as_str(), s.start_minute)).collect();
    assert_eq!(shifts, [("A", 360), ("B", 840)]);
}

#[test]
fn what_is_left_out_has_its_default() {
    let plan = plan("[works]\nname = \"Small\"\nday_rate = 1\n");
    assert_eq!((plan.works.units, plan.works.time_zone.as_str()), (Shown::Metric, "UTC"));
    assert_eq!(plan.works.decision, DecisionRule::Guarded { factor: 1.0 });
    assert_eq!(plan.works.working_time.to_string(), "8 h");
    assert_eq!((plan.works.shifts.len(), plan.works.shifts[0].start_minute), (1, 0));
}

#[test]
fn defaults_of_the_full_works_are_those_of_the_book() {
    let plan = plan(FULL);
    let piston = &plan.parts["piston"];
    assert_eq!((piston.title.as_str(), piston.family.as_str()), ("Piston", "other"));
    let skirt = &plan.characteristics["piston.skirt"];
    assert_eq!((skirt.kind, skirt.unit.symbol, skirt.decimals), (Kind::Size, "mm", 3));
    assert_eq!((skirt.sampling, skirt.capability_wanted), (Sampling::OneIn(5), 1.33));
    assert_eq!(skirt.deviation_unit, None);
    assert_eq!(plan.gauges["scale"].proving_days, 365);
    assert_eq!(plan.gauges["scale"].title, "Scale");
    let rotor = &plan.rotors["crankshaft"];
    assert_eq!((rotor.max_holes, rotor.sites[0].max_holes), (8, 4));
    assert_eq!((rotor.depth_step.to("mm"), rotor.angle_step.to("°")), (0.1, 1.0));
    let half = &plan.beds["QB4"].points[0];
    assert_eq!((half.below, half.above, half.consumption_max), (0.05, 0.05, None));
    let compression = plan.engines["QB4"].compression.as_ref().expect("it is written");
    assert_eq!(compression.rod_length, Source::Measured("rod.length".to_owned()));
}

#[test]
fn limits_come_out_alike_however_they_are_written() {
    let full = plan(FULL);
    let bore = &full.characteristics["block.bore"];
    assert_eq!(limits(bore), ("68.000 mm".to_owned(), "68.012 mm".to_owned()));
    assert_eq!(bore.deviation_unit.map(|u| u.symbol), Some("µm"));
    // ISO 286-1:2010 Table 1: IT7 over 120 to 180 mm is 40 µm, so js7 is ±20 µm.
    let rod = &full.characteristics["rod.length"];
    assert_eq!(limits(rod), ("129.980 mm".to_owned(), "130.020 mm".to_owned()));
    // ISO 286-1:2010 Table 1: IT6 over 50 to 80 mm is 19 µm; H begins at nominal.
    let by_class = FULL.replace("deviations = [\"0 µm\", \"+12 µm\"]", "class = \"H6\"");
    let by_class = plan(&by_class);
    let bore = &by_class.characteristics["block.bore"];
    assert_eq!(limits(bore), ("68.000 mm".to_owned(), "68.019 mm".to_owned()));
    assert_eq!(bore.class.as_deref(), Some("H6"));
    let one_side = FULL.replace("lower = \"412 g\"\n", "");
    let one_side = plan(&one_side);
    assert_eq!(limits(&one_side.characteristics["piston.mass"]).0, "none");
}

#[test]
fn an_inch_works_is_read_as_well() {
    let inch = FULL
        .replace("units = \"metric\"", "units = \"inch\"")
        .replace("nominal = \"68.000 mm\"", "nominal = \"2.6772 in\"")
        .replace("[\"0 µm\", \"+12 µm\"]\ndeviation_unit = \"µm\"", "[\"0 thou\", \"0.5 thou\"]")
        .replace("unit = \"mm\"\ndecimals = 4", "unit = \"in\"")
        .replace("\"30 µm\"", "\"1.2 thou\"");
    let plan = plan(&inch);
    let bore = &plan.characteristics["block.bore"];
    assert_eq!(limits(bore), ("2.6772 in".to_owned(), "2.6777 in".to_owned()));
    assert_eq!(bore.deviation_unit.map(|u| u.symbol), Some("thou"));
    assert_eq!((plan.works.units, bore.decimals), (Shown::Inch, 6));
}

#[test]
fn an_attribute_is_good_at_one() {
    let leak = "\n[gauge.eye]\nmethod = \"by eye\"\nresolution = \"1\"\nuncertainty = \"0\"\n\
                [characteristic.block.leak]\nkind = \"attribute\"\ngauge = \"eye\"\n";
    let plan = plan(&format!("{FULL}{leak}"));
    let leak = &plan.characteristics["block.leak"];
    assert_eq!((text(leak.lower), text(leak.upper)), ("1".to_owned(), "none".to_owned()));
    assert_eq!(leak.decimals, 0);
}

#[test]
fn a_nominal_outside_its_limits_is_taken_when_it_is_meant() {
    let meant = "nominal = \"68 mm\"\nnominal_outside = true";
    let plan = plan(&FULL.replace("nominal = \"67.970 mm\"", meant));
    assert_eq!(text(plan.characteristics["piston.skirt"].nominal), "68 mm");
}

#[test]
fn a_balance_quality_grade_is_read_as_it_is_written() {
    for written in ["G 6.3", "G6.3", "6.3 mm/s"] {
        let plan = plan(&FULL.replace("6.3 mm/s", written));
        assert_eq!(plan.rotors["crankshaft"].grade.to("mm/s"), 6.3);
    }
}

#[test]
fn positions_may_be_counted() {
    let counted = plan(&FULL.replace("positions = [\"1\", \"2\", \"3\", \"4\"]", "positions = 4"));
    assert_eq!(counted.characteristics["block.bore"].positions, ["1", "2", "3", "4"]);
}

#[test]
fn times_of_the_day_may_be_written_without_quotes() {
    let plan = plan(&FULL.replace("\"14:00\"", "14:00:00"));
    assert_eq!(plan.works.shifts[1].start_minute, 840);
}

#[test]
fn things_keep_the_order_of_the_file() {
    let plan = plan(FULL);
    let parts: Vec<_> = plan.parts.keys().collect();
    assert_eq!(parts, ["block", "piston", "rod", "crankshaft"]);
    let first: Vec<_> = plan.characteristics.keys().take(3).collect();
    assert_eq!(first, ["block.bore", "piston.skirt", "piston.mass"]);
}

#[test]
fn the_edition_is_the_hash_of_the_text() {
    let one = plan(SMALL_WORKS);
    assert_eq!(one.edition, blake3::hash(SMALL_WORKS.as_bytes()).to_hex().to_string());
    let other = plan(&format!("{SMALL_WORKS}# changed\n"));
    assert_ne!(one.edition, other.edition);
    assert_eq!(one.text, SMALL_WORKS);
}

#[test]
fn line_ends_of_either_kind_are_read() {
    let plan = plan(&FULL.replace('\n', "\r\n"));
    assert_eq!(plan.parts.len(), 4);
}

#[test]
fn the_plan_as_json_carries_units() {
    let json = to_json(&plan(FULL));
    assert_eq!(json["characteristic"]["block.bore"]["upper"], "68.012 mm");
    assert_eq!(json["characteristic"]["piston.mass"]["rule"]["decision"], "simple");
    assert_eq!(json["characteristic"]["piston.mass"]["nominal"], serde_json::Value::Null);
    assert_eq!(json["works"]["shift"][1]["start"], "14:00");
    assert_eq!(json["engine"]["QB4"]["parts"]["piston"], 4);
    let compression = &json["engine"]["QB4"]["compression"];
    assert_eq!(compression["rod_length"]["characteristic"], "rod.length");
    assert_eq!(compression["stroke"]["figure"], "76 mm");
    assert_eq!(json["rotor"]["crankshaft"]["site"][0]["windows"][1][0], "186°");
    assert_eq!(json["set"]["QB4"]["spread"]["piston.mass"], "4 g");
    assert_eq!(json["person"]["e-stroud"]["roles"][1], "administrator");
    let sections: Vec<&String> = json.as_object().expect("an object").keys().collect();
    assert_eq!(sections.len(), 15);
}
