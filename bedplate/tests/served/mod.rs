//! A works that is served for a test: its own folder, its own port, ended with the test.
#![allow(dead_code, clippy::unwrap_used, reason = "each test file uses its own part")]

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The program under test.
pub(crate) fn bedplate() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bedplate"));
    command.env_remove("BEDPLATE_WORKS").env("NO_COLOR", "1");
    command
}

/// A served works.
pub(crate) struct Served {
    /// Its address without a slash at the end.
    pub(crate) address: String,
    /// Its folder.
    pub(crate) folder: PathBuf,
    server: Child,
    _holds: tempfile::TempDir,
}

impl Served {
    /// The demo works, laid anew.
    pub(crate) fn demo() -> Self {
        Self::laid("demo")
    }

    /// The small works, with no reading in it.
    pub(crate) fn small() -> Self {
        Self::laid("new")
    }

    fn laid(command: &str) -> Self {
        Self::prepared(|folder| {
            let laid = bedplate().arg(command).arg(folder).output().unwrap();
            assert!(laid.status.success(), "{}", String::from_utf8_lossy(&laid.stderr));
        })
    }

    /// A works that `prepare` lays in the folder it is given.
    pub(crate) fn prepared(prepare: impl FnOnce(&Path)) -> Self {
        let holds = tempfile::tempdir().unwrap();
        let folder = holds.path().join("works");
        prepare(&folder);
        let mut server = bedplate()
            .args(["serve", "--no-open", "--listen", "127.0.0.1:0", "--works"])
            .arg(&folder)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(server.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line
            .split_whitespace()
            .find(|w| w.starts_with("http://"))
            .unwrap_or_else(|| panic!("no address in {line:?}"))
            .trim_end_matches('/')
            .to_owned();
        Self { address, folder, server, _holds: holds }
    }

    /// What a path answers as JSON.
    pub(crate) fn json(&self, path: &str) -> serde_json::Value {
        let mut answer = ureq::get(format!("{}{path}", self.address))
            .header("accept", "application/json")
            .call()
            .unwrap_or_else(|e| panic!("{path}: {e}"));
        answer.body_mut().read_json().unwrap()
    }

    /// What a deed answers: its status and JSON.
    pub(crate) fn post(&self, path: &str, body: &serde_json::Value) -> (u16, serde_json::Value) {
        let agent: ureq::Agent =
            ureq::Agent::config_builder().http_status_as_error(false).build().into();
        let mut answer = agent.post(format!("{}{path}", self.address)).send_json(body).unwrap();
        (answer.status().as_u16(), answer.body_mut().read_json().unwrap())
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

/// A free port of this machine.
pub(crate) fn free_port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// The driver of the browser, ended with the test.
pub(crate) struct Driver {
    /// Its address.
    pub(crate) address: String,
    child: Child,
}

impl Driver {
    /// Starts it. A machine without it fails the test: nothing is skipped.
    pub(crate) fn start() -> Self {
        let port = free_port();
        let child = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed by ./check");
        let address = format!("http://127.0.0.1:{port}");
        let began = Instant::now();
        while ureq::get(format!("{address}/status")).call().is_err() {
            assert!(began.elapsed() < Duration::from_secs(60), "chromedriver does not answer");
            std::thread::sleep(Duration::from_millis(100));
        }
        Self { address, child }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The folder of plain example files.
pub(crate) fn examples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples")
}
