//! Turn-on and turn-off of a transistor under inductive load: times, energies, slopes, peaks.
//!
//! Both rule sets are from memory: clause numbers and the differences of editions were not verified.
//!
//! | | IEC 60747-8 (field-effect transistors) | IEC 60747-9 (IGBTs) |
//! |---|---|---|
//! | turn-on delay | gate at 10 % of its swing to current at 10 % | the same |
//! | rise time | current from 10 % to 90 % | the same |
//! | turn-on energy | ∫ v·i from current at 10 % to voltage at 10 % | from gate at 10 % to voltage at 2 % |
//! | turn-off delay | gate at 90 % to current at 90 % | the same |
//! | fall time | current from 90 % to 10 % | the same |
//! | turn-off energy | ∫ v·i from voltage at 10 % to current at 10 % | from gate at 90 % to current at 2 % |
//!
//! Percentages are of the current that is switched, of the voltage that is blocked and of the gate's swing from its off
//! to its on level. di/dt is the mean over the rise or fall time, dv/dt the mean between 10 % and 90 % of the voltage.

use super::MeasureError;
use super::signal::Signal;

/// Which definitions hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rules {
    /// IEC 60747-8: field-effect transistors.
    Fet,
    /// IEC 60747-9: insulated-gate bipolar transistors; also common for fast field-effect transistors.
    Igbt,
}

impl Rules {
    /// The standard.
    pub fn standard(self) -> &'static str {
        match self {
            Self::Fet => "IEC 60747-8",
            Self::Igbt => "IEC 60747-9",
        }
    }

    /// Limits of the turn-on energy, in words.
    pub fn turn_on_limits(self) -> &'static str {
        match self {
            Self::Fet => "from i_D = 10 % of I to v_DS = 10 % of V",
            Self::Igbt => "from v_GS = 10 % of its swing to v_DS = 2 % of V",
        }
    }

    /// Limits of the turn-off energy, in words.
    pub fn turn_off_limits(self) -> &'static str {
        match self {
            Self::Fet => "from v_DS = 10 % of V to i_D = 10 % of I",
            Self::Igbt => "from v_GS = 90 % of its swing to i_D = 2 % of I",
        }
    }
}

/// The waveforms of a transistor, with the same instants.
#[derive(Clone, Copy, Debug)]
pub struct Waveforms<'a> {
    /// Gate-source voltage, V.
    pub gate: Signal<'a>,
    /// Drain-source (collector-emitter) voltage, V.
    pub voltage: Signal<'a>,
    /// Drain (collector) current, A.
    pub current: Signal<'a>,
    /// ∫ v·i dt from the beginning of the record, J, where it is known better than from the samples.
    pub work: Option<Signal<'a>>,
}

/// What 100 % is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    /// Voltage blocked while off, V.
    pub voltage: f64,
    /// Current switched, A.
    pub current: f64,
    /// Gate level that turns off, V.
    pub gate_off: f64,
    /// Gate level that turns on, V.
    pub gate_on: f64,
}

impl Levels {
    fn gate(&self, share: f64) -> f64 {
        self.gate_off + share * (self.gate_on - self.gate_off)
    }
}

/// One change of state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Switching {
    /// Turn-on or turn-off delay, s.
    pub delay: f64,
    /// Rise or fall time of the current, s.
    pub time: f64,
    /// Energy between the limits of the rules, J.
    pub energy: f64,
    /// The limits as instants, s.
    pub limits: (f64, f64),
    /// Energy over the whole stretch looked at: ∫ v·i from the edge to its end, J.
    pub whole: f64,
    /// Mean slope of the current over its rise or fall time, A/s (as a size).
    pub current_slope: f64,
    /// Mean slope of the voltage between 10 % and 90 %, V/s (as a size).
    pub voltage_slope: f64,
    /// Largest current and when, A and s.
    pub peak_current: (f64, f64),
    /// Largest voltage and when, V and s.
    pub peak_voltage: (f64, f64),
}

/// A stretch of the record from an edge of the gate's command to the next.
struct Look<'a> {
    w: &'a Waveforms<'a>,
    levels: Levels,
    edge: f64,
    until: f64,
}

