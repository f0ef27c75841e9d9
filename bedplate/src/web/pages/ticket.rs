//! The ticket of a set.

use axum::extract::{Path, State};
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// A ticket.
pub(in crate::web) async fn page(
    State(app): State<App>,
    Path(set): Path<String>,
    asked: Asked,
) -> Response {
    let frame = app.frame(&asked, "4", "Ticket", "Ticket".to_owned(), html! {});
    show(
        &app,
        &asked,
        move |works| works.set(&set),
        move |_, view| sheet(&frame, &[Says::Ink(view.block.clone())], &html! {}, &html! {}),
    )
    .await
}
