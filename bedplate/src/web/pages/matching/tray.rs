//! The fitter's tray in plan: pistons in their bores with the gap drawn large, each clearance on
//! its window, and the masses on one scale where nothing else is matched.

use bedplate_works::sets::{MatchingSheet, SetPlace, SetView};
use bedplate_works::trace::counted;
use bedplate_works::works::{Works, WorksError};
use maud::Markup;
use serde::Serialize;

use super::float;
use crate::web::draw::{Anchor, Drawing, Scale, Screen, Tone, Window, on_screens, round_step};
use crate::web::sheet::{figure_address, percent};

/// The window on which the clearances of a set's pistons stand.
#[derive(Debug, Clone, Copy, Serialize)]
pub(in crate::web::pages) struct MainFit {
    /// Least clearance, µm.
    pub(in crate::web::pages) lower_um: f64,
    /// Aimed at, µm.
    pub(in crate::web::pages) target_um: f64,
    /// Greatest, µm.
    pub(in crate::web::pages) upper_um: f64,
    /// Width of the band inside each limit where it cannot be told, µm.
    pub(in crate::web::pages) guard_um: f64,
}

impl MainFit {
    /// As the matching sheet gives it.
    pub(super) const fn of_sheet(view: &MatchingSheet) -> Self {
        let [lower, target, upper] = &view.clearance;
        Self {
            lower_um: lower.value,
            target_um: target.value,
            upper_um: upper.value,
            guard_um: view.guard.value,
        }
    }

    /// Of a set that was made.
    ///
    /// # Errors
    /// Refused if the works file no longer has its fit.
    pub(in crate::web::pages) fn of_set(works: &Works, set: &str) -> Result<Self, WorksError> {
        let plan = works.plan();
        let engine_type = works.floor(|f| f.sets.get(set).map(|s| s.engine_type.clone()));
        let fit = engine_type
            .and_then(|t| plan.sets.get(&t))
            .and_then(|rule| plan.fits.get(rule.fits.first()?))
            .ok_or_else(|| {
                let why = "the works file no longer has the fit that it was made by";
                WorksError::refused(format!("showing set {set}"), why)
            })?;
        let square = |t: &bedplate_works::plan::FitTerm| {
            let c = plan.characteristics.get(&t.characteristic);
            let c = c.filter(|c| !plan.grades.contains_key(&c.part));
            let um = c.map_or(0.0, |c| plan.standard_uncertainty(c) * c.unit.factor() * 1e6);
            (um * t.factor).powi(2)
        };
        Ok(Self {
            lower_um: fit.lower.to("µm"),
            target_um: fit.target.to("µm"),
            upper_um: fit.upper.to("µm"),
            // Expanded, k = 2, from the gauges' standard uncertainties.
            guard_um: 2.0 * fit.terms.iter().map(square).sum::<f64>().sqrt(),
        })
    }

    /// One piston's clearance on this window.
    pub(in crate::web::pages) const fn window(&self, place: &SetPlace) -> Window {
        Window {
            lower: self.lower_um,
            upper: self.upper_um,
            target: Some(self.target_um),
            guard: self.guard_um,
            value: place.clearance.value,
            word: place.word,
        }
    }
}

/// A set that is not made, or not yet as it is shown.
pub(super) fn is_proposed(set: &SetView) -> bool {
    set.set.is_empty() || set.state == "as it would be"
}

/// How the bores stand on the paper.
struct Layout {
    columns: usize,
    /// Beside the tray for its hand holes.
    hand: f64,
    cell: (f64, f64),
    radius: f64,
    /// Height of the tray around a row of bores.
    well: f64,
    /// Where the masses begin, or the foot of the paper.
    foot: f64,
}

impl Layout {
    fn new(d: &Drawing, n: usize, screen: Screen, has_masses: bool) -> Self {
        let narrow = screen == Screen::Phone;
        let columns = match (narrow, n) {
            (true, _) => n.min(2),
            (false, 1..=6) => n,
            (false, _) => n.div_ceil(2),
        }
        .max(1);
        let foot = d.height - if has_masses { 78.0 } else { 0.0 };
        let hand = if narrow { 6.0 } else { 46.0 };
        let rows = float(n.div_ceil(columns));
        let cell = ((d.width - 2.0 * hand) / float(columns), (foot - 6.0) / rows);
        let radius = ((cell.1 - 64.0 - 22.0) / 2.0).min(cell.0 * 0.47).clamp(14.0, 118.0);
        Self { columns, hand, cell, radius, well: radius * 2.0 + 22.0, foot }
    }

    /// Middle of a bore, and the top of its row.
    fn at(&self, place: usize) -> ((f64, f64), f64) {
        let x = self.hand + self.cell.0 * (float(place % self.columns) + 0.5);
        let top = 2.0 + self.cell.1 * float(place / self.columns);
        ((x, top + self.well / 2.0), top)
    }
}

