//! `batch` as a user runs it: closed forms, threads, kills, shards, broken plans, the table from outside.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use joulestep::batch::distribution::normal_cdf;
use serde_json::Value;

use crate::common::program::{Done, joulestep};

/// A source charges a capacitor through a resistor.
const RC: &str = r#"
format = 2
component = [
    { name = "supply", kind = "voltage-source", pins = ["in", "gnd"], value = "1 V" },
    { name = "R1", kind = "resistor", pins = ["in", "out"], resistance = "1 kohm" },
    { name = "C1", kind = "capacitor", pins = ["out", "gnd"], capacitance = "1 uF" },
]
[steps]
end = "8 ms"
base = "20 us"
start = "stated"
[record]
signals = ["voltage(out)"]
[[limit]]
name = "current"
signal = "R1.current"
max = "1.2 mA"
"#;

/// Whether the text says that so many variants ended so.
pub(super) fn ended(text: &str, word: &str, count: usize) -> bool {
    text.lines().any(|l| l.split_whitespace().eq([word, &count.to_string()]))
}

pub(super) struct Folder(tempfile::TempDir);

impl Folder {
    pub(super) fn new(plan: &str) -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        fs::write(folder.path("rc.toml"), RC).unwrap();
        fs::write(folder.path("plan.toml"), format!("format = 2\nscenario = \"rc.toml\"\n{plan}")).unwrap();
        folder
    }
    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    pub(super) fn text(&self, name: &str) -> String {
        self.path(name).to_str().unwrap().to_string()
    }
    pub(super) fn batch(&self, out: &str, more: &[&str]) -> Done {
        let (plan, out) = (self.text("plan.toml"), self.text(out));
        let args: Vec<&str> =
            ["batch", &plan, "--out", &out, "--quiet"].into_iter().chain(more.iter().copied()).collect();
        joulestep(&args)
    }
    pub(super) fn bytes(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap()
    }
}

/// Cells of a CSV without quotes, below its header.
pub fn cells(path: &Path) -> (Vec<String>, Vec<Vec<String>>) {
    let text = fs::read_to_string(path).unwrap();
    let mut lines = text.lines().map(|l| l.split(',').map(str::to_string).collect::<Vec<_>>());
    (lines.next().unwrap(), lines.collect())
}

pub(super) const TOLERANCES: &str = r#"
output = [{ name = "settled", signal = "voltage(out)", measure = "settling-time", target = "1 V", band = "20 mV" }]
[sampling]
kind = "monte-carlo"
variants = 1000
seed = 3
[[vary]]
name = "R"
value = "component.R1.resistance"
kind = "lognormal"
median = "1 kohm"
log-deviation = 0.1
"#;

/// The capacitor's voltage 1 - exp(-t/RC) enters the band of 2 % at RC ln 50, so with a lognormal R that instant is
/// lognormal too. The Kolmogorov-Smirnov distance of n draws stays below 1.63/√n with probability 0.99 (Smirnov 1948).
#[test]
fn settling_times_of_a_tolerance_have_their_closed_distribution() {
    for lanes in ["1", "4", "8"] {
        settling_times(lanes);
    }
}

fn settling_times(lanes: &str) {
    let folder = Folder::new(TOLERANCES);
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv"), "--json", "--lanes", lanes]);
    assert!(done.code <= 1, "{}", done.err);
    let (header, rows) = cells(&folder.path("t.csv"));
    assert_eq!(header[..4], ["variant", "R [ohm]", "settled [s]", "settled.error [s]"]);
    let mut times = Vec::new();
    for row in &rows {
        let (r, t): (f64, f64) = (row[1].parse().unwrap(), row[2].parse().unwrap());
        let exact = r * 1e-6 * 50f64.ln();
        assert!((t / exact - 1.0).abs() < 1e-4, "{r} ohm: {t}, {exact}");
        times.push(t);
    }
    times.sort_by(f64::total_cmp);
    let n = times.len() as f64;
    let median = 1e-3 * 50f64.ln();
    let distance = times.iter().enumerate().map(|(k, t)| {
        let p = normal_cdf((t / median).ln() / 0.1);
        (p - k as f64 / n).abs().max((p - (k + 1) as f64 / n).abs())
    });
    let distance = distance.fold(0.0, f64::max);
    println!("{n} settling times: Kolmogorov-Smirnov distance {distance:.4}, bound {:.4}", 1.63 / n.sqrt());
    assert!(n == 1000.0 && distance < 1.63 / n.sqrt());
    let report: Value = serde_json::from_str(&done.out).unwrap();
    assert_eq!(report["ended"]["done"], 1000);
    assert_eq!(report["lanes"]["in_lanes"], if lanes == "1" { 0 } else { 1000 });
    assert_eq!(report["outputs"][0]["name"], "settled");
    assert_eq!(report["outputs"][0]["percentiles"]["100"], *times.last().unwrap());
    // The current begins at 1 V / R: the limit of 1.2 mA is kept by R above 833.3 ohm.
    let kept = rows.iter().filter(|row| row[1].parse::<f64>().unwrap() >= 1.0 / 1.2e-3).count();
    assert!(report["limits"][0]["kept"]["variants"].as_u64().unwrap().abs_diff(kept as u64) <= 1);
}

