//! Sheet H: the handbook, where every calculation can be tried.

use axum::extract::{Path, Request, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use bedplate_gauge::calculation::{Calculation, Input, Shape, Stage};
use bedplate_handbook::answer::{Outcome, RunError, run as run_calculation};
use bedplate_handbook::problem::Problems;
use bedplate_handbook::{describe as described, given, list, schema};
use maud::{Markup, html};
use serde_json::{Value, json};

use crate::exit::Trouble;
use crate::web::App;
use crate::web::answer::trouble_answer;
use crate::web::asked::{Asked, Form, read_query};
use crate::web::sheet::{Frame, Says, empty, sheet};

/// `GET /handbook` and `/api/calc`: every calculation, by stage.
pub(in crate::web) async fn list(State(app): State<App>, asked: Asked) -> Response {
    if asked.form == Form::Json || asked.address.starts_with("/api/") {
        let all: Vec<Value> = list::all().iter().map(|c| described::describe(c)).collect();
        return axum::Json(json!({
            "how_inputs_are_read": given::HOW_INPUTS_ARE_READ,
            "calculations": all,
        }))
        .into_response();
    }
    let wanted = asked.owned("find").unwrap_or_default();
    let found: Vec<&Calculation> =
        list::all().iter().copied().filter(|c| matches(c, &wanted)).collect();
    let frame = frame(&app, &asked, "Calculations".to_owned());
    let finding = if wanted.is_empty() {
        format!("{} calculations, each with its formula, its source and an example.", found.len())
    } else {
        format!("{} calculations speak of \"{wanted}\".", found.len())
    };
    let body = html! { div.handbook {
        form.fields method="get" action="/handbook" role="search" {
            div.say { label for="find" { "Find" } input #find name="find" value=(wanted); }
            button.key type="submit" { "Find" }
        }
        div.scroll.stages tabindex="0" role="region" aria-label="Calculations" {
            @if found.is_empty() { (empty("None speaks of that.", "Try another word of the trade.")) }
            @for stage in Stage::ALL { (stage_list(stage, &found)) }
        }
    } };
    Html(sheet(&frame, &[Says::Ink(finding)], &html! {}, &body).into_string()).into_response()
}

fn matches(c: &Calculation, wanted: &str) -> bool {
    let wanted = wanted.to_lowercase();
    [c.name, c.title, c.question, c.source].iter().any(|t| t.to_lowercase().contains(&wanted))
}

fn stage_list(stage: Stage, found: &[&Calculation]) -> Markup {
    let here: Vec<&&Calculation> = found.iter().filter(|c| c.stage == stage).collect();
    html! { @if !here.is_empty() {
        section { h2 { (stage.name()) small { (here.len()) } }
            ul.entries { @for c in here {
                li { a href={ "/handbook/" (c.name) } { b { (c.title) } } " " span.muted { (c.question) } }
            } }
        }
    } }
}

fn frame(app: &App, asked: &Asked, title: String) -> Frame {
    let notes = html! { span { "Ink is given, blue is computed." } };
    let mut frame =
        app.frame(asked, "H", "Handbook", title, notes).with(&["handbook.css", "handbook.js"]);
    frame.figures = match asked.address.strip_prefix("/handbook/") {
        Some(rest) => format!("/api/calc/{rest}"),
        None => "/api/calc".to_owned(),
    };
    frame
}

fn unknown(name: &str) -> Result<&'static Calculation, Trouble> {
    list::find(name).map_err(|e| {
        let mut trouble = Trouble::usage(e.to_string(), "the Handbook sheet lists them all");
        trouble.status = 404;
        trouble
    })
}

/// `GET /handbook/{name}?input=value…`: one entry; with inputs, tried with them; else its example.
pub(in crate::web) async fn page(
    State(app): State<App>,
    Path(name): Path<String>,
    asked: Asked,
) -> Response {
    let calculation = match unknown(&name) {
        Ok(calculation) => calculation,
        Err(trouble) => return trouble_answer(&app, &asked, &trouble),
    };
    let told: Vec<(String, String)> = asked
        .query
        .iter()
        .filter(|(k, _)| *k != "as")
        .map(|(k, v)| (k.clone(), v.clone()))
        .collect();
    let filled: Vec<(String, String)> = if told.is_empty() {
        calculation.example.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect()
    } else {
        told.clone()
    };
    let outcome = try_it(calculation, &filled);
    if asked.form == Form::Json {
        return json_outcome(&outcome);
    }
    let frame = frame(&app, &asked, calculation.title.to_owned());
    let finding = [Says::Ink(calculation.question.to_owned())];
    let body = entry(calculation, &filled, &outcome, told.is_empty());
    Html(sheet(&frame, &finding, &html! {}, &body).into_string()).into_response()
}

/// Why there is no outcome.
enum NoOutcome {
    Inputs(Problems),
    Run(RunError),
}

impl NoOutcome {
    fn json(&self) -> Value {
        match self {
            Self::Inputs(problems) => problems.to_json(),
            Self::Run(error) => error.to_json(),
        }
    }

    /// The message for one input, if it is at fault.
    fn for_input(&self, input: &str) -> Vec<String> {
        match self {
            Self::Inputs(problems) => problems
                .list()
                .iter()
                .filter(|p| p.input() == Some(input))
                .map(ToString::to_string)
                .collect(),
            Self::Run(RunError::Refused(refused)) if refused.input == input => {
                vec![refused.reason.clone()]
            }
            Self::Run(_) => vec![],
        }
    }

    fn words(&self) -> String {
        match self {
            Self::Inputs(problems) => problems.to_string(),
            Self::Run(error) => error.to_string(),
        }
    }
}

fn try_it(calculation: &Calculation, told: &[(String, String)]) -> Result<Outcome, NoOutcome> {
    let given =
        given::from_texts(calculation, told, &given::no_files).map_err(NoOutcome::Inputs)?;
    run_calculation(calculation, &given).map_err(NoOutcome::Run)
}

fn json_outcome(outcome: &Result<Outcome, NoOutcome>) -> Response {
    match outcome {
        Ok(outcome) => axum::Json(outcome.to_json()).into_response(),
        Err(no) => (StatusCode::UNPROCESSABLE_ENTITY, axum::Json(no.json())).into_response(),
    }
}

fn entry(
    c: &Calculation,
    filled: &[(String, String)],
    outcome: &Result<Outcome, NoOutcome>,
    is_example: bool,
) -> Markup {
    html! { div.entry {
        section.panel {
            h2 { "Given" small { @if is_example { "the worked example" } @else { "as told" } } }
            form.say #try method="get" action={ "/handbook/" (c.name) } data-calc=(c.name) {
                @for input in c.inputs { (field(input, filled, outcome.as_ref().err())) }
                div.keys {
                    button.key.ink type="submit" { "Work it out" }
                    a.key href={ "/handbook/" (c.name) } { "The example" }
                }
            }
        }
        section.panel.found {
            h2 { "Found" }
            div #found role="status" { (found(outcome)) }
            dl.facts {
                dt { "Formula" } dd.formula { (c.formula) }
                dt { "Source" } dd { (c.source) }
                dt { "Holds" } dd { (c.validity) }
                dt { "On the command line" } dd { code { (described::command_line(c)) } }
            }
        }
    } }
}

