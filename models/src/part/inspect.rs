//! Whether the curves of a part agree with themselves, with each other and with its limits.

use joulestep_engine::units::people;

use crate::part::{Curve, Part, Quantity, Variable};

/// Points read off a printed curve are wrong by some per cent: what goes the wrong way by no more than this part of
/// the value is taken for reading error.
const READ_WRONG: f64 = 0.05;

/// Where in a part's curves something is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spot {
    /// The curve as a whole.
    Curve,
    /// A condition that it states, or should state.
    Condition(Variable),
    /// Its die.
    Die,
    /// A point, by its number from 0, and the column (0 abscissa, 1 ordinate).
    Point(usize, usize),
}

/// Something wrong with a curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// Number of the curve, from 0.
    pub curve: usize,
    /// Where in it.
    pub spot: Spot,
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
}

/// How the ordinate must go with the abscissa.
#[derive(Clone, Copy, PartialEq)]
enum Course {
    Rises,
    Falls,
    Either,
}

/// A quantity's necessary course: charges and currents grow with what drives them, depletion capacitances fall with
/// the voltage that widens the layer, and a channel's resistance falls as its gate opens it (Sze & Ng, Physics of
/// Semiconductor Devices, 3rd ed., ch. 2 and 6; from memory).
fn course(curve: &Curve) -> Course {
    use Quantity as Q;
    match (curve.quantity, curve.against) {
        (Q::OnResistance, Variable::GateVoltage)
        | (Q::InputCapacitance | Q::OutputCapacitance | Q::TransferCapacitance | Q::Capacitance, _) => {
            Course::Falls
        }
        (Q::Transfer | Q::Output | Q::GateCharge | Q::TransientImpedance | Q::Leakage, _)
        | (Q::OnResistance | Q::DiodeDrop, Variable::Current) => Course::Rises,
        _ => Course::Either,
    }
}

/// Conditions that a quantity needs besides its abscissa; a temperature that is not stated is 25 °C.
fn needed(curve: &Curve) -> Vec<Variable> {
    use Variable as V;
    let all: &[V] = match curve.quantity {
        Quantity::OnResistance => &[V::GateVoltage, V::Current],
        Quantity::Transfer => &[V::Voltage],
        Quantity::Output => &[V::GateVoltage],
        Quantity::Threshold | Quantity::Breakdown | Quantity::DiodeDrop => &[V::Current],
        Quantity::Leakage => &[V::Voltage],
        Quantity::GateCharge => &[V::Voltage, V::Current],
        Quantity::RecoveryCharge => &[V::Current, V::CurrentRate, V::Voltage],
        _ => &[],
    };
    all.iter().copied().filter(|v| *v != curve.against).collect()
}

/// Everything that is wrong with the curves of a part. Abscissae must ascend; what must rise or fall does;
/// reverse-transfer capacitance stays below the other two; curves that share an operating point agree there; voltages,
/// gate voltages and temperatures stay within the limits that the part itself states, and what breaks down does so
/// above the rated voltage.
pub fn inspect(part: &Part) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (number, curve) in part.curves.iter().enumerate() {
        let mut look = Look { part, curve, number, faults: &mut faults };
        look.conditions();
        look.abscissae();
        look.ordinates();
        look.breakdown();
    }
    for (number, curve) in part.curves.iter().enumerate() {
        if curve.quantity == Quantity::TransferCapacitance {
            below(part, number, curve, &mut faults);
        }
        for (earlier, other) in part.curves[..number].iter().enumerate() {
            same(earlier, other, number, curve, &mut faults);
        }
    }
    faults
}

struct Look<'a> {
    part: &'a Part,
    curve: &'a Curve,
    number: usize,
    faults: &'a mut Vec<Fault>,
}

