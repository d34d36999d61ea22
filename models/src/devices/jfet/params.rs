//! The parameters of the JFET die.

/// The parameters of the die, with a prefix to their keys.
macro_rules! jfet_params {
    ($p:literal) => {
        crate::model::params! {
            prefix $p;
            required "on-resistance", "ohm", Range::Positive, "On-resistance of the JFET die at 25 degC, Vgs = 0";
            with "resistance-exponent", "1", 1.9, Range::Any, "On-resistance scales as (T/298.15 K) to this power";
            with "drift-share", "1", 0.5, Range::Between(-1e-9, 1.0),
                "Share of the on-resistance that lies in the drift region";
            required "saturation-current", "A", Range::Positive,
                "Saturation current at 25 degC, Vgs = 0, just above the knee";
            with "saturation-exponent", "1", 1.9, Range::Any,
                "Saturation current without velocity saturation scales as (298.15 K/T) to this power";
            with "velocity-ratio", "1", 0.0, Range::NotNegative,
                "Saturation voltage over that at which carriers would reach their highest velocity, 25 degC";
            required "pinch-off", "V", Range::Any,
                "Gate-source voltage that closes the channel at 25 degC (negative)";
            with "pinch-off-drift", "V/K", -1.5e-3, Range::Any, "Change of the pinch-off voltage with temperature";
            with "drain-effect", "1", 1e-3, Range::Between(-1e-9, 0.5),
                "Shift of the pinch-off voltage per volt at the drain";
            with "slope-factor", "1", 1.5, Range::Between(0.5, 20.0),
                "Below pinch-off the current falls by e per this many kT/q";
            with "gate-saturation-current", "A", 1e-22, Range::Positive,
                "Saturation current of each gate junction at 25 degC";
            with "gate-ideality", "1", 2.0, Range::Between(0.5, 10.0), "Ideality factor of the gate junctions";
            with "gate-gap", "eV", 3.26, Range::Between(0.1, 10.0), "Energy gap of the gate junctions";
            optional "breakdown-voltage", "V", Range::Positive, "Drain-gate voltage at the breakdown current";
            with "breakdown-slope-voltage", "V", 3.0, Range::Positive, "Voltage per factor e of breakdown current";
            with "breakdown-current", "A", 1e-3, Range::Positive, "Current at the breakdown voltage";
            with "breakdown-drift", "1/K", 1.6e-4, Range::Any,
                "Relative change of the breakdown voltages with temperature";
            with "breakdown-resistance", "ohm", 0.0, Range::NotNegative,
                "Space-charge resistance in drain-gate breakdown at 25 degC: W^2/(2 eps v A)";
            optional "gate-breakdown-voltage", "V", Range::Positive,
                "Reverse gate-source voltage at the breakdown current";
            with "gate-breakdown-slope-voltage", "V", 0.5, Range::Positive,
                "Gate-source voltage per factor e of breakdown current";
            with "leakage-conductance", "S", 0.0, Range::NotNegative, "Drain-gate leakage at the leakage temperature";
            with "leakage-temperature", "degC", 25.0, Range::Between(-150.0, 500.0),
                "Junction temperature at which the leakage is stated";
            with "leakage-energy", "eV", 0.35, Range::NotNegative, "Activation energy of the leakage";
            with "gate-drain-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
            with "gate-source-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
            with "drain-source-capacitance", "F", 0.0, Range::NotNegative, "Depletion capacitance at 0 V";
            with "built-in-voltage", "V", 2.7, Range::Positive, "Built-in voltage of the depletion capacitances";
            with "depletion-exponent", "1", 0.5, Range::Between(0.0, 1.0), "Exponent of the depletion capacitances";
        }
    };
}
pub(crate) use jfet_params;
