//! A question to each study.

/// A study, a question to it, and two values of one of its parameters: the first is that of the question.
pub struct Case {
    pub study: &'static str,
    pub args: &'static [&'static str],
    pub vary: (&'static str, [&'static str; 2]),
}

const fn case(
    study: &'static str,
    args: &'static [&'static str],
    vary: (&'static str, [&'static str; 2]),
) -> Case {
    Case { study, args, vary }
}

/// A line for each study.
pub const CASES: &[Case] = &[
    case("run", &["tests/catalogue_of_studies/rc.toml"], ("component.R1.resistance", ["1 kohm", "2 kohm"])),
    case(
        "fit",
        &["tests/catalogue_of_studies/measured.toml", "--parameter", "component.R1.resistance"],
        ("component.C1.capacitance", ["1 uF", "1.2 uF"]),
    ),
    case(
        "dead-time",
        &["cascode-700v-22m", "--dead-time", "40 ns,120 ns", "--current", "20 A", "--voltage", "400 V"],
        ("voltage", ["400 V", "380 V"]),
    ),
    case(
        "rating",
        &[
            "cascode-700v-22m",
            "--interface",
            "0.3 K/W",
            "--points",
            "3",
            "--fault",
            "100 A",
            "--required-current",
            "20 A",
        ],
        ("interface", ["0.3 K/W", "0.5 K/W"]),
    ),
    case(
        "soa",
        &[
            "mosfet-sic-700v-12m",
            "--points",
            "10",
            "--width",
            "1 ms",
            "--no-instability",
            "--heatsink",
            "60 degC",
        ],
        ("heatsink", ["60 degC", "80 degC"]),
    ),
    case(
        "sizing",
        &[
            "mosfet-sic-700v-12m",
            "--current",
            "100 A",
            "--interface",
            "0.3 K/W",
            "--pulse",
            "300 A",
            "--width",
            "1 ms",
        ],
        ("interface", ["0.3 K/W", "0.5 K/W"]),
    ),
    case(
        "parts derive",
        &["mosfet-sic-700v-12m", "--area", "0.5", "--set", "gate-resistance=1 ohm"],
        ("area", ["0.5", "0.4"]),
    ),
    case(
        "parts resistance",
        &["cascode-700v-22m", "--step", "75 K", "--to", "150 degC"],
        ("to", ["150 degC", "125 degC"]),
    ),
    case("cycle", &["tests/catalogue_of_studies/ideal-buck.toml"], ("arrangement.duty", ["0.5", "0.4"])),
    case(
        "double-pulse",
        &["mosfet-sic-700v-12m", "--current", "20 A", "--gate-on", "16 V"],
        ("gate-on", ["16 V", "15 V"]),
    ),
    case("mission", &["tests/catalogue_of_studies/mission.toml"], ("arrangement.duty", ["0.5", "0.4"])),
    case(
        "parts extract",
        &["tests/catalogue_of_studies/points.toml"],
        ("part.params.series-resistance", ["10 mohm", "12 mohm"]),
    ),
    case("impedance", &["board-sj-620v-49m", "--cells", "8000"], ("cells", ["8000", "6000"])),
    case(
        "parts compare",
        &["cascode-700v-22m", "mosfet-sic-700v-12m", "--voltage", "400 V"],
        ("voltage", ["400 V", "300 V"]),
    ),
];
