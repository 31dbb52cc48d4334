//! What a procedure tests: a verdict speaks of that and of nothing else.

use crate::quantity::{FigureName, FindingKind, ProcedureKind};

/// What is judged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Scope {
    /// The whole part: every figure with a limit, every kind of finding.
    #[default]
    Part,
    /// What flexing shows: lost contact. `limp_trips` only when the lines' topology is known, because a monitor for another
    /// topology trips on every good part.
    Flex {
        /// Whether limp-home trips may be judged.
        limp_trips: bool,
    },
    /// What supply steps and load steps at rest show: leads and leakage, and the output at both stops.
    Leads,
    /// What cycling for long shows: the figures of its rounds, and every dropout in them.
    Soak,
    /// What one procedure of a throttle body shows.
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

    /// From its name in outcomes; of a flex the wider one, because its name does not say which.
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Part, Self::Flex { limp_trips: true }, Self::Leads, Self::Soak, Self::Readiness]
            .into_iter()
            .find(|s| s.name() == name)
            .or_else(|| ProcedureKind::from_name(name).map(Self::Procedure))
    }

    /// Whether a figure is judged.
    pub fn judges(self, figure: FigureName) -> bool {
        match self {
            Self::Part => true,
            Self::Flex { limp_trips } => {
                figure.comes_from(ProcedureKind::Flex) && (limp_trips || figure != FigureName::LimpTrips)
            }
            Self::Leads => figure.comes_from(ProcedureKind::LeadsCheck),
            Self::Soak => figure.row().procedure.is_none_or(|p| p.row().in_rounds),
            Self::Procedure(procedure) => figure.comes_from(procedure),
            Self::Readiness => false,
        }
    }

    /// Whether a kind of finding is reported and counts. What spoils every procedure counts in each, and so does a line that is lost: all of
    /// them watch it.
    pub fn looks_for(self, kind: FindingKind) -> bool {
        let shown_by = |procedure| kind.row().shown_by.contains(&procedure);
        match self {
            Self::Part => true,
            Self::Flex { .. } => shown_by(ProcedureKind::Flex),
            Self::Leads => shown_by(ProcedureKind::LeadsCheck),
            Self::Soak => kind.row().in_rounds,
            Self::Procedure(procedure) => kind.row().in_every || shown_by(procedure),
            Self::Readiness => shown_by(ProcedureKind::SelfCheck),
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

impl crate::quantity::Name for Scope {
    const ALL: &'static [Self] = &[
        Self::Part,
        Self::Flex { limp_trips: true },
        Self::Leads,
        Self::Soak,
        Self::Readiness,
        Self::Procedure(ProcedureKind::Rest),
        Self::Procedure(ProcedureKind::Step),
        Self::Procedure(ProcedureKind::Release),
        Self::Procedure(ProcedureKind::Creep),
        Self::Procedure(ProcedureKind::Lash),
        Self::Procedure(ProcedureKind::ToothMap),
        Self::Procedure(ProcedureKind::BlipBefore),
        Self::Procedure(ProcedureKind::Blip),
        Self::Procedure(ProcedureKind::BlipAfter),
        Self::Procedure(ProcedureKind::GuidedPush),
        Self::Procedure(ProcedureKind::Follow),
    ];

    fn name(self) -> &'static str {
        Self::name(self)
    }

    fn from_name(name: &str) -> Option<Self> {
        Self::from_name(name)
    }
}
