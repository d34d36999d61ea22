//! Impedances for people.

use std::fmt::Write;

use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::network::{CauerCell, FosterTerm};
use joulestep_engine::thermal::pulses::repetitive_peak;
use joulestep_engine::units::people;

use super::{DUTIES, Impedance, Path, Points, times};
use crate::diagnostic::printable;

/// What must be said beside every Foster network.
pub const NOT_LAYERS: &str = "Foster terms are not layers: they reproduce the impedance at the junction and have no temperatures inside; do not cut them at a case or add a heatsink to them. Cauer cells are a ladder from the junction outwards.";

/// One package, or two held against one another.
pub fn text(packages: &[Impedance]) -> String {
    let mut out = String::new();
    for package in packages {
        one(package, &mut out);
    }
    if let [a, b] = packages {
        against(a, b, &mut out);
    }
    let _ = writeln!(out, "{NOT_LAYERS}");
    out
}

/// A fit of measured points.
pub fn points_text(points: &Points) -> String {
    let mut out = String::new();
    let sum: f64 = points.fit.terms.iter().map(|t| t.resistance).sum();
    let _ = writeln!(
        out,
        "{} points, {} Foster terms, {} in all; error {:.2} % at most, {:.2} % rms",
        points.points.len(),
        points.fit.terms.len(),
        people(sum, "K/W"),
        100.0 * points.fit.largest,
        100.0 * points.fit.typical
    );
    coefficients(&points.fit.terms, &points.cells, &mut out);
    let _ = writeln!(out, "ladder and back: the same within {:.0e}", points.round_trip);
    let _ = writeln!(out, "{NOT_LAYERS}");
    out
}

fn one(package: &Impedance, out: &mut String) {
    let _ = writeln!(out, "{}: {}", printable(&package.name), printable(&package.title));
    let _ = writeln!(
        out,
        "  properties at {}; heat goes to {}",
        people(package.temperature, "degC"),
        package.boundaries.join(", ")
    );
    let paths = [("case", package.case.as_ref()), ("boundary", Some(&package.ambient))];
    for (to, path) in paths.into_iter().filter_map(|(to, path)| Some((to, path?))) {
        let study = &path.study;
        let cells: Vec<String> = study.levels.iter().map(|l| l.cells.to_string()).collect();
        let order = study.order.map_or("not clear, taken as 1".to_string(), |p| format!("{p:.2}"));
        let _ = writeln!(
            out,
            "  to {to}: meshes of {} cells, order {order}; {} modes, right within {:.2} %",
            cells.join(", "),
            path.network().time_constants().len(),
            100.0 * study.finest.error
        );
    }
    for die in 0..package.dies.len() {
        of_die(package, die, out);
    }
    if package.dies.len() > 1 {
        mutual(package, out);
    }
    out.push('\n');
}

fn of_die(package: &Impedance, die: usize, out: &mut String) {
    let _ = writeln!(out, "\n{}", printable(&package.dies[die]));
    let steady = |path: &Path| path.network().steady_resistance(die, die);
    if let Some(case) = &package.case {
        let error = 100.0 * case.errors[die];
        let _ = writeln!(
            out,
            "  junction to case      {} {} (error at most {error:.1} % at any time)",
            people(steady(case), "K/W"),
            case.steady_error(die).words("K/W")
        );
    }
    let error = 100.0 * package.ambient.errors[die];
    let _ = writeln!(
        out,
        "  junction to boundary  {} {} (error at most {error:.1} % at any time)",
        people(steady(&package.ambient), "K/W"),
        package.ambient.steady_error(die).words("K/W")
    );
    if let Some(rise) = package.over_case[die] {
        let error = package.ambient.steady_error(die).words("K/W");
        let rise = people(rise, "K/W");
        let _ = writeln!(out, "  over the case's mean  {rise} {error} with the whole package in place");
    }
    let _ = write!(out, "\n  {:>9}", "time");
    if package.case.is_some() {
        let _ = write!(out, " {:>9} {:>7}", "to case", "±");
    }
    let _ = write!(out, " {:>9} {:>7}", "boundary", "±");
    for duty in &DUTIES[1..] {
        let _ = write!(out, " {:>9}", format!("D = {duty}"));
    }
    let _ = writeln!(out, "   K/W; peak of repeated pulses by duty");
    let exact = package.ambient.terms(die);
    for t in times(&Span::default(), 2) {
        let _ = write!(out, "  {:>9}", people(t, "s"));
        for path in package.case.iter().chain([&package.ambient]) {
            let z = figure(path.network().step_response(t, die, die));
            let _ = write!(out, " {z:>9} {:>7}", two(path.error(t, die, die).plus_minus()));
        }
        for duty in &DUTIES[1..] {
            let _ = write!(out, " {:>9}", figure(repetitive_peak(&exact, t, *duty)));
        }
        out.push('\n');
    }
    let most = times(&Span::default(), 2).into_iter().map(|t| package.ambient.share_of_pulses(t, die));
    let most = 100.0 * most.fold(0.0, f64::max);
    let _ = writeln!(out, "  peaks of repeated pulses: ± {most:.1} % at most");
    for (to, path) in [("case", package.case.as_ref()), ("boundary", Some(&package.ambient))] {
        let Some(path) = path else { continue };
        let fit = &path.fits[die];
        let _ = writeln!(
            out,
            "\n  to {to}: {} terms through the curve, {:.1} % off at most",
            fit.terms.len(),
            100.0 * fit.largest
        );
        coefficients(&fit.terms, &path.cells(die), out);
    }
    structure(&package.ambient.structure(die), out);
}

