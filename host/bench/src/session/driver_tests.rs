//! The driver over real TCP connections and ptys: what it does by itself while its owner does nothing.

use super::driver::{Driven, MOST_WAITING};
use super::endpoint::{Answer, Patience};
use super::error::SessionError;
use super::heard::Heard;
use crate::link::{Address, LinkError, open};
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use trackpair_protocol::frame::{Deframer, MAX_ENCODED};
use trackpair_protocol::message::{Message, Reply, Request, kind};
use trackpair_protocol::samples::SampleBlock;

const PATIENCE: Patience = Patience { timeout: Duration::from_millis(500), attempts: 10 };
/// No test waits longer for what must come.
const AT_MOST: Duration = Duration::from_secs(20);

/// A driver and the far end of its line.
fn pair() -> (Driven, TcpStream) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let endpoint = listener.local_addr().unwrap().to_string();
    let driven = Driven::start(open(&Address::Tcp { endpoint }).unwrap(), 0).unwrap();
    let (far, _) = listener.accept().unwrap();
    far.set_read_timeout(Some(AT_MOST)).unwrap();
    (driven, far)
}

/// Reads requests from the far end until `enough`.
fn hear(far: &mut impl Read, mut enough: impl FnMut(u16, Request) -> bool) {
    let (mut deframer, mut bytes, mut done) = (Deframer::new(), [0; 1024], false);
    while !done {
        let count = far.read(&mut bytes).expect("something comes");
        assert!(count > 0, "the line was closed");
        deframer.push(&bytes[..count], |frame| {
            if let Ok(Message::Request(request)) = Message::decode(&frame) {
                done |= enough(frame.id, request);
            }
        });
    }
}

fn encoded(message: &Message<'_>, request: u8, id: u16) -> Vec<u8> {
    let mut bytes = [0; MAX_ENCODED];
    let len = message.encode(request, id, &mut bytes).unwrap();
    bytes[..len].to_vec()
}

/// Pumps until `enough`.
fn pump(driven: &mut Driven, mut enough: impl FnMut(&mut Driven) -> bool) {
    let begun = Instant::now();
    while !enough(driven) {
        assert!(begun.elapsed() < AT_MOST, "it never came");
        driven.pump(Duration::from_millis(50)).unwrap();
    }
}

#[test]
fn heartbeats_go_out_while_the_owner_of_the_session_does_nothing_at_all() {
    let (mut driven, mut far) = pair();
    driven.keep_alive();
    let mut beats = 0;
    hear(&mut far, |_, request| {
        beats += u32::from(request == Request::Heartbeat);
        beats == 10
    });
}

#[test]
fn a_request_is_asked_and_its_answer_handed_on() {
    let (mut driven, mut far) = pair();
    driven.ask(&Request::Stop, PATIENCE);
    let mut asked = 0;
    hear(&mut far, |id, request| {
        asked = id;
        request == Request::Stop
    });
    far.write_all(&encoded(&Message::Reply(Reply::Done { rig_us: 5 }), kind::STOP, asked)).unwrap();
    let mut answer = None;
    pump(&mut driven, |driven| {
        answer = driven.take_answer();
        answer.is_some()
    });
    assert_eq!(answer, Some(Answer::Reply(Reply::Done { rig_us: 5 })));
}

#[test]
fn blocks_that_the_owner_is_too_slow_for_are_dropped_and_told_and_the_line_does_not_stall() {
    let (mut driven, mut far) = pair();
    driven.keep_alive();
    let count = MOST_WAITING as u32 + 100;
    for number in 0..count {
        let block = SampleBlock {
            run: 9,
            number,
            first_us: u64::from(number) * 400,
            period_us: 100,
            scans: 4,
            channels: 1,
            overrun_before: 0,
            columns: &[7; 8],
        };
        far.write_all(&encoded(&Message::Samples(block), 0, 0)).unwrap();
    }
    // A heartbeat after all of them: they have been taken off the line though nobody asked for them.
    let mut sent = Vec::new();
    hear(&mut far, |id, _| {
        sent.push(id);
        true
    });
    let begun = Instant::now();
    while driven.seen().counts.frames < u64::from(count) {
        assert!(begun.elapsed() < AT_MOST, "they were never taken off the line");
        std::thread::yield_now();
    }
    let (mut blocks, mut shed) = (0, 0);
    while blocks + shed < count {
        driven.pump(AT_MOST).unwrap();
        while let Some(heard) = driven.take_heard() {
            let number = match heard {
                Heard::Block(block) => {
                    assert_eq!(block.view().columns, [7; 8]);
                    block.view().number
                }
                Heard::Shed { run: 9, number } => {
                    shed += 1;
                    number
                }
                other => panic!("{other:?}"),
            };
            blocks = number + 1 - shed;
        }
    }
    assert_eq!((blocks, shed), (MOST_WAITING as u32, 100));
    assert_eq!(driven.seen().counts.blocks_shed, u64::from(shed));
}

