//! Lost contact, event by event: when, which wire, how long, where the hand was that flexed the pigtail, where the grip was, how warm it was;
//! and what the events follow: a place of the pigtail, a place of the travel, the temperature. Exact tests; it judges nothing.
//!
//! - By place: of N events in a time T, those in the time t of a place are binomial(N, t/T) where all places are alike (the conditional test of
//!   Poisson rates, Przyborowski and Wilenski 1940); upper tail, Holm over the places. Rates have exact Poisson bounds (Garwood 1936).
//! - By temperature: where it plays no part, the share of the watched time that was cooler than an event is evenly distributed from 0 to 1;
//!   the sum over the events has the distribution of Irwin and Hall (both 1927).

use super::dropout::{Event, Report, Wire};
use super::prepared::Prepared;
use super::statistics::{poisson_lower, poisson_upper};
use super::{Finding, PartAnalysis};
use crate::quantity::{Channel, FindingKind};
use crate::trace::MarkKind;
use statrs::distribution::{Binomial, ContinuousCDF, DiscreteCDF, Normal};

/// Events told one by one.
pub const MOST_EVENTS: usize = 200;
/// Probability by chance below which events follow something, for all places together.
const CHANCE: f64 = 0.05;
/// Temperature must change by this much before it can be followed, °C.
const LEAST_WARMING: f64 = 3.0;
/// Up to so many events the sum of even shares is reckoned exactly.
const MOST_EXACT: usize = 20;
/// What an event's length is uncertain by: a share of it, at least so many µs, at most so many scan periods (the physics study, 3.3: 5 ± 3,
/// 100 ± 28, 300 ± 28 µs at 200 µs).
const LENGTH_U: (f64, f64, f64) = (0.3, 3.0, 0.29);

/// One loss of contact.
#[derive(Clone, Debug, PartialEq)]
pub struct ContactEvent {
    /// Since the recording began, s.
    pub at_s: f64,
    /// Place of the pigtail by number: 0 hands off; none where no places were told.
    pub place: Option<u8>,
    /// Which wire it points at.
    pub wire: Wire,
    /// How long, µs.
    pub length_us: f64,
    /// Standard uncertainty of that, µs.
    pub length_u_us: f64,
    /// How deep, mV at 5 V, negative towards ground.
    pub depth_mv: f64,
    /// Where the grip was, degrees.
    pub at_deg: Option<f64>,
    /// How warm the rig's thermometer was, °C.
    pub celsius: Option<f64>,
    /// Whether contact was surely lost.
    pub sure: bool,
}

/// Events while one place was flexed.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaceRate {
    /// Number; 0 is hands off.
    pub number: u8,
    /// What it is called.
    pub name: String,
    /// How long, s.
    pub seconds: f64,
    /// Sure events.
    pub events: u64,
    /// Per minute.
    pub per_minute: f64,
    /// Exact 95 % interval of that.
    pub interval: (f64, f64),
    /// Probability by chance of as many, for all places together.
    pub chance: f64,
}

impl PlaceRate {
    /// Whether more were lost there than chance makes.
    pub fn stands_out(&self) -> bool {
        self.number > 0 && self.chance < CHANCE
    }
}

/// Events against temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warmth {
    /// Coolest and warmest, °C.
    pub celsius: (f64, f64),
    /// Share of the watched time that was cooler than the events, on average, 0..1.
    pub cooler_share: f64,
    /// Probability by chance that it is as large.
    pub chance: f64,
}

impl Warmth {
    /// Whether contact is lost when it is warm.
    pub fn follows(&self) -> bool {
        self.chance < CHANCE
    }
}

/// What the events follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Follows {
    /// One place of the travel: the track or the wiper.
    Track,
    /// The flexing of one place of the pigtail: the wire there.
    Wire,
    /// Neither, or both: it can't be told.
    NotTold,
}

impl Follows {
    /// The name in outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Track => "track",
            Self::Wire => "wire",
            Self::NotTold => "not_told",
        }
    }
}

