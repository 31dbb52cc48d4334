//! `check-setup`: is this machine ready for the bench, and if not, what is to be done? Each check looks at one thing and says what it
//! found; nothing is changed, but for a probe file that is removed again, and an earlier program's index that is brought to today's schema.
//!
//! - `ports`: the rig's port exists, may be opened, and a rig answers.
//! - `place`: the archive's rights and space.
//! - `key`: the shop's key, and whether the archive was sealed with it.
//! - `clock`: date, time zone, newest record.

mod check;
mod clock;
mod key;
mod place;
mod ports;

use super::config::{Config, ConfigError, file_in_force};
use super::ending::Ending;
use super::surroundings::Surroundings;
use super::terminal::document::print_document;
use super::terminal::say::ascii_only;
use crate::job::Failure;
use crate::record::Archive;
use crate::report::Shop;
use anyhow::anyhow;
use check::{Check, State};
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;

/// `check-setup`.
#[derive(Args, Debug)]
pub struct CheckSetup {
    /// The rig's address [else: TRACKPAIR_RIG, configuration, every serial port]
    #[arg(long, value_name = "ADDRESS")]
    pub rig: Option<String>,
    /// Folder that keeps the records [else: TRACKPAIR_ARCHIVE, configuration, the platform's place for data]
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
}

/// The document of `check-setup --json`.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Setup {
    document: &'static str,
    schema: u32,
    /// Whether there is not a problem.
    ready: bool,
    /// In the order looked at.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    checks: Vec<Check>,
}

/// Carries out `check-setup`.
///
/// # Errors
/// [`Failure::Other`] when there is a problem; all of them are printed first.
pub fn check_setup(args: &CheckSetup, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let checks = checks(args, surroundings);
    let problems = checks.iter().filter(|c| c.state == State::Problem).count();
    if args.json {
        print_document(&Setup { document: "setup", schema: 1, ready: problems == 0, checks });
    } else {
        checks.iter().for_each(|check| print!("{}", check.text()));
    }
    match problems {
        0 => Ok(Ending::Done),
        1 => Err(Failure::Other(anyhow!("there is a problem; what to do stands beside it"))),
        n => Err(Failure::Other(anyhow!("there are {n} problems; what to do stands beside each"))),
    }
}

fn checks(args: &CheckSetup, surroundings: &Surroundings<'_>) -> Vec<Check> {
    let mut checks = configuration(surroundings.config);
    let config = surroundings.config.as_ref().ok();
    let rig = args.rig.as_deref().or(config.and_then(|c| c.rig.value.as_deref()));
    checks.extend(ports::checks(rig, surroundings));
    let mut last_seal = None;
    let configured = config.and_then(|c| c.archive.value.clone());
    match args.archive.clone().or(configured).map_or_else(Archive::default_dir, Ok) {
        Ok(archive) => {
            checks.extend(place::checks(&archive));
            checks.push(clock::newest_record(&archive, &jiff::ZonedDateTime::now()));
            match key::last_seal(&archive) {
                Ok(key) => last_seal = key,
                Err(check) => checks.push(check),
            }
        }
        Err(error) => {
            let advice = "give a folder with --archive DIR, or write `archive = …` into the configuration";
            checks.push(Check::problem("archive", error.to_string(), advice));
        }
    }
    let key = surroundings.key_file().ok();
    checks.push(key::check(key.as_deref(), last_seal.as_deref()));
    checks.extend(clock::checks(&jiff::ZonedDateTime::now()));
    checks.push(terminal(ascii_only()));
    checks
}

/// The file, and the logo that it names.
fn configuration(config: &Result<Config, ConfigError>) -> Vec<Check> {
    let what = "configuration";
    let config = match config {
        Ok(config) => config,
        Err(ConfigError::Text(error)) => {
            let place = file_in_force().map(|p| p.display().to_string()).unwrap_or_default();
            let found = format!("{place}, line {}, column {}: {}", error.line, error.column, error.message);
            return vec![Check::problem(what, found, error.help.clone())];
        }
        Err(error) => {
            return vec![Check::problem(what, error.to_string(), "`trackpair config example` prints one")];
        }
    };
    let file = match (&config.path, config.found) {
        (Some(path), true) => Check::ok(what, format!("{} is read", path.display())),
        (Some(path), false) => Check::ok(what, format!("there is no {}: the defaults hold", path.display())),
        (None, _) => Check::ok(what, "this system names no place for it: the defaults hold"),
    };
    let logo = match config.shop() {
        Ok(Some(shop)) => shop.logo.is_some().then(|| logo(&shop)),
        Ok(None) => None,
        Err(ConfigError::Text(error)) => Some(Check::problem("logo", error.message, error.help)),
        Err(error) => Some(Check::problem("logo", error.to_string(), "mend `logo` in the configuration")),
    };
    std::iter::once(file).chain(logo).collect()
}

/// Whether documents will show it.
fn logo(shop: &Shop) -> Check {
    match shop.check_logo() {
        Ok(()) => Check::ok("logo", format!("{} bytes", shop.logo.as_ref().map_or(0, Vec::len))),
        Err(error) => Check::warning("logo", "documents are made without it", error.to_string()),
    }
}

fn terminal(ascii: bool) -> Check {
    if ascii {
        let advice = "set LANG to a UTF-8 locale, such as C.UTF-8, for degree signs and bars";
        return Check::warning("terminal", "the locale is plain C: results are written in ASCII", advice);
    }
    Check::ok("terminal", "the locale allows all characters")
}

#[cfg(test)]
#[path = "setup_tests.rs"]
mod tests;