impl Look<'_> {
    fn within(
        &self,
        found: Option<f64>,
        what: &'static str,
        level: f64,
        unit: &'static str,
        from: f64,
    ) -> Result<f64, MeasureError> {
        let missing = MeasureError::NotReached { what, level, unit, from, to: self.until };
        found.filter(|&t| t <= self.until).ok_or(missing)
    }
    fn gate(&self, share: f64, up: bool) -> Result<f64, MeasureError> {
        let level = self.levels.gate(share);
        // A gate driven below its off level turns the swing round only when the levels are exchanged.
        let rising = up == (self.levels.gate_on > self.levels.gate_off);
        let t = if rising {
            self.w.gate.rises_to(level, self.edge)
        } else {
            self.w.gate.falls_to(level, self.edge)
        };
        self.within(t, "the gate-source voltage", level, "V", self.edge)
    }
    fn current(&self, share: f64, up: bool, from: f64) -> Result<f64, MeasureError> {
        let level = share * self.levels.current;
        let s = &self.w.current;
        let t = if up { s.rises_to(level, from) } else { s.falls_to(level, from) };
        self.within(t, "the drain current", level, "A", from)
    }
    fn voltage(&self, share: f64, up: bool, from: f64) -> Result<f64, MeasureError> {
        let level = share * self.levels.voltage;
        let s = &self.w.voltage;
        let t = if up { s.rises_to(level, from) } else { s.falls_to(level, from) };
        self.within(t, "the drain-source voltage", level, "V", from)
    }
    fn energy(&self, from: f64, to: f64) -> f64 {
        match &self.w.work {
            Some(work) => work.at(to) - work.at(from),
            None => self.w.voltage.product(&self.w.current, from, to),
        }
    }
    fn times(&self, delay: f64, current: (f64, f64), voltage: (f64, f64), limits: (f64, f64)) -> Switching {
        let time = current.1 - current.0;
        let (v, i) = (&self.w.voltage, &self.w.current);
        Switching {
            delay,
            time,
            energy: self.energy(limits.0, limits.1),
            limits,
            whole: self.energy(self.edge, self.until),
            current_slope: 0.8 * self.levels.current / time,
            voltage_slope: 0.8 * self.levels.voltage / (voltage.1 - voltage.0),
            peak_current: i.largest(self.edge, self.until),
            peak_voltage: v.largest(self.edge, self.until),
        }
    }
}

/// Energy (J) of a turn-on (`on`) or turn-off by the limits of IEC 60747-8, and the limits as instants, s. `w.gate` and
/// the gate's levels are not looked at; `edge` and `until` as for [`turn_on`].
///
/// # Errors
/// [`MeasureError::NotReached`].
pub fn energy(
    w: &Waveforms<'_>,
    on: bool,
    levels: Levels,
    edge: f64,
    until: f64,
) -> Result<(f64, (f64, f64)), MeasureError> {
    let look = Look { w, levels, edge, until };
    let limits = match on {
        true => {
            let i10 = look.current(0.1, true, edge)?;
            (i10, look.voltage(0.1, false, i10)?)
        }
        false => {
            let v10 = look.voltage(0.1, true, edge)?;
            (v10, look.current(0.1, false, v10)?)
        }
    };
    Ok((look.energy(limits.0, limits.1), limits))
}

/// Turn-on: `edge` (s) is where the gate's command rises, `until` (s) the end of the stretch looked at.
///
/// # Errors
/// [`MeasureError::NotReached`].
pub fn turn_on(
    w: &Waveforms<'_>,
    levels: Levels,
    edge: f64,
    until: f64,
    rules: Rules,
) -> Result<Switching, MeasureError> {
    let look = Look { w, levels, edge, until };
    let gate = look.gate(0.1, true)?;
    let i10 = look.current(0.1, true, edge)?;
    let i90 = look.current(0.9, true, i10)?;
    let v90 = look.voltage(0.9, false, edge)?;
    let v10 = look.voltage(0.1, false, v90)?;
    let limits = match rules {
        Rules::Fet => (i10, look.voltage(0.1, false, i10)?),
        Rules::Igbt => (gate, look.voltage(0.02, false, gate)?),
    };
    Ok(look.times(i10 - gate, (i10, i90), (v90, v10), limits))
}

/// Turn-off: `edge` (s) is where the gate's command falls, `until` (s) the end of the stretch looked at.
///
/// # Errors
/// [`MeasureError::NotReached`].
pub fn turn_off(
    w: &Waveforms<'_>,
    levels: Levels,
    edge: f64,
    until: f64,
    rules: Rules,
) -> Result<Switching, MeasureError> {
    let look = Look { w, levels, edge, until };
    let gate = look.gate(0.9, false)?;
    let i90 = look.current(0.9, false, edge)?;
    let i10 = look.current(0.1, false, i90)?;
    let v10 = look.voltage(0.1, true, edge)?;
    let v90 = look.voltage(0.9, true, v10)?;
    let limits = match rules {
        Rules::Fet => (v10, look.current(0.1, false, v10)?),
        Rules::Igbt => (gate, look.current(0.02, false, gate)?),
    };
    Ok(look.times(i90 - gate, (i90, i10), (v10, v90), limits))
}
