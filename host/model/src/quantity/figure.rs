//! Names of figures and of kinds of finding.

use super::{PartKind, Unit};
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
    /// Largest correlation residual of any single scan, what noise alone makes of it taken off.
    CorrelationMomentary,
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
    /// How far a grip stays open once it is let go.
    ReturnRest,
    /// Pull of a grip's return spring over all friction, where it is least.
    ReturnTorque,
    /// Angle at which the plate rests without power.
    RestPosition,
    /// Spread of the rest position over many returns, from above and from below.
    RestRepeatability,
    /// Closed stop on the nominal scale of the first feedback line.
    ClosedStop,
    /// Open stop on the nominal scale of the first feedback line.
    OpenStop,
    /// Command to first motion, median.
    LatencyP50,
    /// Command to first motion, 90th percentile.
    LatencyP90,
    /// Command to first motion, 99th percentile.
    LatencyP99,
    /// Command to first motion, longest seen.
    LatencyMax,
    /// 10 to 90 % of a closed-loop step.
    RiseTime,
    /// Overshoot of a closed-loop step, per cent of the step.
    Overshoot,
    /// Until a closed-loop step stays near its end.
    Settling,
    /// Time from power off until the plate stays within 1 deg of rest, or a grip within 1 deg of its closed stop.
    ReturnTime,
    /// Free travel of the gears at the rest position, at the plate.
    Lash,
    /// Free travel of the gears at a place of the travel, by a probe through the bore, at the plate.
    LashByPush,
    /// Largest local loss of motion between motor and plate along the travel.
    LostMotion,
    /// Torque of the main (closing) spring just above rest.
    PreloadMain,
    /// Torque of the default (opening) spring just below rest.
    PreloadDefault,
    /// Rise of the main spring's torque with the angle.
    StiffnessMain,
    /// Coulomb friction of the whole drive, at the plate.
    Friction,
    /// Friction near the closed stop beyond that of the travel.
    Sticking,
    /// What the springs pull with beyond friction at their weakest place of the travel, per cent of friction; below 0 the plate stays.
    ReturnMargin,
    /// Resistance of winding, brushes and leads at the plug.
    WindingResistance,
    /// Back-EMF per speed of the plate; the same number is torque per current.
    BackEmfConstant,
    /// Largest deviation from the setpoint during slow ramps.
    TrackingError,
    /// Grip to plate: half-way of a step to half-way, median.
    FollowLatencyP50,
    /// Grip to plate: half-way of a step to half-way, 95th percentile.
    FollowLatencyP95,
    /// Time by which the plate follows a turning grip.
    FollowLag,
    /// Largest deviation of the plate from what a turning grip asks for.
    FollowDeviation,
    /// Trips that a monitor of the plate's lines would have raised.
    PlateTrips,
}

