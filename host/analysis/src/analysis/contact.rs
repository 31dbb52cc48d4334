//! Lost contact, event by event: when, which wire, how long, where the hand was that flexed the pigtail, where the grip was, how warm it was;
//! and what the events follow: a place of the pigtail, a place of the travel, the temperature. Exact tests; it judges nothing.
//!
//! - By place: of N events in a time T, those in the time t of a place are binomial(N, t/T) where all places are alike (the conditional test of
//!   Poisson rates, Przyborowski and Wilenski 1940); upper tail, Holm over the places and over all of them together against hands off. Rates
//!   have exact Poisson bounds (Garwood 1936).
//! - By angle, where the grip was moved: whether events are spread over the travel as the time is (Kolmogorov's test).
//! - By temperature: where it plays no part, the share of the watched time that was cooler than an event is evenly distributed from 0 to 1;
//!   the sum over the events has the distribution of Irwin and Hall (both 1927).

use super::dropout::{Event, Report, Wire};
use super::prepared::{AngleSource, Prepared};
use super::statistics::{poisson_lower, poisson_upper};
use super::{Finding, PartAnalysis};
use crate::quantity::{Channel, FindingKind};
use crate::trace::MarkKind;
use statrs::distribution::{Binomial, ContinuousCDF, DiscreteCDF, Normal};

/// Events reported one by one.
pub const MOST_EVENTS: usize = 200;
/// Probability by chance below which events follow something, for all places together.
const CHANCE: f64 = 0.05;
/// So many events at least, over so much travel, before they count as spread over it; fewer could all be of one place.
const SPREAD: (usize, f64) = (10, 20.0);
/// Temperature must change by this much before it can be followed, °C.
const LEAST_WARMING: f64 = 3.0;
/// Events that show it, at least.
const LEAST_WARM_EVENTS: usize = 3;
/// Cooler share of the time at which contact is lost when warm: where it is lost r times as often in the warmer half, the share is
/// 1/2 + (r − 1) / (r + 1) / 4, so 0.58 for r = 2.
const LEAST_SHARE: f64 = 0.58;
/// Up to so many events the sum of even shares is reckoned exactly.
const MOST_EXACT: usize = 20;

/// One loss of contact.
#[derive(Clone, Debug, PartialEq)]
pub struct ContactEvent {
    /// Since the recording began, s.
    pub at_s: f64,
    /// Place of the pigtail by number: 0 hands off; none where no places were named.
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
    /// Whether contact is lost when it is warm: not by chance, and about twice as often in the warmer half of the time at least.
    pub fn follows(&self) -> bool {
        self.chance < CHANCE && self.cooler_share >= LEAST_SHARE
    }
}

/// What the events follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Follows {
    /// One place of the travel: the track or the wiper.
    Track,
    /// The flexing of the pigtail, at one place or wherever; or time, wherever the grip is: a wire or a terminal.
    Wire,
    /// Neither, or both: it can't be decided.
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

impl crate::quantity::Name for Follows {
    const ALL: &'static [Self] = &[Self::Track, Self::Wire, Self::NotTold];

    fn name(self) -> &'static str {
        Self::name(self)
    }
}

/// Everything about lost contact in one recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Contact {
    /// The first events.
    pub events: Vec<ContactEvent>,
    /// How many there were beyond them.
    pub beyond: u64,
    /// By place of the pigtail; empty where no places were named.
    pub places: Vec<PlaceRate>,
    /// Against temperature; none where that did not change, or less than three events were sure.
    pub warmth: Option<Warmth>,
    /// What they follow.
    pub follows: Follows,
    /// The same as a sentence.
    pub why: String,
}

