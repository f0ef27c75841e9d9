//! The sheet: frame, zones, finding, notes, register and title block.
//!
//! Every page is one sheet. It opens with one plain sentence that says what is so; the page's name
//! stands in the title block, where a drawing has it; the register of sheets lies along the foot.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use bedplate_works::wire::{Figure, Word};

/// Whether the sheet is read by day or on the night shift.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Lamp {
    /// Ink on film.
    Day,
    /// Brown-line negative.
    Night,
}

impl Lamp {
    /// Its name in cookies and style sheets.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Day => "day",
            Self::Night => "night",
        }
    }
}

/// The register of sheets: number, address, title.
pub(crate) const REGISTER: [(&str, &str, &str); 8] = [
    ("1", "/", "Works"),
    ("2", "/bench", "Gauge bench"),
    ("3", "/characteristic", "Characteristic"),
    ("4", "/matching", "Matching"),
    ("5", "/balance", "Balance"),
    ("6", "/line", "Line"),
    ("7", "/bed", "Test bed"),
    ("8", "/record", "Record"),
];

/// Sheets that hang under another and carry its number.
pub(crate) const HANGING: [(&str, &str, &str); 10] = [
    ("1.1", "/import", "Readings in"),
    ("3.0", "/characteristics", "All characteristics"),
    ("4.1", "/matching/store", "Store"),
    ("4.2", "/matching/aim", "Aim"),
    ("4.3", "/matching/kitting", "Kitting"),
    ("7.1", "/build", "Build"),
    ("8.1", "/trace", "Trace"),
    ("8.2", "/ledger", "Ledger"),
    ("H", "/handbook", "Handbook"),
    ("P", "/people", "People"),
];

/// What stands around a page.
#[derive(Debug, Clone)]
pub(crate) struct Frame {
    /// Number in the register, `7` or `7.1` or `H`.
    pub(crate) number: &'static str,
    /// Kind of sheet: `Gauge bench`.
    pub(crate) kind: &'static str,
    /// What this one shows: `Block bores, bench 4`.
    pub(crate) title: String,
    /// Name of the works.
    pub(crate) works: String,
    /// Engine type.
    pub(crate) engine: String,
    /// Shift and person.
    pub(crate) shift: String,
    /// Instant of the data.
    pub(crate) as_of: String,
    /// Day or night.
    pub(crate) lamp: Lamp,
    /// The legend of this page.
    pub(crate) notes: Markup,
    /// Address of the same figures as JSON.
    pub(crate) figures: String,
    /// Style sheets of this page beside the common one: `balance.css`.
    pub(crate) styles: &'static [&'static str],
}

impl Frame {
    /// The same frame for a page with style sheets or scripts of its own.
    pub(crate) const fn with(mut self, styles: &'static [&'static str]) -> Self {
        self.styles = styles;
        self
    }
}

/// A part of the finding's sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Says {
    /// What is so.
    Ink(String),
    /// What is proposed.
    Blue(String),
    /// What needs a person.
    Red(String),
}

/// The whole page.
pub(crate) fn sheet(frame: &Frame, finding: &[Says], tag: &Markup, body: &Markup) -> Markup {
    let main_number = frame.number.split('.').next().unwrap_or_default();
    html! {
        (DOCTYPE)
        html lang="en" data-theme=(frame.lamp.name()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width,initial-scale=1";
                title { (frame.kind) " · " (frame.title) }
                link rel="stylesheet" href="/assets/sheet.css";
                link rel="icon" href="/assets/mark.svg" type="image/svg+xml";
                script src="/assets/sheet.js" type="module" {}
                (extras(frame.styles))
            }
            body data-sheet=(frame.number) {
                a.skip href="#finding" { "To the finding" }
                (hatches())
                div.sheet {
                    (zones())
                    div.frame {
                        main.field {
                            div.finding {
                                h1 #finding tabindex="-1" { (says(finding)) }
                                (tag)
                            }
                            (hanging(main_number, frame.number))
                            div.body { (body) }
                        }
                        (foot(frame, main_number))
                    }
                }
                div #spoken.spoken role="status" aria-live="polite" {}
            }
        }
    }
}

