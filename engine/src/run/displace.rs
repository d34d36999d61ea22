//! A run moved to another state at the same instant, and its accounts begun anew.

use super::setup::kelvin_of;
use super::time_loop::Run;
use crate::accounts::ledger;
use crate::error::SolverError;

impl Run<f64> {
    /// Adds to what stands under d/dt in some rows (a charge into a node in C, a flux into a branch in Vs) and makes
    /// the state consistent with it. The energy that this brings is in no account: begin them anew
    /// ([`Run::new_account`]).
    ///
    /// # Errors
    /// When no consistent state is found.
    #[inline(never)]
    pub fn displace(&mut self, rows: &[(usize, f64)]) -> Result<(), SolverError> {
        let ground = self.system().n;
        for &(row, change) in rows.iter().filter(|r| r.0 != ground) {
            self.state.q[row] += change;
        }
        self.jump(false)?;
        self.ladder.open(self.state.t);
        self.stepper.forget(&mut self.state);
        Ok(())
    }

    /// Takes over the unknowns `x` and what stands under d/dt, `q`, of a run on a circuit that differs in values of
    /// sources and resistances only, at this run's own instant: all charges and fluxes are kept, and what the other
    /// values change at once is made consistent. The accounts begin anew.
    ///
    /// # Errors
    /// When no consistent state is found.
    ///
    /// # Panics
    /// When the state is one of a circuit of another size.
    #[inline(never)]
    pub fn adopt(&mut self, x: &[f64], q: &[f64]) -> Result<(), SolverError> {
        self.state.x.copy_from_slice(x);
        self.state.q.copy_from_slice(q);
        self.jump(false)?;
        self.ladder.open(self.state.t);
        self.stepper.forget(&mut self.state);
        self.stepper.gauge_from(&self.state.x);
        self.new_account();
        Ok(())
    }

    /// Holds the heat inputs at these temperatures (°C) from now on; no thermal network moves them any more. A list of
    /// another length than the circuit's inputs leaves those beyond it at 25 °C.
    #[inline(never)]
    pub fn hold(&mut self, celsius: &[f64]) {
        self.thermal = None;
        self.celsius = celsius.to_vec();
        self.state.kelvin = kelvin_of(self.stepper.system(), &self.celsius);
        self.stepper.solver.set_temperatures(&self.state.kelvin);
    }

    /// Begins the accounts anew at this instant: ledger, integrals and heat count from here.
    #[inline(never)]
    pub fn new_account(&mut self) {
        self.state.energy.fill(0.0);
        let devices = self.system().devices_at(&self.state.kelvin);
        self.stored_at_start = ledger::stored(self.system(), &devices, &self.state.x);
        if let Some(coupling) = &mut self.coupling {
            coupling.begin_anew(self.state.t);
        }
        self.take_peaks();
        let rows = std::mem::take(&mut self.rows);
        self.rows = rows.into_iter().take(1).map(|_| self.open_row(String::new())).collect();
    }

    /// Forgets what watches and gauges have seen: extremes, crossings and events count from here.
    #[inline(never)]
    pub fn watch_anew(&mut self) {
        self.watcher.forget();
        self.gauges.forget();
    }
}
