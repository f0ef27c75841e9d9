//! Balance: measured unbalance to holes to the residual entered, piece by piece.

use bedplate_engine::balance::CAUTIONS;
use bedplate_engine::balance::permissible::{
    Duty, MassCentre, guarded_limits, permissible_unbalance, plane_shares,
};
use bedplate_engine::balance::plan::{Hole, HolePlan, Outcome, plan_holes};
use bedplate_engine::balance::planes::Planes;
use bedplate_engine::balance::residual::{Scatter, expected_residual};
use bedplate_engine::balance::rotor::{
    Drill, ExistingHole, Machine, Rotor as Drawn, Site as DrawnSite, Window,
};
use bedplate_engine::balance::vector::Unbalance;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Dimension;
use bedplate_record::entry::{Event, HoleDrilled, Subject};
use bedplate_record::reading::KeptReading;
use serde::Serialize;

use crate::instant;
use crate::judge::newest;
use crate::plan::{Plan, Rotor};
use crate::trace::counted;
use crate::who::{Doing, allowed, nearest};
use crate::wire::{Figure, Word};
use crate::works::{Deed, Works, WorksError};

/// One plane of a rotor.
#[derive(Debug, Clone, Serialize)]
pub struct PlaneView {
    /// `A` or `B`.
    pub plane: &'static str,
    /// Unbalance found.
    pub found: Figure,
    /// Angle of its heavy side, from pin 1.
    pub angle: Figure,
    /// Most the machine may show: the permissible less its guard.
    pub allowed: Figure,
    /// Judgement of what was found.
    pub word: Word,
    /// What should stay after drilling as planned.
    pub expected: Figure,
    /// Its angle.
    pub expected_angle: Figure,
    /// Expanded uncertainty of it.
    pub plus_minus: Figure,
    /// Judgement of what should stay.
    pub expected_word: Word,
}

/// One planned hole.
#[derive(Debug, Clone, Serialize)]
pub struct HoleLine {
    /// `a`, `b`, … in drilling order.
    pub letter: String,
    /// Site.
    pub site: String,
    /// Angle from pin 1.
    pub angle: Figure,
    /// Drill diameter.
    pub drill: Figure,
    /// Depth of full diameter.
    pub depth: Figure,
    /// The deepest this drill may go there.
    pub deepest: Figure,
    /// Unbalance it takes.
    pub takes: Figure,
}

/// A site as drawn.
#[derive(Debug, Clone, Serialize)]
pub struct SiteView {
    /// Name.
    pub name: String,
    /// Axial place, mm.
    pub z_mm: f64,
    /// Radius, mm.
    pub radius_mm: f64,
    /// Windows, degrees from–to.
    pub windows: Vec<(f64, f64)>,
    /// The plane it lies nearer to.
    pub plane: &'static str,
}

/// A hole that is there already.
#[derive(Debug, Clone, Serialize)]
pub struct DrilledLine {
    /// Site.
    pub site: String,
    /// Angle as entered.
    pub angle: String,
    /// Drill as entered.
    pub drill: String,
    /// Depth as entered.
    pub depth: String,
}

/// The plan for one rotor: found, holes, left.
#[derive(Debug, Clone, Serialize)]
pub struct BalancePlan {
    /// Rotor's title.
    pub rotor: String,
    /// Mass.
    pub mass: Figure,
    /// Balance quality grade, mm/s.
    pub grade: Figure,
    /// Service speed.
    pub speed: Figure,
    /// Permissible residual unbalance of the whole rotor.
    pub permissible: Figure,
    /// Planes.
    pub planes: Vec<PlaneView>,
    /// Holes in drilling order.
    pub holes: Vec<HoleLine>,
    /// Metal taken off.
    pub mass_off: Figure,
    /// Worse plane's share of its limit after drilling; 1 or less is inside.
    pub share_of_limit: f64,
    /// `no hole needed`, `inside` or `out of reach`.
    pub outcome: &'static str,
    /// Sites as drawn.
    pub sites: Vec<SiteView>,
    /// Axial places of planes A and B, mm.
    pub plane_z_mm: (f64, f64),
    /// Cautions: the plan's own, then the trade's.
    pub cautions: Vec<String>,
}

