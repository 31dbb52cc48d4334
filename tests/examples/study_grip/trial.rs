//! One part through the whole bench, and what came of it against what was planted. The simulator's truth is used here alone.

use crate::class::{Class, Drawn, Right};
use crate::truth::{self, Rest, True};
use serde::Serialize;
use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::rc::Rc;
use std::time::Duration;
use trackpair::analysis::PartAnalysis;
use trackpair::analysis::statistics::median;
use trackpair::link::{Link, LinkError};
use trackpair::quantity::{Channel, FigureName};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::verdict::{Judgement, Verdict};
use trackpair_rig_sim::dropout::Outage;
use trackpair_rig_sim::fault::{Channel as At, Fault, Lead};
use trackpair_rig_sim::spec::{PartSpec, Topology};
use trackpair_rig_sim::{Part, RigSpec, SimBoard, SimRig};
use trackpair_tests::bench::run_plan;

/// A part file of this name draws the same part: `sim:part.toml?seed=N`.
pub const PART_NAME: &str = "part";

/// What moves no faster stands, degrees per second: a drive takes a third of a second to press a grip onto its stop.
const STANDS_DEG_S: f64 = 0.01;

/// A simulated rig that can still be asked for its outages when the bench is done, and remembers where the grip stood.
struct Shared {
    rig: Rc<RefCell<SimRig>>,
    /// Rig's clock, µs, and where the grip stood, at each read.
    stood: Rc<RefCell<Vec<(u64, Rest)>>>,
}

impl Link for Shared {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.rig.borrow_mut().write(bytes);
        Ok(())
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        let mut rig = self.rig.borrow_mut();
        let n = rig.read(out, u64::try_from(timeout.as_micros()).unwrap_or(u64::MAX));
        let plant = rig.board().plant();
        let rest = Rest { deg: plant.clamped().angle_deg(), seen: plant.seen_deg() };
        self.stood.borrow_mut().push((rig.now_us(), rest));
        Ok(n)
    }

    fn now(&self) -> Duration {
        Duration::from_micros(self.rig.borrow().now_us())
    }

    fn address(&self) -> &str {
        "sim:study"
    }
}

/// A finding as reported.
#[derive(Clone, Debug, Serialize)]
pub struct Told {
    pub kind: &'static str,
    pub channel: Option<&'static str>,
    pub from_deg: Option<f64>,
    pub to_deg: Option<f64>,
    pub confidence: f64,
    pub text: String,
}

/// A figure against its truth.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Error {
    pub figure: &'static str,
    pub line: Option<usize>,
    /// Measured less true, the figure's unit.
    pub error: f64,
    /// Expanded uncertainty, k = 2.
    pub expanded: f64,
}

/// What came of one part.
#[derive(Clone, Debug, Serialize)]
pub struct Trial {
    pub index: u64,
    pub seed: u64,
    pub class: Class,
    pub hall: bool,
    pub topology: &'static str,
    pub nominal: bool,
    pub severity: f64,
    /// The part file.
    pub part: String,
    /// None when the bench itself failed.
    pub verdict: Option<Verdict>,
    pub failure: Option<String>,
    pub findings: Vec<Told>,
    /// Figures outside their limits.
    pub outside: Vec<String>,
    pub reasons: Vec<String>,
    /// A finding of the right kind anywhere, or the right figure outside.
    pub right: bool,
    /// The right answer first.
    pub right_first: bool,
    /// Of a located fault: reported centre and width less the true ones, degrees.
    pub centre_error: Option<f64>,
    pub width_error: Option<f64>,
    /// Of a dropout: how often contact was lost during the sweep.
    pub outages: Option<u64>,
    pub errors: Vec<Error>,
    /// Whether a true figure breaks its limit; none where the truth is not static.
    pub truly_outside: Option<bool>,
}

impl Trial {
    /// Bad enough that it must not be judged within: a true figure breaks its limit, or a fault of nominal severity that no
    /// figure's truth is about.
    pub fn bad(&self) -> bool {
        self.truly_outside.unwrap_or(self.nominal)
    }