/// Describes a recording and what was found in it.
pub fn tell(prepared: &Prepared<'_>, report: &Report) -> Contact {
    let spans = spans(prepared);
    let (begun, celsius) = (prepared.trace.time_us.first().copied().unwrap_or(0), warmths(prepared));
    let event = |e: &Event| ContactEvent {
        at_s: e.at_us.saturating_sub(begun) as f64 * 1e-6,
        place: spans.as_ref().and_then(|s| s.at(e.at_us)),
        wire: e.wire,
        length_us: e.length_us,
        length_u_us: e.length_u_us,
        depth_mv: 5000.0 * e.depth,
        at_deg: e.at_deg,
        celsius: celsius.and_then(|c| c.get(e.scans.start)).map(|c| f64::from(*c)).filter(|c| c.is_finite()),
        sure: e.is_sure(),
    };
    let events: Vec<ContactEvent> = report.events.iter().take(MOST_EVENTS).map(event).collect();
    let sure: Vec<&Event> = report.events.iter().filter(|e| e.is_sure()).collect();
    let (places, flexing) = spans.map(|s| s.rates(&sure)).unwrap_or((Vec::new(), None));
    let warmth = celsius.and_then(|c| warmth(c, &sure));
    let clues = Clues {
        places: &places,
        flexing,
        locked: report.findings.iter().find_map(same_place),
        spread: (prepared.angle_source == AngleSource::Reference)
            .then(|| spread(&prepared.deg, &sure))
            .flatten(),
        events: sure.len(),
    };
    let (follows, mut why) = clues.follows();
    why += &warmth.as_ref().filter(|w| w.follows()).map_or(String::new(), when_warm);
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

fn warmths<'a>(prepared: &'a Prepared<'_>) -> Option<&'a [f32]> {
    prepared.trace.channel(Channel::Temperature)
}

fn when_warm(warmth: &Warmth) -> String {
    let (from, to) = warmth.celsius;
    let chance = percent(warmth.chance);
    format!("; it is lost when warm (chance {chance}, {from:.0} to {to:.0} degC seen)")
}

/// A probability by chance in words.
fn percent(chance: f64) -> String {
    if chance < 0.0005 { "below 0.1 %".to_owned() } else { format!("{:.1} %", 100.0 * chance) }
}

/// What speaks for track or wire.
struct Clues<'a> {
    places: &'a [PlaceRate],
    /// Probability by chance of so many events while any place was flexed, against hands off; none where no places were named.
    flexing: Option<f64>,
    /// Place of the travel where contact is lost in stroke after stroke, degrees.
    locked: Option<f64>,
    /// Probability by chance of events as unevenly spread over the travel, against the time spent there; none where that can't be computed.
    spread: Option<f64>,
    events: usize,
}

impl Clues<'_> {
    fn follows(&self) -> (Follows, String) {
        let place =
            self.places.iter().filter(|p| p.stands_out()).min_by(|a, b| a.chance.total_cmp(&b.chance));
        match (place, self.locked) {
            _ if self.events == 0 => (Follows::NotTold, "no contact was surely lost".to_owned()),
            (Some(place), None) => (
                Follows::Wire,
                format!(
                    "contact is lost in time with the flexing of place {} ({}), {:.0} a minute there (chance {}): the wire or terminal there",
                    place.number,
                    place.name,
                    place.per_minute,
                    percent(place.chance)
                ),
            ),
            (None, Some(deg)) => (
                Follows::Track,
                format!(
                    "contact is lost at one place of the travel, {deg:.1} deg, in stroke after stroke: the track or its wiper"
                ),
            ),
            (Some(place), Some(deg)) => (
                Follows::NotTold,
                format!(
                    "contact is lost at {deg:.1} deg of the travel and also in time with the flexing of place {} ({}): two faults, or one that both move",
                    place.number, place.name
                ),
            ),
            (None, None) => self.of_no_place(),
        }
    }

    fn of_no_place(&self) -> (Follows, String) {
        if let Some(chance) = self.flexing.filter(|c| *c < CHANCE) {
            let text = format!(
                "contact is lost while the pigtail is flexed, at no single place more than chance makes (hands off against flexed: chance {}): a wire \
                 or terminal that moves with all of it",
                percent(chance)
            );
            return (Follows::Wire, text);
        }
        if let Some(chance) = self.spread.filter(|c| *c >= CHANCE) {
            let text = format!(
                "contact is lost wherever the grip is: {} events are spread over the travel as the time is (chance {}), so it is a wire or a terminal \
                 rather than a place of the track; flex place by place to find where",
                self.events,
                percent(chance)
            );
            return (Follows::Wire, text);
        }
        let text = "what the lost contact follows can't be told: it keeps to no place of the travel and to no place that was flexed";
        (Follows::NotTold, text.to_owned())
    }
}

