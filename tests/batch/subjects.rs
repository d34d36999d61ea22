//! Ratings and dead-time studies varied by plans.

use std::collections::BTreeMap;
use std::fs;

use super::program::{Folder, ended};
use crate::common::answers::{self, value};
use crate::common::program::{describe, joulestep, words};
use crate::common::rig::near;

/// Numbers of a CSV by the names of its columns without their units, and the last cells of each row.
pub(super) fn table(folder: &Folder, name: &str) -> (BTreeMap<String, Vec<f64>>, Vec<Vec<String>>) {
    let text = fs::read_to_string(folder.path(name)).unwrap();
    let mut lines = text.lines().map(|l| l.split(',').map(str::to_string).collect::<Vec<_>>());
    let header = lines.next().unwrap();
    let rows: Vec<Vec<String>> = lines.collect();
    let of = |k: usize| rows.iter().map(|r| r[k].parse().unwrap_or(f64::NAN)).collect();
    let bare = |h: &str| h.split(" [").next().unwrap_or(h).to_string();
    let columns = header.iter().enumerate().map(|(k, h)| (bare(h), of(k))).collect();
    (columns, rows)
}

/// A folder with a plan that names no scenario.
pub(super) fn plan(text: &str) -> Folder {
    let folder = Folder::new("");
    fs::write(folder.path("plan.toml"), format!("format = 2\n{text}")).unwrap();
    folder
}

/// In the steady state the heat flow is the temperature difference over the sum of the resistances (Fourier), and a
/// square pulse lets I²·t through. The rest is what `rating` tells of the same part.
#[test]
fn a_varied_rating_keeps_the_heat_balance_and_is_the_rating_command() {
    let grid = r#"
vary = [
    { name = "heatsink", value = "rating.heatsink", kind = "values", values = ["30 degC", "80 degC"] },
    { name = "interface", value = "rating.interface", kind = "values", values = ["0.1 K/W", "0.4 K/W"] },
    { name = "width", value = "rating.pulse.short.width", kind = "values", values = ["1 ms", "10 ms"] },
]
[rating]
part = "mosfet-sic-700v-12m"
fault = "150 A"
[[rating.pulse]]
name = "short"
width = "1 ms"
[sampling]
kind = "grid"
[[limit]]
name = "carries"
output = "continuous.current"
min = "60 A"
"#;
    let folder = plan(grid);
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv")]);
    assert!(done.code <= 1, "{}", done.err);
    let (c, rows) = table(&folder, "t.csv");
    // Terms of the part file's transient impedance.
    let junction_case = 0.215e-3 + 1.635e-3 + 4.97e-3 + 11.72e-3 + 35.44e-3 + 112.1e-3;
    for k in 0..8 {
        let resistance = junction_case + c["interface"][k];
        near("thermal resistance", c["mosfet.thermal-resistance"][k], resistance, 1e-9);
        let heat = c["continuous.current"][k] * c["continuous.drop"][k];
        near("heat balance", heat * resistance, c["continuous.mosfet"][k] - c["heatsink"][k], 1e-6);
        near("highest junction temperature", c["continuous.mosfet"][k], 175.0, 1e-6);
        near("let-through", c["short.i2t"][k], c["short.current"][k].powi(2) * c["width"][k], 1e-12);
        let verdict = if c["continuous.current"][k] >= 60.0 { "passes" } else { "fails" };
        assert_eq!(rows[k][rows[k].len() - 2], verdict);
    }
    let rated = describe(&words(
        "rating mosfet-sic-700v-12m --heatsink '80 degC' --interface '0.4 K/W' --from '1 ms' --to '10 ms' --points 2 --fault '150 A' --json",
    ));
    let surge = |row: usize| answers::rows(&rated, "surge")[row]["current"].as_f64().unwrap();
    // The table of the law begins at another temperature: the same cubics, rounded otherwise.
    near("continuous", c["continuous.current"][7], value(&rated, "continuous.current"), 1e-7);
    near("10 ms", c["short.current"][7], surge(1), 2e-5);
    near("1 ms", c["short.current"][6], surge(0), 2e-5);
    near("ride-through", c["fault.1.longest"][7], value(&rated, "fault.1.longest"), 2e-5);
}

