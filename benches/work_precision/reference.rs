//! What the waveforms are compared with, and the error measures.

use std::fs;
use std::path::{Path, PathBuf};

use crate::case::Case;
use crate::ida::Ida;

/// Tolerance of the reference runs.
const TOLERANCE: f64 = 1e-11;

/// Error of v2 over the common grid, V.
#[derive(Clone, Copy, Debug)]
pub struct Error {
    /// Largest magnitude.
    pub max: f64,
    /// Root of the mean square over the grid's points (which are dense after the edges: harsher than a mean over time).
    pub rms: f64,
}

/// The reference of one case.
pub struct Reference {
    /// Which.
    pub case: Case,
    /// Times of the common grid, s.
    pub grid: Vec<f64>,
    /// v2 on it, V.
    pub v2: Vec<f64>,
    /// Turn-off and turn-on energy, J.
    pub energies: (f64, f64),
    /// Said above the table.
    pub source: String,
    ida: Option<Ida>,
    cache: PathBuf,
}

impl Reference {
    /// REF-1 from its published solution (`benches/ref1/`); the 200-edge version from IDA at 1e-11, recomputed here and
    /// kept under the target folder.
    pub fn new(case: Case, ida: Option<&Ida>, folder: &Path) -> Result<Self, String> {
        let mut reference = Reference {
            case,
            grid: Vec::new(),
            v2: Vec::new(),
            energies: (0.0, 0.0),
            source: String::new(),
            ida: ida.cloned(),
            cache: folder.to_path_buf(),
        };
        match case {
            Case::Two => reference.read_published()?,
            Case::Many => {
                reference.grid = case.grid();
                let (v2, energies) = reference
                    .compute(&reference.grid)?
                    .ok_or("its reference needs SUNDIALS IDA, which is missing here")?;
                (reference.v2, reference.energies) = (v2, energies);
                reference.source = format!("SUNDIALS IDA at {TOLERANCE:e}");
            }
        }
        Ok(reference)
    }

    fn read_published(&mut self) -> Result<(), String> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/ref1");
        let read = |name: &str| fs::read_to_string(folder.join(name)).map_err(|e| format!("{name}: {e}"));
        for line in read("solution.csv")?.lines().skip(1) {
            let mut columns = line.split(',').map(str::parse::<f64>);
            let (Some(Ok(t)), Some(Ok(v2))) = (columns.next(), columns.nth(1)) else {
                return Err(format!("solution.csv: expected numbers, found {line:?}"));
            };
            self.grid.push(t);
            self.v2.push(v2);
        }
        let scalars: serde_json::Value =
            serde_json::from_str(&read("scalars.json")?).map_err(|e| e.to_string())?;
        let number =
            |key: &str| scalars[key].as_f64().ok_or_else(|| format!("scalars.json: no number {key}"));
        self.energies = (number("E_off_1_J")?, number("E_on_2_J")?);
        self.source = "its published solution (IDAS, rtol 3e-11)".into();
        if let Some((v2, energies)) = self.compute(&self.grid)? {
            let own = self.on_grid(&v2);
            let off = energies.0 / self.energies.0 - 1.0;
            let on = energies.1 / self.energies.1 - 1.0;
            self.source += &format!(
                "; IDA here at {TOLERANCE:e} differs by {:.1e} V at most, energies {off:.0e} and {on:.0e}",
                own.max
            );
        }
        Ok(())
    }

    /// Runs IDA at tight tolerance, or takes what an earlier run with the same harness and times left.
    #[allow(clippy::type_complexity)]
    fn compute(&self, times: &[f64]) -> Result<Option<(Vec<f64>, (f64, f64))>, String> {
        let Some(ida) = &self.ida else { return Ok(None) };
        let bits = times.iter().flat_map(|t| t.to_le_bytes());
        let key = fnv(bits.chain(ida.fingerprint.to_le_bytes()).chain(self.case.key().bytes()));
        let path = self.cache.join(format!("reference-{}-{key:016x}.f64", self.case.key()));
        if let Ok(bytes) = fs::read(&path)
            && bytes.len() == 8 * (times.len() + 2)
        {
            let mut numbers = floats(&bytes);
            let on = numbers.pop().unwrap_or(f64::NAN);
            let off = numbers.pop().unwrap_or(f64::NAN);
            return Ok(Some((numbers, (off, on))));
        }
        let run = ida.solve(self.case, TOLERANCE, 0, Some(times), &self.cache)?;
        let mut bytes: Vec<u8> = run.v2.iter().flat_map(|v| v.to_le_bytes()).collect();
        bytes.extend(run.e_off.to_le_bytes());
        bytes.extend(run.e_on.to_le_bytes());
        fs::write(&path, bytes).map_err(|e| format!("{}: {e}", path.display()))?;
        Ok(Some((run.v2, (run.e_off, run.e_on))))
    }

    /// Error of a waveform given on the common grid.
    pub fn on_grid(&self, v2: &[f64]) -> Error {
        measure(v2.iter().zip(&self.v2).map(|(a, b)| a - b))
    }

    /// Errors of waveforms that are each given at their own ascending times (runs of this engine): the reference is
    /// computed at all those times in one go, so that no waveform is ever interpolated, and the error, which is small
    /// and smooth, is carried linearly to the common grid. The maximum is over own times and grid. None where there is
    /// no IDA.
    pub fn on_own_times(&self, waveforms: &[(&[f64], &[f64])]) -> Result<Option<Vec<Error>>, String> {
        let mut all: Vec<f64> = waveforms.iter().flat_map(|w| w.0).copied().collect();
        all.sort_by(f64::total_cmp);
        all.dedup();
        let Some((exact, _)) = self.compute(&all)? else { return Ok(None) };
        let of = |&(times, v2): &(&[f64], &[f64])| {
            let exact = times.iter().map(|t| exact[all.partition_point(|x| x < t)]);
            self.carried(times, &v2.iter().zip(exact).map(|(a, b)| a - b).collect::<Vec<f64>>())
        };
        Ok(Some(waveforms.iter().map(of).collect()))
    }

    fn carried(&self, times: &[f64], error: &[f64]) -> Error {
        if times.len() < 2 {
            return Error { max: f64::NAN, rms: f64::NAN };
        }
        let mut at = 0;
        let carried = self.grid.iter().map(|&t| {
            while at + 2 < times.len() && times[at + 1] < t {
                at += 1;
            }
            let x = ((t - times[at]) / (times[at + 1] - times[at])).clamp(0.0, 1.0);
            error[at] + x * (error[at + 1] - error[at])
        });
        let on_grid = measure(carried);
        Error { max: on_grid.max.max(measure(error.iter().copied()).max), rms: on_grid.rms }
    }
}

fn measure(errors: impl Iterator<Item = f64>) -> Error {
    let (mut max, mut sum, mut n) = (0.0_f64, 0.0, 0.0);
    for e in errors {
        // a NaN must not hide behind f64::max
        max = if e.is_nan() { f64::NAN } else { max.max(e.abs()) };
        sum += e * e;
        n += 1.0;
    }
    Error { max: if sum.is_nan() { f64::NAN } else { max }, rms: (sum / n).sqrt() }
}

/// Little-endian float64 numbers.
pub fn floats(bytes: &[u8]) -> Vec<f64> {
    bytes.as_chunks::<8>().0.iter().map(|b| f64::from_le_bytes(*b)).collect()
}

/// FNV-1a, 64 bits: a name for a cached file.
pub fn fnv(bytes: impl Iterator<Item = u8>) -> u64 {
    bytes.fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3))
}
