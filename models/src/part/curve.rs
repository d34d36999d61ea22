//! Curves of a data sheet: a quantity at points, under conditions.

/// What stands at the axis of a curve, or is held while it is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Variable {
    /// Junction temperature, °C.
    Temperature,
    /// Gate-source voltage, V.
    GateVoltage,
    /// Drain-source voltage, or reverse voltage of a diode, V.
    Voltage,
    /// Drain current, or forward current of a diode (also of an integral one), A.
    Current,
    /// Rate at which the current falls through zero, A/s.
    CurrentRate,
    /// Time since the heating began, s.
    Time,
}

impl Variable {
    /// Key in a part file, and unit.
    pub const ALL: &'static [(&'static str, Self, &'static str)] = &[
        ("temperature", Self::Temperature, "degC"),
        ("gate-voltage", Self::GateVoltage, "V"),
        ("voltage", Self::Voltage, "V"),
        ("current", Self::Current, "A"),
        ("current-rate", Self::CurrentRate, "A/s"),
        ("time", Self::Time, "s"),
    ];

    /// The variable of a key.
    pub fn of_key(key: &str) -> Option<Self> {
        Self::ALL.iter().find(|v| v.0 == key).map(|v| v.1)
    }
    /// Key in a part file.
    pub fn key(self) -> &'static str {
        Self::ALL.iter().find(|v| v.1 == self).map_or("", |v| v.0)
    }
    /// Unit of its values.
    pub fn unit(self) -> &'static str {
        Self::ALL.iter().find(|v| v.1 == self).map_or("1", |v| v.2)
    }
}

/// What a curve shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Drain-source voltage over current of a switch that is on, Ω.
    OnResistance,
    /// Drain current against the gate-source voltage, A.
    Transfer,
    /// Drain current against the drain-source voltage, A.
    Output,
    /// Gate-source voltage at which a stated current flows with the gate tied to the drain, V.
    Threshold,
    /// Leakage current, A.
    Leakage,
    /// Voltage at which a stated current flows in breakdown, V.
    Breakdown,
    /// Forward drop of a diode, or of the integral diode of a switch, V.
    DiodeDrop,
    /// C_iss = C_gs + C_gd, F.
    InputCapacitance,
    /// C_oss = C_ds + C_gd, F.
    OutputCapacitance,
    /// C_rss = C_gd, F.
    TransferCapacitance,
    /// Capacitance of a diode against its reverse voltage, F.
    Capacitance,
    /// Charge into the gate from zero gate voltage, C.
    GateCharge,
    /// Charge of reverse recovery, C.
    RecoveryCharge,
    /// Transient thermal impedance from junction to case, K/W.
    TransientImpedance,
}

/// Key in a part file, quantity, unit of the ordinate, possible abscissae (the first where none is stated).
type Line = (&'static str, Quantity, &'static str, &'static [Variable]);

impl Quantity {
    /// Every quantity.
    pub const ALL: &'static [Line] = &[
        (
            "on-resistance",
            Self::OnResistance,
            "ohm",
            &[Variable::Temperature, Variable::GateVoltage, Variable::Current],
        ),
        ("transfer", Self::Transfer, "A", &[Variable::GateVoltage]),
        ("output", Self::Output, "A", &[Variable::Voltage]),
        ("threshold", Self::Threshold, "V", &[Variable::Temperature]),
        ("leakage", Self::Leakage, "A", &[Variable::Voltage, Variable::Temperature]),
        ("breakdown", Self::Breakdown, "V", &[Variable::Temperature]),
        ("diode-drop", Self::DiodeDrop, "V", &[Variable::Current, Variable::Temperature]),
        ("input-capacitance", Self::InputCapacitance, "F", &[Variable::Voltage]),
        ("output-capacitance", Self::OutputCapacitance, "F", &[Variable::Voltage]),
        ("transfer-capacitance", Self::TransferCapacitance, "F", &[Variable::Voltage]),
        ("capacitance", Self::Capacitance, "F", &[Variable::Voltage]),
        ("gate-charge", Self::GateCharge, "C", &[Variable::GateVoltage]),
        (
            "recovery-charge",
            Self::RecoveryCharge,
            "C",
            &[Variable::Temperature, Variable::CurrentRate, Variable::Current],
        ),
        ("transient-impedance", Self::TransientImpedance, "K/W", &[Variable::Time]),
    ];

    fn line(self) -> &'static Line {
        Self::ALL.iter().find(|q| q.1 == self).unwrap_or(&Self::ALL[0])
    }
    /// The quantity of a key.
    pub fn of_key(key: &str) -> Option<Self> {
        Self::ALL.iter().find(|q| q.0 == key).map(|q| q.1)
    }
    /// Key in a part file.
    pub fn key(self) -> &'static str {
        self.line().0
    }
    /// Unit of the ordinate.
    pub fn unit(self) -> &'static str {
        self.line().2
    }
    /// What may stand at the abscissa; the first where nothing is stated.
    pub fn abscissae(self) -> &'static [Variable] {
        self.line().3
    }
}

/// What is held while a curve is taken; `None`: not stated.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Junction temperature, °C.
    pub temperature: Option<f64>,
    /// Gate-source voltage, V.
    pub gate_voltage: Option<f64>,
    /// Drain-source or reverse voltage, V.
    pub voltage: Option<f64>,
    /// Current, A.
    pub current: Option<f64>,
    /// Rate at which the current falls, A/s.
    pub current_rate: Option<f64>,
}

impl Conditions {
    /// The same with a variable at a value; time is no condition.
    pub fn with(mut self, variable: Variable, value: f64) -> Self {
        match variable {
            Variable::Temperature => self.temperature = Some(value),
            Variable::GateVoltage => self.gate_voltage = Some(value),
            Variable::Voltage => self.voltage = Some(value),
            Variable::Current => self.current = Some(value),
            Variable::CurrentRate => self.current_rate = Some(value),
            Variable::Time => {}
        }
        self
    }

    /// The value of a variable.
    pub fn get(&self, variable: Variable) -> Option<f64> {
        match variable {
            Variable::Temperature => self.temperature,
            Variable::GateVoltage => self.gate_voltage,
            Variable::Voltage => self.voltage,
            Variable::Current => self.current,
            Variable::CurrentRate => self.current_rate,
            Variable::Time => None,
        }
    }
}

/// A curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// What it shows.
    pub quantity: Quantity,
    /// What stands at its abscissa.
    pub against: Variable,
    /// What was held.
    pub conditions: Conditions,
    /// The die that it is about, for curves of one die.
    pub die: Option<String>,
    /// Abscissa and ordinate of each point, SI units (°C), as typed: ascending and finite.
    pub points: Vec<(f64, f64)>,
    /// Weight in a fit; 1 unless stated.
    pub weight: f64,
    /// Of a recovery charge: whether the charge of the output capacitance is in it, as data sheets have it.
    pub capacitive: bool,
    /// Units in which the columns were typed.
    pub units: [String; 2],
}

impl Curve {
    /// "on-resistance against temperature".
    pub fn words(&self) -> String {
        format!("{} against {}", self.quantity.key(), self.against.key())
    }

    /// The conditions at the abscissa `x`.
    pub fn at(&self, x: f64) -> Conditions {
        self.conditions.with(self.against, x)
    }
}
