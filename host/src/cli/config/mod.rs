//! The program's configuration: what environment and file set, where each value came from, and whose file it is.
//!
//! - `file`: the file's text; `bounded`: files that may be of any size.
//!
//! What was typed goes before all of it: `options`.

mod bounded;
pub mod file;

use crate::link::Address;
use crate::report::{Paper, Shop};
use crate::sheet::SheetError;
use bounded::{ReadError, read_bounded};
pub use file::paper_from_name;
use file::{FileSettings, LONGEST_TEXT, Places};
use std::ffi::OsString;
use std::path::{Path, PathBuf};

/// Names another configuration file than the platform's.
pub const CONFIG_VARIABLE: &str = "TRACKPAIR_CONFIG";
const ARCHIVE_VARIABLE: &str = "TRACKPAIR_ARCHIVE";
const RIG_VARIABLE: &str = "TRACKPAIR_RIG";
const SHEET_VARIABLE: &str = "TRACKPAIR_SHEET";
const PAPER_VARIABLE: &str = "TRACKPAIR_PAPER";
const KEY_VARIABLE: &str = "TRACKPAIR_KEY";

/// The file's name in the platform's place for configuration.
const FILE: &str = "trackpair/config.toml";

/// Why the configuration can't be used.
#[derive(Clone, Debug, thiserror::Error, PartialEq, Eq)]
pub enum ConfigError {
    /// The file that the environment names is not there.
    #[error("{CONFIG_VARIABLE} names {}, and there is no such file; mend it, unset it, or write the file: `trackpair config example` \
             prints one", .0.display())]
    Missing(PathBuf),
    /// The file can't be read.
    #[error("can't read the configuration {}: {cause}; mend that, or name another file in {CONFIG_VARIABLE}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's message.
        cause: String,
    },
    /// The file is far too long.
    #[error("the configuration {} has more than {LONGEST_TEXT} bytes; is it one? `trackpair config example` prints one", .0.display())]
    TooLong(PathBuf),
    /// The text is no usable configuration.
    #[error(transparent)]
    Text(#[from] SheetError),
    /// A variable says something that can't be.
    #[error("{variable} is {value:?}: {problem}")]
    Variable {
        /// Its name.
        variable: &'static str,
        /// Its value.
        value: String,
        /// What is wrong, and what is allowed.
        problem: String,
    },
}

/// Where a value came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A variable of the environment.
    Environment(&'static str),
    /// The configuration file.
    File,
    /// Nobody set it.
    Default,
}

/// A value and where it came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting<T> {
    /// The value.
    pub value: T,
    /// Where it came from.
    pub origin: Origin,
}

/// What environment and file set; what neither sets is none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Config {
    /// The file; none where the platform names no place.
    pub path: Option<PathBuf>,
    /// Whether the file is there.
    pub found: bool,
    /// Folder of the records.
    pub archive: Setting<Option<PathBuf>>,
    /// Address of the rig.
    pub rig: Setting<Option<String>>,
    /// Part sheet, by name or file.
    pub sheet: Setting<Option<String>>,
    /// Paper of reports.
    pub paper: Setting<Paper>,
    /// File with the shop's key.
    pub key: Setting<Option<PathBuf>>,
    /// The day since which the rig's lead is in use, `YYYY-MM-DD`.
    pub lead_fitted: Option<String>,
    /// The shop as the file has it; documents take it from [`Config::shop`].
    pub shop: Option<file::ShopSettings>,
}

/// The outside as far as a configuration depends on it.
pub struct Environment<'a> {
    /// A variable by its name; empty ones count as not set.
    pub variable: &'a dyn Fn(&str) -> Option<OsString>,
    /// The platform's folder for configuration.
    pub config_dir: Option<PathBuf>,
    /// The user's home folder.
    pub home: Option<PathBuf>,
}

impl Environment<'_> {
    /// That of this process.
    fn own() -> Self {
        use etcetera::BaseStrategy;
        let places = etcetera::choose_base_strategy().ok();
        Self {
            variable: &own_variable,
            config_dir: places.as_ref().map(BaseStrategy::config_dir),
            home: etcetera::home_dir().ok(),
        }
    }
}

fn own_variable(name: &str) -> Option<OsString> {
    std::env::var_os(name)
}

/// The file that is read, whether it is there or not, and whether it can be used or not; none where the platform names no place.
pub fn file_in_force() -> Option<PathBuf> {
    Config::path_of(&Environment::own())
}

impl Config {
    /// The configuration of whoever runs this process.
    ///
    /// # Errors
    /// [`ConfigError`], with the place in the file where there is one.
    pub fn load() -> Result<Self, ConfigError> {
        Self::of(&Environment::own())
    }

