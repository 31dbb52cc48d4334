//! Where a report's contents came from, in words, the same for every medium: part, sheet, rig, versions, times, calibration,
//! procedures, and what ties it to a sealed record.

use super::ReportInput;
use super::document::{Fact, Facts, Sealing};
use super::format;
use super::people::People;
use super::qr::qr_svg;
use super::rows::Named;
use super::text::{LABEL, SENTENCE, plain, signs};
use super::words;
use crate::outcome::{Outcome, OutcomeLine, OutcomeMating, OutcomeProcedure, Stamp};
use crate::trace::ChannelProvenance;

/// Everything about where it came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Provenance {
    /// Part, sheet, rig, versions, times.
    pub facts: Vec<Named>,
    /// Calibration of the recorded channels.
    pub calibration: Vec<Named>,
    /// Procedures: name, scans, end, file.
    pub procedures: Vec<[String; 4]>,
    /// When it was recorded.
    pub recorded: String,
    /// When it was judged.
    pub judged: String,
    /// Name of the sheet.
    pub sheet: String,
    /// Title of the sheet.
    pub sheet_title: String,
    /// Kind of part.
    pub kind: String,
}

impl Provenance {
    /// From what a report is made of.
    pub fn of(input: &ReportInput<'_>, people: &People) -> Self {
        let outcome = input.outcome;
        Self {
            facts: facts(input),
            calibration: input.channels.iter().map(|c| calibration(c, people)).collect(),
            procedures: outcome.procedures.iter().map(procedure).collect(),
            recorded: plain(&words::time(&outcome.recorded), LABEL),
            judged: plain(&words::time(&outcome.judged), LABEL),
            sheet: plain(&outcome.sheet.name, LABEL),
            sheet_title: plain(&outcome.sheet.title, LABEL),
            kind: plain(&words::kind(&outcome.part.kind), LABEL),
        }
    }
}

/// What ties a document to its sealed record, in words.
pub fn sealing(stamp: &Stamp) -> Sealing {
    let groups = |hex: &str| Stamp { fingerprint: plain(hex, LABEL), ..stamp.clone() }.grouped(16);
    let facts = [
        ("record", plain(&stamp.record, LABEL)),
        ("fingerprint", groups(&stamp.fingerprint)),
        ("shop's key", groups(&stamp.key)),
    ];
    Sealing {
        facts: Facts::new(facts.map(|(name, text)| Fact::new(name, text)).to_vec()),
        short: plain(&stamp.grouped(4), LABEL),
        code: qr_svg(&stamp.code, "Record, fingerprint, key and signature as a QR code"),
    }
}

/// Part, sheet, rig, versions, times.
fn facts(input: &ReportInput<'_>) -> Vec<Named> {
    let outcome = input.outcome;
    let mut all: Vec<(String, String)> = vec![
        ("part, in the user's words".to_owned(), given(&outcome.part.label)),
        ("kind of part".to_owned(), words::kind(&outcome.part.kind)),
        (
            "topology".to_owned(),
            format!(
                "{} expected by the sheet, {} shown by the data",
                outcome.sheet.topology,
                outcome.part.topology_found.as_deref().unwrap_or("none")
            ),
        ),
        ("part sheet".to_owned(), format!("{}: {}", outcome.sheet.name, outcome.sheet.title)),
        ("recorded".to_owned(), words::time(&outcome.recorded)),
        ("judged".to_owned(), words::time(&outcome.judged)),
    ];
    match &outcome.rig {
        None => all.push(("rig".to_owned(), "none; the trace came from a file".to_owned())),
        Some(rig) => {
            all.push(("rig".to_owned(), format!("{}, serial {}", rig.model, rig.serial)));
            let firmware = format!("{}, protocol {}, boot {}", rig.firmware, rig.protocol, rig.boot);
            all.push(("firmware".to_owned(), firmware));
            all.push(("reached at".to_owned(), rig.address.clone()));
        }
    }
    all.extend(outcome.line.iter().flat_map(line));
    all.extend(matings(outcome));
    all.extend(outcome.versions.iter().map(|(name, version)| {
        (format!("version of {}", name.replace("recorded_by", "the recorder")), version.clone())
    }));
    all.push(("shape of the stored outcome".to_owned(), outcome.schema.to_string()));
    all.into_iter()
        .map(|(name, text)| Named { name: plain(&name, LABEL), text: plain(&signs(&text), SENTENCE) })
        .collect()
}

