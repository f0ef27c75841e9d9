//! Where boring and piston turning should aim next, and grade limits for a works that sorts.

use bedplate_engine::set::aim::{
    Advice, Aim, AimPoint, AimQuestion, Boring, Coming, Effort, Gain, MayMove, Turning, next_aim,
};
use bedplate_engine::set::clearance::Scatter;
use bedplate_engine::set::grades::{
    Grade, GradeQuestion, GradeRule, best_grades, equal_count_grades, equal_width_grades,
    judge_grades,
};
use bedplate_engine::set::{Block, Piston, Rules};
use bedplate_gauge::chart::{ChartError, individuals_limits};
use bedplate_gauge::limits::Limits;
use bedplate_gauge::variance::one_way;
use bedplate_record::store::Wanted;
use serde::Serialize;

use super::rule::{Main, Rule};
use super::solve;
use crate::instant;
use crate::plan::Characteristic;
use crate::trace::counted;
use crate::wire::{Figure, shown, shown_signed};
use crate::works::{Works, WorksError};

/// What is asked of an aim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AimAsked {
    /// Blocks that come before the next setting; a day's rate if left out.
    pub blocks: Option<usize>,
    /// Pistons to be turned; as many as the blocks have cylinders if left out.
    pub pistons: Option<usize>,
    /// Whether boring may be set anew too.
    pub bores_too: bool,
    /// Grades, for a works that sorts; 4 if left out.
    pub grades: Option<usize>,
    /// Seed of the draws of chance; 1 if left out.
    pub seed: Option<u64>,
}

/// A gain in engines with its interval.
#[derive(Debug, Clone, Serialize)]
pub struct GainView {
    /// Engines gained on the mean.
    pub engines: Figure,
    /// Lower end of the 95 % interval.
    pub lower: Figure,
    /// Upper end.
    pub upper: Figure,
    /// Runs it was made of.
    pub runs: usize,
}

/// One aim and what it comes to.
#[derive(Debug, Clone, Serialize)]
pub struct AimPointView {
    /// Aim of piston turning.
    pub piston: Figure,
    /// Aim of boring.
    pub bore: Figure,
    /// Engines on the mean.
    pub engines: Figure,
    /// Gain against carrying on as now.
    pub gain: GainView,
    /// Share of the pistons turned outside the drawing, %.
    pub pistons_outside: Figure,
    /// Share of the bores outside the drawing, %.
    pub bores_outside: Figure,
}

/// A part of the coming pistons turned at the best aim.
#[derive(Debug, Clone, Serialize)]
pub struct CampaignView {
    /// Pistons.
    pub pistons: usize,
    /// What they gain.
    pub gain: GainView,
}

/// A band of sizes the store wants or holds.
#[derive(Debug, Clone, Serialize)]
pub struct SizeBandView {
    /// From.
    pub from: Figure,
    /// To.
    pub to: Figure,
    /// Cylinders of blocks in the store whose ideal piston lies here.
    pub wanted: usize,
    /// Pistons of the store that lie here.
    pub lying: usize,
}

/// One grade.
#[derive(Debug, Clone, Serialize)]
pub struct GradeView {
    /// Bores from.
    pub bore_from: Figure,
    /// Bores to.
    pub bore_to: Figure,
    /// Pistons from.
    pub piston_from: Figure,
    /// Pistons to.
    pub piston_to: Figure,
}

/// What a way of grading is worth in the long run.
#[derive(Debug, Clone, Serialize)]
pub struct GradingLine {
    /// The way: `best limits, every pair fits`.
    pub way: String,
    /// The grades.
    pub grades: Vec<GradeView>,
    /// Share of bores that find a partner of their grade, %.
    pub paired: Figure,
    /// Share that find one and fit, %.
    pub fitting: Figure,
}

