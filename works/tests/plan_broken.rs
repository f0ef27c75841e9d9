//! Broken works files: every slip is named with its place and its mend, whole.

use std::fmt::Write as _;

use bedplate_works::plan::SMALL_WORKS;
use bedplate_works::plan::read::{PlanFault, parse};
use proptest::prelude::*;

const FULL: &str = include_str!("plan/full.toml");
const BROKEN: &str = include_str!("plan/broken.txt");

/// A slip in `full.toml` and what the reader says of it.
struct Case {
    slip: &'static str,
    find: &'static str,
    becomes: &'static str,
    says: &'static str,
}

fn cases() -> Vec<Case> {
    let case = |text: &'static str| {
        let (slip, rest) = text.split_once('\n').expect("a case begins with its slip");
        let (find, rest) = rest.split_once("\n-- becomes\n").expect("what is changed");
        let (becomes, says) = rest.split_once("\n-- says\n").expect("what it becomes");
        Case { slip, find, becomes, says: says.trim_end() }
    };
    BROKEN.split("\n== ").skip(1).map(case).collect()
}

/// What is asked of every refusal, whatever was wrong.
fn check_faults(fault: &PlanFault, text: &str) {
    assert!(!fault.faults.is_empty());
    for f in &fault.faults {
        let at = f.to_string();
        assert_eq!(fault.text_of(f), text, "{at}");
        assert!(f.span.start <= f.span.end && f.span.end <= text.len(), "{at}: {:?}", f.span);
        assert!(text.is_char_boundary(f.span.start) && text.is_char_boundary(f.span.end), "{at}");
        let line = text.split('\n').nth(f.line - 1).expect("the line is in the file");
        assert!(1 <= f.column && f.column <= line.chars().count() + 1, "{at}: {line:?}");
        let before: usize = text.split('\n').take(f.line - 1).map(|l| l.len() + 1).sum();
        let in_line: usize = line.chars().take(f.column - 1).map(char::len_utf8).sum();
        let mark = if f.line == 1 && text.starts_with('\u{feff}') { 3 } else { 0 };
        assert!([before + in_line, before + in_line + mark].contains(&f.span.start), "{at}");
        assert!(!f.what.is_empty() && !f.mend.is_empty(), "{at}");
        assert!(!at.chars().any(char::is_control), "{at:?}");
    }
}

#[test]
fn every_slip_is_named_with_its_place_and_its_mend() {
    let cases = cases();
    assert!(cases.len() >= 120, "{} cases", cases.len());
    let mut differing = String::new();
    for Case { slip, find, becomes, says } in cases {
        assert_eq!(FULL.matches(find).count(), 1, "{slip} {find}");
        let text = FULL.replacen(find, becomes, 1);
        let fault = parse("full.toml", &text).expect_err(slip);
        check_faults(&fault, &text);
        if fault.to_string() != says {
            let _ = writeln!(differing, "{slip}\nwanted {says}\nfound  {fault}\n");
        }
    }
    assert!(differing.is_empty(), "{differing}");
}

#[test]
fn a_text_of_nothing_is_told_how_to_begin() {
    for text in ["", "\n", "\u{feff}", "# a works\n"] {
        let fault = parse("works.toml", text).expect_err("nothing is no works");
        check_faults(&fault, text);
        assert_eq!(
            fault.to_string(),
            "works.toml:1:1: the works file has no [works]; begin it with [works], a name and a \
             day_rate"
        );
    }
}

#[test]
fn a_value_of_many_lines_does_not_break_the_message() {
    let text = FULL.replacen("\"metric\"", "\"\"\"metric\nand\tinch\"\"\"", 1);
    let fault = parse("full.toml", &text).expect_err("no such units");
    check_faults(&fault, &text);
    let units = "full.toml:3:9: units = \"metric and inch\" is not known here; write one of \
                 \"metric\" or \"inch\"";
    assert_eq!(fault.to_string(), units);
}

#[test]
fn a_deep_or_endless_text_is_refused_in_a_moment() {
    let dotted = format!("{} = 1\n", vec!["a"; 50_000].join("."));
    let lists = format!("a = {}{}\n", "[".repeat(50_000), "]".repeat(50_000));
    let tables = format!("a = {}{}\n", "{b=".repeat(50_000), "}".repeat(50_000));
    let open = format!("a = \"{}\n", "x".repeat(1_000_000));
    let heading = format!("[{}]\n", vec!["a"; 50_000].join("."));
    for text in [dotted, lists, tables, open, heading] {
        let fault = parse("works.toml", &text).expect_err("no works file");
        check_faults(&fault, &text);
    }
}

/// One slip of the hand, anywhere in the text.
#[derive(Debug, Clone)]
enum Slip {
    Replace(prop::sample::Index, u8),
    Insert(prop::sample::Index, Vec<u8>),
    Delete(prop::sample::Index, usize),
    Repeat(prop::sample::Index, usize),
    Swap(prop::sample::Index, prop::sample::Index),
}

fn slip() -> impl Strategy<Value = Slip> {
    let place = any::<prop::sample::Index>;
    let telling =
        prop::sample::select(b"\"'[]{}=#.,\n\r\t -+_0123456789eE%\\\xc2\xb5\xff\0".to_vec());
    prop_oneof![
        (place(), any::<u8>()).prop_map(|(at, byte)| Slip::Replace(at, byte)),
        (place(), telling.clone()).prop_map(|(at, byte)| Slip::Replace(at, byte)),
        (place(), prop::collection::vec(telling, 1..6)).prop_map(|(at, b)| Slip::Insert(at, b)),
        (place(), 1usize..60).prop_map(|(at, n)| Slip::Delete(at, n)),
        (place(), 1usize..200).prop_map(|(at, n)| Slip::Repeat(at, n)),
        (place(), place()).prop_map(|(a, b)| Slip::Swap(a, b)),
    ]
}

fn slipped(text: &str, slips: &[Slip]) -> String {
    let mut bytes = text.as_bytes().to_vec();
    for slip in slips {
        let length = bytes.len();
        match slip {
            Slip::Replace(at, byte) => bytes[at.index(length)] = *byte,
            Slip::Insert(at, more) => {
                let at = at.index(length);
                bytes.splice(at..at, more.iter().copied());
            }
            Slip::Delete(at, n) => {
                let at = at.index(length);
                // One byte stays, so that there is a place for the next slip.
                bytes.drain(at.max(1)..(at + n).min(length).max(at.max(1)));
            }
            Slip::Repeat(at, n) => {
                let at = at.index(length);
                let again = bytes[at..(at + n).min(length)].to_vec();
                bytes.splice(at..at, again);
            }
            Slip::Swap(a, b) => bytes.swap(a.index(length), b.index(length)),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn any_slip_gives_a_plan_or_faults_in_the_file(
        full in any::<bool>(), slips in prop::collection::vec(slip(), 1..6)
    ) {
        let text = slipped(if full { FULL } else { SMALL_WORKS }, &slips);
        match parse("works.toml", &text) {
            Ok(plan) => {
                prop_assert_eq!(&plan.text, &text);
                for c in plan.characteristics.values() {
                    prop_assert!(plan.gauges.contains_key(&c.gauge));
                    if let (Some(lower), Some(upper)) = (c.lower, c.upper) {
                        prop_assert!(lower.si() < upper.si());
                    }
                }
                prop_assert!(bedplate_works::plan::json::to_json(&plan).is_object());
            }
            Err(fault) => check_faults(&fault, &text),
        }
    }
}
