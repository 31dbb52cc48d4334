//! `qualify --settle`: an undecided grip is swept again as its own verdict advises, as often as was announced before the first sweep. Which sweep
//! of several is judged, how sure each must be, and what the later ones settled; why so, in `verdict/looks.rs`.

use super::bench_work::keep;
use super::outside::Outside;
use super::question::Question;
use super::recorded::Recorded;
use crate::analysis::grip::{GripTraces, analyse};
use crate::analysis::{PartAnalysis, self_closing};
use crate::outcome::OutcomeSettling;
use crate::procedure::Bench;
use crate::quantity::ProcedureKind;
use crate::quantity::rounding::{fixed, significant};
use crate::sheet::PartSheet;
use crate::trace::{Trace, TraceEnd};
use crate::verdict::{Judgement, Judging, MOST_CYCLES, Verdict, judge_by, planned_looks, sure_in_each};

/// Rests and ramps up of one cycle beside its travel, s.
const CYCLE_EXTRA_S: f64 = 0.6;

/// A grip's sweeps and what each alone says of the part.
pub struct Looks {
    /// Sweeps that were planned.
    planned: u32,
    /// Probability that `within` and `outside` need in each.
    pub sure: f64,
    /// Every sweep that was recorded, in order.
    each: Vec<Look>,
    /// Which of them counts.
    counts: usize,
}

struct Look {
    analysis: PartAnalysis,
    judgement: Judgement,
}

impl Looks {
    /// None where the part was not to be looked at more than once.
    pub fn of(recorded: &Recorded, question: &Question, sheet: &PartSheet) -> Option<Self> {
        let traces: Vec<&Trace> = recorded.all().collect();
        let sweeps: Vec<&Trace> = traces.iter().copied().filter(|t| is_a_look(t)).collect();
        let planned = planned_looks(&traces).max(u32::try_from(sweeps.len()).unwrap_or(u32::MAX));
        if planned < 2 || sweeps.is_empty() || question.scope.is_some() || recorded.is_body() {
            return None;
        }
        let sure = sure_in_each(planned);
        let judging = Judging { sure, ..Judging::default() };
        let each: Vec<Look> = sweeps
            .iter()
            .map(|sweep| {
                let analysis = grip_analysis(recorded, sweep, sheet);
                let judgement = judge_by(&analysis, sheet, judging);
                Look { analysis, judgement }
            })
            .collect();
        let outside = each.iter().position(|look| look.judgement.overall == Verdict::Outside);
        let whole = sweeps.iter().rposition(|sweep| sweep.end == TraceEnd::Complete);
        let counts = outside.or(whole).unwrap_or(each.len() - 1);
        Some(Self { planned, sure, each, counts })
    }

    /// What the sweep that counts shows.
    pub fn analysis(&self) -> &PartAnalysis {
        &self.each[self.counts].analysis
    }

    /// The sweep that counts, judged, with what came of looking more than once.
    pub fn judgement(&self) -> Judgement {
        self.each[self.counts].judgement.clone().telling(self.sentences())
    }

    /// What the outcome keeps of it.
    pub fn told(&self) -> OutcomeSettling {
        let open = self.each[self.counts].judgement.open();
        let before = self.each[0].judgement.open().into_iter();
        OutcomeSettling {
            planned_sweeps: self.planned,
            sweeps: u32::try_from(self.each.len()).unwrap_or(u32::MAX),
            judged_sweep: u32::try_from(self.counts + 1).unwrap_or(u32::MAX),
            conformance_probability: self.sure,
            settled: before.filter(|title| !open.contains(title)).collect(),
            open,
        }
    }

