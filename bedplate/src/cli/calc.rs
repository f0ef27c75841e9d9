//! `bedplate calc`

use bedplate_handbook::answer::run as run_calculation;
use bedplate_handbook::{describe, given, list};
use clap::Args;
use serde_json::Value;

use super::{Answer, files};
use crate::exit::{Exit, Trouble};

#[derive(Debug, Args)]
pub(super) struct Calc {
    /// The calculation's name.
    #[arg(required_unless_present = "list")]
    name: Option<String>,
    /// Inputs as NAME="VALUE UNIT"; @FILE.csv reads a table; none shows what it needs, and with
    /// --json reads an object from standard input.
    #[arg(value_name = "NAME=VALUE")]
    inputs: Vec<String>,
    /// Lists every calculation.
    #[arg(long)]
    list: bool,
}

impl Calc {
    pub(super) fn run(&self, json: bool) -> Result<Answer, Trouble> {
        let Some(name) = self.name.as_ref().filter(|_| !self.list) else {
            let all: Vec<Value> = list::all().iter().map(|c| describe::describe(c)).collect();
            return Answer::new(describe::list_text(), &all, Exit::Done);
        };
        let calculation = list::find(name)
            .map_err(|e| Trouble::usage(e.to_string(), "see `bedplate calc --list`"))?;
        if self.inputs.is_empty() && !json && !calculation.inputs.is_empty() {
            let text = describe::help_text(calculation);
            return Answer::new(text, &describe::describe(calculation), Exit::Done);
        }
        let read =
            |path: &str| files::bytes(std::path::Path::new(path)).map_err(|trouble| trouble.what);
        let given = if self.inputs.is_empty() {
            let text = files::text(std::path::Path::new("-"))?;
            let value: Value = serde_json::from_str(&text).map_err(|e| {
                let hint = "send an object of inputs, such as {\"bore\": \"68.0087 mm\"}";
                Trouble::new(Exit::Refused, format!("standard input is no JSON: {e}"), hint)
            })?;
            given::from_json(calculation, &value, &read)
        } else {
            given::from_arguments(calculation, &self.inputs, &read)
        }
        .map_err(|problems| {
            let hint = format!("see `bedplate calc {name}` for what it needs");
            Trouble::new(Exit::Refused, problems.to_string(), hint)
        })?;
        let outcome = run_calculation(calculation, &given)
            .map_err(|e| Trouble::new(Exit::Refused, e.to_string(), ""))?;
        Answer::new(outcome.to_text(), &outcome.to_json(), Exit::Done)
    }
}
