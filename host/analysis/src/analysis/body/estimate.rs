//! A value with its standard uncertainty, and how several of one quantity become one. It knows no quantity by name.
//!
//! Sources: weighted mean and its uncertainty, GUM (JCGM 100:2008) 5.1.2 and H.5; the widening by the Birge ratio, Birge,
//! Phys. Rev. 40 (1932) 207.

use super::super::statistics;

/// A value and its standard uncertainty (k = 1), both finite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Standard uncertainty, ≥ 0.
    pub uncertainty: f64,
}

impl Estimate {
    /// None when either is not a number.
    pub fn new(value: f64, uncertainty: f64) -> Option<Self> {
        (value.is_finite() && uncertainty.is_finite())
            .then_some(Self { value, uncertainty: uncertainty.abs() })
    }

    /// The same with a further independent uncertainty.
    pub fn widened(self, by: f64) -> Self {
        Self { uncertainty: self.uncertainty.hypot(by), ..self }
    }

    /// The median of repeats and its uncertainty: 1.2533 of that of a mean (Kendall, Stuart, The Advanced Theory of Statistics 1,
    /// ch. 10), from the sample's spread, or from `least_spread` where that is larger or there is one value. None without values.
    pub fn median_of(values: &[f64], least_spread: f64) -> Option<Self> {
        let mut finite: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
        let middle = statistics::median(&mut finite)?;
        let n = finite.len() as f64;
        // Student's t at one standard deviation widens what few repeats say of their own spread.
        let few = if finite.len() >= 2 { statistics::t_quantile(0.841_345, n - 1.0) } else { 1.0 };
        let spread = statistics::standard_deviation(&finite).unwrap_or(0.0) * few;
        let factor = if finite.len() > 2 { 1.2533 } else { 1.0 };
        Self::new(middle, factor * spread.max(least_spread) / n.sqrt())
    }

    /// Mean weighted by 1/u², widened where the values differ by more than their uncertainties show. `common` is shared by all
    /// and does not average out. None without values.
    pub fn fused(of: &[Self], common: f64) -> Option<Self> {
        let floor = of.iter().map(|e| e.uncertainty).fold(0.0, f64::max) * 1e-3;
        let weight = |e: &Self| 1.0 / e.uncertainty.max(floor).max(1e-12).powi(2);
        let sum: f64 = of.iter().map(weight).sum();
        if of.is_empty() || !sum.is_finite() {
            return None;
        }
        let value = of.iter().map(|e| weight(e) * e.value).sum::<f64>() / sum;
        let chi: f64 = of.iter().map(|e| weight(e) * (e.value - value).powi(2)).sum();
        let birge = if of.len() > 1 { (chi / (of.len() - 1) as f64).sqrt().max(1.0) } else { 1.0 };
        Self::new(value, (birge / sum.sqrt()).hypot(common))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_values_are_weighted_by_their_uncertainties_and_widened_where_they_differ() {
        let of = |value, uncertainty| Estimate { value, uncertainty };
        let fused = Estimate::fused(&[of(1.0, 0.1), of(1.1, 0.2)], 0.0).expect("two values");
        // By hand: weights 100 and 25.
        assert!(
            (fused.value - 1.02).abs() < 1e-12 && (fused.uncertainty - 0.1 / 1.25f64.sqrt()).abs() < 1e-9
        );
        let apart = Estimate::fused(&[of(0.0, 0.1), of(1.0, 0.1)], 0.0).expect("two values");
        // χ² = 50 for one degree of freedom.
        assert!((apart.uncertainty - 0.1 / 2.0f64.sqrt() * 50.0f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn no_number_gives_no_estimate() {
        assert_eq!(Estimate::new(f64::NAN, 1.0), None);
        assert_eq!(Estimate::fused(&[], 0.0), None);
        assert_eq!(Estimate::median_of(&[f64::NAN], 1.0), None);
        assert_eq!(Estimate::median_of(&[2.0], 0.5), Some(Estimate { value: 2.0, uncertainty: 0.5 }));
    }
}
