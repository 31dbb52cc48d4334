//! How far a procedure is, on stderr: a bar on a terminal; elsewhere a line per procedure, and one at each quarter of it.
//!
//! A thread of its own draws: a terminal that is paused (Ctrl-S) or a pipe that nobody reads holds up what is drawn, never who talks to the rig.

use crate::procedure::{Progress, title};
use crate::trace::ProcedureKind;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::cell::Cell;
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// So long a line is waited for, to stand above what is printed next: well below the patience of a rig.
const DRAWN_WITHIN: Duration = Duration::from_millis(50);

/// Shows progress.
pub struct Meter {
    to_drawer: Sender<Told>,
    /// The newest report that is not drawn yet: a slow terminal misses those between.
    newest: Arc<Mutex<Option<Progress>>>,
    /// Procedure and quarter that were last shown: a new one is drawn in any case.
    at: Cell<Option<(ProcedureKind, u32)>>,
}

/// What the drawing thread is told.
enum Told {
    /// There is a newest report.
    Newest,
    /// A report that must not be missed.
    Report(Progress),
    /// What procedures are at is no longer told beside the bar.
    Hush,
    /// A line above the bar.
    Line(String, SyncSender<()>),
    /// The bar goes.
    Clear(SyncSender<()>),
}

impl Meter {
    /// `drawn`: whether stderr is a terminal.
    pub fn new(drawn: bool) -> Self {
        let (to_drawer, told) = channel();
        let newest = Arc::new(Mutex::new(None));
        let to_draw = Arc::clone(&newest);
        std::thread::spawn(move || Drawer::new(drawn).draw(&told, &to_draw));
        Self { to_drawer, newest, at: Cell::new(None) }
    }

    /// From now on only the bar tells how far a procedure is: what is done over and over is told by who does it.
    pub fn hush(&self) {
        self.tell(Told::Hush);
    }

    /// Shows one report of a procedure.
    pub fn show(&self, progress: &Progress) {
        let at = Some((progress.procedure, quarter(progress)));
        if self.at.replace(at) != at {
            return self.tell(Told::Report(progress.clone()));
        }
        let waiting = self.newest.lock().unwrap_or_else(PoisonError::into_inner).replace(progress.clone());
        if waiting.is_none() {
            self.tell(Told::Newest);
        }
    }

    /// Prints a line above the bar.
    pub fn say(&self, line: &str) {
        self.tell_and_wait(|drawn| Told::Line(line.to_owned(), drawn));
    }

    /// Takes the bar away.
    pub fn clear(&self) {
        self.tell_and_wait(Told::Clear);
    }

    fn tell_and_wait(&self, told: impl FnOnce(SyncSender<()>) -> Told) {
        let (done, drawn) = sync_channel(1);
        self.tell(told(done));
        // A terminal that is paused may come to it later.
        let _ = drawn.recv_timeout(DRAWN_WITHIN);
    }

    fn tell(&self, told: Told) {
        // The thread lives as long as this does.
        let _ = self.to_drawer.send(told);
    }
}

/// How many quarters of a procedure are done.
fn quarter(progress: &Progress) -> u32 {
    (progress.done_fraction.clamp(0.0, 1.0) * 4.0) as u32
}

/// Draws, and waits for the terminal as long as that takes.
struct Drawer {
    bar: ProgressBar,
    drawn: bool,
    current: Option<ProcedureKind>,
    /// Quarters of it that were told.
    quarters: u32,
    /// Whether what procedures are at is told beside the bar.
    told: bool,
}

impl Drawer {
    fn new(drawn: bool) -> Self {
        let target = if drawn { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
        let bar = ProgressBar::with_draw_target(Some(1000), target);
        if let Ok(style) = ProgressStyle::with_template("{prefix:>12} [{bar:30}] {percent:>3} %  {msg}") {
            bar.set_style(style.progress_chars("=> "));
        }
        Self { bar, drawn, current: None, quarters: 0, told: !drawn }
    }

    fn draw(mut self, told: &Receiver<Told>, newest: &Mutex<Option<Progress>>) {
        for told in told {
            match told {
                Told::Report(progress) => self.show(&progress),
                Told::Newest => {
                    let progress = newest.lock().unwrap_or_else(PoisonError::into_inner).take();
                    if let Some(progress) = progress {
                        self.show(&progress);
                    }
                }
                Told::Hush => self.told = false,
                Told::Line(line, drawn) => {
                    self.bar.suspend(|| eprintln!("{line}"));
                    let _ = drawn.send(());
                }
                Told::Clear(drawn) => {
                    self.bar.finish_and_clear();
                    let _ = drawn.send(());
                }
            }
        }
    }

    fn show(&mut self, progress: &Progress) {
        let name = title(progress.procedure);
        if self.current != Some(progress.procedure) {
            self.current = Some(progress.procedure);
            self.quarters = 0;
            if self.drawn {
                self.bar.set_prefix(name);
            } else if self.told {
                eprintln!("{name} ...");
            }
        }
        let quarters = quarter(progress);
        if quarters > self.quarters {
            self.quarters = quarters;
            // The end is told by what comes after it.
            if self.told && quarters < 4 {
                eprintln!("{name} {} %", 25 * quarters);
            }
        }
        self.bar.set_position((progress.done_fraction.clamp(0.0, 1.0) * 1000.0) as u64);
        self.bar.set_message(progress.message.clone());
    }
}
