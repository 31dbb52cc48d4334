//! Events into findings and a rate.

use super::super::budget::{Budget, Source};
use super::{Event, Report, Wire};
use crate::analysis::prepared::Prepared;
use crate::analysis::{Detail, Figure, Finding, statistics};
use crate::quantity::{Condition, FigureName, FindingKind};

/// Half width of the place in which events count as "the same", degrees.
const PLACE_DEG: f64 = 1.0;
/// Two-sided 68 % interval: one-sided confidence of each bound.
const ONE_SIGMA: f64 = 0.841_344_746;

/// The dropout rate over several traces of one part; none when nothing was watched.
pub fn rate(reports: &[&Report]) -> Option<Figure> {
    let minutes: f64 = reports.iter().map(|r| r.watched_min).sum();
    if minutes <= 0.0 {
        return None;
    }
    let events = || reports.iter().flat_map(|r| &r.events);
    let count = events().filter(|e| e.is_sure()).count() as u64;
    let all = events().count() as u64;
    let half_width =
        0.5 * (statistics::poisson_upper(count, ONE_SIGMA) - statistics::poisson_lower(count, ONE_SIGMA));
    Some(Figure {
        name: FigureName::DropoutRate,
        channel: None,
        value: count as f64 / minutes,
        budget: Budget::of(Source::Counts, half_width / minutes),
        upper_bound: Some(statistics::poisson_upper(all, 0.95) / minutes),
        added: 0.0,
        at_deg: events()
            .filter(|e| e.is_sure())
            .max_by(|a, b| a.length_us.total_cmp(&b.length_us))
            .and_then(|e| e.at_deg),
        condition: Condition::NONE,
        definition: format!(
            "{count} events in {minutes:.3} min watched{}; upper bound exact Poisson, 95 % one-sided; events beyond 7 standard \
             deviations of the noise and 10 mV at 5 V",
            if all > count {
                format!(", {} more that are not sure and only widen the bound", all - count)
            } else {
                String::new()
            }
        ),
    })
}

/// One finding per wire that dropped out.
pub(super) fn findings(prepared: &Prepared<'_>, events: &[Event], watched_min: f64) -> Vec<Finding> {
    Wire::ALL
        .into_iter()
        .filter_map(|wire| {
            let own: Vec<&Event> = events.iter().filter(|e| e.wire == wire).collect();
            (!own.is_empty()).then(|| finding(prepared, wire, &own, watched_min))
        })
        .collect()
}

fn finding(prepared: &Prepared<'_>, wire: Wire, own: &[&Event], watched_min: f64) -> Finding {
    let lengths = own.iter().map(|e| e.length_us);
    let shortest = lengths.clone().fold(f64::INFINITY, f64::min);
    let longest = lengths.fold(0.0, f64::max);
    let deepest = own.iter().map(|e| e.depth.abs()).fold(0.0, f64::max);
    let places: Vec<f64> = own.iter().filter_map(|e| e.at_deg).collect();
    let from = places.iter().copied().reduce(f64::min);
    let to = places.iter().copied().reduce(f64::max);
    let locked = locked_place(prepared, own);
    let towards_ground = own.iter().filter(|e| e.depth < 0.0).count() as f64 / own.len() as f64;
    let mut details = vec![
        Detail { name: "events", value: own.len() as f64, unit: "1" },
        Detail { name: "rate", value: own.len() as f64 / watched_min.max(1e-12), unit: "1/min" },
        Detail { name: "shortest", value: shortest, unit: "us" },
        Detail { name: "longest", value: longest, unit: "us" },
        Detail { name: "deepest", value: 5000.0 * deepest, unit: "mV at 5 V" },
        Detail { name: "towards_ground", value: 100.0 * towards_ground, unit: "%" },
    ];
    if wire == Wire::Supply {
        details.push(Detail { name: "supply_fell", value: 100.0 * deepest, unit: "%" });
    }
    // The report marks them on the travel; more would only cover one another.
    const EVENT: [&str; 8] =
        ["event_1", "event_2", "event_3", "event_4", "event_5", "event_6", "event_7", "event_8"];
    let marked = EVENT.into_iter().zip(&places);
    details.extend(marked.map(|(name, at)| Detail { name, value: *at, unit: "deg" }));
    if let Some(locked) = &locked {
        details.push(Detail { name: "same_place", value: locked.at_deg, unit: "deg" });
        details.push(Detail { name: "strokes_at_same_place", value: locked.strokes as f64, unit: "1" });
    }
    Finding {
        kind: FindingKind::Dropout,
        channel: wire.channel(),
        from_deg: locked.as_ref().map(|l| l.at_deg - PLACE_DEG).or(from),
        to_deg: locked.as_ref().map(|l| l.at_deg + PLACE_DEG).or(to),
        confidence: confidence(own),
        text: text(wire, own.len(), shortest, longest, locked.as_ref(), prepared),
        details,
    }
}

