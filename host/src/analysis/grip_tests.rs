//! Figures of a grip against invented parts whose true curves are known.

use super::super::statistics;
use super::super::synthetic::{Dropout, Synthetic, Truth};
use super::*;

fn analysed(part: &Synthetic) -> GripAnalysis {
    analysed_trace(&part.trace(), &part.sheet())
}

/// Figures alone: the search for defects has its own tests.
fn analysed_trace(trace: &Trace, sheet: &PartSheet) -> GripAnalysis {
    let prepared = Prepared::new(trace, sheet);
    let curves = Curves::new(&prepared, sheet);
    figures_of(&prepared, curves.as_ref(), sheet)
}

#[track_caller]
fn figure(a: &GripAnalysis, name: FigureName, channel: Option<Channel>) -> Figure {
    a.figures
        .iter()
        .find(|f| f.name == name && f.channel == channel)
        .unwrap_or_else(|| panic!("no {name:?}"))
        .clone()
}

fn has(a: &GripAnalysis, name: FigureName) -> bool {
    a.figures.iter().any(|f| f.name == name)
}

fn untestable(a: &GripAnalysis, what: &str) -> bool {
    a.not_testable.iter().any(|n| n.what.contains(what) && !n.why.is_empty())
}

/// The same figures of the true static curve, without noise, play or rig errors.
fn true_figures(part: &Synthetic) -> GripAnalysis {
    let quiet = Synthetic {
        noise_v: [0.0; 2],
        sensor_step_v: 0.0,
        converter_step_v: 0.0,
        rig_errors: false,
        rig_noise_v: 0.0,
        reference_step_deg: 0.0,
        cycles: 1,
        ..part.clone()
    };
    analysed(&quiet)
}

/// Share of figures that lie within 2 u of the truth, per name.
fn coverage(
    make: impl Fn(u64) -> Synthetic,
    seeds: u64,
    truth: impl Fn(&Synthetic) -> Vec<(FigureName, Option<Channel>, f64)>,
) {
    let mut hits: std::collections::BTreeMap<FigureName, (u64, u64, f64)> = std::collections::BTreeMap::new();
    for seed in 0..seeds {
        let part = make(seed);
        let found = analysed(&part);
        for (name, channel, value) in truth(&part) {
            let f = figure(&found, name, channel);
            let z = (f.value - value) / f.standard_uncertainty;
            let slot = hits.entry(name).or_default();
            slot.0 += u64::from(z.abs() <= 2.0);
            slot.1 += 1;
            slot.2 += z * z;
        }
    }
    for (name, (hit, of, squares)) in &hits {
        let (low, high) = statistics::clopper_pearson(*hit, *of, 0.95);
        println!(
            "{:24} {hit}/{of} = {:.3} ({low:.3}..{high:.3}), rms z {:.2}",
            name.name(),
            *hit as f64 / *of as f64,
            (squares / *of as f64).sqrt()
        );
    }
    for (name, (hit, of, _)) in hits {
        // Fails only when 90 % can be excluded with 97.5 % confidence.
        let (_, high) = statistics::clopper_pearson(hit, of, 0.95);
        assert!(high >= 0.90, "{}: {hit} of {of}", name.name());
    }
}

fn truths(part: &Synthetic) -> Vec<(FigureName, Option<Channel>, f64)> {
    let truth: Truth = part.truth();
    let quiet = true_figures(part);
    let mut out: Vec<(FigureName, Option<Channel>, f64)> = quiet
        .figures
        .iter()
        .filter(|f| {
            matches!(
                f.name,
                FigureName::LinearityIndependent
                    | FigureName::LinearityTerminal
                    | FigureName::LinearityZeroBased
                    | FigureName::CorrelationWorst
                    | FigureName::CorrelationOffset
                    | FigureName::CorrelationSlope
            )
        })
        .map(|f| (f.name, f.channel, f.value))
        .collect();
    for line in 0..2 {
        let channel = Some(Channel::SENSORS[line]);
        let half = 0.5 * part.hysteresis_deg[line];
        // The play stands where the last stroke left it.
        out.push((FigureName::ClosedVolts, channel, 5.0 * truth.ratio(line, half)));
        out.push((FigureName::OpenVolts, channel, 5.0 * truth.ratio(line, part.travel_deg - half)));
        out.push((FigureName::Hysteresis, channel, part.hysteresis_deg[line]));
        let step = part.sensor_step_v.powi(2) / 12.0 + part.converter_step_v.powi(2) / 12.0;
        let noise = (part.noise_v[line].powi(2) + step + part.rig_noise_v.powi(2)).sqrt();
        out.push((FigureName::Noise, channel, 1e3 * noise * 5.0 / part.supply_v));
    }
    out
}

#[test]
fn figures_of_contactless_parts_lie_within_their_uncertainty() {
    coverage(Synthetic::hall, 100, truths);
}

#[test]
fn figures_of_potentiometers_lie_within_their_uncertainty() {
    coverage(Synthetic::pot, 100, truths);
}

#[test]
fn a_single_noisy_cycle_at_a_slow_rate_still_covers_the_truth() {
    let make = |seed| Synthetic { cycles: 1, rate_hz: 1000.0, noise_v: [3e-3; 2], ..Synthetic::hall(seed) };
    coverage(make, 100, truths);
}
