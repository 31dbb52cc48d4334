//! The files of each layer among each other: no more than two of them use each other in a circle, in the jobs and the command line none, and
//! no command uses another.

use super::{HOST_CRATES, root, rust_files};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::PathBuf;

/// Fewest commands that must be found for this to be a reading of the house at all.
const LEAST_COMMANDS: usize = 20;

/// No module in a circle with others.
const NONE: [BTreeSet<Module>; 0] = [];

/// A file by its module's path: `cli::soak::amounts`; a folder's `mod.rs` by the folder's.
type Module = String;

/// What each module uses of the others.
type Graph = BTreeMap<Module, BTreeSet<Module>>;

/// A file's code without comments and without its own tests.
fn code_of(text: &str) -> String {
    let own = text.split("\n#[cfg(test)]\nmod tests").next().unwrap_or("");
    let own = own.split("\n#[cfg(test)]\n#[path").next().unwrap_or("");
    own.lines().map(|line| line.split("//").next().unwrap_or("")).collect::<Vec<_>>().join("\n")
}

const fn is_ident(c: char) -> bool {
    c.is_ascii_alphanumeric() || c == '_'
}

/// The paths of a use tree that begins here, segments in order; groups are opened.
fn paths(tree: &str) -> Vec<Vec<String>> {
    let tree = tree.trim_start();
    if let Some(group) = tree.strip_prefix('{') {
        let (mut depth, mut from, mut all) = (0, 0, Vec::new());
        for (k, c) in group.char_indices() {
            match c {
                '{' => depth += 1,
                '}' if depth == 0 => {
                    all.extend(paths(&group[from..k]));
                    break;
                }
                '}' => depth -= 1,
                ',' if depth == 0 => {
                    all.extend(paths(&group[from..k]));
                    from = k + 1;
                }
                _ => {}
            }
        }
        return all;
    }
    let end = tree.find(|c| !is_ident(c)).unwrap_or(tree.len());
    let (name, rest) = (&tree[..end], &tree[end..]);
    if name.is_empty() {
        return Vec::new();
    }
    let Some(rest) = rest.strip_prefix("::") else { return vec![vec![name.to_owned()]] };
    let below = paths(rest);
    let own = |below: Vec<String>| std::iter::once(name.to_owned()).chain(below).collect();
    if below.is_empty() { vec![vec![name.to_owned()]] } else { below.into_iter().map(own).collect() }
}

/// Every path in the code that begins with one of these words.
fn paths_from(code: &str, words: &[&str]) -> Vec<Vec<String>> {
    let mut found = Vec::new();
    for word in words {
        let opens = format!("{word}::");
        for (at, _) in code.match_indices(&opens) {
            let before = code[..at].chars().next_back();
            if before.is_none_or(|c| !is_ident(c) && c != ':') {
                found.extend(paths(&code[at..]));
            }
        }
    }
    found
}

/// The modules that a module's code uses.
fn used_by(module: &str, is_folder: bool, code: &str, all: &BTreeSet<Module>) -> BTreeSet<Module> {
    let own: Vec<String> = module.split("::").map(str::to_owned).collect();
    let children = code.lines().filter_map(|line| {
        let declared = line.trim().trim_start_matches("pub ").strip_prefix("mod ")?;
        declared.strip_suffix(';')
    });
    let children: Vec<&str> = if is_folder { children.collect() } else { Vec::new() };
    let mut used = BTreeSet::new();
    let opens: Vec<&str> = ["super", "crate", "self"].into_iter().chain(children.iter().copied()).collect();
    for path in paths_from(code, &opens) {
        let mut path = path.as_slice();
        let mut at = match path[0].as_str() {
            "crate" => Vec::new(),
            _ => own.clone(),
        };
        while let [first, rest @ ..] = path {
            match first.as_str() {
                "crate" | "self" => {}
                "super" => drop(at.pop()),
                _ => break,
            }
            path = rest;
        }
        at.extend(path.iter().cloned());
        let named = (1..=at.len()).rev().map(|k| at[..k].join("::")).find(|name| all.contains(name));
        used.extend(named.filter(|name| name != module));
    }
    used
}

/// A test in a file of its own that names every document, whichever command prints it.
const NAMES_EVERY_DOCUMENT: &str = "cli/published/derived.rs";

/// The files of a layer, each with whether it is a folder's `mod.rs`, and its code.
fn modules(folder: &str, layer: &str) -> BTreeMap<Module, (bool, String)> {
    let src = root().join(folder).join("src");
    let is_test =
        |p: &PathBuf| p.to_string_lossy().ends_with("_tests.rs") || p.ends_with(NAMES_EVERY_DOCUMENT);
    let files = rust_files(&src.join(layer)).into_iter().filter(|p| !is_test(p));
    let module = |path: PathBuf| {
        let relative = path.strip_prefix(&src).expect("inside src").with_extension("");
        let mut names: Vec<String> =
            relative.components().map(|c| c.as_os_str().to_string_lossy().into_owned()).collect();
        let is_folder = names.last().is_some_and(|last| last == "mod");
        if is_folder {
            names.pop();
        }
        (names.join("::"), (is_folder, code_of(&fs::read_to_string(&path).expect("readable"))))
    };
    files.map(module).collect()
}

