//! Search for worn teeth on a lost-motion map: a matched filter on whitened data. It knows no limit and names no cause.
//!
//! A worn tooth adds a bump of known shape. With the healthy mean μ and covariance C: z(c) = s'C⁻¹(y − μ)/√(s'C⁻¹s), depth(c) =
//! s'C⁻¹(y − μ)/(s'C⁻¹s) (Kay, Fundamentals of Statistical Signal Processing II, 1998, 4.4). The spread of z from the middle of
//! the travel up scales z where it is above 1, robustly, because a tooth may be worn there too: gears of another class then raise no
//! false alarm. What a part has of its own ([`super::own_errors`]) is added to C. A map that ends short of the population's is searched as far
//! as it goes: the leading block of a covariance has the leading block of its factor.

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
/// A tooth whose middle is nearer than this to the end of the map is not searched for: less than its flat top would be seen, degrees.
const END_DEG: f64 = 0.8;
/// A healthy body exceeds the threshold with this probability.
pub const FALSE_ALARM: f64 = 1e-3;
/// Standard normal quantile for the limit of detection: 95 % are found.
const FOUND: f64 = 1.645;
/// What a tooth's true shape and the choice of the highest place add to a depth's uncertainty, degrees. From simulation.
const SHAPE_DEG: f64 = 0.012;
/// At most so many bumps are reported.
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

/// What a tooth at a place, degrees above rest, adds to a map: its shape less the part of it that the map's own mean takes off.
fn shape_at(population: &Population, at_deg: f64) -> Vec<f64> {
    let layout = population.layout;
    let mut shape: Vec<f64> =
        (0..layout.bins).map(|k| tooth_shape(layout.deg(k) - at_deg, population.pitch_deg)).collect();
    let reference: Vec<f64> =
        (0..layout.bins).filter(|k| layout.is_reference(*k)).map(|k| shape[k]).collect();
    let level = statistics::mean(&reference).unwrap_or(0.0);
    shape.iter_mut().for_each(|v| *v -= level);
    shape
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

/// What the search shows.
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
    /// Factor that z was divided by once the bumps were off: spread over the upper part of the map, at least 1.
    pub scale: f64,
}

/// A map taken apart.
struct Peeled {
    highest: Bump,
    bumps: Vec<Bump>,
    /// The map without its bumps.
    left: Vec<f64>,
    /// Factor that the last z were divided by, when no bump was left.
    scale: f64,
}

