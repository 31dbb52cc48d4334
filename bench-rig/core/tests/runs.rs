//! Runs: times, block numbers, programs, ends, overruns, and how bytes come out.

mod common;

use common::{Bench, Block, DRIVING, Heard, LONG, MockBoard, WATCHING, count};
use trackpair_protocol::frame::MAX_ENCODED;
use trackpair_protocol::message::{EndCause, EventKind, Request, RigState, Start};
use trackpair_protocol::program::Segment;
use trackpair_rig_core::board::{Drive, Micros};
use trackpair_rig_core::rig::Rig;

const RAMP: Segment = Segment::Ramp { to_mdeg: 10_000, speed_mdeg_s: 10_000, accel_mdeg_s2: 20_000 };

/// Every scan of the blocks with its time, which are checked to be numbered without a hole.
#[track_caller]
fn scans(blocks: &[&Block]) -> Vec<(Micros, Vec<i32>)> {
    for (number, block) in blocks.iter().enumerate() {
        assert_eq!(block.number as usize, number);
        assert!(block.columns.iter().all(|(_, counts)| counts.len() == block.scans));
    }
    let rows = |block: &Block| {
        let block = block.clone();
        (0..block.scans).map(move |j| {
            let at = block.first_us + j as u64 * u64::from(block.period_us);
            (at, block.columns.iter().map(|(_, counts)| counts[j]).collect())
        })
    };
    blocks.iter().flat_map(|block| rows(block)).collect()
}

#[track_caller]
fn check_rows(rows: &[(Micros, Vec<i32>)], first: Micros, period: Micros, columns: &[usize]) {
    for (j, (at, counts)) in rows.iter().enumerate() {
        assert_eq!(*at, first + j as u64 * period);
        let expected: Vec<i32> = columns.iter().map(|&k| count(*at, k)).collect();
        assert_eq!(*counts, expected, "at {at}");
    }
}

#[test]
fn a_run_from_start_to_end_happens_in_order_and_on_time() {
    let mut bench = Bench::armed(&[
        RAMP,
        Segment::Release { us: 5_500 },
        Segment::Hold { us: 2_000 },
        Segment::Repeat { from: 2, times: 1 },
    ]);
    bench.now = 12_345;
    bench.must(Request::Start(DRIVING));
    bench.wait(1_600_000);
    let told: Vec<(Micros, EventKind)> = bench.told().into_iter().skip(1).collect();
    let reached = |segment, pass| EventKind::SegmentReached { segment, pass };
    // 10 deg at 10 deg/s and 20 deg/s²: 1.5 s.
    let (released, held) = (12_345 + 1_500_000, 12_345 + 1_505_500);
    let blocks = bench.blocks().len() as u32;
    assert_eq!(
        told,
        [
            (12_345, EventKind::RunStarted),
            (12_345, reached(0, 0)),
            (released, reached(1, 0)),
            (held, reached(2, 0)),
            (held + 2_000, reached(2, 1)),
            (held + 4_000, EventKind::RunEnded { cause: EndCause::Complete, blocks }),
        ]
    );
    let rows = scans(&bench.blocks());
    check_rows(&rows, 12_345, 1_000, &[0, 1, 2, 3]);
    // Scans in [start, end): 1509.5 ms.
    assert_eq!(rows.len(), 1_510);
    let drives: Vec<(Micros, Drive)> = bench.rig.board().drives().collect();
    let at = |t: Micros| drives.iter().rfind(|(at, _)| *at <= t).expect("set").1;
    assert_eq!(at(12_345), Drive::Position(0));
    assert_eq!(at(released - 1).position().map(|p| (9_990..=10_000).contains(&p)), Some(true));
    assert_eq!((at(released), at(held - 1)), (Drive::Off, Drive::Off));
    assert_eq!(at(held), Drive::Position(0), "where the part is");
    assert_eq!(at(held + 4_000), Drive::Off);
    bench.check_state(RigState::Resting);
    let status = bench.status();
    assert_eq!((status.run, status.blocks, status.overruns, status.drive_on), (1, blocks, 0, false));
}

trait PositionOf {
    fn position(self) -> Option<i32>;
}

impl PositionOf for Drive {
    fn position(self) -> Option<i32> {
        match self {
            Drive::Position(p) => Some(p),
            Drive::Off | Drive::Volts(_) | Drive::Brake => None,
        }
    }
}

