//! What a procedure tests: a verdict speaks of that and of nothing else.

use crate::quantity::{FigureName, FindingKind};

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
            Self::Readiness => "readiness",
        }
    }

    /// Whether a figure is judged.
    pub const fn judges(self, figure: FigureName) -> bool {
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
            Self::Readiness => false,
        }
    }

    /// Whether a kind of finding is told and counts.
    pub const fn looks_for(self, kind: FindingKind) -> bool {
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
            Self::Readiness => {
                Some("only rig and mounting were checked: the part itself was not judged; qualify does that")
            }
        }
    }
}
