//! `parts`: list, show; what is studied of parts stands in the catalogue.

mod list;
mod show;

use std::io;

use joulestep_models::extract::evaluate::{Nearby, ordinates};
use joulestep_models::merit::stated_gate;
use joulestep_models::part::{Conditions, Curve, Part, Quantity, Variable};

use crate::command::args::PartsCommand;
use crate::output::streams::Streams;

/// Carries out a command about parts.
///
/// # Errors
/// When a stream cannot be written.
pub fn parts(command: &PartsCommand, streams: &mut Streams<'_>) -> io::Result<u8> {
    match command {
        PartsCommand::List(args) => list::list(args, streams),
        PartsCommand::Show(args) => show::show(args, streams),
    }
}

/// What the part's model says of a quantity under conditions, its abscissa at `x`.
fn says(part: &Part, quantity: Quantity, conditions: Conditions, against: Variable, x: f64) -> Option<f64> {
    if !part.missing().is_empty() {
        return None;
    }
    let units = [against.unit().to_string(), quantity.unit().to_string()];
    let points = vec![(x, 0.0)];
    let curve =
        Curve { quantity, against, conditions, die: None, points, weight: 1.0, capacitive: false, units };
    ordinates(part.entry(), &part.values, &curve, &mut Nearby::default())?.first().copied()
}

/// On-resistance at a small current and a junction temperature (°C), Ω; of a switch.
fn on_resistance(part: &Part, celsius: f64) -> Option<f64> {
    let gate = stated_gate(part)?;
    let at = Conditions::default().with(Variable::GateVoltage, gate).with(Variable::Current, 1.0);
    says(part, Quantity::OnResistance, at, Variable::Temperature, celsius)
}
