//! Verdicts as the program gives them: value, error and limit; waivers; what is not judged; notes; proofs; exit codes.
//! The rule itself, and the precedence of codes, stand in a table in the program (`judge`).

use std::path::Path;

use joulestep::judge::{Ruling, Verdict};
use joulestep::output::result::ResultFile;
use serde_json::Value;

use crate::common::answers::{answer, plus_minus, value};
use crate::common::folder::{Folder, rc};

const RUN: [&str; 6] = ["run", "@s.toml", "--out", "@s.h5", "--force", "--quiet"];

/// A scenario in a folder of its own.
struct Scene(Folder);

fn scene(content: &str) -> Scene {
    Scene(Folder::scenario(content))
}

impl Scene {
    fn run(&self, more: &[&str]) -> (i32, String, String) {
        let done = self.0.ask(&[&RUN, more].concat());
        (done.code, done.out, done.err)
    }

    fn json(&self, more: &[&str]) -> (i32, Value) {
        self.0.json(&[&RUN, more].concat())
    }
}

const COARSE: &str = "[steps]\nend = \"2 ms\"\nbase = \"50 us\"\nvoltage-error = \"1 V\"\n";

fn limited(max: f64) -> Scene {
    scene(&rc(&format!(
        "{COARSE}[[limit]]\nname = \"top\"\nsignal = \"voltage(out)\"\nmax = \"{max:.15} V\"\n"
    )))
}

/// The largest value of the limit's signal, and its ±.
fn found(json: &Value) -> (f64, f64) {
    let limit = answer(json, "limit.top.largest");
    assert_eq!(limit["error_kind"], "within", "{limit}");
    (value(json, "limit.top.largest"), plus_minus(json, "limit.top.largest"))
}

#[test]
fn a_limit_is_kept_or_exceeded_only_by_more_than_the_error() {
    let (code, json) = limited(9.0).json(&[]);
    let (x, e) = found(&json);
    let off = (x - 10.0 * (1.0 - (-2.0f64).exp())).abs();
    println!("{x} V, off by {off:.1e}, ± {e:.1e}");
    assert!(off > 1e-9 && e > 0.5 * off && e < 5.0 * off, "{off:e} {e:e}");
    assert_eq!((code, &json["verdict"]), (0, &Value::from("passes")));
    for (max, expected, verdict, ruling) in [
        (x + 1.5 * e, 0, "passes", "kept"),
        (x + 0.5 * e, 5, "not proven", "not proven"),
        (x - 0.5 * e, 5, "not proven", "not proven"),
        (x - 1.5 * e, 1, "fails", "EXCEEDED"),
    ] {
        let scene = limited(max);
        let (code, json) = scene.json(&[]);
        assert_eq!((code, &json["verdict"]), (expected, &Value::from(verdict)), "{max}");
        assert_eq!(answer(&json, "limit.top.largest")["ruling"], ruling);
        // The file says the same.
        let file = ResultFile::open(Path::new(&scene.0.path("s.h5"))).expect("a result file");
        let summary = file.summary().unwrap().expect("a summary");
        assert_eq!(summary.verdict(), Verdict::of_word(verdict).unwrap());
        let scalar = summary.answers.iter().find(|s| s.name == "limit.top.largest").unwrap();
        let kept = scalar.error.plus_minus().expect("an estimate");
        assert!((kept / e - 1.0).abs() < 1e-12 && scalar.error.word() == "within", "{:?}", scalar.error);
        assert_ne!(scalar.ruling, Ruling::NotJudged);
    }
    // Without an estimate a value is judged as it stands, and the verdict says so.
    let (code, text, _) = limited(x + 0.5 * e).run(&["--no-estimate"]);
    assert_eq!(code, 0);
    assert!(text.contains("verdict: passes, without error estimate"), "{text}");
}

/// What the coarser runs cost, as a share of the run.
fn cost(json: &Value, what: &str) -> f64 {
    let of = |key: &str| json["computation"][key].as_f64().unwrap();
    of(&format!("{what}_of_estimate")) / of(what)
}

