//! Which parameters the curves of a part can determine, and in which order they are fitted.

use crate::model::{DieKind, Entry, Param, Shape, Value, Values};
use crate::part::{Curve, Part, Quantity, Technology};

/// Stages of the fit: each begins where those before it ended; a last fit of all parameters together follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Channel: resistance, threshold, saturation.
    Channel,
    /// Junctions in forward direction.
    Diode,
    /// Leakage and breakdown.
    Blocking,
    /// Capacitances and gate charge.
    Charge,
    /// Reverse recovery.
    Recovery,
}

impl Stage {
    /// In order.
    pub const ALL: [Self; 5] = [Self::Channel, Self::Diode, Self::Blocking, Self::Charge, Self::Recovery];

    /// The stage of a curve; `None` where no device law is fitted to it.
    pub fn of(quantity: Quantity) -> Option<Self> {
        use Quantity as Q;
        match quantity {
            Q::OnResistance | Q::Transfer | Q::Output | Q::Threshold => Some(Self::Channel),
            Q::DiodeDrop => Some(Self::Diode),
            Q::Leakage | Q::Breakdown => Some(Self::Blocking),
            Q::InputCapacitance
            | Q::OutputCapacitance
            | Q::TransferCapacitance
            | Q::Capacitance
            | Q::GateCharge => Some(Self::Charge),
            Q::RecoveryCharge => Some(Self::Recovery),
            Q::TransientImpedance => None,
        }
    }
}

/// A parameter that may be fitted.
#[derive(Clone, Copy, Debug)]
pub struct Candidate {
    /// The parameter.
    pub param: &'static Param,
    /// When.
    pub stage: Stage,
    /// Which curve determines it, in words.
    pub settled_by: &'static str,
}

/// Key without prefix, curves of its die that determine it, curves of a whole cascode that do, and in words.
type Line = (&'static str, &'static [Quantity], &'static [Quantity], &'static str);

use Quantity::{
    Breakdown, Capacitance, DiodeDrop, GateCharge, InputCapacitance, Leakage, OnResistance, Output,
    OutputCapacitance, RecoveryCharge, Threshold, Transfer, TransferCapacitance,
};

const MOSFET: &[Line] = &[
    ("on-resistance", &[OnResistance, Output], &[OnResistance], "on-resistance against gate-voltage"),
    ("threshold", &[Transfer, Threshold], &[Transfer, Threshold], "transfer, or threshold"),
    ("resistance-exponent", &[OnResistance, Output], &[], "on-resistance against temperature"),
    (
        "threshold-drift",
        &[Transfer, Threshold],
        &[Transfer, Threshold],
        "transfer or threshold at further temperatures",
    ),
    ("slope-factor", &[Transfer], &[Transfer], "transfer near the threshold"),
    ("body-saturation-current", &[DiodeDrop], &[DiodeDrop], "diode-drop at low currents"),
    ("body-ideality", &[DiodeDrop], &[DiodeDrop], "diode-drop over decades of current"),
    ("body-gap", &[DiodeDrop], &[DiodeDrop], "diode-drop at further temperatures"),
    ("leakage-conductance", &[Leakage], &[], "leakage"),
    ("leakage-energy", &[Leakage], &[], "leakage at further temperatures"),
    ("breakdown-voltage", &[Breakdown], &[], "breakdown"),
    ("breakdown-drift", &[Breakdown], &[], "breakdown at further temperatures"),
    (
        "gate-source-capacitance",
        &[InputCapacitance, GateCharge],
        &[InputCapacitance, GateCharge],
        "input-capacitance",
    ),
    ("gate-drain-capacitance", &[TransferCapacitance, GateCharge], &[], "transfer-capacitance"),
    ("drain-source-capacitance", &[OutputCapacitance], &[], "output-capacitance"),
    (
        "depletion-exponent",
        &[OutputCapacitance, TransferCapacitance],
        &[],
        "output-capacitance at high voltages",
    ),
    ("built-in-voltage", &[OutputCapacitance, TransferCapacitance], &[], "output-capacitance near 0 V"),
    ("body-lifetime", &[RecoveryCharge], &[RecoveryCharge], "recovery-charge at high and low current-rate"),
    (
        "body-transit-time",
        &[RecoveryCharge],
        &[RecoveryCharge],
        "recovery-charge at high and low current-rate",
    ),
    ("body-lifetime-exponent", &[RecoveryCharge], &[RecoveryCharge], "recovery-charge against temperature"),
];

