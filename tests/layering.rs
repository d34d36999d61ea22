//! The house's own order: a module uses its own and lower layers only, and no file is long.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Longest file allowed, lines.
const LONGEST: usize = 400;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let mut out = Vec::new();
    for path in entries.map(|e| e.unwrap().path()) {
        if path.is_dir() {
            out.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
    out.sort();
    out
}

/// Layer of each module of a crate or folder: its `lib.rs` or `mod.rs` lists them in groups with a comment above each,
/// lowest first.
fn layers(lib: &Path) -> BTreeMap<String, usize> {
    let mut layer = 0;
    let mut out = BTreeMap::new();
    for line in fs::read_to_string(lib).unwrap().lines() {
        if line.starts_with("// ") {
            layer += 1;
        }
        let module = ["pub mod ", "pub(crate) mod ", "mod "].iter().find_map(|p| line.strip_prefix(p));
        if let Some(name) = module.and_then(|m| m.strip_suffix(';')) {
            out.insert(name.to_string(), layer);
        }
    }
    out
}

/// The path of modules that a file is (`step/stage.rs` is step, stage; `step/mod.rs` is step).
fn module(src: &Path, file: &Path) -> Vec<String> {
    let inside = file.strip_prefix(src).unwrap().with_extension("");
    let mut parts: Vec<String> = inside.iter().map(|p| p.to_str().unwrap().to_string()).collect();
    if parts.last().is_some_and(|p| p == "mod") {
        parts.pop();
    }
    parts
}

/// Words of identifiers and `::`, without comments.
fn words(text: &str) -> Vec<String> {
    let mut out = Vec::new();
    for line in text.lines() {
        let code = line.split("//").next().unwrap_or("");
        let mut word = String::new();
        for ch in code.chars() {
            if ch.is_alphanumeric() || ch == '_' {
                word.push(ch);
                continue;
            }
            if !word.is_empty() {
                out.push(std::mem::take(&mut word));
            }
            if !ch.is_whitespace() {
                out.push(ch.to_string());
            }
        }
        if !word.is_empty() {
            out.push(word);
        }
    }
    out
}

/// Top-level modules named right after `crate::` (also in a brace), or after enough `super::` to reach the root.
fn used(words: &[String], depth: usize) -> Vec<String> {
    used_in(words, &[], depth)
}

/// Modules of a folder named right after its path from `crate::` (also in a brace), or after enough `super::` to reach
/// it.
fn used_in(words: &[String], folder: &[&str], depth: usize) -> Vec<String> {
    let colons =
        |k: usize| words.get(k).is_some_and(|w| w == ":") && words.get(k + 1).is_some_and(|w| w == ":");
    let mut out = Vec::new();
    let mut k = 0;
    while k < words.len() {
        let mut next = k;
        let mut supers = 0;
        while words.get(next).is_some_and(|w| w == "super") && colons(next + 1) {
            supers += 1;
            next += 3;
        }
        let mut reaches = supers > 0 && supers == depth - folder.len();
        if words[k] == "crate" && colons(k + 1) {
            next = k + 3;
            reaches = folder.iter().enumerate().all(|(n, name)| {
                words.get(next + 3 * n).is_some_and(|w| w == name) && colons(next + 3 * n + 1)
            });
            next += if reaches { 3 * folder.len() } else { 0 };
        }
        if reaches && next > k {
            if words.get(next).is_some_and(|w| w == "{") {
                let (mut level, mut j) = (1, next + 1);
                while level > 0 && j < words.len() {
                    match words[j].as_str() {
                        "{" => level += 1,
                        "}" => level -= 1,
                        w if level == 1 && (words[j - 1] == "{" || words[j - 1] == ",") => {
                            out.push(w.to_string())
                        }
                        _ => {}
                    }
                    j += 1;
                }
            } else if let Some(w) = words.get(next) {
                out.push(w.clone());
            }
        }
        k = next.max(k + 1);
    }
    out
}

fn said(file: &Path) -> Vec<String> {
    words(&fs::read_to_string(file).unwrap())
}

/// How many modules with a layer a file of layer `own` uses; none lies above it.
fn none_above(own: usize, layers: &BTreeMap<String, usize>, file: &Path, used: Vec<String>) -> usize {
    let known = used.iter().filter_map(|other| Some((other, *layers.get(other)?)));
    let check = |(other, layer): (&String, usize)| {
        let file = file.strip_prefix(root()).unwrap().display();
        assert!(layer <= own, "{file} is in layer {own} and uses `{other}` of layer {layer}");
    };
    known.map(check).count()
}

#[test]
fn no_module_reaches_back() {
    for name in ["engine", "models", "cli"] {
        let src = root().join(name).join("src");
        let layers = layers(&src.join("lib.rs"));
        let (mut files, mut uses) = (0, 0);
        for file in sources(&src) {
            let path = module(&src, &file);
            let Some(own) = path.first().and_then(|m| layers.get(m)) else { continue };
            files += 1;
            uses += none_above(*own, &layers, &file, used(&said(&file), path.len()));
        }
        println!("{name}: {} modules, {files} files, {uses} uses", layers.len());
        assert!(layers.len() >= 5 && files >= layers.len() && uses >= files, "{name}: nothing was looked at");
    }
}

/// Inside the folders of the command line that hold a stage each.
#[test]
fn no_module_of_a_stage_reaches_back() {
    let src = root().join("cli/src");
    for name in ["input", "input/keys", "output"] {
        let folder = src.join(name);
        let layers = layers(&folder.join("mod.rs"));
        let stage: Vec<&str> = name.split('/').collect();
        let mut uses = 0;
        for file in sources(&folder) {
            let path = module(&src, &file);
            let Some(own) = path.get(stage.len()).and_then(|m| layers.get(m)) else { continue };
            uses += none_above(*own, &layers, &file, used_in(&said(&file), &stage, path.len()));
        }
        println!("{name}: {} modules, {uses} uses", layers.len());
        assert!(layers.len() >= 5 && uses >= layers.len(), "{name}: nothing was looked at");
    }
}

/// The reader of the check above, on lines that it must understand.
#[test]
fn the_check_of_layers_sees_what_it_should() {
    let read = |text: &str, depth| used(&words(text), depth);
    assert_eq!(read("use crate::step::stage::StageSolver;", 2), ["step"]);
    assert_eq!(read("use crate::{run::setup, step::{a, b}, thermal};", 1), ["run", "step", "thermal"]);
    assert_eq!(read("super::super::run::x(); // crate::cli", 2), ["run"]);
    assert!(read("use super::stage::X;", 2).is_empty());
    let inner = |text: &str, depth| used_in(&words(text), &["output"], depth);
    assert_eq!(inner("use crate::output::{plot::Figure, table}; use crate::judge::X;", 3), ["plot", "table"]);
    assert_eq!(inner("use super::super::report::x;", 3), ["report"]);
}

#[test]
fn no_file_is_long() {
    let mut long = Vec::new();
    let mut count = 0;
    for folder in ["engine", "models", "cli", "tests", "benches", "examples"] {
        for file in sources(&root().join(folder)) {
            count += 1;
            let lines = fs::read_to_string(&file).unwrap().lines().count();
            if lines > LONGEST {
                long.push(format!("{} has {lines} lines", file.strip_prefix(root()).unwrap().display()));
            }
        }
    }
    assert!(count > 50 && long.is_empty(), "{}", long.join("\n"));
}

/// The engine is pure computation: it opens no file, reads no clock, prints nothing (tests aside).
#[test]
fn the_engine_does_nothing_but_compute() {
    for file in sources(&root().join("engine").join("src")) {
        let text = fs::read_to_string(&file).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        if file.to_str().unwrap().contains("test") {
            continue;
        }
        for banned in
            ["std::fs", "std::time", "std::io", "std::net", "std::env", "println!", "eprintln!", "dbg!"]
        {
            assert!(!code.contains(banned), "{} contains {banned}", file.display());
        }
    }
}

/// What a kind can do its entry says: outside the catalogue nothing asks for a kind by name.
#[test]
fn no_kind_is_asked_for_by_name() {
    let kinds: Vec<&str> = joulestep_models::devices::catalogue().iter().map(|e| e.kind).collect();
    let mut found = Vec::new();
    let mut count = 0;
    for folder in ["engine/src", "models/src", "cli/src"] {
        for file in sources(&root().join(folder)).into_iter().filter(|f| !f.ends_with("renamed.rs")) {
            let text = fs::read_to_string(&file).unwrap();
            count += 1;
            for (number, line) in text.lines().enumerate() {
                let (Some(at), false) = (line.find("kind"), line.trim_start().starts_with("//")) else {
                    continue;
                };
                let rest = &line[at..];
                let asks = ["==", "!=", "matches!", "=>"].iter().any(|sign| line.contains(sign));
                if asks && kinds.iter().any(|kind| rest.contains(&format!("\"{kind}\""))) {
                    found.push(format!("{}:{}: {}", file.display(), number + 1, line.trim()));
                }
            }
        }
    }
    assert!(count > 100 && found.is_empty(), "{}", found.join("\n"));
}
