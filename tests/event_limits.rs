//! Limits on what happens in a run against closed forms: I²t and clearing time of a fault of constant di/dt, trips, the
//! heat of a resistor's pulse, the time above a temperature; in lanes and alone; where nothing happens; wrong ones.

use std::fs;
use std::path::Path;

use joulestep::output::result::ResultFile;
use serde_json::Value;

use crate::common::program::joulestep;

/// From a fault at 1 ms the current rises by 4 A/µs to 400 A at 1.1 ms and falls as fast to nothing at 1.2 ms.
const FAULT: &str = r#"
format = 2
[[component]]
name = "source"
kind = "current-source"
pins = ["gnd", "a"]
points = [["0 s", "0 A"], ["1 ms", "0 A"], ["1.1 ms", "400 A"], ["1.2 ms", "0 A"]]
[[component]]
name = "R1"
kind = "resistor"
pins = ["a", "b"]
resistance = "1 ohm"
[[component]]
name = "shunt"
kind = "resistor"
pins = ["b", "gnd"]
resistance = "1 mohm"
[[protection]]
name = "overcurrent"
kind = "level"
watches = "R1.current"
threshold = "200 A"
trip = "trip"
[[event]]
at = "1 ms"
what = "note"
note = "short circuit"
fault = true
[steps]
end = "1.5 ms"
base = "10 us"
"#;

const LIMITS: &str = r#"
[[limit]]
name = "must-trip"
kind = "trips"
protection = "overcurrent"
min = 1
[[limit]]
name = "quiet-start"
kind = "trips"
protection = "overcurrent"
to = "0.9 ms"
max = 0
[[limit]]
kind = "retries"
protection = "overcurrent"
max = 0
[[limit]]
name = "cleared"
kind = "clearing-time"
protection = "overcurrent"
max = "195.5 us"
[[limit]]
name = "let-through"
kind = "let-through"
protection = "overcurrent"
max = "10.67 A^2 s"
[[limit]]
name = "of-shunt"
kind = "let-through"
protection = "overcurrent"
signal = "shunt.current"
max = "11 A^2 s"
[[limit]]
name = "pulse"
kind = "energy"
component = "R1"
from = "1.05 ms"
to = "1.15 ms"
max = "10 J"
[[limit]]
name = "high"
kind = "time-above"
signal = "R1.current"
level = "300 A"
max = "60 us"
"#;

struct Ran {
    code: i32,
    json: Value,
    text: String,
    folder: tempfile::TempDir,
}

fn ran(content: &str) -> Ran {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    fs::write(path("s.toml"), content).unwrap();
    let args = ["run", &path("s.toml"), "--out", &path("s.h5"), "--quiet", "--force"];
    let json = joulestep(&[&args[..], &["--json"]].concat());
    let text = joulestep(&args);
    assert_eq!(json.code, text.code, "{}{}", json.err, text.err);
    let json = serde_json::from_str(&json.out).unwrap_or_else(|e| panic!("{e}: {}{}", json.out, json.err));
    Ran { code: text.code, json, text: text.out, folder }
}

impl Ran {
    fn limit(&self, name: &str) -> &Value {
        let all = self.json["answers"].as_array().unwrap();
        let own = |a: &&Value| a["name"].as_str().unwrap().starts_with(&format!("limit.{name}."));
        all.iter().find(own).unwrap_or_else(|| panic!("{name}: {all:?}"))
    }

    /// The value that a limit bounds and its ±.
    fn found(&self, name: &str) -> (f64, f64) {
        let l = self.limit(name);
        (l["value"].as_f64().unwrap(), l["error"].as_f64().unwrap())
    }
}

/// Within the stated error, and that error no more than a share of the value.
fn holds(what: &str, (found, error): (f64, f64), exact: f64, share: f64) {
    let off = (found - exact).abs();
    println!("{what}: {found} ± {error:.1e}, exactly {exact}, off by {off:.1e}");
    assert!(
        off <= error + 1e-9 * exact.abs() && error <= share * exact.abs(),
        "{what}: {found} {exact} {error}"
    );
}

/// ∫ of a square of a straight line from a to b over h, the closed form h·(a² + a·b + b²)/3; from zero k²·t³/3.
fn square(a: f64, b: f64, h: f64) -> f64 {
    h * (a * a + a * b + b * b) / 3.0
}

