//! What is clamped in the rig and moves: a grip on its servo, or a throttle body at its bridge with the meters at its terminals.
//! It does not know the sensor, the loom or the protocol.

use crate::body::mechanics::STEP_S;
use crate::body::motion::Push;
use crate::body::{Body, Bridge, Probe};
use crate::departures::Departures;
use crate::front::SLICE_US;
use crate::grip::{self, Grip};
use crate::operator::{Operator, Places, Strokes};

/// Step of a body, µs.
const STEP_US: f64 = 1e6 * STEP_S;
/// Losses of the drive's electronics per square of the current, ohm: a servo amplifier, a bridge.
const GRIP_LOSS_OHMS: f64 = 1.0;
const BRIDGE_LOSS_OHMS: f64 = 0.1;

/// A grip on its servo.
#[derive(Clone, Debug)]
pub struct GripMount {
    grip: Grip,
    strokes: Strokes,
    /// Angle of the shaft under the encoder at the slice's start and end, rad.
    shaft: [f64; 2],
}

impl GripMount {
    /// At rest.
    pub fn new(grip: Grip, strokes: Strokes) -> Self {
        Self { shaft: [grip.shaft(); 2], grip, strokes }
    }

    /// The grip.
    pub fn grip(&self) -> &Grip {
        &self.grip
    }

    /// The servo's command from the next slice on.
    pub fn command(&mut self, command: grip::Command) {
        self.grip.command(command);
    }

    /// Angle of the shaft, degrees, at a share of the slice.
    #[inline]
    pub fn shaft_deg(&self, share: f64) -> f64 {
        (self.shaft[0] + (self.shaft[1] - self.shaft[0]) * share).to_degrees()
    }

    /// Moves on through the slice that begins at `from_us`.
    pub fn slice(&mut self, from_us: f64, operator: Operator) {
        let turned = operator.turns() && !self.grip.powered();
        let steps = (1e-6 * SLICE_US / grip::STEP_S) as usize;
        self.shaft[0] = self.grip.shaft();
        for step in 0..steps {
            let hand = turned.then(|| self.strokes.at(from_us + 1e6 * grip::STEP_S * step as f64));
            self.grip.step(grip::STEP_S, hand);
        }
        self.shaft[1] = self.grip.shaft();
    }
}

/// A throttle body at the rig's bridge, and the filtered meters at its terminals.
#[derive(Clone, Debug)]
pub struct BodyMount {
    body: Body,
    /// Steps since time 0.
    steps: u64,
    /// Terminal voltage, V, and current, A, behind the meters' filters.
    filtered: [f64; 2],
    /// Raw values of the last step.
    raw: [f64; 2],
    /// Share of the way that a filter goes in a step, and its time constant, µs.
    share: f64,
    filter_us: f64,
    strokes: Strokes,
    places: Places,
    departures: Departures,
}

impl BodyMount {
    /// At rest, bridge open, at time 0; meters with a filter of `filter_us`.
    pub fn new(body: Body, strokes: Strokes, filter_us: f64) -> Self {
        Self {
            body,
            steps: 0,
            filtered: [0.0; 2],
            raw: [0.0; 2],
            share: 1.0 - (-STEP_US / filter_us).exp(),
            filter_us,
            strokes,
            places: Places::default(),
            departures: Departures::default(),
        }
    }

    /// When the plate left where it stood.
    pub fn departures(&self) -> &Departures {
        &self.departures
    }

    /// The body.
    pub fn body(&self) -> &Body {
        &self.body
    }

    /// Moves on to the step nearest to a time, µs.
    #[inline]
    pub fn reach(&mut self, us: f64) {
        let wanted = (us * (1.0 / STEP_US) + 0.5).max(0.0) as u64;
        while self.departures.awaits() && wanted > self.steps {
            self.steps_to(self.steps + 1);
            self.departures.look(STEP_US * self.steps as f64, self.body.plate_deg());
        }
        self.steps_to(wanted);
    }

    #[inline]
    fn steps_to(&mut self, wanted: u64) {
        if wanted > self.steps {
            let (mut filtered, mut raw, share) = (self.filtered, self.raw, self.share);
            self.body.advance_watched((wanted - self.steps) as usize, |volts, amps| {
                raw = [volts, amps];
                filtered[0] += (volts - filtered[0]) * share;
                filtered[1] += (amps - filtered[1]) * share;
            });
            (self.filtered, self.raw, self.steps) = (filtered, raw, wanted);
        }
    }

