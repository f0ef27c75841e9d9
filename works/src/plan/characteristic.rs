//! `[characteristic.PART.NAME]`: what is measured, its limits, and how.

use bedplate_gauge::iso286::{Iso286Error, ToleranceClass};
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::{Dimension, UNITS, Unit};

use super::decision::{self, decision};
use super::gauge::{comparable, difference};
use super::part::{ENGINE, title_of};
use super::section::{Called, Referred, Section};
use super::table::{Sign, Table};
use super::{Adjustment, Characteristic, Gauge, Kind, Operation, Part, Sampling, Shown, exact};

const KEYS: [&str; 19] = [
    "title",
    "kind",
    "unit",
    "decimals",
    "nominal",
    "lower",
    "upper",
    "deviations",
    "class",
    "nominal_outside",
    "deviation_unit",
    "positions",
    "gauge",
    "measured_at",
    "operation",
    "sampling",
    "capability_wanted",
    "adjustment",
    "caution",
];

/// What a characteristic is called in messages.
pub(super) const CALLED: Called = Called {
    one: "characteristic",
    many: "characteristics",
    heading: "[characteristic.block.bore]",
};

/// What a characteristic may refer to.
pub(super) struct Shop<'s> {
    pub(super) shown: Shown,
    pub(super) parts: &'s Section<Part>,
    pub(super) gauges: &'s Section<Gauge>,
    pub(super) operations: &'s Section<Operation>,
}

/// Reads every `[characteristic.PART.NAME]`.
pub(super) fn characteristics(root: &Table<'_>, shop: &Shop<'_>) -> Section<Characteristic> {
    let mut section = Section::of(CALLED);
    let all = root.table("characteristic", CALLED.heading);
    for entry in all.iter().flat_map(|t| t.entries().iter().map(move |e| (t, e))) {
        let (all, entry) = entry;
        if entry.key != ENGINE && shop.parts.named(all, &entry.key_word()).is_none() {
            continue;
        }
        let Some(of_part) = all.table_of(entry, CALLED.heading) else { continue };
        for (name, table) in of_part.named_tables(CALLED.heading) {
            let id = format!("{}.{name}", entry.key);
            let one =
                table.sound(|table| Reading { table, shop }.characteristic(&id, entry.key, name));
            section.add(id, one);
        }
    }
    section
}

/// One table of a characteristic, being read.
struct Reading<'r, 't> {
    table: &'r Table<'t>,
    shop: &'r Shop<'r>,
}

/// Nominal and limits.
#[derive(Default)]
struct Size {
    nominal: Option<Quantity>,
    lower: Option<Quantity>,
    upper: Option<Quantity>,
    class: Option<String>,
    /// The unit of the deviations, where limits were written so.
    deviation_unit: Option<&'static Unit>,
}

impl Reading<'_, '_> {
    fn characteristic(&self, id: &str, part: &str, name: &str) -> Option<Characteristic> {
        let table = self.table;
        table.knows(&KEYS);
        table.knows(&decision::KEYS);
        let title = table.text("title", "\"Bore\"");
        let kind = self.kind();
        let gauge = self.gauge();
        let operation = self.operation(part);
        let sampling = self.sampling();
        let rule = decision(table);
        let capability = table.number_within("capability_wanted", 0.1..=10.0, "1.33");
        let positions = self.positions();
        let measured_at = table.quantity("measured_at", Dimension::Temperature, Sign::Any);
        let unit = self.unit(kind)?;
        let kind = self.checked_kind(kind, unit.dimension);
        let size = self.size(unit, kind)?;
        self.check_gauge(gauge.as_ref(), unit);
        let decimals = table.whole("decimals", 0..=9, 4).and_then(|d| u8::try_from(d).ok());
        let resolution = gauge.as_ref().and_then(|g| g.thing).map(|g| g.resolution);
        let decimals = decimals.unwrap_or_else(|| decimals_of(resolution, unit));
        let deviation_unit = self.deviation_unit(unit).or(size.deviation_unit);
        let adjustment = self.adjustment(unit);
        Some(Characteristic {
            id: id.to_owned(),
            part: part.to_owned(),
            title: title.map_or_else(|| title_of(name), str::to_owned),
            kind,
            unit,
            decimals,
            nominal: size.nominal,
            lower: size.lower,
            upper: size.upper,
            class: size.class,
            deviation_unit,
            positions,
            gauge: gauge?.name.to_owned(),
            measured_at,
            operation,
            sampling,
            decision: rule,
            capability_wanted: capability.unwrap_or(1.33),
            adjustment,
            caution: table.remark("caution", "\"The sump may be hot.\""),
        })
    }