    /// The same from a given outside.
    ///
    /// # Errors
    /// As [`Config::load`].
    pub fn of(outside: &Environment<'_>) -> Result<Self, ConfigError> {
        let path = Self::path_of(outside);
        let named = variable(outside, CONFIG_VARIABLE).is_some();
        let text = path.as_deref().map(read_text).transpose()?.flatten();
        if let (true, None, Some(path)) = (named, &text, &path) {
            return Err(ConfigError::Missing(path.clone()));
        }
        let settings = match (&text, &path) {
            (Some(text), Some(path)) => {
                let folder = path.parent().unwrap_or(Path::new(""));
                let places = Places { folder, home: outside.home.as_deref() };
                file::parse(text, &path.display().to_string(), places)?
            }
            _ => FileSettings::default(),
        };
        Self::merged(outside, path, text.is_some(), settings)
    }

    fn path_of(outside: &Environment<'_>) -> Option<PathBuf> {
        variable(outside, CONFIG_VARIABLE)
            .map(PathBuf::from)
            .or_else(|| outside.config_dir.as_ref().map(|dir| dir.join(FILE)))
    }

    fn merged(
        outside: &Environment<'_>,
        path: Option<PathBuf>,
        found: bool,
        file: FileSettings,
    ) -> Result<Self, ConfigError> {
        let words = |name| variable(outside, name).map(|v| v.to_string_lossy().into_owned());
        let place = |name| variable(outside, name).map(PathBuf::from);
        let rig = words(RIG_VARIABLE);
        if let Some(Err(error)) = rig.as_deref().map(Address::parse) {
            return Err(wrong(RIG_VARIABLE, &error.given, error.problem));
        }
        let paper = words(PAPER_VARIABLE).map(|name| {
            paper_from_name(&name).ok_or_else(|| wrong(PAPER_VARIABLE, &name, "give a4 or letter".to_owned()))
        });
        let paper = pick(PAPER_VARIABLE, paper.transpose()?, file.paper);
        Ok(Self {
            path,
            found,
            archive: pick(ARCHIVE_VARIABLE, place(ARCHIVE_VARIABLE), file.archive),
            rig: pick(RIG_VARIABLE, rig, file.rig),
            sheet: pick(SHEET_VARIABLE, words(SHEET_VARIABLE), file.sheet),
            paper: Setting { value: paper.value.unwrap_or_default(), origin: paper.origin },
            key: pick(KEY_VARIABLE, place(KEY_VARIABLE), file.key),
            lead_fitted: file.lead_fitted,
            shop: file.shop,
        })
    }

    /// The shop that hands reports over, with its logo; none when the file names none.
    ///
    /// # Errors
    /// The logo can't be read, is too large, or is neither PNG nor SVG.
    pub fn shop(&self) -> Result<Option<Shop>, ConfigError> {
        let Some(shop) = &self.shop else { return Ok(None) };
        let logo = shop.logo.as_ref().map(|logo| logo.bytes.clone()).transpose()?;
        Ok(Some(Shop { name: shop.name.clone(), address: shop.address.clone(), logo }))
    }
}

/// A variable that is set to something.
fn variable(outside: &Environment<'_>, name: &str) -> Option<OsString> {
    (outside.variable)(name).filter(|value| !value.is_empty())
}

fn wrong(variable: &'static str, value: &str, problem: String) -> ConfigError {
    ConfigError::Variable { variable, value: value.to_owned(), problem }
}

/// The environment goes before the file.
fn pick<T>(name: &'static str, environment: Option<T>, file: Option<T>) -> Setting<Option<T>> {
    let origin = match (&environment, &file) {
        (Some(_), _) => Origin::Environment(name),
        (None, Some(_)) => Origin::File,
        (None, None) => Origin::Default,
    };
    Setting { value: environment.or(file), origin }
}

/// The file's text; none when there is no file.
fn read_text(path: &Path) -> Result<Option<String>, ConfigError> {
    let failed = |cause: String| ConfigError::Read { path: path.to_path_buf(), cause };
    match read_bounded(path, LONGEST_TEXT) {
        Ok(bytes) => match String::from_utf8(bytes) {
            Ok(text) => Ok(Some(text)),
            Err(_) => Err(failed("it is not UTF-8 text".to_owned())),
        },
        Err(ReadError::System(cause)) if cause.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(ReadError::System(cause)) => Err(failed(cause.to_string())),
        Err(ReadError::TooLarge) => Err(ConfigError::TooLong(path.to_path_buf())),
    }
}

#[cfg(test)]
#[path = "config_tests.rs"]
mod tests;
