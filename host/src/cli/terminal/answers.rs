//! What is typed at a question. Ctrl-C ends every wait for it at once, and what was typed before it is no answer.

use std::io::{self, BufRead, Read};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::sync::{Mutex, OnceLock, PoisonError};
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// How long Ctrl-C may go unseen.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// Lines of standard input as they are typed; they end with the input, or with Ctrl-C.
pub struct Typed {
    stop: CancellationToken,
    line: Vec<u8>,
    at: usize,
}

impl Typed {
    /// Ends when `stop` is set.
    pub fn new(stop: &CancellationToken) -> Self {
        Self { stop: stop.clone(), line: Vec::new(), at: 0 }
    }

    /// One line, without its end; none when there is none, or Ctrl-C was pressed.
    pub fn answer(stop: &CancellationToken) -> Option<String> {
        let mut answer = String::new();
        let read = Self::new(stop).read_line(&mut answer);
        let typed = matches!(read, Ok(1..)) && !stop.is_cancelled();
        typed.then(|| answer.trim().to_owned())
    }
}

/// A line that was typed by now, without its end; it does not wait for one.
pub fn typed_by_now() -> Option<String> {
    let line = lines().lock().unwrap_or_else(PoisonError::into_inner).try_recv().ok()?;
    Some(String::from_utf8_lossy(&line).trim().to_owned())
}

impl Read for Typed {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let count = self.fill_buf()?.read(out)?;
        self.consume(count);
        Ok(count)
    }
}

impl BufRead for Typed {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.at >= self.line.len() {
            self.line = next_line(&self.stop);
            self.at = 0;
        }
        Ok(&self.line[self.at..])
    }

    fn consume(&mut self, count: usize) {
        self.at += count;
    }
}

/// The next line with its end; empty when there is none.
fn next_line(stop: &CancellationToken) -> Vec<u8> {
    let lines = lines().lock().unwrap_or_else(PoisonError::into_inner);
    while !stop.is_cancelled() {
        match lines.recv_timeout(LOOK_EVERY) {
            Ok(line) => return line,
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
    }
    Vec::new()
}

/// Standard input, read by one thread for the whole program: a read can't be called off, and what one question did not take is the next one's.
fn lines() -> &'static Mutex<Receiver<Vec<u8>>> {
    static LINES: OnceLock<Mutex<Receiver<Vec<u8>>>> = OnceLock::new();
    LINES.get_or_init(|| {
        let (typed, lines) = channel();
        std::thread::spawn(move || {
            let mut input = io::stdin().lock();
            loop {
                let mut line = Vec::new();
                match input.read_until(b'\n', &mut line) {
                    Ok(1..) if typed.send(line).is_ok() => {}
                    _ => return,
                }
            }
        });
        Mutex::new(lines)
    })
}
