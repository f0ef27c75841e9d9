//! Readings typed on a page: several of one piece at once, all taken or none.

use axum::extract::State;
use axum::response::Response;
use bedplate_works::instant;
use bedplate_works::receive::NewReading;
use bedplate_works::works::{Deed, Works};
use bedplate_works::worksheet::Defaults;
use bedplate_works::worksheet::check::{Raw, check};
use maud::{Markup, html};

use crate::exit::{Exit, Trouble};
use crate::web::App;
use crate::web::answer::{blocking, done, trouble_answer};
use crate::web::asked::Asked;
use crate::web::sheet::percent;
use crate::web::told::Told;

/// Between the characteristic and the position in a field's name; neither may hold it.
const JOINT: char = '@';
const PREFIX: &str = "reading:";

/// One field for one reading.
pub(in crate::web) struct Field<'f> {
    /// Characteristic.
    pub(in crate::web) characteristic: &'f str,
    /// Position, or empty.
    pub(in crate::web) position: &'f str,
    /// What stands above the field.
    pub(in crate::web) label: &'f str,
    /// Unit, shown and taken where none is typed.
    pub(in crate::web) unit: &'f str,
}

/// The field.
pub(in crate::web) fn field(f: &Field<'_>) -> Markup {
    let name = format!("{PREFIX}{}{JOINT}{}", f.characteristic, f.position);
    html! {
        label.say { span { (f.label) @if !f.unit.is_empty() { " (" (f.unit) ")" } }
            input type="text" inputmode="decimal" autocomplete="off" name=(name) maxlength="40";
        }
    }
}

/// The form around fields: the piece they are measured on, and where to go afterwards.
pub(in crate::web) fn form(piece: &str, then: &str, key: &str, inside: &Markup) -> Markup {
    html! {
        form.typing method="post" action=(format!("/typed?then={}", percent(then))) {
            input type="hidden" name="piece" value=(piece);
            input type="hidden" name="then" value=(then);
            div.fields { (inside) button.key type="submit" { (key) } }
        }
    }
}

fn rows(told: &Told) -> Result<Vec<NewReading>, Trouble> {
    let piece = told.needed("piece", "the piece that was measured")?;
    let rows: Vec<NewReading> = told
        .with_prefix(PREFIX)
        .filter(|(_, value)| !value.is_empty())
        .map(|(name, value)| {
            let (characteristic, position) = name.split_once(JOINT).unwrap_or((name, ""));
            NewReading {
                characteristic: characteristic.to_owned(),
                piece: piece.clone(),
                position: position.to_owned(),
                value,
                ..NewReading::default()
            }
        })
        .collect();
    if rows.is_empty() {
        return Err(Trouble::usage("no figure was typed", "type at least one, then send it"));
    }
    Ok(rows)
}

/// What is wrong with any of the rows, before any is taken.
fn faults(works: &Works, deed: &Deed, rows: &[NewReading]) -> Vec<String> {
    let plan = works.plan();
    let defaults = Defaults { person: Some(deed.by.clone()), now: deed.at, ..Defaults::default() };
    rows.iter()
        .filter_map(|row| {
            let raw = Raw {
                characteristic: &row.characteristic,
                piece: &row.piece,
                position: &row.position,
                value: &row.value,
                ..Raw::default()
            };
            let refusal = check(&plan, &raw, &defaults).err()?;
            let title = plan
                .characteristics
                .get(&row.characteristic)
                .map_or(row.characteristic.as_str(), |c| c.title.as_str());
            Some(format!("{title} {} \"{}\": {}", row.position, row.value, refusal.reason))
        })
        .collect()
}

/// `POST /typed`
pub(in crate::web) async fn take(State(app): State<App>, asked: Asked, told: Told) -> Response {
    let asked = told.asked(asked);
    let parts = rows(&told).and_then(|rows| Ok((rows, told.deed()?)));
    let (mut rows, deed) = match parts {
        Ok(parts) => parts,
        Err(trouble) => return trouble_answer(&app, &asked, &trouble),
    };
    // Measured now, whatever was measured before: the same figure may come again.
    let now = instant::iso(deed.at, &instant::zone("UTC"));
    rows.iter_mut().for_each(|r| r.at = Some(now.clone()));
    let answer = blocking(&app, move |works| {
        let faults = faults(works, &deed, &rows);
        if !faults.is_empty() {
            return Ok(Err(faults));
        }
        works.receive(&deed, rows, "typed").map(Ok)
    })
    .await;
    match answer {
        Ok(Ok(receipt)) => done(&asked, &told.then("/"), &receipt),
        Ok(Err(faults)) => {
            let hint = "type the figures again, with a unit where it is not the one shown";
            let trouble = Trouble::new(Exit::Refused, faults.join("; "), hint);
            trouble_answer(&app, &asked, &trouble)
        }
        Err(trouble) => trouble_answer(&app, &asked, &trouble),
    }
}
