//! A whole point reduced: optional channels, refusals, and uncertainty by two other methods.

use bedplate_engine::bed::air::{HumidityFormula, saturation_pressure_if97_kpa};
use bedplate_engine::bed::correction::{Charging, CorrectionError, DryAir, iso_1585_spark};
use bedplate_engine::bed::fuel::FuelReading;
use bedplate_engine::bed::point::{
    Channel, Load, NotCorrected, PointError, PointReadings, PointUncertainty, Standard,
    reduce_point,
};
use bedplate_engine::bed::site::SiteExponents;
use bedplate_engine::bed::torque::{BrakeLoad, Cycle, EngineSize, Turning, power_kw};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// A made-up point of an invented engine on an ordinary day.
const POINT: PointReadings = PointReadings {
    load: Load::Brake(BrakeLoad { load_n: 180.0, arm_m: 0.358 }),
    speed_rpm: 2400.0,
    fuel: Some(FuelReading::Mass { mass_g: 70.0, time_s: 60.0 }),
    air_temperature_c: 28.0,
    barometer_kpa: 98.2,
    relative_humidity: Some(0.55),
    size: EngineSize { displacement_l: 1.104, cycle: Cycle::FourStroke },
    standard: Standard::Iso1585Spark,
    humidity_formula: HumidityFormula::If97,
    uncertainty: Some(PointUncertainty {
        load_n: 0.4,
        arm_m: 0.0003,
        torque_nm: 0.0,
        speed_rpm: 2.0,
        air_temperature_k: 0.5,
        barometer_kpa: 0.05,
        relative_humidity: 0.02,
        fuel_rate_relative: 0.005,
    }),
};

const COMPRESSION: Standard =
    Standard::Iso1585Compression { charging: Charging::Natural, boost_ratio: 1.0 };

#[test]
fn every_corrected_figure_is_the_observed_one_times_the_factor() {
    let point = reduce_point(&POINT).unwrap();
    let corrected = point.corrected.unwrap();
    let vapour_kpa = 0.55 * saturation_pressure_if97_kpa(301.15).unwrap();
    let air = DryAir { dry_pressure_kpa: 98.2 - vapour_kpa, temperature_k: 301.15 };
    let factor = iso_1585_spark(air);
    assert_eq!(point.factor, Some(factor));
    assert!((corrected.torque_nm - 180.0 * 0.358 * factor).abs() < 1e-12);
    assert!((corrected.power_kw / point.observed.power_kw - factor).abs() < 1e-12);
    assert!((corrected.bmep_bar / point.observed.bmep_bar - factor).abs() < 1e-12);
    // 70 g in 60 s is 4.2 kg/h.
    let bsfc = 4.2e3 / point.observed.power_kw;
    assert!((point.observed.bsfc_g_kwh.unwrap() - bsfc).abs() < 1e-9);
}

#[test]
fn missing_channels_leave_their_outputs_empty_and_say_why() {
    let dry = reduce_point(&PointReadings { relative_humidity: None, ..POINT }).unwrap();
    assert_eq!(dry.not_corrected, Some(NotCorrected::NoHumidity));
    assert!(dry.corrected.is_none() && dry.factor.is_none() && dry.vapour_kpa.is_none());
    assert!(dry.corrected_power_uncertainty_kw.is_none());
    let no_fuel = reduce_point(&PointReadings { fuel: None, ..POINT }).unwrap();
    assert!(no_fuel.observed.bsfc_g_kwh.is_none() && no_fuel.corrected.is_some());
    let oil = PointReadings { fuel: None, standard: COMPRESSION, ..POINT };
    assert_eq!(reduce_point(&oil).unwrap().not_corrected, Some(NotCorrected::NoFuel));
    let old = PointReadings { relative_humidity: None, standard: Standard::Din70020, ..POINT };
    assert!(reduce_point(&old).unwrap().corrected.is_some());
    let unknown = reduce_point(&PointReadings { uncertainty: None, ..POINT }).unwrap();
    assert!(unknown.corrected.is_some() && unknown.corrected_power_uncertainty_kw.is_none());
}

