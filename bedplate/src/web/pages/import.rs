//! Sheet 1.1: readings in, by file, by post and by typing.

use std::io::{Seek, SeekFrom, Write};

use axum::body::Body;
use axum::extract::{FromRequest, Multipart, Request, State};
use axum::http::header;
use axum::response::{Html, IntoResponse, Response};
use bedplate_works::instant;
use bedplate_works::receive::{NewReading, Receipt};
use bedplate_works::works::Deed;
use bedplate_works::worksheet::Defaults;
use bedplate_works::worksheet::refused::refused_csv;
use futures::StreamExt;
use maud::{Markup, html};
use serde_json::Value;

use crate::clock;
use crate::exit::{Exit, Trouble};
use crate::web::App;
use crate::web::answer::{blocking, done, json, show, trouble_answer};
use crate::web::asked::{Asked, Form};
use crate::web::sheet::{Says, empty, figure, judgement, sheet};
use crate::web::told::Told;

/// `GET /import`
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app
        .frame(&asked, "1.1", "Readings in", "Files".to_owned(), html! {})
        .with(&["handbook.css"]);
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |asked, whole| {
            let finding = [Says::Ink(format!(
                "{} readings are in the record. Read a file, or paste rows.",
                whole.readings
            ))];
            sheet(&frame, &finding, &html! {}, &forms(asked, ""))
        },
    )
    .await
}