/// Steps √2 and 2 times as long: 1/√2 + 1/2 of the run where steps follow their bounds.
#[test]
fn an_estimate_costs_little_more_than_the_run() {
    let fine = COARSE.replace("50 us", "2 us").replace("1 V", "1 mV");
    let (_, json) =
        scene(&rc(&format!("{fine}[[limit]]\nsignal = \"voltage(out)\"\nmax = \"9 V\"\n"))).json(&[]);
    println!("steps {:.2}, iterations {:.2}", cost(&json, "steps"), cost(&json, "iterations"));
    assert!(cost(&json, "steps") <= 1.25 && cost(&json, "iterations") <= 1.25);
}

#[test]
fn a_proof_refines_until_the_number_stands_still() {
    let (_, json) = limited(9.0).json(&[]);
    let (x, e) = found(&json);
    // Too near for the run as it stands; two rounds are enough.
    let near = limited(x.max(10.0 * (1.0 - (-2.0f64).exp())) + 0.3 * e);
    assert_eq!(near.json(&[]).0, 5);
    let (code, json) = near.json(&["--prove"]);
    assert_eq!((code, &json["verdict"]), (0, &Value::from("passes")), "{json:#}");
    let notes = json["notes"].as_array().unwrap();
    assert!(notes.iter().any(|n| n.as_str().unwrap().contains("2 rounds")), "{notes:?}");
}

/// A diode on 100 V reverse, or 30 A forward, with what a test needs.
fn diode(volts: &str, own: &str, more: &str) -> Scene {
    scene(&format!(
        "format = 2\n\
         [[component]]\nname = \"supply\"\nkind = \"voltage-source\"\npins = [\"in\", \"gnd\"]\nvalue = \"{volts}\"\n\
         [[component]]\nname = \"R1\"\nkind = \"resistor\"\npins = [\"in\", \"k\"]\nresistance = \"1 ohm\"\n\
         [[component]]\nname = \"D1\"\nkind = \"diode\"\npins = [\"k\", \"gnd\"]\nsaturation-current = \"1 nA\"\n\
         leakage-conductance = \"1 nS\"\n{own}\n\
         [steps]\nend = \"1 ms\"\nbase = \"10 us\"\n{more}"
    ))
}

const CHAIN: &str = "[[thermal.boundary]]\nname = \"sink\"\ntemperature = \"25 degC\"\n\
    [[thermal.chain]]\nname = \"die\"\nkind = \"foster\"\nend = \"sink\"\n\
    resistance = [\"40 K/W\"]\ntime-constant = [\"1 ms\"]\n";

#[test]
fn ratings_count_and_can_be_waived_by_name() {
    let rated = "rated-voltage = \"60 V\"\nbreakdown-voltage = \"150 V\"";
    let (code, text, _) = diode("-100 V", rated, "").run(&[]);
    assert_eq!(code, 1, "{text}");
    assert!(text.contains("EXCEEDED") && text.contains("verdict: fails"), "{text}");
    let waiver = |name: &str| format!("[[waiver]]\nrating = \"{name}\"\nreason = \"a test of the clamp\"\n");
    let scene = diode("-100 V", rated, &waiver("D1.voltage"));
    let (code, text, _) = scene.run(&[]);
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("waived: a test of the clamp"), "{text}");
    let report = scene.0.ask(&["report", "@s.h5", "-o", "@s.md"]);
    assert_eq!(report.code, 0, "{}", report.err);
    let report = std::fs::read_to_string(scene.0.path("s.md")).expect("a report");
    assert!(report.contains("a test of the clamp"), "{report}");
    // Names that do not exist are errors with a suggestion; limits of the scenario cannot be waived.
    let (code, _, err) = diode("-100 V", rated, &waiver("D1.volage")).run(&[]);
    assert_eq!(code, 2);
    assert!(err.contains("there is no rating `D1.volage`") && err.contains("D1.voltage"), "{err}");
    let limit = "[[limit]]\nname = \"mine\"\nsignal = \"voltage(k)\"\nmax = \"1 V\"\n";
    let (code, _, err) = diode("-100 V", rated, &format!("{limit}{}", waiver("mine"))).run(&[]);
    assert_eq!(code, 2);
    assert!(err.contains("sets itself"), "{err}");
    // A waiver that nothing needs is noted.
    let (code, text, _) = diode("-50 V", rated, &format!("{limit}{}", waiver("D1.voltage"))).run(&[]);
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("was not needed"), "{text}");
}

