//! The `trackpair` program: what was typed → what it means → run, exit codes, and the one place that knows the simulator.
//!
//! The pipeline itself is in `trackpair::cli`; this file gives it the outside world and turns its ending into an exit code.

mod sim_link;

use std::ffi::OsString;
use std::io::IsTerminal;
use std::process::ExitCode;
use tokio_util::sync::CancellationToken;
use trackpair::cli::{self, Arguments, Config, Surroundings};
use trackpair::job::Failure;

fn main() -> ExitCode {
    let arguments = Arguments::typed();
    // Ctrl-C, a closed terminal or a request to end: every wait looks at it.
    let stop = CancellationToken::new();
    let to_stop = stop.clone();
    if let Err(error) = ctrlc::set_handler(move || to_stop.cancel()) {
        eprintln!(
            "trackpair: can't listen for Ctrl-C: {error}; the rig still stops by itself when this program ends"
        );
    }
    let log = match arguments.logging.begin() {
        Ok(log) => log,
        Err(failure) => return told(&failure),
    };
    // https://no-color.org: set to anything but nothing. A dumb terminal can neither paint nor go back to draw over a bar.
    let set = |name| std::env::var_os(name).is_some_and(|value: OsString| !value.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    let surroundings = Surroundings {
        open_simulator: &sim_link::open,
        config: &Config::load(),
        stop: &stop,
        colour: std::io::stdout().is_terminal() && !dumb && !set("NO_COLOR"),
        progress: std::io::stderr().is_terminal() && !dumb,
    };
    let done = cli::run(&arguments, &surroundings);
    drop(log);
    cli::all_said();
    match done {
        Ok(ending) => ExitCode::from(ending.code()),
        Err(failure) => told(&failure),
    }
}

fn told(failure: &Failure) -> ExitCode {
    eprintln!("trackpair: {:#}", failure.error());
    ExitCode::from(cli::code_of(failure))
}
