//! What is asked for, by a plan or by a log that goes on; and whether it fits the disk.

use super::amounts;
use super::plan::Soak;
use crate::compare::soak::{Course, planned};
use crate::job::failure::Failure;
use crate::job::outside::Outside;
use crate::outcome::{SOAK_LOG_SCHEMA, SoakBegin};
use crate::quantity::PartKind;
use crate::record::Archive;
use crate::record::soak_log::{SoakLog, SoakLogError, unfinished};
use anyhow::anyhow;
use std::path::Path;

/// Longest soak, h: four weeks.
const LONGEST_H: f64 = 672.0;
/// Shortest and longest time from round to round, s.
const EVERY_S: (f64, f64) = (5.0, 86_400.0);
/// Longest that a rig is waited for, s.
const PATIENCE_S: f64 = 86_400.0;
/// What a line of the log takes at most: some 60 figures of 110 bytes, 40 dropouts of 150.
const LINE_BYTES: u64 = 13_000;
/// What one round's traces take at most in a first estimate: a body's rest and creep.
const ROUND_BYTES: u64 = 3_000_000;

/// A soak to begin or to go on with.
pub struct Asked {
    /// The settings, kind and sheet still open where it is to begin.
    pub begin: SoakBegin,
    /// Bytes for traces.
    pub room: u64,
    /// Where it stopped.
    pub again: Option<Again>,
    /// Sentences for the user.
    pub notes: Vec<String>,
}

/// A log that goes on.
pub struct Again {
    pub record: String,
    pub log: SoakLog,
    pub course: Course,
    pub torn_bytes: u64,
}

impl Asked {
    /// By the plan: the record that is named, an unfinished one on the same rig and part, or a new one.
    ///
    /// # Errors
    /// Settings out of range, no room, a record that can't go on.
    pub fn of(plan: &Soak<'_>, archive: &Archive, outside: &Outside<'_>) -> Result<Self, Failure> {
        if let Some(record) = plan.resume {
            return Self::again(record_name(record), archive);
        }
        let mounted = plan.mounted;
        let begin = SoakBegin {
            schema: SOAK_LOG_SCHEMA,
            rig: mounted.rig.to_owned(),
            kind: PartKind::default().into(),
            part: mounted.part.to_owned(),
            sheet: mounted.sheet.unwrap_or_default().to_owned(),
            hours: plan.hours,
            every_s: plan.every_s,
            cycles: plan.cycles,
            disk: plan.disk,
            patience_s: plan.patience_s,
            date: outside.now(),
            simulated: false,
            case: mounted.case.map(str::to_owned),
            still_plugged: mounted.still_plugged,
        };
        check(&begin)?;
        if !plan.new
            && let Some((record, _)) = unfinished(archive)
                .into_iter()
                .rev()
                .find(|(_, b)| (&b.rig, &b.part) == (&begin.rig, &begin.part))
        {
            match Self::again(&record, archive) {
                Ok(mut asked) => {
                    asked.notes.insert(0, format!(
                        "the soak {record} on this rig and part has not ended: going on with it, with the settings that it was begun with \
                         (--new begins another one)"
                    ));
                    return Ok(asked);
                }
                // The rig's lock shows one that runs; a simulated rig may be soaked twice.
                Err(_) if begin.rig.starts_with("sim:") => {}
                Err(why) => return Err(why),
            }
        }
        let (room, notes) = room(&begin, archive.dir())?;
        Ok(Self { begin, room, again: None, notes })
    }

