//! The key tables of a part file.

use joulestep_models::model::Range::{Any, Between, NotNegative, Positive};
use joulestep_models::part::{Quantity, Technology, Variable};

use crate::input::keys::fields::{Fields, Value};
use crate::input::keys::shape::{Form, Key, Kind, Kinds, Section};
use crate::input::keys::table::keys;

/// The root table of a part file.
pub static PART: Section = Section {
    name: "part",
    help: "A part: the parameters of its model, and what its data sheet states",
    kinds: Kinds::Part(&[Key {
        required: true,
        help: "parameters of the kind; what is left out, the component must give",
        ..OfKind::params
    }]),
    keys: Part::KEYS,
};

/// The root table of a file of points, from which parameters are extracted.
pub static POINTS: Section = Section {
    name: "points",
    help: "Points of a data sheet, to which the model of the kind is fitted",
    kinds: Kinds::Part(OfKind::KEYS),
    keys: &[
        Part::kind,
        Part::title,
        Part::source,
        Part::invented,
        Part::technology,
        Part::die,
        Part::package,
        Part::thermal,
        Part::resistance,
        Part::curve,
    ],
};

keys! {
    /// Tables of the parameters of the kind.
    pub struct OfKind;
    may params: Any as Fields, "parameters of the kind that are known and held";
    may start: Any as Fields, "values at which the fit of others begins";
}

keys! {
    /// A part file, or one of points.
    pub struct Part;
    need kind: Unread(Form::Text), "kind, as in the catalogue";
    may title: Text, "one line that says what it is";
    may source: Text, "where the numbers come from";
    may invented: Flag, "whether the part is invented, not a product", else false;
    may technology: Word(TECHNOLOGIES), "what it is made of; default: as the kind implies";
    may die: ByName(&DIE), "dies, under the names that the model gives them";
    may package: Table(&PACKAGE), "the package";
    may thermal: Table(&THERMAL), "how heat leaves the part";
    may resistance: Tables(&RESISTANCE), "what the on-resistance is made of";
    may curve: Tables(&CURVE), "curves and numbers of its data sheet";
    may spread: Tables(&SPREAD), "how parameters spread from piece to piece";
    may correlation: Tables(&CORRELATION), "correlations of what spreads";
    may ratings: Table(&RATINGS), "ratings beside those of [params]";
}

keys! {
    /// Ratings that no law of a die knows.
    pub struct Ratings in RATINGS = "ratings": "Ratings of leads and package, of avalanches, and of single events";
    may lead_current: Quantity("A", Positive),
        "direct current that terminals, clips and wires carry, whatever the junctions do; for pulses too unless a larger \
         one is stated";
    may lead_pulse_current: Quantity("A", Positive),
        "largest pulse that they carry; between its width and direct current their time constant follows from both";
    may lead_pulse_width: Quantity("s", Positive), "width up to which they carry it";
    may avalanche_current: Quantity("A", Positive), "current of a single avalanche pulse; of a cascode its JFET's";
    may avalanche_energy: Quantity("J", Positive), "energy of a single avalanche pulse (JESD24-5)";
    may repetitive_avalanche_energy: Quantity("J", Positive), "energy of each of many avalanche pulses";
    may avalanche_temperature: Quantity("degC", Any),
        "junction temperature at the start of a pulse for which avalanche energies are stated; default 25 degC";
    may middle_avalanche_current: Quantity("A", Positive), "current of a single avalanche pulse of a cascode's MOSFET";
    may middle_avalanche_energy: Quantity("J", Positive), "energy of a single avalanche pulse of a cascode's MOSFET";
    may middle_repetitive_avalanche_energy: Quantity("J", Positive),
        "energy of each of many avalanche pulses of a cascode's MOSFET";
    may single_event_temperature: Quantity("degC", Between(-150.0, 2000.0)),
        "junction temperature allowed once, as in a short circuit: from the first event with `fault = true` on it is judged \
         in place of the highest junction temperature (aluminium melts at 660.3 degC)";
}

