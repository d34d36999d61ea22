//! Errors and verdicts of the studies `cycle`, `double-pulse` and `mission`: ± against true errors, limits and ratings
//! by the one rule, exit codes. A circuit of ideal switches is solved exactly by pieces (`method = "piecewise"`, held
//! against closed forms elsewhere), so that it tells the true errors of the stepping methods; else a much finer run
//! does.

mod missions;
mod pulses;

use serde_json::Value;

use crate::common::answers::rows;
use crate::common::folder::Folder;

/// Exit code and what a command prints on the scenario of a folder.
pub fn printed(case: &Folder, command: &str, more: &[&str]) -> (i32, String) {
    let done = case.ask(&[&[command, "@s.toml"], more].concat());
    (done.code, done.out + &done.err)
}

pub fn json(case: &Folder, command: &str, more: &[&str]) -> (i32, Value) {
    case.json(&[&[command, "@s.toml"], more].concat())
}

/// Every number with an error that a study tells, by name: value, ± and the word of its kind.
pub fn numbers(report: &Value) -> Vec<(String, f64, Option<f64>)> {
    let mut all: Vec<(String, f64, Option<f64>)> = Vec::new();
    for answer in report["answers"].as_array().into_iter().flatten() {
        let name = answer["name"].as_str().expect("a name");
        if let (Some(x), true) = (answer["value"].as_f64(), answer["error_kind"] != "bare") {
            all.push((name.into(), x, answer["error"].as_f64()));
        }
    }
    for (table, content) in report["tables"].as_object().into_iter().flatten() {
        for (n, row) in content["rows"].as_array().expect("rows").iter().enumerate() {
            for key in row.as_object().expect("a row").keys() {
                let error = format!("{key}_error");
                let estimated = row.get(&error).is_some() && content["units"].get(&error).is_some();
                if let (Some(x), true) = (row[key].as_f64(), estimated) {
                    all.push((format!("{table}.{n}.{key}"), x, row[&error].as_f64()));
                }
            }
        }
    }
    let mut add = |name: String, row: &Value, key: &str| {
        let error = &row[format!("{key}_error")];
        if let (Some(x), true) = (row[key].as_f64(), error.is_object()) {
            all.push((name, x, error["plus_minus"].as_f64()));
        }
    };
    for table in ["switches", "others", "balance", "temperatures", "dies", "ripple", "harmonics", "rows"] {
        for (n, row) in report[table].as_array().into_iter().flatten().enumerate() {
            for key in row.as_object().expect("a row").keys().filter(|k| *k != "coupling") {
                add(format!("{table}.{n}.{key}"), row, key);
            }
        }
    }
    for key in ["input_energy", "output_energy", "losses_energy", "efficiency"] {
        add(key.into(), report, key);
    }
    for limit in report["limits"].as_array().into_iter().flatten() {
        for end in ["least", "largest"] {
            add(format!("{}.{end}", limit["name"].as_str().expect("a name")), limit, end);
        }
    }
    all
}

/// How ± of each number stands to its true error: from half to five times, below half, above; and the least ratio.
/// `known`: a share of its value to which a number's truth is known.
pub fn tally(report: &Value, truth: &Value, known: f64) -> (usize, usize, usize, f64) {
    let (mut good, mut low, mut high, mut least) = (0, 0, 0, f64::INFINITY);
    let exact = numbers(truth);
    for (name, x, error) in numbers(report) {
        let Some((_, exact, _)) = exact.iter().find(|e| e.0 == name) else {
            panic!("{name} is not in the truth")
        };
        let (off, error) = ((x - exact).abs(), error.unwrap_or(f64::NAN));
        if off <= known * exact.abs() {
            continue;
        }
        let ratio = error / off;
        println!("{name:36} {x:12.6e} off {off:8.1e} ± {error:8.1e} {ratio:9.2}");
        least = ratio.min(least);
        match ratio {
            r if r < 0.5 => low += 1,
            r if r > 5.0 => high += 1,
            _ => good += 1,
        }
    }
    println!("{good} from half to five times, {low} below, {high} above; the least {least:.2}");
    (good, low, high, least)
}

/// A limit's largest value and its ±.
pub fn largest(report: &Value, name: &str) -> (f64, f64) {
    if report["answers"].is_array() {
        let ends = [format!("limit.{name}.largest"), format!("rating.{name}.largest")];
        let answers = report["answers"].as_array().expect("answers");
        let found = answers.iter().find(|a| ends.iter().any(|e| a["name"] == e.as_str()));
        let found = found.unwrap_or_else(|| panic!("no {name} in {answers:?}"));
        return (found["value"].as_f64().unwrap(), found["error"].as_f64().unwrap_or(f64::NAN));
    }
    let limits = report["limits"].as_array().expect("limits");
    let limit =
        limits.iter().find(|l| l["name"] == name).unwrap_or_else(|| panic!("no {name} in {limits:?}"));
    (limit["largest"].as_f64().unwrap(), limit["largest_error"]["plus_minus"].as_f64().unwrap_or(f64::NAN))
}

