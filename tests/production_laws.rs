//! The production models against their own statements: what a part file says is what the device does, and nothing
//! jumps on the way.

use joulestep_engine::circuit::graph::{Body, Circuit, GROUND};

use crate::common::catalogued::put;
use crate::common::rig::near as close;

/// The production JFET meets the numbers it is stated by: on-resistance and saturation current, each on its own, at
/// 25 °C and, with its exponents, when hot. Closed form, our own law.
#[test]
fn production_jfet_meets_its_statement() {
    for share in [0.0, 0.3, 0.7] {
        for saturation in [150.0, 300.0, 500.0] {
            let (r, exponent) = (16e-3, 1.9);
            let mut c = Circuit::new();
            let drain = c.node("drain");
            let given = [
                ("on-resistance", r),
                ("resistance-exponent", exponent),
                ("saturation-exponent", exponent),
                ("saturation-current", saturation),
                ("pinch-off", -9.0),
                ("pinch-off-drift", 0.0),
                ("drain-effect", 0.0),
                ("drift-share", share),
            ];
            let built = put(&mut c, "jfet", "J", &[drain, GROUND, GROUND], &given);
            let id = built.components[0].0 as usize;
            let Body::Device(device) = &mut c.components[id].body else { panic!("a jfet is a device") };
            for kelvin in [298.15, 423.15] {
                device.set_temperature(kelvin);
                let warm = (kelvin / 298.15_f64).powf(exponent);
                let mut out = [0.0; 12];
                device.evaluate(&[0.0, 0.0], &mut out);
                close("Ron", 1.0 / out[4], r * warm, 1e-9);
                device.evaluate(&[60.0, 0.0], &mut out);
                close("Isat", out[0], saturation / warm, 1e-9);
            }
        }
    }
}

/// A die whose saturation current is that of its channel alone has no drift region: drain and source may be exchanged,
/// i(vds, vgs) = −i(−vds, vgs − vds).
#[test]
fn a_jfet_without_drift_region_is_symmetric() {
    let (r, pinch_off) = (5e-3, 9.0);
    let given = [
        ("on-resistance", r),
        ("saturation-current", pinch_off / (2.0 * r)),
        ("pinch-off", -pinch_off),
        ("drift-share", 0.0),
        ("drain-effect", 0.0),
    ];
    let mut c = Circuit::new();
    let pins = ["d", "g", "s"].map(|n| c.node(n));
    put(&mut c, "jfet", "J", &pins, &given);
    let Body::Device(device) = &c.components[0].body else { panic!() };
    let at = |u: [f64; 2]| {
        let mut out = [0.0; 4];
        device.values(&u, &mut out);
        out[0]
    };
    for (vds, vgs) in [(0.3, 0.0), (2.0, -1.0), (7.0, -3.0), (12.0, -8.0), (5.0, -9.1)] {
        close("exchanged", -at([-vds, vgs - vds]), at([vds, vgs]), 1e-9);
    }
}

/// Nothing jumps where textbook laws have their corners: through zero drain voltage and through pinch-off or threshold
/// the conductances move continuously.
#[test]
fn production_dies_are_smooth_through_their_corners() {
    let stamp_at = |kind: &str, u: [f64; 2]| {
        let mut c = Circuit::new();
        let pins = ["d", "g", "s"].map(|n| c.node(n));
        let given: &[(&str, f64)] = match kind {
            "jfet" => &[("on-resistance", 5e-3), ("saturation-current", 900.0), ("pinch-off", -9.0)],
            _ => &[("on-resistance", 5e-4), ("threshold", 5.0), ("breakdown-voltage", 32.0)],
        };
        put(&mut c, kind, "x", &pins, given);
        let mut out = [0.0; 12];
        let Body::Device(device) = &c.components[0].body else { panic!() };
        device.evaluate(&u, &mut out);
        out
    };
    for (kind, corner) in [("jfet", -9.0), ("mosfet", 5.0)] {
        for k in -200..200 {
            let x = 1e-3 * k as f64;
            for u in [[x, corner + 6.0], [x, corner], [10.0, corner + x]] {
                let step = if u[0] == x { [u[0] + 1e-5, u[1]] } else { [u[0], u[1] + 1e-5] };
                let (a, b) = (stamp_at(kind, u), stamp_at(kind, step));
                let largest = a[4..8].iter().fold(1.0_f64, |m, x| m.max(x.abs()));
                for (p, q) in a[4..8].iter().zip(&b[4..8]) {
                    assert!((p - q).abs() < 1e-3 * largest, "{kind} at {u:?}: {p} to {q}");
                }
            }
        }
    }
}

/// i = P/v above the minimum voltage; below it a passive, odd, finite current. Closed form.
#[test]
fn constant_power_load() {
    let mut c = Circuit::<f64>::new();
    let a = c.node("a");
    put(&mut c, "constant-power", "P", &[a, GROUND], &[("power", 8e3), ("minimum-voltage", 250.0)]);
    let Body::Device(device) = &c.components[0].body else { panic!() };
    let at = |v: f64| {
        let mut out = [0.0; 4];
        device.evaluate(&[v], &mut out);
        (out[0], out[2])
    };
    for v in [250.0, 300.0, 400.0, 650.0] {
        close("i", at(v).0, 8e3 / v, 1e-14);
        close("di/dv", at(v).1, -8e3 / (v * v), 1e-14);
        assert_eq!(at(-v).0, -at(v).0);
    }
    assert_eq!(at(0.0).0, 0.0);
    close("ohmic", at(0.0).1, 3.0 * 8e3 / (250.0 * 250.0), 1e-14);
    let (below, above) = (at(250.0 - 1e-6), at(250.0 + 1e-6));
    close("slope across the minimum", below.1, above.1, 1e-7);
}
