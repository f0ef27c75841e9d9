//! Sheet 8.2: the ledger.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// The ledger.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "8.2", "Ledger", "Entries".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}

/// The plan.
pub(in crate::web) async fn plan(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "8.2", "Plan", "Plan".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| Ok(works.plan().edition.clone()),
        move |_, view| sheet(&frame, &[Says::Ink(view.clone())], &html! {}, &html! {}),
    )
    .await
}

/// Verifying.
pub(in crate::web) async fn verify(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "8.2", "Ledger", "Entries".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.whole(),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}
