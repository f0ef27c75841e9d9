//! Reference circles, filter and harmonics of roundness traces.

use bedplate_gauge::form::circle::{Circle, Point};
use bedplate_gauge::form::circumscribed::minimum_circumscribed_circle;
use bedplate_gauge::form::filter::{Filter, filtered};
use bedplate_gauge::form::harmonic::harmonics;
use bedplate_gauge::form::inscribed::maximum_inscribed_circle;
use bedplate_gauge::form::least::least_squares_circle;
use bedplate_gauge::form::zone::minimum_zone_circle;

use crate::cases::{Case, each_case};

#[test]
fn reference_circles_filter_and_harmonics() {
    each_case(include_str!("../reference/form.json"), |id, case| match id {
        _ if id.starts_with("circle-") => circles(case),
        _ if id.starts_with("gauss-upr-") => {
            let cutoff_upr = case.number("cutoff_upr");
            let filter = Filter::Below { cutoff_upr };
            let shares: Vec<f64> =
                case.list("n_upr").iter().map(|&k| filter.transmission(k)).collect();
            case.check_list("transmission", &shares);
            // exp(−π·α²) is what is left at the cut-off.
            let left = filter.transmission(cutoff_upr);
            case.check("alpha", (-left.ln() / std::f64::consts::PI).sqrt());
        }
        "harmonics-1" => {
            let values = case.list("r");
            let table = harmonics(&values, 25).unwrap();
            for k in [2, 3, 12, 25] {
                case.check(&format!("amp_{k}"), table[k - 1].amplitude);
            }
            let left = filtered(&values, Filter::Below { cutoff_upr: 15.0 }).unwrap();
            let most = left.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let least = left.iter().copied().fold(f64::INFINITY, f64::min);
            case.check("filtered_peak_to_valley_about_mean", most - least);
            case.check_list("filtered_first5", &left[..5]);
        }
        _ => panic!("no test knows the case {id}"),
    });
}

fn circles(case: &mut Case) {
    let points: Vec<Point> =
        case.table("points").iter().map(|p| Point { x: p[0], y: p[1] }).collect();
    let centre = |c: &Circle| [c.centre.x, c.centre.y];
    let least = least_squares_circle(&points).unwrap();
    case.check_list("ls_centre", &centre(&least));
    case.check("ls_radius", least.radius);
    case.check("ls_roundness", least.roundness());
    let zone = minimum_zone_circle(&points).unwrap();
    case.check("mz_roundness", zone.circle.roundness());
    case.check("mz_roundness", zone.proof.bound);
    assert!(zone.proof.within.is_infinite());
    case.check_list("mz_centre", &centre(&zone.circle));
    case.check("mz_r_in", zone.circle.inner);
    case.check("mz_r_out", zone.circle.outer);
    let around = minimum_circumscribed_circle(&points).unwrap().circle;
    case.check("mc_radius", around.radius);
    case.check_list("mc_centre", &centre(&around));
    case.check("mc_roundness", around.roundness());
    let within = maximum_inscribed_circle(&points).unwrap();
    case.check("mi_radius", within.circle.radius);
    case.check("mi_radius", within.proof.bound);
    case.check_list("mi_centre", &centre(&within.circle));
    case.check("mi_roundness", within.circle.roundness());
}
