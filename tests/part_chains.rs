//! The impedances that shipped parts state, against their packages solved in three dimensions.

use std::path::Path;

use joulestep::input::package::read;
use joulestep_engine::thermal::field::mesh::{Mesh, Sizing};
use joulestep_engine::thermal::field::reduce::{Span, reduce};
use joulestep_engine::thermal::field::system::System;
use joulestep_models::package::to_case;
use joulestep_models::part::Part;
use joulestep_models::rating::heat::heat_of_part;

fn part(name: &str) -> Part {
    let none = |_: &Path| Err(std::io::ErrorKind::NotFound.into());
    joulestep::input::parts::load(name, &none).map_or_else(|_| panic!("{name} is shipped"), |l| l.part)
}

/// A layer, in mm and µm.
fn layer(name: &str, material: &str, sides: [f64; 2], thickness: f64, more: &str) -> String {
    let [a, b] = sides;
    format!(
        "[[layer]]\nname = \"{name}\"\nmaterial = \"{material}\"\nlength = \"{a} mm\"\nwidth = \"{b} mm\"\nthickness = \"{thickness} um\"\n{more}\n"
    )
}

/// The dies of a part, with a rim of 0.12 mm (silicon carbide) or 0.06 mm, on 28 µm of sintered silver or one upon the
/// other on 25 µm of solder, on a slug of 9 mm by 8.4 mm by 0.6 mm whose underside is held: what the shipped numbers were
/// made of.
fn package(part: &Part) -> String {
    let mut text = "format = 1\ntitle = \"x\"\ninvented = true\ntemperature = \"100 degC\"\n".to_string();
    // The upper die stands first.
    for die in part.dies.iter().rev() {
        let carbide = die.material.unwrap().layer() == "silicon-carbide-4h";
        let rim = if carbide { 0.12 } else { 0.06 };
        let side = 1e3 * die.area.sqrt() + 2.0 * rim;
        let depth = 1e6 * die.heated_depth.unwrap();
        let heated = format!("heated-depth = \"{depth} um\"\nheated-margin = \"{rim} mm\"");
        text += &layer(
            &die.name,
            die.material.unwrap().layer(),
            [side; 2],
            1e6 * die.thickness.unwrap(),
            &heated,
        );
        let (attach, thickness) = if carbide { ("silver-sintered", 28.0) } else { ("solder-sac305", 25.0) };
        text += &layer(&format!("{}-attach", die.name), attach, [side; 2], thickness, "");
    }
    text += &layer("slug", "copper", [9.0, 8.4], 600.0, "case = true");
    text + "[[cooling]]\nlayer = \"slug\"\nface = \"bottom\"\nkind = \"held\"\nboundary = \"sink\"\ntemperature = \"45 degC\"\n"
}

/// From 1 µs on: the die on the slug within 2.5 % (1 % where it is alone), a MOSFET that stands on it within 6.5 %, and
/// what one does to the other within 9 % of the geometric mean of both; in a ladder that joins another at its die the two
/// cannot meet both, because the upper die stands where the lower one is hottest.
#[test]
fn chains_and_packages_agree() {
    let times: Vec<f64> = (-24..=0).map(|k| 10f64.powf(f64::from(k) / 4.0)).collect();
    for name in [
        "cascode-700v-7m",
        "cascode-1300v-12m",
        "cascode-1300v-48m",
        "mosfet-sic-700v-12m",
        "diode-sic-1300v-35a",
    ] {
        let part = part(name);
        let text = package(&part);
        let package = read("x.toml", &|_| Ok(text.clone())).unwrap_or_else(|_| panic!("{text}"));
        let solid = to_case(&package).unwrap();
        let sizing = Sizing { limit: 60_000, ..Sizing::default() };
        let (mesh, _) = Mesh::finest(&solid.body, &sizing, solid.kelvin, 1).unwrap();
        let system = System::new(&solid.body, &mesh, solid.kelvin).unwrap();
        let field = reduce(&system, &Span::default()).unwrap().network;
        let dies: Vec<&str> = part.dies.iter().map(|d| d.name.as_str()).collect();
        let path = heat_of_part(&part, 45.0, 0.0).unwrap().path(&dies).unwrap();
        let port = |die: &str| field.port(die).unwrap();
        let lower = part.thermal.impedance[0].die.as_str();
        let mut worst = [0.0_f64; 3];
        for t in &times {
            let own = |die: &str| field.step_response(*t, port(die), port(die));
            for (a, i) in dies.iter().zip(0..) {
                for (b, j) in dies.iter().zip(0..) {
                    let exact = field.step_response(*t, port(a), port(b));
                    let off = (path.impedance(*t, i, j) - exact).abs() / (own(a) * own(b)).sqrt();
                    let kind = if a != b { 2 } else { usize::from(*a != lower) };
                    worst[kind] = worst[kind].max(off);
                }
            }
        }
        println!("{name}: {worst:.4?}");
        let own = if dies.len() == 1 { 0.01 } else { 0.025 };
        assert!(worst[0] < own && worst[1] < 0.065 && worst[2] < 0.09, "{name}: {worst:?}");
    }
}

/// The MOSFET of a cascode whose JFET is heated alone is nearly as hot as that: it stands on it.
#[test]
fn a_die_is_warmed_by_the_one_it_stands_on() {
    let part = part("cascode-700v-7m");
    let path = heat_of_part(&part, 45.0, 0.0).unwrap().path(&["jfet", "mosfet"]).unwrap();
    assert!((path.resistance(1, 0) / path.resistance(0, 0) - 1.0).abs() < 1e-9);
    assert!(path.impedance(1e-6, 1, 0) < 0.1 * path.impedance(1e-6, 0, 0));
}

/// Silicon carbide through the c axis. Published: 387 W/(m·K) across the c axis of 6H at 300 K, going as T^−1.49 to 500 K,
/// and about 30 % less along it (Burgemeister et al., J. Appl. Phys. 50 (1979) 5790); 280 W/(m·K) and T^−1.3 along c of
/// n-type 4H (Wei et al., J. Appl. Phys. 113 (2013) 053503; from memory); 350 in pure crystals (Qian et al., J. Appl. Phys.
/// 121 (2017) 225704; from memory).
#[test]
fn silicon_carbide_along_c() {
    let known = joulestep_models::materials::find("silicon-carbide-4h").unwrap();
    let law = known.through.unwrap().shape.law();
    for (kelvin, off) in [(300.0, 0.05), (400.0, 0.1), (500.0, 0.15)] {
        let published = 0.7 * 387.0 * (kelvin / 300.0_f64).powf(-1.49);
        assert!((law.at(kelvin) / published - 1.0).abs() < off, "{kelvin}: {} {published}", law.at(kelvin));
        let n_type = 280.0 * (kelvin / 300.0_f64).powf(-1.3);
        assert!((law.at(kelvin) / n_type - 1.0).abs() < 1e-9 && n_type < 350.0);
    }
    // Less than across the axis, at any temperature of a die.
    let across = known.conductivity.shape.law();
    assert!([250.0, 300.0, 500.0, 900.0].iter().all(|&t| law.at(t) < across.at(t)));
}