    /// Named at all: the part is outside, or the right kind is reported.
    pub fn detected(&self) -> bool {
        self.verdict == Some(Verdict::Outside) || self.right
    }

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

/// The shipped sheet of a topology.
///
/// # Panics
/// When the program ships none.
pub fn sheet(topology: Topology) -> (PartSheet, &'static str) {
    let name = match topology {
        Topology::Complementary => "complementary",
        Topology::HalfSlope => "half-slope",
        Topology::ParallelOffset => "parallel-offset",
    };
    (shipped(&format!("grip-{name}")).expect("a sheet is shipped for every topology"), name)
}

/// What the bench gave.
pub struct Benched {
    pub analysis: PartAnalysis,
    pub judgement: Judgement,
    pub failure: Option<String>,
    /// Outages during the sweep.
    pub outages: Vec<Outage>,
    /// Where the grip rested at the closed and the open stop.
    pub rests: [Option<Rest>; 2],
}

/// Runs the whole plan on a part and judges it as the program does.
///
/// # Errors
/// The panic's words when the bench could not be run.
pub fn bench(spec: PartSpec, seed: u64, sheet: &PartSheet) -> Result<Benched, String> {
    let part = Part::draw(PART_NAME, spec, seed);
    let open = part.drawn().open_stop_deg;
    let rig = Rc::new(RefCell::new(SimRig::new(SimBoard::new(part, RigSpec::default(), seed))));
    let stood = Rc::new(RefCell::new(Vec::new()));
    let link = Box::new(Shared { rig: Rc::clone(&rig), stood: Rc::clone(&stood) });
    let done = catch_unwind(AssertUnwindSafe(|| {
        let run = run_plan(link, sheet);
        let (analysis, judgement) = run.judge(sheet);
        (run, analysis, judgement)
    }));
    let (run, analysis, judgement) = done.map_err(|panic| {
        panic.downcast_ref::<String>().cloned().unwrap_or_else(|| "the bench panicked".to_owned())
    })?;
    let traces: Vec<_> = [&run.self_check, &run.sweep, &run.leads].into_iter().flatten().collect();
    let judgement = judgement.heed(&traces);
    let span = run.sweep.as_ref().and_then(|t| t.time_us.first().copied().zip(t.time_us.last().copied()));
    let (from, to) = span.unwrap_or_default();
    let within = |o: &&Outage| o.end_us >= from as f64 && o.start_us <= to as f64;
    let outages = rig.borrow().board().outages().iter().filter(within).copied().collect();
    let resting = |beyond: &dyn Fn(f64) -> bool| -> Option<Rest> {
        let stands = |[(before, was), (at, is)]: &[(u64, Rest); 2]| {
            let seconds = (at - before) as f64 * 1e-6;
            (from..=to).contains(at) && beyond(is.deg) && (is.deg - was.deg).abs() <= STANDS_DEG_S * seconds
        };
        let stood = stood.borrow();
        let there: Vec<Rest> =
            stood.array_windows().filter(|two| stands(two)).map(|[_, (_, rest)]| *rest).collect();
        let middle = |of: &dyn Fn(&Rest) -> f64| median(&mut there.iter().map(of).collect::<Vec<_>>());
        Some(Rest { deg: middle(&|r| r.deg)?, seen: [middle(&|r| r.seen[0])?, middle(&|r| r.seen[1])?] })
    };
    let rests = [resting(&|deg| deg < 0.0), resting(&|deg| deg > open)];
    Ok(Benched { analysis, judgement, failure: run.failure, outages, rests })
}

/// Tries one part.
pub fn run(index: u64, seed: u64, drawn: &Drawn) -> Trial {
    let (sheet, topology) = sheet(drawn.spec.topology);
    let mut trial = Trial {
        index,
        seed,
        class: drawn.class,
        hall: drawn.spec.sensor == trackpair_rig_sim::spec::Sensor::Hall,
        topology,
        nominal: drawn.nominal(),
        severity: drawn.severity,
        part: toml::to_string(&drawn.spec).unwrap_or_default(),
        verdict: None,
        failure: None,
        findings: Vec::new(),
        outside: Vec::new(),
        reasons: Vec::new(),
        right: false,
        right_first: false,
        centre_error: None,
        width_error: None,
        outages: None,
        errors: Vec::new(),
        truly_outside: None,
    };
    match bench(drawn.spec.clone(), seed, &sheet) {
        Ok(benched) => score(&mut trial, drawn, &benched, &sheet),
        Err(why) => trial.failure = Some(why),
    }
    trial
}

fn score(trial: &mut Trial, drawn: &Drawn, benched: &Benched, sheet: &PartSheet) {
    let judgement = &benched.judgement;
    trial.verdict = Some(judgement.overall);
    trial.failure.clone_from(&benched.failure);
    trial.reasons.clone_from(&judgement.reasons);
    trial.findings = benched
        .analysis
        .findings
        .iter()
        .map(|f| Told {
            kind: f.kind.name(),
            channel: f.channel.map(Channel::name),
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
    match drawn.class.right() {
        Right::Nothing => {
            trial.right = trial.findings.is_empty();
            trial.right_first = trial.right;
        }
        Right::Kind(kind) => {
            trial.right = trial.findings.iter().any(|f| f.kind == kind.name());
            trial.right_first = trial.findings.first().is_some_and(|f| f.kind == kind.name());
        }
        Right::Figure(names) => {
            trial.right = names.iter().any(|n| outside(*n));
            trial.right_first = trial.right && trial.findings.is_empty();
        }
    }
    locate(trial, drawn);
    if matches!(drawn.class, Class::DropoutLine | Class::DropoutPlace | Class::DropoutCommon) {
        trial.outages = Some(benched.outages.len() as u64);
    }
    if truth_is_static(drawn.class) {
        let part = Part::draw(PART_NAME, drawn.spec.clone(), trial.seed);
        let truths = truth::figures(&part, sheet.correlation_line(), benched.rests);
        trial.truly_outside = Some(truths.iter().any(|t| breaks_limit(t, sheet)));
        trial.errors = errors(&truths, benched);
    }
}

/// Whether the static curves and the play show all of a part's figures.
fn truth_is_static(class: Class) -> bool {
    matches!(
        class,
        Class::Healthy
            | Class::Gain
            | Class::Offset
            | Class::CorrelationShift
            | Class::Hysteresis
            | Class::Sticky
            | Class::CommonNonlinearity
    )
}

fn breaks_limit(t: &True, sheet: &PartSheet) -> bool {
    let channel = t.line.map(|l| Channel::SENSORS[l]);
    let of = |c: Option<Channel>| sheet.limits.iter().find(|l| l.figure == t.name && l.channel == c);
    let limit = channel.and_then(|c| of(Some(c))).or_else(|| of(None));
    limit.is_some_and(|l| l.min.is_some_and(|min| t.value < min) || l.max.is_some_and(|max| t.value > max))
}

fn errors(truths: &[True], benched: &Benched) -> Vec<Error> {
    let channel = |line: Option<usize>| line.map(|l| Channel::SENSORS[l]);
    truths
        .iter()
        .filter_map(|t| {
            let found =
                benched.analysis.figures.iter().find(|f| f.name == t.name && f.channel == channel(t.line))?;
            Some(Error {
                figure: t.name.name(),
                line: t.line,
                error: found.value - t.value,
                expanded: 2.0 * found.standard_uncertainty(),
            })
        })
        .collect()
}

/// Errors of place and width, when the right kind was found on the right line with a place.
fn locate(trial: &mut Trial, drawn: &Drawn) {
    let Some(fault) = drawn.spec.faults.first() else { return };
    let line = |at: At| if at == At::Rising { "rising" } else { "falling" };
    let (kind, channel, centre, width) = match *fault {
        // The width in which slope is lost; a spot that catches up needs as much again to be level.
        Fault::FlatSpot { channel, centre_deg, width_deg, .. } => {
            ("flat_spot", line(channel), centre_deg, Some(width_deg))
        }
        Fault::NoisyTrack { channel, centre_deg, width_deg, .. } => {
            ("noisy_track", line(channel), centre_deg, Some(width_deg))
        }
        Fault::Dropout { lead, at_deg, chance_per_pass, .. } if chance_per_pass > 0.0 => {
            ("dropout", if lead == Lead::Rising { "rising" } else { "falling" }, at_deg, None)
        }
        _ => return,
    };
    let told = trial.findings.iter().find(|f| f.kind == kind && f.channel == Some(channel));
    if let Some((from, to)) = told.and_then(|f| f.from_deg.zip(f.to_deg)) {
        trial.centre_error = Some(0.5 * (from + to) - centre);
        trial.width_error = width.map(|w| to - from - w);
    }
}