/// What the rule says of a limit above a value with its error: maximum, exit code, verdict.
pub fn around((x, e): (f64, f64)) -> [(f64, i32, &'static str); 3] {
    [(x + 2.0 * e, 0, "passes"), (x + 0.5 * e, 5, "not proven"), (x - 2.0 * e, 1, "fails")]
}

const SINK: &str = "[[thermal.boundary]]\nname = \"sink\"\ntemperature = \"50 degC\"\n";

fn chain(input: &str) -> String {
    format!(
        "[[thermal.chain]]\nname = \"{input}\"\nkind = \"foster\"\nend = \"sink\"\n\
         resistance = [\"0.2 K/W\", \"0.5 K/W\"]\ntime-constant = [\"2 ms\", \"20 ms\"]\n"
    )
}

/// 400 V to 200 V by ideal switches of 20 mΩ at 100 kHz, both heated.
pub fn ideal_buck(steps: &str, more: &str) -> Folder {
    Folder::scenario(&format!(
        "format = 2\n[arrangement]\nkind = \"synchronous-buck\"\nsupply-voltage = \"400 V\"\nfrequency = \"100 kHz\"\n\
         duty = 0.5\ndead-time = \"60 ns\"\nswitch-resistance = \"20 mohm\"\nloop-inductance = \"0 H\"\n\
         choke = \"200 uH\"\ncapacitance = \"20 uF\"\nload-resistance = \"10 ohm\"\n\
         {SINK}{}{}[steps]\nend = \"60 us\"\n{steps}\n{more}",
        chain("upper-switch"),
        chain("lower-switch"),
    ))
}

/// Steps of a method, coarse enough to err.
pub const STEPPED: &str = "base = \"500 ns\"\nfinest = \"125 ns\"\nmethod = \"tr-bdf2\"\nvoltage-error = \"1 V\"\n\
                           current-error = \"100 mA\"";
/// The same solved exactly.
pub const EXACT: &str = "base = \"500 ns\"\nfinest = \"125 ns\"\nmethod = \"piecewise\"";

fn choke_limit(max: f64) -> String {
    format!("[[limit]]\nname = \"choke\"\nsignal = \"choke.current\"\nmax = \"{max:.15} A\"\n")
}

#[test]
fn a_cycle_knows_how_wrong_its_numbers_are() {
    let (_, report) = json(&ideal_buck(STEPPED, &choke_limit(100.0)), "cycle", &[]);
    let (_, exact) = json(&ideal_buck(EXACT, &choke_limit(100.0)), "cycle", &["--closing", "1e-11"]);
    let (good, low, high, least) = tally(&report, &exact, 1e-9);
    assert!(least >= 0.25 && low * 20 <= good + low + high, "{low} below half, the least {least}");
    assert!(good > 5, "{good} good, {high} cautious");
    let count = |what: &str| report["computation"][what].as_f64().unwrap();
    // Coarse steps find the state, those as stated begin there: all together cost no more than a dozen periods.
    let own = rows(&report, "search")[0]["periods"].as_f64().unwrap();
    let cost = |what: &str| own * (1.0 + count(&format!("{what}_of_estimate")) / count(what));
    println!("steps of {:.1} periods, iterations of {:.1}", cost("steps"), cost("iterations"));
    assert!(cost("steps") <= 12.0 && cost("iterations") <= 12.0);
    // Temperatures of a law that does not depend on them: T = T_sink + P·R_th.
    let die = &rows(&exact, "temperatures")[0];
    let (mean, power) = (die["mean"].as_f64().unwrap(), die["power"].as_f64().unwrap());
    assert!((mean - 50.0 - 0.7 * power).abs() < 1e-6, "{die}");
}

#[test]
fn a_cycle_is_judged_by_the_rule() {
    let found = largest(&json(&ideal_buck(STEPPED, &choke_limit(100.0)), "cycle", &[]).1, "choke");
    for (max, code, verdict) in around(found) {
        let case = ideal_buck(STEPPED, &choke_limit(max));
        let (done, report) = json(&case, "cycle", &[]);
        assert_eq!(
            (done, &report["verdict"]),
            (code, &Value::from(verdict)),
            "{max} {found:?}: {}",
            report["limits"]
        );
    }
    let near = ideal_buck(STEPPED, &choke_limit(found.0 + 0.5 * found.1));
    // Without an estimate the value is judged as it stands, and the verdict says so.
    let (code, text) = printed(&near, "cycle", &["--no-estimate"]);
    assert!(code == 0 && text.contains("verdict: passes, without error estimate"), "{text}");
    // Finer steps prove one or the other, with the number of the last round.
    let (code, report) = json(&near, "cycle", &["--prove"]);
    let exact =
        largest(&json(&ideal_buck(EXACT, &choke_limit(100.0)), "cycle", &["--closing", "1e-11"]).1, "choke")
            .0;
    assert_eq!(code, i32::from(exact > found.0 + 0.5 * found.1), "{}", report["answers"]);
    assert!(
        report["notes"].as_array().unwrap().iter().any(|n| n.as_str().unwrap().contains("rounds of finer"))
    );
}

/// The buck of MOSFETs that are rated for `rated`; `heated`: of the two dies.
fn mosfet_buck(rated: &str, heated: &[&str], more: &str) -> Folder {
    let case = Folder::scenario(&format!(
        "format = 2\n[arrangement]\nkind = \"synchronous-buck\"\npart = \"fixture.toml\"\nsupply-voltage = \"400 V\"\n\
         frequency = \"100 kHz\"\nduty = 0.5\ndead-time = \"100 ns\"\ngate-resistance = \"10 ohm\"\n\
         loop-inductance = \"20 nH\"\nchoke = \"200 uH\"\ncapacitance = \"20 uF\"\nload-resistance = \"20 ohm\"\n\
         {SINK}{}[steps]\nend = \"60 us\"\nbase = \"500 ns\"\nfinest = \"0.1220703125 ns\"\n{more}",
        heated.iter().map(|h| chain(h)).collect::<String>(),
    ));
    let part = include_str!("data/study_verdicts/mosfet.toml").replace("750 V", rated);
    std::fs::write(case.path("fixture.toml"), part).expect("written");
    case
}

const BOTH: [&str; 2] = ["upper-mosfet", "lower-mosfet"];

#[test]
fn a_rating_that_a_cycle_exceeds_fails() {
    let case = mosfet_buck("410 V", &BOTH, "");
    let (code, report) = json(&case, "cycle", &[]);
    let (x, e) = largest(&report, "lower.voltage");
    assert!(x - e > 410.0, "{x} ± {e}");
    assert_eq!((code, &report["verdict"]), (1, &Value::from("fails")), "{}", report["answers"]);
    let (_, text) = printed(&case, "cycle", &[]);
    let row = text.lines().find(|l| l.contains("lower.voltage")).expect("a row");
    assert!(row.contains("(rating)") && row.contains("EXCEEDED"), "{text}");
    // The temperatures that the laws were held at, each with where it comes from.
    let (die, mean) =
        (&rows(&report, "junctions")[0], rows(&report, "temperatures")[0]["mean"].as_f64().unwrap());
    assert_eq!((&die["die"], die["temperature"].as_f64()), (&Value::from("upper.mosfet"), Some(mean)));
    assert!((50.0..175.0).contains(&largest(&report, "upper.mosfet.temperature").0));
    // The file says the same.
    let out = case.path("cycle.h5");
    assert_eq!(printed(&case, "cycle", &["--out", &out]).0, 1);
    let study = joulestep::output::answer::Study::read(std::path::Path::new(&out)).expect("a study");
    assert_eq!(study.verdict.map(joulestep::judge::Verdict::word), Some("fails"));
    let rated = study.answers.iter().find(|a| a.name == "rating.lower.voltage.largest").expect("the rating");
    assert_eq!((rated.value, rated.ruling), (x, joulestep::judge::Ruling::Fails));
    let losses = study.tables.iter().find(|t| t.name == "losses").expect("losses");
    assert!(losses.data.heads.iter().any(|h| h.name == "sum_error"), "{:?}", losses.data.heads);
}

#[test]
fn a_cycle_rests_on_its_heat_paths_and_waivers() {
    let (code, report) = json(&mosfet_buck("750 V", &BOTH, ""), "cycle", &[]);
    assert_eq!((code, &report["verdict"]), (0, &Value::from("passes")), "{}", report["answers"]);
    let (code, report) = json(&mosfet_buck("750 V", &BOTH[..1], ""), "cycle", &[]);
    let doubt = report["doubts"][0].as_str().expect("a doubt");
    assert!(code == 5 && doubt.starts_with("`lower.mosfet.temperature`"), "{doubt}");
    assert_eq!(rows(&report, "junctions")[1]["from"], "stated: no heat path");
    let waiver = "[[waiver]]\nrating = \"lower.mosfet.temperature\"\nreason = \"cooled by the busbar\"\n";
    let (code, report) = json(&mosfet_buck("750 V", &BOTH[..1], waiver), "cycle", &[]);
    let printed = report["notes"]
        .as_array()
        .unwrap()
        .iter()
        .any(|n| n.as_str().unwrap().contains("cooled by the busbar"));
    assert!(code == 0 && printed, "{report}");
}
