//! The part, the rig's loom and inputs, and the person beside it, moved together in slices of 100 µs. No counts, no protocol.
//!
//! A grip is moved through a slice when it begins. A body is moved just as far as somebody looks or switches, in steps of 20 µs: its
//! bridge acts, and its meters read, at their own time.

use std::collections::VecDeque;

use crate::body::Body;
use crate::clamped::{BodyMount, Clamped, GripMount};
use crate::dropout::{Breaker, Outage, Stretch};
use crate::fault::{Channel, Fault, Lead, LeakTo};
use crate::front::{Input, SLICE_US, Slice};
use crate::grip::{Grip, Mechanics};
use crate::network::{Branch, Network, Solution};
use crate::operator::{Operator, Strokes};
use crate::part::{Part, Works};
use crate::random::Random;
use crate::rig_spec::{RigSpec, RigTruth};
use crate::spec::Sensor;

/// Steps of a 12-bit output over its supply.
const OUTPUT_STEPS: f64 = 4096.0;
/// Below this a Hall sensor does nothing, V.
const BROWN_OUT_VOLTS: f64 = 2.7;
/// Its restart after that, µs.
const RESTART_US: f64 = 300.0;
/// Sensor decoupling 100 nF on 500 ohm (Hall); a bare track has none. µs.
const STARVE_US: [f64; 2] = [50.0, 0.5];
/// Time constant of the supply's regulator, µs.
const REGULATOR_US: f64 = 500.0;
/// Microseconds of an hour.
const HOUR_US: f64 = 3.6e9;
/// Contact losses kept for tests and studies.
const HISTORY: usize = 20_000;

/// Part, loom and inputs in motion.
#[derive(Clone, Debug)]
pub struct Plant {
    part: Part,
    spec: RigSpec,
    drawn: RigTruth,
    clamped: Clamped,
    breakers: Vec<Breaker>,
    noisy: [Vec<(f64, f64, f64)>; 2],
    dead: [Option<f64>; 2],
    /// When it seizes, µs, and the friction that it then has more, N·m.
    seizes: Option<(f64, f64)>,
    /// How fast each output moves away, ratio of supply per µs.
    drift: [f64; 2],
    branches: [Branch; 2],
    supply_ohms: f64,
    ground_ohms: f64,
    swapped: bool,
    noise: Random,
    /// Whom the part meets while the drive is off.
    pub operator: Operator,
    /// Supply level that is wanted, V.
    pub supply_set: f64,
    /// A supply that does not obey, V.
    pub supply_fault: Option<f64>,
    loads: [bool; 2],
    pull_downs: [bool; 2],
    supply: f64,
    from_us: f64,
    passed_deg: f64,
    seen: [f64; 2],
    hysteresis_deg: [f64; 2],
    inputs: [Input; 2],
    slices: [Slice; 2],
    solution: Solution,
    outages: Vec<Outage>,
    history: VecDeque<Outage>,
    found: Vec<Outage>,
    temperature: f64,
    /// By how much the room grows warmer, °C per µs.
    warming: f64,
}

impl Plant {
    /// A part clamped and plugged into a rig, at rest, supply off.
    pub fn new(part: Part, spec: RigSpec, drawn: RigTruth, seed: u64) -> Self {
        let breakers = part.spec().faults.iter().enumerate();
        let breakers = breakers
            .filter_map(|(k, fault)| {
                Breaker::of(fault, Random::new(&format!("breaker {k} {}", part.name()), seed))
            })
            .collect();
        let clamped = clamp(&part, &spec, &drawn, seed);
        let slice = Slice {
            from_us: 0.0,
            from_volts: 0.0,
            volts_per_us: 0.0,
            filter_us: spec.filter_us,
            open_us: 1.0,
            supply_volts: 0.0,
            starve_us: STARVE_US[usize::from(part.spec().sensor == Sensor::Potentiometer)],
        };
        let rest = clamped.angle_deg();
        let mut plant = Self {
            noisy: [0, 1].map(|k| part.noisy_places(k)),
            dead: [0, 1].map(|k| part.dead_level(k)),
            seizes: part.seizes(),
            drift: [0, 1].map(|k| part.drift_per_hour(k) / HOUR_US),
            branches: [0, 1].map(|k| fixed_branch(&part, k)),
            supply_ohms: spec.loom_ohms + spec.contact_ohms + part.ohms(supply_lead),
            ground_ohms: spec.loom_ohms + spec.contact_ohms + part.ohms(ground_lead),
            swapped: part.swapped(),
            noise: Random::new("sensor noise", seed),
            operator: Operator::None,
            supply_set: 0.0,
            supply_fault: None,
            loads: [false; 2],
            pull_downs: [false; 2],
            supply: 0.0,
            from_us: -SLICE_US,
            passed_deg: rest,
            seen: [rest; 2],
            hysteresis_deg: [0, 1].map(|k| part.hysteresis_deg(k)),
            inputs: [Input::default(); 2],
            slices: [slice; 2],
            solution: Solution::default(),
            outages: Vec::new(),
            history: VecDeque::new(),
            found: Vec::new(),
            temperature: spec.ambient_celsius,
            warming: 0.0,
            part,
            spec,
            drawn,
            clamped,
            breakers,
        };
        plant.connect_inputs();
        plant
    }

