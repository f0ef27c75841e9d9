//! Sheet 7: the test bed.

use axum::extract::State;
use axum::response::Response;
use maud::html;

use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Says, sheet};

/// The bed.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let frame = app.frame(&asked, "7", "Test bed", "Engine".to_owned(), html! {});
    show(
        &app,
        &asked,
        move |works| works.bed(&works.waiting_for_bed()[0]),
        move |_, view| sheet(&frame, &[Says::Ink(view.finding.clone())], &html! {}, &html! {}),
    )
    .await
}