#[test]
fn threads_shards_and_kills_leave_the_same_table() {
    let folder = Folder::new(TOLERANCES);
    assert!(folder.batch("one.h5", &["--jobs", "1"]).code <= 1);
    assert!(folder.batch("three.h5", &["--jobs", "3"]).code <= 1);
    let whole = folder.bytes("one.h5");
    assert!(whole == folder.bytes("three.h5"), "one and three threads differ");
    for shard in ["1/2", "2/2"] {
        assert!(folder.batch(&format!("{}.h5", &shard[..1]), &["--shard", shard]).code <= 1);
    }
    let [plan, a, b, all] = ["plan.toml", "1.h5", "2.h5", "all.h5"].map(|n| folder.text(n));
    let lacking = joulestep(&["batch", "merge", &plan, &b, "--out", &all]);
    assert!(lacking.code == 2 && lacking.err.contains("500 of 1000 variants"), "{}", lacking.err);
    assert!(joulestep(&["batch", "merge", &plan, &b, &a, "--out", &all]).code <= 1);
    assert!(whole == folder.bytes("all.h5"), "merged shards differ");
    let mut kills = 0;
    for threshold in [1, 300, 800] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_joulestep"));
        command.args(["batch", &plan, "--out", &folder.text("k.h5"), "--quiet", "--jobs", "2", "--resume"]);
        let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        let began = Instant::now();
        let lines =
            || fs::read(folder.path("k.h5.journal")).map_or(0, |b| b.iter().filter(|b| **b == b'\n').count());
        while lines() <= threshold && child.try_wait().unwrap().is_none() {
            assert!(began.elapsed() < Duration::from_secs(120), "nothing is written");
            std::thread::sleep(Duration::from_millis(1));
        }
        // SIGKILL.
        kills += usize::from(child.kill().is_ok() && child.wait().unwrap().code().is_none());
    }
    println!("killed {kills} times");
    assert!(kills > 0);
    // What a full disk leaves: half a line.
    let mut torn = folder.bytes("k.h5.journal");
    torn.extend_from_slice(b"{\"row\":{\"error\":\"\",\"outp");
    fs::write(folder.path("k.h5.journal"), torn).unwrap();
    assert!(folder.batch("k.h5", &["--resume"]).code <= 1);
    assert!(whole == folder.bytes("k.h5"), "the resumed table differs");
    let lines = String::from_utf8(folder.bytes("k.h5.journal")).unwrap();
    assert_eq!(lines.lines().count(), 1001, "a variant was computed twice or lost");
    // Another plan does not go on with this journal.
    let text = fs::read_to_string(folder.path("plan.toml")).unwrap();
    fs::write(folder.path("plan.toml"), text.replace("seed = 3", "seed = 4")).unwrap();
    let other = folder.batch("k.h5", &["--resume"]);
    assert!(other.code == 2 && other.err.contains("belongs to another batch"), "{}", other.err);
    let there = folder.batch("one.h5", &[]);
    assert!(there.code == 4 && there.err.contains("exists"), "{}", there.err);
}

#[test]
fn a_failing_variant_fails_alone() {
    let grid = r#"
[sampling]
kind = "grid"
[[vary]]
value = "component.R1.resistance"
kind = "values"
values = ["500 ohm", "-1 ohm", "2 kohm"]
[[vary]]
value = "component.C1.capacitance"
kind = "range"
from = "0.1 uF"
to = "10 uF"
points = 3
spacing = "logarithmic"
"#;
    let folder = Folder::new(grid);
    let plan = folder.text("plan.toml");
    let count = joulestep(&["batch", &plan, "--count"]);
    // The extreme that is limited, those of the signal, three energies for each component, the ledger's residual twice.
    assert_eq!(count.out, "9 variants of 2 values, 14 outputs each\n");
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv")]);
    assert!(ended(&done.out, "done", 6) && ended(&done.out, "refused", 3), "{}{}", done.out, done.err);
    // 1 V / 500 ohm is above the limit.
    assert_eq!(done.code, 1);
    let (header, rows) = cells(&folder.path("t.csv"));
    let n = header.len();
    for (k, row) in rows.iter().enumerate() {
        let (status, verdict) = (&row[n - 3], &row[n - 2]);
        let expected = [("done", "fails"), ("refused", "not judged"), ("done", "passes")][k / 3];
        assert_eq!((status.as_str(), verdict.as_str()), expected);
        let c: f64 = row[2].parse().unwrap();
        assert!((c / [1e-7, 1e-6, 1e-5][k % 3] - 1.0).abs() < 1e-12);
    }
    assert!(rows[3][n - 1].contains("`-1` is below zero"), "{:?}", rows[3]);
}

