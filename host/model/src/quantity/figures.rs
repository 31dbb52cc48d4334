//! The figures: every measured quantity of a part, a row each.

use super::methods::*;
use super::procedures::ProcedureKind as P;
use super::table::table;
use super::{PartKind, Unit};

/// What is known of a figure.
#[derive(Clone, Copy, Debug)]
pub struct FigureRow {
    /// Name in sheets and outcomes.
    pub name: &'static str,
    /// Name in the words of the trade.
    pub title: &'static str,
    /// The unit it is always given in.
    pub unit: Unit,
    /// What has a value of its own.
    pub each: Each,
    /// Whether its sign counts.
    pub sign: Sign,
    /// Kinds of part that have it.
    pub parts: &'static [PartKind],
    /// The group that reports show it in; in a group, figures stand in the order of this table.
    pub group: FigureGroup,
    /// The procedure it comes from; none for the figures of the sensor lines, which come from the travel as a whole.
    pub procedure: Option<P>,
    /// Other procedures that give it when they are done alone.
    pub also_from: &'static [P],
    /// Whether it takes a technician's hand beside the plan: a part that it was not measured on lacks nothing of its plan.
    pub by_hand: bool,
    /// Whether its uncertainty narrows with more cycles. The others are a largest of single scans or of single strokes, a place at which a line
    /// begins to move, or depend on how well noise itself is known (`tests/tests/virtual_time/settle.rs` holds this against simulated parts).
    pub averages: bool,
    /// Where its definition comes from and how it is worked out.
    pub method: Method,
}

/// What has a value of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Each {
    /// Each sensor line.
    Line,
    /// The pair of lines, or the whole part.
    Part,
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

/// Figures that are shown together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FigureGroup {
    /// Where the plate rests and stops.
    RestAndStops,
    /// From command to first motion.
    Latency,
    /// The rig's position loop with the part in it.
    PositionLoop,
    /// Return to rest without power.
    Return,
    /// Springs and friction.
    SpringsAndFriction,
    /// The motor.
    Motor,
    /// Lash and teeth.
    LashAndTeeth,
    /// How the plate follows the grip.
    PlateBehindGrip,
    /// The sensor's lines.
    SensorLines,
    /// A grip that is let go.
    SelfClosing,
}

impl FigureGroup {
    /// In the order of a report.
    pub const ALL: [Self; 10] = [
        Self::RestAndStops,
        Self::Latency,
        Self::PositionLoop,
        Self::Return,
        Self::SpringsAndFriction,
        Self::Motor,
        Self::LashAndTeeth,
        Self::PlateBehindGrip,
        Self::SensorLines,
        Self::SelfClosing,
    ];
}

const GRIP: &[PartKind] = &[PartKind::Grip];
const BODY: &[PartKind] = &[PartKind::Body];
/// A throttle body has a sensor's figures too, for its feedback pair.
const BOTH: &[PartKind] = &[PartKind::Grip, PartKind::Body];
/// Of a pair it is measured how the plate follows the grip.
const PAIR: &[PartKind] = &[PartKind::Pair];
const ALL_KINDS: &[PartKind] = &PartKind::ALL;

