//! How long a throttle body's step takes: driven to and fro with lash and teeth, at rest, and with a dead spot. One line each.

use std::time::Instant;

use trackpair_rig_sim::body::mechanics::STEP_S;
use trackpair_rig_sim::body::numbers::DeadSpot;
use trackpair_rig_sim::body::{Body, BodyNumbers, Bridge, Teeth};
use trackpair_rig_sim::random::Random;

fn main() {
    let teeth = Teeth::draw(&mut Random::new("teeth", 1));
    let healthy = BodyNumbers::draw(&mut Random::new("body", 1));
    let mut dead = healthy.clone();
    dead.motor.dead_spot = Some(DeadSpot { centre_deg: 90.0, width_deg: 20.0, ohms: 30.0 });
    for (name, numbers, volts) in
        [("driven", &healthy, 5.0), ("dead spot", &dead, 5.0), ("at rest", &healthy, 0.0)]
    {
        let mut body = Body::new(numbers.clone(), &teeth, 23.0);
        let (begin, seconds) = (Instant::now(), 60.0);
        let slices = (seconds / (5.0 * STEP_S)) as usize;
        for k in 0..slices {
            if k % 2000 == 0 && volts > 0.0 {
                body.set_bridge(match k / 2000 % 3 {
                    0 => Bridge::Drive { volts },
                    1 => Bridge::Drive { volts: -volts },
                    _ => Bridge::Open,
                });
            }
            body.advance(5);
        }
        let real = begin.elapsed().as_secs_f64();
        println!(
            "{name:<12}{:>6.0} x real time, {:>5.1} ns a step, ends at {:.3} deg",
            seconds / real,
            1e9 * real / (slices * 5) as f64,
            body.plate_deg()
        );
    }
}
