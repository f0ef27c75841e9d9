//! Charts, capability and the NIST reference data sets.

use std::collections::BTreeMap;

use bedplate_gauge::capability::{Scatter, capability};
use bedplate_gauge::chart::{
    Within, count_chart, count_limits, group_chart, group_limits, individuals_limits,
};
use bedplate_gauge::drift::{CusumPlan, EwmaPlan, cusum_chart, ewma_chart};
use bedplate_gauge::factor::Factors;
use bedplate_gauge::least_squares::{least_squares, powers};
use bedplate_gauge::limits::Limits;
use bedplate_gauge::run_length::{cusum_run_length, ewma_run_length, three_sigma_run_length};
use bedplate_gauge::run_rules::{RunRule, RunRules, signals};
use bedplate_gauge::summary::summary;
use bedplate_gauge::trend::line;
use bedplate_gauge::variance::{bartlett, levene, one_way};
use serde_json::Value;

use crate::cases::{Case, each_case};

const CHARTS: &str = include_str!("../reference/charts.json");

#[test]
fn charts_capability_and_reference_data() {
    each_case(CHARTS, |id, case| match id {
        _ if id.starts_with("spc-factors-") => factors(case),
        "spc-imr-nist" => individuals(case),
        "spc-ewma-nist" => ewma(case),
        "spc-cusum-nist" => cusum(case),
        "spc-arl" => run_lengths(case),
        "spc-xbar-rs-gear" => means(case),
        "spc-gear-tests" => gear_tests(case),
        "spc-c-nist" => counts(case),
        "spc-cap-nist" => capability_figures(case),
        "spc-cap-ci-1" => capability_intervals(case),
        "spc-ppm-1" => parts_per_million(case),
        "spc-runs-1" => runs_of_nine(case),
        "spc-runs-7" => runs_of_seven(case),
        _ if id.starts_with("strd-uni-") => univariate(case),
        _ if id.starts_with("strd-anova-") => analysis_of_variance(case),
        _ if id.starts_with("strd-lr-") => regression(id, case),
        _ => panic!("no test knows the case {id}"),
    });
}

fn factors(case: &mut Case) {
    let n: usize = case.input("n").as_u64().unwrap().try_into().unwrap();
    let f = Factors::of_groups(n).unwrap();
    for (name, got) in [
        ("c4", f.c4),
        ("d2", f.d2),
        ("d3", f.d3),
        ("A2", f.a2()),
        ("A3", f.a3()),
        ("B3", f.lower_b3()),
        ("B4", f.upper_b4()),
        ("D3", f.lower_d3()),
        ("D4", f.upper_d4()),
    ] {
        case.check(name, got);
    }
}

fn individuals(case: &mut Case) {
    let limits = individuals_limits(&case.list("x"), &[]).unwrap();
    case.check("centre", limits.individuals.centre);
    case.check("mr_bar", limits.moving_range.centre);
    case.check("ucl_exact_d2", limits.individuals.upper);
    case.check("lcl_exact_d2", limits.individuals.lower);
    // The handbook takes d2 = 1.128, so its printed limits are tried with that.
    let (centre, range) = (limits.individuals.centre, limits.moving_range.centre);
    case.check("ucl_printed", centre + 3.0 * range / 1.128);
    case.check("lcl_printed", centre - 3.0 * range / 1.128);
}

fn ewma(case: &mut Case) {
    let plan = EwmaPlan {
        target: case.number("target"),
        deviation: case.number("s"),
        weight: case.number("lam"),
        width: case.number("k"),
    };
    let chart = ewma_chart(&case.list("x"), &plan).unwrap();
    // The handbook prints the target as the first average.
    let averages: Vec<f64> = [plan.target].into_iter().chain(chart.averages).collect();
    case.check_list("ewma_2dp", &averages);
    case.check("ucl", chart.limits.upper);
    case.check("lcl", chart.limits.lower);
    case.check("ucl_exact", chart.limits.upper);
    case.check("lcl_exact", chart.limits.lower);
    case.check_list("signals", &one_based(&chart.signals));
}

fn one_based(indices: &[usize]) -> Vec<f64> {
    indices.iter().map(|&i| (i + 1) as f64).collect()
}

fn cusum(case: &mut Case) {
    let plan = CusumPlan {
        target: case.number("target"),
        allowance: case.number("k"),
        interval: case.number("h"),
    };
    let chart = cusum_chart(&case.list("x"), &plan).unwrap();
    case.check_list("s_hi", &chart.above);
    case.check_list("s_lo", &chart.below);
    case.check("first_signal_1based", one_based(&chart.signals)[0]);
}