keys! {
    /// How a parameter spreads.
    pub struct Spread in SPREAD = "spread": "How a parameter spreads from piece to piece, or how well it is known";
    need parameter: Text, "a parameter of [params], a number";
    may deviation: Measure, "its standard deviation in its unit; of a temperature in K";
    may relative: Quantity("1", Positive), "in place of it, as a share of the parameter";
}

keys! {
    /// A correlation.
    pub struct Correlation in CORRELATION = "correlation": "Correlation of two parameters that spread; others are independent";
    need between: Texts, "two parameters that spread";
    need coefficient: Quantity("1", Between(-1.0, 1.0)), "correlation coefficient";
}

const TECHNOLOGIES: &[&str] = &Technology::KEYS;

keys! {
    /// A die.
    pub struct Die in DIE = "die": "A die";
    need area: Quantity("m^2", Positive), "area";
    may thickness: Quantity("m", Positive), "thickness";
    may heated_depth: Quantity("m", Positive),
        "depth from its face in which heat arises; default 1 % of the thickness";
    may material: Word(&["4h-sic", "si"]), "semiconductor";
}

keys! {
    /// The package.
    pub struct Package in PACKAGE = "package": "The package";
    need outline: Text as String, "outline in words", else String::new();
    may length: Quantity("m", Positive), "length";
    may width: Quantity("m", Positive), "width";
    may height: Quantity("m", Positive), "height";
    may creepage: Quantity("m", Positive), "shortest distance along insulation";
    may clearance: Quantity("m", Positive), "shortest distance through air";
}

keys! {
    /// How heat leaves the part.
    pub struct Thermal in THERMAL = "thermal": "How heat leaves the part";
    may junction_case: Quantity("K/W", Positive), "thermal resistance, junction to case";
    may temperature: Quantity("degC", Between(-150.0, 500.0)),
        "of the dies, at which the impedances hold; with it, dies with thickness and material follow the conductivity and \
         heat capacity of their material in runs";
    may impedance: Tables(&IMPEDANCE), "transient thermal impedances, junction to case";
}

keys! {
    /// A transient thermal impedance.
    pub struct Impedance in IMPEDANCE = "thermal.impedance": "Terms of a transient thermal impedance";
    need die: Name, "the die that is heated";
    may on: Name, "the die that it stands on, stated before it: the terms are then against that die, which its heat warms too";
    need resistance: Quantities("K/W", Positive), "of each term";
    need time_constant: Quantities("s", Positive), "of each term";
}

keys! {
    /// A piece of the on-resistance.
    pub struct Resistance in RESISTANCE = "resistance": "A piece of the on-resistance: of a die by its specific resistance, or by its value";
    need name: Name, "what it is: channel, drift, substrate, contacts, package";
    may die: Name, "the die that it belongs to";
    may specific: Quantity("ohm m^2", Positive), "times area, at 25 degC; needs a die with an area";
    may value: Quantity("ohm", Positive), "at 25 degC";
    may exponent: Quantity("1", Any), "it scales as (T/298.15 K) to this power; default 0", else 0.0;
}

