//! Dies whose properties follow the temperature, beside the linear network.

use super::super::column::Column;
use super::{Thermal, accumulate};

impl Thermal<f64> {
    /// With dies whose properties follow the temperature, from rest. They answer at [`Thermal::follow`] only. Panics on a
    /// column of an input that does not exist.
    pub fn with_columns(mut self, columns: Vec<Column>) -> Self {
        assert!(columns.iter().all(|c| c.input < self.temperatures.len()), "a column of no input");
        self.state.columns = columns;
        self.start_account();
        self
    }

    /// Steps the columns over the time since they were stepped last, under its mean power. The heat that they give off
    /// more or less goes to the boundaries as heat of their inputs does in the steady state.
    pub fn follow(&mut self) {
        let dt = std::mem::replace(&mut self.state.since, 0.0);
        if dt <= 0.0 || self.state.columns.is_empty() {
            return;
        }
        let (inputs, state) = (self.state.power.len(), &mut self.state);
        for column in &mut state.columns {
            let input = column.input;
            let heat = state.heat_in[input] - std::mem::replace(&mut column.seen, state.heat_in[input]);
            let heat = if column.standing == 0.0 { heat } else { heat - column.standing * dt };
            let (hotter, given) = (column.hotter(), column.heat()[1]);
            column.step(dt, heat, self.temperatures[input] - hotter);
            let more = column.heat()[1] - given;
            for (k, out) in state.heat_out.iter_mut().enumerate() {
                accumulate(out, &mut state.carry[2][k], self.modal.shares[k * inputs + input] * more);
            }
        }
        self.refresh();
    }

    /// How far the steps of an input's column may have its temperature wrong, K; 0 without a column, infinite where it
    /// did not settle.
    pub fn column_error(&self, input: usize) -> f64 {
        let own = self.state.columns.iter().filter(|c| c.input == input);
        own.map(Column::error).fold(0.0, f64::max)
    }
}
