//! Answers: a page, the same figures as JSON or CSV, or trouble said plainly in the same form.

use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use bedplate_works::works::{Works, WorksError};
use maud::{Markup, html};
use serde::Serialize;
use serde_json::Value;

use super::App;
use super::asked::{Asked, Form};
use super::sheet::{Frame, Says, sheet};
use crate::exit::{Exit, Trouble};

/// Runs `deed` where it may block, and gives its answer or its trouble.
pub(crate) async fn blocking<T: Send + 'static>(
    app: &App,
    deed: impl FnOnce(&Works) -> Result<T, WorksError> + Send + 'static,
) -> Result<T, Trouble> {
    let works = std::sync::Arc::clone(&app.works);
    match tokio::task::spawn_blocking(move || deed(&works)).await {
        Ok(answer) => answer.map_err(Trouble::from),
        Err(e) => Err(Trouble::new(
            Exit::Bug,
            format!("the program failed while answering: {e}"),
            "nothing was recorded; please report what you did",
        )),
    }
}

/// Answers a question that changes nothing: as a page drawn from the figures, or the figures.
pub(crate) async fn show<V: Serialize + Send + 'static>(
    app: &App,
    asked: &Asked,
    look: impl FnOnce(&Works) -> Result<V, WorksError> + Send + 'static,
    draw: impl FnOnce(&Asked, &V) -> Markup,
) -> Response {
    match blocking(app, look).await {
        Ok(view) => match asked.form {
            Form::Page => Html(draw(asked, &view).into_string()).into_response(),
            Form::Json => json(&view),
            Form::Csv => csv(asked, &view),
        },
        Err(trouble) => trouble_answer(app, asked, &trouble),
    }
}

/// Figures as JSON.
pub(crate) fn json(view: &impl Serialize) -> Response {
    match serde_json::to_value(view) {
        Ok(value) => Json(value).into_response(),
        Err(e) => {
            let what = format!("the figures could not be written: {e}");
            (StatusCode::INTERNAL_SERVER_ERROR, what).into_response()
        }
    }
}

/// One table of the figures as CSV: the one named by `table=`, else the longest.
fn csv(asked: &Asked, view: &impl Serialize) -> Response {
    let value = serde_json::to_value(view).unwrap_or(Value::Null);
    let Some((name, rows)) = table_of(&value, asked.get("table")) else {
        let what = "these figures hold no such table; ask for them as JSON to see what there is";
        return (StatusCode::NOT_FOUND, what).into_response();
    };
    let text = table_csv(rows);
    let mut response = text.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/csv; charset=utf-8"));
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}.csv\"")) {
        headers.insert(header::CONTENT_DISPOSITION, value);
    }
    response
}

fn table_of<'v>(value: &'v Value, wanted: Option<&str>) -> Option<(&'v str, &'v [Value])> {
    let object = value.as_object()?;
    let tables = object.iter().filter_map(|(name, v)| {
        let rows = v.as_array()?;
        rows.first().is_some_and(Value::is_object).then_some((name.as_str(), rows.as_slice()))
    });
    match wanted {
        Some(wanted) => tables.into_iter().find(|(name, _)| *name == wanted),
        None => tables.into_iter().max_by_key(|(_, rows)| rows.len()),
    }
}

/// Objects as rows; what is nested becomes columns with dots, lists stay as JSON.
fn table_csv(rows: &[Value]) -> String {
    let flat: Vec<Vec<(String, String)>> = rows
        .iter()
        .map(|row| {
            let mut cells = vec![];
            flatten("", row, &mut cells);
            cells
        })
        .collect();
    let mut columns: Vec<&str> = vec![];
    for (name, _) in flat.iter().flatten() {
        if !columns.contains(&name.as_str()) {
            columns.push(name);
        }
    }
    let line =
        |cells: &mut dyn Iterator<Item = String>| cells.collect::<Vec<_>>().join(",") + "\r\n";
    let mut text = line(&mut columns.iter().map(|c| csv_cell(c)));
    for row in &flat {
        text += &line(&mut columns.iter().map(|column| {
            row.iter().find(|(name, _)| name == column).map_or_else(String::new, |c| csv_cell(&c.1))
        }));
    }
    text
}

