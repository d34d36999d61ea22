//! Via fields as an even substance that conducts differently along and through the board.

use joulestep_engine::thermal::field::property::Law;

use super::ViaField;
use crate::materials::Material;

/// Conductivity, density and heat capacity of air at 300 K (Incropera et al., Table A.4).
const AIR: [f64; 3] = [0.0263, 1.161, 1007.0];

/// The even substance of a via field in `board`, holes plated with `plating` and filled with `fill` (none: air), at
/// `kelvin` K.
///
/// Through the board, what stands side by side adds by its share of the area. Along it, a hole with its plating is
/// one coated cylinder (Hashin, J. Appl. Mech. 29 (1962) 143, from memory), and cylinders in a square arrangement
/// add k·(1 + 2f/(β⁻¹ − f)), β = (kᵢ − k)/(kᵢ + k) (Rayleigh 1892, first order, from memory). Heat capacity is that
/// of the shares.
pub fn effective(
    field: &ViaField,
    board: &Material,
    plating: &Material,
    fill: Option<&Material>,
    kelvin: f64,
) -> Material {
    let cell = field.pitch * field.pitch;
    let disc = |d: f64| std::f64::consts::PI / 4.0 * d * d / cell;
    let (hole, inner) = (disc(field.drill), disc((field.drill - 2.0 * field.plating).max(0.0)));
    let [fill_k, fill_rho, fill_c] = match fill {
        Some(m) => [m.through.at(kelvin), m.density, m.heat_capacity.at(kelvin)],
        None => AIR,
    };
    let copper = plating.through.at(kelvin);
    let through = board.through.at(kelvin) * (1.0 - hole) + copper * (hole - inner) + fill_k * inner;
    let coated = cylinders(copper, fill_k, inner / hole);
    let along = cylinders(board.along.at(kelvin), coated, hole);
    let stored = |m: &Material| m.density * m.heat_capacity.at(kelvin);
    let shares = [(1.0 - hole, stored(board)), (hole - inner, stored(plating)), (inner, fill_rho * fill_c)];
    Material {
        name: format!("via field in {}", board.name),
        along: Law::Constant(along),
        through: Law::Constant(through),
        density: 1.0,
        heat_capacity: Law::Constant(shares.iter().map(|(share, c)| share * c).sum()),
    }
}

/// Conductivity across cylinders of conductivity `inner` and area share f in a matrix.
fn cylinders(matrix: f64, inner: f64, f: f64) -> f64 {
    let contrast = (inner - matrix) / (inner + matrix);
    matrix * (1.0 + f * contrast) / (1.0 - f * contrast)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// k(1 + fβ)/(1 − fβ) is k(1 + 2f/(β⁻¹ − f)); limits: no hole, and a hole like the board.
    #[test]
    fn cylinders_have_their_limits() {
        assert_eq!(cylinders(0.3, 400.0, 0.0), 0.3);
        assert!((cylinders(0.3, 0.3, 0.4) - 0.3).abs() < 1e-15);
        let (k, i, f): (f64, f64, f64) = (0.3, 400.0, 0.1);
        let beta = (i - k) / (i + k);
        assert!((cylinders(k, i, f) - k * (1.0 + 2.0 * f / (1.0 / beta - f))).abs() < 1e-12);
    }
}
