//! What one throttle body is made of, nominal or drawn with its spread. Healthy: faults come in [`super::ailment`].

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use crate::random::Random;

/// Rotor turns per idler turn: 45 teeth on 11.
pub const PINION_RATIO: f64 = 45.0 / 11.0;
/// Idler turns per plate turn: 90 teeth (of a whole circle) on 18.
pub const SECTOR_RATIO: f64 = 5.0;
/// Rotor turns per plate turn.
pub const RATIO: f64 = PINION_RATIO * SECTOR_RATIO;
/// Commutation ripples, and cogs, per rotor turn.
pub const RIPPLES: f64 = 14.0;
/// Nominal travel of the plate, degrees.
pub const TRAVEL_DEG: f64 = 84.0;

/// Dry friction with a higher level near standstill: `level (1 + (static_ratio − 1) exp(−(v/speed)²))`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Friction {
    /// Coulomb friction, N·m.
    pub coulomb_nm: f64,
    /// Static over Coulomb friction.
    pub static_ratio: f64,
    /// Speed of its decay (Stribeck), rad/s.
    pub stribeck_rad_s: f64,
}

/// A segment of the commutator without good contact.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DeadSpot {
    /// Its middle, degrees of rotor.
    pub centre_deg: f64,
    /// Its width, degrees of rotor.
    pub width_deg: f64,
    /// Resistance it adds, ohm.
    pub ohms: f64,
}

/// The motor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Motor {
    /// Resistance of the winding at 20 °C, ohm.
    pub ohms: f64,
    /// Inductance, H.
    pub henry: f64,
    /// Torque and voltage constant of the rotor, N·m/A = V·s/rad.
    pub constant: f64,
    /// Commutation ripple of the constant, share.
    pub ripple: f64,
    /// Ripple of the resistance, share.
    pub ohms_ripple: f64,
    /// Phase of both ripples, rad.
    pub ripple_phase: f64,
    /// Drop at the brushes, V.
    pub brush_volts: f64,
    /// Amplitude of the cogging torque, N·m.
    pub cogging_nm: f64,
    /// Rotor inertia, kg·m².
    pub inertia: f64,
    /// Viscous friction, N·m·s/rad.
    pub viscous: f64,
    /// Dry friction of brushes and bearings.
    pub friction: Friction,
    /// Brush dead spot.
    pub dead_spot: Option<DeadSpot>,
}

/// A gear mesh: spring and damper without tension, with lash.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mesh {
    /// Full lash, degrees of the driven axis.
    pub lash_deg: f64,
    /// Stiffness, N·m/rad of the driven axis.
    pub stiffness: f64,
    /// Damping, N·m·s/rad of the driven axis.
    pub damping: f64,
}

/// The gears between rotor and plate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Gears {
    /// Rotor to idler.
    pub pinion: Mesh,
    /// Idler to the plate's sector.
    pub sector: Mesh,
    /// Inertia of the idler, kg·m².
    pub idler_inertia: f64,
    /// Coulomb friction of the idler, N·m.
    pub idler_friction_nm: f64,
}

/// One of the two springs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Spring {
    /// Torque at the rest position, N·m.
    pub preload_nm: f64,
    /// Stiffness, N·m/rad.
    pub stiffness: f64,
}

/// The springs, which meet at the rest position.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Springs {
    /// Closes the plate above the rest position.
    pub main: Spring,
    /// Opens it below: the limp-home side.
    pub default: Spring,
    /// Rest position, degrees.
    pub rest_deg: f64,
    /// Angle over which each preload comes in, degrees.
    pub ramp_deg: f64,
    /// Dead gap between the springs, degrees.
    pub gap_deg: f64,
}

/// Dirt at the closed stop: friction `friction_nm exp(−(angle/width)²)`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Deposit {
    /// Added friction at the closed stop, N·m.
    pub friction_nm: f64,
    /// How far it reaches, degrees.
    pub width_deg: f64,
}

