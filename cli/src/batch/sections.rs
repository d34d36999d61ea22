//! The key tables of a plan file.

pub mod save;

use std::sync::OnceLock;

use joulestep_models::model::Range::{NotNegative, Positive};

use crate::batch::plan::Estimated;
use crate::input::keys::shape::{Form, Key, Kinds, Section};
use crate::input::keys::table::{keys, kinds};
use crate::study::inputs::LIMIT;
use crate::study::{CATALOGUE, Entry};

/// Version of the plan format that this program reads.
pub const FORMAT: i64 = 2;

/// No plan has more variants than this.
pub const MOST_VARIANTS: i64 = 10_000_000;

/// The root table of a plan file: what is varied (a scenario, or the table of a study of the catalogue), and how.
pub fn plan() -> &'static Section {
    static PLAN: OnceLock<Section> = OnceLock::new();
    PLAN.get_or_init(|| {
        let study = |e: &&'static Entry| Key::may(e.section.name, Form::Table(e.section), e.section.help);
        let keys: Vec<Key> = Plan::KEYS.iter().copied().chain(CATALOGUE.iter().map(study)).collect();
        Section {
            name: "",
            help: "A plan: a scenario or a study, its varied inputs and the outputs of each variant",
            kinds: Kinds::None,
            keys: keys.leak(),
        }
    })
}

keys! {
    /// A plan.
    pub struct Plan;
    need format: Unread(Form::Whole(FORMAT, FORMAT)), "version of the plan format: 2";
    may title: Text, "one line that names the plan";
    may scenario: Text, "the scenario file whose run is varied, relative to this file; or else a study";
    may lanes: Whole(1, 8), "variants of a run solved side by side at most: 1, 4 or 8; default 8";
    may estimate: Word(&Estimated::WORDS),
        "variants whose errors two coarser computations estimate: `sixteenth` (numbers 0, 16, 32, ...; the largest error of a \
         column counts for all of it), `all` or `none`; default sixteenth";
    need sampling: Table(&SAMPLING), "how the values of the variants are chosen";
    need vary: Tables(&VARY), "values of the scenario or study that are varied";
    may correlation: Tables(&CORRELATION), "correlations of distributed values";
    may output: Tables(&OUTPUT), "further numbers of each variant of a run";
    may limit: Unread(Form::Tables(&LIMIT)), "limits of the answers of a study (those of a scenario stand in it)";
    may keep: Tables(&save::KEEP), "variants of a run whose waveforms are kept";
    may search: Table(&SEARCH), "the value at which a limit is just met, for each variant";
}

keys! {
    /// How the values are chosen.
    pub struct Sampling in SAMPLING =
        "sampling": "How the values of the variants are chosen", by Sampled::KINDS;
    need kind: Text as Sampled, "kind of sampling";
}
kinds! {
    /// How the values are chosen.
    pub enum Sampled by "kind";
    Grid = "grid", "Every value with every other";
    List(Listed) = "list",
        "The rows of a CSV file whose first line names its columns, or of a Parquet file";
    MonteCarlo(Drawn) = "monte-carlo", "Independent draws";
    LatinHypercube(Drawn) = "latin-hypercube",
        "One draw in each of as many layers of equal probability as there are variants";
    SobolSequence(Drawn) = "sobol-sequence",
        "The Sobol sequence, shifted by the seed; a power of two of variants is best";
    Sensitivity(Mixed) = "sensitivity",
        "Pairs of points of a Sobol sequence and their mixtures, for first-order and total Sobol indices";
}
const SEED: &str = "seed of the pseudo-random numbers; default 1";
keys! {
    /// From a file.
    pub struct Listed;
    need file: Text, "the CSV or .parquet file, relative to this file";
}
keys! {
    /// So many.
    pub struct Drawn;
    need variants: Whole(1, MOST_VARIANTS), "number of variants";
    may seed: Whole(0, i64::MAX), SEED, else 1;
}
keys! {
    /// For Sobol indices.
    pub struct Mixed;
    need base: Whole(2, MOST_VARIANTS), "points; there are (values + 2) times as many variants";
    may seed: Whole(0, i64::MAX), SEED, else 1;
}