/// Where a rotor stands at the balancing machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum BalanceState {
    /// Not measured yet.
    ToMeasure,
    /// Measured, outside, to be drilled.
    ToDrill,
    /// Drilled, to be measured again.
    ToMeasureAgain,
    /// Inside at both planes.
    Inside,
}

/// The balance sheet of one piece.
#[derive(Debug, Clone, Serialize)]
pub struct BalanceSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Rotor's short name.
    pub rotor: String,
    /// The piece, or empty when none waits.
    pub piece: String,
    /// Where it stands.
    pub state: BalanceState,
    /// The plan, if it is measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plan: Option<BalancePlan>,
    /// Holes that are there already.
    pub drilled: Vec<DrilledLine>,
    /// Pieces measured and outside, waiting for the drill.
    pub to_drill: Vec<String>,
    /// Pieces not measured yet.
    pub to_measure: Vec<String>,
    /// In one sentence.
    pub finding: String,
    /// The characteristic and gauge for typing what is measured.
    pub amount: String,
    /// The characteristic of the angle.
    pub angle: String,
    /// Its cautions.
    pub cautions: Vec<String>,
}

fn refused(rotor: &Rotor, e: &dyn std::fmt::Display) -> WorksError {
    WorksError::refused(format!("balancing {}", rotor.title.to_lowercase()), e.to_string())
}

/// The most the machine may show at each plane, g·mm: the permissible, shared and guarded.
///
/// # Errors
/// [`WorksError::Refused`] if the rotor's figures contradict each other.
pub fn allowed_gmm(rotor: &Rotor) -> Result<Planes<f64>, WorksError> {
    let total = permissible_unbalance(duty(rotor)).map_err(|e| refused(rotor, &e))?.total_gmm;
    let (a, b, centre) =
        (rotor.plane_a.to("mm"), rotor.plane_b.to("mm"), rotor.mass_centre.to("mm"));
    let centre = MassCentre { from_a_mm: centre - a, from_b_mm: b - centre };
    let shares = plane_shares(total, centre).map_err(|e| refused(rotor, &e))?;
    guarded_limits(shares, rotor.guard.to("g·mm")).map_err(|e| refused(rotor, &e))
}

fn duty(rotor: &Rotor) -> Duty {
    Duty {
        grade_mm_s: rotor.grade.to("mm/s"),
        speed_rpm: rotor.service_speed.to("rev/min"),
        mass_kg: rotor.mass.to("kg"),
    }
}

fn drawn(rotor: &Rotor, existing: &[HoleDrilled]) -> Result<Drawn, WorksError> {
    let sites = rotor.sites.iter().map(|site| {
        let existing = existing
            .iter()
            .filter(|h| h.site == site.name)
            .filter_map(|h| existing_hole(site, h))
            .collect();
        DrawnSite {
            z_mm: site.z.to("mm"),
            radius_mm: site.radius.to("mm"),
            density_g_cm3: site.density.to("g/cm³"),
            windows: site
                .windows
                .iter()
                .map(|(from, to)| Window { from_deg: from.to("°"), to_deg: to.to("°") })
                .collect(),
            drills: site
                .drills
                .iter()
                .map(|d| Drill {
                    diameter_mm: d.diameter.to("mm"),
                    point_deg: d.point.to("°"),
                    depth_mm_min: d.depth_min.to("mm"),
                    depth_mm_max: d.depth_max.to("mm"),
                })
                .collect(),
            holes_max: usize::try_from(site.max_holes).unwrap_or(usize::MAX),
            web_mm: site.wall.to("mm"),
            existing,
        }
    });
    Ok(Drawn {
        plane_z_mm: Planes { a: rotor.plane_a.to("mm"), b: rotor.plane_b.to("mm") },
        limit_gmm: allowed_gmm(rotor)?,
        sites: sites.collect(),
        machine: Machine {
            depth_step_mm: rotor.depth_step.to("mm"),
            angle_step_deg: rotor.angle_step.to("°"),
        },
        holes_max: usize::try_from(rotor.max_holes).unwrap_or(usize::MAX),
    })
}

