//! A works folder: where it lies, opening it, laying a new or the demo one.

use std::path::{Path, PathBuf};

use bedplate_works::plan::Plan;
use bedplate_works::works::{SqliteStore, Works, WorksError};

use crate::clock;
use crate::exit::{Exit, Trouble};

/// The plan's file in a works folder.
pub(crate) const WORKS_FILE: &str = "works.toml";
/// The record's file in a works folder.
pub(crate) const LEDGER_FILE: &str = "ledger.db";
/// The name under which the program itself bears entries, such as a new edition of the plan.
pub(crate) const PROGRAM: &str = "bedplate";

/// The folder of the demo works when none is named: in the user's data folder, since the record is
/// data.
pub(crate) fn demo_folder() -> PathBuf {
    let absolute =
        |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    let data = absolute("XDG_DATA_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".local/share")))
        .unwrap_or_else(std::env::temp_dir);
    data.join("bedplate").join("quarrybeck")
}

/// Whether a folder holds a works.
pub(crate) fn is_works(folder: &Path) -> bool {
    folder.join(WORKS_FILE).is_file()
}

/// What opening found, in words for the terminal and the log.
pub(crate) struct Opened {
    /// The works.
    pub(crate) works: Works,
    /// What start-up found.
    pub(crate) found: Vec<String>,
}

fn read_plan(folder: &Path) -> Result<Plan, Trouble> {
    let file = folder.join(WORKS_FILE);
    if !file.is_file() {
        let what = format!("{} holds no {WORKS_FILE}", folder.display());
        let hint =
            "lay a works with `bedplate new FOLDER`, or the demo with `bedplate demo FOLDER`";
        return Err(Trouble::new(Exit::Usage, what, hint));
    }
    bedplate_works::plan::read::read(&file).map_err(|fault| WorksError::from(fault).into())
}

/// Opens a works for reading and writing.
pub(crate) fn open(folder: &Path) -> Result<Opened, Trouble> {
    let plan = read_plan(folder)?;
    let (store, opened) = SqliteStore::open(&folder.join(LEDGER_FILE)).map_err(WorksError::from)?;
    let mut found = vec![];
    if opened.ended_suddenly {
        found.push(
            "the program before did not close the record; nothing acknowledged was lost".to_owned(),
        );
    }
    if let Some(broken) = &opened.broken {
        found.push(format!(
            "the record is damaged at number {}: {}; run `bedplate verify`",
            broken.number, broken.finding
        ));
    }
    let works = Works::open(folder, plan, Box::new(store), &clock::deed(PROGRAM))?;
    Ok(Opened { works, found })
}

/// Opens a works for looking only, also while another process serves it.
pub(crate) fn open_to_look(folder: &Path) -> Result<Works, Trouble> {
    let plan = read_plan(folder)?;
    let (store, _) =
        SqliteStore::open_read_only(&folder.join(LEDGER_FILE)).map_err(WorksError::from)?;
    Ok(Works::look(folder, plan, Box::new(store))?)
}

/// Opens a record alone, for verifying: its entries need not make sense.
pub(crate) fn open_record(folder: &Path) -> Result<SqliteStore, Trouble> {
    let ledger = folder.join(LEDGER_FILE);
    if !ledger.is_file() {
        let what = format!("{} holds no {LEDGER_FILE}", folder.display());
        return Err(Trouble::usage(what, "name the works' folder with --works"));
    }
    let (store, _) = SqliteStore::open_read_only(&ledger).map_err(WorksError::from)?;
    Ok(store)
}

/// Lays the demo works into a folder that must be empty or not there, and opens it.
pub(crate) fn lay_demo(folder: &Path, seed: u64) -> Result<Opened, Trouble> {
    prepare(folder)?;
    let demo = bedplate_demo::generate(seed);
    let (store, _) = SqliteStore::open(&folder.join(LEDGER_FILE)).map_err(WorksError::from)?;
    let floor = bedplate_works::works::lay(&store, demo.groups).map_err(WorksError::from)?;
    // Last, so that a folder whose laying was cut short is none of a works.
    write(&folder.join(WORKS_FILE), demo.works_toml)?;
    let (plan, store) = (read_plan(folder)?, Box::new(store));
    let works = Works::open_laid(folder, plan, store, floor, &clock::deed(PROGRAM))?;
    Ok(Opened { works, found: vec![] })
}

/// Removes what a laying of the demo that was cut short has left in the demo's own folder: a record
/// without a works file, which nobody was ever told of.
pub(crate) fn clear_cut_short(folder: &Path) -> Result<(), Trouble> {
    for ending in ["", "-wal", "-shm", ".lock"] {
        let path = folder.join(format!("{LEDGER_FILE}{ending}"));
        match std::fs::remove_file(&path) {
            Ok(()) => {}
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
            Err(e) => return Err(Trouble::file(&path, &e)),
        }
    }
    Ok(())
}

/// Lays a small works into a folder that must be empty or not there.
pub(crate) fn lay_new(folder: &Path) -> Result<(), Trouble> {
    prepare(folder)?;
    write(&folder.join(WORKS_FILE), bedplate_works::plan::SMALL_WORKS)
}

fn prepare(folder: &Path) -> Result<(), Trouble> {
    let is_empty = match std::fs::read_dir(folder) {
        Ok(mut entries) => entries.next().is_none(),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => true,
        Err(e) => return Err(Trouble::file(folder, &e)),
    };
    if !is_empty {
        let what = format!("{} is not empty", folder.display());
        return Err(Trouble::usage(what, "name a folder that is empty or not there yet"));
    }
    std::fs::create_dir_all(folder).map_err(|e| Trouble::file(folder, &e))
}

fn write(path: &Path, text: &str) -> Result<(), Trouble> {
    std::fs::write(path, text).map_err(|e| Trouble::file(path, &e))
}

/// Opens an address in the user's browser.
pub(crate) fn browse(address: &str) -> std::io::Result<()> {
    ::open::that_detached(address)
}
