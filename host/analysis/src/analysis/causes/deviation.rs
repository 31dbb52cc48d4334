//! How far the lines lie from the sheet's nominal lines, as a few numbers: shift, gain, bow.
//!
//! A deviation is written as `shift + gain·(f − middle) + bow·P₂`, f being the nominal ratio, P₂ Legendre's polynomial over the
//! line's own range. Six numbers for a pair. How much healthy parts scatter in them is stated here.

use crate::analysis::curve::Curves;
use crate::analysis::linear;
use crate::sheet::{NominalLine, PartSheet};

/// Standard deviations among healthy parts, % of supply: of one line by itself. Engineering assumptions: gain 0.4 % and offset
/// 0.3 % of a line, its own bend 0.2 %.
const OWN: [f64; 3] = [0.30, 0.62, 0.08];
/// The same of an angle error that both lines share (magnet eccentricity 0.25° at one period per half turn, 0.12° at two,
/// seen over 75°), of a line with 80 % of the supply over its travel.
const SHARED: [f64; 3] = [0.25, 0.65, 0.17];
/// Fewest points of a curve for a fit.
const FEWEST: usize = 20;

/// The six numbers, % of supply: shift, gain (per unit of nominal ratio), bow; first line, then second.
pub(super) type Six = [f64; 6];

/// The three numbers of a curve of deviations against nominal ratios, least squares; none with too few points.
pub(super) fn three(nominal: NominalLine, points: impl Iterator<Item = (f64, f64)>) -> Option<[f64; 3]> {
    let (mut a, mut y) = ([[0.0; 3]; 3], [0.0; 3]);
    let mut n = 0;
    for (f, d) in points.filter(|(f, d)| f.is_finite() && d.is_finite()) {
        let basis = basis(nominal, f);
        for i in 0..3 {
            y[i] += basis[i] * d;
            for j in 0..3 {
                a[i][j] += basis[i] * basis[j];
            }
        }
        n += 1;
    }
    if n < FEWEST {
        return None;
    }
    solve(a, y)
}

fn basis(nominal: NominalLine, f: f64) -> [f64; 3] {
    let middle = 0.5 * (nominal.closed + nominal.open);
    let half = (0.5 * (nominal.open - nominal.closed).abs()).max(1e-6);
    let t = (f - middle) / half;
    [1.0, f - middle, 0.5 * (3.0 * t * t - 1.0)]
}

/// The three numbers of a deviation given as a function of the nominal ratio.
pub(super) fn three_of(nominal: NominalLine, deviation: impl Fn(f64) -> f64) -> [f64; 3] {
    let points = (0..=40).map(|k| {
        let f = nominal.closed + (nominal.open - nominal.closed) * f64::from(k) / 40.0;
        (f, deviation(f))
    });
    three(nominal, points).unwrap_or([0.0; 3])
}

/// Deviations of both lines, % of supply, without the ends of travel and dead bands there.
pub(super) fn of(curves: &Curves, sheet: &PartSheet) -> Option<Six> {
    let mut out = [0.0; 6];
    let (low, high) = super::live(curves)?.range;
    for (line, nominal) in [sheet.rising, sheet.falling].into_iter().enumerate() {
        let curve = curves.line[line].as_ref()?;
        let points =
            curves.deg.iter().zip(&curve.mean).filter(|(d, _)| (low..=high).contains(*d)).map(|(d, r)| {
                let f = nominal.closed + (nominal.open - nominal.closed) * d / sheet.travel_deg;
                (f, 100.0 * (r - f))
            });
        out[3 * line..3 * line + 3].copy_from_slice(&three(nominal, points)?);
    }
    Some(out)
}

/// Inverse of the covariance among healthy parts. None only for a sheet without slopes.
pub(super) fn precision(sheet: &PartSheet) -> Option<[[f64; 6]; 6]> {
    let mut covariance = [[0.0; 6]; 6];
    let share = [sheet.rising, sheet.falling].map(|l| (l.open - l.closed) / 0.8);
    for k in 0..3 {
        // An angle error moves each line along its slope: shift and bow with the slope's sign, gain in proportion.
        let along = |line: usize| if k == 1 { 1.0 } else { share[line] };
        for a in 0..2 {
            for b in 0..2 {
                covariance[3 * a + k][3 * b + k] += SHARED[k] * SHARED[k] * along(a) * along(b);
            }
            covariance[3 * a + k][3 * a + k] += OWN[k] * OWN[k];
        }
    }
    linear::inverse(covariance)
}

/// x'·P·y.
pub(super) fn product(precision: &[[f64; 6]; 6], x: &Six, y: &Six) -> f64 {
    (0..6).map(|i| (0..6).map(|j| x[i] * precision[i][j] * y[j]).sum::<f64>()).sum()
}

fn solve(a: [[f64; 3]; 3], y: [f64; 3]) -> Option<[f64; 3]> {
    let inverse = linear::inverse(a)?;
    Some([0, 1, 2].map(|i| (0..3).map(|j| inverse[i][j] * y[j]).sum()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_numbers_give_a_known_parabola_back() {
        let nominal = NominalLine { closed: 0.9, open: 0.1 };
        let got = three_of(nominal, |f| {
            0.3 + 2.0 * (f - 0.5) + 0.7 * 0.5 * (3.0 * ((f - 0.5) / 0.4).powi(2) - 1.0)
        });
        for (g, w) in got.iter().zip([0.3, 2.0, 0.7]) {
            assert!((g - w).abs() < 1e-9, "{got:?}");
        }
    }
}
