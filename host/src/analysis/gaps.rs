//! Stretches of travel that a gap in the trace touches, so that nothing is called within over them.

use super::prepared::Prepared;

/// How far the grip may have moved on either side beyond what was seen, at most this much faster than the median speed.
const FASTER: f64 = 2.0;

/// Regions in degrees, sorted and merged, clamped to the travel seen; one per gap, or the whole travel where a gap is so long
/// that the grip may have turned anywhere. Empty without gaps. Without an angle the regions can't be had: empty too.
pub fn regions(prepared: &Prepared<'_>) -> Vec<(f64, f64)> {
    let Some((low, high)) = prepared.travel_deg else { return Vec::new() };
    let finite = |i: &usize| prepared.deg[*i].is_finite();
    let mut out: Vec<(f64, f64)> = Vec::new();
    for gap in &prepared.trace.gaps {
        let before =
            (0..gap.index.min(prepared.deg.len())).rev().find(finite).map(|i| f64::from(prepared.deg[i]));
        let after = (gap.index..prepared.deg.len()).find(finite).map(|i| f64::from(prepared.deg[i]));
        let seconds = gap.to_us.saturating_sub(gap.from_us) as f64 * 1e-6;
        let seen = [before, after].into_iter().flatten();
        let (a, b) = seen.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| (a.min(d), b.max(d)));
        // A turn inside the gap can reach half of what speed and time allow beyond the distance seen.
        let spare = match (before, after) {
            (Some(x), Some(y)) => 0.5 * (FASTER * prepared.speed_deg_s * seconds - (x - y).abs()).max(0.0),
            _ => FASTER * prepared.speed_deg_s * seconds,
        };
        let region = if a.is_finite() { ((a - spare).max(low), (b + spare).min(high)) } else { (low, high) };
        if region.1 >= region.0 {
            out.push(region);
        } else {
            // At rest beyond the strokes' ends: the nearer stop.
            out.push(if a >= high { (high, high) } else { (low, low) });
        }
    }
    out.sort_by(|a, b| a.0.total_cmp(&b.0));
    out.dedup_by(|next, kept| {
        let merge = next.0 <= kept.1;
        if merge {
            kept.1 = kept.1.max(next.1);
        }
        merge
    });
    out
}

#[cfg(test)]
mod tests {
    use super::super::synthetic::Synthetic;
    use super::*;

    #[test]
    fn a_gap_within_a_stroke_names_where_the_grip_was() {
        // 0.1 s rest, then 60°/s: scans 3000..3050 lie at 30° ± 2° of the first stroke.
        let part = Synthetic { lost: vec![(3000, 50)], ..Synthetic::hall(1) };
        let trace = part.trace();
        let regions = regions(&Prepared::new(&trace, &part.sheet()));
        assert_eq!(regions.len(), 1);
        let (a, b) = regions[0];
        assert!(a < 29.5 && b > 29.6 && a > 27.0 && b < 32.0, "{a} {b}");
    }

    #[test]
    fn a_long_gap_touches_all_travel_and_no_gap_none() {
        let part = Synthetic { lost: vec![(3000, 9000)], ..Synthetic::hall(1) };
        let trace = part.trace();
        let found = regions(&Prepared::new(&trace, &part.sheet()));
        assert!(found.len() == 1 && found[0].1 - found[0].0 > 70.0, "{found:?}");
        let part = Synthetic::hall(1);
        let trace = part.trace();
        assert!(regions(&Prepared::new(&trace, &part.sheet())).is_empty());
    }
}
