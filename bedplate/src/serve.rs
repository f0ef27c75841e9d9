//! Serving a works' pages on this machine.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use crate::exit::{Exit, Trouble};
use crate::open;
use crate::web::{App, router};

/// The port tried first when none is named, and how many after it.
const PORT: u16 = 7868;
const PORTS_TRIED: u16 = 20;

/// What is served, and how.
#[derive(Debug, Clone)]
pub(crate) struct Serving {
    /// The works' folder; the demo works is laid there if it is not there yet and is the demo's own
    /// folder.
    pub(crate) folder: PathBuf,
    /// Address to listen on; a free port on loopback if none.
    pub(crate) listen: Option<SocketAddr>,
    /// Whether to open the address in a browser.
    pub(crate) open_browser: bool,
}

/// Events as lines on standard error; how many is set by `BEDPLATE_LOG`, such as `info`.
fn log_events() {
    let wanted = tracing_subscriber::EnvFilter::try_from_env("BEDPLATE_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("warn"));
    let lines = tracing_subscriber::fmt().with_env_filter(wanted).with_writer(std::io::stderr);
    // A second server in one process keeps the first one's lines.
    let _ = lines.try_init();
}

/// Serves until told to stop.
pub(crate) fn serve(serving: &Serving) -> Result<(), Trouble> {
    log_events();
    if let Some(listen) = serving.listen
        && !listen.ip().is_loopback()
    {
        let what = format!("{listen} would be reached from other machines");
        let hint =
            "this edition serves its own machine only; put a server with TLS and sign-in in front";
        return Err(Trouble::usage(what, hint));
    }
    let opened = if !open::is_works(&serving.folder) && serving.folder == open::demo_folder() {
        open::clear_cut_short(&serving.folder)?;
        anstream::eprintln!("Laying the demo works in {} …", serving.folder.display());
        open::lay_demo(&serving.folder, bedplate_demo::SEED)?
    } else {
        open::open(&serving.folder)?
    };
    for line in &opened.found {
        anstream::eprintln!("Found on opening: {line}.");
    }
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|e| Trouble::new(Exit::Outside, format!("no server can be started: {e}"), ""))?;
    runtime.block_on(run(App::new(opened.works), serving))
}

async fn run(app: App, serving: &Serving) -> Result<(), Trouble> {
    let listener = listener(serving.listen).await?;
    let address = listener
        .local_addr()
        .map_err(|e| Trouble::new(Exit::Outside, format!("the address cannot be told: {e}"), ""))?;
    let works = app.works.plan().works.name.clone();
    anstream::println!("{works} is served at http://{address}/  (Ctrl-C ends)");
    if serving.open_browser {
        // A machine without a browser is no trouble: the address is printed.
        let _ = open::browse(&format!("http://{address}/"));
    }
    axum::serve(listener, router(app))
        .with_graceful_shutdown(stopped())
        .await
        .map_err(|e| Trouble::new(Exit::Outside, format!("serving ended: {e}"), ""))
}

async fn listener(asked: Option<SocketAddr>) -> Result<tokio::net::TcpListener, Trouble> {
    let loopback = IpAddr::V4(Ipv4Addr::LOCALHOST);
    let tried: Vec<SocketAddr> = match asked {
        Some(address) => vec![address],
        None => (PORT..PORT + PORTS_TRIED).map(|port| SocketAddr::new(loopback, port)).collect(),
    };
    let mut last = None;
    for address in &tried {
        match tokio::net::TcpListener::bind(address).await {
            Ok(listener) => return Ok(listener),
            Err(e) => last = Some(format!("{address}: {e}")),
        }
    }
    let what = last.unwrap_or_else(|| "no address to listen on".to_owned());
    Err(Trouble::new(Exit::Outside, what, "name a free one with --listen 127.0.0.1:PORT"))
}

/// Ctrl-C, or a polite request of the system to stop.
async fn stopped() {
    let interrupted = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminated) = signal(SignalKind::terminate()) {
            tokio::select! { _ = interrupted => {}, _ = terminated.recv() => {} }
            return;
        }
    }
    let _ = interrupted.await;
}
