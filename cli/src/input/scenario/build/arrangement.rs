//! A shipped arrangement into the circuit, its dies to heat inputs, its logic among the controllers.

use joulestep_engine::circuit::graph::HeatId;
use joulestep_engine::control::Controller;
use joulestep_engine::control::board::Board;
use joulestep_engine::error::CircuitError;

use super::{Build, Placed};

impl Build<'_> {
    /// Lays the arrangement out. A die heats the input named PLACE-DIE, where there is one.
    pub(super) fn arrangement(&mut self) {
        let scenario = self.scenario;
        let Some(spec) = &scenario.arrangement else { return };
        match spec.arrangement.build(&mut self.circuit, &spec.values, &spec.parts) {
            Ok(layout) => self.layout = layout,
            Err(error) => return self.arrangement_error(&error),
        }
        let inputs = scenario.thermal.input_names();
        let mut all = Vec::new();
        for element in &self.layout.elements {
            let dies = &element.built.dies;
            let mut heat = Vec::new();
            for (die, components) in dies {
                let own = format!("{}-{die}", element.name);
                let input = inputs.iter().position(|i| *i == own).map(|k| HeatId(k as u32));
                if let Some(input) = input {
                    components.iter().for_each(|&c| self.circuit.heats(c, input));
                }
                heat.push(input);
            }
            let (name, built) = (element.name.clone(), element.built.clone());
            let part = spec.parts.get(&name).or_else(|| spec.parts.get(""));
            let known_current = part.and_then(|p| p.known_current()).unwrap_or(f64::INFINITY);
            let ratings = part.map(|p| p.ratings.clone()).unwrap_or_default();
            all.push(Placed { name, kind: element.kind, built, heat, known_current, ratings });
        }
        all.into_iter().for_each(|placed| self.keep(placed));
    }

    /// At the parameter or place that the error names, else at the kind.
    fn arrangement_error(&mut self, error: &CircuitError) {
        let Some(spec) = &self.scenario.arrangement else { return };
        let (named, found) = match error {
            CircuitError::BadValue { component, what } => (component.as_str(), what.clone()),
            other => ("", other.to_string()),
        };
        let owner = named.split('.').next().unwrap_or(named);
        let span = spec.places.get(named).or_else(|| spec.places.get(owner)).unwrap_or(&spec.kind.span);
        let key = if named.is_empty() { "arrangement".into() } else { format!("arrangement.{named}") };
        self.report(&span.clone(), key, found, "");
    }

    /// Modulators (`first`), or drives, of the arrangement.
    pub(super) fn laid_logic(
        &mut self,
        first: bool,
        board: &mut Board<f64>,
        all: &mut Vec<Box<dyn Controller<f64>>>,
    ) {
        let layout = &mut self.layout;
        let makers = std::mem::take(if first { &mut layout.modulators } else { &mut layout.drives });
        for make in makers {
            match make(board) {
                Ok(logic) => all.push(logic),
                Err(error) => self.arrangement_error(&error),
            }
        }
    }
}
