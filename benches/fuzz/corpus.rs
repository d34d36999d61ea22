//! What is damaged: the examples, the shipped parts and packages, result files made on the spot, and what was kept
//! because it did harm once (`benches/fuzz/corpus`, a folder a target).

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use joulestep_models::{package, parts};

/// Files by name.
pub type Files = BTreeMap<PathBuf, Vec<u8>>;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All files of a folder, in the order of their names.
pub fn folder(path: &Path) -> Files {
    let Ok(entries) = fs::read_dir(path) else { return Files::new() };
    let files = entries.filter_map(|entry| Some(entry.ok()?.path()));
    files.filter_map(|path| Some((path.file_name()?.into(), fs::read(&path).ok()?))).collect()
}

/// What did harm once.
pub fn kept(target: &str) -> Files {
    folder(&root().join("benches/fuzz/corpus").join(target))
}

/// The examples and data that tests name.
pub fn examples() -> Files {
    let mut all = folder(&root().join("examples"));
    all.extend(folder(&root().join("tests/data")));
    all.retain(|name, _| name.extension().is_some_and(|e| e == "toml" || e == "csv"));
    all
}

/// Scenarios and plans among them.
pub fn examples_with(key: &str) -> Vec<Vec<u8>> {
    let holds =
        |text: &[u8]| String::from_utf8_lossy(text).lines().any(|line| line.trim_start().starts_with(key));
    examples().into_values().filter(|text| holds(text)).collect()
}

fn texts(all: &[(&'static str, &'static str)]) -> Vec<Vec<u8>> {
    all.iter().map(|(_, text)| text.as_bytes().to_vec()).collect()
}

/// Shipped parts.
pub fn shipped_parts() -> Vec<Vec<u8>> {
    texts(parts::shipped())
}

/// Shipped packages.
pub fn shipped_packages() -> Vec<Vec<u8>> {
    texts(package::shipped())
}

/// Puts what command lines name into a folder.
pub fn stock(folder: &Path) {
    let results = ["run.h5", "study.h5", "batch.h5"].into_iter().zip(results());
    let texts = [("rl.toml", RL), ("plan.toml", PLAN), ("study-plan.toml", OF_STUDY)];
    let texts = texts.into_iter().map(|(name, text)| (name, text.as_bytes().to_vec()));
    for (name, bytes) in texts.chain(results) {
        let _ = fs::write(folder.join(name), bytes);
    }
}

/// Result files and journals of short runs: a run, a study, a batch. They are made once for each build of the driver.
pub fn results() -> Vec<Vec<u8>> {
    let built = std::env::current_exe().and_then(fs::metadata).and_then(|m| m.modified()).ok();
    let built = built.and_then(|t| t.duration_since(std::time::UNIX_EPOCH).ok()).map_or(0, |t| t.as_millis());
    let here = &Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("fuzz-corpus-{built}"));
    let _ = fs::create_dir_all(here);
    let at = |name: &str| here.join(name).display().to_string();
    let [scenario, plan, run, study, batch] =
        ["rl.toml", "plan.toml", "run.h5", "study.h5", "batch.h5"].map(at);
    let _ = fs::write(&scenario, RL);
    let _ = fs::write(&plan, PLAN);
    // Made once: a case is the same for who carries it out and who keeps it.
    let made = here.join("batch.h5.journal").exists();
    let commands = [
        vec!["run", &scenario, "--out", &run, "--force", "--quiet"],
        vec!["parts", "compare", "cascode-700v-22m", "mosfet-sic-700v-12m", "--out", &study, "--force"],
        vec!["batch", &plan, "--out", &batch, "--force", "--quiet"],
    ];
    for command in commands.into_iter().filter(|_| !made) {
        let line = std::iter::once("joulestep").chain(command).map(Into::into);
        joulestep::run(line, &mut std::io::sink(), &mut std::io::stderr());
    }
    ["run.h5", "study.h5", "batch.h5", "batch.h5.journal"]
        .iter()
        .filter_map(|name| fs::read(at(name)).ok())
        .collect()
}

/// A small circuit with heat, logic and a limit.
pub const RL: &str = include_str!("rl.toml");
/// A small batch of it.
pub const PLAN: &str = include_str!("plan.toml");
/// A batch of a study.
pub const OF_STUDY: &str = include_str!("study-plan.toml");
