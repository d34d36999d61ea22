//! Drift regions: the one-dimensional unipolar limit, critical field and mobility against published formulas; the
//! temperature laws of the parts against published exponents. The numbers were computed independently.

use joulestep_models::budget::{
    PERMITTIVITY_4H_SIC, breakdown_4h_sic, critical_field_4h_sic, limit_4h_sic, limit_si, mobility_4h_sic,
    places, triangular,
};
use joulestep_models::operating::Feed;

use crate::common::rig::near;
use crate::common::technologies::{drift_doping, of_kind, on_gate, rest, ship};

/// Baliga, J. Appl. Phys. 53 (1982) 1759 (from memory): Ron = 4V²/(ε·μ·Ec³), N = ε·Ec²/(2qV), W = 2V/Ec.
#[test]
fn unipolar_limit() {
    for (volts, mobility, field, specific, doping, width) in [
        (1200.0, 0.09, 2.2e8, 0.699828246259626, 1.0810460402586e16, 10.9090909090909),
        (750.0, 0.0947, 2.5e8, 0.177048417358903, 2.23356619888141e16, 6.0),
        (3300.0, 0.09, 2e8, 7.04425243052244, 3.24882356200933e15, 33.0),
    ] {
        let limit = triangular(volts, PERMITTIVITY_4H_SIC, mobility, field).unwrap();
        near("Ron, mΩ·cm²", limit.specific * 1e7, specific, 1e-6);
        near("N, cm⁻³", limit.doping * 1e-6, doping, 1e-6);
        near("W, µm", limit.width * 1e6, width, 1e-6);
        // Ron = W/(q·μ·N).
        near("consistent", limit.width / (1.602_176_634e-19 * mobility * limit.doping), limit.specific, 1e-9);
    }
    // A permittivity in F/m is refused.
    assert!(triangular(1200.0, PERMITTIVITY_4H_SIC * 8.854e-12, 0.09, 2.2e8).is_none());
    assert!(triangular(1200.0, PERMITTIVITY_4H_SIC, 0.0, 2.2e8).is_none());
}

/// Konstantinov et al., Appl. Phys. Lett. 71 (1997) 90 (from memory).
#[test]
fn critical_field_of_4h_sic() {
    for (doping, field, volts, width) in [
        (1e16, 2.49e6, 1661.80005476216, 13.3477916045153),
        (1e17, 3.32e6, 295.431120846606, 1.77970554726871),
        (3e16, 2827233.27146686, 714.137939517961, 5.05185013720104),
    ] {
        near("Ec, V/cm", critical_field_4h_sic(doping * 1e6) * 1e-2, field, 1e-6);
        let (breakdown, depth) = breakdown_4h_sic(doping * 1e6);
        near("BV", breakdown, volts, 1e-6);
        near("W, µm", depth * 1e6, width, 1e-6);
        // The limit for that voltage has that doping.
        let limit = limit_4h_sic(volts).unwrap();
        near("N", limit.doping * 1e-6, doping, 1e-9);
        // Vertical current flows along c: μ⊥/μ∥ is 0.83 (Schaffer et al., Mater. Res. Soc. Symp. Proc. 339 (1994) 595;
        // from memory).
        let mobility = mobility_4h_sic(doping * 1e6, 25.0) / 0.83;
        let specific = width * 1e-6 / (1.602_176_634e-19 * mobility * doping * 1e6);
        near("Ron along c", limit.specific, specific, 1e-6);
    }
    assert!(limit_4h_sic(50.0).is_none() && limit_4h_sic(f64::NAN).is_none() && limit_4h_sic(1e5).is_none());
}

/// Silicon's limit in its well-known form 5.93e-9·V^2.5 Ω·cm² agrees with the triangular field at that doping and width
/// with a mobility of about 1400 cm²/(V·s) (Baliga, Fundamentals of Power Semiconductor Devices, ch. 3, from memory).
#[test]
fn unipolar_limit_of_silicon() {
    for volts in [30.0, 100.0, 650.0, 1200.0] {
        let limit = limit_si(volts).unwrap();
        let mobility = limit.width / (1.602_176_634e-19 * limit.doping * limit.specific);
        assert!((0.12..0.15).contains(&mobility), "{volts} V: {mobility} m²/(V·s)");
    }
    assert!(limit_si(0.0).is_none() && limit_si(f64::INFINITY).is_none());
}

