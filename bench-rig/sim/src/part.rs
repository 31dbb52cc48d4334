//! One drawn part: its own numbers, its static curves, its truth. It has no state: [`crate::plant`] moves it.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use crate::body::truth::BodyTruth;
use crate::body::winding::{REFERENCE_CELSIUS, Winding};
use crate::body::{BodyNumbers, Teeth, ailment};
use crate::curve::{self, Curve, CurveTruth};
use crate::drawn::{self, Drawn, GripNumbers};
use crate::fault::{Channel, Fault, Shape};
use crate::random::Random;
use crate::spec::{Kind, PartSpec};

/// Everything that is true of a part, and the figures of its error-free curve. Never goes through the protocol.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PartTruth {
    /// Name.
    pub name: String,
    /// Seed.
    pub seed: u64,
    /// What it was meant to be, with its faults.
    pub spec: PartSpec,
    /// What was drawn.
    pub drawn: Drawn,
    /// Figures of each channel's static curve, faults included.
    pub curves: [CurveTruth; 2],
    /// Largest correlation residual of the static curves against the nominal relation, % of supply, stop to stop …
    pub correlation_worst_percent: f64,
    /// … and where, degrees of grip or plate.
    pub correlation_worst_deg: f64,
    /// Hysteresis of each channel with play of its faults, degrees.
    pub hysteresis_deg: [f64; 2],
    /// Mechanics of a grip.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grip: Option<GripNumbers>,
    /// Motor, gears, springs and plate of a body.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub body: Option<BodyTruth>,
}

/// What moves in a part.
#[derive(Clone, Debug, PartialEq)]
pub enum Works {
    /// A grip's mechanics.
    Grip(GripNumbers),
    /// A body's.
    Body(Box<BodyWorks>),
}

/// What moves in a body.
#[derive(Clone, Debug, PartialEq)]
pub struct BodyWorks {
    /// As drawn, healthy.
    pub healthy: BodyNumbers,
    /// With its faults.
    pub numbers: BodyNumbers,
    /// Its teeth, faults included.
    pub teeth: Teeth,
}

/// One part.
#[derive(Clone, Debug)]
pub struct Part {
    name: String,
    seed: u64,
    spec: PartSpec,
    drawn: Drawn,
    curves: [Curve; 2],
    works: Works,
}

