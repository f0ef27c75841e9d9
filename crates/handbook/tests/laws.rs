//! Laws of every calculation in the list: whatever is in range is answered or refused, in finite
//! time, without a panic, and every answer can be written.

use std::sync::{Arc, Mutex, mpsc};
use std::time::{Duration, Instant};

use bedplate_gauge::calculation::{Argument, Calculation, Given, Input, Shape};
use bedplate_handbook::answer::run;
use bedplate_handbook::given::{from_texts, no_files, to_texts};
use bedplate_handbook::list::all;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestError, TestRunner};

/// Random inputs tried for each calculation.
const CASES: u32 = 200;

/// After this time a slow calculation is tried no more.
const ENOUGH: Duration = Duration::from_secs(15);

/// After this time, which leaves more than a minute for the last run, there is no end of it.
const PATIENCE: Duration = Duration::from_secs(90);

/// A number in the range of `input`, at its bounds now and then, and far out where it is open.
fn in_range(input: &Input) -> BoxedStrategy<f64> {
    let (lower, upper) = (input.lower, input.upper);
    let low = lower.map_or(f64::NEG_INFINITY, |(bound, _)| bound);
    let high = upper.map_or(f64::INFINITY, |(bound, _)| bound);
    let size = prop_oneof![
        8 => (-4.0..4.0_f64).prop_map(|power| 10_f64.powf(power)),
        2 => (-30.0..30.0_f64).prop_map(|power| 10_f64.powf(power)),
        1 => Just(f64::MAX),
        1 => Just(f64::MIN_POSITIVE),
    ];
    let value = match (low.is_finite(), high.is_finite()) {
        (true, true) => (0.0..=1.0_f64).prop_map(move |t| low + t * (high - low)).boxed(),
        (true, false) => size.prop_map(move |x| low + x).boxed(),
        (false, true) => size.prop_map(move |x| high - x).boxed(),
        (false, false) => {
            (size, any::<bool>()).prop_map(|(x, minus)| if minus { -x } else { x }).boxed()
        }
    };
    let bounds: Vec<f64> =
        [lower, upper].into_iter().flatten().filter(|b| b.1).map(|b| b.0).chain([0.0]).collect();
    let edges = prop::sample::select(bounds);
    let holds = move |x: &f64| {
        lower.is_none_or(|(b, itself)| if itself { b <= *x } else { b < *x })
            && upper.is_none_or(|(b, itself)| if itself { *x <= b } else { *x < b })
    };
    prop_oneof![6 => value, 1 => edges].prop_filter("in range", holds).boxed()
}

fn argument(input: &Input) -> BoxedStrategy<Argument> {
    let fewest = usize::from(input.default != Some(""));
    match input.shape {
        Shape::Quantity => in_range(input).prop_map(Argument::Number).boxed(),
        Shape::Count => {
            let bound = |b: Option<(f64, bool)>, otherwise| b.map_or(otherwise, |(b, _)| b);
            let low = bound(input.lower, 0.0).max(0.0);
            let high = bound(input.upper, 9e15).max(low);
            let any = (0.0..=1.0_f64).prop_map(move |t| low + t.powi(16) * (high - low));
            let holds = {
                let range = bedplate_handbook::range::Range::of(input);
                move |n: &f64| range.holds(*n)
            };
            let whole = prop_oneof![8 => any, 1 => Just(low), 1 => Just(high)]
                .prop_map(f64::round)
                .prop_filter("in range", holds);
            whole.prop_map(|n| Argument::Count(n as u64)).boxed()
        }
        Shape::Choice(words) => prop::sample::select(words).prop_map(Argument::Word).boxed(),
        Shape::List => {
            let all_alike = (in_range(input), fewest..9_usize).prop_map(|(x, n)| vec![x; n]);
            let mixed = prop::collection::vec(in_range(input), fewest..40);
            prop_oneof![1 => all_alike, 5 => mixed].prop_map(Argument::List).boxed()
        }
        Shape::Table(columns) => {
            let cell = in_range(&Input::quantity("", "", ""));
            let plain = prop_oneof![2 => (0.0..200.0_f64).boxed(), 1 => cell];
            let row = prop::collection::vec(plain, columns.len());
            prop::collection::vec(row, fewest..20).prop_map(Argument::Table).boxed()
        }
    }
}

/// Runs one calculation on random inputs; the fault with the smallest inputs that show it.
fn try_out(calculation: &'static Calculation, last: &Mutex<String>) -> Result<(), String> {
    let strategies: Vec<_> = calculation.inputs.iter().map(argument).collect();
    let config = Config { cases: CASES, failure_persistence: None, ..Config::default() };
    let mut runner = TestRunner::new(config);
    let start = Instant::now();
    let result = runner.run(&strategies, |arguments| {
        if start.elapsed() > ENOUGH {
            return Ok(());
        }
        let names = calculation.inputs.iter().map(|input| input.name);
        let given = Given(names.zip(arguments).collect());
        *last.lock().expect("no one else holds it") = format!("{given:?}");
        if let Ok(outcome) = run(calculation, &given) {
            prop_assert!(!outcome.to_text().contains("NaN"));
            let place = |name| calculation.outputs.iter().position(|output| output.name == name);
            let places: Vec<_> = outcome.outputs.iter().map(|figure| place(figure.name)).collect();
            prop_assert!(places.iter().all(Option::is_some), "an output is not declared");
            prop_assert!(places.windows(2).all(|pair| pair[0] < pair[1]), "an output stands twice");
            prop_assert!(!outcome.to_json().to_string().contains("null"));
        }
        Ok(())
    });
    result.map_err(|error| match error {
        TestError::Fail(reason, inputs) => format!("{reason}, given {inputs:?}"),
        TestError::Abort(reason) => format!("{reason}"),
    })
}

#[test]
fn whatever_is_in_range_is_answered_or_refused() {
    let mut faults = Vec::new();
    for calculation in all() {
        let last = Arc::new(Mutex::new(String::new()));
        let (done, wait) = mpsc::channel();
        let noted = Arc::clone(&last);
        std::thread::spawn(move || done.send(try_out(calculation, &noted)));
        let fault = match wait.recv_timeout(PATIENCE) {
            Ok(Ok(())) => continue,
            Ok(Err(fault)) => fault,
            Err(_) => format!("no end of it, given {}", last.lock().expect("not poisoned")),
        };
        faults.push(format!("{}: {fault}", calculation.name));
    }
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}

#[test]
fn every_example_written_out_reads_back_as_the_same() {
    for c in all() {
        // An example that cannot be read is told by the guard of the list.
        let Ok(given) = from_texts(c, c.example, &no_files) else { continue };
        let written = to_texts(c, &given);
        let back = from_texts(c, &written, &no_files).unwrap_or_else(|p| panic!("{}: {p}", c.name));
        assert_eq!(back.0, given.0, "{}", c.name);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]
    #[test]
    fn any_text_for_any_input_is_read_or_refused(text in "\\PC{0,30}") {
        for c in all() {
            for input in c.inputs {
                let mut pairs: Vec<(&str, &str)> = c.example.to_vec();
                pairs.retain(|(name, _)| *name != input.name);
                pairs.push((input.name, text.as_str()));
                if let Ok(given) = from_texts(c, &pairs, &no_files) {
                    let _ = run(c, &given);
                }
            }
        }
    }
}
