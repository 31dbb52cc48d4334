//! The report as one HTML file that needs nothing else: style and pictures inside, no script, nothing loaded.
//! Words come from [`super::people`], pictures from [`super::plots`]; the layout is in `templates/`.

use super::ReportInput;
use super::body_plots::{BeforeAfter, comparisons};
use super::format;
use super::people::{Named, People};
use super::plots::{Plots, plots};
use super::text::{LABEL, SENTENCE, plain};
use super::words;
use crate::quantity::PartKind;
use crate::trace::ChannelProvenance;
use askama::Template;

/// What the template shows.
#[derive(Template)]
#[template(path = "report.html")]
struct Page<'a> {
    people: &'a People,
    plots: Plots,
    undecided: Vec<Named>,
    simulated: bool,
    readiness: bool,
    aborted: bool,
    recorded: String,
    judged: String,
    sheet: String,
    sheet_title: String,
    kind: String,
    facts: Vec<Named>,
    calibration: Vec<Named>,
    procedures: Vec<Vec<String>>,
    cautions: Vec<String>,
    body: bool,
    comparisons: Vec<BeforeAfter>,
}

/// The report as HTML. It is also well-formed XML, so that any such tool can read it.
pub fn html(input: &ReportInput<'_>) -> String {
    let people = People::of(input.outcome);
    let outcome = input.outcome;
    let page = Page {
        plots: plots(input, &people),
        undecided: people.undecided(),
        simulated: outcome.simulated,
        readiness: outcome.scope == "readiness",
        aborted: outcome.aborted,
        recorded: plain(&words::time(&outcome.recorded), LABEL),
        judged: plain(&words::time(&outcome.judged), LABEL),
        sheet: plain(&outcome.sheet.name, LABEL),
        sheet_title: plain(&outcome.sheet.title, LABEL),
        kind: plain(&words::kind(&outcome.part.kind), LABEL),
        facts: facts(input),
        calibration: input.channels.iter().map(|c| calibration(c, &people)).collect(),
        procedures: procedures(input),
        cautions: words::cautions(outcome),
        body: outcome.part.kind == PartKind::Body.name(),
        comparisons: comparisons(input),
        people: &people,
    };
    page.render().expect("writing to a string cannot fail")
}

/// Where it came from: part, sheet, rig, versions, times.
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
    all.extend(outcome.versions.iter().map(|(name, version)| {
        (format!("version of {}", name.replace("recorded_by", "the recorder")), version.clone())
    }));
    all.push(("shape of the stored outcome".to_owned(), outcome.schema.to_string()));
    all.into_iter()
        .map(|(name, text)| Named { name: plain(&name, LABEL), text: plain(&text, SENTENCE) })
        .collect()
}

/// What was given, or that nothing was.
fn given(text: &str) -> String {
    if text.trim().is_empty() { "not given".to_owned() } else { text.to_owned() }
}

fn procedures(input: &ReportInput<'_>) -> Vec<Vec<String>> {
    let row = |p: &crate::outcome::OutcomeProcedure| {
        let file = p.trace_file.as_deref().unwrap_or(format::NOTHING);
        [&words::procedure(&p.procedure), &p.scans.to_string(), &words::end(&p.end), file]
            .map(|cell| plain(cell, LABEL))
            .to_vec()
    };
    input.outcome.procedures.iter().map(row).collect()
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
    Named { name: people.lines.name(channel.channel).to_owned(), text: plain(&text, SENTENCE) }
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