const JFET: &[Line] = &[
    ("on-resistance", &[OnResistance, Output], &[OnResistance, Output], "on-resistance against gate-voltage"),
    ("resistance-exponent", &[OnResistance, Output], &[OnResistance], "on-resistance against temperature"),
    ("pinch-off", &[Transfer, Threshold], &[], "transfer of the JFET die"),
    ("saturation-current", &[Output, Transfer], &[Output], "output beyond the knee"),
    ("saturation-exponent", &[Output, Transfer], &[Output], "output beyond the knee at further temperatures"),
    ("drift-share", &[Output, OnResistance], &[], "output around the knee"),
    ("pinch-off-drift", &[Transfer, Threshold], &[], "transfer of the JFET die at further temperatures"),
    ("drain-effect", &[Output, Transfer], &[], "output far beyond the knee"),
    ("slope-factor", &[Transfer], &[], "transfer of the JFET die near pinch-off"),
    ("leakage-conductance", &[Leakage], &[Leakage], "leakage"),
    ("leakage-energy", &[Leakage], &[Leakage], "leakage at further temperatures"),
    ("breakdown-voltage", &[Breakdown], &[Breakdown], "breakdown"),
    ("gate-drain-capacitance", &[TransferCapacitance], &[OutputCapacitance], "output-capacitance"),
    ("gate-source-capacitance", &[InputCapacitance], &[], "input-capacitance of the JFET die"),
    ("drain-source-capacitance", &[OutputCapacitance], &[], "output-capacitance of the JFET die"),
    (
        "depletion-exponent",
        &[OutputCapacitance, TransferCapacitance],
        &[OutputCapacitance],
        "output-capacitance at high voltages",
    ),
    (
        "built-in-voltage",
        &[OutputCapacitance, TransferCapacitance],
        &[],
        "output-capacitance of the JFET die near 0 V",
    ),
];

const DIODE: &[Line] = &[
    ("saturation-current", &[DiodeDrop], &[], "diode-drop at low currents"),
    ("ideality", &[DiodeDrop], &[], "diode-drop over decades of current"),
    ("series-resistance", &[DiodeDrop], &[], "diode-drop at high currents"),
    ("gap", &[DiodeDrop], &[], "diode-drop at further temperatures"),
    ("resistance-coefficient", &[DiodeDrop], &[], "diode-drop at high currents and further temperatures"),
    ("leakage-conductance", &[Leakage], &[], "leakage"),
    ("breakdown-voltage", &[Breakdown], &[], "breakdown"),
    ("capacitance", &[Capacitance], &[], "capacitance"),
    ("depletion-exponent", &[Capacitance], &[], "capacitance at high voltages"),
    ("built-in-voltage", &[Capacitance], &[], "capacitance near 0 V"),
    ("lifetime", &[RecoveryCharge], &[], "recovery-charge at high and low current-rate"),
    ("transit-time", &[RecoveryCharge], &[], "recovery-charge at high and low current-rate"),
    ("lifetime-exponent", &[RecoveryCharge], &[], "recovery-charge against temperature"),
];

/// The pillars of a superjunction.
const PILLARS: &[Line] = &[
    ("pillar-capacitance", &[OutputCapacitance], &[], "output-capacitance below the pillars' voltage"),
    ("pillar-voltage", &[OutputCapacitance], &[], "output-capacitance around the pillars' voltage"),
    ("pillar-width", &[OutputCapacitance], &[], "output-capacitance around the pillars' voltage"),
    (
        "pillar-gate-capacitance",
        &[TransferCapacitance],
        &[],
        "transfer-capacitance around the pillars' voltage",
    ),
];

