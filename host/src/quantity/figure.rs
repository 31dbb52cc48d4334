//! Names of figures and of kinds of finding.

use super::Unit;
use serde::{Deserialize, Serialize};

/// One measured quantity of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FigureName {
    /// Voltage at the closed stop, at 5 V supply.
    ClosedVolts,
    /// Voltage wide open, at 5 V supply.
    OpenVolts,
    /// Open minus closed voltage, magnitude, at 5 V supply.
    Span,
    /// Largest deviation of the up/down average from the line that makes it smallest.
    LinearityIndependent,
    /// Largest deviation of the up/down average from the line through both ends of travel.
    LinearityTerminal,
    /// Largest deviation of the up/down average from the best line through the closed end.
    LinearityZeroBased,
    /// Largest correlation residual between the channels.
    CorrelationWorst,
    /// Mean correlation residual over the travel.
    CorrelationOffset,
    /// Change of the correlation residual over the travel (straight-line part, end to end).
    CorrelationSlope,
    /// Largest up/down difference at one angle.
    Hysteresis,
    /// Largest spread at one angle among cycles of one direction.
    Repeatability,
    /// Travel at the closed stop without change of output.
    DeadBandClosed,
    /// Travel at the open stop without change of output.
    DeadBandOpen,
    /// Random noise, one standard deviation.
    Noise,
    /// Time the second channel lags the first.
    Skew,
    /// Dropout events per minute.
    DropoutRate,
    /// Trips a plausibility monitor would have raised.
    LimpTrips,
}

impl FigureName {
    /// Every figure in the order it is reported.
    pub const ALL: [Self; 17] = [
        Self::ClosedVolts,
        Self::OpenVolts,
        Self::Span,
        Self::LinearityIndependent,
        Self::LinearityTerminal,
        Self::LinearityZeroBased,
        Self::CorrelationWorst,
        Self::CorrelationOffset,
        Self::CorrelationSlope,
        Self::Hysteresis,
        Self::Repeatability,
        Self::DeadBandClosed,
        Self::DeadBandOpen,
        Self::Noise,
        Self::Skew,
        Self::DropoutRate,
        Self::LimpTrips,
    ];

    /// The name in sheets and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::ClosedVolts => "closed_volts",
            Self::OpenVolts => "open_volts",
            Self::Span => "span",
            Self::LinearityIndependent => "linearity_independent",
            Self::LinearityTerminal => "linearity_terminal",
            Self::LinearityZeroBased => "linearity_zero_based",
            Self::CorrelationWorst => "correlation_worst",
            Self::CorrelationOffset => "correlation_offset",
            Self::CorrelationSlope => "correlation_slope",
            Self::Hysteresis => "hysteresis",
            Self::Repeatability => "repeatability",
            Self::DeadBandClosed => "dead_band_closed",
            Self::DeadBandOpen => "dead_band_open",
            Self::Noise => "noise",
            Self::Skew => "skew",
            Self::DropoutRate => "dropout_rate",
            Self::LimpTrips => "limp_trips",
        }
    }

    /// The name in the words of the trade, for people.
    pub const fn title(self) -> &'static str {
        match self {
            Self::ClosedVolts => "voltage at closed stop",
            Self::OpenVolts => "voltage wide open",
            Self::Span => "span",
            Self::LinearityIndependent => "linearity, independent",
            Self::LinearityTerminal => "linearity, terminal",
            Self::LinearityZeroBased => "linearity, zero-based",
            Self::CorrelationWorst => "correlation, worst",
            Self::CorrelationOffset => "correlation, offset",
            Self::CorrelationSlope => "correlation, slope",
            Self::Hysteresis => "hysteresis",
            Self::Repeatability => "repeatability",
            Self::DeadBandClosed => "dead band, closed stop",
            Self::DeadBandOpen => "dead band, wide open",
            Self::Noise => "noise",
            Self::Skew => "skew of second line",
            Self::DropoutRate => "dropout rate",
            Self::LimpTrips => "limp-home trips",
        }
    }

    /// From its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|f| f.name() == name)
    }

    /// The unit it is always given in.
    pub const fn unit(self) -> Unit {
        match self {
            Self::ClosedVolts | Self::OpenVolts | Self::Span => Unit::VoltAtFive,
            Self::LinearityIndependent
            | Self::LinearityTerminal
            | Self::LinearityZeroBased
            | Self::Repeatability => Unit::PercentSpan,
            Self::CorrelationWorst | Self::CorrelationOffset | Self::CorrelationSlope => Unit::PercentSupply,
            Self::Hysteresis | Self::DeadBandClosed | Self::DeadBandOpen => Unit::Degree,
            Self::Noise => Unit::MillivoltAtFive,
            Self::Skew => Unit::Microsecond,
            Self::DropoutRate => Unit::PerMinute,
            Self::LimpTrips => Unit::Count,
        }
    }

    /// Whether each sensor line has its own value (otherwise one value for the pair).
    pub const fn per_channel(self) -> bool {
        !matches!(
            self,
            Self::CorrelationWorst
                | Self::CorrelationOffset
                | Self::CorrelationSlope
                | Self::Skew
                | Self::DropoutRate
                | Self::LimpTrips
        )
    }
}