/// A population made ready.
pub struct Search<'p> {
    population: &'p Population,
    factor: Cholesky,
    /// Places, degrees above rest.
    places: Vec<f64>,
    /// Whitened shapes.
    shapes: Vec<Vec<f64>>,
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
        let last = layout.end_deg(layout.bins) - END_DEG;
        let places: Vec<f64> =
            (0..).map(|k| FIRST_DEG + STEP_DEG * f64::from(k)).take_while(|c| *c <= last).collect();
        let shapes = places.iter().map(|c| factor.whiten(&shape_at(population, *c))).collect();
        Some(Self { population, factor, places, shapes })
    }

    /// Places that a map of so many bins shows, and the squared lengths of their whitened shapes as far as it goes.
    fn seen(&self, bins: usize) -> Vec<f64> {
        let last = self.population.layout.end_deg(bins) - END_DEG;
        let seen = self.places.iter().zip(&self.shapes).take_while(|(c, _)| **c <= last);
        seen.map(|(_, s)| s[..bins].iter().map(|v| v * v).sum::<f64>().max(1e-12)).collect()
    }

    /// z at every place that the map shows, and its scale. A depth has z/√length.
    fn scan(&self, lost_deg: &[f64], lengths: &[f64]) -> (Vec<f64>, f64) {
        let bins = self.population.layout.bins;
        let mut off: Vec<f64> = lost_deg.iter().zip(self.population.mean()).map(|(y, m)| y - m).collect();
        off.resize(bins, 0.0);
        // Only the leading part counts, and the whitening of that does not see the rest.
        let white = self.factor.whiten(&off);
        let z: Vec<f64> = self
            .shapes
            .iter()
            .zip(lengths)
            .map(|(s, length)| {
                let along = s.iter().zip(&white).take(lost_deg.len()).map(|(a, b)| a * b).sum::<f64>();
                along / length.sqrt()
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
        let lost_deg = &lost_deg[..lost_deg.len().min(self.population.layout.bins)];
        let suited = self.suited_to(lost_deg);
        let search = suited.as_ref().unwrap_or(self);
        let (z, _) = search.scan(lost_deg, &search.seen(lost_deg.len()));
        z.into_iter().fold(f64::NEG_INFINITY, f64::max)
    }

    /// Searches a map.
    pub fn find(&self, map: &ToothMap) -> Option<Worn> {
        let layout = self.population.layout;
        let bins = map.lost_deg.len().min(layout.bins);
        if bins + 4 < layout.least_bins() || !map.layout.agrees_with(&layout) {
            return None;
        }
        let lost_deg = &map.lost_deg[..bins];
        if lost_deg.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let suited = self.suited_to(lost_deg);
        let search = suited.as_ref().unwrap_or(self);
        let peeled = search.peel(lost_deg)?;
        // Which tooth is in mesh, the gear on the rotor's side says.
        let on_the_travel = |bump: Bump| Bump { at_deg: map.rest_deg + bump.at_deg, ..bump };
        Some(Worn {
            highest: on_the_travel(peeled.highest),
            bumps: peeled.bumps.into_iter().map(on_the_travel).collect(),
            threshold: self.threshold(),
            limit: search.limit(map.rest_deg, bins, peeled.scale),
            off_deg: lost_deg.iter().zip(self.population.mean()).map(|(y, m)| y - m).collect(),
            scale: peeled.scale,
        })
    }

    /// The search that looks past the map's own texture; none where it shows none. The bumps that stand out without one are taken off first,
    /// or a worn tooth would pass for texture and hide the others.
    fn suited_to(&self, lost_deg: &[f64]) -> Option<Self> {
        let rest = self.peel(lost_deg)?.left;
        own_errors::texture(self.population, &rest).and_then(|t| Self::past(self.population, t))
    }

    /// Takes one bump after the other off a map, highest first, until none stands out. Their places are the rotor's, degrees above rest.
    fn peel(&self, lost_deg: &[f64]) -> Option<Peeled> {
        let mut left = lost_deg.to_vec();
        let lengths = self.seen(left.len());
        let (z, mut scale) = self.scan(&left, &lengths);
        let highest = self.bump(&z, &lengths, scale)?;
        let (mut bumps, mut next) = (Vec::new(), highest);
        while next.z > self.threshold() && bumps.len() < MOST {
            bumps.push(next);
            let shape = shape_at(self.population, next.at_deg);
            left.iter_mut().zip(shape).for_each(|(v, s)| *v -= next.depth.value * s);
            let (z, rest) = self.scan(&left, &lengths);
            scale = rest;
            next = self.bump(&z, &lengths, scale)?;
        }
        Some(Peeled { highest, bumps, left, scale })
    }

    /// z that a healthy body exceeds with [`FALSE_ALARM`].
    fn threshold(&self) -> f64 {
        self.population.null.at(FALSE_ALARM)
    }

    /// Depth, degrees, that would be found with 95 % along a map of so many bins, for a body that rests at `rest_deg` and scatters
    /// `scale` times (1 or more) as much as the population.
    pub fn limit(&self, rest_deg: f64, bins: usize, scale: f64) -> Vec<(f64, f64)> {
        let z = scale * (self.threshold() + FOUND);
        let lengths = self.seen(bins.min(self.population.layout.bins));
        self.places.iter().zip(lengths).map(|(c, length)| (rest_deg + c, z / length.sqrt())).collect()
    }

    fn bump(&self, z: &[f64], lengths: &[f64], scale: f64) -> Option<Bump> {
        let k = (0..z.len()).max_by(|a, b| z[*a].total_cmp(&z[*b]))?;
        let one = scale / lengths[k].sqrt();
        Some(Bump {
            at_deg: self.places[k],
            depth: Estimate::new(z[k] * one, one)?.widened(SHAPE_DEG),
            z: z[k],
            false_alarm: self.population.null.exceeded(z[k]),
        })
    }
}
