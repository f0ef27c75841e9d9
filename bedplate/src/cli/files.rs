//! Plain files of the commands that need no works folder.

use std::path::Path;

use bedplate_works::plain::PlainFault;

use crate::exit::{Exit, Trouble};

/// The bytes of a file; `-` is standard input.
pub(super) fn bytes(path: &Path) -> Result<Vec<u8>, Trouble> {
    if path.as_os_str() == "-" {
        let mut bytes = vec![];
        std::io::Read::read_to_end(&mut std::io::stdin().lock(), &mut bytes)
            .map_err(|e| Trouble::file(path, &e))?;
        return Ok(bytes);
    }
    std::fs::read(path).map_err(|e| Trouble::file(path, &e))
}

/// The text of a file.
pub(super) fn text(path: &Path) -> Result<String, Trouble> {
    String::from_utf8(bytes(path)?).map_err(|_| {
        let what = format!("{} is not UTF-8", path.display());
        Trouble::new(Exit::Refused, what, "save it as UTF-8")
    })
}

/// Writes a file; `-` is standard output.
pub(super) fn write(path: &Path, text: &str) -> Result<(), Trouble> {
    if path.as_os_str() == "-" {
        super::say::out(text);
        return Ok(());
    }
    std::fs::write(path, text).map_err(|e| Trouble::file(path, &e))
}

/// The name by which faults call a file.
pub(super) fn name(path: &Path) -> String {
    path.display().to_string()
}

/// Faults of plain files: data refused.
pub(super) fn refused(fault: &PlainFault) -> Trouble {
    Trouble::new(
        Exit::Refused,
        fault.to_string(),
        "mend the files and run it again; nothing was done",
    )
}
