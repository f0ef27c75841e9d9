//! The bed's calculations held against the cases in `reference/bed.json`; source and status stand
//! beside each case there.

mod bed_case;

use bed_case::{Case, case};
use bedplate_engine::bed::air::{saturation_pressure_if97_kpa, saturation_pressure_magnus_kpa};
use bedplate_engine::bed::correction::{
    Charge, Charging, DryAir, Rule, allowed, din_70020, iso_1585_compression, iso_1585_spark, j1349,
};
use bedplate_engine::bed::friction::cut_out;
use bedplate_engine::bed::fuel::{
    FuelForPower, FuelReading, fuel_rate_kg_h, specific_consumption_g_kwh, thermal_efficiency,
};
use bedplate_engine::bed::site::{SiteAir, SiteExponents, adjust_to_site};
use bedplate_engine::bed::torque::{
    BrakeLoad, Cycle, EngineSize, PowerAtSpeed, Turning, brake_torque_nm,
    mean_effective_pressure_bar, power_kw, torque_nm,
};
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Dimension;

const FILE: &str = include_str!("reference/bed.json");

#[test]
fn power_mean_pressure_consumption_and_efficiency() {
    let c = case(FILE, "eng-power-1");
    let torque_nm = c.input("torque_Nm");
    let power = power_kw(Turning { torque_nm, speed_rpm: c.input("rpm") });
    c.check("power", power);
    c.check("power_metric_hp", power / 0.735_498_75);
    // 550 ft·lbf/s with the exact foot and pound of 1959.
    c.check("power_bhp", power * 1e3 / (550.0 * 0.3048 * 0.453_592_37 * 9.806_65));
    let displacement_l = c.input("displacement_l");
    let size = EngineSize { displacement_l, cycle: Cycle::FourStroke };
    c.check("bmep", mean_effective_pressure_bar(torque_nm, size));
    let fuel = FuelForPower { rate_kg_h: c.input("fuel_kg_h"), power_kw: power };
    c.check("bsfc", specific_consumption_g_kwh(fuel));
    c.check("efficiency", thermal_efficiency(fuel, c.input("lower_heating_value_MJ_kg")));
}

#[test]
fn fuel_rate_by_burette() {
    let c = case(FILE, "fuel-rate-1");
    let density_kg_l = c.input("density_kg_l");
    let reading = FuelReading::Volume {
        volume_cm3: c.input("volume_ml"),
        time_s: c.input("time_s"),
        density_kg_l,
    };
    let rate_kg_h = fuel_rate_kg_h(reading);
    c.check("kg_h", rate_kg_h);
    c.check("l_h", rate_kg_h / density_kg_l);
    let fuel = FuelForPower { rate_kg_h, power_kw: c.input("power_kW") };
    c.check("bsfc", specific_consumption_g_kwh(fuel));
}

#[test]
fn saturation_pressure_by_both_formulas() {
    let c = case(FILE, "psat-if97");
    let at = |t: &f64| saturation_pressure_if97_kpa(*t).unwrap();
    c.check_all("psat_kPa", &c.inputs("T_K").iter().map(at).collect::<Vec<_>>());
    let c = case(FILE, "psat-magnus");
    let magnus = |t: &f64| saturation_pressure_magnus_kpa(*t).unwrap();
    let if97 = |t: &f64| saturation_pressure_if97_kpa(*t + 273.15).unwrap();
    let t_c = c.inputs("t_C");
    c.check_all("magnus", &t_c.iter().map(magnus).collect::<Vec<_>>());
    c.check_all("if97", &t_c.iter().map(if97).collect::<Vec<_>>());
}

#[test]
fn spark_ignition_factor() {
    for id in ["iso1585-si-1", "iso1585-si-2"] {
        let c = case(FILE, id);
        let dry_pressure_kpa = c.input("p_total_kPa") - c.input("vapour_kPa");
        let air = DryAir { dry_pressure_kpa, temperature_k: c.input("T_K") };
        c.check("p_dry", dry_pressure_kpa);
        let factor = iso_1585_spark(air);
        c.check("alpha_a", factor);
        let used = allowed(Rule::Iso1585Spark, air, factor).expect("the case says it is in range");
        c.check("P_corrected", used * c.input("P_observed_kW"));
    }
}

#[test]
fn compression_ignition_factor() {
    for (id, charging) in [("iso1585-ci-1", Charging::Natural), ("iso1585-ci-2", Charging::Turbo)] {
        let c = case(FILE, id);
        let air = DryAir { dry_pressure_kpa: c.input("p_dry_kPa"), temperature_k: c.input("T_K") };
        let charge = Charge {
            charging,
            delivery_mg_l: c.input("q_mg_per_l_cycle"),
            boost_ratio: c.input("boost_ratio"),
        };
        let parts = iso_1585_compression(air, charge);
        c.check("fa", parts.atmospheric);
        c.check("qc", parts.corrected_delivery_mg_l);
        c.check("fm", parts.engine);
        c.check("alpha_d", parts.factor);
    }
}

