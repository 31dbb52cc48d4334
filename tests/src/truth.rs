//! What the simulator drew for a part, and that none of it is in what comes out.

use crate::cli::Record;
use crate::programs::ServedRig;
use anyhow::Result;
use serde_json::Value;
use std::collections::BTreeSet;
use tempfile::tempdir;

/// What was drawn for a part: the simulator's truth, which `qualify` never sees.
///
/// # Errors
/// The rig does not start, or writes no truth.
pub fn truth(part: &str, seed: u64) -> Result<Value> {
    let folder = tempdir()?;
    let file = folder.path().join("truth.json");
    let seed = seed.to_string();
    let plain = ["--part", part, "--seed", &seed, "--listen", "tcp:127.0.0.1:0", "--truth"];
    // It says where it listens once the truth is written.
    drop(ServedRig::start(plain.map(str::to_owned).into_iter().chain([file.display().to_string()]))?);
    Ok(serde_json::from_slice(&std::fs::read(file)?)?)
}

/// No file of a record holds a long number of a truth, of which there are `more_than` so many, or one of the names that only a truth has.
///
/// # Errors
/// A file can't be read.
///
/// # Panics
/// When one holds any of it, or there is too little truth to look for.
#[track_caller]
pub fn check_nothing_of_it(truth: &Value, more_than: usize, names: &[&str], record: &Record) -> Result<()> {
    let mut words = BTreeSet::new();
    long_numbers(truth, &mut words);
    assert!(words.len() > more_than, "there is a truth to look for: {words:?}");
    for path in record.files() {
        let bytes = std::fs::read(&path)?;
        let text = String::from_utf8_lossy(&bytes);
        for word in words.iter().map(String::as_str).chain(names.iter().copied()) {
            assert!(!text.contains(word), "{} holds {word}", path.display());
        }
    }
    Ok(())
}

/// Every number of a document that is too long to be there by chance.
fn long_numbers(value: &Value, words: &mut BTreeSet<String>) {
    match value {
        Value::Number(n) if n.to_string().len() >= 8 => drop(words.insert(n.to_string())),
        Value::Array(list) => list.iter().for_each(|v| long_numbers(v, words)),
        Value::Object(map) => map.values().for_each(|v| long_numbers(v, words)),
        _ => {}
    }
}
