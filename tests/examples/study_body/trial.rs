//! One body through the whole bench, and what came of it against what was planted. The simulator's truth is used here alone.

use crate::class::{Class, Drawn};
use crate::truth;
use serde::Serialize;
use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::rc::Rc;
use std::time::Duration;
use trackpair::link::{Link, LinkError};
use trackpair::quantity::{FigureName, ProcedureKind};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::Trace;
use trackpair::verdict::Verdict;
use trackpair_rig_sim::clamped::Clamped;
use trackpair_rig_sim::departures::Departure;
use trackpair_rig_sim::spec::PartSpec;
use trackpair_rig_sim::{Part, RigSpec, SimBoard, SimRig};
use trackpair_tests::body_bench::run_body_plan;

/// A part file of this name draws the same part: `sim:part.toml?seed=N`.
pub const PART_NAME: &str = "part";

/// A simulated rig that can still be asked when the bench is done.
struct Shared(Rc<RefCell<SimRig>>);

impl Link for Shared {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.0.borrow_mut().write(bytes);
        Ok(())
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        Ok(self.0.borrow_mut().read(out, u64::try_from(timeout.as_micros()).unwrap_or(u64::MAX)))
    }

    fn now(&self) -> Duration {
        Duration::from_micros(self.0.borrow().now_us())
    }

    fn address(&self) -> &str {
        "sim:study"
    }
}

/// A finding as reported.
#[derive(Clone, Debug, Serialize)]
pub struct Told {
    pub kind: &'static str,
    pub from_deg: Option<f64>,
    pub to_deg: Option<f64>,
    pub confidence: f64,
    pub text: String,
}

/// A figure against its truth.
#[derive(Clone, Debug, Serialize)]
pub struct Error {
    /// Name and condition.
    pub figure: String,
    /// Measured less true, the figure's unit.
    pub error: f64,
    /// Expanded uncertainty, k = 2.
    pub expanded: f64,
}

/// What came of one body.
#[derive(Clone, Debug, Serialize)]
pub struct Trial {
    pub index: u64,
    pub seed: u64,
    pub class: Class,
    pub nominal: bool,
    pub severity: f64,
    pub amount: f64,
    pub centre_deg: Option<f64>,
    /// The part file.
    pub part: String,
    /// None when the bench itself failed.
    pub verdict: Option<Verdict>,
    pub failure: Option<String>,
    pub findings: Vec<Told>,
    /// Figures outside their limits.
    pub outside: Vec<String>,
    pub reasons: Vec<String>,
    /// The right answer first.
    pub right_first: bool,
    /// A worn or missing tooth was reported.
    pub tooth_told: bool,
    /// Told centre of the nearest tooth defect less the true one, degrees.
    pub centre_error: Option<f64>,
    pub errors: Vec<Error>,
}

impl Trial {
    /// What stands first: the first finding's kind, else `figures` when one is outside, else the verdict.
    pub fn first(&self) -> &'static str {
        match (self.findings.first(), self.verdict) {
            (Some(told), _) => told.kind,
            (None, None) => "bench failed",
            (None, Some(Verdict::Outside)) => "figures outside",
            (None, Some(Verdict::Within)) => "within",
            (None, Some(Verdict::Undecided)) => "undecided",
        }
    }
}

