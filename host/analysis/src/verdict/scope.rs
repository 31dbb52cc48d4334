//! What a procedure tests: a verdict speaks of that and of nothing else.

use crate::quantity::{FigureName, FindingKind};
use crate::trace::ProcedureKind;
use serde::Deserialize;
use serde::de::IntoDeserializer;

/// What is judged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Scope {
    /// The whole part: every figure with a limit, every kind of finding.
    #[default]
    Part,
    /// What flexing tells: lost contact. `limp_trips` only when the lines' topology is known, because a monitor for another
    /// topology trips on every good part.
    Flex {
        /// Whether limp-home trips may be judged.
        limp_trips: bool,
    },
    /// What supply steps and load steps at rest tell: leads and leakage, and the output at both stops.
    Leads,
    /// What cycling for long tells: the figures of its rounds, and every dropout in them.
    Soak,
    /// What one procedure of a throttle body tells.
    Procedure(ProcedureKind),
    /// Whether rig and part are ready to be tested. No limit of the sheet is looked at.
    Readiness,
}

impl Scope {
    /// The name in outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Part => "part",
            Self::Flex { .. } => "dropouts",
            Self::Leads => "leads",
            Self::Soak => "soak",
            Self::Procedure(procedure) => procedure.name(),
            Self::Readiness => "readiness",
        }
    }

    /// From its name in outcomes; of a flex the wider one, because its name does not tell.
    pub fn from_name(name: &str) -> Option<Self> {
        let procedure = || {
            let of: serde::de::value::StrDeserializer<'_, serde::de::value::Error> = name.into_deserializer();
            ProcedureKind::deserialize(of).ok().map(Self::Procedure)
        };
        [Self::Part, Self::Flex { limp_trips: true }, Self::Leads, Self::Soak, Self::Readiness]
            .into_iter()
            .find(|s| s.name() == name)
            .or_else(procedure)
    }

    /// Whether a figure is judged.
    pub fn judges(self, figure: FigureName) -> bool {
        match self {
            Self::Part => true,
            Self::Flex { limp_trips } => match figure {
                FigureName::DropoutRate => true,
                FigureName::LimpTrips => limp_trips,
                _ => false,
            },
            Self::Leads => {
                matches!(figure, FigureName::ClosedVolts | FigureName::OpenVolts | FigureName::Span)
            }
            Self::Soak => source_of(figure).is_none_or(in_rounds),
            Self::Procedure(procedure) => tells(procedure, figure),
            Self::Readiness => false,
        }
    }

    /// Whether a kind of finding is told and counts.
    pub fn looks_for(self, kind: FindingKind) -> bool {
        match self {
            Self::Part => true,
            Self::Flex { .. } => matches!(kind, FindingKind::Dropout | FindingKind::DeadChannel),
            Self::Leads => matches!(
                kind,
                FindingKind::SupplyLead
                    | FindingKind::GroundLead
                    | FindingKind::SignalLead
                    | FindingKind::Leakage
                    | FindingKind::GainOffset
                    | FindingKind::SwappedChannels
                    | FindingKind::DeadChannel
                    | FindingKind::NotMoving
            ),
            // Teeth, brushes and winding take other strokes than a round has.
            Self::Soak => !matches!(
                kind,
                FindingKind::WornTooth
                    | FindingKind::MissingTooth
                    | FindingKind::BrushDeadSpot
                    | FindingKind::Winding
                    | FindingKind::Lash
            ),
            Self::Procedure(procedure) => shows(procedure, kind),
            Self::Readiness => matches!(kind, FindingKind::DeadChannel | FindingKind::NotMoving),
        }
    }

    /// What a `within` of this scope leaves open; none when nothing is left out.
    pub const fn leaves_open(self) -> Option<&'static str> {
        match self {
            Self::Part => None,
            Self::Flex { .. } => Some(
                "only lost contact was tested: nothing is said of voltages, linearity, correlation or the track; \
                 qualify the part for that",
            ),
            Self::Leads => Some(
                "only the leads, leakage and the output at both stops were tested: nothing is said of the travel between, of \
                 dropouts or of wear; qualify the part for that",
            ),
            Self::Soak => Some(
                "only cycling was done: the leads were not stepped, nothing was flexed; qualify the part for that",
            ),
            Self::Procedure(_) => Some(
                "only this procedure was done: nothing is said of what the others tell; qualify the part for that",
            ),
            Self::Readiness => {
                Some("only rig and mounting were checked: the part itself was not judged; qualify does that")
            }
        }
    }
}