fn graph(modules: &BTreeMap<Module, (bool, String)>) -> Graph {
    let all: BTreeSet<Module> = modules.keys().cloned().collect();
    let used = |(module, (is_folder, code)): (&Module, &(bool, String))| {
        (module.clone(), used_by(module, *is_folder, code, &all))
    };
    modules.iter().map(used).collect()
}

/// `cli::soak` of `cli::soak::amounts`: what stands in the layer's folder itself.
fn top(module: &str) -> Module {
    module.split("::").take(2).collect::<Vec<_>>().join("::")
}

/// The same among what stands in the layer's folder itself.
fn tops(graph: &Graph) -> Graph {
    let mut all = Graph::new();
    for (module, used) in graph {
        let own = top(module);
        let others = used.iter().map(|u| top(u)).filter(|u| *u != own);
        all.entry(own.clone()).or_default().extend(others);
    }
    all
}

/// Modules that use each other in circles, each such group once: all that can be reached from each other.
fn groups(graph: &Graph) -> Vec<BTreeSet<Module>> {
    let reached = |from: &Module| -> BTreeSet<Module> {
        let (mut seen, mut open) = (BTreeSet::new(), vec![from.clone()]);
        while let Some(at) = open.pop() {
            for next in graph.get(&at).into_iter().flatten().filter(|next| graph.contains_key(*next)) {
                if seen.insert(next.clone()) {
                    open.push(next.clone());
                }
            }
        }
        seen
    };
    let all: BTreeMap<&Module, BTreeSet<Module>> = graph.keys().map(|m| (m, reached(m))).collect();
    let circle = |m: &Module| all[m].iter().filter(|other| all[*other].contains(m)).cloned().collect();
    let mut found: Vec<BTreeSet<Module>> =
        graph.keys().map(circle).filter(|group: &BTreeSet<Module>| group.len() > 1).collect();
    found.sort();
    found.dedup();
    found
}

/// The modules that the dispatch carries commands out by.
fn commands(dispatch: &str) -> BTreeSet<Module> {
    let arms = dispatch.match_indices("=> ").filter_map(|(at, arrow)| {
        let rest = &dispatch[at + arrow.len()..];
        let end = rest.find(|c| !is_ident(c))?;
        rest[end..].starts_with("::").then(|| format!("cli::{}", &rest[..end]))
    });
    arms.collect()
}

#[test]
fn use_trees_are_opened_and_circles_are_found() {
    let all = ["cli", "cli::a", "cli::a::b", "cli::c"].map(str::to_owned).into();
    let used = |module: &str, code: &str| used_by(module, module == "cli::a", code, &all);
    let names = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect::<BTreeSet<_>>();
    assert_eq!(used("cli::c", "use super::{a::{b::X, Y}, z};"), names(&["cli::a::b", "cli::a", "cli"]));
    assert_eq!(used("cli::a::b", "let x = super::super::c::f();\nuse crate::link;"), names(&["cli::c"]));
    assert_eq!(used("cli::a", "mod b;\nfn f() { b::g(crate::cli::c::H) }"), names(&["cli::a::b", "cli::c"]));
    let graph = |pairs: &[(&str, &str)]| -> Graph {
        pairs.iter().map(|(from, to)| ((*from).to_owned(), names(&[to]))).collect()
    };
    assert_eq!(groups(&graph(&[("a", "b"), ("b", "c")])), NONE);
    assert_eq!(groups(&graph(&[("a", "b"), ("b", "c"), ("c", "b")])), [names(&["b", "c"])]);
}

#[test]
fn no_file_of_the_command_line_or_of_the_jobs_uses_itself_in_a_circle() {
    for layer in ["cli", "job"] {
        let graph = graph(&modules("host", layer));
        assert!(graph.len() > LEAST_COMMANDS, "{layer} was not found");
        assert_eq!(groups(&graph), NONE, "files of {layer} that use each other");
        assert_eq!(groups(&tops(&graph)), NONE, "files and folders of {layer} that use each other");
    }
}

/// A folder's own file names what stands in it and is used by it: that is no circle of the work.
#[test]
fn no_more_than_two_files_of_a_layer_use_each_other_in_a_circle() {
    let mut found = Vec::new();
    for (folder, layers) in HOST_CRATES {
        for layer in layers {
            let modules = modules(folder, layer);
            let mut graph = graph(&modules);
            graph.retain(|module, _| !modules[module].0);
            assert!(!graph.is_empty(), "{layer} was not found");
            found.extend(groups(&graph).into_iter().filter(|group| group.len() > 2));
        }
    }
    assert!(found.is_empty(), "files that use each other in circles: {found:#?}");
}

#[test]
fn no_command_uses_another() {
    let modules = modules("host", "cli");
    let commands = commands(&modules["cli::commands"].1);
    assert!(commands.len() >= LEAST_COMMANDS, "only {commands:?} were found in cli/commands.rs");
    let mut breaches = Vec::new();
    for (module, used) in graph(&modules) {
        let own = top(&module);
        let others = used.iter().filter(|u| commands.contains(&top(u)) && top(u) != own);
        if commands.contains(&own) {
            breaches.extend(others.map(|other| format!("{module} uses {other}")));
        }
    }
    assert!(breaches.is_empty(), "what commands share lies below them:\n{}", breaches.join("\n"));
}
