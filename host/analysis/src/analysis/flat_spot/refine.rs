//! Place, width, shape and loss of a flat spot by least squares, and in which strokes it shows.
//!
//! A track's grain resembles itself over some tenths of a degree, so plain least squares takes its waves for a part of the spot.
//! Deviation and spot are therefore whitened first, by an autoregression of the sweep itself (Box, Jenkins: Yule–Walker),
//! which makes it generalised least squares.

use super::bank::{Nuisance, Shape};
use crate::analysis::statistics;

/// Window on each side, degrees.
const WINDOW_DEG: f64 = 5.0;
/// Widths tried, degrees: smallest, largest, step.
const WIDTHS: (f64, f64, f64) = (0.2, 3.6, 0.1);
/// Step of the start, degrees.
const START_STEP: f64 = 0.05;

/// Order of the autoregression: two lengths of grain and white noise.
const ORDER: usize = 3;
/// Share of a spot's depth by which it differs from its shape: rounded by play, bins and the mean of strokes. Engineering assumption.
const MISMATCH: f64 = 0.2;
/// A spot deeper than this many robust standard deviations of the line needs no whitening: its edges place it.
const DEEP: f64 = 5.0;
/// Deviations beyond this many robust standard deviations are cut: a spot must not teach what is usual.
const CUT: f64 = 3.0;

/// An autoregression that a sweep's deviation follows; it turns what follows it into white noise.
#[derive(Clone, Debug, Default)]
struct Whitener(Vec<f64>);

impl Whitener {
    /// From deviations on even steps, and white noise of standard deviation `white` beside them; plain where there are too few.
    fn of(y: &[f64], white: f64) -> Self {
        let mut sizes: Vec<f64> = y.iter().copied().filter(|v| v.is_finite()).collect();
        if sizes.len() < 20 * ORDER {
            return Self::default();
        }
        let cut = CUT * statistics::robust_sd(&mut sizes).unwrap_or(0.0);
        let value = |v: f64| v.clamp(-cut, cut);
        let covariance = |lag: usize| {
            let pairs = y.iter().zip(&y[lag..]).filter(|(a, b)| a.is_finite() && b.is_finite());
            let (n, sum) = pairs.fold((0u32, 0.0), |(n, s), (a, b)| (n + 1, s + value(*a) * value(*b)));
            sum / f64::from(n.max(1))
        };
        let mut c: Vec<f64> = (0..=ORDER).map(covariance).collect();
        c[0] += white * white;
        Self::yule_walker(&c).unwrap_or_default()
    }

    /// For a spot about `width` wide at `centre`: what is not part of its shape grows with its depth.
    fn around(deg: &[f64], y: &[f64], centre: f64, width: f64) -> Self {
        let near = deg.iter().zip(y).filter(|(d, v)| (*d - centre).abs() <= width && v.is_finite());
        let deepest = near.map(|(_, v)| v.abs()).fold(0.0, f64::max);
        let mut all: Vec<f64> = y.iter().copied().filter(|v| v.is_finite()).collect();
        let usual = statistics::robust_sd(&mut all).unwrap_or(0.0);
        if deepest > DEEP * usual {
            return Self::default();
        }
        Self::of(y, MISMATCH * deepest)
    }

    /// Levinson's recursion. None for a series that is nothing but its own continuation.
    fn yule_walker(c: &[f64]) -> Option<Self> {
        let mut phi: Vec<f64> = Vec::with_capacity(ORDER);
        let mut left = c[0];
        for k in 1..c.len() {
            if left <= 1e-6 * c[0] || left.is_nan() {
                return None;
            }
            let explained: f64 = phi.iter().enumerate().map(|(i, p)| p * c[k - 1 - i]).sum();
            let reflection = (c[k] - explained) / left;
            let before = phi.clone();
            phi.iter_mut().zip(before.iter().rev()).for_each(|(p, b)| *p -= reflection * b);
            phi.push(reflection);
            left *= 1.0 - reflection * reflection;
        }
        Some(Self(phi))
    }

    /// What each value is beyond what those before it foretell; shorter by the order.
    fn apply(&self, v: &[f64]) -> Vec<f64> {
        let p = self.0.len();
        (p..v.len())
            .map(|k| v[k] - self.0.iter().zip(v[..k].iter().rev()).map(|(f, w)| f * w).sum::<f64>())
            .collect()
    }
}

