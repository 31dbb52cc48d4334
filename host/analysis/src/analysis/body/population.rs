//! What the lost-motion maps of healthy bodies look like: their mean, how they vary together, and how high the search for worn teeth
//! goes on them. It is a data file; this file learns, reads and writes it, and holds the stand-in where none fits.
//!
//! The covariance is shrunk towards an assumed one (Ledoit, Wolf, J. Multivar. Anal. 88 (2004) 365, with a fixed share): few bodies
//! do not fill some 380 dimensions. How high the search goes is learned on bodies left out of the fit, in five folds, as a Gumbel
//! distribution by its moments (Gumbel, Statistics of Extremes, 1958).

mod learning;

use super::cholesky::Cholesky;
use super::tooth_map::{Layout, ToothMap};
use crate::sheet::PartSheet;
use serde::{Deserialize, Serialize};
use std::ops::Range;

/// Files that ship with the program: `tests/examples/learn_population.rs` writes them.
const SHIPPED: [&[u8]; 1] = [include_bytes!("populations/body.json")];
/// Format and version of the file.
pub const FORMAT: &str = "trackpair-population-1";
/// One unit of the stored covariance, degrees².
const COVARIANCE_UNIT: f64 = 1e-8;
/// One unit of the stored mean, degrees.
const MEAN_UNIT: f64 = 1e-5;
/// Noise that every bin has at least, degrees.
const FLOOR_DEG: f64 = 0.004;
/// Fewer bodies than this are no population.
pub const LEAST_BODIES: usize = 20;

/// Distribution of the largest z that the search finds on a healthy body.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Null {
    /// Location.
    pub location: f64,
    /// Scale, > 0.
    pub scale: f64,
}

impl Null {
    /// Probability that a healthy body shows `z` or more.
    pub fn exceeded(&self, z: f64) -> f64 {
        // 1 − exp(−e^(−x)), without loss of digits for small results.
        -(-(-(z - self.location) / self.scale).exp()).exp_m1()
    }

    /// The z that a healthy body exceeds with probability `p`.
    pub fn at(&self, p: f64) -> f64 {
        self.location - self.scale * (-(1.0 - p).ln()).ln()
    }

    /// Standard uncertainty of [`Null::at`] when location and scale are from the moments of so many bodies; none without bodies.
    ///
    /// Delta method with the skewness and kurtosis of a Gumbel distribution: s²/n·(1 + γK + K²(κ − 1)/4).
    pub fn uncertainty_at(&self, p: f64, bodies: usize) -> Option<f64> {
        let (skewness, kurtosis) = (1.139_547, 5.4);
        let sd = self.scale * std::f64::consts::PI / 6.0f64.sqrt();
        let k = (self.at(p) - self.location - EULER * self.scale) / sd;
        let factor = 1.0 + skewness * k + k * k * (kurtosis - 1.0) / 4.0;
        (bodies > 0).then(|| sd * (factor / bodies as f64).sqrt())
    }
}

/// Where the maps came from. Stored with them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Origin {
    /// True when the bodies were simulated.
    pub simulated: bool,
    /// Kind of body: part sheets whose gears and drive are alike.
    pub kind: String,
    /// Seeds or serial numbers, in words.
    pub seeds: String,
    /// Rig or rigs.
    pub rig: String,
    /// Versions of the programs that recorded and learned.
    pub program: String,
    /// Day it was learned, and anything else that counts.
    pub note: String,
}

/// Healthy bodies.
#[derive(Clone, Debug, PartialEq)]
pub struct Population {
    /// Where it came from.
    pub origin: Origin,
    /// How many bodies; 0 = assumed.
    pub bodies: usize,
    /// Bins.
    pub layout: Layout,
    /// Plate angle of a tooth's pitch, degrees.
    pub pitch_deg: f64,
    /// Largest z on healthy bodies.
    pub null: Null,
    mean: Vec<f64>,
    /// Row i holds the covariances with bins 0..=i.
    covariance: Vec<Vec<f64>>,
}

/// Why a population could not be learned or read.
#[derive(Debug, thiserror::Error)]
pub enum PopulationError {
    /// Too few maps of one layout.
    #[error(
        "{given} maps of the layout {layout:?} were given; at least {LEAST_BODIES} are needed: record more healthy bodies"
    )]
    TooFew {
        /// How many.
        given: usize,
        /// Of which layout.
        layout: Layout,
    },
    /// The covariance is not positive definite.
    #[error("the covariance is not positive definite: maps that are copies of each other tell no spread")]
    NotDefinite,
    /// The file is no population.
    #[error("not a population file ({FORMAT}): {0}")]
    Malformed(String),
}

/// The file.
#[derive(Serialize, Deserialize)]
struct Stored {
    format: String,
    origin: Origin,
    bodies: usize,
    layout: Layout,
    pitch_deg: f64,
    null: Null,
    mean_unit_deg: f64,
    mean: Vec<i64>,
    covariance_unit_deg2: f64,
    /// Lower triangle, row by row.
    covariance: Vec<i64>,
}

impl Population {
    /// The stand-in where none was learned: no mean, and a covariance from assumed gear errors, sensor bend and an error of K'.
    pub fn assumed() -> Self {
        let layout = Layout::STANDARD;
        let covariance = (0..layout.bins)
            .map(|i| (0..=i).map(|j| assumed_covariance(layout.deg(i), layout.deg(j))).collect())
            .collect();
        Self {
            origin: Origin {
                kind: "any".into(),
                note: "engineering assumption: no healthy bodies were measured".into(),
                ..Origin::default()
            },
            bodies: 0,
            layout,
            pitch_deg: 4.0,
            null: ASSUMED_NULL,
            mean: vec![0.0; layout.bins],
            covariance,
        }
    }