    /// The part.
    pub fn part(&self) -> &Part {
        &self.part
    }

    /// What is clamped and moves.
    pub fn clamped(&self) -> &Clamped {
        &self.clamped
    }

    /// The same, to drive it.
    pub fn clamped_mut(&mut self) -> &mut Clamped {
        &mut self.clamped
    }

    /// Switches load and pull-down of input 0 or 1.
    pub fn set_input(&mut self, column: usize, load: bool, pull_down: bool) {
        self.loads[column] = load;
        self.pull_downs[column] = pull_down;
        self.connect_inputs();
    }

    /// Temperature of the rig, °C.
    pub fn temperature(&self) -> f64 {
        self.temperature
    }

    /// Sets room and rig to a temperature, °C.
    pub fn set_temperature(&mut self, celsius: f64) {
        self.spec.ambient_celsius = celsius;
        self.temperature = celsius;
        self.clamped.set_ambient(celsius);
    }

    /// Has the room grow warmer from now on, °C per minute.
    pub fn set_warming(&mut self, celsius_per_min: f64) {
        self.warming = celsius_per_min / 60e6;
    }

    /// Losses of contact so far, the newest last; bounded.
    pub fn history(&self) -> &VecDeque<Outage> {
        &self.history
    }

    /// Moves on until the slice that holds `at_us` has been begun.
    pub fn advance(&mut self, at_us: f64) {
        while self.from_us + SLICE_US <= at_us {
            self.next_slice();
        }
    }

    /// Volts of input 0 or 1 behind its filter, without supply ripple and noise.
    #[inline]
    pub fn volts(&self, column: usize, at_us: f64) -> f64 {
        let channel = self.channel(column);
        self.slices[channel].advance(channel, self.inputs[channel], at_us, &self.outages).filtered
    }

    /// Supply at the rig's terminals without ripple and noise, V.
    pub fn supply(&self) -> f64 {
        self.supply
    }

    /// Angle of the shaft under the encoder, degrees; a body has none.
    #[inline]
    pub fn shaft_deg(&self, at_us: f64) -> f64 {
        match &self.clamped {
            Clamped::Grip(mount) => mount.shaft_deg((at_us - self.from_us) / SLICE_US),
            Clamped::Body(_) => 0.0,
        }
    }

    /// Angle that each output stands for: that of the part less what it lags behind by its hysteresis, degrees.
    pub fn seen_deg(&self) -> [f64; 2] {
        self.seen
    }

    /// Current out of the supply, A.
    pub fn supply_amps(&self, at_us: f64) -> f64 {
        if self.starved(at_us) { 0.0 } else { self.solution.supply_amps }
    }

    /// Return at the loom's end against the rig's own ground, V: what the return wire of the loom drops.
    pub fn return_volts(&self, at_us: f64) -> f64 {
        if self.starved(at_us) { 0.0 } else { self.solution.ground_amps * self.spec.loom_ohms }
    }

    fn starved(&self, at_us: f64) -> bool {
        let power = |o: &Outage| matches!(o.lead, Lead::Supply | Lead::Ground);
        self.outages.iter().any(|o| power(o) && o.start_us <= at_us && o.end_us > at_us)
    }

    /// Sensor channel on an input column (and the other way round).
    #[inline]
    fn channel(&self, column: usize) -> usize {
        column ^ usize::from(self.swapped)
    }

