//! Input that is long, damaged or not meant for this program; outputs that would destroy something; signals.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

use crate::common::folder::Folder;

const HEAD: &str = r#"format = 2
[[component]]
name = "supply"
kind = "voltage-source"
pins = ["n0", "gnd"]
value = "12 V"
[steps]
end = "10 us"
base = "1 us"
"#;

/// Lists in the order of the file, the first fifty.
#[test]
fn many_errors_are_counted_and_the_first_fifty_told() {
    let wrong: String = (0..30_000).map(|k| format!("x{k} = {k}\n")).collect();
    let case = Folder::scenario(&format!("{wrong}{HEAD}"));
    let output = case.ask(&["check", "@s.toml"]);
    assert_eq!(output.code, 2);
    let report = output.err;
    assert_eq!(report.matches("unknown key in the scenario").count(), 50);
    assert!(report.contains(": x49: ") && !report.contains(": x50: "));
    assert!(
        report.ends_with("... and 29950 more\n30000 errors in the scenario\n"),
        "{}",
        &report[report.len() - 200..]
    );
    let (_, json) = case.json(&["check", "@s.toml"]);
    assert_eq!((json["errors"].as_array().map(Vec::len), &json["more"]), (Some(50), &Value::from(29_950)));
    // Names that are not there: the lists of those that are, and suggestions, only where they are reported.
    let limits: String = (0..10_000)
        .map(|k| format!("[[limit]]\nname = \"l{k}\"\nsignal = \"v(x{k})\"\nmax = \"1 V\"\n"))
        .collect();
    let parts: String = (0..2_000)
        .map(|k| format!("[[component]]\nname = \"R{k}\"\nkind = \"resistor\"\npins = [\"n{k}\", \"n{}\"]\nresistance = \"1 ohm\"\n", k + 1))
        .collect();
    let case = Folder::scenario(&format!("{HEAD}{parts}{limits}"));
    case.refuses(2, &["check", "@s.toml"], "10000 errors in the scenario");
}

#[test]
fn long_scenarios_and_chains_of_includes_are_read() {
    let limits: String = (0..10_000)
        .map(|k| format!("[[limit]]\nname = \"l\"\nsignal = \"voltage(n0)\"\nmax = \"{k} V\"\n"))
        .collect();
    let case = Folder::scenario(&format!("{HEAD}{limits}"));
    let output = case.ask(&["check", "@s.toml"]);
    assert!(output.out.contains("10000 limits"), "{}", output.err);
    let last = 3_000;
    for k in 0..=last {
        let include = if k < last { format!("include = [\"f{}.toml\"]\n", k + 1) } else { String::new() };
        let one = format!(
            "{include}[[component]]\nname = \"R{k}\"\nkind = \"resistor\"\npins = [\"n{k}\", \"n{}\"]\nresistance = \"1 ohm\"\n",
            k + 1
        );
        fs::write(case.path(&format!("f{k}.toml")), one).expect("written");
    }
    fs::write(case.path("s.toml"), format!("include = [\"f0.toml\"]\n{HEAD}")).expect("written");
    let output = case.ask(&["check", "@s.toml"]);
    assert!(output.out.contains("3002 components"), "{}", output.err);
}