fn field(input: &Input, filled: &[(String, String)], no: Option<&NoOutcome>) -> Markup {
    let value = filled.iter().find(|(k, _)| k == input.name).map_or("", |(_, v)| v.as_str());
    let faults = no.map_or_else(Vec::new, |n| n.for_input(input.name));
    let invalid = (!faults.is_empty()).then_some("true");
    let note = format!("note-{}", input.name);
    let placeholder = input.default.filter(|d| !d.is_empty()).unwrap_or_default();
    html! { div.given {
        label for=(input.name) { (input.name) }
        @match input.shape {
            Shape::Choice(words) => {
                select id=(input.name) name=(input.name) aria-describedby=(note)
                    aria-invalid=[invalid] {
                    @for word in words {
                        @let shown = if value.is_empty() { placeholder } else { value };
                        @let chosen = shown == *word;
                        option value=(word) selected[chosen] { (word) }
                    }
                }
            }
            Shape::Table(_) | Shape::List => {
                textarea id=(input.name) name=(input.name) rows="3" spellcheck="false"
                    placeholder=(placeholder) aria-describedby=(note)
                    aria-invalid=[invalid] { (value) }
            }
            Shape::Quantity | Shape::Count => {
                input id=(input.name) name=(input.name) value=(value) autocomplete="off"
                    placeholder=(placeholder) aria-describedby=(note) aria-invalid=[invalid];
            }
        }
        small id=(note) {
            @if !input.unit.is_empty() { (input.unit) ". " }
            (input.meaning)
            @for fault in &faults { " " span.fault { (fault) } }
        }
    } }
}

