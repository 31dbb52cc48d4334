//! Writes the report of an invented worn grip, to look at: `cargo run --example report_fixture -- PATH.html`; prints the short
//! result. A path that ends in `.pdf` gets the PDF. A second argument `empty`, `half-slope`, `within`, `undecided` or `body` picks another
//! invented outcome, the name of an `outcome.json` that one; after it, `letter` picks the paper, `sealed` an invented shop and stamp, `certificate` the buyer's page.

use std::io::Write as _;
use std::process::ExitCode;
use trackpair as host;
use trackpair::outcome::Stamp;
use trackpair::report::{CertificateInput, Paper, ReportInput, Shop, Style, document, html, pdf, terminal};
use trackpair::verdict::Verdict;

#[path = "../reports/src/report/body_fixture.rs"]
mod body_fixture;
#[path = "../reports/src/report/fixture.rs"]
mod fixture;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let (Some(path), kind) = (args.next(), args.next().unwrap_or_default()) else {
        eprintln!(
            "usage: report_fixture PATH [worn | empty | half-slope | within | undecided | body | OUTCOME.json] [letter] [sealed] [certificate]"
        );
        return ExitCode::from(2);
    };
    let more: Vec<String> = args.collect();
    let asked = |word: &str| more.iter().any(|m| m == word);
    let paper = if asked("letter") { Paper::Letter } else { Paper::A4 };
    let (stamp, shop) = (stamp(), shop());
    let (mut outcome, mut sheet, mut curves) = (fixture::worn(), fixture::sheet(), fixture::curves());
    let (mut plots, mut comparisons) = (Vec::new(), Vec::new());
    match kind.as_str() {
        "body" => {
            (outcome, sheet, curves) = (body_fixture::worn(), body_fixture::sheet(), Vec::new());
            (plots, comparisons) = (body_fixture::plots(), body_fixture::comparisons());
        }
        file if file.ends_with(".json") => {
            let read =
                std::fs::read_to_string(file).ok().and_then(|t| host::outcome::Outcome::from_json(&t).ok());
            let Some(read) = read else {
                eprintln!("{file} is not an outcome; name the outcome.json of a record");
                return ExitCode::from(2);
            };
            sheet = host::sheet::shipped(&read.sheet.name).unwrap_or(sheet);
            (outcome, curves) = (read, Vec::new());
        }
        "empty" => (outcome, curves) = (fixture::empty(), Vec::new()),
        "undecided" => {
            outcome.verdict = Verdict::Undecided;
            outcome.figures.retain(|f| f.verdict != Some(Verdict::Outside));
        }
        "half-slope" => {
            outcome.part.topology_found = Some(trackpair::sheet::Topology::HalfSlope.into());
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
            outcome.simulated = false;
            outcome.grade = host::outcome::grade(
                &outcome,
                &host::sheet::shipped("grip-complementary").unwrap_or(sheet.clone()),
            );
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
        stamp: Some(&stamp).filter(|_| asked("sealed")),
        shop: Some(&shop).filter(|_| asked("sealed")),
    };
    let report = document::report(&input);
    let buyer = CertificateInput { outcome: &outcome, stamp: input.stamp, shop: input.shop };
    let said = if asked("certificate") { document::certificate(&buyer).unwrap_or(report) } else { report };
    let text = terminal(&said, Style::default());
    let bytes = if path.ends_with(".pdf") { pdf(&said, paper) } else { Ok(html(&said).into_bytes()) };
    let bytes = match bytes {
        Ok(bytes) => bytes,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    let written = std::fs::write(&path, bytes).and_then(|()| std::io::stdout().write_all(text.as_bytes()));
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{path} can't be written: {error}; name another file");
            ExitCode::FAILURE
        }
    }
}

/// An invented stamp: 310 characters of code, as a sealed record's has.
fn stamp() -> Stamp {
    Stamp {
        record: "20260131-140506-grip-12-b-worn".to_owned(),
        fingerprint: "0123456789abcdef".repeat(4),
        key: "fedcba9876543210".repeat(4),
        code: "TP1:20260131-140506-grip-12-b-worn:".to_owned() + &"0123456789abcdef".repeat(17),
    }
}

/// An invented shop.
fn shop() -> Shop {
    let logo = br##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 40"><circle cx="20" cy="20" r="16" fill="none"
        stroke="#1a2430" stroke-width="4"/><path d="M20 20L31 9" stroke="#9a1b1b" stroke-width="4"/><path
        d="M48 30h60M48 20h44M48 10h24" stroke="#1a2430" stroke-width="4"/></svg>"##;
    Shop {
        name: "Example Motor Bench".to_owned(),
        address: vec!["1 Example Lane".to_owned(), "Exampletown".to_owned(), "bench@example.org".to_owned()],
        logo: Some(logo.to_vec()),
    }
}
