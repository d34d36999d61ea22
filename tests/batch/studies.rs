//! Any study of the catalogue under a plan: paths into its files, search, shards, resumption. The on-resistance of
//! parts serves: its variants take no time.

use std::fs;

use super::subjects::{plan, table};
use crate::common::program::joulestep;

const RESISTANCE: &str = r#"
[resistance]
part = "mosfet-sic-700v-12m"
step = "50 K"
[sampling]
kind = "sobol-sequence"
variants = 64
seed = 4
[[vary]]
name = "to"
value = "resistance.to"
kind = "uniform"
lower = "100 degC"
upper = "175 degC"
[[vary]]
name = "R"
value = "part.params.on-resistance"
kind = "uniform"
lower = "11 mohm"
upper = "13 mohm"
[[limit]]
name = "hot"
output = "mosfet-sic-700v-12m.hot"
max = "19 mohm"
"#;

/// The table is the same from one machine, from shards, and from a journal cut at any line.
#[test]
fn a_study_in_shards_and_resumed_leaves_the_same_table() {
    let folder = plan(RESISTANCE);
    let whole = folder.batch("t.h5", &["--csv", &folder.text("t.csv"), "--jobs", "2"]);
    assert!(whole.code <= 1, "{}{}", whole.out, whole.err);
    let (c, rows) = table(&folder, "t.csv");
    assert_eq!(rows.len(), 64);
    for (rise, to) in c["mosfet-sic-700v-12m.rise"].iter().zip(&c["to"]) {
        // Common practice, no source: the on-resistance of a SiC MOSFET of this voltage rises by 0.2 % to 0.8 % per
        // kelvin.
        let slope = (rise - 1.0) / (to - 25.0);
        assert!((2e-3..8e-3).contains(&slope), "{rise} times at {to} °C");
    }
    for shard in ["1/3", "2/3", "3/3"] {
        let done = folder.batch(&format!("{}.h5", &shard[..1]), &["--shard", shard]);
        assert!([0, 1, 5].contains(&done.code), "{}{}", done.out, done.err);
    }
    let [file, a, b, c, all] = ["plan.toml", "1.h5", "2.h5", "3.h5", "all.h5"].map(|n| folder.text(n));
    let merged = joulestep(&["batch", "merge", &file, &a, &b, &c, "--out", &all]);
    assert!(merged.code <= 1, "{}{}", merged.out, merged.err);
    assert!(folder.bytes("t.h5") == folder.bytes("all.h5"), "merged shards differ");
    let journal = String::from_utf8(folder.bytes("t.h5.journal")).unwrap();
    let lines: Vec<&str> = journal.split_inclusive('\n').collect();
    assert_eq!(lines.len(), 65);
    for kept in [1, 20, 50] {
        let torn = lines[..kept].concat() + &lines[kept][..lines[kept].len() / 2];
        fs::write(folder.path("torn.h5.journal"), torn).unwrap();
        let _ = fs::remove_file(folder.path("torn.h5"));
        assert!(folder.batch("torn.h5", &["--resume"]).code <= 1);
        assert!(folder.bytes("t.h5") == folder.bytes("torn.h5"), "cut after {kept} lines");
    }
}

/// One of several files is named by its number; the only one needs none, and its number does no harm.
#[test]
fn files_of_a_study_are_varied_by_name_or_number() {
    let of = |parts: &str, path: &str| {
        plan(&format!(
            "[resistance]\npart = {parts}\n[sampling]\nkind = \"grid\"\n[[vary]]\nname = \"R\"\nvalue = \"{path}\"\n\
             kind = \"values\"\nvalues = [\"11 mohm\", \"13 mohm\"]\n"
        ))
    };
    let colds = |parts: &str, path: &str| {
        let folder = of(parts, path);
        let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv")]);
        assert_eq!(done.code, 0, "{path}: {}{}", done.out, done.err);
        let (columns, _) = table(&folder, "t.csv");
        columns["mosfet-sic-700v-12m.cold"].clone()
    };
    let alone = colds("\"mosfet-sic-700v-12m\"", "part.params.on-resistance");
    assert!(alone[1] > alone[0]);
    let numbered = [
        ("[\"mosfet-sic-700v-12m\"]", "part.1.params.on-resistance"),
        ("[\"cascode-700v-22m\", \"mosfet-sic-700v-12m\"]", "part.2.params.on-resistance"),
    ];
    for (parts, path) in numbered {
        assert_eq!(colds(parts, path), alone, "{path}");
    }
    let astray = of("[\"cascode-700v-22m\", \"mosfet-sic-700v-12m\"]", "part.3.params.on-resistance");
    let done = astray.batch("t.h5", &[]);
    assert!(done.code == 2 && done.err.contains("`part` has no member `3`"), "{}", done.err);
}

/// The temperature up to which a part keeps an on-resistance: there it has just that one.
#[test]
fn a_search_works_on_any_study() {
    let search = RESISTANCE.replace("kind = \"sobol-sequence\"\nvariants = 64\nseed = 4", "kind = \"grid\"");
    let varied = "[[vary]]\nname = \"wanted\"\nvalue = \"limit.hot.max\"\nkind = \"values\"\nvalues = [\"14 mohm\", \"16 mohm\"]\n";
    let (before, after) = (search.find("[[vary]]").unwrap(), search.find("[[limit]]").unwrap());
    let search = format!(
        "{}{varied}{}[search]\nname = \"to\"\nvalue = \"resistance.to\"\nlower = \"30 degC\"\nupper = \"175 degC\"\n\
         limit = \"hot\"\ntolerance = 1e-6\n",
        &search[..before],
        &search[after..]
    );
    let folder = plan(&search);
    let done = folder.batch("t.h5", &["--csv", &folder.text("t.csv")]);
    assert!(done.code <= 1, "{}{}", done.out, done.err);
    let (c, _) = table(&folder, "t.csv");
    for (hot, wanted) in c["mosfet-sic-700v-12m.hot"].iter().zip([14e-3, 16e-3]) {
        assert!((hot / wanted - 1.0).abs() < 1e-5, "{hot} instead of {wanted}");
    }
    assert!(c["to"][0] < c["to"][1]);
}
