//! The key tables of a plan file.

pub mod save;

use std::sync::OnceLock;

use joulestep_models::model::Range::{NotNegative, Positive};

use crate::batch::plan::Estimated;
use crate::input::keys::shape::{Form, Key, Kind, Kinds, Section, keys};
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
        let keys: Vec<Key> = OF_PLAN.iter().copied().chain(CATALOGUE.iter().map(study)).collect();
        Section {
            name: "",
            help: "A plan: a scenario or a study, its varied inputs and the outputs of each variant",
            kinds: Kinds::None,
            keys: keys.leak(),
        }
    })
}

const OF_PLAN: &[Key] = keys! {
    need "format": Form::Whole(FORMAT, FORMAT), "version of the plan format: 2";
    may "title": Form::Text, "one line that names the plan";
    may "scenario": Form::Text, "the scenario file whose run is varied, relative to this file; or else a study";
    may "lanes": Form::Whole(1, 8), "variants of a run solved side by side at most: 1, 4 or 8; default 8";
    may "estimate": Form::Word(&Estimated::WORDS),
        "variants whose errors two coarser computations estimate: `sixteenth` (numbers 0, 16, 32, ...; the largest error of a \
         column counts for all of it), `all` or `none`; default sixteenth";
    need "sampling": Form::Table(&SAMPLING), "how the values of the variants are chosen";
    need "vary": Form::Tables(&VARY), "values of the scenario or study that are varied";
    may "correlation": Form::Tables(&CORRELATION), "correlations of distributed values";
    may "output": Form::Tables(&OUTPUT), "further numbers of each variant of a run";
    may "limit": Form::Tables(&LIMIT), "limits of the answers of a study (those of a scenario stand in it)";
    may "keep": Form::Tables(&save::KEEP), "variants of a run whose waveforms are kept";
    may "search": Form::Table(&SEARCH), "the value at which a limit is just met, for each variant";
};

const VARIANTS: Key = Key::need("variants", Form::Whole(1, MOST_VARIANTS), "number of variants");
const SEED: Key = Key::may("seed", Form::Whole(0, i64::MAX), "seed of the pseudo-random numbers; default 1");

/// How the values are chosen.
pub static SAMPLING: Section = Section {
    name: "sampling",
    help: "How the values of the variants are chosen",
    kinds: Kinds::Listed(
        "kind",
        &[
            Kind { word: "grid", help: "Every value with every other", keys: &[] },
            Kind {
                word: "list",
                help: "The rows of a CSV file whose first line names its columns, or of a Parquet file",
                keys: &[Key::need("file", Form::Text, "the CSV or .parquet file, relative to this file")],
            },
            Kind { word: "monte-carlo", help: "Independent draws", keys: &[VARIANTS, SEED] },
            Kind {
                word: "latin-hypercube",
                help: "One draw in each of as many layers of equal probability as there are variants",
                keys: &[VARIANTS, SEED],
            },
            Kind {
                word: "sobol-sequence",
                help: "The Sobol sequence, shifted by the seed; a power of two of variants is best",
                keys: &[VARIANTS, SEED],
            },
            Kind {
                word: "sensitivity",
                help: "Pairs of points of a Sobol sequence and their mixtures, for first-order and total Sobol indices",
                keys: &[
                    Key::need(
                        "base",
                        Form::Whole(2, MOST_VARIANTS),
                        "points; there are (values + 2) times as many variants",
                    ),
                    SEED,
                ],
            },
        ],
    ),
    keys: &[Key::need("kind", Form::Text, "kind of sampling")],
};

