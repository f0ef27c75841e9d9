//! Sheet 1: the works.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// The works.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame =
        app.frame(&asked, "1", "Works overview", "Casting to test bed".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.overview(),
        move |_, view| sheet(&frame, &[Says::Ink(view.works.clone())], &html! {}, &html! {}),
    )
    .await
}

/// The wall, read from six metres.
pub(in crate::web) async fn wall(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "1", "Wall", "The day".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.overview(),
        move |_, view| sheet(&frame, &[Says::Ink(view.works.clone())], &html! {}, &html! {}),
    )
    .await
}