fn existing_hole(site: &crate::plan::Site, hole: &HoleDrilled) -> Option<ExistingHole> {
    let length = |text: &str| Quantity::parse(text, Dimension::Length).ok().map(|q| q.to("mm"));
    let diameter_mm = length(&hole.drill)?;
    let like = |d: &&crate::plan::Drill| (d.diameter.to("mm") - diameter_mm).abs() < 1e-6;
    Some(ExistingHole {
        angle_deg: Quantity::parse(&hole.angle, Dimension::Angle).ok()?.to("°"),
        diameter_mm,
        point_deg: site.drills.iter().find(like).map_or(118.0, |d| d.point.to("°")),
        depth_mm: length(&hole.depth)?,
    })
}

/// What the readings of one plane were: amount and angle, with their numbers.
#[derive(Debug, Clone, Default)]
pub struct Measured {
    /// Unbalance.
    pub unbalance: Option<Unbalance>,
    /// Numbers of the readings it rests on.
    pub readings: Vec<u64>,
}

/// Plans the holes of a rotor from what was found at its planes: the plan of the balance sheet, and
/// of the file-only command.
///
/// # Errors
/// [`WorksError::Refused`] if the rotor's figures contradict each other or the unbalance is none.
pub fn plan_rotor(
    rotor: &Rotor,
    found: &Planes<Measured>,
    existing: &[HoleDrilled],
) -> Result<BalancePlan, WorksError> {
    let drawn = drawn(rotor, existing)?;
    let of = |m: &Measured| {
        m.unbalance.ok_or_else(|| refused(rotor, &"both planes must be measured first"))
    };
    let unbalance = Planes { a: of(&found.a)?, b: of(&found.b)? };
    let plan = plan_holes(&drawn, &unbalance).map_err(|e| refused(rotor, &e))?;
    let holes: Vec<Hole> = plan.holes.iter().map(|h| h.hole).collect();
    // Half a step of the machine's stops, and the guard as twice its own standard uncertainty.
    let scatter = Scatter {
        depth_mm: rotor.depth_step.to("mm") / 2.0,
        angle_deg: rotor.angle_step.to("°") / 2.0,
        measuring_gmm: rotor.guard.to("g·mm") / 2.0,
    };
    let expected =
        expected_residual(&drawn, &unbalance, &holes, scatter).map_err(|e| refused(rotor, &e))?;
    let total = permissible_unbalance(duty(rotor)).map_err(|e| refused(rotor, &e))?.total_gmm;
    let plane = |name,
                 found: &Measured,
                 u: Unbalance,
                 e: bedplate_engine::balance::residual::Expected,
                 limit: f64| {
        plane_view(rotor, name, found, u, (e.left, e.plus_minus_gmm), limit)
    };
    Ok(BalancePlan {
        rotor: rotor.title.clone(),
        mass: Figure::of(&rotor.mass),
        grade: Figure::of(&rotor.grade),
        speed: Figure::of(&rotor.service_speed),
        permissible: Figure::new(total, "g·mm", 0).by(
            "permissible-unbalance",
            [
                ("grade", rotor.grade.to_string()),
                ("speed", rotor.service_speed.to_string()),
                ("mass", rotor.mass.to_string()),
            ],
        ),
        planes: vec![
            plane("A", &found.a, unbalance.a, expected.a, drawn.limit_gmm.a),
            plane("B", &found.b, unbalance.b, expected.b, drawn.limit_gmm.b),
        ],
        holes: hole_lines(rotor, &plan),
        mass_off: Figure::new(plan.mass_g, "g", 1),
        share_of_limit: plan.share_of_limit,
        outcome: match plan.outcome {
            Outcome::NoHoleNeeded => "no hole needed",
            Outcome::Inside => "inside",
            Outcome::OutOfReach => "out of reach",
        },
        sites: site_views(rotor),
        plane_z_mm: (drawn.plane_z_mm.a, drawn.plane_z_mm.b),
        cautions: cautions(rotor),
    })
}

fn cautions(rotor: &Rotor) -> Vec<String> {
    rotor.cautions.iter().cloned().chain(CAUTIONS.iter().map(|c| (*c).to_owned())).collect()
}

