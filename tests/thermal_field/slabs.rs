//! One-dimensional heat flow.

use std::sync::Arc;

use joulestep_engine::thermal::convert::{cauer_to_foster, foster_to_cauer};
use joulestep_engine::thermal::field::reduce::Span;
use joulestep_engine::thermal::modal::Modal;
use joulestep_engine::thermal::network::CauerCell;
use joulestep_engine::thermal::pulses::structure_function;
use joulestep_engine::thermal::run::Thermal;

use super::{Layer, assert_close, column, port, slab, solved};

/// An exact compact network of a slab, for times from `shortest` to `longest`.
fn exact(shortest: f64, longest: f64) -> Span {
    Span { shortest, longest, tolerance: 1e-6 }
}

/// Semi-infinite solid under constant flux, surface and depth. Carslaw & Jaeger, Conduction of Heat in Solids,
/// 2nd ed., sec. 2.9; Incropera eq. 5.62 (from memory); tolerance 1e-3.
#[test]
fn semi_infinite_solid_under_constant_flux() {
    let cases = [
        (2e8, [370.0_f64, 3210.0, 690.0], 1e-5, 5e-5, 24.9291305178452, 6.68822908952693),
        (1e9, [300.0, 3210.0, 750.0], 1e-6, 2e-5, 41.9866557240819, 5.13897656699378),
    ];
    for (q, [k, rho, c], t, x, surface, depth) in cases {
        // Twelve diffusion lengths are without end.
        let thick = 12.0 * (k / (rho * c) * t).sqrt();
        let mut body = slab(&[[thick, k, rho, c]], 1e-6, f64::INFINITY);
        body.ports.push(port("depth", [0.0, 0.0, thick - x], [1e-3, 1e-3, thick - x]));
        body.ports[1].heated = false;
        let network = solved(&body, &column(0.01 * t, 12), &exact(0.1 * t, t)).network;
        let watts = q * 1e-6;
        assert_close("surface", watts * network.step_response(t, 0, 0), surface, 1e-3);
        assert_close("depth", watts * network.step_response(t, 1, 0), depth, 1e-3);
    }
}

/// Finite slab heated on one face, the other isothermal or insulated. Carslaw & Jaeger sec. 3.8 and 3.11 (from
/// memory); tolerance 1e-3.
#[test]
fn finite_slab_isothermal_or_insulated_behind() {
    let copper = [390.0, 8930.0, 385.0];
    let cases = [
        (1e6, 0.002, 0.01, 3.06261400750613, 3.10045000048473, 5.12820512820513),
        (2e7, 0.0003, 1e-4, 6.16282617597022, 6.16330124525947, 15.3846153846154),
    ];
    for (q, thick, t, isothermal, insulated, steady) in cases {
        let [k, rho, c] = copper;
        let at = |coefficient: f64| {
            let body = slab(&[[thick, k, rho, c]], 1e-6, coefficient);
            solved(&body, &column(0.01 * t, 4), &exact(0.1 * t, t)).network
        };
        let watts = q * 1e-6;
        let held = at(f64::INFINITY);
        assert_close("isothermal", watts * held.step_response(t, 0, 0), isothermal, 1e-3);
        assert_close("steady", watts * held.steady_resistance(0, 0), steady, 1e-6);
        // A film of 1 W/(m²·K) lets a millionth through in this time.
        assert_close("insulated", watts * at(1.0).step_response(t, 0, 0), insulated, 1e-3);
    }
}