fn run_lengths(case: &mut Case) {
    case.check("shewhart_arl0", three_sigma_run_length(0.0).unwrap());
    case.check("shewhart_arl_shift1", three_sigma_run_length(1.0).unwrap());
    let (k, h) = (case.number("cusum.k"), case.number("cusum.h"));
    case.check("cusum_h4_arl0", cusum_run_length(k, h, 0.0).unwrap());
    case.check("cusum_h4_shift1", cusum_run_length(k, h, 1.0).unwrap());
    let (weight, width) = (case.number("ewma.lam"), case.number("ewma.L"));
    case.check("ewma_arl0", ewma_run_length(weight, width, 0.0).unwrap());
    case.check("ewma_shift1", ewma_run_length(weight, width, 1.0).unwrap());
}

fn means(case: &mut Case) {
    let groups = case.table("data");
    let by_range = group_limits(&groups, Within::Range).unwrap();
    let by_deviation = group_limits(&groups, Within::StandardDeviation).unwrap();
    case.check("grand_mean", by_range.mean.centre);
    case.check("r_bar", by_range.scatter.centre);
    case.check("s_bar", by_deviation.scatter.centre);
    case.check("xbar_ucl_R", by_range.mean.upper);
    case.check("xbar_lcl_R", by_range.mean.lower);
    case.check("r_ucl", by_range.scatter.upper);
    case.check("r_lcl", by_range.scatter.lower);
    case.check("xbar_ucl_S", by_deviation.mean.upper);
    case.check("xbar_lcl_S", by_deviation.mean.lower);
    case.check("s_ucl", by_deviation.scatter.upper);
    case.check("s_lcl", by_deviation.scatter.lower);
    let chart = group_chart(&groups, &by_range, &RunRules::beyond_alone()).unwrap();
    let beyond: Vec<usize> = chart.mean.signals.iter().map(|s| s.last).collect();
    case.check_list("xbar_signals_R", &one_based(&beyond));
}

fn gear_tests(case: &mut Case) {
    // The data are those of another case of the file.
    let mut groups = Vec::new();
    let data_id = case.word("data_ref");
    let all: Vec<Value> = serde_json::from_str(CHARTS).unwrap();
    for other in all.iter().filter(|c| c["id"] == data_id.as_str()) {
        groups = serde_json::from_value(other["inputs"]["data"].clone()).unwrap();
    }
    let v = one_way(&groups).unwrap();
    case.check("F", v.ratio);
    case.check("p_F", v.chance);
    case.check("bartlett_T", bartlett(&groups).unwrap().statistic);
    case.check("levene_W", levene(&groups).unwrap().statistic);
}

fn counts(case: &mut Case) {
    let defects = case.list("defects");
    let limits = count_limits(&defects).unwrap();
    case.check("c_bar", limits.centre);
    case.check("ucl", limits.upper);
    case.check("lcl", limits.lower);
    let track = count_chart(&defects, &limits, &RunRules::beyond_alone()).unwrap();
    let beyond: Vec<usize> = track.signals.iter().map(|s| s.last).collect();
    case.check_list("signals_1based", &one_based(&beyond));
}

fn scatter(mean: f64, deviation: f64, n: f64) -> Scatter {
    Scatter { mean, deviation, dof: n - 1.0, n }
}

fn capability_figures(case: &mut Case) {
    let limits = Limits::between(case.number("lsl"), case.number("usl")).unwrap();
    let made = scatter(case.number("mean"), case.number("s"), 50.0);
    let c = capability(&limits, &made, 0.95).unwrap();
    case.check("Cp", c.spread.unwrap().value);
    case.check("Cpk", c.position.value);
    case.check("Cpu", c.upper.unwrap());
    case.check("Cpl", c.lower.unwrap());
    case.check("k", c.off_middle.unwrap());
}

fn capability_intervals(case: &mut Case) {
    // Mean 16 and deviation 2 in limits 8 and 20 give the Cp and Cpk of the case.
    let limits = Limits::between(8.0, 20.0).unwrap();
    let made = scatter(16.0, 2.0, case.number("n"));
    let c = capability(&limits, &made, 1.0 - case.number("alpha")).unwrap();
    let cp = c.spread.unwrap();
    assert!((cp.value - case.number("Cp")).abs() < 1e-12);
    assert!((c.position.value - case.number("Cpk")).abs() < 1e-12);
    case.check("Cp_lo", cp.lower);
    case.check("Cp_hi", cp.upper);
    case.check("Cpk_lo", c.position.lower);
    case.check("Cpk_hi", c.position.upper);
}

fn parts_per_million(case: &mut Case) {
    let limits = Limits::between(case.number("lsl"), case.number("usl")).unwrap();
    let made = scatter(case.number("mean"), case.number("s"), 50.0);
    let c = capability(&limits, &made, 0.95).unwrap();
    case.check("Cp", c.spread.unwrap().value);
    case.check("Cpk", c.position.value);
    case.check("ppm_outside", c.share_beyond() * 1e6);
}

