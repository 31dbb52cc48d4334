//! The rig's full bridge as the motor's terminals see it: a source, a short, or open with diodes. PWM is averaged.

/// The bridge's own supply, V: nothing beyond ± this is ever applied.
pub const SUPPLY_VOLTS: f64 = 13.0;

/// What the four switches do.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Bridge {
    /// All open. Current left in the winding flows back into the supply through the diodes until it is gone.
    #[default]
    Open,
    /// The motor is shorted.
    Brake,
    /// Averaged terminal voltage; positive opens the plate.
    Drive {
        /// V; limited to ± [`SUPPLY_VOLTS`].
        volts: f64,
    },
}

impl Bridge {
    /// Voltage forced on the terminals; `None` while they float.
    pub fn applied(self) -> Option<f64> {
        match self {
            Self::Open => None,
            Self::Brake => Some(0.0),
            Self::Drive { volts } => Some(volts.clamp(-SUPPLY_VOLTS, SUPPLY_VOLTS)),
        }
    }

    /// Terminal voltage with a current (A) in the winding and the motor's own voltage (V).
    #[inline]
    pub fn terminal_volts(self, amps: f64, own_volts: f64) -> f64 {
        match self.applied() {
            Some(volts) => volts,
            None if amps == 0.0 => own_volts,
            None => -SUPPLY_VOLTS.copysign(amps),
        }
    }
}