/// Foster terms and Cauer cells side by side.
fn coefficients(terms: &[FosterTerm], cells: &[CauerCell], out: &mut String) {
    let _ =
        writeln!(out, "  {:>13} {:>13}   {:>13} {:>13}", "Foster R, K/W", "tau", "Cauer C, J/K", "R, K/W");
    for k in 0..terms.len().max(cells.len()) {
        let (r, tau) = terms
            .get(k)
            .map_or_else(Default::default, |t| (figure(t.resistance), people(t.time_constant, "s")));
        let (c, rc) =
            cells.get(k).map_or_else(Default::default, |c| (figure(c.capacitance), figure(c.resistance)));
        let _ = writeln!(out, "  {r:>13} {tau:>13}   {c:>13} {rc:>13}");
    }
}

/// Where the resistance passes each tenth of the whole.
fn structure(steps: &[(f64, f64)], out: &mut String) {
    let Some(whole) = steps.last() else { return };
    let _ = writeln!(
        out,
        "\n  structure function to the boundary: heat capacitance reached at each tenth of the resistance"
    );
    for row in [1..=5, 6..=9] {
        out.push_str("  ");
        for tenth in row {
            let r = whole.0 * f64::from(tenth) / 10.0;
            let c = steps.iter().find(|s| s.0 >= r).map_or(whole.1, |s| s.1);
            let _ = write!(out, " {:>9} {:<12}", figure(r), people(c, "J/K"));
        }
        out.push('\n');
    }
}

fn mutual(package: &Impedance, out: &mut String) {
    let network = package.ambient.network();
    let _ = writeln!(out, "\nbetween dies, to the boundary, K/W");
    let _ = write!(out, "  {:>9}", "time");
    let pairs: Vec<(usize, usize)> =
        (0..package.dies.len()).flat_map(|i| (0..i).map(move |j| (j, i))).collect();
    for (i, j) in &pairs {
        let _ = write!(out, " {:>20} {:>7}", format!("{} - {}", package.dies[*i], package.dies[*j]), "±");
    }
    out.push('\n');
    for t in times(&Span::default(), 1) {
        let _ = write!(out, "  {:>9}", people(t, "s"));
        for (i, j) in &pairs {
            let error = two(package.ambient.error(t, *i, *j).plus_minus());
            let _ = write!(out, " {:>20} {error:>7}", figure(network.step_response(t, *i, *j)));
        }
        out.push('\n');
    }
}

/// The ratio of two packages, die by die in their order.
fn against(a: &Impedance, b: &Impedance, out: &mut String) {
    let _ = writeln!(out, "{} against {}: ratio of the impedances", printable(&a.name), printable(&b.name));
    for die in 0..a.dies.len() {
        // Dies of one name belong together; else those in the same place.
        let other = b.dies.iter().position(|d| *d == a.dies[die]).unwrap_or(die);
        if other >= b.dies.len() {
            continue;
        }
        let _ = writeln!(out, "\n  {} against {}", printable(&a.dies[die]), printable(&b.dies[other]));
        let _ = writeln!(out, "  {:>9} {:>9} {:>7} {:>9} {:>7}", "time", "to case", "±", "boundary", "±");
        let ratio = |pa: &Path, pb: &Path, t: f64| {
            pa.network().step_response(t, die, die) / pb.network().step_response(t, other, other)
        };
        for t in times(&Span::default(), 1) {
            let case = a.case.as_ref().zip(b.case.as_ref());
            let share = |pa: &Path, pb: &Path| {
                let of = |p: &Path, die: usize| p.study.mesh_error(t, die) + p.study.finest.error;
                of(pa, die) + of(pb, other)
            };
            let describe = |pa: &Path, pb: &Path| {
                let ratio = ratio(pa, pb, t);
                format!("{ratio:>9.3} {:>7}", two(Some(ratio * share(pa, pb))))
            };
            let case = case.map_or(format!("{:>9} {:>7}", "-", ""), |(x, y)| describe(x, y));
            let boundary = describe(&a.ambient, &b.ambient);
            let _ = writeln!(out, "  {:>9} {case} {boundary}", people(t, "s"));
        }
    }
    out.push('\n');
}

/// Two digits of an error.
fn two(x: Option<f64>) -> String {
    match x {
        Some(x) if x > 0.0 && x.is_finite() => match x.log10().floor() as i32 {
            k @ -4..=1 => format!("{x:.*}", (1 - k) as usize),
            _ => format!("{x:.1e}"),
        },
        Some(x) => format!("{x}"),
        None => "-".into(),
    }
}

/// Four digits, in a few places.
fn figure(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    match x.abs().log10().floor() as i32 {
        k @ -4..=3 => format!("{x:.*}", (3 - k) as usize),
        _ => format!("{x:.2e}"),
    }
}
