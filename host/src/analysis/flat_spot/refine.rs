//! Place, width, shape and loss of a flat spot by least squares, and in which strokes it shows.

use super::bank::{Nuisance, Shape};

/// Window on each side, degrees.
const WINDOW_DEG: f64 = 5.0;
/// Widths tried, degrees: smallest, largest, step.
const WIDTHS: (f64, f64, f64) = (0.2, 3.6, 0.1);
/// Step of the start, degrees.
const START_STEP: f64 = 0.05;

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
/// filter may be the first to see a wide spot: while the best one is as wide as was tried, wider ones are tried too.
pub(super) fn refine(deg: &[f64], y: &[f64], step: f64, centre: f64, width: f64) -> Option<Spot> {
    let near = window(deg, y, centre)?;
    let mut widest = 2.5 * width + 0.5;
    loop {
        let best = best_spot(&near, step, centre, width, (0.0, widest))?;
        if best.width_deg < widest - 1.5 * WIDTHS.2 || widest >= WIDTHS.1 {
            return Some(best);
        }
        widest *= 2.0;
    }
}

/// The same, but about as wide as the filter that saw it: where a slow wave of the track weighs more than a narrow spot.
pub(super) fn refine_near(deg: &[f64], y: &[f64], step: f64, centre: f64, width: f64) -> Option<Spot> {
    best_spot(&window(deg, y, centre)?, step, centre, width, (0.6 * width, 1.5 * width))
}

/// The best spot of all starts and shapes, between two widths.
fn best_spot(
    (x, clean, nuisance): &(Vec<f64>, Vec<f64>, Nuisance),
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
                let Some((loss, gain)) = fit(x, clean, nuisance, &spot) else { continue };
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
    let (x, clean, nuisance) = window(deg, y, spot.start_deg + 0.5 * spot.width_deg)?;
    let inside = x.iter().filter(|d| (spot.start_deg..=spot.end_deg()).contains(*d)).count();
    if inside < 2 {
        return None;
    }
    fit(&x, &clean, &nuisance, &Spot { loss: 1.0, ..*spot }).map(|(loss, _)| loss)
}

/// Finite points near `centre`, with a local quadratic removed.
fn window(deg: &[f64], y: &[f64], centre: f64) -> Option<(Vec<f64>, Vec<f64>, Nuisance)> {
    let near = |d: f64| (d - centre).abs() <= WINDOW_DEG;
    let (x, mut clean): (Vec<f64>, Vec<f64>) =
        deg.iter().copied().zip(y.iter().copied()).filter(|(d, v)| near(*d) && v.is_finite()).unzip();
    if x.len() < 12 {
        return None;
    }
    let local: Vec<f64> = x.iter().map(|d| d - centre).collect();
    let nuisance = Nuisance::new(&local, 2);
    nuisance.remove(&mut clean);
    Some((x, clean, nuisance))
}

/// Least-squares loss of a spot and what it explains of the sum of squares.
fn fit(x: &[f64], clean: &[f64], nuisance: &Nuisance, spot: &Spot) -> Option<(f64, f64)> {
    let mut template: Vec<f64> = x.iter().map(|d| spot.lost_at(*d)).collect();
    nuisance.remove(&mut template);
    let energy: f64 = template.iter().map(|t| t * t).sum();
    let product: f64 = -template.iter().zip(clean).map(|(t, v)| t * v).sum::<f64>();
    (energy > 1e-6).then(|| (product / energy, product * product / energy))
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
            let got = refine(&deg, &y, 0.1, 17.5, 1.4).unwrap();
            assert_eq!(got.shape, shape);
            assert!((got.start_deg - 17.2).abs() < 0.06, "{got:?}");
            assert!((got.width_deg - 1.3).abs() < 0.11 && (got.loss - 0.7).abs() < 0.05, "{got:?}");
            assert!((loss_in(&deg, &y, &truth).unwrap() - 0.7).abs() < 1e-6);
        }
    }

    #[test]
    fn where_nothing_was_measured_there_is_nothing_to_describe() {
        let deg: Vec<f64> = (0..400).map(|k| k as f64 * 0.1).collect();
        assert!(refine(&deg, &vec![f64::NAN; 400], 0.1, 17.5, 1.0).is_none());
        assert!(refine(&[], &[], 0.1, 17.5, 1.0).is_none());
    }
}