#[test]
fn outside_the_standards_range_nothing_is_corrected_but_the_factor_is_told() {
    let high = reduce_point(&PointReadings { barometer_kpa: 88.0, ..POINT }).unwrap();
    let why = high.not_corrected.unwrap();
    assert!(matches!(why, NotCorrected::Range(CorrectionError::Factor { .. })), "{why}");
    assert!(why.to_string().contains("0.93 to 1.07"), "{why}");
    assert!(high.factor.unwrap() > 1.07 && high.corrected.is_none());
    let cold = reduce_point(&PointReadings { air_temperature_c: 8.0, ..POINT }).unwrap();
    let why = cold.not_corrected.unwrap();
    assert!(matches!(why, NotCorrected::Range(CorrectionError::Temperature { .. })), "{why}");
}

#[test]
fn readings_that_cannot_be_are_refused_by_name() {
    let cases: [(PointReadings, Channel); 6] = [
        (PointReadings { speed_rpm: 0.0, ..POINT }, Channel::Speed),
        (PointReadings { barometer_kpa: f64::NAN, ..POINT }, Channel::Barometer),
        (PointReadings { relative_humidity: Some(55.0), ..POINT }, Channel::Humidity),
        (PointReadings { air_temperature_c: f64::INFINITY, ..POINT }, Channel::AirTemperature),
        (
            PointReadings { fuel: Some(FuelReading::Mass { mass_g: 1.0, time_s: 0.0 }), ..POINT },
            Channel::Fuel,
        ),
        (PointReadings { load: Load::Torque { torque_nm: f64::NAN }, ..POINT }, Channel::Torque),
    ];
    for (readings, wanted) in cases {
        match reduce_point(&readings) {
            Err(PointError::Reading { channel, .. }) => assert_eq!(channel, wanted),
            other => panic!("{wanted:?}: {other:?}"),
        }
    }
    let uncertainty = Some(PointUncertainty { speed_rpm: -1.0, ..Default::default() });
    let negative = reduce_point(&PointReadings { uncertainty, ..POINT });
    assert!(matches!(negative, Err(PointError::Uncertainty { channel: Channel::Speed, .. })));
}

#[test]
fn the_uncertainty_agrees_with_sensitivities_written_out_by_hand() {
    let point = reduce_point(&POINT).unwrap();
    let corrected = point.corrected.unwrap();
    let u = POINT.uncertainty.unwrap();
    let saturation = |t_k: f64| saturation_pressure_if97_kpa(t_k).unwrap();
    let dry_kpa = 98.2 - 0.55 * saturation(301.15);
    // d(ln α)/dp = −1.2/p_s; temperature acts also through the vapour: dp_s/dT = −φ dp_sat/dT.
    let slope = (saturation(301.16) - saturation(301.14)) / 0.02;
    let terms = [
        u.load_n / 180.0,
        u.arm_m / 0.358,
        u.speed_rpm / 2400.0,
        u.barometer_kpa * -1.2 / dry_kpa,
        u.relative_humidity * 1.2 * saturation(301.15) / dry_kpa,
        u.air_temperature_k * (0.6 / 301.15 + 1.2 * 0.55 * slope / dry_kpa),
    ];
    let by_hand = corrected.power_kw * terms.iter().map(|t| t * t).sum::<f64>().sqrt();
    let got = point.corrected_power_uncertainty_kw.unwrap();
    // The differences of the model over ±u leave out only third derivatives.
    assert!((got / by_hand - 1.0).abs() < 1e-4, "{got} {by_hand}");
    // Fuel does not enter the spark-ignition factor.
    let fuel = point.contributions.iter().find(|c| c.channel == Channel::Fuel).unwrap();
    assert_eq!(fuel.power_kw, 0.0);
}

