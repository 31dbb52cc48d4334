//! The configuration file's text → its settings, with errors that point at line and column. It reads no file but the logo, and
//! knows neither command line nor environment.

use super::bounded::{ReadError, read_bounded};
use crate::link::Address;
use crate::report::Paper;
use crate::sheet::reader::{Document, Texts, word};
use crate::sheet::{SheetError, Source, shipped_names};
use serde::Deserialize;
use serde_spanned::Spanned;
use std::ops::Range;
use std::path::{Path, PathBuf};

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

/// Folders that a file's paths are relative to.
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

/// A configuration as it is written.
#[derive(Deserialize)]
struct RawSettings {
    archive: Option<String>,
    rig: Option<Spanned<String>>,
    sheet: Option<String>,
    paper: Option<Spanned<String>>,
    key: Option<String>,
    lead_fitted: Option<Spanned<String>>,
    shop: Option<RawShop>,
}

#[derive(Deserialize)]
struct RawShop {
    name: Option<Spanned<String>>,
    address: Option<Texts>,
    logo: Option<Spanned<String>>,
}

/// Reads a configuration's text. `origin` names it in errors.
///
/// # Errors
/// Points at bad TOML, an unknown key, a wrong type, an address or a paper that there is not.
pub fn parse(text: &str, origin: &str, places: Places<'_>) -> Result<FileSettings, SheetError> {
    let source = Source { text, origin };
    let shape = "a configuration holds lines like `rig = \"…\"` and the table `[shop]`; `trackpair config example` prints one";
    let raw: RawSettings = Document::parse(source, "the configuration", shape)?.read()?;
    let path = |written: String| places.path(&written);
    let paper = |given| word(source, "paper", &given, paper_from_name, &PAPERS);
    Ok(FileSettings {
        archive: raw.archive.map(path),
        rig: raw.rig.map(|given| rig(source, given)).transpose()?,
        sheet: raw.sheet.map(|written| sheet(&written, places)),
        paper: raw.paper.map(paper).transpose()?,
        key: raw.key.map(path),
        lead_fitted: raw.lead_fitted.map(|given| lead_fitted(source, &given)).transpose()?,
        shop: raw.shop.map(|given| shop(source, given, places)).transpose()?,
    })
}

fn rig(source: Source<'_>, rig: Spanned<String>) -> Result<String, SheetError> {
    match Address::parse(rig.get_ref()) {
        Ok(_) => Ok(rig.into_inner()),
        Err(error) => Err(source.error(
            rig.span(),
            format!("`rig` is not a rig address: {}", error.problem),
            "write serial:PATH, tcp:HOST:PORT or sim:PART",
        )),
    }
}

fn lead_fitted(source: Source<'_>, day: &Spanned<String>) -> Result<String, SheetError> {
    let date = day.get_ref().parse::<jiff::civil::Date>();
    date.map(|date| date.to_string()).map_err(|_| {
        let message = format!("`lead_fitted` is {:?}, which is not a day of the calendar", day.get_ref());
        let help = "write the day on which the rig got its present lead, as \"2026-01-31\"";
        source.error(day.span(), message, help)
    })
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

fn shop(source: Source<'_>, shop: RawShop, places: Places<'_>) -> Result<ShopSettings, SheetError> {
    let lines = shop.address.map(|lines| lines.0).unwrap_or_default();
    if let Some(line) = lines.get(MOST_LINES) {
        let message = format!("`address` has {} lines, more than {MOST_LINES}", lines.len());
        return Err(source.error(line.span(), message, "join or leave out lines"));
    }
    for text in shop.name.iter().chain(&lines) {
        let length = text.get_ref().chars().count();
        if length > LONGEST_LINE {
            let message = format!("this has {length} characters, more than {LONGEST_LINE}");
            return Err(source.error(text.span(), message, "shorten it: it stands on one line of a report"));
        }
    }
    let logo = shop.logo.map(|logo| {
        let path = places.path(logo.get_ref());
        let bytes = read_logo(&path).map_err(|(message, help)| source.error(logo.span(), message, help));
        Logo { path, bytes }
    });
    Ok(ShopSettings {
        name: shop.name.map(Spanned::into_inner).unwrap_or_default(),
        address: lines.into_iter().map(Spanned::into_inner).collect(),
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