/// The plate on its shaft.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plate {
    /// Inertia, kg·m².
    pub inertia: f64,
    /// Viscous friction, N·m·s/rad.
    pub viscous: f64,
    /// Dry friction of its bearings.
    pub friction: Friction,
    /// Open stop, degrees; the closed stop is at 0.
    pub open_stop_deg: f64,
    /// Stiffness of a stop, N·m/rad.
    pub stop_stiffness: f64,
    /// Damping of a stop, N·m·s/rad.
    pub stop_damping: f64,
    /// Dirt at the closed stop.
    pub deposit: Option<Deposit>,
}

/// What one throttle body is made of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BodyNumbers {
    /// Its motor.
    pub motor: Motor,
    /// Its gears.
    pub gears: Gears,
    /// Its springs.
    pub springs: Springs,
    /// Its plate.
    pub plate: Plate,
    /// Where in its lash the rotor stands at the start: −1 on the closing flank, 1 on the opening flank.
    pub rotor_in_lash: f64,
}

/// A healthy body returns: each preload is at least this times the static friction, and the cogs on top of it.
const RETURNS: f64 = 1.02;

impl BodyNumbers {
    /// The nominal body, rotor in the middle of its lash.
    pub fn nominal() -> Self {
        let (idler_inertia, plate_inertia) = (2e-6, 5e-5);
        // Loh et al. 2013, all referred to the plate: inertia 0.0021 kg·m², 0.383 N·m/A, viscous 0.0088 N·m·s/rad of which 0.0013 stay there.
        let rotor_inertia = (0.0021 - idler_inertia * SECTOR_RATIO.powi(2) - plate_inertia) / RATIO.powi(2);
        Self {
            motor: Motor {
                ohms: 1.15,
                henry: 1.5e-3,
                constant: 0.383 / RATIO,
                ripple: 0.03,
                ohms_ripple: 0.02,
                ripple_phase: 0.0,
                brush_volts: 0.15,
                cogging_nm: 0.8e-3,
                inertia: rotor_inertia,
                viscous: 0.0075 / RATIO.powi(2),
                friction: Friction { coulomb_nm: 0.0070, static_ratio: 1.15, stribeck_rad_s: 4.0 },
                dead_spot: None,
            },
            gears: Gears {
                pinion: Mesh { lash_deg: 0.6, stiffness: 300.0, damping: 0.012 },
                sector: Mesh { lash_deg: 0.18, stiffness: 800.0, damping: 0.08 },
                idler_inertia,
                idler_friction_nm: 0.004,
            },
            springs: Springs {
                main: Spring { preload_nm: 0.396, stiffness: 0.087 },
                default: Spring { preload_nm: 0.36, stiffness: 0.25 },
                rest_deg: 6.5,
                ramp_deg: 0.15,
                gap_deg: 0.0,
            },
            plate: Plate {
                inertia: plate_inertia,
                viscous: 0.0013,
                friction: Friction { coulomb_nm: 0.11, static_ratio: 1.15, stribeck_rad_s: 0.10 },
                open_stop_deg: TRAVEL_DEG,
                stop_stiffness: 1500.0,
                stop_damping: 0.15,
                deposit: None,
            },
            rotor_in_lash: 0.0,
        }
    }

    /// A healthy body with its own spread.
    pub fn draw(random: &mut Random) -> Self {
        let mut body = Self::nominal();
        let mut by = |value: &mut f64, sd: f64| *value *= 1.0 + random.spread(sd);
        by(&mut body.motor.ohms, 0.05);
        by(&mut body.motor.henry, 0.10);
        by(&mut body.motor.constant, 0.03);
        by(&mut body.motor.viscous, 0.20);
        by(&mut body.plate.viscous, 0.20);
        by(&mut body.motor.friction.coulomb_nm, 0.18);
        by(&mut body.plate.friction.coulomb_nm, 0.18);
        by(&mut body.gears.pinion.stiffness, 0.15);
        by(&mut body.gears.sector.stiffness, 0.15);
        for spring in [&mut body.springs.main, &mut body.springs.default] {
            by(&mut spring.preload_nm, 0.05);
            by(&mut spring.stiffness, 0.10);
        }
        body.springs.rest_deg += random.spread(0.5);
        body.springs.gap_deg = random.spread(0.03).max(0.0);
        body.plate.open_stop_deg += random.spread(0.3);
        body.gears.pinion.lash_deg = random.between(0.4, 0.8);
        body.gears.sector.lash_deg = random.between(0.10, 0.25);
        body.motor.ripple = random.between(0.02, 0.05);
        body.motor.ohms_ripple = random.between(0.01, 0.04);
        body.motor.ripple_phase = random.between(0.0, TAU);
        body.motor.brush_volts = random.between(0.05, 0.30);
        body.motor.cogging_nm = random.between(0.3e-3, 1.2e-3);
        body.rotor_in_lash = random.between(-1.0, 1.0);
        body.ease();
        body
    }

