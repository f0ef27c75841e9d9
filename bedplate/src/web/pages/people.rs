//! Sheet P: people.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// People.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "P", "People", "People".to_owned(), html! {});
    show(
        &app,
        &asked,
        |works| Ok(works.plan().people.keys().cloned().collect::<Vec<_>>()),
        move |_, view| sheet(&frame, &[Says::Ink(view.join(", "))], &html! {}, &html! {}),
    )
    .await
}
