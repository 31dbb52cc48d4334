//! Mechanics: the grip on its return spring between two stops, and the rig's servo on a stiff coupling. Fixed step, no sensor.
//!
//! Semi-implicit Euler (speed first, then angle) with Coulomb friction as an exact proximal step: sticks without chatter. Two
//! masses: servo rotor and grip. The fastest mode, grip between coupling and stop, is 3.9 krad/s: limit 2/ω = 516 µs, the step is
//! 50 µs. All inertias, stiffnesses and damping are engineering assumptions, not measured on hardware.

use crate::drawn::GripNumbers;
use crate::fault::Fault;
use crate::sine::sine;
use crate::spec::PartSpec;

/// Integration step, seconds.
pub const STEP_S: f64 = 50e-6;

/// Mechanical numbers of grip and drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Mechanics {
    /// Inertia of the grip, kg·m².
    pub grip_inertia: f64,
    /// Inertia of the servo's rotor at the grip, kg·m².
    pub rotor_inertia: f64,
    /// Spring torque at the closed stop, N·m, towards closed.
    pub preload: f64,
    /// Spring stiffness, N·m/rad.
    pub stiffness: f64,
    /// Coulomb friction of the grip, N·m.
    pub friction: f64,
    /// Static over Coulomb friction.
    pub static_ratio: f64,
    /// Speed at which half of the static excess is gone, rad/s.
    pub static_speed: f64,
    /// Viscous friction of the grip, N·m·s/rad.
    pub viscous: f64,
    /// Extra friction, N·m, …
    pub sticky: f64,
    /// … share of it that varies along the travel, 0 to 1, …
    pub uneven: f64,
    /// … phase of that, rad, …
    pub uneven_phase: f64,
    /// … and its place: centre and width, rad; width 0 = everywhere.
    pub sticky_place: (f64, f64),
    /// Open stop, rad; the closed stop is at 0.
    pub open_stop: f64,
    /// Stiffness of a stop, N·m/rad.
    pub stop_stiffness: f64,
    /// Damping of a stop, N·m·s/rad.
    pub stop_damping: f64,
    /// Coupling stiffness, N·m/rad.
    pub coupling: f64,
    /// Coupling damping, N·m·s/rad.
    pub coupling_damping: f64,
    /// Torque at which the clamp slips, N·m.
    pub slip_torque: f64,
    /// Friction of the servo's rotor, N·m.
    pub rotor_friction: f64,
    /// Torque constant at the grip, N·m/A.
    pub torque_constant: f64,
    /// Current limit of the servo, A.
    pub current_limit: f64,
    /// Cogging of the servo, N·m.
    pub cogging: f64,
}

impl Mechanics {
    /// Those of a grip on the rig.
    pub fn of(spec: &PartSpec, open_stop_deg: f64, drawn: &GripNumbers) -> Self {
        let mut m = Self {
            grip_inertia: 8e-5,
            rotor_inertia: 6e-5,
            preload: drawn.spring_preload_nm,
            stiffness: drawn.spring_nm_per_rad,
            friction: drawn.friction_nm,
            static_ratio: 1.2,
            static_speed: 0.1,
            viscous: drawn.viscous_nms,
            sticky: 0.0,
            uneven: 0.0,
            uneven_phase: drawn.uneven_phase,
            sticky_place: (0.0, 0.0),
            open_stop: open_stop_deg.to_radians(),
            stop_stiffness: 800.0,
            stop_damping: 0.14,
            coupling: 400.0,
            coupling_damping: 0.025,
            slip_torque: 1e6,
            rotor_friction: 0.006,
            torque_constant: 0.15,
            current_limit: 6.0,
            cogging: 0.001,
        };
        for fault in &spec.faults {
            match *fault {
                Fault::Sticky { friction_nm, uneven, centre_deg, width_deg, .. } => {
                    m.sticky += friction_nm;
                    m.uneven = m.uneven.max(uneven);
                    m.sticky_place = (centre_deg.to_radians(), width_deg.to_radians());
                }
                Fault::Seized { friction_nm } => m.friction += friction_nm,
                Fault::Slipping { torque_nm } => m.slip_torque = m.slip_torque.min(torque_nm),
                Fault::WeakSpring { left } => {
                    m.preload *= left;
                    m.stiffness *= left;
                }
                _ => {}
            }
        }
        m
    }