/// The gate over the JFET regions of a SiC MOSFET, which deplete like pillars.
const REGIONS: &[Line] = &[
    ("pillar-gate-capacitance", &[TransferCapacitance], &[], "transfer-capacitance near 0 V"),
    ("pillar-voltage", &[TransferCapacitance], &[], "transfer-capacitance where it falls fastest"),
    ("pillar-width", &[TransferCapacitance], &[], "transfer-capacitance where it falls fastest"),
];

/// What lies under the channel of a MOSFET of high voltage; fitted for such technologies only.
const DRIFT: &[Line] = &[
    (
        "drift-share",
        &[OnResistance, Output],
        &[],
        "on-resistance against gate-voltage and against temperature",
    ),
    ("drift-exponent", &[OnResistance], &[], "on-resistance against temperature at two gate voltages"),
];

/// The parameters that the curves of a part speak of and that it does not give, in the order of their importance.
pub fn candidates(part: &Part) -> Vec<Candidate> {
    let of_mosfet = || {
        MOSFET.iter().copied().chain(match part.technology {
            Technology::SuperjunctionMosfet => [DRIFT, PILLARS].concat(),
            Technology::SicMosfet => [DRIFT, REGIONS].concat(),
            _ => Vec::new(),
        })
    };
    let mut out = Vec::new();
    for die in part.entry().dies {
        let prefix = die.prefix;
        let lines: Vec<Line> = match die.is {
            DieKind::Mosfet => of_mosfet().collect(),
            other => curves_of(other).to_vec(),
        };
        for (key, own, whole, settled_by) in lines {
            let full = format!("{prefix}{key}");
            let Some(param) = part.entry().params.iter().find(|p| p.key == full) else { continue };
            let given = part.given.contains(param.key) || !matches!(param.shape, Shape::Number(_));
            let speaks = |curve: &&Curve| match (&curve.die, prefix) {
                (None, "") => own.contains(&curve.quantity),
                (None, _) => whole.contains(&curve.quantity),
                (Some(of), _) => die.name == of && own.contains(&curve.quantity),
            };
            let Some(stage) = part.curves.iter().find(speaks).and_then(|c| Stage::of(c.quantity)) else {
                continue;
            };
            if !given {
                out.push(Candidate { param, stage, settled_by });
            }
        }
    }
    out
}

/// What determines the parameters of a die.
const fn curves_of(die: DieKind) -> &'static [Line] {
    match die {
        DieKind::Jfet => JFET,
        DieKind::Mosfet => MOSFET,
        DieKind::Diode => DIODE,
    }
}

/// Which curve determines a parameter of a model, in words.
pub fn settled_by(entry: &Entry, key: &str) -> String {
    let (die, list, bare) = match entry.die_of_key(key) {
        Some((die, bare)) if !die.blocks => (" of the MOSFET die or the whole", curves_of(die.is), bare),
        Some((die, bare)) => ("", curves_of(die.is), bare),
        None => ("", MOSFET, key),
    };
    let line = list.iter().chain(DRIFT).chain(PILLARS).find(|l| l.0 == bare);
    line.map_or_else(|| "no curve determines it".to_string(), |l| format!("{}{die} would", l.3))
}

impl Candidate {
    /// By how much its coordinate may be uncertain and still be distinguished from nothing. The logarithm of a
    /// junction's saturation current is v/nVt off that of the currents at which it is measured, some tens; others are
    /// of the order of one.
    pub fn span(&self) -> f64 {
        let junction = self.stage == Stage::Diode && self.param.key.ends_with("saturation-current");
        if junction { 20.0 } else { 1.0 }
    }
}

/// Whether a candidate must be found: the model cannot do without it, and it has no other value.
pub fn is_needed(candidate: &Candidate, values: &Values) -> bool {
    let param = candidate.param;
    param.default.is_none() && !param.optional && !matches!(values.0.get(param.key), Some(Value::Number(_)))
}
