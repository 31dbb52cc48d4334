//! How many sweeps pass on average until a chart signals (average run length, ARL), and how wide its limits must be for that.
//!
//! Individuals: 1 over the probability of one value beyond the limits. EWMA: the Markov chain of D. Brook and D. A. Evans (Biometrika 59, 1972,
//! 539) as J. M. Lucas and M. S. Saccucci use it (Technometrics 32, 1990, 1; both from memory): the band between the limits in equal cells, each
//! value a step from cell to cell. The limits are those that the EWMA's spread tends to.

use crate::analysis::linear;
use crate::analysis::statistics::{normal_quantile, normal_tail};

/// Cells between the limits of an EWMA; odd, so that one lies at the centre.
const CELLS: usize = 101;

/// ARL of individuals, limits `width` standard deviations either side, the mean shifted by `shift` of them.
pub fn individuals(width: f64, shift: f64) -> f64 {
    1.0 / (normal_tail(width - shift) + normal_tail(width + shift))
}

/// Limits of individuals that signal once in `run_length` sweeps without a reason, standard deviations either side.
pub fn individuals_width(run_length: f64) -> f64 {
    normal_quantile(1.0 - 0.5 / run_length)
}

/// ARL of an EWMA of weight `lambda` (0..1) that starts at its centre, limits `width` of its own standard deviations either side, the mean
/// shifted by `shift` standard deviations of a value.
pub fn ewma(lambda: f64, width: f64, shift: f64) -> f64 {
    let limit = width * (lambda / (2.0 - lambda)).sqrt();
    let cell = 2.0 * limit / CELLS as f64;
    let middle = |k: usize| -limit + (k as f64 + 0.5) * cell;
    // I − Q, with 1 on the right: the expected number of steps until the chain leaves the band.
    let mut rows: Vec<Vec<f64>> = (0..CELLS)
        .map(|from| {
            let kept = (1.0 - lambda) * middle(from);
            let below = |edge: f64| 1.0 - normal_tail((edge - kept) / lambda - shift);
            let to = |k: usize| below(middle(k) + 0.5 * cell) - below(middle(k) - 0.5 * cell);
            let mut row: Vec<f64> = (0..CELLS).map(|k| f64::from(u8::from(k == from)) - to(k)).collect();
            row.push(1.0);
            row
        })
        .collect();
    // A chain that leaves its band has a solution.
    linear::solve(&mut rows).map_or(f64::INFINITY, |()| rows[CELLS / 2][CELLS])
}

/// Limits of an EWMA that signal once in `run_length` sweeps (2 or more) without a reason, in its own standard deviations.
pub fn ewma_width(lambda: f64, run_length: f64) -> f64 {
    let (mut low, mut high) = (0.1, 8.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if ewma(lambda, middle, 0.0) < run_length { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;

    #[track_caller]
    fn near(value: f64, published: f64, share: f64) {
        assert!((value / published - 1.0).abs() <= share, "{value} is not {published}");
    }

    // Individuals at three standard deviations: 370.4 without a shift, 155.2, 43.9, 6.3 and 2.0 at 0.5, 1, 2 and 3 (textbook values, from
    // memory; each is 1 over a probability of the normal distribution).
    #[test]
    fn individuals_speak_as_often_as_tables_say() {
        for (shift, arl) in [(0.0, 370.4), (0.5, 155.2), (1.0, 43.9), (2.0, 6.3), (3.0, 2.0)] {
            near(individuals(3.0, shift), arl, 2e-3);
        }
        near(individuals_width(370.398), 3.0, 1e-5);
    }

    // Lucas and Saccucci 1990, table 3 (from memory), weight 0.2, limits 2.962; and the limits that give 500 at other weights.
    #[test]
    fn an_ewma_speaks_as_often_as_lucas_and_saccucci_say() {
        for (shift, arl) in
            [(0.0, 500.0), (0.25, 150.0), (0.5, 41.8), (0.75, 18.2), (1.0, 10.5), (1.5, 5.5), (2.0, 3.7)]
        {
            near(ewma(0.2, 2.962, shift), arl, 0.015);
        }
        for (lambda, width) in [(0.1, 2.814), (0.25, 2.998), (0.4, 3.054)] {
            near(ewma_width(lambda, 500.0), width, 1e-3);
        }
    }

    #[test]
    fn the_chain_agrees_with_charts_that_are_played_through() {
        let mut random = Resampler::new(11);
        for shift in [0.5, 1.0, 2.0] {
            let mut steps = 0.0;
            let runs = 20_000;
            for _ in 0..runs {
                let (mut ewma, limit) = (0.0_f64, 2.962 * (0.2_f64 / 1.8).sqrt());
                while ewma.abs() <= limit {
                    ewma += 0.2 * (shift + random.normal() - ewma);
                    steps += 1.0;
                }
            }
            // A run length scatters by less than its mean: five standard errors.
            near(steps / f64::from(runs), ewma(0.2, 2.962, shift), 5.0 / f64::from(runs).sqrt());
        }
    }
}
