//! What the faults of a part do to a healthy body's numbers and teeth. Faults of its sensor and wires act elsewhere.

use super::numbers::{BodyNumbers, DeadSpot, Deposit, SECTOR_RATIO};
use super::teeth::{PITCH_DEG, Teeth, Wear};
use crate::fault::Fault;

/// A missing tooth lets both flanks go by this much, degrees of plate: until the neighbours carry.
const MISSING_DEG: f64 = 2.4;
/// The edge of a chip, degrees of plate.
const CHIP_EDGE_DEG: f64 = 0.3;

/// The body as its faults have left it.
pub fn ail(healthy: &BodyNumbers, teeth: &Teeth, faults: &[Fault]) -> (BodyNumbers, Teeth) {
    let (mut body, mut worn) = (healthy.clone(), teeth.clone());
    for fault in faults {
        ail_numbers(&mut body, fault);
        ail_teeth(&mut worn, fault);
    }
    (body, worn)
}

fn ail_numbers(body: &mut BodyNumbers, fault: &Fault) {
    match *fault {
        Fault::GrownLash { extra_deg, sector_share } => {
            body.gears.sector.lash_deg += extra_deg * sector_share;
            body.gears.pinion.lash_deg += extra_deg * (1.0 - sector_share) * SECTOR_RATIO;
        }
        Fault::BrushDeadSpot { rotor_deg, width_deg, ohms } => {
            body.motor.dead_spot = Some(DeadSpot { centre_deg: rotor_deg, width_deg, ohms });
        }
        Fault::WeakSpring { left } => {
            body.springs.main.preload_nm *= left;
            body.springs.main.stiffness *= left;
        }
        Fault::WeakDefaultSpring { left } => {
            body.springs.default.preload_nm *= left;
            body.springs.default.stiffness *= left;
        }
        Fault::StickyPlate { friction_nm, width_deg } => {
            body.plate.deposit = Some(Deposit { friction_nm, width_deg });
        }
        Fault::DryBearing { factor } => {
            body.plate.friction.coulomb_nm *= factor;
            body.plate.viscous *= factor;
        }
        Fault::WindingResistance { ohms } => body.motor.ohms += ohms,
        Fault::ShortedTurns { share } => {
            // Torque goes with the turns left, resistance too, inductance with their square.
            let left = 1.0 - share;
            body.motor.ohms *= left;
            body.motor.constant *= left;
            body.motor.henry *= left * left;
        }
        _ => {}
    }
}

fn ail_teeth(teeth: &mut Teeth, fault: &Fault) {
    match *fault {
        Fault::WornTeeth { centre_deg, depth_deg, opening_share, teeth: count } => {
            for k in 0..count {
                let centre = centre_deg + PITCH_DEG * f64::from(k);
                let (opening, closing) = shared(depth_deg, opening_share);
                teeth.wear.push(Wear::tooth(centre, opening, closing));
            }
        }
        Fault::ChippedTooth { centre_deg, width_deg, depth_deg, opening_share } => {
            let (opening_deg, closing_deg) = shared(depth_deg, opening_share);
            let (flat_deg, fade_deg) = (width_deg, CHIP_EDGE_DEG);
            teeth.wear.push(Wear { centre_deg, opening_deg, closing_deg, flat_deg, fade_deg });
        }
        Fault::MissingTooth { centre_deg } => {
            teeth.wear.push(Wear::tooth(centre_deg, MISSING_DEG, MISSING_DEG));
        }
        _ => {}
    }
}

fn shared(depth_deg: f64, opening_share: f64) -> (f64, f64) {
    (depth_deg * opening_share, depth_deg * (1.0 - opening_share))
}
