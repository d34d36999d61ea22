//! A plan as resolved: the subject, what is varied, how, and what is reported.

use std::path::{Path, PathBuf};

use crate::batch::distribution::Distribution;
use crate::batch::sections::save::Which;
use crate::input::parameter_path::ParameterPath;

/// A plan.
#[derive(Clone, Debug)]
pub struct Plan {
    /// One line that names it.
    pub title: String,
    /// The scenario file; `None` where a rating or a dead-time study is varied.
    pub scenario: Option<PathBuf>,
    /// How values are chosen.
    pub sampling: Sampling,
    /// Variants that are solved side by side at most, where the plan says.
    pub lanes: Option<usize>,
    /// Variants whose errors are estimated.
    pub estimate: Estimated,
    /// What is varied.
    pub inputs: Vec<Input>,
    /// Factor of the correlation matrix of all inputs; `None`: they are independent.
    pub correlation: Option<Vec<Vec<f64>>>,
    /// Further numbers.
    pub measures: Vec<MeasureSpec>,
    /// The search.
    pub search: Option<Search>,
    /// Variants whose waveforms are kept.
    pub keep: Vec<Which>,
}

/// Variants whose errors are estimated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Estimated {
    /// Numbers 0, 16, 32, …: the largest error of a column counts for all of it.
    #[default]
    Sixteenth,
    /// All: each has its own errors.
    All,
    /// None: numbers are judged as they stand.
    None,
}

impl Estimated {
    /// Words of the plan, in the order of the variants above; the first is the default.
    pub const WORDS: [&str; 3] = ["sixteenth", "all", "none"];

    /// By its word.
    pub fn of_word(word: &str) -> Self {
        match word {
            "all" => Self::All,
            "none" => Self::None,
            _ => Self::Sixteenth,
        }
    }

    /// Whether a variant is among them.
    pub fn includes(self, variant: usize) -> bool {
        match self {
            Self::Sixteenth => variant.is_multiple_of(16),
            Self::All => true,
            Self::None => false,
        }
    }

    /// Which errors are estimated, for people.
    pub fn words(self) -> &'static str {
        match self {
            Self::Sixteenth => {
                "estimated of every sixteenth variant, by two coarser runs; the largest of a column counts for all of it"
            }
            Self::All => "estimated of every variant, by two coarser runs",
            Self::None => "not estimated: numbers are judged as they stand",
        }
    }
}

/// A varied value.
#[derive(Clone, Debug)]
pub struct Input {
    /// Name of its column.
    pub name: String,
    /// Where it stands.
    pub parameter: ParameterPath,
    /// Its values.
    pub values: Values,
}

/// The values of an input, in the unit of its parameter.
#[derive(Clone, Debug, PartialEq)]
pub enum Values {
    /// Stated: the values of a grid, or of each variant of a list.
    Stated(Vec<f64>),
    /// Drawn.
    Drawn(Distribution),
}

/// How values are chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sampling {
    /// Every value with every other.
    Grid,
    /// As listed.
    List,
    /// Independent draws.
    MonteCarlo {
        /// Number of variants.
        variants: usize,
        /// Seed.
        seed: u64,
    },
    /// Latin hypercube.
    LatinHypercube {
        /// Number of variants.
        variants: usize,
        /// Seed.
        seed: u64,
    },
    /// Sobol sequence.
    SobolSequence {
        /// Number of variants.
        variants: usize,
        /// Seed.
        seed: u64,
    },
    /// Pairs of points and their mixtures.
    Sensitivity {
        /// Number of pairs.
        base: usize,
        /// Seed.
        seed: u64,
    },
}

/// A number told of each variant.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasureSpec {
    /// Name of its column.
    pub name: String,
    /// Number of the channel among those that the scenario records.
    pub channel: usize,
    /// What is reported.
    pub what: Measured,
    /// Unit symbol.
    pub unit: String,
}

/// What is reported of a signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measured {
    /// Value at the end.
    End,
    /// Mean over time.
    Mean,
    /// Root of the mean square over time.
    Rms,
    /// Last instant at which it enters the band.
    SettlingTime {
        /// Final value.
        target: f64,
        /// Allowed distance.
        band: f64,
    },
}

/// A search.
#[derive(Clone, Debug)]
pub struct Search {
    /// Name of its column.
    pub name: String,
    /// Where the value stands.
    pub parameter: ParameterPath,
    /// Ends of the search.
    pub ends: (f64, f64),
    /// Name of the limit.
    pub limit: String,
    /// Width of the last bracket over its larger end.
    pub tolerance: f64,
}

impl Plan {
    /// Number of variants; `None` where it is beyond all counting.
    pub fn count(&self) -> Option<usize> {
        let stated = |i: &Input| match &i.values {
            Values::Stated(values) => values.len(),
            Values::Drawn(_) => 1,
        };
        match self.sampling {
            Sampling::Grid => self.inputs.iter().map(stated).try_fold(1usize, usize::checked_mul),
            Sampling::List => Some(self.inputs.first().map_or(0, stated)),
            Sampling::MonteCarlo { variants, .. }
            | Sampling::LatinHypercube { variants, .. }
            | Sampling::SobolSequence { variants, .. } => Some(variants),
            Sampling::Sensitivity { base, .. } => base.checked_mul(self.inputs.len() + 2),
        }
    }

    /// Values of all variants, one variant after the other, in the units of the slots. In a grid the last input
    /// changes fastest.
    pub fn values(&self) -> Vec<f64> {
        use crate::batch::sample::{latin_hypercube, monte_carlo, sensitivity, sobol_sequence};
        let k = self.inputs.len();
        let mut points = match self.sampling {
            Sampling::Grid => return self.grid(),
            Sampling::List => return self.rows(),
            Sampling::MonteCarlo { variants, seed } => monte_carlo(variants, k, seed),
            Sampling::LatinHypercube { variants, seed } => latin_hypercube(variants, k, seed),
            Sampling::SobolSequence { variants, seed } => sobol_sequence(variants, k, seed),
            Sampling::Sensitivity { base, seed } => sensitivity(base, k, seed),
        };
        for point in points.chunks_mut(k) {
            if let Some(factor) = &self.correlation {
                crate::batch::distribution::correlate(factor, point);
            }
            for (p, input) in point.iter_mut().zip(&self.inputs) {
                if let Values::Drawn(distribution) = &input.values {
                    *p = distribution.quantile(*p);
                }
            }
        }
        points
    }

    fn stated(&self) -> Vec<&[f64]> {
        self.inputs
            .iter()
            .filter_map(|i| match &i.values {
                Values::Stated(values) => Some(values.as_slice()),
                Values::Drawn(_) => None,
            })
            .collect()
    }

    fn grid(&self) -> Vec<f64> {
        let stated = self.stated();
        let count = self.count().unwrap_or(0);
        let mut all = Vec::with_capacity(count * stated.len());
        for variant in 0..count {
            let mut rest = count;
            for values in &stated {
                rest /= values.len();
                all.push(values[variant / rest % values.len()]);
            }
        }
        all
    }

    fn rows(&self) -> Vec<f64> {
        let stated = self.stated();
        (0..self.count().unwrap_or(0)).flat_map(|k| stated.iter().map(move |values| values[k])).collect()
    }
}

/// A path that a file names, relative to that file.
pub fn beside(file: &Path, named: &str) -> PathBuf {
    file.parent().unwrap_or(Path::new("")).join(named)
}
