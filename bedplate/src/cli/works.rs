//! Serving, laying, completions.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args, CommandFactory};
use serde_json::json;

use super::{Answer, InWorks};
use crate::exit::{Exit, Trouble};
use crate::open;
use crate::serve::{Serving, serve};

/// `bedplate` alone: the demo works, laid if it is not there, served and opened.
pub(super) fn serve_demo() -> Result<(), Trouble> {
    let in_works = InWorks { works: std::env::var_os("BEDPLATE_WORKS").map(PathBuf::from) };
    serve(&Serving { folder: in_works.folder(), listen: None, open_browser: true })
}

#[derive(Debug, Args)]
pub(super) struct Serve {
    #[command(flatten)]
    works: InWorks,
    /// Address and port on this machine; the first free port from 7868 if left out.
    #[arg(long, value_name = "ADDRESS:PORT")]
    listen: Option<SocketAddr>,
    /// Does not open a browser.
    #[arg(long)]
    no_open: bool,
}

impl Serve {
    pub(super) fn run(&self) -> Result<(), Trouble> {
        serve(&Serving {
            folder: self.works.folder(),
            listen: self.listen,
            open_browser: !self.no_open,
        })
    }
}

#[derive(Debug, Args)]
pub(super) struct New {
    /// Folder, empty or not there yet.
    folder: PathBuf,
}

impl New {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        open::lay_new(&self.folder)?;
        let at = self.folder.display();
        let text = format!(
            "A small works lies in {at}.\nEdit {at}/{}, then serve it: bedplate serve --works {at}",
            open::WORKS_FILE
        );
        Answer::new(text, &json!({ "folder": self.folder }), Exit::Done)
    }
}

#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Folder, empty or not there yet.
    folder: PathBuf,
    /// Seed of the generator: the same seed gives the same works.
    #[arg(long, default_value_t = bedplate_demo::SEED)]
    seed: u64,
}

impl Demo {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        open::lay_demo(&self.folder, self.seed)?;
        let at = self.folder.display();
        let text = format!("The demo works lies in {at}.\nServe it: bedplate serve --works {at}");
        Answer::new(text, &json!({ "folder": self.folder, "seed": self.seed }), Exit::Done)
    }
}

#[derive(Debug, Args)]
pub(super) struct Completions {
    /// The shell.
    shell: clap_complete::Shell,
}

impl Completions {
    pub(super) fn run<T: CommandFactory>(&self) -> Result<(), Trouble> {
        // Into memory first: a pipe that closes early must not end in a panic.
        let mut text = vec![];
        clap_complete::generate(self.shell, &mut T::command(), "bedplate", &mut text);
        super::say::out(&String::from_utf8_lossy(&text));
        Ok(())
    }
}

#[derive(Debug, Args)]
pub(super) struct Reference {
    /// Folder of the book's handbook pages.
    folder: PathBuf,
}

impl Reference {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        std::fs::create_dir_all(&self.folder).map_err(|e| Trouble::file(&self.folder, &e))?;
        let pages = bedplate_handbook::reference::reference();
        for (name, text) in &pages {
            let path = self.folder.join(name);
            std::fs::write(&path, text).map_err(|e| Trouble::file(&path, &e))?;
        }
        let text = format!("{} pages written to {}", pages.len(), self.folder.display());
        Answer::new(text, &json!({ "pages": pages.len() }), Exit::Done)
    }
}