#[test]
fn what_happens_does_not_depend_on_when_the_rig_is_polled() {
    let run = |step: Micros| {
        let mut bench = Bench::armed(&[RAMP, Segment::Step { to_mdeg: 77, us: 1_234 }]);
        bench.now = 3;
        let asked = Start { period_us: 777, ..DRIVING };
        bench.must(Request::Start(asked));
        while bench.now < 250_000 {
            bench.now += step;
            bench.rig.poll(bench.now);
            bench.drain();
        }
        let heard = bench.heard.iter().filter(|h| matches!(h, Heard::Event(_) | Heard::Block(_))).cloned();
        (heard.take(12).collect::<Vec<_>>(), bench.rig.board().drives().take(200).collect::<Vec<_>>())
    };
    let fine = run(7);
    assert_eq!(fine.0.len(), 12);
    assert_eq!(fine, run(1_000));
    assert_eq!(fine, run(19_999));
}

#[test]
fn the_rig_says_when_it_is_due_and_polling_only_then_misses_nothing() {
    let mut bench = Bench::opened();
    bench.must(Request::Start(Start { period_us: 333, channels: 0b101, max_us: 50_000, ..WATCHING }));
    let mut polls = 0;
    while bench.rig.next_due() <= 60_000 {
        bench.now = bench.rig.next_due();
        bench.rig.poll(bench.now);
        bench.drain();
        polls += 1;
    }
    let rows = scans(&bench.blocks());
    check_rows(&rows, 0, 333, &[0, 2]);
    assert_eq!(rows.len(), 50_000 / 333 + 1);
    assert!(polls > 150);
    assert!(bench.told().contains(&(
        50_000,
        EventKind::RunEnded { cause: EndCause::Complete, blocks: bench.blocks().len() as u32 }
    )));
}

#[test]
fn fast_blocks_are_full_and_slow_ones_are_no_older_than_20_ms() {
    let sizes = |period_us: u32, us: Micros| {
        let mut bench = Bench::opened();
        bench.must(Request::Start(Start { period_us, ..WATCHING }));
        bench.wait(us);
        bench.blocks().iter().map(|block| block.scans).collect::<Vec<_>>()
    };
    // 1016 − 28 bytes hold 98 scans of 10 bytes.
    assert!(sizes(100, 50_000).iter().all(|&scans| scans == 98));
    assert_eq!(sizes(1_000, 60_500), [20, 20, 20]);
    assert_eq!(sizes(50_000, 175_000), [1, 1, 1, 1]);
}

#[test]
fn counts_beyond_their_encoding_saturate_and_single_columns_are_packed_tight() {
    let mut bench = Bench::opened();
    bench.must(Request::Start(Start { channels: 0b10, period_us: 100, max_us: 100_000, ..WATCHING }));
    bench.wait(110_000);
    let rows = scans(&bench.blocks());
    assert_eq!(rows.len(), 1_000);
    check_rows(&rows, 0, 100, &[1]);
    // 20 ms come before 494 scans of 2 bytes.
    assert!(bench.blocks().iter().all(|block| block.scans == 200));
}

#[test]
fn a_scan_the_board_misses_is_a_counted_gap_between_blocks() {
    let mut board = MockBoard::new();
    board.misses = |at| (5_000..8_000).contains(&at);
    let mut bench = Bench::new(board);
    bench.must(Request::Identify { session: 1 });
    bench.must(Request::Start(WATCHING));
    bench.wait(30_000);
    bench.must(Request::Stop);
    let blocks = bench.blocks();
    let seen: Vec<_> = blocks.iter().map(|b| (b.number, b.first_us, b.scans, b.overrun_before)).collect();
    assert_eq!(seen, [(0, 0, 5, 0), (1, 8_000, 20, 3), (2, 28_000, 3, 0)]);
    assert!(bench.told().contains(&(30_000, EventKind::Overrun { scans: 3 })));
    assert_eq!(bench.status().overruns, 3);
}