/// The interface at which a current is just carried: there the current is the limit.
#[test]
fn a_search_finds_the_interface_at_which_a_current_is_just_carried() {
    let search = r#"
vary = [{ name = "wanted", value = "limit.carries.min", kind = "values", values = ["40 A", "55 A", "4000 A"] }]
[rating]
part = "mosfet-sic-700v-12m"
[sampling]
kind = "grid"
[[limit]]
name = "carries"
output = "continuous.current"
min = "1 A"
[search]
name = "interface"
value = "rating.interface"
lower = "0 K/W"
upper = "5 K/W"
limit = "carries"
tolerance = 1e-6
"#;
    let folder = plan(search);
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv")]);
    assert_eq!(done.code, 1, "{}", done.err);
    let (c, rows) = table(&folder, "t.csv");
    near("current", c["continuous.current"][0], 40.0, 1e-5);
    near("current", c["continuous.current"][1], 55.0, 1e-5);
    assert!(c["interface"][0] > c["interface"][1]);
    assert_eq!(rows[2][rows[2].len() - 3], "not found");
}

#[test]
fn a_package_package_is_varied_with_the_part_and_solved_once_for_each_of_its_shapes() {
    let grid = r#"
vary = [
    { name = "solder", value = "package.layer.slug-solder.thickness", kind = "values", values = ["90 um", "290 um"] },
    { name = "resistance", value = "part.params.jfet-on-resistance", kind = "values", values = ["6.208 mohm", "6.9 mohm"] },
    { name = "heatsink", value = "rating.heatsink", kind = "values", values = ["48 degC", "58 degC"] },
]
[rating]
part = "cascode-700v-7m"
on = "board-700v-7m"
cells = 8000
[sampling]
kind = "grid"
"#;
    let folder = plan(grid);
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv"), "--jobs", "2"]);
    assert_eq!(done.code, 0, "{}", done.err);
    assert!(ended(&done.out, "done", 8), "{}", done.out);
    let (c, _) = table(&folder, "t.csv");
    let r = &c["jfet.thermal-resistance"];
    assert!(
        r[..4].iter().all(|x| x.to_bits() == r[0].to_bits())
            && r[4..].iter().all(|x| x.to_bits() == r[4].to_bits())
    );
    // 0.2 mm more of solder of 58 W/(m K), 9 mm by 8.4 mm: 46 mK/W by Fourier's law in one dimension; it is full of
    // heat.
    let more = r[4] - r[0];
    println!("0.2 mm of solder: {more:.4} K/W more");
    assert!((0.041..0.051).contains(&more), "{more}");
    for k in [0, 1, 4, 5] {
        assert!(
            c["continuous.current"][k + 2] < c["continuous.current"][k],
            "a higher resistance carries more"
        );
    }
    for k in [0, 2, 4, 6] {
        assert!(
            c["continuous.current"][k + 1] < c["continuous.current"][k],
            "a warmer heatsink carries more"
        );
    }
    let rated = describe(&words(
        "rating cascode-700v-7m --on board-700v-7m --heatsink '48 degC' --cells 8000 --points 2 --json",
    ));
    near("continuous", c["continuous.current"][0], value(&rated, "continuous.current"), 1e-6);
    assert!(folder.batch("one.h5", &["--jobs", "1"]).code == 0);
    assert!(folder.bytes("one.h5") == folder.bytes("t.h5"), "one and two threads differ");
}

/// Dies of other areas in part and package: said once for the batch, and no variant passes.
#[test]
fn a_rating_batch_says_that_part_and_package_mean_different_dies() {
    let grid = r#"
vary = [{ name = "heatsink", value = "rating.heatsink", kind = "values", values = ["48 degC", "58 degC"] }]
[rating]
part = "cascode-700v-7m"
on = "mine.toml"
cells = 5000
[sampling]
kind = "grid"
"#;
    let folder = plan(grid);
    let (_folder, mine) = crate::says_what_it_does::smaller_die();
    fs::copy(mine, folder.path("mine.toml")).unwrap();
    let done = folder.batch("t.h5", &[]);
    assert_eq!(done.code, 5, "{}{}", done.out, done.err);
    assert_eq!(
        done.out.matches("doubt: cascode-700v-7m and its package describe different dies: `area`").count(),
        1
    );
}

/// Charge balance: the estimate goes as 1/I. Losses are those that `dead-time` tells; the dead time of least loss found
/// between the listed ones has no more of them.
#[test]
fn a_varied_dead_time_study_is_the_dead_time_command() {
    let grid = r#"
vary = [{ name = "current", value = "dead-time.current", kind = "values", values = ["10 A", "20 A"] }]
[dead-time]
part = "mosfet-sic-700v-12m"
current = "10 A"
dead-time = ["40 ns", "80 ns", "160 ns"]
resolution = "20 ns"
[sampling]
kind = "grid"
"#;
    let folder = plan(grid);
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv")]);
    assert_eq!(done.code, 0, "{}", done.err);
    let (c, _) = table(&folder, "t.csv");
    near("2·Q/I", c["estimate"][0], 2.0 * c["estimate"][1], 1e-12);
    let studied = describe(&words(
        "dead-time mosfet-sic-700v-12m --dead-time '40 ns,80 ns,160 ns' --current '10 A,20 A' --json",
    ));
    for (k, (best, balance)) in c["best.losses"].iter().zip(&c["estimate"]).enumerate() {
        for j in 0..3 {
            let losses = answers::rows(&studied, "energies")[3 * k + j]["losses"].as_f64().unwrap();
            near("losses", c[&format!("losses.{}", j + 1)][k], losses, 1e-12);
            assert!(*best <= losses);
        }
        near("estimate", *balance, value(&studied, &format!("{}.estimate", k + 1)), 1e-12);
    }
}