/// Probability by chance that events are as unevenly spread over the travel as they are, against the time spent at each angle; none where the
/// grip was not moved, or there are few events.
fn spread(deg: &[f32], events: &[&Event]) -> Option<f64> {
    let mut angles: Vec<f64> = deg.iter().map(|d| f64::from(*d)).filter(|a| a.is_finite()).collect();
    angles.sort_by(f64::total_cmp);
    let at = |share: f64| angles.get((share * angles.len() as f64) as usize).copied();
    let (few, least) = SPREAD;
    if at(0.95)? - at(0.05)? < least {
        return None;
    }
    let mut shares: Vec<f64> =
        events.iter().filter_map(|e| e.at_deg).map(|a| share_below(&angles, &a)).collect();
    shares.sort_by(f64::total_cmp);
    (shares.len() >= few).then(|| kolmogorov(&shares))
}

/// Share of sorted values below one, those equal to it by half.
fn share_below<T: PartialOrd>(sorted: &[T], value: &T) -> f64 {
    let (below, up_to) = (sorted.partition_point(|s| s < value), sorted.partition_point(|s| s <= value));
    0.5 * (below + up_to) as f64 / sorted.len() as f64
}

/// Kolmogorov's test of sorted shares against an even distribution from 0 to 1: probability of a distance as large, with Stephens' (1970)
/// correction for their number.
fn kolmogorov(shares: &[f64]) -> f64 {
    let n = shares.len() as f64;
    let distance = shares
        .iter()
        .enumerate()
        .fold(0.0f64, |most, (k, s)| most.max(s - k as f64 / n).max((k + 1) as f64 / n - s));
    let lambda = (n.sqrt() + 0.12 + 0.11 / n.sqrt()) * distance;
    let term =
        |k: u32| (-2.0 * f64::from(k * k) * lambda * lambda).exp() * if k % 2 == 1 { 2.0 } else { -2.0 };
    (1..=100).map(term).sum::<f64>().clamp(0.0, 1.0)
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

    /// Rates by place, and the probability by chance of so many events while any place was flexed.
    fn rates(&self, events: &[&Event]) -> (Vec<PlaceRate>, Option<f64>) {
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
        let hands_off = |r: &&PlaceRate| r.number == 0;
        let flexed = rates.iter().find(hands_off).map(|off| {
            let count = events.len() as u64 - off.events;
            upper_tail(events.len() as u64, 1.0 - off.seconds / total, count)
        });
        let flexing = holm(&mut rates, flexed);
        (rates, flexing)
    }
}

/// P(X ≥ k) of a binomial(n, p).
fn upper_tail(n: u64, p: f64, k: u64) -> f64 {
    match (k.checked_sub(1), Binomial::new(p.clamp(0.0, 1.0), n)) {
        (Some(below), Ok(binomial)) => binomial.sf(below),
        _ => 1.0,
    }
}

