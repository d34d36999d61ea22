//! A folder of its own with files in it, on which the program is asked.

use std::fs;

use serde_json::Value;

use super::program::{Done, joulestep};

/// Gone with all that is in it when it is dropped.
pub struct Folder(tempfile::TempDir);

impl Folder {
    /// With these files, by name and content.
    pub fn new(files: &[(&str, &str)]) -> Self {
        let folder = Self(tempfile::tempdir().expect("a folder"));
        for (name, content) in files {
            let path = folder.0.path().join(name);
            fs::create_dir_all(path.parent().expect("a folder")).expect("made");
            fs::write(path, content).expect("written");
        }
        folder
    }

    /// With a scenario, `s.toml`.
    pub fn scenario(content: &str) -> Self {
        Self::new(&[("s.toml", content)])
    }

    pub fn path(&self, name: &str) -> String {
        self.0.path().join(name).display().to_string()
    }

    /// Runs the program; words that begin with `@` are paths in the folder.
    pub fn ask(&self, words: &[&str]) -> Done {
        let words = words.iter().map(|w| w.strip_prefix('@').map_or(w.to_string(), |name| self.path(name)));
        let words: Vec<String> = words.collect();
        joulestep(&words.iter().map(String::as_str).collect::<Vec<_>>())
    }

    /// Exit code and what is told as JSON.
    pub fn json(&self, words: &[&str]) -> (i32, Value) {
        let done = self.ask(&[words, &["--json"]].concat());
        let json =
            serde_json::from_str(&done.out).unwrap_or_else(|e| panic!("{e}: {}{}", done.out, done.err));
        (done.code, json)
    }

    /// The program must end with this code and say why.
    pub fn refuses(&self, code: i32, words: &[&str], why: &str) {
        let done = self.ask(words);
        let report = done.out + &done.err;
        assert_eq!(done.code, code, "{words:?}: {report}");
        assert!(report.contains(why), "{words:?}: {report}");
    }
}

/// 10 V onto 1 kΩ and 1 µF from zero (10·(1 − e⁻²) V after 2 ms), with what a test needs appended.
pub fn rc(more: &str) -> String {
    format!(
        "format = 2\ntitle = \"RC\"\n\
         [[component]]\nname = \"supply\"\nkind = \"voltage-source\"\npins = [\"in\", \"gnd\"]\nvalue = \"10 V\"\n\
         [[component]]\nname = \"R1\"\nkind = \"resistor\"\npins = [\"in\", \"out\"]\nresistance = \"1 kohm\"\n\
         [[component]]\nname = \"C1\"\nkind = \"capacitor\"\npins = [\"out\", \"gnd\"]\n\
         capacitance = \"1 uF\"\ninitial-voltage = \"0 V\"\n{more}"
    )
}

/// A package file: a die on a slug, few cells, its bottom cooled by a film, W/(m²·K).
pub fn die_on_a_slug(film: f64) -> String {
    SLUG.replace("FILM", &format!("{film} W/(m^2 K)"))
}

const SLUG: &str = r#"
format = 1
title = "Die on a slug"
temperature = "100 degC"

[[layer]]
name = "die"
material = "silicon"
length = "4 mm"
width = "4 mm"
thickness = "0.2 mm"
heated-depth = "10 um"

[[layer]]
name = "slug"
material = "copper"
length = "8 mm"
width = "8 mm"
thickness = "1 mm"

[[cooling]]
layer = "slug"
face = "bottom"
kind = "convection"
coefficient = "FILM"
boundary = "water"
temperature = "40 degC"
"#;
