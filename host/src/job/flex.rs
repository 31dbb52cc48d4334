//! Lost contact watched for, while the pigtail is flexed or the part grows warm.

use super::bench_work::{keep, other_part, with_bench};
use super::concluded::{Concluded, conclude};
use super::event::Event;
use super::failure::Failure;
use super::mounted::Mounted;
use super::outside::Outside;
use super::qualify::after_self_check;
use super::recorded::Recorded;
use super::sheets::Shelf;
use super::watched::{LONGEST_SECONDS, Seconds, checked_place};
use crate::procedure::{FlexCue, FlexKeep, FlexPlaces, FlexPlan, HandEnd, STOP_TOLERANCE_DEG, Typed};
use crate::quantity::ProcedureKind;
use crate::report::text::plain;
use anyhow::anyhow;

/// Seconds to watch where none are typed.
const USUAL_SECONDS: f64 = 60.0;
/// Places along the pigtail where none are named.
pub const USUAL_PLACES: &str = "plug,bend,boot,sensor";
/// Most places: they are typed as one digit.
const MOST_PLACES: usize = 9;
/// Longest name of a place, characters.
pub const LONGEST_NAME: usize = 24;
/// Shortest and longest time at a place, s.
const PLACE_S: (f64, f64) = (2.0, 300.0);

/// A watch, as asked for.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Part and rig.
    pub mounted: Mounted<'a>,
    /// How long at most.
    pub seconds: Seconds,
    /// Angle at which the grip is held, degrees of travel; none = it is free.
    pub at: Option<f64>,
    /// Whether the grip is swept slowly meanwhile.
    pub sweep: bool,
    /// Places along the pigtail that are flexed in turn.
    pub places: Option<&'a FlexPlaces>,
    /// What somebody at the bench typed since it was last asked; it must not wait.
    pub keys: &'a dyn Fn() -> Typed,
}

/// Watches for lost contact.
///
/// # Errors
/// [`Failure::Usage`] for a sheet of another part or a place out of its travel; as every procedure.
pub fn watch(asked: &Watch<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    let Watch { mounted, at, sweep, places, .. } = *asked;
    let shelf = Shelf::new(mounted.sheet)?;
    shelf.check_for_grip()?;
    let at = at.map(|at| checked_place(at, shelf.longest_travel_deg())).transpose()?;
    let mut recorded = Recorded::of_session(mounted, shelf.first(), outside)?;
    // The verdict looks at every sample, so all of it is recorded.
    let keep_all = FlexKeep { whole_up_to_us: (LONGEST_SECONDS * 1e6) as u64, ..FlexKeep::default() };
    let until = HandEnd { after_us: Some(asked.seconds.as_us()), keys: Some(asked.keys) };
    let (beyond, story) = with_bench(mounted.rig, mounted.part, shelf.first(), outside, |bench| {
        bench.takes_grips(ProcedureKind::Flex).map_err(other_part)?;
        let driven = at.is_some() || sweep;
        let ready = !driven || after_self_check(&mut recorded, &shelf, bench, outside).1;
        // The sheet's travel was recorded; the part's own may be shorter.
        let travel = bench.stops().map(|stops| stops.open_deg - stops.closed_deg);
        let beyond = travel.filter(|travel| at.is_some_and(|at| at > *travel + STOP_TOLERANCE_DEG));
        outside.tell(Event::Watching);
        let cue = |event: &FlexCue| outside.tell(Event::Cue(event.clone()));
        let plan = FlexPlan { hold_deg: at, sweep, places, cue: Some(&cue), until };
        if ready && beyond.is_none() {
            keep(&mut recorded, bench.flex_keeping(plan, keep_all).recording, outside);
        }
        Ok(beyond)
    })?;
    let beyond = beyond?;
    recorded.tell_of(story);
    if let Some(travel) = beyond {
        at.map(|at| checked_place(at, travel)).transpose()?;
    }
    let (sheet, question) = recorded.flex_question(&shelf);
    conclude(recorded, &question, sheet, outside)
}

/// How long to watch: as typed, or once everywhere.
///
/// # Errors
/// [`Failure::Usage`] when that does not reach every place, or is out of range.
pub fn seconds_of(typed: Option<f64>, places: Option<&FlexPlaces>) -> Result<Seconds, Failure> {
    let once = places.and_then(|p| Some(p.each_us? as f64 * 1e-6 * (p.names.len() + 1) as f64));
    match (typed, once) {
        (Some(typed), Some(once)) if typed < once => Err(Failure::Usage(anyhow!(
            "--for {typed} s does not reach every place: hands off and {} places take {once:.0} s; leave --for out, or give a shorter --each-place",
            places.map_or(0, |p| p.names.len())
        ))),
        (typed, once) => Seconds::new(typed.or(once).unwrap_or(USUAL_SECONDS)),
    }
}

/// The places as typed.
///
/// # Errors
/// [`Failure::Usage`] for too few or too many, a name that is missing or given twice, or a time out of range.
pub fn places(names: &str, each_s: Option<f64>) -> Result<FlexPlaces, Failure> {
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
            "--each-place {each} s is out of range: {} to {} s at each place",
            PLACE_S.0,
            PLACE_S.1
        )));
    }
    Ok(FlexPlaces { names, each_us: each_s.map(|s| (s * 1e6) as u64) })
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
}