/// A flat spot described.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    /// Where it begins, degrees.
    pub start_deg: f64,
    /// How wide, degrees.
    pub width_deg: f64,
    /// Slope lost, 0..1.5.
    pub loss: f64,
    /// How the output comes back.
    pub shape: Shape,
}

impl Spot {
    /// Travel lost at an angle, degrees.
    pub(super) fn lost_at(&self, deg: f64) -> f64 {
        self.loss * self.shape.lost(deg - self.start_deg, self.width_deg)
    }

    /// Where it ends.
    pub(super) fn end_deg(&self) -> f64 {
        self.start_deg + self.width_deg
    }
}

/// The spot that explains `y` (deviation in degrees on angles `deg`) best near `centre`; none without data there. A narrow
/// filter may be the first to see a wide spot: while the best one is as wide as was tried, wider ones are tried too. What an
/// earlier spot has left over (`remainder`) is no grain: it is not whitened.
pub(super) fn refine(
    deg: &[f64],
    y: &[f64],
    step: f64,
    centre: f64,
    width: f64,
    remainder: bool,
) -> Option<Spot> {
    let whitener = if remainder { Whitener::default() } else { Whitener::around(deg, y, centre, width) };
    let near = Window::new(deg, y, centre, whitener)?;
    let mut widest = 2.5 * width + 0.5;
    loop {
        let best = best_spot(&near, step, centre, width, (0.0, widest))?;
        if best.width_deg < widest - 1.5 * WIDTHS.2 || widest >= WIDTHS.1 {
            return Some(with_plain_loss(deg, y, best));
        }
        widest *= 2.0;
    }
}

/// The same, but about as wide as the filter that saw it: where a slow wave of the track weighs more than a narrow spot.
pub(super) fn refine_near(deg: &[f64], y: &[f64], step: f64, centre: f64, width: f64) -> Option<Spot> {
    let near = Window::new(deg, y, centre, Whitener::default())?;
    best_spot(&near, step, centre, width, (0.6 * width, 1.5 * width))
        .map(|spot| with_plain_loss(deg, y, spot))
}

/// The loss by plain least squares: the whitened one leans on the edges, which play and bins have rounded.
fn with_plain_loss(deg: &[f64], y: &[f64], spot: Spot) -> Spot {
    let loss = loss_in(deg, y, &spot).filter(|loss| (0.0..=1.5).contains(loss));
    Spot { loss: loss.unwrap_or(spot.loss), ..spot }
}

/// The best spot of all starts and shapes, between two widths.
fn best_spot(
    near: &Window,
    step: f64,
    centre: f64,
    width: f64,
    (narrowest, widest): (f64, f64),
) -> Option<Spot> {
    let mut best: Option<(f64, Spot)> = None;
    let widths = ((WIDTHS.1 - WIDTHS.0) / WIDTHS.2).round() as usize;
    let tried = |w: &f64| *w >= (1.9 * step).max(narrowest) && *w <= widest;
    for w in (0..=widths).map(|k| WIDTHS.0 + k as f64 * WIDTHS.2).filter(tried) {
        let reach = (0.5 * width.max(w) + 0.6).min(WINDOW_DEG - 1.0);
        let starts = (2.0 * reach / START_STEP) as usize;
        for k in 0..=starts {
            let start_deg = centre - 0.5 * w - reach + k as f64 * START_STEP;
            for shape in Shape::ALL {
                let spot = Spot { start_deg, width_deg: w, loss: 1.0, shape };
                let Some((loss, gain)) = near.fit(&spot) else { continue };
                if (0.0..=1.5).contains(&loss) && best.is_none_or(|(g, _)| gain > g) {
                    best = Some((gain, Spot { loss, ..spot }));
                }
            }
        }
    }
    best.map(|(_, spot)| spot)
}

