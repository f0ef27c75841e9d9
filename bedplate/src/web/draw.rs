//! The drawing hand: SVG in the manner of an engineering drawing.
//!
//! Ink is measured, blue pencil is proposed, red needs a person. Line form carries the meaning
//! before colour does: limits thick, scales thin, nominal a chain line, what the process keeps to
//! dashed, proposals long-dash-double-dot. Everything is drawn on the server, so that a page is
//! right without script and prints as it shows.

use std::f64::consts::{FRAC_PI_2, PI};
use std::fmt::Write as _;

use bedplate_works::wire::Word;
use maud::{Markup, PreEscaped};

/// Tone of a dimension or flag.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tone {
    /// Measured.
    Ink,
    /// Proposed.
    Blue,
    /// Needs a person.
    Red,
}

impl Tone {
    const fn line(self) -> &'static str {
        match self {
            Self::Ink => "thin",
            Self::Blue => "pencil",
            Self::Red => "chk",
        }
    }
    const fn fill(self) -> &'static str {
        match self {
            Self::Ink => "fi",
            Self::Blue => "fb",
            Self::Red => "fr",
        }
    }
    const fn text(self) -> &'static str {
        match self {
            Self::Ink => "",
            Self::Blue => "tb-",
            Self::Red => "tr-",
        }
    }
}

/// Where a text stands on its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    /// Begins there.
    Start,
    /// Is centred there.
    Middle,
    /// Ends there.
    End,
}

impl Anchor {
    const fn name(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// A straight scale from values to places on the paper.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scale {
    from: (f64, f64),
    to: (f64, f64),
}

impl Scale {
    /// Value `a` stands at `at_a`, value `b` at `at_b`.
    pub(crate) const fn new(a: f64, b: f64, at_a: f64, at_b: f64) -> Self {
        Self { from: (a, at_a), to: (b, at_b) }
    }

    /// The place of `value`.
    pub(crate) fn at(&self, value: f64) -> f64 {
        let span = self.to.0 - self.from.0;
        if span == 0.0 {
            return self.from.1;
        }
        self.from.1 + (value - self.from.0) * (self.to.1 - self.from.1) / span
    }
}

/// Round steps for a scale that covers `span` in about `count` steps: 1, 2 or 5 times a power of
/// ten.
pub(crate) fn round_step(span: f64, count: f64) -> f64 {
    let raw = (span / count).abs();
    if !raw.is_finite() || raw <= 0.0 {
        return 1.0;
    }
    let power = 10f64.powf(raw.log10().floor());
    [1.0, 2.0, 5.0, 10.0].map(|m| m * power).into_iter().find(|s| *s >= raw).unwrap_or(raw)
}

/// One picture.
#[derive(Debug)]
pub(crate) struct Drawing {
    /// Width in its own units, which are pixels at the panel.
    pub(crate) width: f64,
    /// Height.
    pub(crate) height: f64,
    body: String,
}

fn f(x: f64) -> String {
    let rounded = (x * 100.0).round() / 100.0;
    if rounded.is_finite() { format!("{rounded}") } else { "0".to_owned() }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

impl Drawing {
    /// An empty picture.
    pub(crate) const fn new(width: f64, height: f64) -> Self {
        Self { width, height, body: String::new() }
    }

    fn put(&mut self, element: std::fmt::Arguments<'_>) {
        self.body.write_fmt(element).expect("writing to a string cannot fail");
    }

    /// A straight line.
    pub(crate) fn line(&mut self, x1: f64, y1: f64, x2: f64, y2: f64, class: &str) {
        self.put(format_args!(
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" class=\"{class}\"/>",
            f(x1),
            f(y1),
            f(x2),
            f(y2)
        ));
    }

    /// A rectangle.
    pub(crate) fn rect(&mut self, x: f64, y: f64, w: f64, h: f64, class: &str) {
        self.put(format_args!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" class=\"{class}\"/>",
            f(x),
            f(y),
            f(w.max(0.0)),
            f(h.max(0.0))
        ));
    }

    /// A rectangle with rounded corners: only for real objects, a tray or a shaft.
    pub(crate) fn rounded(&mut self, x: f64, y: f64, w: f64, h: f64, r: f64, class: &str) {
        self.put(format_args!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"{}\" class=\"{class}\"/>",
            f(x),
            f(y),
            f(w.max(0.0)),
            f(h.max(0.0)),
            f(r)
        ));
    }

