//! Live: pages are told by server-sent events when something they show has changed.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use bedplate_works::works::News;
use futures::{Stream, StreamExt};
use tokio_stream::wrappers::BroadcastStream;

use super::App;
use super::asked::Asked;

/// What a piece of news is about: words a page can listen for.
#[derive(Debug, Clone)]
pub(crate) struct Note {
    /// `reading:block.bore`, `set`, `engine`, `gauge`, …
    pub(crate) about: Vec<String>,
    /// The record's last number after it.
    pub(crate) last_number: u64,
}

impl Note {
    /// The note of some news.
    pub(crate) fn of(news: &News) -> Self {
        use bedplate_works::works::Event;
        let mut about: Vec<String> =
            news.readings.iter().map(|r| format!("reading:{}", r.characteristic)).collect();
        about.extend(news.entries.iter().map(|kept| {
            match &kept.entry.event {
                Event::SetMade { .. }
                | Event::SetBroken { .. }
                | Event::SetChanged { .. }
                | Event::PieceHeld { .. }
                | Event::PieceKept { .. }
                | Event::PiecesParted { .. }
                | Event::BlockDue { .. }
                | Event::PieceFreed { .. }
                | Event::StockCounted { .. } => "set",
                Event::EngineBuilt { .. }
                | Event::StepDone { .. }
                | Event::StepWaived { .. }
                | Event::TestRun { .. }
                | Event::EnginePassed { .. }
                | Event::EngineHeld { .. } => "engine",
                Event::GaugeCalibrated { .. } => "gauge",
                Event::HolesDrilled { .. } => "balance",
                Event::OffsetMade { .. } | Event::ToolChanged { .. } => "machine",
                _ => "piece",
            }
            .to_owned()
        }));
        about.sort_unstable();
        about.dedup();
        Self { about, last_number: news.head.last_number }
    }

    /// Whether a page that listens for `wanted` (words with commas; empty for all) is concerned. A
    /// word ending in `:` stands for all that begin with it.
    fn concerns(&self, wanted: &str) -> bool {
        wanted.is_empty()
            || wanted.split(',').any(|w| {
                self.about.iter().any(|a| a == w || (w.ends_with(':') && a.starts_with(w)))
            })
    }
}

/// `GET /events?about=…`
pub(crate) async fn events(
    State(app): State<App>,
    asked: Asked,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let wanted = asked.owned("about").unwrap_or_default();
    let stream = BroadcastStream::new(app.news.subscribe()).filter_map(move |note| {
        let event = match note {
            Ok(note) if note.concerns(&wanted) => Some(news_event(&note)),
            Ok(_) => None,
            // Fell behind: whatever was missed, the page must look again.
            Err(_) => Some(Event::default().event("news").data("{}")),
        };
        std::future::ready(event.map(Ok))
    });
    Sse::new(stream).keep_alive(KeepAlive::new().interval(Duration::from_secs(15)))
}

fn news_event(note: &Note) -> Event {
    let data = serde_json::json!({ "about": note.about, "last_number": note.last_number });
    Event::default().event("news").id(note.last_number.to_string()).data(data.to_string())
}
