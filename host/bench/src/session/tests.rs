//! Sessions and runs against the scripted rig: what is lost, late, doubled, wrong, foreign or gone.

use super::fake::{FakeRig, Heard, Nature, SCANS, Script};
use super::*;
use crate::link::{FaultRates, FaultyLink};
use crate::quantity::Channel;
use crate::trace::{Gap, GapCause, Provenance, Trace, TraceEnd};
use proptest::prelude::*;
use std::cell::RefCell;
use std::rc::Rc;
use tokio_util::sync::CancellationToken;

use trackpair_protocol::message::Guard;

const PERIOD_US: u32 = 1_000;

fn options() -> Options {
    Options { session: 41, ..Options::default() }
}

fn open(script: Script) -> Result<(Session, Rc<RefCell<Heard>>), SessionError> {
    let (rig, heard) = FakeRig::new(script);
    Session::open(Box::new(rig), options()).map(|session| (session, heard))
}

fn refused_to_open(nature: Nature) -> SessionError {
    open(Script { nature, ..Script::default() }).err().unwrap()
}

/// What a test wants next of a run.
enum Step {
    Wait,
    Ask(Box<Request>),
    Finish,
}

/// Takes everything of a run, with a look at it now and then.
fn take_all(run: &mut Run<'_>, recorder: &mut Recorder, steps: &mut dyn FnMut(&Recorder) -> Step) {
    while let Some(news) = run.next() {
        match news {
            News::Scans(block) => recorder.scans(&block.view()),
            News::Lost(lost) => recorder.lost(&lost),
            News::Event(event) => recorder.event(&event),
            News::Nothing => match steps(recorder) {
                Step::Wait => {}
                Step::Ask(request) => {
                    let _ = run.ask(&request);
                }
                Step::Finish => run.finish(),
            },
        }
    }
}

fn provenance() -> Provenance {
    Provenance { simulated: true, ..Provenance::bare(crate::quantity::ProcedureKind::Flex, PERIOD_US) }
}

fn record(
    session: &mut Session,
    stop: &CancellationToken,
    mut steps: impl FnMut(&Recorder) -> Step,
) -> (Trace, RunEnd) {
    let spec = RunSpec { program: None, period_us: PERIOD_US, channels: 3, max_us: 0 };
    let mut recorder = Recorder::new(Decoder::new(session, 3));
    let mut run = session.run(&spec, stop).unwrap();
    take_all(&mut run, &mut recorder, &mut steps);
    let end = run.end();
    (recorder.finish(provenance(), TraceEnd::Complete), end)
}

/// One run of the scripted rig over a clean line.
fn run(script: Script) -> (Trace, RunEnd, Session, Rc<RefCell<Heard>>) {
    let (mut session, heard) = open(script).unwrap();
    let (trace, end) = record(&mut session, &CancellationToken::new(), |_| Step::Wait);
    (trace, end, session, heard)
}

/// Each scan of the fake rig holds its own number: 1 + 0.0005 × number, 1 ms apart.
#[track_caller]
fn check_no_scan_is_wrong(trace: &Trace) {
    let values = trace.channel(Channel::Rising).unwrap();
    assert_eq!(trace.channel(Channel::Reference).unwrap(), values);
    assert_eq!(values.len(), trace.len());
    let Some(first) = trace.time_us.first() else { return };
    let zero = first - ((values[0] - 1.0) * 2e3).round() as u64 * u64::from(PERIOD_US);
    for (at, value) in trace.time_us.iter().zip(values) {
        let number = ((value - 1.0) * 2e3).round() as u64;
        assert_eq!(*at, zero + number * u64::from(PERIOD_US));
    }
}

#[test]
fn opening_resynchronises_identifies_and_reads_the_table() {
    let (session, heard) = open(Script::default()).unwrap();
    assert_eq!(session.identity().serial.as_str(), "F-1");
    assert_eq!(session.channels().len(), 2);
    assert_eq!(session.known_channels(), 3);
    assert_eq!(session.channel_provenance(3)[1].offset_uncertainty, 2e-5);
    assert!(heard.borrow().delimiters_first);
    assert_eq!(heard.borrow().requests[0], Request::Identify { session: 41 });
}

