//! The host's session and procedures over the whole simulated rig on virtual time, on a clean line and on a bad one.

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use trackpair::link::{Link, LinkError};
use trackpair::procedure::{
    Bench, FlexPlan, HandEnd, ProcedureError, Progress, Recording, SelfCheck, Setup, Warning,
};
use trackpair::quantity::Channel;
use trackpair::session::{Options, Session};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::{MarkKind, Trace, TraceEnd};
use trackpair_protocol::frame::Deframer;
use trackpair_protocol::message::{Guard, kind};
use trackpair_rig_sim::{SimRig, part_address};
use trackpair_tests::faulty::{FaultRates, FaultyLink};

/// A simulated rig that the test can look at and poke while the host holds its link.
#[derive(Clone)]
pub(super) struct Shared(pub(super) Rc<RefCell<SimRig>>);

impl Shared {
    pub(super) fn with(part: &str) -> Self {
        Self(Rc::new(RefCell::new(part_address(part).unwrap().rig())))
    }

    pub(super) fn supply_volts(&self) -> f64 {
        let rig = self.0.borrow();
        rig.board().plant().supply()
    }

    /// Lets time pass without a word from the host.
    pub(super) fn leave_alone(&self, us: u64) {
        let mut rig = self.0.borrow_mut();
        let until = rig.now_us() + us;
        rig.run_until(until);
    }
}

impl Link for Shared {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.0.borrow_mut().write(bytes);
        Ok(())
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        Ok(self.0.borrow_mut().read(out, timeout.as_micros() as u64))
    }

    fn now(&self) -> Duration {
        Duration::from_micros(self.0.borrow().now_us())
    }

    fn address(&self) -> &str {
        "sim:shared"
    }
}