/// The aim sheet.
#[derive(Debug, Clone, Serialize)]
pub struct AimSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Engine type.
    pub engine_type: String,
    /// The main fit's title.
    pub fit: String,
    /// Least, aimed at, greatest clearance.
    pub clearance: [Figure; 3],
    /// What is turned: `Skirt diameter`.
    pub inner: String,
    /// What is bored: `Bore`.
    pub outer: String,
    /// The drawing's limits of the piston.
    pub piston_limits: [Figure; 2],
    /// The drawing's limits of the bore.
    pub bore_limits: [Figure; 2],
    /// How the machines scatter, in words, with what it rests on.
    pub machines: Vec<String>,
    /// Blocks in the store.
    pub blocks: usize,
    /// Pistons in the store.
    pub pistons: usize,
    /// Blocks that come.
    pub coming_blocks: usize,
    /// Pistons that are turned.
    pub coming_pistons: usize,
    /// In one sentence.
    pub finding: String,
    /// Where the machines aim now.
    pub now: AimPointView,
    /// The best aim.
    pub best: AimPointView,
    /// How far the best aim lies from now, µm with its sign.
    pub moved: Figure,
    /// The best aim's gain on lots matched by the real search.
    pub searched: Option<GainView>,
    /// Every aim of turning that was tried.
    pub curve: Vec<AimPointView>,
    /// Fewer pistons at the best aim.
    pub campaigns: Vec<CampaignView>,
    /// What the store wants and holds, by size.
    pub sizes: Vec<SizeBandView>,
    /// Off target on the mean if the aim is kept for long.
    pub kept_off: Figure,
    /// Gain of the coming lot alone, without the store.
    pub kept_gain: GainView,
    /// Grades, if the works sorts.
    pub gradings: Vec<GradingLine>,
    /// Seed of the draws.
    pub seed: u64,
    /// Runs for each aim.
    pub runs: usize,
}

/// The two machines as their newest readings show them.
pub(crate) struct Machines {
    pub(super) boring: Boring,
    pub(super) turning: Turning,
    pub(super) now: Aim,
    pub(super) words: Vec<String>,
}

/// How many of the newest readings the scatter rests on.
const LOOK: usize = 400;
/// How many of the newest pieces say where a machine aims now.
const NOW: usize = 25;

/// Standard deviation from successive differences: a shift in between hardly counts. Nought for
/// values that do not differ; `None` of fewer than two.
fn sd_of(values: &[f64]) -> Option<f64> {
    match individuals_limits(values, &[]) {
        Ok(limits) => Some(limits.deviation),
        Err(ChartError::NoScatter) => Some(0.0),
        Err(_) => None,
    }
}

fn mean(values: &[f64]) -> Option<f64> {
    let n = u32::try_from(values.len()).ok().filter(|n| *n > 0)?;
    Some(values.iter().sum::<f64>() / f64::from(n))
}

impl Works {
    /// Where to aim next, from what lies in the store, the machines' newest readings and what
    /// comes.
    ///
    /// # Errors
    /// [`WorksError::Refused`] if the set rule has no main fit of one hole and one piece a place,
    /// if too few readings say how the machines scatter, or for figures out of range;
    /// [`WorksError::Store`].
    pub fn aim(&self, engine_type: &str, asked: AimAsked) -> Result<AimSheet, WorksError> {
        let key = format!("aim/{engine_type}/{asked:?}");
        self.remembered(&key, || self.aim_now(engine_type, asked)).map(|sheet| (*sheet).clone())
    }

