//! Packages: shipped ones against facts of the trade, broken ones against the errors they get.

use std::io::ErrorKind;
use std::path::Path;

use joulestep::input::keys::InputError;
use joulestep::input::package::read;
use joulestep_engine::thermal::compact::Compact;
use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::reduce::{Span, reduce};
use joulestep_engine::thermal::field::system::System;
use joulestep_models::package::{Package, Solid, shipped, to_ambient, to_case};

fn package(name: &str) -> Package {
    read(name, &|_| Err(ErrorKind::NotFound.into())).expect("it is shipped")
}

fn network(solid: &Solid, sizing: &Sizing) -> Compact {
    let mesh = Mesh::new(&solid.body, sizing, solid.kelvin).expect("few cells");
    let system = System::new(&solid.body, &mesh, solid.kelvin).expect("a body");
    reduce(&system, &Span::default()).expect("it converges").network
}

/// Common practice, no source: of a cascode in a surface-mounted power package on a board with an insulating interface,
/// junction to case is about 1.5 K·mm²/W; it dominates up to about 1 ms and adds nothing after 10 ms, where the board
/// counts; thinning the die and sintering its attach lowers it by 30 % to 40 % for one die size.
#[test]
fn the_low_ohmic_package_is_as_the_trade_knows_it() {
    let sizing = Sizing::coupling();
    let of = |name: &str| network(&to_case(&package(name)).expect("it has a case"), &sizing);
    let (thin, thick) = (of("board-700v-7m"), of("board-700v-7m-soldered"));
    let jfet = thin.port("jfet").expect("it has a JFET");
    let steady = |n: &Compact| n.steady_resistance(jfet, jfet);
    assert!((1.3..1.8).contains(&(9.79 * steady(&thin))), "{}", steady(&thin));
    let lower = 1.0 - steady(&thin) / steady(&thick);
    assert!((0.30..0.40).contains(&lower), "{lower}");
    let whole = network(
        &to_ambient(&package("board-700v-7m")).unwrap(),
        &Sizing { division: 1, ..Sizing::default() },
    );
    let case = |t: f64| thin.step_response(t, jfet, jfet);
    let ambient = |t: f64| whole.step_response(t, jfet, jfet);
    println!("to case {:.4}, lower by {lower:.3}, whole {:.3}", steady(&thin), ambient(1e9));
    assert!(case(1e-3) > 0.9 * ambient(1e-3) && case(0.1) < 0.25 * ambient(0.1));
    assert!(case(1e-2) > 0.99 * steady(&thin));
    assert!((1.1..1.6).contains(&ambient(1e9)), "{}", ambient(1e9));
}

#[test]
fn every_shipped_package_is_right() {
    for (name, text) in shipped() {
        let package = package(name);
        assert!(text.contains("invented = true"), "{name}");
        let solid = to_ambient(&package).unwrap();
        solid.body.check().unwrap();
        assert!(solid.body.ports.len() > solid.dies, "{name} has no case");
        to_case(&package).unwrap().body.check().unwrap();
    }
}

/// A field of vias conducts between the board alone and copper throughout; a package with it is cooler.
#[test]
fn via_fields_help() {
    let with = package("board-sj-620v-49m");
    let mut without = with.clone();
    without.layers.iter_mut().for_each(|l| l.vias.clear());
    let sizing = Sizing { division: 1, ..Sizing::default() };
    let r = |p: &Package| network(&to_ambient(p).unwrap(), &sizing).steady_resistance(0, 0);
    assert!(r(&with) < 0.7 * r(&without), "{} {}", r(&with), r(&without));
}

/// A package that is right, in which each case below breaks one thing.
const RIGHT: &str = r#"format = 1
[[layer]]
name = "die"
material = "silicon"
length = "4 mm"
width = "4 mm"
thickness = "0.2 mm"
heated-depth = "10 um"
[[layer]]
name = "slug"
material = "copper"
length = "8 mm"
width = "8 mm"
thickness = "1 mm"
case = true
[[layer]]
name = "sink"
material = "aluminium"
length = "20 mm"
width = "20 mm"
thickness = "5 mm"
[[cooling]]
layer = "sink"
kind = "convection"
coefficient = "2000 W/(m^2 K)"
"#;

fn refused(text: &str) -> String {
    match read("x.toml", &|_: &Path| Ok(text.to_string())) {
        Ok(_) => panic!("accepted:\n{text}"),
        Err(InputError::Refused(refusal)) => {
            let place = |d: &joulestep::diagnostic::Diagnostic| {
                d.span.as_ref().map(|p| refusal.sources.line_and_column(p).0)
            };
            refusal.diagnostics.iter().map(|d| format!("{} {}\n", place(d).unwrap_or(0), d.line())).collect()
        }
        Err(other) => panic!("{other:?}"),
    }
}

