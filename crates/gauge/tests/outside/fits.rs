//! Tolerance grades and fits of ISO 286.

use bedplate_gauge::iso286::{Fit, standard_tolerance_um};

use crate::cases::{Case, each_case};

#[test]
fn tolerances_and_fits_of_iso_286() {
    each_case(include_str!("../reference/fits.json"), |id, case| match id {
        _ if id.starts_with("it-") => {
            let got = standard_tolerance_um(case.number("size_mm"), &case.word("grade")).unwrap();
            case.check("it", got);
        }
        _ if id.starts_with("fit-") => fit(case),
        _ => panic!("no test knows the case {id}"),
    });
}

fn fit(case: &mut Case) {
    let (size, hole, shaft) = (case.number("size_mm"), case.word("hole"), case.word("shaft"));
    let fit = Fit::parse(&format!("{size} {hole}/{shaft}")).unwrap();
    case.check("ES", fit.hole.upper_um());
    case.check("EI", fit.hole.lower_um());
    case.check("es", fit.shaft.upper_um());
    case.check("ei", fit.shaft.lower_um());
    case.check("max_clearance", fit.greatest_clearance_um());
    case.check("min_clearance", fit.least_clearance_um());
    case.check_words("kind", &[fit.kind().word()]);
}