table! {
/// One measured quantity of a part.
pub enum FigureName of FigureRow {
    /// Voltage at the closed stop, at 5 V supply.
    ClosedVolts = {
        name: "closed_volts", title: "voltage at closed stop", unit: Unit::VoltAtFive, each: Each::Line,
        // Against the rig's ground; a dead line may read a little below it.
        sign: Sign::Counts, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::LeadsCheck, P::Rest, P::Creep],
        by_hand: false, averages: true, method: ENDS,
    }

    /// Voltage wide open, at 5 V supply.
    OpenVolts = {
        name: "open_volts", title: "voltage wide open", unit: Unit::VoltAtFive, each: Each::Line,
        // Against the rig's ground; a dead line may read a little below it.
        sign: Sign::Counts, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::LeadsCheck, P::Rest, P::Creep],
        by_hand: false, averages: true, method: ENDS,
    }

    /// Open minus closed voltage, magnitude, at 5 V supply.
    Span = {
        name: "span", title: "span", unit: Unit::VoltAtFive, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::LeadsCheck, P::Rest, P::Creep],
        by_hand: false, averages: true, method: SPAN,
    }

    /// Largest deviation of the up/down average from the line that makes it smallest.
    LinearityIndependent = {
        name: "linearity_independent", title: "linearity, independent", unit: Unit::PercentSpan, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: true, method: LINEARITY_INDEPENDENT,
    }

    /// Largest deviation of the up/down average from the line through both ends of travel.
    LinearityTerminal = {
        name: "linearity_terminal", title: "linearity, terminal", unit: Unit::PercentSpan, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[],
        by_hand: false, averages: true, method: LINEARITY_OF_ENDS,
    }

    /// Largest deviation of the up/down average from the best line through the closed end.
    LinearityZeroBased = {
        name: "linearity_zero_based", title: "linearity, zero-based", unit: Unit::PercentSpan, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[],
        by_hand: false, averages: true, method: LINEARITY_OF_ENDS,
    }

    /// Largest correlation residual between the channels.
    CorrelationWorst = {
        name: "correlation_worst", title: "correlation, worst", unit: Unit::PercentSupply, each: Each::Part,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: true, method: CORRELATION,
    }

    /// Mean correlation residual over the travel.
    CorrelationOffset = {
        name: "correlation_offset", title: "correlation, offset", unit: Unit::PercentSupply, each: Each::Part,
        sign: Sign::Counts, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: true, method: CORRELATION,
    }

    /// Change of the correlation residual over the travel (straight-line part, end to end).
    CorrelationSlope = {
        name: "correlation_slope", title: "correlation, slope", unit: Unit::PercentSupply, each: Each::Part,
        sign: Sign::Counts, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: true, method: CORRELATION,
    }

    /// Largest correlation residual of any single scan, what noise alone makes of it taken off.
    CorrelationMomentary = {
        name: "correlation_momentary", title: "correlation, worst scan", unit: Unit::PercentSupply, each: Each::Part,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: false, method: CORRELATION_OF_SCANS,
    }

    /// Largest up/down difference at one angle.
    Hysteresis = {
        name: "hysteresis", title: "hysteresis", unit: Unit::Degree, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: true, method: HYSTERESIS,
    }

    /// Largest spread at one angle among cycles of one direction.
    Repeatability = {
        name: "repeatability", title: "repeatability", unit: Unit::PercentSpan, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: false, method: REPEATABILITY,
    }

    /// Travel at the closed stop without change of output.
    DeadBandClosed = {
        name: "dead_band_closed", title: "dead band, closed stop", unit: Unit::Degree, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: false, method: DEAD_BAND,
    }

    /// Travel at the open stop without change of output.
    DeadBandOpen = {
        name: "dead_band_open", title: "dead band, wide open", unit: Unit::Degree, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: false, method: DEAD_BAND,
    }

    /// Random noise, one standard deviation.
    Noise = {
        name: "noise", title: "noise", unit: Unit::MillivoltAtFive, each: Each::Line,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: false, method: NOISE,
    }

    /// Time the second channel lags the first.
    Skew = {
        name: "skew", title: "skew of second line", unit: Unit::Microsecond, each: Each::Part,
        // Which of two lines is late.
        sign: Sign::Counts, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Creep],
        by_hand: false, averages: false, method: SKEW,
    }

    /// Dropout events per minute.
    DropoutRate = {
        name: "dropout_rate", title: "dropout rate", unit: Unit::PerMinute, each: Each::Part,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Flex, P::Creep, P::Blip, P::BlipBefore, P::BlipAfter],
        by_hand: false, averages: true, method: DROPOUTS,
    }

    /// Trips a plausibility monitor would have raised.
    LimpTrips = {
        name: "limp_trips", title: "limp-home trips", unit: Unit::Count, each: Each::Part,
        sign: Sign::NeverNegative, parts: ALL_KINDS, group: FigureGroup::SensorLines,
        procedure: None, also_from: &[P::Flex, P::Creep, P::Blip, P::BlipBefore, P::BlipAfter, P::Follow],
        by_hand: false, averages: true, method: TRIPS,
    }

    /// How far a grip stays open once it is let go.
    ReturnRest = {
        name: "return_rest", title: "left open after release", unit: Unit::Degree, each: Each::Part,
        // From the closed stop, which gives way a little.
        sign: Sign::Counts, parts: GRIP, group: FigureGroup::SelfClosing,
        procedure: Some(P::Release), also_from: &[],
        by_hand: false, averages: true, method: RELEASES,
    }

    /// Pull of a grip's return spring over all friction, where it is least.
    ReturnTorque = {
        name: "return_torque", title: "return torque over friction", unit: Unit::Percent, each: Each::Part,
        // A spring may push open.
        sign: Sign::Counts, parts: GRIP, group: FigureGroup::SelfClosing,
        procedure: Some(P::Release), also_from: &[],
        by_hand: false, averages: true, method: RELEASES,
    }

    /// Angle at which the plate rests without power.
    RestPosition = {
        name: "rest_position", title: "rest position", unit: Unit::Degree, each: Each::Part,
        // On a scale that begins at the nominal stop.
        sign: Sign::Counts, parts: BODY, group: FigureGroup::RestAndStops,
        procedure: Some(P::Rest), also_from: &[],
        by_hand: false, averages: true, method: RESTS,
    }

    /// Spread of the rest position over many returns, from above and from below.
    RestRepeatability = {
        name: "rest_repeatability", title: "repeatability of rest", unit: Unit::Degree, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::RestAndStops,
        procedure: Some(P::Rest), also_from: &[],
        by_hand: false, averages: true, method: RESTS,
    }

    /// Closed stop on the nominal scale of the first feedback line.
    ClosedStop = {
        name: "closed_stop", title: "closed stop", unit: Unit::Degree, each: Each::Part,
        // On a scale that begins at the nominal stop.
        sign: Sign::Counts, parts: BODY, group: FigureGroup::RestAndStops,
        procedure: Some(P::Rest), also_from: &[],
        by_hand: false, averages: true, method: RESTS,
    }

    /// Open stop on the nominal scale of the first feedback line.
    OpenStop = {
        name: "open_stop", title: "open stop", unit: Unit::Degree, each: Each::Part,
        // On a scale that begins at the nominal stop.
        sign: Sign::Counts, parts: BODY, group: FigureGroup::RestAndStops,
        procedure: Some(P::Rest), also_from: &[],
        by_hand: false, averages: true, method: RESTS,
    }

    /// Command to first motion, median.
    LatencyP50 = {
        name: "latency_p50", title: "latency, median", unit: Unit::Microsecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::Latency,
        procedure: Some(P::Step), also_from: &[],
        by_hand: false, averages: true, method: ONSETS,
    }

    /// Command to first motion, 90th percentile.
    LatencyP90 = {
        name: "latency_p90", title: "latency, 90th percentile", unit: Unit::Microsecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::Latency,
        procedure: Some(P::Step), also_from: &[],
        by_hand: false, averages: true, method: ONSETS,
    }

    /// Command to first motion, 99th percentile.
    LatencyP99 = {
        name: "latency_p99", title: "latency, 99th percentile", unit: Unit::Microsecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::Latency,
        procedure: Some(P::Step), also_from: &[],
        by_hand: false, averages: true, method: ONSETS,
    }

    /// Command to first motion, longest seen.
    LatencyMax = {
        name: "latency_max", title: "latency, longest", unit: Unit::Microsecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::Latency,
        procedure: Some(P::Step), also_from: &[],
        by_hand: false, averages: true, method: ONSETS,
    }

    /// 10 to 90 % of a closed-loop step.
    RiseTime = {
        name: "rise_time", title: "rise time", unit: Unit::Millisecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::PositionLoop,
        procedure: Some(P::Step), also_from: &[],
        by_hand: false, averages: true, method: STEPS,
    }

    /// Overshoot of a closed-loop step, per cent of the step.
    Overshoot = {
        name: "overshoot", title: "overshoot", unit: Unit::Percent, each: Each::Part,
        // Below 0: the step was not reached.
        sign: Sign::Counts, parts: BODY, group: FigureGroup::PositionLoop,
        procedure: Some(P::Step), also_from: &[],
        by_hand: false, averages: true, method: STEPS,
    }

    /// Until a closed-loop step stays near its end.
    Settling = {
        name: "settling", title: "settling time", unit: Unit::Millisecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::PositionLoop,
        procedure: Some(P::Step), also_from: &[],
        by_hand: false, averages: true, method: STEPS,
    }

    /// Time from power off until the plate stays within 1 deg of rest, or a grip within 1 deg of its closed stop.
    ReturnTime = {
        name: "return_time", title: "return time", unit: Unit::Millisecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: BOTH, group: FigureGroup::Return,
        procedure: Some(P::Release), also_from: &[],
        by_hand: false, averages: true, method: RELEASES,
    }

    /// Free travel of the gears at the rest position, at the plate.
    Lash = {
        name: "lash", title: "lash at rest", unit: Unit::Degree, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::LashAndTeeth,
        procedure: Some(P::Lash), also_from: &[],
        by_hand: false, averages: true, method: LASH,
    }

    /// Free travel of the gears at a place of the travel, by a probe through the bore, at the plate.
    LashByPush = {
        name: "lash_by_push", title: "lash by push", unit: Unit::Degree, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::LashAndTeeth,
        procedure: Some(P::GuidedPush), also_from: &[],
        by_hand: true, averages: true, method: LASH,
    }

    /// Largest local loss of motion between motor and plate along the travel.
    LostMotion = {
        name: "lost_motion", title: "lost motion, worst", unit: Unit::Degree, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::LashAndTeeth,
        procedure: Some(P::ToothMap), also_from: &[],
        by_hand: false, averages: true, method: TOOTH_MAP,
    }

    /// Torque of the main (closing) spring just above rest.
    PreloadMain = {
        name: "preload_main", title: "preload, main spring", unit: Unit::NewtonMetre, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::SpringsAndFriction,
        procedure: Some(P::Creep), also_from: &[],
        by_hand: false, averages: true, method: RAMPS,
    }

    /// Torque of the default (opening) spring just below rest.
    PreloadDefault = {
        name: "preload_default", title: "preload, default spring", unit: Unit::NewtonMetre, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::SpringsAndFriction,
        procedure: Some(P::Creep), also_from: &[],
        by_hand: false, averages: true, method: RAMPS,
    }

    /// Rise of the main spring's torque with the angle.
    StiffnessMain = {
        name: "stiffness_main", title: "stiffness, main spring", unit: Unit::NewtonMetrePerRadian, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::SpringsAndFriction,
        procedure: Some(P::Creep), also_from: &[],
        by_hand: false, averages: true, method: RAMPS,
    }

    /// Coulomb friction of the whole drive, at the plate.
    Friction = {
        name: "friction", title: "friction", unit: Unit::NewtonMetre, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::SpringsAndFriction,
        procedure: Some(P::Creep), also_from: &[],
        by_hand: false, averages: true, method: RAMPS,
    }

    /// Friction near the closed stop beyond that of the travel.
    Sticking = {
        name: "sticking", title: "sticking near closed stop", unit: Unit::NewtonMetre, each: Each::Part,
        // A difference of two frictions.
        sign: Sign::Counts, parts: BODY, group: FigureGroup::SpringsAndFriction,
        procedure: Some(P::Creep), also_from: &[],
        by_hand: false, averages: true, method: RAMPS,
    }

    /// What the springs pull with beyond friction at their weakest place of the travel, per cent of friction; below 0 the plate stays.
    ReturnMargin = {
        name: "return_margin", title: "return margin, weakest place", unit: Unit::Percent, each: Each::Part,
        // Below 0: friction holds more than the spring pulls.
        sign: Sign::Counts, parts: BODY, group: FigureGroup::SpringsAndFriction,
        procedure: Some(P::Creep), also_from: &[],
        by_hand: false, averages: true, method: RAMPS,
    }

    /// Resistance of winding, brushes and leads at the plug.
    WindingResistance = {
        name: "winding_resistance", title: "winding resistance", unit: Unit::Ohm, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::Motor,
        procedure: Some(P::Lash), also_from: &[P::ToothMap],
        by_hand: false, averages: true, method: MOTOR,
    }

    /// Back-EMF per speed of the plate; the same number is torque per current.
    BackEmfConstant = {
        name: "back_emf_constant", title: "back-EMF constant", unit: Unit::VoltSecondPerRadian, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::Motor,
        procedure: Some(P::Lash), also_from: &[P::ToothMap],
        by_hand: false, averages: true, method: MOTOR,
    }

    /// Largest deviation from the setpoint during slow ramps.
    TrackingError = {
        name: "tracking_error", title: "tracking error", unit: Unit::Degree, each: Each::Part,
        sign: Sign::NeverNegative, parts: BODY, group: FigureGroup::PositionLoop,
        procedure: Some(P::Creep), also_from: &[],
        by_hand: false, averages: true, method: STEPS,
    }

    /// Grip to plate: half-way of a step to half-way, median.
    FollowLatencyP50 = {
        name: "follow_latency_p50", title: "grip to plate, median", unit: Unit::Millisecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: PAIR, group: FigureGroup::PlateBehindGrip,
        procedure: Some(P::Follow), also_from: &[],
        by_hand: false, averages: true, method: FOLLOWING,
    }

    /// Grip to plate: half-way of a step to half-way, 95th percentile.
    FollowLatencyP95 = {
        name: "follow_latency_p95", title: "grip to plate, 95th percentile", unit: Unit::Millisecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: PAIR, group: FigureGroup::PlateBehindGrip,
        procedure: Some(P::Follow), also_from: &[],
        by_hand: false, averages: true, method: FOLLOWING,
    }

    /// Time by which the plate follows a turning grip.
    FollowLag = {
        name: "follow_lag", title: "lag behind the grip", unit: Unit::Millisecond, each: Each::Part,
        sign: Sign::NeverNegative, parts: PAIR, group: FigureGroup::PlateBehindGrip,
        procedure: Some(P::Follow), also_from: &[],
        by_hand: false, averages: true, method: FOLLOWING,
    }

    /// Largest deviation of the plate from what a turning grip asks for.
    FollowDeviation = {
        name: "follow_deviation", title: "deviation from the grip", unit: Unit::Degree, each: Each::Part,
        sign: Sign::NeverNegative, parts: PAIR, group: FigureGroup::PlateBehindGrip,
        procedure: Some(P::Follow), also_from: &[],
        by_hand: false, averages: true, method: FOLLOWING,
    }

    /// Trips that a monitor of the plate's lines would have raised.
    PlateTrips = {
        name: "plate_trips", title: "limp-home trips by the plate", unit: Unit::Count, each: Each::Part,
        sign: Sign::NeverNegative, parts: PAIR, group: FigureGroup::PlateBehindGrip,
        procedure: Some(P::Follow), also_from: &[],
        by_hand: false, averages: true, method: TRIPS,
    }
}
}

