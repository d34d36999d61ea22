//! What the on-resistance is made of, and how a die stands against the one-dimensional unipolar limit.

use serde::Serialize;

use crate::model::CELSIUS;
use crate::part::{Material, Part};

/// The elementary charge, C (exact in the SI of 2019).
const CHARGE: f64 = 1.602_176_634e-19;
/// Permittivity of vacuum, F/m (CODATA 2018).
const VACUUM: f64 = 8.854_187_812_8e-12;
/// Relative permittivity of 4H-SiC (commonly used; the literature has 9.66 to 10.3).
pub const PERMITTIVITY_4H_SIC: f64 = 9.7;

/// A drift region that just blocks a voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// Specific on-resistance, Ω·m².
    pub specific: f64,
    /// Doping, 1/m³.
    pub doping: f64,
    /// Width, m.
    pub width: f64,
    /// Critical field, V/m.
    pub field: f64,
}

/// The drift region with a triangular field: specific on-resistance 4V²/(ε·μ·Ec³), doping ε·Ec²/(2qV), width 2V/Ec
/// (Baliga, J. Appl. Phys. 53 (1982) 1759; from memory). Arguments: blocking voltage in V, relative permittivity (1),
/// mobility in m²/(V·s), critical field in V/m. `None` where one of them is not above zero and finite, and for a
/// permittivity below 1: one in F/m is of the order 1e-10.
pub fn triangular(volts: f64, relative_permittivity: f64, mobility: f64, field: f64) -> Option<Limit> {
    let positive = [volts, mobility, field].iter().all(|x| x.is_finite() && *x > 0.0);
    if !(positive && relative_permittivity.is_finite() && relative_permittivity >= 1.0) {
        return None;
    }
    let epsilon = relative_permittivity * VACUUM;
    Some(Limit {
        specific: 4.0 * volts * volts / (epsilon * mobility * field.powi(3)),
        doping: epsilon * field * field / (2.0 * CHARGE * volts),
        width: 2.0 * volts / field,
        field,
    })
}

/// Critical field of 4H-SiC in V/m at a doping in 1/m³: 2.49 MV/cm/(1 − ¼·log₁₀(N/10¹⁶ cm⁻³)) (Konstantinov et al.,
/// Appl. Phys. Lett. 71 (1997) 90; from memory). Holds from about 3·10¹⁵ to 3·10¹⁸ cm⁻³.
pub fn critical_field_4h_sic(doping: f64) -> f64 {
    2.49e8 / (1.0 - 0.25 * (doping / 1e22).log10())
}

/// Breakdown voltage (V) and depletion width there (m) of a one-sided 4H-SiC junction of a doping in 1/m³:
/// V = ε·Ec²/(2qN), W = ε·Ec/(qN).
pub fn breakdown_4h_sic(doping: f64) -> (f64, f64) {
    let (epsilon, field) = (PERMITTIVITY_4H_SIC * VACUUM, critical_field_4h_sic(doping));
    (epsilon * field * field / (2.0 * CHARGE * doping), epsilon * field / (CHARGE * doping))
}

/// Electron mobility of 4H-SiC in m²/(V·s), perpendicular to the c axis, at a doping in 1/m³ and a temperature in °C:
/// μ = μ₁ + (μ₂ − μ₁)/(1 + (N/N₀)^0.76) with μ₁ = 40·(T/300)^−0.5, μ₂ = 950·(T/300)^−2.4 cm²/(V·s),
/// N₀ = 2·10¹⁷·(T/300) cm⁻³ (Roschke & Schwierz, IEEE Trans. Electron Devices 48 (2001) 1442; the set seen restated).
pub fn mobility_4h_sic(doping: f64, celsius: f64) -> f64 {
    let t = (celsius + CELSIUS) / 300.0;
    let (low, high) = (40e-4 * t.powf(-0.5), 950e-4 * t.powf(-2.4));
    low + (high - low) / (1.0 + (doping / (2e23 * t)).powf(0.76))
}

/// Electron mobility of 4H-SiC along the c axis over that perpendicular to it: 1/0.83 (Schaffer et al., Mater. Res. Soc.
/// Symp. Proc. 339 (1994) 595; from memory). Wafers are cut across that axis, so vertical current flows along it.
pub const ALONG_C: f64 = 1.0 / 0.83;

/// The unipolar limit of 4H-SiC for a blocking voltage (V) at 25 °C: the doping at which [`breakdown_4h_sic`] is that
/// voltage, with the mobility there along the c axis. `None` outside 100 V to 8 kV, where the critical field's law is not known to
/// hold.
pub fn limit_4h_sic(volts: f64) -> Option<Limit> {
    if !(100.0..=8000.0).contains(&volts) {
        return None;
    }
    // The breakdown voltage falls with the doping: bisection on its logarithm.
    let (mut low, mut high) = (20.0_f64, 25.0_f64);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if breakdown_4h_sic(10f64.powf(middle)).0 > volts { low = middle } else { high = middle }
    }
    let doping = 10f64.powf(0.5 * (low + high));
    let mobility = ALONG_C * mobility_4h_sic(doping, 25.0);
    triangular(volts, PERMITTIVITY_4H_SIC, mobility, critical_field_4h_sic(doping))
}

