//! The parameters of the MOSFET die.

/// The parameters of the die, with a prefix to their keys.
macro_rules! mosfet_params {
    ($p:literal) => {
        crate::model::join::<37, 8, 45>(crate::model::params! {
            prefix $p;
            required "on-resistance", "ohm", Range::Positive,
                "On-resistance of the MOSFET die at 25 degC and the stated gate voltage";
            with "on-gate-voltage", "V", 12.0, Range::Any, "Gate-source voltage at which the on-resistance is stated";
            with "resistance-exponent", "1", 1.5, Range::Any, "On-resistance scales as (T/298.15 K) to this power";
            with "velocity-ratio", "1", 0.0, Range::NotNegative,
                "Overdrive at the stated gate voltage over that at which carriers would reach their highest velocity, 25 degC";
            required "threshold", "V", Range::Any, "Threshold voltage at 25 degC";
            with "threshold-drift", "V/K", -6e-3, Range::Any, "Change of the threshold voltage with temperature";
            with "slope-factor", "1", 1.3, Range::Between(0.5, 10.0), "Slope factor n of the channel";
            with "body-saturation-current", "A", 3e-11, Range::Positive,
                "Saturation current of the body diode at 25 degC";
            with "body-ideality", "1", 1.1, Range::Between(0.5, 10.0), "Ideality factor of the body diode";
            with "body-gap", "eV", 1.12, Range::Between(0.1, 10.0), "Energy gap of the body diode";
            optional "breakdown-voltage", "V", Range::Positive,
                "Drain-source voltage at the breakdown current, 25 degC";
            with "breakdown-slope-voltage", "V", 0.3, Range::Positive, "Voltage per factor e of breakdown current";
            with "breakdown-current", "A", 1e-3, Range::Positive, "Current at the breakdown voltage";
            with "breakdown-drift", "1/K", 8e-4, Range::Any,
                "Relative change of the breakdown voltage with temperature";
            with "breakdown-resistance", "ohm", 0.0, Range::NotNegative,
                "Space-charge resistance in breakdown at 25 degC: W^2/(2 eps v A)";
            with "leakage-conductance", "S", 1e-7, Range::NotNegative,
                "Drain-source leakage at the leakage temperature";
            with "leakage-temperature", "degC", 25.0, Range::Between(-150.0, 500.0),
                "Junction temperature at which the leakage is stated";
            with "leakage-energy", "eV", 0.65, Range::NotNegative, "Activation energy of the leakage";
            with "gate-source-capacitance", "F", 0.0, Range::NotNegative, "Constant";
            with "gate-drain-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
            with "drain-source-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
            with "built-in-voltage", "V", 0.8, Range::Positive, "Built-in voltage of the depletion capacitances";
            with "depletion-exponent", "1", 0.5, Range::Between(0.0, 1.0), "Exponent of the depletion capacitances";
            with "gate-resistance", "ohm", 0.0, Range::NotNegative, "Internal gate resistance";
            with "gate-limit", "V", 20.0, Range::Positive,
                "Highest gate-source voltage that the gate tolerates; the lowest too, unless that is stated";
            optional "gate-limit-negative", "V", Range::Between(-1e3, 0.0),
                "Lowest gate-source voltage that the gate tolerates (negative)";
            optional "rated-voltage", "V", Range::Positive, "Rated drain-source voltage";
            with "drift-share", "1", 0.0, Range::Between(-1e-9, 1.0),
                "Share of the on-resistance at 25 degC that lies under the channel (drift region, substrate)";
            with "drift-exponent", "1", 2.4, Range::Any,
                "That share scales as (T/298.15 K) to this power, the rest to `resistance-exponent`";
            with "body-resistance", "ohm", 0.0, Range::NotNegative,
                "Resistance at 25 degC in series with the body diode alone (its contacts)";
            with "body-resistance-exponent", "1", 0.0, Range::Any, "It scales as (T/298.15 K) to this power";
            with "pillar-capacitance", "F", 0.0, Range::NotNegative,
                "Drain-source capacitance that vanishes as the pillars of a superjunction deplete";
            with "pillar-gate-capacitance", "F", 0.0, Range::NotNegative,
                "Drain-gate capacitance that vanishes with it";
            with "pillar-voltage", "V", 25.0, Range::Positive,
                "Voltage at which half of the pillar capacitance is left";
            with "pillar-width", "V", 3.0, Range::Positive,
                "Beyond it the pillar capacitance falls by e per this voltage";
            with "stranded-share", "1", 0.0, Range::Between(-1e-9, 1.0),
                "Share of the pillar capacitance whose charge is stranded as they deplete: hysteresis loss";
            with "stranded-voltage", "V", 120.0, Range::Positive,
                "Drain-source voltage that it takes to move the stranded charge out; it returns freely";
        }, crate::recovery::recovery_params!($p, "body-"))
    };
}
pub(crate) use mosfet_params;