    /// Takes friction away from a body that would not come back to rest: such a one does not leave a factory.
    fn ease(&mut self) {
        let weakest = self.springs.main.preload_nm.min(self.springs.default.preload_nm);
        let idler = self.gears.idler_friction_nm * SECTOR_RATIO;
        let bearable = (weakest - self.cogging_nm()) / RETURNS - idler;
        let share = (bearable / (self.static_friction_nm() - idler)).min(1.0);
        self.motor.friction.coulomb_nm *= share;
        self.plate.friction.coulomb_nm *= share;
    }

    /// What the cogs can hold at the plate, N·m.
    pub fn cogging_nm(&self) -> f64 {
        self.motor.cogging_nm * RATIO
    }

    /// Coulomb friction of everything that turns, at the plate, N·m; without a deposit.
    pub fn coulomb_friction_nm(&self) -> f64 {
        self.motor.friction.coulomb_nm * RATIO
            + self.gears.idler_friction_nm * SECTOR_RATIO
            + self.plate.friction.coulomb_nm
    }

    /// Static friction of everything that turns, at the plate, N·m; without a deposit.
    pub fn static_friction_nm(&self) -> f64 {
        let (motor, plate) = (&self.motor.friction, &self.plate.friction);
        motor.coulomb_nm * motor.static_ratio * RATIO
            + self.gears.idler_friction_nm * SECTOR_RATIO
            + plate.coulomb_nm * plate.static_ratio
    }

    /// Torque of the springs on the plate at an angle, N·m, positive opens.
    pub fn spring_nm(&self, plate_deg: f64) -> f64 {
        let springs = &self.springs;
        let y = (plate_deg - springs.rest_deg).to_radians();
        let past = y.abs() - 0.5 * springs.gap_deg.to_radians();
        if past <= 0.0 {
            return 0.0;
        }
        let spring = if y > 0.0 { springs.main } else { springs.default };
        let share = (past / springs.ramp_deg.to_radians()).min(1.0);
        -y.signum() * (spring.preload_nm * share + spring.stiffness * past)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_healthy_body_always_has_the_springs_to_come_back() {
        for seed in 0..500 {
            let body = BodyNumbers::draw(&mut Random::new("returns", seed));
            let weakest = body.springs.main.preload_nm.min(body.springs.default.preload_nm);
            let held = body.static_friction_nm() + body.cogging_nm();
            assert!(weakest > 1.01 * held && held > 0.15, "{seed}: {body:?}");
        }
    }

    #[test]
    fn the_nominal_body_has_the_published_sums_at_the_plate() {
        // Loh et al. 2013 as transcribed: 0.0021 kg·m², 0.383 N·m/A, 0.0088 N·m·s/rad; friction here 0.273 N·m of their 0.284.
        let body = BodyNumbers::nominal();
        let inertia = body.motor.inertia * RATIO.powi(2)
            + body.gears.idler_inertia * SECTOR_RATIO.powi(2)
            + body.plate.inertia;
        assert!((inertia - 0.0021).abs() < 1e-12);
        assert!((body.motor.constant * RATIO - 0.383).abs() < 1e-12);
        assert!((body.motor.viscous * RATIO.powi(2) + body.plate.viscous - 0.0088).abs() < 1e-12);
        assert!((body.coulomb_friction_nm() - 0.2732).abs() < 1e-3);
    }
}