    fn kind(&self) -> Option<Kind> {
        self.table.choice("kind", &KINDS)
    }

    /// The kind stated, if it can be measured in this dimension; else the dimension's usual one.
    fn checked_kind(&self, stated: Option<Kind>, dimension: Dimension) -> Kind {
        let Some(kind) = stated else {
            return match dimension {
                Dimension::Length => Kind::Size,
                Dimension::Mass => Kind::Mass,
                Dimension::Hardness => Kind::Hardness,
                Dimension::Unbalance => Kind::Unbalance,
                _ => Kind::Other,
            };
        };
        let fitting: &[Dimension] = match kind {
            Kind::Size => {
                &[Dimension::Length, Dimension::Angle, Dimension::Area, Dimension::Volume]
            }
            Kind::Form => &[Dimension::Length, Dimension::Angle],
            Kind::Mass => &[Dimension::Mass],
            Kind::Hardness => &[Dimension::Hardness],
            Kind::Unbalance => &[Dimension::Unbalance, Dimension::Angle],
            Kind::Attribute => &[Dimension::Number],
            Kind::Curve | Kind::Other => return kind,
        };
        if !fitting.contains(&dimension) {
            let word = KINDS.iter().find(|(_, k)| *k == kind).map_or("", |(word, _)| word);
            self.table.fault_at(
                "kind",
                format!("kind = \"{word}\" cannot be {}", dimension.words()),
                format!("measure it as {}, or write another kind", fitting[0].words()),
            );
        }
        kind
    }