/// I²t from the start of a fault until it is cleared: IEC 60269-1 defines the operating I²t of a fuse so, over
/// pre-arcing and arcing time; here the current is below a tenth of the threshold at the end.
#[test]
fn a_fault_of_constant_slope_has_its_closed_forms() {
    let run = ran(&format!("{FAULT}{LIMITS}"));
    assert_eq!((run.code, run.json["verdict"].as_str().unwrap()), (0, "passes"), "{}", run.text);
    // Down to 20 A: 95 µs after the peak.
    holds("clearing time", run.found("cleared"), 195e-6, 1e-3);
    let rise = 4e6f64.powi(2) * 1e-4f64.powi(3) / 3.0;
    let whole = rise + square(400.0, 20.0, 95e-6);
    holds("I²t", run.found("let-through"), whole, 1e-3);
    holds("I²t of the shunt", run.found("of-shunt"), whole, 1e-3);
    holds("heat", run.found("pulse"), 2.0 * square(200.0, 400.0, 50e-6), 1e-3);
    holds("time above", run.found("high"), 50e-6, 1e-3);
    assert_eq!(run.found("must-trip"), (1.0, 0.0));
    assert_eq!(run.found("quiet-start"), (0.0, 0.0));
    assert_eq!(run.found("overcurrent.retries"), (0.0, 0.0));
    assert_eq!(run.limit("cleared")["limit_kind"], "clearing-time");
    assert_eq!(run.limit("cleared")["occurrence"], "happened");
    // The same in the file, typed.
    let file = ResultFile::open(&run.folder.path().join("s.h5")).unwrap();
    let summary = file.summary().unwrap().unwrap();
    let scalar = summary.answers.iter().find(|s| s.name == "limit.let-through.largest").unwrap();
    let limited = scalar.limited.as_ref().unwrap();
    assert_eq!((limited.limit.name.as_str(), limited.limit.of.word()), ("let-through", "let-through"));
    assert!(limited.limit.by_user() && limited.limit.bounds.upper == 10.67 && scalar.unit == "A^2 s");
}

/// What is not over, or never happens, is no silence.
#[test]
fn what_does_not_happen_fails_or_is_not_proven() {
    let with = |threshold: &str, end: &str| {
        let changed = FAULT.replace("200 A", threshold).replace("1.5 ms", end);
        ran(&format!("{changed}{LIMITS}"))
    };
    // Never reached: it must trip, and the fault is never cleared.
    let run = with("500 A", "1.5 ms");
    assert_eq!(run.code, 1);
    assert_eq!(run.limit("must-trip")["ruling"], "EXCEEDED");
    assert_eq!(run.limit("cleared")["occurrence"], "open");
    // 500 µs since the fault are more than 195.5 µs already.
    assert_eq!(run.limit("cleared")["ruling"], "EXCEEDED");
    assert_eq!(run.limit("quiet-start")["ruling"], "kept");
    assert!(run.text.contains("not cleared at the end of the run"), "{}", run.text);
    // The run ends during the fault: nothing is shown yet, whatever the numbers so far.
    let run = with("200 A", "1.15 ms");
    assert_eq!(run.limit("cleared")["ruling"], "not proven");
    assert_eq!(run.limit("let-through")["ruling"], "not proven");
    assert_eq!(run.limit("must-trip")["ruling"], "kept");
    assert_eq!(run.code, 5);
    // No fault starts in the interval.
    let late = LIMITS.replace("max = \"195.5 us\"", "max = \"195.5 us\"\nfrom = \"1.2 ms\"");
    let run = ran(&format!("{FAULT}{late}"));
    assert_eq!(run.limit("cleared")["ruling"], "not proven");
    assert_eq!(run.limit("cleared")["occurrence"], "never");
    assert_eq!(run.code, 5);
    assert!(run.text.contains("no fault starts in the interval"), "{}", run.text);
    let page = run.folder.path().join("r.md").to_str().unwrap().to_string();
    let file = run.folder.path().join("s.h5").to_str().unwrap().to_string();
    assert_eq!(joulestep(&["report", &file, "-o", &page]).code, 0);
    let page = fs::read_to_string(page).unwrap();
    assert!(page.contains("no fault starts in the interval"), "{page}");
}

