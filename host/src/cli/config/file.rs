//! The configuration file's text → its settings, with errors that point at line and column. It reads no file but the logo, and
//! knows neither command line nor environment.

use super::bounded::{ReadError, read_bounded};
use crate::link::Address;
use crate::report::Paper;
use crate::sheet::{Fields, SheetError, Source, shipped_names};
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::de::DeTable;

const KEYS: [&str; 7] = ["archive", "rig", "sheet", "paper", "key", "lead_fitted", "shop"];
const SHOP_KEYS: [&str; 3] = ["name", "address", "logo"];
const PAPERS: [&str; 2] = ["a4", "letter"];

/// Longest configuration that is read, bytes.
pub const LONGEST_TEXT: u64 = 64 * 1024;
/// Largest logo that is read, bytes.
pub const LARGEST_LOGO: u64 = 1024 * 1024;
/// Longest name and line of an address, characters; and the most lines.
const LONGEST_LINE: usize = 120;
const MOST_LINES: usize = 8;

/// What a file sets.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FileSettings {
    /// Folder of the records.
    pub archive: Option<PathBuf>,
    /// Address of the rig.
    pub rig: Option<String>,
    /// Part sheet: shipped name or path.
    pub sheet: Option<String>,
    /// Paper.
    pub paper: Option<Paper>,
    /// File with the shop's key.
    pub key: Option<PathBuf>,
    /// The day since which the rig's lead is in use, `YYYY-MM-DD`.
    pub lead_fitted: Option<String>,
    /// The shop.
    pub shop: Option<ShopSettings>,
}

/// `[shop]`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ShopSettings {
    /// Name; may be empty.
    pub name: String,
    /// Address, line by line.
    pub address: Vec<String>,
    /// The logo, or why it can't be used.
    pub logo: Option<Logo>,
}

/// A logo's file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Logo {
    /// Where it is.
    pub path: PathBuf,
    /// Its bytes; not yet looked into beyond their beginning.
    pub bytes: Result<Vec<u8>, SheetError>,
}

/// Places that a file's paths are told from.
#[derive(Clone, Copy, Debug)]
pub struct Places<'a> {
    /// The file's own folder.
    pub folder: &'a Path,
    /// What `~/` means.
    pub home: Option<&'a Path>,
}

impl Places<'_> {
    /// A path as written in the file.
    fn path(&self, written: &str) -> PathBuf {
        match (written.strip_prefix("~/"), self.home) {
            (Some(rest), Some(home)) => home.join(rest),
            _ => self.folder.join(written),
        }
    }
}

/// Reads a configuration's text. `origin` names it in errors.
///
/// # Errors
/// Points at bad TOML, an unknown key, a wrong type, an address or a paper that there is not.
pub fn parse(text: &str, origin: &str, places: Places<'_>) -> Result<FileSettings, SheetError> {
    let source = Source { text, origin };
    let document = DeTable::parse(text).map_err(|e| bad_toml(source, &e))?;
    let fields = Fields::new(source, document.get_ref(), 0..0, "the configuration", &KEYS)?;
    Ok(FileSettings {
        archive: fields.optional_text("archive")?.map(|p| places.path(p.value)),
        rig: rig(&fields)?,
        sheet: fields.optional_text("sheet")?.map(|s| sheet(s.value, places)),
        paper: fields.optional_word("paper", paper_from_name, &PAPERS)?,
        key: fields.optional_text("key")?.map(|p| places.path(p.value)),
        lead_fitted: lead_fitted(&fields)?,
        shop: fields.holds("shop").then(|| shop(&fields, places)).transpose()?,
    })
}

fn bad_toml(source: Source<'_>, error: &toml::de::Error) -> SheetError {
    let message = format!("this is not TOML: {}", error.message().lines().next().unwrap_or("unreadable"));
    let help = "a configuration holds lines like `rig = \"…\"` and the table `[shop]`; `trackpair config example` prints one";
    source.error(error.span().unwrap_or(0..0), message, help)
}

