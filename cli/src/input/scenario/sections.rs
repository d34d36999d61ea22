//! The key tables of a scenario file, and what is read of them.

pub mod heat;
pub mod limit;
pub mod measured;
pub mod mission;

use joulestep_models::model::Range::{Any, NotNegative, Positive};

use self::heat::THERMAL;
use self::limit::LIMIT;
use self::measured::MEASURED;
use self::mission::MISSION;
use crate::input::keys::fields::Fields;
use crate::input::keys::shape::{Form, Kinds};
use crate::input::keys::table::{keys, kinds};

/// Version of the scenario format that this program reads.
pub const FORMAT: i64 = 2;

keys! {
    /// The root table.
    pub struct Root in SCENARIO = "": "What is connected, what happens when, what is recorded and judged";
    need format: Unread(Form::Whole(FORMAT, FORMAT)), "version of the scenario format: 2";
    may title: Text, "one line that names the case";
    may include: Unread(Form::Texts), "files whose tables are added to these, relative to this file";
    may component: Tables(&COMPONENT), "what is connected; needed where there is no arrangement";
    may arrangement: Table(&ARRANGEMENT), "a shipped circuit with its drives and control";
    may drive: Tables(&DRIVE), "gate drives";
    may protection: Tables(&PROTECTION), "protection";
    may controller: Tables(&CONTROLLER), "controllers that switch command lines";
    may event: Tables(&EVENT), "events at stated instants";
    may thermal: Table(&THERMAL), "the network that carries the heat away";
    need steps: Table(&STEPS) as Option<Fields>, "duration and steps";
    may record: Table(&RECORD), "what goes into the result file";
    may measured: Tables(&MEASURED), "records of an oscilloscope that are laid over the run";
    may limit: Tables(&LIMIT), "limits that the verdict judges, beside the ratings of the parts";
    may waiver: Tables(&WAIVER), "ratings of parts that do not count, each with a reason";
    may cycle: Table(&CYCLE), "what repeats in a circuit of your own, for `joulestep cycle` and `joulestep mission`";
    may mission: Table(&MISSION), "load and ambient over seconds to hours, for `joulestep mission`";
}

keys! {
    /// A shipped arrangement.
    pub struct Arrangement in ARRANGEMENT = "arrangement":
        "A shipped circuit with drives and control; its pieces and nodes can be used like those of the file",
        by Kinds::Arrangements;
    need kind: Text, "which arrangement";
    may part: Text, "part of every switch: shipped, or a file; without it switches are ideal";
}

keys! {
    /// A component.
    pub struct Component in COMPONENT =
        "component": "A component: its kind, its nodes, and the parameters of its kind", by Kinds::Catalogue;
    need name: Name, "unique name (reference designator)";
    may kind: Unread(Form::Text), "kind, as in the catalogue; may be left out where a part states it";
    may part: Text, "a shipped part's name, or a part file relative to this file";
    need pins: Pins, "nodes in the order of the pins, or pin = node; `gnd` is ground";
    may heat: NameOrMap, "heat input of its die, or die = heat input";
}