/// Probabilities of the places and of flexing anywhere together, by Holm (1979); hands off is the control and counts among none. Returns that
/// of flexing anywhere.
fn holm(rates: &mut [PlaceRate], mut flexing: Option<f64>) -> Option<f64> {
    let mut order: Vec<&mut f64> =
        rates.iter_mut().filter(|r| r.number > 0).map(|r| &mut r.chance).chain(flexing.as_mut()).collect();
    order.sort_by(|a, b| a.total_cmp(b));
    let (mut largest, all) = (0.0f64, order.len());
    for (k, chance) in order.into_iter().enumerate() {
        largest = largest.max((*chance * (all - k) as f64).min(1.0));
        *chance = largest;
    }
    flexing
}

fn warmth(celsius: &[f32], events: &[&Event]) -> Option<Warmth> {
    let mut sorted: Vec<f32> = celsius.iter().copied().filter(|c| c.is_finite()).collect();
    sorted.sort_by(f32::total_cmp);
    let (low, high) = (f64::from(*sorted.first()?), f64::from(*sorted.last()?));
    if high - low < LEAST_WARMING {
        return None;
    }
    let shares: Vec<f64> = events
        .iter()
        .filter_map(|e| celsius.get(e.scans.start))
        .filter(|c| c.is_finite())
        .map(|c| share_below(&sorted, c))
        .collect();
    if shares.len() < LEAST_WARM_EVENTS {
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

    fn rate(number: u8, chance: f64) -> PlaceRate {
        PlaceRate {
            number,
            name: String::new(),
            seconds: 10.0,
            events: 0,
            per_minute: 0.0,
            interval: (0.0, 0.0),
            chance,
        }
    }

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
        // 8 of 8 events in a fifth of the time: 0.2^8.
        assert!((upper_tail(8, 0.2, 8) - 0.2f64.powi(8)).abs() < 1e-15);
        assert_eq!(upper_tail(8, 0.2, 0), 1.0);
        let mut rates = [rate(0, 0.001), rate(1, 0.02), rate(2, 0.04), rate(3, 0.9)];
        assert_eq!(holm(&mut rates, None), None);
        // Holm of three: 3 × 0.02, then at least 2 × 0.04; the control counts among none.
        let together: Vec<f64> = rates.iter().skip(1).map(|r| r.chance).collect();
        assert!((together[0] - 0.06).abs() < 1e-12 && (together[1] - 0.08).abs() < 1e-12, "{together:?}");
        assert!(!rates.iter().any(PlaceRate::stands_out));
    }

    #[test]
    fn flexing_anywhere_is_one_more_of_those_that_are_tested_together() {
        let mut rates = [1, 2].map(|number| rate(number, 0.2));
        // Holm of three: 3 × 0.001; then 2 × 0.2 for both.
        let flexing = holm(&mut rates, Some(0.001)).unwrap();
        assert!((flexing - 0.003).abs() < 1e-12);
        assert!(rates.iter().all(|r| (r.chance - 0.4).abs() < 1e-12));
    }

    #[test]
    fn kolmogorovs_test_has_its_published_points_and_tells_one_place_from_all() {
        // Tables of the limit: 5 % at 1.358, 1 % at 1.628 (Smirnov 1948, from memory; scipy.special.kolmogorov gives 0.0500 and 0.0100).
        for (lambda, p) in [(1.358, 0.05), (1.628, 0.01)] {
            let n = 1e4f64;
            let distance = lambda / (n.sqrt() + 0.12 + 0.11 / n.sqrt());
            // Evenly spaced, all moved by the distance less the half step that even spacing has already.
            let shares: Vec<f64> = (0..10_000).map(|k| (k as f64 + 1.0) / n - distance).collect();
            assert!((kolmogorov(&shares) - p).abs() < 2e-4, "{lambda}: {}", kolmogorov(&shares));
        }
        let even: Vec<f64> = (0..10).map(|k| (f64::from(k) + 0.5) / 10.0).collect();
        assert!(kolmogorov(&even) > 0.99);
        // Ten events at one place, wherever it is, are never taken for spread.
        assert!((0..=10).all(|k| kolmogorov(&[0.1 * f64::from(k); 10]) < 0.02));
    }
}
