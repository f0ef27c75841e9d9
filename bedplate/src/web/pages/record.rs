//! Sheet 8: the record of an engine.

use axum::extract::{Path, State};
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// Choosing an engine.
pub(in crate::web) async fn choose(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "8", "Record", "Engines".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.overview(),
        move |_, view| sheet(&frame, &[Says::Ink(view.newest.join(", "))], &html! {}, &html! {}),
    )
    .await
}

/// The record.
pub(in crate::web) async fn page(
    State(app): State<App>,
    Path(engine): Path<String>,
    asked: Asked,
) -> Response {
    let frame = app.frame(&asked, "8", "Engine record", "Engine".to_owned(), html! {});
    show(
        &app,
        &asked,
        move |works| works.engine_record(&engine),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}
