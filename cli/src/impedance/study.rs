//! Impedances as a result file keeps them.

use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm};
use joulestep_engine::units::people;

use super::{Impedance, Path, Points, picture, points_picture, text, times};
use crate::answer::{Study, StudyFigure, StudyTable};
use crate::table::{Cell, Head, Table};

/// Points per decade of the table.
const PER_DECADE: usize = 3;

fn definitions() -> Vec<(String, String)> {
    [
        (
            "Z_th(t)",
            "rise of the mean temperature over the heated volume of a die per watt of a power step into it",
        ),
        ("Case", "underside of the case, held at one temperature"),
        ("Boundary", "the fixed temperatures to which the whole package leads the heat"),
        ("±, error", "of the mesh, by three meshes, and of the reduction to a compact network, at any time"),
        ("Foster and Cauer", text::NOT_LAYERS),
    ]
    .map(|(a, b)| (a.to_string(), b.to_string()))
    .to_vec()
}

fn coefficients(all: &[(String, &[FosterTerm], Vec<CauerCell>)]) -> Table {
    let heads = vec![
        Head::text("path"),
        Head::number("term", "no.", "1"),
        Head::number("foster_resistance", "Foster R", "K/W"),
        Head::number("foster_time_constant", "τ", "s"),
        Head::number("cauer_capacitance", "Cauer C", "J/K"),
        Head::number("cauer_resistance", "Cauer R", "K/W"),
    ];
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for (path, terms, cells) in all {
        for k in 0..terms.len().max(cells.len()) {
            rows.push(vec![
                path.as_str().into(),
                ((k + 1) as f64).into(),
                terms.get(k).map(|t| t.resistance).into(),
                terms.get(k).map(|t| t.time_constant).into(),
                cells.get(k).map(|c| c.capacitance).into(),
                cells.get(k).map(|c| c.resistance).into(),
            ]);
        }
    }
    Table { heads, rows }
}

/// Every path of every die, named.
fn paths(packages: &[Impedance]) -> Vec<(String, usize, &Path)> {
    let mut out = Vec::new();
    for package in packages {
        for (d, die) in package.dies.iter().enumerate() {
            let of = if packages.len() > 1 { format!("{}, {die}", package.name) } else { die.clone() };
            out.extend(package.case.as_ref().map(|path| (format!("{of} to case"), d, path)));
            out.push((format!("{of} to boundary"), d, &package.ambient));
        }
    }
    out
}

/// Packages with everything behind them.
pub fn as_study(packages: &[Impedance], command: &str, inputs: String) -> Study {
    let paths = paths(packages);
    let steady = |d: usize, path: &Path| path.network().steady_resistance(d, d);
    let mut heads = vec![Head::number("time", "time", "s")];
    let both = |(name, ..): &(String, usize, &Path)| {
        [Head::number(name, name, "K/W"), Head::number(&format!("{name} ±"), "±", "K/W")]
    };
    heads.extend(paths.iter().flat_map(both));
    let rows = times(&Span::default(), PER_DECADE).into_iter().map(|t| {
        let values = paths.iter().flat_map(|(_, d, path)| {
            let error = path.error(t, *d, *d).plus_minus();
            [Cell::from(path.network().step_response(t, *d, *d)), Cell::from(error)]
        });
        std::iter::once(Cell::from(t)).chain(values).collect()
    });
    let curves = Table { heads, rows: rows.collect() };
    let resistances = Table {
        heads: vec![
            Head::text("path"),
            Head::number("steady_resistance", "R_th", "K/W"),
            Head::number("steady_resistance_error", "±", "K/W"),
            Head::text("error_kind"),
            Head::number("largest_error", "error at most", "1"),
            Head::number("modes", "modes", "1"),
        ],
        rows: paths
            .iter()
            .map(|(name, d, path)| {
                let modes = path.network().time_constants().len() as f64;
                let error = path.steady_error(*d);
                vec![
                    name.as_str().into(),
                    steady(*d, path).into(),
                    error.plus_minus().into(),
                    error.word().into(),
                    path.errors[*d].into(),
                    modes.into(),
                ]
            })
            .collect(),
    };
    let fits: Vec<_> = paths
        .iter()
        .map(|(name, d, path)| (name.clone(), &path.fits[*d].terms[..], path.cells(*d)))
        .collect();
    let names: Vec<&str> = packages.iter().map(|s| s.name.as_str()).collect();
    let answers = paths.iter().map(|(name, d, path)| {
        let error = 100.0 * path.errors[*d];
        format!(
            "{name}: {} {} in the steady state (error at most {error:.1} % at any time).",
            people(steady(*d, path), "K/W"),
            path.steady_error(*d).words("K/W")
        )
    });
    let conditions = packages.iter().map(|s| {
        format!(
            "{}: {}; properties at {}; heat goes to {}.",
            s.name,
            s.title,
            people(s.temperature, "degC"),
            s.boundaries.join(", ")
        )
    });
    let caption =
        "Thermal impedance against time, of repeated pulses by duty, and the cumulative structure function.";
    Study {
        kind: "impedance".into(),
        title: format!("What is the transient thermal impedance of {}?", names.join(" and ")),
        command: command.into(),
        inputs,
        verdict: None,
        statements: answers.collect(),
        conditions: conditions.collect(),
        definitions: definitions(),
        tables: vec![
            StudyTable::new("steady", "Thermal resistances in the steady state", 1, resistances),
            StudyTable::new("impedance", "Z_th against time", 1, curves),
            StudyTable::new("coefficients", "Foster terms and Cauer cells", 2, coefficients(&fits)),
        ],
        figures: vec![StudyFigure::new(caption, picture(packages))],
        ..Study::default()
    }
}

/// A fit of measured points with everything behind it.
pub fn points_as_study(points: &Points, file: &str, command: &str, typed: &str) -> Study {
    let sum: f64 = points.fit.terms.iter().map(|t| t.resistance).sum();
    let of: [(String, &[FosterTerm], Vec<CauerCell>); 1] =
        [("fit".into(), &points.fit.terms, points.cells.clone())];
    let measured = Table {
        heads: vec![Head::number("time", "time", "s"), Head::number("impedance", "Z_th", "K/W")],
        rows: points.points.iter().map(|p| vec![p.0.into(), p.1.into()]).collect(),
    };
    Study {
        kind: "impedance".into(),
        title: format!("Which Foster network runs through the thermal impedance measured in {file}?"),
        command: command.into(),
        inputs: format!("# file: {file}\n{typed}"),
        verdict: None,
        statements: vec![format!(
            "{} terms, {} in all, run through {} points with an error of at most {:.2} %, {:.2} % rms.",
            points.fit.terms.len(),
            people(sum, "K/W"),
            points.points.len(),
            100.0 * points.fit.largest,
            100.0 * points.fit.typical
        )],
        conditions: vec!["The points are taken as measured; what lies outside them is not known.".into()],
        definitions: definitions().split_off(4),
        tables: vec![
            StudyTable::new("coefficients", "Foster terms and Cauer cells", 2, coefficients(&of)),
            StudyTable::new("points", "Measured points", 1, measured),
        ],
        figures: vec![StudyFigure::new(
            "The measured points and the fitted network.",
            points_picture(points),
        )],
        ..Study::default()
    }
}
