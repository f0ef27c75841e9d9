//! Cutting, tool life, force and cycle held against the cases in `reference/cutting.json`; source
//! and status stand beside each case there.

mod case;

use bedplate_shop::cutting::broaching::{Broaching, broaching};
use bedplate_shop::cutting::drilling::{Drilling, drilling};
use bedplate_shop::cutting::facing::{Facing, facing};
use bedplate_shop::cutting::grinding::{PlungeGrinding, plunge_grinding};
use bedplate_shop::cutting::milling::{FaceMilling, MillingTravel, face_milling};
use bedplate_shop::cutting::tapping::{Tapping, tapping};
use bedplate_shop::cutting::turning::{Pass, feed_of_revs_per_inch_mm, pass};
use bedplate_shop::cycle::{HolesInTime, hole_time, piece_time_s};
use bedplate_shop::force::{
    DrillCut, MillCut, SingleEdge, SpecificForce, drill_force, edge_force, mill_force,
};
use bedplate_shop::tool_life::{EdgeCost, LifeTest, TaylorLine, best_speed};
use case::{Case, case};

const FILE: &str = include_str!("reference/cutting.json");

#[test]
fn drilling_a_hole() {
    let c = case(FILE, "cut-drill-1");
    let hole = drilling(&Drilling {
        diameter_mm: c.input("d_mm"),
        speed_m_min: c.input("vc_m_min"),
        feed_mm: c.input("f_mm_rev"),
        depth_mm: c.input("depth_mm"),
        approach_mm: c.input("approach_mm"),
        overrun_mm: 0.0,
        point_deg: c.input("point_deg"),
    })
    .unwrap();
    c.check("rpm", hole.spindle_rpm);
    c.check("feed_rate", hole.feed_rate_mm_min);
    c.check("point_length", hole.point_mm);
    c.check("time", hole.time_s);
    c.check("mrr", hole.removal_cm3_min);
}

#[test]
fn milling_a_face() {
    let c = case(FILE, "cut-face-1");
    let at = |travel| {
        face_milling(&FaceMilling {
            diameter_mm: c.input("D"),
            n_teeth: 8,
            speed_m_min: c.input("vc"),
            tooth_feed_mm: c.input("fz"),
            length_mm: c.input("length"),
            width_mm: c.input("ae"),
            clearance_mm: c.input("clearance"),
            travel,
        })
        .unwrap()
    };
    assert_eq!(c.input("z"), 8.0);
    let finish = at(MillingTravel::Finish);
    c.check("rpm", finish.spindle_rpm);
    c.check("table_feed", finish.table_feed_mm_min);
    c.check("run_in_rough", finish.run_in_mm);
    c.check("time_finish", finish.time_s);
    c.check("time_rough", at(MillingTravel::Rough).time_s);
}

#[test]
fn boring_and_turning() {
    let c = case(FILE, "cut-bore-1");
    let bore = pass(&Pass {
        diameter_mm: c.input("D"),
        length_mm: c.input("length_mm"),
        speed_m_min: c.input("vc"),
        feed_mm: c.input("f"),
        depth_mm: c.input("ap"),
        approach_mm: c.input("approach"),
    })
    .unwrap();
    c.check("rpm", bore.spindle_rpm);
    c.check("time", bore.time_s);
    c.check("mrr", bore.removal_cm3_min);
    c.check("revs_per_inch", bore.revs_per_inch);
    let c = case(FILE, "cut-turn-1");
    let turned = pass(&Pass {
        diameter_mm: c.input("d"),
        length_mm: c.input("length"),
        speed_m_min: c.input("vc"),
        feed_mm: c.input("f"),
        depth_mm: 0.0,
        approach_mm: c.input("approach"),
    })
    .unwrap();
    c.check("rpm", turned.spindle_rpm);
    c.check("time", turned.time_s);
    let c = case(FILE, "trade-fine-bore");
    let feed = feed_of_revs_per_inch_mm(c.input("rev_per_inch"));
    c.check("feed", feed);
    c.check("feed_in", feed / 25.4);
}

#[test]
fn facing_at_constant_surface_speed() {
    let c = case(FILE, "cut-facing-css-1");
    let face = facing(&Facing {
        from_mm: c.input("r_from"),
        to_mm: c.input("r_to"),
        speed_m_min: c.input("vc"),
        feed_mm: c.input("f"),
        spindle_rpm_max: c.input("n_max"),
    })
    .unwrap();
    c.check("radius_at_limit", face.limit_radius_mm);
    c.check("time", face.time_s);
}

#[test]
fn tapping_a_thread() {
    let c = case(FILE, "cut-tap-1");
    let thread = tapping(&Tapping {
        diameter_mm: c.input("d"),
        pitch_mm: c.input("pitch"),
        depth_mm: c.input("depth"),
        spindle_rpm: c.input("rpm"),
        return_ratio: c.input("return_ratio"),
        approach_threads: c.input("approach_threads"),
        reversal_s: 0.0,
    })
    .unwrap();
    c.check("vc", thread.speed_m_min);
    c.check("feed_rate", thread.feed_rate_mm_min);
    c.check("time", thread.time_s);
}