/// Plane wall with convection (Biot series): temperatures and heat given off after a step of the fluid's
/// temperature. Incropera & DeWitt Table 5.1, eqs. 5.39 to 5.43 (from memory); tolerance 1e-4.
#[test]
fn plane_wall_with_convection() {
    let cases = [
        (0.1, 1.0, 0.922388571600134, 0.878126487609133, 0.0924129205911223),
        (1.0, 0.5, 0.77252638342381, 0.504521927895862, 0.318895434553279),
        (10.0, 0.1, 0.96842421384933, 0.170573811499945, f64::NAN),
        (100.0, 0.2, 0.779361638195957, 0.0124584142106497, 0.494271782917165),
    ];
    let (thick, k, rho, c) = (0.01, 1.0, 1000.0, 1000.0);
    for (biot, fourier, middle, surface, given) in cases {
        let mut body = slab(&[[thick, k, rho, c]], 1e-4, biot * k / thick);
        // The face itself has its film between it and the fluid; a hair inside it is the same within 1e-7.
        let hair = 1e-9 * thick + 2e-9;
        body.ports.push(port("face", [0.0, 0.0, hair], [0.01, 0.01, hair]));
        let time = fourier * thick * thick * rho * c / k;
        let network = solved(&body, &column(1e-4 * time, 8), &exact(1e-3 * time, time)).network;
        let mut heat = Thermal::new(Arc::new(Modal::<f64>::of_compact(&network)));
        heat.set_boundary(0, -1.0);
        heat.advance(time, &[0.0, 0.0]);
        assert_close("middle", 1.0 + heat.temperatures()[0], middle, 1e-4);
        assert_close("face", 1.0 + heat.temperatures()[1], surface, 1e-4);
        if given.is_finite() {
            let whole = rho * c * thick * 1e-4;
            assert_close("heat given off", heat.heat_out()[0] / whole, given, 1e-4);
        }
        assert!(heat.residual().abs() < 1e-9 * heat.heat_out()[0].abs());
    }
}

fn sintered() -> Vec<Layer> {
    vec![[0.0002, 370.0, 3210.0, 690.0], [4e-05, 180.0, 8500.0, 235.0], [0.001, 390.0, 8930.0, 385.0]]
}

fn soldered() -> Vec<Layer> {
    vec![
        [0.0001, 330.0, 3210.0, 690.0],
        [6e-05, 58.0, 7400.0, 220.0],
        [0.0015, 390.0, 8930.0, 385.0],
        [0.0002, 3.0, 2500.0, 1000.0],
        [0.005, 200.0, 2700.0, 900.0],
    ]
}

/// Composite slabs, heat on top, convection below, by thermal quadrupoles and Laplace inversion. Maillet et al.,
/// Thermal Quadrupoles, Wiley 2000 (from memory); tolerance 5e-3.
#[test]
fn composite_slabs() {
    let long = 1e6;
    /// Layers, two numbers of the case, and times with impedances.
    type Case<'a> = (Vec<Layer>, f64, f64, &'a [(f64, f64)]);
    let cases: [Case<'_>; 2] = [
        (
            sintered(),
            1.6e-5,
            2e5,
            &[
                (1e-6, 0.00246352601637511),
                (1e-5, 0.00779035328682911),
                (1e-4, 0.024731560789203),
                (1e-3, 0.0764065628802894),
                (1e-2, 0.227101282578519),
                (0.1, 0.513687077175707),
                (long, 0.520429082929083),
            ],
        ),
        (
            soldered(),
            9e-6,
            5e4,
            &[
                (1e-6, 0.0046374422924304),
                (1e-5, 0.0146659233027396),
                (1e-4, 0.0530760327131859),
                (1e-3, 0.193539336712013),
                (1e-2, 0.462680272289547),
                (0.1, 2.05259163797594),
                (1.0, 9.54502837699544),
                (long, 12.9833703971635),
            ],
        ),
    ];
    for (layers, area, coefficient, points) in cases {
        let body = slab(&layers, area, coefficient);
        let network = solved(&body, &column(1e-6, 5), &Span::default()).network;
        for (t, z) in points {
            assert_close(&format!("{t} s"), network.step_response(*t, 0, 0), *z, 5e-3);
        }
    }
}