    fn connect_inputs(&mut self) {
        for column in 0..2 {
            let mut siemens = 1.0 / self.spec.input_ohms;
            if self.loads[column] {
                siemens += 1.0 / self.drawn.load_ohms[column];
            }
            if self.pull_downs[column] {
                siemens += 1.0 / self.drawn.pull_down_ohms[column];
            }
            let channel = self.channel(column);
            self.branches[channel].input = siemens;
            self.slices[channel].filter_us = self.drawn.filter_us[column];
            self.slices[channel].open_us = 1e6 * self.spec.cable_farads / siemens;
        }
    }

    fn next_slice(&mut self) {
        let from = self.from_us + SLICE_US;
        if from > 0.0 {
            for k in 0..2 {
                self.inputs[k] = self.slices[k].advance(k, self.inputs[k], from, &self.outages);
            }
        }
        self.from_us = from;
        if let Some((_, friction_nm)) = self.seizes.take_if(|(at_us, _)| from >= *at_us) {
            self.clamped.bind(friction_nm);
        }
        self.supply += (self.supply_fault.unwrap_or(self.supply_set * self.drawn.supply_level) - self.supply)
            * (SLICE_US / REGULATOR_US);
        let held = self.part.spec().sensor == Sensor::Hall;
        let start_deg = self.clamped.begin(from, self.operator);
        self.see(start_deg);
        // A Hall output holds what it saw at the slice's start; a wiper moves on through it.
        let start = if held { self.electrics() } else { self.solution };
        self.pass();
        let end = if held { start } else { self.electrics() };
        for k in 0..2 {
            let slice = &mut self.slices[k];
            slice.from_us = from;
            slice.from_volts = start.inputs[k];
            slice.volts_per_us = (end.inputs[k] - start.inputs[k]) / SLICE_US;
            slice.supply_volts = self.supply;
        }
        self.solution = end;
    }

    /// Hysteresis between the part and its outputs.
    fn see(&mut self, deg: f64) {
        for k in 0..2 {
            let half = 0.5 * self.hysteresis_deg[k];
            self.seen[k] = self.seen[k].clamp(deg - half, deg + half);
        }
    }

    /// The mechanics through the slice; contacts that break on the way.
    fn pass(&mut self) {
        let idle = self.clamped.idle();
        let passage = self.clamped.pass(self.from_us, self.operator);
        // 0.8 K per watt, with a time constant of two minutes.
        if self.warming != 0.0 {
            self.spec.ambient_celsius += self.warming * SLICE_US;
            self.clamped.set_ambient(self.spec.ambient_celsius);
        }
        let warm = self.spec.ambient_celsius + 0.8 * self.clamped.loss_watts();
        self.temperature += (warm - self.temperature) * (SLICE_US / 120e6);
        let from_deg = std::mem::replace(&mut self.passed_deg, passage.to_deg);
        if self.part.spec().sensor == Sensor::Potentiometer {
            self.see(passage.to_deg);
        }
        if !self.breakers.is_empty() {
            let reached = idle || self.operator.works_at_the_cable();
            let flexed = reached && self.operator.flexes(self.from_us);
            let (place, celsius) = (self.operator.place(self.from_us), self.temperature);
            let to_us = self.from_us + SLICE_US;
            let (to_deg, shock_rad_s2) = (passage.to_deg, passage.shock_rad_s2);
            self.break_contacts(&Stretch {
                from_us: self.from_us,
                to_us,
                from_deg,
                to_deg,
                shock_rad_s2,
                flexed,
                place,
                celsius,
            });
        }
    }

    fn break_contacts(&mut self, stretch: &Stretch) {
        self.outages.retain(|o| o.end_us > stretch.from_us);
        for breaker in &mut self.breakers {
            breaker.advance(stretch, &mut self.found);
        }
        for outage in self.found.drain(..) {
            if self.history.len() == HISTORY {
                self.history.pop_front();
            }
            self.history.push_back(outage);
            let mut felt = outage;
            let browned = (self.supply / BROWN_OUT_VOLTS).max(1.0).ln() * STARVE_US[0];
            let power = matches!(outage.lead, Lead::Supply | Lead::Ground);
            if power && self.part.spec().sensor == Sensor::Hall && outage.end_us - outage.start_us > browned {
                felt.end_us += RESTART_US;
            }
            self.outages.push(felt);
        }
    }