/// The unipolar limit of silicon for a blocking voltage (V) at 25 °C: 5.93·10⁻⁹·V^2.5 Ω·cm², width 2.67·10¹⁰·N^(−7/8)
/// cm and V = 5.34·10¹³·N^(−3/4) with N in cm⁻³ (Baliga, Fundamentals of Power Semiconductor Devices, ch. 3; from
/// memory). `None` for a voltage not above zero.
pub fn limit_si(volts: f64) -> Option<Limit> {
    if !(volts.is_finite() && volts > 0.0) {
        return None;
    }
    let doping = (5.34e13 / volts).powf(4.0 / 3.0);
    let width = 2.67e10 * doping.powf(-0.875) * 1e-2;
    let specific = 5.93e-9 * volts.powf(2.5) * 1e-4;
    Some(Limit { specific, doping: doping * 1e6, width, field: 2.0 * volts / width })
}

/// The unipolar limit of a material for a blocking voltage (V) at 25 °C.
pub fn limit(material: Material, volts: f64) -> Option<Limit> {
    match material {
        Material::SiliconCarbide => limit_4h_sic(volts),
        Material::Silicon => limit_si(volts),
    }
}

/// A piece of the on-resistance at a temperature.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Share {
    /// What it is ("channel", "drift", …).
    pub name: String,
    /// The die that it belongs to; `None`: the package.
    pub die: Option<String>,
    /// Ω.
    pub resistance: f64,
    /// Of the sum.
    pub share: f64,
    /// Times the area of its die, Ω·m², where both are known.
    pub specific: Option<f64>,
}

/// The pieces of a part's on-resistance at a junction temperature (°C); `None` where its file does not state them.
/// The sum of `resistance` is the part's on-resistance.
pub fn shares(part: &Part, celsius: f64) -> Option<Vec<Share>> {
    let budget = part.budget.as_ref()?;
    let resistances = budget.at(celsius);
    let sum: f64 = resistances.iter().map(|r| r.1).sum();
    let share = |(piece, (_, resistance)): (&crate::part::Piece, (&str, f64))| {
        let die = piece.die.as_deref().and_then(|name| part.die(name));
        Share {
            name: piece.name.clone(),
            die: piece.die.clone(),
            resistance,
            share: resistance / sum,
            specific: die.map(|d| resistance * d.area),
        }
    };
    Some(budget.pieces.iter().zip(resistances).map(share).collect())
}

/// A die against the unipolar limit of its material at 25 °C.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// The die.
    pub die: String,
    /// Its breakdown voltage, V; where none is stated, its rated voltage.
    pub blocks: f64,
    /// Specific on-resistance of the die: all its pieces times its area, Ω·m².
    pub specific: f64,
    /// Of these, its drift region alone, Ω·m², where that is a piece of its own.
    pub drift: Option<f64>,
    /// The limit for that voltage.
    pub limit: Limit,
    /// What it is made of.
    pub material: Material,
}

impl Place {
    /// Specific on-resistance over the limit: below 1 only for a die that is not one-dimensional, as a superjunction.
    pub fn ratio(&self) -> f64 {
        self.specific / self.limit.specific
    }

    /// The same of its drift region alone.
    pub fn drift_ratio(&self) -> Option<f64> {
        Some(self.drift? / self.limit.specific)
    }
}

/// Where the dies of a part stand. Left out are dies without area, material, voltage or stated pieces.
pub fn places(part: &Part) -> Vec<Place> {
    let shares = shares(part, 25.0).unwrap_or_default();
    let place = |die: &crate::part::Die| {
        let value = |key: &str| {
            let prefix = part.entry().die(&die.name).map_or("", |d| d.prefix);
            part.values.maybe(&format!("{prefix}{key}"))
        };
        let blocks = value("breakdown-voltage").or_else(|| value("rated-voltage"))?;
        let mine = shares.iter().filter(|s| s.die.as_deref() == Some(&die.name));
        let resistance: f64 = mine.clone().map(|s| s.resistance).sum();
        let drift = mine.into_iter().find(|s| s.name == "drift").map(|s| s.resistance * die.area);
        let material = die.material?;
        let limit = limit(material, blocks)?;
        let specific = resistance * die.area;
        (resistance > 0.0).then(|| Place { die: die.name.clone(), blocks, specific, drift, limit, material })
    };
    part.dies.iter().filter_map(place).collect()
}
