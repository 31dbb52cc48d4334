//! One step of motor, gears and plate. Fixed step: current exactly, contacts and springs at the old state, then speeds, then angles.
//!
//! ```text
//! L i'   = u − R(ϑ) i − V_b tanh(20 i) − K(ϑ) ω            u: the bridge's, or the diodes' while current decays
//! J_m ω' = K i − T1/n1 − b ω + cog − F_m sgn ω              T1: pinion mesh, on the idler
//! J_2 ω' = T1 − c T2/n2 − F_2 sgn ω                         T2: sector mesh, on the plate; c: its cam term
//! J_p ω' = T2 + springs + stops + push − b ω − F_p sgn ω
//! ```
//! Semi-implicit Euler; dry friction is a proximal step (exact sticking, no chatter), the current follows its exponential within a
//! step. A mesh is a spring and damper that cannot pull. Its cam term `c = 1 − d(contact distance)/dφ` makes it conservative. First
//! order in the step; the fastest mode, idler between its meshes, is 12.9 krad/s: explicit limit 2/ω = 155 µs. The step is 20 µs.

use std::f64::consts::TAU;

use super::bridge::SUPPLY_VOLTS;
use super::motion::Push;
use super::numbers::{BodyNumbers, Mesh, PINION_RATIO, SECTOR_RATIO, Spring};
use super::shortcut::{Ripples, Shortcuts, lag_share};
use super::teeth::{Flank, Flanks, Teeth};

/// Integration step, seconds.
pub const STEP_S: f64 = 20e-6;

/// Everything that moves, and the current.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct State {
    /// Motor current, A.
    pub amps: f64,
    /// Rotor, rad of its own axis.
    pub rotor: f64,
    /// Its speed, rad/s.
    pub rotor_speed: f64,
    /// Idler, rad of its own axis.
    pub idler: f64,
    /// Its speed, rad/s.
    pub idler_speed: f64,
    /// Plate, rad from the closed stop.
    pub plate: f64,
    /// Its speed, rad/s.
    pub plate_speed: f64,
}

impl State {
    /// Whether nothing moves.
    #[inline]
    pub fn stands(&self) -> bool {
        self.rotor_speed == 0.0 && self.idler_speed == 0.0 && self.plate_speed == 0.0
    }

    /// Whether nothing moves and no current flows.
    #[inline]
    pub fn still(&self) -> bool {
        self.amps == 0.0 && self.stands()
    }
}

/// A rotor held by friction: all that the current's torque has to overcome, N·m, and what its circuit is there.
#[derive(Clone, Copy, Debug)]
pub struct Held {
    constant: f64,
    ohms: f64,
    dead_ohms: f64,
    bias: f64,
    hold: f64,
}

/// What the motor did in one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Electric {
    /// Voltage that it made itself at the step's start, V.
    pub own_volts: f64,
    /// What its copper lost, W.
    pub copper_watts: f64,
}

#[derive(Clone, Copy, Debug)]
struct Pinion {
    half_lash: f64,
    stiffness: f64,
    damping: f64,
}

#[derive(Clone, Copy, Debug)]
struct Dead {
    centre: f64,
    half_width: f64,
    ohms: f64,
}

/// Dry friction for one step: `h F / J` and what else it takes.
#[derive(Clone, Copy, Debug)]
struct Dry {
    /// Coulomb level times h/J, rad/s per step.
    level: f64,
    excess: f64,
    per_speed: f64,
}

#[derive(Clone, Copy, Debug)]
struct Deposit {
    level: f64,
    per_rad: f64,
}

/// A body's numbers made ready for steps of one length.
#[derive(Clone, Debug)]
pub struct Model {
    /// Step, s.
    pub h: f64,
    tables: Shortcuts,
    ripples: Ripples,
    h_per_henry: f64,
    brush_volts: f64,
    dead: Option<Dead>,
    pinion: Pinion,
    flanks: Flanks,
    sector: Mesh,
    main: Spring,
    default: Spring,
    rest: f64,
    half_gap: f64,
    per_ramp: f64,
    open_stop: f64,
    stop_stiffness: f64,
    stop_damping: f64,
    rotor_gain: f64,
    idler_gain: f64,
    plate_gain: f64,
    rotor_viscous: f64,
    plate_viscous: f64,
    rotor_dry: Dry,
    idler_dry: f64,
    plate_dry: Dry,
    deposit: Option<Deposit>,
}