/// Everything about lost contact in one recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Contact {
    /// The first events.
    pub events: Vec<ContactEvent>,
    /// How many there were beyond them.
    pub beyond: u64,
    /// By place of the pigtail; empty where no places were told.
    pub places: Vec<PlaceRate>,
    /// Against temperature; none where that did not change, or nothing was lost.
    pub warmth: Option<Warmth>,
    /// What they follow.
    pub follows: Follows,
    /// The same as a sentence.
    pub why: String,
}

/// Tells of a recording and what was found in it.
pub fn tell(prepared: &Prepared<'_>, report: &Report) -> Contact {
    let spans = spans(prepared);
    let (begun, celsius) = (prepared.trace.time_us.first().copied().unwrap_or(0), warmths(prepared));
    let event = |e: &Event| ContactEvent {
        at_s: e.at_us.saturating_sub(begun) as f64 * 1e-6,
        place: spans.as_ref().and_then(|s| s.at(e.at_us)),
        wire: e.wire,
        length_us: e.length_us,
        length_u_us: length_u(e.length_us, prepared.period_us),
        depth_mv: 5000.0 * e.depth,
        at_deg: e.at_deg,
        celsius: celsius.and_then(|c| c.get(e.scans.start)).map(|c| f64::from(*c)).filter(|c| c.is_finite()),
        sure: e.is_sure(),
    };
    let events: Vec<ContactEvent> = report.events.iter().take(MOST_EVENTS).map(event).collect();
    let sure: Vec<&Event> = report.events.iter().filter(|e| e.is_sure()).collect();
    let places = spans.map(|s| s.rates(&sure)).unwrap_or_default();
    let warmth = celsius.and_then(|c| warmth(c, &sure));
    let locked = report.findings.iter().find_map(same_place);
    let (follows, why) = follows(&places, locked, warmth.as_ref(), sure.len());
    Contact { beyond: (report.events.len() - events.len()) as u64, events, places, warmth, follows, why }
}

/// Puts what the events follow into the findings about them.
pub fn say(contact: &Contact, out: &mut PartAnalysis) {
    let Some(place) =
        contact.places.iter().filter(|p| p.stands_out()).min_by(|a, b| a.chance.total_cmp(&b.chance))
    else {
        return;
    };
    for finding in out.findings.iter_mut().filter(|f| f.kind == FindingKind::Dropout) {
        finding.text += &format!("; above all while place {} ({}) was flexed", place.number, place.name);
    }
}

fn same_place(finding: &Finding) -> Option<f64> {
    finding.details.iter().find(|d| d.name == "same_place").map(|d| d.value)
}

fn length_u(length_us: f64, period_us: f64) -> f64 {
    let (share, least, most) = LENGTH_U;
    (share * length_us).clamp(least, (most * period_us).max(least))
}

fn warmths<'a>(prepared: &'a Prepared<'_>) -> Option<&'a [f32]> {
    prepared.trace.channel(Channel::Temperature)
}

fn follows(
    places: &[PlaceRate],
    locked: Option<f64>,
    warmth: Option<&Warmth>,
    events: usize,
) -> (Follows, String) {
    let place = places.iter().filter(|p| p.stands_out()).min_by(|a, b| a.chance.total_cmp(&b.chance));
    let warm = warmth.filter(|w| w.follows()).map_or(String::new(), |w| {
        format!(
            "; it is lost when warm (chance {:.2} %, {:.0} to {:.0} degC seen)",
            100.0 * w.chance,
            w.celsius.0,
            w.celsius.1
        )
    });
    let (follows, why) = match (place, locked) {
        _ if events == 0 => (Follows::NotTold, "no contact was surely lost".to_owned()),
        (Some(place), None) => (
            Follows::Wire,
            format!(
                "contact is lost in time with the flexing of place {} ({}), {:.0} a minute there (chance {:.2} %): the wire or terminal there",
                place.number,
                place.name,
                place.per_minute,
                100.0 * place.chance
            ),
        ),
        (None, Some(deg)) => {
            (Follows::Track, format!("contact is lost at one place of the travel, {deg:.1} deg, in stroke after stroke: the track or its wiper"))
        }
        (Some(place), Some(deg)) => (
            Follows::NotTold,
            format!(
                "contact is lost at {deg:.1} deg of the travel and also in time with the flexing of place {} ({}): two faults, or one that both move",
                place.number, place.name
            ),
        ),
        (None, None) => (
            Follows::NotTold,
            "what the lost contact follows can't be told: it keeps to no place of the travel and to no place that was flexed".to_owned(),
        ),
    };
    (follows, why + &warm)
}

