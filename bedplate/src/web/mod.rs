//! The pages and the API: one server, one set of deeds.
//!
//! Every page is drawn from the same view that the API sends as JSON; this module knows HTTP and
//! HTML and no formula.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::from_fn;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use bedplate_works::works::Works;
use rust_embed::RustEmbed;
use tokio::sync::broadcast;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::timeout::TimeoutLayer;
use tower_http::trace::TraceLayer;

use self::asked::Asked;
use self::live::Note;
use self::told::Told;

pub(crate) mod answer;
pub(crate) mod asked;
mod deeds;
pub(crate) mod draw;
mod guard;
mod live;
mod pages;
pub(crate) mod sheet;
mod told;

/// The largest body taken at once. A file of readings is streamed to disk before it is read, so
/// this is what a works may send in one go, not what it may hold.
const BODY_MAX: usize = 512 * 1024 * 1024;
/// A request that is not answered by then is given up; importing a large file is the longest.
const ANSWER_TIME: Duration = Duration::from_secs(120);
/// Pieces of news held for a page that is slow to listen.
const NEWS_HELD: usize = 256;

/// What every handler has at hand.
#[derive(Clone)]
pub(crate) struct App {
    /// The works.
    pub(crate) works: Arc<Works>,
    /// What has been added, for pages that listen.
    pub(crate) news: broadcast::Sender<Note>,
}

impl App {
    /// The pages of a works.
    pub(crate) fn new(works: Works) -> Self {
        let (news, _) = broadcast::channel(NEWS_HELD);
        let teller = news.clone();
        works.listen(move |added| {
            // Nobody listening is no trouble.
            let _ = teller.send(Note::of(added));
        });
        Self { works: Arc::new(works), news }
    }
}

/// Everything the server answers.
pub(crate) fn router(app: App) -> Router {
    Router::new()
        .merge(looks())
        .merge(doings())
        .route("/assets/{*path}", get(asset))
        .route("/lamp", post(lamp))
        .route("/who", post(who))
        .route("/health", get(health))
        .fallback(not_here)
        .layer(TimeoutLayer::with_status_code(StatusCode::REQUEST_TIMEOUT, ANSWER_TIME))
        .route("/events", get(live::events))
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .layer(CompressionLayer::new())
        .layer(CatchPanicLayer::new())
        .layer(from_fn(guard::guard))
        .layer(TraceLayer::new_for_http())
        .with_state(app)
}

/// What only looks: each page, and the same figures under `/api`.
fn looks() -> Router<App> {
    use pages::{
        balance, bed, bench, build, characteristic, handbook, import, ledger, line, matching,
        people, reading, record, ticket, trace, works,
    };
    let mut router = Router::new();
    for prefix in ["", "/api"] {
        let at = |path: &str| format!("{prefix}{path}");
        router = router
            .route(&at("/bench"), get(bench::page))
            .route(&at("/characteristics"), get(characteristic::all))
            .route(&at("/characteristic"), get(characteristic::page))
            .route(&at("/matching"), get(matching::page))
            .route(&at("/matching/store"), get(matching::store::page))
            .route(&at("/matching/aim"), get(matching::aim::page))
            .route(&at("/matching/kitting"), get(matching::kitting::page))
            .route(&at("/matching/set/{set}"), get(matching::change::page))
            .route(&at("/ticket/{set}"), get(ticket::page))
            .route(&at("/balance"), get(balance::page))
            .route(&at("/line"), get(line::page))
            .route(&at("/bed"), get(bed::page))
            .route(&at("/build"), get(build::page))
            .route(&at("/record"), get(record::choose))
            .route(&at("/record/{engine}"), get(record::page))
            .route(&at("/reading/{number}"), get(reading::page))
            .route(&at("/trace"), get(trace::page))
            .route(&at("/ledger"), get(ledger::page))
            .route(&at("/people"), get(people::page));
    }
    router
        .route("/", get(works::page))
        .route("/api/works", get(works::page))
        .route("/wall", get(works::wall))
        .route("/import", get(import::page))
        .route("/handbook", get(handbook::list))
        .route("/handbook/{name}", get(handbook::page))
        .route("/api/calc", get(handbook::list))
        .route("/api/calc/{name}", get(handbook::describe).post(handbook::run))
        .route("/api/plan", get(ledger::plan))
        .route("/api/verify", get(ledger::verify))
}