#[test]
fn silence_babble_another_version_and_a_busy_rig_are_told_apart() {
    let silent = refused_to_open(Nature::Silent);
    assert!(matches!(silent, SessionError::NoBytes { waited_ms: 1_000.., .. }), "{silent}");
    let babble = refused_to_open(Nature::Babble);
    assert!(matches!(babble, SessionError::NotARig { bytes: 1.., .. }), "{babble}");
    assert!(babble.to_string().contains("baud"), "{babble}");
    let version = refused_to_open(Nature::OtherVersion);
    assert!(matches!(version, SessionError::Version { rig: 9, host: 2, .. }), "{version}");
    assert_eq!(refused_to_open(Nature::Busy), SessionError::Taken);
    let seated = refused_to_open(Nature::Seated);
    assert!(
        matches!(seated, SessionError::Busy { .. }) && seated.to_string().contains("driving"),
        "{seated}"
    );
    let echo = refused_to_open(Nature::Echo);
    assert!(matches!(echo, SessionError::Echo { .. }) && echo.to_string().contains("fake:"), "{echo}");
}

#[test]
fn a_rig_at_the_wrong_baud_rate_stays_silent_so_silence_names_the_baud_rate_too() {
    let silent =
        |address: &str| SessionError::NoBytes { address: address.to_owned(), waited_ms: 1 }.to_string();
    assert!(silent("serial:/dev/ttyUSB0").contains("wrong baud rate"));
    assert!(!silent("tcp:bench:7000").contains("baud"));
}

/// Sent, each of them would become a `null` in the record and a verdict without a meaning.
#[test]
fn a_calibration_or_a_scale_that_is_no_number_is_refused_by_name() {
    for wrong in [f64::NAN, f64::INFINITY, -1.0, 1e9] {
        let script = Script { gain_uncertainty: Some(wrong), ..Script::default() };
        let error = open(script).err().expect("it must be refused");
        assert!(
            matches!(error, SessionError::Nonsense { request: "read calibration", .. }),
            "{wrong}: {error}"
        );
        assert!(error.to_string().contains("calibrate it anew"), "{error}");
    }
    for wrong in [f64::NAN, f64::INFINITY, 0.0, 1e308, 5e-324, -5e-4] {
        let error =
            open(Script { scale: Some(wrong), ..Script::default() }).err().expect("it must be refused");
        assert!(
            matches!(error, SessionError::Nonsense { request: "describe channel", .. }),
            "{wrong}: {error}"
        );
    }
}

#[test]
fn opening_can_be_called_off_and_an_open_session_can_still_be_made_safe_then() {
    let stop = CancellationToken::new();
    let options = Options { stop: stop.clone(), ..options() };
    let (rig, heard) = FakeRig::new(Script::default());
    let session = Session::open(Box::new(rig), options.clone()).unwrap();
    stop.cancel();
    session.close().unwrap();
    assert!(heard.borrow().requests.contains(&Request::Stop));
    let (rig, _) = FakeRig::new(Script { nature: Nature::Silent, ..Script::default() });
    let error = Session::open(Box::new(rig), options).err().unwrap();
    assert!(matches!(error, SessionError::Stopped { .. }), "{error}");
}

#[test]
fn a_lost_answer_is_asked_for_again_under_the_same_id() {
    let (session, heard) = open(Script { unanswered: vec![0, 3], ..Script::default() }).unwrap();
    assert_eq!(session.statistics().retries, 2);
    let heard = heard.borrow();
    assert_eq!(heard.ids[0], heard.ids[1], "identify, twice");
    assert_eq!(heard.requests[0], heard.requests[1]);
    assert!(heard.ids[2] > heard.ids[1]);
}

#[test]
fn an_answer_that_comes_twice_is_counted_and_otherwise_ignored() {
    let (mut session, _) = open(Script { twice: true, ..Script::default() }).unwrap();
    session.status().unwrap();
    assert!(session.statistics().duplicate >= 5, "{:?}", session.statistics());
}

#[test]
fn a_request_that_is_never_answered_is_given_up() {
    let (mut session, _) = open(Script { unanswered: (5..100).collect(), ..Script::default() }).unwrap();
    let error = session.status().unwrap_err();
    assert!(matches!(error, SessionError::NoAnswer { request: "read status", attempts: 10, .. }), "{error}");
}

#[test]
fn an_idle_session_beats_twenty_times_a_second() {
    let (mut session, heard) = open(Script::default()).unwrap();
    session.idle(Duration::from_secs(2)).unwrap();
    let beats = heard.borrow().requests.iter().filter(|r| **r == Request::Heartbeat).count();
    assert!((40..=42).contains(&beats), "{beats}");
}

#[test]
fn a_run_is_recorded_whole_in_engineering_units() {
    let (trace, end, ..) = run(Script { blocks: 30, ..Script::default() });
    assert_eq!(end.cause, RunCause::Complete);
    assert_eq!((trace.len(), trace.gaps.len()), (300, 0));
    check_no_scan_is_wrong(&trace);
}