#[test]
fn broken_plans_of_ratings_are_reported() {
    let of = |subject: &str, value: &str, x: &str, more: &str| {
        format!(
            "{subject}\n[sampling]\nkind = \"grid\"\n[[vary]]\nvalue = \"{value}\"\nkind = \"values\"\nvalues = [{x}]\n{more}"
        )
    };
    let rating = "[rating]\npart = \"cascode-700v-7m\"\non = \"board-700v-7m\"\ncells = 5000";
    let limit = "[[limit]]\nname = \"a\"\noutput = \"continuous.curent\"\nmin = \"1 A\"\n";
    let cases = [
        (of(rating, "rating.heatsnk", "1", ""), "`rating` has no key `heatsnk`", "did you mean `heatsink`?"),
        (of(rating, "rating.heatsink", "\"5 V\"", ""), "`5 V` is a voltage", "expected a temperature"),
        (
            of(rating, "package.layer.jfett.thickness", "\"1 mm\"", ""),
            "`package.layer` has no member `jfett`",
            "did you mean `jfet`?",
        ),
        (
            of(rating, "part.params.jfet-on-resistence", "1", ""),
            "`part.params` has no key `jfet-on-resistence`",
            "did you mean `jfet-on-resistance`?",
        ),
        (of(rating, "part.die.jfet.area", "\"2 mm\"", ""), "`2 mm` is a length", "expected an area"),
        (of(rating, "rating.heatsink", "\"5 degC\"", limit), "there is no output `continuous.curent`", ""),
        (
            of("[rating]\npart = \"cascode-700v-7n\"", "rating.heatsink", "1", ""),
            "no shipped part is named `cascode-700v-7n`",
            "did you mean",
        ),
        (
            of("scenario = \"rc.toml\"\n[rating]\npart = \"x\"", "steps.end", "1", ""),
            "more than one subject",
            "",
        ),
        (of("", "steps.end", "1", ""), "nothing to vary", "[rating]"),
        (
            of(rating, "rating.heatsink", "\"5 degC\"", "[[keep]]\nwhich = \"every\"\nstep = 2\n"),
            "this study records no signals",
            "",
        ),
        (
            of(
                "[dead-time]\npart = \"mosfet-sic-700v-12m\"\ncurrent = 1\ndead-time = [2e-8, 1e-8]",
                "dead-time.current",
                "1",
                "",
            ),
            "expected dead times, rising",
            "",
        ),
        (of("scenario = \"rc.toml\"", "component.R1.resistance", "1", limit), "a limit of the plan", ""),
        (
            of(
                "scenario = \"rc.toml\"",
                "component.R1.resistance",
                "1",
                "[[keep]]\nwhich = \"highest\"\noutput = \"curent\"\n",
            ),
            "there is no output `curent`",
            "",
        ),
    ];
    for (text, found, more) in cases {
        let folder = plan(&text);
        let done = folder.batch("t.h5", &[]);
        assert_eq!(done.code, 2, "{text}\n{}{}", done.out, done.err);
        assert!(done.err.contains(found) && done.err.contains(more), "{found}\n{more}\n{}", done.err);
    }
    // A value that makes no part fails alone.
    let folder = plan(
        &of(rating, "part.params.jfet-on-resistance", "\"5 mohm\", \"-5 mohm\"", "")
            .replace("on = \"board-700v-7m\"\ncells = 5000", "interface = \"0.3 K/W\""),
    );
    let done = folder.batch("t.h5", &[]);
    assert!(
        done.code == 0 && ended(&done.out, "done", 1) && ended(&done.out, "refused", 1),
        "{}{}",
        done.out,
        done.err
    );
}

#[test]
fn the_shipped_plans_of_ratings_and_dead_times_are_counted() {
    for (path, expected) in [
        ("examples/rating-tolerances.toml", "10000 variants of 4 values, 13 outputs each\n"),
        ("examples/dead-time-tolerances.toml", "40 variants of 3 values, 18 outputs each\n"),
    ] {
        assert_eq!(joulestep(&["batch", path, "--count"]).out, expected);
    }
}
