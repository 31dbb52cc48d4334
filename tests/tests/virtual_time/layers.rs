//! Keeps the house: crates use what the guide's table allows, layers within a crate import one way, every file says what it is for.

mod cli_graph;

use std::fs;
use std::path::{Path, PathBuf};

/// The host's crates by folder, each with its layers; a layer may use only those before it in its crate, and what its crate may use at all.
pub const HOST_CRATES: [(&str, &[&str]); 7] = [
    ("host/model", &["quantity", "sheet", "trace"]),
    ("host/bench", &["link", "session", "conform", "procedure"]),
    ("host/analysis", &["analysis", "verdict", "diagnosis"]),
    ("host/outcome", &["outcome", "vehicle", "case", "compare", "gauge"]),
    ("host/records", &["record"]),
    ("host/reports", &["report"]),
    ("host", &["job", "cli"]),
];

/// What no file of the jobs may do, by what it would take: print, ask a terminal, read a clock, sleep, look into the environment, end the
/// program. Whoever starts a job gives it all that.
const NOT_IN_A_JOB: [&str; 17] = [
    "print!",
    "println!",
    "dbg!",
    "stdout",
    "stderr",
    "stdin",
    "is_terminal",
    "IsTerminal",
    "indicatif",
    "clap",
    "::now(",
    "Instant",
    "SystemTime",
    "sleep",
    "env::",
    "process::exit",
    "process::abort",
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the tests crate lies in the workspace")
        .to_path_buf()
}

fn rust_files(dir: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(dir).unwrap_or_else(|e| panic!("{}: {e}", dir.display())) {
        let path = entry.expect("readable folder").path();
        let name = path.file_name().and_then(|n| n.to_str()).unwrap_or_default();
        if path.is_dir() {
            if !name.starts_with('.') && !name.starts_with("target") {
                files.extend(rust_files(&path));
            }
        } else if name.ends_with(".rs") {
            files.push(path);
        }
    }
    files.sort();
    files
}

/// Names that follow `crate::` in a line, comments left out; groups (`crate::{a, b}`) are opened.
fn crate_names(line: &str) -> Vec<&str> {
    let code = line.split("//").next().unwrap_or("");
    let mut names = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        let ident = |s: &str| s.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(s.len());
        if let Some(group) = rest.strip_prefix('{') {
            let mut depth = 0;
            let mut start = true;
            for (k, c) in group.char_indices() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => start = true,
                    c if start && !c.is_whitespace() => {
                        names.push(&group[k..k + ident(&group[k..])]);
                        start = false;
                    }
                    _ => {}
                }
            }
        } else {
            names.push(&rest[..ident(rest)]);
        }
    }
    names
}

#[test]
fn crate_names_are_read_from_plain_and_grouped_imports() {
    assert_eq!(crate_names("use crate::sheet::PartSheet; // crate::cli"), ["sheet"]);
    assert_eq!(crate_names("use crate::{trace::{Gap, Trace}, link};"), ["trace", "link"]);
    assert_eq!(crate_names("let x = crate::verdict::judge(crate::cli::X);"), ["verdict", "cli"]);
}

#[test]
fn the_layers_of_a_crate_import_leftward_only() {
    let mut breaches = Vec::new();
    for (folder, layers) in HOST_CRATES {
        for (own_rank, own) in layers.iter().enumerate() {
            for path in rust_files(&root().join(folder).join("src").join(own)) {
                for (number, line) in fs::read_to_string(&path).expect("readable").lines().enumerate() {
                    for name in crate_names(line) {
                        if layers.iter().position(|l| *l == name).is_some_and(|rank| rank > own_rank) {
                            breaches.push(format!("{}:{}: {own} uses {name}", path.display(), number + 1));
                        }
                    }
                }
            }
        }
    }
    assert!(breaches.is_empty(), "layers must import leftward only:\n{}", breaches.join("\n"));
}