keys! {
    /// A gate drive.
    pub struct Drive in DRIVE = "drive":
        "A gate drive: follows a command line with two levels behind resistances; its state is the line of its name";
    need name: Name, "unique name";
    need gate: Name, "node that it drives";
    need r#return: Name, "node against which it drives";
    need command: Name, "line that turns it on and off";
    may inhibit: Names, "lines, any of which turns it off softly whatever the command says";
    need on: Quantity("V", Any), "level while on";
    need off: Quantity("V", Any), "level while off";
    need on_resistance: Quantity("ohm", Positive), "resistance while on";
    may off_resistance: Quantity("ohm", Positive), "resistance while off; default: as on";
    may soft_resistance: Quantity("ohm", Positive), "resistance of the turn-off by an inhibit; default: as off";
    may delay: Quantity("s", NotNegative), "from command to edge, both ways; default 0", else 0.0;
    may on_delay: Quantity("s", NotNegative), "from command to turn-on edge; default: delay";
    may off_delay: Quantity("s", NotNegative), "from command to turn-off edge; default: delay";
    may edge: Quantity("s", Positive), "time from one level to the other; default 20 ns", else 20e-9;
    may complement_gate: Name, "gate of a second switch, on while the first is off";
    may complement_return: Name, "node against which that gate is driven";
    may dead_time: Quantity("s", NotNegative), "what turn-on waits when there are two gates", else 0.0;
    may clamp_resistance: Quantity("ohm", Positive),
        "Miller clamp: resistance to the off level once the gate has fallen to `clamp-below`; default: no clamp";
    may clamp_below: Quantity("V", Any), "gate voltage at which the clamp closes; default 2 V", else 2.0;
    may starts_on: Flag, "whether it is on at the start; default false", else false;
}

keys! {
    /// Protection.
    pub struct Protection in PROTECTION = "protection":
        "Protection: sets its trip line when what it watches is too high", by Criterion::KINDS;
    need name: Name, "unique name";
    need kind: Text as Criterion, "`level`, `desaturation` or `inverse-time`";
    need watches: Signal, "signal, such as `L1.current` or `voltage(drain, source)`";
    need trip: Name, "line that it sets: name it under `inhibit` of a drive";
    may delay: Quantity("s", NotNegative), "from decision to trip; default 0", else 0.0;
    may retries: Whole(0, 1000), "tries after a trip before it locks out; default 0", else 0;
    may retry_after: Quantity("s", Positive), "from trip to the next try", else 0.0;
    may healthy_after: Quantity("s", Positive),
        "time without a trip that renews the tries; default: never", else f64::INFINITY;
    may reset: Name, "line whose change to true ends a latched trip";
}
kinds! {
    /// When a protection trips.
    pub enum Criterion by "kind";
    Level(Level) = "level", "Trips when a signal has been beyond a threshold for a time";
    Desaturation(Desaturation) = "desaturation",
        "Trips when the voltage over a switch that is driven on stays above a threshold";
    InverseTime(InverseTime) = "inverse-time",
        "Trips when the integral of i² - rated², taken above pick-up, reaches a limit";
}
keys! {
    /// Beyond a threshold for a time.
    pub struct Level;
    need threshold: Measure, "trips beyond this value";
    may sense: Word(&["above", "below", "magnitude"]), "which side; default above", else "above".into();
    may filter: Quantity("s", NotNegative), "must be beyond for this long; default 0", else 0.0;
    may blanking: Quantity("s", NotNegative), "blind for this long after turn-on", else 0.0;
    may blanking_drive: Name, "drive whose turn-on begins the blanking";
    may only_on: Flag, "looks only while that drive is on; default false", else false;
}
keys! {
    /// The voltage over a switch that is driven on.
    pub struct Desaturation;
    need threshold: Measure, "trips above this voltage";
    need drive: Name, "drive of the switch: it looks only while that is on";
    need blanking: Quantity("s", NotNegative), "blind for this long after each turn-on";
    may filter: Quantity("s", NotNegative), "must be above for this long; default 0", else 0.0;
}
keys! {
    /// ∫ (i² − rated²) dt above pick-up reaches a limit.
    pub struct InverseTime;
    need pick_up: Quantity("A", Positive), "current above which the sum grows";
    need rated: Quantity("A", NotNegative), "continuous current";
    need limit: Quantity("A^2 s", Positive), "sum that trips";
    need cooling_time: Quantity("s", Positive), "time constant below pick-up";
}

