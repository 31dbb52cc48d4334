//! The range of every number in a fault, its kind's name, and which kind of part can have it. `PARTS.md` states the same.

use thiserror::Error;

use crate::fault::Fault;

/// A number in a fault that is out of its range.
#[derive(Clone, Debug, PartialEq, Error)]
#[error("{fault}: {field} = {given} is outside {min} to {max}; see PARTS.md for units and ranges")]
pub struct FaultError {
    /// The fault's kind.
    pub fault: &'static str,
    /// The field.
    pub field: &'static str,
    /// What was given.
    pub given: f64,
    /// Smallest allowed.
    pub min: f64,
    /// Largest allowed.
    pub max: f64,
}

type Number = (&'static str, f64, f64, f64);

impl Fault {
    /// Kind as written in a part file, and each number with its smallest and largest value.
    fn numbers(&self) -> (&'static str, Vec<Number>) {
        let place = |c: f64, w: f64| [("centre_deg", c, -5.0, 90.0), ("width_deg", w, 0.02, 90.0)];
        let one = |n: Number| vec![n];
        match *self {
            Self::FlatSpot { centre_deg, width_deg, slope_loss, .. } => {
                let [c, w] = place(centre_deg, width_deg);
                ("flat_spot", vec![c, w, ("slope_loss", slope_loss, 0.0, 1.5)])
            }
            Self::Dropout {
                rate_per_s,
                burst_s,
                pause_s,
                flex_rate_per_s,
                at_deg,
                chance_per_pass,
                min_us,
                max_us,
                ..
            } => (
                "dropout",
                vec![
                    ("rate_per_s", rate_per_s, 0.0, 10_000.0),
                    ("burst_s", burst_s, 0.0, 3600.0),
                    ("pause_s", pause_s, 0.0, 3600.0),
                    ("flex_rate_per_s", flex_rate_per_s, 0.0, 10_000.0),
                    ("at_deg", at_deg, -5.0, 90.0),
                    ("chance_per_pass", chance_per_pass, 0.0, 1.0),
                    ("min_us", min_us, 0.1, 1e8),
                    ("max_us", max_us, min_us, 1e8),
                ],
            ),
            Self::NoisyTrack { centre_deg, width_deg, noise_volts, .. } => {
                let [c, w] = place(centre_deg, width_deg);
                ("noisy_track", vec![c, w, ("noise_volts", noise_volts, 0.0, 1.0)])
            }
            Self::SupplyLead { ohms } => ("supply_lead", one(("ohms", ohms, 0.0, 1e5))),
            Self::GroundLead { ohms } => ("ground_lead", one(("ohms", ohms, 0.0, 1e5))),
            Self::SignalLead { ohms, .. } => ("signal_lead", one(("ohms", ohms, 0.0, 1e7))),
            Self::Leakage { ohms, .. } => ("leakage", one(("ohms", ohms, 1.0, 1e9))),
            Self::GainError { percent, .. } => ("gain_error", one(("percent", percent, -100.0, 100.0))),
            Self::OffsetError { percent_of_supply, .. } => {
                ("offset_error", one(("percent_of_supply", percent_of_supply, -100.0, 100.0)))
            }
            Self::CorrelationShift { offset_percent, growth_percent, from_deg, .. } => (
                "correlation_shift",
                vec![
                    ("offset_percent", offset_percent, -100.0, 100.0),
                    ("growth_percent", growth_percent, -100.0, 100.0),
                    ("from_deg", from_deg, -5.0, 90.0),
                ],
            ),
            Self::Hysteresis { play_deg, .. } => ("hysteresis", one(("play_deg", play_deg, 0.0, 30.0))),
            Self::Sticky { friction_nm, uneven, centre_deg, width_deg, play_deg } => (
                "sticky",
                vec![
                    ("friction_nm", friction_nm, 0.0, 5.0),
                    ("uneven", uneven, 0.0, 1.0),
                    ("centre_deg", centre_deg, -5.0, 90.0),
                    ("width_deg", width_deg, 0.0, 90.0),
                    ("play_deg", play_deg, 0.0, 30.0),
                ],
            ),
            Self::CommonNonlinearity { amplitude_deg, period_deg, phase_deg } => (
                "common_nonlinearity",
                vec![
                    ("amplitude_deg", amplitude_deg, 0.0, 20.0),
                    ("period_deg", period_deg, 1.0, 720.0),
                    ("phase_deg", phase_deg, -360.0, 360.0),
                ],
            ),
            Self::DeadChannel { level_percent, .. } => {
                ("dead_channel", one(("level_percent", level_percent, 0.0, 100.0)))
            }
            Self::SwappedChannels {} => ("swapped_channels", Vec::new()),
            Self::Seized { friction_nm } => ("seized", one(("friction_nm", friction_nm, 0.0, 50.0))),
            Self::Seizes { after_s, friction_nm } => {
                ("seizes", vec![("after_s", after_s, 0.0, 1e6), ("friction_nm", friction_nm, 0.0, 50.0)])
            }
            Self::Drift { percent_of_supply_per_hour, .. } => {
                ("drift", one(("percent_of_supply_per_hour", percent_of_supply_per_hour, -100.0, 100.0)))
            }
            Self::Slipping { torque_nm } => ("slipping", one(("torque_nm", torque_nm, 0.0, 5.0))),
            Self::DeadBand { closed_deg, open_deg } => {
                ("dead_band", vec![("closed_deg", closed_deg, 0.0, 40.0), ("open_deg", open_deg, 0.0, 40.0)])
            }
            Self::WeakSpring { left } => ("weak_spring", one(("left", left, 0.0, 1.0))),
            Self::WornTeeth { centre_deg, depth_deg, opening_share, teeth } => (
                "worn_teeth",
                vec![
                    ("centre_deg", centre_deg, -5.0, 90.0),
                    ("depth_deg", depth_deg, 0.0, 3.0),
                    ("opening_share", opening_share, 0.0, 1.0),
                    ("teeth", f64::from(teeth), 1.0, 21.0),
                ],
            ),
            Self::ChippedTooth { centre_deg, width_deg, depth_deg, opening_share } => (
                "chipped_tooth",
                vec![
                    ("centre_deg", centre_deg, -5.0, 90.0),
                    ("width_deg", width_deg, 0.1, 4.0),
                    ("depth_deg", depth_deg, 0.0, 3.0),
                    ("opening_share", opening_share, 0.0, 1.0),
                ],
            ),
            Self::MissingTooth { centre_deg } => {
                ("missing_tooth", one(("centre_deg", centre_deg, -5.0, 90.0)))
            }
            Self::GrownLash { extra_deg, sector_share } => (
                "grown_lash",
                vec![("extra_deg", extra_deg, 0.0, 5.0), ("sector_share", sector_share, 0.0, 1.0)],
            ),
            Self::BrushDeadSpot { rotor_deg, width_deg, ohms } => (
                "brush_dead_spot",
                vec![
                    ("rotor_deg", rotor_deg, -360.0, 360.0),
                    ("width_deg", width_deg, 0.1, 360.0),
                    ("ohms", ohms, 0.0, 1e4),
                ],
            ),
            Self::WeakDefaultSpring { left } => ("weak_default_spring", one(("left", left, 0.0, 1.0))),
            Self::StickyPlate { friction_nm, width_deg } => (
                "sticky_plate",
                vec![("friction_nm", friction_nm, 0.0, 10.0), ("width_deg", width_deg, 0.1, 90.0)],
            ),
            Self::DryBearing { factor } => ("dry_bearing", one(("factor", factor, 1.0, 20.0))),
            Self::WindingResistance { ohms } => ("winding_resistance", one(("ohms", ohms, 0.0, 1e4))),
            Self::ShortedTurns { share } => ("shorted_turns", one(("share", share, 0.0, 0.9))),
            Self::ImpactDropout { impact_rad_s2, chance_per_impact, min_us, max_us, .. } => (
                "impact_dropout",
                vec![
                    ("impact_rad_s2", impact_rad_s2, 1.0, 1e7),
                    ("chance_per_impact", chance_per_impact, 0.0, 1.0),
                    ("min_us", min_us, 0.1, 1e8),
                    ("max_us", max_us, min_us, 1e8),
                ],
            ),
        }
    }

    /// Whether a body (otherwise a grip) can have it.
    pub fn fits(&self, body: bool) -> bool {
        match self {
            Self::Sticky { .. } | Self::Seized { .. } | Self::Slipping { .. } | Self::DeadBand { .. } => {
                !body
            }
            Self::WornTeeth { .. }
            | Self::ChippedTooth { .. }
            | Self::MissingTooth { .. }
            | Self::GrownLash { .. }
            | Self::BrushDeadSpot { .. }
            | Self::WeakDefaultSpring { .. }
            | Self::StickyPlate { .. }
            | Self::DryBearing { .. }
            | Self::WindingResistance { .. }
            | Self::ShortedTurns { .. }
            | Self::ImpactDropout { .. } => body,
            _ => true,
        }
    }

    /// Kind as written in a part file.
    pub fn kind(&self) -> &'static str {
        self.numbers().0
    }

    /// Checks every number against its range.
    ///
    /// # Errors
    /// The first number out of range, with the range.
    pub fn validate(&self) -> Result<(), FaultError> {
        let (fault, numbers) = self.numbers();
        match numbers.into_iter().find(|&(_, given, min, max)| !(min..=max).contains(&given)) {
            Some((field, given, min, max)) => Err(FaultError { fault, field, given, min, max }),
            None => Ok(()),
        }
    }
}
