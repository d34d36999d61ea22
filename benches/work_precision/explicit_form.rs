//! REF-1 in eight states, solved for the derivatives: y' = f(y, vg).
//!
//! Each loop of inductors and resistors fixes one branch: the diode's series current is iL − iLoop, the gate current
//! iLs − iLoop; with them the node equations of the capacitances can be solved in closed form. Textbook laws
//! (Shichman and Hodges 1968) and parameters as specified for REF-1.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// Number of states: diode junction v7 − v1, JFET v2 − v3, MOSFET v3 − v6, JFET gate drop v4 − v6, MOSFET gate v5 − v6,
/// V; load, loop and common-source inductor, A.
pub const N: usize = 8;

const V_BUS: f64 = 400.0;
const R_LOOP: f64 = 10e-3;
const L_LOOP: f64 = 20e-9;
const L_LOAD: f64 = 40e-6;
const R_LS: f64 = 1e-3;
const L_LS: f64 = 2e-9;
const R_GATE: f64 = 5.0;
const R_DIODE: f64 = 20e-3;
const G_JFET_GATE: f64 = 1.0;
const C_DS: f64 = 30e-12;
const C_GS: f64 = 3e-9;
/// A current that no part here carries: above it the exponentials go on linearly, so that no trial overflows.
const I_LINEAR: f64 = 1e3;

/// What the equations need of a number.
pub trait Number:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + From<f64>
{
    /// Its value.
    fn value(self) -> f64;
    /// A function of it, given by value and slope at the number's value.
    fn chain(self, value: f64, slope: f64) -> Self;
}

impl Number for f64 {
    fn value(self) -> f64 {
        self
    }
    fn chain(self, value: f64, _: f64) -> f64 {
        value
    }
}

/// A value and its derivative along one direction: gives the product of the Jacobian with a vector.
#[derive(Clone, Copy)]
pub struct Along(pub f64, pub f64);

impl From<f64> for Along {
    fn from(x: f64) -> Self {
        Along(x, 0.0)
    }
}
impl Add for Along {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Along(self.0 + o.0, self.1 + o.1)
    }
}
impl Sub for Along {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Along(self.0 - o.0, self.1 - o.1)
    }
}
impl Neg for Along {
    type Output = Self;
    fn neg(self) -> Self {
        Along(-self.0, -self.1)
    }
}
impl Mul for Along {
    type Output = Self;
    fn mul(self, o: Self) -> Self {
        Along(self.0 * o.0, self.0 * o.1 + self.1 * o.0)
    }
}
impl Div for Along {
    type Output = Self;
    fn div(self, o: Self) -> Self {
        let q = self.0 / o.0;
        Along(q, (self.1 - q * o.1) / o.0)
    }
}
impl Number for Along {
    fn value(self) -> f64 {
        self.0
    }
    fn chain(self, value: f64, slope: f64) -> Self {
        Along(value, slope * self.1)
    }
}

/// scale · exp(v/nvt), linear above [`I_LINEAR`].
fn junction<T: Number>(scale: f64, nvt: f64, v: T) -> T {
    let top = (I_LINEAR / scale).ln();
    let x = v.value() / nvt;
    if x > top {
        return v.chain(I_LINEAR * (1.0 + x - top), I_LINEAR / nvt);
    }
    let i = scale * x.exp();
    v.chain(i, i / nvt)
}

/// Depletion capacitance with exponent 1/2, constant below −vj/2.
fn depletion<T: Number>(c0: f64, vj: f64, v: T) -> T {
    let x = 1.0 + v.value() / vj;
    if x < 0.5 {
        return T::from(c0 / 0.5_f64.sqrt());
    }
    let c = c0 / x.sqrt();
    v.chain(c, -0.5 * c / (x * vj))
}

/// Symmetric square law a·(2·u·v − v²)(1 + λ·v); with v < 0 drain and source change places.
fn square_law<T: Number>(a: f64, lambda: f64, threshold: f64, vds: T, vgs: T) -> T {
    if vds.value() < 0.0 {
        return -square_law(a, lambda, threshold, -vds, vgs - vds);
    }
    let u = vgs - T::from(threshold);
    if u.value() <= 0.0 {
        return T::from(0.0);
    }
    let core = if vds.value() < u.value() { vds * (u + u - vds) } else { u * u };
    T::from(a) * core * (T::from(1.0) + T::from(lambda) * vds)
}

