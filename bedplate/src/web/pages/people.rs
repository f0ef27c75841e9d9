//! Sheet P: people, and the gauges in their hands.

use axum::extract::State;
use axum::response::Response;
use bedplate_works::bench::GaugeStanding;
use bedplate_works::plan::Role;
use bedplate_works::tell::first_twelve;
use bedplate_works::works::Works;
use maud::{Markup, html};
use serde::Serialize;

use super::reading::standing_words;
use crate::web::App;
use crate::web::answer::show;
use crate::web::asked::Asked;
use crate::web::sheet::{Frame, Says, TagCell, empty, percent, sheet, tag};

#[derive(Debug, Serialize)]
struct Person {
    id: String,
    name: String,
    roles: Vec<&'static str>,
}

#[derive(Debug, Serialize)]
struct GaugeLine {
    gauge: String,
    title: String,
    method: String,
    uncertainty: String,
    masters: Vec<String>,
    proving_days: u32,
    caution: String,
    #[serde(flatten)]
    standing: GaugeStanding,
}

#[derive(Debug, Serialize)]
struct People {
    people: Vec<Person>,
    gauges: Vec<GaugeLine>,
    edition: String,
}

/// People.
pub(in crate::web) async fn page(State(app): State<App>, asked: Asked) -> Response {
    let legend = html! { span { "Whoever stands here signs what is done from this screen." } };
    let mut frame = app.frame(&asked, "P", "People", "People and gauges".to_owned(), legend);
    frame.styles = &["drawing.css", "trace.css"];
    show(&app, &asked, |works| Ok(look(works)), move |asked, view| draw(&frame, asked, view)).await
}

const fn role_word(role: Role) -> &'static str {
    match role {
        Role::Viewer => "viewer",
        Role::Inspector => "inspector",
        Role::Fitter => "fitter",
        Role::Tester => "tester",
        Role::Engineer => "engineer",
        Role::Administrator => "administrator",
    }
}

fn look(works: &Works) -> People {
    let plan = works.plan();
    People {
        people: plan
            .people
            .values()
            .map(|p| Person {
                id: p.id.clone(),
                name: p.name.clone(),
                roles: p.roles.iter().map(|r| role_word(*r)).collect(),
            })
            .collect(),
        gauges: plan
            .gauges
            .values()
            .map(|g| GaugeLine {
                gauge: g.name.clone(),
                title: g.title.clone(),
                method: g.method.clone(),
                uncertainty: g.uncertainty.to_string(),
                masters: g.masters.clone(),
                proving_days: g.proving_days,
                caution: g.caution.clone(),
                standing: works.gauge_standing(&g.name),
            })
            .collect(),
        edition: first_twelve(&plan.edition),
    }
}

fn draw(frame: &Frame, asked: &Asked, view: &People) -> Markup {
    let here = asked.who.as_deref().and_then(|who| view.people.iter().find(|p| p.id == who));
    let mut says = vec![match here {
        Some(p) => Says::Ink(format!("{} stands here.", p.name)),
        None => Says::Red("Nobody has said who stands here.".to_owned()),
    }];
    let in_order = |g: &&GaugeLine| matches!(g.standing, GaugeStanding::InOrder { .. });
    let n_out = view.gauges.len() - view.gauges.iter().filter(in_order).count();
    match n_out {
        0 => {}
        1 => says.push(Says::Red("1 gauge may not judge.".to_owned())),
        n => says.push(Says::Red(format!("{n} gauges may not judge."))),
    }
    let boxed = tag(&[TagCell::One(format!("works file {}", view.edition))]);
    let body = html! {
        div.people data-live="gauge" {
            section.panel {
                h2 { "Who stands here" small { (view.people.len()) " people" } }
                div.scroll tabindex="0" role="region" aria-label="People" { (people(view, here)) }
            }
            section.panel {
                h2 { "Gauges" small { (view.gauges.len()) } }
                div.scroll tabindex="0" role="region" aria-label="Gauges" { (gauges(view)) }
            }
        }
    };
    sheet(frame, &says, &boxed, &body)
}

fn people(view: &People, here: Option<&Person>) -> Markup {
    html! {
        @if view.people.is_empty() {
            (empty("The works file names nobody.", "Add [person.NAME] with a name and roles."))
        }
        form.who method="post" action="/who" {
            input type="hidden" name="then" value="/people";
            @for p in &view.people {
                @let is_here = here.is_some_and(|h| h.id == p.id);
                button class=(if is_here { "key ink" } else { "key" }) type="submit" name="who"
                    value=(p.id) aria-pressed=(if is_here { "true" } else { "false" }) {
                    span.long-name { (p.name) } small { (p.roles.join(", ")) }
                }
            }
            @if here.is_some() {
                button.key type="submit" name="who" value="" { "Nobody: I only look" }
            }
        }
    }
}

fn gauges(view: &People) -> Markup {
    html! {
        @if view.gauges.is_empty() {
            (empty("The works file names no gauge.",
                "Add [gauge.NAME] with its method and uncertainty."))
        } @else {
            table {
                tr { th { "Gauge" } th { "Method, uncertainty" } th { "Every" } th { "Standing" } th
                    { "Check on its master" } }
                @for g in &view.gauges {
                    tr {
                        td.long-name { a href={ "/trace?gauge=" (percent(&g.gauge)) } { b {
                            (g.gauge) } } br; (g.title) }
                        td { (g.method) br; "± " (g.uncertainty) " (k = 2)" }
                        td { (g.proving_days) " days" }
                        td { (standing_words(&g.standing)) }
                        td.check { (check(g)) }
                    }
                }
            }
        }
    }
}

fn check(g: &GaugeLine) -> Markup {
    html! {
        details {
            summary { "Check" }
            form.typing method="post" action={ "/api/gauges/" (percent(&g.gauge))
                "/checks?then=/people" } {
                input type="hidden" name="then" value="/people";
                @if !g.caution.is_empty() { p.red { (g.caution) } }
                label.say { "Master"
                    @if g.masters.is_empty() { input type="text" name="master" required
                        maxlength="80"; }
                    @else { select name="master" { @for m in &g.masters { option value=(m) { (m) } }
                        } } }
                label.say { "Showed too much, with unit"
                    input type="text" name="error" required maxlength="40" placeholder="0.2 µm"
                        autocomplete="off"; }
                label.tick { input type="checkbox" name="in_order" value="yes";
                    "In order: it may judge" }
                label.say { "Note" input type="text" name="note" maxlength="200"; }
                button.key type="submit" { "Write the check" }
            }
        }
    }
}