#[test]
fn a_die_with_loss_and_no_heat_path_is_not_judged_and_nothing_is_proven() {
    let limit = "[[limit]]\nsignal = \"voltage(k)\"\nmax = \"10 V\"\n";
    let (code, text, _) = diode("30 V", "", limit).run(&[]);
    assert_eq!(code, 5, "{text}");
    assert!(text.contains("`D1.diode.temperature` is not judged"), "{text}");
    let waiver = "[[waiver]]\nrating = \"D1.diode.temperature\"\nreason = \"stands for a bridge\"\n";
    assert_eq!(diode("30 V", "", &format!("{limit}{waiver}")).run(&[]).0, 0);
    // Without loss there is nothing to judge.
    assert_eq!(diode("-30 V", "", limit).run(&[]).0, 0);
}

/// 40 K/W and about 20 W: far beyond 175 °C. With the rating waived, the law still is not known there.
#[test]
fn a_law_outside_its_range_may_fail_but_never_passes() {
    let heat = "heat = \"die\"";
    assert_eq!(diode("30 V", heat, CHAIN).run(&[]).0, 1);
    let waiver = "[[waiver]]\nrating = \"D1.diode.temperature\"\nreason = \"a test\"\n";
    let limit = "[[limit]]\nsignal = \"voltage(k)\"\nmax = \"10 V\"\n";
    let (code, json) = diode("30 V", heat, &format!("{CHAIN}{waiver}{limit}")).json(&[]);
    assert_eq!((code, &json["verdict"]), (5, &Value::from("not proven")), "{json:#}");
    let doubt = json["doubts"][0].as_str().unwrap();
    assert!(doubt.starts_with("`D1.diode.temperature` reaches"), "{doubt}");
    let since = doubt.split(" from ").nth(1).and_then(|t| t.strip_suffix(" on")).unwrap();
    let since = joulestep_engine::units::in_unit(&since.replace('\u{b5}', "u"), "s").unwrap();
    assert!(since > 1e-5 && since < 5e-4, "{doubt}");
    assert_eq!(answer(&json, "limit.voltage(k).largest")["within_range"], false);
    // It may fail.
    let low = "[[limit]]\nsignal = \"voltage(k)\"\nmax = \"0.1 V\"\n";
    assert_eq!(diode("30 V", heat, &format!("{CHAIN}{waiver}{low}")).run(&[]).0, 1);
    // Blocking voltage beyond the rated one, without breakdown data: the law blocks any voltage.
    let waiver = "[[waiver]]\nrating = \"D1.voltage\"\nreason = \"a test\"\n";
    let (code, text, _) = diode("-100 V", "rated-voltage = \"60 V\"", &format!("{waiver}{limit}")).run(&[]);
    assert_eq!(code, 5, "{text}");
    let words: Vec<&str> = text.split_whitespace().collect();
    assert!(words.join(" ").contains("no number is to be trusted"), "{text}");
}