    fn aim_now(&self, engine_type: &str, asked: AimAsked) -> Result<AimSheet, WorksError> {
        let plan = self.plan();
        let rule = Rule::of(&plan, engine_type)?;
        let main = main_of(&rule)?;
        let store = self.store_of(&rule, &[])?;
        let (blocks, pistons) =
            (solve::blocks(&rule, &main, &store)?, solve::pistons(&rule, &main, &store)?);
        let rules = solve::rules(&rule, &main)?;
        let machines = self.machines(&main)?;
        let um = |q: &bedplate_gauge::quantity::Quantity| Figure::new(q.to("µm"), "µm", 0);
        let lot = Lot { blocks: &blocks, pistons: &pistons, rules: &rules };
        let asked = AimAsked {
            blocks: asked.blocks.or(usize::try_from(plan.works.day_rate).ok()),
            ..asked
        };
        let mut sheet = advise(&lot, machines, rule.fits[0].places, asked)
            .map_err(|why| WorksError::refused("the next aim", why))?;
        sheet.as_of = instant::iso(self.as_of(), &instant::zone(&plan.works.time_zone));
        sheet.engine_type.clone_from(&rule.engine.name);
        sheet.fit.clone_from(&main.fit.title);
        sheet.clearance = [&main.fit.lower, &main.fit.target, &main.fit.upper].map(um);
        sheet.inner.clone_from(&main.inner.c.title);
        sheet.outer.clone_from(&main.outer.c.title);
        Ok(sheet)
    }

    /// How the machines scatter and where they aim, from their newest readings.
    pub(super) fn machines(&self, main: &Main<'_>) -> Result<Machines, WorksError> {
        let newest = |c: &Characteristic| {
            let wanted = Wanted::Newest { name: &c.id, position: "", count: LOOK };
            let mut readings = self.store().readings(&wanted)?;
            self.floor(|f| readings.retain(|r| !f.withdrawn.contains_key(&r.number)));
            readings.sort_by_key(|r| r.number);
            Ok::<_, WorksError>(readings)
        };
        let pistons: Vec<f64> = newest(main.inner.c)?
            .iter()
            .map(|r| r.reading.value.si() * main.inner.swell * 1e3)
            .collect();
        let masses = match main.mass {
            Some((mass, _)) => newest(mass.c)?.iter().map(|r| r.reading.value.si() * 1e3).collect(),
            None => vec![],
        };
        let mut bores: Vec<(String, Vec<f64>)> = vec![];
        for r in newest(main.outer.c)? {
            let mm = r.reading.value.si() * main.outer.swell * 1e3;
            match bores.last_mut().filter(|(piece, _)| *piece == *r.reading.piece) {
                Some((_, values)) => values.push(mm),
                None => bores.push((r.reading.piece.to_string(), vec![mm])),
            }
        }
        let gauged = Gauged {
            bores,
            pistons_mm: pistons,
            masses_g: masses,
            bore_limits_mm: drawing(main.outer.c),
            piston_limits_mm: drawing(main.inner.c),
            titles: [main.outer.c.title.clone(), main.inner.c.title.clone()],
        };
        gauged.machines().map_err(|why| WorksError::refused("the next aim", why))
    }
}

/// The drawing's limits of a characteristic in mm.
fn drawing(c: &Characteristic) -> [Option<f64>; 2] {
    [&c.lower, &c.upper].map(|q| q.as_ref().map(|q| q.si() * 1e3))
}

/// What was gauged, in the order in which it came.
pub(crate) struct Gauged {
    /// Blocks with their bores, mm.
    pub(crate) bores: Vec<(String, Vec<f64>)>,
    pub(crate) pistons_mm: Vec<f64>,
    pub(crate) masses_g: Vec<f64>,
    pub(crate) bore_limits_mm: [Option<f64>; 2],
    pub(crate) piston_limits_mm: [Option<f64>; 2],
    /// What the bore and the piston's size are called.
    pub(crate) titles: [String; 2],
}

