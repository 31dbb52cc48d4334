//! Stretches of travel that a gap in the trace touches and that too few other strokes passed whole, so that nothing is called within over them.

use super::prepared::{Direction, Prepared};
use crate::trace::Gap;

/// How far the grip may have moved on either side beyond what was seen, at most this much faster than the median speed.
const FASTER: f64 = 2.0;

/// A place is judged by the strokes that passed it whole: so many each way at least, and no fewer than the gaps that touch it, so that at
/// least half of what passed it came. Engineering assumption.
const LEAST_PASSES: usize = 2;
/// A stroke that comes this near to an end of travel has been there, degrees.
const NEAR_DEG: f64 = 0.3;
/// Regions in degrees, sorted and merged, clamped to the travel seen; one per gap, or the whole travel where a gap is so long
/// that the grip may have turned anywhere. A gap between rig and host, or in either, is none where enough strokes passed its region whole; a hole in
/// a file, or a supply that was off, always is. Empty without gaps. Without an angle the regions can't be had: empty too.
pub fn regions(prepared: &Prepared<'_>) -> Vec<(f64, f64)> {
    regions_of(prepared, |_| true)
}

/// The same of some of the gaps.
pub fn regions_of(prepared: &Prepared<'_>, of: impl Fn(&Gap) -> bool) -> Vec<(f64, f64)> {
    let Some(travel) = prepared.travel_deg else { return Vec::new() };
    let touched: Vec<(&Gap, (f64, f64))> =
        prepared.trace.gaps.iter().map(|gap| (gap, touched(prepared, gap, travel))).collect();
    let passes = Passes::of(prepared);
    let is_open = |(gap, region): &(&Gap, (f64, f64))| {
        let here = touched.iter().filter(|(_, other)| other.0 <= region.1 && other.1 >= region.0).count();
        !(gap.cause.is_on_the_way() && passes.are_enough(*region, here))
    };
    let mut out: Vec<(f64, f64)> = touched
        .iter()
        .filter(|(gap, _)| of(gap))
        .filter(|one| is_open(one))
        .map(|(_, region)| *region)
        .collect();
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

/// Where the grip may have been during a gap, degrees.
fn touched(prepared: &Prepared<'_>, gap: &Gap, (low, high): (f64, f64)) -> (f64, f64) {
    let finite = |i: &usize| prepared.deg[*i].is_finite();
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
    if region.1 >= region.0 { region } else { at_stop }
}

/// Strokes, none of which reaches over a gap, as the stretches of travel that they passed.
struct Passes {
    up: Vec<(f64, f64)>,
    down: Vec<(f64, f64)>,
}

impl Passes {
    fn of(prepared: &Prepared<'_>) -> Self {
        let each = |direction| -> Vec<(f64, f64)> {
            let strokes = prepared.strokes.iter().filter(|s| s.direction == direction);
            strokes.map(|s| (s.from_deg.min(s.to_deg), s.from_deg.max(s.to_deg))).collect()
        };
        Self { up: each(Direction::Up), down: each(Direction::Down) }
    }

    /// Whether enough strokes each way passed a region whole that so many gaps touch.
    fn are_enough(&self, region: (f64, f64), gaps: usize) -> bool {
        [&self.up, &self.down].iter().all(|all| passing(all, region) >= LEAST_PASSES.max(gaps))
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