#[test]
fn lost_blocks_are_gaps_at_the_start_in_the_middle_and_at_the_end() {
    let (trace, end, ..) = run(Script { blocks: 30, lost_blocks: vec![0, 7, 8, 29], ..Script::default() });
    assert_eq!(end.cause, RunCause::Complete);
    check_no_scan_is_wrong(&trace);
    let start = end.started_us;
    let gap = |index, from: u64, to: u64, scans| {
        let (from_us, to_us) = (start + from * 1_000, start + to * 1_000);
        Gap { index, from_us, to_us, scans, cause: GapCause::Line }
    };
    assert_eq!(trace.gaps[..2], [gap(0, 0, 10, 10), gap(60, 69, 90, 20)]);
    let last = trace.gaps[2];
    assert_eq!((last.index, last.from_us, trace.gaps.len()), (260, start + 289_000, 3));
    assert!((10..=12).contains(&last.scans), "{last:?}");
}

#[test]
fn a_run_whose_end_was_not_heard_still_ends() {
    let (trace, end, session, _) = run(Script { blocks: 30, end_untold: true, ..Script::default() });
    assert_eq!((end.cause, trace.len(), trace.gaps.len()), (RunCause::Complete, 300, 0));
    assert_eq!(session.statistics().events_lost, 0, "nothing came after the lost event");
}

#[test]
fn a_guard_ends_the_run_and_is_named_with_what_came_before_kept() {
    let (trace, end, ..) = run(Script { blocks: 30, guard_at: Some(12), ..Script::default() });
    assert_eq!(end.cause, RunCause::Guard(Some((Guard::LidOpen, 0))));
    assert_eq!(trace.len(), 12 * usize::from(SCANS));
}

#[test]
fn a_rig_that_starts_anew_in_the_middle_is_found_out() {
    let (trace, end, ..) = run(Script { blocks: 30, reboot_at: Some(12), ..Script::default() });
    assert_eq!(end.cause, RunCause::Lost(SessionError::Rebooted));
    assert_eq!(trace.len(), 120);
}

#[test]
fn a_rig_that_falls_silent_is_given_up_after_a_second() {
    let (trace, end, ..) = run(Script { blocks: 30, vanish_at: Some(12), ..Script::default() });
    let RunCause::Lost(error) = end.cause else { panic!("{:?}", end.cause) };
    assert!(matches!(error, SessionError::WentSilent { .. } | SessionError::NoAnswer { .. }), "{error}");
    assert_eq!(trace.len(), 120);
}

#[test]
fn a_rig_that_drives_and_sends_nothing_is_stopped_after_two_seconds() {
    let silent = Script { blocks: 100_000, lost_blocks: (12..10_000).collect(), ..Script::default() };
    let (trace, end, session, heard) = run(silent);
    let RunCause::Lost(error) = end.cause else { panic!("{:?}", end.cause) };
    assert!(matches!(error, SessionError::NoSamples { silent_ms: 2_000..2_600 }), "{error}");
    assert_eq!(trace.len(), 120);
    assert!(!heard.borrow().running && session.now() < Duration::from_secs(9), "{:?}", session.now());
}

#[test]
fn a_rig_that_is_unplugged_leaves_what_came() {
    let (trace, end, ..) = run(Script { blocks: 30, unplugged_at: Some(12), ..Script::default() });
    assert!(matches!(end.cause, RunCause::Lost(SessionError::Link(_))), "{:?}", end.cause);
    assert_eq!(trace.len(), 120);
}

#[test]
fn another_program_that_takes_the_rig_is_said_to_have_done_so() {
    let (trace, end, ..) = run(Script { blocks: 30, taken_at: Some(12), ..Script::default() });
    assert_eq!((end.cause, trace.len()), (RunCause::Lost(SessionError::Taken), 120));
}

#[test]
fn the_stop_flag_stops_the_rig_and_keeps_what_came() {
    let (mut session, heard) = open(Script { blocks: 1_000, ..Script::default() }).unwrap();
    let stop = CancellationToken::new();
    let (trace, end) = record(&mut session, &stop, |recorder| {
        if recorder.time_us().len() >= 50 {
            stop.cancel();
        }
        Step::Wait
    });
    assert_eq!(end.cause, RunCause::Aborted);
    assert!((50..80).contains(&trace.len()), "{}", trace.len());
    assert_eq!(trace.gaps, []);
    assert!(!heard.borrow().running);
}

