//! Deeds that come over HTTP: the same handlers for forms of a page and for clients with JSON.

use std::str::FromStr;

use axum::extract::{Path, State};
use axum::response::Response;
use bedplate_engine::set::Search;
use bedplate_works::build::NewEngine;
use bedplate_works::deeds::{GaugeCheck, Offset, ToolChange};
use bedplate_works::sets::made::Change;
use bedplate_works::sets::wishes::Saying;
use bedplate_works::works::{HoleDrilled, PlaceFilled, Works, WorksError};
use serde::Serialize;
use serde_json::{Value, json};

use super::App;
use super::answer::{blocking, done, trouble_answer};
use super::asked::Asked;
use super::told::{Told, is_ours};
use crate::exit::Trouble;

/// Runs a deed told by a form or a client, and answers in its form.
async fn do_it<V: Serialize + Send + 'static>(
    app: App,
    asked: Asked,
    told: Told,
    then: impl FnOnce(&V) -> String,
    deed: impl FnOnce(&Works, &Told) -> Result<V, DeedTrouble> + Send + 'static,
) -> Response {
    let asked = told.asked(asked);
    let told_for_deed = told.clone();
    let answer = blocking(&app, move |works| Ok(deed(works, &told_for_deed))).await;
    match answer {
        Ok(Ok(answer)) => {
            let asked_then = asked.owned("then").filter(|t| is_ours(t));
            let then = told.then(&asked_then.unwrap_or_else(|| then(&answer)));
            done(&asked, &then, &answer)
        }
        Ok(Err(DeedTrouble::Works(e))) => trouble_answer(&app, &asked, &Trouble::from(e)),
        Ok(Err(DeedTrouble::Told(trouble))) | Err(trouble) => {
            trouble_answer(&app, &asked, &trouble)
        }
    }
}

/// Trouble with what was told, or with the deed.
pub(crate) enum DeedTrouble {
    Told(Trouble),
    Works(WorksError),
}

impl From<Trouble> for DeedTrouble {
    fn from(trouble: Trouble) -> Self {
        Self::Told(trouble)
    }
}

impl From<WorksError> for DeedTrouble {
    fn from(error: WorksError) -> Self {
        Self::Works(error)
    }
}

fn search_of(told: &Told) -> Result<Search, Trouble> {
    let usual = Search::default();
    let moves = whole_number(told, "moves", u64::from(usual.moves))?;
    Ok(Search {
        seed: whole_number(told, "seed", usual.seed)?,
        moves: u32::try_from(moves).unwrap_or(u32::MAX),
    })
}

/// A whole number that was told, or what it is otherwise.
fn whole_number<N: FromStr>(told: &Told, name: &str, otherwise: N) -> Result<N, Trouble> {
    let text = told.text(name);
    if text.is_empty() {
        return Ok(otherwise);
    }
    text.trim().parse().map_err(|_| {
        let hint = "write digits alone, such as 4";
        Trouble::usage(format!("\"{name}\" is a whole number, got \"{text}\""), hint)
    })
}

fn engine_type(works: &Works, told: &Told) -> Result<String, Trouble> {
    let named = told.text("engine_type");
    if !named.is_empty() {
        return Ok(named);
    }
    let plan = works.plan();
    let mut types = plan.engines.keys();
    match (types.next(), types.next()) {
        (Some(only), None) => Ok(only.clone()),
        _ => Err(Trouble::usage("\"engine_type\" is missing: the works builds several", "")),
    }
}

/// `POST /api/sets`: makes the proposed sets, all or those of the blocks named.
pub(crate) async fn make_sets(State(app): State<App>, asked: Asked, told: Told) -> Response {
    do_it(
        app,
        asked,
        told,
        |_| "/matching".to_owned(),
        |works, told| {
            let blocks = told.list("blocks");
            let chosen = (!blocks.is_empty()).then_some(blocks.as_slice());
            let engine_type = engine_type(works, told)?;
            let sets = works.make_sets(&told.deed()?, &engine_type, search_of(told)?, chosen)?;
            Ok(json!({ "sets": sets }))
        },
    )
    .await
}