    /// The same as sentences.
    fn sentences(&self) -> Vec<String> {
        let told = self.told();
        let (done, planned) = (self.each.len(), self.planned);
        let mut said = vec![format!(
            "looked at more than once: up to {planned} sweeps were planned beforehand, so within and outside need {} % in each in place of \
             95 %: the risk of all of them together stays 5 % (Bonferroni)",
            significant(100.0 * self.sure, 4)
        )];
        if done == 1 {
            said.push(match self.each[0].judgement.overall {
                Verdict::Undecided => {
                    "swept once: what is undecided, no further sweep was made for, or none would settle it"
                        .to_owned()
                }
                _ => "swept once: that decided it".to_owned(),
            });
            return said;
        }
        let cycles = |k: usize| self.each[k].analysis.cycles;
        said.push(format!(
            "judged from sweep {} of {done} ({} cycles; the first had {}){}",
            self.counts + 1,
            cycles(self.counts),
            cycles(0),
            if self.counts + 1 < done && self.each[self.counts].judgement.overall == Verdict::Outside {
                ": what was outside once stays outside"
            } else {
                ""
            }
        ));
        if !told.settled.is_empty() {
            said.push(format!("settled by sweeping again: {}", told.settled.join("; ")));
        }
        if !told.open.is_empty() {
            said.push(format!(
                "not settled by sweeping again: {}; the reason stands above",
                told.open.join("; ")
            ));
        }
        said
    }
}

fn is_a_look(trace: &Trace) -> bool {
    trace.provenance.procedure == ProcedureKind::Sweep && !trace.is_empty()
}

/// Everything that one sweep and the other traces show of a grip.
pub fn grip_analysis(recorded: &Recorded, sweep: &Trace, sheet: &PartSheet) -> PartAnalysis {
    let mut analysis = analyse(grip_traces(recorded, sweep), sheet);
    self_closing::tell(recorded.trace(ProcedureKind::Release), sweep.provenance.procedure, &mut analysis);
    analysis
}

fn grip_traces<'k>(recorded: &'k Recorded, sweep: &'k Trace) -> GripTraces<'k> {
    GripTraces {
        sweep,
        leads: recorded.trace(ProcedureKind::LeadsCheck),
        flex: recorded.trace(ProcedureKind::Flex).filter(|flex| !std::ptr::eq(*flex, sweep)),
    }
}

/// The announcement before the first sweep.
pub fn announce(outside: &Outside<'_>, sheet: &PartSheet, more: u32) {
    outside.say(format!(
        "settling: at most {more} more {} of at most {MOST_CYCLES} cycles (about {} each), while one is likely to settle what is undecided; \
         within and outside need {} % each time",
        if more == 1 { "sweep" } else { "sweeps" },
        minutes(sheet, MOST_CYCLES),
        significant(100.0 * sure_in_each(1 + more), 4)
    ));
}

/// Sweeps again as the verdict so far advises, `more` times at most.
pub fn settle(
    bench: &mut Bench<'_>,
    recorded: &mut Recorded,
    question: &Question,
    sheet: &PartSheet,
    more: u32,
    outside: &Outside<'_>,
) {
    for round in 1..=more {
        // While the host thinks the rig is left alone: nothing is powered meanwhile. A rig that is gone is noticed by the next sweep.
        let _ = bench.unpower();
        let Some(judgement) = Looks::of(recorded, question, sheet).map(|looks| looks.judgement()) else {
            return;
        };
        let Some((sweep, what)) = judgement.sweep_that_settles() else {
            if judgement.overall == Verdict::Undecided {
                outside.say("settling: no further sweep is likely to settle what is undecided");
            }
            return;
        };
        outside.say(format!(
            "settling, sweep {round} of at most {more}: {} cycles, about {}, for {}",
            sweep.cycles,
            minutes(sheet, sweep.cycles),
            what.join("; ")
        ));
        let mut longer = sheet.clone();
        longer.sweep.cycles = sweep.cycles;
        bench.use_sheet(&longer);
        bench.set_started(outside.now());
        if !keep(recorded, bench.sweep(), outside) {
            return;
        }
    }
}

/// How long so many cycles take, in words.
fn minutes(sheet: &PartSheet, cycles: u32) -> String {
    let plan = sheet.sweep;
    // The last goes at half the speed.
    let strokes = 2.0 * (f64::from(cycles) + 1.0);
    let seconds = strokes * sheet.travel_deg / plan.speed_deg_s + CYCLE_EXTRA_S * f64::from(cycles);
    if seconds < 90.0 {
        format!("{} s", fixed(seconds.ceil(), 0))
    } else {
        format!("{} min", fixed((seconds / 60.0).ceil(), 0))
    }
}