#[test]
fn files_name_others_in_their_folder_only() {
    let (scenario, secret) = (format!("include = [\"NAME\"]\n{HEAD}"), "hush:x:0:0\npassword = 1\n");
    let with = |name: &str| scenario.replace("NAME", name);
    let files = [
        ("in/near.toml", with("sub/more.toml")),
        ("in/up.toml", with("../more.toml")),
        ("in/sub/more.toml", "title = \"more\"\n".to_string()),
        ("more.toml", "title = \"more\"\n".to_string()),
        ("in/secret.toml", secret.to_string()),
        ("in/shows.toml", with("secret.toml")),
        (
            "in/part.toml",
            format!(
                "{HEAD}[[component]]\nname = \"Q1\"\npart = \"../q.toml\"\npins = [\"n0\", \"gnd\", \"gnd\"]\n"
            ),
        ),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(name, content)| (*name, content.as_str())).collect();
    let case = Folder::new(&files);
    assert_eq!(case.ask(&["check", "@in/near.toml"]).code, 0);
    let outside = "it lies outside the folder of the file given; `--allow-outside DIR` permits another";
    case.refuses(2, &["check", "@in/up.toml"], outside);
    case.refuses(2, &["check", "@in/part.toml"], outside);
    assert_eq!(case.ask(&["check", "@in/up.toml", "--allow-outside", "@"]).code, 0);
    // A place in a file that is none of ours, and not a word of it.
    let output = case.ask(&["check", "@in/shows.toml"]);
    let report = output.err;
    assert!(report.contains("secret.toml:1:") && !report.contains("hush"), "{report}");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("../../more.toml", case.path("in/sub/link.toml")).expect("linked");
        fs::write(case.path("in/near.toml"), with("sub/link.toml")).expect("written");
        case.refuses(2, &["check", "@in/near.toml"], outside);
        let made = Command::new("mkfifo").arg(case.path("in/pipe.toml")).status().expect("mkfifo");
        assert!(made.success());
        fs::write(case.path("in/near.toml"), with("pipe.toml")).expect("written");
        case.refuses(2, &["check", "@in/near.toml"], "it is a pipe or a device");
        case.refuses(2, &["check", "@in/pipe.toml"], "it is a pipe or a device");
        fs::write(case.path("in/near.toml"), with(".")).expect("written");
        case.refuses(2, &["check", "@in/near.toml"], "it is a directory");
    }
}

#[test]
fn a_scenario_that_is_no_text_is_bad_input() {
    let case = Folder::new(&[]);
    fs::write(case.path("s.toml"), b"title = \"\xff\"\n").expect("written");
    case.refuses(2, &["check", "@s.toml"], "not a text file");
    case.refuses(4, &["check", "@none.toml"], "no such file");
}

#[test]
fn outputs_are_neither_inputs_nor_each_other_and_can_be_written() {
    let more = "[[component]]\nname = \"R\"\nkind = \"resistor\"\npins = [\"n0\", \"gnd\"]\nresistance = \"1 ohm\"\n";
    let case = Folder::new(&[("s.toml", &format!("include = [\"more.toml\"]\n{HEAD}")), ("more.toml", more)]);
    let run = |out: &str, code: i32, why: &str| {
        case.refuses(code, &["run", "@s.toml", "--force", "--out", out], why)
    };
    run("@s.toml", 4, "is an input of this command");
    fs::hard_link(case.path("s.toml"), case.path("hard.h5")).expect("linked");
    run("@hard.h5", 4, "is an input of this command");
    // Named by the scenario only: it is not read, and so not replaced.
    run("@more.toml", 2, "--out is to write it");
    run("@none/r.h5", 4, "its folder does not exist");
    run("@", 4, "it is a directory");
    case.refuses(
        4,
        &["parts", "compare", "cascode-700v-22m", "--out", "@a", "--plot", "@a"],
        "a file of its own",
    );
    case.refuses(4, &["batch", "@s.toml", "--out", "@t.h5", "--csv", "@t.h5.journal"], "a file of its own");
    case.refuses(4, &["report", "@s.toml", "-o", "@s.toml", "--force"], "is an input of this command");
    assert_eq!(fs::read_to_string(case.path("more.toml")).expect("read"), more);
}

/// What stands in a comment is a comment, whatever it looks like.
#[test]
fn a_comment_does_not_change_a_report() {
    let scenario = format!("# file: see the folder notes\ntitle = \"Mine\"\n{HEAD}");
    let case = Folder::scenario(&scenario);
    let run = case.ask(&["run", "@s.toml", "--out", "@r.h5", "--quiet"]);
    // Not proven: only one pin touches the node.
    assert_eq!(run.code, 5, "{}", run.err);
    let report = case.ask(&["report", "@r.h5", "-o", "@r.md"]);
    assert!(report.out.starts_with("Mine: "), "{}", report.out);
    let report = fs::read_to_string(case.path("r.md")).expect("read");
    assert!(report.contains("### ") && report.contains("# file: see the folder notes"), "{report}");
    assert!(report.contains("base step 1 \u{b5}s"), "{report}");
}