/// `POST /api/sets/{set}/break`
pub(crate) async fn break_set(
    State(app): State<App>,
    Path(set): Path<String>,
    asked: Asked,
    told: Told,
) -> Response {
    do_it(
        app,
        asked,
        told,
        |_| "/matching".to_owned(),
        move |works, told| {
            works.break_set(&told.deed()?, &set, &told.text("reason"))?;
            Ok(json!({ "set": set, "state": "taken apart" }))
        },
    )
    .await
}

/// `POST /api/kit`: the set that a block gets now.
pub(crate) async fn kit_block(State(app): State<App>, asked: Asked, told: Told) -> Response {
    let to_set =
        |answer: &Value| format!("/matching?set={}", answer["set"].as_str().unwrap_or_default());
    do_it(app, asked, told, to_set, |works, told| {
        let block = told.needed("block", "the block that stands on the track")?;
        let engine_type = engine_type(works, told)?;
        let set = works.kit_block(&told.deed()?, &engine_type, &block)?;
        Ok(json!({ "set": set, "block": block }))
    })
    .await
}

/// `POST /api/sets/{set}/change`: pieces come out and the rest is matched anew around what is
/// fitted; with `try` it is only shown.
pub(crate) async fn change_set(
    State(app): State<App>,
    Path(set): Path<String>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/matching?set={set}");
    do_it(
        app,
        asked,
        told,
        move |_| then,
        move |works, told| {
            let change = Change {
                out: told.list("out"),
                fitted: told.list("fitted"),
                with: told.text("with"),
                scrap: told.yes("scrap"),
                reason: told.text("reason"),
            };
            if told.yes("try") {
                return Ok(works.changed_set(&set, &change)?);
            }
            Ok(works.change_set(&told.deed()?, &set, &change)?)
        },
    )
    .await
}

/// `POST /api/pieces/{piece}/said/hold`, `keep`, `part`, `due`, `free`: what matching must heed.
pub(crate) async fn say_of_piece(
    State(app): State<App>,
    Path((piece, saying)): Path<(String, String)>,
    asked: Asked,
    told: Told,
) -> Response {
    say(app, asked, told, Some(piece), saying).await
}

/// `POST /api/store`: the same with the piece and what is said of it in the body, for forms.
pub(crate) async fn say_in_store(State(app): State<App>, asked: Asked, told: Told) -> Response {
    let saying = told.text("saying");
    say(app, asked, told, None, saying).await
}

async fn say(
    app: App,
    asked: Asked,
    told: Told,
    piece: Option<String>,
    saying: String,
) -> Response {
    let to_store = |_: &Value| "/matching/store".to_owned();
    do_it(app, asked, told, to_store, move |works, told| {
        let piece = match piece {
            Some(piece) => piece,
            None => told.needed("piece", "the piece's number")?,
        };
        let said = saying_of(&saying, told)?;
        works.say_of_piece(&told.deed()?, &piece, &said, &told.text("reason"))?;
        Ok(json!({ "piece": piece, "said": saying }))
    })
    .await
}

fn saying_of(saying: &str, told: &Told) -> Result<Saying, Trouble> {
    Ok(match saying {
        "hold" => Saying::Hold,
        "keep" => Saying::Keep {
            block: told.needed("block", "the block it is kept for")?,
            position: told.text("position"),
        },
        "part" => Saying::Part { other: told.needed("other", "the piece it may not meet")? },
        "due" => Saying::Due { rank: whole_number(told, "rank", 1)? },
        "free" => Saying::Free,
        other => {
            let hint = "say hold, keep, part, due or free";
            return Err(Trouble::usage(format!("\"{other}\" cannot be said of a piece"), hint));
        }
    })
}