impl Part {
    /// Draws a part; the same name, specification and seed give the same part.
    pub fn draw(name: &str, spec: PartSpec, seed: u64) -> Self {
        let mut random = Random::new(name, seed);
        let body = (spec.kind == Kind::Body).then(|| Box::new(BodyWorks::draw(name, &spec, seed)));
        let open_stop_deg = body.as_ref().map(|body| body.numbers.plate.open_stop_deg);
        let (drawn, grip) = Drawn::draw(&spec, &mut random, open_stop_deg);
        let works = body.map_or(Works::Grip(grip), Works::Body);
        let textures = [0, 1].map(|_| drawn::texture(&spec, &mut random));
        let curves =
            [0, 1].map(|ch| Curve::tabulate(|i| ratio(&spec, &drawn, ch, curve::angle(i)) + textures[ch][i]));
        Self { name: name.to_owned(), seed, spec, drawn, curves, works }
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What it was meant to be.
    pub fn spec(&self) -> &PartSpec {
        &self.spec
    }

    /// Its own numbers.
    pub fn drawn(&self) -> &Drawn {
        &self.drawn
    }

    /// What moves in it.
    pub fn works(&self) -> &Works {
        &self.works
    }

    /// Error-free static output of channel 0 or 1 at an angle of grip or plate in degrees from the closed stop, as ratio of the supply at the
    /// sensor's own pins: no noise, hysteresis, wires. Dead and swapped channels are not in it.
    #[inline]
    pub fn transfer(&self, deg: f64, channel: usize) -> f64 {
        self.curves[channel & 1].at(deg)
    }

    /// Hysteresis of a channel with the play of its faults, full width in degrees.
    pub fn hysteresis_deg(&self, channel: usize) -> f64 {
        let play = self.spec.faults.iter().map(|fault| match fault {
            Fault::Hysteresis { channel: c, play_deg } if c.holds(channel) => *play_deg,
            Fault::Sticky { play_deg, .. } => *play_deg,
            _ => 0.0,
        });
        self.drawn.hysteresis_deg + play.sum::<f64>()
    }

    /// Everything that is true of it; a body's winding at 20 °C.
    pub fn truth(&self) -> PartTruth {
        let open = self.drawn.open_stop_deg;
        let (k0, m0) = self.spec.topology.line(0);
        let (k1, m1) = self.spec.topology.line(1);
        let (slope, constant) = (m1 / m0, k1 - m1 / m0 * k0);
        let residual = |deg: f64| self.transfer(deg, 1) - slope * self.transfer(deg, 0) - constant;
        let worst = (0..=(open / 0.05) as usize)
            .map(|i| 0.05 * i as f64)
            .map(|deg| (deg, residual(deg)))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
            .unwrap_or((0.0, 0.0));
        PartTruth {
            name: self.name.clone(),
            seed: self.seed,
            spec: self.spec.clone(),
            drawn: self.drawn.clone(),
            curves: [0, 1].map(|ch| curve::truth(&self.curves[ch], 0.0, open)),
            correlation_worst_percent: 100.0 * worst.1,
            correlation_worst_deg: worst.0,
            hysteresis_deg: [0, 1].map(|ch| self.hysteresis_deg(ch)),
            grip: if let Works::Grip(numbers) = self.works { Some(numbers) } else { None },
            body: if let Works::Body(body) = &self.works { Some(body.truth()) } else { None },
        }
    }
}

impl BodyWorks {
    fn draw(name: &str, spec: &PartSpec, seed: u64) -> Self {
        let mut random = Random::new(&format!("works {name}"), seed);
        let (healthy, teeth) = match spec.spread {
            true => (BodyNumbers::draw(&mut random), Teeth::draw(&mut random)),
            false => (BodyNumbers::nominal(), Teeth::default()),
        };
        let (numbers, teeth) = ailment::ail(&healthy, &teeth, &spec.faults);
        Self { healthy, numbers, teeth }
    }

