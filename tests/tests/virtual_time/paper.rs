//! Reports and certificates on paper, read by another program (a PDF reader in Python with no code in common): figures, findings
//! and verdicts are those of the terminal and of the HTML page, on both papers; fonts are embedded, plots are vectors.

use anyhow::{Result, ensure};
use std::path::Path;
use std::process::Command;
use tempfile::tempdir;
use trackpair::analysis::PartAnalysis;
use trackpair::outcome::{Outcome, OutcomeInputs, Stamp, StoredTrace, build};
use trackpair::report::{CertificateInput, Paper, ReportInput, Shop, Style, document, html, pdf, terminal};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::Trace;
use trackpair::verdict::Judgement;
use trackpair_tests::{bench, body_bench, programs};

const PAPERS: [(Paper, &str); 2] = [(Paper::A4, "a4"), (Paper::Letter, "letter")];

/// A qualified part: what a report is made of.
struct Qualified {
    outcome: Outcome,
    analysis: PartAnalysis,
    sheet: PartSheet,
    traces: Vec<Trace>,
}

impl Qualified {
    fn new(analysis: PartAnalysis, judgement: &Judgement, sheet: PartSheet, traces: Vec<Trace>) -> Self {
        let stored: Vec<StoredTrace<'_>> =
            traces.iter().map(|trace| StoredTrace { trace, file: None }).collect();
        let outcome = build(OutcomeInputs {
            session: Default::default(),
            analysis: &analysis,
            judgement,
            sheet: &sheet,
            topology_shown: None,
            readings: &[],
            doubts: &[],
            traces: &stored,
            judged: "2026-01-02T03:04:05Z",
            warnings: &[],
        });
        Self { outcome, analysis, sheet, traces }
    }

    /// A simulated grip after self-check, sweep and leads check.
    fn grip(part: &str, sheet: &str) -> Self {
        let sheet = shipped(sheet).expect("a shipped sheet");
        let run = bench::run_plan(bench::link(part), &sheet);
        let (analysis, judgement) = run.judge(&sheet);
        let traces = [run.self_check, run.sweep, run.release, run.leads].into_iter().flatten().collect();
        Self::new(analysis, &judgement, sheet, traces)
    }

    /// A simulated body after the whole plan.
    fn body(part: &str) -> Self {
        let sheet = shipped("body").expect("a shipped sheet");
        let run = body_bench::run_body_plan(bench::link(part), &sheet);
        let (analysis, judgement) = run.judge(&sheet);
        Self::new(analysis, &judgement, sheet, run.traces)
    }

    /// Every document on one paper, checked by the other program.
    fn check(&self, stamp: Option<&Stamp>, shop: Option<&Shop>) -> Result<()> {
        let folder = tempdir()?;
        let file = |name: &str| folder.path().join(name);
        let channels = self.traces[0].provenance.channels.clone();
        let input = ReportInput {
            outcome: &self.outcome,
            curves: &self.analysis.curves,
            plots: &self.analysis.plots,
            comparisons: &self.analysis.comparisons,
            sheet: &self.sheet,
            channels: &channels,
            stamp,
            shop,
        };
        std::fs::write(file("outcome.json"), self.outcome.to_json())?;
        let report = document::report(&input);
        std::fs::write(file("report.html"), html(&report))?;
        let wide = Style { width: 140, ..Style::default() };
        std::fs::write(file("terminal.txt"), terminal(&report, wide))?;
        for (paper, name) in PAPERS {
            std::fs::write(file("report.pdf"), pdf(&report, paper)?)?;
            let files = ["report.html", "report.pdf", "terminal.txt", "outcome.json"].map(file);
            let said = paper_py("report", &files.each_ref().map(|f| f.as_path()), name)?;
            ensure!(said.contains("numbers agree"), "{said}");
            tags_py(&[&file("report.pdf"), &file("report.html")])?;
            let buyer = CertificateInput { outcome: &self.outcome, stamp, shop };
            std::fs::write(file("certificate.pdf"), pdf(&document::certificate(&buyer)?, paper)?)?;
            let said = paper_py("certificate", &[&file("certificate.pdf"), &file("outcome.json")], name)?;
            ensure!(said.contains("one page"), "{said}");
            tags_py(&[&file("certificate.pdf")])?;
        }
        Ok(())
    }
}