/// `POST /api/stock`: how many pieces of a grade were counted.
pub(crate) async fn count_stock(State(app): State<App>, asked: Asked, told: Told) -> Response {
    let to_store = |_: &Value| "/matching/store".to_owned();
    do_it(app, asked, told, to_store, |works, told| {
        let part = told.needed("part", "the kind of part")?;
        let grade = told.needed("grade", "the grade")?;
        told.needed("pieces", "how many there are")?;
        let pieces = whole_number(told, "pieces", 0)?;
        works.count_stock(&told.deed()?, &part, &grade, pieces)?;
        Ok(json!({ "part": part, "grade": grade, "pieces": pieces }))
    })
    .await
}

/// `POST /api/balance/{piece}/drilled`: the planned holes, or those told.
pub(crate) async fn drilled(
    State(app): State<App>,
    Path(piece): Path<String>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/balance?piece={piece}");
    do_it(
        app,
        asked,
        told,
        move |_| then,
        move |works, told| {
            let holes = told.value("holes").map(holes_of).transpose()?;
            let holes = works.drill(&told.deed()?, &piece, holes)?;
            Ok(json!({ "piece": piece, "holes": holes }))
        },
    )
    .await
}

fn holes_of(value: &Value) -> Result<Vec<HoleDrilled>, Trouble> {
    serde_json::from_value(value.clone()).map_err(|e| {
        let hint = "each hole has site, angle, drill and depth, as text with units";
        Trouble::usage(format!("\"holes\": {e}"), hint)
    })
}

/// `POST /api/engines`: an engine number takes its set and its other pieces.
pub(crate) async fn begin_engine(State(app): State<App>, asked: Asked, told: Told) -> Response {
    let to_build =
        |answer: &Value| format!("/build?engine={}", answer["engine"].as_str().unwrap_or_default());
    do_it(app, asked, told, to_build, |works, told| {
        let pieces = told.value("pieces").filter(|v| v.is_array()).map(places_of).transpose()?;
        let new = NewEngine {
            engine_type: engine_type(works, told)?,
            engine: told.text("engine"),
            set: told.text("set"),
            pieces: pieces.unwrap_or_default(),
            fill: told.yes("fill"),
        };
        let engine = works.begin_engine(&told.deed()?, &new)?;
        Ok(json!({ "engine": engine }))
    })
    .await
}

fn places_of(value: &Value) -> Result<Vec<PlaceFilled>, Trouble> {
    serde_json::from_value(value.clone()).map_err(|e| {
        let hint = "each piece has part, position (empty where there is one) and piece";
        Trouble::usage(format!("\"pieces\": {e}"), hint)
    })
}

/// `POST /api/engines/{engine}/steps/{step}`: done, or waived with a reason.
pub(crate) async fn step(
    State(app): State<App>,
    Path((engine, step)): Path<(String, String)>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/build?engine={engine}");
    do_it(app, asked, told, move |_| then, move |works, told| {
        let waive = told.yes("waive");
        if waive {
            works.step_waived(&told.deed()?, &engine, &step, &told.text("reason"))?;
        } else {
            works.step_done(&told.deed()?, &engine, &step)?;
        }
        Ok(json!({ "engine": engine, "step": step, "state": if waive { "waived" } else { "done" } }))
    })
    .await
}

/// `POST /api/engines/{engine}/run`
pub(crate) async fn test_run(
    State(app): State<App>,
    Path(engine): Path<String>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/bed?engine={engine}");
    do_it(
        app,
        asked,
        told,
        move |_| then,
        move |works, told| {
            works.test_run(&told.deed()?, &engine, &told.text("bed"))?;
            Ok(json!({ "engine": engine, "state": "tested" }))
        },
    )
    .await
}

/// `POST /api/engines/{engine}/pass`
pub(crate) async fn pass(
    State(app): State<App>,
    Path(engine): Path<String>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/record/{engine}");
    do_it(
        app,
        asked,
        told,
        move |_| then,
        move |works, told| {
            works.pass_engine(&told.deed()?, &engine, &told.text("note"))?;
            Ok(json!({ "engine": engine, "state": "passed" }))
        },
    )
    .await
}

