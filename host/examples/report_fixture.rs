//! Writes the report of an invented worn grip, to look at: `cargo run --example report_fixture -- PATH.html`; prints the short
//! result. A second argument `empty`, `half-slope`, `within` or `body` picks another invented outcome.

use std::io::Write as _;
use std::process::ExitCode;
use trackpair as host;
use trackpair::report::{ReportInput, Style, html, terminal};
use trackpair::verdict::Verdict;

#[path = "../src/report/body_fixture.rs"]
mod body_fixture;
#[path = "../src/report/fixture.rs"]
mod fixture;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let (Some(path), kind) = (args.next(), args.next().unwrap_or_default()) else {
        eprintln!("usage: report_fixture PATH.html [worn | empty | half-slope | within | body]");
        return ExitCode::from(2);
    };
    let (mut outcome, mut sheet, mut curves) = (fixture::worn(), fixture::sheet(), fixture::curves());
    let (mut plots, mut comparisons) = (Vec::new(), Vec::new());
    match kind.as_str() {
        "body" => {
            (outcome, sheet, curves) = (body_fixture::worn(), body_fixture::sheet(), Vec::new());
            (plots, comparisons) = (body_fixture::plots(), body_fixture::comparisons());
        }
        "empty" => (outcome, curves) = (fixture::empty(), Vec::new()),
        "half-slope" => {
            outcome.part.topology_found = Some("half-slope".to_owned());
            sheet.topology = host::sheet::Topology::HalfSlope;
        }
        "within" => {
            outcome.verdict = Verdict::Within;
            outcome.findings.clear();
            outcome.reasons = vec!["every figure with a limit keeps it".to_owned()];
            outcome.figures.iter_mut().filter(|f| f.limit.is_some()).for_each(|f| {
                f.verdict = Some(Verdict::Within);
                f.would_decide = None;
            });
        }
        _ => {}
    }
    let channels = fixture::channels();
    let input = ReportInput {
        outcome: &outcome,
        curves: &curves,
        plots: &plots,
        comparisons: &comparisons,
        sheet: &sheet,
        channels: &channels,
        stamp: None,
        shop: None,
    };
    let text = terminal(&input, Style::default());
    let written =
        std::fs::write(&path, html(&input)).and_then(|()| std::io::stdout().write_all(text.as_bytes()));
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{path} can't be written: {error}; name another file");
            ExitCode::FAILURE
        }
    }
}