/// Kinds of located defect.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FindingKind {
    /// The output stops following for a stretch of travel.
    FlatSpot,
    /// The output was lost for a moment.
    Dropout,
    /// One stretch of a track is noisier than the rest.
    NoisyTrack,
    /// A sensor line does not move with the grip.
    DeadChannel,
    /// First and second line are exchanged.
    SwappedChannels,
    /// Resistance in the supply lead.
    SupplyLead,
    /// Resistance in the ground lead.
    GroundLead,
    /// Resistance in a signal lead.
    SignalLead,
    /// Leakage from a signal lead.
    Leakage,
    /// Gain or offset of one line is off.
    GainOffset,
    /// Both lines share a bend: the magnet or track is off centre.
    CommonNonlinearity,
    /// The part did not move.
    NotMoving,
}

impl FindingKind {
    /// From its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.name() == name)
    }

    /// Every kind.
    pub const ALL: [Self; 12] = [
        Self::FlatSpot,
        Self::Dropout,
        Self::NoisyTrack,
        Self::DeadChannel,
        Self::SwappedChannels,
        Self::SupplyLead,
        Self::GroundLead,
        Self::SignalLead,
        Self::Leakage,
        Self::GainOffset,
        Self::CommonNonlinearity,
        Self::NotMoving,
    ];

    /// The name in the words of the trade, for people.
    pub const fn title(self) -> &'static str {
        match self {
            Self::FlatSpot => "flat spot",
            Self::Dropout => "dropout",
            Self::NoisyTrack => "noisy track",
            Self::DeadChannel => "dead line",
            Self::SwappedChannels => "lines exchanged",
            Self::SupplyLead => "resistance in the supply lead",
            Self::GroundLead => "resistance in the ground lead",
            Self::SignalLead => "resistance in a signal lead",
            Self::Leakage => "leakage from a signal lead",
            Self::GainOffset => "gain or offset off",
            Self::CommonNonlinearity => "bend common to both lines",
            Self::NotMoving => "part did not move",
        }
    }

    /// The name in sheets and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FlatSpot => "flat_spot",
            Self::Dropout => "dropout",
            Self::NoisyTrack => "noisy_track",
            Self::DeadChannel => "dead_channel",
            Self::SwappedChannels => "swapped_channels",
            Self::SupplyLead => "supply_lead",
            Self::GroundLead => "ground_lead",
            Self::SignalLead => "signal_lead",
            Self::Leakage => "leakage",
            Self::GainOffset => "gain_offset",
            Self::CommonNonlinearity => "common_nonlinearity",
            Self::NotMoving => "not_moving",
        }
    }
}