/// Runs `work` on a bench with one of the shipped sheets.
fn on_bench<T>(
    link: impl Link + 'static,
    stop: &CancellationToken,
    progress: &mut dyn FnMut(Progress),
    work: impl FnOnce(&mut Bench<'_>) -> T,
) -> (T, trackpair::session::Statistics) {
    let sheet = sheet();
    let session = Session::open(Box::new(link), Options::default()).unwrap();
    let setup = Setup {
        sheet: &sheet,
        part: "invented".into(),
        started: "2026-01-01T00:00:00Z".into(),
        stop,
        progress,
    };
    let mut bench = Bench::new(session, setup);
    let result = work(&mut bench);
    (result, bench.finish().unwrap())
}

fn sheet() -> PartSheet {
    let mut sheet = shipped("grip-complementary").unwrap();
    sheet.sweep.cycles = 2;
    sheet
}

fn quietly<T>(part: &str, work: impl FnOnce(&mut Bench<'_>) -> T) -> T {
    on_bench(Shared::with(part), &CancellationToken::new(), &mut |_| {}, work).0
}

#[track_caller]
fn complete(recording: Recording) -> Trace {
    assert_eq!(recording.failure, None);
    let trace = recording.trace.unwrap();
    assert_eq!(trace.end, TraceEnd::Complete);
    trace
}

/// Every scan at its time, and every column as long as the times.
#[track_caller]
fn check_whole(trace: &Trace) {
    assert_eq!(trace.gaps, []);
    let period = u64::from(trace.provenance.period_us);
    assert!(trace.time_us.windows(2).all(|pair| pair[1] - pair[0] == period));
    assert!(trace.columns.iter().all(|column| column.values.len() == trace.len()));
    assert!(trace.marks.is_sorted_by_key(|mark| mark.at_us));
    assert!(trace.provenance.simulated);
}

#[test]
fn the_self_check_finds_the_stops_where_they_are() {
    for seed in 0..4 {
        let part = format!("good-grip?seed={seed}");
        let truth = part_address(&part).unwrap().rig().board().truth();
        let check: SelfCheck = quietly(&part, |bench| bench.self_check());
        check_whole(&complete(check.recording));
        assert!(check.moved && check.warnings.is_empty(), "{:?}", check.warnings);
        let closed = truth.rig.mounting_deg;
        let open = closed + truth.part.drawn.open_stop_deg;
        assert!(
            (check.closed_stop_deg.unwrap() - closed).abs() < 0.15,
            "{:?} {closed}",
            check.closed_stop_deg
        );
        assert!((check.open_stop_deg.unwrap() - open).abs() < 0.15, "{:?} {open}", check.open_stop_deg);
        assert!((check.supply_volts.unwrap() - 5.0).abs() < 0.02);
        assert_eq!(check.noise.len(), 3);
    }
}

#[test]
fn a_sweep_records_every_cycle_stop_to_stop_without_a_gap() {
    let (check, sweep) = quietly("worn-grip?seed=7", |bench| (bench.self_check(), bench.sweep()));
    let trace = complete(sweep);
    check_whole(&trace);
    assert_eq!(trace.provenance.sweep.unwrap().cycles, 2);
    assert_eq!(trace.provenance.reference_zero_deg, check.closed_stop_deg.unwrap());
    assert_eq!(trace.columns.len(), 8);
    let reference = trace.channel(Channel::Reference).unwrap();
    let (low, high) = reference.iter().fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    assert!(f64::from(low) < check.closed_stop_deg.unwrap() + 0.05);
    assert!(f64::from(high) > check.open_stop_deg.unwrap() - 0.05);
    // The upward ramps: segment 2 at full speed, segment 6 in the last cycle at half speed.
    let passes =
        trace.marks.iter().filter(|m| matches!(m.kind, MarkKind::Segment { segment: 2 | 6, .. })).count();
    assert_eq!(passes, 2);
}

#[test]
fn who_presses_the_e_stop_between_two_procedures_ends_the_plan_and_what_is_begun_after_that_runs() {
    let rig = Shared::with("good-grip?seed=3");
    let look = rig.clone();
    let ((check, sweep, again), _) = on_bench(rig, &CancellationToken::new(), &mut |_| {}, |bench| {
        let check = bench.self_check();
        look.0.borrow_mut().board_mut().set_emergency_stop(true);
        look.leave_alone(20_000);
        look.0.borrow_mut().board_mut().set_emergency_stop(false);
        let sweep = bench.sweep();
        look.leave_alone(50_000);
        assert!(look.supply_volts() < 0.5, "unpowered");
        (check, sweep, bench.sweep())
    });
    complete(check.recording);
    let pressed = |f: &ProcedureError| matches!(f, ProcedureError::Guard { guard: Guard::EmergencyStop, .. });
    assert!(sweep.failure.as_ref().is_some_and(pressed) && sweep.trace.is_none(), "{:?}", sweep.failure);
    complete(again);
}

#[test]
fn the_leads_check_keeps_every_state_a_quarter_second_and_restores_all() {
    let rig = Shared::with("corroded-ground-grip?seed=3");
    let look = rig.clone();
    let ((_, leads, supply), _) = on_bench(rig, &CancellationToken::new(), &mut |_| {}, |bench| {
        (bench.self_check(), bench.leads_check(), look.supply_volts())
    });
    assert!(leads.warnings.is_empty(), "{:?}", leads.warnings);
    let trace = complete(leads);
    check_whole(&trace);
    let switches: Vec<_> = trace
        .marks
        .iter()
        .filter(|mark| matches!(mark.kind, MarkKind::Supply { .. } | MarkKind::Input { .. }))
        .collect();
    assert_eq!(switches.len(), 2 + 8 + 2, "{switches:?}");
    let pull_downs = |kind: &MarkKind| matches!(kind, MarkKind::Input { load: false, .. });
    for pair in switches.windows(2) {
        let lasts = pair[1].at_us - pair[0].at_us;
        let both_pull_downs = pull_downs(&pair[0].kind) && pull_downs(&pair[1].kind);
        assert!(lasts >= 250_000 || both_pull_downs, "{pair:?}");
    }
    assert!((supply - 5.0).abs() < 0.02, "the supply is back at 5 V: {supply}");
    look.leave_alone(50_000);
    assert!(look.supply_volts() < 0.5, "unpowered at the end");
}

/// A line over which everything that is to be switched takes 600 ms.
struct SlowToSwitch {
    rig: Shared,
    on_the_way: Vec<(Duration, Vec<u8>)>,
}

impl Link for SlowToSwitch {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        let mut switches = false;
        Deframer::new()
            .push(bytes, |frame| switches |= matches!(frame.kind, kind::SET_INPUT | kind::SET_SUPPLY));
        if switches {
            self.on_the_way.push((self.rig.now() + Duration::from_millis(600), bytes.to_vec()));
            return Ok(());
        }
        self.rig.write(bytes)
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        let now = self.rig.now();
        let arrived = self.on_the_way.iter().take_while(|(due, _)| *due <= now).count();
        for (_, bytes) in self.on_the_way.drain(..arrived) {
            self.rig.write(&bytes)?;
        }
        let next = self.on_the_way.first().map_or(timeout, |(due, _)| *due - now);
        self.rig.read(out, timeout.min(next))
    }

    fn now(&self) -> Duration {
        self.rig.now()
    }

    fn address(&self) -> &str {
        self.rig.address()
    }
}

/// Where switches come too late the check is done again with longer holds; what was recorded before is kept.
#[test]
fn a_leads_check_that_is_done_again_keeps_every_trace_and_the_best_one_counts() {
    let link = SlowToSwitch { rig: Shared::with("good-grip?seed=1"), on_the_way: Vec::new() };
    let (leads, _) = on_bench(link, &CancellationToken::new(), &mut |_| {}, |bench| bench.leads_check());
    let words: Vec<String> = leads.warnings.iter().map(ToString::to_string).collect();
    assert_eq!(leads.failure, None, "{words:?}");
    assert_eq!(words.iter().filter(|w| w.contains("it was done again")).count(), 1, "{words:?}");
    let refused = |t: &Trace| t.provenance.refused.len();
    assert!(leads.before.iter().all(|trace| refused(trace) > 0), "{words:?}");
    assert!(leads.before.iter().all(|t| !t.is_empty()));
    // What was late is not late again.
    assert_eq!(leads.trace.as_ref().map(refused), Some(0), "{words:?}");
}

/// A line that loses every fifth frame loses events too: where the part stands is known all the same.
#[test]
fn a_leads_check_over_a_bad_line_is_whole_though_events_are_lost() {
    let rates = FaultRates { drop: 0.2, ..FaultRates::default() };
    let mut whole = 0;
    for line in 1..=12 {
        let link = FaultyLink::new(Shared::with("good-grip?seed=1"), line, rates, rates);
        let (leads, _) = on_bench(link, &CancellationToken::new(), &mut |_| {}, |bench| bench.leads_check());
        let words: Vec<String> = leads.warnings.iter().map(ToString::to_string).collect();
        if leads.failure.is_none() {
            whole += 1;
            assert_eq!(leads.trace.map(|t| t.provenance.refused), Some(Vec::new()), "{line}: {words:?}");
        }
    }
    assert!(whole > 6, "only {whole} of 12 lines carried a whole check");
}

#[test]
fn on_a_bad_line_nothing_is_invented_and_what_is_missing_is_told() {
    let rates = FaultRates::all(0.01);
    let clean = quietly("good-grip?seed=1", |bench| bench.sweep()).trace.unwrap();
    let (mut retries, mut drops, mut reordered, mut duplicate) = (0, 0, 0, 0);
    for line in 1..=10 {
        let link = FaultyLink::new(Shared::with("good-grip?seed=1"), line, rates, rates);
        // The sweep first: on such a line a self-check may miss a stop, and the sweep then goes by the sheet's.
        let ((sweep, check), statistics) = on_bench(link, &CancellationToken::new(), &mut |_| {}, |bench| {
            (bench.sweep(), bench.self_check())
        });
        assert_eq!((check.recording.failure, &sweep.failure), (None, &None));
        let trace = sweep.trace.unwrap();
        let lost: u64 = trace.gaps.iter().map(|gap| gap.scans).sum();
        assert!(lost > 0 && sweep.warnings.iter().any(|w| matches!(w, Warning::Gaps { .. })));
        let whole = trace.len().abs_diff(clean.len() - lost as usize) < 5;
        assert!(whole, "line {line}: {} {lost} {}", trace.len(), clean.len());
        assert!(trace.time_us.is_sorted_by(|a, b| a < b));
        for gap in &trace.gaps {
            assert!(gap.from_us < gap.to_us);
            assert_eq!(trace.time_us.get(gap.index).copied().unwrap_or(gap.to_us), gap.to_us);
        }
        retries += statistics.retries;
        drops += statistics.drops.frames();
        reordered += statistics.blocks_reordered;
        duplicate += statistics.blocks_duplicate;
    }
    // One line alone may spare every request.
    assert!(
        retries > 0 && drops > 0 && reordered > 0 && duplicate > 0,
        "{retries} {drops} {reordered} {duplicate}"
    );
}

#[test]
fn the_stop_flag_keeps_what_was_recorded_and_unpowers_the_rig() {
    let (rig, stop) = (Shared::with("good-grip"), CancellationToken::new());
    let look = rig.clone();
    let mut press = |progress: Progress| {
        if progress.done_fraction > 0.4 {
            stop.cancel();
        }
    };
    let work = |bench: &mut Bench<'_>| {
        let sweep = bench.sweep();
        look.leave_alone(50_000);
        (sweep, look.supply_volts())
    };
    let ((sweep, supply), _) = on_bench(rig, &stop, &mut press, work);
    assert!(matches!(sweep.failure, Some(ProcedureError::Aborted { .. })), "{:?}", sweep.failure);
    let trace = sweep.trace.unwrap();
    assert_eq!(trace.end, TraceEnd::Aborted);
    check_whole(&trace);
    assert!(trace.len() > 10_000, "{}", trace.len());
    assert!(supply < 0.5, "{supply}");
}