impl Gauged {
    /// How the machines scatter and where they aim; or of what there is too little.
    pub(crate) fn machines(&self) -> Result<Machines, String> {
        let [outer, inner] = &self.titles;
        let few = |title: &str, n: usize| {
            format!("only {n} pieces have their {} gauged; measure more", title.to_lowercase())
        };
        let n_bores = self.bores.len();
        let boring = boring_of(self.bore_limits_mm, &self.bores);
        let boring = boring.ok_or_else(|| few(outer, n_bores))?;
        let pistons = &self.pistons_mm;
        let piston_sd = sd_of(pistons).ok_or_else(|| few(inner, pistons.len()))?;
        let newest = &pistons[pistons.len().saturating_sub(NOW)..];
        let piston_mm = mean(newest).unwrap_or(f64::NAN);
        let limits_mm = limits_of(self.piston_limits_mm, piston_mm, piston_sd);
        let turning = Turning {
            sd_um: piston_sd * 1e3,
            limits_mm,
            mass_g: mean(&self.masses_g).unwrap_or(1.0),
            mass_sd_g: sd_of(&self.masses_g).unwrap_or(0.0),
        };
        let newest: Vec<f64> = self.bores[n_bores.saturating_sub(NOW)..]
            .iter()
            .flat_map(|(_, values)| values.iter().copied())
            .collect();
        let bore_mm = mean(&newest).unwrap_or(f64::NAN);
        let now = Aim {
            bore_mm: inside(bore_mm, &boring.limits_mm),
            piston_mm: inside(piston_mm, &limits_mm),
        };
        let words = vec![
            format!(
                "{outer}: {} µm from block to block, {} µm within a block (last {n_bores} blocks); \
                 now about {} mm",
                shown(boring.block_sd_um, 1),
                shown(boring.within_sd_um, 1),
                shown(now.bore_mm, 4)
            ),
            format!(
                "{inner}: {} µm (last {}); now about {} mm",
                shown(turning.sd_um, 1),
                counted(pistons.len(), "piece"),
                shown(now.piston_mm, 4)
            ),
            format!("Mass: {} g about {} g", shown(turning.mass_sd_g, 1), shown(turning.mass_g, 1)),
        ];
        Ok(Machines { boring, turning, now, words })
    }
}

/// What lies there, and the rules of its fit.
pub(crate) struct Lot<'a> {
    pub(crate) blocks: &'a [Block],
    pub(crate) pistons: &'a [Piston],
    pub(crate) rules: &'a Rules,
}

/// The aim sheet of a lot, its titles still empty; or why none can be given.
pub(crate) fn advise(
    lot: &Lot<'_>,
    machines: Machines,
    cylinders: usize,
    asked: AimAsked,
) -> Result<AimSheet, String> {
    let blocks = asked.blocks.unwrap_or(lot.blocks.len());
    let pistons = asked.pistons.unwrap_or_else(|| blocks.saturating_mul(cylinders));
    let question = AimQuestion {
        blocks: lot.blocks,
        pistons: lot.pistons,
        rules: lot.rules,
        boring: machines.boring,
        turning: machines.turning,
        coming: Coming { blocks, cylinders, pistons },
        now: machines.now,
        may_move: if asked.bores_too { MayMove::PistonsAndBores } else { MayMove::Pistons },
    };
    let effort = Effort { seed: asked.seed.unwrap_or(1), ..Effort::default() };
    let advice = next_aim(&question, effort).map_err(|e| e.to_string())?;
    let mut sheet = aim_sheet(&question, &advice, effort);
    sheet.gradings = gradings(&machines, lot.rules, asked.grades.unwrap_or(4))?;
    sheet.machines = machines.words;
    Ok(sheet)
}

pub(super) fn main_of<'p>(rule: &Rule<'p>) -> Result<Main<'p>, WorksError> {
    rule.main().ok_or_else(|| {
        let why =
            "the first fit of the set rule is not one hole of the block and one piece a place";
        WorksError::refused(format!("the next aim of {}", rule.engine.name), why)
    })
}

fn inside(value: f64, limits: &Limits) -> f64 {
    value.max(limits.lower().unwrap_or(f64::MIN)).min(limits.upper().unwrap_or(f64::MAX))
}

/// The drawing's limits in mm; ten standard deviations where the drawing has none.
fn limits_of([lower, upper]: [Option<f64>; 2], mean_mm: f64, sd_mm: f64) -> Limits {
    let wide = (10.0 * sd_mm).max(0.01);
    let (lower, upper) = (lower.unwrap_or(mean_mm - wide), upper.unwrap_or(mean_mm + wide));
    Limits::new(Some(lower), Some(upper)).unwrap_or_else(|_| {
        Limits::new(Some(mean_mm - wide), Some(mean_mm + wide)).expect("the lower one is below")
    })
}