fn rig(fields: &Fields<'_>) -> Result<Option<String>, SheetError> {
    let Some(rig) = fields.optional_text("rig")? else { return Ok(None) };
    match Address::parse(rig.value) {
        Ok(_) => Ok(Some(rig.value.to_owned())),
        Err(error) => Err(fields.error_at(
            rig.span,
            format!("`rig` is no rig address: {}", error.problem),
            "write serial:PATH, tcp:HOST:PORT or sim:PART",
        )),
    }
}

fn lead_fitted(fields: &Fields<'_>) -> Result<Option<String>, SheetError> {
    let Some(day) = fields.optional_text("lead_fitted")? else { return Ok(None) };
    match day.value.parse::<jiff::civil::Date>() {
        Ok(date) => Ok(Some(date.to_string())),
        Err(_) => Err(fields.error_at(
            day.span,
            format!("`lead_fitted` is {:?}, which is no day", day.value),
            "write the day on which the rig got its present lead, as \"2026-01-31\"",
        )),
    }
}

/// A shipped name stays as it is, anything else is a path.
fn sheet(written: &str, places: Places<'_>) -> String {
    if shipped_names().contains(&written) {
        return written.to_owned();
    }
    places.path(written).to_string_lossy().into_owned()
}

/// A paper by its name in configuration and environment.
pub fn paper_from_name(name: &str) -> Option<Paper> {
    match name {
        "a4" => Some(Paper::A4),
        "letter" => Some(Paper::Letter),
        _ => None,
    }
}

fn shop(fields: &Fields<'_>, places: Places<'_>) -> Result<ShopSettings, SheetError> {
    let shop = fields.table("shop", "[shop]", &SHOP_KEYS)?;
    let name = shop.optional_text("name")?;
    let lines = shop.texts("address")?;
    if let Some(line) = lines.get(MOST_LINES) {
        let message = format!("`address` has {} lines, more than {MOST_LINES}", lines.len());
        return Err(shop.error_at(line.span.clone(), message, "join or leave out lines"));
    }
    let mut texts = name.iter().chain(&lines);
    if let Some(long) = texts.find(|t| t.value.chars().count() > LONGEST_LINE) {
        let message = format!("this has {} characters, more than {LONGEST_LINE}", long.value.chars().count());
        return Err(shop.error_at(
            long.span.clone(),
            message,
            "shorten it: it stands on one line of a report",
        ));
    }
    let logo = shop.optional_text("logo")?.map(|logo| {
        let path = places.path(logo.value);
        let bytes =
            read_logo(&path).map_err(|(message, help)| shop.error_at(logo.span.clone(), message, help));
        Logo { path, bytes }
    });
    Ok(ShopSettings {
        name: name.map(|n| n.value.to_owned()).unwrap_or_default(),
        address: lines.iter().map(|l| l.value.to_owned()).collect(),
        logo,
    })
}

/// A logo's bytes, or what is wrong and what to do.
fn read_logo(path: &Path) -> Result<Vec<u8>, (String, &'static str)> {
    let shown = path.display();
    let bytes = read_bounded(path, LARGEST_LOGO).map_err(|error| match error {
        ReadError::System(cause) => (
            format!("the logo {shown} can't be read: {cause}"),
            "give the path of a PNG or SVG file, or leave `logo` out",
        ),
        ReadError::TooLarge => (
            format!("the logo {shown} has more than {LARGEST_LOGO} bytes"),
            "give a smaller picture: 1000 points across are plenty",
        ),
    })?;
    if !looks_like_png(&bytes) && !looks_like_svg(&bytes) {
        return Err((format!("the logo {shown} is neither PNG nor SVG"), "save it as PNG or SVG"));
    }
    Ok(bytes)
}

/// The signature of PNG (ISO/IEC 15948, 5.2).
fn looks_like_png(bytes: &[u8]) -> bool {
    bytes.starts_with(b"\x89PNG\r\n\x1a\n")
}

/// Text whose first thousand bytes open an `svg` element.
fn looks_like_svg(bytes: &[u8]) -> bool {
    let head: Range<usize> = 0..bytes.len().min(1000);
    bytes[head].windows(4).any(|w| w == b"<svg")
}

#[cfg(test)]
#[path = "file_tests.rs"]
mod tests;
