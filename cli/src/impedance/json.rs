//! Impedances for programs: SI units, null for what is not finite.

use std::collections::BTreeMap;

use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm};
use joulestep_engine::thermal::pulses::repetitive_peak;
use serde::Serialize;

use super::{DUTIES, Impedance, Path, Points, STEADY, times};
use crate::judge::Uncertainty;

#[derive(Serialize)]
struct Packages<'a> {
    packages: Vec<Package<'a>>,
}

#[derive(Serialize)]
struct Package<'a> {
    package: &'a str,
    title: &'a str,
    property_temperature: f64,
    dies: &'a [String],
    boundaries: &'a [String],
    junction_to_case: Option<PathDocument<'a>>,
    junction_to_boundary: PathDocument<'a>,
    steady_rise_over_case_in_place: &'a [Option<f64>],
    steady_rise_over_case_errors: Vec<Option<Uncertainty>>,
}

#[derive(Serialize)]
struct PathDocument<'a> {
    time: Vec<f64>,
    dies: Vec<Die<'a>>,
    meshes: Vec<Mesh<'a>>,
    observed_order: Option<f64>,
    modes: usize,
    reduction_error: f64,
}

#[derive(Serialize)]
struct Mesh<'a> {
    cells: usize,
    steady_resistances: &'a [f64],
}

#[derive(Serialize)]
struct Die<'a> {
    die: &'a str,
    steady_resistance: f64,
    steady_resistance_error: Uncertainty,
    largest_error: f64,
    impedance: Vec<f64>,
    impedance_errors: Vec<Option<f64>>,
    heated_by: BTreeMap<&'a str, Mutual>,
    pulses: Vec<Pulses>,
    foster: Vec<Term>,
    foster_largest_error: f64,
    cauer: Vec<Cell>,
    foster_all_modes: Vec<Term>,
    structure_function: Structure,
}

#[derive(Serialize)]
struct Mutual {
    steady: f64,
    steady_error: Uncertainty,
    impedance: Vec<f64>,
    impedance_errors: Vec<Option<f64>>,
}

#[derive(Serialize)]
struct Pulses {
    duty: f64,
    peak: Vec<f64>,
    peak_errors: Vec<f64>,
}

#[derive(Serialize)]
struct Structure {
    resistance: Vec<f64>,
    capacitance: Vec<f64>,
}

#[derive(Serialize)]
struct Term {
    resistance: f64,
    time_constant: f64,
}

#[derive(Serialize)]
struct Cell {
    capacitance: f64,
    resistance: f64,
}

#[derive(Serialize)]
struct Fitted<'a> {
    points: usize,
    steady_resistance: f64,
    largest_error: f64,
    rms_error: f64,
    foster: Vec<Term>,
    cauer: Vec<Cell>,
    round_trip_difference: f64,
    note: &'a str,
}

/// One package, or two.
pub fn json(packages: &[Impedance]) -> impl Serialize {
    Packages { packages: packages.iter().map(package).collect() }
}

fn package(of: &Impedance) -> Package<'_> {
    let to = |path| describe(path, &of.dies);
    Package {
        package: &of.name,
        title: &of.title,
        property_temperature: of.temperature,
        dies: &of.dies,
        boundaries: &of.boundaries,
        junction_to_case: of.case.as_ref().map(to),
        junction_to_boundary: to(&of.ambient),
        steady_rise_over_case_in_place: &of.over_case,
        steady_rise_over_case_errors: of
            .over_case
            .iter()
            .enumerate()
            .map(|(d, rise)| rise.map(|_| of.ambient.steady_error(d)))
            .collect(),
    }
}

/// A fit of measured points.
pub fn points_json(points: &Points) -> impl Serialize {
    Fitted {
        points: points.points.len(),
        steady_resistance: points.fit.terms.iter().map(|t| t.resistance).sum(),
        largest_error: points.fit.largest,
        rms_error: points.fit.typical,
        foster: foster(&points.fit.terms),
        cauer: cauer(&points.cells),
        round_trip_difference: points.round_trip,
        note: super::text::NOT_LAYERS,
    }
}

fn describe<'a>(path: &'a Path, dies: &'a [String]) -> PathDocument<'a> {
    let network = path.network();
    let time = times(&Span::default(), 5);
    let die = |d: usize| {
        let exact = path.terms(d);
        let curve = |from| time.iter().map(|t| network.step_response(*t, d, from)).collect::<Vec<_>>();
        let errors = |from| time.iter().map(|t| path.error(*t, d, from).plus_minus()).collect::<Vec<_>>();
        let mutual = |j| Mutual {
            steady: network.steady_resistance(d, j),
            steady_error: path.error(STEADY, d, j),
            impedance: curve(j),
            impedance_errors: errors(j),
        };
        let others = (0..dies.len()).filter(|j| *j != d);
        let pulses = |duty: f64| {
            let peak: Vec<f64> = time.iter().map(|t| repetitive_peak(&exact, *t, duty)).collect();
            let error = |(t, peak): (&f64, &f64)| peak * path.share_of_pulses(*t, d);
            Pulses { duty, peak_errors: time.iter().zip(&peak).map(error).collect(), peak }
        };
        let (resistance, capacitance) = path.structure(d).into_iter().unzip();
        Die {
            die: &dies[d],
            steady_resistance: network.steady_resistance(d, d),
            steady_resistance_error: path.steady_error(d),
            largest_error: path.errors[d],
            impedance: curve(d),
            impedance_errors: errors(d),
            heated_by: others.map(|j| (dies[j].as_str(), mutual(j))).collect(),
            pulses: DUTIES.map(pulses).into(),
            foster: foster(&path.fits[d].terms),
            foster_largest_error: path.fits[d].largest,
            cauer: cauer(&path.cells(d)),
            foster_all_modes: foster(&exact),
            structure_function: Structure { resistance, capacitance },
        }
    };
    let study = &path.study;
    let meshes = study.levels.iter().map(|l| Mesh { cells: l.cells, steady_resistances: &l.resistances });
    PathDocument {
        dies: (0..dies.len()).map(die).collect(),
        meshes: meshes.collect(),
        observed_order: study.order,
        modes: network.time_constants().len(),
        reduction_error: study.finest.error,
        time,
    }
}

fn foster(terms: &[FosterTerm]) -> Vec<Term> {
    let term = |t: &FosterTerm| Term { resistance: t.resistance, time_constant: t.time_constant };
    terms.iter().map(term).collect()
}

fn cauer(cells: &[CauerCell]) -> Vec<Cell> {
    let cell = |c: &CauerCell| Cell { capacitance: c.capacitance, resistance: c.resistance };
    cells.iter().map(cell).collect()
}
