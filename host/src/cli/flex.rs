//! `flex` and `warm-up`: waiting for lost contact while somebody flexes the pigtail, place by place, or while the part grows warm. Every event
//! is cued at once.

use super::bench_work::{keep, with_bench};
use super::conclude::conclude;
use super::ending::Ending;
use super::options::mounted::Common;
use super::options::mounted::Settled;
use super::qualify::{LONGEST_SECONDS, after_self_check, begin, checked_place, checked_seconds};
use super::surroundings::Surroundings;
use super::terminal::answers::typed_by_now;
use super::terminal::aside::aside;
use super::terminal::enter_key::enter;
use crate::job::Failure;
use crate::job::sheets::Shelf;
use crate::procedure::{FlexCue, FlexKeep, FlexPlaces, FlexPlan, HandEnd, STOP_TOLERANCE_DEG, Typed};
use crate::quantity::Channel;
use crate::report::text::plain;
use anyhow::anyhow;
use clap::Args;
use std::cell::Cell;
use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicU64, Ordering};

/// Seconds to watch where none are typed.
const USUAL_SECONDS: f64 = 60.0;
/// Places along the pigtail where none are named.
const USUAL_PLACES: &str = "plug,bend,boot,sensor";
/// Most places: they are told by one digit.
const MOST_PLACES: usize = 9;
/// Longest name of a place, characters.
const LONGEST_NAME: usize = 24;
/// Shortest and longest time at a place, s.
const PLACE_S: (f64, f64) = (2.0, 300.0);
/// Events cued in one second; of more, how many is said in the next.
const CUES_PER_S: u64 = 4;

/// `flex`.
#[derive(Args, Debug)]
pub struct Flex {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to watch [without it: 60, or once hands off and every place]; Enter or Ctrl-C ends it sooner (with --places: q and Enter)
    #[arg(long, value_name = "S")]
    pub seconds: Option<f64>,
    /// Hold the grip at this angle; without it the grip is free
    #[arg(long, value_name = "DEG")]
    pub at: Option<f64>,
    /// Sweep the grip slowly meanwhile: what keeps to a place of the travel (track) is told from what keeps to the hand (wire)
    #[arg(long, conflicts_with = "at")]
    pub sweep: bool,
    /// Flex place by place, hands off first: type a place's number and Enter when the hand goes there, or Enter for the next [without names: plug,bend,boot,sensor]
    #[arg(long, value_name = "NAME,NAME…", num_args = 0..=1, default_missing_value = USUAL_PLACES)]
    pub places: Option<String>,
    /// So long at each place, hands off first, without a key
    #[arg(long, value_name = "S", requires = "places")]
    pub place_seconds: Option<f64>,
    /// Ring the terminal's bell at each event, also where standard error is no terminal
    #[arg(long)]
    pub bell: bool,
}

/// `warm-up`.
#[derive(Args, Debug)]
pub struct WarmUp {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to watch while the part grows warm; Enter or Ctrl-C ends it sooner
    #[arg(long, value_name = "MIN", default_value_t = 15.0)]
    pub minutes: f64,
    /// Hold the grip at this angle; without it the grip is free
    #[arg(long, value_name = "DEG")]
    pub at: Option<f64>,
    /// Sweep the grip slowly meanwhile
    #[arg(long, conflicts_with = "at")]
    pub sweep: bool,
    /// Ring the terminal's bell at each event, also where standard error is no terminal
    #[arg(long)]
    pub bell: bool,
}

/// What both come to.
struct Watch<'a> {
    common: Settled<'a>,
    seconds: f64,
    at: Option<f64>,
    sweep: bool,
    places: Option<FlexPlaces>,
    bell: bool,
}

/// Carries out `flex`.
///
/// # Errors
/// [`Failure::Usage`] for times, places or angles out of range; as every procedure.
pub fn flex(args: &Flex, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let places = args.places.as_ref().map(|names| places(names, args.place_seconds)).transpose()?;
    let seconds = checked_seconds(seconds_of(args.seconds, places.as_ref())?)?;
    let common = Settled::of(&args.common, surroundings)?;
    watch(Watch { common, seconds, at: args.at, sweep: args.sweep, places, bell: args.bell }, surroundings)
}