impl Look<'_> {
    fn report(&mut self, spot: Spot, found: impl Into<String>, expected: impl Into<String>) {
        let fault = Fault { curve: self.number, spot, found: found.into(), expected: expected.into() };
        self.faults.push(fault);
    }

    fn conditions(&mut self) {
        for variable in needed(self.curve) {
            if self.curve.conditions.get(variable).is_none() {
                let expected = format!("`{}` at which the curve was taken", variable.key());
                self.report(Spot::Condition(variable), "missing", expected);
            }
        }
        for &(_, variable, _) in Variable::ALL {
            if let Some(value) = self.curve.conditions.get(variable) {
                self.limit(Spot::Condition(variable), variable, value);
            }
        }
        let entry = self.part.entry();
        let several = entry.dies.len() > 1;
        if let Some(die) = self.curve.die.clone().filter(|d| !(several && entry.die(d).is_some())) {
            let names: Vec<String> = entry.dies.iter().map(|d| format!("`{}`", d.name)).collect();
            let expected = match several {
                false => format!("no `die`: kind `{}` has one only", self.part.kind),
                true => names.join(" or "),
            };
            self.report(Spot::Die, format!("there is no die `{die}`"), expected);
        }
        let switch = entry.is_switch();
        let of_switch = matches!(
            self.curve.quantity,
            Quantity::OnResistance
                | Quantity::Transfer
                | Quantity::Output
                | Quantity::Threshold
                | Quantity::GateCharge
                | Quantity::InputCapacitance
                | Quantity::OutputCapacitance
                | Quantity::TransferCapacitance
        );
        let of_diode = self.curve.quantity == Quantity::Capacitance;
        if (of_switch && !switch) || (of_diode && switch) {
            let found = format!("kind `{}` has no {}", self.part.kind, self.curve.quantity.key());
            self.report(Spot::Curve, found, "a quantity of this kind");
        }
        if self.curve.points.is_empty() {
            self.report(Spot::Curve, "no points", "at least one point");
        }
    }

    /// Within the limits of the part itself.
    fn limit(&mut self, spot: Spot, variable: Variable, value: f64) {
        let whole = self.curve.die.is_none();
        let (bound, size, words) = match variable {
            Variable::GateVoltage if whole => {
                let bound = self.part.gate_limits().map(|(low, high)| if value < 0.0 { -low } else { high });
                (bound, value.abs(), "the gate's limit")
            }
            Variable::Voltage if whole => (self.part.rated_voltage(), value.abs(), "the rated voltage"),
            Variable::Temperature => (self.part.hottest(), value, "the maximum temperature"),
            _ => return,
        };
        let unit = variable.unit();
        if let Some(bound) = bound.filter(|b| size > *b) {
            let found = format!("{} is beyond {words}", people(value, unit));
            self.report(spot, found, format!("at most {}, which the part states", people(bound, unit)));
        } else if variable == Variable::Temperature && value < -150.0 {
            self.report(spot, format!("{value} °C"), "a temperature above -150 °C");
        }
    }

    /// A rating promises that nothing breaks down below it at room temperature and above.
    fn breakdown(&mut self) {
        let curve = self.curve;
        let entry = self.part.entry();
        let blocks = curve.die.as_deref().is_none_or(|die| entry.die(die).is_some_and(|d| d.blocks));
        if curve.quantity != Quantity::Breakdown || !blocks {
            return;
        }
        let Some(rated) = self.part.values.maybe("rated-voltage") else { return };
        for (k, &(x, volts)) in curve.points.iter().enumerate() {
            let warm = curve.at(x).temperature.is_none_or(|t| t >= 25.0);
            if warm && volts < rated * (1.0 - READ_WRONG) {
                let found = format!("it breaks down at {}", people(volts, "V"));
                let expected =
                    format!("at least the rated voltage of {}, which the part states", people(rated, "V"));
                self.report(Spot::Point(k, 1), found, expected);
            }
        }
    }

    fn abscissae(&mut self) {
        let curve = self.curve;
        let unit = curve.against.unit();
        for (k, pair) in curve.points.windows(2).enumerate() {
            let ([(a, _), (b, _)], spot) = ([pair[0], pair[1]], Spot::Point(k + 1, 0));
            if a == b {
                self.report(spot, format!("two points at {}", people(b, unit)), "one point at each abscissa");
            } else if b < a {
                let found = format!("{} comes after {}", people(b, unit), people(a, unit));
                self.report(spot, found, "ascending abscissae");
            }
        }
        let positive = matches!(curve.against, Variable::Current | Variable::CurrentRate | Variable::Time);
        for (k, &(x, _)) in curve.points.iter().enumerate() {
            if positive && x <= 0.0 {
                let found = format!("{} is not above zero", people(x, unit));
                self.report(Spot::Point(k, 0), found, format!("a {} above zero", curve.against.key()));
            } else if curve.against == Variable::Voltage && x < 0.0 {
                let found = format!("{} is below zero", people(x, unit));
                self.report(Spot::Point(k, 0), found, "a voltage of zero or above");
            }
            self.limit(Spot::Point(k, 0), curve.against, x);
        }
    }

    fn ordinates(&mut self) {
        let curve = self.curve;
        let (unit, name) = (curve.quantity.unit(), curve.quantity.key());
        // A threshold may be negative (normally-on dies), a current or charge may be zero.
        let zero_too = matches!(curve.quantity, Quantity::Transfer | Quantity::Output | Quantity::GateCharge);
        for (k, &(_, y)) in curve.points.iter().enumerate() {
            if curve.quantity != Quantity::Threshold && (y < 0.0 || (y == 0.0 && !zero_too)) {
                let least = if zero_too { "zero or above" } else { "above zero" };
                self.report(Spot::Point(k, 1), people(y, unit), format!("{name} {least}"));
            }
        }
        let course = course(curve);
        for (k, pair) in curve.points.windows(2).enumerate() {
            let [(a, before), (b, after)] = [pair[0], pair[1]];
            let wrong = match course {
                Course::Rises => after < before * (1.0 - READ_WRONG),
                Course::Falls => after > before * (1.0 + READ_WRONG),
                Course::Either => false,
            };
            if wrong && a < b {
                let (does, should) =
                    if course == Course::Falls { ("rises", "fall") } else { ("falls", "rise") };
                let axis = curve.against.key();
                let [before, after] = [before, after].map(|y| people(y, unit));
                let found = format!("{name} {does} from {before} to {after} as {axis} rises");
                let expected = format!("{name} to {should} as {axis} rises");
                self.report(Spot::Point(k + 1, 1), found, expected);
            }
        }
    }
}

