//! What is true of a body's figures by the definitions that the host states: from the simulator's own numbers, and for latencies from
//! when the plate truly left. It is what stated uncertainties are held against.

use trackpair::analysis::statistics::quantile;
use trackpair::quantity::{Condition, FigureName, Heading, Region};
use trackpair::sheet::BodyPlan;
use trackpair_rig_sim::body::numbers::RATIO;
use trackpair_rig_sim::body::truth::BodyTruth;
use trackpair_rig_sim::departures::Departure;

/// A true value.
#[derive(Clone, Debug)]
pub struct True {
    pub name: FigureName,
    pub condition: Condition,
    pub value: f64,
}

/// Departures that make a quantile worth comparing.
const ENOUGH: usize = 20;

/// True figures of a body, and of the departures that were seen while it was stepped.
pub fn figures(body: &BodyTruth, departures: &[Departure], plan: &BodyPlan) -> Vec<True> {
    let plain = |name, value| True { name, condition: Condition::NONE, value };
    let main = body.numbers.springs.main;
    // Friction is measured while the plate creeps: what grows with speed is in it.
    let numbers = &body.numbers;
    let viscous =
        (numbers.motor.viscous * RATIO * RATIO + numbers.plate.viscous) * plan.creep_speed_deg_s.to_radians();
    let mut all = vec![
        plain(FigureName::Lash, body.lash_deg),
        plain(FigureName::PreloadMain, body.main_preload_nm),
        plain(FigureName::PreloadDefault, body.default_preload_nm),
        plain(FigureName::StiffnessMain, main.stiffness),
        plain(FigureName::Friction, body.friction_nm + viscous),
        plain(FigureName::Sticking, body.closed_friction_nm - body.friction_nm),
        plain(FigureName::WindingResistance, numbers.motor.ohms),
        plain(FigureName::BackEmfConstant, body.plate_constant),
        plain(FigureName::RestPosition, body.rest_deg),
    ];
    for region in Region::ALL {
        for heading in Heading::ALL {
            let of = |d: &&Departure| {
                region_of(d.deg, plan) == region && d.opening == (heading == Heading::Opening)
            };
            let mut some: Vec<f64> = departures.iter().filter(of).map(|d| d.latency_us).collect();
            let condition = Condition { region: Some(region), direction: Some(heading), ..Condition::NONE };
            if some.len() >= ENOUGH {
                for (name, p) in [(FigureName::LatencyP50, 0.5), (FigureName::LatencyP90, 0.9)] {
                    all.extend(quantile(&mut some, p).map(|value| True { name, condition, value }));
                }
            }
        }
    }
    all
}

fn region_of(deg: f64, plan: &BodyPlan) -> Region {
    if deg < plan.low_range_deg {
        Region::Low
    } else if deg < plan.middle_deg {
        Region::Middle
    } else {
        Region::High
    }
}