/// Whether there is a mass of every piston to draw.
fn has_masses(set: &SetView) -> bool {
    set.fits.is_empty()
        && set.spreads.first().is_some_and(|s| s.spread.unit == "g")
        && set.places.iter().all(|p| p.mass.value > 0.0)
}

/// The tray for each screen.
pub(super) fn tray(fit: &MainFit, set: &SetView) -> Markup {
    let said: Vec<String> =
        set.places.iter().map(|p| format!("{} {}", p.position, p.clearance.text)).collect();
    let label = format!(
        "Block {}: clearances in µm of {}, by place {}",
        set.block,
        counted(set.places.len(), "piston"),
        said.join(", "),
    );
    let n = set.places.len().max(1);
    let with_masses = has_masses(set);
    let [desk, panel] = match (with_masses, n) {
        (true, _) => [410.0, 316.0],
        (false, 1..=6) => [292.0, 228.0],
        (false, _) => [340.0, 292.0],
    };
    let phone = 172.0 * float(n.div_ceil(2)) + if with_masses { 78.0 } else { 0.0 };
    let sizes =
        [(Screen::Desk, 918.0, desk), (Screen::Panel, 630.0, panel), (Screen::Phone, 350.0, phone)];
    on_screens(&label, &sizes, |d, screen| {
        let layout = Layout::new(d, n, screen, with_masses);
        draw(d, fit, set, &layout, screen);
        if with_masses {
            draw_masses(d, set, layout.foot, layout.hand, screen == Screen::Phone);
        }
    })
}

fn draw(d: &mut Drawing, fit: &MainFit, set: &SetView, layout: &Layout, screen: Screen) {
    let (w, hand, well) = (d.width, layout.hand, layout.well);
    let edge = if is_proposed(set) { "phantom bold f2" } else { "thick f2" };
    for row in 0..set.places.len().max(1).div_ceil(layout.columns) {
        let top = 2.0 + layout.cell.1 * float(row);
        d.rounded(1.5, top, w - 3.0, well, 14.0, edge);
        d.rounded(7.0, top + 5.5, w - 14.0, well - 11.0, 9.0, "thin fn");
        if screen != Screen::Phone {
            let half = (well / 2.0 - 18.0).min(32.0);
            for x in [hand / 2.0, w - hand / 2.0] {
                d.rounded(x - 6.0, top + well / 2.0 - half, 12.0, 2.0 * half, 6.0, "mid-l ff");
            }
        }
        let y = top + well / 2.0;
        d.line(hand - 4.0, y, w - hand + 4.0, y, "centre");
    }
    for (i, place) in set.places.iter().enumerate() {
        let (at, top) = layout.at(i);
        draw_bore(d, at, layout.radius, fit, place);
        let (half, y) = ((layout.cell.0 * 0.43).min(112.0), top + well + 33.0);
        draw_clearance(d, place, (at.0 - half, at.0 + half), y, &fit.window(place));
    }
}

fn draw_clearance(d: &mut Drawing, place: &SetPlace, x: (f64, f64), y: f64, window: &Window) {
    let label = &place.clearance.text;
    match figure_address(&place.clearance) {
        Some(address) => {
            let said = format!("clearance {} µm of place {}", label, place.position);
            d.link(&address, &said, |d| d.strip(x, y, window, label));
        }
        None => d.strip(x, y, window, label),
    }
    limits_below(d, x, y + 26.0, window);
}

/// The limits of a window written under a strip that was drawn between `x`.
pub(in crate::web::pages) fn limits_below(d: &mut Drawing, x: (f64, f64), y: f64, window: &Window) {
    let span = window.upper - window.lower;
    let scale = Scale::new(window.lower - 0.3 * span, window.upper + 0.3 * span, x.0, x.1);
    for limit in [window.lower, window.upper] {
        d.text(scale.at(limit), y, &limit_text(limit), "s t2", Anchor::Middle);
    }
}

/// A limit in µm with a true minus and no more decimals than it has.
pub(in crate::web::pages) fn limit_text(limit: f64) -> String {
    let decimals = (0..3u8).find(|n| {
        let grown = limit * 10f64.powi(i32::from(*n));
        (grown - grown.round()).abs() < 1e-6
    });
    bedplate_works::wire::shown(limit, decimals.unwrap_or(3))
}

