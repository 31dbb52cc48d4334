//! A population of healthy bodies from their maps: mean, covariance, and how high the search goes on bodies that it has not seen. It judges no part.

use super::{
    ASSUMED_NULL, EULER, LEAST_BODIES, Null, Origin, Population, PopulationError, assumed_covariance,
};
use crate::analysis::body::tooth_map::{Layout, ToothMap};
use crate::analysis::body::worn_teeth;
use crate::analysis::statistics;

/// Share of the assumed covariance: this over the number of bodies, within bounds.
const SHRINK: (f64, f64, f64) = (20.0, 0.04, 0.9);
/// Folds of the search on bodies left out.
const FOLDS: usize = 5;

impl Population {
    /// From maps of healthy bodies.
    ///
    /// # Errors
    /// When there are too few of the standard layout, or they do not differ.
    pub fn learn(maps: &[ToothMap], pitch_deg: f64, origin: Origin) -> Result<Self, PopulationError> {
        let layout = Layout::STANDARD;
        let rows: Vec<&[f64]> = maps
            .iter()
            .filter(|m| m.layout == layout && m.lost_deg.iter().all(|v| v.is_finite()))
            .map(|m| m.lost_deg.as_slice())
            .collect();
        // As far as nine in ten of the maps go, and no fewer than are needed: the others ended short.
        let mut lengths: Vec<usize> = rows.iter().map(|r| r.len()).collect();
        lengths.sort_unstable();
        let kept = (9 * lengths.len()).div_ceil(10).max(LEAST_BODIES);
        let bins = lengths.get(lengths.len().saturating_sub(kept)).copied().unwrap_or(0);
        let rows: Vec<&[f64]> = rows.into_iter().filter(|r| r.len() >= bins).map(|r| &r[..bins]).collect();
        let layout = Layout { bins, ..layout };
        if rows.len() < LEAST_BODIES {
            return Err(PopulationError::TooFew { given: rows.len(), layout });
        }
        let mut whole = Self::fitted(&rows, layout, pitch_deg, origin.clone());
        let mut highest = Vec::with_capacity(rows.len());
        for fold in 0..FOLDS {
            let of = |inside: bool| -> Vec<&[f64]> {
                rows.iter()
                    .enumerate()
                    .filter(|(k, _)| (k % FOLDS == fold) == inside)
                    .map(|(_, r)| *r)
                    .collect()
            };
            let others = Self::fitted(&of(false), layout, pitch_deg, origin.clone());
            let search = worn_teeth::Search::new(&others).ok_or(PopulationError::NotDefinite)?;
            highest.extend(of(true).iter().map(|row| search.highest(row)));
        }
        whole.null = gumbel(&highest).ok_or(PopulationError::NotDefinite)?;
        Ok(whole)
    }

    fn fitted(rows: &[&[f64]], layout: Layout, pitch_deg: f64, origin: Origin) -> Self {
        let n = rows.len() as f64;
        let mean: Vec<f64> = (0..layout.bins).map(|k| rows.iter().map(|r| r[k]).sum::<f64>() / n).collect();
        let shrink = (SHRINK.0 / n).clamp(SHRINK.1, SHRINK.2);
        let covariance = (0..layout.bins)
            .map(|i| {
                (0..=i)
                    .map(|j| {
                        let sum: f64 = rows.iter().map(|r| (r[i] - mean[i]) * (r[j] - mean[j])).sum();
                        (1.0 - shrink) * sum / (n - 1.0)
                            + shrink * assumed_covariance(layout.deg(i), layout.deg(j))
                    })
                    .collect()
            })
            .collect();
        Self { origin, bodies: rows.len(), layout, pitch_deg, null: ASSUMED_NULL, mean, covariance }
    }
}

/// Gumbel distribution by mean and standard deviation.
fn gumbel(values: &[f64]) -> Option<Null> {
    let (mean, sd) = (statistics::mean(values)?, statistics::standard_deviation(values)?);
    let scale = sd * 6.0f64.sqrt() / std::f64::consts::PI;
    (scale > 0.0).then_some(Null { location: mean - EULER * scale, scale })
}