keys! {
    /// A varied value.
    pub struct Vary in VARY =
        "vary": "A value of the scenario, rating or study that is varied", by Varied::KINDS;
    need value: Text, "where it stands, such as component.limiter.inductance or package.layer.jfet.thickness";
    may name: Text, "name of its column; default: where it stands";
    need kind: Text as Varied, "values, range, column, or a distribution";
}
kinds! {
    /// The values.
    pub enum Varied by "kind";
    Values(Stated) = "values", "These values (grid)";
    Range(Spaced) = "range", "Values spread over a range (grid)";
    Column(Column) = "column",
        "A column of the list: quantities, or bare numbers in SI base units (degC for temperatures)";
    Uniform(Uniform) = "uniform", "Equally likely between two bounds";
    Normal(Normal) = "normal", "The normal distribution";
    TruncatedNormal(TruncatedNormal) = "truncated-normal",
        "The normal distribution, of which only what lies between two bounds is drawn";
    Lognormal(Lognormal) = "lognormal", "The logarithm is normally distributed";
    Triangular(Triangular) = "triangular", "The triangular distribution";
}
const LOWER: &str = "lower bound";
const UPPER: &str = "upper bound";
const MEAN: &str = "mean";
const DEVIATION: &str = "standard deviation; of a temperature in K";
keys! {
    /// Stated one by one.
    pub struct Stated;
    need values: Measures, "the values";
}
keys! {
    /// Over a range.
    pub struct Spaced;
    need from: Measure, "first value";
    need to: Measure, "last value";
    need points: Whole(2, 1_000_000), "number of values";
    may spacing: Word(&["linear", "logarithmic"]), "how they are spread; default linear";
}
keys! {
    /// Of the list.
    pub struct Column;
    need column: Text, "its name in the first line";
}
keys! {
    /// Equally likely.
    pub struct Uniform;
    need lower: Measure, LOWER;
    need upper: Measure, UPPER;
}
keys! {
    /// Normally distributed.
    pub struct Normal;
    need mean: Measure, MEAN;
    need deviation: Measure, DEVIATION;
}
keys! {
    /// Normally distributed between bounds.
    pub struct TruncatedNormal;
    need mean: Measure, MEAN;
    need deviation: Measure, DEVIATION;
    need lower: Measure, LOWER;
    need upper: Measure, UPPER;
}
keys! {
    /// The logarithm is normally distributed.
    pub struct Lognormal;
    need median: Measure, "median";
    need log_deviation: Quantity("1", Positive), "standard deviation of the natural logarithm";
}
keys! {
    /// Rising to a value, then falling.
    pub struct Triangular;
    need lower: Measure, LOWER;
    need mode: Measure, "most likely value";
    need upper: Measure, UPPER;
}

keys! {
    /// A correlation.
    pub struct Correlation in CORRELATION = "correlation": "Correlation of two distributed values, by a Gaussian copula";
    need between: Texts, "names of two varied values";
    need coefficient: Quantity("1", joulestep_models::model::Range::Between(-1.0, 1.0)),
        "correlation coefficient of the normal variables behind them";
}

keys! {
    /// A further number.
    pub struct Output in OUTPUT =
        "output": "A further output of each variant, from a recorded signal", by Measure::KINDS;
    need name: Name, "unique name; its column's";
    need signal: Text, "a signal that the scenario records";
    need measure: Text as Measure, "`end`, `mean`, `rms` or `settling-time`";
}
kinds! {
    /// What is taken of the signal.
    pub enum Measure by "measure";
    End = "end", "Value at the end";
    Mean = "mean", "Mean over time";
    Rms = "rms", "Root of the mean square over time";
    SettlingTime(Settling) = "settling-time",
        "Last instant at which the signal enters the band around its final value";
}
keys! {
    /// Around the final value.
    pub struct Settling;
    need target: Measure, "final value";
    need band: Measure, "allowed distance from it, on either side";
}

keys! {
    /// A search.
    pub struct Search in SEARCH = "search": "For each variant, by bisection, the value at which a limit is just met";
    need value: Text, "where it stands";
    may name: Text, "name of its column; default: where it stands";
    need lower: Measure, "lower end of the search";
    need upper: Measure, "upper end of the search";
    need limit: Text, "name of the limit";
    may tolerance: Quantity("1", NotNegative),
        "width of the last bracket over its larger end; default 0.1 %", else 1e-3;
}