keys! {
    /// A controller.
    pub struct Controller in CONTROLLER = "controller": "Switches its output line, or sets a source", by Task::KINDS;
    need name: Name, "unique name";
    need kind: Text as Task, "kind of controller";
    may run: Name, "line that lets it work; without one it works from the start";
    may output: Name, "line that it switches; not of kind `switch`, nor of kind `pi` where that sets a source";
}
kinds! {
    /// What a controller does.
    #[expect(clippy::large_enum_variant, reason = "a scenario has a handful of controllers")]
    pub enum Task by "kind";
    Hysteretic(Hysteretic) = "hysteretic", "On below the lower, off above the upper bound of a signal";
    Pwm(Pwm) = "pwm", "Fixed frequency and duty";
    SinePwm(SinePwm) = "sine-pwm", "Pulses centred in their periods, whose duty follows a sine";
    Switch(Follower) = "switch", "A component of kind `switch` is closed while a line is true";
    Pi(Pi) = "pi", "Proportional-integral control of a signal by the duty of pulses, or by a source";
}
keys! {
    /// Keeps a signal between two bounds.
    pub struct Hysteretic;
    need watches: Signal, "signal, such as `L1.current`";
    need lower: Measure, "turns on below";
    need upper: Measure, "turns off above";
    may shortest_on: Quantity("s", NotNegative), "shortest on time", else 0.0;
    may shortest_off: Quantity("s", NotNegative), "shortest off time", else 0.0;
    may delay: Quantity("s", NotNegative), "from a crossing to the change; default 0", else 0.0;
    may done_signal: Signal, "signal that ends the task: the output then stays on";
    may done_at: Measure, "value, reached from below, at which it ends";
}
keys! {
    /// Fixed frequency and duty.
    pub struct Pwm;
    need frequency: Quantity("Hz", Positive), "switching frequency";
    need duty: Quantity("1", NotNegative), "on time over period, 0 to 1";
    may ramp: Quantity("s", NotNegative), "soft start: time in which the duty rises", else 0.0;
    may phase: Quantity("1", NotNegative),
        "where its pulses begin, as a share of the period; default 0", else 0.0;
    may complement: Name,
        "line that is on while the output is off, less the dead time; off while it does not work";
    may dead_time: Quantity("s", NotNegative),
        "output and complement both off for this long at each change; default 0", else 0.0;
}

keys! {
    /// Sine-modulated pulses.
    pub struct SinePwm;
    need frequency: Quantity("Hz", Positive), "switching frequency";
    need fundamental: Quantity("Hz", Positive), "frequency of the sine";
    need modulation: Quantity("1", NotNegative), "modulation index: twice the amplitude of the duty";
    may mean: Quantity("1", NotNegative), "mean duty; default 0.5", else 0.5;
    may phase: Quantity("rad", Any), "phase of the sine at the start, such as \"120 deg\"; default 0", else 0.0;
    may complement: Name, "line that is on while the output is off, less the dead time";
    may dead_time: Quantity("s", NotNegative),
        "output and complement both off for this long at each change; default 0", else 0.0;
}
keys! {
    /// An ideal switch that follows a line.
    pub struct Follower;
    need switch: Name, "component of kind `switch`";
    need follows: Name, "line that closes it";
}
keys! {
    /// Closed-loop control.
    pub struct Pi;
    need watches: Signal, "signal that is kept at the set-point, such as `choke.current`";
    need set_point: Measure, "what it is kept at; an event of kind `set` changes it";
    need proportional: Measure,
        "output for a deviation: of a duty \"0.01 1/A\" for a current, of a source \"2 V/A\"";
    may integral: Measure, "growth of the output for a deviation: \"50 1/(A s)\"; default 0";
    may least: Measure, "least output; default 0 of a duty, none of a source";
    may most: Measure, "largest output; default 1 of a duty, none of a source";
    may initial: Measure, "output at the start without a deviation; default 0";
    need frequency: Quantity("Hz", Positive), "it samples, and pulses repeat, this often";
    may complement: Name, "line that is on while the output is off, less the dead time";
    may dead_time: Quantity("s", NotNegative),
        "output and complement both off for this long at each change; default 0", else 0.0;
    may source: Name, "source with `driven-from` that it sets, in place of a line under `output`";
}