fn boring_of(limits_mm: [Option<f64>; 2], bores: &[(String, Vec<f64>)]) -> Option<Boring> {
    let means: Vec<f64> = bores.iter().filter_map(|(_, values)| mean(values)).collect();
    let sd_means = sd_of(&means)?;
    let groups: Vec<Vec<f64>> = bores.iter().map(|(_, values)| values.clone()).collect();
    // One bore a block, or bores all alike: nothing scatters within.
    let within = one_way(&groups).map_or(0.0, |v| (v.squares_within / v.dof_within).sqrt());
    let count = |n: usize| u32::try_from(n).map_or(f64::NAN, f64::from);
    let each = count(groups.iter().map(Vec::len).sum()) / count(groups.len());
    // The means of blocks scatter by what is common to a block and by the rest over its bores.
    let block = (sd_means * sd_means - within * within / each).max(0.0).sqrt();
    let limits_mm = limits_of(limits_mm, mean(&means)?, sd_means.max(within));
    Some(Boring { block_sd_um: block * 1e3, within_sd_um: within * 1e3, limits_mm })
}

fn gain_view(gain: &Gain) -> GainView {
    GainView {
        engines: Figure::signed(gain.engines, "", 1),
        lower: Figure::signed(gain.lower, "", 1),
        upper: Figure::signed(gain.upper, "", 1),
        runs: gain.runs,
    }
}

fn point_view(point: &AimPoint) -> AimPointView {
    AimPointView {
        piston: Figure::new(point.aim.piston_mm, "mm", 4),
        bore: Figure::new(point.aim.bore_mm, "mm", 4),
        engines: Figure::new(point.engines, "", 1),
        gain: gain_view(&point.gain),
        pistons_outside: Figure::new(point.pistons_outside * 100.0, "%", 1),
        bores_outside: Figure::new(point.bores_outside * 100.0, "%", 1),
    }
}

fn aim_sheet(asked: &AimQuestion<'_>, advice: &Advice, effort: Effort) -> AimSheet {
    let nm = |n: bedplate_engine::set::size::Nanometre| Figure::new(n.um(), "µm", 1);
    let limits =
        |l: &Limits| [l.lower(), l.upper()].map(|v| Figure::new(v.unwrap_or(f64::NAN), "mm", 4));
    let at_now = |p: &&AimPoint| (p.aim.piston_mm - asked.now.piston_mm).abs() < 1e-9;
    let now = advice.curve.iter().find(at_now).unwrap_or(&advice.best);
    let moved_um = (advice.best.aim.piston_mm - asked.now.piston_mm) * 1e3;
    let mm = |n: bedplate_engine::set::size::Nanometre| Figure::new(n.mm(), "mm", 3);
    let rules = asked.rules;
    AimSheet {
        as_of: String::new(),
        engine_type: String::new(),
        fit: String::new(),
        clearance: [rules.clearance_min(), rules.clearance_target(), rules.clearance_max()].map(nm),
        inner: String::new(),
        outer: String::new(),
        piston_limits: limits(&asked.turning.limits_mm),
        bore_limits: limits(&asked.boring.limits_mm),
        machines: vec![],
        blocks: asked.blocks.len(),
        pistons: asked.pistons.len(),
        coming_blocks: asked.coming.blocks,
        coming_pistons: asked.coming.pistons,
        finding: finding(asked, advice, moved_um),
        now: point_view(now),
        best: point_view(&advice.best),
        moved: Figure::signed(moved_um, "µm", 1),
        searched: advice.searched.as_ref().map(gain_view),
        curve: advice.curve.iter().map(point_view).collect(),
        campaigns: advice
            .campaigns
            .iter()
            .map(|c| CampaignView { pistons: c.pistons, gain: gain_view(&c.gain) })
            .collect(),
        sizes: advice
            .sizes
            .iter()
            .map(|s| SizeBandView {
                from: mm(s.from),
                to: mm(s.to),
                wanted: s.wanted,
                lying: s.lying,
            })
            .collect(),
        kept_off: Figure::signed(advice.kept.clearance_off_um, "µm", 1),
        kept_gain: gain_view(&advice.kept.gain),
        gradings: vec![],
        seed: effort.seed,
        runs: effort.runs,
    }
}