#[test]
fn older_factors() {
    let c = case(FILE, "j1349-1");
    let temperature_k = c.input("t_C") + 273.15;
    c.check("cf", j1349(DryAir { dry_pressure_kpa: c.input("p_dry_kPa"), temperature_k }));
    let c = case(FILE, "din70020-1");
    c.check("cf", din_70020(c.input("p_kPa"), c.input("t_C")));
}

#[test]
fn site_adjustment() {
    let c = case(FILE, "iso3046-1");
    let coolant_k = c.input("Tr");
    let site = SiteAir {
        pressure_kpa: c.input("px_kPa"),
        vapour_kpa: c.input("humidity") * c.input("psat_x_kPa"),
        temperature_k: c.input("Tx_K"),
        coolant_k,
    };
    let reference = SiteAir {
        pressure_kpa: c.input("pr"),
        vapour_kpa: c.input("phir") * c.input("psat_r_kPa"),
        temperature_k: c.input("Tr"),
        coolant_k,
    };
    let adjusted =
        adjust_to_site(site, reference, SiteExponents::NATURAL, c.input("eta_m")).unwrap();
    c.check("k", adjusted.indicated);
    c.check("alpha", adjusted.power);
    c.check("beta", adjusted.fuel);
}

#[test]
fn torque_of_twenty_five_horsepower() {
    let c: Case = case(FILE, "trade-torque");
    let power = Quantity::parse(&format!("{} hp", c.input("bhp")), Dimension::Power).unwrap();
    let output = PowerAtSpeed { power_kw: power.to("kW"), speed_rpm: c.input("rpm") };
    let torque = torque_nm(output);
    c.check("torque_Nm", torque);
    c.check("torque_Nm_printed", torque);
    let lbf_ft = torque / (0.453_592_37 * 9.806_65 * 0.3048);
    c.check("torque_lbf_ft", lbf_ft);
    c.check("torque_printed", lbf_ft);
}

/// T. D. Eastop and A. McConkey, Applied Thermodynamics for Engineering Technologists, chapter on
/// reciprocating engines, first example (from memory, high): four cylinders 57 mm × 90 mm at
/// 2800 rev/min; arm 0.356 m; net loads 155 N, and 111, 106.5, 104.2, 111 N with each cut out;
/// 6.74 l/h of 0.735 kg/l with 44 200 kJ/kg. Printed: 55.2 N·m, 7.55 bar, 26.6 %, 0.306 kg/kWh,
/// 82.8 %, indicated 9.12 bar.
#[test]
fn a_textbook_engine_from_brake_load_to_mechanical_efficiency() {
    let arm_m = 0.356;
    let torque = |load_n| brake_torque_nm(BrakeLoad { load_n, arm_m });
    let power = |load_n| power_kw(Turning { torque_nm: torque(load_n), speed_rpm: 2800.0 });
    assert!((torque(155.0) - 55.2).abs() <= 0.05);
    let displacement_l = 4.0 * std::f64::consts::FRAC_PI_4 * 0.57 * 0.57 * 0.9;
    let size = EngineSize { displacement_l, cycle: Cycle::FourStroke };
    let bmep = mean_effective_pressure_bar(torque(155.0), size);
    assert!((bmep - 7.55).abs() <= 0.005);
    let fuel = FuelForPower { rate_kg_h: 6.74 * 0.735, power_kw: power(155.0) };
    assert!((specific_consumption_g_kwh(fuel) - 306.0).abs() <= 0.5);
    assert!((thermal_efficiency(fuel, 44.2) - 0.266).abs() <= 0.0005);
    let test = cut_out(power(155.0), &[111.0, 106.5, 104.2, 111.0].map(power)).unwrap();
    assert!((test.mechanical_efficiency - 0.828).abs() <= 0.0005);
    assert!((bmep / test.mechanical_efficiency - 9.12).abs() <= 0.005);
    assert_eq!(test.weakest, 1);
}

/// QB4, an invented engine: 22 kW at 3600 rev/min is 58.36 N·m by definition.
#[test]
fn two_stroke_has_half_the_mean_pressure_for_the_same_torque() {
    let torque_nm = torque_nm(PowerAtSpeed { power_kw: 22.0, speed_rpm: 3600.0 });
    assert!((torque_nm - 58.36).abs() <= 0.005);
    let at =
        |cycle| mean_effective_pressure_bar(torque_nm, EngineSize { displacement_l: 1.104, cycle });
    assert!((at(Cycle::FourStroke) / at(Cycle::TwoStroke) - 2.0).abs() < 1e-12);
}