/// 10 W into R and C: T − T₀ = P·R·(1 − e^(−t/RC)), so the time above half the final rise is the run less RC·ln 2.
#[test]
fn the_time_above_a_temperature_of_an_rc_network() {
    let content = r#"
format = 2
[[component]]
name = "supply"
kind = "voltage-source"
pins = ["a", "gnd"]
value = "10 V"
[[component]]
name = "R1"
kind = "resistor"
pins = ["a", "gnd"]
resistance = "10 ohm"
heat = "body"
[[thermal.boundary]]
name = "air"
temperature = "25 degC"
[[thermal.chain]]
name = "body"
kind = "foster"
end = "air"
resistance = ["5 K/W"]
time-constant = ["1 ms"]
[steps]
end = "2 ms"
base = "20 us"
[[limit]]
name = "hot"
kind = "time-above"
signal = "temperature(body)"
level = "50 degC"
max = "1.4 ms"
[[limit]]
name = "hot-later"
kind = "time-above"
signal = "temperature(body)"
level = "50 degC"
from = "1 ms"
max = "1.1 ms"
"#;
    let run = ran(content);
    assert_eq!(run.code, 0, "{}", run.text);
    holds("time above 50 °C", run.found("hot"), 2e-3 - 1e-3 * 2f64.ln(), 1e-2);
    holds("from 1 ms on", run.found("hot-later"), 1e-3, 1e-3);
}

/// Eight variants that trip at other instants, or not at all, in lanes and alone: the same rulings and, within their
/// errors, the same numbers; and a search for the threshold that just clears in time.
#[test]
fn unlike_variants_judge_alike_alone_and_in_lanes() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    fs::write(path("s.toml"), format!("{FAULT}{LIMITS}")).unwrap();
    let thresholds = [100.0, 150.0, 199.0, 205.0, 250.0, 350.0, 390.0, 450.0];
    let plan = format!(
        "format = 2\nscenario = \"s.toml\"\n[sampling]\nkind = \"grid\"\n[[vary]]\nname = \"threshold\"\n\
         value = \"protection.overcurrent.threshold\"\nkind = \"values\"\nvalues = {:?}\n",
        thresholds.map(|x| format!("{x} A"))
    );
    fs::write(path("plan.toml"), plan).unwrap();
    let table = |lanes: &str| {
        let (csv, out) = (path(&format!("{lanes}.csv")), path(&format!("{lanes}.h5")));
        let done = joulestep(&[
            "batch",
            &path("plan.toml"),
            "--out",
            &out,
            "--csv",
            &csv,
            "--quiet",
            "--lanes",
            lanes,
        ]);
        assert_eq!(done.code, 1, "{}{}", done.out, done.err);
        crate::batch::program::cells(Path::new(&csv))
    };
    let ((header, alone), (_, together)) = (table("1"), table("8"));
    let column =
        |name: &str| header.iter().position(|h| h == name).unwrap_or_else(|| panic!("{name}: {header:?}"));
    let number = |row: &[String], name: &str| row[column(name)].parse::<f64>().unwrap_or(f64::NAN);
    for (k, threshold) in thresholds.into_iter().enumerate() {
        let n = header.len();
        println!("{threshold} A: {} {}", alone[k][n - 2], together[k][n - 2]);
        assert_eq!(alone[k][n - 2], together[k][n - 2], "{threshold} A");
        let trips = f64::from(u8::from(threshold < 400.0));
        // A tenth of the threshold on the way down.
        let cleared = if threshold < 400.0 { 200e-6 - 0.1 * threshold / 4e6 } else { 500e-6 };
        let down = if threshold < 400.0 { 0.1 * threshold } else { 0.0 };
        let i2t = square(0.0, 400.0, 1e-4) + square(400.0, down, (400.0 - down) / 4e6);
        for row in [&alone[k], &together[k]] {
            assert_eq!(number(row, "limit.must-trip.least"), trips);
            for (name, exact) in
                [("limit.cleared.largest [s]", cleared), ("limit.let-through.largest [A^2 s]", i2t)]
            {
                let found = number(row, name);
                assert!((found / exact - 1.0).abs() < 1e-6, "{threshold} A {name}: {found} for {exact}");
            }
        }
        let expected = match threshold {
            // Above 180 A it clears within 195.5 µs; above 400 A nothing trips.
            x if !(180.0..=400.0).contains(&x) => "fails",
            _ => "passes",
        };
        assert_eq!(alone[k][n - 2], expected, "{threshold} A");
    }
    let search = "format = 2\nscenario = \"s.toml\"\n[sampling]\nkind = \"grid\"\n[[vary]]\nname = \"shunt\"\n\
                  value = \"component.shunt.resistance\"\nkind = \"values\"\nvalues = [\"1 mohm\"]\n\
                  [search]\nname = \"threshold\"\nvalue = \"protection.overcurrent.threshold\"\n\
                  lower = \"100 A\"\nupper = \"300 A\"\nlimit = \"cleared\"\ntolerance = 1e-6\n";
    fs::write(path("search.toml"), search).unwrap();
    let csv = path("search.csv");
    let done =
        joulestep(&["batch", &path("search.toml"), "--out", &path("search.h5"), "--csv", &csv, "--quiet"]);
    assert!(done.code <= 1, "{}{}", done.out, done.err);
    let (header, rows) = crate::batch::program::cells(Path::new(&csv));
    let k = header.iter().position(|h| h == "threshold [A]").unwrap();
    let found: f64 = rows[0][k].parse().unwrap();
    assert!((found / 180.0 - 1.0).abs() < 1e-4, "{found}");
}