/// Completing points by rule, counted from 1.
fn fired(z: &[f64], rules: &RunRules) -> BTreeMap<RunRule, Vec<u64>> {
    let mut fired: BTreeMap<RunRule, Vec<u64>> = BTreeMap::new();
    for signal in signals(z, rules) {
        fired.entry(signal.rule).or_default().push(signal.last as u64 + 1);
    }
    fired
}

fn check_fired(case: &mut Case, rules: &RunRules, names: &[(RunRule, &str)]) {
    let fired = fired(&case.list("z"), rules);
    let expected = case.expected("fired");
    let wanted: BTreeMap<RunRule, Vec<u64>> = names
        .iter()
        .map(|(rule, name)| (*rule, serde_json::from_value(expected[name].clone()).unwrap()))
        .collect();
    // Rules that the case does not name must not have fired.
    assert_eq!(fired, wanted);
    assert_eq!(expected.as_object().unwrap().len(), names.len());
}

fn runs_of_nine(case: &mut Case) {
    let names = [
        (RunRule::Beyond, "1 beyond 3s"),
        (RunRule::OneSide, "9 in a row one side"),
        (RunRule::Trend, "6 in a row steadily rising or falling"),
        (RunRule::TwoOfThree, "2 of 3 beyond 2s same side"),
        (RunRule::FourOfFive, "4 of 5 beyond 1s same side"),
    ];
    check_fired(case, &RunRules::iso_8258(), &names);
}

fn runs_of_seven(case: &mut Case) {
    let names = [
        (RunRule::Beyond, "1 beyond 3s"),
        (RunRule::OneSide, "7 in a row one side"),
        (RunRule::Trend, "7 in a row steadily rising or falling"),
    ];
    check_fired(case, &RunRules::iso_7870_2(), &names);
}

/// Digits that agree: −log₁₀ of the relative error, 15 at the most.
fn log_relative_error(got: f64, certified: f64) -> f64 {
    let error = ((got - certified) / certified).abs();
    if error == 0.0 { 15.0 } else { (-error.log10()).min(15.0) }
}

fn univariate(case: &mut Case) {
    let readings: Vec<f64> = if case.has_input("digits") {
        case.word("digits").chars().filter_map(|c| c.to_digit(10)).map(f64::from).collect()
    } else {
        case.list("y")
    };
    let s = summary(&readings).unwrap();
    let (sd, lag1) = (s.standard_deviation.unwrap(), s.lag1.unwrap());
    case.check("mean", s.mean);
    case.check("sd_n-1", sd);
    case.check("r1", lag1);
    let digits =
        |case: &mut Case, name, got| log_relative_error(got, case.expected(name).as_f64().unwrap());
    // 14 digits and more of the mean; 8 of the deviation where the readings, being binary, have no
    // more (NumAcc2 and NumAcc4), and 12 elsewhere.
    let coarse = readings.len() == 1001;
    assert!(digits(case, "mean", s.mean) >= 14.0);
    assert!(digits(case, "sd_n-1", sd) >= if coarse { 8.0 } else { 12.0 });
    assert!(digits(case, "r1", lag1) >= if coarse { 7.0 } else { 11.0 });
}

fn analysis_of_variance(case: &mut Case) {
    let groups = if case.has_input("groups") {
        case.table("groups")
    } else {
        let mut by_name: BTreeMap<u64, Vec<f64>> = BTreeMap::new();
        for row in case.table("rows") {
            // Group numbers are small and whole.
            by_name.entry(row[0].to_bits()).or_default().push(row[1]);
        }
        by_name.into_values().collect()
    };
    let v = one_way(&groups).unwrap();
    case.check("df_between", v.dof_between);
    case.check("df_within", v.dof_within);
    case.check("ss_between", v.squares_between);
    case.check("ms_between", v.squares_between / v.dof_between);
    case.check("ss_within", v.squares_within);
    case.check("F", v.ratio);
}

fn regression(id: &str, case: &mut Case) {
    let rows = case.table("rows");
    let y: Vec<f64> = rows.iter().map(|r| r[0]).collect();
    let x = |k: usize| -> Vec<f64> { rows.iter().map(|r| r[k]).collect() };
    let columns = match id {
        "strd-lr-Norris" => powers(&x(1), 1),
        "strd-lr-Longley" => {
            let ones = vec![1.0; y.len()];
            [ones].into_iter().chain((1..=6).map(x)).collect()
        }
        _ => powers(&x(1), 5),
    };
    let fit = least_squares(&columns, &y).unwrap();
    case.check_list("b", &fit.coefficients);
    case.check_list("se_b", &fit.errors);
    case.check("residual_sd", fit.residual_deviation);
    if id == "strd-lr-Norris" {
        let line = line(&x(1), &y).unwrap();
        case.check_list("b", &[line.intercept, line.slope]);
        case.check_list("se_b", &[line.intercept_error, line.slope_error]);
        case.check("residual_sd", line.residual_deviation);
    }
}
