//! How far a procedure is, on stderr: a bar on a terminal; elsewhere a line per procedure, and one at each quarter of it.

use crate::procedure::{Progress, title};
use crate::trace::ProcedureKind;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Draws progress.
pub struct Meter {
    bar: ProgressBar,
    drawn: bool,
    current: Option<ProcedureKind>,
    /// Quarters of it that were told.
    quarters: u32,
    /// Whether what procedures are at is told beside the bar.
    told: bool,
}

impl Meter {
    /// `drawn`: whether stderr is a terminal.
    pub fn new(drawn: bool) -> Self {
        let target = if drawn { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
        let bar = ProgressBar::with_draw_target(Some(1000), target);
        if let Ok(style) = ProgressStyle::with_template("{prefix:>12} [{bar:30}] {percent:>3} %  {msg}") {
            bar.set_style(style.progress_chars("=> "));
        }
        Self { bar, drawn, current: None, quarters: 0, told: !drawn }
    }

    /// From now on only the bar tells how far a procedure is: what is done over and over is told by who does it.
    pub fn hush(&mut self) {
        self.told = false;
    }

    /// Shows one report of a procedure.
    pub fn show(&mut self, progress: &Progress) {
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
        let quarters = (progress.done_fraction.clamp(0.0, 1.0) * 4.0) as u32;
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

    /// Prints a line above the bar.
    pub fn say(&self, line: &str) {
        self.bar.suspend(|| eprintln!("{line}"));
    }

    /// Takes the bar away.
    pub fn clear(&self) {
        self.bar.finish_and_clear();
    }
}