/// A varied value.
pub static VARY: Section = Section {
    name: "vary",
    help: "A value of the scenario, rating or study that is varied",
    kinds: Kinds::Listed(
        "kind",
        &[
            Kind {
                word: "values",
                help: "These values (grid)",
                keys: &[Key::need("values", Form::Measures, "the values")],
            },
            Kind {
                word: "range",
                help: "Values spread over a range (grid)",
                keys: keys! {
                    need "from": Form::Measure, "first value";
                    need "to": Form::Measure, "last value";
                    need "points": Form::Whole(2, 1_000_000), "number of values";
                    may "spacing": Form::Word(&["linear", "logarithmic"]), "how they are spread; default linear";
                },
            },
            Kind {
                word: "column",
                help: "A column of the list: quantities, or bare numbers in SI base units (degC for temperatures)",
                keys: &[Key::need("column", Form::Text, "its name in the first line")],
            },
            Kind { word: "uniform", help: "Equally likely between two bounds", keys: &[LOWER, UPPER] },
            Kind { word: "normal", help: "The normal distribution", keys: &[MEAN, DEVIATION] },
            Kind {
                word: "truncated-normal",
                help: "The normal distribution, of which only what lies between two bounds is drawn",
                keys: &[MEAN, DEVIATION, LOWER, UPPER],
            },
            Kind {
                word: "lognormal",
                help: "The logarithm is normally distributed",
                keys: keys! {
                    need "median": Form::Measure, "median";
                    need "log-deviation": Form::Quantity("1", Positive),
                        "standard deviation of the natural logarithm";
                },
            },
            Kind {
                word: "triangular",
                help: "The triangular distribution",
                keys: &[LOWER, Key::need("mode", Form::Measure, "most likely value"), UPPER],
            },
        ],
    ),
    keys: keys! {
        need "value": Form::Text,
            "where it stands, such as component.limiter.inductance or package.layer.jfet.thickness";
        may "name": Form::Text, "name of its column; default: where it stands";
        need "kind": Form::Text, "values, range, column, or a distribution";
    },
};

const LOWER: Key = Key::need("lower", Form::Measure, "lower bound");
const UPPER: Key = Key::need("upper", Form::Measure, "upper bound");
const MEAN: Key = Key::need("mean", Form::Measure, "mean");
const DEVIATION: Key = Key::need("deviation", Form::Measure, "standard deviation; of a temperature in K");

/// A correlation.
pub static CORRELATION: Section = Section {
    name: "correlation",
    help: "Correlation of two distributed values, by a Gaussian copula",
    kinds: Kinds::None,
    keys: keys! {
        need "between": Form::Texts, "names of two varied values";
        need "coefficient": Form::Quantity("1", joulestep_models::model::Range::Between(-1.0, 1.0)),
            "correlation coefficient of the normal variables behind them";
    },
};

/// A further number.
pub static OUTPUT: Section = Section {
    name: "output",
    help: "A further output of each variant, from a recorded signal",
    kinds: Kinds::Listed(
        "measure",
        &[
            Kind { word: "end", help: "Value at the end", keys: &[] },
            Kind { word: "mean", help: "Mean over time", keys: &[] },
            Kind { word: "rms", help: "Root of the mean square over time", keys: &[] },
            Kind {
                word: "settling-time",
                help: "Last instant at which the signal enters the band around its final value",
                keys: keys! {
                    need "target": Form::Measure, "final value";
                    need "band": Form::Measure, "allowed distance from it, on either side";
                },
            },
        ],
    ),
    keys: keys! {
        need "name": Form::Name, "unique name; its column's";
        need "signal": Form::Text, "a signal that the scenario records";
        need "measure": Form::Text, "`end`, `mean`, `rms` or `settling-time`";
    },
};

/// A search.
pub static SEARCH: Section = Section {
    name: "search",
    help: "For each variant, by bisection, the value at which a limit is just met",
    kinds: Kinds::None,
    keys: keys! {
        need "value": Form::Text, "where it stands";
        may "name": Form::Text, "name of its column; default: where it stands";
        need "lower": Form::Measure, "lower end of the search";
        need "upper": Form::Measure, "upper end of the search";
        need "limit": Form::Text, "name of the limit";
        may "tolerance": Form::Quantity("1", NotNegative),
            "width of the last bracket over its larger end; default 0.1 %";
    },
};