    /// The unit stated, else that of the nominal or of a limit.
    fn unit(&self, kind: Option<Kind>) -> Option<&'static Unit> {
        let table = self.table;
        if table.has("unit") {
            return table.unit("unit", "\"mm\"");
        }
        if kind == Some(Kind::Attribute) {
            return Some(&UNITS[0]);
        }
        let key = ["nominal", "lower", "upper"].into_iter().find(|key| table.has(key));
        match key {
            Some(key) => Some(table.any_quantity(key, "68.000 mm")?.unit()),
            None => table.need(None, "unit", "\"mm\""),
        }
    }

    fn size(&self, unit: &'static Unit, kind: Kind) -> Option<Size> {
        let table = self.table;
        let ways = [
            ("lower", table.has("lower") || table.has("upper")),
            ("deviations", table.has("deviations")),
            ("class", table.has("class")),
        ];
        let mut written = ways.iter().filter(|(_, there)| *there).map(|(key, _)| *key);
        let (first, second) = (written.next(), written.next());
        if let (Some(first), Some(second)) = (first, second) {
            table.fault_at(
                second,
                format!("the limits are written twice, by {first} and by {second}"),
                "write them one way: lower and upper, or deviations, or class",
            );
            return None;
        }
        let sign =
            if matches!(kind, Kind::Mass | Kind::Hardness) { Sign::Positive } else { Sign::Any };
        let nominal = self.in_unit("nominal", unit, sign);
        if nominal.is_none() && table.has("nominal") {
            return None;
        }
        let size = match first {
            Some("deviations") => self.by_deviations(nominal, unit)?,
            Some("class") => self.by_class(nominal, unit)?,
            _ => self.by_limits(nominal, unit, sign, kind)?,
        };
        self.in_order(&size, first).then_some(size)
    }

    /// A quantity of the characteristic's own dimension; hardness keeps its scale.
    fn in_unit(&self, key: &'static str, unit: &Unit, sign: Sign) -> Option<Quantity> {
        let quantity = self.table.quantity(key, unit.dimension, sign)?;
        if unit.dimension == Dimension::Hardness && quantity.unit() != unit {
            let (got, wanted) = (quantity.unit().symbol, unit.symbol);
            let what = format!("{key} = \"{quantity}\" is on the scale {got}, not {wanted}");
            self.table.fault_at(key, what, "hardness does not convert: write one scale throughout");
            return None;
        }
        Some(quantity)
    }

    fn by_limits(
        &self,
        nominal: Option<Quantity>,
        unit: &Unit,
        sign: Sign,
        kind: Kind,
    ) -> Option<Size> {
        let table = self.table;
        let mut lower = self.in_unit("lower", unit, sign);
        let upper = self.in_unit("upper", unit, sign);
        if (lower.is_none() && table.has("lower")) || (upper.is_none() && table.has("upper")) {
            return None;
        }
        if kind == Kind::Attribute && lower.is_none() && upper.is_none() {
            lower = Some(Quantity::new(1, 0, &UNITS[0]));
        }
        let outside_meant = table.flag("nominal_outside").unwrap_or(false);
        let outside = nominal.is_some_and(|n| {
            lower.is_some_and(|l| n.si() < l.si()) || upper.is_some_and(|u| u.si() < n.si())
        });
        if let (true, false, Some(nominal)) = (outside, outside_meant, nominal) {
            table.fault_at(
                "nominal",
                format!("nominal = \"{nominal}\" lies outside the limits"),
                "mend the figure, or add nominal_outside = true if it is meant",
            );
        }
        Some(Size { nominal, lower, upper, ..Size::default() })
    }

    fn by_deviations(&self, nominal: Option<Quantity>, unit: &Unit) -> Option<Size> {
        const EXAMPLE: &str = "[\"0 µm\", \"+12 µm\"]";
        let table = self.table;
        let words = table.words("deviations", EXAMPLE)?;
        let [lower, upper] = words.as_slice() else {
            let what = format!("deviations wants two figures, but has {}", words.len());
            let mend = format!("write the lower and the upper, such as deviations = {EXAMPLE}");
            table.fault_at("deviations", what, mend);
            return None;
        };
        let dimension = difference(unit.dimension);
        let lower = table.quantity_in("deviations", lower, dimension, Sign::Any);
        let upper = table.quantity_in("deviations", upper, dimension, Sign::Any);
        let nominal = table.need(nominal, "nominal", "\"68.000 mm\"")?;
        let (lower, upper) = (lower?, upper?);
        let shown = if upper.mantissa() == 0 { lower.unit() } else { upper.unit() };
        let deviation_unit = (shown.dimension == unit.dimension).then_some(shown);
        Some(Size { deviation_unit, ..self.about_nominal(nominal, lower, upper, "deviations")? })
    }

    fn by_class(&self, nominal: Option<Quantity>, unit: &Unit) -> Option<Size> {
        let table = self.table;
        let class = table.text("class", "\"H6\"")?;
        if unit.dimension != Dimension::Length {
            let what = format!(
                "class = \"{class}\" is a class of lengths, but this is {}",
                unit.dimension.words()
            );
            table.fault_at("class", what, "write lower and upper instead");
            return None;
        }
        let nominal = table.need(nominal, "nominal", "\"68.000 mm\"")?;
        let limits = match class_limits(nominal, class) {
            Ok(limits) => limits,
            Err(error) => {
                let (what, mend) = class_fault(class, &error);
                table.fault_at("class", what, mend);
                return None;
            }
        };
        let shown = match self.shop.shown {
            Shown::Metric => "µm",
            Shown::Inch => "thou",
        };
        Some(Size {
            class: Some(class.to_owned()),
            deviation_unit: Unit::named(shown),
            ..self.about_nominal(nominal, limits.0, limits.1, "class")?
        })
    }

    fn about_nominal(
        &self,
        nominal: Quantity,
        lower: Quantity,
        upper: Quantity,
        key: &'static str,
    ) -> Option<Size> {
        match (exact::sum(nominal, lower), exact::sum(nominal, upper)) {
            (Ok(lower), Ok(upper)) => Some(Size {
                nominal: Some(nominal),
                lower: Some(lower),
                upper: Some(upper),
                ..Size::default()
            }),
            _ => {
                let what = format!("{key} leads to limits of more digits than can be kept");
                self.table.fault_at(key, what, "write fewer digits");
                None
            }
        }
    }

    /// Whether the limits are the right way round.
    fn in_order(&self, size: &Size, written_by: Option<&str>) -> bool {
        let (Some(lower), Some(upper)) = (size.lower, size.upper) else { return true };
        if lower.si() < upper.si() {
            return true;
        }
        let (key, mend) = if written_by == Some("deviations") {
            ("deviations", "write the lower deviation first, then the upper")
        } else {
            ("upper", "swap the two, or mend the figure")
        };
        let what = format!("the upper limit {upper} is not above the lower limit {lower}");
        self.table.fault_at(key, what, mend);
        false
    }

    fn deviation_unit(&self, unit: &Unit) -> Option<&'static Unit> {
        let deviation_unit = self.table.unit("deviation_unit", "\"µm\"")?;
        if deviation_unit.dimension != unit.dimension {
            let what = format!(
                "deviation_unit = \"{}\" measures {}, but readings are {}",
                deviation_unit.symbol,
                deviation_unit.dimension.words(),
                unit.dimension.words()
            );
            self.table.fault_at("deviation_unit", what, "write a smaller unit of the same kind");
        }
        Some(deviation_unit)
    }

    fn positions(&self) -> Vec<String> {
        const MOST: u32 = 200;
        let table = self.table;
        if table.is_whole("positions") {
            let count = table.whole("positions", 1..=MOST, 4).unwrap_or(1);
            return if count == 1 { vec![] } else { (1..=count).map(|n| n.to_string()).collect() };
        }
        let example = "[\"1\", \"2\", \"3\", \"4\"]";
        let words = table.different_words("positions", example).unwrap_or_default();
        for word in words.iter().filter(|w| w.text.chars().count() > 24) {
            let what = format!("\"{}\" is too long for a position", word.text);
            table.fault(&word.span, what, "write at most 24 letters");
        }
        words.into_iter().map(|w| w.text.to_owned()).collect()
    }

    fn gauge(&self) -> Option<Referred<'_, Gauge>> {
        let example = "\"air-bore\"";
        let gauge = self.shop.gauges.named_by(self.table, "gauge", example);
        self.table.need(gauge, "gauge", example)
    }

    fn check_gauge(&self, gauge: Option<&Referred<'_, Gauge>>, unit: &Unit) {
        let Some(gauge) = gauge.and_then(|g| g.thing) else { return };
        let measures = gauge.resolution.unit();
        let (name, table) = (&gauge.name, self.table);
        if !comparable(measures.dimension, unit.dimension) {
            let what = format!(
                "gauge \"{name}\" measures {}, but this is {}",
                measures.dimension.words(),
                unit.dimension.words()
            );
            table.fault_at("gauge", what, "name a gauge that measures it");
        } else if unit.dimension == Dimension::Hardness && measures != unit {
            let what = format!("gauge \"{name}\" reads {}, not {}", measures.symbol, unit.symbol);
            table.fault_at("gauge", what, "hardness does not convert: name a gauge of this scale");
        }
    }

    fn operation(&self, part: &str) -> String {
        let operations = self.shop.operations;
        let Some(found) = operations.named_by(self.table, "operation", "\"block-70\"") else {
            return String::new();
        };
        if let Some(operation) = found.thing
            && operation.part != part
        {
            let (name, of) = (found.name, &operation.part);
            let what = format!("operation \"{name}\" works on {of}, not on {part}");
            self.table.fault_at("operation", what, "name the operation that makes it");
        }
        found.name.to_owned()
    }

    fn sampling(&self) -> Sampling {
        let Some(text) = self.table.text("sampling", "\"1 in 5\"") else { return Sampling::Every };
        if text == "every" {
            return Sampling::Every;
        }
        let every_nth = text.strip_prefix("1 in ").and_then(|n| n.parse::<u32>().ok());
        match every_nth {
            Some(n @ 2..=1_000_000) => Sampling::OneIn(n),
            _ => {
                let what = format!("sampling = \"{text}\" is not known here");
                self.table.fault_at("sampling", what, "write \"every\", or such as \"1 in 5\"");
                Sampling::Every
            }
        }
    }

    fn adjustment(&self, unit: &Unit) -> Option<Adjustment> {
        let example = "adjustment = { what = \"collar\", per_division = \"-1.0 µm\" }";
        let table = self.table.table("adjustment", example)?;
        table.knows(&["what", "per_division"]);
        let what = table.need(table.text("what", "\"collar\""), "what", "\"collar\"");
        let dimension = difference(unit.dimension);
        let moved = table.quantity("per_division", dimension, Sign::Any);
        let per_division = table.need(moved, "per_division", "\"-1.0 µm\"");
        table.finish();
        let (what, per_division) = (what?, per_division?);
        if per_division.mantissa() == 0 {
            let what = format!("per_division = \"{per_division}\" moves nothing");
            table.fault_at("per_division", what, "write how far one division moves the size");
        }
        Some(Adjustment { what: what.to_owned(), per_division })
    }
}

