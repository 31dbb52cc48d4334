//! The endpoint alone: no runtime, no clock, no port.

use super::endpoint::{Answer, Endpoint, HEARTBEAT_EVERY, Patience};
use super::error::SessionError;
use super::journal::LineEvent;
use proptest::prelude::*;
use std::time::Duration;
use trackpair_protocol::frame::{Deframer, MAX_ENCODED};
use trackpair_protocol::message::{Message, Reply, Request, kind};

const MS: Duration = Duration::from_millis(1);
const PATIENCE: Patience = Patience { timeout: Duration::from_millis(90), attempts: 10 };

/// Requests in bytes that were sent, with their ids.
fn requests(bytes: &[u8]) -> Vec<(u16, Request)> {
    let mut found = Vec::new();
    let mut deframer = Deframer::new();
    deframer.push(bytes, |frame| {
        if let Ok(Message::Request(request)) = Message::decode(&frame) {
            found.push((frame.id, request));
        }
    });
    found
}

fn done(request: u8, id: u16, rig_us: u64) -> Vec<u8> {
    let mut bytes = [0; MAX_ENCODED];
    let len = Message::Reply(Reply::Done { rig_us }).encode(request, id, &mut bytes).unwrap();
    bytes[..len].to_vec()
}

/// Lets time pass from one deadline to the next, hearing nothing; what was sent, when.
fn silent_until(endpoint: &mut Endpoint, from: Duration, until: Duration) -> Vec<(Duration, u16, Request)> {
    let (mut now, mut sent) = (from, Vec::new());
    loop {
        endpoint.tick(now);
        sent.extend(requests(&endpoint.take_out()).into_iter().map(|(id, request)| (now, id, request)));
        endpoint.nothing_came(now);
        match endpoint.deadline() {
            Some(next) if next <= until => now = next.max(now),
            _ => return sent,
        }
    }
}

#[test]
fn a_request_is_repeated_under_its_id_and_given_up_when_patience_ends() {
    let mut endpoint = Endpoint::new(7, "test:");
    assert!(endpoint.ask(5 * MS, &Request::ReadStatus, PATIENCE));
    let sent = silent_until(&mut endpoint, 5 * MS, Duration::from_secs(5));
    assert_eq!(sent.len(), 10);
    assert!(sent.iter().all(|(_, id, request)| (*id, *request) == (8, Request::ReadStatus)));
    let answer = endpoint.take_answer();
    assert_eq!(answer, Some(Answer::None { attempts: 10, waited: Duration::from_millis(900) }));
    assert_eq!(endpoint.seen().counts.retries, 9);
}

#[test]
fn an_answer_ends_the_repeats_and_its_time_is_counted() {
    let mut endpoint = Endpoint::new(0, "test:");
    endpoint.ask(Duration::ZERO, &Request::Stop, PATIENCE);
    endpoint.received(3 * MS, &done(kind::STOP, 1, 40));
    assert_eq!(endpoint.take_answer(), Some(Answer::Reply(Reply::Done { rig_us: 40 })));
    assert_eq!(endpoint.deadline(), None, "nothing is due: no session is open");
    let summary = endpoint.journal().summary(&Default::default());
    let round_trips = summary.round_trip_us.expect("one answer");
    assert!((2_970..=3_030).contains(&round_trips.max), "{round_trips:?}");
    // The same once more is a second answer, not an answer to what is asked next.
    endpoint.ask(4 * MS, &Request::Stop, PATIENCE);
    endpoint.received(5 * MS, &done(kind::STOP, 1, 40));
    assert_eq!((endpoint.take_answer(), endpoint.seen().counts.duplicate), (None, 1));
}

#[test]
fn a_rig_is_gone_after_a_second_of_silence_and_that_is_told_again_and_again() {
    let mut endpoint = Endpoint::new(0, "test:");
    endpoint.keep_alive();
    let beats = silent_until(&mut endpoint, 5 * MS, 1_000 * MS);
    assert_eq!((beats.len(), endpoint.take_fault()), (20, None));
    silent_until(&mut endpoint, 1_000 * MS, 1_005 * MS);
    assert_eq!(endpoint.take_fault(), Some(SessionError::WentSilent { silent_ms: 1_000 }));
    silent_until(&mut endpoint, 1_005 * MS, 1_055 * MS);
    assert_eq!(endpoint.take_fault(), Some(SessionError::WentSilent { silent_ms: 1_050 }));
}

#[test]
fn after_this_computer_was_held_up_what_waits_on_the_line_is_heard_before_the_rig_is_called_silent() {
    let mut endpoint = Endpoint::new(0, "test:");
    endpoint.keep_alive();
    endpoint.tick(Duration::ZERO);
    // Held up for three seconds; the answer to the first heartbeat has waited meanwhile.
    endpoint.tick(3_000 * MS);
    endpoint.received(3_000 * MS, &done(kind::HEARTBEAT, 1, 900));
    endpoint.nothing_came(3_001 * MS);
    assert_eq!(endpoint.take_fault(), None);
    let late = endpoint.journal().entries().any(|e| e.told == LineEvent::HeartbeatLate { late_ms: 2_950 });
    assert!(late, "{:?}", endpoint.journal().entries().collect::<Vec<_>>());
    assert_eq!(endpoint.journal().summary(&Default::default()).longest_heartbeat_gap_ms, 3_000);
}

proptest! {
    /// Whatever a rig sends: no panic, no memory that grows, heartbeats on time, and every request ends.
    #[test]
    fn any_bytes_at_any_time_leave_heartbeats_on_time_and_end_every_request(
        pieces in proptest::collection::vec((proptest::collection::vec(any::<u8>(), 0..200), 0u64..40), 1..60),
    ) {
        let mut endpoint = Endpoint::new(100, "test:");
        endpoint.keep_alive();
        endpoint.ask(Duration::ZERO, &Request::ReadStatus, PATIENCE);
        let (mut now, mut answered) = (Duration::ZERO, false);
        let mut beats: Vec<Duration> = Vec::new();
        let later = std::iter::repeat_n((Vec::new(), 30), 50);
        for (bytes, wait_ms) in pieces.into_iter().chain(later) {
            let until = now + Duration::from_millis(wait_ms);
            while let Some(due) = endpoint.deadline().filter(|due| *due <= until) {
                now = due.max(now);
                endpoint.tick(now);
                let sent = requests(&endpoint.take_out());
                beats.extend(sent.iter().filter(|(_, r)| *r == Request::Heartbeat).map(|_| now));
                endpoint.nothing_came(now);
                let _ = endpoint.take_fault();
                answered |= endpoint.take_answer().is_some();
            }
            now = until;
            endpoint.received(now, &bytes);
            answered |= endpoint.take_answer().is_some();
        }
        prop_assert!(answered, "1.5 s are longer than any patience");
        let gaps: Vec<Duration> = beats.windows(2).map(|two| two[1] - two[0]).collect();
        prop_assert!(gaps.iter().all(|gap| *gap <= HEARTBEAT_EVERY), "{gaps:?}");
        prop_assert!(endpoint.journal().entries().count() <= super::journal::KEPT);
    }
}
