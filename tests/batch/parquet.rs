//! Lists and tables in Parquet.

use std::fs;

use super::program::{Folder, TOLERANCES};
use super::subjects::table;
use crate::common::program::joulestep;
use crate::common::python::{output_of, python};

/// The table of one batch in Parquet is the list of the next: the same values to the last bit.
#[test]
fn a_parquet_table_is_a_list_of_the_same_bits() {
    let folder = Folder::new(TOLERANCES);
    let args = ["--csv", &folder.text("t.csv"), "--parquet", &folder.text("t.parquet")];
    assert!(folder.batch("t.h5", &args).code <= 1);
    let list = "format = 2\nscenario = \"rc.toml\"\n[sampling]\nkind = \"list\"\nfile = \"t.parquet\"\n\
                [[vary]]\nname = \"R\"\nvalue = \"component.R1.resistance\"\nkind = \"column\"\ncolumn = \"R\"\n";
    fs::write(folder.path("plan.toml"), list).unwrap();
    let again = folder.batch("again.h5", &["--csv", &folder.text("again.csv")]);
    assert!(again.code <= 1, "{}", again.err);
    let ((first, _), (second, _)) = (table(&folder, "t.csv"), table(&folder, "again.csv"));
    let bits = |x: &[f64]| x.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
    assert_eq!(bits(&first["R"]), bits(&second["R"]));
    assert_eq!(bits(&first["limit.current.largest"]), bits(&second["limit.current.largest"]));
    // Damaged in any place, it is reported or read, and nothing else.
    let whole = folder.bytes("t.parquet");
    let mut refused = 0;
    for k in 0..40 {
        let mut damaged = whole.clone();
        if k % 2 == 0 {
            damaged.truncate(whole.len() * k / 40);
        } else {
            let at = whole.len() - 1 - k * k * 3;
            damaged[at] ^= 0x55;
        }
        fs::write(folder.path("t.parquet"), damaged).unwrap();
        let done = joulestep(&["batch", &folder.text("plan.toml"), "--count"]);
        assert!(done.code == 0 || done.code == 2, "{}", done.err);
        refused += usize::from(done.code == 2);
    }
    println!("{refused} of 40 damaged files refused");
    assert!(refused >= 20);
}

/// Parquet by implementations that are not ours: ours read by pyarrow and pandas, a list written by pandas.
#[test]
#[cfg_attr(not(all(with_pandas, with_pyarrow)), ignore = "no Python with pandas and pyarrow")]
fn parquet_is_read_and_written_from_outside() {
    let folder = Folder::new(TOLERANCES);
    let [csv, parquet] = ["t.csv", "t.parquet"].map(|n| folder.text(n));
    assert!(folder.batch("t.h5", &["--csv", &csv, "--parquet", &parquet]).code <= 1);
    let code = r#"
import json, sys
import pandas, pyarrow.parquet
file = pyarrow.parquet.ParquetFile(sys.argv[1])
about = {k.decode(): v.decode() for k, v in file.schema_arrow.metadata.items()}
units, roles = json.loads(about["units"]), json.loads(about["roles"])
assert units["R"] == "ohm" and roles["R"] == "input" and units["settled"] == "s", units
assert len(about["digest"]) == 64
table = pandas.read_parquet(sys.argv[1]).set_index("variant")
other = pandas.read_csv(sys.argv[2], index_col="variant", float_precision="round_trip")
assert len(table) == len(other) == 1000
for name in units:
    unit = "" if units[name] == "1" else f" [{units[name]}]"
    pandas.testing.assert_series_equal(table[name], other[name + unit], check_names=False, check_exact=True)
assert list(table["status"]) == list(other["status"])
pandas.DataFrame({"R in": [900.0, 1234.5], "label": ["a", "b"]}).to_parquet(sys.argv[3])
pandas.DataFrame({"R in": ["0.9 kohm", "1234.5 ohm"]}).to_parquet(sys.argv[4], compression="gzip")
print("read and written")
"#;
    let lists = ["list.parquet", "texts.parquet"].map(|n| folder.text(n));
    let printed = output_of(python().args(["-c", code, &parquet, &csv, &lists[0], &lists[1]]));
    assert!(printed.contains("read and written"), "{printed}");
    for name in ["list", "texts"] {
        let list = format!(
            "format = 2\nscenario = \"rc.toml\"\n[sampling]\nkind = \"list\"\nfile = \"{name}.parquet\"\n\
             [[vary]]\nname = \"R\"\nvalue = \"component.R1.resistance\"\nkind = \"column\"\ncolumn = \"R in\"\n"
        );
        fs::write(folder.path("plan.toml"), list).unwrap();
        let (out, csv) = (format!("{name}.h5"), folder.text(&format!("{name}.csv")));
        let done = folder.batch(&out, &["--csv", &csv]);
        assert!(done.code <= 1, "{}", done.err);
        assert_eq!(table(&folder, &format!("{name}.csv")).0["R"], [900.0, 1234.5]);
    }
}
