//! `flex`: the pigtail is flexed, place by place or as it comes, and each event is cued. `warm-up`: the part grows warm instead.

use super::ending::Ending;
use super::options::amounts::seconds;
use super::options::mounted::Common;
use super::surroundings::Surroundings;
use super::terminal::answers::typed_by_now;
use super::terminal::aside::aside;
use super::terminal::at_terminal::at_terminal_drawn;
use super::terminal::conclusion::present;
use super::terminal::drawing::Drawing;
use super::terminal::enter_key::enter;
use crate::job::flex::{LONGEST_NAME, USUAL_PLACES, Watch, places, seconds_of, watch};
use crate::job::watched::{LONGEST_SECONDS, Seconds};
use crate::job::{Event, Failure};
use crate::procedure::{FlexCue, FlexPlaces, Typed};
use crate::quantity::Channel;
use crate::report::text::plain;
use anyhow::anyhow;
use clap::Args;
use std::cell::Cell;
use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicU64, Ordering};

/// Events cued in one second; the next second reports how many more there were.
const CUES_PER_S: u64 = 4;

/// Less than this warms nothing, s.
const SHORTEST_WARM_UP_S: f64 = 6.0;

/// `flex`.
#[derive(Args, Debug)]
pub struct Flex {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to watch [without it: 60s, or once hands off and every place]; Enter or Ctrl-C ends it sooner (with --places: q and Enter)
    #[arg(long = "for", value_name = "TIME", value_parser = seconds)]
    pub length: Option<f64>,
    /// Hold the grip at this angle; without it the grip is free
    #[arg(long, value_name = "DEG")]
    pub at: Option<f64>,
    /// Sweep the grip slowly meanwhile: distinguishes what keeps to a place of the travel (track) from what keeps to the hand (wire)
    #[arg(long, conflicts_with = "at")]
    pub sweep: bool,
    /// Flex place by place, hands off first: type a place's number and Enter when the hand goes there, or Enter for the next [without names: plug,bend,boot,sensor]
    #[arg(long, value_name = "NAME,NAME…", num_args = 0..=1, default_missing_value = USUAL_PLACES)]
    pub places: Option<String>,
    /// Move on after this time at each place, hands off first; no key is needed then
    #[arg(long, value_name = "TIME", requires = "places", value_parser = seconds)]
    pub each_place: Option<f64>,
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
    #[arg(long = "for", value_name = "TIME", default_value = "15min", value_parser = seconds)]
    pub length: f64,
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

/// Carries out `flex`.
///
/// # Errors
/// [`Failure::Usage`] for times, places or angles out of range; as every procedure.
pub fn flex(args: &Flex, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let places = args.places.as_ref().map(|names| places(names, args.each_place)).transpose()?;
    let seconds = seconds_of(args.length, places.as_ref())?;
    let mounted = args.common.settled(surroundings)?;
    let hand = Cell::new(0);
    let keys = || places.as_ref().map_or_else(enter, |places| hand_typed(places, &hand));
    let watch =
        Watch { mounted, seconds, at: args.at, sweep: args.sweep, places: places.as_ref(), keys: &keys };
    carry_out(&watch, &args.common, args.bell, surroundings)
}

/// Carries out `warm-up`.
///
/// # Errors
/// As [`flex`].
pub fn warm_up(args: &WarmUp, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    if !(SHORTEST_WARM_UP_S..=LONGEST_SECONDS).contains(&args.length) {
        return Err(Failure::Usage(anyhow!(
            "--for {} s is out of range: {SHORTEST_WARM_UP_S} s to {} min; for longer, run `trackpair soak`",
            args.length,
            LONGEST_SECONDS / 60.0
        )));
    }
    let mounted = args.common.settled(surroundings)?;
    let seconds = Seconds::new(args.length)?;
    let watch = Watch { mounted, seconds, at: args.at, sweep: args.sweep, places: None, keys: &enter };
    carry_out(&watch, &args.common, args.bell, surroundings)
}

fn carry_out(
    asked: &Watch<'_>,
    common: &Common,
    bell: bool,
    surroundings: &Surroundings<'_>,
) -> Result<Ending, Failure> {
    let drawing = Drawing::new(surroundings.progress);
    let cues = Cues::default();
    let bell = bell || std::io::stderr().is_terminal();
    let draw = |event: Event| match (event, asked.places) {
        (Event::Watching, Some(places)) => drawing.say(&instructions(places)),
        (Event::Cue(cue), places) => {
            if let Some(line) = cues.line(&cue, places) {
                drawing.say(&line);
                if bell {
                    // A terminal that is gone hears no bell.
                    let _ = std::io::stderr().write_all(b"\x07");
                }
            }
        }
        (event, _) => drawing.draw(event),
    };
    let concluded = at_terminal_drawn(surroundings, &drawing, &draw, |outside| watch(asked, outside))?;
    present(concluded, common.printed(), surroundings)
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
    /// The line for an event; none when enough was printed this second.
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
            us => format!("for about {us} µs"),
        };
        Some(format!("event {}: {who} lost {how_long}{place}{more}", event.number))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        assert!(lines[0].starts_with("event 1: rising lost for about 400 µs"));
        let next = cues.line(&event(51, 1_200_000), None).unwrap();
        assert!(next.contains("46 more before it"), "{next}");
    }
}
