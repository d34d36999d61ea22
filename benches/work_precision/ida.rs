//! SUNDIALS IDA through the C harness in `benches/ida/`.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::case::Case;
use crate::reference::{Reference, floats, fnv};
use crate::table::Row;

/// Tolerances of the table (relative and absolute alike).
const TOLERANCES: [f64; 8] = [1e-3, 5e-4, 2e-4, 1e-4, 5e-5, 2e-5, 1e-5, 1e-6];

/// The built harness.
#[derive(Clone)]
pub struct Ida {
    program: PathBuf,
    /// Which build of the library it uses, for the output.
    pub build: String,
    /// Changes with the harness, so that no stale reference is taken.
    pub fingerprint: u64,
}

/// One run of it.
pub struct Run {
    /// Best processor time of the integration, s.
    pub seconds: f64,
    /// Steps taken.
    pub steps: u64,
    /// Newton iterations.
    pub newton: u64,
    /// Turn-off energy, J.
    pub e_off: f64,
    /// Turn-on energy, J.
    pub e_on: f64,
    /// v2 at the times asked for, V.
    pub v2: Vec<f64>,
}

impl Ida {
    /// Builds the harness; the error says why there is none.
    pub fn build(folder: &Path) -> Result<Self, String> {
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/ida");
        let made = Command::new("sh")
            .arg(source.join("build.sh"))
            .arg(folder)
            .output()
            .map_err(|e| format!("no shell to build it with: {e}"))?;
        if !made.status.success() {
            return Err(format!(
                "{} (install SUNDIALS, e.g. libsundials-dev, or set SUNDIALS_PREFIX)",
                String::from_utf8_lossy(&made.stderr).trim()
            ));
        }
        let mut fingerprint = 0;
        for name in ["ref1_ida.c", "ref1_circuit.h"] {
            let text = fs::read(source.join(name)).map_err(|e| format!("{name}: {e}"))?;
            fingerprint ^= fnv(text.into_iter());
        }
        let build = String::from_utf8_lossy(&made.stdout).trim().to_string();
        Ok(Ida { program: folder.join("ref1_ida"), build, fingerprint })
    }

    /// Solves one case, restarted at every corner of the gate course, and reads v2 at the times given (s, ascending).
    pub fn solve(
        &self,
        case: Case,
        tolerance: f64,
        repeats: u32,
        times: Option<&[f64]>,
        folder: &Path,
    ) -> Result<Run, String> {
        let (times_path, rows_path) = (folder.join("times.f64"), folder.join("rows.f64"));
        let mut command = Command::new(&self.program);
        command.args([case.key(), &tolerance.to_string(), &repeats.to_string(), "restart"]);
        if let Some(times) = times {
            let bytes: Vec<u8> = times.iter().flat_map(|t| t.to_le_bytes()).collect();
            fs::write(&times_path, bytes).map_err(|e| format!("{}: {e}", times_path.display()))?;
            command.arg(&times_path).arg(&rows_path);
        }
        let output = command.output().map_err(|e| format!("{}: {e}", self.program.display()))?;
        if !output.status.success() {
            return Err(String::from_utf8_lossy(&output.stderr).trim().to_string());
        }
        let line = String::from_utf8_lossy(&output.stdout).into_owned();
        let report: BTreeMap<&str, &str> =
            line.split_whitespace().filter_map(|w| w.split_once('=')).collect();
        let number = |key: &str| -> Result<f64, String> {
            report.get(key).and_then(|v| v.parse().ok()).ok_or_else(|| format!("no {key} in {line:?}"))
        };
        let mut v2 = Vec::new();
        if let Some(times) = times {
            let rows = fs::read(&rows_path).map_err(|e| format!("{}: {e}", rows_path.display()))?;
            v2 = floats(&rows).chunks_exact(10).map(|row| row[1]).collect();
            if v2.len() != times.len() {
                return Err(format!("expected {} rows, found {}", times.len(), v2.len()));
            }
        }
        Ok(Run {
            seconds: number("seconds")?,
            steps: number("steps")? as u64,
            newton: number("newton")? as u64,
            e_off: number("e_off")?,
            e_on: number("e_on")?,
            v2,
        })
    }

    /// Its rows of the table.
    pub fn rows(&self, reference: &Reference, folder: &Path) -> Vec<Row> {
        let repeats = if reference.case == Case::Two { 200 } else { 3 };
        let row = |&tolerance: &f64| {
            let mut row = Row::new("SUNDIALS IDA", format!("tol {tolerance:.0e}"));
            match self.solve(reference.case, tolerance, repeats, Some(&reference.grid), folder) {
                Ok(run) => {
                    row.seconds = run.seconds;
                    row.steps = run.steps;
                    row.iterations = run.newton;
                    row.energies = (run.e_off, run.e_on);
                    row.v2 = Some(reference.on_grid(&run.v2));
                }
                Err(why) => row.failed = Some(why),
            }
            row
        };
        TOLERANCES.iter().map(row).collect()
    }
}
