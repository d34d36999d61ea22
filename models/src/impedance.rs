//! Transient thermal impedances of packages: meshes, reduced networks, fits of few terms, and how wrong they may be.

use joulestep_engine::thermal::compact::Compact;
use joulestep_engine::thermal::convert::foster_to_cauer;
use joulestep_engine::thermal::field::error::FieldError;
use joulestep_engine::thermal::field::mesh::Sizing;
use joulestep_engine::thermal::field::reduce::{Span, Work};
use joulestep_engine::thermal::field::study::{MeshStudy, study};
use joulestep_engine::thermal::fit::{Fit, fit};
use joulestep_engine::thermal::network::{CauerCell, FosterTerm};
use joulestep_engine::thermal::pulses::{differential_structure_function, structure_function};

use crate::package::{Package, PackageError, Solid, to_ambient, to_case};

/// Duties of the families of repeated pulses; 0 is a single pulse.
pub const DUTIES: [f64; 7] = [0.0, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5];
/// Divisions that the finest mesh may have.
const FINEST: usize = 6;
/// Points per decade through which coefficients are fitted.
const PER_DECADE: usize = 8;

/// Heat from the dies of a package to where it goes: the underside of the case held at one temperature, or the cooled
/// faces.
#[derive(Clone, Debug)]
pub struct Path {
    /// The meshes, and the network of the finest.
    pub study: MeshStudy,
    /// A Foster fit of few terms for each die.
    pub fits: Vec<Fit>,
    /// Largest error of the compact network and of the cells over all time, for each die.
    pub errors: Vec<f64>,
}

/// The impedances of a package.
#[derive(Clone, Debug)]
pub struct Impedance {
    /// Names of the dies.
    pub dies: Vec<String>,
    /// Names of the fixed temperatures.
    pub boundaries: Vec<String>,
    /// To the cooled faces.
    pub ambient: Path,
    /// To the case; `None` where no layer is one.
    pub case: Option<Path>,
    /// Steady rise of each die over the mean of its case with the whole package in place, K/W; `None` as above.
    pub over_case: Vec<Option<f64>>,
}

joulestep_engine::packed!(Path: study, fits, errors);
joulestep_engine::packed!(Impedance: dies, boundaries, ambient, case, over_case);

/// Why there are no impedances.
#[derive(Clone, Debug, thiserror::Error)]
pub enum ImpedanceError {
    /// The package is wrong.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Package(Vec<PackageError>),
    /// It could not be solved.
    #[error(transparent)]
    Field(FieldError),
    /// It was asked to stop.
    #[error("stopped")]
    Stopped,
}

impl From<FieldError> for ImpedanceError {
    fn from(error: FieldError) -> Self {
        if error == FieldError::Stopped { Self::Stopped } else { Self::Field(error) }
    }
}

impl ImpedanceError {
    /// Whether it is the input that is wrong, not the solution that failed.
    pub fn is_input(&self) -> bool {
        !matches!(self, Self::Field(FieldError::NotConverged { .. }))
    }
}

/// Solves a package with at most `cells` cells, and fits at most `terms` terms. `stop` is asked now and then.
///
/// # Errors
/// [`ImpedanceError`].
pub fn solve(
    package: &Package,
    cells: usize,
    terms: usize,
    stop: &(dyn Fn() -> bool + Sync),
) -> Result<Impedance, ImpedanceError> {
    let whole = to_ambient(package).map_err(ImpedanceError::Package)?;
    let dies: Vec<String> = whole.body.ports[..whole.dies].iter().map(|p| p.name.clone()).collect();
    let ambient = path(&whole, cells, terms, stop)?;
    let case = match package.layers.iter().any(|l| l.case) {
        // It is the smaller part: fewer cells are finer there.
        true => Some(path(&to_case(package).map_err(ImpedanceError::Package)?, cells / 2, terms, stop)?),
        false => None,
    };
    let network = &ambient.study.finest.network;
    let cases = whole.body.ports.len() - whole.dies;
    let over_case = (0..whole.dies).map(|die| {
        // With several cases it is the one that the die heats most.
        let case = (whole.dies..whole.dies + cases).max_by(|a, b| {
            network.steady_resistance(*a, die).total_cmp(&network.steady_resistance(*b, die))
        })?;
        Some(network.steady_resistance(die, die) - network.steady_resistance(case, die))
    });
    Ok(Impedance {
        dies,
        boundaries: whole.body.boundaries.iter().map(|b| b.name.clone()).collect(),
        over_case: over_case.collect(),
        ambient,
        case,
    })
}