    fn again(record: &str, archive: &Archive) -> Result<Self, Failure> {
        let concluded = archive.record(record).is_ok_and(|r| !r.outcomes.is_empty());
        if concluded {
            return Err(Failure::Usage(anyhow!(
                "the soak {record} has ended and was judged; begin another one without --resume, and compare the two (`trackpair compare`)"
            )));
        }
        let mut course = Course::default();
        let folder = archive.dir().join("records").join(record);
        let (log, torn_bytes) =
            SoakLog::again(&folder, record, &mut |line| course.take(line)).map_err(of_log)?;
        let Some(begin) = course.begin().cloned() else {
            return Err(Failure::Usage(anyhow!(
                "the log of {record} does not begin with what was asked for: it was altered"
            )));
        };
        let left = begin.disk.saturating_sub(planned(&begin) * LINE_BYTES);
        let mut notes = Vec::new();
        if torn_bytes > 0 {
            notes.push(format!(
                "the log's last line was torn ({torn_bytes} bytes) when the program was cut off: that round was not acknowledged and does not count"
            ));
        }
        let again = Again { record: record.to_owned(), log, course, torn_bytes };
        Ok(Self { begin, room: left, again: Some(again), notes })
    }
}

/// A record by its name or its folder.
fn record_name(typed: &str) -> &str {
    Path::new(typed).file_name().and_then(|n| n.to_str()).unwrap_or(typed)
}

/// What is wrong with a log, by who can mend it.
pub fn of_log(error: SoakLogError) -> Failure {
    match error {
        SoakLogError::NoSoak { .. } => Failure::Usage(error.into()),
        SoakLogError::Taken { .. } => Failure::Rig(error.into()),
        other => Failure::Other(other.into()),
    }
}

fn check(begin: &SoakBegin) -> Result<(), Failure> {
    let usage = |what: String| Err(Failure::Usage(anyhow!(what)));
    if !(begin.hours > 0.0 && begin.hours <= LONGEST_H) {
        return usage(format!(
            "--for {} h is out of range: more than 0 h, up to {LONGEST_H} h; begin another soak after it",
            begin.hours
        ));
    }
    let (least, most) = EVERY_S;
    if !(least..=most).contains(&begin.every_s) {
        return usage(format!("--every {} is out of range: 5s to 24h", amounts::shown(begin.every_s)));
    }
    if begin.patience_s > PATIENCE_S {
        return usage(format!("--patience {} is out of range: 0s to 24h", amounts::shown(begin.patience_s)));
    }
    Ok(())
}

/// Bytes for traces, once figures and dropouts have what they may need at most; and notes for the user.
fn room(begin: &SoakBegin, folder: &Path) -> Result<(u64, Vec<String>), Failure> {
    let rounds = planned(begin);
    let lines = rounds * LINE_BYTES;
    let least = lines + 2 * ROUND_BYTES;
    let megabytes = |bytes: u64| format!("{:.0} MB", (bytes as f64 / 1e6).ceil());
    if begin.disk < least {
        return Err(Failure::Usage(anyhow!(
            "--disk {} is too little: figures and dropouts of {rounds} rounds may take {}, two rounds' traces {}; give {} at least, a \
             shorter --for, or a longer --every",
            megabytes(begin.disk),
            megabytes(lines),
            megabytes(2 * ROUND_BYTES),
            megabytes(least)
        )));
    }
    // Where the system does not know, the first write that fails shows it.
    let free = fs4::available_space(folder).unwrap_or(u64::MAX);
    if free < least {
        return Err(Failure::Usage(anyhow!(
            "the disk of {} has {} free, and {rounds} rounds may take {}: free some, give another --archive, a shorter --for, or a longer --every",
            folder.display(),
            megabytes(free),
            megabytes(least)
        )));
    }
    let disk = begin.disk.min(free / 10 * 9);
    let mut notes = Vec::new();
    if disk < begin.disk {
        notes.push(format!(
            "the disk has {} free, less than --disk {}: traces are thinned to fit",
            megabytes(free),
            megabytes(begin.disk)
        ));
    }
    notes.push(format!(
        "a soak of {} in rounds of {}: {rounds} rounds; figures and dropouts take {} at most, traces up to {}. Ctrl-C ends it and judges \
         what there is",
        amounts::shown(begin.hours * 3600.0),
        amounts::shown(begin.every_s),
        megabytes(lines),
        megabytes(disk.saturating_sub(lines))
    ));
    Ok((disk.saturating_sub(lines), notes))
}