    /// Friction level at an angle (rad) and speed (rad/s), N·m.
    #[inline]
    fn friction_at(&self, angle: f64, speed: f64) -> f64 {
        let mut level = self.friction;
        if self.sticky > 0.0 {
            level += self.sticky * self.sticky_share(angle);
        }
        // 1 + excess / (1 + (speed / static speed)²)
        let still = self.static_speed * self.static_speed;
        level * (1.0 + (self.static_ratio - 1.0) * still / (still + speed * speed))
    }

    fn sticky_share(&self, angle: f64) -> f64 {
        // One period of unevenness in 20 degrees of travel.
        let wave = 1.0 + self.uneven * (angle * 18.0 + self.uneven_phase).sin();
        let (centre, width) = self.sticky_place;
        let x = (angle - centre) / width;
        match width > 0.0 {
            true if x.abs() < 0.5 => wave * 0.5 * (1.0 + (std::f64::consts::TAU * x).cos()),
            true => 0.0,
            false => wave,
        }
    }
}

/// What the servo is to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Command {
    /// Switches open.
    Off,
    /// Follow a setpoint on the encoder, rad.
    Position(f64),
}

/// A torque from outside (a hand): a soft spring towards a moving target.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hand {
    /// Where the hand wants the grip, rad.
    pub angle: f64,
    /// How fast it moves there, rad/s.
    pub speed: f64,
}

/// Speed (rad/s), position loop and its limits: a servo amplifier's own loop at the integration rate.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Servo {
    on: bool,
    target: f64,
    reference: f64,
    velocity: f64,
    integral: f64,
    current: f64,
}

/// Position gain, N·m/rad: 300 rad/s on 1.4e-4 kg·m².
const KP: f64 = 12.6;
/// Speed gain, N·m·s/rad: damping 0.8.
const KD: f64 = 0.067;
/// Integral gain, N·m/(rad·s).
const KI: f64 = 472.0;
/// No integration below this error, rad (0.01°): does not hunt against friction.
const QUIET: f64 = 1.7e-4;
/// The servo's interpolator reaches a new setpoint in one control tick, s.
const TICK_S: f64 = 1e-3;
/// Time constant of the current loop, s.
const CURRENT_S: f64 = 200e-6;

/// What a step divides by, turned over once.
#[derive(Clone, Copy, Debug)]
struct Inverse {
    grip_inertia: f64,
    rotor_inertia: f64,
    torque_constant: f64,
}

/// Grip, coupling and servo in motion.
#[derive(Clone, Debug)]
pub struct Grip {
    mechanics: Mechanics,
    inverse: Inverse,
    angle: f64,
    speed: f64,
    rotor_angle: f64,
    rotor_speed: f64,
    slip: f64,
    mount: f64,
    servo: Servo,
}

impl Grip {
    /// At rest on the closed stop; `mount` is what the encoder reads there, rad.
    pub fn new(mechanics: Mechanics, mount: f64) -> Self {
        let angle = -mechanics.preload / mechanics.stop_stiffness;
        let inverse = Inverse {
            grip_inertia: 1.0 / mechanics.grip_inertia,
            rotor_inertia: 1.0 / mechanics.rotor_inertia,
            torque_constant: 1.0 / mechanics.torque_constant,
        };
        Self {
            mechanics,
            inverse,
            angle,
            speed: 0.0,
            rotor_angle: angle,
            rotor_speed: 0.0,
            slip: 0.0,
            mount,
            servo: Servo::default(),
        }
    }

    /// At rest at an angle, rad, servo off.
    #[must_use]
    pub fn placed_at(mut self, angle: f64) -> Self {
        (self.angle, self.rotor_angle, self.speed, self.rotor_speed) = (angle, angle, 0.0, 0.0);
        self
    }

    /// Angle of the grip, rad from the closed stop.
    #[inline]
    pub fn angle(&self) -> f64 {
        self.angle
    }

    /// Speed of the grip, rad/s.
    pub fn speed(&self) -> f64 {
        self.speed
    }

    /// Angle of the shaft under the encoder, rad, mounting offset included: the grip's, plus what has slipped.
    #[inline]
    pub fn shaft(&self) -> f64 {
        self.angle + self.slip + self.mount
    }

    /// Servo current, A.
    pub fn current(&self) -> f64 {
        self.servo.current
    }

    /// Whether the servo's switches are closed.
    pub fn powered(&self) -> bool {
        self.servo.on
    }

    /// Adds friction, N·m, from now on.
    pub fn bind(&mut self, friction_nm: f64) {
        self.mechanics.friction += friction_nm;
    }

