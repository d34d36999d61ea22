//! The JFET die with the resistance of its gate strips.

use joulestep_engine::arithmetic::dual::Dual;
use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::arithmetic::scalar::Scalar;
use joulestep_engine::circuit::law::{Device, Flow, Law, side_by_side};
use joulestep_engine::lockstep;

use super::{AtTemperature, Jfet};
use crate::charge::Depletion;
use crate::junction::{Breakdown, Leakage};

/// The die in three equal sections along its gate strips; pins drain, gate of each section (the first is the one that
/// the gate's pad feeds), source. Before each gate lies a section's resistance, which the circuit around it has:
/// between nodes that stand near 0 V no rounding of the middle node's voltage gets into its current.
///
/// A strip of resistance R along which a current is taken evenly drops R/3 on average; three sections R_s with a third
/// of the current each drop R_s·(1 + (2/3)² + (1/3)²) = 14/9·R_s. So R_s = 9/14 of the resistance R/3 that a
/// measurement at the gate shows. The far end sees 9/7 of the average (3/2 on the strip itself): a single resistor,
/// which sees the average everywhere, opens the channel too late and too little.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Strips<L> {
    /// One section.
    third: Jfet<L>,
    /// Charge of drain against source, of the whole die.
    drain_source: Depletion<L>,
}

/// Coefficients at a temperature.
#[derive(Clone, Copy, Debug)]
pub(crate) struct StripsAtTemperature<L> {
    third: AtTemperature<L>,
    drain_source: Depletion<L>,
}

lockstep!(Strips: third, drain_source);

impl Strips<f64> {
    /// Of the gate resistance as it is measured at the gate, what lies before each section's gate.
    pub(crate) const SECTION: f64 = 9.0 / 14.0;

    /// The die in sections.
    pub(crate) fn new(die: Jfet<f64>) -> Self {
        let part = |b: Option<Breakdown<f64>>| {
            b.map(|b| Breakdown { current: b.current / 3.0, resistance: 3.0 * b.resistance, ..b })
        };
        let [gate, ideality, gap] = die.gate;
        let third = Jfet {
            on_resistance: 3.0 * die.on_resistance,
            saturation_current: die.saturation_current / 3.0,
            gate: [gate / 3.0, ideality, gap],
            breakdown: part(die.breakdown),
            gate_breakdown: part(die.gate_breakdown),
            leakage: Leakage { conductance: die.leakage.conductance / 3.0, ..die.leakage },
            drain_gate: die.drain_gate.times(1.0 / 3.0),
            source_gate: die.source_gate.times(1.0 / 3.0),
            ..die
        };
        Self { third, drain_source: die.drain_source }
    }
}

impl<L: Lane> Law<L, 4> for Strips<L> {
    type AtTemperature = StripsAtTemperature<L>;

    fn at_temperature(&self, kelvin: L) -> StripsAtTemperature<L> {
        StripsAtTemperature { third: self.third.at_temperature(kelvin), drain_source: self.drain_source }
    }

    #[inline(always)]
    fn flow<S: Scalar<L>>(at: &StripsAtTemperature<L>, [vds, g1, g2, g3]: [S; 4]) -> Flow<S, 4> {
        // A section knows two voltages only: its slopes are taken by these and joined to the others.
        let section = |g: S| {
            let u = [vds.value(), g.value()];
            let flow = at.third.under_the_gate([Dual::<L, 2>::variable(u[0], 0), Dual::variable(u[1], 1)]);
            let joined = |x: Dual<L, 2>| vds.joined(g, x.v, x.d);
            (flow.i.map(joined), flow.q.map(joined))
        };
        let [(i1, q1), (i2, q2), (i3, q3)] = [section(g1), section(g2), section(g3)];
        let qds = at.drain_source.charge(vds);
        Flow {
            i: [i1[0] + i2[0] + i3[0], i1[1], i2[1], i3[1]],
            q: [q1[0] + q2[0] + q3[0] + qds, q1[1], q2[1], q3[1]],
        }
    }

    fn in_lanes<K: Lane>(each: &[&Self], kelvin: K) -> Option<Box<dyn Device<K>>> {
        side_by_side(each, kelvin)
    }
}
