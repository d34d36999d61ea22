//! The linear components, each by its equations, added by name.

use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{
    Body, ChoiceId, Circuit, Component, ComponentId, HeatId, Linear, NodeId, Stated, WaveId,
};
use crate::circuit::law::{Device, Law};
use crate::circuit::lawful::Lawful;
use crate::error::CircuitError;

type Added = Result<ComponentId, CircuitError>;

fn one<L: Lane>() -> L {
    L::splat(1.0)
}

/// ±x between two pins.
fn between<L: Lane>(x: L) -> Vec<(usize, usize, L)> {
    vec![(0, 0, x), (0, 1, -x), (1, 0, -x), (1, 1, x)]
}

/// The branch of row `b` carries its current from pin `from` to pin `to` and sees the voltage between them.
fn branch<L: Lane>(from: usize, to: usize, b: usize) -> [(usize, usize, L); 4] {
    [(from, b, one()), (to, b, -one::<L>()), (b, from, -one::<L>()), (b, to, one())]
}

fn positive<L: Lane>(component: &str, what: &str, x: L, zero_too: bool) -> Result<(), CircuitError> {
    let zero = L::splat(0.0);
    let good = if zero_too { L::all(x.ge(zero)) } else { L::all(x.gt(zero)) };
    if good && x.is_finite() {
        return Ok(());
    }
    let expected = if zero_too { "zero or above" } else { "above zero" };
    Err(CircuitError::BadValue {
        component: component.to_string(),
        what: format!("{what} is {}, expected {expected}", x.lane(0)),
    })
}

impl<L: Lane> Circuit<L> {
    fn linear(&mut self, name: &str, kind: &'static str, pins: &[NodeId], linear: Linear<L>) -> Added {
        self.add(Component {
            name: name.to_string(),
            kind,
            pins: pins.to_vec(),
            body: Body::Linear(linear),
            heat: None,
            stated: None,
        })
    }

    /// Resistor of r Ω.
    ///
    /// # Errors
    /// When r is not above zero, or the name is taken.
    #[inline(never)]
    pub fn resistor(&mut self, name: &str, a: NodeId, b: NodeId, r: L) -> Added {
        positive(name, "resistance", r, false)?;
        self.linear(name, "resistor", &[a, b], Linear { g: between(one::<L>() / r), ..Linear::default() })
    }

    /// Capacitor of c F; with a stated voltage it starts there.
    ///
    /// # Errors
    /// When c is not above zero, or the name is taken.
    #[inline(never)]
    pub fn capacitor(&mut self, name: &str, a: NodeId, b: NodeId, c: L, stated: Option<L>) -> Added {
        positive(name, "capacitance", c, false)?;
        let id = self.linear(name, "capacitor", &[a, b], Linear { c: between(c), ..Linear::default() })?;
        self.components[id.0 as usize].stated = stated.map(Stated::Voltage);
        Ok(id)
    }

    /// Inductor of l H with series resistance r Ω; with a stated current (from a to b) it starts there.
    ///
    /// # Errors
    /// When l is not above zero, r is below zero, or the name is taken.
    #[inline(never)]
    pub fn inductor(&mut self, name: &str, a: NodeId, b: NodeId, l: L, r: L, stated: Option<L>) -> Added {
        positive(name, "inductance", l, false)?;
        positive(name, "series resistance", r, true)?;
        let mut g = branch(0, 1, 2).to_vec();
        g.push((2, 2, r));
        let linear = Linear { branches: vec!["i".into()], g, c: vec![(2, 2, l)], ..Linear::default() };
        let id = self.linear(name, "inductor", &[a, b], linear)?;
        self.components[id.0 as usize].stated = stated.map(|i| Stated::Current(0, i));
        Ok(id)
    }

    /// Coupled windings: pins in pairs, the symmetric inductance matrix in H row by row, series resistances in Ω.
    ///
    /// # Errors
    /// When the sizes do not match, the matrix is not positive definite, or the name is taken.
    #[inline(never)]
    pub fn coupled_inductors(&mut self, name: &str, pins: &[NodeId], matrix: &[L], r: &[L]) -> Added {
        let n = r.len();
        let bad = |what: String| CircuitError::BadValue { component: name.to_string(), what };
        if pins.len() != 2 * n || matrix.len() != n * n {
            return Err(bad(format!("{n} windings need {} pins and {} inductances", 2 * n, n * n)));
        }
        for lane in 0..L::WIDTH {
            let m = nalgebra::DMatrix::from_fn(n, n, |i, j| matrix[i * n + j].lane(lane));
            if (&m - m.transpose()).amax() > 1e-12 * m.amax() || m.cholesky().is_none() {
                return Err(bad(
                    "the inductance matrix is not symmetric and positive definite (coupling of 1 or more?)"
                        .into(),
                ));
            }
        }
        let mut linear = Linear { branches: (1..=n).map(|k| format!("i{k}")).collect(), ..Linear::default() };
        for k in 0..n {
            positive(name, "series resistance", r[k], true)?;
            linear.g.extend(branch(2 * k, 2 * k + 1, 2 * n + k));
            linear.g.push((2 * n + k, 2 * n + k, r[k]));
            for j in 0..n {
                linear.c.push((2 * n + k, 2 * n + j, matrix[k * n + j]));
            }
        }
        self.linear(name, "coupled-inductors", pins, linear)
    }

