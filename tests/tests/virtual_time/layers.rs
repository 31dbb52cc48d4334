//! Keeps the house: layers import one way, every file says what it is for, only the program knows the simulator.

mod cli_graph;

use std::fs;
use std::path::{Path, PathBuf};

/// The host's layers; each may use only those before it.
const HOST_LAYERS: [&str; 19] = [
    "quantity",
    "sheet",
    "trace",
    "link",
    "session",
    "conform",
    "procedure",
    "analysis",
    "verdict",
    "diagnosis",
    "outcome",
    "vehicle",
    "case",
    "compare",
    "gauge",
    "report",
    "record",
    "job",
    "cli",
];

/// Layers that stand side by side: neither may use the other.
const SIDE_BY_SIDE: [(&str, &str); 1] = [("record", "report")];

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
fn the_host_imports_leftward_only() {
    let src = root().join("host/src");
    let mut breaches = Vec::new();
    for path in rust_files(&src) {
        let relative = path.strip_prefix(&src).expect("inside src");
        let Some(own) = relative.components().next().and_then(|c| c.as_os_str().to_str()) else { continue };
        let own = own.trim_end_matches(".rs");
        let Some(own_rank) = HOST_LAYERS.iter().position(|l| *l == own) else { continue };
        for (number, line) in fs::read_to_string(&path).expect("readable").lines().enumerate() {
            for name in crate_names(line) {
                let Some(rank) = HOST_LAYERS.iter().position(|l| *l == name) else { continue };
                let beside =
                    SIDE_BY_SIDE.iter().any(|&(a, b)| (a, b) == (own, name) || (b, a) == (own, name));
                if rank > own_rank || beside {
                    breaches.push(format!("{}:{}: {own} uses {name}", relative.display(), number + 1));
                }
            }
        }
    }
    assert!(breaches.is_empty(), "layers must import leftward only:\n{}", breaches.join("\n"));
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
fn every_layer_of_the_host_exists_and_is_listed_in_its_lib() {
    let src = root().join("host/src");
    let lib = fs::read_to_string(src.join("lib.rs")).expect("readable");
    let mut last = 0;
    for layer in HOST_LAYERS {
        assert!(src.join(layer).is_dir(), "no folder for layer {layer}");
        let at =
            lib.find(&format!("//! - [`{layer}`]")).unwrap_or_else(|| panic!("lib.rs does not list {layer}"));
        assert!(at > last, "lib.rs lists {layer} out of order");
        last = at;
    }
}

#[test]
fn only_the_program_knows_the_simulator() {
    let src = root().join("host/src");
    let program = [src.join("main.rs"), src.join("sim_link.rs")];
    for path in rust_files(&src) {
        if program.contains(&path) {
            continue;
        }
        let text = fs::read_to_string(&path).expect("readable");
        for name in ["trackpair_rig_sim", "trackpair_rig_core"] {
            assert!(!text.contains(name), "{} names {name}", path.display());
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
