//! Sheet 8.1: forward and backward.

use axum::extract::{Path, State};
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// A reading.
pub(in crate::web) async fn reading(
    State(app): State<App>,
    Path(number): Path<u64>,
    asked: Asked,
) -> Response {
    let frame = app.frame(&asked, "8.1", "Reading", "Reading".to_owned(), html! {});
    show(
        &app,
        &asked,
        move |works| works.reading(number),
        move |_, view| sheet(&frame, &[Says::Ink(view.reason.clone())], &html! {}, &html! {}),
    )
    .await
}

/// A trace.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "8.1", "Trace", "Trace".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.trace(&bedplate_works::trace::Asked::Readings(vec![1])),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}
