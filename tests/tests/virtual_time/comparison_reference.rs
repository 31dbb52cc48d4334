//! The statistics of comparisons against scipy (`comparison.py`): tolerance factors, counts of events, normality.

use anyhow::{Result, ensure};
use serde_json::json;
use trackpair::analysis::statistics::Resampler;
use trackpair::compare::events::{Watched, by_chance};
use trackpair::compare::normality::AndersonDarling;
use trackpair::compare::tolerance::Claim;
use trackpair_tests::programs;

fn factors() -> Result<Vec<serde_json::Value>> {
    let mut cases = Vec::new();
    for n in [2, 3, 5, 10, 14, 30, 100, 1000] {
        for (coverage, confidence) in
            [(0.5, 0.9), (0.9, 0.95), (0.95, 0.95), (0.95, 0.99), (0.99, 0.5), (0.999, 0.9)]
        {
            let claim = Claim::new(coverage, confidence)?;
            let (one_sided, two_sided) = (claim.one_sided(n)?, claim.two_sided(n)?);
            cases.push(json!({ "n": n, "coverage": coverage, "confidence": confidence, "one_sided": one_sided, "two_sided": two_sided }));
        }
    }
    Ok(cases)
}

fn events() -> Vec<serde_json::Value> {
    let counts =
        [(0, 0.3, 4, 0.3), (5, 3.0, 8, 1.0), (40, 2.0, 70, 2.2), (1, 10.0, 0, 0.2), (300, 5.0, 250, 5.0)];
    let case = |(a, ta, b, tb): (u64, f64, u64, f64)| {
        let p = by_chance(Watched { events: a, minutes: ta }, Watched { events: b, minutes: tb });
        json!({ "counts": [json!(a), json!(ta), json!(b), json!(tb)], "p": p })
    };
    counts.into_iter().map(case).collect()
}

fn normality() -> Vec<serde_json::Value> {
    let mut random = Resampler::new(3);
    let mut sample =
        |n: usize, power: i32| -> Vec<f64> { (0..n).map(|_| 4.0 + random.normal().powi(power)).collect() };
    [(8, 1), (20, 1), (20, 2), (200, 1), (200, 3)]
        .into_iter()
        .map(|(n, power)| {
            let values = sample(n, power);
            let found = AndersonDarling::of(&values).map(|a| a.statistic);
            json!({ "values": values, "statistic": found })
        })
        .collect()
}

#[test]
fn factors_counts_and_shapes_are_those_of_an_independent_program() -> Result<()> {
    let cases = json!({ "factors": factors()?, "events": events(), "normality": normality() });
    let said = programs::script_says("comparison.py", &cases.to_string())?;
    ensure!(said.contains("48 factors, 5 event probabilities, 5 samples agree"), "{said}");
    Ok(())
}