    /// A circle.
    pub(crate) fn circle(&mut self, x: f64, y: f64, r: f64, class: &str) {
        self.put(format_args!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" class=\"{class}\"/>",
            f(x),
            f(y),
            f(r.max(0.0))
        ));
    }

    /// A path in SVG's path language.
    pub(crate) fn path(&mut self, d: &str, class: &str) {
        self.put(format_args!("<path d=\"{d}\" class=\"{class}\"/>"));
    }

    /// A line through points; `closed` joins the last to the first.
    pub(crate) fn poly(&mut self, points: &[(f64, f64)], class: &str, closed: bool) {
        if points.is_empty() {
            return;
        }
        let joined: Vec<String> =
            points.iter().map(|(x, y)| format!("{} {}", f(*x), f(*y))).collect();
        let end = if closed { "Z" } else { "" };
        self.path(&format!("M{}{end}", joined.join("L")), class);
    }

    /// A text.
    pub(crate) fn text(&mut self, x: f64, y: f64, text: &str, class: &str, anchor: Anchor) {
        self.put(format_args!(
            "<text x=\"{}\" y=\"{}\" class=\"{class}\" text-anchor=\"{}\">{}</text>",
            f(x),
            f(y),
            anchor.name(),
            escaped(text)
        ));
    }

    /// A text turned by −90°, reading upwards.
    pub(crate) fn text_up(&mut self, x: f64, y: f64, text: &str, class: &str) {
        self.put(format_args!(
            "<text x=\"{x}\" y=\"{y}\" class=\"{class}\" text-anchor=\"middle\" \
             transform=\"rotate(-90 {x} {y})\">{}</text>",
            escaped(text),
            x = f(x),
            y = f(y)
        ));
    }

    /// A link around what `inside` draws.
    pub(crate) fn link(&mut self, address: &str, label: &str, inside: impl FnOnce(&mut Self)) {
        self.put(format_args!(
            "<a href=\"{}\" aria-label=\"{}\">",
            escaped(address),
            escaped(label)
        ));
        inside(self);
        self.put(format_args!("</a>"));
    }

    /// What `inside` draws, with a hint shown on pointing and read out: `title`.
    pub(crate) fn group(&mut self, class: &str, title: &str, inside: impl FnOnce(&mut Self)) {
        self.put(format_args!("<g class=\"{class}\"><title>{}</title>", escaped(title)));
        inside(self);
        self.put(format_args!("</g>"));
    }

    /// The mark of a judgement: disc, saltire, half lozenge, ring.
    pub(crate) fn mark(&mut self, word: Word, x: f64, y: f64, r: f64) {
        match word {
            Word::Accept => self.circle(x, y, r, "fg"),
            Word::Reject => {
                let d = format!(
                    "M{} {}L{} {}M{} {}L{} {}",
                    f(x - r),
                    f(y - r),
                    f(x + r),
                    f(y + r),
                    f(x + r),
                    f(y - r),
                    f(x - r),
                    f(y + r)
                );
                let width = f((r * 0.55).max(2.0));
                self.put(format_args!(
                    "<path d=\"{d}\" class=\"fn\" style=\"stroke:var(--red);stroke-width:{width}\"/>"
                ));
            }
            Word::CannotTell => {
                let big = r * 1.3;
                let lozenge = [(x, y - big), (x + big, y), (x, y + big), (x - big, y)];
                self.poly(&lozenge, "ff doubt-line", true);
                self.poly(&[(x, y - big), (x, y + big), (x - big, y)], "fd", true);
            }
            Word::NotJudged => self.circle(x, y, r, "thin ff"),
        }
    }

    /// An arrow head with its point at (`x`, `y`), pointing along `angle` (radians, y downwards).
    pub(crate) fn arrow(&mut self, x: f64, y: f64, angle: f64, class: &str, length: f64) {
        let wing = |a: f64| (x - length * a.cos(), y - length * a.sin());
        self.poly(&[(x, y), wing(angle - 0.17), wing(angle + 0.17)], class, true);
    }

    /// A dimension line from one point to another with its figure; short ones have their arrows
    /// outside.
    pub(crate) fn dimension(&mut self, a: (f64, f64), b: (f64, f64), label: &str, tone: Tone) {
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let angle = dy.atan2(dx);
        let (c, s) = (angle.cos(), angle.sin());
        if dx.hypot(dy) < 26.0 {
            let out = 18.0;
            self.line(a.0 - out * c, a.1 - out * s, a.0, a.1, tone.line());
            self.line(b.0, b.1, b.0 + out * c, b.1 + out * s, tone.line());
            self.arrow(a.0, a.1, angle, tone.fill(), 9.0);
            self.arrow(b.0, b.1, angle + PI, tone.fill(), 9.0);
        } else {
            self.line(a.0, a.1, b.0, b.1, tone.line());
            self.arrow(b.0, b.1, angle, tone.fill(), 9.0);
            self.arrow(a.0, a.1, angle + PI, tone.fill(), 9.0);
        }
        if !label.is_empty() {
            let class = format!("halo {}", tone.text());
            let (mx, my) = ((a.0 + b.0) / 2.0, (a.1 + b.1) / 2.0);
            self.text(mx, my + 5.0, label, &class, Anchor::Middle);
        }
    }

    /// A revision triangle: somebody changed the process here.
    pub(crate) fn revision(&mut self, x: f64, y: f64, number: &str, tone: Tone) {
        let class = format!("{} ff", tone.line());
        self.poly(&[(x, y - 13.0), (x + 12.0, y + 8.0), (x - 12.0, y + 8.0)], &class, true);
        self.text(x, y + 5.0, number, &format!("s let {}", tone.text()), Anchor::Middle);
    }

    /// An engraved rule along x, its divisions above the line, figures below.
    pub(crate) fn rule(&mut self, x: f64, y: f64, width: f64, max: f64, step: f64, major: u32) {
        self.line(x, y, x + width, y, "mid-l");
        if max <= 0.0 || step <= 0.0 {
            return;
        }
        let mut i = 0u32;
        while f64::from(i) * step <= max * (1.0 + 1e-9) && i < 2_000 {
            let value = f64::from(i) * step;
            let at = x + width * value / max;
            let is_major = i.is_multiple_of(major);
            self.line(at, y, at, y - if is_major { 12.0 } else { 6.0 }, "thin");
            if is_major {
                self.text(at, y + 17.0, &format!("{value}"), "s t2", Anchor::Middle);
            }
            i += 1;
        }
    }

    /// A clearance or size on its window: limits thick, the band where the gauge cannot see hatched
    /// inside each, the target a chain line, the mark of the judgement at the value.
    pub(crate) fn strip(&mut self, x: (f64, f64), y: f64, window: &Window, label: &str) {
        let span = window.upper - window.lower;
        let scale = Scale::new(window.lower - 0.3 * span, window.upper + 0.3 * span, x.0, x.1);
        let at = |v| scale.at(v);
        self.rect(at(window.lower), y - 9.0, at(window.upper) - at(window.lower), 18.0, "fgw");
        let guard = window.guard.min(span / 2.0);
        for from in [window.lower, window.upper - guard] {
            let width = at(from + guard) - at(from);
            self.rect(at(from), y - 9.0, width, 18.0, "fdw");
            self.rect(at(from), y - 9.0, width, 18.0, "h45d");
        }
        self.line(x.0, y, x.1, y, "thin");
        for limit in [window.lower, window.upper] {
            self.line(at(limit), y - 13.0, at(limit), y + 13.0, "thick");
        }
        if let Some(target) = window.target {
            self.line(at(target), y - 12.0, at(target), y + 12.0, "centre");
        }
        let place = at(window.value).clamp(x.0, x.1);
        self.mark(window.word, place, y, 7.0);
        if !label.is_empty() {
            self.text(place, y - 17.0, label, "halo strong m", Anchor::Middle);
        }
    }

    /// A mark in a legend, beside the words that say what it means.
    pub(crate) fn small(self) -> Markup {
        PreEscaped(format!(
            "<svg width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\" aria-hidden=\"true\">{}</svg>",
            self.body,
            w = f(self.width),
            h = f(self.height)
        ))
    }

    /// The finished picture, labelled in one sentence for whoever cannot see it.
    pub(crate) fn finish(self, label: &str, class: &str) -> Markup {
        // What stands inside an image cannot be reached; a picture with links is a group.
        let role = if self.body.contains("<a ") { "group" } else { "img" };
        PreEscaped(format!(
            "<svg class=\"drawing {class}\" viewBox=\"0 0 {} {}\" role=\"{role}\" \
             aria-label=\"{}\">{}</svg>",
            f(self.width),
            f(self.height),
            escaped(label),
            self.body
        ))
    }
}