/// A curve.
pub static CURVE: Section = Section {
    name: "curve",
    help: "A quantity at points, under stated conditions; a temperature that is not stated is 25 degC",
    kinds: Kinds::Listed(
        "quantity",
        &[
            Kind {
                word: "on-resistance",
                help: "Drain-source voltage over current of a switch that is on",
                keys: &[
                    against(&["temperature", "gate-voltage", "current"], "abscissa; default temperature"),
                    Stated::temperature,
                    Stated::gate_voltage,
                    Stated::current,
                    Stated::die,
                ],
            },
            Kind {
                word: "transfer",
                help: "Drain current against gate-source voltage",
                keys: &[Stated::temperature, Stated::voltage, Stated::die],
            },
            Kind {
                word: "output",
                help: "Drain current against drain-source voltage",
                keys: &[Stated::temperature, Stated::gate_voltage, Stated::die],
            },
            Kind {
                word: "threshold",
                help: "Gate-source voltage at a stated current against temperature, gate tied to drain unless a voltage is stated",
                keys: &[Stated::current, Stated::voltage, Stated::die],
            },
            Kind {
                word: "leakage",
                help: "Current of a switch that is off, or of a diode in reverse",
                keys: &[
                    against(&["voltage", "temperature"], "abscissa; default voltage"),
                    Stated::temperature,
                    Stated::voltage,
                    Stated::gate_voltage,
                    Stated::die,
                ],
            },
            Kind {
                word: "breakdown",
                help: "Voltage at a stated current in breakdown, against temperature",
                keys: &[Stated::current, Stated::gate_voltage, Stated::die],
            },
            Kind {
                word: "diode-drop",
                help: "Forward drop of a diode, or of the integral diode of a switch",
                keys: &[
                    against(&["current", "temperature"], "abscissa; default current"),
                    Stated::temperature,
                    Stated::current,
                    Stated::gate_voltage,
                    Stated::die,
                ],
            },
            Kind {
                word: "input-capacitance",
                help: "C_iss at zero gate voltage, 1 MHz, against drain-source voltage",
                keys: &[Stated::temperature, Stated::die],
            },
            Kind {
                word: "output-capacitance",
                help: "C_oss at zero gate voltage, 1 MHz, against drain-source voltage",
                keys: &[Stated::temperature, Stated::die],
            },
            Kind {
                word: "transfer-capacitance",
                help: "C_rss at zero gate voltage, 1 MHz, against drain-source voltage",
                keys: &[Stated::temperature, Stated::die],
            },
            Kind {
                word: "capacitance",
                help: "Capacitance of a diode, 1 MHz, against reverse voltage",
                keys: &[Stated::temperature],
            },
            Kind {
                word: "gate-charge",
                help: "Charge into the gate from zero against gate-source voltage, at a stated supply voltage and constant load current",
                keys: &[Stated::temperature, Stated::voltage, Stated::current, Stated::die],
            },
            Kind {
                word: "recovery-charge",
                help: "Charge of reverse recovery: the reverse current's integral, with its test conditions",
                keys: &[
                    against(&["temperature", "current-rate", "current"], "abscissa; default temperature"),
                    Stated::temperature,
                    Stated::current,
                    Stated::current_rate,
                    Stated::voltage,
                    Stated::capacitive_charge,
                    Stated::die,
                ],
            },
            Kind {
                word: "transient-impedance",
                help: "Transient thermal impedance, junction to case, against time",
                keys: &[Stated::die],
            },
        ],
    ),
    keys: Curve::KEYS,
};

keys! {
    /// A curve.
    pub struct Curve;
    need quantity: Text as Quantity, "what the curve shows";
    may units: Texts, "units of bare numbers: abscissa, ordinate; default SI base units";
    need points: Rows, "pairs of abscissa and ordinate, abscissae ascending", else Vec::new();
    may weight: Quantity("1", Positive), "weight in a fit; default 1", else 1.0;
}
keys! {
    /// What curves of some kinds state.
    pub struct Stated;
    may against: Word(&[]) as Variable, "abscissa";
    may temperature: Quantity("degC", Between(-150.0, 500.0)), "junction temperature; default 25 degC";
    may gate_voltage: Quantity("V", Any), "gate-source voltage";
    may voltage: Quantity("V", NotNegative), "drain-source voltage, or reverse voltage of a diode";
    may current: Quantity("A", Positive), "current";
    may current_rate: Quantity("A/s", Positive), "rate at which the current falls";
    may capacitive_charge: Word(&["included", "left-out"]),
        "whether the charge of the output capacitance up to the voltage is in the numbers, as data sheets have it; default included",
        else "included".into();
    may die: Name, "the die that was measured; default: all of the part";
}
/// The key of an abscissa that is one of these.
const fn against(words: &'static [&'static str], help: &'static str) -> Key {
    Key { form: Form::Word(words), help, ..Stated::against }
}

impl Value for Quantity {
    type Maybe = Option<Self>;
    fn maybe(value: Option<Self>) -> Option<Self> {
        value
    }
    fn of(fields: &Fields, _: Key) -> Option<Self> {
        Self::of_key(&fields.kind)
    }
}
impl Value for Variable {
    type Maybe = Option<Self>;
    fn maybe(value: Option<Self>) -> Option<Self> {
        value
    }
    fn of(fields: &Fields, key: Key) -> Option<Self> {
        Self::of_key(&fields.get::<String>(key)?)
    }
}