impl FigureName {
    /// Every figure in the order it is reported.
    pub const ALL: [Self; 49] = [
        Self::ClosedVolts,
        Self::OpenVolts,
        Self::Span,
        Self::LinearityIndependent,
        Self::LinearityTerminal,
        Self::LinearityZeroBased,
        Self::CorrelationWorst,
        Self::CorrelationOffset,
        Self::CorrelationSlope,
        Self::CorrelationMomentary,
        Self::Hysteresis,
        Self::Repeatability,
        Self::DeadBandClosed,
        Self::DeadBandOpen,
        Self::Noise,
        Self::Skew,
        Self::DropoutRate,
        Self::LimpTrips,
        Self::ReturnRest,
        Self::ReturnTorque,
        Self::RestPosition,
        Self::RestRepeatability,
        Self::ClosedStop,
        Self::OpenStop,
        Self::LatencyP50,
        Self::LatencyP90,
        Self::LatencyP99,
        Self::LatencyMax,
        Self::RiseTime,
        Self::Overshoot,
        Self::Settling,
        Self::ReturnTime,
        Self::Lash,
        Self::LashByPush,
        Self::LostMotion,
        Self::PreloadMain,
        Self::PreloadDefault,
        Self::StiffnessMain,
        Self::Friction,
        Self::Sticking,
        Self::ReturnMargin,
        Self::WindingResistance,
        Self::BackEmfConstant,
        Self::TrackingError,
        Self::FollowLatencyP50,
        Self::FollowLatencyP95,
        Self::FollowLag,
        Self::FollowDeviation,
        Self::PlateTrips,
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
            Self::CorrelationMomentary => "correlation_momentary",
            Self::Hysteresis => "hysteresis",
            Self::Repeatability => "repeatability",
            Self::DeadBandClosed => "dead_band_closed",
            Self::DeadBandOpen => "dead_band_open",
            Self::Noise => "noise",
            Self::Skew => "skew",
            Self::DropoutRate => "dropout_rate",
            Self::LimpTrips => "limp_trips",
            Self::ReturnRest => "return_rest",
            Self::ReturnTorque => "return_torque",
            Self::RestPosition => "rest_position",
            Self::RestRepeatability => "rest_repeatability",
            Self::ClosedStop => "closed_stop",
            Self::OpenStop => "open_stop",
            Self::LatencyP50 => "latency_p50",
            Self::LatencyP90 => "latency_p90",
            Self::LatencyP99 => "latency_p99",
            Self::LatencyMax => "latency_max",
            Self::RiseTime => "rise_time",
            Self::Overshoot => "overshoot",
            Self::Settling => "settling",
            Self::ReturnTime => "return_time",
            Self::Lash => "lash",
            Self::LashByPush => "lash_by_push",
            Self::LostMotion => "lost_motion",
            Self::PreloadMain => "preload_main",
            Self::PreloadDefault => "preload_default",
            Self::StiffnessMain => "stiffness_main",
            Self::Friction => "friction",
            Self::Sticking => "sticking",
            Self::ReturnMargin => "return_margin",
            Self::WindingResistance => "winding_resistance",
            Self::BackEmfConstant => "back_emf_constant",
            Self::TrackingError => "tracking_error",
            Self::FollowLatencyP50 => "follow_latency_p50",
            Self::FollowLatencyP95 => "follow_latency_p95",
            Self::FollowLag => "follow_lag",
            Self::FollowDeviation => "follow_deviation",
            Self::PlateTrips => "plate_trips",
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
            Self::CorrelationMomentary => "correlation, worst scan",
            Self::Hysteresis => "hysteresis",
            Self::Repeatability => "repeatability",
            Self::DeadBandClosed => "dead band, closed stop",
            Self::DeadBandOpen => "dead band, wide open",
            Self::Noise => "noise",
            Self::Skew => "skew of second line",
            Self::DropoutRate => "dropout rate",
            Self::LimpTrips => "limp-home trips",
            Self::ReturnRest => "left open after release",
            Self::ReturnTorque => "return torque over friction",
            Self::RestPosition => "rest position",
            Self::RestRepeatability => "repeatability of rest",
            Self::ClosedStop => "closed stop",
            Self::OpenStop => "open stop",
            Self::LatencyP50 => "latency, median",
            Self::LatencyP90 => "latency, 90th percentile",
            Self::LatencyP99 => "latency, 99th percentile",
            Self::LatencyMax => "latency, longest",
            Self::RiseTime => "rise time",
            Self::Overshoot => "overshoot",
            Self::Settling => "settling time",
            Self::ReturnTime => "return time",
            Self::Lash => "lash at rest",
            Self::LashByPush => "lash by push",
            Self::LostMotion => "lost motion, worst",
            Self::PreloadMain => "preload, main spring",
            Self::PreloadDefault => "preload, default spring",
            Self::StiffnessMain => "stiffness, main spring",
            Self::Friction => "friction",
            Self::Sticking => "sticking near closed stop",
            Self::ReturnMargin => "return margin, weakest place",
            Self::WindingResistance => "winding resistance",
            Self::BackEmfConstant => "back-EMF constant",
            Self::TrackingError => "tracking error",
            Self::FollowLatencyP50 => "grip to plate, median",
            Self::FollowLatencyP95 => "grip to plate, 95th percentile",
            Self::FollowLag => "lag behind the grip",
            Self::FollowDeviation => "deviation from the grip",
            Self::PlateTrips => "limp-home trips by the plate",
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
            Self::CorrelationWorst
            | Self::CorrelationOffset
            | Self::CorrelationSlope
            | Self::CorrelationMomentary => Unit::PercentSupply,
            Self::Hysteresis
            | Self::DeadBandClosed
            | Self::DeadBandOpen
            | Self::RestPosition
            | Self::RestRepeatability
            | Self::ReturnRest
            | Self::ClosedStop
            | Self::OpenStop
            | Self::Lash
            | Self::LashByPush
            | Self::LostMotion
            | Self::TrackingError
            | Self::FollowDeviation => Unit::Degree,
            Self::Noise => Unit::MillivoltAtFive,
            Self::Skew | Self::LatencyP50 | Self::LatencyP90 | Self::LatencyP99 | Self::LatencyMax => {
                Unit::Microsecond
            }
            Self::DropoutRate => Unit::PerMinute,
            Self::LimpTrips | Self::PlateTrips => Unit::Count,
            Self::RiseTime
            | Self::Settling
            | Self::ReturnTime
            | Self::FollowLatencyP50
            | Self::FollowLatencyP95
            | Self::FollowLag => Unit::Millisecond,
            Self::Overshoot | Self::ReturnTorque | Self::ReturnMargin => Unit::Percent,
            Self::PreloadMain | Self::PreloadDefault | Self::Friction | Self::Sticking => Unit::NewtonMetre,
            Self::StiffnessMain => Unit::NewtonMetrePerRadian,
            Self::WindingResistance => Unit::Ohm,
            Self::BackEmfConstant => Unit::VoltSecondPerRadian,
        }
    }

    /// Whether its sign counts. Every figure stands here: a new one must decide.
    pub const fn sign(self) -> Sign {
        match self {
            // Against the rig's ground; a dead line may read a little below it.
            Self::ClosedVolts | Self::OpenVolts => Sign::Counts,
            Self::Span => Sign::NeverNegative,
            // Largest magnitudes of a deviation.
            Self::LinearityIndependent | Self::LinearityTerminal | Self::LinearityZeroBased => {
                Sign::NeverNegative
            }
            Self::CorrelationWorst | Self::CorrelationMomentary => Sign::NeverNegative,
            Self::CorrelationOffset | Self::CorrelationSlope => Sign::Counts,
            Self::Hysteresis | Self::Repeatability => Sign::NeverNegative,
            Self::DeadBandClosed | Self::DeadBandOpen => Sign::NeverNegative,
            Self::Noise => Sign::NeverNegative,
            // Which of two lines is late.
            Self::Skew => Sign::Counts,
            Self::DropoutRate | Self::LimpTrips => Sign::NeverNegative,
            // From the closed stop, which gives way a little; and a spring that pushes open.
            Self::ReturnRest | Self::ReturnTorque => Sign::Counts,
            // Places on a scale that begins at the nominal stop.
            Self::RestPosition | Self::ClosedStop | Self::OpenStop => Sign::Counts,
            Self::RestRepeatability => Sign::NeverNegative,
            Self::LatencyP50 | Self::LatencyP90 | Self::LatencyP99 | Self::LatencyMax => Sign::NeverNegative,
            Self::RiseTime | Self::Settling | Self::ReturnTime => Sign::NeverNegative,
            // Below 0: the step was not reached.
            Self::Overshoot => Sign::Counts,
            Self::Lash | Self::LashByPush | Self::LostMotion => Sign::NeverNegative,
            // A spring that pushes the wrong way is none.
            Self::PreloadMain | Self::PreloadDefault | Self::StiffnessMain => Sign::NeverNegative,
            Self::Friction => Sign::NeverNegative,
            // Below 0: friction holds more than the spring pulls.
            Self::ReturnMargin => Sign::Counts,
            // A difference of two frictions.
            Self::Sticking => Sign::Counts,
            Self::WindingResistance | Self::BackEmfConstant => Sign::NeverNegative,
            Self::TrackingError => Sign::NeverNegative,
            Self::FollowLatencyP50 | Self::FollowLatencyP95 => Sign::NeverNegative,
            Self::FollowLag | Self::FollowDeviation => Sign::NeverNegative,
            Self::PlateTrips => Sign::NeverNegative,
        }
    }

    /// Whether each sensor line has its own value (otherwise one value for the pair, or for the whole part).
    pub const fn per_channel(self) -> bool {
        matches!(
            self,
            Self::ClosedVolts
                | Self::OpenVolts
                | Self::Span
                | Self::LinearityIndependent
                | Self::LinearityTerminal
                | Self::LinearityZeroBased
                | Self::Hysteresis
                | Self::Repeatability
                | Self::DeadBandClosed
                | Self::DeadBandOpen
                | Self::Noise
        )
    }

    /// Whether letting a grip go tells it.
    pub const fn is_of_a_release(self) -> bool {
        matches!(self, Self::ReturnRest | Self::ReturnTime | Self::ReturnTorque)
    }

    /// Whether it takes a technician's hand beside the plan: a part that it was not measured on lacks nothing of its plan.
    pub const fn needs_a_hand(self) -> bool {
        matches!(self, Self::LashByPush)
    }

    /// Whether a kind of part has it. A throttle body has a sensor's figures too, for its feedback pair; of a pair
    /// is told how the plate follows the grip.
    pub fn belongs_to(self, kind: PartKind) -> bool {
        match kind {
            PartKind::Grip => self <= Self::LimpTrips || self.is_of_a_release(),
            PartKind::Body => {
                self <= Self::TrackingError && !matches!(self, Self::ReturnRest | Self::ReturnTorque)
            }
            PartKind::Pair => self == Self::LimpTrips || self >= Self::FollowLatencyP50,
        }
    }
}

