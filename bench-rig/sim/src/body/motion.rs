//! A body that moves: its model, state, bridge, winding, and what pushes its plate from outside. Many steps at a time.

use super::bridge::Bridge;
use super::mechanics::{Held, Model, STEP_S, State};
use super::numbers::BodyNumbers;
use super::teeth::Teeth;
use super::winding::Winding;

/// A probe held against the plate through the bore: a stiff spring and damper towards a moving target.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Probe {
    /// Where it wants the plate, rad.
    pub angle: f64,
    /// How fast it moves there, rad/s.
    pub speed: f64,
}

/// Stiffness of a hand-held probe, N·m/rad, and its damping, N·m·s/rad; engineering assumptions.
const PROBE: (f64, f64) = (40.0, 0.02);

/// What pushes the plate from outside.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Push {
    /// A constant torque, N·m, positive opens.
    pub torque_nm: f64,
    /// A probe.
    pub probe: Option<Probe>,
}

impl Push {
    #[inline]
    pub(super) fn torque(&self, s: &State) -> f64 {
        match self.probe {
            Some(probe) => {
                self.torque_nm + PROBE.0 * (probe.angle - s.plate) + PROBE.1 * (probe.speed - s.plate_speed)
            }
            None => self.torque_nm,
        }
    }
}

/// A throttle body in motion.
#[derive(Clone, Debug)]
pub struct Body {
    numbers: BodyNumbers,
    model: Model,
    state: State,
    bridge: Bridge,
    winding: Winding,
    push: Push,
    asleep: bool,
    /// What holds everything still, while it does.
    held: Option<Held>,
    shock: f64,
}

impl Body {
    /// At its rest position, bridge open, as warm as its room (°C).
    pub fn new(numbers: BodyNumbers, teeth: &Teeth, celsius: f64) -> Self {
        Self::with_step(numbers, teeth, celsius, STEP_S)
    }

    /// The same with another step than [`STEP_S`], s.
    pub fn with_step(numbers: BodyNumbers, teeth: &Teeth, celsius: f64, h: f64) -> Self {
        let model = Model::new(&numbers, teeth, h);
        let state = model.placed(numbers.springs.rest_deg.to_radians(), numbers.rotor_in_lash);
        Self {
            numbers,
            model,
            state,
            bridge: Bridge::Open,
            winding: Winding::at(celsius),
            push: Push::default(),
            asleep: false,
            held: None,
            shock: 0.0,
        }
    }

    /// At rest with the plate at an angle, degrees; the rotor in its lash from −1 (closing flank) to 1.
    #[must_use]
    pub fn placed_at(mut self, plate_deg: f64, in_lash: f64) -> Self {
        self.state = self.model.placed(plate_deg.to_radians(), in_lash);
        (self.asleep, self.held) = (false, None);
        self
    }

    /// Its numbers.
    pub fn numbers(&self) -> &BodyNumbers {
        &self.numbers
    }

    /// Its model.
    pub fn model(&self) -> &Model {
        &self.model
    }

    /// Everything that moves.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// Its winding.
    pub fn winding(&self) -> &Winding {
        &self.winding
    }

    /// Its winding, to warm it or its room.
    pub fn winding_mut(&mut self) -> &mut Winding {
        &mut self.winding
    }

    /// What the switches do.
    pub fn bridge(&self) -> Bridge {
        self.bridge
    }

    /// Sets the switches from now on.
    pub fn set_bridge(&mut self, bridge: Bridge) {
        self.asleep &= bridge == self.bridge;
        self.bridge = bridge;
    }

    /// What pushes the plate from now on.
    pub fn set_push(&mut self, push: Push) {
        if push != self.push {
            (self.asleep, self.held, self.push) = (false, None, push);
        }
    }

    /// Adds friction to the plate's bearings, N·m, from now on.
    pub fn bind(&mut self, friction_nm: f64) {
        self.numbers.plate.friction.coulomb_nm += friction_nm;
        self.model.bind(friction_nm, self.numbers.plate.inertia);
        (self.asleep, self.held) = (false, None);
    }

    /// Whether everything stands still and will until the bridge or a push changes: steps cost nothing.
    pub fn asleep(&self) -> bool {
        self.asleep
    }

    /// Moves on by `steps` steps.
    pub fn advance(&mut self, steps: usize) {
        self.advance_watched(steps, |_, _| {});
    }

    /// The same; `watch` is given terminal voltage (V) and current (A) of every step.
    #[inline]
    pub fn advance_watched(&mut self, steps: usize, mut watch: impl FnMut(f64, f64)) {
        let seconds = self.model.h * steps as f64;
        if self.asleep {
            (0..steps).for_each(|_| watch(0.0, 0.0));
            self.winding.advance(seconds, 0.0);
            return;
        }
        let (applied, warmth) = (self.bridge.applied(), self.winding.factor());
        let mut state = self.state;
        let (mut watts, mut jolt, mut still) = (0.0, 0.0_f64, false);
        for _ in 0..steps {
            still = state.still();
            if let Some(held) = &self.held {
                if let Some(step) = self.model.held_step(held, &mut state, applied, warmth) {
                    watts += step.copper_watts;
                    watch(self.bridge.terminal_volts(state.amps, step.own_volts), state.amps);
                    continue;
                }
                self.held = None;
            }
            let (speed, stood) = (state.plate_speed, state.stands());
            let step = self.model.step(&mut state, applied, warmth, &self.push);
            watts += step.copper_watts;
            jolt = jolt.max((state.plate_speed - speed).abs());
            watch(self.bridge.terminal_volts(state.amps, step.own_volts), state.amps);
            if let Some(probe) = &mut self.push.probe {
                probe.angle += self.model.h * probe.speed;
            } else if stood && state.stands() {
                self.held = self.model.held(&state);
            }
        }
        self.state = state;
        self.shock = self.shock.max(jolt / self.model.h);
        // A step that began and ended still has left everything as it was: so will the next.
        let idle = self.push.probe.is_none() && matches!(applied, None | Some(0.0));
        self.asleep = idle && still && state.still();
        self.winding.advance(seconds, self.model.h * watts);
    }

    /// Plate angle, degrees from the closed stop.
    #[inline]
    pub fn plate_deg(&self) -> f64 {
        self.state.plate.to_degrees()
    }

    /// Motor current, A, positive opens.
    #[inline]
    pub fn amps(&self) -> f64 {
        self.state.amps
    }

    /// Voltage between the motor's terminals, V.
    #[inline]
    pub fn terminal_volts(&self) -> f64 {
        self.bridge.terminal_volts(self.state.amps, self.model.own_volts(&self.state))
    }

    /// Resistance of winding and brushes where the rotor stands, as warm as it is, ohm.
    pub fn ohms(&self) -> f64 {
        self.model.ohms(&self.state, self.winding.factor())
    }

    /// Largest acceleration of the plate since this was asked last, rad/s²: stops and flanks that strike.
    pub fn take_shock(&mut self) -> f64 {
        std::mem::take(&mut self.shock)
    }

    /// Potential, kinetic and magnetic energy, J.
    pub fn energy(&self) -> f64 {
        self.model.energy(&self.state, &self.numbers)
    }
}