/// MOSFET current from drain to source: channel, body diode, avalanche, leak.
fn mosfet<T: Number>(vds: T, vgs: T) -> T {
    let avalanche = junction(1e-3, 0.25, vds - T::from(30.0));
    let body = junction(1e-9, 0.0310, -vds);
    square_law(30.0, 0.01, 4.0, vds, vgs) + avalanche
        - T::from(1e-3 * (-30.0 / 0.25_f64).exp())
        - (body - T::from(1e-9))
        + vds / T::from(1e6)
}

fn jfet<T: Number>(vds: T, vgs: T) -> T {
    square_law(4.0, 0.002, -7.0, vds, vgs)
}

/// v6, V: what the gate source leaves after the gate resistor and v5 − v6.
fn source_node<T: Number>(y: [T; N], vg: f64) -> T {
    T::from(vg) - y[4] - T::from(R_GATE) * (y[7] - y[6])
}

/// y' in V/s and A/s with the gate source at vg, V.
pub fn rate<T: Number>(y: [T; N], vg: f64, load_resistance: f64) -> [T; N] {
    let [b, p, s, e, f, il, iloop, ils] = y;
    let (cds, cgs0) = (T::from(C_DS), T::from(C_GS));
    let (i_diode, i_gate, i_jgate) = (il - iloop, ils - iloop, e * T::from(G_JFET_GATE));
    let v6 = source_node(y, vg);

    let b1 = (i_diode - junction(1e-14, 0.0517, b) + T::from(1e-14)) / depletion(1.2e-9, 1.5, -b);

    // nodes 2 and 4 give d/dt of drain-gate and source-gate voltage of the JFET, node 5 that of the MOSFET's gate in
    // terms of v36, node 3 then v36 itself
    let (ij, im) = (jfet(p, e - s), mosfet(s, f));
    let (cgd, cgs) = (depletion(2.0e-9, 2.7, p + s - e), depletion(1.5e-9, 2.7, s - e));
    let (cgdm, cdsm) = (depletion(1.0e-9, 0.8, s - f), depletion(2.5e-9, 0.8, s));
    let share = cds / cgs;
    let drain_gate = (iloop - ij + share * i_jgate) / (cds + cgd + share * cgd);
    let source_gate = (i_jgate - cgd * drain_gate) / cgs;
    let p1 = drain_gate - source_gate;
    let part = cgdm / (cgdm + cgs0);
    let s1 = (ij - im + cds * p1 - cgs * source_gate + part * i_gate) / (part * cgs0 + cdsm);
    let e1 = s1 - source_gate;
    let f1 = (cgdm * s1 + i_gate) / (cgdm + cgs0);

    let c = T::from(R_DIODE) * i_diode;
    let il1 = -(b + c + T::from(load_resistance) * il) / T::from(L_LOAD);
    let v1 = v6 + s + p - c - b;
    let iloop1 = (T::from(V_BUS) - T::from(R_LOOP) * iloop - v1) / T::from(L_LOOP);
    let ils1 = (v6 - T::from(R_LS) * ils) / T::from(L_LS);
    [b1, p1, s1, e1, f1, il1, iloop1, ils1]
}

/// Operating point with the gate source at 0 V: the MOSFET leaks, the JFET carries just that; by bisection in v36.
pub fn operating_point(load_resistance: f64) -> [f64; N] {
    let (mut low, mut high) = (6.9, 7.0);
    for _ in 0..60 {
        let s = 0.5 * (low + high);
        let i = mosfet(s, 0.0);
        let p = V_BUS - s - i * (R_LOOP + R_LS + load_resistance);
        if jfet(p, -s) > i {
            low = s;
        } else {
            high = s;
        }
    }
    let s = 0.5 * (low + high);
    let i = mosfet(s, 0.0);
    let p = V_BUS - s - i * (R_LOOP + R_LS + load_resistance);
    [-load_resistance * i, p, s, 0.0, -R_LS * i, i, i, i]
}

/// v2, V.
pub fn v2(y: &[f64; N], vg: f64) -> f64 {
    y[1] + y[2] + source_node(*y, vg)
}

/// Power into the cascode, (v2 − v6)·i_D, W; the drain current is the loop's.
pub fn cascode_power(y: &[f64; N]) -> f64 {
    (y[1] + y[2]) * y[6]
}