fn flatten(prefix: &str, value: &Value, cells: &mut Vec<(String, String)>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let name = if prefix.is_empty() { key.clone() } else { format!("{prefix}.{key}") };
                flatten(&name, inner, cells);
            }
        }
        Value::String(s) => cells.push((prefix.to_owned(), s.clone())),
        Value::Null => cells.push((prefix.to_owned(), String::new())),
        other => cells.push((prefix.to_owned(), other.to_string())),
    }
}

/// A cell, quoted where needed; text that a table program would take for a formula gets an
/// apostrophe before it.
fn csv_cell(text: &str) -> String {
    let is_number = text.parse::<f64>().is_ok();
    let looks_like_formula = !is_number && text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let guarded = if looks_like_formula { format!("'{text}") } else { text.to_owned() };
    if guarded.contains(['"', ',', '\n', '\r', ';']) {
        format!("\"{}\"", guarded.replace('"', "\"\""))
    } else {
        guarded
    }
}

/// Trouble as JSON or as a sheet that says what happened, that nothing was recorded, and what to
/// do.
pub(crate) fn trouble_answer(app: &App, asked: &Asked, trouble: &Trouble) -> Response {
    let status = StatusCode::from_u16(trouble.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    if asked.form != Form::Page {
        return (status, Json(trouble_json(trouble))).into_response();
    }
    let frame = app.frame(asked, "", "Trouble", "Not done".to_owned(), html! {});
    let finding = [Says::Red(format!("{}.", sentence(&trouble.what)))];
    let body = html! {
        div.nothing {
            p { b { "Nothing was recorded." } }
            @if !trouble.hint.is_empty() { p { (sentence(&trouble.hint)) "." } }
            p { a.key href=(back(asked)) { "Back" } }
        }
    };
    (status, Html(sheet(&frame, &finding, &html! {}, &body).into_string())).into_response()
}

fn back(asked: &Asked) -> String {
    asked.owned("then").filter(|t| t.starts_with('/')).unwrap_or_else(|| "/".to_owned())
}

/// Trouble as the API says it.
pub(crate) fn trouble_json(trouble: &Trouble) -> Value {
    serde_json::json!({
        "error": { "kind": kind(trouble.exit), "message": trouble.what, "hint": trouble.hint }
    })
}

const fn kind(exit: Exit) -> &'static str {
    match exit {
        Exit::Done | Exit::No => "verdict",
        Exit::Usage => "usage",
        Exit::Refused => "refused",
        Exit::Damaged => "record-damaged",
        Exit::Outside => "outside",
        Exit::Bug => "bug",
    }
}

fn sentence(text: &str) -> String {
    let mut chars = text.trim_end_matches('.').chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().collect::<String>() + chars.as_str())
}

/// After a deed: a browser is sent back to a page, a client gets the answer as JSON.
pub(crate) fn done<V: Serialize>(asked: &Asked, then: &str, answer: &V) -> Response {
    match asked.form {
        Form::Page => Redirect::to(then).into_response(),
        Form::Json | Form::Csv => json(answer),
    }
}

impl App {
    /// The frame of a page.
    pub(crate) fn frame(
        &self,
        asked: &Asked,
        number: &'static str,
        kind: &'static str,
        title: String,
        notes: Markup,
    ) -> Frame {
        let plan = self.works.plan();
        let at = self.works.as_of();
        let zone = bedplate_works::instant::zone(&plan.works.time_zone);
        let person = asked.who.as_deref().map_or_else(
            || "nobody named".to_owned(),
            |who| bedplate_works::tell::signed(&plan, who),
        );
        Frame {
            number,
            kind,
            title,
            works: plan.works.name.clone(),
            engine: plan.engines.keys().cloned().collect::<Vec<_>>().join(", "),
            shift: format!("{} · {person}", bedplate_works::overview::shift(&plan, at)),
            as_of: bedplate_works::instant::short(at, &zone),
            lamp: asked.lamp,
            notes,
            figures: asked.figures(),
            styles: &[],
        }
    }
}
