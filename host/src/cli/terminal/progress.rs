//! How far a procedure is, on stderr: a bar on a terminal; elsewhere a line per procedure, and one at each quarter of it.
//!
//! A thread of its own draws: a terminal that is paused (Ctrl-S) or a pipe that nobody reads holds up what is drawn, never who talks to the rig.

use crate::procedure::Progress;
use crate::quantity::ProcedureKind;
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
    /// Procedure that is shown, and how many quarters of it were told: a new one of either is told in any case.
    at: Cell<Option<(ProcedureKind, u32)>>,
}

/// The bar that is on the terminal now.
static BAR: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// Prints with the bar, if there is one, out of the way.
pub fn above_the_bar(print: impl FnOnce()) {
    let bar = BAR.lock().unwrap_or_else(PoisonError::into_inner).clone();
    match bar {
        Some(bar) => bar.suspend(print),
        None => print(),
    }
}

fn set_bar(bar: Option<ProgressBar>) {
    *BAR.lock().unwrap_or_else(PoisonError::into_inner) = bar;
}

/// What the drawing thread is told.
enum Told {
    /// There is a newest report.
    Newest,
    /// A procedure begins.
    Begins(ProcedureKind),
    /// So many quarters of a procedure are done.
    Quarters(ProcedureKind, u32),
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
        let procedure = progress.procedure;
        let told = match self.at.get() {
            Some((last, quarters)) if last == procedure => quarters,
            _ => {
                self.tell(Told::Begins(procedure));
                0
            }
        };
        let quarters = ((progress.done_fraction.clamp(0.0, 1.0) * 4.0) as u32).max(told);
        // The end is told by what comes after it.
        if quarters > told && quarters < 4 {
            self.tell(Told::Quarters(procedure, quarters));
        }
        self.at.set(Some((procedure, quarters)));
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

/// Draws, and waits for the terminal as long as that takes.
struct Drawer {
    bar: ProgressBar,
    drawn: bool,
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
        if drawn {
            set_bar(Some(bar.clone()));
        }
        Self { bar, drawn, told: !drawn }
    }

    fn draw(mut self, told: &Receiver<Told>, newest: &Mutex<Option<Progress>>) {
        for told in told {
            match told {
                Told::Begins(procedure) if self.drawn => self.bar.set_prefix(procedure.title()),
                Told::Begins(procedure) if self.told => eprintln!("{} ...", procedure.title()),
                Told::Quarters(procedure, quarters) if self.told => {
                    eprintln!("{} {} %", procedure.title(), 25 * quarters);
                }
                Told::Begins(_) | Told::Quarters(..) => {}
                Told::Newest => {
                    let progress = newest.lock().unwrap_or_else(PoisonError::into_inner).take();
                    if let Some(progress) = progress {
                        self.bar.set_position((progress.done_fraction.clamp(0.0, 1.0) * 1000.0) as u64);
                        self.bar.set_message(progress.message);
                    }
                }
                Told::Hush => self.told = false,
                Told::Line(line, drawn) => {
                    self.bar.suspend(|| eprintln!("{line}"));
                    let _ = drawn.send(());
                }
                Told::Clear(drawn) => {
                    self.bar.finish_and_clear();
                    set_bar(None);
                    let _ = drawn.send(());
                }
            }
        }
    }
}
