//! Sheet 4: matching.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// Matching.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "4", "Matching", "Bores and pistons".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.matching("QB4", bedplate_engine::set::Search::default()),
        move |_, view| sheet(&frame, &[Says::Ink(view.fit.clone())], &html! {}, &html! {}),
    )
    .await
}
