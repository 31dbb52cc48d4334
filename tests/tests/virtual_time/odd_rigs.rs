//! A damaged line, late stamps, a rig that does not do what it was asked: the fault is named as the rig's or the line's, and nothing is said
//! of the part.

use tokio_util::sync::CancellationToken;
use trackpair::procedure::ProcedureError;
use trackpair::quantity::ProcedureKind;
use trackpair::session::{Options, Session, SessionError};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::verdict::{FindingEffect, HowEnded, Verdict, loads_stepped, not_done};
use trackpair_tests::cuts::{judged, run_grip};
use trackpair_tests::odd_rigs::{OddLink, Oddity};
use trackpair_tests::parallel::on_all_cores;

fn sheet() -> PartSheet {
    let mut sheet = shipped("grip-complementary").unwrap();
    sheet.sweep.cycles = 2;
    sheet
}

/// The session of a good grip on an odd rig; none where the rig could not be spoken to.
fn run(seed: u64, odd: Oddity) -> Option<(Vec<trackpair::trace::Trace>, Vec<ProcedureError>)> {
    let link = OddLink::new(&format!("good-grip?seed={seed}"), Oddity { seed, ..odd });
    let session = match Session::open(Box::new(link), Options::default()) {
        Ok(session) => session,
        Err(SessionError::NoAnswer { .. } | SessionError::NotARig { .. } | SessionError::Nonsense { .. }) => {
            return None;
        }
        Err(other) => panic!("{other}"),
    };
    Some(run_grip(session, &sheet(), &CancellationToken::new()))
}

#[test]
fn a_damaged_line_is_named_and_never_the_part() {
    const DAMAGE: [f64; 6] = [3e-6, 1e-5, 3e-5, 1e-4, 1e-3, 3e-3];
    let sheet = sheet();
    let said = on_all_cores(10 * DAMAGE.len() as u64, |k| {
        let (seed, damage) = (1 + k % 10, DAMAGE[(k / 10) as usize]);
        let (traces, _) = run(seed, Oddity { damage, ..Oddity::default() })?;
        let (analysis, judgement) = judged(&traces, &sheet)?;
        let bad = traces.iter().any(|t| t.provenance.link.is_some_and(|l| l.is_bad()));
        let condemns = judgement.findings.iter().any(|f| f.effect == FindingEffect::Outside);
        let what = format!("seed {seed}, damage {damage}: {:?} {:?}", judgement.reasons, analysis.findings);
        if judgement.overall == Verdict::Outside || condemns {
            return Some(what);
        }
        let line_named = judgement.reasons.iter().any(|r| r.contains("line fault"));
        let spoken_of = !analysis.findings.is_empty() && line_named && analysis.figures.is_empty();
        (spoken_of || (damage >= 1e-3 && bad != line_named)).then_some(what)
    });
    let wrong: Vec<String> = said.into_iter().flatten().collect();
    assert!(wrong.is_empty(), "{} of them:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn events_that_are_stamped_late_are_the_rigs_fault() {
    for seed in 1..=10 {
        let (traces, failures) = run(seed, Oddity { late_us: 300_000, ..Oddity::default() }).unwrap();
        assert!(
            matches!(failures.first(), Some(ProcedureError::Contradiction { .. })),
            "seed {seed}: {failures:?}"
        );
        let (analysis, judgement) = judged(&traces, &sheet()).unwrap();
        assert_eq!(judgement.overall, Verdict::Undecided);
        assert!(analysis.findings.is_empty() && analysis.figures.is_empty());
        assert!(judgement.reasons[0].contains("rig fault"), "{:?}", judgement.reasons);
    }
}

#[test]
fn a_rig_that_ends_its_run_before_its_time_is_at_fault() {
    for segments in 1..=6 {
        let (traces, failures) = run(3, Oddity { segments, ..Oddity::default() }).unwrap();
        assert!(
            matches!(failures.first(), Some(ProcedureError::EndedEarly { .. })),
            "{segments} segments: {failures:?}"
        );
        let Some((_, judgement)) = judged(&traces, &sheet()) else { continue };
        assert_eq!(judgement.overall, Verdict::Undecided, "{segments} segments: {:?}", judgement.reasons);
    }
}

#[test]
fn a_leads_check_whose_loads_the_rig_refused_was_not_done() {
    let (traces, failures) = run(1, Oddity { refuse_inputs: true, ..Oddity::default() }).unwrap();
    assert!(failures.is_empty(), "{failures:?}");
    let leads = traces.last().unwrap();
    assert_eq!(loads_stepped(leads), Some(false));
    let left = not_done(&traces.iter().collect::<Vec<_>>(), false);
    assert_eq!(left.len(), 1, "{left:?}");
    assert_eq!((left[0].procedure, left[0].how), (ProcedureKind::LeadsCheck, HowEnded::Refused));
    let (_, judgement) = judged(&traces, &sheet()).unwrap();
    assert_eq!(judgement.overall, Verdict::Undecided, "{:?}", judgement.reasons);
    assert!(
        judgement.reasons.iter().any(|r| r.contains("leads check was refused by the rig")),
        "{:?}",
        judgement.reasons
    );
}

#[test]
fn a_rig_without_loads_is_asked_to_switch_none() {
    let (traces, failures) = run(1, Oddity { no_loads: true, ..Oddity::default() }).unwrap();
    assert!(failures.is_empty(), "{failures:?}");
    let leads = traces.last().unwrap();
    assert_eq!((leads.provenance.procedure, loads_stepped(leads)), (ProcedureKind::LeadsCheck, Some(false)));
    assert!(leads.provenance.refused.is_empty(), "{:?}", leads.provenance.refused);
    let (_, judgement) = judged(&traces, &sheet()).unwrap();
    assert!(!judgement.reasons.iter().any(|r| r.contains("refused")), "{:?}", judgement.reasons);
}
