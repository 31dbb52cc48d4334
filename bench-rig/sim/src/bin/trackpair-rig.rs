//! The simulated bench rig as a program: draws a part, serves it in real time on a pty or a TCP port. `trackpair-rig parts` lists them.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::Context;
use clap::{Parser, Subcommand};
use trackpair_rig_sim::address::Address;
use trackpair_rig_sim::drive_log::DriveLog;
use trackpair_rig_sim::occasion::Occasion;
use trackpair_rig_sim::serve::{self, Link, Listen, Script};
use trackpair_rig_sim::{Operator, SimBoard, address, parts};

/// A simulated Trackpair bench rig with a part on it.
#[derive(Debug, Parser)]
#[command(name = "trackpair-rig", version, args_conflicts_with_subcommands = true)]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
    /// Part on the rig: a name (see `trackpair-rig parts`), a part file ending in .toml, or GRIP+BODY
    #[arg(long, default_value = "good-grip", value_name = "NAME|FILE")]
    part: String,
    /// Draws part and rig: the same seed gives the same
    #[arg(long, default_value_t = 0)]
    seed: u64,
    /// Where hosts connect: pty, or tcp:HOST:PORT (port 0 takes a free one)
    #[arg(long, default_value = "pty")]
    listen: String,
    /// Who is beside the rig while its drive is off: none, hand, flex, flex-places, hand+flex, push
    #[arg(long, default_value = "none")]
    operator: String,
    /// How the room grows warmer, °C per minute
    #[arg(long, default_value_t = 0.0, value_name = "CELSIUS", allow_negative_numbers = true)]
    warm: f64,
    /// Write everything that was drawn, as JSON
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
    /// Write a line whenever the drive goes on or off: computer's µs, rig's µs, on|off
    #[arg(long, value_name = "FILE")]
    drive_log: Option<PathBuf>,
    /// Press the E-stop this many seconds after the start
    #[arg(long, value_name = "S")]
    estop_after: Option<f64>,
    /// Open the lid this many seconds after the start
    #[arg(long, value_name = "S")]
    lid_after: Option<f64>,
    /// Overheat the rig this many seconds after the start
    #[arg(long, value_name = "S")]
    hot_after: Option<f64>,
    /// Let the sensor supply sag to 3 V this many seconds after the start
    #[arg(long, value_name = "S")]
    sag_after: Option<f64>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// List the named parts
    Parts,
}

/// What was typed cannot be meant: exit code 2.
#[derive(Debug)]
struct Usage(anyhow::Error);

/// Which exit code an error has.
enum Failure {
    Usage(anyhow::Error),
    Other(anyhow::Error),
}

impl From<Usage> for Failure {
    fn from(usage: Usage) -> Self {
        Self::Usage(usage.0)
    }
}

impl From<anyhow::Error> for Failure {
    fn from(error: anyhow::Error) -> Self {
        Self::Other(error)
    }
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let done = match arguments.command {
        Some(Command::Parts) => list_parts().map_err(Failure::Other),
        None => serve_part(&arguments),
    };
    let (code, error) = match done {
        Ok(()) => return ExitCode::SUCCESS,
        Err(Failure::Usage(error)) => (2, error),
        Err(Failure::Other(error)) => (1, error),
    };
    eprintln!("error: {error:#}");
    ExitCode::from(code)
}

fn usage(error: impl Into<anyhow::Error>) -> Usage {
    Usage(error.into())
}

fn list_parts() -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    for part in parts::ALL {
        writeln!(out, "{:<26}{}", part.name, part.summary)?;
    }
    Ok(())
}

fn serve_part(arguments: &Arguments) -> Result<(), Failure> {
    let listen: Listen = arguments.listen.parse().map_err(usage)?;
    let operator: Operator = arguments.operator.parse().map_err(usage)?;
    let (part, body) = address::parts_at(&arguments.part, arguments.seed).map_err(usage)?;
    let (seed, warming, occasion) = (arguments.seed, arguments.warm, Occasion::default());
    let board = Address { part, body, seed, operator, warming, occasion }.board();
    if let Some(path) = &arguments.truth {
        write_truth(&board, path)?;
    }
    let drive_log = match &arguments.drive_log {
        Some(path) => Some(
            DriveLog::create(path)
                .with_context(|| format!("cannot write the drive log to {}", path.display()))?,
        ),
        None => None,
    };
    let link = Link::open(&listen).map_err(anyhow::Error::from)?;
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed)).context("cannot listen for Ctrl-C")?;
    announce(link.address())?;
    let script = Script {
        estop_after_s: arguments.estop_after,
        lid_after_s: arguments.lid_after,
        hot_after_s: arguments.hot_after,
        sag_after_s: arguments.sag_after,
    };
    Ok(serve::run(board, &link, script, drive_log, &stop).map_err(anyhow::Error::from)?)
}

fn announce(address: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "listening on {address}")?;
    // A script may stop reading after the line it needs: nothing more goes to stdout.
    eprintln!("simulated rig and part; Ctrl-C ends");
    Ok(out.flush()?)
}

fn write_truth(board: &SimBoard, path: &Path) -> anyhow::Result<()> {
    let text = serde_json::to_string_pretty(&board.truth())?;
    std::fs::write(path, text + "\n").with_context(|| format!("cannot write the truth to {}", path.display()))
}
