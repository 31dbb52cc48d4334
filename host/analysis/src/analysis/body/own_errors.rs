//! What a part's lost-motion map has of its own beside what the population varies by, so that the search for worn teeth looks past it. It searches
//! for nothing itself.
//!
//! Errors that come back with every tooth, or that are smooth along the travel (a turn of motor or idler, an eccentric gear), are no worn
//! tooth, which is local: they are given so much variance that the search looks past them (`OWN`). A texture that repeats with the plate's
//! angle, as of a potentiometer's track, is measured on the upper part of the part's own map: the covariance that makes it likeliest
//! (`TEXTURE`; maximum likelihood, as in Rasmussen, Williams, Gaussian Processes for Machine Learning, 2006, 5.4).

use super::population::Population;

/// Standard deviation that errors at the tooth's pitch, at half and at a third of it may have, degrees; and that of smooth ones with the length
/// over which they change. Transmission errors of small gears go up to 0.04 degrees. Engineering assumption.
const OWN: ([f64; 3], Texture) = ([0.05, 0.025, 0.015], (0.04, 5.0));
/// Standard deviations, degrees, and lengths, degrees, that a texture of the part's own may have.
const TEXTURE: ([f64; 7], [f64; 3]) = ([0.006, 0.01, 0.017, 0.03, 0.05, 0.085, 0.14], [0.12, 0.25, 0.5]);
/// So many bins show a texture.
const MOST_BINS: usize = 120;
/// A texture is taken for real when it makes the map likelier by this in the natural logarithm.
const LIKELIER: f64 = 6.0;

/// Standard deviation and length, degrees, of errors that are alike over a length.
pub type Texture = (f64, f64);

/// No texture.
pub const NONE: Texture = (0.0, 1.0);

fn bell(d: f64, length: f64) -> f64 {
    (-0.5 * (d / length).powi(2)).exp()
}

/// Covariance, degrees², of a part's own errors at places `d` degrees apart.
pub fn covariance(pitch_deg: f64, (sd, length): Texture) -> impl Fn(f64) -> f64 {
    move |d| {
        let orders =
            OWN.0.iter().zip(1u8..).map(|(sd, order)| {
                sd * sd * (std::f64::consts::TAU * f64::from(order) * d / pitch_deg).cos()
            });
        orders.sum::<f64>() + OWN.1.0.powi(2) * bell(d, OWN.1.1) + sd * sd * bell(d, length)
    }
}

/// The texture of a map's upper part; none where it shows none.
pub fn texture(population: &Population, lost_deg: &[f64]) -> Option<Texture> {
    let (layout, bins) = (population.layout, population.layout.bins.min(lost_deg.len()));
    let first = (0..bins).find(|k| layout.deg(*k) >= layout.reference_deg - 3.0)?;
    let bins = bins.min(first + MOST_BINS);
    let off: Vec<f64> = lost_deg.iter().zip(population.mean()).map(|(y, m)| y - m).collect();
    let likely = |texture: Texture| {
        let factor = population.factor_with(first..bins, covariance(population.pitch_deg, texture))?;
        let squares: f64 = factor.whiten(&off[first..bins]).iter().map(|v| v * v).sum();
        Some(-0.5 * (squares + factor.log_determinant()))
    };
    let none = likely(NONE)?;
    let of = TEXTURE.0.iter().flat_map(|sd| TEXTURE.1.iter().map(move |length| (*sd, *length)));
    let best = of.filter_map(|t| Some((t, likely(t)?))).max_by(|a, b| a.1.total_cmp(&b.1))?;
    (best.1 > none + LIKELIER).then_some(best.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;

    #[test]
    fn a_map_without_texture_shows_none_and_one_with_it_shows_its_size() {
        let population = Population::assumed();
        let factor = |texture| {
            let own = covariance(population.pitch_deg, texture);
            population.factor_with(0..population.layout.bins, own).expect("positive definite")
        };
        let (plain, textured) = (factor(NONE), factor((0.05, 0.25)));
        let mut found = 0;
        for seed in 1..=10 {
            let mut random = Resampler::new(seed);
            let white: Vec<f64> = (0..population.layout.bins).map(|_| random.normal()).collect();
            assert_eq!(texture(&population, &plain.coloured(&white)), None, "seed {seed}");
            let seen = texture(&population, &textured.coloured(&white)).expect("0.05 degrees show");
            found += usize::from((0.03..=0.085).contains(&seen.0));
        }
        assert!(found >= 9, "{found} of 10");
    }

    #[test]
    fn errors_of_every_tooth_are_alike_a_pitch_apart_and_a_texture_is_not() {
        let (own, rough) = (covariance(4.0, NONE), covariance(4.0, (0.1, 0.2)));
        assert!(own(4.0) > 0.9 * own(0.0) && own(2.0) < 0.5 * own(0.0));
        assert!((rough(0.0) - own(0.0) - 0.01).abs() < 1e-12 && (rough(2.0) - own(2.0)).abs() < 1e-9);
    }
}