    /// The population that ships with the program for a kind of body; the stand-in where there is none.
    pub fn shipped(sheet: &PartSheet) -> Self {
        let learned = SHIPPED.iter().filter_map(|bytes| Self::parse(bytes).ok());
        learned.into_iter().find(|p| p.origin.kind == sheet.name).unwrap_or_else(Self::assumed)
    }

    /// Whether it was learned from bodies of the part's kind and its maps have the part's bins, as far as both go.
    pub fn fits(&self, map: &ToothMap, kind: &str) -> bool {
        self.bodies >= LEAST_BODIES && self.layout.agrees_with(&map.layout) && self.origin.kind == kind
    }

    /// How many of what, in words: stands in every outcome of a body that was judged among it.
    pub fn words(&self) -> String {
        if self.bodies == 0 {
            return format!("none: {}", self.origin.note);
        }
        let made = if self.origin.simulated { "SIMULATED" } else { "real" };
        format!("{} {made} bodies of the kind {}, {}", self.bodies, self.origin.kind, self.origin.program)
    }

    /// Mean lost motion, degrees, per bin.
    pub fn mean(&self) -> &[f64] {
        &self.mean
    }

    /// Standard deviation per bin, degrees.
    pub fn spread(&self) -> Vec<f64> {
        (0..self.layout.bins).map(|k| self.covariance[k][k].max(0.0).sqrt()).collect()
    }

    /// Factor of the covariance with the floor added; none when it is not positive definite.
    fn factor(&self) -> Option<Cholesky> {
        self.factor_with(0..self.layout.bins, |_| 0.0)
    }

    /// Factor of the covariance of some of the bins, with the floor and one more covariance of places `d` degrees apart added.
    pub(super) fn factor_with(&self, bins: Range<usize>, more: impl Fn(f64) -> f64) -> Option<Cholesky> {
        let first = bins.start;
        let apart: Vec<f64> = (0..bins.len()).map(|k| more(self.layout.bin_deg * k as f64)).collect();
        let floor = |i, j| if i == j { FLOOR_DEG * FLOOR_DEG } else { 0.0 };
        let of = |i: usize, j: usize| self.covariance[first + i][first + j] + floor(i, j) + apart[i - j];
        Cholesky::of(bins.len(), of)
    }

    /// As a file.
    pub fn write(&self) -> Vec<u8> {
        let stored = Stored {
            format: FORMAT.into(),
            origin: self.origin.clone(),
            bodies: self.bodies,
            layout: self.layout,
            pitch_deg: self.pitch_deg,
            null: self.null,
            mean_unit_deg: MEAN_UNIT,
            mean: self.mean.iter().map(|v| (v / MEAN_UNIT).round() as i64).collect(),
            covariance_unit_deg2: COVARIANCE_UNIT,
            covariance: self
                .covariance
                .iter()
                .flatten()
                .map(|v| (v / COVARIANCE_UNIT).round() as i64)
                .collect(),
        };
        serde_json::to_vec(&stored).unwrap_or_default()
    }

    /// From a file.
    ///
    /// # Errors
    /// When it is not one, or its numbers do not fit together.
    pub fn parse(bytes: &[u8]) -> Result<Self, PopulationError> {
        let malformed = |why: &str| PopulationError::Malformed(why.to_owned());
        let stored: Stored =
            serde_json::from_slice(bytes).map_err(|e| PopulationError::Malformed(e.to_string()))?;
        let bins = stored.layout.bins;
        if stored.format != FORMAT {
            return Err(malformed("another format or version"));
        }
        let sizes = stored.mean.len() == bins && stored.covariance.len() == bins * (bins + 1) / 2;
        if !sizes || !(10..=1000).contains(&bins) {
            return Err(malformed("mean, covariance and layout differ in size"));
        }
        let numbers = [
            stored.pitch_deg,
            stored.null.scale,
            stored.layout.bin_deg,
            stored.mean_unit_deg,
            stored.covariance_unit_deg2,
        ];
        if numbers.iter().any(|v| !(*v > 0.0 && v.is_finite())) || !stored.null.location.is_finite() {
            return Err(malformed("pitch, scale, units and bin width must be above 0"));
        }
        let mut flat = stored.covariance.iter().map(|v| *v as f64 * stored.covariance_unit_deg2);
        let covariance = (0..bins).map(|i| flat.by_ref().take(i + 1).collect()).collect();
        let population = Self {
            origin: stored.origin,
            bodies: stored.bodies,
            layout: stored.layout,
            pitch_deg: stored.pitch_deg,
            null: stored.null,
            mean: stored.mean.iter().map(|v| *v as f64 * stored.mean_unit_deg).collect(),
            covariance,
        };
        population.factor().ok_or(PopulationError::NotDefinite)?;
        Ok(population)
    }
}

/// Euler's constant.
const EULER: f64 = 0.577_215_664_901_532_9;
/// Largest z of the search on healthy bodies with the stand-in, self-scaled: from simulation of the first 38 degrees, and ln 2 scales more for
/// twice as many places (the largest of two samples of a Gumbel distribution). Engineering assumption.
const ASSUMED_NULL: Null = Null { location: 2.7, scale: 0.4 };

/// Smooth sensor bend, single-tooth errors, an error of K' that grows away from the reference (the physics study, part B, 3.6).
fn assumed_covariance(a: f64, b: f64) -> f64 {
    let d = a - b;
    let bend = 0.02f64.powi(2) * (-(d / 8.0).powi(2) / 2.0).exp();
    let teeth = 0.010f64.powi(2) * (-(d / 1.3).powi(2) / 2.0).exp();
    bend + teeth + (a - 31.0) * (b - 31.0) * 0.004f64.powi(2)
}
