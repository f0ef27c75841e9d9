//! The holes that balance a rotor, from one file.

use bedplate_engine::balance::planes::Planes;
use bedplate_engine::balance::vector::Unbalance;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Dimension;
use bedplate_record::entry::HoleDrilled;
use serde::Serialize;

use super::PlainFault;
use crate::balance::{BalancePlan, Measured, plan_rotor};
use crate::plan::partial::parse_partial;
use crate::plan::table::{Sign, Table};
use crate::plan::{Plan, Rotor};
use crate::who::nearest;
use crate::works::WorksError;

/// The plan for one piece.
#[derive(Debug, Clone, Serialize)]
pub struct BalanceAnswer {
    /// The piece, or empty where the file does not say.
    pub piece: String,
    /// Holes that are there already.
    pub drilled: usize,
    /// Found, holes, left.
    pub plan: BalancePlan,
}

/// Plans the holes of a rotor. `text` holds `[unbalance]` with the piece and, for planes `A` and
/// `B`, `amount` and `angle`; one `[rotor.NAME]` as in a works file; and `[[drilled]]` for each hole
/// that is there already, with `site`, `angle`, `drill` and `depth`. `name` is what faults call the
/// file. What is proposed is advice: the machine maker's instructions come before it.
///
/// # Errors
/// [`PlainFault`] with every fault of the file; at the rotor's heading if its figures contradict
/// each other.
pub fn balance(name: &str, text: &str) -> Result<BalanceAnswer, PlainFault> {
    let (_, answer) = parse_partial(name, text, &["unbalance", "drilled"], |root, plan| {
        let found = unbalance(root);
        let drilled = drilled(root, plan);
        let rotor = plan.and_then(|plan| only_rotor(root, plan))?;
        let ((piece, found), drilled) = (found?, drilled?);
        match plan_rotor(rotor, &found, &drilled) {
            Ok(plan) => Some(BalanceAnswer { piece, drilled: drilled.len(), plan }),
            Err(error) => {
                at_rotor(root, rotor, &error);
                None
            }
        }
    })?;
    Ok(answer)
}

fn at_rotor(root: &Table<'_>, rotor: &Rotor, error: &WorksError) {
    let all = root.table("rotor", "[rotor.crankshaft]");
    let tables = all.map(|t| t.named_tables("[rotor.crankshaft]")).unwrap_or_default();
    let span = tables.iter().find(|(name, _)| *name == rotor.name).map(|(_, t)| t.span.clone());
    root.fault(&span.unwrap_or(0..0), error.to_string(), "mend the figures of this rotor");
}

fn only_rotor<'p>(root: &Table<'_>, plan: &'p Plan) -> Option<&'p Rotor> {
    let mut rotors = plan.rotors.values();
    let rotor = rotors.next();
    if rotor.is_none() {
        let mend = "add [rotor.NAME], as in a works file";
        root.fault(&root.span, "the file has no rotor", mend);
    } else if rotors.next().is_some() {
        let what = format!("the file has {} rotors", plan.rotors.len());
        root.fault_at("rotor", what, "keep the one that is balanced");
        return None;
    }
    rotor
}

fn unbalance(root: &Table<'_>) -> Option<(String, Planes<Measured>)> {
    const EXAMPLE: &str = "[unbalance] with A and B";
    if !root.has("unbalance") {
        let what = "the file does not say what unbalance was found";
        root.fault(&root.span, what, format!("add {EXAMPLE}"));
    }
    let table = root.table("unbalance", EXAMPLE)?;
    table.knows(&["piece", "A", "B"]);
    let piece = table.remark("piece", "\"C02637\"");
    let planes = (plane(&table, "A"), plane(&table, "B"));
    table.finish();
    Some((piece, Planes { a: planes.0?, b: planes.1? }))
}

fn plane(table: &Table<'_>, key: &'static str) -> Option<Measured> {
    const EXAMPLE: &str = "{ amount = \"440 g·mm\", angle = \"188°\" }";
    let found = table.table(key, &format!("{key} = {EXAMPLE}"));
    let plane = table.need(found, key, EXAMPLE)?;
    plane.knows(&["amount", "angle"]);
    let amount = plane.quantity("amount", Dimension::Unbalance, Sign::NotNegative);
    let amount = plane.need(amount, "amount", "\"440 g·mm\"");
    let angle = plane.quantity("angle", Dimension::Angle, Sign::Any);
    let angle = plane.need(angle, "angle", "\"188°\"");
    plane.finish();
    let unbalance = Unbalance { amount_gmm: amount?.to("g·mm"), angle_deg: angle?.to("°") };
    Some(Measured { unbalance: Some(unbalance), readings: Vec::new() })
}

fn drilled(root: &Table<'_>, plan: Option<&Plan>) -> Option<Vec<HoleDrilled>> {
    let holes: Vec<Option<HoleDrilled>> = root
        .tables("drilled", "[[drilled]] with site, angle, drill and depth")
        .iter()
        .map(|table| {
            table.knows(&["site", "angle", "drill", "depth"]);
            let site = table.need(table.text("site", "\"web 1\""), "site", "\"web 1\"");
            let sites = plan.into_iter().flat_map(|p| p.rotors.values()).flat_map(|r| &r.sites);
            let known: Vec<&str> = sites.map(|s| s.name.as_str()).collect();
            if let Some(site) = site.filter(|s| !known.is_empty() && !known.contains(s)) {
                let mend = nearest(site, known.iter().copied()).map_or_else(
                    || format!("the sites are {}", known.join(", ")),
                    |near| format!("did you mean \"{near}\"?"),
                );
                table.fault_at("site", format!("the rotor has no site \"{site}\""), mend);
            }
            let length = |key, example| {
                let length = table.quantity(key, Dimension::Length, Sign::Positive);
                table.need(length, key, example)
            };
            let (drill, depth) = (length("drill", "\"12 mm\""), length("depth", "\"9.5 mm\""));
            let angle = table.quantity("angle", Dimension::Angle, Sign::Any);
            let angle = table.need(angle, "angle", "\"150°\"");
            table.finish();
            let written = |q: Quantity| q.to_string();
            Some(HoleDrilled {
                site: site?.to_owned(),
                angle: written(angle?),
                drill: written(drill?),
                depth: written(depth?),
            })
        })
        .collect();
    holes.into_iter().collect()
}