fn finding(asked: &AimQuestion<'_>, advice: &Advice, moved_um: f64) -> String {
    let best = &advice.best;
    let bore_um = (best.aim.bore_mm - asked.now.bore_mm) * 1e3;
    if moved_um.abs() < 0.05 && bore_um.abs() < 0.05 {
        return format!(
            "Leave piston turning at {} mm: no other aim gains engines that can be told from chance.",
            shown(asked.now.piston_mm, 4)
        );
    }
    let bored = if bore_um.abs() < 0.05 {
        String::new()
    } else {
        format!(" and boring at {} mm", shown(best.aim.bore_mm, 4))
    };
    let gain = advice.searched.as_ref().unwrap_or(&best.gain);
    if gain.lower <= 0.0 {
        return format!(
            "Aim piston turning at {} mm{bored}, {} µm from now: no engine more that can be told \
             from chance ({} to {}, 95 %), but clearances come to their target.",
            shown(best.aim.piston_mm, 4),
            shown_signed(moved_um, 1),
            shown(gain.lower, 0),
            shown(gain.upper, 0)
        );
    }
    format!(
        "Aim piston turning at {} mm{bored}, {} µm from now: {} engines more from the store and \
         the next {} ({} to {}, 95 %).",
        shown(best.aim.piston_mm, 4),
        shown_signed(moved_um, 1),
        shown(gain.engines, 0),
        counted(asked.coming.blocks, "block"),
        shown(gain.lower, 0),
        shown(gain.upper, 0)
    )
}

/// Grade limits by four ways, and what each is worth.
fn gradings(machines: &Machines, rules: &Rules, grades: usize) -> Result<Vec<GradingLine>, String> {
    let boring = &machines.boring;
    let asked = GradeQuestion {
        bore: Scatter {
            mean_mm: machines.now.bore_mm,
            sd_mm: boring.block_sd_um.hypot(boring.within_sd_um) / 1e3,
        },
        piston: Scatter { mean_mm: machines.now.piston_mm, sd_mm: machines.turning.sd_um / 1e3 },
        clearance_um_min: rules.clearance_min().um(),
        clearance_um_max: rules.clearance_max().um(),
        grades,
    };
    let refused = |e: bedplate_engine::set::grades::GradeError| e.to_string();
    let ways: [(&str, Vec<Grade>); 4] = [
        (
            "best limits, every pair of a grade fits",
            best_grades(&asked, GradeRule::AlwaysFits).map_err(refused)?,
        ),
        ("best limits, most pairs fit", best_grades(&asked, GradeRule::MostFit).map_err(refused)?),
        ("equal widths", equal_width_grades(&asked).map_err(refused)?),
        ("equal counts", equal_count_grades(&asked).map_err(refused)?),
    ];
    let mm = |value: f64| Figure::new(value, "mm", 4);
    ways.into_iter()
        .map(|(way, grades)| {
            let worth = judge_grades(&asked, &grades).map_err(refused)?;
            let view = |g: &Grade| GradeView {
                bore_from: mm(g.bore_mm_min),
                bore_to: mm(g.bore_mm_max),
                piston_from: mm(g.piston_mm_min),
                piston_to: mm(g.piston_mm_max),
            };
            Ok(GradingLine {
                way: way.to_owned(),
                grades: grades.iter().map(view).collect(),
                paired: Figure::new(worth.paired * 100.0, "%", 1),
                fitting: Figure::new(worth.fitting * 100.0, "%", 1),
            })
        })
        .collect()
}