/// V/R is the largest current, so the limit I is just met at R = V/I; the search keeps to the side that keeps it.
#[test]
fn a_search_finds_where_a_limit_is_just_met() {
    let search = r#"
vary = [
    { value = "component.supply.value", kind = "column", column = "U" },
    { value = "limit.current.max", kind = "column", column = "I" },
]
[sampling]
kind = "list"
file = "list.csv"
[search]
name = "smallest-R"
value = "component.R1.resistance"
lower = "100 ohm"
upper = "100 kohm"
limit = "current"
tolerance = 1e-6
"#;
    let folder = Folder::new(search);
    fs::write(folder.path("list.csv"), "U,I\n1 V,1.2 mA\n5,1 mA\n2 V,4 mA\n0.001,0.5\n").unwrap();
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv")]);
    assert_eq!(done.code, 0, "{}", done.err);
    let (header, rows) = cells(&folder.path("t.csv"));
    assert_eq!(header[3..5], ["smallest-R [ohm]", "smallest-R.error [ohm]"]);
    for (row, exact) in rows.iter().zip([1.0 / 1.2e-3, 5e3, 500.0]) {
        let found: f64 = row[3].parse().unwrap();
        assert!((found / exact - 1.0).abs() < 1e-5, "{found}, {exact}");
        // What is met by definition is not judged.
        assert_eq!(row[header.len() - 2], "not judged");
    }
    assert_eq!(rows[3][header.len() - 3], "not found");
    assert!(rows[3][header.len() - 1].contains("kept at both ends"), "{:?}", rows[3]);
}

#[test]
fn broken_plans_are_reported_with_line_and_column() {
    let vary = |value: &str, rest: &str| {
        format!(
            "[sampling]\nkind = \"grid\"\n[[vary]]\nvalue = \"{value}\"\nkind = \"values\"\nvalues = [{rest}]\n"
        )
    };
    let cases = [
        (
            vary("component.R1.resistence", "1"),
            "plan.toml:6:9: vary[1].value: `component.R1` has no key `resistence`",
            "did you mean `resistance`?",
        ),
        (
            vary("component.R2.resistance", "1"),
            "plan.toml:6:9: vary[1].value: `component` has no member `R2`",
            "`supply`, `R1` or `C1`",
        ),
        (
            vary("component.R1.resistance", "\"1 ohm\", \"2 V\""),
            "plan.toml:8:20: vary[1].values: `2 V` is a voltage",
            "expected a resistance",
        ),
        (vary("record.signals", "1"), "`record.signals` is not a number", ""),
        // Words of format 1 in a path.
        (
            vary("component.D1.emission", "1"),
            "`component.D1.emission` is called `component.D1.ideality` since format 2",
            "expected `component.D1.ideality`",
        ),
        (
            vary("happening.1.at", "1"),
            "`happening.1.at` is called `event.1.at` since format 2",
            "expected `event.1.at`",
        ),
        (
            TOLERANCES.replace("log-deviation = 0.1", "log-deviation = 0.1\nmean = 2"),
            "unknown key in [vary] of kind `lognormal`",
            "",
        ),
        (
            TOLERANCES.replace("\"voltage(out)\"", "\"voltage(in)\""),
            "the scenario does not record `voltage(in)`",
            "expected `voltage(out)`",
        ),
        (TOLERANCES.replace("monte-carlo", "latin"), "[sampling] has no kind `latin`", "`latin-hypercube`"),
        (
            TOLERANCES.replace("median = \"1 kohm\"", "median = \"0 ohm\""),
            "vary.R.median: 0 is not above zero",
            "",
        ),
    ];
    for (plan, found, more) in cases {
        let folder = Folder::new(&plan);
        let done = folder.batch("t.h5", &[]);
        assert_eq!(done.code, 2, "{plan}\n{}", done.err);
        assert!(done.err.contains(found) && done.err.contains(more), "{found}\n{more}\n{}", done.err);
        assert!(!folder.path("t.h5").exists() && !folder.path("t.h5.journal").exists());
    }
}
