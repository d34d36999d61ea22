//! The key tables of a scenario file.

mod heat;
mod limit;
mod measured;
mod mission;

use joulestep_models::model::Range::{Any, NotNegative, Positive};

pub use self::heat::THERMAL;
pub use self::limit::LIMIT;
pub use self::measured::MEASURED;
pub use self::mission::MISSION;
use crate::input::keys::shape::{Form, Key, Kind, Kinds, Section, keys};

/// Version of the scenario format that this program reads.
pub const FORMAT: i64 = 2;

/// The root table.
pub static SCENARIO: Section = Section {
    name: "",
    help: "What is connected, what happens when, what is recorded and judged",
    kinds: Kinds::None,
    keys: keys! {
        need "format": Form::Whole(FORMAT, FORMAT), "version of the scenario format: 2";
        may "title": Form::Text, "one line that names the case";
        may "include": Form::Texts, "files whose tables are added to these, relative to this file";
        may "component": Form::Tables(&COMPONENT), "what is connected; needed where there is no arrangement";
        may "arrangement": Form::Table(&ARRANGEMENT), "a shipped circuit with its drives and control";
        may "drive": Form::Tables(&DRIVE), "gate drives";
        may "protection": Form::Tables(&PROTECTION), "protection";
        may "controller": Form::Tables(&CONTROLLER), "controllers that switch command lines";
        may "event": Form::Tables(&EVENT), "events at stated instants";
        may "thermal": Form::Table(&THERMAL), "the network that carries the heat away";
        need "steps": Form::Table(&STEPS), "duration and steps";
        may "record": Form::Table(&RECORD), "what goes into the result file";
        may "measured": Form::Tables(&MEASURED), "records of an oscilloscope that are laid over the run";
        may "limit": Form::Tables(&LIMIT), "limits that the verdict judges, beside the ratings of the parts";
        may "waiver": Form::Tables(&WAIVER), "ratings of parts that do not count, each with a reason";
        may "mission": Form::Table(&MISSION), "load and ambient over seconds to hours, for `joulestep mission`";
    },
};

/// A shipped arrangement.
pub static ARRANGEMENT: Section = Section {
    name: "arrangement",
    help: "A shipped circuit with drives and control; its pieces and nodes can be used like those of the file",
    kinds: Kinds::Arrangements,
    keys: keys! {
        need "kind": Form::Text, "which arrangement";
        may "part": Form::Text, "part of every switch: shipped, or a file; without it switches are ideal";
    },
};

/// A component.
pub static COMPONENT: Section = Section {
    name: "component",
    help: "A component: its kind, its nodes, and the parameters of its kind",
    kinds: Kinds::Catalogue,
    keys: keys! {
        need "name": Form::Name, "unique name (reference designator)";
        may "kind": Form::Text, "kind, as in the catalogue; may be left out where a part states it";
        may "part": Form::Text, "a shipped part's name, or a part file relative to this file";
        need "pins": Form::Pins, "nodes in the order of the pins, or pin = node; `gnd` is ground";
        may "heat": Form::NameOrMap, "heat input of its die, or die = heat input";
    },
};

/// A gate drive.
pub static DRIVE: Section = Section {
    name: "drive",
    help: "A gate drive: follows a command line with two levels behind resistances; its state is the line of its name",
    kinds: Kinds::None,
    keys: keys! {
        need "name": Form::Name, "unique name";
        need "gate": Form::Name, "node that it drives";
        need "return": Form::Name, "node against which it drives";
        need "command": Form::Name, "line that turns it on and off";
        may "inhibit": Form::Names, "lines, any of which turns it off softly whatever the command says";
        need "on": Form::Quantity("V", Any), "level while on";
        need "off": Form::Quantity("V", Any), "level while off";
        need "on-resistance": Form::Quantity("ohm", Positive), "resistance while on";
        may "off-resistance": Form::Quantity("ohm", Positive), "resistance while off; default: as on";
        may "soft-resistance": Form::Quantity("ohm", Positive),
            "resistance of the turn-off by an inhibit; default: as off";
        may "delay": Form::Quantity("s", NotNegative), "from command to edge, both ways; default 0";
        may "on-delay": Form::Quantity("s", NotNegative), "from command to turn-on edge; default: delay";
        may "off-delay": Form::Quantity("s", NotNegative), "from command to turn-off edge; default: delay";
        may "edge": Form::Quantity("s", Positive), "time from one level to the other; default 20 ns";
        may "complement-gate": Form::Name, "gate of a second switch, on while the first is off";
        may "complement-return": Form::Name, "node against which that gate is driven";
        may "dead-time": Form::Quantity("s", NotNegative), "what turn-on waits when there are two gates";
        may "starts-on": Form::Flag, "whether it is on at the start; default false";
    },
};

