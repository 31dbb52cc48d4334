//! Which single cause explains how the pair deviates: every hypothesis fitted by generalised least squares against the scatter
//! of healthy parts, then weighed against the others. It names causes with a probability; ambiguous stays ambiguous.

use super::deviation::{self, Six};
use super::leak_current;
use crate::analysis::leads::AtPlace;
use crate::quantity::FindingKind;
use crate::sheet::PartSheet;

/// χ² of six numbers from which a pair is not healthy: 3·10⁻⁴ for normal scatter as stated in `deviation`, which is wider than
/// that of the simulated parts (largest of 300: 20.6).
pub(super) const UNHEALTHY: f64 = 25.0;
/// Weight of what one cause explains: 25/1.5 = 16.7 is 4.1 standard deviations.
const SINGLE_WEIGHT: f64 = 1.5;
/// Penalty per further free parameter of a hypothesis (Occam factor; engineering assumption).
const PENALTY: f64 = 4.0;
/// Leaks below this are shorts rather than moisture, and rarer the lower they are, Ω. Engineering assumption.
const LIKELY_LEAK_OHM: f64 = 1500.0;
/// Source of an active output, and of a track at its middle, where no load step has measured it, Ω; typical orders.
const TYPICAL_SOURCE_OHM: [f64; 2] = [50.0, 450.0];
/// A shift may begin to grow at one of these shares of the travel.
const GROWS_FROM: [f64; 3] = [0.1, 0.25, 0.4];
/// Wiper contact of a resistive track, Ω; typical order, engineering assumption.
const WIPER_OHM: f64 = 80.0;

/// A cause and how well it explains the pair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Explained {
    /// Kind.
    pub kind: FindingKind,
    /// Line; none for both.
    pub line: Option<usize>,
    /// Size, % of supply (gain: % of gain).
    pub size: f64,
    /// What is left unexplained.
    pub chi_square: f64,
    /// Probability against the other causes, 0..1.
    pub probability: f64,
}

/// What is known besides the six numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Known {
    /// The supply step spoke for or against lead drops: then they are not guessed from the curves.
    pub leads_told: bool,
    /// Source resistance of each line at the middle, Ω, when a load step was done.
    pub source_ohm: [Option<f64>; 2],
    /// A resistive track (true), an active output (false), unknown (none).
    pub track: Option<bool>,
    /// Supply current along the travel.
    pub by_place: [Option<AtPlace>; 3],
}

/// One hypothesis: directions in the space of six numbers, and a sign that the first must have.
struct Hypothesis {
    kind: FindingKind,
    line: Option<usize>,
    directions: Vec<Six>,
    positive: bool,
    /// Parameters that were chosen from a list rather than fitted.
    chosen: f64,
    /// For a leak: whether it leads to the supply.
    to_supply: Option<bool>,
}

/// Score of the pair: its χ², or what one cause with one free size explains of it, weighed up because one number scatters
/// less than six. Unhealthy beyond [`UNHEALTHY`].
pub(super) fn score(six: &Six, sheet: &PartSheet, known: &Known) -> Option<f64> {
    let precision = deviation::precision(sheet)?;
    let total = deviation::product(&precision, six, six);
    let single = hypotheses(sheet, known)
        .iter()
        .filter(|h| h.directions.len() == 1)
        .filter_map(|h| fit(&precision, six, h))
        .map(|(_, left)| total - left)
        .fold(0.0, f64::max);
    Some(total.max(SINGLE_WEIGHT * single))
}

/// Causes of an unhealthy pair, most probable first; one entry per kind and line.
pub(super) fn explain(six: &Six, sheet: &PartSheet, known: &Known) -> Vec<Explained> {
    let Some(precision) = deviation::precision(sheet) else { return Vec::new() };
    let mut out: Vec<Explained> = Vec::new();
    for h in hypotheses(sheet, known) {
        let Some((size, left)) = fit(&precision, six, &h) else { continue };
        let free = (h.directions.len() - 1) as f64 + h.chosen;
        let chi_square = left + PENALTY * free + unlikely_leak(&h, size, known) + misfit(&h, size, known);
        match out.iter_mut().find(|e| e.kind == h.kind && e.line == h.line) {
            Some(e) if e.chi_square <= chi_square => {}
            Some(e) => (e.size, e.chi_square) = (size, chi_square),
            None => out.push(Explained { kind: h.kind, line: h.line, size, chi_square, probability: 0.0 }),
        }
    }
    let best = out.iter().map(|e| e.chi_square).fold(f64::INFINITY, f64::min);
    // What no hypothesis explains well must not be decided by small differences.
    let scale = (best / 6.0).max(1.0);
    let weight = |e: &Explained| (-0.5 * (e.chi_square - best) / scale).exp();
    let sum: f64 = out.iter().map(weight).sum();
    out.iter_mut().for_each(|e| e.probability = weight(e) / sum);
    out.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    out
}