/// Carries out `warm-up`.
///
/// # Errors
/// As [`flex`].
pub fn warm_up(args: &WarmUp, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let longest = LONGEST_SECONDS / 60.0;
    if !(0.1..=longest).contains(&args.minutes) {
        return Err(Failure::Usage(anyhow!(
            "--minutes {} is out of range: 0.1 to {longest}; for longer: trackpair soak",
            args.minutes
        )));
    }
    let common = Settled::of(&args.common, surroundings)?;
    let seconds = 60.0 * args.minutes;
    watch(
        Watch { common, seconds, at: args.at, sweep: args.sweep, places: None, bell: args.bell },
        surroundings,
    )
}

fn watch(asked: Watch<'_>, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let Watch { common, seconds, at, sweep, places, bell } = asked;
    let shelf = Shelf::new(common.sheet)?;
    shelf.check_for_grip()?;
    let at = at.map(|at| checked_place(at, shelf.longest_travel_deg())).transpose()?;
    let mut kept = begin(common, shelf.first(), surroundings)?;
    let hand = Cell::new(0);
    let keys = || places.as_ref().map_or_else(enter, |places| hand_typed(places, &hand));
    // The verdict looks at every sample, so all of it is kept.
    let keep_all = FlexKeep { whole_up_to_us: (LONGEST_SECONDS * 1e6) as u64, ..FlexKeep::default() };
    let until = HandEnd { after_us: Some((seconds * 1e6) as u64), keys: Some(&keys) };
    let bell = bell || std::io::stderr().is_terminal();
    let (beyond, story) =
        with_bench(common.rig, common.part, shelf.first(), surroundings, |bench, meter| {
            let driven = at.is_some() || sweep;
            let ready = !driven || after_self_check(bench.self_check(), &mut kept, &shelf, bench, meter).1;
            // The sheet's travel was kept; the part's own may be shorter.
            let travel = bench.stops().map(|stops| stops.open_deg - stops.closed_deg);
            let beyond = travel.filter(|travel| at.is_some_and(|at| at > *travel + STOP_TOLERANCE_DEG));
            if let Some(places) = &places {
                meter.say(&instructions(places));
            }
            let cues = Cues::default();
            let cue = |event: &FlexCue| {
                if let Some(line) = cues.line(event, places.as_ref()) {
                    meter.say(&line);
                    if bell {
                        // A terminal that is gone hears no bell.
                        let _ = std::io::stderr().write_all(b"\x07");
                    }
                }
            };
            let plan = FlexPlan { hold_deg: at, sweep, places: places.as_ref(), cue: Some(&cue), until };
            if ready && beyond.is_none() {
                keep(&mut kept, bench.flex_keeping(plan, keep_all).recording, meter);
            }
            beyond
        })?;
    kept.tell_of(story);
    if let Some(travel) = beyond {
        at.map(|at| checked_place(at, travel)).transpose()?;
    }
    let sheet = kept.judge_as_flex(&shelf);
    conclude(kept, sheet, common.json, None, surroundings)
}

/// How long to watch: as typed, or once everywhere.
fn seconds_of(typed: Option<f64>, places: Option<&FlexPlaces>) -> Result<f64, Failure> {
    let once = places.and_then(|p| Some(p.each_us? as f64 * 1e-6 * (p.names.len() + 1) as f64));
    match (typed, once) {
        (Some(typed), Some(once)) if typed < once => Err(Failure::Usage(anyhow!(
            "--seconds {typed} does not reach every place: hands off and {} places take {once:.0} s; leave --seconds out, or give fewer --place-seconds",
            places.map_or(0, |p| p.names.len())
        ))),
        (typed, once) => Ok(typed.or(once).unwrap_or(USUAL_SECONDS)),
    }
}

/// The places as typed.
fn places(names: &str, each_s: Option<f64>) -> Result<FlexPlaces, Failure> {
    let names: Vec<String> = names.split(',').map(|n| plain(n.trim(), LONGEST_NAME)).collect();
    let usage = |why: String| {
        Failure::Usage(anyhow!(
            "--places: {why}; name 2 to {MOST_PLACES} places with commas between, like {USUAL_PLACES}"
        ))
    };
    if !(2..=MOST_PLACES).contains(&names.len()) {
        return Err(usage(format!("{} places are named", names.len())));
    }
    if names.iter().any(String::is_empty) {
        return Err(usage("a place has no name".to_owned()));
    }
    if let Some((_, twice)) = names.iter().enumerate().find(|(k, n)| names[..*k].contains(n)) {
        return Err(usage(format!("{twice:?} is named twice")));
    }
    if let Some(each) = each_s.filter(|s| !(PLACE_S.0..=PLACE_S.1).contains(s)) {
        return Err(Failure::Usage(anyhow!(
            "--place-seconds {each} is out of range: {} to {} s at each place",
            PLACE_S.0,
            PLACE_S.1
        )));
    }
    Ok(FlexPlaces { names, each_us: each_s.map(|s| (s * 1e6) as u64) })
}

