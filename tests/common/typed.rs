//! Tables of a scenario as one types them.

/// A component between two nodes; `values`: its keys, a line each.
pub fn component(name: &str, kind: &str, [a, b]: [&str; 2], values: &str) -> String {
    format!("[[component]]\nname = \"{name}\"\nkind = \"{kind}\"\npins = [\"{a}\", \"{b}\"]\n{values}\n")
}

/// A component with one quantity.
pub fn with(name: &str, kind: &str, pins: [&str; 2], key: &str, quantity: &str) -> String {
    component(name, kind, pins, &format!("{key} = \"{quantity}\""))
}

/// An ideal switch that is closed while a line is true.
pub fn follower(name: &str, pins: [&str; 2], line: &str) -> String {
    component(name, "switch", pins, "on-resistance = \"1 uohm\"")
        + &format!(
            "[[controller]]\nname = \"{name}-follows\"\nkind = \"switch\"\nswitch = \"{name}\"\nfollows = \"{line}\"\n"
        )
}

/// A line becomes true, or false.
pub fn turns(line: &str, at: &str, on: bool) -> String {
    let what = if on { "line-on" } else { "line-off" };
    format!("[[event]]\nat = \"{at}\"\nwhat = \"{what}\"\nline = \"{line}\"\n")
}

/// A source or a set-point takes a value; `over`: in this time.
pub fn set(of: &str, at: &str, value: &str, over: &str) -> String {
    format!(
        "[[event]]\nat = \"{at}\"\nwhat = \"set\"\nof = \"{of}\"\nvalue = \"{value}\"\nover = \"{over}\"\n"
    )
}

/// A drive of the node `gate` against ground by a command; `[on, off]`: its levels; `more`: further keys, a line each.
pub fn drive(gate: &str, command: &str, [on, off]: [&str; 2], on_resistance: &str, more: &str) -> String {
    format!(
        "[[drive]]\nname = \"driver\"\ngate = \"{gate}\"\nreturn = \"gnd\"\ncommand = \"{command}\"\n\
         on = \"{on}\"\noff = \"{off}\"\non-resistance = \"{on_resistance}\"\n{more}\n"
    )
}
