//! A rig for the synthetic plant, for tests alone: runs a list of stimuli, samples at 5 kHz, and errs as the study's rig does
//! (gains, offsets, noise, nonlinearity of the plate's own sensor; all engineering assumptions).

use super::plant::{Bridge, Plant, RAD, State, Table};
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
    /// The sensor supply's dip per ampere of motor current, V/A.
    pub sag: f64,
    /// Lag of the plate's sensor, s.
    pub lag_s: f64,
    /// What each feedback line's track adds at a place, degrees over degrees: a potentiometer's texture.
    pub texture: Option<[Table; 2]>,
    seen_lag: Option<f64>,
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
    /// What the second line makes of it, without noise, degrees.
    pub second_deg: Vec<f64>,
    /// Supply at each scan, V.
    pub supply: Vec<f64>,
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
        Self {
            plant,
            state,
            noise_deg: 0.02,
            bends: true,
            sag: 0.0,
            lag_s: 0.0,
            texture: None,
            seen_lag: None,
            random,
            gain,
            offset,
            waves,
            now_us: 0,
        }
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
        let (mut true_deg, mut second_deg, mut supply) = (Vec::new(), Vec::new(), Vec::new());
        let mut control = Control { target: self.state.th / RAD, ..Control::default() };
        control.last_y = self.state.th;
        let start_us = self.now_us;
        for (segment, stimulus) in program.iter().enumerate() {
            began.push((segment, 0, self.now_us));
            let (seconds, from, from_volts) = (length(*stimulus, &control), control.target, control.volts);
            for k in 0..(seconds / PERIOD_S).round() as usize {
                let share = (k as f64 + 1.0) * PERIOD_S / seconds;
                let lagged = self.lagged();
                let y = (lagged + self.track(0, lagged)) * RAD + self.noise_deg * RAD * self.random.normal();
                let bridge = control.decide(*stimulus, from, from_volts, share, y);
                self.sample(bridge, lagged, &mut signals);
                true_deg.push(self.state.th / RAD);
                second_deg.push(lagged + self.track(1, lagged));
                supply.push(5.0 - self.sag * self.state.i.abs());
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
        Run { recording: Recording::new(signals, program, &began, &[]), true_deg, second_deg, supply }
    }

    /// The plate as its sensor's filter lets it through, degrees.
    fn lagged(&mut self) -> f64 {
        let now = self.state.th / RAD;
        let before = self.seen_lag.unwrap_or(now);
        let keep = if self.lag_s > 0.0 { (-PERIOD_S / self.lag_s).exp() } else { 0.0 };
        let seen = now + (before - now) * keep;
        self.seen_lag = Some(seen);
        seen
    }

    /// What a line's track adds, degrees.
    fn track(&self, line: usize, deg: f64) -> f64 {
        self.texture.as_ref().map_or(0.0, |t| t[line].at(deg * RAD).0 / RAD)
    }

    /// A potentiometer's two tracks: the texture of the physics study (0.06 and 0.03 % of supply over 1 and 0.3 degrees).
    pub fn potentiometer(&mut self, seed: u64) {
        let mut random = Resampler::new(seed ^ 0x90_7E);
        let mut track = || {
            let mut layer = |share: f64, length: f64| {
                let grid: Vec<f64> = (0..2000).map(|_| random.normal()).collect();
                move |deg: f64| {
                    let (mut sum, mut squares) = (0.0, 0.0);
                    let middle = ((deg + 5.0) / 0.05) as i64;
                    for k in middle - 60..=middle + 60 {
                        let u = ((k as f64) * 0.05 - 5.0 - deg) / (0.5 * length);
                        let weight = (-0.5 * u * u).exp();
                        sum += weight * grid.get(k.max(0) as usize).copied().unwrap_or(0.0);
                        squares += weight * weight;
                    }
                    share / 100.0 / 0.8 * 84.0 * sum / squares.sqrt()
                }
            };
            let (coarse, fine) = (layer(0.06, 1.0), layer(0.03, 0.3));
            Table::of(|deg| coarse(deg) + fine(deg))
        };
        self.texture = Some([track(), track()]);
    }

    fn sample(&mut self, bridge: Bridge, lagged: f64, out: &mut Signals) {
        let s = &self.state;
        let volts = match bridge {
            Bridge::Driven(u) => u,
            Bridge::Open if s.i.abs() > 1e-6 => -self.plant.supply * s.i.signum(),
            Bridge::Open => {
                self.plant.k * (1.0 + self.plant.kr * (14.0 * s.thm + self.plant.phk).cos()) * s.wm
            }
        };
        let deg = self.seen_deg(lagged) + self.track(0, lagged) + self.noise_deg * self.random.normal();
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
