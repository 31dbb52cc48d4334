//! What a decision rule risks: how likely a part that is beyond a limit is accepted (the consumer's risk), and a part that keeps it is
//! called outside or left undecided (the producer's). Numbers in, numbers out; it knows nothing of figures.
//!
//! Source: JCGM 106:2012, clauses 8 (guard bands) and 9 (risks). The true value X of parts has a density; a measurement gives
//! Y = X + normal error of standard uncertainty u; Y in the acceptance zone is accepted. The global risks are integrals over both
//! (9.5.2, equations 19 and 20, from memory): `Rc = ∫ beyond P(Y accepted | x) p(x) dx`, `Rp = ∫ inside P(Y not accepted | x) p(x) dx`.
//! JCGM 106 knows two decisions; here there is a third between them, so the producer's risk has two parts.

use super::conformity::{below, probability};
use super::integral::integrals;

/// Beyond so many standard deviations a normal density counts for nothing: 1e-19.
const FAR: f64 = 9.0;
/// Most panels of an integration: a spread of parts 2000 uncertainties wide.
const MOST_PANELS: usize = 20_000;

/// A decision rule at the limits of one figure, for one standard uncertainty: where a measured value is accepted and where it is called
/// outside. What is neither is undecided.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Zones {
    /// Smallest and largest accepted value; infinite where there is no limit. None where the limits are so near that nothing is accepted.
    pub accepted: Option<(f64, f64)>,
    /// From here downward it is outside; −∞ without a lower limit.
    pub outside_below: f64,
    /// From here upward it is outside; ∞ without an upper limit.
    pub outside_above: f64,
}

/// What happens to parts: shares that add up to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shares {
    /// Called within.
    pub accepted: f64,
    /// Called outside.
    pub outside: f64,
    /// Neither.
    pub undecided: f64,
}

/// What a rule does to all parts of a kind: shares of all of them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Risks {
    /// Parts that are truly beyond a limit.
    pub beyond: f64,
    /// Consumer's risk: beyond a limit, and accepted.
    pub consumer: f64,
    /// Producer's risk: keeps its limits, and called outside.
    pub producer: f64,
    /// Keeps its limits, and left undecided.
    pub held_back: f64,
    /// The risks over all parts.
    pub said: Shares,
}

impl Risks {
    /// Of the parts that are accepted, the share that is truly beyond a limit; 0 where none is accepted.
    pub fn of_accepted(&self) -> f64 {
        if self.said.accepted > 0.0 { self.consumer / self.said.accepted } else { 0.0 }
    }
}

/// Limits, of which one may be missing, and the standard uncertainty of the measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Smallest allowed.
    pub min: Option<f64>,
    /// Largest allowed.
    pub max: Option<f64>,
    /// Standard uncertainty, ≥ 0.
    pub u: f64,
}

impl Measured {
    /// The zones of the rule that `within` and `outside` need the probability `sure` each: what
    /// [`conformity`](super::conformity()) does, turned round. A single limit has a guard band of the normal quantile times u.
    pub fn zones(&self, sure: f64) -> Zones {
        let guard = super::guard_factor(sure) * self.u;
        let outside_below = self.min.map_or(f64::NEG_INFINITY, |min| min - guard);
        let outside_above = self.max.map_or(f64::INFINITY, |max| max + guard);
        let accepted = match (self.min, self.max) {
            (None, None) => Some((f64::NEG_INFINITY, f64::INFINITY)),
            (Some(min), None) => Some((min + guard, f64::INFINITY)),
            (None, Some(max)) => Some((f64::NEG_INFINITY, max - guard)),
            (Some(min), Some(max)) => self.between(min, max, sure),
        };
        Zones { accepted, outside_below, outside_above }
    }

    /// The accepted values between two limits. Nearer than the two guard bands, what lies beyond both limits counts together, so the zone
    /// is searched for: the probability falls from the middle to either side.
    fn between(&self, min: f64, max: f64, sure: f64) -> Option<(f64, f64)> {
        let keeps = |y: f64| probability(y, self.u, Some(min), Some(max)) >= sure;
        let middle = f64::midpoint(min, max);
        if !keeps(middle) {
            return None;
        }
        let (mut inside, mut beyond) = (0.0, 0.5 * (max - min) + self.u);
        for _ in 0..100 {
            let half = f64::midpoint(inside, beyond);
            if keeps(middle + half) { inside = half } else { beyond = half }
        }
        Some((middle - inside, middle + inside))
    }

    /// The risks of a part whose true value is `x`.
    pub fn said(&self, x: f64, zones: &Zones) -> Shares {
        let under = |y: f64| if y.is_infinite() { f64::from(y > 0.0) } else { below(x, self.u, y) };
        let accepted = zones.accepted.map_or(0.0, |(low, high)| (under(high) - under(low)).max(0.0));
        let outside = (under(zones.outside_below) + 1.0 - under(zones.outside_above)).clamp(0.0, 1.0);
        Shares { accepted, outside, undecided: (1.0 - accepted - outside).max(0.0) }
    }

    /// Whether a true value is beyond a limit.
    fn is_beyond(&self, x: f64) -> bool {
        self.min.is_some_and(|min| x < min) || self.max.is_some_and(|max| x > max)
    }

    /// The risks for parts whose true values have a `density` within `span` (it integrates to 1 there) and change over `scale`, > 0.
    pub fn risks(&self, zones: &Zones, span: (f64, f64), scale: f64, density: impl Fn(f64) -> f64) -> Risks {
        let edges = [self.min, self.max, Some(zones.outside_below), Some(zones.outside_above)];
        let accepted = zones.accepted.map(|(low, high)| [low, high]).into_iter().flatten();
        let mut cuts: Vec<f64> = edges.into_iter().flatten().chain(accepted).collect();
        cuts.retain(|cut| span.0 < *cut && *cut < span.1);
        cuts.extend([span.0, span.1]);
        cuts.sort_by(f64::total_cmp);
        // Between cuts all is smooth, on the scale of the finer of both spreads.
        let fine = if self.u > 0.0 { scale.min(self.u) } else { scale };
        let mut risks = Risks::default();
        for piece in cuts.windows(2).map(|w| (w[0], w[1])) {
            let panels = ((piece.1 - piece.0) / fine).ceil().min(MOST_PANELS as f64) as usize;
            let beyond = self.is_beyond(f64::midpoint(piece.0, piece.1));
            let [accepted, outside, undecided] = integrals(piece, panels, |x| {
                let (said, p) = (self.said(x, zones), density(x));
                [said.accepted * p, said.outside * p, said.undecided * p]
            });
            risks.said.accepted += accepted;
            risks.said.outside += outside;
            risks.said.undecided += undecided;
            if beyond {
                risks.beyond += accepted + outside + undecided;
                risks.consumer += accepted;
            } else {
                risks.producer += outside;
                risks.held_back += undecided;
            }
        }
        risks
    }

    /// The same for parts that are spread normally, `sd` > 0.
    pub fn risks_of_normal(&self, zones: &Zones, mean: f64, sd: f64) -> Risks {
        let density =
            |x: f64| (-0.5 * ((x - mean) / sd).powi(2)).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt());
        self.risks(zones, (mean - FAR * sd, mean + FAR * sd), sd, density)
    }
}

#[cfg(test)]
#[path = "risk_tests.rs"]
mod tests;