#[test]
fn who_has_enough_of_a_run_ends_it_as_complete() {
    let (mut session, heard) = open(Script { blocks: 1_000, ..Script::default() }).unwrap();
    let (trace, end) = record(&mut session, &CancellationToken::new(), |recorder| {
        if recorder.time_us().len() >= 50 { Step::Finish } else { Step::Wait }
    });
    assert_eq!(end.cause, RunCause::Complete);
    assert_eq!(trace.gaps, []);
    assert!(!heard.borrow().running);
}

#[test]
fn a_run_that_is_let_go_of_is_stopped() {
    let (mut session, heard) = open(Script { blocks: 1_000, ..Script::default() }).unwrap();
    let spec = RunSpec { program: None, period_us: PERIOD_US, channels: 3, max_us: 0 };
    drop(session.run(&spec, &CancellationToken::new()).unwrap());
    assert!(!heard.borrow().running);
}

#[test]
fn what_is_switched_in_a_run_is_marked_once() {
    let (mut session, _) = open(Script { blocks: 30, ..Script::default() }).unwrap();
    let mut asked = false;
    let (trace, _) = record(&mut session, &CancellationToken::new(), |_| {
        let ask = !std::mem::replace(&mut asked, true);
        if ask { Step::Ask(Box::new(Request::SetSupply { millivolts: 4_000 })) } else { Step::Wait }
    });
    assert_eq!(trace.marks.len(), 1, "{:?}", trace.marks);
}

#[test]
fn closing_and_dropping_stop_the_rig_and_take_the_supply_off() {
    for drop_it in [false, true] {
        let (mut session, heard) = open(Script { blocks: 1_000, ..Script::default() }).unwrap();
        session.set_supply(5_000).unwrap();
        assert_eq!(heard.borrow().supply_mv, 5_000);
        if drop_it {
            drop(session);
        } else {
            session.close().unwrap();
        }
        assert_eq!(heard.borrow().supply_mv, 0);
        assert!(heard.borrow().requests.contains(&Request::Stop));
    }
}

#[test]
fn an_address_that_did_not_answer_as_a_rig_is_sent_no_more_than_the_question() {
    let (rig, heard) = FakeRig::new(Script { nature: Nature::Babble, ..Script::default() });
    drop(Session::open(Box::new(rig), options()));
    // The babbler is never recorded as a rig: nothing but identify reached it.
    assert_eq!(heard.borrow().requests, []);
}

#[test]
fn pings_measure_the_round_trip_on_the_links_clock() {
    let (mut session, _) = open(Script::default()).unwrap();
    let ping = session.ping(20).unwrap();
    assert_eq!(ping.round_trip_us.len(), 20);
    assert_eq!(ping.round_trip_us.max(), 100);
    assert!(ping.offset_us.unsigned_abs() <= ping.offset_error_us, "{ping:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// Whatever the line does to frames, no scan is wrong, none is there twice, and what is missing is in the gaps.
    #[test]
    fn a_bad_line_never_corrupts_a_trace(seed in any::<u64>(), each in 0.0f64..0.06) {
        let (rig, _) = FakeRig::new(Script { blocks: 100, ..Script::default() });
        let rates = FaultRates::all(each);
        let link = FaultyLink::new(rig, seed, rates, rates);
        // A line this bad may well defeat the opening; that is not what is tested here.
        let Ok(mut session) = Session::open(Box::new(link), options()) else { return Ok(()) };
        let spec = RunSpec { program: None, period_us: PERIOD_US, channels: 3, max_us: 0 };
        let mut recorder = Recorder::new(Decoder::new(&session, 3));
        let Ok(mut run) = session.run(&spec, &CancellationToken::new()) else { return Ok(()) };
        take_all(&mut run, &mut recorder, &mut |_| Step::Wait);
        let end = run.end();
        let trace = recorder.finish(provenance(), TraceEnd::Complete);
        check_no_scan_is_wrong(&trace);
        prop_assert!(trace.time_us.is_sorted_by(|a, b| a < b));
        if end.cause == RunCause::Complete {
            let lost: u64 = trace.gaps.iter().map(|gap| gap.scans).sum();
            let all = trace.len() as u64 + lost;
            // A gap at the end reaches to the event that reported the end, a scan or two after the last.
            if end.end_reported {
                prop_assert!((1_000..=1_002).contains(&all), "{} + {lost}", trace.len());
            } else {
                // The status shows that blocks are missing, not how many scans they held: a gap stands at the end for them.
                let at_end = trace.gaps.last().is_some_and(|gap| gap.index == trace.len());
                prop_assert!(all <= 1_002 && (all >= 1_000 || at_end), "{} + {lost}", trace.len());
            }
        }
    }
}
