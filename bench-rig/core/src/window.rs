//! The request-id window: which request is new, which is a repeat to be answered from memory, which is too old.
//!
//! It knows ids and fingerprints, not what a request means.

use trackpair_protocol::crc::crc32;
use trackpair_protocol::frame::Frame;

/// Longest answer that is kept for a repeat, encoded. The longest reply (identity) is well below.
pub const MAX_ANSWER: usize = 192;

/// What makes two frames of the same id the same request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Fingerprint {
    kind: u8,
    len: usize,
    crc: u32,
}

impl Fingerprint {
    fn of(frame: &Frame<'_>) -> Self {
        Self { kind: frame.kind, len: frame.payload.len(), crc: crc32(frame.payload) }
    }
}

/// Where a request stands in the window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// No session has been opened.
    NoSession,
    /// Newer than all before: to be carried out.
    New,
    /// The newest one again, byte for byte: its answer is to be sent again.
    Repeat,
    /// Older than the newest one, or its id with other content.
    Stale {
        /// The newest id.
        newest: u16,
    },
}

/// The window and the last answer.
#[derive(Clone, Debug)]
pub struct Window {
    session: Option<u32>,
    newest: u16,
    fingerprint: Fingerprint,
    answer: [u8; MAX_ANSWER],
    answer_len: usize,
}

impl Window {
    /// Before any session.
    pub const fn new() -> Self {
        Self {
            session: None,
            newest: 0,
            fingerprint: Fingerprint { kind: 0, len: 0, crc: 0 },
            answer: [0; MAX_ANSWER],
            answer_len: 0,
        }
    }

    /// Where `frame` stands. `opens` is the session number that it would open, for `Identify`: one that names another
    /// session than the open one is new whatever its id, a late repeat of the one that opened this session is not.
    pub fn place(&self, frame: &Frame<'_>, opens: Option<u32>) -> Place {
        if opens.is_some() && opens != self.session {
            return Place::New;
        }
        if self.session.is_none() {
            return Place::NoSession;
        }
        match frame.id.wrapping_sub(self.newest) as i16 {
            0 if self.fingerprint == Fingerprint::of(frame) => Place::Repeat,
            1.. => Place::New,
            _ => Place::Stale { newest: self.newest },
        }
    }

    /// Whether a session is open.
    pub fn is_open(&self) -> bool {
        self.session.is_some()
    }

    /// Opens the window for a session.
    pub fn open(&mut self, session: u32) {
        self.session = Some(session);
    }

    /// Remembers the newest request and its encoded answer. An answer too long to keep is not replayed.
    pub fn remember(&mut self, frame: &Frame<'_>, answer: &[u8]) {
        self.newest = frame.id;
        self.fingerprint = Fingerprint::of(frame);
        self.answer_len = 0;
        if let Some(kept) = self.answer.get_mut(..answer.len()) {
            kept.copy_from_slice(answer);
            self.answer_len = answer.len();
        }
    }

    /// The newest request's answer, encoded.
    pub fn answer(&self) -> &[u8] {
        &self.answer[..self.answer_len]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(id: u16, payload: &[u8]) -> Frame<'_> {
        Frame { version: 1, kind: 5, id, payload }
    }

    fn opened_at(id: u16) -> Window {
        let mut window = Window::new();
        window.open(7);
        window.remember(&frame(id, b"x"), b"answer");
        window
    }

    #[test]
    fn before_a_session_only_an_identify_is_new() {
        assert_eq!(Window::new().place(&frame(1, b"x"), None), Place::NoSession);
        assert_eq!(Window::new().place(&frame(1, b"x"), Some(7)), Place::New);
    }

    #[test]
    fn ids_are_compared_across_the_wrap() {
        let window = opened_at(65_535);
        assert_eq!(window.place(&frame(0, b"x"), None), Place::New);
        assert_eq!(window.place(&frame(32_766, b"x"), None), Place::New);
        assert_eq!(window.place(&frame(32_767, b"x"), None), Place::Stale { newest: 65_535 });
        assert_eq!(window.place(&frame(65_534, b"x"), None), Place::Stale { newest: 65_535 });
    }

    #[test]
    fn the_same_id_is_a_repeat_only_with_the_same_content() {
        let window = opened_at(9);
        assert_eq!(window.place(&frame(9, b"x"), None), Place::Repeat);
        assert_eq!(window.place(&frame(9, b"y"), None), Place::Stale { newest: 9 });
        assert_eq!(window.answer(), b"answer");
    }

    #[test]
    fn a_late_identify_of_the_open_session_is_stale_and_one_of_another_session_is_new() {
        let window = opened_at(9);
        assert_eq!(window.place(&frame(8, b"x"), Some(7)), Place::Stale { newest: 9 });
        assert_eq!(window.place(&frame(8, b"x"), Some(8)), Place::New);
        assert_eq!(window.place(&frame(10, b"x"), Some(7)), Place::New);
    }
}
