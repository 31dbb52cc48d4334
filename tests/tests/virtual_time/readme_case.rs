//! Every line of the README's case, run in order in a home of its own, with the exit code that stands behind it.

use anyhow::{Context, Result, ensure};
use std::path::Path;
use std::process::Command;
use tempfile::tempdir;
use trackpair_tests::cli::{Said, surround};
use trackpair_tests::pages::{Line, shell_blocks};
use trackpair_tests::programs;

const HEADING: &str = "## One case, from complaint to certificate";

/// The lines of the first shell block behind the heading.
fn lines() -> Result<Vec<Line>> {
    let readme = std::fs::read_to_string(programs::repository().join("README.md"))?;
    let section = readme.split(HEADING).nth(1).context("the README has the section")?;
    shell_blocks(section).into_iter().next().context("a shell block")
}

/// The exit code that a line promises: that behind `#`, or 0.
fn code(line: &Line) -> i32 {
    line.remark.split_whitespace().next().and_then(|word| word.parse().ok()).unwrap_or(0)
}

/// Runs a line as a shell does, with `trackpair` meaning the one that was built.
fn run(line: &Line, folder: &Path) -> Result<Said> {
    let program = programs::trackpair()?;
    let bin = program.parent().and_then(Path::to_str).context("a folder of UTF-8")?;
    let path = format!("{bin}:{}", std::env::var("PATH").unwrap_or_default());
    let mut shell = Command::new("sh");
    shell.args(["-c", &line.command]).current_dir(folder);
    surround(&mut shell)?;
    let output = shell.env("PATH", path).output()?;
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Ok(Said { code: output.status.code(), out: text(&output.stdout), err: text(&output.stderr) })
}

#[test]
fn every_line_of_the_readmes_case_does_what_it_says() -> Result<()> {
    let folder = tempdir()?;
    let walk = folder.path().join("docs/walk");
    std::fs::create_dir_all(&walk)?;
    std::fs::copy(programs::repository().join("docs/walk/readings.toml"), walk.join("readings.toml"))?;
    let lines = lines()?;
    ensure!(lines.len() == 10, "{} lines", lines.len());
    let mut all = String::new();
    for line in &lines {
        ensure!(line.command.starts_with("trackpair "), "{}", line.command);
        let said = run(line, folder.path())?;
        assert_eq!(said.code, Some(code(line)), "{}\n{}\n{}", line.command, said.out, said.err);
        all += &format!("$ {}\n{}{}", line.command, said.out, said.err);
    }
    let all = all.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "PULL THE PART",
        "in time with the flexing of place 2 (bend)",
        "intermittent signal wire or joint of the part",
        "trouble code P2138 was read",
        "Open the sheath at the place that stands out",
        "closed: mended",
    ] {
        assert!(all.contains(words), "{words:?} missing in:\n{all}");
    }
    for file in ["checks.pdf", "certificate.pdf"] {
        let bytes = std::fs::read(folder.path().join(file))?;
        assert!(bytes.starts_with(b"%PDF-"), "{file}");
    }
    Ok(())
}