#[test]
fn broken_packages_are_refused_where_they_are_broken() {
    read("x.toml", &|_: &Path| Ok(RIGHT.to_string())).expect("the template is right");
    let via = "[[via-field]]\nlayer = \"slug\"\nlength = \"4 mm\"\nwidth = \"4 mm\"\npitch = \"1 mm\"\n";
    let cases = [
        // (found in the template, put in its place, expected)
        ("0.2 mm", "0 mm", "7 layer.die.thickness: `0 mm` is zero; expected a length above zero"),
        ("0.2 mm", "-1 um", "7 layer.die.thickness: `-1 um` is below zero; expected a length above zero"),
        ("0.2 mm", "0.2 K", "7 layer.die.thickness: `0.2 K` is a temperature difference; expected a length"),
        (
            "\"10 um\"",
            "\"10 um\"\noffset = [\"9 mm\", \"0 mm\"]",
            "9 layer.die.offset: `die` does not touch `slug`, on which it lies",
        ),
        (
            "\"10 um\"",
            "\"10 um\"\noffset = [\"3 mm\", \"0 mm\"]",
            "9 layer.die.offset: die `die` reaches over `slug`, which carries it",
        ),
        (
            "\"10 um\"",
            "\"10 um\"\noffset = [\"3 mm\"]",
            "9 layer.die.offset: 1 lengths; expected two: along x and y",
        ),
        (
            "\"10 um\"",
            "\"0.3 mm\"",
            "8 layer.die.heated-depth: `die` is heated 0.0003 m deep; expected between zero and its thickness",
        ),
        (
            "\"10 um\"",
            "\"10 um\"\nheated-margin = \"2 mm\"",
            "9 layer.die.heated-margin: `die` has an unheated rim of 0.002 m",
        ),
        ("\"silicon\"", "\"silicn\"", "4 layer.die.material: unknown material `silicn`; expected"),
        ("\"silicon\"", "\"silicn\"", "did you mean `silicon`?"),
        ("heated-depth = \"10 um\"\n", "", "layer: no layer is a die: nothing is heated"),
        (
            "case = true",
            "on = \"snk\"",
            "15 layer.slug.on: no layer is named `snk`; expected die, slug, sink; did you mean `sink`?",
        ),
        ("case = true", "on = \"die\"", "15 layer.slug.on: `slug` lies on itself, through others"),
        ("name = \"slug\"", "name = \"die\"", "two layers are named `die`"),
        (
            "[[layer]]\nname = \"die\"",
            "[[layer]]\nname = \"lid\"\nmaterial = \"copper\"\nlength = \"2 mm\"\nwidth = \"2 mm\"\nthickness = \"1 mm\"\non = \"slug\"\n[[layer]]\nname = \"die\"",
            "`lid` and `die` fill the same space",
        ),
        (
            "kind = \"convection\"\ncoefficient = \"2000 W/(m^2 K)\"",
            "kind = \"water\"",
            "[cooling] has no kind `water`; expected `held`, `convection` or `resistance`",
        ),
        ("\"2000 W/(m^2 K)\"", "\"2000 W/K\"", "cooling[1].coefficient: `2000 W/K` is"),
        ("layer = \"sink\"\nkind", "layer = \"slug\"\nkind", "cooling"),
        ("[[cooling]]\nlayer", "[[coling]]\nlayer", "coling: unknown key in a package"),
        (
            "[[cooling]]\nlayer = \"sink\"",
            &format!("{via}drill = \"2 mm\"\nplating = \"25 um\"\n[[cooling]]\nlayer = \"sink\""),
            "holes of 0.002 m at a pitch of 0.001 m; expected a hole, narrower than the pitch",
        ),
        (
            "[[cooling]]\nlayer = \"sink\"",
            &format!(
                "{via}drill = \"0.3 mm\"\nplating = \"25 um\"\noffset = [\"3 mm\", \"0 mm\"]\n[[cooling]]\nlayer = \"sink\""
            ),
            "a via field reaches over the outline of `slug`",
        ),
        (
            "[[cooling]]\nlayer = \"sink\"",
            &format!(
                "{}drill = \"0.3 mm\"\nplating = \"25 um\"\n[[cooling]]\nlayer = \"sink\"",
                via.replace("slug", "slog")
            ),
            "no layer is named `slog`",
        ),
    ];
    for (from, to, expected) in cases {
        assert!(RIGHT.contains(from), "{from}");
        // A covered face is found when the body is made.
        if to.starts_with("layer = \"slug\"") {
            let text = RIGHT.replace(from, to);
            let package = read("x.toml", &|_: &Path| Ok(text.clone())).unwrap();
            let wrong = to_ambient(&package).unwrap_err();
            assert!(wrong[0].to_string().contains("nothing of that face of `slug` is bare"), "{wrong:?}");
            continue;
        }
        let report = refused(&RIGHT.replacen(from, to, 1));
        assert!(report.contains(expected), "{from} -> {to}: report\n{report}expected\n{expected}");
    }
}

/// Junction to case needs a case beneath every die.
#[test]
fn a_die_without_a_case_is_reported() {
    let text = RIGHT.replace("case = true\n", "");
    let package = read("x.toml", &|_: &Path| Ok(text.clone())).unwrap();
    let wrong = to_case(&package).unwrap_err();
    assert!(
        wrong[0].to_string().contains("die `die` stands on no layer whose underside is a case"),
        "{wrong:?}"
    );
}