/// Links to style sheets and scripts under `/assets`.
pub(crate) fn extras(names: &[&str]) -> Markup {
    html! {
        @for name in names {
            @if name.ends_with(".css") { link rel="stylesheet" href={ "/assets/" (name) }; }
            @else { script src={ "/assets/" (name) } type="module" {} }
        }
    }
}

fn says(parts: &[Says]) -> Markup {
    html! {
        @for (i, part) in parts.iter().enumerate() {
            @if i > 0 { " " }
            @match part {
                Says::Ink(text) => { (text) }
                Says::Blue(text) => { span.blue { (text) } }
                Says::Red(text) => { span.red { (text) } }
            }
        }
    }
}

fn zones() -> Markup {
    let strip = |class: &str, marks: &str| {
        html! { div class={ "zone " (class) } aria-hidden="true" {
            @for mark in marks.chars() { span { (mark) } }
        } }
    };
    html! {
        (strip("t", "12345678")) (strip("b", "12345678"))
        (strip("l", "ABCDE")) (strip("r", "ABCDE"))
    }
}

fn hanging(main_number: &str, open: &str) -> Markup {
    let under: Vec<_> = HANGING
        .iter()
        .filter(|(number, ..)| {
            number.split('.').next() == Some(main_number) && number.contains('.')
        })
        .collect();
    html! {
        @if !under.is_empty() {
            nav.hanging aria-label="Sheets under this one" {
                @let own = REGISTER.iter().filter(|r| r.0 == main_number);
                @for (number, address, title) in own.chain(under) {
                    a href=(address) aria-current=[(*number == open).then_some("page")] {
                        b { (number) } (title)
                    }
                }
            }
        }
    }
}

fn foot(frame: &Frame, main_number: &str) -> Markup {
    html! {
        footer.tb {
            div.notes { (frame.notes)
                @if !frame.figures.is_empty() {
                    span.as-figures { a href=(frame.figures) { "as figures" } }
                }
            }
            nav.register aria-label="Register of sheets" {
                @for (number, address, title) in REGISTER {
                    a href=(address) aria-current=[(number == main_number).then_some("page")] {
                        b { (number) } (title)
                    }
                }
            }
            div.title {
                div { small { "Works" } strong { (frame.works) } }
                div { small { "Engine" } strong { (frame.engine) } }
                div { small { "Sheet" } strong { (frame.number)
                    @if frame.number.parse::<u8>().is_ok() { " of 8" } } }
                div { small { (frame.kind) } strong { (frame.title) } }
                a href="/people" { small { (frame.shift) } strong { (frame.as_of) } }
                form method="post" action="/lamp" {
                    button #lamp type="submit" title="Change between day sheet and night shift" {
                        small { "Lamp" }
                        strong { @match frame.lamp { Lamp::Day => "Day", Lamp::Night => "Night" } }
                    }
                }
            }
        }
    }
}

/// The hatches: what is meant without colour.
pub(crate) fn hatches() -> Markup {
    let hatch = |id: &str, stroke: &str, step: u32, angle: i32, width: f64| {
        format!(
            "<pattern id=\"{id}\" width=\"{step}\" height=\"{step}\" \
             patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate({angle})\">\
             <line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"{step}\" stroke=\"var(--{stroke})\" \
             stroke-width=\"{width}\"/></pattern>"
        )
    };
    PreEscaped(format!(
        "<svg width=\"0\" height=\"0\" aria-hidden=\"true\" class=\"hatches\"><defs>{}{}{}{}{}</defs></svg>",
        hatch("h45", "ink-3", 6, 45, 1.2),
        hatch("h135", "ink-3", 6, -45, 1.2),
        hatch("h45r", "red", 6, 45, 1.6),
        hatch("h45b", "blue", 6, 45, 1.2),
        hatch("h45d", "doubt", 5, 45, 1.3),
    ))
}

