//! The key tables of a part file.

use joulestep_models::model::Range::{Any, Between, NotNegative, Positive};

use crate::input::keys::shape::{Form, Key, Kind, Kinds, Section, keys};

/// The root table of a part file.
pub static PART: Section = Section {
    name: "part",
    help: "A part: the parameters of its model, and what its data sheet states",
    kinds: Kinds::Part(&[(
        "params",
        true,
        "parameters of the kind; what is left out, the component must give",
    )]),
    keys: OF_PART,
};

/// The root table of a file of points, from which parameters are extracted.
pub static POINTS: Section = Section {
    name: "points",
    help: "Points of a data sheet, to which the model of the kind is fitted",
    kinds: Kinds::Part(&[
        ("params", false, "parameters of the kind that are known and held"),
        ("start", false, "values at which the fit of others begins"),
    ]),
    keys: KEYS,
};

const KEYS: &[Key] = keys! {
    need "kind": Form::Text, "kind, as in the catalogue";
    may "title": Form::Text, "one line that says what it is";
    may "source": Form::Text, "where the numbers come from";
    may "invented": Form::Flag, "whether the part is invented, not a product";
    may "technology": Form::Word(TECHNOLOGIES), "what it is made of; default: as the kind implies";
    may "die": Form::Named(&DIE), "dies, under the names that the model gives them";
    may "package": Form::Table(&PACKAGE), "the package";
    may "thermal": Form::Table(&THERMAL), "how heat leaves the part";
    may "resistance": Form::Tables(&RESISTANCE), "what the on-resistance is made of";
    may "curve": Form::Tables(&CURVE), "curves and numbers of its data sheet";
};

/// The same, and what only a part has.
const OF_PART: &[Key] = &{
    let mut all = [Key::may("spread", Form::Tables(&SPREAD), "how parameters spread from piece to piece");
        KEYS.len() + 3];
    let mut k = 0;
    while k < KEYS.len() {
        all[k] = KEYS[k];
        k += 1;
    }
    all[KEYS.len() + 1] = Key::may("correlation", Form::Tables(&CORRELATION), "correlations of what spreads");
    all[KEYS.len() + 2] = Key::may("ratings", Form::Table(&RATINGS), "ratings beside those of [params]");
    all
};

/// Ratings that no law of a die knows.
pub static RATINGS: Section = Section {
    name: "ratings",
    help: "Ratings of leads and package, and of single events",
    kinds: Kinds::None,
    keys: &[
        Key::may(
            "lead-current",
            Form::Quantity("A", Positive),
            "direct current that terminals, clips and wires carry, whatever the junctions do; for pulses too unless a larger \
             one is stated",
        ),
        Key::may(
            "lead-pulse-current",
            Form::Quantity("A", Positive),
            "largest pulse that they carry; between its width and direct current their time constant follows from both",
        ),
        Key::may("lead-pulse-width", Form::Quantity("s", Positive), "width up to which they carry it"),
        Key::may("avalanche-current", Form::Quantity("A", Positive), "current of a single avalanche pulse"),
        Key::may(
            "single-event-temperature",
            Form::Quantity("degC", Between(-150.0, 2000.0)),
            "junction temperature allowed once, as in a short circuit: from the first event with `fault = true` on it is judged \
             in place of the highest junction temperature (aluminium melts at 660.3 degC)",
        ),
        Key::may("avalanche-energy", Form::Quantity("J", Positive), "energy of a single avalanche pulse"),
    ],
};

/// How a parameter spreads.
pub static SPREAD: Section = Section {
    name: "spread",
    help: "How a parameter spreads from piece to piece, or how well it is known",
    kinds: Kinds::None,
    keys: keys! {
        need "parameter": Form::Text, "a parameter of [params], a number";
        may "deviation": Form::Measure, "its standard deviation in its unit; of a temperature in K";
        may "relative": Form::Quantity("1", Positive), "in place of it, as a share of the parameter";
    },
};