    /// Voltage source: v_a − v_b = wave(t). Its branch current flows from a through the source to b.
    ///
    /// # Errors
    /// When the name is taken.
    #[inline(never)]
    pub fn voltage_source(&mut self, name: &str, a: NodeId, b: NodeId, wave: WaveId) -> Added {
        let linear = Linear {
            branches: vec!["i".into()],
            g: branch(0, 1, 2).to_vec(),
            s: vec![(2, wave, one())],
            ..Linear::default()
        };
        self.linear(name, "voltage-source", &[a, b], linear)
    }

    /// Current source: wave(t) flows from a through the source to b.
    ///
    /// # Errors
    /// When the name is taken.
    #[inline(never)]
    pub fn current_source(&mut self, name: &str, a: NodeId, b: NodeId, wave: WaveId) -> Added {
        let linear = Linear { s: vec![(0, wave, one()), (1, wave, -one::<L>())], ..Linear::default() };
        self.linear(name, "current-source", &[a, b], linear)
    }

    /// Voltage source v_a − v_b = gain·(v_c − v_d); pins a, b, c, d; the gain in V/V.
    ///
    /// # Errors
    /// When the name is taken.
    pub fn voltage_controlled_voltage(&mut self, name: &str, pins: [NodeId; 4], gain: L) -> Added {
        let mut g = branch(0, 1, 4).to_vec();
        g.extend([(4, 2, gain), (4, 3, -gain)]);
        self.linear(
            name,
            "voltage-controlled-voltage",
            &pins,
            Linear { branches: vec!["i".into()], g, ..Linear::default() },
        )
    }

    /// Current gm·(v_c − v_d) from a through the source to b; pins a, b, c, d; the transconductance `gm` in S (A/V), of
    /// either sign.
    ///
    /// # Errors
    /// When the name is taken.
    pub fn voltage_controlled_current(&mut self, name: &str, pins: [NodeId; 4], gm: L) -> Added {
        let g = vec![(0, 2, gm), (0, 3, -gm), (1, 2, -gm), (1, 3, gm)];
        self.linear(name, "voltage-controlled-current", &pins, Linear { g, ..Linear::default() })
    }

    /// Voltage source v_a − v_b = r·i, where i flows from c to d through an ideal ammeter; pins a, b, c, d; the
    /// transresistance `r` in Ω, of either sign.
    ///
    /// # Errors
    /// When the name is taken.
    pub fn current_controlled_voltage(&mut self, name: &str, pins: [NodeId; 4], r: L) -> Added {
        let mut g = branch(0, 1, 4).to_vec();
        g.extend(branch::<L>(2, 3, 5));
        g.push((4, 5, r));
        let branches = vec!["i".into(), "sense".into()];
        self.linear(name, "current-controlled-voltage", &pins, Linear { branches, g, ..Linear::default() })
    }

    /// Current gain·i from a through the source to b, where i flows from c to d through an ideal ammeter; pins a, b, c,
    /// d; the gain in A/A.
    ///
    /// # Errors
    /// When the name is taken.
    pub fn current_controlled_current(&mut self, name: &str, pins: [NodeId; 4], gain: L) -> Added {
        let mut g = branch(2, 3, 4).to_vec();
        g.extend([(0, 4, gain), (1, 4, -gain)]);
        self.linear(
            name,
            "current-controlled-current",
            &pins,
            Linear { branches: vec!["sense".into()], g, ..Linear::default() },
        )
    }

    /// A resistor whose conductance is chosen during the run (a switch; the resistors of a gate drive).
    ///
    /// # Errors
    /// When the name is taken.
    pub fn chosen_resistor(
        &mut self,
        name: &str,
        kind: &'static str,
        a: NodeId,
        b: NodeId,
        choice: ChoiceId,
    ) -> Added {
        self.linear(name, kind, &[a, b], Linear { choice: Some(choice), ..Linear::default() })
    }

    /// A nonlinear device from its law, at a temperature in K.
    ///
    /// # Errors
    /// When the name is taken.
    pub fn law<M: Law<L, P>, const P: usize>(
        &mut self,
        name: &str,
        kind: &'static str,
        pins: &[NodeId],
        law: M,
        kelvin: L,
    ) -> Added {
        self.device(name, kind, pins, Box::new(Lawful::new(law, kelvin)))
    }

    /// A nonlinear device.
    ///
    /// # Errors
    /// When the number of pins is not the device's, or the name is taken.
    #[inline(never)]
    pub fn device(
        &mut self,
        name: &str,
        kind: &'static str,
        pins: &[NodeId],
        device: Box<dyn Device<L>>,
    ) -> Added {
        let need = device.locals() - device.internals() + 1;
        if pins.len() != need {
            let what = format!("has {} pins, the law needs {need}", pins.len());
            return Err(CircuitError::BadValue { component: name.to_string(), what });
        }
        self.add(Component {
            name: name.to_string(),
            kind,
            pins: pins.to_vec(),
            body: Body::Device(device),
            heat: None,
            stated: None,
        })
    }

    /// Ties a component's heat and temperature to an input of the thermal network.
    pub fn heats(&mut self, component: ComponentId, input: HeatId) {
        self.components[component.0 as usize].heat = Some(input);
    }
}