#[test]
fn a_link_that_does_not_drain_loses_samples_but_none_in_silence() {
    let mut bench = Bench::opened();
    bench.must(Request::Start(Start { period_us: 100, ..WATCHING }));
    // A second of 10 kHz with nobody reading.
    for _ in 0..10 {
        bench.now += 100_000;
        bench.rig.handle(&common::encode(Request::Heartbeat, 0), bench.now);
    }
    bench.drain();
    bench.wait(300_000);
    bench.must(Request::Stop);
    let blocks = bench.blocks();
    let kept: usize = blocks.iter().map(|block| block.scans).sum();
    let lost: u32 = blocks.iter().map(|block| block.overrun_before).sum();
    // Stop comes at 1.3 s, before the scan that is due then is taken: polling had taken it.
    assert_eq!(kept + lost as usize, 13_001);
    assert!(lost > 8_000, "{lost}");
    for pair in blocks.windows(2) {
        let gap = pair[1].first_us - pair[0].first_us - 100 * pair[0].scans as u64;
        assert_eq!((gap, pair[1].number), (100 * u64::from(pair[1].overrun_before), pair[0].number + 1));
    }
    let told: u32 = bench
        .told()
        .iter()
        .map(|(_, kind)| if let EventKind::Overrun { scans } = kind { *scans } else { 0 })
        .sum();
    assert_eq!((told, bench.status().overruns), (lost, lost));
}

#[test]
fn events_are_numbered_without_a_hole_and_never_go_back_in_time() {
    let mut bench = Bench::armed(&[Segment::Hold { us: 1_000 }, Segment::Repeat { from: 0, times: 500 }]);
    bench.must(Request::Start(DRIVING));
    bench.wait(600_000);
    let events = bench.events();
    assert!(events.len() > 500);
    for (number, pair) in events.windows(2).enumerate() {
        assert_eq!(pair[0].number as usize, number);
        assert!(pair[0].rig_us <= pair[1].rig_us);
    }
    assert_eq!(events[0].kind, EventKind::Booted);
    let of_run = |kind: &EventKind| {
        matches!(kind, EventKind::RunStarted | EventKind::SegmentReached { .. } | EventKind::RunEnded { .. })
    };
    assert!(events.iter().all(|event| event.run == u32::from(of_run(&event.kind))));
}

#[test]
fn an_event_lost_for_want_of_room_leaves_a_hole_in_the_numbers() {
    let mut bench = Bench::armed(&[Segment::Hold { us: 1_000 }, Segment::Repeat { from: 0, times: 5_000 }]);
    bench.must(Request::Start(DRIVING));
    for _ in 0..10 {
        bench.now += 100_000;
        bench.rig.handle(&common::encode(Request::Heartbeat, 0), bench.now);
    }
    bench.drain();
    bench.wait(5_000);
    let events = bench.events();
    let lost = u64::from(events.last().expect("events").number) + 1 - events.len() as u64;
    assert!(lost > 0);
    assert!(events.windows(2).all(|pair| pair[0].number < pair[1].number));
}

#[test]
fn bytes_taken_one_by_one_are_the_same_frames() {
    let run = |portion: usize| {
        let mut bench = Bench::armed(LONG);
        bench.must(Request::Start(DRIVING));
        for _ in 0..5 {
            bench.now += 20_000;
            bench.rig.poll(bench.now);
            let mut out = vec![0; portion];
            loop {
                let count = bench.rig.transmit(&mut out);
                if count == 0 {
                    break;
                }
                bench.hear(&out[..count]);
            }
        }
        bench.heard
    };
    assert!(run(1).len() > 8);
    assert_eq!(run(1), run(MAX_ENCODED));
    assert_eq!(run(1), run(7));
}

#[test]
fn a_stop_ends_the_run_with_its_last_block_before_the_event() {
    let mut bench = Bench::opened();
    bench.must(Request::Start(WATCHING));
    bench.wait(25_000);
    bench.must(Request::Stop);
    let last: Vec<&Heard> = bench.heard.iter().rev().take(3).collect();
    assert!(matches!(last[2], Heard::Block(block) if block.number == 1 && block.scans == 6), "{last:?}");
    assert!(
        matches!(last[1], Heard::Event(e) if e.kind == EventKind::RunEnded { cause: EndCause::Stopped, blocks: 2 })
    );
    assert!(matches!(last[0], Heard::Reply(..)));
}

#[test]
fn watching_never_powers_the_drive() {
    let mut bench = Bench::armed(LONG);
    bench.must(Request::Start(WATCHING));
    bench.wait(100_000);
    assert!(bench.rig.board().drives().all(|(_, drive)| drive == Drive::Off));
}

#[test]
fn a_rig_is_small_enough_for_a_microcontroller() {
    let bytes = size_of::<Rig<MockBoard>>() - size_of::<MockBoard>();
    println!("a rig beside its board takes {bytes} bytes");
    // A tenth of the 264 KiB of SRAM on an RP2040 (RP2040 datasheet, section 2.6).
    assert!(bytes <= 26 * 1024, "{bytes}");
}