keys! {
    /// What repeats in a circuit of the user's own.
    pub struct Repeat in CYCLE = "cycle": "What repeats in a circuit without an arrangement, and what goes in and out";
    need source: Names, "components whose energy goes in";
    need load: Names, "components that take the useful energy";
    may period: Quantity("s", Positive),
        "time after which the control repeats; default: the longest period of its PWM controllers";
}

keys! {
    /// An event.
    pub struct Event in EVENT = "event": "An event at a stated instant", by What::KINDS;
    need at: Quantity("s", NotNegative), "when";
    need what: Text as What, "kind of event";
    may note: Text, "words for the account";
    may fault: Flag,
        "true: a fault starts here, and protections count its let-through I²t from here; false: it ends";
}
kinds! {
    /// What happens.
    pub enum What by "what";
    LineOn(Line) = "line-on", "A line becomes true";
    LineOff(Line) = "line-off", "A line becomes false";
    Close(Switch) = "close", "A switch closes";
    Open(Switch) = "open", "A switch opens";
    Set(Set) = "set", "A source, or the set-point of a controller, takes a value";
    Note = "note", "Nothing but a line in the account";
}
keys! {
    /// A line takes a state.
    pub struct Line;
    need line: Name, "the line";
}
keys! {
    /// A source or a set-point takes a value.
    pub struct Set;
    need of: Name, "source with `driven-from`, or controller of kind `pi`";
    need value: Measure, "what it goes to: a load step, a new set-point";
    may over: Quantity("s", NotNegative), "time in which it goes there on a straight line; default 0: a step", else 0.0;
}
keys! {
    /// A switch closes or opens.
    pub struct Switch;
    need switch: Name, "component of kind `switch`";
}

keys! {
    /// Duration and steps.
    pub struct Steps in STEPS = "steps": "Duration, steps and method";
    need end: Quantity("s", Positive), "simulated time";
    may base: Quantity("s", Positive), "longest step, between edges; default end / 1000";
    may finest: Quantity("s", Positive),
        "finest step: base / 2^k, k up to 20; default: the longest of these that is at most 0.1 ns and at most base / 1024";
    may voltage_error: Quantity("V", Positive),
        "local error that calls for finer steps; default 1 uV + 2e-5 of the largest value so far of each voltage";
    may current_error: Quantity("A", Positive),
        "the same for currents; default 1 uA + 2e-5 of the largest value so far of each current";
    may method: Word(&["tr-bdf2", "esdirk4", "rodas4", "piecewise"]),
        "integration method; rodas4: linearly implicit, for small errors; piecewise: exact steps for circuits of linear components, ideal switches and ideal diodes; default: that where there is an ideal diode and nothing nonlinear, else esdirk4";
    may temperature_error: Quantity("K", Positive),
        "how far the temperature of a device may lag behind that of the thermal network; default 1 K", else 1.0;
    may coupling: Quantity("s", Positive),
        "longest time between exchanges of heat and temperature, however little they lag; default end / 300";
    may start: Word(&["operating-point", "stated"]),
        "initial state; default operating-point", else "operating-point".into();
}

keys! {
    /// What is recorded.
    #[derive(Default)]
    pub struct Record in RECORD = "record": "What goes into the result file";
    need signals: Signals,
        "signals: `voltage(a)`, `voltage(a, b)`, `L1.current`, `Q1.middle`, `line(x)`", else Vec::new();
    may interval: Quantity("s", Positive), "shortest time between samples; default: every step", else 0.0;
}

keys! {
    /// A waiver: a rating of a part, or a note, that the user knows of and does not let count.
    pub struct Waiver in WAIVER = "waiver":
        "A rating of a part, or a note, that does not count in the verdict; account and report print it with its reason";
    need rating: Text, "name of the rating or note, as the account has it: `Q1.gate`";
    need reason: Text, "why it does not count";
}