/// A value on its window.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Window {
    /// Lower limit.
    pub(crate) lower: f64,
    /// Upper limit.
    pub(crate) upper: f64,
    /// Target, if there is one.
    pub(crate) target: Option<f64>,
    /// Width of the band inside each limit where the gauge cannot tell.
    pub(crate) guard: f64,
    /// The value.
    pub(crate) value: f64,
    /// Its judgement.
    pub(crate) word: Word,
}

/// The point at `degrees` (clockwise from the top) and radius `r` around (`x`, `y`).
pub(crate) fn polar(x: f64, y: f64, r: f64, degrees: f64) -> (f64, f64) {
    let a = degrees.to_radians() - FRAC_PI_2;
    (x + r * a.cos(), y + r * a.sin())
}

/// The screens a picture is drawn for; the style sheet shows the one that fits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Screen {
    /// At the desk, 1440 wide.
    Desk,
    /// A panel at a machine, 1024 wide; also what is printed.
    Panel,
    /// A phone.
    Phone,
}

impl Screen {
    const fn name(self) -> &'static str {
        match self {
            Self::Desk => "desk",
            Self::Panel => "panel",
            Self::Phone => "phone",
        }
    }
}

/// A picture drawn once for each screen, at the size it has there.
pub(crate) fn on_screens(
    label: &str,
    sizes: &[(Screen, f64, f64)],
    draw: impl Fn(&mut Drawing, Screen),
) -> Markup {
    let mut pictures = String::new();
    for (screen, width, height) in sizes {
        let mut drawing = Drawing::new(*width, *height);
        draw(&mut drawing, *screen);
        pictures += &drawing.finish(label, screen.name()).0;
    }
    PreEscaped(pictures)
}

