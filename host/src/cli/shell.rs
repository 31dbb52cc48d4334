//! `completions` and `man`: what a shell completes, and the manual pages. Both are made from the arguments themselves.

use super::ending::Ending;
use crate::job::Failure;
use anyhow::Context;
use clap::{Args, Command};
use clap_complete::Shell;
use std::io::Write;
use std::path::{Path, PathBuf};

/// `completions`.
#[derive(Args, Debug)]
pub struct Completions {
    /// The shell
    pub shell: Shell,
}

/// `man`.
#[derive(Args, Debug)]
pub struct Man {
    /// Write trackpair.1, trackpair-qualify.1 … into this folder; without it, the first page is printed
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// Carries out `completions`.
pub fn completions(args: &Completions, mut command: Command) -> Result<Ending, Failure> {
    let mut script = Vec::new();
    let name = command.get_name().to_owned();
    clap_complete::generate(args.shell, &mut command, name, &mut script);
    // A reader that has gone away is no failure.
    let _ = std::io::stdout().write_all(&script);
    Ok(Ending::Done)
}

/// Carries out `man`.
///
/// # Errors
/// [`Failure::Other`] when a page can't be written.
pub fn man(args: &Man, command: Command) -> Result<Ending, Failure> {
    let pages = pages(command).context("the pages can't be made").map_err(Failure::Other)?;
    let Some(folder) = &args.out else {
        if let Some((_, first)) = pages.first() {
            let _ = std::io::stdout().write_all(first);
        }
        return Ok(Ending::Done);
    };
    write_pages(folder, &pages).map_err(Failure::Other)?;
    println!("{} pages in {}", pages.len(), folder.display());
    Ok(Ending::Done)
}

fn write_pages(folder: &Path, pages: &[(String, Vec<u8>)]) -> anyhow::Result<()> {
    let next = "give another folder with --out DIR";
    std::fs::create_dir_all(folder)
        .with_context(|| format!("can't make the folder {}; {next}", folder.display()))?;
    for (name, page) in pages {
        let file = folder.join(name);
        std::fs::write(&file, page).with_context(|| format!("can't write {}; {next}", file.display()))?;
    }
    Ok(())
}

/// Every page, by its file name; the program's own first.
fn pages(command: Command) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut command = command.disable_help_subcommand(true);
    command.build();
    let mut pages = Vec::new();
    let mut left = vec![command];
    while let Some(command) = left.pop() {
        let subcommands = command.get_subcommands().filter(|c| !c.is_hide_set()).cloned();
        left.splice(0..0, subcommands);
        let manual = clap_mangen::Man::new(command);
        let mut page = Vec::new();
        manual.render(&mut page)?;
        pages.push((manual.get_filename(), page));
    }
    Ok(pages)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::Arguments;
    use clap::CommandFactory;

    #[test]
    fn every_command_has_its_page_and_the_programs_own_comes_first() {
        let pages = pages(Arguments::command()).unwrap();
        assert_eq!(pages[0].0, "trackpair.1");
        let names: Vec<&str> = pages.iter().map(|(name, _)| name.as_str()).collect();
        for name in ["trackpair-qualify.1", "trackpair-sheet-check.1", "trackpair-check-setup.1"] {
            assert!(names.contains(&name), "{name} of {names:?}");
        }
        assert!(!names.iter().any(|n| n.contains("help")), "{names:?}");
        let mut once = names.clone();
        once.sort_unstable();
        once.dedup();
        assert_eq!(once.len(), names.len());
    }

    #[test]
    fn a_page_has_its_parts_and_nothing_but_requests_known_to_man() {
        for (name, page) in pages(Arguments::command()).unwrap() {
            let text = String::from_utf8(page).unwrap();
            for part in [".TH", ".SH NAME", ".SH SYNOPSIS", ".SH DESCRIPTION"] {
                assert!(text.contains(part), "{name} lacks {part}");
            }
            // man(7), and what groff's preamble for quotes and spaces uses.
            let known = ["TH", "SH", "SS", "TP", "RS", "RE", "br", "ie", "el", "ds", "nf", "fi", "PP", "IP"];
            for line in text.lines().filter(|l| l.starts_with('.')) {
                let request = line[1..].split([' ', '\\']).next().unwrap_or_default();
                assert!(known.contains(&request), "{name}: {line}");
            }
        }
    }
}
