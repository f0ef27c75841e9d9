//! A small works whose sets are more than pistons, for engines of any number of cylinders.

use std::fmt::Write as _;

use super::served::{Served, bedplate};

/// Who stands at the bench.
pub(crate) const FITTER: &str = "m-thorn";

/// The works file for an engine of `n` cylinders.
fn works_file(n: usize) -> String {
    let order: Vec<String> = (1..=n).map(|k| k.to_string()).collect();
    include_str!("kits.toml")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .collect::<Vec<_>>()
        .join("\n")
        .replace("MAIN_SHELLS", &(2 * (n + 1)).to_string())
        .replace("ROD_SHELLS", &(2 * n).to_string())
        .replace("JOURNALS", &(n + 1).to_string())
        .replace("CYLINDERS", &n.to_string())
        .replace("FIRING_ORDER", &format!("[{}]", order.join(", ")))
}

/// Readings of `engines` engines' pieces and a few to spare, well inside their limits.
struct Readings {
    csv: String,
    drawn: usize,
}

impl Readings {
    /// The next of a sequence that looks drawn by chance: `middle` ± `half`.
    fn near(&mut self, middle: f64, half: f64) -> f64 {
        self.drawn += 1;
        let share = f64::from(u32::try_from(self.drawn * 7919 % 1009).unwrap()) / 1008.0;
        middle + half * (2.0 * share - 1.0)
    }

    fn mm(&mut self, piece: &str, of: &str, places: usize, middle: f64, half: f64) {
        for k in 1..=places {
            let value = self.near(middle, half);
            let place = if places > 1 { k.to_string() } else { String::new() };
            writeln!(self.csv, "{piece},{of},{place},{value:.4} mm").unwrap();
        }
    }

    fn g(&mut self, piece: &str, of: &str, middle: f64, half: f64) {
        let value = self.near(middle, half);
        writeln!(self.csv, "{piece},{of},,{value:.1} g").unwrap();
    }
}

fn readings(n: usize, engines: usize) -> String {
    let csv = "piece,characteristic,position,value\n".to_owned();
    let mut r = Readings { csv, drawn: 0 };
    for i in 1..=engines {
        let (block, shaft) = (format!("B{i:04}"), format!("CR{i:04}"));
        r.mm(&block, "block.bore", n, 68.006, 0.003);
        r.mm(&block, "block.main", n + 1, 54.006, 0.004);
        r.mm(&shaft, "crankshaft.main", n + 1, 49.966, 0.004);
        r.mm(&shaft, "crankshaft.pin", n, 41.966, 0.004);
    }
    for i in 1..=n * engines + n.max(4) {
        let piston = format!("P{i:05}");
        r.mm(&piston, "piston.skirt", 1, 67.970, 0.003);
        r.mm(&piston, "piston.pin_bore", 1, 18.004, 0.002);
        r.g(&piston, "piston.mass", 418.0, 1.9);
        let pin = format!("W{i:05}");
        r.mm(&pin, "pin.diameter", 1, 17.996, 0.002);
        r.g(&pin, "pin.mass", 95.0, 0.8);
        let rod = format!("R{i:05}");
        r.mm(&rod, "rod.bush", 1, 18.010, 0.003);
        r.mm(&rod, "rod.big_end", 1, 45.006, 0.004);
        r.g(&rod, "rod.mass", 510.0, 2.0);
    }
    r.csv
}

/// A works of its own with pieces for `engines` engines of `n` cylinders, and shells counted.
pub(crate) fn kits(n: usize, engines: usize) -> Served {
    let works = Served::prepared(|folder| {
        let laid = bedplate().arg("new").arg(folder).output().unwrap();
        assert!(laid.status.success(), "{}", String::from_utf8_lossy(&laid.stderr));
        std::fs::write(folder.join("works.toml"), works_file(n)).unwrap();
        let file = folder.join("readings.csv");
        std::fs::write(&file, readings(n, engines)).unwrap();
        let mut import = bedplate();
        import.args(["import", "--by", FITTER, "--at", "2026-11-24T10:00", "--works"]);
        let done = import.arg(folder).arg(&file).output().unwrap();
        let said = [done.stdout, done.stderr].concat();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&said));
    });
    for (part, grades) in [("main_shell", ["M1", "M2", "M3"]), ("rod_shell", ["R1", "R2", "R3"])] {
        for grade in grades {
            let counted = serde_json::json!({
                "by": FITTER, "part": part, "grade": grade, "pieces": 60 * engines
            });
            let (status, answer) = works.post("/api/stock", &counted);
            assert_eq!(status, 200, "{answer}");
        }
    }
    works
}
