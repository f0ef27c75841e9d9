//! The command line: what was typed, and one file a command.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use serde::Serialize;

use crate::clock;
use crate::exit::{Exit, Trouble};
use crate::open;
use bedplate_works::works::{Deed, Works};

mod balance;
mod bed;
mod build;
mod calc;
mod files;
mod import;
mod judge;
mod look;
mod matching;
mod say;
mod store;
mod works;

const EXIT_CODES: &str = "\
Exit codes:
  0   done, all accepted
  1   done, and the verdict is no: something rejected, or it cannot be told
  2   asked in the wrong way
  3   data refused
  4   the record is damaged
  5   the outside world: disk, database, network
  70  a fault of this program

Without a command the demo works is laid (once) and served on this machine.";

/// Plans, gauges, matches, balances, builds, tests and records engines.
#[derive(Debug, Parser)]
#[command(name = "bedplate", version, about, long_about = None, after_help = EXIT_CODES)]
#[command(subcommand_help_heading = "Commands, in the order of the works")]
struct Typed {
    /// Answers as JSON, for programs.
    #[arg(long, global = true)]
    json: bool,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serves a works' pages and API on this machine.
    #[command(after_help = "Example:\n  bedplate serve --works quarrybeck --listen 127.0.0.1:7868")]
    Serve(works::Serve),
    /// Lays a small works, fully explained, into an empty folder.
    #[command(after_help = "Example:\n  bedplate new my-works")]
    New(works::New),
    /// Lays the demo works into an empty folder.
    #[command(after_help = "Example:\n  bedplate demo quarrybeck")]
    Demo(works::Demo),
    /// Reads files of readings into the record.
    #[command(after_help = "Example:\n  bedplate import readings-long.csv --by v-marl")]
    Import(import::Import),
    /// Judges readings: of a file by its limits, or of a piece in the works.
    #[command(
        after_help = "Examples:\n  bedplate judge bores-judge.csv --limits limits.toml\n  bedplate judge --piece B02612"
    )]
    Judge(judge::Judge),
    /// Matches pistons to bores: of files, or of the store of the works.
    #[command(
        after_help = "Examples:\n  bedplate match --blocks blocks.csv --pistons pistons.csv --rules rules.toml --out fit.csv\n  bedplate match --make --by j-quill"
    )]
    Match(matching::Match),
    /// Shows what lies in the store for sets; holds, keeps, parts pieces; counts graded stock.
    #[command(
        after_help = "Examples:\n  bedplate store\n  bedplate store --hold P10021 --reason \"mark on the skirt\" --by j-quill\n  bedplate store --count main_shell M2 40 --by j-quill"
    )]
    Store(store::Store),
    /// Says where and how deep to drill a rotor: of a file, or of a piece in the works.
    #[command(
        after_help = "Examples:\n  bedplate balance crankshaft.toml\n  bedplate balance --piece C02642 --drilled --by j-quill"
    )]
    Balance(balance::Balance),
    /// Begins an engine, shows its build, marks its steps.
    #[command(
        after_help = "Examples:\n  bedplate build --begin --set K02641 --by j-quill\n  bedplate build 06631 --step prime --by j-quill"
    )]
    Build(build::Build),
    /// Reduces and judges a test run: of files, or of an engine in the works.
    #[command(
        after_help = "Examples:\n  bedplate bed bed.csv --engine bed.toml\n  bedplate bed --of 06626 --pass --note \"second run in order\" --by e-stroud"
    )]
    Bed(bed::Bed),
    /// Shows the record of an engine.
    #[command(after_help = "Example:\n  bedplate record 04001")]
    Record(look::Record),
    /// Traces a piece, engine, set, gauge or heat, forward and backward.
    #[command(after_help = "Example:\n  bedplate trace B01234")]
    Trace(look::Trace),
    /// Recomputes every seal of the record.
    #[command(after_help = "Example:\n  bedplate verify --works quarrybeck")]
    Verify(look::Verify),
    /// Works a calculation of the handbook.
    #[command(
        after_help = "Examples:\n  bedplate calc --list\n  bedplate calc piston-clearance bore=\"68.0087 mm\" piston=\"67.9702 mm\"\n  echo '{\"bore\": \"68.0087 mm\", \"piston\": \"67.9702 mm\"}' | bedplate calc piston-clearance --json"
    )]
    Calc(calc::Calc),
    /// Prints completions for a shell.
    #[command(
        after_help = "Example:\n  bedplate completions bash > ~/.local/share/bash-completion/completions/bedplate"
    )]
    Completions(works::Completions),
    /// Writes the book's reference of every calculation into a folder.
    #[command(hide = true)]
    Reference(works::Reference),
}

