//! Lines on stderr beside the work: a thread of its own prints them, so that a paused terminal holds up nothing that is still to be
//! kept.

use super::progress::above_the_bar;
use std::sync::OnceLock;
use std::sync::mpsc::{Sender, SyncSender, channel, sync_channel};
use std::time::Duration;

/// So long a line is waited for, to stand above what is printed next.
const SAID_WITHIN: Duration = Duration::from_millis(50);

type Line = (Option<String>, SyncSender<()>);

/// Says a line.
pub fn aside(line: String) {
    let (done, said) = sync_channel(1);
    if sayer().send((Some(line), done)).is_ok() {
        // A terminal that is paused may come to it later.
        let _ = said.recv_timeout(SAID_WITHIN);
    }
}

/// Waits until everything is printed, as long as the terminal takes.
pub fn all_said() {
    let (done, said) = sync_channel(1);
    if sayer().send((None, done)).is_ok() {
        let _ = said.recv();
    }
}

fn sayer() -> Sender<Line> {
    static SAYER: OnceLock<Sender<Line>> = OnceLock::new();
    let sayer = SAYER.get_or_init(|| {
        let (tell, lines) = channel::<Line>();
        std::thread::spawn(move || {
            for (line, done) in lines {
                if let Some(line) = line {
                    above_the_bar(|| eprintln!("{line}"));
                }
                let _ = done.send(());
            }
        });
        tell
    });
    sayer.clone()
}
