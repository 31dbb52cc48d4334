//! A rig for the synthetic plant, for tests alone: runs a list of stimuli, samples at 5 kHz, and errs as the study's rig does
//! (gains, offsets, noise, nonlinearity of the plate's own sensor; all engineering assumptions).

use super::plant::{Bridge, Plant, RAD, State};
use crate::analysis::body::stretches::{Recording, Signals, closed_loop};
use crate::analysis::statistics::Resampler;
use crate::trace::Stimulus;
use std::f64::consts::TAU;

const PERIOD_S: f64 = 2e-4;
const STEP_S: f64 = 2e-5;

/// A part on a rig.
pub struct Bench {
    /// The part.
    pub plant: Plant,
    /// Its state.
    pub state: State,
    /// Plate angle's noise, degrees.
    pub noise_deg: f64,
    /// Whether the plate's sensor bends.
    pub bends: bool,
    random: Resampler,
    gain: [f64; 2],
    offset: [f64; 2],
    waves: Vec<(f64, f64, f64)>,
    now_us: u64,
}

/// What a program did, with the truth that only tests may see.
pub struct Run {
    /// What the rig recorded.
    pub recording: Recording,
    /// True plate angle at each scan, degrees.
    pub true_deg: Vec<f64>,
}

impl Bench {
    /// A part at rest, rig errors from the seed.
    pub fn new(plant: Plant, seed: u64) -> Self {
        let mut random = Resampler::new(seed);
        let mut n = |s: f64| s * random.normal();
        let gain = [1.0 + n(0.005), 1.0 + n(0.002)];
        let offset = [n(2e-3), n(2e-3)];
        let mut waves: Vec<(f64, f64, f64)> = [(0.15, 84.0), (0.08, 42.0), (0.03, 22.5)]
            .into_iter()
            .map(|(a, p)| (n(a), p, 0.0))
            .chain([(0.008, 2.3), (0.006, 1.1)].map(|(a, p)| (a, p, 0.0)))
            .collect();
        for w in &mut waves {
            w.2 = TAU * random.uniform();
        }
        let state = plant.rest();
        Self { plant, state, noise_deg: 0.02, bends: true, random, gain, offset, waves, now_us: 0 }
    }

    /// A healthy part of the study's spread, by seed.
    pub fn healthy(seed: u64) -> Self {
        let mut random = Resampler::new(seed.wrapping_mul(7919).wrapping_add(17));
        Self::new(Plant::healthy(&mut random), seed)
    }

    /// What the plate's sensor makes of a true angle, degrees, without noise.
    pub fn seen_deg(&self, deg: f64) -> f64 {
        let bend: f64 = self.waves.iter().map(|(a, p, c)| a * (TAU * deg / p + c).sin()).sum();
        deg + if self.bends { bend } else { 0.0 }
    }

    /// Runs a program.
    pub fn run(&mut self, program: &[Stimulus]) -> Run {
        self.run_pushed(program, |_| 0.0)
    }

    /// Runs a program while a stiff probe leads the plate to `probe(seconds)` degrees; 0 = no probe.
    pub fn run_pushed(&mut self, program: &[Stimulus], probe: impl Fn(f64) -> f64) -> Run {
        let mut signals = Signals { celsius: 24.0, ..Signals::default() };
        let mut began = Vec::new();
        let mut true_deg = Vec::new();
        let mut control = Control { target: self.state.th / RAD, ..Control::default() };
        control.last_y = self.state.th;
        let start_us = self.now_us;
        for (segment, stimulus) in program.iter().enumerate() {
            began.push((segment, 0, self.now_us));
            let (seconds, from, from_volts) = (length(*stimulus, &control), control.target, control.volts);
            for k in 0..(seconds / PERIOD_S).round() as usize {
                let share = (k as f64 + 1.0) * PERIOD_S / seconds;
                let y = self.state.th + self.noise_deg * RAD * self.random.normal();
                let bridge = control.decide(*stimulus, from, from_volts, share, y);
                self.sample(bridge, &mut signals);
                true_deg.push(self.state.th / RAD);
                let lead = probe((self.now_us - start_us) as f64 * 1e-6);
                for _ in 0..10 {
                    let push = if lead == 0.0 {
                        0.0
                    } else {
                        40.0 * (lead * RAD - self.state.th) - 0.02 * self.state.w
                    };
                    self.plant.step(&mut self.state, bridge, push, STEP_S);
                }
                self.now_us += 200;
            }
        }
        Run { recording: Recording::new(signals, program, &began, &[]), true_deg }
    }