impl Model {
    /// For steps of `h` seconds.
    pub fn new(body: &BodyNumbers, teeth: &Teeth, h: f64) -> Self {
        let (motor, gears, springs, plate) = (&body.motor, &body.gears, &body.springs, &body.plate);
        let dry = |friction: &super::numbers::Friction, inertia: f64| Dry {
            level: h * friction.coulomb_nm / inertia,
            excess: friction.static_ratio - 1.0,
            per_speed: 1.0 / friction.stribeck_rad_s,
        };
        Self {
            h,
            tables: Shortcuts::new(),
            ripples: Ripples::tabulate(|phase| {
                let ohms = motor.ohms * (1.0 + motor.ohms_ripple * (phase + motor.ripple_phase + 1.0).cos());
                let constant = motor.constant * (1.0 + motor.ripple * (phase + motor.ripple_phase).cos());
                [constant, ohms, motor.cogging_nm * phase.sin()]
            }),
            h_per_henry: h / motor.henry,
            brush_volts: motor.brush_volts,
            dead: motor.dead_spot.map(|spot| Dead {
                centre: spot.centre_deg.to_radians(),
                half_width: 0.5 * spot.width_deg.to_radians(),
                ohms: spot.ohms,
            }),
            pinion: Pinion {
                half_lash: 0.5 * gears.pinion.lash_deg.to_radians(),
                stiffness: gears.pinion.stiffness,
                damping: gears.pinion.damping,
            },
            flanks: teeth.flanks(gears.sector.lash_deg),
            sector: gears.sector,
            main: springs.main,
            default: springs.default,
            rest: springs.rest_deg.to_radians(),
            half_gap: 0.5 * springs.gap_deg.to_radians(),
            per_ramp: 1.0 / springs.ramp_deg.to_radians(),
            open_stop: plate.open_stop_deg.to_radians(),
            stop_stiffness: plate.stop_stiffness,
            stop_damping: plate.stop_damping,
            rotor_gain: h / motor.inertia,
            idler_gain: h / gears.idler_inertia,
            plate_gain: h / plate.inertia,
            rotor_viscous: motor.viscous,
            plate_viscous: plate.viscous,
            rotor_dry: dry(&motor.friction, motor.inertia),
            idler_dry: h * gears.idler_friction_nm / gears.idler_inertia,
            plate_dry: dry(&plate.friction, plate.inertia),
            deposit: plate.deposit.map(|deposit| Deposit {
                level: h * deposit.friction_nm / plate.inertia,
                per_rad: 1.0 / deposit.width_deg.to_radians(),
            }),
        }
    }

    /// At rest with the plate at an angle, rad; `in_lash` places rotor and idler from −1 (both on their closing flanks) to 1.
    pub fn placed(&self, plate: f64, in_lash: f64) -> State {
        let mut phi = plate;
        // The contact distance varies along the travel by far less than it moves: converges by itself.
        for _ in 0..20 {
            let flank = self.flanks.at(phi);
            let middle = 0.5 * (flank.opening - flank.closing);
            phi = plate + middle + 0.5 * in_lash * (flank.opening + flank.closing);
        }
        let idler = phi * SECTOR_RATIO;
        let rotor = (idler + in_lash * self.pinion.half_lash) * PINION_RATIO;
        State { rotor, idler, plate, ..State::default() }
    }

    /// Adds friction, N·m, to the bearings of a plate of this inertia, kg·m².
    pub fn bind(&mut self, friction_nm: f64, inertia: f64) {
        self.plate_dry.level += self.h * friction_nm / inertia;
    }

    /// Voltage that the motor makes itself, V.
    pub fn own_volts(&self, state: &State) -> f64 {
        self.ripples.at(state.rotor)[0] * state.rotor_speed
    }

    /// Resistance of winding and brushes where the rotor stands, ohm; `warmth` is the winding's resistance over that at 20 °C.
    pub fn ohms(&self, state: &State, warmth: f64) -> f64 {
        warmth * self.ripples.at(state.rotor)[1] + self.dead_ohms(state.rotor)
    }

    /// Lash between rotor and plate with the idler at `phi` (rad of plate), rad of plate.
    pub fn lash(&self, phi: f64) -> f64 {
        let flank = self.flanks.at(phi);
        2.0 * self.pinion.half_lash / SECTOR_RATIO + flank.opening + flank.closing
    }