fn hypotheses(sheet: &PartSheet, known: &Known) -> Vec<Hypothesis> {
    let mut out = Vec::new();
    let both = |d: &dyn Fn(f64) -> f64| -> Six {
        let (a, b) = (deviation::three_of(sheet.rising, d), deviation::three_of(sheet.falling, d));
        [a[0], a[1], a[2], b[0], b[1], b[2]]
    };
    let one = |line: usize, d: &dyn Fn(f64) -> f64| -> Six {
        let three = deviation::three_of(sheet.line(line), d);
        let mut six = [0.0; 6];
        six[3 * line..3 * line + 3].copy_from_slice(&three);
        six
    };
    if !known.leads_told {
        let lead = |kind, direction| Hypothesis {
            kind,
            line: None,
            directions: vec![direction],
            positive: true,
            chosen: 0.0,
            to_supply: None,
        };
        out.push(lead(FindingKind::GroundLead, both(&|f| 1.0 - f)));
        out.push(lead(FindingKind::SupplyLead, both(&|f| -f)));
    }
    let shares = [sheet.rising, sheet.falling].map(|l| l.open - l.closed);
    let shared = |k: usize| {
        let mut six = [0.0; 6];
        for line in 0..2 {
            six[3 * line + k] = if k == 1 { 1.0 } else { shares[line] };
        }
        six
    };
    out.push(Hypothesis {
        kind: FindingKind::CommonNonlinearity,
        line: None,
        directions: vec![shared(0), shared(1), shared(2)],
        positive: false,
        chosen: 0.0,
        to_supply: None,
    });
    for line in 0..2 {
        for profile in profiles(known, line) {
            let to_ground = one(line, &|f| -f * profile(f));
            let to_supply = one(line, &|f| (1.0 - f) * profile(f));
            for (direction, to_supply) in [(to_ground, false), (to_supply, true)] {
                out.push(Hypothesis {
                    kind: FindingKind::Leakage,
                    line: Some(line),
                    directions: vec![direction],
                    positive: true,
                    chosen: 0.0,
                    to_supply: Some(to_supply),
                });
            }
        }
        let (gain, offset) = (one(line, &|f| f - 0.5), one(line, &|_| 1.0));
        let mut bow = [0.0; 6];
        bow[3 * line + 2] = 1.0;
        for directions in [vec![offset], vec![gain], vec![offset, gain], vec![offset, gain, bow]] {
            out.push(Hypothesis {
                kind: FindingKind::GainOffset,
                line: Some(line),
                directions,
                positive: false,
                chosen: 0.0,
                to_supply: None,
            });
        }
        for from in GROWS_FROM {
            let nominal = sheet.line(line);
            let travelled = move |f: f64| (f - nominal.closed) / (nominal.open - nominal.closed);
            out.push(Hypothesis {
                kind: FindingKind::GainOffset,
                line: Some(line),
                directions: vec![one(line, &|f| (travelled(f) - from).max(0.0) / (1.0 - from))],
                positive: false,
                chosen: 0.5,
                to_supply: None,
            });
        }
    }
    out
}

/// Resistance of a leak that shifts a line by `size`, % of supply, Ω.
fn leak_ohm(line: usize, size: f64, known: &Known) -> f64 {
    let typical = TYPICAL_SOURCE_OHM[usize::from(known.track != Some(false))];
    known.source_ohm[line].unwrap_or(typical) / (size.abs() / 100.0).max(1e-4)
}

/// How badly the supply current along the travel fits: a leak draws its own, a wrong gain or offset none.
fn misfit(h: &Hypothesis, size: f64, known: &Known) -> f64 {
    let Some(track) = known.track else { return 0.0 };
    let leak = h.line.zip(h.to_supply).map(|(line, to_supply)| leak_current::Leak {
        line,
        to_supply,
        ohm: leak_ohm(line, size, known),
    });
    leak_current::misfit(&known.by_place, leak, track)
}

/// Penalty on a leak whose resistance would be so low that it is a short.
fn unlikely_leak(h: &Hypothesis, size: f64, known: &Known) -> f64 {
    let (FindingKind::Leakage, Some(line)) = (h.kind, h.line) else { return 0.0 };
    let ohm = leak_ohm(line, size, known);
    2.0 * PENALTY * (LIKELY_LEAK_OHM / ohm).ln().max(0.0)
}

/// How the source resistance goes along the travel, 1 in the middle: constant for an active output; wiper and f·(1 − f) of the
/// track for a divider.
fn profiles(known: &Known, line: usize) -> Vec<Box<dyn Fn(f64) -> f64>> {
    let mut out: Vec<Box<dyn Fn(f64) -> f64>> = Vec::new();
    if known.track != Some(true) {
        out.push(Box::new(|_| 1.0));
    }
    if known.track != Some(false) {
        let middle = known.source_ohm[line].unwrap_or(450.0).max(1.5 * WIPER_OHM);
        let wiper = WIPER_OHM / middle;
        out.push(Box::new(move |f| wiper + (1.0 - wiper) * 4.0 * f * (1.0 - f)));
    }
    out
}

/// Generalised least squares on up to three directions: size along the first and χ² left. None when its sign is wrong.
fn fit(precision: &[[f64; 6]; 6], six: &Six, h: &Hypothesis) -> Option<(f64, f64)> {
    // Orthogonalise in the metric of the precision, take each share off in turn.
    let mut basis: Vec<Six> = Vec::new();
    let mut left = *six;
    let mut size = 0.0;
    for (k, direction) in h.directions.iter().enumerate() {
        let mut d = *direction;
        for b in &basis {
            let share = deviation::product(precision, &d, b);
            (0..6).for_each(|i| d[i] -= share * b[i]);
        }
        let norm = deviation::product(precision, &d, &d).sqrt();
        if norm < 1e-9 {
            continue;
        }
        d.iter_mut().for_each(|v| *v /= norm);
        let amount = deviation::product(precision, &left, &d);
        if k == 0 {
            size = amount / norm;
        }
        (0..6).for_each(|i| left[i] -= amount * d[i]);
        basis.push(d);
    }
    if h.positive && size <= 0.0 {
        return None;
    }
    Some((size, deviation::product(precision, &left, &left)))
}
