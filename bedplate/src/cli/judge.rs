//! `bedplate judge`

use std::path::PathBuf;

use bedplate_works::judge::Judged;
use bedplate_works::plain;
use bedplate_works::wire::Word;
use clap::Args;

use super::{Answer, InWorks, files, say};
use crate::exit::{Exit, Trouble};

#[derive(Debug, Args)]
pub(super) struct Judge {
    /// CSV file of readings to be judged by --limits.
    #[arg(conflicts_with = "piece", requires = "limits")]
    file: Option<PathBuf>,
    /// Limits, gauge and decision rule, as in a works file.
    #[arg(long, value_name = "FILE")]
    limits: Option<PathBuf>,
    /// Writes the judged rows, worst first.
    #[arg(long, value_name = "FILE", requires = "limits")]
    out: Option<PathBuf>,
    /// A piece of the works, or an engine: all its readings.
    #[arg(long, required_unless_present = "file")]
    piece: Option<String>,
    #[command(flatten)]
    works: InWorks,
}

impl Judge {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        match (&self.file, &self.limits, &self.piece) {
            (Some(file), Some(limits), _) => self.of_file(file, limits),
            (_, _, Some(piece)) => self.of_piece(piece),
            _ => Err(Trouble::usage("name a file with --limits, or a --piece", "")),
        }
    }

    fn of_file(&self, file: &std::path::Path, limits: &std::path::Path) -> Result<Answer, Trouble> {
        let (rows, rules) = (files::bytes(file)?, files::text(limits)?);
        let (file_name, limits_name) = (files::name(file), files::name(limits));
        let answer = plain::judge::judge((&file_name, &rows), (&limits_name, &rules))
            .map_err(|f| files::refused(&f))?;
        if let Some(out) = &self.out {
            files::write(out, &answer.csv())?;
        }
        let c = answer.counts;
        let judged: Vec<&Judged> = answer.rows.iter().map(|r| &r.judged).collect();
        let text = format!(
            "{} accepted, {} rejected, {} too close to call, {} not judged\n{}",
            c.accept,
            c.reject,
            c.cannot_tell,
            c.not_judged,
            judged_table(&judged)
        );
        let exit = if c.reject + c.cannot_tell > 0 { Exit::No } else { Exit::Done };
        Answer::new(text, &answer, exit)
    }

    fn of_piece(&self, piece: &str) -> Result<Answer, Trouble> {
        let works = self.works.look()?;
        let kept = works.readings_of_piece(piece)?;
        if kept.is_empty() {
            let what = format!("there is no reading of {piece}");
            return Err(Trouble::usage(what, "look for it with `bedplate trace`"));
        }
        let judged: Vec<Judged> = kept.iter().map(|k| works.judged(k)).collect();
        let word = judged.iter().map(|j| j.word).filter(|w| *w != Word::NotJudged);
        let word = word.fold(Word::Accept, Word::worse);
        let shown: Vec<&Judged> = judged.iter().collect();
        Answer::new(judged_table(&shown), &judged, say::exit_of(word))
    }
}

/// Judged readings as a table.
pub(super) fn judged_table(judged: &[&Judged]) -> String {
    let rows: Vec<Vec<String>> = judged
        .iter()
        .map(|j| {
            vec![
                j.piece.clone(),
                format!("{} {}", j.characteristic, j.position).trim_end().to_owned(),
                j.value.with_unit(),
                j.deviation.as_ref().map_or_else(String::new, |d| d.with_unit()),
                j.word.text().to_lowercase(),
                j.reason.clone(),
            ]
        })
        .collect();
    say::table(&["piece", "characteristic", "value", "from nominal", "judged", "why"], &rows)
}