fn plane_view(
    rotor: &Rotor,
    plane: &'static str,
    measured: &Measured,
    found: Unbalance,
    expected: (Unbalance, f64),
    limit_gmm: f64,
) -> PlaneView {
    let guard = rotor.guard.to("g·mm");
    // The guard is already off the limit: inside it is accept, beyond limit and guard reject.
    let word = |gmm: f64| {
        if gmm <= limit_gmm {
            Word::Accept
        } else if gmm <= limit_gmm + guard {
            Word::CannotTell
        } else {
            Word::Reject
        }
    };
    let read = |f: Figure| f.from_readings(measured.readings.iter().copied());
    PlaneView {
        plane,
        found: read(Figure::new(found.amount_gmm, "g·mm", 0)),
        angle: read(Figure::new(found.angle_deg, "°", 0)),
        allowed: Figure::new(limit_gmm, "g·mm", 0),
        word: word(found.amount_gmm),
        expected: Figure::new(expected.0.amount_gmm, "g·mm", 0),
        expected_angle: Figure::new(expected.0.angle_deg, "°", 0),
        plus_minus: Figure::new(expected.1, "g·mm", 0),
        expected_word: word(expected.0.amount_gmm),
    }
}

fn hole_lines(rotor: &Rotor, plan: &HolePlan) -> Vec<HoleLine> {
    let decimals = rotor.depth_step.exponent().min(0).unsigned_abs();
    plan.holes
        .iter()
        .zip('a'..='z')
        .filter_map(|(planned, letter)| {
            let site = rotor.sites.get(planned.hole.site_idx)?;
            let drill = site.drills.get(planned.hole.drill_idx)?;
            let inputs = [
                ("diameter", drill.diameter.to_string()),
                ("depth", format!("{} mm", planned.hole.depth_mm)),
                ("density", site.density.to_string()),
                ("radius", site.radius.to_string()),
                ("point", drill.point.to_string()),
                ("face", "round".to_owned()),
            ];
            Some(HoleLine {
                letter: letter.to_string(),
                site: site.name.clone(),
                angle: Figure::new(planned.hole.angle_deg, "°", 0),
                drill: Figure::of(&drill.diameter),
                depth: Figure::new(planned.hole.depth_mm, "mm", decimals),
                deepest: Figure::of(&drill.depth_max),
                takes: Figure::new(planned.unbalance_gmm, "g·mm", 0).by("drilled-hole", inputs),
            })
        })
        .collect()
}

fn site_views(rotor: &Rotor) -> Vec<SiteView> {
    let (a, b) = (rotor.plane_a.to("mm"), rotor.plane_b.to("mm"));
    rotor
        .sites
        .iter()
        .map(|s| {
            let z_mm = s.z.to("mm");
            SiteView {
                name: s.name.clone(),
                z_mm,
                radius_mm: s.radius.to("mm"),
                windows: s.windows.iter().map(|(f, t)| (f.to("°"), t.to("°"))).collect(),
                plane: if (z_mm - a).abs() <= (z_mm - b).abs() { "A" } else { "B" },
            }
        })
        .collect()
}

fn measured(rotor: &Rotor, readings: &[KeptReading], plane: &str, after: u64) -> Measured {
    let later: Vec<KeptReading> = readings.iter().filter(|r| r.number > after).cloned().collect();
    let amount = newest(&later, &rotor.amount, plane);
    let angle = newest(&later, &rotor.angle, plane);
    let Some((amount, angle)) = amount.zip(angle) else { return Measured::default() };
    Measured {
        unbalance: Some(Unbalance {
            amount_gmm: amount.reading.value.si() * 1e6,
            angle_deg: angle.reading.value.si().to_degrees(),
        }),
        readings: vec![amount.number, angle.number],
    }
}

impl Works {
    /// The balance sheet of a piece; without one, of the first that waits for the drill.
    ///
    /// # Errors
    /// [`WorksError::Unknown`]; [`WorksError::Refused`] if the plan has no rotor;
    /// [`WorksError::Store`].
    pub fn balance(&self, piece: Option<&str>) -> Result<BalanceSheet, WorksError> {
        let plan = self.plan();
        let rotor = rotor_of(&plan, piece)?;
        let (to_drill, to_measure) = self.balance_queue(rotor)?;
        let piece = match piece {
            Some(piece) => {
                if self.floor(|f| !f.pieces.contains_key(piece)) {
                    let nearest =
                        self.floor(|f| nearest(piece, f.pieces.keys().map(String::as_str)));
                    return Err(WorksError::Unknown {
                        kind: "piece",
                        name: piece.to_owned(),
                        nearest,
                    });
                }
                piece.to_owned()
            }
            None => to_drill.first().or(to_measure.first()).cloned().unwrap_or_default(),
        };
        let (state, balance_plan, drilled) = self.standing_at_balancer(rotor, &piece)?;
        Ok(BalanceSheet {
            as_of: instant::iso(self.as_of(), &instant::zone(&plan.works.time_zone)),
            rotor: rotor.name.clone(),
            finding: finding(rotor, &piece, state, balance_plan.as_ref()),
            piece,
            state,
            plan: balance_plan,
            drilled: drilled
                .into_iter()
                .map(|h| DrilledLine {
                    site: h.site,
                    angle: h.angle,
                    drill: h.drill,
                    depth: h.depth,
                })
                .collect(),
            to_drill,
            to_measure,
            amount: rotor.amount.clone(),
            angle: rotor.angle.clone(),
            cautions: cautions(rotor),
        })
    }

