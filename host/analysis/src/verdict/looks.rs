//! A part that is looked at more than once: how sure each look must be, so that looking again does not raise the risk.
//!
//! A part that is tested until it passes passes too often: at its limit with 5 % in one look, up to 10 % in two (Armitage, McPherson,
//! Rowe, J. R. Stat. Soc. A 132, 1969, 235, on repeated significance tests; 8.3 % for two looks at growing data, from memory). Two rules
//! keep the risk where it was:
//!
//! - How many looks there may be is stated before the first one and kept with every trace (its plan), and each takes its share of the risk:
//!   with k looks planned, `within` and `outside` need `1 − 0.05/k` each time (Bonferroni's inequality: the chance that any of k
//!   looks errs is at most the sum of theirs, whatever they have in common, and whichever of them were carried out).
//! - Each look is judged on its own sweep. Its length was chosen by looking at the ones before, and data whose number depends on what they
//!   showed do not keep their level when they are joined (Proschan, Hunsberger, Biometrics 51, 1995, 1315, from memory); the
//!   new sweep, given its length, does. The earlier ones can't clear a part and can condemn it: what was outside once stays outside.

use super::CONFORMANCE_PROBABILITY;
use crate::quantity::ProcedureKind;
use crate::trace::Trace;

/// Most sweeps after the first that may be planned: with four looks `within` takes 98.75 %, a guard band of 2.24 standard uncertainties.
pub const MOST_MORE_SWEEPS: u32 = 3;

/// How many sweeps a session planned, the first among them, by the plan kept with its traces; 1 where nothing else was planned.
pub fn planned_looks(traces: &[&Trace]) -> u32 {
    let plan = traces.iter().rev().map(|t| &t.provenance.plan).find(|p| !p.is_empty());
    let sweeps = plan.map_or(0, |plan| plan.iter().filter(|k| **k == ProcedureKind::Sweep).count());
    u32::try_from(sweeps).unwrap_or(u32::MAX).clamp(1, 1 + MOST_MORE_SWEEPS)
}

/// Probability that `within` and `outside` need in each of so many looks.
pub fn sure_in_each(looks: u32) -> f64 {
    if looks <= 1 {
        return CONFORMANCE_PROBABILITY;
    }
    1.0 - (1.0 - CONFORMANCE_PROBABILITY) / f64::from(looks)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;
    use crate::analysis::synthetic::Synthetic;
    use crate::verdict::{Makeup, Verdict, conformity_at, guard_factor};

    #[test]
    fn looks_share_the_risk() {
        assert_eq!(sure_in_each(1), CONFORMANCE_PROBABILITY);
        assert!((sure_in_each(2) - 0.975).abs() < 1e-12);
        // Two-sided 95 % of the normal distribution: 1.959964 (any table).
        assert!((guard_factor(sure_in_each(2)) - 1.959_963_984_540_054).abs() < 1e-9);
    }

    const PARTS: u32 = 6_000;

    /// Shares of parts at their limit that are called within, and outside, when undecided ones are swept again as advised.
    fn shares(makeup: Makeup, cycles: u32, looks: u32, sure: f64) -> (f64, f64) {
        let mut random = Resampler::new(u64::from(looks) + 7);
        let (mut within, mut outside) = (0u32, 0u32);
        for _ in 0..PARTS {
            // What all looks share is drawn once.
            let shared = makeup.rest * random.normal();
            let (mut now, mut scatter) = (cycles, makeup.scatter);
            for _ in 0..looks {
                let u = scatter.hypot(makeup.rest);
                let value = shared + scatter * random.normal();
                match conformity_at(sure, value, u, None, Some(0.0)).verdict {
                    Verdict::Within => within += 1,
                    Verdict::Outside => outside += 1,
                    Verdict::Undecided => {
                        let found = Makeup { scatter, ..makeup };
                        let Some(sweep) = found.sweep(value.abs(), now, sure) else { break };
                        scatter *= (f64::from(now) / f64::from(sweep.cycles)).sqrt();
                        now = sweep.cycles;
                        continue;
                    }
                }
                break;
            }
        }
        (f64::from(within) / f64::from(PARTS), f64::from(outside) / f64::from(PARTS))
    }

    // Bonferroni's inequality: at most 5 % whatever the looks have in common. Five standard deviations of a binomial share are allowed.
    #[test]
    fn a_part_at_its_limit_is_accepted_and_condemned_no_more_often_however_often_it_is_looked_at() {
        let allowed = 0.05 + 5.0 * (0.05 * 0.95 / f64::from(PARTS)).sqrt();
        for (scatter, rest) in [(1.0, 0.0), (1.0, 0.3), (1.0, 1.0)] {
            for looks in 1..=1 + MOST_MORE_SWEEPS {
                let (within, outside) = shares(Makeup { scatter, rest }, 5, looks, sure_in_each(looks));
                assert!(
                    within <= allowed && outside <= allowed,
                    "{scatter} {rest} {looks}: {within} {outside}"
                );
            }
        }
    }

    #[test]
    fn without_the_rule_it_would_be_accepted_more_often() {
        let (within, _) = shares(Makeup { scatter: 1.0, rest: 0.0 }, 5, 4, CONFORMANCE_PROBABILITY);
        assert!(within > 0.08, "{within}");
    }

    fn planned(plan: Vec<ProcedureKind>) -> Trace {
        let mut trace = Synthetic::hall(1).trace();
        trace.provenance.plan = plan;
        trace
    }

    #[test]
    fn the_plan_of_a_trace_tells_the_looks() {
        use ProcedureKind::{LeadsCheck, SelfCheck, Sweep};
        for (plan, looks) in [
            (vec![], 1),
            (vec![SelfCheck, LeadsCheck], 1),
            (vec![SelfCheck, Sweep], 1),
            (vec![SelfCheck, Sweep, LeadsCheck, Sweep], 2),
            (vec![Sweep; 9], 4),
        ] {
            assert_eq!(planned_looks(&[&planned(plan)]), looks);
        }
    }
}
