//! Logs on standard error, for those who ask with the variable `RUST_LOG` (for instance `RUST_LOG=rowfall=info`).

use std::io::stderr;
use tracing_subscriber::EnvFilter;

/// Starts logging; without `RUST_LOG` only errors are shown.
pub fn start(colour: bool) {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("error"));
    // A second start (tests in one process) keeps the first.
    let _ = tracing_subscriber::fmt().with_env_filter(filter).with_ansi(colour).with_writer(stderr).try_init();
}