/// Which works a command is for.
#[derive(Debug, Args, Clone)]
struct InWorks {
    /// Folder of the works; the current folder if it holds one, else the demo works.
    #[arg(long, env = "BEDPLATE_WORKS", value_name = "FOLDER")]
    works: Option<PathBuf>,
}

impl InWorks {
    fn folder(&self) -> PathBuf {
        if let Some(folder) = &self.works {
            return folder.clone();
        }
        let here = PathBuf::from(".");
        if open::is_works(&here) { here } else { open::demo_folder() }
    }

    fn look(&self) -> Result<Works, Trouble> {
        open::open_to_look(&self.folder())
    }

    fn open(&self) -> Result<Works, Trouble> {
        let opened = open::open(&self.folder())?;
        for line in &opened.found {
            anstream::eprintln!("Found on opening: {line}.");
        }
        Ok(opened.works)
    }
}

/// Who does it.
#[derive(Debug, Args, Clone)]
struct By {
    /// Short name of the person who does it, as in the works file.
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
    /// Key of the deed: asking again with the same key does nothing twice.
    #[arg(long, value_name = "KEY")]
    deed: Option<String>,
}

impl By {
    fn deed(&self) -> Result<Deed, Trouble> {
        let Some(by) = &self.by else {
            let hint = "name the person with --by, as in the works file's [person.NAME]";
            return Err(Trouble::usage("it is not said who does this", hint));
        };
        Ok(match &self.deed {
            Some(key) => clock::deed_with_key(by, key),
            None => clock::deed(by),
        })
    }
}

/// What a command answered: its words, its figures and how it ended.
struct Answer {
    text: String,
    figures: serde_json::Value,
    exit: Exit,
}

impl Answer {
    fn new(text: String, figures: &impl Serialize, exit: Exit) -> Result<Self, Trouble> {
        let figures = serde_json::to_value(figures).map_err(|e| {
            Trouble::new(Exit::Bug, format!("the figures could not be written: {e}"), "")
        })?;
        Ok(Self { text, figures, exit })
    }
}

/// Runs what was typed.
pub(crate) fn run() -> ExitCode {
    let typed = Typed::parse();
    let json = typed.json;
    match answer(typed) {
        Ok(None) => Exit::Done.into(),
        Ok(Some(answer)) => {
            let text = if json {
                serde_json::to_string_pretty(&answer.figures).unwrap_or_default()
            } else {
                answer.text
            };
            say::out(&text);
            answer.exit.into()
        }
        Err(trouble) => {
            if json {
                say::out(&crate::web::answer::trouble_json(&trouble).to_string());
            }
            anstream::eprintln!("bedplate: {}", trouble.what);
            if !trouble.hint.is_empty() {
                anstream::eprintln!("{}", trouble.hint);
            }
            trouble.exit.into()
        }
    }
}

fn answer(typed: Typed) -> Result<Option<Answer>, Trouble> {
    let json = typed.json;
    let Some(command) = typed.command else {
        return works::serve_demo().map(|()| None);
    };
    match command {
        Command::Serve(c) => c.run().map(|()| None),
        Command::New(c) => c.run().map(Some),
        Command::Demo(c) => c.run().map(Some),
        Command::Import(c) => c.run(json).map(Some),
        Command::Judge(c) => c.run().map(Some),
        Command::Match(c) => c.run().map(Some),
        Command::Store(c) => c.run().map(Some),
        Command::Balance(c) => c.run().map(Some),
        Command::Build(c) => c.run().map(Some),
        Command::Bed(c) => c.run().map(Some),
        Command::Record(c) => c.run().map(Some),
        Command::Trace(c) => c.run().map(Some),
        Command::Verify(c) => c.run(json).map(Some),
        Command::Calc(c) => c.run(json).map(Some),
        Command::Completions(c) => c.run::<Typed>().map(|()| None),
        Command::Reference(c) => c.run().map(Some),
    }
}
