//! Uncertainty, gauge studies, setting by masters, decision rules and their risks.

use bedplate_gauge::judge::{DecisionRule, Judgement, judge, probability_of_conformity};
use bedplate_gauge::limits::Limits;
use bedplate_gauge::masters::{Master, Setting};
use bedplate_gauge::risk::{ProcessAndGauge, risk};
use bedplate_gauge::study::{CrossedReadings, repeatability_and_reproducibility};
use bedplate_gauge::summary::summary;
use bedplate_gauge::trend::line;
use bedplate_gauge::uncertainty::{Contribution, combine};
use bedplate_gauge::variance::pooled;

use crate::cases::{Case, each_case};

#[test]
fn gauging_of_the_guides_and_the_handbook() {
    each_case(include_str!("../reference/gauging.json"), |id, case| match id {
        "gum-h1" => end_gauge(case),
        "nist-gauge-case" => levels(case),
        "nist-linearity" => linearity(case),
        "two-master-1" => two_masters(case),
        "iso14253-1" => guard_bands(case),
        "jcgm106-zener" => breakdown_voltage(case),
        _ if id.starts_with("rr-anova-") => crossed_study(case),
        _ if id.starts_with("jcgm106-risk-") => risks(case),
        _ => panic!("no test knows the case {id}"),
    });
}

fn end_gauge(case: &mut Case) {
    let length_nm = case.number("lS.value") * 1e6;
    let alpha = case.number("alphaS.value");
    let theta = case.number("theta.value");
    let (u_alpha, u_theta) = (case.number("alphaS.u"), case.number("theta.u"));
    let (u_difference, u_warmth) = (case.number("dalpha.u"), case.number("dtheta.u"));
    // l = lS + d − lS·(δα·θ + αS·δθ); δα and δθ are zero, so αS and θ count in second order alone.
    let mut lines = vec![
        Contribution::standard("standard", case.number("lS.u_nm")).dof(case.number("lS.dof")),
        Contribution::standard("comparison", case.number("d.u")).dof(case.number("d.dof")),
        Contribution::standard("difference of expansion", u_difference)
            .times(-length_nm * theta)
            .dof(case.number("dalpha.dof")),
        Contribution::standard("difference of temperature", u_warmth)
            .times(-length_nm * alpha)
            .dof(case.number("dtheta.dof")),
    ];
    let combined = combine(&lines).unwrap();
    let expanded = combined.expanded(case.number("p")).unwrap();
    case.check("l", case.number("lS.value") + case.number("d.value") * 1e-6);
    case.check("uc", combined.standard_uncertainty);
    case.check("uc_unrounded", combined.standard_uncertainty);
    case.check("nu_eff_truncated", expanded.dof);
    case.check("k99", expanded.coverage_factor);
    case.check("U99", expanded.uncertainty);
    lines.push(Contribution::product("δα·θ", length_nm, u_difference, u_theta));
    lines.push(Contribution::product("αS·δθ", length_nm, u_alpha, u_warmth));
    case.check("uc_with_second_order", combine(&lines).unwrap().standard_uncertainty);
}

fn crossed_study(case: &mut Case) {
    let data: Vec<Vec<Vec<f64>>> = serde_json::from_value(case.input("data").clone()).unwrap();
    let (pieces, operators, trials) = (data.len(), data[0].len(), data[0][0].len());
    let readings = data.concat().concat();
    let crossed = CrossedReadings::new(pieces, operators, trials, readings).unwrap();
    let s = repeatability_and_reproducibility(&crossed).unwrap();
    let lines = [s.piece, s.operator, s.interaction, s.repeatability, s.total];
    case.check_list("ss", &lines.map(|l| l.squares));
    case.check_list("df", &[s.piece, s.operator, s.interaction, s.repeatability].map(|l| l.dof));
    case.check("F_part", s.piece_ratio);
    case.check("F_oper", s.operator_ratio);
    case.check("F_int", s.interaction_ratio);
    case.check("p_int", s.interaction_chance);
    let v = s.variances;
    case.check("var_repeat", v.repeatability);
    if s.interaction_ratio < 1.0 + 1e-9 {
        // In decimals both mean squares are 2.28125e-6 and the variance is nought; the figure of
        // the source is the rounding of its readings, and so is ours.
        case.check_within("var_inter", v.interaction, 1e-9 * v.repeatability);
    } else {
        case.check("var_inter", v.interaction);
    }
    case.check("var_oper", v.operator);
    case.check("var_part", v.piece);
    case.check("sd_rr", v.gauge_deviation());
    case.check("pct_rr_of_total", 100.0 * v.share_of_total());
    case.check("ndc_real", v.distinct_sizes());
    case.check("pooled_var_repeat", s.pooled.repeatability);
    case.check("pooled_var_oper", s.pooled.operator);
    case.check("pooled_var_part", s.pooled.piece);
}