    fn sample(&mut self, bridge: Bridge, out: &mut Signals) {
        let s = &self.state;
        let volts = match bridge {
            Bridge::Driven(u) => u,
            Bridge::Open if s.i.abs() > 1e-6 => -self.plant.supply * s.i.signum(),
            Bridge::Open => {
                self.plant.k * (1.0 + self.plant.kr * (14.0 * s.thm + self.plant.phk).cos()) * s.wm
            }
        };
        let deg = self.seen_deg(s.th / RAD) + self.noise_deg * self.random.normal();
        let amps = self.gain[0] * s.i + self.offset[0] + 4e-3 * self.random.normal();
        out.time_us.push(self.now_us);
        out.deg.push(deg);
        out.amps.push(amps);
        out.volts.push(self.gain[1] * volts + self.offset[1] + 5e-3 * self.random.normal());
    }
}

fn length(stimulus: Stimulus, control: &Control) -> f64 {
    match stimulus {
        Stimulus::Ramp { to_deg, speed_deg_s, .. } => (to_deg - control.target).abs() / speed_deg_s,
        Stimulus::Hold { seconds }
        | Stimulus::Step { seconds, .. }
        | Stimulus::Release { seconds }
        | Stimulus::Volts { seconds, .. }
        | Stimulus::VoltsRamp { seconds, .. }
        | Stimulus::Brake { seconds } => seconds,
        Stimulus::Repeat { .. } => 0.0,
    }
}

/// The position loop of the study: Kp 63 V/rad, Ki 500 V/(rad s), Kd 0.73 V s/rad, D pole 300 Hz, ±13 V, no integration
/// within 0.12°.
#[derive(Default)]
struct Control {
    target: f64,
    volts: f64,
    integral: f64,
    slope: f64,
    last_y: f64,
    open: bool,
}

impl Control {
    fn decide(&mut self, stimulus: Stimulus, from: f64, from_volts: f64, share: f64, y: f64) -> Bridge {
        if closed_loop(stimulus) {
            if self.open {
                (self.integral, self.slope, self.open) = (0.0, 0.0, false);
                self.last_y = y;
            }
            self.target = match stimulus {
                Stimulus::Ramp { to_deg, .. } => from + (to_deg - from) * share.min(1.0),
                Stimulus::Step { to_deg, .. } => to_deg,
                _ => self.target,
            };
            self.volts = self.loop_volts(y);
            return Bridge::Driven(self.volts);
        }
        self.open = true;
        self.target = y / RAD;
        self.last_y = y;
        self.volts = match stimulus {
            Stimulus::Volts { volts, .. } => volts,
            Stimulus::VoltsRamp { to_volts, .. } => from_volts + (to_volts - from_volts) * share,
            _ => 0.0,
        };
        if matches!(stimulus, Stimulus::Release { .. }) { Bridge::Open } else { Bridge::Driven(self.volts) }
    }

    fn loop_volts(&mut self, y: f64) -> f64 {
        let pole = (-PERIOD_S * TAU * 300.0).exp();
        self.slope = pole * self.slope - (1.0 - pole) * (y - self.last_y) / PERIOD_S;
        self.last_y = y;
        let e = self.target * RAD - y;
        let wanted = 63.0 * e + 0.73 * self.slope + 500.0 * self.integral;
        let volts = wanted.clamp(-13.0, 13.0);
        if (volts == wanted || (wanted - volts) * e < 0.0) && e.abs() > 0.12 * RAD {
            self.integral += e * PERIOD_S;
        }
        volts
    }
}
