//! `trackpair config`: what holds, where it came from, which file it is, and an example to begin with.

use super::config::{CONFIG_VARIABLE, Origin, file_in_force};
use super::ending::Ending;
use super::surroundings::Surroundings;
use super::terminal::document::print_document;
use crate::job::Failure;
use crate::record::Archive;
use crate::report::{Paper, text};
use clap::{Args, Subcommand};
use serde::Serialize;

const EXAMPLE: &str = include_str!("config/example.toml");
/// Characters of a path or name that are shown.
const SHOWN: usize = 400;

/// `config`.
#[derive(Debug, Subcommand)]
pub enum ConfigCommand {
    /// Every setting, and whether it came from the environment, the file, or by default
    Show(ShowConfig),
    /// The file that is read, whether it is there or not
    Path,
    /// Print an example with every key, ready to copy and change
    Example,
}

/// `config show`.
#[derive(Args, Debug)]
pub struct ShowConfig {
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
}

/// Carries out `config`.
pub fn config(command: &ConfigCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match command {
        ConfigCommand::Show(args) => {
            let shown = Shown::of(surroundings)?;
            if args.json { print_document(&shown) } else { print!("{}", shown.text()) }
        }
        ConfigCommand::Path => match file_in_force() {
            Some(path) => println!("{}", path.display()),
            None => {
                return Err(Failure::Other(anyhow::anyhow!(
                    "this system names no place for configuration; name a file in {}",
                    CONFIG_VARIABLE
                )));
            }
        },
        ConfigCommand::Example => print!("{EXAMPLE}"),
    }
    Ok(Ending::Done)
}

/// The document of `config show --json`.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Shown {
    document: &'static str,
    schema: u32,
    /// The configuration file; null where the platform names no place.
    file: Option<String>,
    /// Whether it is there.
    found: bool,
    /// Every setting once.
    #[cfg_attr(feature = "schemas", schemars(length(min = 9, max = 9)))]
    settings: Vec<ShownSetting>,
}

/// The keys, in their order.
#[cfg(feature = "schemas")]
const NAMES: [&str; 9] =
    ["archive", "rig", "sheet", "paper", "key", "lead_fitted", "shop.name", "shop.address", "shop.logo"];

/// One setting; it has a variable exactly where it came from the environment.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[cfg_attr(
    feature = "schemas",
    schemars(extend(
        "if" = { "properties": { "origin": { "const": "environment" } }, "additionalProperties": true },
        "then" = { "required": ["variable"] },
        "else" = { "not": { "required": ["variable"] } },
    ))
)]
struct ShownSetting {
    /// Its key.
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = NAMES)))]
    name: &'static str,
    /// Its value; null when it is not set.
    value: Option<String>,
    /// Where it came from.
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = ["environment", "file", "default"])))]
    origin: &'static str,
    /// Name of the variable, where it came from the environment.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^TRACKPAIR_[A-Z]+$")))]
    variable: Option<&'static str>,
}

impl Shown {
    fn of(surroundings: &Surroundings<'_>) -> Result<Self, Failure> {
        let config = surroundings.config()?;
        let path = |path: &Option<std::path::PathBuf>| path.as_ref().map(|p| p.display().to_string());
        let archive = path(&config.archive.value).or_else(|| path(&Archive::default_dir().ok()));
        let paper = match config.paper.value {
            Paper::A4 => "a4",
            Paper::Letter => "letter",
        };
        let mut settings = vec![
            setting("archive", archive, config.archive.origin),
            setting("rig", config.rig.value.clone(), config.rig.origin),
            setting("sheet", config.sheet.value.clone(), config.sheet.origin),
            setting("paper", Some(paper.to_owned()), config.paper.origin),
            setting("key", path(&surroundings.key_file().ok()), config.key.origin),
        ];
        let shop = config.shop.as_ref();
        let origin = |set: bool| if set { Origin::File } else { Origin::Default };
        let name = shop.map(|s| s.name.clone()).filter(|n| !n.is_empty());
        let address = shop.map(|s| s.address.join(", ")).filter(|a| !a.is_empty());
        let logo = shop.and_then(|s| s.logo.as_ref()).map(|logo| logo.path.display().to_string());
        let lead_fitted = config.lead_fitted.clone();
        for (key, value) in [
            ("lead_fitted", lead_fitted),
            ("shop.name", name),
            ("shop.address", address),
            ("shop.logo", logo),
        ] {
            let from = origin(value.is_some());
            settings.push(setting(key, value, from));
        }
        Ok(Self { document: "config", schema: 1, file: path(&config.path), found: config.found, settings })
    }

    fn text(&self) -> String {
        let there = if self.found { "" } else { " (not there: nothing is set by it)" };
        let file = self.file.as_deref().unwrap_or("no place on this system");
        let mut out = format!("file {}{there}\n", text::plain(file, SHOWN));
        for s in &self.settings {
            let value = s.value.as_deref().map_or("-".to_owned(), |v| text::plain(v, SHOWN));
            let origin = s.variable.unwrap_or(s.origin);
            out += &format!("  {:<13} {value}  ({origin})\n", s.name);
        }
        out + "Options on the command line override all of it.\n"
    }
}

fn setting(name: &'static str, value: Option<String>, origin: Origin) -> ShownSetting {
    let (origin, variable) = match origin {
        Origin::Environment(variable) => ("environment", Some(variable)),
        Origin::File => ("file", None),
        Origin::Default => ("default", None),
    };
    ShownSetting { name, value, origin, variable }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::config::file::{Places, parse};
    use std::path::Path;

    #[test]
    fn the_example_is_a_configuration_with_every_key() {
        // What stands behind a comment sign is an example too.
        let text: String = EXAMPLE
            .lines()
            .map(|line| match line.strip_prefix("# ") {
                Some(rest) if rest.split_once(" = ").is_some_and(|(key, _)| !key.contains(' ')) => rest,
                _ => line,
            })
            .fold(String::new(), |all, line| all + line + "\n");
        let places = Places { folder: Path::new("/place"), home: Some(Path::new("/users/me")) };
        let settings = parse(&text, "example", places).unwrap();
        assert_eq!(settings.archive.as_deref(), Some(Path::new("/users/me/trackpair-records")));
        assert_eq!(settings.sheet.as_deref(), Some("grip-complementary"));
        assert_eq!(settings.key.as_deref(), Some(Path::new("/place/shop.key")));
        assert!(settings.rig.is_some() && settings.paper.is_some());
        let shop = settings.shop.unwrap();
        assert_eq!(settings.lead_fitted.as_deref(), Some("2026-01-31"));
        assert!(!shop.name.is_empty() && shop.address.len() == 3 && shop.logo.is_some());
    }
}
