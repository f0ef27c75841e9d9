//! `bedplate import`

use std::path::PathBuf;

use bedplate_works::receive::Receipt;
use bedplate_works::worksheet::Defaults;
use bedplate_works::worksheet::refused::refused_csv;
use bedplate_works::{instant, works::Works};
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};

use super::{Answer, By, InWorks};
use crate::clock;
use crate::exit::{Exit, Trouble};

#[derive(Debug, Args)]
pub(super) struct Import {
    /// CSV files; `-` reads standard input.
    #[arg(required = true)]
    files: Vec<PathBuf>,
    #[command(flatten)]
    works: InWorks,
    #[command(flatten)]
    by: By,
    /// When the readings were taken, where no row says.
    #[arg(long, value_name = "INSTANT")]
    at: Option<String>,
    /// The gauge, where no row says.
    #[arg(long)]
    gauge: Option<String>,
    /// The machine, where no row says.
    #[arg(long)]
    machine: Option<String>,
    /// The spindle, where no row says.
    #[arg(long)]
    spindle: Option<String>,
    /// A file for the refused rows, to be mended and read again.
    #[arg(long, value_name = "FILE")]
    refused: Option<PathBuf>,
}

impl Import {
    pub(super) fn run(&self, json: bool) -> Result<Answer, Trouble> {
        let deed = self.by.deed()?;
        let works = self.works.open()?;
        let defaults = self.defaults(&works)?;
        let mut receipts = vec![];
        for file in &self.files {
            let deed = match &self.by.deed {
                Some(key) => clock::deed_with_key(&deed.by, &format!("{key}/{}", file.display())),
                None => clock::deed(&deed.by),
            };
            receipts.push((file, self.one(&works, &deed, file, &defaults, json)?));
        }
        self.write_refused(&receipts)?;
        let text: Vec<String> = receipts.iter().map(|(f, r)| receipt_text(f, r)).collect();
        let figures: Vec<&Receipt> = receipts.iter().map(|(_, r)| r).collect();
        let any_refused = figures.iter().any(|r| !r.refused.is_empty());
        let any_no = figures.iter().any(|r| r.rejected + r.cannot_tell > 0);
        let exit = match (any_refused, any_no) {
            (true, _) => Exit::Refused,
            (false, true) => Exit::No,
            (false, false) => Exit::Done,
        };
        Answer::new(text.join("\n"), &figures, exit)
    }

    fn defaults(&self, works: &Works) -> Result<Defaults, Trouble> {
        let zone = instant::zone(&works.plan().works.time_zone);
        let at = match &self.at {
            None => None,
            Some(text) => Some(instant::parse(text, &zone).ok_or_else(|| {
                let hint = "write it like 2026-11-24T14:10 or 2026-11-24T14:10:00+00:00";
                Trouble::usage(format!("\"{text}\" is no instant"), hint)
            })?),
        };
        Ok(Defaults {
            at,
            gauge: self.gauge.clone(),
            machine: self.machine.clone(),
            spindle: self.spindle.clone(),
            ..Defaults::default()
        })
    }

    fn one(
        &self,
        works: &Works,
        deed: &bedplate_works::works::Deed,
        file: &std::path::Path,
        defaults: &Defaults,
        json: bool,
    ) -> Result<Receipt, Trouble> {
        if file.as_os_str() == "-" {
            let input = std::io::stdin().lock();
            return Ok(works.import(deed, "standard input", input, None, defaults)?);
        }
        let name = file.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        let opened = std::fs::File::open(file).map_err(|e| Trouble::file(file, &e))?;
        let size = opened.metadata().map_or(0, |m| m.len());
        let bar = if json { ProgressBar::hidden() } else { ProgressBar::new(size) };
        if let Ok(style) = ProgressStyle::with_template("{wide_bar} {bytes} of {total_bytes}") {
            bar.set_style(style);
        }
        let input = bar.wrap_read(std::io::BufReader::new(opened));
        let receipt = works.import(deed, &name, input, None, defaults);
        bar.finish_and_clear();
        Ok(receipt?)
    }

    fn write_refused(&self, receipts: &[(&PathBuf, Receipt)]) -> Result<(), Trouble> {
        let Some(path) = &self.refused else { return Ok(()) };
        let texts = receipts
            .iter()
            .filter(|(_, r)| !r.refused.is_empty())
            .filter_map(|(_, r)| Some(refused_csv(r.mapping.as_ref()?, &r.refused)));
        let text: String = texts.collect();
        std::fs::write(path, text).map_err(|e| Trouble::file(path, &e))
    }
}

/// How many refused rows are told on the terminal.
const REFUSED_TOLD: usize = 40;

fn receipt_text(file: &std::path::Path, r: &Receipt) -> String {
    let mut lines = vec![format!(
        "{}: {} rows taken, {} there already, {} refused; {} readings: {} accepted, {} rejected, {} too close to call",
        file.display(),
        r.taken,
        r.already,
        r.refused.len(),
        r.readings,
        r.accepted,
        r.rejected,
        r.cannot_tell
    )];
    for row in r.refused.iter().take(REFUSED_TOLD) {
        let column = row.column.as_ref().map_or_else(String::new, |(n, h)| format!(":{n} ({h})"));
        lines.push(format!("  {}:{}{column}: {}", file.display(), row.line, row.reason));
    }
    if r.refused.len() > REFUSED_TOLD {
        lines.push(format!("  and {} more", r.refused.len() - REFUSED_TOLD));
    }
    lines.join("\n")
}