/// The kinds, as they are written.
pub(super) const KINDS: [(&str, Kind); 8] = [
    ("size", Kind::Size),
    ("form", Kind::Form),
    ("mass", Kind::Mass),
    ("hardness", Kind::Hardness),
    ("curve", Kind::Curve),
    ("attribute", Kind::Attribute),
    ("unbalance", Kind::Unbalance),
    ("other", Kind::Other),
];

/// Lower and upper deviation of an ISO 286 class at this nominal.
fn class_limits(nominal: Quantity, class: &str) -> Result<(Quantity, Quantity), Iso286Error> {
    let digits = class.find(|c: char| !c.is_alphabetic()).unwrap_or(class.len());
    let (letter, grade) = class.split_at(digits);
    let found = ToleranceClass::new(nominal.to("mm"), letter, grade)?;
    let micrometre = Unit::named("µm").expect("in the table of units");
    let deviation = |um: f64| {
        let even = |decimals: &u8| (um * 10f64.powi(i32::from(*decimals))).fract() == 0.0;
        let decimals = (0..3).find(even).unwrap_or(3);
        Quantity::rounded(um, decimals, micrometre)
            .map_err(|_| Iso286Error::Size { nominal_mm: nominal.to("mm") })
    };
    Ok((deviation(found.lower_um())?, deviation(found.upper_um())?))
}