fn path(
    solid: &Solid,
    cells: usize,
    terms: usize,
    stop: &(dyn Fn() -> bool + Sync),
) -> Result<Path, ImpedanceError> {
    let sizing = Sizing { division: FINEST, limit: cells, ..Sizing::default() };
    let span = Span::default();
    let study = study(&solid.body, &sizing, Work { span, stop }, solid.kelvin)?;
    let network = &study.finest.network;
    let times = times(&span, PER_DECADE);
    let fits = (0..solid.dies).map(|die| {
        let curve: Vec<(f64, f64)> =
            times.iter().map(|t| (*t, network.step_response(*t, die, die))).collect();
        // Round-off may let the flat end fall by a last digit.
        let rising = curve.iter().scan(0.0, |high: &mut f64, (t, z)| {
            *high = high.max(*z);
            Some((*t, *high))
        });
        fit(&rising.collect::<Vec<_>>(), Some(terms)).unwrap_or(Fit {
            terms: Vec::new(),
            largest: f64::NAN,
            typical: f64::NAN,
        })
    });
    let errors = (0..solid.dies).map(|die| {
        let cells = times.iter().map(|t| study.mesh_error(*t, die)).fold(0.0, f64::max);
        cells + study.finest.error
    });
    Ok(Path { fits: fits.collect(), errors: errors.collect(), study })
}

/// Times over a span, evenly in each decade, s.
pub fn times(span: &Span, per_decade: usize) -> Vec<f64> {
    let count = ((span.longest / span.shortest).log10() * per_decade as f64).round() as i32;
    let first = span.shortest.log10().round() as i32;
    let per = per_decade as i32;
    (0..=count)
        .map(|k| 10f64.powi(first + k / per) * 10f64.powf(f64::from(k % per) / f64::from(per)))
        .collect()
}

/// By when every temperature stands still, s.
pub const STEADY: f64 = 1e9;

impl Path {
    /// How far the rise of die `at` after `t` s of one watt in die `from` may be wrong, K/W: the mesh, as its three
    /// levels tell, and the reduction to a compact network; not finite where only one mesh fits into the cells. Between
    /// dies the mesh's error is at most the geometric mean of their own (Cauchy & Schwarz: what cells of some size
    /// leave out of the heat flow is a positive form).
    pub fn error(&self, t: f64, at: usize, from: usize) -> f64 {
        let own = |die: usize| self.network().step_response(t, die, die);
        let mesh = |die: usize| self.study.mesh_error(t, die) * own(die);
        (mesh(at) * mesh(from)).sqrt() + self.study.finest.error * own(from)
    }

    /// The same as a share of a die's own impedance.
    pub fn share(&self, t: f64, die: usize) -> f64 {
        self.study.mesh_error(t, die) + self.study.finest.error
    }

    /// Whether the meshes converge: where they do not, errors are a cautious guess.
    pub fn converges(&self) -> bool {
        self.study.order.is_some()
    }

    /// How far the peak of repeated pulses on a die may be wrong, as a share of it: as the impedance for one of them,
    /// or in the steady state, whichever is more.
    pub fn share_of_pulses(&self, t: f64, die: usize) -> f64 {
        self.share(t, die).max(self.share(STEADY, die))
    }

    /// The compact network.
    pub fn network(&self) -> &Compact {
        &self.study.finest.network
    }

    /// The exact Foster terms of a die's own impedance.
    pub fn terms(&self, die: usize) -> Vec<FosterTerm> {
        self.network().foster_terms(die, die)
    }

    /// Cauer cells of the fit of few terms.
    pub fn cells(&self, die: usize) -> Vec<CauerCell> {
        foster_to_cauer(&self.fits[die].terms).unwrap_or_default()
    }

    /// Cumulative structure function of a die, from all modes: (K/W, J/K).
    pub fn structure(&self, die: usize) -> Vec<(f64, f64)> {
        structure_function(&foster_to_cauer(&self.terms(die)).unwrap_or_default())
    }

    /// Differential structure function of a die, from all modes: (K/W, W²s/K²).
    pub fn differential(&self, die: usize) -> Vec<(f64, f64)> {
        differential_structure_function(&foster_to_cauer(&self.terms(die)).unwrap_or_default())
    }

    /// Steady rise of the hottest point of the body per watt in a die, K/W: a die's impedance is that of the mean over its
    /// heated volume.
    pub fn hottest_point(&self, die: usize) -> f64 {
        self.study.finest.hottest[die]
    }
}