/// C_rss = C_gd is a part of both C_iss and C_oss.
fn below(part: &Part, number: usize, transfer: &Curve, faults: &mut Vec<Fault>) {
    let others = [Quantity::InputCapacitance, Quantity::OutputCapacitance];
    for other in part.curves.iter().filter(|c| others.contains(&c.quantity) && c.die == transfer.die) {
        for (k, &(v, c)) in transfer.points.iter().enumerate() {
            let Some(bound) = between(&other.points, v) else { continue };
            if c <= bound * (1.0 + READ_WRONG) {
                continue;
            }
            let name = other.quantity.key();
            faults.push(Fault {
                curve: number,
                spot: Spot::Point(k, 1),
                found: format!(
                    "transfer-capacitance {} at {} is above {name}, {} there",
                    people(c, "F"),
                    people(v, "V"),
                    people(bound, "F")
                ),
                expected: format!("at most {name}, of which it is a part"),
            });
        }
    }
}

/// Two curves that give the same quantity at the same operating point, each wrong by no more than a reading error.
fn same(earlier: usize, other: &Curve, number: usize, curve: &Curve, faults: &mut Vec<Fault>) {
    let (name, unit) = (curve.quantity.key(), curve.quantity.unit());
    let alike = other.quantity == curve.quantity && other.die == curve.die;
    // A steep curve moves by more than a reading error with a reading error of its abscissa.
    let steep = matches!(curve.quantity, Quantity::Transfer | Quantity::Leakage | Quantity::Threshold);
    let timeless = curve.against != Variable::Time && other.against != Variable::Time;
    if !alike || steep || !timeless || curve.capacitive != other.capacitive {
        return;
    }
    for (k, &(x, y)) in curve.points.iter().enumerate() {
        let here = curve.at(x);
        let there = other.points.iter().find(|p| other.at(p.0) == here);
        let Some(&(_, before)) =
            there.filter(|p| (p.1 - y).abs() > 2.0 * READ_WRONG * p.1.abs().max(y.abs()))
        else {
            continue;
        };
        faults.push(Fault {
            curve: number,
            spot: Spot::Point(k, 1),
            found: format!(
                "{name} {} contradicts curve {}, {} at the same operating point",
                people(y, unit),
                earlier + 1,
                people(before, unit)
            ),
            expected: "curves that agree where they meet".to_string(),
        });
    }
}

/// Straight line between points; `None` outside.
fn between(points: &[(f64, f64)], x: f64) -> Option<f64> {
    let pair = points.windows(2).find(|w| w[0].0 <= x && x <= w[1].0)?;
    let [(a, before), (b, after)] = [pair[0], pair[1]];
    Some(before + (after - before) * ((x - a) / (b - a)))
}
