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
    to_drawer: Sender<DrawRequest>,
    /// The newest report that is not drawn yet: a slow terminal misses those between.
    newest: Arc<Mutex<Option<Progress>>>,
    /// Procedure that is shown, and how many quarters of it were printed: a new one of either is always printed.
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

/// A request to the drawing thread.
enum DrawRequest {
    /// There is a newest report.
    Newest,
    /// A procedure begins.
    Begins(ProcedureKind),
    /// So many quarters of a procedure are done.
    Quarters(ProcedureKind, u32),
    /// From now on only the bar shows how far procedures are.
    Hush,
    /// A line above the bar.
    Line(String, SyncSender<()>),
    /// The bar goes.
    Clear(SyncSender<()>),
}

impl Meter {
    /// `drawn`: whether stderr is a terminal.
    pub fn new(drawn: bool) -> Self {
        let (to_drawer, requests) = channel();
        let newest = Arc::new(Mutex::new(None));
        let to_draw = Arc::clone(&newest);
        std::thread::spawn(move || Drawer::new(drawn).draw(&requests, &to_draw));
        Self { to_drawer, newest, at: Cell::new(None) }
    }

    /// From now on only the bar shows how far a procedure is: the command itself reports what it repeats.
    pub fn hush(&self) {
        self.tell(DrawRequest::Hush);
    }

    /// Shows one report of a procedure.
    pub fn show(&self, progress: &Progress) {
        let procedure = progress.procedure;
        let shown = match self.at.get() {
            Some((last, quarters)) if last == procedure => quarters,
            _ => {
                self.tell(DrawRequest::Begins(procedure));
                0
            }
        };
        let quarters = ((progress.done_fraction.clamp(0.0, 1.0) * 4.0) as u32).max(shown);
        // What comes after it shows that it ended.
        if quarters > shown && quarters < 4 {
            self.tell(DrawRequest::Quarters(procedure, quarters));
        }
        self.at.set(Some((procedure, quarters)));
        let waiting = self.newest.lock().unwrap_or_else(PoisonError::into_inner).replace(progress.clone());
        if waiting.is_none() {
            self.tell(DrawRequest::Newest);
        }
    }

    /// Prints a line above the bar.
    pub fn say(&self, line: &str) {
        self.tell_and_wait(|drawn| DrawRequest::Line(line.to_owned(), drawn));
    }

    /// Takes the bar away.
    pub fn clear(&self) {
        self.tell_and_wait(DrawRequest::Clear);
    }

    fn tell_and_wait(&self, request: impl FnOnce(SyncSender<()>) -> DrawRequest) {
        let (done, drawn) = sync_channel(1);
        self.tell(request(done));
        // A terminal that is paused may come to it later.
        let _ = drawn.recv_timeout(DRAWN_WITHIN);
    }

    fn tell(&self, request: DrawRequest) {
        // The thread lives as long as this does.
        let _ = self.to_drawer.send(request);
    }
}

/// Draws, and waits for the terminal as long as that takes.
struct Drawer {
    bar: ProgressBar,
    drawn: bool,
    /// Whether lines beside the bar show how far procedures are.
    lines: bool,
    /// Whether there was anything to draw: no bar stands under a question that comes before.
    begun: bool,
}

impl Drawer {
    fn new(drawn: bool) -> Self {
        let target = if drawn { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
        let bar = ProgressBar::with_draw_target(Some(1000), target);
        if let Ok(style) = ProgressStyle::with_template("{prefix:>12} [{bar:30}] {percent:>3} %  {msg}") {
            bar.set_style(style.progress_chars("=> "));
        }
        Self { bar, drawn, lines: !drawn, begun: false }
    }

    fn draw(mut self, requests: &Receiver<DrawRequest>, newest: &Mutex<Option<Progress>>) {
        for request in requests {
            match request {
                DrawRequest::Begins(procedure) if self.drawn => self.bar.set_prefix(procedure.title()),
                DrawRequest::Begins(procedure) if self.lines => eprintln!("{} ...", procedure.title()),
                DrawRequest::Quarters(procedure, quarters) if self.lines => {
                    eprintln!("{} {} %", procedure.title(), 25 * quarters);
                }
                DrawRequest::Begins(_) | DrawRequest::Quarters(..) => {}
                DrawRequest::Newest => {
                    if self.drawn && !self.begun {
                        self.begun = true;
                        set_bar(Some(self.bar.clone()));
                    }
                    let progress = newest.lock().unwrap_or_else(PoisonError::into_inner).take();
                    if let Some(progress) = progress {
                        self.bar.set_position((progress.done_fraction.clamp(0.0, 1.0) * 1000.0) as u64);
                        self.bar.set_message(progress.message);
                    }
                }
                DrawRequest::Hush => self.lines = false,
                DrawRequest::Line(line, drawn) => {
                    if self.begun {
                        self.bar.suspend(|| eprintln!("{line}"));
                    } else {
                        eprintln!("{line}");
                    }
                    let _ = drawn.send(());
                }
                DrawRequest::Clear(drawn) => {
                    self.bar.finish_and_clear();
                    set_bar(None);
                    let _ = drawn.send(());
                }
            }
        }
    }
}
