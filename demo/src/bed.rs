//! The test beds: run in, run through the schedule, passed or held.

use std::collections::BTreeMap;
use std::rc::Rc;

use bedplate_gauge::quantity::Quantity;
use bedplate_record::entry::Event;
use bedplate_record::reading::Name;

use crate::build::BuiltEngine;
use crate::calendar::{DAY_MINUTES, day_of, minute_at};
use crate::daybook::{Bench, Cut};
use crate::drawing::{Characteristic, Drawing};
use crate::line::{ENGINEERS, Shop, Spot};
use crate::power::{EXPECTED_NM, SPEEDS_RPM, TrueParts};
use crate::stream::{Purpose, Stream};
use crate::truth::EngineTruth;

/// The beds; readings name them as their source.
const BEDS: [Bench; 3] = [
    Bench { name: "bed 1", a: "a-brook", b: "m-thwaite" },
    Bench { name: "bed 2", a: "a-brook", b: "m-thwaite" },
    Bench { name: "bed 3", a: "a-brook", b: "m-thwaite" },
];
/// Minutes a bed is taken by one engine, with coupling up and taking off.
const BED_MINUTES: f64 = 28.0;
/// An engine is held below this share of what is expected.
const HELD_BELOW: f64 = 0.95;
/// Share of engines with a faulty jet, and what it costs.
const FAULTY_JET: (f64, f64) = (0.003, 0.062);
/// Share of a soft tappet's loss that setting the valves again wins back.
const WON_BACK: f64 = 0.45;
/// Fuel burnt a kilowatt-hour by a middling engine, grams.
const FUEL_G_KWH: [f64; 3] = [287.0, 291.0, 302.0];

/// The air in the bed house.
#[derive(Debug, Clone, Copy)]
struct Air {
    celsius: f64,
    kpa: f64,
    humidity_percent: f64,
}

/// Factor from observed to reference torque of a spark-ignition engine.
///
/// Source: ISO 1585: α = (99/p_d)^1.2 (T/298)^0.6, p_d the pressure of dry air in kPa; water
/// vapour by the Magnus form of Alduchov and Eskridge (1996).
fn to_reference(air: Air) -> f64 {
    let saturated = 0.61094 * libm::exp(17.625 * air.celsius / (air.celsius + 243.04));
    let dry = air.kpa - air.humidity_percent / 100.0 * saturated;
    libm::pow(99.0 / dry, 1.2) * libm::pow((air.celsius + 273.15) / 298.0, 0.6)
}

/// The channels of a bed.
#[derive(Debug)]
struct Channels {
    torque: Rc<Characteristic>,
    speed: Rc<Characteristic>,
    fuel_mass: Rc<Characteristic>,
    fuel_time: Rc<Characteristic>,
    air_temperature: Rc<Characteristic>,
    air_pressure: Rc<Characteristic>,
    air_humidity: Rc<Characteristic>,
    oil_pressure: Rc<Characteristic>,
    blow_by: Rc<Characteristic>,
    oil_temperature: Rc<Characteristic>,
    coolant_temperature: Rc<Characteristic>,
    exhaust_temperature: Rc<Characteristic>,
}

/// An engine as it comes to a bed.
#[derive(Debug)]
struct Candidate {
    number: Name,
    parts: TrueParts,
    truth: EngineTruth,
    /// What was done since it was held, or empty.
    mended: &'static str,
}

/// The bed house.
#[derive(Debug)]
pub(crate) struct BedHouse {
    chance: Stream,
    channels: Channels,
    /// When each bed is free.
    free_at: [f64; 3],
    air: Air,
    tested: u32,
    /// Engines that come again, with when.
    again: Vec<(f64, Candidate)>,
    /// Numbers of engines held at their last test, in order.
    pub(crate) held: Vec<String>,
    pub(crate) truths: BTreeMap<String, EngineTruth>,
}

impl BedHouse {
    pub(crate) fn new(d: &Drawing, seed: u64) -> Self {
        let channels = Channels {
            torque: d.of("engine.bed_torque"),
            speed: d.of("engine.bed_speed"),
            fuel_mass: d.of("engine.fuel_mass"),
            fuel_time: d.of("engine.fuel_time"),
            air_temperature: d.of("engine.air_temperature"),
            air_pressure: d.of("engine.air_pressure"),
            air_humidity: d.of("engine.air_humidity"),
            oil_pressure: d.of("engine.bed_oil_pressure"),
            blow_by: d.of("engine.blow_by"),
            oil_temperature: d.of("engine.oil_temperature"),
            coolant_temperature: d.of("engine.coolant_temperature"),
            exhaust_temperature: d.of("engine.exhaust_temperature"),
        };
        Self {
            chance: Stream::new(seed, Purpose::Bed),
            channels,
            free_at: [0.0; 3],
            air: Air { celsius: 20.0, kpa: 100.8, humidity_percent: 50.0 },
            tested: 0,
            again: vec![],
            held: vec![],
            truths: BTreeMap::new(),
        }
    }

