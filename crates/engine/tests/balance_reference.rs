//! The calculations of balancing held against the cases in `reference/balance.json`; source and
//! status stand beside each case there, and in every failure.

use std::collections::BTreeSet;

use bedplate_engine::balance::choice::{Choice, choose_holes};
use bedplate_engine::balance::holes::{
    Drilling, Face, Removed, depth_for_mass, depth_for_unbalance, drilled_hole,
};
use bedplate_engine::balance::influence::{
    FourRuns, Influence, MassAt, OnePlaneRuns, Reading, TwoPlaneRuns, four_run,
    trial_mass_one_plane, two_plane_influence,
};
use bedplate_engine::balance::permissible::{
    Duty, MassCentre, permissible_unbalance, plane_shares,
};
use bedplate_engine::balance::planes::{Planes, separate_planes};
use bedplate_engine::balance::split::{Correction, split_correction};
use bedplate_engine::balance::vector::Unbalance;
use serde_json::Value;

const FILE: &str = include_str!("reference/balance.json");

/// One case of the file.
struct Case(Value);

fn cases() -> Vec<Case> {
    let cases: Vec<Value> = serde_json::from_str(FILE).expect("a reference file is JSON");
    cases.into_iter().map(Case).collect()
}

fn case(id: &str) -> Case {
    cases().into_iter().find(|c| c.0["id"] == id).unwrap_or_else(|| panic!("no case {id}"))
}

/// Every number in a value, in order, however deep the lists.
fn numbers(value: &Value) -> Vec<f64> {
    match value {
        Value::Array(items) => items.iter().flat_map(numbers).collect(),
        other => vec![other.as_f64().unwrap_or_else(|| panic!("no number: {other}"))],
    }
}

impl Case {
    fn input(&self, name: &str) -> f64 {
        let found = numbers(&self.0["inputs"][name]);
        assert_eq!(found.len(), 1, "{name}");
        found[0]
    }

    fn inputs(&self, name: &str) -> Vec<f64> {
        numbers(&self.0["inputs"][name])
    }

    fn unbalance(&self, name: &str) -> Unbalance {
        let found = self.inputs(name);
        Unbalance { amount_gmm: found[0], angle_deg: found[1] }
    }

    fn mass(&self, name: &str) -> MassAt {
        let found = self.inputs(name);
        MassAt { mass_g: found[0], angle_deg: found[1] }
    }

    fn readings(&self, name: &str) -> Vec<Reading> {
        let pairs = self.inputs(name);
        pairs.chunks(2).map(|p| Reading { amplitude: p[0], phase_deg: p[1] }).collect()
    }

    fn check(&self, name: &str, got: &[f64]) {
        let list = self.0["expected"].as_array().expect("a list");
        let expected = list.iter().find(|e| e["name"] == name);
        let expected = expected.unwrap_or_else(|| panic!("no value {name}"));
        let values = numbers(&expected["value"]);
        assert_eq!(values.len(), got.len(), "{} {name}", self.0["id"]);
        for (value, got) in values.iter().zip(got) {
            let relative = expected["tol_rel"].as_f64().map_or(0.0, |t| t * value.abs());
            let allowed = expected["tol_abs"].as_f64().unwrap_or(relative);
            assert!(
                (got - value).abs() <= allowed,
                "{} {name}: {got} is not {value} within {allowed} ({}; {})",
                self.0["id"],
                self.0["source"],
                self.0["status"],
            );
        }
    }

    /// As [`Case::check`] for an amount and an angle, which may be a whole turn off.
    fn check_polar(&self, name: &str, got: &[(f64, f64)]) {
        let list = self.0["expected"].as_array().expect("a list");
        let expected = list.iter().find(|e| e["name"] == name).expect("the value is there");
        let values = numbers(&expected["value"]);
        assert_eq!(values.len(), 2 * got.len(), "{} {name}", self.0["id"]);
        let turned: Vec<f64> = got
            .iter()
            .zip(values.chunks(2))
            .flat_map(|(got, want)| [got.0, got.1 + 360.0 * ((want[1] - got.1) / 360.0).round()])
            .collect();
        self.check(name, &turned);
    }
}