/// A correlation.
pub static CORRELATION: Section = Section {
    name: "correlation",
    help: "Correlation of two parameters that spread; others are independent",
    kinds: Kinds::None,
    keys: keys! {
        need "between": Form::Texts, "two parameters that spread";
        need "coefficient": Form::Quantity("1", Between(-1.0, 1.0)), "correlation coefficient";
    },
};

const TECHNOLOGIES: &[&str] = &[
    "cascode",
    "sic-mosfet",
    "superjunction-mosfet",
    "low-voltage-mosfet",
    "sic-schottky-diode",
    "silicon-pin-diode",
    "varistor",
    "unstated",
];

/// A die.
pub static DIE: Section = Section {
    name: "die",
    help: "A die",
    kinds: Kinds::None,
    keys: keys! {
        need "area": Form::Quantity("m^2", Positive), "area";
        may "thickness": Form::Quantity("m", Positive), "thickness";
        may "heated-depth": Form::Quantity("m", Positive), "depth from its face in which heat arises; default 1 % of the thickness";
        may "material": Form::Word(&["4h-sic", "si"]), "semiconductor";
    },
};

/// The package.
pub static PACKAGE: Section = Section {
    name: "package",
    help: "The package",
    kinds: Kinds::None,
    keys: keys! {
        need "outline": Form::Text, "outline in words";
        may "length": Form::Quantity("m", Positive), "length";
        may "width": Form::Quantity("m", Positive), "width";
        may "height": Form::Quantity("m", Positive), "height";
        may "creepage": Form::Quantity("m", Positive), "shortest distance along insulation";
        may "clearance": Form::Quantity("m", Positive), "shortest distance through air";
    },
};

/// How heat leaves the part.
pub static THERMAL: Section = Section {
    name: "thermal",
    help: "How heat leaves the part",
    kinds: Kinds::None,
    keys: keys! {
        may "junction-case": Form::Quantity("K/W", Positive), "thermal resistance, junction to case";
        may "temperature": Form::Quantity("degC", Between(-150.0, 500.0)),
            "of the dies, at which the impedances hold; with it, dies with thickness and material follow the conductivity and \
             heat capacity of their material in runs";
        may "impedance": Form::Tables(&IMPEDANCE), "transient thermal impedances, junction to case";
    },
};

/// A transient thermal impedance.
pub static IMPEDANCE: Section = Section {
    name: "thermal.impedance",
    help: "Terms of a transient thermal impedance",
    kinds: Kinds::None,
    keys: keys! {
        need "die": Form::Name, "the die that is heated";
        may "on": Form::Name,
            "the die that it stands on, stated before it: the terms are then against that die, which its heat warms too";
        need "resistance": Form::Quantities("K/W", Positive), "of each term";
        need "time-constant": Form::Quantities("s", Positive), "of each term";
    },
};