    /// Tests what waits, as far as the beds come until `until`.
    pub(crate) fn run(
        &mut self,
        shop: &mut Shop,
        waiting: &mut std::collections::VecDeque<BuiltEngine>,
        until: f64,
    ) {
        for (place, bed) in BEDS.into_iter().enumerate() {
            while self.free_at[place] < until {
                let now = self.free_at[place];
                let Some((start, candidate)) = self.next(waiting, now, until) else { break };
                self.free_at[place] = start + BED_MINUTES;
                self.test(shop, bed, candidate, start);
            }
        }
    }

    /// The next engine for a bed that is free from `now`: one that comes again before new ones.
    fn next(
        &mut self,
        waiting: &mut std::collections::VecDeque<BuiltEngine>,
        now: f64,
        until: f64,
    ) -> Option<(f64, Candidate)> {
        if let Some(place) = self.again.iter().position(|(at, _)| *at <= now) {
            return Some((now, self.again.remove(place).1));
        }
        let engine = waiting.pop_front_if(|engine| engine.ready < until)?;
        let (share, loss) = FAULTY_JET;
        let jet_loss = if self.chance.happens(share) { loss } else { 0.0 };
        let truth = engine.parts.truth(&mut self.chance, jet_loss);
        self.truths.insert(engine.number.to_string(), truth.clone());
        let BuiltEngine { number, ready, parts } = engine;
        Some((ready.max(now), Candidate { number, parts, truth, mended: "" }))
    }

    fn test(&mut self, shop: &mut Shop, bed: Bench, candidate: Candidate, start: f64) {
        self.tested += 1;
        self.drift(start);
        let ratios = [0, 1, 2].map(|point| {
            let minute = start + 9.0 + 4.5 * point as f64;
            self.point(shop, bed, &candidate, (point, minute))
        });
        let engine = candidate.number.to_string();
        let run = Event::TestRun { engine: engine.clone(), bed: bed.name.to_owned() };
        shop.daybook.enter(start + 20.0, bed.person(start + 20.0), run);
        let decided = start + 22.5;
        let by = ENGINEERS.person(decided);
        let (weakest, ratio) = (0..3)
            .map(|point| (point, ratios[point] / EXPECTED_NM[point]))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or((0, 1.0));
        if ratio >= HELD_BELOW {
            self.held.retain(|held| *held != engine);
            let note = candidate.mended.to_owned();
            shop.daybook.enter(decided, by, Event::EnginePassed { engine, note });
            return;
        }
        let below = (1.0 - ratio) * 100.0;
        let mut reason = format!("{below:.1} % below at {} rev/min", SPEEDS_RPM[weakest]);
        if !candidate.mended.is_empty() {
            reason.push_str("; no better after ");
            reason.push_str(candidate.mended);
        }
        if !self.held.contains(&engine) {
            self.held.push(engine.clone());
        }
        shop.daybook.enter(decided, by, Event::EngineHeld { engine, reason });
        if candidate.mended.is_empty() {
            let at = self.comes_again(decided);
            self.again.push((at, mended(candidate)));
        }
    }

    /// Early on the next working day.
    fn comes_again(&mut self, decided: f64) -> f64 {
        minute_at(day_of(decided) + 1, 7, 0) + self.chance.between(0.0, 180.0)
    }

    /// The weather goes its way.
    fn drift(&mut self, minute: f64) {
        let of_day = minute.rem_euclid(DAY_MINUTES) / DAY_MINUTES;
        let air = &mut self.air;
        let warm = 18.0 + 7.0 * of_day * (1.6 - of_day);
        air.celsius += 0.05 * (warm - air.celsius) + self.chance.normal(0.0, 0.12);
        air.kpa += 0.003 * (100.6 - air.kpa) + self.chance.normal(0.0, 0.045);
        air.humidity_percent += 0.01 * (52.0 - air.humidity_percent) + self.chance.normal(0.0, 0.6);
        air.humidity_percent = air.humidity_percent.clamp(30.0, 80.0);
    }