#[test]
fn an_emergency_stop_in_the_middle_names_its_guard_and_keeps_the_trace() {
    let rig = Shared::with("good-grip");
    let poke = rig.clone();
    // Progress is reported between two reads of the link: the rig is free to be poked then.
    let mut press = |progress: Progress| {
        if progress.done_fraction > 0.5 {
            poke.0.borrow_mut().board_mut().set_emergency_stop(true);
        }
    };
    let (sweep, _) = on_bench(rig, &CancellationToken::new(), &mut press, |bench| bench.sweep());
    let Some(ProcedureError::Guard { guard, .. }) = sweep.failure else { panic!("{:?}", sweep.failure) };
    assert_eq!(guard, Guard::EmergencyStop);
    let trace = sweep.trace.unwrap();
    assert_eq!(trace.end, TraceEnd::Guard);
    assert!(trace.marks.iter().any(|mark| matches!(mark.kind, MarkKind::Guard { guard: 0, .. })));
    check_whole(&trace);
}

#[test]
fn a_hand_sweep_sees_the_travel_without_drive() {
    let until = HandEnd { after_us: Some(12_000_000), keys: None };
    let trace = complete(quietly("good-grip?operator=hand", |bench| bench.hand_sweep(until)));
    check_whole(&trace);
    let reference = trace.channel(Channel::Reference).unwrap();
    let (low, high) = reference.iter().fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    assert!(high - low > 60.0, "{low} {high}");
}