/// Which place was flexed when.
struct Spans {
    /// From, µs, and place, in order of time.
    from: Vec<(u64, u8)>,
    end_us: u64,
    names: Vec<String>,
}

fn spans(prepared: &Prepared<'_>) -> Option<Spans> {
    let trace = prepared.trace;
    let names = &trace.provenance.places;
    if names.is_empty() {
        return None;
    }
    let mut from = vec![(trace.time_us.first().copied()?, 0)];
    from.extend(trace.marks.iter().filter_map(|m| match m.kind {
        MarkKind::Place { place } => Some((m.at_us, place)),
        _ => None,
    }));
    Some(Spans { from, end_us: trace.time_us.last().copied()?, names: names.clone() })
}

impl Spans {
    fn at(&self, us: u64) -> Option<u8> {
        self.from.iter().rev().find(|(from, _)| *from <= us).map(|(_, place)| *place)
    }

    fn seconds(&self, place: u8) -> f64 {
        let ends = self.from.iter().skip(1).map(|(us, _)| *us).chain([self.end_us]);
        let own = self.from.iter().zip(ends).filter(|((_, p), _)| *p == place);
        own.map(|((from, _), to)| to.saturating_sub(*from) as f64 * 1e-6).sum()
    }

    fn rates(&self, events: &[&Event]) -> Vec<PlaceRate> {
        let all = 0..=self.names.len() as u8;
        let total: f64 = all.clone().map(|p| self.seconds(p)).sum();
        let mut rates: Vec<PlaceRate> = all
            .filter(|p| self.seconds(*p) > 0.0)
            .map(|number| {
                let seconds = self.seconds(number);
                let count = events.iter().filter(|e| self.at(e.at_us) == Some(number)).count() as u64;
                let minutes = seconds / 60.0;
                let name = match number.checked_sub(1) {
                    None => "hands off".to_owned(),
                    Some(k) => self.names[usize::from(k)].clone(),
                };
                PlaceRate {
                    number,
                    name,
                    seconds,
                    events: count,
                    per_minute: count as f64 / minutes,
                    interval: (poisson_lower(count, 0.975) / minutes, poisson_upper(count, 0.975) / minutes),
                    chance: upper_tail(events.len() as u64, seconds / total, count),
                }
            })
            .collect();
        holm(&mut rates);
        rates
    }
}

/// P(X ≥ k) of a binomial(n, p).
fn upper_tail(n: u64, p: f64, k: u64) -> f64 {
    match (k.checked_sub(1), Binomial::new(p.clamp(0.0, 1.0), n)) {
        (Some(below), Ok(binomial)) => binomial.sf(below),
        _ => 1.0,
    }
}

/// Probabilities of the places together, by Holm (1979); hands off is the control and counts among none.
fn holm(rates: &mut [PlaceRate]) {
    let mut order: Vec<usize> = (0..rates.len()).filter(|k| rates[*k].number > 0).collect();
    order.sort_by(|a, b| rates[*a].chance.total_cmp(&rates[*b].chance));
    let mut largest: f64 = 0.0;
    for (k, place) in order.iter().enumerate() {
        let together = (rates[*place].chance * (order.len() - k) as f64).min(1.0);
        largest = largest.max(together);
        rates[*place].chance = largest;
    }
}

