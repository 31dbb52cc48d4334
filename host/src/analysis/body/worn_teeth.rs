//! Search for worn teeth on a lost-motion map: a matched filter on whitened data. It knows no limit and names no cause.
//!
//! A worn tooth adds a bump of known shape. With the healthy mean μ and covariance C: z(c) = s'C⁻¹(y − μ)/√(s'C⁻¹s), depth(c) =
//! s'C⁻¹(y − μ)/(s'C⁻¹s) (Kay, Fundamentals of Statistical Signal Processing II, 1998, 4.4). The spread of z over the upper
//! part of the map, where teeth do not wear, scales z where it is above 1: gears of another class then raise no false alarm. What a part has of
//! its own ([`super::own_errors`]) is added to C.

use super::cholesky::Cholesky;
use super::estimate::Estimate;
use super::own_errors::{self, Texture};
use super::population::Population;
use super::tooth_map::ToothMap;
use crate::analysis::statistics;

/// Step of the places searched, degrees.
const STEP_DEG: f64 = 0.25;
/// First place searched, degrees above rest: the flank of the next tooth's bump.
const FIRST_DEG: f64 = 0.5;
/// A healthy body exceeds the threshold with this probability.
pub const FALSE_ALARM: f64 = 1e-3;
/// Standard normal quantile for the limit of detection: 95 % are found.
const FOUND: f64 = 1.645;
/// What a tooth's true shape and the choice of the highest place add to a depth's uncertainty, degrees. From simulation.
const SHAPE_DEG: f64 = 0.012;
/// At most so many bumps are told.
const MOST: usize = 4;

/// Where a tooth with full load on it gives 1: flat over 0.4 of the pitch, raised cosine to 0 at half a pitch from its middle.
pub fn tooth_shape(deg: f64, pitch_deg: f64) -> f64 {
    let u = deg.abs() / pitch_deg;
    if u < 0.2 {
        1.0
    } else if u < 0.5 {
        0.5 * (1.0 + (std::f64::consts::PI * (u - 0.2) / 0.3).cos())
    } else {
        0.0
    }
}

/// A bump that stands out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bump {
    /// Its middle, degrees of travel.
    pub at_deg: f64,
    /// Lost motion there, degrees.
    pub depth: Estimate,
    /// How many standard deviations of healthy bodies.
    pub z: f64,
    /// Probability that a healthy body shows this anywhere.
    pub false_alarm: f64,
}

/// What the search tells.
#[derive(Clone, Debug, PartialEq)]
pub struct Worn {
    /// The highest place, whether or not it stands out.
    pub highest: Bump,
    /// Places above the threshold, highest first.
    pub bumps: Vec<Bump>,
    /// Threshold of z.
    pub threshold: f64,
    /// Depth that would be found with 95 %, degrees, along the travel.
    pub limit: Vec<(f64, f64)>,
    /// The map less the mean of healthy bodies, degrees, per bin.
    pub off_deg: Vec<f64>,
    /// Factor that z was divided by: spread over the upper part of the map, at least 1.
    pub scale: f64,
}

/// A population made ready.
pub struct Search<'p> {
    population: &'p Population,
    factor: Cholesky,
    /// Places, degrees above rest.
    places: Vec<f64>,
    /// Whitened shapes and their squared lengths.
    shapes: Vec<(Vec<f64>, f64)>,
}

impl<'p> Search<'p> {
    /// None when the population's covariance is not positive definite.
    pub fn new(population: &'p Population) -> Option<Self> {
        Self::past(population, own_errors::NONE)
    }

    /// A search that looks past a texture of the part's own too.
    fn past(population: &'p Population, texture: Texture) -> Option<Self> {
        let layout = population.layout;
        let own = own_errors::covariance(population.pitch_deg, texture);
        let factor = population.factor_with(0..layout.bins, own)?;
        // A tooth at the end of the map is not seen whole.
        let last = layout.end_deg() - population.pitch_deg;
        let places: Vec<f64> =
            (0..).map(|k| FIRST_DEG + STEP_DEG * f64::from(k)).take_while(|c| *c <= last).collect();
        let shapes = places
            .iter()
            .map(|c| {
                let shape: Vec<f64> =
                    (0..layout.bins).map(|k| tooth_shape(layout.deg(k) - c, population.pitch_deg)).collect();
                let white = factor.whiten(&shape);
                let length = white.iter().map(|v| v * v).sum();
                (white, length)
            })
            .collect();
        Some(Self { population, factor, places, shapes })
    }

