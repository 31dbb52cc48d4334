//! One part through the whole bench, and whom the program suspects against what was planted.

use crate::{body_class, grip_class};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Duration;
use trackpair::analysis::PartAnalysis;
use trackpair::link::{Link, LinkError};
use trackpair::outcome::{OutcomeInputs, OutcomeSuspect, StoredTrace, build};
use trackpair::quantity::Cause;
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::Trace;
use trackpair::verdict::Judgement;
use trackpair_rig_sim::random::Random;
use trackpair_rig_sim::spec::{PartSpec, Topology};
use trackpair_rig_sim::{Part, RigSpec, SimBoard, SimRig};
use trackpair_tests::bench::run_plan;
use trackpair_tests::body_bench::run_body_plan;

/// What is planted, in a part of either kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// In a grip sensor.
    Grip(grip_class::Class),
    /// In a throttle body.
    Body(body_class::Class),
}

impl Class {
    /// Every class.
    pub fn all() -> Vec<Self> {
        let grips = grip_class::Class::ALL.into_iter().map(Self::Grip);
        grips.chain(body_class::Class::ALL.into_iter().map(Self::Body)).collect()
    }

    /// Kind of part and class.
    pub fn name(self) -> String {
        match self {
            Self::Grip(class) => format!("grip: {}", class.words().0),
            Self::Body(class) => format!("body: {}", class.words().0),
        }
    }

    /// The cause that is right; none for a healthy part.
    pub const fn cause(self) -> Option<Cause> {
        use body_class::Class as B;
        use grip_class::Class as G;
        Some(match self {
            Self::Grip(G::Healthy) | Self::Body(B::Healthy) => return None,
            Self::Grip(G::FlatSpot) => Cause::FlatSpot,
            Self::Grip(G::DropoutLine) => Cause::SignalContact,
            Self::Grip(G::DropoutPlace) => Cause::LiftingWiper,
            Self::Grip(G::DropoutCommon) => Cause::SupplyContact,
            Self::Grip(G::NoisyTrack) => Cause::NoisyTrack,
            Self::Grip(G::SupplyLead) => Cause::SupplyLead,
            Self::Grip(G::GroundLead) => Cause::GroundLead,
            Self::Grip(G::SignalLead) => Cause::SignalLead,
            Self::Grip(G::Leakage) => Cause::Leakage,
            Self::Grip(G::Gain | G::Offset | G::CorrelationShift) => Cause::GainOffset,
            Self::Grip(G::Hysteresis | G::Sticky) => Cause::SensorPlay,
            Self::Grip(G::CommonNonlinearity) => Cause::OffCentre,
            Self::Grip(G::DeadChannel) => Cause::DeadElement,
            Self::Grip(G::Swapped) => Cause::SwappedLines,
            Self::Grip(G::Seized) => Cause::Seized,
            Self::Grip(G::DeadBand) => Cause::DeadBand,
            Self::Body(B::WornTooth | B::WornTeeth | B::ChippedTooth) => Cause::WornTooth,
            Self::Body(B::MissingTooth) => Cause::MissingTooth,
            Self::Body(B::RestTooth) => Cause::RestTooth,
            Self::Body(B::GrownLash) => Cause::GrownLash,
            Self::Body(B::DeadSpot) => Cause::BrushDeadSpot,
            Self::Body(B::WeakSpring) => Cause::WeakMainSpring,
            Self::Body(B::BrokenSpring) => Cause::BrokenMainSpring,
            Self::Body(B::WeakDefaultSpring) => Cause::WeakDefaultSpring,
            Self::Body(B::StickyPlate) => Cause::StickyPlate,
            Self::Body(B::DryBearing) => Cause::DryBearing,
            Self::Body(B::SignalLead) => Cause::SignalLead,
            Self::Body(B::Leak) => Cause::Leakage,
            Self::Body(B::WindingResistance) => Cause::WindingResistance,
            Self::Body(B::ShortedTurns) => Cause::ShortedTurns,
            Self::Body(B::FeedbackOffset) => Cause::GainOffset,
            Self::Body(B::FeedbackDropout) => Cause::SignalContact,
            Self::Body(B::FeedbackCommon) => Cause::SupplyContact,
            Self::Body(B::ImpactDropout) => Cause::ImpactContact,
            Self::Body(B::SupplyLead) => Cause::SupplyLead,
            Self::Body(B::GroundLead) => Cause::GroundLead,
        })
    }
}

