//! Leakage over and through a Schottky barrier in reverse.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::lockstep;

use crate::junction::saturation_at;
use crate::model::BOLTZMANN_OVER_CHARGE;

/// ħ/√(m·q) with the electron's mass and charge, in V·m over the root of a V: times F over kT/q, squared, it is
/// (qħF)²/(m·(kT)²) in V (CODATA 2018).
const SPREAD: f64 = 2.760_428_3e-10;
/// √(q/(4π·ε)) in 4H-SiC (relative permittivity 9.7), V per (V/m)½; silicon's is a tenth less.
const IMAGE: f64 = 1.218_400e-5;

/// What crosses the barrier of a Schottky contact in reverse, beyond the saturation current that the diode's own law
/// carries; pins cathode, anode. Local unknown: the reverse voltage in V.
///
/// The field F at the contact lowers the barrier φ by the image force, Δφ = √(qF/4πε) (Sze & Ng, Physics of
/// Semiconductor Devices, 3rd ed., ch. 3; from memory), and thins it, so that warm electrons tunnel through it
/// (thermionic-field emission: Padovani & Stratton, Solid-State Electron. 9 (1966) 695; in SiC Hatakeyama & Shinohe,
/// Mater. Sci. Forum 389–393 (2002) 1169; both from memory): with Θ = (qħF)²/(24·m·(kT)²),
/// i = Is(T)·(exp(Δφ/kT) − 1 + P·exp(g)), g = Θ/kT, P = (qħF/kT)·√(π/(2·m·kT)).
/// Most electrons cross 3Θ above the Fermi level; where that would be above the barrier's top, cold ones cross at its
/// foot (field emission: Murphy & Good, Phys. Rev. 102 (1956) 1464; from memory) and g = φ/kT·(1 − ⅔·y), y = √(φ/3Θ),
/// which goes on from the other with equal slope; P becomes (π/y)/(y·sin(π·y)), into which the other goes over smoothly
/// (1/P is the sum of both ones; where y is near 1, up to 1.6 times too much). Is is that of the diode with an ideality
/// of 1. The field goes as the root of the depletion layer's voltage. At 0 V nothing flows: the factor x/√(1 + x²) with
/// x = v/Vt is ours.
#[derive(Clone, Copy, Debug)]
pub struct BarrierLeakage<L> {
    /// Saturation current of the diode at 25 °C, A.
    pub saturation: L,
    /// φ, eV.
    pub barrier: L,
    /// Power of the absolute temperature in the saturation current.
    pub power: L,
    /// Field at the contact, V/m, at the reverse voltage `at`.
    pub field: L,
    /// V.
    pub at: L,
    /// Built-in voltage, V.
    pub built_in: L,
    /// Mass of what tunnels, over the electron's.
    pub mass: L,
}

/// Coefficients at a temperature.
#[derive(Clone, Copy, Debug)]
pub struct AtTemperature<L> {
    saturation: L,
    inverse_vt: L,
    built_in: L,
    inverse_reach: L,
    lowering: L,
    tunnelling: L,
    prefactor: L,
    barrier: L,
}

lockstep!(BarrierLeakage: saturation, barrier, power, field, at, built_in, mass);

impl<L: Lane> Law<L, 1> for BarrierLeakage<L> {
    type AtTemperature = AtTemperature<L>;

    fn at_temperature(&self, kelvin: L) -> AtTemperature<L> {
        let one = L::splat(1.0);
        let vt = kelvin * L::splat(BOLTZMANN_OVER_CHARGE);
        // (qħF)²/(m·(kT)²), V.
        let spread = L::splat(SPREAD) * self.field / vt;
        let spread = spread * spread / self.mass;
        AtTemperature {
            saturation: saturation_at(kelvin, self.saturation, one, self.barrier, self.power),
            inverse_vt: one / vt,
            built_in: self.built_in,
            inverse_reach: one / (self.at + self.built_in),
            lowering: L::splat(IMAGE) * Lane::sqrt(self.field) / vt,
            tunnelling: spread / (L::splat(24.0) * vt),
            prefactor: Lane::sqrt(L::splat(std::f64::consts::FRAC_PI_2) * spread / vt),
            barrier: self.barrier / vt,
        }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &AtTemperature<L>, [v]: [S; 1]) -> Flow<S, 1> {
        let (zero, one) = (L::splat(0.0), L::splat(1.0));
        let held = v.at_least(zero);
        // F² over that of the stated field.
        let share = (held + at.built_in) * at.inverse_reach;
        let root = share.sqrt();
        let warm = share * at.tunnelling;
        // y: above 1 warm electrons cross, below it cold ones.
        let y = (warm.recip() * (at.barrier * L::splat(1.0 / 3.0))).sqrt();
        let cold = (y * L::splat(-2.0 / 3.0) + one) * at.barrier;
        let exponent = S::select(y.value().ge(one), warm, cold);
        // y·sin(πy)/π by the first factors of its product, brought to zero at 1 with no slope.
        let held_y = y.at_most(one);
        let (square, left) = (held_y.square(), -held_y + one);
        let factor = |n: f64| -square * L::splat(1.0 / n) + one;
        let sine = square * factor(1.0) * factor(4.0) * factor(9.0) * left * (left + L::splat(0.05)).recip();
        let supply = ((root * at.prefactor).recip() + sine).recip();
        let over = (root.sqrt() * at.lowering).exp() - one;
        let most = (over + exponent.exp() * supply) * at.saturation;
        let x = v * at.inverse_vt;
        let net = x * (x.square() + one).sqrt().recip();
        Flow { i: [most * net], q: [S::constant(zero)] }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}
