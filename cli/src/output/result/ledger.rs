//! `/ledger`: the energy account.

use joulestep_engine::accounts::ledger::Ledger;

use super::archive::Archive;
use super::error::ResultError;
use super::store::Store;

/// The energies of one component over the run, in J.
#[derive(Clone, Debug, PartialEq)]
pub struct LedgerRow {
    /// Name of the component.
    pub component: String,
    /// Energy that it delivered to the circuit (sources).
    pub delivered: f64,
    /// Energy that it dissipated.
    pub dissipated: f64,
    /// Energy stored at the end less energy stored at the start.
    pub stored_change: f64,
}

/// The whole account.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LedgerTable {
    /// One row per component.
    pub rows: Vec<LedgerRow>,
    /// Delivered less dissipated less stored, J; zero but for errors of the computation.
    pub residual: f64,
    /// The residual's size against the energy delivered.
    pub residual_relative: f64,
}

impl From<&Ledger<f64>> for LedgerTable {
    fn from(ledger: &Ledger<f64>) -> Self {
        let rows = ledger.entries.iter().map(|e| LedgerRow {
            component: e.name.clone(),
            delivered: e.delivered,
            dissipated: e.dissipated,
            stored_change: e.stored,
        });
        Self { rows: rows.collect(), residual: ledger.residual, residual_relative: ledger.relative() }
    }
}

const ENERGIES: [(&str, &str); 3] = [
    ("delivered", "energy delivered"),
    ("dissipated", "energy dissipated"),
    ("stored_change", "change of stored energy"),
];

/// Fills the group, which exists.
pub(super) fn write(store: &Store, table: &LedgerTable) -> Result<(), ResultError> {
    let rows = &table.rows;
    if !rows.is_empty() {
        let components: Vec<String> = rows.iter().map(|row| row.component.clone()).collect();
        store.texts("ledger", "component", &components, "component")?;
        store.scale("ledger/component", "component")?;
        let picks: [fn(&LedgerRow) -> f64; 3] = [|r| r.delivered, |r| r.dissipated, |r| r.stored_change];
        for ((name, long_name), pick) in ENERGIES.into_iter().zip(picks) {
            let values: Vec<f64> = rows.iter().map(pick).collect();
            store.reals("ledger", name, &values, "J", long_name)?;
            store.attach(&format!("ledger/{name}"), 0, "ledger/component")?;
        }
    }
    for (name, value, units) in
        [("residual", table.residual, "J"), ("residual_relative", table.residual_relative, "1")]
    {
        store.scalar("ledger", name, value, units, "energy not accounted for")?;
        store.group_number("ledger", name, value)?;
    }
    Ok(())
}

/// The account; none in a partial file.
pub(super) fn read(archive: &Archive) -> Result<Option<LedgerTable>, ResultError> {
    if !archive.has("ledger/residual_relative") {
        return Ok(None);
    }
    let mut table = LedgerTable {
        rows: Vec::new(),
        residual: archive.scalar("ledger/residual")?,
        residual_relative: archive.scalar("ledger/residual_relative")?,
    };
    if archive.has("ledger/component") {
        let components = archive.texts("ledger/component")?;
        let count = components.len();
        let [delivered, dissipated, stored] =
            ENERGIES.map(|(name, _)| archive.reals(&format!("ledger/{name}"), 0..count));
        let energies = delivered?.into_iter().zip(dissipated?).zip(stored?);
        table.rows = components
            .into_iter()
            .zip(energies)
            .map(|(component, ((delivered, dissipated), stored_change))| LedgerRow {
                component,
                delivered,
                dissipated,
                stored_change,
            })
            .collect();
    }
    Ok(Some(table))
}