#[test]
fn a_flood_of_garbage_starves_neither_heartbeats_nor_what_is_asked() {
    let (mut driven, far) = pair();
    let (mut flood, mut ears) = (far.try_clone().unwrap(), far);
    let over = Arc::new(AtomicBool::new(false));
    let stop = Arc::clone(&over);
    let flooding = std::thread::spawn(move || {
        let garbage: Vec<u8> = (0..65_536u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        while !stop.load(Ordering::Relaxed) && flood.write_all(&garbage).is_ok() {}
        flood
    });
    driven.keep_alive();
    let mut beats = 0;
    hear(&mut ears, |_, request| {
        beats += u32::from(request == Request::Heartbeat);
        beats == 10
    });
    driven.ask(&Request::Stop, PATIENCE);
    let mut asked = 0;
    hear(&mut ears, |id, request| {
        asked = id;
        request == Request::Stop
    });
    over.store(true, Ordering::Relaxed);
    let mut flood = flooding.join().unwrap();
    let answer = encoded(&Message::Reply(Reply::Done { rig_us: 5 }), kind::STOP, asked);
    flood.write_all(&[&[0][..], &answer].concat()).unwrap();
    pump(&mut driven, |driven| driven.take_answer() == Some(Answer::Reply(Reply::Done { rig_us: 5 })));
    assert!(driven.seen().counts.bytes > 1_000_000, "{:?}", driven.seen());
}

#[test]
fn a_line_that_is_closed_is_lost_for_good_and_its_story_is_kept() {
    let (mut driven, far) = pair();
    drop(far);
    let begun = Instant::now();
    let lost = loop {
        assert!(begun.elapsed() < AT_MOST, "it is never noticed");
        if let Err(error) = driven.pump(Duration::from_millis(50)) {
            break error;
        }
    };
    assert!(matches!(lost, SessionError::Link(LinkError::Lost { .. })), "{lost}");
    assert_eq!(driven.pump(Duration::ZERO), Err(lost.clone()));
    let story = driven.journal();
    assert!(story.entries().any(|entry| format!("{entry:?}").contains("was lost")), "{story:?}");
}

#[test]
fn letting_go_sends_stop_and_supply_off_and_frees_the_port() {
    let (mut driven, mut far) = pair();
    driven.let_go();
    drop(driven);
    let (mut stops, mut offs) = (0, 0);
    hear(&mut far, |_, request| {
        stops += u32::from(request == Request::Stop);
        offs += u32::from(request == Request::SetSupply { millivolts: 0 });
        (stops, offs) == (2, 2)
    });
    let mut rest = Vec::new();
    assert_eq!(far.read_to_end(&mut rest).unwrap(), 0, "closed behind it");
}

#[cfg(unix)]
#[test]
fn bytes_pass_both_ways_through_a_pty_and_a_far_end_that_is_gone_is_a_lost_link() {
    use serialport::{SerialPort, TTYPort};
    let (mut far, near) = TTYPort::pair().unwrap();
    far.set_timeout(AT_MOST).unwrap();
    let path = near.name().unwrap();
    let kept = std::fs::OpenOptions::new().read(true).write(true).open(&path).unwrap();
    drop(near);
    let mut driven =
        Driven::start(open(&Address::Serial { path: path.clone(), baud: None }).unwrap(), 0).unwrap();
    assert_eq!(driven.address(), format!("serial:{path}"));
    driven.ask(&Request::Stop, PATIENCE);
    let mut asked = 0;
    hear(&mut far, |id, _| {
        asked = id;
        true
    });
    far.write_all(&encoded(&Message::Reply(Reply::Done { rig_us: 13 }), kind::STOP, asked)).unwrap();
    pump(&mut driven, |driven| driven.take_answer() == Some(Answer::Reply(Reply::Done { rig_us: 13 })));
    drop((far, kept));
    let begun = Instant::now();
    while driven.pump(Duration::from_millis(50)).is_ok() {
        assert!(begun.elapsed() < AT_MOST, "it is never noticed");
    }
}