    fn truth(&self) -> BodyTruth {
        BodyTruth::of(&self.healthy, &self.numbers, &self.teeth, &Winding::at(REFERENCE_CELSIUS))
    }
}

/// Static output of a channel without its texture, ratio of supply.
fn ratio(spec: &PartSpec, drawn: &Drawn, channel: usize, deg: f64) -> f64 {
    let travel_deg = spec.kind.travel_deg();
    let (start, rise) = spec.topology.line(channel);
    let magnet = sensed_angle(spec, drawn, deg);
    let x = magnet / travel_deg;
    let mut gain = drawn.gain[channel];
    let mut shift = drawn.offset[channel];
    for fault in &spec.faults {
        match *fault {
            Fault::GainError { channel: c, percent } if c.holds(channel) => gain *= 1.0 + percent / 100.0,
            Fault::OffsetError { channel: c, percent_of_supply } if c.holds(channel) => {
                shift += percent_of_supply / 100.0
            }
            Fault::CorrelationShift { channel: c, offset_percent, growth_percent, from_deg }
                if c.holds(channel) =>
            {
                shift += (offset_percent + growth_percent * ((deg - from_deg) / travel_deg).max(0.0)) / 100.0;
            }
            Fault::FlatSpot { channel: c, centre_deg, width_deg, slope_loss, shape } if c.holds(channel) => {
                let lost = lost_angle(deg - (centre_deg - 0.5 * width_deg), width_deg, shape);
                shift -= slope_loss * rise / travel_deg * lost;
            }
            _ => {}
        }
    }
    let (one, two, phase) = drawn.own_error[channel];
    let own = one * (TAU * deg / travel_deg).sin() + two * (2.0 * TAU * deg / travel_deg + phase).sin();
    0.5 + (start + rise * x - 0.5) * gain + shift + own
}

/// Angle the sensor sees: eccentricity, common errors, dead bands at the stops. Degrees.
fn sensed_angle(spec: &PartSpec, drawn: &Drawn, deg: f64) -> f64 {
    let mut angle = deg;
    for &(amplitude, period, phase) in &drawn.angle_error {
        angle += amplitude * (TAU * deg / period + phase).sin();
    }
    for fault in &spec.faults {
        if let Fault::CommonNonlinearity { amplitude_deg, period_deg, phase_deg } = *fault {
            angle += amplitude_deg * (TAU * deg / period_deg + phase_deg.to_radians()).sin();
        }
    }
    for fault in &spec.faults {
        if let Fault::DeadBand { closed_deg, open_deg } = *fault {
            if closed_deg > 0.0 {
                angle = (angle - closed_deg).max(0.0);
            }
            if open_deg > 0.0 {
                angle = angle.min(drawn.open_stop_deg - open_deg);
            }
        }
    }
    angle
}

/// Angle by which a flat spot of full slope loss lags, `x` degrees past its start.
fn lost_angle(x: f64, width: f64, shape: Shape) -> f64 {
    match shape {
        Shape::Snap if x > 0.0 && x < width => x,
        Shape::Snap => 0.0,
        Shape::CatchUp => x.min(2.0 * width - x).max(0.0),
        Shape::Permanent => x.clamp(0.0, width),
    }
}

impl Part {
    /// Where a channel is stuck, ratio of supply; `None` while it lives.
    pub fn dead_level(&self, channel: usize) -> Option<f64> {
        self.spec.faults.iter().find_map(|fault| match *fault {
            Fault::DeadChannel { channel: c, level_percent } if c.holds(channel) => {
                Some(level_percent / 100.0)
            }
            _ => None,
        })
    }

    /// When it seizes, µs, and how much friction it then has more, N·m: the first time that it does.
    pub fn seizes(&self) -> Option<(f64, f64)> {
        let seizes = self.spec.faults.iter().filter_map(|fault| match *fault {
            Fault::Seizes { after_s, friction_nm } => Some((1e6 * after_s, friction_nm)),
            _ => None,
        });
        seizes.min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// How fast a channel's output moves away, ratio of supply per hour.
    pub fn drift_per_hour(&self, channel: usize) -> f64 {
        let drift = self.spec.faults.iter().map(|fault| match *fault {
            Fault::Drift { channel: c, percent_of_supply_per_hour } if c.holds(channel) => {
                percent_of_supply_per_hour / 100.0
            }
            _ => 0.0,
        });
        drift.sum()
    }

    /// Whether the signal leads are exchanged.
    pub fn swapped(&self) -> bool {
        self.spec.faults.iter().filter(|f| matches!(f, Fault::SwappedChannels {})).count() % 2 == 1
    }

    /// Sum of a resistance over the faults in which `pick` finds one, ohm.
    pub fn ohms(&self, pick: impl Fn(&Fault) -> Option<f64>) -> f64 {
        self.spec.faults.iter().filter_map(pick).sum()
    }

    /// Places of extra noise in a channel: first and last angle (deg), V rms at the sensor's pin per 100 µs.
    pub fn noisy_places(&self, channel: usize) -> Vec<(f64, f64, f64)> {
        let place = |fault: &Fault| match *fault {
            Fault::NoisyTrack { channel: c, centre_deg, width_deg, noise_volts }
                if Channel::holds(c, channel) =>
            {
                Some((centre_deg - 0.5 * width_deg, centre_deg + 0.5 * width_deg, noise_volts))
            }
            _ => None,
        };
        self.spec.faults.iter().filter_map(place).collect()
    }
}
