//! What is kept between runs: the same numbers with and without, whatever happens to the folder.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::common::folder::die_on_a_slug;
use crate::common::program::{Done, joulestep, joulestep_with};

/// Its impedance, kept in a folder; `None`: nowhere.
fn asked(folder: &Path, kept: Option<&Path>) -> Done {
    let package = folder.join("package.toml");
    fs::write(&package, die_on_a_slug(5000.0)).unwrap();
    let args = ["impedance", package.to_str().unwrap(), "--cells", "1500", "--quiet", "--json"];
    kept.map_or_else(|| joulestep(&args), |kept| kept_in(kept, &args))
}

fn kept_in(folder: &Path, args: &[&str]) -> Done {
    joulestep_with(args, &[("JOULESTEP_CACHE", folder.to_str().unwrap())])
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let listed = fs::read_dir(folder).map(|all| all.map(|f| f.unwrap().path()).collect());
    let mut all: Vec<PathBuf> = listed.unwrap_or_default();
    all.sort();
    all
}

fn shown(folder: &Path, args: &[&str]) -> Value {
    let done = kept_in(folder, &[&["cache", "--json"], args].concat());
    assert_eq!(done.code, 0, "{}", done.err);
    serde_json::from_str(&done.out).unwrap()
}

#[test]
fn a_hit_gives_what_was_computed_and_damage_is_computed_anew() {
    let temporary = tempfile::tempdir().unwrap();
    let folder = temporary.path().join("kept");
    let off = asked(temporary.path(), None);
    assert!([0, 1, 5].contains(&off.code), "{}", off.err);
    let first = asked(temporary.path(), Some(&folder));
    let [entry] = &entries(&folder)[..] else { panic!("one entry") };
    let written = fs::read(entry).unwrap();
    let second = asked(temporary.path(), Some(&folder));
    assert!(first.out == off.out && second.out == off.out, "other numbers");
    assert_eq!((first.code, second.code), (off.code, off.code));
    let about = shown(&folder, &[]);
    assert_eq!(about["entries"].as_array().unwrap().len(), 1);
    assert_eq!(about["bytes"], written.len());
    assert!(about["entries"][0]["what"].as_str().unwrap().contains("impedance"), "{about}");

    // Two halves of it, and another byte in the middle.
    let middle = written.len() / 2;
    let mut other = written.clone();
    other[middle] ^= 1;
    for damaged in [&written[..middle], &other] {
        fs::write(entry, damaged).unwrap();
        let done = asked(temporary.path(), Some(&folder));
        assert!(done.out == off.out && done.code == off.code, "a damaged entry decides");
        assert!(fs::read(entry).unwrap() == written, "it is written anew");
    }
    let cleared = shown(&folder, &["--clear"]);
    assert_eq!((&cleared["removed"], &cleared["bytes"]), (&1.into(), &0.into()));
    assert_eq!(entries(&folder), Vec::<PathBuf>::new());
    assert_eq!(shown(&folder, &[])["entries"], Value::Array(Vec::new()));
    let text = kept_in(&folder, &["cache"]);
    assert!(text.out.contains("0 results") && text.out.contains("256 MB"), "{}", text.out);
    assert!(joulestep(&["cache"]).out.contains("is `off`"));
}

#[test]
fn two_processes_keep_the_same_at_once() {
    let temporary = tempfile::tempdir().unwrap();
    let folder = temporary.path();
    let kept = folder.join("kept");
    let both = std::thread::scope(|scope| {
        let one = || scope.spawn(|| asked(folder, Some(&kept)));
        let both = [one(), one()];
        both.map(|process| process.join().unwrap())
    });
    assert!(both[0].out == both[1].out && both[0].code == both[1].code);
    let [entry] = &entries(&kept)[..] else { panic!("{:?}", entries(&kept)) };
    assert!(entry.extension().is_some_and(|e| e == "kept"));
    assert!(asked(folder, Some(&kept)).out == both[0].out);
}

/// A change of what makes compact networks must not find those of before.
#[test]
fn everything_that_makes_networks_is_in_the_key() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let engine = &joulestep_engine::thermal::field::SOURCES[..];
    let models = &joulestep_models::SOURCES[..];
    let folders = [
        ("engine/src/thermal/field", engine),
        ("engine/src/thermal/field/reduce", engine),
        ("engine/src/thermal/field/system", engine),
        ("models/src/package", models),
        ("models/src/materials", models),
    ];
    for (folder, texts) in folders {
        for file in entries(&root.join(folder)).iter().filter(|f| f.extension().is_some_and(|e| e == "rs")) {
            let text = fs::read_to_string(file).unwrap();
            assert!(texts.contains(&text.as_str()), "{} is not among the sources", file.display());
        }
    }
}