/// What a figure's sign means when it is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// It counts: the value is judged as it stands, and a limit may be negative.
    Counts,
    /// It can't be negative. A value below 0 by more than its uncertainty shows that what was measured is something else: it is neither
    /// `within` nor `outside`. One that its uncertainty takes back to 0 is judged as it stands.
    NeverNegative,
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
    /// A gear tooth is worn: motion is lost there.
    WornTooth,
    /// A gear tooth is missing: the plate loses the drive there.
    MissingTooth,
    /// The gears have grown too much free travel.
    Lash,
    /// The brushes lose contact over a part of the rotor's turn.
    BrushDeadSpot,
    /// A spring has lost torque.
    WeakSpring,
    /// A spring is broken.
    BrokenSpring,
    /// The plate sticks near the closed stop.
    StickyPlate,
    /// Friction of the drive has grown.
    DryBearing,
    /// Resistance or back-EMF constant of the motor is off.
    Winding,
    /// The plate, or the grip, returns to rest too slowly, or not at all.
    SlowReturn,
    /// The feedback lines disagree by a constant or a slope.
    FeedbackOffset,
    /// A feedback line is lost for moments, above all on impacts.
    FeedbackIntermittent,
    /// What the test rests on was not given, so a part of it says nothing.
    NotTestable,
}

