//! The book's reference, made from the list: one page a stage, and an index.

use bedplate_gauge::calculation::{Calculation, Shape, Stage};

use crate::answer::{block, run};
use crate::describe::{command_line, range_words, shape_name};
use crate::figure::heading;
use crate::given::{HOW_INPUTS_ARE_READ, from_texts, no_files};
use crate::list::all;

/// Every page as file name and Markdown: `index.md` first, then `plan.md`, `flow.md` and so on for
/// each stage that has calculations.
#[must_use]
pub fn reference() -> Vec<(String, String)> {
    let stages = Stage::ALL.into_iter().filter_map(|stage| {
        let of_stage: Vec<&Calculation> =
            all().iter().copied().filter(|c| c.stage == stage).collect();
        (!of_stage.is_empty()).then(|| (page_name(stage), page(stage, &of_stage)))
    });
    std::iter::once(("index.md".to_owned(), index())).chain(stages).collect()
}

fn page_name(stage: Stage) -> String {
    format!("{}.md", stage.name().to_lowercase())
}

fn index() -> String {
    let mut text = String::from(
        "# Reference of the calculations\n\n\
         Every calculation of the program, by the stage of the works it serves. Each can be run as \
         `bedplate calc NAME`, by `POST /api/calc/NAME`, and on the Handbook sheet.\n\n\
         ## How inputs are read\n\n",
    );
    text.push_str(&format!("```text\n{HOW_INPUTS_ARE_READ}\n```\n"));
    for stage in Stage::ALL {
        let of_stage: Vec<_> = all().iter().filter(|c| c.stage == stage).collect();
        if of_stage.is_empty() {
            continue;
        }
        text.push_str(&format!("\n## {}\n\n| calculation | question |\n|---|---|\n", stage.name()));
        for c in of_stage {
            let (title, question) = (cell(c.title), cell(c.question));
            text.push_str(&format!(
                "| [{title}]({}#{}) | {question} |\n",
                page_name(stage),
                c.name
            ));
        }
    }
    text
}

fn page(stage: Stage, calculations: &[&Calculation]) -> String {
    let mut text = format!("# {}: calculations\n", stage.name());
    for calculation in calculations {
        text.push_str(&entry(calculation));
    }
    text
}

fn entry(c: &Calculation) -> String {
    let mut text = format!(
        "\n<a id=\"{}\"></a>\n\n## {}\n\n{}\n\n`bedplate calc {}`\n",
        c.name, c.title, c.question, c.name
    );
    text.push_str(
        "\n| input | unit | meaning | shape | range | if left out |\n|---|---|---|---|---|---|\n",
    );
    for input in c.inputs {
        let shape = match input.shape {
            Shape::Choice(words) => format!("one of {}", words.join(", ")),
            Shape::Table(columns) => {
                format!("table: {}", columns.iter().map(heading).collect::<Vec<_>>().join(", "))
            }
            shape => shape_name(shape).to_owned(),
        };
        let default = match input.default {
            None => "must be given",
            Some("") => "none",
            Some(default) => default,
        };
        let (name, meaning) = (input.name, cell(input.meaning));
        let (shape, range, default) = (cell(&shape), cell(&range_words(input)), cell(default));
        let unit = input.unit;
        text.push_str(&format!(
            "| `{name}` | {unit} | {meaning} | {shape} | {range} | {default} |\n"
        ));
    }
    text.push_str("\n| output | unit | meaning |\n|---|---|---|\n");
    for output in c.outputs {
        let meaning = cell(output.meaning);
        text.push_str(&format!("| `{}` | {} | {meaning} |\n", output.name, output.unit));
    }
    text.push_str(&format!("\nFormula:\n\n```text\n{}\n```\n", c.formula.trim()));
    text.push_str(&format!("\nSource: {}\n\nWhere it holds: {}\n", c.source, c.validity));
    text.push_str(&example(c));
    text
}

/// The example as a command and what it prints. A declaration whose example does not run is caught
/// by a test of the list; the page then shows the command alone.
fn example(c: &Calculation) -> String {
    let mut text = format!("\nExample:\n\n```sh\n{}\n```\n", command_line(c));
    let given = from_texts(c, c.example, &no_files).ok();
    if let Some(outcome) = given.and_then(|given| run(c, &given).ok()) {
        text.push_str(&format!("\n```text\n{}```\n", block(&outcome.outputs)));
    }
    text
}

/// Text that stays inside one cell of a table.
fn cell(text: &str) -> String {
    text.trim().replace('|', "\\|").replace('\n', " ")
}
