//! One sweep of a part that is mounted, for questions about the rig itself: self-check, sweep and release of a grip, or a throttle body's plan
//! without its leads check. It keeps nothing but a line and its traces in the folder of a study or of a known part.

use super::bench_work::{keep, with_bench};
use super::body::qualify_body;
use super::cautions::Consent;
use super::failure::Failure;
use super::judged::Judged;
use super::outside::Outside;
use super::qualify::{after_self_check, refuse_pair};
use super::question::Question;
use super::recorded::Recorded;
use super::sheets::Shelf;
use crate::link::Address;
use crate::outcome::Outcome;
use crate::quantity::ProcedureKind;
use crate::record::study_folder::{SWEEP_SCHEMA, StudyError, StudyFolder, SweepLine};
use anyhow::anyhow;

/// A part on a rig, once.
#[derive(Clone, Copy, Debug)]
pub struct Occasion<'a> {
    /// Address of the rig.
    pub rig: &'a str,
    /// What traces say of the part.
    pub label: &'a str,
    /// The part in the log.
    pub part: &'a str,
    /// Mounting of that part, from 1.
    pub mounting: usize,
    /// Sweep of that mounting, from 1.
    pub repeat: usize,
    /// Whether a throttle body may be driven.
    pub cautions_read: bool,
}

/// Sweeps once and keeps it in the folder: its line.
///
/// # Errors
/// [`Failure::Rig`] when there was nothing to keep, or the sweep was cut short: then what was recorded is recorded, and does not count.
pub fn sweep_into<'f>(
    folder: &'f mut StudyFolder,
    occasion: Occasion<'_>,
    shelf: &Shelf,
    outside: &Outside<'_>,
) -> Result<&'f SweepLine, Failure> {
    let started = outside.now();
    let (mut recorded, question) = (Recorded::loose(), Question::default());
    let consent = Consent::of(occasion.rig, occasion.cautions_read);
    let (sheet, _) = with_bench(occasion.rig, occasion.label, shelf.first(), outside, |bench| {
        refuse_pair(bench)?;
        if bench.drives_body() {
            return qualify_body(bench, (&mut recorded, &question), shelf, consent, false, outside);
        }
        shelf.check_for_grip()?;
        bench.plan(vec![ProcedureKind::SelfCheck, ProcedureKind::Sweep, ProcedureKind::Release]);
        let (sheet, ready) = after_self_check(&mut recorded, shelf, bench, outside);
        if ready && keep(&mut recorded, bench.sweep(), outside) {
            bench.set_started(outside.now());
            keep(&mut recorded, bench.grip_release(), outside);
        }
        Ok(sheet)
    })?;
    let sheet = sheet?;
    let failure = recorded.failure().map(str::to_owned);
    let Some(judged) = Judged::of(&recorded, &question, sheet, &outside.now()) else {
        let why = failure.as_deref().unwrap_or("the rig sent no samples");
        return Err(Failure::Rig(anyhow!("nothing was recorded: {why}")));
    };
    let missing = recorded.best(&question).is_none_or(|t| t.provenance.procedure == ProcedureKind::SelfCheck);
    let cut = failure.or_else(|| {
        (missing && !recorded.is_body())
            .then(|| "the part did not turn in the self-check, so it was not swept".to_owned())
    });
    let line = line(&judged.outcome, occasion, started, cut.clone());
    let line = folder.keep(line, &recorded.all().collect::<Vec<_>>()).map_err(of_folder)?;
    match cut {
        None => Ok(line),
        Some(why) => Err(Failure::Rig(anyhow!(
            "sweep {} was cut short and does not count: {why}; mend that, then go on with the same command",
            line.number
        ))),
    }
}

fn line(outcome: &Outcome, occasion: Occasion<'_>, date: String, failure: Option<String>) -> SweepLine {
    SweepLine {
        schema: SWEEP_SCHEMA,
        number: 0,
        date,
        part: occasion.part.to_owned(),
        mounting: occasion.mounting as u64,
        repeat: occasion.repeat as u64,
        rig: outcome.rig.as_ref().map(|r| format!("{} {}", r.model, r.serial)),
        simulated: outcome.simulated,
        analysis: outcome.versions.get("analysis").cloned().unwrap_or_default(),
        sheet: outcome.sheet.name.clone(),
        topology: outcome.part.topology_found.as_ref().unwrap_or(&outcome.sheet.topology).to_string(),
        verdict: outcome.verdict.name().to_owned(),
        failure,
        figures: outcome.figures.clone(),
        traces: Vec::new(),
    }
}

/// What is wrong with a folder, by who can mend it.
pub fn of_folder(error: StudyError) -> Failure {
    match error {
        StudyError::Missing { .. } | StudyError::Taken { .. } => Failure::Usage(error.into()),
        other => Failure::Other(other.into()),
    }
}

/// Whether the rig at an address is simulated in this program: nobody has to mount anything then.
pub fn needs_hands(rig: &str) -> bool {
    !matches!(Address::parse(rig), Ok(Address::Sim { .. }))
}

/// The address of a simulated rig for one mounting and sweep of a part: without them it would draw the same noise again. Others as they are, and
/// so is what the user has typed already.
pub fn on_occasion(rig: &str, options: &[(&str, u64)]) -> String {
    let Ok(Address::Sim { part }) = Address::parse(rig) else { return rig.to_owned() };
    let mut address = format!("sim:{part}");
    for (name, value) in options {
        let said = address.split_once('?').is_some_and(|(_, all)| {
            all.split('&').any(|o| o.split_once('=').is_some_and(|(given, _)| given == *name))
        });
        if !said {
            address += &format!("{}{name}={value}", if address.contains('?') { '&' } else { '?' });
        }
    }
    address
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_simulated_rig_is_told_the_occasion_and_a_real_one_is_left_alone() {
        let options = [("rig", 5), ("mounting", 2), ("sweep", 3)];
        assert_eq!(on_occasion("sim:good-grip", &options), "sim:good-grip?rig=5&mounting=2&sweep=3");
        let said = on_occasion("sim:good-grip?seed=7&rig=1", &options);
        assert_eq!(said, "sim:good-grip?seed=7&rig=1&mounting=2&sweep=3");
        assert_eq!(on_occasion("serial:/dev/ttyACM0", &options), "serial:/dev/ttyACM0");
        assert!(needs_hands("tcp:localhost:1") && !needs_hands("sim:good-grip"));
    }
}