/// Roschke & Schwierz, IEEE Trans. Electron Devices 48 (2001) 1442, restated here: lightly doped, the mobility goes as
/// T^−2.4; the drift pieces of the SiC parts have the exponents that it gives at their doping between 25 and 150 °C.
#[test]
fn drift_regions_follow_the_published_mobility() {
    let published = |doping: f64, kelvin: f64| {
        let t = kelvin / 300.0;
        let (low, high) = (40.0 * t.powf(-0.5), 950.0 * t.powf(-2.4));
        low + (high - low) / (1.0 + (doping / (2e17 * t)).powf(0.76))
    };
    for celsius in [-40.0, 25.0, 175.0] {
        for doping in [1e14, 1e16, 1e18] {
            let ours = mobility_4h_sic(doping * 1e6, celsius) * 1e4;
            near("μ", ours, published(doping, celsius + 273.15), 1e-12);
        }
    }
    let exponent = |doping: f64| {
        (published(doping, 298.15) / published(doping, 423.15)).ln() / (423.15f64 / 298.15).ln()
    };
    near("lightly doped", exponent(1e13), 2.4, 0.01);
    let mut seen = 0;
    for part in of_kind("cascode").iter().chain(&of_kind("mosfet")) {
        let doping = drift_doping(part);
        for piece in &part.budget.as_ref().unwrap().pieces {
            let sic = piece.die.as_deref().and_then(|d| part.die(d)).and_then(|d| d.material)
                == Some(joulestep_models::part::Material::SiliconCarbide);
            if piece.name == "drift" && sic {
                let found = piece.exponent;
                assert!((found - exponent(doping * 1e-6)).abs() < 0.02, "{}: {found}", part.name);
                // And its resistance is that of a layer as wide as a plane junction depletes it at breakdown, for
                // current along c; the die breaks at 92 % of that voltage.
                let (plane, width) = breakdown_4h_sic(doping);
                let mobility = mobility_4h_sic(doping, 25.0) / 0.83;
                let specific = width / (1.602_176_634e-19 * mobility * doping);
                near(&format!("{}: drift", part.name), piece.specific.unwrap(), specific, 0.02);
                let die = places(part).into_iter().find(|p| Some(&p.die) == piece.die.as_ref()).unwrap();
                near(&format!("{}: of the plane junction", part.name), die.blocks / plane, 0.923, 0.005);
                // So no drift region lies below the limit for current along c; with the mobility across c as their
                // base, these layers would have been called 1.2 times as resistive.
                let drift = die.drift_ratio().unwrap();
                assert!((1.15..1.25).contains(&drift) && die.ratio() > drift, "{}: {drift}", part.name);
                seen += 1;
            }
        }
    }
    assert!(seen >= 8, "{seen}");
}

/// Electrons of silicon: lattice mobility as T^−2.42 (Sze & Ng, Physics of Semiconductor Devices, 3rd ed., ch. 1; from
/// memory). A superjunction's on-resistance, nearly all of it drift region, goes nearly so; a low-voltage MOSFET's,
/// mostly channel, as T^−1.5 (common practice, no source).
#[test]
fn silicon_parts_follow_the_published_exponents() {
    for (name, low, high) in [("mosfet-sj-620v-49m", 2.2, 2.42), ("mosfet-si-28v-0m8", 1.4, 1.8)] {
        let part = ship(name);
        let volts = |celsius| rest(&part, on_gate(&part), Feed::Current(1.0), celsius).voltage();
        let exponent = (volts(125.0) / volts(25.0)).ln() / (398.15f64 / 298.15).ln();
        println!("{name}: {exponent}");
        assert!((low..high).contains(&exponent), "{name}: {exponent}");
    }
}
