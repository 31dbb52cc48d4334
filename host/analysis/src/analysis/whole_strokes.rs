//! Strokes that were whole before a recording was interrupted, and stops that such a recording shows to have been reached.
//!
//! Where the rig drove, a stroke is whole when the program went on to its next segment after it; where a hand did, when it turned round at
//! its end. A stop was reached in an interrupted recording only where the part arrived and the next stroke began there: a recording that
//! merely ends near a stop may have been on its way.

use super::ends::End;
use super::prepared::{Direction, Prepared};
use super::statistics;
use std::borrow::Cow;

/// A stroke that ends this near to the furthest one turned at the same stop, degrees.
const SAME_STOP_DEG: f64 = 1.0;

impl Prepared<'_> {
    /// The same with whole strokes alone; itself where the recording ran to its end.
    pub fn with_whole_strokes(&self) -> Cow<'_, Self> {
        if !self.trace.was_interrupted() || self.strokes.is_empty() {
            return Cow::Borrowed(self);
        }
        let mut whole = self.clone();
        let is_whole: Vec<bool> = (0..self.strokes.len()).map(|k| self.is_whole(k)).collect();
        let mut keep = is_whole.iter();
        whole.strokes.retain(|_| keep.next().copied().unwrap_or(false));
        whole.travel_deg = whole.strokes.iter().fold(None, |seen: Option<(f64, f64)>, s| {
            let (low, high) = (s.from_deg.min(s.to_deg), s.from_deg.max(s.to_deg));
            Some(seen.map_or((low, high), |(a, b)| (a.min(low), b.max(high))))
        });
        let mut speeds: Vec<f64> = whole.strokes.iter().filter_map(|s| whole.stroke_speed(s)).collect();
        whole.speed_deg_s = statistics::median(&mut speeds).unwrap_or(0.0);
        Cow::Owned(whole)
    }

    fn is_whole(&self, k: usize) -> bool {
        let stroke = &self.strokes[k];
        let Some(last) = stroke.range.end.checked_sub(1) else { return false };
        match self.trace.last_segment_us().filter(|_| !self.trace.provenance.program.is_empty()) {
            Some(segment_us) => self.trace.time_us[last] <= segment_us,
            None => self.strokes.get(k + 1).is_some_and(|next| next.direction != stroke.direction),
        }
    }

    /// Whether the part arrived at a stop and the next stroke began there.
    pub fn turned_at(&self, end: End) -> bool {
        let Some((low, high)) = self.travel_deg else { return false };
        self.strokes.windows(2).any(|pair| {
            let at = match end {
                End::Open => high - pair[0].to_deg,
                End::Closed => pair[0].to_deg - low,
            };
            let towards = if end == End::Open { Direction::Up } else { Direction::Down };
            pair[0].direction == towards && pair[1].direction != towards && at < SAME_STOP_DEG
        })
    }
}
