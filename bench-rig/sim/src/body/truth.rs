//! What is true of a body, and what follows from it at rest: where it stands, its lash, its torques. Never goes through the protocol.

use serde::{Deserialize, Serialize};

use super::numbers::{BodyNumbers, RATIO, SECTOR_RATIO};
use super::teeth::{Teeth, Wear};
use super::winding::Winding;

/// Everything that is true of a body.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BodyTruth {
    /// What was drawn, healthy.
    pub drawn: BodyNumbers,
    /// The same with the faults.
    pub numbers: BodyNumbers,
    /// Its teeth, faults included.
    pub teeth: Teeth,
    /// Torque and voltage constant at the plate, N·m/A = V·s/rad.
    pub plate_constant: f64,
    /// Resistance of the winding at `winding_celsius`, ohm, without the ripple and a dead spot.
    pub ohms: f64,
    /// Temperature of the winding, °C.
    pub winding_celsius: f64,
    /// Lash between rotor and plate at the rest position, degrees of plate.
    pub lash_deg: f64,
    /// Where the springs balance, degrees …
    pub rest_deg: f64,
    /// … and where static friction and cogs can hold the plate, from and to, degrees. Stop to stop where a spring is too weak to return it.
    pub rest_band_deg: (f64, f64),
    /// Preload of the main spring, N·m.
    pub main_preload_nm: f64,
    /// Preload of the default spring, N·m.
    pub default_preload_nm: f64,
    /// Coulomb friction of everything that turns, at the plate, away from a deposit, N·m.
    pub friction_nm: f64,
    /// The same at standstill, N·m.
    pub static_friction_nm: f64,
    /// The same at the closed stop, deposit included, N·m.
    pub closed_friction_nm: f64,
    /// The stops, degrees.
    pub stops_deg: (f64, f64),
    /// What is gone of the teeth.
    pub wear: Vec<Wear>,
}

impl BodyTruth {
    /// Of a body with and without its faults.
    pub fn of(drawn: &BodyNumbers, numbers: &BodyNumbers, teeth: &Teeth, winding: &Winding) -> Self {
        let open = numbers.plate.open_stop_deg;
        let deposit = numbers.plate.deposit.map_or(0.0, |deposit| deposit.friction_nm);
        Self {
            drawn: drawn.clone(),
            numbers: numbers.clone(),
            teeth: teeth.clone(),
            plate_constant: numbers.motor.constant * RATIO,
            ohms: numbers.motor.ohms * winding.factor(),
            winding_celsius: winding.celsius(),
            lash_deg: lash_deg(numbers, teeth, numbers.springs.rest_deg),
            rest_deg: numbers.springs.rest_deg,
            rest_band_deg: rest_band(numbers, open),
            main_preload_nm: numbers.springs.main.preload_nm,
            default_preload_nm: numbers.springs.default.preload_nm,
            friction_nm: numbers.coulomb_friction_nm(),
            static_friction_nm: numbers.static_friction_nm(),
            closed_friction_nm: numbers.coulomb_friction_nm() + deposit,
            stops_deg: (0.0, open),
            wear: teeth.wear.clone(),
        }
    }
}

impl BodyTruth {
    /// With the winding as warm as it is now.
    pub fn set_winding(&mut self, winding: &Winding) {
        self.ohms = self.numbers.motor.ohms * winding.factor();
        self.winding_celsius = winding.celsius();
    }
}

/// Lash between rotor and plate at an angle, degrees of plate.
pub fn lash_deg(numbers: &BodyNumbers, teeth: &Teeth, deg: f64) -> f64 {
    let (opening, closing) = teeth.wear_deg(deg);
    numbers.gears.pinion.lash_deg / SECTOR_RATIO + numbers.gears.sector.lash_deg + opening + closing
}

/// Where the springs cannot overcome static friction and cogs, on a grid of 0.001°.
fn rest_band(numbers: &BodyNumbers, open_deg: f64) -> (f64, f64) {
    let friction = |deg: f64| {
        let deposit = numbers.plate.deposit;
        numbers.static_friction_nm()
            + numbers.cogging_nm()
            + deposit.map_or(0.0, |d| d.friction_nm * (-(deg / d.width_deg).powi(2)).exp())
    };
    let held = |deg: f64| numbers.spring_nm(deg).abs() <= friction(deg);
    let rest = numbers.springs.rest_deg;
    let far = |step: f64| {
        let mut deg = rest;
        while (0.0..=open_deg).contains(&(deg + step)) && held(deg + step) {
            deg += step;
        }
        deg
    };
    (far(-0.001), far(0.001))
}