/// Whether the rounds of a body's soak do a procedure.
const fn in_rounds(procedure: ProcedureKind) -> bool {
    matches!(procedure, ProcedureKind::Rest | ProcedureKind::Creep)
}

/// The procedure of a throttle body that a figure comes from; none for the figures of the feedback pair.
pub(super) const fn source_of(figure: FigureName) -> Option<ProcedureKind> {
    use FigureName as F;
    Some(match figure {
        F::RestPosition | F::RestRepeatability | F::ClosedStop | F::OpenStop => ProcedureKind::Rest,
        F::LatencyP50
        | F::LatencyP90
        | F::LatencyP99
        | F::LatencyMax
        | F::RiseTime
        | F::Overshoot
        | F::Settling => ProcedureKind::Step,
        F::ReturnTime | F::ReturnRest | F::ReturnTorque => ProcedureKind::Release,
        F::PreloadMain
        | F::PreloadDefault
        | F::StiffnessMain
        | F::Friction
        | F::Sticking
        | F::ReturnMargin
        | F::TrackingError => ProcedureKind::Creep,
        F::Lash | F::WindingResistance | F::BackEmfConstant => ProcedureKind::Lash,
        F::LostMotion => ProcedureKind::ToothMap,
        F::LashByPush => ProcedureKind::GuidedPush,
        F::FollowLatencyP50 | F::FollowLatencyP95 | F::FollowLag | F::FollowDeviation | F::PlateTrips => {
            ProcedureKind::Follow
        }
        _ => return None,
    })
}

/// Whether a procedure alone tells a figure.
fn tells(procedure: ProcedureKind, figure: FigureName) -> bool {
    use FigureName as F;
    use ProcedureKind as P;
    let also = match procedure {
        P::Rest => matches!(figure, F::ClosedVolts | F::OpenVolts | F::Span),
        P::Creep => matches!(
            figure,
            F::ClosedVolts
                | F::OpenVolts
                | F::Span
                | F::CorrelationWorst
                | F::CorrelationOffset
                | F::CorrelationSlope
                | F::CorrelationMomentary
                | F::Noise
                | F::Skew
                | F::DropoutRate
                | F::LimpTrips
                | F::LinearityIndependent
                | F::Hysteresis
                | F::Repeatability
                | F::DeadBandClosed
                | F::DeadBandOpen
        ),
        P::ToothMap => matches!(figure, F::WindingResistance | F::BackEmfConstant),
        P::Blip | P::BlipBefore | P::BlipAfter => matches!(figure, F::DropoutRate | F::LimpTrips),
        P::Follow => matches!(figure, F::LimpTrips),
        _ => false,
    };
    also || source_of(figure) == Some(procedure)
}

/// Whether a procedure alone can show a kind of finding. What spoils every procedure counts in each, and so does a line that is lost:
/// all of them watch it.
fn shows(procedure: ProcedureKind, kind: FindingKind) -> bool {
    use FindingKind as K;
    use ProcedureKind as P;
    let in_each = [
        K::NotTestable,
        K::NotMoving,
        K::DeadChannel,
        K::SwappedChannels,
        K::Dropout,
        K::FeedbackIntermittent,
    ];
    if in_each.contains(&kind) {
        return true;
    }
    match procedure {
        P::Rest | P::Release => matches!(kind, K::SlowReturn | K::BrokenSpring | K::WeakSpring),
        P::Creep => matches!(
            kind,
            K::WeakSpring
                | K::BrokenSpring
                | K::StickyPlate
                | K::DryBearing
                | K::FeedbackOffset
                | K::FlatSpot
                | K::NoisyTrack
                | K::GainOffset
                | K::CommonNonlinearity
        ),
        P::Lash => matches!(kind, K::Lash | K::Winding),
        P::ToothMap => {
            matches!(kind, K::WornTooth | K::MissingTooth | K::BrushDeadSpot | K::Winding | K::Lash)
        }
        P::GuidedPush => matches!(kind, K::Lash | K::WornTooth),
        _ => false,
    }
}
