//! Broken scenarios: each file in `tests/broken` carries the errors it must get. Below the line that is wrong stands
//! `#~ COLUMN message` for each of its errors, message being all that the program says about it in one line.
//! `#~ FILE:LINE:COLUMN message` is an error in an included file; `...` at the end of a message leaves out the rest
//! (long lists of what exists). A file whose name begins with `_` is only included by others.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;

fn joulestep(args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_joulestep"));
    command.current_dir(env!("CARGO_MANIFEST_DIR")).args(args).env("JOULESTEP_CACHE", "off");
    command.output().expect("the program runs")
}

fn corpus(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files: Vec<_> =
        std::fs::read_dir(folder).expect("the corpus").map(|f| f.expect("a file").path()).collect();
    files.retain(|f| {
        let name = f.file_name().and_then(|n| n.to_str()).unwrap_or("");
        name.ends_with(".toml") && !name.starts_with('_')
    });
    files.sort();
    files
}

/// `file:line:column` and message of each expected error; the corpus file itself is named by nothing.
fn expected(text: &str) -> Vec<(String, String)> {
    let mut all = Vec::new();
    let mut line = 0;
    for (k, content) in text.lines().enumerate() {
        let Some(mark) = content.strip_prefix("#~ ") else {
            line = k + 1;
            continue;
        };
        let (place, message) = mark.split_once(' ').expect("a place and a message");
        let place = if place.contains(':') { place.to_string() } else { format!(":{line}:{place}") };
        all.push((place, message.to_string()));
    }
    all.sort();
    all
}

/// Place and message of an error as the program tells it.
fn describe(error: &Value, corpus_file: &str) -> (String, String) {
    let file = error["file"].as_str().unwrap_or("");
    let name = Path::new(file).file_name().and_then(|n| n.to_str()).unwrap_or("");
    let name = if file == corpus_file { "" } else { name };
    (format!("{name}:{}:{}", error["line"], error["column"]), message(error))
}

fn message(error: &Value) -> String {
    let text = |key: &str| error[key].as_str().unwrap_or("").to_string();
    let mut line = text("key");
    if !line.is_empty() {
        line += ": ";
    }
    line += &text("found");
    if !text("expected").is_empty() {
        line += &format!("; expected {}", text("expected"));
    }
    if let Some(suggestion) = error["suggestion"].as_str() {
        line += &format!("; did you mean `{suggestion}`?");
    }
    line
}

#[test]
fn every_broken_scenario_gets_its_errors_and_no_other() {
    corpus_gets_its_errors("tests/broken", &["check"], 20);
}

/// Every file of a folder (at least so many), given to a command, gets the errors that it carries and no other.
pub fn corpus_gets_its_errors(folder: &str, command: &[&str], least: usize) {
    let mut wrong = Vec::new();
    let files = corpus(folder);
    assert!(files.len() >= least, "{} files", files.len());
    for path in files {
        let relative = format!("{folder}/{}", path.file_name().unwrap().to_str().unwrap());
        let args: Vec<&str> = command.iter().copied().chain([relative.as_str(), "--json"]).collect();
        let output = joulestep(&args);
        let answer: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        let errors = answer["errors"].as_array().cloned().unwrap_or_default();
        let mut found: Vec<(String, String)> = errors.iter().map(|e| describe(e, &relative)).collect();
        let text = std::fs::read_to_string(&path).expect("text");
        let expected = expected(&text);
        // What a mark leaves out is left out of what was found.
        for f in &mut found {
            let mut cut = expected.iter().filter(|e| e.0 == f.0).filter_map(|e| e.1.strip_suffix("..."));
            if let Some(begin) = cut.find(|begin| f.1.starts_with(*begin)) {
                f.1 = format!("{begin}...");
            }
        }
        found.sort();
        if output.status.code() != Some(2) || expected.is_empty() || found != expected {
            wrong.push(format!("{relative} exits {:?}", output.status.code()));
            wrong.extend(expected.iter().filter(|e| !found.contains(e)).map(|e| format!("  missing {e:?}")));
            wrong.extend(found.iter().filter(|e| !expected.contains(e)).map(|e| format!("  found   {e:?}")));
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn errors_for_people_show_place_line_and_mark() {
    let output = joulestep(&["check", "tests/broken/wrong_dimension.toml"]);
    let text = String::from_utf8(output.stderr).expect("UTF-8");
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    assert!(text.starts_with("tests/broken/wrong_dimension.toml:7:14: component.R1.resistance:"), "{text}");
    assert!(
        text.contains("\n  7 | resistance = \"20 mV\"\n    |              ^^^^^^^\n  expected a resistance"),
        "{text}"
    );
}

#[test]
fn a_scenario_that_cannot_be_opened_is_an_input_output_error() {
    let missing = joulestep(&["check", "tests/broken/no-such-file.toml"]);
    assert_eq!(missing.status.code(), Some(4));
    assert!(String::from_utf8_lossy(&missing.stderr).contains("no such file"));
    let folder = joulestep(&["check", "tests"]);
    assert_eq!(folder.status.code(), Some(4));
}

#[test]
fn a_wrong_command_line_is_bad_input() {
    assert_eq!(joulestep(&["chekc"]).status.code(), Some(2));
    assert_eq!(joulestep(&[]).status.code(), Some(2));
    assert_eq!(joulestep(&["--help"]).status.code(), Some(0));
}

/// `joulestep schema | head`: whoever reads may stop.
#[test]
fn a_closed_pipe_is_success() {
    let mut command = Command::new(env!("CARGO_BIN_EXE_joulestep"));
    let mut child = command
        .arg("schema")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program runs");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(output.stderr.is_empty());
}

/// Whatever stands in a scenario, the program ends with an exit code of its own.
#[test]
fn hostile_bytes_are_refused_without_a_panic() {
    let folder = tempfile::tempdir().expect("a folder");
    let good = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/ferry-breaker.toml"))
        .expect("read");
    let mut cases: Vec<Vec<u8>> = vec![
        vec![0xff, 0xfe, 0x00],
        b"format = 2\x00".to_vec(),
        "a".repeat(100_000).into_bytes(),
        "[".repeat(50_000).into_bytes(),
        format!("x = {}1{}", "[".repeat(10_000), "]".repeat(10_000)).into_bytes(),
        format!("format = 2\n[[component]]\nname = \"\u{1b}[31m\"\nkind = \"{}\"\n", "ü".repeat(5_000))
            .into_bytes(),
    ];
    // Cut in the middle, and with single bytes changed, at places that a fixed generator chooses.
    let mut seed: u64 = 2;
    for _ in 0..60 {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let at = (seed >> 33) as usize % good.len();
        let mut bytes = good.clone();
        match seed % 3 {
            0 => bytes.truncate(at),
            1 => bytes[at] = (seed >> 20) as u8,
            _ => drop(bytes.splice(at..(at + 3).min(good.len()), *b"-1e")),
        }
        cases.push(bytes);
    }
    let path = folder.path().join("case.toml");
    for bytes in cases {
        std::fs::File::create(&path).expect("a file").write_all(&bytes).expect("written");
        let output = joulestep(&["check", path.to_str().unwrap()]);
        let code = output.status.code();
        assert!(matches!(code, Some(0 | 2 | 4)), "{code:?} {}", String::from_utf8_lossy(&output.stderr));
        assert!(!output.stderr.contains(&0x1b), "a control character reached the terminal");
    }
}
