//! One request and its answer on a line, and what the lack of an answer means.

use super::endpoint::{Answer, Patience};
use super::error::{SessionError, request_name, state_name};
use super::line::Line;
use super::nonsense;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use trackpair_protocol::message::{Reason, Refusal, Reply, Request, kind};

/// Longest wait for something to happen before it is looked again, and the same where the waiting may be called off.
const LONG: Duration = Duration::from_millis(100);
const CALLED_OFF_WITHIN: Duration = Duration::from_millis(20);

impl Line {
    /// Asks and waits for the answer, repeating the same bytes under the same id; `stop` calls the waiting off.
    ///
    /// # Errors
    /// A refusal, no answer, a lost rig; [`SessionError::Stopped`] when it is called off.
    pub(super) fn exchange(
        &mut self,
        request: &Request,
        patience: Patience,
        stop: Option<&CancellationToken>,
    ) -> Result<Reply, SessionError> {
        let name = request_name(request.kind());
        if !self.ask(request, patience) {
            return Err(nonsense(name, "it does not fit a frame"));
        }
        let longest = if stop.is_some() { CALLED_OFF_WITHIN } else { LONG };
        loop {
            if stop.is_some_and(CancellationToken::is_cancelled) {
                return Err(SessionError::Stopped { address: self.address().to_owned() });
            }
            self.pump(longest)?;
            match self.take_answer() {
                Some(Answer::Reply(reply)) => return Ok(reply),
                Some(Answer::Refused(refusal)) => return Err(self.refused(name, refusal)),
                Some(Answer::None { attempts, waited }) => return Err(self.no_answer(name, attempts, waited)),
                None => {}
            }
        }
    }

    /// Nothing came within `waited`, however often it was asked.
    pub(super) fn no_answer(&self, request: &'static str, attempts: u32, waited: Duration) -> SessionError {
        let waited_ms = waited.as_millis() as u64;
        SessionError::NoAnswer { address: self.address().to_owned(), request, attempts, waited_ms }
    }

    fn refused(&self, request: &'static str, refusal: Refusal) -> SessionError {
        match refusal.reason {
            Reason::Stale => SessionError::Taken,
            Reason::NoSession => SessionError::Rebooted,
            Reason::Version => SessionError::Version {
                address: self.address().to_owned(),
                rig: refusal.detail as u8,
                host: trackpair_protocol::VERSION,
            },
            Reason::Untimely if refusal.request == kind::IDENTIFY => {
                SessionError::Busy { address: self.address().to_owned(), doing: state_name(refusal.detail) }
            }
            _ => SessionError::Refused { request, refusal },
        }
    }
}
