//! Queues, takt, stations and saturated lines held against the cases in `reference/flow.json`;
//! source and status stand beside each case there.

mod case;

use bedplate_shop::line::{ShiftDemand, stations_at_least, takt};
use bedplate_shop::queue::{
    Arrivals, Variations, at_least_present, heavy_traffic, pieces_in_line, several_machines,
    single_machine,
};
use bedplate_shop::saturated::{SaturatedLine, solve_line};
use bedplate_shop::stations::{Tasks, fewest_stations, shortest_cycle};
use case::{Case, case};

const FILE: &str = include_str!("reference/flow.json");

#[test]
fn one_machine() {
    let c = case(FILE, "mm1-1");
    let arrivals = Arrivals { interval: 1.0 / c.input("lam"), service: 1.0 / c.input("mu") };
    let queue = single_machine(arrivals, 1.0).unwrap();
    c.check("rho", queue.busy);
    c.check("L", queue.present);
    c.check("Lq", queue.waiting);
    c.check("W", queue.stay);
    c.check("Wq", queue.wait);
    c.check("P_n_ge_5", at_least_present(arrivals, 5).unwrap());
    for id in ["mg1-1", "mg1-2"] {
        let c = case(FILE, id);
        let arrivals =
            Arrivals { interval: 1.0 / c.input("lam"), service: c.input("mean_service") };
        let queue = single_machine(arrivals, c.input("scv_service")).unwrap();
        c.check("rho", queue.busy);
        c.check("Wq", queue.wait);
        c.check("W", queue.stay);
        c.check("Lq", queue.waiting);
        c.check("L", queue.present);
    }
}

#[test]
fn several_machines_and_heavy_traffic() {
    let c = case(FILE, "mmc-1");
    assert_eq!(c.input("c"), 3.0);
    let arrivals = Arrivals { interval: 1.0 / c.input("lam"), service: 1.0 / c.input("mu") };
    let (p_wait, queue) = several_machines(arrivals, 3).unwrap();
    c.check("p_wait", p_wait);
    c.check("Wq", queue.wait);
    c.check("Lq", queue.waiting);
    let c = case(FILE, "kingman");
    let service = c.input("mean_service");
    let arrivals = Arrivals { interval: service / c.input("rho"), service };
    let spread = Variations { arrivals: c.input("ca2"), service: c.input("cs2") };
    c.check("Wq", heavy_traffic(arrivals, spread).unwrap().wait);
    let c = case(FILE, "little");
    let hours = c.input("mean_time_in_line_min") / 60.0;
    c.check("wip", pieces_in_line(c.input("throughput_per_h"), hours));
}

#[test]
fn takt_and_stations_at_least() {
    let c = case(FILE, "takt");
    let pace = takt(ShiftDemand {
        demand: c.input("demand_per_shift"),
        shift_s: c.input("shift_h") * 3600.0,
        stops_s: c.input("stops_min") * 60.0,
        efficiency: c.input("efficiency"),
    })
    .unwrap();
    c.check("takt", pace.takt_s);
    c.check("takt_net", pace.takt_net_s);
    let stations = stations_at_least(c.input("work_content_s"), pace.takt_net_s).unwrap();
    c.check("stations_min", f64::from(stations));
}

fn tasks(c: &Case) -> Tasks {
    let table = c.raw("times").as_object().expect("a table of times");
    let times: Vec<f64> =
        (1..=table.len()).map(|i| table[&i.to_string()].as_f64().expect("a number")).collect();
    let task = |x: &serde_json::Value| x.as_u64().expect("a task") as usize - 1;
    let order: Vec<(usize, usize)> = c
        .raw("precedence")
        .as_array()
        .expect("pairs")
        .iter()
        .map(|pair| (task(&pair[0]), task(&pair[1])))
        .collect();
    Tasks::new(&times, &order).expect("the case holds sound tasks")
}

#[test]
fn fewest_stations_of_the_classic_instances() {
    for id in ["salb-mertens", "salb-bowman"] {
        let c = case(FILE, id);
        let tasks = tasks(&c);
        for cycle_s in c.inputs("cycle_times") {
            let expected = c.value("min_stations")[cycle_s.to_string()].as_u64().unwrap();
            let plan = fewest_stations(&tasks, cycle_s).unwrap();
            assert_eq!(plan.loads_s.len() as u64, expected, "{id} at {cycle_s}");
            assert!(plan.cycle_s() <= cycle_s);
        }
    }
}

#[test]
fn fewest_stations_and_shortest_cycle_of_fourteen_tasks() {
    let c = case(FILE, "balance-1");
    let tasks = tasks(&c);
    let plan = fewest_stations(&tasks, c.input("cycle_time")).unwrap();
    c.check("min_stations", plan.loads_s.len() as f64);
    c.check("lower_bound", plan.lower_bound);
    assert_eq!(c.input("stations"), 5.0);
    let plan = shortest_cycle(&tasks, 5).unwrap();
    c.check("min_cycle", plan.cycle_s());
    assert_eq!(plan.loads_s.len(), 5);
}

#[test]
fn lines_without_stores() {
    let c = case(FILE, "hunt-zero-buffer");
    let output = |n: &f64| {
        let n = *n as usize;
        let line = SaturatedLine { times: vec![1.0; n], places: vec![0; n - 1] };
        solve_line(&line).unwrap().output
    };
    c.check_all("throughput", &c.inputs("stations").iter().map(output).collect::<Vec<_>>());
}

#[test]
fn lines_with_stores() {
    for id in ["exp-line-1", "exp-line-2", "exp-line-3", "exp-line-7"] {
        let c = case(FILE, id);
        let times = c.inputs("mu").iter().map(|mu| 1.0 / mu).collect();
        let places = c.inputs("buffers").iter().map(|b| *b as u32).collect();
        let line = solve_line(&SaturatedLine { times, places }).unwrap();
        c.check("throughput", line.output);
        c.check("mean_parts_in_line", line.pieces);
    }
}