/// Three events that are not sure are surer than one: outliers of the noise come alone.
fn confidence(own: &[&Event]) -> f64 {
    let surest = own.iter().map(|e| e.confidence).fold(0.0, f64::max);
    if own.len() >= 3 { surest.max(0.9) } else { surest }
}

struct Locked {
    at_deg: f64,
    strokes: usize,
}

/// A place that more strokes share than chance would: the binomial tail of strokes with an event within ±1° against events
/// spread evenly over the travel, times the number of places tried, below 0.1 %.
fn locked_place(prepared: &Prepared<'_>, own: &[&Event]) -> Option<Locked> {
    let (low, high) = prepared.travel_deg?;
    let strokes = prepared.strokes.len();
    let inside: Vec<(f64, usize)> = own.iter().filter_map(|e| e.at_deg.zip(e.stroke)).collect();
    if strokes < 4 || inside.len() < 3 || high - low <= 4.0 * PLACE_DEG {
        return None;
    }
    let per_stroke = inside.len() as f64 / strokes as f64;
    let p = 1.0 - (-per_stroke * 2.0 * PLACE_DEG / (high - low)).exp();
    let (at_deg, hits) = inside
        .iter()
        .map(|(centre, _)| {
            let mut seen: Vec<usize> =
                inside.iter().filter(|(d, _)| (d - centre).abs() <= PLACE_DEG).map(|(_, s)| *s).collect();
            seen.sort_unstable();
            seen.dedup();
            (*centre, seen.len())
        })
        .max_by_key(|(_, n)| *n)?;
    let tail = binomial_tail(strokes, hits, p) * inside.len() as f64;
    (hits >= 3 && tail < 0.001).then_some(Locked { at_deg, strokes: hits })
}

/// P(X ≥ k) of a binomial(n, p).
fn binomial_tail(n: usize, k: usize, p: f64) -> f64 {
    let mut term = (1.0 - p).powi(n as i32);
    let mut below = 0.0;
    for j in 0..k.min(n + 1) {
        below += term;
        term *= (n - j) as f64 / (j + 1) as f64 * p / (1.0 - p);
    }
    (1.0 - below).max(0.0)
}

fn text(
    wire: Wire,
    count: usize,
    shortest: f64,
    longest: f64,
    locked: Option<&Locked>,
    prepared: &Prepared<'_>,
) -> String {
    let who = match wire {
        Wire::First => "the line was lost",
        Wire::Second => "the line was lost",
        Wire::Common => {
            "both lines were lost together while the supply at the plug stood: supply or ground of the part"
        }
        Wire::Supply => "both lines and the supply at the plug dipped together: supply lead, plug or rig",
    };
    let times = if count == 1 { "once".to_owned() } else { format!("{count} times") };
    let length = if count == 1 {
        format!("for {}", span(longest))
    } else {
        format!("for {} to {}", span(shortest), span(longest))
    };
    let place = match locked {
        Some(l) => format!(
            "; at the same place, {:.1} deg, in {} of {} strokes: the track rather than a wire",
            l.at_deg,
            l.strokes,
            prepared.strokes.len()
        ),
        None if prepared.strokes.len() >= 4 && count >= 3 => {
            "; at no fixed place: a wire or terminal rather than the track".into()
        }
        None => String::new(),
    };
    format!("{who} {times}, {length}{place}")
}

fn span(us: f64) -> String {
    if us >= 1e6 {
        format!("{:.2} s", us * 1e-6)
    } else if us >= 1000.0 {
        format!("{:.1} ms", us * 1e-3)
    } else {
        format!("{us:.0} us")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_binomial_tail_is_what_counting_gives() {
        // 10 throws of a fair coin: 56 of 1024 ways have 8 or more heads.
        assert!((binomial_tail(10, 8, 0.5) - 56.0 / 1024.0).abs() < 1e-12);
        assert_eq!(binomial_tail(10, 0, 0.3), 1.0);
    }

    #[test]
    fn no_watched_time_gives_no_rate() {
        assert!(rate(&[]).is_none());
    }
}