    /// The network as it is now, with a fresh draw of sensor noise.
    fn electrics(&mut self) -> Solution {
        let hall = self.part.spec().sensor == Sensor::Hall;
        for k in 0..2 {
            let mut sigma = self.part.drawn().noise_volts;
            let seen = self.seen[k];
            for &(from, to, volts) in &self.noisy[k] {
                if (from..to).contains(&seen) {
                    sigma = sigma.hypot(volts);
                }
            }
            let clean = self.dead[k]
                .unwrap_or_else(|| self.part.transfer(seen, k) + self.drift[k] * self.from_us.max(0.0));
            let noise = if self.dead[k].is_some() { 0.1 * sigma } else { sigma } / 5.0 * self.noise.normal();
            let branch = &mut self.branches[k];
            if let Some(track) = self.part.drawn().track_ohms {
                branch.ratio = (clean + noise).clamp(0.0, 1.0);
                branch.share = clean;
                branch.source_ohms = clean * (1.0 - clean) * track[k] + self.part.drawn().source_ohms[k];
            } else {
                // Steps are whole; nothing below 0 gets through.
                let steps = ((clean + noise) * OUTPUT_STEPS + 0.5).clamp(0.0, OUTPUT_STEPS) as i32;
                branch.ratio = f64::from(steps) / OUTPUT_STEPS;
            }
        }
        // A Hall sensor draws its current once it has voltage enough to work.
        let working = self.supply > BROWN_OUT_VOLTS;
        if hall && !working {
            self.branches.iter_mut().for_each(|b| b.ratio = 0.0);
        }
        let track = self.part.drawn().track_ohms;
        let network = Network {
            supply_volts: self.supply,
            supply_ohms: self.supply_ohms,
            ground_ohms: self.ground_ohms,
            sensor_amps: if working { self.part.drawn().supply_amps } else { 0.0 },
            sensor_siemens: track.map_or(0.0, |[a, b]| 1.0 / a + 1.0 / b),
            branches: self.branches,
        };
        let solution = network.solve();
        if hall && working && solution.sensor_supply - solution.sensor_ground < BROWN_OUT_VOLTS {
            // A lead so bad that the sensor cannot start: no current, no output.
            let branches = self.branches.map(|b| Branch { ratio: 0.0, ..b });
            return Network { sensor_amps: 0.0, branches, ..network }.solve();
        }
        solution
    }
}

/// Clamps a part, at rest.
fn clamp(part: &Part, spec: &RigSpec, drawn: &RigTruth, seed: u64) -> Clamped {
    let open_deg = part.drawn().open_stop_deg;
    let strokes = Strokes::new(Random::new("hand", seed), open_deg.to_radians());
    match part.works() {
        Works::Body(works) => {
            let body = Body::new(works.numbers.clone(), &works.teeth, spec.ambient_celsius);
            Clamped::Body(Box::new(BodyMount::new(body, strokes, drawn.motor_filter_us)))
        }
        Works::Grip(numbers) => {
            let mechanics = Mechanics::of(part.spec(), open_deg, numbers);
            let grip = Grip::new(mechanics, drawn.mounting_deg.to_radians());
            Clamped::Grip(Box::new(GripMount::new(grip, strokes)))
        }
    }
}

fn supply_lead(fault: &Fault) -> Option<f64> {
    if let Fault::SupplyLead { ohms } = *fault { Some(ohms) } else { None }
}

fn ground_lead(fault: &Fault) -> Option<f64> {
    if let Fault::GroundLead { ohms } = *fault { Some(ohms) } else { None }
}

/// What does not move of a channel's branch.
fn fixed_branch(part: &Part, k: usize) -> Branch {
    let leak = |wanted: LeakTo| {
        let siemens = part.spec().faults.iter().map(|fault| match *fault {
            Fault::Leakage { channel, ohms, to } if to == wanted && Channel::holds(channel, k) => 1.0 / ohms,
            _ => 0.0,
        });
        siemens.sum()
    };
    Branch {
        ratio: 0.0,
        source_ohms: part.drawn().source_ohms[k],
        share: 1.0,
        leak_ground: leak(LeakTo::Ground),
        leak_supply: leak(LeakTo::Supply),
        // Two metres of 0.34 mm² and a contact are nothing beside the input's resistance, but they are there.
        lead_ohms: 0.116
            + part.ohms(|fault| match *fault {
                Fault::SignalLead { channel, ohms } if channel.holds(k) => Some(ohms),
                _ => None,
            }),
        input: 1e-6,
    }
}
