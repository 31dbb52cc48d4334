//! A round as a line of the log: its place in time, its figures, its dropouts. It writes nothing.

use super::amounts;
use crate::analysis::dropout::Event;
use crate::analysis::rounds::Round;
use crate::outcome::{SoakEvent, SoakFigure, SoakHole, SoakRound};
use crate::trace::Trace;

/// By so much may the clocks of rig and host differ over a hole, s and share of it: dates are written to the second.
const CLOCKS_S: f64 = 3.0;
const CLOCKS_SHARE: f64 = 0.01;
/// Kinds of findings of a round that are reported.
const MOST_FINDINGS: usize = 12;

/// When and where a round was.
#[derive(Clone, Debug)]
pub struct Moment {
    pub date: String,
    pub serial: String,
    pub boot: u32,
    pub rig_us: u64,
}

impl Moment {
    /// Of the first of a round's traces.
    pub fn of(trace: &Trace) -> Self {
        let rig = trace.provenance.rig.as_ref();
        Self {
            date: trace.provenance.started.clone(),
            serial: rig.map(|r| r.serial.clone()).unwrap_or_default(),
            boot: rig.map_or(0, |r| r.boot),
            rig_us: trace.time_us.first().copied().unwrap_or(0),
        }
    }

    /// Seconds since another round, by the rig's clock; none when it did not run on in between.
    fn since(&self, last: &SoakRound) -> Option<f64> {
        let same = self.serial == last.serial && self.boot == last.boot && self.rig_us >= last.rig_us;
        same.then(|| (self.rig_us - last.rig_us) as f64 / 1e6)
    }
}

/// Why there is a hole before a round.
#[derive(Clone, Copy, Debug)]
pub struct Away {
    /// `program` or `link`.
    pub why: &'static str,
    /// Whether the rig's clock may have run on: a simulated rig in this process starts anew.
    pub rig_ran_on: bool,
    pub torn_bytes: u64,
}

/// Seconds since the soak began and seconds of soaking, and the hole before the round, if there is one.
pub fn placed(
    now: &Moment,
    last: Option<&SoakRound>,
    away: Option<Away>,
    every_s: f64,
) -> (f64, f64, Option<SoakHole>) {
    let Some(last) = last else { return (0.0, 0.0, None) };
    let Some(away) = away else {
        let passed = now.since(last).unwrap_or(every_s);
        return (last.t_s + passed, last.soaked_s + passed, None);
    };
    let by_host = between(&last.date, &now.date);
    // A rig that does not count its starts is found out by its clock: it has run for too short a time.
    let ran_on = |by_rig: &f64| *by_rig >= by_host - CLOCKS_S - CLOCKS_SHARE * by_host;
    let by_rig = if away.rig_ran_on { now.since(last).filter(ran_on) } else { None };
    let passed = by_rig.unwrap_or(by_host);
    let t_s = last.t_s + passed;
    let hole = SoakHole {
        from: last.date.clone(),
        to: now.date.clone(),
        from_h: last.t_s / 3600.0,
        to_h: t_s / 3600.0,
        rounds_missed: ((passed / every_s).ceil() - 1.0).max(0.0) as u64,
        why: away.why.to_owned(),
        rig_restarted: by_rig.is_none(),
        by_rig_clock: by_rig.is_some(),
        torn_bytes: away.torn_bytes,
    };
    // A round after a hole takes its own time, not the hole's.
    (t_s, last.soaked_s + every_s, Some(hole))
}

/// Seconds between two dates of the host; 0 when its clock was set back.
fn between(from: &str, to: &str) -> f64 {
    let time = |text: &str| text.parse::<jiff::Timestamp>().ok();
    let passed = time(from).zip(time(to)).map(|(a, b)| b.as_second() - a.as_second());
    passed.unwrap_or(0).max(0) as f64
}

/// A hole in words.
pub fn hole_words(hole: &SoakHole) -> String {
    let long = amounts::shown((hole.to_h - hole.from_h) * 3600.0);
    let who = if hole.why == "link" { "the rig was away" } else { "the program was away" };
    let clock = if hole.by_rig_clock { "by the rig's clock" } else { "by this computer's clock" };
    let anew = if hole.rig_restarted { "; the rig has started anew since" } else { "" };
    format!(
        "{who} from {} to {}, {long} {clock}: {} rounds were missed{anew}",
        hole.from, hole.to, hole.rounds_missed
    )
}

