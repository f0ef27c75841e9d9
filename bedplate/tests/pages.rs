//! The pages, driven in headless Chromium as a person would: with clicks, keys and files.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

#[path = "pages/kits.rs"]
mod kits;
#[path = "pages/matching.rs"]
mod matching;
mod served;

use std::time::{Duration, Instant};

use served::{Driver, Served};
use thirtyfour::prelude::*;

/// A browser at a works.
struct Browser {
    page: WebDriver,
    works: Served,
    _profile: tempfile::TempDir,
    _driver: Driver,
}

impl Browser {
    async fn at(works: Served) -> Self {
        Self::with(works, None).await
    }

    /// A browser whose screen is a narrow phone's: 320 CSS pixels wide.
    async fn phone(works: Served) -> Self {
        let screen = serde_json::json!({
            "deviceMetrics": { "width": 320, "height": 700, "pixelRatio": 1, "touch": true }
        });
        Self::with(works, Some(screen)).await
    }

    async fn with(works: Served, screen: Option<serde_json::Value>) -> Self {
        let driver = Driver::start();
        let profile = tempfile::tempdir().unwrap();
        let mut wanted = DesiredCapabilities::chrome();
        for argument in [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--disable-dev-shm-usage",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--window-size=1440,900",
        ] {
            wanted.add_arg(argument).unwrap();
        }
        wanted.add_arg(&format!("--user-data-dir={}", profile.path().display())).unwrap();
        if let Some(screen) = screen {
            wanted.add_experimental_option("mobileEmulation", screen).unwrap();
        }
        let page = WebDriver::new(&driver.address, wanted).await.unwrap();
        page.set_script_timeout(Duration::from_secs(60)).await.unwrap();
        Self { page, works, _profile: profile, _driver: driver }
    }

    async fn open(&self, path: &str) {
        self.page.goto(format!("{}{path}", self.works.address)).await.unwrap();
    }

    async fn find(&self, css: &str) -> WebElement {
        match self.page.find(By::Css(css)).await {
            Ok(found) => found,
            Err(e) => panic!("no {css} at {}: {e}", self.page.current_url().await.unwrap()),
        }
    }

    async fn finding(&self) -> String {
        self.find("#finding").await.text().await.unwrap()
    }

