//! Two things that must be known before the program and its tests are compiled: the gate that asks the processor
//! (`cli/gate.rs`), and which of the outside programs that some tests need are here.

use std::env;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    gate();
    outside();
}

fn variable(name: &str) -> String {
    env::var(name).unwrap_or_default()
}

/// Compiles the gate for the plain architecture. Elsewhere `main` asks.
fn gate() {
    if variable("CARGO_CFG_TARGET_OS") != "linux" || variable("CARGO_CFG_TARGET_ARCH") != "x86_64" {
        return;
    }
    for source in ["cli/gate.rs", "cli/src/processor.rs"] {
        println!("cargo::rerun-if-changed={source}");
    }
    let object = Path::new(&variable("OUT_DIR")).join("gate.o");
    let done = Command::new(variable("RUSTC"))
        .args(["--edition=2024", "--crate-name=gate", "--crate-type=lib", "--emit=obj", "cli/gate.rs", "-o"])
        .arg(&object)
        .args(["--target", &variable("TARGET"), "-Ctarget-cpu=x86-64", "-Cpanic=abort", "-Copt-level=s"])
        .args(["-Ccodegen-units=1", "-Coverflow-checks=off", "-Cdebug-assertions=off"])
        .env("JOULESTEP_TARGET", variable("TARGET"))
        .env("JOULESTEP_FEATURES", variable("CARGO_CFG_TARGET_FEATURE"))
        .status();
    assert!(done.is_ok_and(|status| status.success()), "cli/gate.rs does not compile");
    println!("cargo::rustc-link-arg-bin=joulestep={}", object.display());
}

/// Looks for what tests need from outside and sets `with_…` for what is found. Tests without it are ignored, and say
/// so. What `JOULESTEP_REQUIRE` names, by commas, is taken as found: its tests then fail where it is missing.
fn outside() {
    for name in ["JOULESTEP_PYTHON", "JOULESTEP_CHROMIUM", "JOULESTEP_REQUIRE"] {
        println!("cargo::rerun-if-env-changed={name}");
    }
    let python = env::var_os("JOULESTEP_PYTHON").map(PathBuf::from).or_else(|| on_path(&["python3"]));
    let packages = ["h5py", "xarray", "h5netcdf", "netCDF4", "pandas", "pyarrow", "scipy"];
    // A package that is found is not yet imported: that takes seconds.
    let script = "import importlib.util as u, sys\nprint(*(n for n in sys.argv[1:] if u.find_spec(n)))";
    let found = python.as_ref().and_then(|python| {
        println!("cargo::rerun-if-changed={}", python.display());
        Command::new(python).args(["-c", script]).args(packages).stderr(Stdio::null()).output().ok()
    });
    let found = found.map_or(String::new(), |output| String::from_utf8_lossy(&output.stdout).into_owned());
    let chromium = env::var_os("JOULESTEP_CHROMIUM").map(PathBuf::from).filter(|path| path.is_file());
    let chromium = chromium.or_else(|| on_path(&["chromium", "chromium-browser", "google-chrome"]));
    let slurm = ["munged", "slurmctld", "slurmd", "sbatch", "srun", "sinfo"];
    let mount = || {
        // In a namespace of its own, which ends with the command.
        let trial = Command::new("unshare")
            .args(["--mount", "mount", "-t", "tmpfs", "tmpfs", &variable("OUT_DIR")])
            .stderr(Stdio::null())
            .status();
        trial.is_ok_and(|status| status.success())
    };
    let is_root =
        || Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout.trim_ascii() == b"0");
    let mut needs: Vec<(&str, bool)> =
        packages.iter().map(|name| (*name, found.split_whitespace().any(|f| f == *name))).collect();
    needs.push(("browser", chromium.is_some() && on_path(&["chromedriver"]).is_some()));
    needs.push(("chromium", chromium.is_some()));
    needs.push(("slurm", slurm.iter().all(|name| on_path(&[name]).is_some()) && is_root()));
    needs.push(("emulator", on_path(&["qemu-x86_64"]).is_some()));
    needs.push(("mount", mount()));
    let required = variable("JOULESTEP_REQUIRE");
    for name in required.split(',').filter(|name| !name.is_empty()) {
        assert!(
            needs.iter().any(|(known, _)| known.eq_ignore_ascii_case(name)),
            "JOULESTEP_REQUIRE: no test needs `{name}`"
        );
    }
    for (name, here) in needs {
        let name = name.to_lowercase();
        println!("cargo::rustc-check-cfg=cfg(with_{name})");
        if here || required.split(',').any(|wanted| wanted.eq_ignore_ascii_case(&name)) {
            println!("cargo::rustc-cfg=with_{name}");
        }
    }
}

/// A program on the path, or where packages put what a plain user's path leaves out; looked for again when it goes.
fn on_path(names: &[&str]) -> Option<PathBuf> {
    let path = env::var_os("PATH").unwrap_or_default();
    let places: Vec<PathBuf> = env::split_paths(&path).chain(["/usr/sbin".into(), "/sbin".into()]).collect();
    let mut files = places.iter().flat_map(|place| names.iter().map(move |name| place.join(name)));
    let found = files.find(|file| file.is_file())?;
    println!("cargo::rerun-if-changed={}", found.display());
    Some(found)
}
