//! Numbers of studies stand in `docs/STUDIES.md` alone, each table with the command and the commit that it was made with; everywhere else a sentence
//! may show them, and a link leads there.

use anyhow::{Context, Result, ensure};
use std::path::{Path, PathBuf};
use trackpair_tests::programs;

const PAGE: &str = "docs/STUDIES.md";

/// README, the guides and everything under `docs/`.
fn documents() -> Result<Vec<PathBuf>> {
    let root = programs::repository();
    let mut all = vec![root.join("README.md"), root.join("DEVELOPERS.md"), root.join("CHANGELOG.md")];
    for entry in std::fs::read_dir(root.join("docs"))? {
        let path = entry?.path();
        if path.extension().is_some_and(|e| e == "md") {
            all.push(path);
        }
    }
    Ok(all)
}

/// Whether a line of a table holds a share: "3 of 40", "0.95 (0.91 to 0.97)".
fn holds_a_share(line: &str) -> bool {
    let number = |word: &str| {
        let word = word.trim_matches(|c: char| !c.is_ascii_digit() && c != '.');
        word.parse::<f64>().is_ok()
    };
    let words: Vec<&str> = line.split_whitespace().collect();
    let between = |joint: &str| words.windows(3).any(|w| w[1] == joint && number(w[0]) && number(w[2]));
    line.trim_start().starts_with('|') && (between("of") || line.contains('(') && between("to"))
}

/// What is wrong with the page of studies.
fn complaints(page: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    for section in page.split("\n## ").skip(1) {
        let heading = section.lines().next().unwrap_or_default();
        if section.contains("Not part of this checkout") {
            continue;
        }
        let made = section.lines().find(|l| l.starts_with("Command `scripts/study "));
        let Some(made) = made else {
            wrong.push(format!("{heading}: no command"));
            continue;
        };
        let commit =
            made.split("commit `").nth(1).and_then(|rest| rest.split('`').next()).unwrap_or_default();
        if commit.len() < 7 || !commit.chars().all(|c| c.is_ascii_hexdigit()) {
            wrong.push(format!("{heading}: no commit in {made:?}"));
        }
        if section.contains("A trial of the mechanism") {
            wrong.push(format!("{heading}: made with --small"));
        }
        if section.contains("**It failed") {
            wrong.push(format!("{heading}: the study failed"));
        }
    }
    wrong
}

#[test]
fn study_numbers_stand_in_tables_of_one_page_alone() -> Result<()> {
    let page = programs::repository().join(PAGE);
    let mut elsewhere = Vec::new();
    for file in documents()?.into_iter().filter(|f| *f != page) {
        let text = std::fs::read_to_string(&file)?;
        let lines = text.lines().enumerate().filter(|(_, l)| holds_a_share(l));
        elsewhere.extend(lines.map(|(k, l)| format!("{}:{}: {l}", file.display(), k + 1)));
    }
    ensure!(elsewhere.is_empty(), "{}", elsewhere.join("\n"));
    let readme = std::fs::read_to_string(programs::repository().join("README.md"))?;
    ensure!(readme.contains(PAGE), "the README does not lead to {PAGE}");
    Ok(())
}

#[test]
fn every_table_of_a_study_tells_its_command_and_commit() -> Result<()> {
    let page = std::fs::read_to_string(programs::repository().join(PAGE)).context(PAGE)?;
    let wrong = complaints(&page);
    ensure!(wrong.is_empty(), "{}", wrong.join("\n"));
    Ok(())
}

#[test]
fn a_page_without_them_is_found_out() {
    let made = "Command `scripts/study grip --seed 4` · commit `05b3e84aaaaa` · 2026-01-01 · 9 s";
    assert!(complaints(&format!("# Studies\n\n## Grips\n\n{made}\n\n| a |\n")).is_empty());
    for (bad, what) in [
        ("| a |".to_owned(), "no command"),
        ("Command `scripts/study grip` · commit `` · x".to_owned(), "no commit"),
        (format!("**A trial of the mechanism**\n\n{made}"), "--small"),
        (format!("{made}\n\n**It failed: x.**"), "failed"),
    ] {
        let wrong = complaints(&format!("# Studies\n\n## Grips\n\n{bad}\n"));
        assert!(wrong.len() == 1 && wrong[0].contains(what), "{wrong:?}");
    }
    for line in ["| flat spot | 98 | 0.85 (0.76 to 0.91) |", "| healthy | 0 of 815 |", "| x | **17 of 50** |"]
    {
        assert!(holds_a_share(line), "{line}");
    }
    for line in [
        "| link silence | 300 ms armed or driving |",
        "0.95 (0.91 to 0.97) in a sentence",
        "| request id | 1 to 32767 |",
    ] {
        assert!(!holds_a_share(line), "{line}");
    }
}

/// The page is made by the script: a small run of its quickest study, end to end.
#[test]
fn the_script_names_every_study_that_the_other_script_has() -> Result<()> {
    let root = programs::repository();
    let text = |file: &str| std::fs::read_to_string(root.join(Path::new(file))).context(file.to_owned());
    let (all, one) = (text("tests/python/studies.py")?, text("scripts/study")?);
    let cases =
        one.lines().filter_map(|l| l.strip_prefix("  ")?.split_once(')')).map(|(name, _)| name.trim());
    let names: Vec<&str> = cases
        .filter(|n| n.chars().all(|c| c.is_ascii_lowercase() || c == '-') && *n != "all" && !n.is_empty())
        .collect();
    ensure!(names.len() >= 8, "{names:?}");
    for name in names {
        ensure!(all.contains(&format!("\"{name} ")), "scripts/study {name} is not in studies.py");
    }
    Ok(())
}
