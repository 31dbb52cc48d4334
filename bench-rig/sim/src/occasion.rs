//! The same part on the same rig once more: which rig, which mounting of the part, which sweep of that mounting, and what the rig's calibration
//! has become since.
//!
//! Without any of it, one seed draws part, rig, mounting and noise together, as for a part that is met once.

use crate::random::Random;
use crate::rig_spec::{RigSpec, RigTruth};

/// Eccentricity of the coupling between part and encoder, degrees, 1 sd, drawn with each mounting; together with the encoder's own it stays
/// within what the rig declares. Engineering assumption.
const COUPLING_SD_DEG: f64 = 0.005;
/// How much a contact's resistance differs from mating to mating, 1 sd of its logarithm. Engineering assumption.
const CONTACT_SD: f64 = 0.3;

/// When a part meets a rig. What is not given is drawn with the part's own seed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Occasion {
    /// Seed of the rig, with which its electronics and its serial number are drawn.
    pub rig: Option<u64>,
    /// Number of the mounting: how the part sits, its coupling, its contacts.
    pub mounting: Option<u64>,
    /// Number of the sweep: fresh noise.
    pub sweep: Option<u64>,
    /// By how much the first line's converter reads too high, %.
    pub gain_percent: f64,
}

impl Occasion {
    /// Seed of everything that is fresh in each sweep.
    pub fn fresh_seed(&self, seed: u64) -> u64 {
        match (self.mounting, self.sweep) {
            (None, None) => seed,
            (mounting, sweep) => {
                let name = format!("sweep {} of mounting {}", sweep.unwrap_or(0), mounting.unwrap_or(0));
                (Random::new(&name, seed).unit() * 9_007_199_254_740_992.0) as u64
            }
        }
    }

    /// The rig as it is on this occasion, for a part drawn with `seed`.
    pub fn apply(&self, spec: &mut RigSpec, drawn: &mut RigTruth, seed: u64) {
        if self.sweep.is_some() {
            let mut random = Random::new("ripple", self.fresh_seed(seed));
            drawn.ripple_phase = random.between(0.0, std::f64::consts::TAU);
        }
        if let Some(mounting) = self.mounting {
            let mut random = Random::new(&format!("mounting {mounting}"), seed);
            drawn.mounting_deg = random.between(-spec.mounting_deg, spec.mounting_deg);
            spec.contact_ohms *= (CONTACT_SD * random.normal()).exp();
            // Two circles of once a turn are one.
            let (own, phase) = (drawn.eccentricity_deg, drawn.eccentricity_phase);
            let x = own * phase.cos() + COUPLING_SD_DEG * random.normal();
            let y = own * phase.sin() + COUPLING_SD_DEG * random.normal();
            (drawn.eccentricity_deg, drawn.eccentricity_phase) = (x.hypot(y), y.atan2(x));
        }
        drawn.converter_gain[0] *= 1.0 + self.gain_percent / 100.0;
    }
}

#[cfg(test)]
mod tests {
    use crate::address::part_address;

    fn truth(address: &str) -> crate::board::Truth {
        part_address(address).unwrap().board().truth()
    }

    #[test]
    fn a_part_that_is_mounted_again_is_the_same_part_on_the_same_rig() {
        let first = truth("good-grip?seed=7&rig=3&mounting=1&sweep=1");
        let second = truth("good-grip?seed=7&rig=3&mounting=2&sweep=1");
        assert_eq!(first.part, second.part);
        assert_eq!(first.rig.converter_gain, second.rig.converter_gain);
        assert_ne!(first.rig.mounting_deg, second.rig.mounting_deg);
        let other = truth("good-grip?seed=8&rig=3&mounting=1&sweep=1");
        assert_eq!(first.rig.converter_offset, other.rig.converter_offset);
        assert_ne!(first.part.drawn, other.part.drawn);
        assert_ne!(first.rig.mounting_deg, other.rig.mounting_deg);
    }

    #[test]
    fn without_an_occasion_nothing_is_drawn_otherwise_than_before() {
        let plain = truth("good-grip?seed=7");
        let same_rig = truth("good-grip?seed=7&rig=7");
        assert_eq!(plain, same_rig);
        assert_ne!(plain.rig, truth("good-grip?seed=7&rig=8").rig);
    }

    #[test]
    fn a_gain_moves_the_first_line_alone() {
        let (plain, moved) = (truth("good-grip?seed=7"), truth("good-grip?seed=7&gain=0.1"));
        let ratio = moved.rig.converter_gain[0] / plain.rig.converter_gain[0];
        assert!((ratio - 1.001).abs() < 1e-12, "{ratio}");
        assert_eq!(plain.rig.converter_gain[1..], moved.rig.converter_gain[1..]);
        assert!(part_address("good-grip?gain=50").is_err() && part_address("good-grip?mounting=x").is_err());
    }
}