fn polar(unbalance: Unbalance) -> (f64, f64) {
    (unbalance.amount_gmm, unbalance.angle_deg)
}

fn of_mass(mass: MassAt) -> (f64, f64) {
    (mass.mass_g, mass.angle_deg)
}

fn of_influence(influence: Influence) -> (f64, f64) {
    (influence.per_g, influence.angle_deg)
}

#[test]
fn permissible_unbalance_by_grade() {
    for id in ["iso21940-1", "iso21940-2", "iso21940-3", "iso21940-4"] {
        let c = case(id);
        let permissible = permissible_unbalance(Duty {
            grade_mm_s: c.input("G_mm_per_s"),
            speed_rpm: c.input("service_speed_rpm"),
            mass_kg: c.input("mass_kg"),
        })
        .unwrap();
        c.check("omega", &[permissible.angular_speed_rad_s]);
        c.check("e_per", &[permissible.specific_um]);
        c.check("U_per", &[permissible.total_gmm]);
    }
}

#[test]
fn shares_of_two_planes() {
    let c = case("planes-1");
    let centre = MassCentre { from_a_mm: c.input("L_A"), from_b_mm: c.input("L_B") };
    let share = plane_shares(c.input("U_per"), centre).unwrap();
    c.check("U_A", &[share.a]);
    c.check("U_B", &[share.b]);
}

#[test]
fn trial_mass_in_one_plane() {
    let c = case("single-plane-1");
    let told = trial_mass_one_plane(&OnePlaneRuns {
        initial: c.readings("initial")[0],
        with_trial: c.readings("with_trial")[0],
        trial: c.mass("trial"),
    })
    .unwrap();
    c.check_polar("influence", &[of_influence(told.influence)]);
    c.check_polar("correction", &[of_mass(told.correction)]);
}

#[test]
fn four_runs_by_amplitude() {
    let c = case("four-run-1");
    let (amplitudes, angles) = (c.inputs("amplitudes"), c.inputs("angles"));
    let told = four_run(&FourRuns {
        initial: amplitudes[0],
        with_trial: [amplitudes[1], amplitudes[2], amplitudes[3]],
        angles_deg: [angles[0], angles[1], angles[2]],
        trial_g: c.input("trial"),
    })
    .unwrap();
    c.check("correction_mass", &[told.correction.mass_g]);
    c.check("correction_angle", &[told.correction.angle_deg]);
}

#[test]
fn influence_of_two_planes() {
    for id in ["two-plane-1", "two-plane-2"] {
        let c = case(id);
        let both = |name| {
            let readings = c.readings(name);
            Planes { a: readings[0], b: readings[1] }
        };
        let told = two_plane_influence(&TwoPlaneRuns {
            initial: both("V0"),
            with_trial_a: both("V_trial_A"),
            with_trial_b: both("V_trial_B"),
            trial: Planes { a: c.mass("trial_A"), b: c.mass("trial_B") },
        })
        .unwrap();
        let alpha = [told.sensor_a.a, told.sensor_a.b, told.sensor_b.a, told.sensor_b.b];
        c.check_polar("alpha", &alpha.map(of_influence));
        c.check_polar("correction_A", &[of_mass(told.correction.a)]);
        c.check_polar("correction_B", &[of_mass(told.correction.b)]);
        c.check_polar("unbalance_A", &[of_mass(told.unbalance.a)]);
        c.check_polar("unbalance_B", &[of_mass(told.unbalance.b)]);
    }
}

#[test]
fn planes_apart_by_statics() {
    let c = case("plane-sep-1");
    let found = Planes { a: c.unbalance("bearing1"), b: c.unbalance("bearing2") };
    let (a, b) = (c.input("a"), c.input("b"));
    let bearings = Planes { a: 0.0, b: a + b + c.input("c") };
    let at = separate_planes(&found, bearings, Planes { a, b: a + b }).unwrap();
    c.check_polar("U1", &[polar(at.a)]);
    c.check_polar("U2", &[polar(at.b)]);
}

