//! Sheet 1.1: readings in.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// Readings in.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "1.1", "Readings in", "Files".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}

/// Readings.
pub(in crate::web) async fn readings(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "1.1", "Readings in", "Files".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}

/// A file.
pub(in crate::web) async fn file(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "1.1", "Readings in", "Files".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}
