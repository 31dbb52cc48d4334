//! Every command that the public pages print is one that the program takes: in blocks whole, in running text as far as its name goes.

use anyhow::{Context, Result, ensure};
use clap::Command;
use std::path::PathBuf;
use trackpair::cli::Arguments;
use trackpair_tests::pages::shell_blocks;
use trackpair_tests::programs;

/// The pages: the README, and what lies in `docs/` and stands in no folder there.
fn pages() -> Result<Vec<(PathBuf, String)>> {
    let repository = programs::repository();
    let docs = std::fs::read_dir(repository.join("docs"))?;
    let docs = docs.map(|entry| Ok(entry?.path())).collect::<Result<Vec<_>>>()?;
    let pages = docs.into_iter().filter(|path| path.extension().is_some_and(|e| e == "md"));
    pages
        .chain([repository.join("README.md")])
        .map(|p| Ok((p.clone(), std::fs::read_to_string(p)?)))
        .collect()
}

/// Commands of the shell blocks of a page that run the program, up to where a file takes what they print.
fn commands(page: &str) -> Vec<String> {
    let lines = shell_blocks(page).into_iter().flatten();
    let commands = lines.map(|line| line.command.split(" > ").next().unwrap_or_default().to_owned());
    commands.filter(|command| command.starts_with("trackpair ")).collect()
}

/// Words of a line as a shell takes them.
fn words(line: &str) -> Result<Vec<String>> {
    shlex::split(line).with_context(|| format!("a quote is open in {line}"))
}

#[test]
fn every_command_in_a_block_of_the_pages_is_understood() -> Result<()> {
    let mut understood = 0;
    for (path, page) in pages()? {
        for line in commands(&page) {
            let parsed = Arguments::grouped().try_get_matches_from(words(&line)?);
            parsed.with_context(|| format!("{}: {line}", path.display()))?;
            understood += 1;
        }
    }
    ensure!(understood > 60, "{understood} commands were found in the pages");
    Ok(())
}

/// The commands named in running text, between backticks.
fn named(page: &str) -> Vec<String> {
    let text: Vec<&str> = page.split("```").step_by(2).collect();
    let spans: Vec<String> =
        text.iter().flat_map(|t| t.split('`').skip(1).step_by(2)).map(str::to_owned).collect();
    // What a seal signs begins with a purpose such as `trackpair record seal 1`: not a command.
    let is_command = |span: &String| span.starts_with("trackpair ") && !span.ends_with(" 1");
    spans.into_iter().filter(is_command).collect()
}

/// Follows the words of a command through the subcommands; the first that is not known, where more is asked for.
fn unknown(words: &[String], command: &Command) -> Option<String> {
    let next = words.first()?;
    if !command.has_subcommands() || !next.starts_with(|c: char| c.is_ascii_lowercase()) {
        return None;
    }
    match command.find_subcommand(next) {
        Some(sub) => unknown(&words[1..], sub),
        None => Some(next.clone()),
    }
}

#[test]
fn every_command_named_in_the_pages_exists() -> Result<()> {
    let commands = Arguments::grouped();
    for (path, page) in pages()? {
        for span in named(&page) {
            let words = words(&span)?;
            if let Some(word) = unknown(&words[1..], &commands) {
                anyhow::bail!("{}: `{span}`: there is no command {word:?}", path.display());
            }
        }
    }
    Ok(())
}

#[test]
fn the_readme_is_short_enough_to_be_read_and_its_links_lead_somewhere() -> Result<()> {
    let readme = std::fs::read_to_string(programs::repository().join("README.md"))?;
    let lines = readme.lines().count();
    ensure!(lines <= 130, "{lines} lines");
    for (path, page) in pages()? {
        let folder = path.parent().context("a page lies in a folder")?;
        for target in page.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let file = target.split('#').next().unwrap_or_default();
            let outside = target.contains("://") || file.is_empty();
            ensure!(outside || folder.join(file).exists(), "{}: {target} does not exist", path.display());
        }
    }
    Ok(())
}
