//! How many times faster than real time a whole rig runs on virtual time: 5 kHz, 8 channels, sweeping; a body is stroked by voltages,
//! let go, and held by the rig's position loop. Prints one line per part: those named as arguments, or all of its own.

use std::time::Instant;

use trackpair_protocol::frame::{Deframer, MAX_ENCODED};
use trackpair_protocol::message::{Message, Request, Start};
use trackpair_protocol::position_loop::LoopSettings;
use trackpair_protocol::program::{Program, Segment};
use trackpair_rig_sim::part_address;

/// Gains for the simulated body: 63 V/rad, 500 V/(rad s), 0.73 V s/rad.
const LOOP: LoopSettings = LoopSettings {
    closed_ppm: 100_000,
    open_ppm: 900_000,
    travel_mdeg: 84_000,
    kp_uv_mdeg: 1_100,
    ki_uv_mdeg_s: 8_727,
    kd_nv_s_mdeg: 12_741,
    speed_filter_us: 531,
    dead_mdeg: 120,
    current_ma: 8_000,
};

/// Parts that are run when none is named.
const PARTS: [&str; 6] =
    ["good-grip", "good-pot-grip", "cracked-wire-grip", "good-body", "worn-teeth-body", "dead-spot-body"];

/// What the rig is asked to do again and again.
fn program(body: bool) -> Program {
    let ramp = |to_mdeg| Segment::Ramp { to_mdeg, speed_mdeg_s: 60_000, accel_mdeg_s2: 2_000_000 };
    let repeat = Segment::Repeat { from: 0, times: 1000 };
    let segments: &[Segment] = if body {
        &[
            ramp(60_000),
            Segment::Step { to_mdeg: 20_000, us: 300_000 },
            Segment::Release { us: 500_000 },
            Segment::Volts { mv: 5_000, us: 250_000 },
            Segment::Release { us: 500_000 },
            repeat,
        ]
    } else {
        &[ramp(74_000), ramp(1_000), repeat]
    };
    Program::from_slice(segments).unwrap_or(Program::EMPTY)
}

fn main() -> anyhow::Result<()> {
    let named: Vec<String> = std::env::args().skip(1).collect();
    let all = if named.is_empty() { PARTS.map(String::from).to_vec() } else { named };
    for name in all {
        let body = name.ends_with("-body");
        let mut rig = part_address(&format!("{name}?seed=1"))?.rig();
        let start = Start { run: 1, period_us: 200, channels: 0xff, drive: true, max_us: 30_000_000 };
        let mut requests = vec![Request::Identify { session: 1 }, Request::SetSupply { millivolts: 5000 }];
        if body {
            requests.push(Request::SetLoop(LOOP));
        }
        requests.extend([Request::LoadProgram(program(body)), Request::Arm, Request::Start(start)]);
        let mut frame = [0; MAX_ENCODED];
        let mut id = 0;
        for request in requests {
            id += 1;
            let n = request.encode(id, &mut frame).unwrap_or(0);
            rig.write(&frame[..n]);
            rig.run_until(rig.now_us() + 30_000);
        }
        let (mut deframer, mut scans, mut bytes) = (Deframer::new(), 0_u64, [0; 4096]);
        let (begin, from_us) = (Instant::now(), rig.now_us());
        while rig.now_us() < from_us + 29_000_000 {
            let deadline = rig.now_us() + 100_000;
            while rig.now_us() < deadline {
                let n = rig.read(&mut bytes, deadline - rig.now_us());
                deframer.push(&bytes[..n], |frame| {
                    if let Ok(Message::Samples(block)) = Message::decode(&frame) {
                        scans += u64::from(block.scans);
                    }
                });
            }
            id += 1;
            let n = Request::Heartbeat.encode(id, &mut frame).unwrap_or(0);
            rig.write(&frame[..n]);
        }
        let (real, rig_s) = (begin.elapsed().as_secs_f64(), (rig.now_us() - from_us) as f64 * 1e-6);
        println!(
            "{name:<20}{:>6.0} x real time, {scans} scans in {rig_s:.1} s of the rig, {real:.3} s real",
            rig_s / real
        );
    }
    Ok(())
}