fn found(outcome: &Result<Outcome, NoOutcome>) -> Markup {
    html! { @match outcome {
        Ok(outcome) => { table { tbody { @for figure in &outcome.outputs { tr {
            th scope="row" { (figure.name) small { " " (figure.meaning) } }
            td.n.blue { (figure.text()) }
        } } } } }
        Err(no) => { p.fault { (no.words()) } }
    } }
}

/// `GET /api/calc/{name}`: what it is, its inputs and outputs, and their JSON Schema.
pub(in crate::web) async fn describe(
    State(app): State<App>,
    Path(name): Path<String>,
    asked: Asked,
) -> Response {
    let asked = Asked { form: Form::Json, ..asked };
    match unknown(&name) {
        Ok(c) => {
            let told: Vec<(String, String)> = asked.query.clone().into_iter().collect();
            if !told.is_empty() {
                return json_outcome(&try_it(c, &told));
            }
            let mut answer = described::describe(c);
            answer["schema"] = schema::schema(c);
            axum::Json(answer).into_response()
        }
        Err(trouble) => trouble_answer(&app, &asked, &trouble),
    }
}

/// `POST /api/calc/{name}`: works it out from JSON inputs.
pub(in crate::web) async fn run(
    State(app): State<App>,
    Path(name): Path<String>,
    asked: Asked,
    request: Request,
) -> Response {
    let asked = Asked { form: Form::Json, ..asked };
    let c = match unknown(&name) {
        Ok(c) => c,
        Err(trouble) => return trouble_answer(&app, &asked, &trouble),
    };
    let is_form = request
        .headers()
        .get(axum::http::header::CONTENT_TYPE)
        .and_then(|v| v.to_str().ok())
        .is_some_and(|v| v.starts_with("application/x-www-form"));
    let bytes = match axum::body::to_bytes(request.into_body(), 16 * 1024 * 1024).await {
        Ok(bytes) => bytes,
        Err(e) => {
            let trouble =
                Trouble::usage(format!("the inputs did not arrive: {e}"), "at most 16 MiB");
            return trouble_answer(&app, &asked, &trouble);
        }
    };
    if is_form {
        let text = String::from_utf8_lossy(&bytes);
        let told: Vec<(String, String)> = read_query(&text).into_iter().collect();
        return json_outcome(&try_it(c, &told));
    }
    let value: Value = match serde_json::from_slice(&bytes) {
        Ok(value) => value,
        Err(e) => {
            let what = format!("the body is no JSON: {e}");
            return trouble_answer(&app, &asked, &Trouble::usage(what, "send an object of inputs"));
        }
    };
    let outcome = given::from_json(c, &value, &given::no_files)
        .map_err(NoOutcome::Inputs)
        .and_then(|given| run_calculation(c, &given).map_err(NoOutcome::Run));
    json_outcome(&outcome)
}
