//! CPU share and memory of a host that records a live stream of 10 kHz × 8 channels over a pty, in real time.
//!
//! The rig runs as a program of its own; what is measured is this process: user and system time from /proc/self/stat, and
//! resident memory at one third and at the end. Real time: a minute, `LIVE_SECONDS` changes it. Linux only.

use std::fs;
use std::time::Instant;
use tokio_util::sync::CancellationToken;
use trackpair::link::{Address, open};
use trackpair::procedure::{Bench, HandEnd, Setup};
use trackpair::session::{Options, Session};
use trackpair::sheet::{PartSheet, shipped};
use trackpair_tests::programs::ServedRig;

/// Clock ticks per second of /proc/self/stat: fixed at 100 on Linux.
const TICKS: f64 = 100.0;

fn main() {
    let seconds: f64 = std::env::var("LIVE_SECONDS").ok().and_then(|s| s.parse().ok()).unwrap_or(60.0);
    let mut sheet: PartSheet = shipped("grip-complementary").expect("shipped");
    sheet.sweep.rate_hz = 10_000;
    let rig = ServedRig::start(["--part", "good-grip", "--seed", "1", "--listen", "pty"])
        .expect("the rig program starts");
    let link = open(&Address::parse(rig.address()).expect("address")).expect("the pty opens");
    let session = Session::over(link, Options::default()).expect("the rig answers");
    let stop = CancellationToken::new();
    let mut rss = Vec::new();
    let mut watch = |p: trackpair::procedure::Progress| rss.push((p.done_fraction, resident_kib()));
    let setup = Setup {
        sheet: &sheet,
        part: String::new(),
        started: String::new(),
        stop: &stop,
        progress: &mut watch,
    };
    let mut bench = Bench::new(session, setup);
    let (cpu, wall) = (cpu_seconds(), Instant::now());
    let recording = bench.hand_sweep(HandEnd { after_us: Some((seconds * 1e6) as u64), keys: None });
    let (cpu, wall) = (cpu_seconds() - cpu, wall.elapsed().as_secs_f64());
    bench.finish().expect("unpowered");
    let trace = recording.trace.expect("recorded");
    println!(
        "live: {} scans x {} channels in {wall:.1} s, {} gaps; host CPU {cpu:.2} s = {:.2} % of a core",
        trace.len(),
        trace.columns.len(),
        trace.gaps.len(),
        100.0 * cpu / wall
    );
    // The recording itself grows: 4 bytes a sample and 8 a time stamp. What remains must not.
    let recorded_kib =
        |share: f64| share * trace.len() as f64 * (trace.columns.len() * 4 + 8) as f64 / 1024.0;
    let at = |share: f64| rss.iter().find(|(done, _)| *done >= share).map_or(0.0, |(_, kib)| *kib);
    let (a, b) = (at(0.34), at(0.98));
    println!(
        "live: resident {a:.0} KiB at a third, {b:.0} KiB at the end; the recording itself grew by {:.0} KiB",
        recorded_kib(0.64)
    );
}

fn cpu_seconds() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").expect("Linux");
    let after_name = stat.rsplit(')').next().expect("a name in parentheses");
    let fields: Vec<&str> = after_name.split_whitespace().collect();
    // proc(5): utime and stime are fields 14 and 15; 3 is the first after the name.
    (fields[11].parse::<f64>().expect("utime") + fields[12].parse::<f64>().expect("stime")) / TICKS
}

fn resident_kib() -> f64 {
    let status = fs::read_to_string("/proc/self/status").expect("Linux");
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).expect("VmRSS");
    line.split_whitespace().nth(1).and_then(|v| v.parse().ok()).expect("kB")
}
