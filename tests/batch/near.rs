//! Variants of a package begin with what the plan's own package leaves: same numbers, in any company.

use std::fs;

use super::subjects::{plan, table};
use crate::common::answers::{self, plus_minus, value};
use crate::common::folder::die_on_a_slug;
use crate::common::program::describe;

const PLAN: &str = r#"
[rating]
part = "mosfet-sj-620v-49m"
on = "package.toml"
heatsink = "45 degC"
cells = 4000
no-runaway = true
[[rating.pulse]]
name = "short"
width = "1 ms"
[sampling]
kind = "grid"
[[vary]]
name = "film"
value = "package.cooling.coefficient"
kind = "values"
values = ["20000 W/(m^2 K)", "30000 W/(m^2 K)", "12000 W/(m^2 K)"]
"#;

#[test]
fn a_variant_of_other_films_is_what_its_own_package_gives() {
    let folder = plan(PLAN);
    let package = |film: f64| die_on_a_slug(film);
    fs::write(folder.path("package.toml"), package(20_000.0)).unwrap();
    let batch = |name: &str, jobs: &str| {
        let csv = folder.text(name);
        let done = folder.batch("t.h5", &["--csv", &csv, "--force", "--jobs", jobs]);
        // Part and package mean different dies: not proven.
        assert!([0, 1, 5].contains(&done.code), "{}{}", done.out, done.err);
        fs::read_to_string(csv).unwrap()
    };
    assert_eq!(batch("t.csv", "1"), batch("u.csv", "2"));
    let (columns, _) = table(&folder, "t.csv");
    for (k, film) in columns["film"].iter().enumerate() {
        fs::write(folder.path("own.toml"), package(*film)).unwrap();
        let own = folder.text("own.toml");
        let mut args = vec!["rating", "mosfet-sj-620v-49m", "--on", &own, "--heatsink", "45 degC"];
        args.extend(["--cells", "4000", "--no-runaway", "--no-estimate", "--json"]);
        args.extend(["--from", "1 ms", "--to", "10 ms", "--points", "2"]);
        let alone = describe(&args);
        let short = answers::rows(&alone, "surge")[0]["current"].as_f64().unwrap();
        let pairs = [("continuous.current", value(&alone, "continuous.current")), ("short.current", short)];
        for (name, expected) in pairs {
            let found = columns[name][k];
            println!("{name} of {film}: {found}, alone {expected}, {:.1e}", found / expected - 1.0);
            // The tolerance of a reduction, twice.
            assert!((found / expected - 1.0).abs() <= 2e-3, "{name} of {film}: {found}, alone {expected}");
        }
    }
}

/// The ± of a row is that of the same rating asked alone: the errors of the package's mesh and of its reduction are in
/// it, whatever its variants have in common.
#[test]
fn a_row_of_a_package_has_the_error_of_the_rating_alone() {
    let folder = plan(&format!("estimate = \"all\"\n{PLAN}"));
    fs::write(folder.path("package.toml"), die_on_a_slug(20_000.0)).unwrap();
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv"), "--jobs", "2"]);
    assert!([0, 1, 5].contains(&done.code), "{}{}", done.out, done.err);
    let (columns, _) = table(&folder, "t.csv");
    for (k, film) in columns["film"].iter().enumerate() {
        fs::write(folder.path("own.toml"), die_on_a_slug(*film)).unwrap();
        let own = folder.text("own.toml");
        let mut args = vec!["rating", "mosfet-sj-620v-49m", "--on", &own, "--heatsink", "45 degC"];
        args.extend(["--cells", "4000", "--no-runaway", "--json", "--from", "1 ms", "--to", "10 ms"]);
        args.extend(["--points", "2"]);
        let alone = describe(&args);
        for name in ["continuous.current", "mosfet.thermal-resistance", "continuous.mosfet.power"] {
            let (found, expected) = (columns[&format!("{name}.error")][k], plus_minus(&alone, name));
            let share = expected / value(&alone, name).abs();
            println!("{name} of {film}: ± {found:.3e}, alone ± {expected:.3e} ({share:.1e} of it)");
            assert!(share > 1e-4, "no error of a mesh is as small as {share:.1e}");
            // Of the plan's own package it is the same computation; others begin with what that one leaves.
            let within = if *film == 20_000.0 { 1e-9 } else { 0.02 };
            assert!((found / expected - 1.0).abs() <= within, "{name} of {film}: {found}, alone {expected}");
        }
    }
}
