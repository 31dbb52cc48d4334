//! The few numbers a procedure itself needs of what it recorded: medians and spreads. Analysis has its own.

use crate::quantity::order;

/// Median; none for an empty slice. NaN are left out.
pub fn median(values: &[f32]) -> Option<f64> {
    order::median(&mut values.iter().filter(|v| !v.is_nan()).map(|v| f64::from(*v)).collect::<Vec<f64>>())
}

/// Standard deviation of white noise, from second differences, so that drift and motion do not count: the median of
/// their magnitudes, divided by 0.6745 (median of |N(0, 1)|) and √6 (second difference of white noise). None below
/// 5 values.
pub fn noise(values: &[f32]) -> Option<f64> {
    if values.len() < 5 {
        return None;
    }
    let bends: Vec<f32> = values.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).abs()).collect();
    median(&bends).map(|bend| bend / (0.674_49 * 6f64.sqrt()))
}

/// Line `y = a + b·x` by least squares; none without spread in `x`.
pub fn line(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = points.len() as f64;
    let (sx, sy) = points.iter().fold((0.0, 0.0), |(x, y), p| (x + p.0, y + p.1));
    let (mx, my) = (sx / n, sy / n);
    let sxx: f64 = points.iter().map(|p| (p.0 - mx).powi(2)).sum();
    let sxy: f64 = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    (sxx > 0.0).then(|| (my - sxy / sxx * mx, sxy / sxx))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_count_is_the_middle_of_the_two() {
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(median(&[5.0, 1.0, 3.0]), Some(3.0));
        assert_eq!(median(&[7.0]), Some(7.0));
        assert_eq!(median(&[f32::NAN]), None);
    }

    #[test]
    fn drift_is_no_noise_and_alternation_is() {
        let drift: Vec<f32> = (0..100u8).map(|k| f32::from(k) * 0.5).collect();
        assert_eq!(noise(&drift), Some(0.0));
        let alternating: Vec<f32> = (0..100u8).map(|k| f32::from(k % 2)).collect();
        assert!((noise(&alternating).unwrap() - 2.0 / (0.674_49 * 6f64.sqrt())).abs() < 1e-12);
    }

    #[test]
    fn a_line_is_found_through_its_points() {
        assert_eq!(line(&[(0.0, 1.0), (1.0, 3.0), (2.0, 5.0)]), Some((1.0, 2.0)));
        assert_eq!(line(&[(1.0, 1.0), (1.0, 3.0)]), None);
    }
}