    /// Runs one point and gives its torque in reference air, by the readings.
    fn point(
        &mut self,
        shop: &mut Shop,
        bed: Bench,
        candidate: &Candidate,
        (point, minute): (usize, f64),
    ) -> f64 {
        let speed_rpm = SPEEDS_RPM[point] + self.chance.normal(0.0, 4.0);
        let reference = candidate.truth.torque_nm[point];
        let torque_nm = reference / to_reference(self.air);
        let kilowatts = torque_nm * speed_rpm * std::f64::consts::PI / 30_000.0;
        let lean = self.chance.normal(1.0, 0.006);
        // A weaker engine burns as much mixture, less a little: it burns more for each kilowatt.
        let share = EXPECTED_NM[point] / reference;
        let consumption = FUEL_G_KWH[point] * lean * libm::pow(share, 0.6);
        let fuel_g = 100.0 + self.chance.normal(0.0, 0.5);
        let fuel_s = fuel_g / (kilowatts * consumption) * 3600.0;
        let mut reader = Reader { shop, bed, engine: &candidate.number, minute };
        let ch = &self.channels;
        let torque_read = reader.take(&ch.torque, point, torque_nm).to("N·m");
        reader.take(&ch.speed, point, speed_rpm);
        reader.take(&ch.fuel_mass, point, fuel_g);
        reader.take(&ch.fuel_time, point, fuel_s);
        let celsius = reader.take(&ch.air_temperature, point, self.air.celsius).to("°C");
        let kpa = reader.take(&ch.air_pressure, point, self.air.kpa).to("kPa");
        let humidity = reader.take(&ch.air_humidity, point, self.air.humidity_percent);
        let air = Air { celsius, kpa, humidity_percent: humidity.to("%") };
        if point == 2 {
            self.others(shop, bed, candidate, minute + 1.0);
        }
        torque_read * to_reference(air)
    }

    /// The other channels, read at rated speed.
    fn others(&mut self, shop: &mut Shop, bed: Bench, candidate: &Candidate, minute: f64) {
        let Candidate { parts, truth, .. } = candidate;
        let gap = (parts.gap_mm() - 0.36) / 0.1;
        let blow_by = 9.0
            + 5.0 * gap
            + 0.12 * (parts.piston_clearance_um() - 36.0)
            + self.chance.normal(0.0, 0.7);
        let oil_bar = 3.1 + 0.25 * (parts.pump_flow - 11.8)
            - 0.02 * (parts.main_clearance_um - 31.5)
            + self.chance.normal(0.0, 0.06);
        let oil_celsius = 97.0 + 12.0 * parts.friction_share() + self.chance.normal(0.0, 2.0);
        let coolant_celsius = 86.0 + self.chance.normal(0.0, 1.2);
        let exhaust_celsius = 690.0 + 300.0 * truth.jet_loss + self.chance.normal(0.0, 9.0);
        let mut reader = Reader { shop, bed, engine: &candidate.number, minute };
        let ch = &self.channels;
        reader.take(&ch.oil_pressure, 0, oil_bar);
        if self.tested.is_multiple_of(ch.blow_by.one_in) {
            reader.take(&ch.blow_by, 0, blow_by.max(1.0));
        }
        if self.tested.is_multiple_of(ch.oil_temperature.one_in) {
            reader.take(&ch.oil_temperature, 0, oil_celsius);
            reader.take(&ch.coolant_temperature, 0, coolant_celsius);
            reader.take(&ch.exhaust_temperature, 0, exhaust_celsius);
        }
    }
}

/// What is done to an engine that was held: a jet is changed, or the valves are set again.
fn mended(held: Candidate) -> Candidate {
    let Candidate { number, parts, mut truth, .. } = held;
    let jet = truth.jet_loss > 0.0;
    for (torque, expected) in truth.torque_nm.iter_mut().zip(EXPECTED_NM) {
        *torque += if jet {
            expected * truth.jet_loss
        } else {
            expected * truth.lift_loss.max(0.0) * WON_BACK
        };
    }
    let mended = if jet { "main jet changed" } else { "valve clearance set again" };
    Candidate { number, parts, truth, mended }
}

/// One engine's readings on one bed, one after another.
struct Reader<'a> {
    shop: &'a mut Shop,
    bed: Bench,
    engine: &'a Name,
    minute: f64,
}

impl Reader<'_> {
    fn take(&mut self, of: &Characteristic, position: usize, truth: f64) -> Quantity {
        let cut = Cut { machine: self.bed.name, ..Cut::default() };
        let spot = Spot { of, position, piece: self.engine, bench: self.bed, cut };
        let shown = self.shop.take(self.minute, &spot, truth);
        self.minute += 0.05;
        shown.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reference_air_needs_no_correction() {
        // ISO 1585: 99 kPa of dry air at 298 K.
        let air = Air { celsius: 24.85, kpa: 99.0, humidity_percent: 0.0 };
        assert!((to_reference(air) - 1.0).abs() < 1e-12);
        // A cold day at high pressure gives more than the reference: the factor is below 1.
        let cold = Air { celsius: 15.0, kpa: 103.0, humidity_percent: 40.0 };
        assert!((0.93..1.0).contains(&to_reference(cold)));
    }
}