/// What the line to the rig did.
fn line(line: &OutcomeLine) -> Vec<(String, String)> {
    let OutcomeLine { counts, round_trip_us, longest_rig_silence_ms, longest_heartbeat_gap_ms, .. } = line;
    let lost = counts.scans_lost_line + counts.scans_lost_rig + counts.scans_lost_host;
    let mut told = vec![(
        "line to the rig".to_owned(),
        format!(
            "{} frames, {} damaged; {} requests, {} repeated; {lost} scans lost",
            counts.frames,
            counts.damaged(),
            counts.requests,
            counts.repeats
        ),
    )];
    let answers = round_trip_us.map_or_else(String::new, |times| {
        format!("99 of 100 answers within {:.2} ms; ", times.p99 as f64 / 1e3)
    });
    told.push((
        "times on the line".to_owned(),
        format!(
            "{answers}longest silence of the rig {longest_rig_silence_ms} ms, of this computer {longest_heartbeat_gap_ms} ms"
        ),
    ));
    told
}

/// How often the connectors were plugged in.
fn matings(outcome: &Outcome) -> Vec<(String, String)> {
    let Some(matings) = &outcome.matings else { return Vec::new() };
    let connectors = [("matings of the part", &matings.part), ("matings of the rig's lead", &matings.lead)];
    let left = if matings.counted { "" } else { ", left plugged in since the last session" };
    let told = |(name, mating): (&str, &Option<OutcomeMating>)| {
        let OutcomeMating { count, rated, source, .. } = mating.as_ref()?;
        Some((name.to_owned(), format!("{count} of {rated}{left} (rating: {source})")))
    };
    connectors.into_iter().filter_map(told).collect()
}

/// What was given, or that nothing was.
fn given(text: &str) -> String {
    if text.trim().is_empty() { "not given".to_owned() } else { text.to_owned() }
}

fn procedure(p: &OutcomeProcedure) -> [String; 4] {
    // Where it lies in the archive follows from kind, month, procedure and record; the name is enough to find it.
    let file = p.trace_file.as_deref().map_or(format::NOTHING, |f| f.rsplit('/').next().unwrap_or(f));
    [&words::procedure(&p.procedure), &p.scans.to_string(), &words::end(&p.end), file]
        .map(|cell| plain(cell, LABEL))
}

fn calibration(channel: &ChannelProvenance, people: &People) -> Named {
    let when = match channel.calibrated_day {
        0 => "never calibrated, or not known".to_owned(),
        day => format!("calibrated {}", day_of(day)),
    };
    let certificate = if channel.certificate.trim().is_empty() {
        String::new()
    } else {
        format!(", {}", channel.certificate)
    };
    let gain = format::significant(channel.gain_uncertainty * 100.0, 2);
    let offset = format::significant(channel.offset_uncertainty, 2);
    let text = format!("{when}{certificate}; standard uncertainty {gain} % of reading and {offset} at zero");
    Named { name: people.lines.name(channel.channel).to_owned(), text: plain(&signs(&text), SENTENCE) }
}

/// Days since 1970-01-01 as a date.
fn day_of(day: u32) -> String {
    let span = jiff::Span::new().try_days(i64::from(day));
    let date = span.and_then(|span| jiff::civil::date(1970, 1, 1).checked_add(span));
    date.map_or_else(|_| format!("on day {day} after 1970-01-01"), |date| date.to_string())
}

#[cfg(test)]
mod tests {
    use super::day_of;

    #[test]
    fn days_become_dates() {
        // Known dates of the Unix calendar: 0 is 1970-01-01, 11,016 is 2000-02-29, 20,454 is 2026-01-01.
        assert_eq!(day_of(0), "1970-01-01");
        assert_eq!(day_of(11_016), "2000-02-29");
        assert_eq!(day_of(20_454), "2026-01-01");
        assert_eq!(day_of(u32::MAX), "on day 4294967295 after 1970-01-01");
    }
}
