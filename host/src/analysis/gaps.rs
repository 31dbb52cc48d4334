//! Stretches of travel that a gap in the trace touches and that too few other strokes passed whole, so that nothing is called within over them.

use super::prepared::{Direction, Prepared};

/// How far the grip may have moved on either side beyond what was seen, at most this much faster than the median speed.
const FASTER: f64 = 2.0;

/// A place is judged by the strokes that passed it whole: so many each way at least, and half as many as passed the place that most passed.
/// Engineering assumption.
const LEAST_PASSES: usize = 2;
/// A stroke that comes this near to an end of travel has been there, degrees.
const NEAR_DEG: f64 = 0.3;
/// Places of the travel at which passes are counted.
const PLACES: usize = 60;

/// Regions in degrees, sorted and merged, clamped to the travel seen; one per gap, or the whole travel where a gap is so long
/// that the grip may have turned anywhere. A gap between rig and host, or in either, is none where enough strokes passed its region whole; a hole in
/// a file, or a supply that was off, always is. Empty without gaps. Without an angle the regions can't be had: empty too.
pub fn regions(prepared: &Prepared<'_>) -> Vec<(f64, f64)> {
    let Some((low, high)) = prepared.travel_deg else { return Vec::new() };
    let finite = |i: &usize| prepared.deg[*i].is_finite();
    let mut out: Vec<(f64, f64)> = Vec::new();
    let passes = Passes::of(prepared);
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
        // At rest beyond the strokes' ends: the nearer stop.
        let at_stop = if a >= high { (high, high) } else { (low, low) };
        let region = if region.1 >= region.0 { region } else { at_stop };
        if !(gap.cause.is_on_the_way() && passes.are_enough(region)) {
            out.push(region);
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

/// Strokes, none of which reaches over a gap, as the stretches of travel that they passed.
struct Passes {
    up: Vec<(f64, f64)>,
    down: Vec<(f64, f64)>,
    /// How many passed the place that most passed, either way.
    most: [usize; 2],
}

impl Passes {
    fn of(prepared: &Prepared<'_>) -> Self {
        let each = |direction| -> Vec<(f64, f64)> {
            let strokes = prepared.strokes.iter().filter(|s| s.direction == direction);
            strokes.map(|s| (s.from_deg.min(s.to_deg), s.from_deg.max(s.to_deg))).collect()
        };
        let (up, down) = (each(Direction::Up), each(Direction::Down));
        let (low, high) = prepared.travel_deg.unwrap_or_default();
        let places = || (0..=PLACES).map(|k| low + (high - low) * k as f64 / PLACES as f64);
        let most =
            [&up, &down].map(|all| places().map(|at| passing(all, (at, at))).max().unwrap_or_default());
        Self { up, down, most }
    }

    /// Whether enough strokes each way passed a region whole.
    fn are_enough(&self, region: (f64, f64)) -> bool {
        let counts = [&self.up, &self.down].map(|all| passing(all, region));
        counts.iter().zip(self.most).all(|(count, most)| *count >= LEAST_PASSES.max(most.div_ceil(2)))
    }
}

fn passing(strokes: &[(f64, f64)], (a, b): (f64, f64)) -> usize {
    strokes.iter().filter(|(low, high)| *low <= a + NEAR_DEG && *high >= b - NEAR_DEG).count()
}

#[cfg(test)]
mod tests {
    use super::super::synthetic::Synthetic;
    use super::*;
    use crate::trace::GapCause;

    #[test]
    fn a_gap_within_a_stroke_names_where_the_grip_was() {
        // 0.1 s rest, then 60°/s: scans 3000..3050 lie at 30° ± 2° of the first stroke.
        let part = Synthetic { lost: vec![(3000, 50)], cycles: 1, ..Synthetic::hall(1) };
        let trace = part.trace();
        let regions = regions(&Prepared::new(&trace, &part.sheet()));
        assert_eq!(regions.len(), 1);
        let (a, b) = regions[0];
        assert!(a < 29.5 && b > 29.6 && a > 27.0 && b < 32.0, "{a} {b}");
    }

    #[test]
    fn a_place_that_other_strokes_passed_whole_is_no_gap_and_one_that_all_lack_is() {
        let lost = |lost: Vec<(usize, usize)>, cause| {
            let part = Synthetic { lost, cycles: 5, ..Synthetic::hall(1) };
            let mut trace = part.trace();
            trace.gaps.iter_mut().for_each(|gap| gap.cause = cause);
            regions(&Prepared::new(&trace, &part.sheet()))
        };
        let one = vec![(3000, 50)];
        assert_eq!(lost(one.clone(), GapCause::Line), vec![]);
        assert_eq!(lost(one.clone(), GapCause::Host), vec![]);
        assert_eq!(lost(one.clone(), GapCause::File).len(), 1, "a file's hole is a hole");
        assert_eq!(lost(one, GapCause::Supply).len(), 1);
    }

    #[test]
    fn a_long_gap_touches_all_travel_and_no_gap_none() {
        let part = Synthetic { lost: vec![(3000, 9000)], cycles: 2, ..Synthetic::hall(1) };
        let trace = part.trace();
        let found = regions(&Prepared::new(&trace, &part.sheet()));
        assert!(found.len() == 1 && found[0].1 - found[0].0 > 70.0, "{found:?}");
        let part = Synthetic::hall(1);
        let trace = part.trace();
        assert!(regions(&Prepared::new(&trace, &part.sheet())).is_empty());
    }
}