/// What is wrong with a class, and how to mend it.
fn class_fault(class: &str, error: &Iso286Error) -> (String, &'static str) {
    match error {
        Iso286Error::Size { .. } | Iso286Error::NoSuchClass { .. } => (
            format!("the tables of ISO 286 hold no class \"{class}\" at this nominal"),
            "write deviations instead",
        ),
        Iso286Error::Letter { letter } if !letter.is_empty() => (
            format!("class = \"{class}\" has the letter {letter}, which is not in the tables"),
            "write c to h, js, k, m, n, p, r or s, or the same capitals for a hole",
        ),
        _ => (
            format!("class = \"{class}\" is not a tolerance class"),
            "write a letter and a grade, such as \"H6\" for a hole or \"g6\" for a shaft",
        ),
    }
}

/// Decimals that show a gauge's resolution in this unit: 4 for 0.1 µm in mm.
fn decimals_of(resolution: Option<Quantity>, unit: &Unit) -> u8 {
    let Some(resolution) = resolution else { return 3 };
    let step = resolution.number() * resolution.unit().factor() / unit.factor();
    let shows = |decimals: &u8| {
        let steps = step * 10f64.powi(i32::from(*decimals));
        steps > 0.999 && (steps - steps.round()).abs() < 1e-6 * steps
    };
    let first_digit = |decimals: &u8| step * 10f64.powi(i32::from(*decimals)) > 0.999;
    // A metric step in inches never comes out even: its first digit then says enough.
    (0..=6).find(shows).or_else(|| (0..=9).find(first_digit)).unwrap_or(9)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_follow_the_gauge() {
        let decimals = |resolution: &str, unit: &str| {
            decimals_of(Some(resolution.parse().unwrap()), Unit::named(unit).unwrap())
        };
        assert_eq!(decimals("0.1 µm", "mm"), 4);
        assert_eq!(decimals("5 µm", "mm"), 3);
        assert_eq!(decimals("0.5 g", "g"), 1);
        assert_eq!(decimals("0.25 g", "g"), 2);
        assert_eq!(decimals("1 HBW", "HBW"), 0);
        assert_eq!(decimals("0.1 µm", "in"), 6);
        assert_eq!(decimals("0.1 °C", "°C"), 1);
    }
}