    fn holes_of(&self, piece: &str) -> Result<(Vec<HoleDrilled>, u64), WorksError> {
        let about = self.store().about(&Subject::Piece(piece.to_owned()))?;
        let mut holes = vec![];
        let mut last = 0;
        for kept in about {
            if let Event::HolesDrilled { holes: drilled, .. } = kept.entry.event {
                holes.extend(drilled);
                last = kept.number;
            }
        }
        Ok((holes, last))
    }

    fn standing_at_balancer(
        &self,
        rotor: &Rotor,
        piece: &str,
    ) -> Result<(BalanceState, Option<BalancePlan>, Vec<HoleDrilled>), WorksError> {
        if piece.is_empty() {
            return Ok((BalanceState::ToMeasure, None, vec![]));
        }
        let readings = self.readings_of_piece(piece)?;
        let (holes, drilled_at) = self.holes_of(piece)?;
        let found = Planes {
            a: measured(rotor, &readings, "A", drilled_at),
            b: measured(rotor, &readings, "B", drilled_at),
        };
        if found.a.unbalance.is_none() || found.b.unbalance.is_none() {
            let state =
                if drilled_at > 0 { BalanceState::ToMeasureAgain } else { BalanceState::ToMeasure };
            return Ok((state, None, holes));
        }
        let plan = plan_rotor(rotor, &found, &holes)?;
        let state = if plan.planes.iter().all(|p| p.word == Word::Accept) {
            BalanceState::Inside
        } else {
            BalanceState::ToDrill
        };
        Ok((state, Some(plan), holes))
    }

    /// Free pieces of the rotor's part: measured and outside, and not measured yet.
    fn balance_queue(&self, rotor: &Rotor) -> Result<(Vec<String>, Vec<String>), WorksError> {
        let free: Vec<String> =
            self.floor(|f| f.free(&rotor.part).into_iter().map(str::to_owned).collect());
        let allowed = allowed_gmm(rotor)?;
        let (mut to_drill, mut to_measure) = (vec![], vec![]);
        for piece in free {
            let readings = self.readings_of_piece(&piece)?;
            let last =
                self.floor(|f| f.drilled.get(&piece).and_then(|d| d.last().copied())).unwrap_or(0);
            let of = |plane| measured(rotor, &readings, plane, last).unbalance;
            match (of("A"), of("B")) {
                (Some(a), Some(b)) if a.amount_gmm <= allowed.a && b.amount_gmm <= allowed.b => {}
                (Some(_), Some(_)) => to_drill.push(piece),
                _ => to_measure.push(piece),
            }
        }
        Ok((to_drill, to_measure))
    }

    /// Records holes as drilled: as planned, or those given. The piece must then be measured again.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`] if nothing is
    /// to be drilled, or a hole is at no site, or its figures are no quantities.
    pub fn drill(
        &self,
        deed: &Deed,
        piece: &str,
        holes: Option<Vec<HoleDrilled>>,
    ) -> Result<Vec<HoleDrilled>, WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Fitting)?;
        let what = || format!("drilling {piece}");
        self.alone(|| {
            let rotor = rotor_of(&plan, Some(piece))?;
            let holes = match holes {
                Some(holes) => holes,
                None => self.planned_holes(piece)?,
            };
            if holes.is_empty() {
                return Err(WorksError::refused(what(), "there is no hole to drill"));
            }
            for hole in &holes {
                check_hole(rotor, hole).map_err(|why| WorksError::refused(what(), why))?;
            }
            let event = Event::HolesDrilled { piece: piece.to_owned(), holes: holes.clone() };
            self.write(deed, vec![event], vec![])?;
            Ok(holes)
        })
    }

    fn planned_holes(&self, piece: &str) -> Result<Vec<HoleDrilled>, WorksError> {
        let sheet = self.balance(Some(piece))?;
        let Some(plan) = sheet.plan.filter(|_| sheet.state == BalanceState::ToDrill) else {
            return Err(WorksError::refused(format!("drilling {piece}"), sheet.finding));
        };
        Ok(plan
            .holes
            .iter()
            .map(|h| HoleDrilled {
                site: h.site.clone(),
                angle: h.angle.with_unit(),
                drill: h.drill.with_unit(),
                depth: h.depth.with_unit(),
            })
            .collect())
    }
}

