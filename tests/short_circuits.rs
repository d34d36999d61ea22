//! Short circuits of shipped parts: how hot they become, against a fine solution in one dimension.

use std::path::Path;

use joulestep::input::scenario::build::build;
use joulestep::input::scenario::resolve::read;
use joulestep_engine::recorder::InMemory;
use joulestep_models::part::Part;

use crate::common::rig::column;
use crate::common::technologies::of_kind;
use crate::thermal_columns::finely;

/// Every shipped part in a short circuit of 10 µs at 400 V and, where it is rated for it, at 800 V: the current falls
/// as the die heats, a cascode whose JFET rises by less than 900 K turns off, and the hottest die, however hot, rises by
/// what four hundred cells in one dimension with the conductivity and heat capacity of the hot material say under its power:
/// at most as with an insulated back, at least as with one that is held, within 3 %.
#[test]
fn short_circuits_run_to_their_end() {
    for part in of_kind("cascode").into_iter().chain(of_kind("mosfet")) {
        let Some(rated) = part.rated_voltage().filter(|v| *v > 500.0) else { continue };
        for volts in [400.0, 800.0] {
            if volts < rated {
                short_circuit(&part, volts);
            }
        }
    }
}

/// The error function to 1.5e-7 (Abramowitz & Stegun, 7.1.26), x not negative.
fn erf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.3275911 * x);
    let terms = [0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429];
    1.0 - terms.iter().rev().fold(0.0, |sum, a| (sum + a) * t) * (-x * x).exp()
}

fn short_circuit(part: &Part, volts: f64) {
    let what = format!("{} at {volts} V", part.name);
    let outer = if part.kind == "cascode" { "jfet" } else { "mosfet" };
    let key = if part.kind == "cascode" { "mosfet-on-gate-voltage" } else { "on-gate-voltage" };
    let text = format!(
        r#"format = 2
[[component]]
name = "supply"
kind = "voltage-source"
pins = ["bus", "gnd"]
value = "{volts} V"
[[component]]
name = "loop"
kind = "inductor"
pins = ["bus", "d"]
inductance = "50 nH"
series-resistance = "5 mohm"
[[drive]]
name = "drive"
gate = "g"
return = "gnd"
command = "on"
on = "{} V"
off = "0 V"
on-resistance = "10 ohm"
[[event]]
at = "200 ns"
what = "line-on"
line = "on"
[[event]]
at = "10.2 us"
what = "line-off"
line = "on"
[[component]]
name = "q"
part = "{}"
pins = {{ drain = "d", gate = "g", source = "gnd" }}
[[thermal.boundary]]
name = "case"
temperature = "25 degC"
[[thermal.part]]
of = "q"
end = "case"
[steps]
end = "12 us"
base = "128 ns"
finest = "1 ns"
[record]
interval = "20 ns"
signals = ["loop.current", "q.voltage", "q.power"]
"#,
        part.values.number(key),
        part.name,
    );
    let scenario =
        read(Path::new("x.toml"), &|_| Ok(text.clone())).unwrap_or_else(|e| panic!("{what}: {e:?}"));
    let ready = build(&scenario).expect("it can be built");
    let mut run = ready.setup.ready().expect("it starts");
    let mut report = InMemory::default();
    run.advance(scenario.steps.end, &mut report).unwrap_or_else(|e| panic!("{what}: {e:?}"));
    let (current, power) = (column(&report.samples, 0), column(&report.samples, 2));
    let input = run.thermal().unwrap().modal().inputs().iter().position(|i| i.ends_with(outer)).unwrap();
    let peak = current.iter().copied().fold(0.0, f64::max);
    let before = report.time.iter().position(|&t| t > 10.1e-6).unwrap();
    let at = report.time[before];
    let last = report.thermal_time.iter().rposition(|&t| t <= at).unwrap();
    let rise = report.thermal[last][input] - 25.0;
    println!("{what}: {peak:.0} A at most, {:.0} A at 10 us, {rise:.0} K", current[before]);
    assert!(current[before] > 0.05 * peak && current[before] < peak, "{what}: {} A", current[before]);
    // Dies that rise by nearly a thousand kelvins have no threshold left: its numbers are a failed part's.
    let still_on = current.last().unwrap().abs() > 0.02 * peak;
    assert!(part.kind != "cascode" || rise > 900.0 || !still_on, "{what}: {rise} K, on: {still_on}");
    let plate = part.plate(outer).expect("a shipped die");
    let watts = |t: f64| {
        let k = report.time.partition_point(|x| *x < t).clamp(1, before);
        let share = (t - report.time[k - 1]) / (report.time[k] - report.time[k - 1]);
        power[k - 1] + share * (power[k] - power[k - 1])
    };
    // A MOSFET on the JFET takes part of its heat, through 25 µm of solder: of what arises at the face as a half-space of
    // it, by effusivities √(k·ρ·c); of what arises at a depth x in a time τ, erfc(x/√(4ατ)) of that (Carslaw & Jaeger,
    // Conduction of Heat in Solids, 2nd ed., section 12.8; from memory). At most 35 V of the voltage is its own.
    let upper = part.die("mosfet").filter(|_| part.kind == "cascode").map_or(0.0, |d| d.area);
    let taken = |kelvin: f64| {
        let lower = plate.area * (plate.conductivity.at(kelvin) * plate.heat_capacity.at(kelvin)).sqrt();
        let other = upper * (58.0 * 7380.0 * 220.0_f64).sqrt();
        other / (lower + other)
    };
    let kelvin = 298.15 + rise;
    let diffusivity = plate.conductivity.at(kelvin) / plate.heat_capacity.at(kelvin);
    let each = |k: usize| (k as f64 + 0.5) / 40.0;
    let crossed = |x: f64, t: f64| 1.0 - erf(x * plate.depth / (4.0 * diffusivity * t * 1e-5).sqrt());
    let reaches = (0..1600).map(|k| crossed(each(k / 40), each(k % 40))).sum::<f64>() / 1600.0;
    let own = if upper > 0.0 { 1.0 - 35.0 / volts } else { 1.0 };
    let shares = [1.0 - taken(298.15) * reaches, (1.0 - taken(kelvin)) * own];
    let steps = before.max(400);
    let risen = |held: bool, share: f64| finely(&plate, (25.0, held), |t| share * watts(t), at, steps) - 25.0;
    let [hot, cold] = [risen(false, shares[0]), risen(true, shares[1])];
    println!("{what}: {cold:.0} K to {hot:.0} K by four hundred cells");
    assert!(rise < 1.03 * hot, "{what}: {rise} K, {cold} K to {hot} K");
    // Silicon carbide decomposes near 2800 °C (handbooks; from memory): of a die near that its run tells no error.
    assert!(rise > 2300.0 || 0.97 * cold < rise, "{what}: {rise} K, {cold} K to {hot} K");
}
