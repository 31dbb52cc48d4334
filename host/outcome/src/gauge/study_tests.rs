//! A study from figures: what is worked out, and what is left out with words.

use super::*;
use crate::analysis::statistics::Resampler;
use crate::gauge::anova::tests::aiag;
use crate::quantity::{Channel, Condition, FigureName};

fn figure(name: FigureName, value: f64, stated: f64) -> OutcomeFigure {
    OutcomeFigure {
        figure: name.into(),
        channel: Some(Channel::Rising.into()),
        condition: Condition::NONE,
        value,
        unit: name.unit(),
        expanded_uncertainty: 2.0 * stated,
        upper_bound: None,
        at_deg: None,
        limit: Some(OutcomeLimit { min: Some(-4.0), max: Some(4.0), bound: None }),
        source: None,
        verdict: None,
        would_decide: None,
        definition: String::new(),
    }
}

/// Figures of every sweep of a layout, by its cell's number.
fn sweeps(
    layout: [usize; 3],
    of: impl Fn(usize) -> Vec<OutcomeFigure>,
) -> Vec<(usize, usize, usize, Vec<OutcomeFigure>)> {
    let [a, b, r] = layout;
    let cell = |k: usize| (k / (b * r), k / r % b, k % r, of(k));
    (0..a * b * r).map(cell).collect()
}

fn swept(sweeps: &[(usize, usize, usize, Vec<OutcomeFigure>)]) -> Vec<Swept<'_>> {
    sweeps
        .iter()
        .map(|(part, mounting, repeat, figures)| Swept {
            part: *part,
            mounting: *mounting,
            repeat: *repeat,
            figures,
        })
        .collect()
}

// AIAG 10 × 3 × 3 as in `anova_tests.rs`: pooled, %GRR 27.861, ndc 4.86 cut to 4; 6 GRR = 1.814229 of an invented tolerance of 8: 22.678 %.
#[test]
fn the_trades_own_example_is_worked_out_whatever_the_order_of_its_sweeps() {
    let values = aiag_values();
    let layout = [10, 3, 3];
    let all = sweeps(layout, |k| vec![figure(FigureName::ClosedVolts, values[k], 0.1)]);
    let mut in_disorder = swept(&all);
    in_disorder.reverse();
    let found = study(layout, Mountings::Crossed, &in_disorder);
    let f = &found.figures[0];
    assert_eq!((f.model, f.categories, f.fitness), (Model::Pooled, 4, Some(Fitness::Usable)));
    assert_eq!(format!("{:.3} {:.6}", f.of_total.percent, f.gauge.standard_deviation), "27.861 0.302372");
    assert_eq!(format!("{:.3}", f.of_tolerance.unwrap().percent), "22.678");
    assert!(f.gauge.interval.low < 0.3024 && f.gauge.interval.high.unwrap() > 0.3024);
    // 0.302 where 0.1 is stated; two appraisers' worth of freedom leave the lower end above it all the same.
    assert!(f.claim.unwrap().exceeded && (f.claim.unwrap().gauge_ratio - 3.023_72).abs() < 1e-4);
    // The appraisers differ: F = 79.4.
    assert!(f.rounds_p.unwrap() < 1e-6);
}

fn aiag_values() -> Vec<f64> {
    aiag().values().to_vec()
}

#[test]
fn what_the_rig_does_not_resolve_or_did_not_give_is_left_out_with_words() {
    let layout = [2, 2, 2];
    let all = sweeps(layout, |k| {
        let mut figures =
            vec![figure(FigureName::ClosedVolts, 1.0, 0.1), figure(FigureName::LimpTrips, k as f64, 0.0)];
        figures.extend((k != 3).then(|| figure(FigureName::Span, k as f64, 0.1)));
        figures
    });
    let found = study(layout, Mountings::Nested, &swept(&all));
    assert!(found.figures.is_empty());
    let whys: Vec<&str> = found.left_out.iter().map(|l| l.why.as_str()).collect();
    assert!(whys[0].starts_with("every sweep gave the same value"), "{whys:?}");
    assert!(whys[1].starts_with("a count of rare events"), "{whys:?}");
    assert_eq!(whys[2], "1 of 8 sweeps have no value for it");
}

#[test]
fn a_stated_uncertainty_that_is_too_small_is_shown_and_one_that_is_right_is_not() {
    let layout = [8, 3, 3];
    let mut random = Resampler::new(2);
    let values: Vec<f64> = (0..72).map(|k| (k / 9) as f64 + random.normal()).collect();
    for (stated, exceeded) in [(0.1, true), (1.0, false), (5.0, false)] {
        let all = sweeps(layout, |k| vec![figure(FigureName::Noise, values[k], stated)]);
        let found = study(layout, Mountings::Nested, &swept(&all));
        assert_eq!(found.figures[0].claim.unwrap().exceeded, exceeded, "{stated}");
    }
}

#[test]
fn limits_with_one_end_are_set_against_the_distance_to_it() {
    let one = |min, max| tolerance(&OutcomeLimit { min, max, bound: None }, 1.0);
    assert_eq!(one(None, Some(4.0)), Some((3.0, 3.0)));
    assert_eq!(one(Some(0.5), None), Some((0.5, 3.0)));
    assert_eq!(one(Some(0.5), Some(2.0)), Some((1.5, 6.0)));
    assert_eq!((one(None, Some(0.9)), one(None, None)), (None, None));
}