/// `POST /api/engines/{engine}/hold`
pub(crate) async fn hold(
    State(app): State<App>,
    Path(engine): Path<String>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/bed?engine={engine}");
    do_it(
        app,
        asked,
        told,
        move |_| then,
        move |works, told| {
            works.hold_engine(&told.deed()?, &engine, &told.text("reason"))?;
            Ok(json!({ "engine": engine, "state": "held" }))
        },
    )
    .await
}

/// `POST /api/readings/{number}/withdraw`
pub(crate) async fn withdraw(
    State(app): State<App>,
    Path(number): Path<u64>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/reading/{number}");
    do_it(
        app,
        asked,
        told,
        move |_| then,
        move |works, told| {
            works.withdraw(&told.deed()?, number, &told.text("reason"))?;
            Ok(json!({ "reading": number, "state": "withdrawn" }))
        },
    )
    .await
}

/// `POST /api/pieces`: enters a piece that was made or received.
pub(crate) async fn enter_piece(State(app): State<App>, asked: Asked, told: Told) -> Response {
    let to_trace =
        |answer: &Value| format!("/trace?of={}", answer["piece"].as_str().unwrap_or_default());
    do_it(app, asked, told, to_trace, |works, told| {
        let piece = told.needed("piece", "the piece's number")?;
        let mut part = told.text("part");
        if part.is_empty() {
            part = works.plan().part_of(&piece).map_or_else(String::new, |p| p.name.clone());
        }
        works.enter_piece(&told.deed()?, &part, &piece, &told.text("heat"))?;
        Ok(json!({ "piece": piece, "part": part }))
    })
    .await
}

/// `POST /api/pieces/{piece}/scrap`
pub(crate) async fn scrap(
    State(app): State<App>,
    Path(piece): Path<String>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/trace?of={piece}");
    do_it(
        app,
        asked,
        told,
        move |_| then,
        move |works, told| {
            works.scrap(&told.deed()?, &piece, &told.text("reason"))?;
            Ok(json!({ "piece": piece, "state": "scrapped" }))
        },
    )
    .await
}

/// `POST /api/gauges/{gauge}/checks`
pub(crate) async fn check_gauge(
    State(app): State<App>,
    Path(gauge): Path<String>,
    asked: Asked,
    told: Told,
) -> Response {
    let then = format!("/trace?gauge={gauge}");
    do_it(
        app,
        asked,
        told,
        move |_| then,
        move |works, told| {
            let check = GaugeCheck {
                gauge: gauge.clone(),
                master: told.needed("master", "the master it was set against")?,
                error: told.needed("error", "what it showed too much, with its unit")?,
                in_order: told.yes("in_order"),
                note: told.text("note"),
            };
            works.check_gauge(&told.deed()?, &check)?;
            Ok(json!({ "gauge": gauge, "in_order": check.in_order }))
        },
    )
    .await
}

/// `POST /api/offsets`
pub(crate) async fn offset(State(app): State<App>, asked: Asked, told: Told) -> Response {
    let to_chart = |answer: &Value| {
        format!("/characteristic?id={}", answer["characteristic"].as_str().unwrap_or_default())
    };
    do_it(app, asked, told, to_chart, |works, told| {
        let offset = Offset {
            machine: told.needed("machine", "the machine that was moved")?,
            spindle: told.text("spindle"),
            characteristic: told.needed("characteristic", "what it answers for")?,
            moved: told.needed("moved", "how far the size was moved, with sign and unit")?,
            note: told.text("note"),
        };
        works.offset(&told.deed()?, &offset)?;
        Ok(json!({ "characteristic": offset.characteristic, "moved": offset.moved }))
    })
    .await
}

/// `POST /api/tool-changes`
pub(crate) async fn change_tool(State(app): State<App>, asked: Asked, told: Told) -> Response {
    do_it(
        app,
        asked,
        told,
        |_| "/".to_owned(),
        |works, told| {
            let change = ToolChange {
                machine: told.text("machine"),
                spindle: told.text("spindle"),
                tool: told.text("tool"),
                note: told.text("note"),
            };
            works.change_tool(&told.deed()?, &change)?;
            Ok(json!({ "machine": change.machine, "tool": change.tool }))
        },
    )
    .await
}
