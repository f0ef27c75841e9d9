//! The build's calculations held against the cases in `reference/build.json`; source and status
//! stand beside each case there.

mod bed_case;

use bed_case::case;
use bedplate_engine::build::compression::{
    CylinderParts, Deck, Part, compression, ratio_uncertainty,
};
use bedplate_engine::build::oil::{
    IndexViscosities, Orifice, PumpReading, ViscosityLine, ViscosityPoint, orifice_flow_l_min,
    pump_delivery, viscosity_index,
};
use bedplate_engine::build::rod::{ArborReadings, rod_alignment};
use bedplate_engine::build::stack::{GapLimits, Link, Spread, draw_gaps, gap, uniform_sum_outside};
use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

const FILE: &str = include_str!("reference/build.json");

#[test]
fn gap_of_four_sizes() {
    let c = case(FILE, "stack-1");
    let (sizes, halves) = (c.inputs("nominals"), c.inputs("plus_minus"));
    let directions = c.inputs("direction");
    let links: Vec<Link> =
        (0..sizes.len()).map(|i| Link::plus_minus(sizes[i], halves[i], directions[i])).collect();
    let found = gap(&links).unwrap();
    c.check("gap", found.nominal_mm);
    c.check("worst_min", found.worst_min_mm);
    c.check("worst_max", found.worst_max_mm);
    c.check("rss", found.root_sum_square_mm);
    c.check("sd_if_uniform", found.sd_mm);
    let spread = Spread::Normal { sigmas: 3.0 };
    let normal: Vec<Link> = links.iter().map(|l| Link { spread, ..*l }).collect();
    c.check("sd_if_normal_3sigma", gap(&normal).unwrap().sd_mm);
}

#[test]
fn sum_of_uniform_errors_exactly_and_by_drawing() {
    let c = case(FILE, "irwin-hall-1");
    let (h, q) = (c.input("h"), c.input("q"));
    assert_eq!(c.input("n"), 3.0);
    let exact = uniform_sum_outside(&[h; 3], q).unwrap();
    c.check("P_outside", exact);
    let links = [Link::plus_minus(0.0, h, 1.0); 3];
    c.check("kurtosis_excess", gap(&links).unwrap().excess_kurtosis);
    // A million draws agree within three standard errors, as the case says they should.
    let mut source = Xoshiro256PlusPlus::seed_from_u64(7);
    let limits = GapLimits { lower_mm: -q, upper_mm: q };
    let drawn = draw_gaps(&links, limits, 1_000_000, &mut source).unwrap();
    assert!((drawn.outside - exact).abs() <= 3.0 * drawn.outside_error, "seed 7: {drawn:?}");
}

#[test]
fn unlike_uniform_errors_agree_with_drawing() {
    let halves = [0.08, 0.05, 0.03, 0.02];
    let exact = uniform_sum_outside(&halves, 0.1).unwrap();
    let links = halves.map(|half_mm| Link::plus_minus(0.0, half_mm, 1.0));
    let mut source = Xoshiro256PlusPlus::seed_from_u64(11);
    let limits = GapLimits { lower_mm: -0.1, upper_mm: 0.1 };
    let drawn = draw_gaps(&links, limits, 1_000_000, &mut source).unwrap();
    assert!((drawn.outside - exact).abs() <= 3.0 * drawn.outside_error, "seed 11: {drawn:?}");
}

#[test]
fn compression_ratio_and_what_moves_it() {
    let c = case(FILE, "compression-1");
    let found = compression(&CylinderParts {
        bore_mm: c.input("bore"),
        stroke_mm: c.input("stroke"),
        deck: Deck::Measured { clearance_mm: c.input("deck_clearance") },
        chamber_cm3: c.input("chamber_cc"),
        gasket_bore_mm: c.input("gasket_bore"),
        gasket_mm: c.input("gasket_thickness"),
        crown_cm3: c.input("dish_cc"),
        crevice_cm3: 0.0,
    })
    .unwrap();
    c.check("swept", found.swept_cm3);
    c.check("clearance_volume", found.clearance_cm3);
    c.check("CR", found.ratio);
    let per = |part| found.sensitivities.iter().find(|s| s.part == part).unwrap().per_unit;
    c.check("dCR_ddeck", per(Part::DeckClearance));
    c.check("dCR_dchamber", per(Part::Chamber));
    c.check("dCR_dgasket", per(Part::Gasket));
    // Standard deviations as the case's source states them.
    let spreads = [(Part::DeckClearance, 0.05), (Part::Chamber, 0.3), (Part::Gasket, 0.02)];
    let (sd, shares) = ratio_uncertainty(&found, &spreads);
    c.check("sd_CR_linear", sd);
    assert!((shares.iter().map(|s| s.share).sum::<f64>() - 1.0).abs() < 1e-12);
    assert_eq!(shares[0].part, Part::Chamber);
}

#[test]
fn bend_and_twist_of_a_rod() {
    let c = case(FILE, "rod-1");
    let readings = ArborReadings {
        height_left_mm: c.input("h_left"),
        height_right_mm: c.input("h_right"),
        side_left_mm: c.input("s_left"),
        side_right_mm: c.input("s_right"),
        span_mm: c.input("span"),
    };
    let rod = rod_alignment(readings, 100.0).unwrap();
    c.check("bend_per_100mm", rod.bend_mm);
    c.check("twist_per_100mm", rod.twist_mm);
    c.check("bend_angle", rod.bend_arcmin);
    c.check("resultant_per_100mm", rod.resultant_mm);
}

#[test]
fn oil_pump_and_orifice() {
    let c = case(FILE, "pump-1");
    let pump = pump_delivery(PumpReading {
        displacement_cm3: c.input("displacement_cm3_rev"),
        speed_rpm: c.input("rpm"),
        flow_l_min: c.input("flow_l_min"),
        pressure_bar: c.input("pressure_bar"),
    });
    c.check("theoretical_flow", pump.theoretical_l_min);
    c.check("eta_v", pump.volumetric_efficiency);
    c.check("hydraulic_power", pump.hydraulic_kw);
    let c = case(FILE, "orifice-1");
    let orifice = Orifice {
        diameter_mm: c.input("d_mm"),
        pressure_kpa: c.input("dp_Pa") / 1e3,
        density_kg_m3: c.input("density"),
        discharge_coefficient: c.input("Cd"),
    };
    c.check("Q", orifice_flow_l_min(orifice));
}

#[test]
fn viscosity_line_and_index() {
    let c = case(FILE, "walther-1");
    let at = |temperature_c, name| ViscosityPoint { temperature_c, viscosity_mm2_s: c.input(name) };
    let line = ViscosityLine::through(at(40.0, "v40"), at(100.0, "v100")).unwrap();
    c.check("A", line.a);
    c.check("B", line.b);
    let wanted = c.inputs("t_C");
    let found: Vec<f64> = wanted.iter().map(|t| line.viscosity_mm2_s(*t).unwrap()).collect();
    c.check_all("v", &found);
    let c = case(FILE, "vi-a");
    let oil = IndexViscosities { u: c.input("U"), y: 8.86, l: c.input("L"), h: c.input("H") };
    let index = viscosity_index(oil).unwrap();
    c.check("VI", index);
    c.check("VI_rounded", index.round());
}