fn instructions(places: &FlexPlaces) -> String {
    let list: Vec<String> = places.names.iter().enumerate().map(|(k, n)| format!("{} {n}", k + 1)).collect();
    let how = match places.each_us {
        Some(each) => format!("hands off first, then {:.0} s at each", each as f64 * 1e-6),
        None => "hands off now; type a number and Enter when the hand goes there, Enter for the next, 0 for hands off, q to end".to_owned(),
    };
    format!("Places: {}. {how}", list.join(", "))
}

/// Where the hand goes, as typed: a place's number, Enter for the next, 0 for hands off, q to end.
fn hand_typed(places: &FlexPlaces, now: &Cell<u8>) -> Typed {
    let Some(line) = typed_by_now() else { return Typed::Nothing };
    let all = places.names.len() as u8;
    let place = match line.as_str() {
        "q" => return Typed::End,
        "" if now.get() >= all => 0,
        "" => now.get() + 1,
        number => match number.parse::<u8>() {
            Ok(place) if place <= all => place,
            _ => {
                aside(format!("{}: no place of 0 to {all}; q ends", plain(number, LONGEST_NAME)));
                return Typed::Nothing;
            }
        },
    };
    now.set(place);
    Typed::Place(place)
}

/// Events that were cued, so that a storm of them does not drown the terminal.
#[derive(Default)]
struct Cues {
    /// Second of the run, and cues in it.
    second: AtomicU64,
    cued: AtomicU64,
    silent: AtomicU64,
}

impl Cues {
    /// What to say of an event; nothing when enough was said this second.
    fn line(&self, event: &FlexCue, places: Option<&FlexPlaces>) -> Option<String> {
        let second = event.after_us / 1_000_000;
        if self.second.swap(second, Ordering::Relaxed) != second {
            self.cued.store(0, Ordering::Relaxed);
        }
        if self.cued.fetch_add(1, Ordering::Relaxed) >= CUES_PER_S {
            self.silent.fetch_add(1, Ordering::Relaxed);
            return None;
        }
        let lines: Vec<&str> = event.lines.iter().map(|c| c.name()).collect();
        let both = Channel::SENSORS.iter().all(|c| event.lines.contains(c));
        let who = if both { "both lines".to_owned() } else { lines.join(", ") };
        let place = match (event.place, places) {
            (Some(place), Some(places)) => format!(" at {place} {}", places.name(place)),
            _ => String::new(),
        };
        let more = match self.silent.swap(0, Ordering::Relaxed) {
            0 => String::new(),
            n => format!(" ({n} more before it)"),
        };
        let how_long = match event.length_us {
            us if event.on_and_off => format!("on and off for about {:.1} ms", us as f64 * 1e-3),
            us => format!("for about {us} us"),
        };
        Some(format!("event {}: {who} lost {how_long}{place}{more}", event.number))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_two_to_nine_with_names_of_their_own() {
        let said = |names| places(names, None).unwrap_err().error().to_string();
        assert!(said("plug").contains("1 places"));
        assert!(said("a,b,c,d,e,f,g,h,i,j").contains("10 places"));
        assert!(said("plug,,sensor").contains("no name"));
        assert!(said("plug,bend,plug").contains("named twice"));
        let out = |s| places(USUAL_PLACES, Some(s)).unwrap_err().error().to_string();
        assert!(out(1.0).contains("2 to 300") && out(f64::NAN).contains("out of range"));
        assert_eq!(places(USUAL_PLACES, Some(10.0)).unwrap().names.len(), 4);
    }

    #[test]
    fn a_storm_of_events_is_cued_a_few_times_a_second_and_counted() {
        let cues = Cues::default();
        let event = |number, after_us| FlexCue {
            number,
            after_us,
            length_us: 400,
            on_and_off: false,
            lines: vec![Channel::Rising],
            place: None,
        };
        let lines: Vec<String> = (1..=50).filter_map(|n| cues.line(&event(n, n * 10_000), None)).collect();
        assert_eq!(lines.len() as u64, CUES_PER_S);
        assert!(lines[0].starts_with("event 1: rising lost for about 400 us"));
        let next = cues.line(&event(51, 1_200_000), None).unwrap();
        assert!(next.contains("46 more before it"), "{next}");
    }
}