fn forms(asked: &Asked, mended: &str) -> Markup {
    html! {
        div.import {
            section.panel {
                h2 { "A file" }
                form.say method="post" action="/api/import" enctype="multipart/form-data" {
                    label for="file" { "CSV: one reading a row, or one piece a row" }
                    input #file type="file" name="file" accept=".csv,.txt,text/csv" required;
                    (common_fields(asked, "file-"))
                    div.keys { button.key.ink type="submit" { "Read the file" } }
                }
            }
            section.panel {
                h2 { @if mended.is_empty() { "Rows" } @else { "Refused rows, to be mended" } }
                form.say method="post" action="/api/import" {
                    label for="text" { "Rows with their heading" }
                    textarea #text name="text" rows="10" spellcheck="false" required
                        placeholder="time,piece,characteristic,position,value" { (mended) }
                    (common_fields(asked, "text-"))
                    div.keys { button.key.ink type="submit" { "Read the rows" } }
                }
            }
            section.panel.help {
                h2 { "What a file may look like" }
                p { "One reading a row: time, piece, characteristic, position, value, and where they
                    differ from the plan, unit, gauge, person, machine, spindle, tool." }
                p { "One piece a row: a column with the piece, then one for each characteristic and
                    position, such as " b { "block.bore 1" } " or " b { "bore1 (mm)" } "." }
                p { "Comma, semicolon or tab; point or comma as the decimal sign; text as UTF-8. Each
                    row is taken whole or refused with its line and the reason. Reading a file again
                    adds nothing." }
            }
        }
    }
}

fn common_fields(asked: &Asked, prefix: &str) -> Markup {
    let id = |name: &str| format!("{prefix}{name}");
    html! {
        div.fields {
            div.say { label for=(id("name")) { "Called" }
                input id=(id("name")) name="name" placeholder="as the file" size="14"; }
            div.say { label for=(id("at")) { "Taken at, where no row says" }
                input id=(id("at")) name="at" placeholder="2026-11-24T14:10" size="17"; }
            div.say { label for=(id("gauge")) { "Gauge, where no row says" }
                input id=(id("gauge")) name="gauge" placeholder="as the plan" size="12"; }
            @if asked.who.is_none() {
                div.say { label for=(id("by")) { "Brought in by" }
                    input id=(id("by")) name="by" required size="12"; }
            }
        }
    }
}

/// What comes with a file.
#[derive(Debug, Default)]
struct Note {
    name: String,
    by: String,
    at: String,
    gauge: String,
    deed: String,
    then: String,
}

impl Note {
    fn take(&mut self, field: &str, text: String) {
        let text = text.trim().to_owned();
        match field {
            "name" => self.name = text,
            "by" => self.by = text,
            "at" => self.at = text,
            "gauge" => self.gauge = text,
            "deed" => self.deed = text,
            "then" => self.then = text,
            _ => {}
        }
    }
}

/// `POST /api/import`: a file as a form, pasted rows, or the bare text of a CSV file.
pub(in crate::web) async fn file(
    State(app): State<App>,
    asked: Asked,
    request: Request,
) -> Response {
    let kind = content_type(&request);
    let is_form = kind.starts_with("multipart/") || kind.starts_with("application/x-www-form");
    let form = if is_form && asked.form == Form::Page { Form::Page } else { Form::Json };
    let asked = Asked { form, ..asked };
    match take_file(&asked, request, &kind).await {
        Ok((file, note)) => import(app, asked, file, note).await,
        Err(trouble) => trouble_answer(&app, &asked, &trouble),
    }
}

fn content_type(request: &Request) -> String {
    let value = request.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok());
    value.unwrap_or_default().to_owned()
}

fn outside(e: &dyn std::fmt::Display) -> Trouble {
    Trouble::new(Exit::Outside, format!("the file did not arrive whole: {e}"), "send it again")
}

/// The body on disk, so that its size does not count against memory.
async fn take_file(
    asked: &Asked,
    request: Request,
    kind: &str,
) -> Result<(std::fs::File, Note), Trouble> {
    let mut file = tempfile::tempfile().map_err(|e| outside(&e))?;
    let mut note = Note { by: asked.who.clone().unwrap_or_default(), ..Note::default() };
    for (name, value) in &asked.query {
        note.take(name, value.clone());
    }
    if kind.starts_with("multipart/") {
        let mut parts = Multipart::from_request(request, &()).await.map_err(|e| outside(&e))?;
        while let Some(mut part) = parts.next_field().await.map_err(|e| outside(&e))? {
            let field = part.name().unwrap_or_default().to_owned();
            if field != "file" {
                note.take(&field, part.text().await.map_err(|e| outside(&e))?);
                continue;
            }
            if note.name.is_empty() {
                note.name = part.file_name().unwrap_or_default().to_owned();
            }
            while let Some(chunk) = part.chunk().await.map_err(|e| outside(&e))? {
                file.write_all(&chunk).map_err(|e| outside(&e))?;
            }
        }
    } else if kind.starts_with("application/x-www-form") {
        let told = Told::from_request(request, &())
            .await
            .map_err(|_| Trouble::usage("the form could not be read", "send it again"))?;
        for field in ["name", "by", "at", "gauge", "deed", "then"] {
            let text = told.text(field);
            if !text.is_empty() {
                note.take(field, text);
            }
        }
        file.write_all(told.text("text").as_bytes()).map_err(|e| outside(&e))?;
        if note.name.is_empty() {
            "pasted rows".clone_into(&mut note.name);
        }
    } else {
        stream_to(request.into_body(), &mut file).await?;
    }
    if note.name.is_empty() {
        "http".clone_into(&mut note.name);
    }
    file.seek(SeekFrom::Start(0)).map_err(|e| outside(&e))?;
    Ok((file, note))
}

async fn stream_to(body: Body, file: &mut std::fs::File) -> Result<(), Trouble> {
    let mut stream = body.into_data_stream();
    while let Some(chunk) = stream.next().await {
        let chunk = chunk.map_err(|e| outside(&e))?;
        file.write_all(&chunk).map_err(|e| outside(&e))?;
    }
    Ok(())
}

fn deed_of(note: &Note) -> Result<Deed, Trouble> {
    if note.by.is_empty() {
        let hint = "choose your name on the People sheet, or send it as \"by\"";
        let mut trouble = Trouble::usage("it is not said who brings the readings in", hint);
        trouble.status = 403;
        return Err(trouble);
    }
    Ok(if note.deed.is_empty() {
        clock::deed(&note.by)
    } else {
        clock::deed_with_key(&note.by, &note.deed)
    })
}

/// What stands for a file whose rows do not say: instant in the works' zone, gauge.
pub(crate) fn defaults(
    zone: &str,
    at: &str,
    gauge: &str,
    person: Option<String>,
) -> Result<Defaults, Trouble> {
    let at = match at {
        "" => None,
        text => Some(instant::parse(text, &instant::zone(zone)).ok_or_else(|| {
            let what = format!("\"{text}\" is no instant");
            Trouble::usage(what, "write it like 2026-11-24T14:10 or 2026-11-24T14:10:00+00:00")
        })?),
    };
    let gauge = (!gauge.is_empty()).then(|| gauge.to_owned());
    Ok(Defaults { at, gauge, person, ..Defaults::default() })
}

async fn import(app: App, asked: Asked, file: std::fs::File, note: Note) -> Response {
    let zone = app.works.plan().works.time_zone.clone();
    let prepared =
        deed_of(&note).and_then(|deed| Ok((deed, defaults(&zone, &note.at, &note.gauge, None)?)));
    let (deed, defaults) = match prepared {
        Ok(prepared) => prepared,
        Err(trouble) => return trouble_answer(&app, &asked, &trouble),
    };
    let name = note.name.clone();
    let answer = blocking(&app, move |works| {
        works.import(&deed, &name, std::io::BufReader::new(file), None, &defaults)
    })
    .await;
    match answer {
        Ok(receipt) if asked.form == Form::Page => receipt_page(&app, &asked, &note.name, &receipt),
        Ok(receipt) => json(&receipt),
        Err(trouble) => trouble_answer(&app, &asked, &trouble),
    }
}

fn receipt_page(app: &App, asked: &Asked, name: &str, receipt: &Receipt) -> Response {
    let frame =
        app.frame(asked, "1.1", "Readings in", name.to_owned(), html! {}).with(&["handbook.css"]);
    let mut finding = vec![Says::Ink(format!(
        "{name}: {} rows taken, {} there already.",
        receipt.taken, receipt.already
    ))];
    if !receipt.refused.is_empty() {
        finding.push(Says::Red(format!("{} refused.", receipt.refused.len())));
    }
    let mended = receipt
        .mapping
        .as_ref()
        .filter(|_| !receipt.refused.is_empty())
        .map_or_else(String::new, |m| refused_csv(m, &receipt.refused));
    let body = html! {
        div.import {
            section.panel {
                h2 { "Judged" small { (receipt.readings) " readings" } }
                p { (receipt.accepted) " accepted, " (receipt.rejected) " rejected, "
                    (receipt.cannot_tell) " too close to call, " (receipt.not_judged) " not judged." }
                (judged_table(receipt))
            }
            section.panel {
                h2 { "Refused" small { (receipt.refused.len()) } }
                (refused_table(receipt))
            }
            (forms(asked, &mended))
        }
    };
    Html(sheet(&frame, &finding, &html! {}, &body).into_string()).into_response()
}

fn judged_table(receipt: &Receipt) -> Markup {
    html! {
        @if receipt.judged.is_empty() {
            (empty("Nothing new.", "Every row was in the record already, or was refused."))
        } @else {
            div.scroll tabindex="0" role="region" aria-label="Readings taken" { table {
                thead { tr { th { "Piece" } th { "Characteristic" } th.n { "Value" } th { "Judged" } } }
                tbody { @for j in receipt.judged.iter().rev() { tr {
                    td { a href={ "/trace?piece=" (crate::web::sheet::percent(&j.piece)) } { (j.piece) } }
                    td { (j.title) " " (j.position) }
                    td.n { (figure(&j.value)) " " (j.value.unit) }
                    td { (judgement(j.word)) }
                } } }
            } }
        }
    }
}

fn refused_table(receipt: &Receipt) -> Markup {
    html! {
        @if receipt.refused.is_empty() { p.muted { "None." } } @else {
            div.scroll tabindex="0" role="region" aria-label="Rows refused" { table {
                thead { tr { th.n { "Line" } th { "Column" } th { "Why" } } }
                tbody { @for r in receipt.refused.iter().take(500) { tr {
                    td.n { (r.line) }
                    td { @if let Some((n, heading)) = &r.column { (n) " " (heading) } }
                    td { (r.reason) }
                } } }
            } }
        }
    }
}

/// `POST /api/readings`: one reading (form or JSON object), many (array, NDJSON), or a CSV text.
pub(in crate::web) async fn readings(
    State(app): State<App>,
    asked: Asked,
    request: Request,
) -> Response {
    let kind = content_type(&request);
    if kind.starts_with("text/csv") || kind.starts_with("multipart/") {
        return file(State(app), asked, request).await;
    }
    if kind.starts_with("application/x-www-form") {
        return typed(app, asked, request).await;
    }
    let who = asked.who.clone();
    let asked = Asked { form: Form::Json, ..asked };
    let posted = match posted(request, &asked).await {
        Ok(posted) => posted,
        Err(trouble) => return trouble_answer(&app, &asked, &trouble),
    };
    let by = if posted.by.is_empty() { who.unwrap_or_default() } else { posted.by };
    let note = Note { by, deed: posted.deed, ..Note::default() };
    let deed = match deed_of(&note) {
        Ok(deed) => deed,
        Err(trouble) => return trouble_answer(&app, &asked, &trouble),
    };
    match blocking(&app, move |works| works.receive(&deed, posted.rows, "http")).await {
        Ok(receipt) if receipt.taken + receipt.already == 0 && !receipt.refused.is_empty() => {
            (axum::http::StatusCode::UNPROCESSABLE_ENTITY, json(&receipt)).into_response()
        }
        Ok(receipt) => json(&receipt),
        Err(trouble) => trouble_answer(&app, &asked, &trouble),
    }
}

/// Readings as posted: who bears them, the deed's key, and the rows.
struct Posted {
    by: String,
    deed: String,
    rows: Vec<NewReading>,
}

async fn posted(request: Request, asked: &Asked) -> Result<Posted, Trouble> {
    let bytes = axum::body::Bytes::from_request(request, &()).await.map_err(|e| outside(&e))?;
    let text = String::from_utf8(bytes.to_vec())
        .map_err(|_| Trouble::usage("the body is not UTF-8", "send JSON as UTF-8"))?;
    let bad = |e: &dyn std::fmt::Display, line: usize| {
        let hint = "a reading is {\"characteristic\", \"piece\", \"position\", \"value\"}, with by \
                    for the person; many are an array or one a line";
        Trouble::usage(format!("line {line}: {e}"), hint)
    };
    let values: Vec<Value> = match serde_json::from_str::<Value>(&text) {
        Ok(Value::Array(items)) => items,
        Ok(Value::Object(mut whole)) if whole.get("readings").is_some_and(Value::is_array) => {
            let readings = whole.remove("readings").unwrap_or_default();
            let mut items = readings.as_array().cloned().unwrap_or_default();
            for item in &mut items {
                share(item, &whole);
            }
            items
        }
        Ok(one) => vec![one],
        // Not one JSON value: one reading a line.
        Err(whole) => {
            let lines = text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty());
            let read: Result<Vec<Value>, Trouble> =
                lines.map(|(n, l)| serde_json::from_str(l).map_err(|e| bad(&e, n + 1))).collect();
            match read {
                Ok(values) if text.lines().count() > 1 => values,
                _ => return Err(bad(&whole, whole.line())),
            }
        }
    };
    let mut by = asked.owned("by").unwrap_or_default();
    let mut deed = asked.owned("deed").unwrap_or_default();
    let mut rows = vec![];
    for (n, mut value) in values.into_iter().enumerate() {
        if let Some(object) = value.as_object_mut() {
            for (field, kept) in [("by", &mut by), ("deed", &mut deed)] {
                if let Some(Value::String(s)) = object.remove(field) {
                    *kept = s;
                }
            }
        }
        rows.push(serde_json::from_value(value).map_err(|e| bad(&e, n + 1))?);
    }
    Ok(Posted { by, deed, rows })
}

/// What stands once for all readings stands in each.
fn share(item: &mut Value, whole: &serde_json::Map<String, Value>) {
    if let Some(object) = item.as_object_mut() {
        for (key, value) in whole {
            object.entry(key.clone()).or_insert_with(|| value.clone());
        }
    }
}

/// One reading typed at the bench.
async fn typed(app: App, asked: Asked, request: Request) -> Response {
    let told = match Told::from_request(request, &()).await {
        Ok(told) => told,
        Err(response) => return response,
    };
    let asked = told.asked(asked);
    let optional = |name: &str| Some(told.text(name)).filter(|t| !t.is_empty());
    let row = NewReading {
        characteristic: told.text("characteristic"),
        piece: told.text("piece"),
        position: told.text("position"),
        value: told.text("value"),
        at: optional("at"),
        gauge: optional("gauge"),
        machine: optional("machine"),
        spindle: optional("spindle"),
        tool: optional("tool"),
    };
    let deed = match told.deed() {
        Ok(deed) => deed,
        Err(trouble) => return trouble_answer(&app, &asked, &trouble),
    };
    let then = told.then("/bench");
    match blocking(&app, move |works| works.receive(&deed, vec![row], "page")).await {
        Ok(receipt) => match receipt.refused.first() {
            Some(refused) => {
                let hint = "nothing was recorded; type it again";
                let trouble = Trouble::new(Exit::Refused, refused.reason.clone(), hint);
                trouble_answer(&app, &asked, &trouble)
            }
            None => done(&asked, &then, &receipt),
        },
        Err(trouble) => trouble_answer(&app, &asked, &trouble),
    }
}