    /// Waits until `css` holds a text with `wanted` in it.
    async fn wait_for(&self, css: &str, wanted: &str) {
        let began = Instant::now();
        loop {
            let found = match self.page.find(By::Css(css)).await {
                Ok(element) => element.text().await.unwrap_or_default(),
                Err(_) => String::new(),
            };
            if found.contains(wanted) {
                return;
            }
            assert!(
                began.elapsed() < Duration::from_secs(20),
                "{css} says {found:?}, not {wanted}"
            );
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }

    async fn script(&self, script: &str) -> serde_json::Value {
        self.page.execute(script, vec![]).await.unwrap().json().clone()
    }

    /// Stands at this place as a person of the works.
    async fn stand_as(&self, person: &str) {
        self.open("/people").await;
        let who = format!(
            "const f=document.createElement('form');f.method='post';f.action='/who';\
             const i=document.createElement('input');i.name='who';i.value='{person}';\
             f.append(i);document.body.append(f);f.submit();"
        );
        self.script(&who).await;
        self.wait_for("footer .title", "Shift").await;
        tokio::time::sleep(Duration::from_millis(300)).await;
    }

    /// What the accessibility rules engine finds on the page, one line each.
    async fn violations(&self) -> Vec<String> {
        const AXE: &str = include_str!("axe/axe.min.js");
        const RUN: &str = "const done=arguments[arguments.length-1];\
            axe.run(document,{resultTypes:['violations']}).then(r=>done(r.violations.map(v=>\
            v.id+': '+v.nodes.slice(0,3).map(n=>n.target.join(' ')+' '+n.failureSummary)\
            .join(' | '))))\
            .catch(e=>done(['axe failed: '+e]));";
        self.page.execute(AXE, vec![]).await.unwrap();
        let found = self.page.execute_async(RUN, vec![]).await.unwrap();
        found.convert().unwrap()
    }

    async fn lamp(&self, lamp: &str) {
        self.script(&format!("document.cookie='lamp={lamp};path=/'")).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_newcomer_reaches_a_record_and_the_person_behind_a_figure() {
    let b = Browser::at(Served::demo()).await;
    b.open("/").await;
    let first = b.find("a[href^='/record/']").await;
    first.click().await.unwrap();
    b.wait_for("#finding", "behind its number, unbroken").await;
    let figure = b.find("main a[href^='/reading/']").await;
    let address = figure.attr("href").await.unwrap().unwrap();
    b.open(&address).await;
    let number = address.rsplit('/').next().unwrap().to_owned();
    let reading = b.works.json(&format!("/api/reading/{number}"));
    let body = b.find("main").await.text().await.unwrap();
    let plan = b.works.json("/api/plan");
    let gauge = reading["gauge"].as_str().unwrap();
    let person = reading["person"].as_str().unwrap();
    let signed = plan["person"][person]["name"].as_str().unwrap_or(person);
    let title = plan["gauge"][gauge]["title"].as_str().unwrap_or(gauge);
    assert!(body.contains(signed), "{signed} is not on the page: {body}");
    assert!(body.contains(gauge) || body.contains(title), "{gauge} is not on the page: {body}");
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_is_imported_and_the_bench_updates_by_itself() {
    let b = Browser::at(Served::small()).await;
    let plan = b.works.json("/api/plan");
    let person = plan["person"].as_object().unwrap().keys().next().unwrap().clone();
    let (block, characteristic) = ("B0001", "block.bore");
    b.stand_as(&person).await;
    let file = b.works.folder.join("bores.csv");
    let rows = format!(
        "piece,characteristic,position,value\n{block},{characteristic},1,68.0061 mm\n\
         {block},{characteristic},2,sixty-eight\n"
    );
    std::fs::write(&file, rows).unwrap();
    b.open("/import").await;
    b.find("input[type=file]").await.send_keys(file.display().to_string()).await.unwrap();
    b.find("form[enctype='multipart/form-data'] button[type=submit]").await.click().await.unwrap();
    b.wait_for("#finding", "1 refused").await;
    let page = b.find("main").await.text().await.unwrap();
    assert!(page.contains("not a number"), "{page}");

    b.open(&format!("/bench?characteristic={characteristic}&piece={block}")).await;
    b.wait_for("main", "+6.1").await;
    // The page holds no focus with text in it, so that it renews itself at once.
    let row = serde_json::json!({
        "by": person, "characteristic": characteristic, "piece": block, "position": "2",
        "value": "68.0079 mm"
    });
    let (status, answer) = b.works.post("/api/readings", &row);
    assert_eq!(status, 200, "{answer}");
    b.wait_for("main", "+7.9").await;
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn sets_are_made_and_a_ticket_is_printed() {
    let b = Browser::at(Served::demo()).await;
    b.stand_as("j-quill").await;
    b.open("/matching").await;
    let before = b.works.json("/api/matching");
    let in_tray = before["in_tray"].as_array().unwrap().len();
    let found = before["found"].as_u64().unwrap();
    assert!(found > 0 && found <= before["bound"].as_u64().unwrap());
    b.find("form[action^='/api/sets'] button[type=submit]").await.click().await.unwrap();
    b.wait_for("#finding", "engine").await;
    let after = b.works.json("/api/matching");
    let made = after["in_tray"].as_array().unwrap();
    assert!(made.len() > in_tray, "no set was made");
    let set = made.last().unwrap();
    b.open(&format!("/ticket/{}", set["set"].as_str().unwrap())).await;
    let ticket = b.find("body").await.text().await.unwrap();
    for place in set["places"].as_array().unwrap() {
        assert!(ticket.contains(place["piston"].as_str().unwrap()), "{ticket}");
    }
    assert!(b.page.find(By::Css("svg")).await.is_ok(), "a ticket bears a code to scan");
    let paper = b.page.print_page_base64(Default::default()).await.unwrap();
    assert!(paper.len() > 1_000);
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn an_engine_is_passed_and_its_record_opened() {
    let b = Browser::at(Served::demo()).await;
    b.stand_as("e-stroud").await;
    let bed = b.works.json("/api/bed");
    let waiting = bed["waiting"].as_array().unwrap().clone();
    let passable = waiting
        .iter()
        .filter_map(|e| e.as_str())
        .find(|e| {
            let sheet = b.works.json(&format!("/api/bed?engine={e}"));
            sheet["may_pass"].get("Ok").is_some()
        })
        .expect("the demo holds an engine that ran its schedule")
        .to_owned();
    b.open(&format!("/bed?engine={passable}")).await;
    let form = b.find("form[action*='/pass']").await;
    if let Ok(note) = form.find(By::Css("[name=note]")).await {
        note.send_keys("passed by the engineer after a second run").await.unwrap();
    }
    form.find(By::Css("button")).await.unwrap().click().await.unwrap();
    tokio::time::sleep(Duration::from_millis(500)).await;
    b.open(&format!("/record/{passable}")).await;
    b.wait_for("main", "Passed").await;
    assert!(b.finding().await.contains("unbroken"));
    let record = b.works.json(&format!("/api/record/{passable}"));
    assert_eq!(record["state"], "passed");
    b.page.quit().await.unwrap();
}

/// Every sheet of a works, for the walks below.
fn sheets(works: &Served) -> Vec<String> {
    let mut paths: Vec<String> = [
        "/",
        "/wall",
        "/import",
        "/bench",
        "/characteristic",
        "/characteristics",
        "/matching",
        "/matching/store",
        "/matching/aim",
        "/matching/kitting",
        "/balance",
        "/line",
        "/bed",
        "/build",
        "/record",
        "/trace",
        "/ledger",
        "/people",
        "/handbook",
        "/handbook/judge",
        "/handbook/hole-plan",
        "/no-such-sheet",
    ]
    .map(str::to_owned)
    .to_vec();
    let newest = works.json("/api/works")["newest"].clone();
    if let Some(engine) = newest.as_array().and_then(|n| n.first()).and_then(|e| e.as_str()) {
        paths.push(format!("/record/{engine}"));
        paths.push(format!("/trace?engine={engine}"));
        paths.push(format!("/build?engine={engine}"));
        paths.push(format!("/bed?engine={engine}"));
        paths.push("/reading/100000".to_owned());
        let set = works.json("/api/matching")["in_tray"][0]["set"].clone();
        let set = set.as_str();
        paths.extend(set.map(|s| format!("/ticket/{s}")));
        paths.extend(set.map(|s| format!("/matching/set/{s}")));
    }
    paths
}

async fn walk(b: &Browser) {
    let mut faults = vec![];
    for path in sheets(&b.works) {
        for lamp in ["day", "night"] {
            b.lamp(lamp).await;
            b.open(&path).await;
            for violation in b.violations().await {
                faults.push(format!("{path} by {lamp}: {violation}"));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_accessibility_rules_find_nothing_on_any_sheet() {
    let b = Browser::at(Served::demo()).await;
    b.open("/").await;
    walk(&b).await;
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_works_says_what_to_do_on_every_sheet() {
    let b = Browser::at(Served::small()).await;
    b.open("/").await;
    walk(&b).await;
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn no_sheet_scrolls_sideways_on_a_narrow_phone() {
    let b = Browser::phone(Served::demo()).await;
    let mut faults = vec![];
    for path in sheets(&b.works) {
        b.open(&path).await;
        let wide = b.script("return document.documentElement.scrollWidth").await;
        if wide.as_f64().is_none_or(|w| w > 320.0) {
            faults.push(format!("{path} is {wide} px wide"));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    b.page.quit().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn sheets_open_by_keys_alone() {
    let b = Browser::at(Served::demo()).await;
    b.open("/").await;
    let body = b.find("body").await;
    body.send_keys(Key::Alt + "4").await.unwrap();
    b.wait_for("footer .title", "Matching").await;
    b.find("body").await.send_keys("n").await.unwrap();
    let theme = b.script("return document.documentElement.dataset.theme").await;
    assert_eq!(theme, "night");
    // Tab reaches something visible first of all, and it shows that it is reached.
    b.find("body").await.send_keys(Key::Tab + "").await.unwrap();
    let outline = b.script("return getComputedStyle(document.activeElement).outlineStyle").await;
    assert_ne!(outline, "none");
    b.page.quit().await.unwrap();
}