#[test]
fn flexing_catches_the_dropouts_of_a_cracked_wire_with_samples_before_them() {
    let until = HandEnd { after_us: Some(20_000_000), keys: None };
    let plan = FlexPlan { hold_deg: None, sweep: false, places: None, cue: None, until };
    let rig = Shared::with("cracked-wire-grip?seed=2&operator=flex");
    let look = rig.clone();
    let capture = on_bench(rig, &CancellationToken::new(), &mut |_| {}, |bench| bench.flex(plan)).0;
    assert_eq!(capture.recording.failure, None);
    assert!(capture.observed_us.abs_diff(20_000_000) < 50_000, "{}", capture.observed_us);
    assert!(capture.events.len() > 20, "{} events", capture.events.len());
    for event in &capture.events {
        assert_eq!(event.lines.iter().map(|line| line.0).collect::<Vec<_>>(), [Channel::Rising], "{event:?}");
        let window = event.window.as_ref().unwrap();
        let before = event.at_us - window.time_us[0];
        let start = capture.recording.trace.as_ref().unwrap().time_us[0];
        assert!((50_000..54_000).contains(&before) || event.at_us - start < 54_000, "{before}");
    }
    assert!(!look.0.borrow().board().outages().is_empty());
}

#[test]
fn flexing_a_good_grip_catches_nothing_held_or_free() {
    for hold_deg in [None, Some(40.0)] {
        let until = HandEnd { after_us: Some(15_000_000), keys: None };
        let plan = FlexPlan { hold_deg, sweep: false, places: None, cue: None, until };
        let (_, capture) =
            quietly("good-grip?seed=4&operator=flex", |bench| (bench.self_check(), bench.flex(plan)));
        assert_eq!(capture.recording.failure, None);
        assert_eq!(capture.events, [], "{hold_deg:?}");
        assert!(capture.observed_us > 14_000_000, "{}", capture.observed_us);
    }
}

#[test]
fn a_part_that_is_stuck_is_said_not_to_move() {
    let check = quietly("seized-grip", |bench| bench.self_check());
    assert!(!check.moved, "{check:?}");
    assert!(check.warnings.iter().any(|w| matches!(w, Warning::NotMoving { .. })), "{:?}", check.warnings);
}

#[test]
fn dropping_the_bench_leaves_the_rig_unpowered() {
    let rig = Shared::with("good-grip");
    let look = rig.clone();
    let (sheet, stop) = (sheet(), CancellationToken::new());
    let mut progress = |_| {};
    let session = Session::open(Box::new(rig), Options::default()).unwrap();
    let setup = Setup {
        sheet: &sheet,
        part: String::new(),
        started: String::new(),
        stop: &stop,
        progress: &mut progress,
    };
    let mut bench = Bench::new(session, setup);
    complete(bench.self_check().recording);
    assert!(look.supply_volts() > 4.5);
    drop(bench);
    look.leave_alone(100_000);
    assert!(look.supply_volts() < 0.5);
}

#[test]
fn pings_tell_the_round_trip_and_the_offset_of_a_clock_that_is_the_same() {
    let mut session = Session::open(Box::new(Shared::with("good-grip")), Options::default()).unwrap();
    let ping = session.ping(50).unwrap();
    assert_eq!(ping.round_trip_us.len(), 50);
    assert!(ping.round_trip_us.max() < 1_000, "{}", ping.round_trip_us.max());
    assert!(ping.offset_us.unsigned_abs() <= ping.offset_error_us, "{ping:?}");
}