fn warmth(celsius: &[f32], events: &[&Event]) -> Option<Warmth> {
    let mut sorted: Vec<f32> = celsius.iter().copied().filter(|c| c.is_finite()).collect();
    sorted.sort_by(f32::total_cmp);
    let (low, high) = (f64::from(*sorted.first()?), f64::from(*sorted.last()?));
    if high - low < LEAST_WARMING {
        return None;
    }
    let share = |c: f32| {
        let below = sorted.partition_point(|s| *s < c);
        let up_to = sorted.partition_point(|s| *s <= c);
        0.5 * (below + up_to) as f64 / sorted.len() as f64
    };
    let shares: Vec<f64> = events
        .iter()
        .filter_map(|e| celsius.get(e.scans.start))
        .filter(|c| c.is_finite())
        .map(|c| share(*c))
        .collect();
    if shares.is_empty() {
        return None;
    }
    let sum: f64 = shares.iter().sum();
    Some(Warmth {
        celsius: (low, high),
        cooler_share: sum / shares.len() as f64,
        chance: sum_of_shares_above(shares.len(), sum),
    })
}

/// P(S ≥ x) for the sum of n numbers evenly distributed from 0 to 1 (Irwin, Hall 1927); by its normal limit where n is large.
fn sum_of_shares_above(n: usize, x: f64) -> f64 {
    if n > MOST_EXACT {
        let spread = (n as f64 / 12.0).sqrt();
        return Normal::new(0.5 * n as f64, spread).map_or(1.0, |normal| normal.sf(x));
    }
    // By symmetry P(S ≥ x) = P(S ≤ n − x); the alternating sum is short and exact enough there.
    let y = n as f64 - x;
    let (mut sum, mut term) = (0.0, 1.0);
    for k in 0..=n {
        if y <= k as f64 {
            break;
        }
        let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
        sum += sign * term * (y - k as f64).powi(n as i32);
        term *= (n - k) as f64 / (k + 1) as f64;
    }
    let factorial: f64 = (1..=n).map(|k| k as f64).product();
    (sum / factorial).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sum_of_even_shares_has_the_published_distribution() {
        // By hand: one share ≥ 0.9: 0.1; two ≥ 1.5: 0.5²/2; three ≥ 1.5: one half (symmetry).
        for (n, x, p) in [(1, 0.9, 0.1), (2, 1.5, 0.125), (3, 1.5, 0.5), (3, 2.7, 0.3f64.powi(3) / 6.0)] {
            assert!((sum_of_shares_above(n, x) - p).abs() < 1e-12, "{n}, {x}");
        }
        // The normal limit takes over where both agree: at 20 and 21, two standard deviations out, 2.3 %.
        let out = |n: usize| sum_of_shares_above(n, 0.5 * n as f64 + 2.0 * (n as f64 / 12.0).sqrt());
        assert!((out(20) - out(21)).abs() < 1e-3, "{} {}", out(20), out(21));
    }

    #[test]
    fn a_place_with_all_the_events_stands_out_and_chance_does_not() {
        let rate = |number, chance| PlaceRate {
            number,
            name: String::new(),
            seconds: 10.0,
            events: 0,
            per_minute: 0.0,
            interval: (0.0, 0.0),
            chance,
        };
        // 8 of 8 events in a fifth of the time: 0.2^8.
        assert!((upper_tail(8, 0.2, 8) - 0.2f64.powi(8)).abs() < 1e-15);
        assert_eq!(upper_tail(8, 0.2, 0), 1.0);
        let mut rates = [rate(0, 0.001), rate(1, 0.02), rate(2, 0.04), rate(3, 0.9)];
        holm(&mut rates);
        // Holm of three: 3 × 0.02, then at least 2 × 0.04; the control counts among none.
        let together: Vec<f64> = rates.iter().skip(1).map(|r| r.chance).collect();
        assert!((together[0] - 0.06).abs() < 1e-12 && (together[1] - 0.08).abs() < 1e-12, "{together:?}");
        assert!(!rates.iter().any(PlaceRate::stands_out));
    }
}
