//! Fewer points, same picture: per column of pixels only the first, the smallest, the largest and the last value.

/// Pieces of a curve in drawing coordinates, cut at values that are not finite. `x` must not fall; a column is 1 px.
pub fn decimate(points: impl IntoIterator<Item = (f64, f64)>) -> Vec<Vec<(f64, f64)>> {
    let mut pieces = Vec::new();
    let mut piece = Vec::new();
    let mut column = Column::default();
    for (x, y) in points {
        if !x.is_finite() || !y.is_finite() {
            column.empty_into(&mut piece);
            if !piece.is_empty() {
                pieces.push(std::mem::take(&mut piece));
            }
        } else {
            if column.held.first().is_some_and(|(first, _)| first.floor() != x.floor()) {
                column.empty_into(&mut piece);
            }
            column.held.push((x, y));
        }
    }
    column.empty_into(&mut piece);
    if !piece.is_empty() {
        pieces.push(piece);
    }
    pieces
}

/// The points of one column of pixels.
#[derive(Default)]
struct Column {
    held: Vec<(f64, f64)>,
}

impl Column {
    fn empty_into(&mut self, piece: &mut Vec<(f64, f64)>) {
        let last = self.held.len().saturating_sub(1);
        if last <= 3 {
            piece.append(&mut self.held);
            return;
        }
        let by_height = |a: &usize, b: &usize| self.held[*a].1.total_cmp(&self.held[*b].1);
        let low = (0..=last).min_by(by_height).unwrap_or(0);
        let high = (0..=last).max_by(by_height).unwrap_or(0);
        let mut kept = [0, low.min(high), low.max(high), last].to_vec();
        kept.dedup();
        piece.extend(kept.into_iter().map(|k| self.held[k]));
        self.held.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_hole_cuts_the_curve() {
        let pieces = decimate([(0.0, 1.0), (1.0, 2.0), (2.0, f64::NAN), (3.0, 1.0)]);
        assert_eq!(pieces, [vec![(0.0, 1.0), (1.0, 2.0)], vec![(3.0, 1.0)]]);
    }

    #[test]
    fn a_million_points_become_four_per_pixel() {
        let many = (0..1_000_000).map(|i| (f64::from(i) * 600.0 / 1e6, f64::from(i % 1000)));
        let kept: usize = decimate(many).iter().map(Vec::len).sum();
        assert!(kept <= 4 * 600, "{kept}");
    }

    proptest! {
        #[test]
        fn the_largest_and_the_smallest_value_survive(ys in prop::collection::vec(-1e3_f64..1e3, 1..500)) {
            let kept = decimate(ys.iter().enumerate().map(|(i, y)| (i as f64 * 0.05, *y))).concat();
            let top = |v: &mut dyn Iterator<Item = f64>| v.fold(f64::MIN, f64::max);
            let bottom = |v: &mut dyn Iterator<Item = f64>| v.fold(f64::MAX, f64::min);
            prop_assert_eq!(top(&mut kept.iter().map(|p| p.1)), top(&mut ys.iter().copied()));
            prop_assert_eq!(bottom(&mut kept.iter().map(|p| p.1)), bottom(&mut ys.iter().copied()));
        }

        #[test]
        fn order_is_kept(ys in prop::collection::vec(-1e3_f64..1e3, 1..500)) {
            let kept = decimate(ys.iter().enumerate().map(|(i, y)| (i as f64 * 0.05, *y))).concat();
            prop_assert!(kept.windows(2).all(|w| w[0].0 < w[1].0));
        }
    }
}