    /// Sets the bridge at a time, µs, to the nearest step.
    pub fn set_bridge(&mut self, bridge: Bridge, us: f64) {
        self.reach(us);
        // The core gives the bridge the same command at every tick: that is not a jump, and a departure is still awaited.
        if let (Bridge::Drive { volts: from }, Bridge::Drive { volts: to }) = (self.body.bridge(), bridge)
            && from != to
        {
            let (deg, speed) = (self.body.plate_deg(), self.body.state().plate_speed);
            self.departures.jump(STEP_US * self.steps as f64, from, to, deg, speed);
        }
        self.body.set_bridge(bridge);
        // Between this and the next step the meters see the new voltage already.
        self.raw[0] = self.body.terminal_volts();
    }

    /// Reads voltage (V) and current (A) behind the meters' filters at a time, µs.
    #[inline]
    pub fn meters(&mut self, us: f64) -> [f64; 2] {
        self.reach(us);
        // Within half a step a filter's way is straight to 0.5 %.
        let share = (us - STEP_US * self.steps as f64) / self.filter_us;
        [0, 1].map(|k| self.filtered[k] + (self.raw[k] - self.filtered[k]) * share)
    }

    /// Moves on to the start of a slice, µs, and lets the person do what is to be done in it.
    fn begin(&mut self, from_us: f64, operator: Operator) {
        self.reach(from_us);
        let open = self.body.bridge() == Bridge::Open;
        let probe = match operator {
            Operator::Push => self.places.at(1e-6 * from_us, self.body.plate_deg(), open),
            _ if operator.turns() && open => {
                let hand = self.strokes.at(from_us);
                Some(Probe { angle: hand.angle, speed: hand.speed })
            }
            _ => None,
        };
        self.body.set_push(Push { torque_nm: 0.0, probe });
    }
}

/// What is clamped in the rig.
#[derive(Clone, Debug)]
pub enum Clamped {
    /// A grip.
    Grip(Box<GripMount>),
    /// A throttle body.
    Body(Box<BodyMount>),
}

/// How the sensor's shaft goes through a slice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passage {
    /// Where it is at the end, degrees; a body's is predicted from its speed.
    pub to_deg: f64,
    /// Largest acceleration of a plate in the last slice, rad/s².
    pub shock_rad_s2: f64,
}

impl Clamped {
    /// Brings a body to the start of a slice, where its sensor looks: degrees. A grip is there already.
    pub fn begin(&mut self, from_us: f64, operator: Operator) -> f64 {
        if let Self::Body(mount) = self {
            mount.begin(from_us, operator);
        }
        self.angle_deg()
    }

    /// Adds friction to grip or plate, N·m, from now on.
    pub fn bind(&mut self, friction_nm: f64) {
        match self {
            Self::Grip(mount) => mount.grip.bind(friction_nm),
            Self::Body(mount) => mount.body.bind(friction_nm),
        }
    }

    /// Through the slice that begins at `from_us`.
    pub fn pass(&mut self, from_us: f64, operator: Operator) -> Passage {
        match self {
            Self::Grip(mount) => {
                mount.slice(from_us, operator);
                Passage { to_deg: mount.grip.angle().to_degrees(), shock_rad_s2: 0.0 }
            }
            Self::Body(mount) => {
                let by = (mount.body.state().plate_speed * 1e-6 * SLICE_US).to_degrees();
                Passage { to_deg: mount.body.plate_deg() + by, shock_rad_s2: mount.body.take_shock() }
            }
        }
    }

    /// Angle of grip or plate, degrees from the closed stop.
    pub fn angle_deg(&self) -> f64 {
        match self {
            Self::Grip(mount) => mount.grip.angle().to_degrees(),
            Self::Body(mount) => mount.body.plate_deg(),
        }
    }

    /// Whether the drive leaves it to itself: a person may touch it.
    pub fn idle(&self) -> bool {
        match self {
            Self::Grip(mount) => !mount.grip.powered(),
            Self::Body(mount) => mount.body.bridge() == Bridge::Open,
        }
    }

    /// Current of the drive, A.
    pub fn drive_amps(&self) -> f64 {
        match self {
            Self::Grip(mount) => mount.grip.current(),
            Self::Body(mount) => mount.body.amps(),
        }
    }

    /// What the drive's electronics lose, W.
    pub fn loss_watts(&self) -> f64 {
        let ohms = match self {
            Self::Grip(_) => GRIP_LOSS_OHMS,
            Self::Body(_) => BRIDGE_LOSS_OHMS,
        };
        ohms * self.drive_amps().powi(2)
    }

    /// Temperature of the room, °C: a body's winding cools towards it.
    pub fn set_ambient(&mut self, celsius: f64) {
        if let Self::Body(mount) = self {
            mount.body.winding_mut().ambient_celsius = celsius;
        }
    }
}