impl FigureName {
    /// The unit it is always given in.
    pub const fn unit(self) -> Unit {
        self.row().unit
    }

    /// Whether its sign counts.
    pub const fn sign(self) -> Sign {
        self.row().sign
    }

    /// Whether each sensor line has its own value (otherwise one value for the pair, or for the whole part).
    pub const fn per_channel(self) -> bool {
        matches!(self.row().each, Each::Line)
    }

    /// Whether letting a grip go gives it.
    pub fn is_of_a_release(self) -> bool {
        self.row().procedure == Some(P::Release)
    }

    /// Whether it takes a technician's hand beside the plan.
    pub const fn needs_a_hand(self) -> bool {
        self.row().by_hand
    }

    /// Whether a kind of part has it.
    pub fn belongs_to(self, kind: PartKind) -> bool {
        self.row().parts.contains(&kind)
    }

    /// Whether a procedure that is done alone gives it.
    pub fn comes_from(self, procedure: P) -> bool {
        self.row().procedure == Some(procedure) || self.row().also_from.contains(&procedure)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_figure_has_a_name_and_a_title_of_its_own_and_some_part_has_it() {
        for (k, figure) in FigureName::ALL.into_iter().enumerate() {
            assert_eq!(FigureName::from_name(figure.name()), Some(figure));
            assert_eq!(serde_json::to_value(figure).unwrap(), figure.name());
            let others = || FigureName::ALL[..k].iter();
            assert!(others().all(|o| o.name() != figure.name() && o.title() != figure.title()), "{figure:?}");
            assert!(!figure.row().parts.is_empty(), "{figure:?}");
        }
    }
}