/// Protection.
pub static PROTECTION: Section = Section {
    name: "protection",
    help: "Protection: sets its trip line when what it watches is too high",
    kinds: Kinds::Listed(
        "kind",
        &[
            Kind {
                word: "level",
                help: "Trips when a signal has been beyond a threshold for a time",
                keys: keys! {
                    need "threshold": Form::Measure, "trips beyond this value";
                    may "sense": Form::Word(&["above", "below", "magnitude"]), "which side; default above";
                    may "filter": Form::Quantity("s", NotNegative), "must be beyond for this long; default 0";
                    may "blanking": Form::Quantity("s", NotNegative), "blind for this long after turn-on";
                    may "blanking-drive": Form::Name, "drive whose turn-on begins the blanking";
                    may "only-on": Form::Flag, "looks only while that drive is on; default false";
                },
            },
            Kind {
                word: "inverse-time",
                help: "Trips when the integral of i² - rated², taken above pick-up, reaches a limit",
                keys: keys! {
                    need "pick-up": Form::Quantity("A", Positive), "current above which the sum grows";
                    need "rated": Form::Quantity("A", NotNegative), "continuous current";
                    need "limit": Form::Quantity("A^2 s", Positive), "sum that trips";
                    need "cooling-time": Form::Quantity("s", Positive), "time constant below pick-up";
                },
            },
        ],
    ),
    keys: keys! {
        need "name": Form::Name, "unique name";
        need "kind": Form::Text, "`level` or `inverse-time`";
        need "watches": Form::Text, "signal, such as `L1.current` or `voltage(drain, source)`";
        need "trip": Form::Name, "line that it sets: name it under `inhibit` of a drive";
        may "delay": Form::Quantity("s", NotNegative), "from decision to trip; default 0";
        may "retries": Form::Whole(0, 1000), "tries after a trip before it locks out; default 0";
        may "retry-after": Form::Quantity("s", Positive), "from trip to the next try";
        may "healthy-after": Form::Quantity("s", Positive),
            "time without a trip that renews the tries; default: never";
        may "reset": Form::Name, "line whose change to true ends a latched trip";
    },
};

/// A controller.
pub static CONTROLLER: Section = Section {
    name: "controller",
    help: "Switches its output line",
    kinds: Kinds::Listed(
        "kind",
        &[
            Kind {
                word: "hysteretic",
                help: "On below the lower, off above the upper bound of a signal",
                keys: keys! {
                    need "watches": Form::Text, "signal, such as `L1.current`";
                    need "lower": Form::Measure, "turns on below";
                    need "upper": Form::Measure, "turns off above";
                    may "shortest-on": Form::Quantity("s", NotNegative), "shortest on time";
                    may "shortest-off": Form::Quantity("s", NotNegative), "shortest off time";
                    may "delay": Form::Quantity("s", NotNegative), "from a crossing to the change; default 0";
                    may "done-signal": Form::Text, "signal that ends the task: the output then stays on";
                    may "done-at": Form::Measure, "value, reached from below, at which it ends";
                },
            },
            Kind {
                word: "pwm",
                help: "Fixed frequency and duty",
                keys: keys! {
                    need "frequency": Form::Quantity("Hz", Positive), "switching frequency";
                    need "duty": Form::Quantity("1", NotNegative), "on time over period, 0 to 1";
                    may "ramp": Form::Quantity("s", NotNegative), "soft start: time in which the duty rises";
                    may "complement": Form::Name,
                        "line that is on while the output is off, less the dead time; off while it does not work";
                    may "dead-time": Form::Quantity("s", NotNegative),
                        "output and complement both off for this long at each change; default 0";
                },
            },
        ],
    ),
    keys: keys! {
        need "name": Form::Name, "unique name";
        need "kind": Form::Text, "kind of controller";
        may "run": Form::Name, "line that lets it work; without one it works from the start";
        need "output": Form::Name, "line that it switches";
    },
};