impl FindingKind {
    /// Whether a kind of part can have it. A throttle body can have a sensor's defects too, in its feedback pair.
    pub fn belongs_to(self, kind: PartKind) -> bool {
        kind.has_motor() || self <= Self::NotMoving || self.is_of_a_return()
    }

    /// Whether it says that a grip or plate does not return as it should. Sheets for grips from before grips were let go have no rule for
    /// these; they then decide.
    pub const fn is_of_a_return(self) -> bool {
        matches!(self, Self::WeakSpring | Self::BrokenSpring | Self::SlowReturn)
    }

    /// From its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.name() == name)
    }

    /// Every kind.
    pub const ALL: [Self; 25] = [
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
        Self::WornTooth,
        Self::MissingTooth,
        Self::Lash,
        Self::BrushDeadSpot,
        Self::WeakSpring,
        Self::BrokenSpring,
        Self::StickyPlate,
        Self::DryBearing,
        Self::Winding,
        Self::SlowReturn,
        Self::FeedbackOffset,
        Self::FeedbackIntermittent,
        Self::NotTestable,
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
            Self::WornTooth => "worn tooth",
            Self::MissingTooth => "missing tooth",
            Self::Lash => "too much lash",
            Self::BrushDeadSpot => "dead spot of the brushes",
            Self::WeakSpring => "weak spring",
            Self::BrokenSpring => "broken spring",
            Self::StickyPlate => "plate sticks near the closed stop",
            Self::DryBearing => "dry bearing",
            Self::Winding => "winding off",
            Self::SlowReturn => "slow return",
            Self::FeedbackOffset => "feedback lines disagree",
            Self::FeedbackIntermittent => "feedback lost for moments",
            Self::NotTestable => "not testable",
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
            Self::WornTooth => "worn_tooth",
            Self::MissingTooth => "missing_tooth",
            Self::Lash => "lash",
            Self::BrushDeadSpot => "brush_dead_spot",
            Self::WeakSpring => "weak_spring",
            Self::BrokenSpring => "broken_spring",
            Self::StickyPlate => "sticky_plate",
            Self::DryBearing => "dry_bearing",
            Self::Winding => "winding",
            Self::SlowReturn => "slow_return",
            Self::FeedbackOffset => "feedback_offset",
            Self::FeedbackIntermittent => "feedback_intermittent",
            Self::NotTestable => "not_testable",
        }
    }
}
