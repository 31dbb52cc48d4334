//! Part sheets with one thing wrong, and that they are refused.

use crate::cli::{Said, files_under, trackpair};
use tempfile::tempdir;

/// A command whose archive is a folder of its own; nothing must be left in it.
///
/// # Panics
/// When it made up a result or left a record.
#[track_caller]
pub fn refused(command: &[&str]) -> Said {
    let archive = tempdir().unwrap();
    let folder = archive.path().to_str().unwrap();
    let said = trackpair([command, &["--archive", folder]].concat()).unwrap();
    assert!(said.out.is_empty(), "no result is made up:\n{}", said.out);
    assert!(files_under(archive.path()).is_empty(), "no record of nothing");
    said
}

/// A shipped sheet in which `from` has become `to`: refused by `check` and, on this rig, by `qualify` alike, at the line of `to`.
///
/// # Panics
/// When it is not, or in other words.
#[track_caller]
pub fn check_sheet(sheet: &str, rig: &str, (from, to): (&str, &str), words: &[&str]) {
    let text = trackpair::sheet::shipped_text(sheet).expect("shipped");
    assert!(text.contains(from), "{from:?} is in the sheet");
    let text = text.replacen(from, to, 1);
    let folder = tempdir().unwrap();
    let file = folder.path().join("mine.toml");
    std::fs::write(&file, &text).unwrap();
    let wrong = to.lines().next().unwrap();
    let line = text.lines().position(|l| l.contains(wrong)).unwrap() + 1;
    let place = format!("mine.toml:{line}:");
    let words = [&[place.as_str(), "help:"][..], words].concat();
    let path = file.to_str().unwrap();
    trackpair(["sheet", "check", path]).unwrap().expect(2, &words);
    refused(&["qualify", "--rig", rig, "--sheet", path]).expect(2, &words);
}
