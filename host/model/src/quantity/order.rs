//! Quantiles of values in any order: the one place where the host takes a median. By selection, not by sorting.

/// Quantile of type 7 of Hyndman and Fan (The American Statistician 50, 1996, 361): linear between order statistics at
/// h = (n − 1)·p. Reorders `values`; they must be finite. None when empty.
pub fn quantile(values: &mut [f64], p: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let h = (values.len() - 1) as f64 * p.clamp(0.0, 1.0);
    let low = h.floor() as usize;
    let (_, at, above) = values.select_nth_unstable_by(low, f64::total_cmp);
    let at = *at;
    let fraction = h - low as f64;
    if fraction == 0.0 {
        return Some(at);
    }
    let next = above.iter().copied().fold(f64::INFINITY, f64::min);
    Some(at + fraction * (next - at))
}

/// Median; reorders `values`, which must be finite. None when empty.
pub fn median(values: &mut [f64]) -> Option<f64> {
    quantile(values, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_median_is_the_middle_or_the_mean_of_the_middle_two() {
        assert_eq!(median(&mut [4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(median(&mut [5.0, 1.0, 3.0]), Some(3.0));
        assert_eq!(median(&mut [7.0]), Some(7.0));
        assert_eq!(median(&mut []), None);
    }
}
