//! Hardness by the formulas of ISO 6506, 6507 and 6508.

use bedplate_gauge::hardness::{RockwellScale, brinell, rockwell, vickers};

use crate::cases::each_case;

#[test]
fn hardness_of_the_standards() {
    each_case(include_str!("../reference/hardness.json"), |id, case| match &id[..3] {
        "hv-" => case.check("HV", vickers(case.number("F_N"), case.number("d_mm")).unwrap()),
        "hb-" => {
            let got = brinell(case.number("F_N"), case.number("D_mm"), case.number("d_mm"));
            case.check("HBW", got.unwrap());
            // The tables print whole numbers, which is half a unit of tolerance.
            case.check_within("HBW_rounded_3_figures", got.unwrap(), 0.5);
        }
        "hr-" => {
            let scale = RockwellScale::named(&case.word("scale")).unwrap();
            case.check("HR", rockwell(scale, case.number("h_mm")).unwrap());
        }
        _ => panic!("no test knows the case {id}"),
    });
}