/// A result file whose axis had bounds that floating point cannot divide.
#[test]
fn a_kept_file_that_broke_the_report_no_longer_does() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/fuzz/corpus/result");
    let case = Folder::new(&[]);
    for file in fs::read_dir(root).expect("the corpus") {
        let file = file.expect("a file").path().display().to_string();
        let code = case.ask(&["report", &file, "-o", "@r.html", "--force"]).code;
        assert!(matches!(code, 0 | 3 | 4), "{file}: {code}");
    }
}

#[cfg(unix)]
mod signals {
    use std::process::Stdio;
    use std::thread::sleep;
    use std::time::{Duration, Instant};

    use joulestep::output::result::ResultFile;

    use super::*;

    /// A capacitor charged through a resistor for longer than anybody waits, a sample each microsecond.
    fn long() -> Folder {
        let more = "[[component]]\nname = \"R\"\nkind = \"resistor\"\npins = [\"n0\", \"n1\"]\nresistance = \"1 ohm\"\n\
                    [[component]]\nname = \"C\"\nkind = \"capacitor\"\npins = [\"n1\", \"gnd\"]\ncapacitance = \"1 uF\"\n\
                    [record]\nsignals = [\"voltage(n1)\"]\n";
        Folder::scenario(&format!("{}{more}", HEAD.replace("10 us", "100 s")))
    }

    /// Whether SIGHUP was ignored before this process began, as by `nohup`: its children then ignore it too.
    fn hangups_are_ignored() -> bool {
        let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
        let mask = status.lines().find_map(|l| l.strip_prefix("SigIgn:")).map(str::trim);
        mask.and_then(|m| u64::from_str_radix(m, 16).ok()).is_some_and(|m| m & 1 == 1)
    }

    /// POSIX numbers the signals; 128 and the number is what a shell makes of them (POSIX.1-2017, Shell & Utilities,
    /// 2.8.2).
    #[test]
    fn whatever_asks_to_stop_closes_the_file() {
        let asking = [("INT", 130), ("TERM", 143), ("HUP", 129)];
        for (signal, code) in asking.into_iter().filter(|s| s.0 != "HUP" || !hangups_are_ignored()) {
            let case = long();
            let mut child = Command::new(env!("CARGO_BIN_EXE_joulestep"))
                .args(["run", &case.path("s.toml"), "--out", &case.path("r.h5"), "--no-estimate"])
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .expect("it starts");
            let began = Instant::now();
            while !Path::new(&case.path("r.h5")).exists() && began.elapsed() < Duration::from_secs(60) {
                sleep(Duration::from_millis(5));
            }
            // Before the first checkpoint.
            sleep(Duration::from_millis(300));
            let sent = Command::new("kill").args([format!("-{signal}"), child.id().to_string()]).status();
            assert!(sent.expect("kill").success());
            assert_eq!(child.wait().expect("it ends").code(), Some(code), "{signal}");
            let file = ResultFile::open(Path::new(&case.path("r.h5"))).expect("it opens");
            assert!(!file.complete() && file.samples() > 100, "{} samples", file.samples());
            assert!(file.summary().expect("read").is_some(), "what was found until then");
        }
    }

    /// Commands at work on fields, fits, cycles, batches: each would go on for seconds or minutes. The program is to end
    /// within a second; the test allows what a busy machine needs.
    #[test]
    fn every_command_ends_when_it_is_asked_to() {
        let case = Folder::new(&[]);
        let lines = [
            "impedance board-700v-7m",
            "rating cascode-700v-7m --on board-700v-7m",
            "cycle examples/ferry-inverter.toml",
            "mission examples/ferry-mission.toml --out @m.h5",
            "batch examples/rating-tolerances.toml --out @b.h5",
            "dead-time cascode-700v-22m --dead-time 40ns,80ns,160ns,320ns --current 5A,10A,20A,40A",
        ];
        let words = |line: &str| -> Vec<String> {
            line.split(' ').map(|w| w.strip_prefix('@').map_or(w.to_string(), |n| case.path(n))).collect()
        };
        let started = lines.iter().map(|line| {
            let child = Command::new(env!("CARGO_BIN_EXE_joulestep"))
                .current_dir(env!("CARGO_MANIFEST_DIR"))
                .args(words(line))
                .env("JOULESTEP_CACHE", "off")
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn();
            (*line, child.expect("it starts"))
        });
        let mut started: Vec<_> = started.collect();
        sleep(Duration::from_millis(300));
        // Who is done by then had nothing to be asked.
        started.retain_mut(|(_, child)| child.try_wait().expect("a child").is_none());
        assert!(started.len() >= 4, "{} of {} are at work", started.len(), lines.len());
        for (_, child) in &started {
            let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
            assert!(sent.expect("kill").success());
        }
        let asked = Instant::now();
        for (line, mut child) in started {
            assert_eq!(child.wait().expect("it ends").code(), Some(130), "{line}");
            assert!(asked.elapsed() < Duration::from_secs(5), "{line}: {:?}", asked.elapsed());
        }
    }