#[test]
fn plunge_grinding_a_journal() {
    let c = case(FILE, "cut-grind-1");
    let cut = plunge_grinding(&PlungeGrinding {
        wheel_mm: c.input("wheel_d"),
        wheel_rpm: c.input("wheel_rpm"),
        marked_m_s: None,
        work_mm: c.input("work_d"),
        stock_mm: c.input("stock_on_diameter"),
        infeed_mm_min: c.input("infeed_mm_min_radial"),
        spark_out_s: c.input("sparkout_s"),
    })
    .unwrap();
    c.check("wheel_speed", cut.wheel_m_s);
    c.check("time", cut.time_s);
    c.check("specific_removal_rate", cut.specific_removal_mm2_s);
}

#[test]
fn broaching_a_face() {
    let c = case(FILE, "cut-broach-1");
    let broach = broaching(&Broaching {
        stock_mm: c.input("stock"),
        rise_mm: c.input("rise_per_tooth"),
        n_semi_finish: 4,
        n_finish: 6,
        pitch_mm: c.input("pitch"),
        part_mm: c.input("part_length"),
        speed_m_min: c.input("vc_m_min"),
    })
    .unwrap();
    assert_eq!((c.input("semi_finish"), c.input("finish")), (4.0, 6.0));
    c.check("teeth", f64::from(broach.n_teeth));
    c.check("toothed_length", broach.toothed_mm);
    c.check("teeth_in_cut_max", f64::from(broach.n_teeth_in_cut));
    c.check("time", broach.time_s);
}

#[test]
fn tool_life_and_best_speed() {
    let c = case(FILE, "cut-taylor-1");
    let test = |speed, life| LifeTest { speed_m_min: c.input(speed), life_min: c.input(life) };
    let line = TaylorLine::through(test("v1", "T1"), test("v2", "T2")).unwrap();
    c.check("n", line.n());
    c.check("C", line.c_m_min());
    c.check("T_at_v", line.life_min(c.input("v_query")));
    c.check("v_at_T", line.speed_m_min(c.input("T_query")));
    for id in ["cut-econ-1", "cut-econ-3"] {
        let c = case(FILE, id);
        let line = TaylorLine::new(c.input("n"), c.input("C_m_min")).unwrap();
        let cost = EdgeCost {
            change_min: c.input("tool_change_min"),
            minute_cost: c.input("rate_per_min"),
            edge_cost: c.input("tool_cost_per_edge"),
        };
        let best = best_speed(line, cost).unwrap();
        c.check("T_max_rate", best.most_pieces.life_min);
        c.check("v_max_rate", best.most_pieces.speed_m_min);
        c.check("T_min_cost", best.least_cost.life_min);
        c.check("v_min_cost", best.least_cost.speed_m_min);
    }
}

fn material(c: &Case) -> SpecificForce {
    SpecificForce { kc11_n_mm2: c.input("kc11"), mc: c.input("mc") }
}

#[test]
fn force_and_power() {
    for id in ["cut-kienzle-1", "cut-kienzle-2"] {
        let c = case(FILE, id);
        let cut = edge_force(&SingleEdge {
            material: material(&c),
            feed_mm: c.input("f"),
            depth_mm: c.input("ap"),
            edge_angle_deg: c.input("kappa_deg"),
            speed_m_min: c.input("vc"),
            efficiency: c.input("efficiency"),
        })
        .unwrap();
        c.check("h", cut.chip_mm);
        c.check("b", cut.width_mm);
        c.check("kc", cut.kc_n_mm2);
        c.check("Fc", cut.force_n);
        c.check("P_cut", cut.power_kw);
        c.check("P_motor", cut.motor_kw);
    }
    let c = case(FILE, "cut-drill-torque-1");
    let hole = drill_force(&DrillCut {
        material: material(&c),
        diameter_mm: c.input("d"),
        feed_mm: c.input("f"),
        speed_m_min: c.input("vc"),
        point_deg: c.input("point_deg"),
    })
    .unwrap();
    c.check("kc", hole.kc_n_mm2);
    c.check("torque", hole.torque_nm);
    c.check("power", hole.power_kw);
    c.check("power_by_formula", hole.power_kw);
    c.check("thrust", hole.thrust_n);
    let c = case(FILE, "cut-mill-power-1");
    assert_eq!(c.input("z"), 8.0);
    let face = mill_force(&MillCut {
        material: material(&c),
        diameter_mm: c.input("D"),
        n_teeth: 8,
        width_mm: c.input("ae"),
        depth_mm: c.input("ap"),
        tooth_feed_mm: c.input("fz"),
        speed_m_min: c.input("vc"),
    })
    .unwrap();
    c.check("phi_s", face.engagement_deg);
    c.check("hm", face.mean_chip_mm);
    c.check("kc", face.kc_n_mm2);
    c.check("P", face.power_kw);
}

#[test]
fn cycle_and_holes() {
    let c = case(FILE, "trade-cycle");
    c.check("cycle", piece_time_s(c.input("pieces_per_h")));
    let c = case(FILE, "trade-53-holes");
    let limit_s = c.input("limit_s");
    let time = hole_time(HolesInTime { n_holes: 53, n_sides: 4, limit_s }).unwrap();
    assert_eq!((c.input("holes"), c.input("sides")), (53.0, 4.0));
    c.check("mean_s_per_hole_upper", time.each_s);
    c.check("min_pieces_per_h", time.pieces_per_h);
}