/// Runs the independent check; what it says.
fn paper_py(kind: &str, files: &[&Path], paper: &str) -> Result<String> {
    let kind = Path::new(kind);
    python("paper.py", [kind].into_iter().chain(files.iter().copied()).chain([Path::new(paper)]))
}

/// Runs the check of what the file says of its stretches.
fn tags_py(files: &[&Path]) -> Result<()> {
    let said = python("tags.py", files.iter().copied())?;
    ensure!(said.contains("elements hold"), "{said}");
    Ok(())
}

fn python<'a>(name: &str, arguments: impl Iterator<Item = &'a Path>) -> Result<String> {
    let script = programs::repository().join("tests/python").join(name);
    let output = Command::new(programs::python()?).arg(script).args(arguments).output()?;
    let (said, complaint) =
        (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    ensure!(output.status.success(), "{name}: {said}{complaint}");
    Ok(said.into_owned())
}

fn stamp() -> Stamp {
    Stamp {
        record: "20260131-140506-grip-12-b-worn".to_owned(),
        fingerprint: "0123456789abcdef".repeat(4),
        key: "fedcba9876543210".repeat(4),
        code: "x".repeat(310),
    }
}

fn shop() -> Shop {
    let logo =
        br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
    Shop {
        name: "Example Motor Bench".to_owned(),
        address: vec!["1 Example Lane".to_owned()],
        logo: Some(logo.to_vec()),
    }
}

#[test]
fn a_worn_grip_reads_the_same_on_paper_on_the_page_and_in_the_terminal() -> Result<()> {
    let part = Qualified::grip("worn-grip", "grip-complementary");
    ensure!(!part.outcome.findings.is_empty());
    part.check(Some(&stamp()), Some(&shop()))?;
    part.check(None, None)
}

#[test]
fn a_good_grip_and_one_of_another_topology_do_too() -> Result<()> {
    Qualified::grip("good-grip", "grip-complementary").check(Some(&stamp()), None)?;
    Qualified::grip("half-slope-grip", "grip-half-slope").check(None, Some(&shop()))
}

#[test]
fn a_worn_body_reads_the_same_on_paper_on_the_page_and_in_the_terminal() -> Result<()> {
    let part = Qualified::body("worn-teeth-body");
    ensure!(!part.outcome.findings.is_empty() && !part.analysis.comparisons.is_empty());
    part.check(Some(&stamp()), Some(&shop()))
}

#[test]
fn a_good_body_bears_a_grade_and_says_so_on_its_certificate() -> Result<()> {
    let part = Qualified::body("good-body");
    let grade = part.outcome.grade.as_ref().and_then(|g| g.name.as_deref());
    ensure!(grade.is_some(), "{:?}", part.outcome.grade);
    part.check(None, None)
}

#[test]
fn a_page_that_lost_a_figure_is_found() -> Result<()> {
    let part = Qualified::grip("good-grip", "grip-complementary");
    let folder = tempdir()?;
    let file = |name: &str| folder.path().join(name);
    let input = |outcome| ReportInput {
        outcome,
        curves: &[],
        plots: &[],
        comparisons: &[],
        sheet: &part.sheet,
        channels: &[],
        stamp: None,
        shop: None,
    };
    std::fs::write(file("outcome.json"), part.outcome.to_json())?;
    let report = document::report(&input(&part.outcome));
    std::fs::write(file("report.html"), html(&report))?;
    std::fs::write(file("terminal.txt"), terminal(&report, Style::default()))?;
    let mut poorer = part.outcome.clone();
    poorer.figures.remove(3);
    std::fs::write(file("report.pdf"), pdf(&document::report(&input(&poorer)), Paper::A4)?)?;
    let files = ["report.html", "report.pdf", "terminal.txt", "outcome.json"].map(file);
    let complaint =
        paper_py("report", &files.each_ref().map(|f| f.as_path()), "a4").expect_err("it must be found");
    ensure!(complaint.to_string().contains("a row is not on paper"), "{complaint}");
    Ok(())
}
