//! Rigs asked point by point whether they keep protocol/WIRE.md: the simulated ones do, and lines that make a rig break a point are found out.

use std::time::Duration;
use trackpair::conform::{Conformance, PointResult, conform};
use trackpair::link::{Link, LinkError};
use trackpair_protocol::frame::{self, Deframer, MAX_ENCODED};
use trackpair_protocol::message::{Message, Request, kind};
use trackpair_tests::bench::link;

fn asked(link: Box<dyn Link>) -> Conformance {
    conform(link, |_| {}).unwrap_or_else(|e| panic!("{e}"))
}

/// Titles of the points that are broken, with why.
fn broken(of: &Conformance) -> Vec<(&'static str, String)> {
    of.points
        .iter()
        .filter_map(|p| match &p.kept {
            PointResult::Broken(why) => Some((p.title, why.clone())),
            _ => None,
        })
        .collect()
}

#[test]
fn simulated_rigs_for_grips_bodies_and_pairs_keep_every_point() {
    for part in ["good-grip?seed=2", "good-body?seed=2", "good-grip+good-body?seed=2"] {
        let done = asked(link(part));
        assert_eq!(broken(&done), vec![], "{part}");
        let left_out = done.points.iter().filter(|p| matches!(p.kept, PointResult::NotAsked(_))).count();
        assert_eq!(left_out, 0, "{part}: {:?}", done.points);
    }
}

/// A rig as it would be were it wrong in one thing: what goes to it and what comes from it passes through here frame by frame.
struct Wrong<F: FnMut(Way, &frame::Frame<'_>) -> Vec<Vec<u8>>> {
    rig: Box<dyn Link>,
    change: F,
    to_rig: Deframer,
    from_rig: Deframer,
    waiting: Vec<u8>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    ToRig,
    FromRig,
}

impl<F: FnMut(Way, &frame::Frame<'_>) -> Vec<Vec<u8>>> Wrong<F> {
    fn over(part: &str, change: F) -> Box<Self> {
        let (to_rig, from_rig) = (Deframer::new(), Deframer::new());
        Box::new(Self { rig: link(part), change, to_rig, from_rig, waiting: Vec::new() })
    }
}

impl<F: FnMut(Way, &frame::Frame<'_>) -> Vec<Vec<u8>>> Link for Wrong<F> {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        // What is no frame goes through as it is: points about damaged ones ask for that.
        let before = self.to_rig.drops();
        let (mut out, mut frames, change) = (Vec::new(), 0, &mut self.change);
        self.to_rig.push(bytes, |frame| {
            frames += usize::from(frame.version == trackpair_protocol::VERSION);
            out.extend(change(Way::ToRig, &frame).concat());
        });
        if frames == 0 || self.to_rig.drops() != before {
            out = bytes.to_vec();
        }
        self.rig.write(&out)
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        if self.waiting.is_empty() {
            let count = self.rig.read(out, timeout)?;
            let (waiting, change) = (&mut self.waiting, &mut self.change);
            self.from_rig.push(&out[..count], |frame| waiting.extend(change(Way::FromRig, &frame).concat()));
        }
        let count = self.waiting.len().min(out.len());
        out[..count].copy_from_slice(&self.waiting[..count]);
        self.waiting.drain(..count);
        Ok(count)
    }

    fn now(&self) -> Duration {
        self.rig.now()
    }

    fn address(&self) -> &str {
        "wrong"
    }
}

fn again(frame: &frame::Frame<'_>, kind: u8, payload: &[u8]) -> Vec<u8> {
    let mut bytes = [0; MAX_ENCODED];
    let len = frame::encode(kind, frame.id, payload, &mut bytes).expect("it came as a frame");
    bytes[..len].to_vec()
}

fn only(of: &Conformance, part_of_title: &str) {
    let broken = broken(of);
    assert!(broken.len() == 1 && broken[0].0.contains(part_of_title), "{part_of_title}: {broken:?}");
}

#[test]
fn a_rig_whose_drive_goes_on_for_a_host_that_only_looks_on_is_found() {
    let done = asked(Wrong::over("good-grip?seed=2", |way, frame| {
        let same = again(frame, frame.kind, frame.payload);
        let looks = way == Way::ToRig && frame.kind == kind::READ_STATUS;
        let mut beat = [0; MAX_ENCODED];
        let len = Request::Heartbeat.encode(0x7123, &mut beat).expect("fits");
        if looks { vec![beat[..len].to_vec(), same] } else { vec![same] }
    }));
    // Whoever looks at the state of an armed rig keeps it armed, too.
    let told: Vec<&str> = broken(&done).iter().map(|b| b.0).collect();
    assert!(told.iter().any(|t| t.contains("keep no drive on")), "{told:?}");
}

#[test]
fn a_rig_that_swallows_a_block_is_found() {
    let done = asked(Wrong::over("good-grip?seed=2", |way, frame| match Message::decode(frame) {
        Ok(Message::Samples(block)) if way == Way::FromRig && block.number == 2 => vec![],
        _ => vec![again(frame, frame.kind, frame.payload)],
    }));
    let told: Vec<&str> = broken(&done).iter().map(|b| b.0).collect();
    assert_eq!(told.len(), 2, "the watched run and the stopped one: {told:?}");
    assert!(told.iter().all(|t| t.contains("run")), "{told:?}");
}

#[test]
fn a_rig_that_answers_malformed_for_what_it_does_not_know_is_found() {
    let done = asked(Wrong::over("good-grip?seed=2", |way, frame| {
        let mut payload = frame.payload.to_vec();
        if way == Way::FromRig && frame.kind == kind::REFUSAL && payload[1] == 1 {
            payload[1] = 2;
        }
        vec![again(frame, frame.kind, &payload)]
    }));
    only(&done, "unknown kind");
}

#[test]
fn a_rig_that_misses_an_event_is_found() {
    let mut events = 0;
    let done = asked(Wrong::over("good-grip?seed=2", move |way, frame| {
        events += u32::from(way == Way::FromRig && frame.kind == kind::EVENT);
        let supply = frame.payload.get(16) == Some(&6) && frame.payload.get(17..19) == Some(&[0, 0]);
        let lost = way == Way::FromRig && frame.kind == kind::EVENT && supply && events.is_multiple_of(2);
        if lost { vec![] } else { vec![again(frame, frame.kind, frame.payload)] }
    }));
    let told: Vec<&str> = broken(&done).iter().map(|b| b.0).collect();
    assert!(told.iter().any(|t| t.contains("events are numbered")), "{told:?}");
}