fn drilling(c: &Case, radius_mm: f64) -> Drilling {
    Drilling {
        diameter_mm: c.input("d"),
        point_deg: c.input("point_deg"),
        density_g_cm3: c.input("density_g_cm3"),
        radius_mm,
        face: Face::Flat,
    }
}

#[test]
fn hole_from_a_flat() {
    for id in ["hole-1", "hole-2"] {
        let c = case(id);
        let drilling = drilling(&c, c.input("R"));
        let removed = drilled_hole(&drilling, c.input("L")).unwrap();
        let Removed { cylinder_mm3, cone_height_mm, cone_mm3, mass_g, unbalance_gmm, .. } = removed;
        c.check("cylinder_mm3", &[cylinder_mm3]);
        c.check("cone_height", &[cone_height_mm]);
        c.check("cone_mm3", &[cone_mm3]);
        c.check("mass", &[mass_g]);
        c.check("unbalance_removed", &[unbalance_gmm]);
        let depth_mm = depth_for_unbalance(&drilling, unbalance_gmm).unwrap();
        assert!((depth_mm - c.input("L")).abs() < 1e-9, "{id}");
    }
}

#[test]
fn depth_for_a_mass() {
    for id in ["hole-depth-1", "hole-depth-2"] {
        let c = case(id);
        c.check("L", &[depth_for_mass(&drilling(&c, 0.0), c.input("mass_g")).unwrap()]);
    }
}

#[test]
fn correction_between_two_angles() {
    for id in ["split-1", "split-2"] {
        let c = case(id);
        let allowed = c.inputs("allowed");
        let [first, second] = split_correction(Correction {
            amount: c.input("mass"),
            angle_deg: c.input("angle"),
            allowed_deg: [allowed[0], allowed[1]],
        })
        .unwrap();
        c.check("m1", &[first]);
        c.check("m2", &[second]);
    }
}

#[test]
fn best_of_set_angles_and_depths() {
    for id in ["hole-plan-1", "hole-plan-2"] {
        let c = case(id);
        // The cases give no point angle; their unbalance for each depth fits 118°.
        let drilling = Drilling {
            diameter_mm: c.input("d"),
            point_deg: 118.0,
            density_g_cm3: c.input("density"),
            radius_mm: c.input("R"),
            face: Face::Flat,
        };
        let depths_mm = c.inputs("depths_mm");
        for (depth_mm, takes) in depths_mm.iter().zip(c.inputs("U_per_depth_g_mm")) {
            let removed = drilled_hole(&drilling, *depth_mm).unwrap();
            assert!((removed.unbalance_gmm / takes - 1.0).abs() < 1e-12, "{id}");
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few")]
        let chosen = choose_holes(&Choice {
            unbalance: c.unbalance("unbalance_to_remove"),
            allowed_deg: c.inputs("allowed_angles"),
            depths_mm,
            drilling,
            holes_max: c.input("max_holes") as usize,
        })
        .unwrap();
        c.check("min_residual", &[chosen.residual.amount_gmm]);
        #[expect(clippy::cast_precision_loss, reason = "a few")]
        let index = |depth: &Option<usize>| depth.map_or(0.0, |idx| (idx + 1) as f64);
        let indices: Vec<f64> = chosen.depth_idx.iter().map(index).collect();
        c.check("depth_index_per_angle_0_none", &indices);
    }
}

#[test]
fn every_case_of_the_file_is_held_against_something() {
    let source = include_str!("balance_reference.rs");
    let missing: BTreeSet<String> = cases()
        .iter()
        .map(|c| c.0["id"].as_str().expect("an id").to_owned())
        .filter(|id| !source.contains(&format!("\"{id}\"")))
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
}
