//! The matching sheets, driven by keys: pieces held and freed, sets changed, tickets printed.

use thirtyfour::common::print::{PrintMargins, PrintPage, PrintParameters};
use thirtyfour::prelude::*;

use super::Browser;
use super::kits::{FITTER, kits};

// The keys as WebDriver writes them.
const ENTER: &str = "\u{e007}";
const RIGHT: &str = "\u{e014}";

/// Puts the focus on an element and types into it, as one who never touches the mouse.
async fn keys(b: &Browser, css: &str, typed: &str) {
    let element = b.find(css).await;
    element.focus().await.unwrap();
    element.send_keys(typed).await.unwrap();
}

/// The gross figures: how many sets are proposed, and the first one made.
fn made(b: &Browser) -> String {
    let before = b.works.json("/api/matching");
    assert!(before["found"].as_u64().unwrap() > 0, "{}", before["left_blocks"]);
    let (status, answer) =
        b.works.post("/api/sets", &serde_json::json!({ "by": FITTER, "engine_type": "QBN" }));
    assert_eq!(status, 200, "{answer}");
    answer["sets"][0].as_str().unwrap().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_is_held_and_freed_by_keys() {
    let b = Browser::at(kits(4, 2)).await;
    b.stand_as(FITTER).await;
    b.open("/matching/store").await;
    b.wait_for("#finding", "lie ready").await;
    keys(&b, "details.form summary", ENTER).await;
    keys(&b, ".say-of [name=piece]", "P00003").await;
    keys(&b, ".say-of [name=reason]", &format!("scratch on the skirt{ENTER}")).await;
    b.wait_for(".said", "P00003 held").await;
    b.wait_for("#finding", "1 are held").await;
    let sheet = b.works.json("/api/matching");
    for set in sheet["proposed"].as_array().unwrap() {
        let places = set["places"].as_array().unwrap();
        assert!(places.iter().all(|p| p["piston"] != "P00003"), "{set}");
    }
    keys(&b, ".free [name=reason]", &format!("polished out{ENTER}")).await;
    b.wait_for(".said", "Nothing is held").await;
    assert!(b.violations().await.is_empty(), "{:?}", b.violations().await);
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn shells_are_counted_by_keys() {
    let b = Browser::at(kits(4, 1)).await;
    b.stand_as(FITTER).await;
    b.open("/matching/store").await;
    keys(&b, ".count [name=pieces]", &format!("17{ENTER}")).await;
    b.wait_for(".stock tbody tr td:nth-child(4)", "17").await;
    assert_eq!(b.works.json("/api/matching/store")["stock"][0]["left"], 17);
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_set_is_changed_first_shown_then_done() {
    let b = Browser::at(kits(4, 2)).await;
    b.stand_as(FITTER).await;
    let set = made(&b);
    let before = b.works.json(&format!("/api/matching/set/{set}"));
    let out = before["set"]["places"][1]["piston"].as_str().unwrap().to_owned();
    b.open(&format!("/matching/set/{set}")).await;
    // From "fitted, stays" one step on to "comes out".
    keys(&b, "[name='at.piston/2']:checked", RIGHT).await;
    keys(&b, ".changing [name=reason]", &format!("dropped{ENTER}")).await;
    b.wait_for(".would", &out).await;
    let shown = b.works.json(&format!("/api/matching/set/{set}"));
    assert_eq!(shown["set"]["places"], before["set"]["places"], "nothing is recorded yet");
    let into = b.find(".would td b").await.text().await.unwrap();
    assert_ne!(into, out);
    assert!(b.violations().await.is_empty(), "{:?}", b.violations().await);
    keys(&b, ".would button", ENTER).await;
    b.wait_for("#finding", "lies in its tray").await;
    b.open(&format!("/ticket/{set}")).await;
    let ticket = b.find("main").await.text().await.unwrap();
    assert!(ticket.contains(&into) && !ticket.contains(&out), "{ticket}");
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_that_cannot_be_is_said_on_the_page() {
    let b = Browser::at(kits(4, 1)).await;
    b.stand_as(FITTER).await;
    let set = made(&b);
    b.open(&format!("/matching/set/{set}")).await;
    keys(&b, "[name='at.piston/2']:checked", RIGHT).await;
    keys(&b, ".changing [name=with]", "P99999").await;
    keys(&b, ".changing [name=reason]", &format!("dropped{ENTER}")).await;
    b.wait_for("#finding .red", "P99999").await;
    // What was said is still there.
    let with = b.find(".changing [name=with]").await;
    assert_eq!(with.value().await.unwrap().unwrap(), "P99999");
    b.page.quit().await.unwrap();
}

/// Pages of a printed document.
fn pages(pdf: &[u8]) -> usize {
    let text = String::from_utf8_lossy(pdf);
    text.matches("/Type /Page").count() - text.matches("/Type /Pages").count()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_ticket_of_any_engine_is_one_page_with_every_piece_on_it() {
    for n in [1, 4, 6, 8, 12, 16] {
        let b = Browser::at(kits(n, 1)).await;
        b.stand_as(FITTER).await;
        let set = made(&b);
        for path in [format!("/matching?set={set}"), format!("/ticket/{set}")] {
            b.open(&path).await;
            let found = b.violations().await;
            assert!(found.is_empty(), "{path} of {n} cylinders: {found:?}");
        }
        let ticket = b.find("main").await.text().await.unwrap();
        let view = b.works.json(&format!("/api/ticket/{set}"));
        for piece in view["set"]["pieces"].as_array().unwrap() {
            assert!(ticket.contains(piece["piece"].as_str().unwrap()), "{piece} in {ticket}");
        }
        // Set and block, and each numbered piece: piston, pin and rod of each place, crankshaft.
        let codes = b.page.find_all(By::Css("svg.code")).await.unwrap().len();
        assert_eq!(codes, 2 + 3 * n + 1, "codes of {n} cylinders");
        let a5 = PrintParameters {
            page: PrintPage { width: 21.0, height: 14.8 },
            margin: PrintMargins { top: 0.6, bottom: 0.6, left: 0.6, right: 0.6 },
            shrink_to_fit: false,
            ..PrintParameters::default()
        };
        let paper = b.page.print_page(a5).await.unwrap();
        assert_eq!(pages(&paper), 1, "the ticket of {n} cylinders");
        b.page.quit().await.unwrap();
    }
}
