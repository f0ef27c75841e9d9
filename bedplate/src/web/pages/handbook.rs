//! Sheet H: the handbook.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// Handbook.
pub(in crate::web) async fn list(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "H", "Handbook", "Calculations".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}

/// Handbook.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "H", "Handbook", "Calculations".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}

/// Handbook.
pub(in crate::web) async fn describe(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "H", "Handbook", "Calculations".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}

/// Handbook.
pub(in crate::web) async fn run(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "H", "Handbook", "Calculations".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}