    /// Kinetic energy plus what the spring and a compressed stop hold, J.
    pub fn energy(&self) -> f64 {
        let m = &self.mechanics;
        let beyond = if self.angle < 0.0 { -self.angle } else { (self.angle - m.open_stop).max(0.0) };
        let wound = self.rotor_angle - self.angle - self.slip;
        0.5 * (m.grip_inertia * self.speed.powi(2) + m.rotor_inertia * self.rotor_speed.powi(2))
            + m.preload * self.angle
            + 0.5 * m.stiffness * self.angle.powi(2)
            + 0.5 * m.stop_stiffness * beyond.powi(2)
            + 0.5 * m.coupling * wound.powi(2)
    }

    /// Sets the servo from now on.
    pub fn command(&mut self, command: Command) {
        match command {
            Command::Off => self.servo = Servo { on: false, ..Servo::default() },
            Command::Position(target) => {
                if !self.servo.on {
                    let here = self.shaft();
                    self.servo = Servo { on: true, target: here, reference: here, ..Servo::default() };
                }
                self.servo.velocity = (target - self.servo.reference) / TICK_S;
                self.servo.target = target;
            }
        }
    }

    /// One step of `h` seconds.
    #[inline]
    pub fn step(&mut self, h: f64, hand: Option<Hand>) {
        let motor = self.motor_torque(h);
        let m = &self.mechanics;
        let mut wound = self.rotor_angle - self.angle - self.slip;
        if m.coupling * wound.abs() > m.slip_torque {
            let limit = m.slip_torque / m.coupling;
            self.slip += wound - limit.copysign(wound);
            wound = limit.copysign(wound);
        }
        let coupling = (m.coupling * wound + m.coupling_damping * (self.rotor_speed - self.speed))
            .clamp(-m.slip_torque, m.slip_torque);
        let mut torque = coupling - m.preload - m.stiffness * self.angle + self.stop_torque();
        if let Some(hand) = hand {
            torque += (6.0 * (hand.angle - self.angle) + 0.03 * (hand.speed - self.speed)).clamp(-4.0, 4.0);
        }
        let (grip, rotor) = (h * self.inverse.grip_inertia, h * self.inverse.rotor_inertia);
        let speed = (self.speed + grip * torque) * (1.0 / (1.0 + grip * m.viscous));
        self.speed = shrink(speed, grip * m.friction_at(self.angle, self.speed));
        self.rotor_speed = shrink(self.rotor_speed + rotor * (motor - coupling), rotor * m.rotor_friction);
        self.angle += h * self.speed;
        self.rotor_angle += h * self.rotor_speed;
    }

    #[inline]
    fn stop_torque(&self) -> f64 {
        let m = &self.mechanics;
        if self.angle < 0.0 {
            (-m.stop_stiffness * self.angle - m.stop_damping * self.speed).max(0.0)
        } else if self.angle > m.open_stop {
            -(m.stop_stiffness * (self.angle - m.open_stop) + m.stop_damping * self.speed).max(0.0)
        } else {
            0.0
        }
    }

    #[inline]
    fn motor_torque(&mut self, h: f64) -> f64 {
        // 24 cogs a turn of the grip, felt whether powered or not.
        let cogging = self.mechanics.cogging * sine(24.0 * self.rotor_angle);
        if !self.servo.on {
            return cogging;
        }
        let shaft = self.shaft();
        let m = &self.mechanics;
        let s = &mut self.servo;
        let left = s.target - s.reference;
        let advance = s.velocity * h;
        if left.abs() <= advance.abs() || advance == 0.0 {
            s.reference = s.target;
        } else {
            s.reference += advance;
        }
        let velocity = if s.reference == s.target && left == 0.0 { 0.0 } else { s.velocity };
        let error = s.reference - shaft;
        let limit = m.current_limit * m.torque_constant;
        let wanted = KP * error + KD * (velocity - self.rotor_speed) + s.integral;
        if error.abs() > QUIET && (wanted.abs() < limit || wanted * error < 0.0) {
            s.integral = (s.integral + KI * error * h).clamp(-limit, limit);
        }
        let amps = wanted.clamp(-limit, limit) * self.inverse.torque_constant;
        s.current += (amps - s.current) * (h / CURRENT_S);
        s.current * m.torque_constant + cogging
    }
}

#[inline]
fn shrink(speed: f64, by: f64) -> f64 {
    (speed.abs() - by).max(0.0).copysign(speed)
}