/// Eight variants in the lanes of one run, which differ in the level of a time above it and in the current that makes the
/// let-through: each has the closed form of its own.
#[test]
fn variants_in_lanes_have_closed_forms_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    // A branch beside the shunt takes a share of the current that differs from variant to variant.
    let beside = "[[component]]\nname = \"beside\"\nkind = \"resistor\"\npins = [\"b\", \"gnd\"]\nresistance = \"1 mohm\"\n";
    let limits = LIMITS.replace("max = \"11 A^2 s\"", "max = \"4 A^2 s\"");
    fs::write(path("s.toml"), format!("{FAULT}{beside}{limits}")).unwrap();
    let levels = [50.0, 100.0, 150.0, 200.0, 250.0, 300.0, 350.0, 390.0];
    let milliohms = [0.1, 0.2, 0.4, 0.5, 0.8, 1.0, 2.0, 4.0];
    let rows: Vec<String> = levels.iter().zip(milliohms).map(|(l, r)| format!("{l} A,{r} mohm")).collect();
    fs::write(path("list.csv"), format!("level,beside\n{}\n", rows.join("\n"))).unwrap();
    let column = |name: &str, value: &str| {
        format!("[[vary]]\nname = \"{name}\"\nvalue = \"{value}\"\nkind = \"column\"\ncolumn = \"{name}\"\n")
    };
    let head = "format = 2\nscenario = \"s.toml\"\n[sampling]\nkind = \"list\"\nfile = \"list.csv\"\n";
    let varied =
        [column("level", "limit.high.level"), column("beside", "component.beside.resistance")].concat();
    fs::write(path("plan.toml"), format!("{head}{varied}")).unwrap();
    for lanes in ["1", "8"] {
        let (csv, out) = (path("t.csv"), path("t.h5"));
        let args =
            ["batch", &path("plan.toml"), "--out", &out, "--csv", &csv, "--quiet", "--force", "--json"];
        let done = joulestep(&[&args[..], &["--lanes", lanes]].concat());
        assert_eq!(done.code, 1, "{}{}", done.out, done.err);
        let report: Value = serde_json::from_str(&done.out).unwrap();
        assert_eq!(report["lanes"]["in_lanes"], if lanes == "1" { 0 } else { 8 }, "{}", report["lanes"]);
        let (header, rows) = crate::batch::program::cells(Path::new(&csv));
        let at = |name: &str| {
            header.iter().position(|h| h == name).unwrap_or_else(|| panic!("{name}: {header:?}"))
        };
        for ((row, level), r) in rows.iter().zip(levels).zip(milliohms) {
            let number = |name: &str| row[at(name)].parse::<f64>().unwrap();
            let share = r / (1.0 + r);
            let i2t = share * share * (square(0.0, 400.0, 1e-4) + square(400.0, 20.0, 95e-6));
            for (name, exact) in [
                ("limit.high.largest [s]", 2.0 * (400.0 - level) / 4e6),
                ("limit.of-shunt.largest [A^2 s]", i2t),
                ("limit.let-through.largest [A^2 s]", square(0.0, 400.0, 1e-4) + square(400.0, 20.0, 95e-6)),
            ] {
                let found = number(name);
                assert!((found / exact - 1.0).abs() < 1e-6, "{lanes} {level} A {name}: {found} for {exact}");
            }
            // 60 µs above the level, 4 A²s through the shunt.
            let kept = 2.0 * (400.0 - level) / 4e6 < 60e-6 && i2t < 4.0;
            let verdict = &row[header.len() - 2];
            assert_eq!(verdict, if kept { "passes" } else { "fails" }, "{lanes} {level} A");
        }
    }
}