#[test]
fn the_uncertainty_agrees_with_drawing_the_readings_at_random() {
    let u = POINT.uncertainty.unwrap();
    let point = reduce_point(&PointReadings { standard: COMPRESSION, ..POINT }).unwrap();
    let got = point.corrected_power_uncertainty_kw.unwrap();
    let mut source = Xoshiro256PlusPlus::seed_from_u64(20_261_125);
    // Sum of twelve uniforms less six: mean 0, standard deviation 1.
    let mut normal = || (0..12).map(|_| source.random::<f64>()).sum::<f64>() - 6.0;
    let n = 20_000;
    let mut powers = Vec::with_capacity(n);
    for _ in 0..n {
        let load_n = 180.0 + u.load_n * normal();
        let arm_m = 0.358 + u.arm_m * normal();
        let drawn = PointReadings {
            load: Load::Brake(BrakeLoad { load_n, arm_m }),
            speed_rpm: 2400.0 + u.speed_rpm * normal(),
            air_temperature_c: 28.0 + u.air_temperature_k * normal(),
            barometer_kpa: 98.2 + u.barometer_kpa * normal(),
            relative_humidity: Some(0.55 + u.relative_humidity * normal()),
            fuel: Some(FuelReading::Mass {
                mass_g: 70.0 * (1.0 + u.fuel_rate_relative * normal()),
                time_s: 60.0,
            }),
            standard: COMPRESSION,
            ..POINT
        };
        powers.push(reduce_point(&drawn).unwrap().corrected.unwrap().power_kw);
    }
    let mean = powers.iter().sum::<f64>() / n as f64;
    let sd = (powers.iter().map(|p| (p - mean).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt();
    // The standard error of a standard deviation of 20 000 values is 0.5 %; four of them.
    assert!((sd / got - 1.0).abs() < 0.02, "seed 20261125: drawn {sd}, propagated {got}");
}

#[test]
fn industrial_engines_are_brought_to_their_reference_by_the_site_adjustment() {
    let standard = Standard::Iso3046 {
        exponents: SiteExponents::NATURAL,
        mechanical_efficiency: 0.8,
        coolant_c: 25.0,
    };
    // Outside case of ISO 3046-1 (formula from memory): 70 kPa, 300 K, 50 % give 0.63036902 of the
    // reference power, and 1.0873321 of its consumption.
    let readings = PointReadings {
        standard,
        barometer_kpa: 70.0,
        air_temperature_c: 26.85,
        relative_humidity: Some(0.5),
        ..POINT
    };
    let point = reduce_point(&readings).unwrap();
    let corrected = point.corrected.unwrap();
    assert!((point.observed.power_kw / corrected.power_kw - 0.630_369_02).abs() < 1e-7);
    let (at_site, at_reference) = (point.observed.bsfc_g_kwh, corrected.bsfc_g_kwh);
    assert!((at_site.unwrap() / at_reference.unwrap() - 1.087_332_1).abs() < 1e-6);
}

proptest! {
    #[test]
    fn power_is_in_proportion_to_load_and_never_panics(
        load_n in 1.0..500.0f64, speed_rpm in 500.0..6000.0f64, p in 70.0..110.0f64,
        t in -20.0..70.0f64, share in 0.0..1.0f64, kind in 0..5usize,
    ) {
        let exponents = SiteExponents::TURBO;
        let standard = [
            Standard::Iso1585Spark,
            COMPRESSION,
            Standard::J1349,
            Standard::Din70020,
            Standard::Iso3046 { exponents, mechanical_efficiency: 0.8, coolant_c: 25.0 },
        ][kind];
        let readings = PointReadings {
            load: Load::Brake(BrakeLoad { load_n, arm_m: 0.3 }),
            speed_rpm,
            barometer_kpa: p,
            air_temperature_c: t,
            relative_humidity: Some(share),
            standard,
            ..POINT
        };
        let once = reduce_point(&readings).unwrap();
        let twice = reduce_point(&PointReadings {
            load: Load::Brake(BrakeLoad { load_n: 2.0 * load_n, arm_m: 0.3 }),
            ..readings
        }).unwrap();
        prop_assert!((twice.observed.power_kw / once.observed.power_kw - 2.0).abs() < 1e-12);
        prop_assert_eq!(once.factor, twice.factor);
        prop_assert_eq!(once.corrected.is_some(), once.not_corrected.is_none());
        let torque_nm = load_n * 0.3;
        let power = power_kw(Turning { torque_nm, speed_rpm });
        prop_assert!((once.observed.power_kw - power).abs() < 1e-9);
    }

    #[test]
    fn any_numbers_are_reduced_or_refused_without_panic(
        a in any::<f64>(), b in any::<f64>(), c in any::<f64>(), d in any::<f64>(),
    ) {
        let _ = reduce_point(&PointReadings {
            load: Load::Torque { torque_nm: a },
            speed_rpm: b,
            barometer_kpa: c,
            air_temperature_c: d,
            ..POINT
        });
    }
}