/// The line.
pub fn line(number: u64, at: Moment, (t_s, soaked_s): (f64, f64), cycles: u32, round: &Round) -> SoakRound {
    let Moment { date, serial, boot, rig_us } = at;
    let told = round.events.iter().take(SoakRound::MOST_EVENTS).map(event).collect();
    let beyond = round.events.iter().skip(SoakRound::MOST_EVENTS).filter(|e| e.is_sure()).count();
    let finite = |f: &&crate::analysis::Figure| f.value.is_finite() && f.standard_uncertainty().is_finite();
    SoakRound {
        round: number,
        date,
        serial,
        boot,
        rig_us,
        t_s,
        soaked_s,
        cycles,
        figures: round.analysis.figures.iter().filter(finite).map(figure).collect(),
        events: told,
        events_beyond: beyond as u64,
        watched_min: round.watched_min,
        scans_lost: round.scans_lost,
        celsius: round.celsius,
        findings: findings(round),
        traces: Vec::new(),
        no_room: false,
    }
}

fn figure(of: &crate::analysis::Figure) -> SoakFigure {
    SoakFigure {
        figure: of.name.into(),
        channel: of.channel.map(Into::into),
        condition: of.condition,
        value: of.value,
        u: 2.0 * of.stated_uncertainty(),
    }
}

fn event(of: &Event) -> SoakEvent {
    SoakEvent {
        at_us: of.at_us,
        at_deg: of.at_deg.filter(|d| d.is_finite()),
        wire: of.wire.into(),
        length_us: of.length_us,
        depth: of.depth,
        sure: of.is_sure(),
    }
}

/// Kinds of finding with their line, without dropouts: those are listed one by one.
fn findings(round: &Round) -> Vec<String> {
    use crate::quantity::FindingKind as K;
    let others = round.analysis.findings.iter();
    let others = others.filter(|f| !matches!(f.kind, K::Dropout | K::FeedbackIntermittent | K::NotTestable));
    let mut names: Vec<String> = others
        .filter(|f| f.confidence >= crate::verdict::LEAST_CONFIDENCE)
        .map(|f| match f.channel {
            Some(line) => format!("{} {}", f.kind.name(), line.name()),
            None => f.kind.name().to_owned(),
        })
        .collect();
    names.sort();
    names.dedup();
    names.truncate(MOST_FINDINGS);
    names
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(date: &str, boot: u32, rig_us: u64) -> Moment {
        Moment { date: date.to_owned(), serial: "1".to_owned(), boot, rig_us }
    }

    fn round(at: Moment, t_s: f64) -> SoakRound {
        line(
            1,
            at,
            (t_s, t_s),
            2,
            &Round {
                analysis: crate::analysis::PartAnalysis::default(),
                events: Vec::new(),
                watched_min: 0.1,
                scans_lost: 0,
                celsius: None,
            },
        )
    }

    const TEN: &str = "2026-01-31T10:00:00+01:00";
    const TWELVE: &str = "2026-01-31T12:00:00+01:00";

    #[test]
    fn a_hole_is_measured_by_the_rigs_clock_where_that_ran_on_and_else_by_the_hosts() {
        let last = round(at(TEN, 7, 1_000_000), 600.0);
        let away = |rig_ran_on| Some(Away { why: "program", rig_ran_on, torn_bytes: 0 });
        let five_past = "2026-01-31T10:05:01+01:00";
        let (t_s, soaked_s, hole) = placed(&at(five_past, 7, 301_000_000), Some(&last), away(true), 60.0);
        let hole = hole.expect("a hole");
        assert_eq!((t_s, soaked_s), (900.0, 660.0));
        assert_eq!((hole.rounds_missed, hole.by_rig_clock, hole.rig_restarted), (4, true, false));
        // The same boot count, but it can't have run for two hours.
        let (t_s, _, hole) = placed(&at(TWELVE, 7, 301_000_000), Some(&last), away(true), 60.0);
        assert!(t_s == 7800.0 && hole.is_some_and(|h| h.rig_restarted && !h.by_rig_clock));
        // It has started anew: its clock says nothing of the time between.
        let (t_s, _, hole) = placed(&at(TWELVE, 8, 2_000_000), Some(&last), away(true), 60.0);
        let hole = hole.expect("a hole");
        assert_eq!((t_s, hole.rounds_missed), (600.0 + 7200.0, 119));
        assert!(hole.rig_restarted && !hole.by_rig_clock);
        // A simulated rig is another one each time.
        let (t_s, _, _) = placed(&at(TWELVE, 7, 301_000_000), Some(&last), away(false), 60.0);
        assert_eq!(t_s, 7800.0);
    }

    #[test]
    fn rounds_without_a_hole_follow_each_other_on_the_rigs_clock() {
        let last = round(at(TEN, 7, 1_000_000), 600.0);
        let (t_s, soaked_s, hole) = placed(&at(TWELVE, 7, 62_000_000), Some(&last), None, 60.0);
        assert_eq!((t_s, soaked_s, hole), (661.0, 661.0, None));
        assert_eq!(placed(&at(TEN, 1, 5), None, None, 60.0), (0.0, 0.0, None));
    }
}
