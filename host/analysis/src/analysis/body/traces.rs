//! The traces of one throttle body on one day, each by what was done.

use crate::quantity::ProcedureKind;
use crate::trace::Trace;

/// The traces that there are. Any may be missing: what hangs on it is then named as not testable.
#[derive(Clone, Copy, Debug, Default)]
pub struct BodyTraces<'a> {
    /// Let go, and brought to both stops.
    pub rest: Option<&'a Trace>,
    /// Steps of voltage and setpoint.
    pub step: Option<&'a Trace>,
    /// Let go from several openings.
    pub release: Option<&'a Trace>,
    /// Slow ramps, then coasts.
    pub creep: Option<&'a Trace>,
    /// Swings and coasts at rest.
    pub lash: Option<&'a Trace>,
    /// Strokes from rest.
    pub tooth_map: Option<&'a Trace>,
    /// The short check before the snap openings.
    pub blip_before: Option<&'a Trace>,
    /// Snap openings.
    pub blip: Option<&'a Trace>,
    /// The short check after them.
    pub blip_after: Option<&'a Trace>,
    /// Pushed through the bore.
    pub guided_push: Option<&'a Trace>,
    /// Supply and load steps on the feedback pair.
    pub leads: Option<&'a Trace>,
    /// Feedback wires flexed.
    pub flex: Option<&'a Trace>,
}

impl<'a> BodyTraces<'a> {
    /// Sorts traces by their procedure; of two of a kind the later counts, and one without samples counts as none.
    pub fn sorted(traces: impl IntoIterator<Item = &'a Trace>) -> Self {
        let mut out = Self::default();
        for trace in traces.into_iter().filter(|t| !t.is_empty()) {
            let place = match trace.provenance.procedure {
                ProcedureKind::Rest => &mut out.rest,
                ProcedureKind::Step => &mut out.step,
                ProcedureKind::Release => &mut out.release,
                ProcedureKind::Creep => &mut out.creep,
                ProcedureKind::Lash => &mut out.lash,
                ProcedureKind::ToothMap => &mut out.tooth_map,
                ProcedureKind::BlipBefore => &mut out.blip_before,
                ProcedureKind::Blip => &mut out.blip,
                ProcedureKind::BlipAfter => &mut out.blip_after,
                ProcedureKind::GuidedPush => &mut out.guided_push,
                ProcedureKind::LeadsCheck => &mut out.leads,
                ProcedureKind::Flex => &mut out.flex,
                ProcedureKind::SelfCheck
                | ProcedureKind::Sweep
                | ProcedureKind::HandSweep
                | ProcedureKind::Follow
                | ProcedureKind::Import => continue,
            };
            *place = Some(trace);
        }
        out
    }

    /// Every trace there is.
    pub fn all(&self) -> impl Iterator<Item = &'a Trace> {
        [
            self.rest,
            self.step,
            self.release,
            self.creep,
            self.lash,
            self.tooth_map,
            self.blip_before,
            self.blip,
            self.blip_after,
            self.guided_push,
            self.leads,
            self.flex,
        ]
        .into_iter()
        .flatten()
    }
}