/// What came of one part.
#[derive(Clone, Debug)]
pub struct Trial {
    /// Its class.
    pub class: Class,
    /// Seed of part and rig.
    pub seed: u64,
    /// Where in its range the severity lies, 0 to 1.
    pub severity: f64,
    /// What was planted, for a second look.
    pub planted: String,
    /// As the outcome has them; none when the bench itself failed.
    pub suspects: Option<Vec<OutcomeSuspect>>,
}

impl Trial {
    /// The first suspect and those tied with it.
    pub fn first(&self) -> Vec<&str> {
        let first = self.suspects.as_ref().and_then(|s| s.first());
        first.map_or(Vec::new(), |s| {
            std::iter::once(s.cause.as_str()).chain(s.tied_with.iter().map(|cause| cause.as_str())).collect()
        })
    }

    /// Whether the true cause is first or tied with the first; for a healthy part, whether none is suspected.
    pub fn is_right(&self) -> bool {
        match self.class.cause() {
            None => self.suspects.as_ref().is_some_and(Vec::is_empty),
            Some(cause) => self.first().contains(&cause.name()),
        }
    }

    /// Right, and nothing is tied.
    pub fn is_alone(&self) -> bool {
        self.is_right() && self.first().len() <= 1
    }

    /// Problems that were reported.
    pub fn problems(&self) -> u32 {
        self.suspects.iter().flatten().map(|s| s.problem).max().unwrap_or(0)
    }
}

/// The link of a rig in this process.
struct Alone(SimRig);

impl Link for Alone {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.0.write(bytes);
        Ok(())
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        Ok(self.0.read(out, u64::try_from(timeout.as_micros()).unwrap_or(u64::MAX)))
    }

    fn now(&self) -> Duration {
        Duration::from_micros(self.0.now_us())
    }

    fn address(&self) -> &str {
        "sim:study"
    }
}

/// Tries one part of a class.
pub fn run(class: Class, seed: u64, random: &mut Random) -> Trial {
    let (spec, severity) = match class {
        Class::Grip(class) => {
            let drawn = grip_class::draw(class, random);
            (drawn.spec, drawn.severity)
        }
        Class::Body(class) => {
            let drawn = body_class::draw(class, random);
            (PartSpec { faults: drawn.faults, ..PartSpec::healthy_body() }, drawn.severity)
        }
    };
    let planted = format!("{:?} {:?} {:?}", spec.sensor, spec.topology, spec.faults);
    let sheet = match (class, spec.topology) {
        (Class::Body(_), _) => "body",
        (_, Topology::Complementary) => "grip-complementary",
        (_, Topology::HalfSlope) => "grip-half-slope",
        (_, Topology::ParallelOffset) => "grip-parallel-offset",
    };
    let sheet = shipped(sheet).expect("a sheet is shipped for every kind and topology");
    let rig = SimRig::new(SimBoard::new(Part::draw("part", spec, seed), RigSpec::default(), seed));
    let suspects = catch_unwind(AssertUnwindSafe(|| suspects(class, Box::new(Alone(rig)), &sheet))).ok();
    Trial { class, seed, severity, planted, suspects }
}

fn suspects(class: Class, link: Box<dyn Link>, sheet: &PartSheet) -> Vec<OutcomeSuspect> {
    match class {
        Class::Grip(_) => {
            let run = run_plan(link, sheet);
            let (analysis, judgement) = run.judge(sheet);
            let traces: Vec<&Trace> =
                [&run.self_check, &run.sweep, &run.leads].into_iter().flatten().collect();
            told(&analysis, &judgement, sheet, &traces)
        }
        Class::Body(_) => {
            let run = run_body_plan(link, sheet);
            let (analysis, judgement) = run.judge(sheet);
            told(&analysis, &judgement, sheet, &run.traces.iter().collect::<Vec<_>>())
        }
    }
}

/// As the program shows them.
fn told(
    analysis: &PartAnalysis,
    judgement: &Judgement,
    sheet: &PartSheet,
    traces: &[&Trace],
) -> Vec<OutcomeSuspect> {
    let traces: Vec<StoredTrace<'_>> = traces.iter().map(|trace| StoredTrace { trace, file: None }).collect();
    build(OutcomeInputs {
        session: Default::default(),
        analysis,
        judgement,
        sheet,
        topology_shown: None,
        readings: &[],
        doubts: &[],
        traces: &traces,
        judged: "2026-01-01T00:00:00+00:00",
        warnings: &[],
    })
    .suspects
}