    #[inline]
    fn dead_ohms(&self, rotor: f64) -> f64 {
        match self.dead {
            Some(dead) => {
                let turns = (rotor - dead.centre) * (1.0 / TAU);
                let from_centre = (turns - turns.round()) * TAU;
                if from_centre.abs() < dead.half_width { dead.ohms } else { 0.0 }
            }
            None => 0.0,
        }
    }

    /// Current after the step. `applied`: terminal voltage, `None` for open switches.
    #[inline]
    fn current(&self, amps: f64, own_volts: f64, ohms: f64, applied: Option<f64>) -> f64 {
        if applied.is_none() && amps == 0.0 {
            return 0.0;
        }
        let brushes = self.brush_volts * self.tables.tanh(20.0 * amps);
        let volts = applied.unwrap_or(-SUPPLY_VOLTS.copysign(amps)) - own_volts - brushes;
        let next = amps + self.h_per_henry * lag_share(ohms * self.h_per_henry) * (volts - ohms * amps);
        // Diodes do not let it turn.
        if applied.is_none() && next * amps <= 0.0 { 0.0 } else { next }
    }

    /// Torque on the idler.
    #[inline]
    fn pinion_mesh(&self, s: &State) -> f64 {
        let p = &self.pinion;
        let x = s.rotor * (1.0 / PINION_RATIO) - s.idler;
        let v = s.rotor_speed * (1.0 / PINION_RATIO) - s.idler_speed;
        if x > p.half_lash {
            (p.stiffness * (x - p.half_lash) + p.damping * v).max(0.0)
        } else if x < -p.half_lash {
            (p.stiffness * (x + p.half_lash) + p.damping * v).min(0.0)
        } else {
            0.0
        }
    }

    /// Torque on the plate, and the part of it (cam term) that the idler feels times its ratio.
    #[inline]
    fn sector_mesh(&self, s: &State, flank: &Flank) -> (f64, f64) {
        let (k, c) = (self.sector.stiffness, self.sector.damping);
        let x = s.idler * (1.0 / SECTOR_RATIO) - s.plate;
        let speed = s.idler_speed * (1.0 / SECTOR_RATIO);
        if x > flank.opening {
            let cam = 1.0 - flank.opening_slope;
            let torque = (k * (x - flank.opening) + c * (speed * cam - s.plate_speed)).max(0.0);
            (torque, torque * cam)
        } else if x < -flank.closing {
            let cam = 1.0 + flank.closing_slope;
            let torque = (k * (x + flank.closing) + c * (speed * cam - s.plate_speed)).min(0.0);
            (torque, torque * cam)
        } else {
            (0.0, 0.0)
        }
    }

    /// Springs and stops on the plate.
    #[inline]
    fn plate_torque(&self, plate: f64, speed: f64) -> f64 {
        let y = plate - self.rest;
        let past = y.abs() - self.half_gap;
        let mut torque = 0.0;
        if past > 0.0 {
            let spring = if y > 0.0 { &self.main } else { &self.default };
            let pull = spring.preload_nm * (past * self.per_ramp).min(1.0) + spring.stiffness * past;
            torque = -pull.copysign(y);
        }
        if plate < 0.0 {
            torque += (-self.stop_stiffness * plate - self.stop_damping * speed).max(0.0);
        } else if plate > self.open_stop {
            torque -= (self.stop_stiffness * (plate - self.open_stop) + self.stop_damping * speed).max(0.0);
        }
        torque
    }

    #[inline]
    fn dry(&self, dry: &Dry, speed: f64) -> f64 {
        dry.level * (1.0 + dry.excess * self.tables.gauss(speed * dry.per_speed))
    }

