//! Ring gaps, taper gauges and the magnification of an air gauge.

use bedplate_gauge::masters::column_travel;
use bedplate_gauge::rings::{TaperGauge, Towards, bore_without_gap, gap_in_bore};

use crate::cases::each_case;

#[test]
fn rings_tapers_and_columns() {
    each_case(include_str!("../reference/rings.json"), |id, case| match id {
        "ring-gap-1" => {
            let (gauge, gap) = (case.number("D_gauge"), case.number("gap_in_gauge"));
            case.check("gap", gap_in_bore(gauge, gap, case.number("D_bore")).unwrap());
            case.check("bore_for_zero_gap", bore_without_gap(gauge, gap).unwrap());
        }
        "taper-1" => {
            // 1:50 on the diameter, measured from the large end.
            let gauge = TaperGauge::new(case.number("D_large"), 50.0).unwrap();
            let distance = case.number("distance_from_large_end");
            case.check("diameter", gauge.diameter_mm(distance, Towards::Smaller).unwrap());
            case.check("resolution_for_0.1mm_distance", gauge.resolution_mm(0.1));
        }
        "trade-taper-ring" => {
            let start = case.number("D_at_start");
            let gauge = TaperGauge::new(start, case.number("taper")).unwrap();
            let size = gauge.diameter_mm(case.number("distance"), Towards::Larger);
            case.check("size", size.unwrap());
        }
        "trade-air-gauge" => {
            let magnification = case.number("magnification");
            case.check("liquid", column_travel(magnification, case.number("deviation_in")));
            // Millimetres of liquid for a micrometre.
            case.check("liquid_mm_per_um", column_travel(magnification, 1e-3));
        }
        _ => panic!("no test knows the case {id}"),
    });
}