/// A piece of the on-resistance.
pub static RESISTANCE: Section = Section {
    name: "resistance",
    help: "A piece of the on-resistance: of a die by its specific resistance, or by its value",
    kinds: Kinds::None,
    keys: keys! {
        need "name": Form::Name, "what it is: channel, drift, substrate, contacts, package";
        may "die": Form::Name, "the die that it belongs to";
        may "specific": Form::Quantity("ohm m^2", Positive), "times area, at 25 degC; needs a die with an area";
        may "value": Form::Quantity("ohm", Positive), "at 25 degC";
        may "exponent": Form::Quantity("1", Any), "it scales as (T/298.15 K) to this power; default 0";
    },
};

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
                    Key::may(
                        "against",
                        Form::Word(&["temperature", "gate-voltage", "current"]),
                        "abscissa; default temperature",
                    ),
                    TEMPERATURE,
                    GATE,
                    CURRENT,
                    ON_DIE,
                ],
            },
            Kind {
                word: "transfer",
                help: "Drain current against gate-source voltage",
                keys: &[TEMPERATURE, VOLTAGE, ON_DIE],
            },
            Kind {
                word: "output",
                help: "Drain current against drain-source voltage",
                keys: &[TEMPERATURE, GATE, ON_DIE],
            },
            Kind {
                word: "threshold",
                help: "Gate-source voltage at a stated current against temperature, gate tied to drain unless a voltage is stated",
                keys: &[CURRENT, VOLTAGE, ON_DIE],
            },
            Kind {
                word: "leakage",
                help: "Current of a switch that is off, or of a diode in reverse",
                keys: &[
                    Key::may("against", Form::Word(&["voltage", "temperature"]), "abscissa; default voltage"),
                    TEMPERATURE,
                    VOLTAGE,
                    GATE,
                    ON_DIE,
                ],
            },
            Kind {
                word: "breakdown",
                help: "Voltage at a stated current in breakdown, against temperature",
                keys: &[CURRENT, GATE, ON_DIE],
            },
            Kind {
                word: "diode-drop",
                help: "Forward drop of a diode, or of the integral diode of a switch",
                keys: &[
                    Key::may("against", Form::Word(&["current", "temperature"]), "abscissa; default current"),
                    TEMPERATURE,
                    CURRENT,
                    GATE,
                    ON_DIE,
                ],
            },
            Kind {
                word: "input-capacitance",
                help: "C_iss at zero gate voltage, 1 MHz, against drain-source voltage",
                keys: &[TEMPERATURE, ON_DIE],
            },
            Kind {
                word: "output-capacitance",
                help: "C_oss at zero gate voltage, 1 MHz, against drain-source voltage",
                keys: &[TEMPERATURE, ON_DIE],
            },
            Kind {
                word: "transfer-capacitance",
                help: "C_rss at zero gate voltage, 1 MHz, against drain-source voltage",
                keys: &[TEMPERATURE, ON_DIE],
            },
            Kind {
                word: "capacitance",
                help: "Capacitance of a diode, 1 MHz, against reverse voltage",
                keys: &[TEMPERATURE],
            },
            Kind {
                word: "gate-charge",
                help: "Charge into the gate from zero against gate-source voltage, at a stated supply voltage and constant load current",
                keys: &[TEMPERATURE, VOLTAGE, CURRENT, ON_DIE],
            },
            Kind {
                word: "recovery-charge",
                help: "Charge of reverse recovery: the reverse current's integral, with its test conditions",
                keys: &[
                    Key::may(
                        "against",
                        Form::Word(&["temperature", "current-rate", "current"]),
                        "abscissa; default temperature",
                    ),
                    TEMPERATURE,
                    CURRENT,
                    Key::may(
                        "current-rate",
                        Form::Quantity("A/s", Positive),
                        "rate at which the current falls",
                    ),
                    VOLTAGE,
                    Key::may(
                        "capacitive-charge",
                        Form::Word(&["included", "left-out"]),
                        "whether the charge of the output capacitance up to the voltage is in the numbers, as data sheets have it; default included",
                    ),
                    ON_DIE,
                ],
            },
            Kind {
                word: "transient-impedance",
                help: "Transient thermal impedance, junction to case, against time",
                keys: &[ON_DIE],
            },
        ],
    ),
    keys: keys! {
        need "quantity": Form::Text, "what the curve shows";
        may "units": Form::Texts, "units of bare numbers: abscissa, ordinate; default SI base units";
        need "points": Form::Rows, "pairs of abscissa and ordinate, abscissae ascending";
        may "weight": Form::Quantity("1", Positive), "weight in a fit; default 1";
    },
};

const TEMPERATURE: Key = Key::may(
    "temperature",
    Form::Quantity("degC", Between(-150.0, 500.0)),
    "junction temperature; default 25 degC",
);
const GATE: Key = Key::may("gate-voltage", Form::Quantity("V", Any), "gate-source voltage");
const VOLTAGE: Key = Key::may(
    "voltage",
    Form::Quantity("V", NotNegative),
    "drain-source voltage, or reverse voltage of a diode",
);
const CURRENT: Key = Key::may("current", Form::Quantity("A", Positive), "current");
const ON_DIE: Key = Key::may("die", Form::Name, "the die that was measured; default: all of the part");