    /// One step; `warmth` is the winding's resistance over that at 20 °C.
    #[inline]
    pub fn step(&self, s: &mut State, applied: Option<f64>, warmth: f64, push: &Push) -> Electric {
        let [constant, ohms, cogging] = self.ripples.at(s.rotor);
        let ohms = ohms * warmth + self.dead_ohms(s.rotor);
        let own_volts = constant * s.rotor_speed;
        s.amps = self.current(s.amps, own_volts, ohms, applied);
        let pinion = self.pinion_mesh(s);
        let (sector, felt) = self.sector_mesh(s, &self.flanks.at(s.idler * (1.0 / SECTOR_RATIO)));
        let on_plate = sector + self.plate_torque(s.plate, s.plate_speed) + push.torque(s);
        let on_rotor =
            constant * s.amps - pinion * (1.0 / PINION_RATIO) - self.rotor_viscous * s.rotor_speed + cogging;
        let on_idler = pinion - felt * (1.0 / SECTOR_RATIO);
        let mut plate_dry = self.dry(&self.plate_dry, s.plate_speed);
        if let Some(deposit) = self.deposit {
            plate_dry += deposit.level * self.tables.gauss(s.plate * deposit.per_rad);
        }
        let rotor_dry = self.dry(&self.rotor_dry, s.rotor_speed);
        s.rotor_speed = shrink(s.rotor_speed + self.rotor_gain * on_rotor, rotor_dry);
        s.idler_speed = shrink(s.idler_speed + self.idler_gain * on_idler, self.idler_dry);
        let plate_force = on_plate - self.plate_viscous * s.plate_speed;
        s.plate_speed = shrink(s.plate_speed + self.plate_gain * plate_force, plate_dry);
        s.rotor += self.h * s.rotor_speed;
        s.idler += self.h * s.idler_speed;
        s.plate += self.h * s.plate_speed;
        Electric { own_volts, copper_watts: ohms * s.amps * s.amps }
    }

    /// What holds still everything that stands: `None` while anything moves.
    pub fn held(&self, s: &State) -> Option<Held> {
        let [constant, ohms, cogging] = self.ripples.at(s.rotor);
        s.stands().then(|| Held {
            constant,
            ohms,
            dead_ohms: self.dead_ohms(s.rotor),
            bias: cogging - self.pinion_mesh(s) * (1.0 / PINION_RATIO),
            hold: self.dry(&self.rotor_dry, 0.0) / self.rotor_gain,
        })
    }

    /// A step of the current alone, while the rotor is held where it stands; `None`, and nothing done, when it breaks away. Idler and
    /// plate feel nothing new as long as the rotor stands.
    #[inline]
    pub fn held_step(
        &self,
        held: &Held,
        s: &mut State,
        applied: Option<f64>,
        warmth: f64,
    ) -> Option<Electric> {
        let ohms = held.ohms * warmth + held.dead_ohms;
        let amps = self.current(s.amps, 0.0, ohms, applied);
        if (held.constant * amps + held.bias).abs() >= held.hold {
            return None;
        }
        s.amps = amps;
        Some(Electric { own_volts: 0.0, copper_watts: ohms * amps * amps })
    }

    /// Potential, kinetic and magnetic energy, J.
    pub fn energy(&self, s: &State, body: &BodyNumbers) -> f64 {
        let spring = |spring: &Spring, past: f64| {
            let ramp = 1.0 / self.per_ramp;
            let preload = if past < ramp { 0.5 * past * past * self.per_ramp } else { past - 0.5 * ramp };
            spring.preload_nm * preload + 0.5 * spring.stiffness * past * past
        };
        let y = s.plate - self.rest;
        let past = (y.abs() - self.half_gap).max(0.0);
        let wound = spring(if y > 0.0 { &self.main } else { &self.default }, past);
        let beyond = (-s.plate).max(s.plate - self.open_stop).max(0.0);
        let x = s.rotor / PINION_RATIO - s.idler;
        let pressed = (x.abs() - self.pinion.half_lash).max(0.0);
        let flank = self.flanks.at(s.idler / SECTOR_RATIO);
        let x = s.idler / SECTOR_RATIO - s.plate;
        let bent = (x - flank.opening).max(-x - flank.closing).max(0.0);
        let moving = body.motor.inertia * s.rotor_speed.powi(2)
            + body.gears.idler_inertia * s.idler_speed.powi(2)
            + body.plate.inertia * s.plate_speed.powi(2);
        let stored = self.stop_stiffness * beyond.powi(2)
            + self.pinion.stiffness * pressed.powi(2)
            + self.sector.stiffness * bent.powi(2)
            + body.motor.henry * s.amps.powi(2);
        wound + 0.5 * (moving + stored)
    }
}

#[inline]
fn shrink(speed: f64, by: f64) -> f64 {
    (speed.abs() - by).max(0.0).copysign(speed)
}
