//! Sheet 2: the gauge bench.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// The bench.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "2", "Gauge bench", "Bench".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.bench(None, None),
        move |_, view| sheet(&frame, &[Says::Ink(view.piece.clone())], &html! {}, &html! {}),
    )
    .await
}