/// Layers in series, specific resistance Σ d/k. Worked table in Sci. Rep. 13 (2023) s41598-023-46538-6, Table 1
/// (the unrounded sum); the second package derived.
#[test]
fn layers_in_series() {
    let cases: [(&[[f64; 2]], f64); 2] = [
        (&[[0.00035, 490.0], [3e-05, 36.0], [0.0008, 394.0]], 3.57807590041093),
        (
            &[[0.0001, 330.0], [2e-05, 200.0], [0.0005, 390.0], [0.0001, 1.0], [0.003, 200.0]],
            116.685081585082,
        ),
    ];
    for (layers, expected) in cases {
        let layers: Vec<Layer> = layers.iter().map(|[d, k]| [*d, *k, 3000.0, 500.0]).collect();
        let span = Span { tolerance: 1e-7, ..Span::default() };
        let network = solved(&slab(&layers, 1e-6, f64::INFINITY), &column(1e-6, 1), &span).network;
        assert_close("resistance of 1 mm²", network.steady_resistance(0, 0), expected, 1e-9);
    }
}

/// Two packages that differ in the last interface only: their impedances part when the heat has reached it (the
/// idea of JESD51-14). Numbers by Laplace inversion of thermal quadrupoles, derived; tolerance 1e-2, where they differ
/// by more than 1e-6.
#[test]
fn packages_part_where_they_differ() {
    let at = |coefficient: f64| {
        let body = slab(&sintered(), 1.6e-5, coefficient);
        let span = Span { shortest: 1e-5, longest: 1.0, tolerance: 1e-10 };
        solved(&body, &column(1e-6, 16), &span).network
    };
    let (good, bad) = (at(2e5), at(4e4));
    let apart = |t: f64| bad.step_response(t, 0, 0) - good.step_response(t, 0, 0);
    assert!(apart(1e-4).abs() < 1e-8 && apart(1e-3).abs() < 1e-7);
    for (t, expected) in [
        (0.002, 2.4753726811492e-06),
        (0.005, 0.000743820644670089),
        (0.01, 0.0089299273860638),
        (0.1, 0.616516401219148),
    ] {
        assert_close(&format!("apart at {t} s"), apart(t), expected, 1e-2);
    }
}

/// The structure function of a package passes the sums of resistance and capacitance at every layer's end, after
/// its ladder has become Foster terms and a ladder again. Székely & Van Bien, Solid-State Electron. 31 (1988) 1363
/// (from memory); tolerance 1e-9.
#[test]
fn structure_function_at_the_ends_of_layers() {
    /// Layers, a number of the case, and pairs.
    type Case<'a> = (Vec<Layer>, f64, &'a [(f64, f64)]);
    let cases: [Case<'_>; 2] = [
        (
            sintered(),
            1.6e-5,
            &[
                (0.0337837837837838, 0.00708768),
                (0.0476726726726727, 0.00836608),
                (0.207929082929083, 0.06337488),
            ],
        ),
        (
            soldered(),
            9e-6,
            &[
                (0.0336700336700337, 0.00199341),
                (0.148612562405666, 0.00287253),
                (0.575962989756093, 0.049286205),
                (7.9833703971635, 0.053786205),
                (10.7611481749413, 0.163136205),
            ],
        ),
    ];
    let parts = 4;
    for (layers, area, ends) in cases {
        let slices = layers.iter().flat_map(|[d, k, rho, c]| {
            let d = d / parts as f64;
            std::iter::repeat_n(
                CauerCell { capacitance: rho * c * d * area, resistance: d / (k * area) },
                parts,
            )
        });
        let ladder: Vec<CauerCell> = slices.collect();
        let back = foster_to_cauer(&cauer_to_foster(&ladder).unwrap()).unwrap();
        let steps = structure_function(&back);
        for (layer, (r, c)) in ends.iter().enumerate() {
            let (found_r, found_c) = steps[(layer + 1) * parts - 1];
            assert_close("resistance", found_r, *r, 1e-9);
            assert_close("capacitance", found_c, *c, 1e-9);
        }
    }
}