#[test]
fn check_and_run_note_the_same() {
    let limit = "[[limit]]\nsignal = \"voltage(out)\"\nmax = \"9 V\"\n";
    let stray = "[[component]]\nname = \"R2\"\nkind = \"resistor\"\npins = [\"out\", \"gdn\"]\nresistance = \"1 Mohm\"\n";
    let loose = scene(&rc(&format!("{stray}{COARSE}{limit}")));
    let output_of = |scene: &Scene, words: &str| {
        let check = scene.0.ask(&["check", "@s.toml"]);
        assert!(check.out.contains(words), "{}{}", check.out, check.err);
    };
    output_of(&loose, "only one pin touches node `gdn`");
    let (code, text, _) = loose.run(&[]);
    assert_eq!(code, 5, "{text}");
    assert!(text.contains("only one pin touches node `gdn`"), "{text}");
    let waiver = "[[waiver]]\nrating = \"node.gdn\"\nreason = \"a probe\"\n";
    assert_eq!(scene(&rc(&format!("{stray}{COARSE}{limit}{waiver}"))).run(&[]).0, 0);
    // Work that nobody means.
    output_of(&scene(&rc("[steps]\nend = \"54000 s\"\nbase = \"1 ns\"\n")), "about 5.4e13 steps");
    let pwm =
        "[[controller]]\nname = \"m\"\nkind = \"pwm\"\noutput = \"x\"\nfrequency = \"1e13 Hz\"\nduty = 0.5\n";
    output_of(&scene(&rc(&format!("{COARSE}{pwm}"))), "steps are to be expected");
    let hot = COARSE.replace("[steps]\n", "[steps]\ncoupling = \"1 fs\"\n");
    output_of(&scene(&rc(&format!("{hot}{CHAIN}"))), "heat is to be coupled every 1 fs");
    // A drive beyond the gate's limit.
    let drive = "[[component]]\nname = \"Q1\"\nkind = \"mosfet\"\npart = \"mosfet-sic-700v-12m\"\npins = [\"out\", \"g\", \"gnd\"]\n\
        [[drive]]\nname = \"d\"\ngate = \"g\"\nreturn = \"gnd\"\ncommand = \"x\"\non = \"40 V\"\noff = \"0 V\"\non-resistance = \"5 ohm\"\n\
        [[event]]\nat = \"1 ms\"\nwhat = \"line-on\"\nline = \"x\"\n";
    output_of(&scene(&rc(&format!("{drive}{COARSE}"))), "drive `d` drives the gate of `Q1` to 40.0 V");
}

/// RLC ringing under bounds far below what the finest step can keep: the run says so, and a bare value proves nothing.
#[test]
fn a_run_that_stalls_at_its_finest_step_says_so() {
    let ringing = "format = 2\n\
        [[component]]\nname = \"supply\"\nkind = \"voltage-source\"\npins = [\"in\", \"gnd\"]\nvalue = \"10 V\"\n\
        [[component]]\nname = \"L1\"\nkind = \"inductor\"\npins = [\"in\", \"out\"]\ninductance = \"10 uH\"\nseries-resistance = \"2 ohm\"\ninitial-current = \"0 A\"\n\
        [[component]]\nname = \"C1\"\nkind = \"capacitor\"\npins = [\"out\", \"gnd\"]\ncapacitance = \"1 uF\"\ninitial-voltage = \"0 V\"\n\
        [steps]\nend = \"50 us\"\nbase = \"1 us\"\nfinest = \"1 us\"\nvoltage-error = \"1 uV\"\ncurrent-error = \"1 uA\"\nmethod = \"tr-bdf2\"\n\
        [[limit]]\nsignal = \"voltage(out)\"\nmax = \"30 V\"\n";
    let scene = scene(ringing);
    let (code, json) = scene.json(&["--no-estimate"]);
    assert!(value(&json, "stalled") > 10.0 && value(&json, "stalled_by") > 100.0, "{json:#}");
    assert_eq!((code, &json["verdict"]), (5, &Value::from("not proven")));
    let (_, text, _) = scene.run(&[]);
    assert!(text.contains("at the finest step the error bound was exceeded by up to"), "{text}");
}

/// The main job, frozen with its parts: the verdict is "passes", every judged number keeps its bound by several times
/// its error.
#[test]
fn a_breaker_passes_with_margins_that_dwarf_its_errors() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/verdicts/breaker.toml");
    let (code, json) = Folder::new(&[]).json(&["run", path, "--out", "@b.h5"]);
    assert_eq!((code, &json["verdict"]), (0, &Value::from("passes")));
    for limit in json["answers"].as_array().expect("answers") {
        for bound in ["minimum", "maximum"] {
            let Some(bound) = limit[bound].as_f64() else { continue };
            let margin = (limit["value"].as_f64().expect("a number") - bound).abs();
            let error = limit["error"].as_f64().expect("an estimate");
            println!("{}: margin {margin:.3}, ± {error:.3}", limit["name"]);
            assert!(margin > 3.0 * error, "{limit}");
        }
    }
    // 1/√2 + 1/2, as where base steps or bounds decide. Here windows after 674 edges do too, whose steps grow from the
    // finest one and shrink again towards the controller's level: these hardly become fewer in coarser runs.
    println!("cost: steps {:.2}, iterations {:.2}", cost(&json, "steps"), cost(&json, "iterations"));
    assert!(cost(&json, "steps") < 1.3 && cost(&json, "iterations") < 1.3);
}