fn draw_bore(d: &mut Drawing, at: (f64, f64), radius: f64, fit: &MainFit, place: &SetPlace) {
    let span = (fit.upper_um - fit.lower_um).max(1e-9);
    let share = ((place.clearance.value - fit.lower_um) / span).clamp(-0.3, 1.3);
    // From just open to wide open over the window: a clearance cannot be seen at its true size.
    let gap = (radius * (0.03 + 0.07 * (share + 0.3))).max(2.0);
    d.circle(at.0, at.1, radius, "thick ff");
    d.circle(at.0, at.1, radius, "h45");
    d.circle(at.0, at.1, radius - gap, "mid-l ff");
    let (tip, long) = (at.1 - radius + gap + radius.min(40.0) * 0.12, radius.min(44.0) * 0.25);
    d.line(at.0, at.1 - radius - 6.0, at.0, at.1 + radius + 6.0, "centre");
    let front = [(at.0, tip), (at.0 - long * 0.55, tip + long), (at.0 + long * 0.55, tip + long)];
    d.poly(&front, "fi", true);
    let class = if radius > 44.0 { "let xl halo" } else { "let m halo" };
    d.text(
        at.0,
        at.1 + if radius > 44.0 { -2.0 } else { 2.0 },
        &place.position,
        class,
        Anchor::Middle,
    );
    let address = format!("/trace?of={}", percent(&place.piston));
    if radius > 26.0 {
        let letters = float(place.piston.chars().count());
        let class = if letters * 7.4 > radius * 1.7 { "s halo" } else { "halo" };
        let y = at.1 + if radius > 44.0 { 20.0 } else { radius * 0.44 + 4.0 };
        d.link(&address, &format!("piston {}", place.piston), |d| {
            d.text(at.0, y, &place.piston, class, Anchor::Middle);
        });
    }
    if radius > 56.0 {
        d.text(at.0, at.1 + 38.0, &place.size.text, "s t2 halo", Anchor::Middle);
    }
}

fn draw_masses(d: &mut Drawing, set: &SetView, top: f64, hand: f64, narrow: bool) {
    let masses: Vec<f64> = set.places.iter().map(|p| p.mass.value).collect();
    let least = masses.iter().copied().fold(f64::INFINITY, f64::min);
    let most = masses.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !least.is_finite() || !most.is_finite() {
        return;
    }
    let allowed = set.mass_spread_allowed.value.max(0.1);
    let middle = f64::midpoint(least, most);
    let half = (0.75 * allowed).max(0.6 * (most - least));
    let (from, to) = (middle - half, middle + half);
    let right = d.width - hand - if narrow { 0.0 } else { 170.0 };
    let scale = Scale::new(from, to, hand, right);
    let y = top + 54.0;
    d.line(hand, y, right, y, "mid-l");
    let step = round_step(to - from, 6.0);
    let mut value = (from / step).ceil() * step;
    while value <= to {
        d.line(scale.at(value), y, scale.at(value), y - 9.0, "thin");
        let text = format!("{}", (value * 100.0).round() / 100.0);
        d.text(scale.at(value), y + 17.0, &text, "s t2", Anchor::Middle);
        value += step;
    }
    for mass in &masses {
        let x = scale.at(*mass);
        d.poly(&[(x, y - 9.0), (x - 5.0, y - 19.0), (x + 5.0, y - 19.0)], "fi", true);
    }
    for mass in [least, most] {
        d.line(scale.at(mass), y - 20.0, scale.at(mass), y - 40.0, "wit");
    }
    let spread = set.mass_spread.with_unit();
    let (a, b) = (scale.at(least), scale.at(most));
    let is_wide = b - a > 70.0;
    d.dimension((a, y - 34.0), (b, y - 34.0), if is_wide { &spread } else { "" }, Tone::Ink);
    if !is_wide {
        d.text(b + 26.0, y - 29.0, &spread, "", Anchor::Start);
    }
    let said = format!("of {} allowed", set.mass_spread_allowed.with_unit());
    if narrow {
        d.text(d.width - hand, top + 4.0, &said, "s t2", Anchor::End);
    } else {
        d.text(d.width - hand, y - 24.0, &said, "", Anchor::End);
        d.text(d.width - hand, y, set.mass_word.text(), "strong", Anchor::End);
        let letters = float(set.mass_word.text().chars().count());
        d.mark(set.mass_word, d.width - hand - letters * 7.6 - 14.0, y - 5.0, 7.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_written_as_the_works_file_has_them() {
        assert_eq!(limit_text(30.0), "30");
        assert_eq!(limit_text(-12.5), "−12.5");
        assert_eq!(limit_text(0.25), "0.25");
    }

    #[test]
    fn bores_of_any_engine_stay_on_the_paper() {
        for n in 1..=16usize {
            for (screen, w, h) in [
                (Screen::Desk, 918.0, 340.0),
                (Screen::Panel, 630.0, 292.0),
                (Screen::Phone, 350.0, 172.0 * float(n.div_ceil(2))),
            ] {
                let d = Drawing::new(w, h);
                let layout = Layout::new(&d, n, screen, false);
                for i in 0..n {
                    let ((x, y), top) = layout.at(i);
                    assert!(x - layout.radius >= 0.0 && x + layout.radius <= w, "{n} {screen:?}");
                    assert!(y - layout.radius >= 0.0, "{n} {screen:?}");
                    assert!(top + layout.well + 62.0 <= h + 1.0, "{n} {screen:?}");
                }
            }
        }
    }
}