/// A picture for desk, panel and phone at these sizes; `draw` is told whether it is the narrow one
/// of the phone.
pub(crate) fn three_sizes(
    label: &str,
    sizes: [(f64, f64); 3],
    draw: impl Fn(&mut Drawing, bool),
) -> Markup {
    let [desk, panel, phone] = sizes;
    let sizes = [
        (Screen::Desk, desk.0, desk.1),
        (Screen::Panel, panel.0, panel.1),
        (Screen::Phone, phone.0, phone.1),
    ];
    on_screens(label, &sizes, |d, screen| draw(d, matches!(screen, Screen::Phone)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round() {
        assert!((round_step(10.0, 5.0) - 2.0).abs() < 1e-12);
        assert!((round_step(0.07, 4.0) - 0.02).abs() < 1e-12);
        assert!((round_step(0.0, 4.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn text_cannot_break_out_of_the_picture() {
        let mut d = Drawing::new(10.0, 10.0);
        d.text(0.0, 0.0, "</text><script>", "", Anchor::Start);
        let out = d.finish("a \" b", "").0;
        assert!(!out.contains("<script>"));
        assert!(out.contains("a &quot; b"));
    }

    #[test]
    fn no_figure_is_ever_nan_on_the_paper() {
        let mut d = Drawing::new(10.0, 10.0);
        d.line(f64::NAN, f64::INFINITY, 0.0, 0.0, "thin");
        let out = d.finish("", "").0;
        assert!(!out.contains("NaN") && !out.contains("inf"));
    }
}