/// Loss of a given spot in one stroke's deviation; none where it was not measured.
pub(super) fn loss_in(deg: &[f64], y: &[f64], spot: &Spot) -> Option<f64> {
    let near = Window::new(deg, y, spot.start_deg + 0.5 * spot.width_deg, Whitener::default())?;
    let inside = near.deg.iter().filter(|d| (spot.start_deg..=spot.end_deg()).contains(*d)).count();
    if inside < 2 {
        return None;
    }
    near.fit(&Spot { loss: 1.0, ..*spot }).map(|(loss, _)| loss)
}

/// Finite points near a place, whitened, a local quadratic removed.
struct Window {
    deg: Vec<f64>,
    clean: Vec<f64>,
    nuisance: Nuisance,
    whitener: Whitener,
}

impl Window {
    fn new(deg: &[f64], y: &[f64], centre: f64, whitener: Whitener) -> Option<Self> {
        let near = |d: f64| (d - centre).abs() <= WINDOW_DEG;
        let (deg, values): (Vec<f64>, Vec<f64>) =
            deg.iter().copied().zip(y.iter().copied()).filter(|(d, v)| near(*d) && v.is_finite()).unzip();
        if deg.len() < 12 {
            return None;
        }
        let mut clean = whitener.apply(&values);
        // The autoregression turns a quadratic into another one.
        let local: Vec<f64> = deg[deg.len() - clean.len()..].iter().map(|d| d - centre).collect();
        let nuisance = Nuisance::new(&local, 2);
        nuisance.remove(&mut clean);
        Some(Self { deg, clean, nuisance, whitener })
    }

    /// Least-squares loss of a spot and what it explains of the sum of squares.
    fn fit(&self, spot: &Spot) -> Option<(f64, f64)> {
        let lost: Vec<f64> = self.deg.iter().map(|d| spot.lost_at(*d)).collect();
        let mut template = self.whitener.apply(&lost);
        self.nuisance.remove(&mut template);
        let energy: f64 = template.iter().map(|t| t * t).sum();
        let product: f64 = -template.iter().zip(&self.clean).map(|(t, v)| t * v).sum::<f64>();
        (energy > 1e-6).then(|| (product / energy, product * product / energy))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spot_without_noise_is_described_exactly() {
        let deg: Vec<f64> = (0..400).map(|k| k as f64 * 0.1).collect();
        for shape in Shape::ALL {
            let truth = Spot { start_deg: 17.2, width_deg: 1.3, loss: 0.7, shape };
            let y: Vec<f64> = deg.iter().map(|d| 0.01 * d - truth.lost_at(*d)).collect();
            let got = refine(&deg, &y, 0.1, 17.5, 1.4, false).unwrap();
            assert_eq!(got.shape, shape);
            assert!((got.start_deg - 17.2).abs() < 0.06, "{got:?}");
            assert!((got.width_deg - 1.3).abs() < 0.11 && (got.loss - 0.7).abs() < 0.05, "{got:?}");
            assert!((loss_in(&deg, &y, &truth).unwrap() - 0.7).abs() < 1e-6);
        }
    }

    #[test]
    fn the_autoregression_of_a_known_series_is_found_and_turns_it_white() {
        let mut random = statistics::Resampler::new(2);
        let mut y = vec![0.0; 20_000];
        for k in 2..y.len() {
            y[k] = 1.2 * y[k - 1] - 0.5 * y[k - 2] + random.normal();
        }
        let whitener = Whitener::of(&y, 0.0);
        for (found, truth) in whitener.0.iter().zip([1.2, -0.5, 0.0]) {
            assert!((found - truth).abs() < 0.05, "{whitener:?}");
        }
        let white = whitener.apply(&y);
        let neighbours: f64 = white.windows(2).map(|w| w[0] * w[1]).sum();
        assert!((neighbours / white.iter().map(|v| v * v).sum::<f64>()).abs() < 0.05);
        // A straight line is foretold by itself: nothing to learn.
        assert!(Whitener::of(&[0.0; 100], 0.0).0.is_empty());
    }

    #[test]
    fn where_nothing_was_measured_there_is_nothing_to_describe() {
        let deg: Vec<f64> = (0..400).map(|k| k as f64 * 0.1).collect();
        assert!(refine(&deg, &vec![f64::NAN; 400], 0.1, 17.5, 1.0, false).is_none());
        assert!(refine(&[], &[], 0.1, 17.5, 1.0, false).is_none());
    }
}