    #[test]
    fn a_limit_on_the_size_of_files_is_an_error_with_words() {
        let case = long();
        let program = env!("CARGO_BIN_EXE_joulestep");
        let within = |blocks: u32, words: &str| {
            let line = format!("ulimit -f {blocks}; exec {program} {words}");
            Command::new("sh").args(["-c", &line]).output().expect("a shell")
        };
        let run = within(
            200,
            &format!("run {} --out {} --quiet --no-estimate", case.path("s.toml"), case.path("r.h5")),
        );
        let told = String::from_utf8_lossy(&run.stderr);
        assert!(run.status.code() == Some(4) && told.contains("File too large"), "{told}");
        let drawn = within(1, &format!("parts compare cascode-700v-22m --plot {}", case.path("p.svg")));
        assert_eq!(drawn.status.code(), Some(4), "{drawn:?}");
        assert!(!Path::new(&case.path("p.svg")).exists());
        // Nothing half made lies about.
        let left = fs::read_dir(case.path(""))
            .expect("read")
            .filter(|e| e.as_ref().is_ok_and(|e| e.file_name().to_string_lossy().ends_with(".part")));
        assert_eq!(left.count(), 0);
    }
}

/// A capacitor of 1 mF stands at 1 kV against ground and carries nothing: CV² is 1 kJ, of which the last place of a double
/// (2⁻⁵²) is 0.2 pJ in each step. All that is turned over is ½V²/R·t = 5 nJ (sine, half a period). That proves nothing.
#[test]
fn a_ledger_that_rounding_opens_proves_nothing() {
    let two = |name: &str, kind: &str, pins: &str, value: &str| {
        format!("[[component]]\nname = \"{name}\"\nkind = \"{kind}\"\npins = {pins}\n{value}\n")
    };
    let parts = [
        two("supply", "voltage-source", r#"["a", "gnd"]"#, "amplitude = \"1 kV\"\nfrequency = \"50 kHz\""),
        two("bleeder", "resistor", r#"["b", "gnd"]"#, "resistance = \"1 Gohm\""),
        two("lead", "resistor", r#"["a", "b"]"#, "resistance = \"0.1 ohm\""),
        two("bank", "capacitor", r#"["b", "c"]"#, "capacitance = \"1 mF\""),
        two("balance", "resistor", r#"["c", "b"]"#, "resistance = \"1 ohm\""),
        two("d", "diode", r#"["gnd", "b"]"#, "saturation-current = \"1e-18 A\""),
    ];
    let rest = "[steps]\nend = \"10 us\"\nbase = \"100 ns\"\n\
                [[limit]]\nname = \"top\"\nsignal = \"voltage(b)\"\nmax = \"2 kV\"\n";
    let case = Folder::scenario(&format!("format = 2\n{}{rest}", parts.concat()));
    let (code, json) = case.json(&["run", "@s.toml", "--no-estimate"]);
    assert_eq!((code, &json["verdict"]), (5, &Value::from("not proven")));
    assert!(json.to_string().contains("the energy ledger does not close"), "{json}");
    let value = |name: &str| {
        let answers = json["answers"].as_array().expect("answers");
        answers.iter().find(|a| a["name"] == name).and_then(|a| a["value"].as_f64()).expect("a number")
    };
    assert!(value("ledger_residual_relative") > 1e-4 && value("stalled") == 0.0);
}
