//! Sheet 6: the line.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// The line.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "6", "Line", "Lines".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.overview(),
        move |_, view| sheet(&frame, &[Says::Ink(view.works.clone())], &html! {}, &html! {}),
    )
    .await
}