/// What changes something.
fn doings() -> Router<App> {
    Router::new()
        .route("/api/readings", post(pages::import::readings))
        .route("/typed", post(pages::typed::take))
        .route("/api/import", post(pages::import::file))
        .route("/api/readings/{number}/withdraw", post(deeds::withdraw))
        .route("/api/pieces", post(deeds::enter_piece))
        .route("/api/pieces/{piece}/scrap", post(deeds::scrap))
        .route("/api/sets", post(deeds::make_sets))
        .route("/api/sets/{set}/break", post(deeds::break_set))
        .route("/api/kit", post(deeds::kit_block))
        .route("/api/sets/{set}/change", post(deeds::change_set))
        .route("/api/pieces/{piece}/said/{saying}", post(deeds::say_of_piece))
        .route("/api/store", post(deeds::say_in_store))
        .route("/api/stock", post(deeds::count_stock))
        .route("/api/balance/{piece}/drilled", post(deeds::drilled))
        .route("/api/engines", post(deeds::begin_engine))
        .route("/api/engines/{engine}/steps/{step}", post(deeds::step))
        .route("/api/engines/{engine}/run", post(deeds::test_run))
        .route("/api/engines/{engine}/pass", post(deeds::pass))
        .route("/api/engines/{engine}/hold", post(deeds::hold))
        .route("/api/gauges/{gauge}/checks", post(deeds::check_gauge))
        .route("/api/offsets", post(deeds::offset))
        .route("/api/tool-changes", post(deeds::change_tool))
}

#[derive(RustEmbed)]
#[folder = "assets"]
struct Assets;

async fn asset(Path(path): Path<String>) -> Response {
    let Some(file) = Assets::get(&path) else { return StatusCode::NOT_FOUND.into_response() };
    let kind = mime_guess::from_path(&path).first_or_octet_stream();
    let mut response = file.data.into_owned().into_response();
    let headers = response.headers_mut();
    if let Ok(kind) = HeaderValue::from_str(kind.as_ref()) {
        headers.insert(header::CONTENT_TYPE, kind);
    }
    // Fonts never change under one name; the rest may with the next edition of the program.
    let cache = if path.starts_with("fonts/") { "public, max-age=31536000" } else { "no-cache" };
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(cache));
    response
}

fn with_cookie(then: &str, cookie: &str) -> Response {
    let mut response = Redirect::to(then).into_response();
    if let Ok(value) = HeaderValue::from_str(cookie) {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    response
}

/// `POST /lamp`: from day to night and back, for browsers without script.
async fn lamp(asked: Asked, headers: axum::http::HeaderMap) -> Response {
    let other = match asked.lamp {
        sheet::Lamp::Day => "night",
        sheet::Lamp::Night => "day",
    };
    let back = headers
        .get(header::REFERER)
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.split("://").nth(1))
        .and_then(|v| v.find('/').map(|slash| v[slash..].to_owned()))
        .unwrap_or_else(|| "/".to_owned());
    with_cookie(&back, &format!("lamp={other}; Path=/; Max-Age=31536000; SameSite=Strict"))
}

/// `POST /who`: the person at this place.
async fn who(State(app): State<App>, asked: Asked, told: Told) -> Response {
    let who = told.text("who");
    if !who.is_empty() && !app.works.plan().people.contains_key(&who) {
        let what = format!("\"{who}\" is not one of the works' people");
        let trouble = crate::exit::Trouble::usage(what, "choose one of the list");
        return answer::trouble_answer(&app, &told.asked(asked), &trouble);
    }
    let value = sheet::percent(&who);
    let cookie = format!("who={value}; Path=/; Max-Age=43200; HttpOnly; SameSite=Strict");
    with_cookie(&told.then("/people"), &cookie)
}

async fn health(State(app): State<App>, asked: Asked) -> Response {
    let answer = answer::blocking(&app, |works| Ok(works.store().head()?)).await;
    match answer {
        Ok(head) => axum::Json(serde_json::json!({
            "state": "serving",
            "version": env!("CARGO_PKG_VERSION"),
            "groups": head.groups,
            "last_number": head.last_number,
            "seal": head.seal.to_string(),
        }))
        .into_response(),
        Err(trouble) => {
            let asked = Asked { form: asked::Form::Json, ..asked };
            answer::trouble_answer(&app, &asked, &trouble)
        }
    }
}

async fn not_here(State(app): State<App>, asked: Asked) -> Response {
    let what = format!("there is no sheet at {}", asked.address);
    let mut trouble = crate::exit::Trouble::usage(what, "the register of sheets lies at the foot");
    trouble.status = 404;
    answer::trouble_answer(&app, &asked, &trouble)
}
