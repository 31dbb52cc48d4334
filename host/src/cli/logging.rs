//! The program's log, for whoever looks for a fault of the line. It goes to stderr above the progress bar, or to a file.
//!
//! A thread of its own writes: a terminal that is paused or a disk that is slow holds up nobody who talks to a rig.

use super::terminal::progress::above_the_bar;
use crate::job::Failure;
use anyhow::Context;
use clap::Args;
use std::fs::File;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;
use tracing_subscriber::Layer;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::fmt::MakeWriter;
use tracing_subscriber::layer::SubscriberExt;

/// Lines that may wait to be written; more are dropped.
const MOST_WAITING: usize = 10_000;
/// How long what waits is written at the end.
const LAST_LINES: Duration = Duration::from_millis(200);

/// What is logged, and where.
#[derive(Args, Debug, Default)]
pub struct Logging {
    /// Log what happens on the line: -v sessions, runs, guards and faults; -vv also repeats, damaged frames and gaps
    #[arg(short, long, action = clap::ArgAction::Count, global = true, help_heading = "Log")]
    pub verbose: u8,
    /// What is logged, by level and module: warn, trackpair=debug
    #[arg(long, value_name = "FILTER", env = "TRACKPAIR_LOG", global = true, help_heading = "Log")]
    pub log: Option<String>,
    /// Log into this file instead of stderr; it is added to
    #[arg(long, value_name = "FILE", global = true, help_heading = "Log")]
    pub log_file: Option<PathBuf>,
}

/// The log while it is on; at its end what waits is written.
pub struct Log {
    lines: Option<SyncSender<Line>>,
}

enum Line {
    Text(Vec<u8>),
    End(SyncSender<()>),
}

impl Logging {
    /// Begins the log, when one is asked for.
    ///
    /// # Errors
    /// [`Failure::Usage`] for a filter that can't be understood or a file that can't be written.
    pub fn begin(&self) -> Result<Log, Failure> {
        let level = match (self.verbose, &self.log_file) {
            (0, None) => "off",
            (0 | 1, _) => "trackpair=info",
            _ => "trackpair=debug",
        };
        let filter = self.log.as_deref().unwrap_or(level);
        if filter == "off" {
            return Ok(Log { lines: None });
        }
        let parsed = filter
            .parse::<Targets>()
            .with_context(|| format!("--log {filter}: can't be understood; give a level (error, warn, info, debug) or MODULE=LEVEL, divided by commas"))
            .map_err(Failure::Usage)?;
        let file = self.log_file.as_ref().map(|path| {
            File::options().create(true).append(true).open(path).with_context(|| {
                format!("can't write the log to {}; give another --log-file", path.display())
            })
        });
        let file = file.transpose().map_err(Failure::Usage)?;
        let (lines, waiting) = sync_channel(MOST_WAITING);
        let on_terminal = file.is_none();
        std::thread::spawn(move || write_lines(&waiting, file));
        let written = tracing_subscriber::fmt::layer()
            .with_ansi(on_terminal && io::IsTerminal::is_terminal(&io::stderr()))
            .with_writer(Lines(lines.clone()))
            .with_target(false)
            .with_filter(parsed);
        let log = tracing_subscriber::registry().with(written);
        // Only a second log in one process could be refused, and there is none.
        let _ = tracing::subscriber::set_global_default(log);
        Ok(Log { lines: Some(lines) })
    }
}

impl Drop for Log {
    fn drop(&mut self) {
        let Some(lines) = &self.lines else { return };
        let (written, done) = sync_channel(1);
        if lines.try_send(Line::End(written)).is_ok() {
            let _ = done.recv_timeout(LAST_LINES);
        }
    }
}

/// Where `tracing` writes a line to.
struct Lines(SyncSender<Line>);

/// One line being put together.
struct OneLine<'a> {
    lines: &'a SyncSender<Line>,
    text: Vec<u8>,
}

impl<'a> MakeWriter<'a> for Lines {
    type Writer = OneLine<'a>;

    fn make_writer(&'a self) -> OneLine<'a> {
        OneLine { lines: &self.0, text: Vec::new() }
    }
}

impl Write for OneLine<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.text.extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Drop for OneLine<'_> {
    fn drop(&mut self) {
        // What has no room is dropped.
        let _ = self.lines.try_send(Line::Text(std::mem::take(&mut self.text)));
    }
}

fn write_lines(waiting: &Receiver<Line>, mut file: Option<File>) {
    for line in waiting {
        match (line, &mut file) {
            // A disk that is full loses the log, not the work.
            (Line::Text(text), Some(file)) => drop(file.write_all(&text)),
            (Line::Text(text), None) => above_the_bar(|| drop(io::stderr().write_all(&text))),
            (Line::End(written), _) => drop(written.send(())),
        }
    }
}