fn check_hole(rotor: &Rotor, hole: &HoleDrilled) -> Result<(), String> {
    let Some(site) = rotor.sites.iter().find(|s| s.name == hole.site) else {
        let sites: Vec<&str> = rotor.sites.iter().map(|s| s.name.as_str()).collect();
        return Err(format!("there is no site \"{}\"; known are {}", hole.site, sites.join(", ")));
    };
    Quantity::parse(&hole.angle, Dimension::Angle).map_err(|e| format!("angle: {e}"))?;
    let drill =
        Quantity::parse(&hole.drill, Dimension::Length).map_err(|e| format!("drill: {e}"))?;
    let depth =
        Quantity::parse(&hole.depth, Dimension::Length).map_err(|e| format!("depth: {e}"))?;
    let known = site.drills.iter().find(|d| (d.diameter.si() - drill.si()).abs() < 1e-9);
    let Some(known) = known else {
        return Err(format!("{} is drilled with none of {} mm", site.name, hole.drill));
    };
    if depth.si() > known.depth_max.si() + 1e-9 || depth.si() <= 0.0 {
        return Err(format!(
            "{} is deeper than the {} the web allows at {}",
            hole.depth, known.depth_max, site.name
        ));
    }
    Ok(())
}

fn rotor_of<'p>(plan: &'p Plan, piece: Option<&str>) -> Result<&'p Rotor, WorksError> {
    let part = piece.and_then(|p| plan.part_of(p)).map(|p| p.name.as_str());
    let rotor = match part {
        Some(part) => plan.rotors.values().find(|r| r.part == part),
        None => plan.rotors.values().next(),
    };
    rotor.ok_or_else(|| {
        let why = "the works file has no rotor for it; add [rotor.NAME] with its planes and sites";
        WorksError::refused("balancing", why)
    })
}

fn finding(rotor: &Rotor, piece: &str, state: BalanceState, plan: Option<&BalancePlan>) -> String {
    let name = format!("{} {piece}", rotor.title);
    match (state, plan) {
        _ if piece.is_empty() => format!("No {} waits for balance.", rotor.title.to_lowercase()),
        (BalanceState::ToMeasure, _) => format!("{name} is to be measured at both planes."),
        (BalanceState::ToMeasureAgain, _) => {
            format!("{name} is drilled. Measure it again at both planes.")
        }
        (BalanceState::Inside, _) => format!("{name} is inside the circle at both ends."),
        (BalanceState::ToDrill, Some(p)) if p.outcome == "inside" => {
            let holes = counted(p.holes.len(), "hole");
            let verb = if p.holes.len() == 1 { "brings" } else { "bring" };
            format!(
                "{} {verb} {} inside the circle at both ends.",
                number_word(&holes),
                lower_title(rotor, piece)
            )
        }
        (BalanceState::ToDrill, Some(p)) => format!(
            "{name} cannot be brought inside: the best plan leaves {:.1} times the limit. Ask the engineer.",
            p.share_of_limit
        ),
        (BalanceState::ToDrill, None) => name,
    }
}

fn lower_title(rotor: &Rotor, piece: &str) -> String {
    format!("{} {piece}", rotor.title.to_lowercase())
}

/// `4 holes` as `Four holes`, for the head of a sentence.
fn number_word(counted: &str) -> String {
    const WORDS: [&str; 9] = ["No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight"];
    let (number, noun) = counted.split_once(' ').unwrap_or((counted, ""));
    number
        .parse::<usize>()
        .ok()
        .and_then(|n| WORDS.get(n))
        .map_or_else(|| counted.to_owned(), |word| format!("{word} {noun}"))
}