/// Level 1: the deviations of six repetitions, pooled. Level 2: from day to day on one wafer,
/// pooled over the wafers.
fn levels(case: &mut Case) {
    let rows = case.table("rows");
    for run in [1.0, 2.0] {
        for probe in [1.0, 281.0, 283.0, 2062.0, 2362.0] {
            let chosen: Vec<&Vec<f64>> =
                rows.iter().filter(|r| r[0] == run && r[2] == probe).collect();
            let repeats: Vec<(f64, f64)> = chosen.iter().map(|r| (r[8], 5.0)).collect();
            let mut wafers: Vec<f64> = chosen.iter().map(|r| r[1]).collect();
            wafers.dedup();
            let days: Vec<(f64, f64)> = wafers
                .iter()
                .map(|&wafer| {
                    let of_wafer = chosen.iter().filter(|r| r[1] == wafer);
                    let averages: Vec<f64> = of_wafer.map(|r| r[7]).collect();
                    let s = summary(&averages).unwrap();
                    (s.standard_deviation.unwrap(), s.n as f64 - 1.0)
                })
                .collect();
            let name = |level| format!("level{level}_pooled_sd_probe{probe}_run{run}");
            case.check(&name(1), pooled(&repeats).unwrap().0);
            case.check(&name(2), pooled(&days).unwrap().0);
        }
    }
}

fn linearity(case: &mut Case) {
    let line = line(&case.list("x"), &case.list("y")).unwrap();
    case.check("intercept", line.intercept);
    case.check("slope", line.slope);
    case.check("residual_sd", line.residual_deviation);
    case.check("t_slope_is_1", (line.slope - 1.0) / line.slope_error);
    case.check("t_intercept_is_0", line.intercept / line.intercept_error);
}

fn two_masters(case: &mut Case) {
    let low = Master { size: case.number("master_low"), reading: case.number("read_low") };
    let high = Master { size: case.number("master_high"), reading: case.number("read_high") };
    let setting = Setting::new(low, high).unwrap();
    case.check("sensitivity", setting.gain());
    let sizes: Vec<f64> = case.list("readings").iter().map(|&r| setting.size(r)).collect();
    case.check_list("sizes", &sizes);
}

fn guard_bands(case: &mut Case) {
    let (lower, upper) = (case.number("lsl"), case.number("usl"));
    let limits = Limits::between(lower, upper).unwrap();
    let (u, readings) = (case.number("u"), case.list("readings"));
    // g = 1.65 u is 0.825 of U = 2 u.
    for (name, factor) in [("1.65u", 0.825), ("2u", 1.0)] {
        let rule = DecisionRule::Guarded { factor };
        case.check(&format!("accept_lo_{name}"), lower + rule.guard(u));
        case.check(&format!("accept_hi_{name}"), upper - rule.guard(u));
        let words: Vec<&str> = readings
            .iter()
            .map(|&x| match judge(x, &limits, u, rule).judgement {
                Judgement::Accept => "conforming",
                Judgement::Reject => "nonconforming",
                Judgement::CannotTell => "neither",
            })
            .collect();
        case.check_words(&format!("decision_{name}"), &words);
    }
    let p: Vec<f64> = readings.iter().map(|&x| probability_of_conformity(x, &limits, u)).collect();
    case.check_list("P_conform_each", &p);
}

fn breakdown_voltage(case: &mut Case) {
    let limits = Limits::at_most(case.number("T_upper")).unwrap();
    let p = probability_of_conformity(case.number("y"), &limits, case.number("u"));
    case.check("p_conform", p);
    case.check("p_conform_printed", p);
}

fn risks(case: &mut Case) {
    let limits = Limits::between(case.number("TL"), case.number("TU")).unwrap();
    let accepted = Limits::between(case.number("AL"), case.number("AU")).unwrap();
    let made = ProcessAndGauge {
        mean: case.number("mu"),
        process_deviation: case.number("u0"),
        standard_uncertainty: case.number("um"),
    };
    let risk = risk(&limits, &accepted, &made).unwrap();
    case.check("RC", risk.consumer);
    case.check("RP", risk.producer);
    case.check("p_conforming", risk.conforming);
}
