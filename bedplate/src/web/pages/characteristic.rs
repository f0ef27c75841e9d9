//! Sheet 3: a characteristic.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// One characteristic.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "3", "Characteristic", "Characteristic".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| works.characteristic("block.bore", None, None),
        move |_, view| sheet(&frame, &[Says::Ink(view.stream_words.clone())], &html! {}, &html! {}),
    )
    .await
}

/// All characteristics.
pub(in crate::web) async fn all(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "3.0", "Characteristics", "All".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| Ok(works.plan().characteristics.keys().cloned().collect::<Vec<_>>()),
        move |_, view| sheet(&frame, &[Says::Ink(view.join(", "))], &html! {}, &html! {}),
    )
    .await
}