/// Tries one body.
pub fn run(index: u64, seed: u64, drawn: &Drawn) -> Trial {
    let spec = PartSpec { faults: drawn.faults.clone(), ..PartSpec::healthy_body() };
    let mut trial = Trial {
        index,
        seed,
        class: drawn.class,
        nominal: drawn.nominal(),
        severity: drawn.severity,
        amount: drawn.amount,
        centre_deg: drawn.centre_deg,
        part: toml::to_string(&spec).unwrap_or_default(),
        verdict: None,
        failure: None,
        findings: Vec::new(),
        outside: Vec::new(),
        reasons: Vec::new(),
        right_first: false,
        tooth_told: false,
        centre_error: None,
        errors: Vec::new(),
    };
    let sheet = shipped("body").expect("a sheet for bodies is shipped");
    let part = Part::draw(PART_NAME, spec, seed);
    let rig = Rc::new(RefCell::new(SimRig::new(SimBoard::new(part, RigSpec::default(), seed))));
    let link = Box::new(Shared(Rc::clone(&rig)));
    let done = catch_unwind(AssertUnwindSafe(|| {
        let run = run_body_plan(link, &sheet);
        let judged = run.judge(&sheet);
        (run, judged)
    }));
    match done {
        Ok((run, (analysis, judgement))) => {
            trial.failure.clone_from(&run.failure);
            trial.verdict = Some(judgement.overall);
            trial.reasons.clone_from(&judgement.reasons);
            trial.findings = analysis
                .findings
                .iter()
                .map(|f| Told {
                    kind: f.kind.name(),
                    from_deg: f.from_deg,
                    to_deg: f.to_deg,
                    confidence: f.confidence,
                    text: f.text.clone(),
                })
                .collect();
            let outside = |name: FigureName| {
                judgement.figures.iter().any(|f| f.figure.name == name && f.verdict == Some(Verdict::Outside))
            };
            trial.outside =
                FigureName::ALL.into_iter().filter(|n| outside(*n)).map(|n| n.name().to_owned()).collect();
            trial.errors = errors(&rig.borrow(), &run.traces, &analysis.figures, &sheet);
        }
        Err(panic) => {
            let words = panic.downcast_ref::<String>().cloned();
            trial.failure = Some(words.unwrap_or_else(|| "the bench panicked".to_owned()));
        }
    }
    score(&mut trial, drawn);
    trial
}

fn score(trial: &mut Trial, drawn: &Drawn) {
    let kinds: Vec<&str> = drawn.class.right().iter().map(|k| k.name()).collect();
    trial.right_first = match trial.findings.first() {
        None => drawn.class == Class::Healthy && trial.verdict.is_some(),
        Some(first) => kinds.contains(&first.kind),
    };
    let teeth: Vec<&Told> =
        trial.findings.iter().filter(|f| matches!(f.kind, "worn_tooth" | "missing_tooth")).collect();
    trial.tooth_told = !teeth.is_empty();
    if let Some(centre) = drawn.centre_deg {
        let middles = teeth.iter().filter_map(|f| Some(0.5 * (f.from_deg? + f.to_deg?) - centre));
        // The surest is reported first.
        trial.centre_error = middles.into_iter().next();
    }
}

fn errors(
    rig: &SimRig,
    traces: &[Trace],
    figures: &[trackpair::analysis::Figure],
    sheet: &PartSheet,
) -> Vec<Error> {
    let truth = rig.board().truth();
    let (Some(body), Some(plan)) = (truth.part.body, sheet.body.as_ref()) else { return Vec::new() };
    let departures: Vec<Departure> = match rig.board().plant().clamped() {
        Clamped::Body(mount) => mount.departures().seen().iter().copied().collect(),
        Clamped::Grip(_) => Vec::new(),
    };
    let steps = traces.iter().find(|t| t.provenance.procedure == ProcedureKind::Step);
    let (from, to) = steps
        .and_then(|t| Some((*t.time_us.first()? as f64, *t.time_us.last()? as f64)))
        .unwrap_or((0.0, 0.0));
    let stepped: Vec<Departure> =
        departures.into_iter().filter(|d| (from..=to).contains(&d.jump_us)).collect();
    let of = |t: truth::True| {
        let found = figures.iter().find(|f| f.name == t.name && f.condition == t.condition)?;
        let words = t.condition.words();
        Some(Error {
            figure: format!("{}{}{words}", t.name.name(), if words.is_empty() { "" } else { " " }),
            error: found.value - t.value,
            expanded: 2.0 * found.standard_uncertainty(),
        })
    };
    truth::figures(&body, &stepped, plan).into_iter().filter_map(of).collect()
}