/// Crates of this workspace that a manifest names as what it is built with.
fn used_by_manifest(folder: &str) -> Vec<String> {
    let text = fs::read_to_string(root().join(folder).join("Cargo.toml")).expect("a manifest");
    let table: toml::Table = text.parse().expect("TOML");
    let dependencies = table["dependencies"].as_table().expect("dependencies");
    dependencies.keys().filter(|name| name.starts_with("trackpair")).cloned().collect()
}

/// The compiler keeps crates from using what their manifest does not name; this keeps manifests to the table that the contributor guide shows.
#[test]
fn crates_use_what_the_table_of_the_guide_allows() {
    let guide = fs::read_to_string(root().join("DEVELOPERS.md")).expect("the guide");
    let rows = guide.lines().filter_map(|line| {
        let mut cells = line.strip_prefix("| `")?.split('|');
        let folder = cells.next()?.trim().strip_suffix('`')?.trim_end_matches('/').to_owned();
        let name = cells.next()?.trim().trim_matches('`').to_owned();
        let uses = cells.next()?.trim().strip_prefix("uses ")?.to_owned();
        Some((folder, name, uses))
    });
    let rows: Vec<(String, String, String)> = rows.collect();
    let folders: Vec<&str> = HOST_CRATES.iter().map(|(folder, _)| *folder).chain(["host/program"]).collect();
    for folder in folders {
        let row = rows.iter().find(|row| row.0 == folder);
        let (_, _, uses) = row.unwrap_or_else(|| panic!("the guide has no row for {folder}"));
        let mut allowed: Vec<String> = uses
            .split(',')
            .map(|one| one.trim().trim_matches('`'))
            .filter(|one| !one.is_empty())
            .map(|one| format!("trackpair-{one}"))
            .collect();
        allowed.sort();
        assert_eq!(used_by_manifest(folder), allowed, "{folder}: its manifest, and the guide's row");
    }
}

#[test]
fn no_job_prints_asks_a_terminal_reads_a_clock_sleeps_or_ends_the_program() {
    let files = rust_files(&root().join("host/src/job"));
    assert!(files.len() > 20, "host/src/job was not found");
    let mut breaches = Vec::new();
    for path in files {
        for (number, line) in fs::read_to_string(&path).expect("readable").lines().enumerate() {
            let code = line.split("//").next().unwrap_or("");
            let found = NOT_IN_A_JOB.iter().filter(|word| code.contains(**word));
            breaches.extend(found.map(|word| format!("{}:{}: {word}", path.display(), number + 1)));
        }
    }
    assert!(breaches.is_empty(), "a job is given these by who starts it:\n{}", breaches.join("\n"));
}

#[test]
fn every_layer_exists_and_is_listed_in_its_crate() {
    for (folder, layers) in HOST_CRATES {
        let src = root().join(folder).join("src");
        let lib = fs::read_to_string(src.join("lib.rs")).expect("readable");
        let mut last = 0;
        for layer in layers {
            assert!(src.join(layer).is_dir(), "no folder for layer {layer}");
            let at = lib
                .find(&format!("//! - [`{layer}`]"))
                .unwrap_or_else(|| panic!("{folder}/src/lib.rs does not list {layer}"));
            assert!(at > last, "{folder}/src/lib.rs lists {layer} out of order");
            last = at;
        }
    }
}

#[test]
fn the_rig_never_names_the_host_and_the_core_never_names_the_simulator() {
    for (dir, forbidden) in [
        ("protocol/src", &["trackpair::", "trackpair_rig"][..]),
        ("bench-rig/core/src", &["trackpair::", "trackpair_rig_sim"][..]),
        ("bench-rig/sim/src", &["trackpair::"][..]),
    ] {
        for path in rust_files(&root().join(dir)) {
            let text = fs::read_to_string(&path).expect("readable");
            for name in forbidden {
                assert!(!text.contains(name), "{} names {name}", path.display());
            }
        }
    }
}

#[test]
fn every_source_file_says_what_it_is_for() {
    for dir in ["protocol", "bench-rig", "host", "tests"] {
        for path in rust_files(&root().join(dir)) {
            let text = fs::read_to_string(&path).expect("readable");
            assert!(text.starts_with("//!"), "{} has no //! head", path.display());
        }
    }
}