    /// z at every place, and its scale. A depth has z/√length.
    fn scan(&self, lost_deg: &[f64]) -> (Vec<f64>, f64) {
        let off: Vec<f64> = lost_deg.iter().zip(self.population.mean()).map(|(y, m)| y - m).collect();
        let white = self.factor.whiten(&off);
        let z: Vec<f64> = self
            .shapes
            .iter()
            .map(|(s, length)| {
                s.iter().zip(&white).map(|(a, b)| a * b).sum::<f64>() / length.max(1e-12).sqrt()
            })
            .collect();
        let upper = self.population.layout.reference_deg - 3.0;
        let mut reference: Vec<f64> =
            self.places.iter().zip(&z).filter(|(c, _)| **c >= upper).map(|(_, z)| *z).collect();
        let scale = statistics::standard_deviation(&reference)
            .unwrap_or(1.0)
            .min(1.3 * statistics::robust_sd(&mut reference).unwrap_or(1.0))
            .max(1.0);
        (z.iter().map(|z| z / scale).collect(), scale)
    }

    /// Largest z of a map.
    pub(super) fn highest(&self, lost_deg: &[f64]) -> f64 {
        let fitted =
            own_errors::texture(self.population, lost_deg).and_then(|t| Self::past(self.population, t));
        fitted.as_ref().unwrap_or(self).highest_as_it_is(lost_deg)
    }

    fn highest_as_it_is(&self, lost_deg: &[f64]) -> f64 {
        self.scan(lost_deg).0.into_iter().fold(f64::NEG_INFINITY, f64::max)
    }

    /// Searches a map.
    pub fn find(&self, map: &ToothMap) -> Option<Worn> {
        if map.lost_deg.len() != self.population.layout.bins || map.lost_deg.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let fitted =
            own_errors::texture(self.population, &map.lost_deg).and_then(|t| Self::past(self.population, t));
        fitted.as_ref().unwrap_or(self).find_as_it_is(map)
    }

    fn find_as_it_is(&self, map: &ToothMap) -> Option<Worn> {
        let null = self.population.null;
        let threshold = null.at(FALSE_ALARM);
        let mut left = map.lost_deg.clone();
        let (z, scale) = self.scan(&left);
        let highest = self.bump(&z, scale, map.rest_deg)?;
        let mut bumps = Vec::new();
        let mut next = highest;
        while next.z > threshold && bumps.len() < MOST {
            bumps.push(next);
            for (k, v) in left.iter_mut().enumerate() {
                let deg = map.rest_deg + self.population.layout.deg(k);
                *v -= next.depth.value * tooth_shape(deg - next.at_deg, self.population.pitch_deg);
            }
            let (z, scale) = self.scan(&left);
            next = self.bump(&z, scale, map.rest_deg)?;
        }
        let off_deg = map.lost_deg.iter().zip(self.population.mean()).map(|(y, m)| y - m).collect();
        let limit = self.limit(map.rest_deg, scale);
        Some(Worn { highest, bumps, threshold, limit, off_deg, scale })
    }

    /// Depth, degrees, that would be found with 95 % along the travel, for a body that rests at `rest_deg` and scatters `scale` times
    /// (1 or more) as much as the population.
    pub fn limit(&self, rest_deg: f64, scale: f64) -> Vec<(f64, f64)> {
        let z = scale * (self.population.null.at(FALSE_ALARM) + FOUND);
        let depth = |length: f64| z / length.max(1e-12).sqrt();
        self.places.iter().zip(&self.shapes).map(|(c, (_, length))| (rest_deg + c, depth(*length))).collect()
    }

    fn bump(&self, z: &[f64], scale: f64, rest_deg: f64) -> Option<Bump> {
        let k = (0..z.len()).max_by(|a, b| z[*a].total_cmp(&z[*b]))?;
        let one = scale / self.shapes[k].1.max(1e-12).sqrt();
        Some(Bump {
            at_deg: rest_deg + self.places[k],
            depth: Estimate::new(z[k] * one, one)?.widened(SHAPE_DEG),
            z: z[k],
            false_alarm: self.population.null.exceeded(z[k]),
        })
    }
}