/// An event.
pub static EVENT: Section = Section {
    name: "event",
    help: "An event at a stated instant",
    kinds: Kinds::Listed(
        "what",
        &[
            Kind { word: "line-on", help: "A line becomes true", keys: &[LINE] },
            Kind { word: "line-off", help: "A line becomes false", keys: &[LINE] },
            Kind { word: "close", help: "A switch closes", keys: &[SWITCH] },
            Kind { word: "open", help: "A switch opens", keys: &[SWITCH] },
            Kind { word: "note", help: "Nothing but a line in the account", keys: &[] },
        ],
    ),
    keys: keys! {
        need "at": Form::Quantity("s", NotNegative), "when";
        need "what": Form::Text, "kind of event";
        may "note": Form::Text, "words for the account";
        may "fault": Form::Flag,
            "true: a fault starts here, and protections count its let-through I²t from here; false: it ends";
    },
};
const LINE: Key = Key::need("line", Form::Name, "the line");
const SWITCH: Key = Key::need("switch", Form::Name, "component of kind `switch`");

/// Duration and steps.
pub static STEPS: Section = Section {
    name: "steps",
    help: "Duration, steps and method",
    kinds: Kinds::None,
    keys: keys! {
        need "end": Form::Quantity("s", Positive), "simulated time";
        may "base": Form::Quantity("s", Positive), "longest step, between edges; default end / 1000";
        may "finest": Form::Quantity("s", Positive),
            "finest step: base / 2^k, k up to 20; default: the longest of these that is at most 0.1 ns and at most base / 1024";
        may "voltage-error": Form::Quantity("V", Positive),
            "local error that calls for finer steps; default 1 uV + 2e-5 of the largest value so far of each voltage";
        may "current-error": Form::Quantity("A", Positive),
            "the same for currents; default 1 uA + 2e-5 of the largest value so far of each current";
        may "method": Form::Word(&["tr-bdf2", "esdirk4", "piecewise"]),
            "integration method; piecewise: exact steps for circuits of linear components, ideal switches and ideal diodes; default: that where there is an ideal diode and nothing nonlinear, else esdirk4";
        may "temperature-error": Form::Quantity("K", Positive),
            "how far the temperature of a device may lag behind that of the thermal network; default 1 K";
        may "coupling": Form::Quantity("s", Positive),
            "longest time between exchanges of heat and temperature, however little they lag; default end / 300";
        may "start": Form::Word(&["operating-point", "stated"]), "initial state; default operating-point";
    },
};

/// What is recorded.
pub static RECORD: Section = Section {
    name: "record",
    help: "What goes into the result file",
    kinds: Kinds::None,
    keys: keys! {
        need "signals": Form::Texts, "signals: `voltage(a)`, `voltage(a, b)`, `L1.current`, `Q1.middle`, `line(x)`";
        may "interval": Form::Quantity("s", Positive), "shortest time between samples; default: every step";
    },
};

/// A waiver.
pub static WAIVER: Section = Section {
    name: "waiver",
    help: "A rating of a part, or a note, that does not count in the verdict; account and report print it with its reason",
    kinds: Kinds::None,
    keys: keys! {
        need "rating": Form::Text, "name of the rating or note, as the account has it: `Q1.gate`";
        need "reason": Form::Text, "why it does not count";
    },
};
