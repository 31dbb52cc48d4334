//! Shares with exact bounds, and magnitudes of errors: what studies count. It prints nothing.

use serde::Serialize;
use trackpair::analysis::statistics::{clopper_pearson, quantile};

/// So many of so many, with exact 95 % two-sided bounds (Clopper and Pearson 1934).
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Share {
    /// How many.
    pub hits: u64,
    /// Of how many.
    pub of: u64,
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
}

impl Share {
    /// Counts those of `all` for which `hit` holds.
    pub fn count<T>(all: &[T], hit: impl Fn(&T) -> bool) -> Self {
        Self::new(all.iter().filter(|t| hit(t)).count() as u64, all.len() as u64)
    }

    /// From counts.
    pub fn new(hits: u64, of: u64) -> Self {
        let (low, high) = if of == 0 { (0.0, 1.0) } else { clopper_pearson(hits, of, 0.95) };
        Self { hits, of, low, high }
    }
}

impl std::fmt::Display for Share {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.of == 0 {
            return f.pad("-");
        }
        let share = self.hits as f64 / self.of as f64;
        f.pad(&format!("{share:.3} ({:.3}-{:.3})", self.low, self.high))
    }
}

/// Magnitudes of errors.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Magnitude {
    /// How many.
    pub count: u64,
    /// Median.
    pub median: f64,
    /// 95th percentile.
    pub at_95: f64,
}

impl Magnitude {
    /// None of nothing.
    pub fn of(values: impl Iterator<Item = f64>) -> Option<Self> {
        let mut all: Vec<f64> = values.map(f64::abs).collect();
        let (median, at_95) = (quantile(&mut all, 0.5)?, quantile(&mut all, 0.95)?);
        Some(Self { count: all.len() as u64, median, at_95 })
    }
}