/// The mark and word of a judgement.
pub(crate) fn judgement(word: Word) -> Markup {
    judgement_saying(word, word.text())
}

/// The mark of a judgement with other words: "inside", "Near limit".
pub(crate) fn judgement_saying(word: Word, text: &str) -> Markup {
    let (class, shape) = match word {
        Word::Accept => ("accept", "<circle r=\"8\" fill=\"currentColor\"/>"),
        Word::Reject => (
            "reject",
            "<path d=\"M-7-7L7 7M7-7L-7 7\" stroke=\"currentColor\" stroke-width=\"4.5\"/>",
        ),
        Word::CannotTell => (
            "doubt",
            "<path d=\"M0-9L9 0 0 9-9 0Z\" fill=\"none\" stroke=\"currentColor\" \
             stroke-width=\"1.8\"/><path d=\"M0-9V9L-9 0Z\" fill=\"currentColor\"/>",
        ),
        Word::NotJudged => (
            "unjudged",
            "<circle r=\"7\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"1.5\"/>",
        ),
    };
    html! {
        span class={ "j " (class) } {
            (PreEscaped(format!("<svg viewBox=\"-10 -10 20 20\" aria-hidden=\"true\">{shape}</svg>")))
            (text)
        }
    }
}

/// A figure that opens what is behind it: the handbook entry filled with the figures used, or its
/// reading.
pub(crate) fn figure(figure: &Figure) -> Markup {
    let address = figure_address(figure);
    html! {
        @match address {
            Some(address) => { a.behind href=(address) { (figure.text) } }
            None => { (figure.text) }
        }
    }
}

/// As [`figure`], with the unit after it.
pub(crate) fn figure_with_unit(f: &Figure) -> Markup {
    html! { (figure(f)) @if !f.unit.is_empty() {
        @if !matches!(f.unit, "°" | "%") { (PreEscaped("&#8239;")) }
        span.unit { (f.unit) }
    } }
}

/// Where a figure leads.
pub(crate) fn figure_address(figure: &Figure) -> Option<String> {
    if let Some(used) = &figure.calculation {
        let query: Vec<String> =
            used.inputs.iter().map(|(k, v)| format!("{}={}", percent(k), percent(v))).collect();
        return Some(format!("/handbook/{}?{}", used.name, query.join("&")));
    }
    match figure.readings.as_slice() {
        [] => None,
        [one] => Some(format!("/reading/{one}")),
        many => {
            let numbers: Vec<String> = many.iter().map(u64::to_string).collect();
            Some(format!("/trace?readings={}", numbers.join(",")))
        }
    }
}

/// A text as part of an address.
pub(crate) fn percent(text: &str) -> String {
    text.bytes()
        .map(|b| match b {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' => {
                char::from(b).to_string()
            }
            _ => format!("%{b:02X}"),
        })
        .collect()
}

/// Boxed cells at the top right: what is measured, its limits, operation, uncertainty.
pub(crate) fn tag(cells: &[TagCell]) -> Markup {
    html! {
        div.tag {
            @for cell in cells {
                @match cell {
                    TagCell::One(text) => { span { (text) } }
                    TagCell::Limits(upper, lower) => { span.lim { b { (upper) } b { (lower) } } }
                }
            }
        }
    }
}

/// One cell of a tag.
#[derive(Debug, Clone)]
pub(crate) enum TagCell {
    /// A text.
    One(String),
    /// Upper over lower limit.
    Limits(String, String),
}

/// The trade's cautions: never hidden, never blocking.
pub(crate) fn cautions(heading: &str, lines: &[String]) -> Markup {
    html! {
        @if !lines.is_empty() {
            section.caution aria-label=(heading) {
                h2.plain { (heading) }
                ul { @for line in lines { li { (line) } } }
            }
        }
    }
}

/// An empty place says what will fill it and what to do.
pub(crate) fn empty(what: &str, to_do: &str) -> Markup {
    html! { div.nothing { p { b { (what) } } p { (to_do) } } }
}
