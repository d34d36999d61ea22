//! A comparison of parts as a result file keeps it.

use joulestep_engine::units::{people, people_digits};
use joulestep_models::merit::{FIGURES, Figure, Figures};

use super::compare::{Compared, LAW};
use crate::answer::{Study, StudyFigure, StudyTable};
use crate::table::{Cell, Head, Table};

impl Compared {
    /// The comparison with everything behind it.
    pub(super) fn study(&self, command: &str, inputs: String) -> Study {
        let names: Vec<&str> = self.parts.iter().map(|p| p.name.as_str()).collect();
        let mut tables = Vec::new();
        for (celsius, all) in &self.figures {
            let at = people(*celsius, "degC");
            let name = format!("figures_at_{celsius:.0}");
            let title = format!("Figures of merit at {at} (smaller is better)");
            tables.push(StudyTable::new(&name, &title, 1, self.figures_table(all)));
            let title = format!("The same, relative to {}", self.name());
            tables.push(StudyTable::new(&format!("{name}_relative"), &title, 1, self.relative_table(all)));
            let title = format!("What the figures are made of, at {at}");
            tables.push(StudyTable::new(&format!("{name}_from"), &title, 1, self.sources_table(all)));
        }
        if self.options.duty.is_some() {
            tables.push(StudyTable::new("parallel", "Devices in parallel", 1, self.parallel_table()));
        }
        let mut definitions: Vec<(String, String)> =
            FIGURES.iter().map(|f| (f.symbol.into(), f.definition.into())).collect();
        let mut conditions: Vec<String> = self.conditions().into_iter().map(|c| sentence(&c)).collect();
        if let Some(duty) = &self.options.duty {
            conditions.push(format!(
                "Devices in parallel carry {} in all, heatsink at {}, interface {} each.",
                people(duty.current, "A"),
                people(duty.heatsink, "degC"),
                people(duty.interface, "K/W")
            ));
            definitions.push(("Devices in parallel".into(), LAW.into()));
        }
        Study {
            kind: "comparison".into(),
            title: format!("How do {} compare?", listed(&names)),
            command: command.into(),
            inputs,
            verdict: None,
            statements: self.answers(),
            conditions,
            definitions,
            tables,
            figures: vec![StudyFigure::new(
                "Figures of merit relative to the reference; smaller is better.",
                self.picture(),
            )],
            ..Study::default()
        }
    }

    fn answers(&self) -> Vec<String> {
        let Some((celsius, all)) = self.figures.last() else { return Vec::new() };
        let mut out = Vec::new();
        let least = |figure: &Figure| {
            let values = all.iter().enumerate().filter_map(|(k, f)| Some((k, (figure.value)(f)?)));
            let values: Vec<(usize, f64)> = values.filter(|v| v.1.is_finite()).collect();
            let compared = (values.len() > 1).then_some(values)?;
            compared.into_iter().min_by(|a, b| a.1.total_cmp(&b.1))
        };
        for (k, part) in self.parts.iter().enumerate() {
            let of = |f: &&Figure| least(f).is_some_and(|l| l.0 == k);
            let shown = |f: &Figure| {
                let value = least(f).map_or(f64::NAN, |l| l.1 * f.shown.1);
                format!("{} ({} {})", f.symbol, people_digits(value, "1", 3), f.shown.0)
            };
            let won: Vec<String> = FIGURES.iter().filter(of).map(shown).collect();
            if !won.is_empty() {
                let at = people(*celsius, "degC");
                out.push(format!("At {at}, {} has the least {}.", part.name, won.join(", ")));
            }
        }
        for (part, found) in self.parts.iter().zip(&self.parallel) {
            match found {
                Some(Some(s)) => {
                    let devices = match s.number {
                        1 => "one device carries".into(),
                        n => format!("{n} devices in parallel carry"),
                    };
                    let at = people(s.junction, "degC");
                    out.push(format!("{}: {devices} the current, with the junctions at {at}.", part.name));
                }
                Some(None) if self.options.duty.is_some() => {
                    out.push(format!("{}: no number in parallel is enough.", part.name));
                }
                _ => {}
            }
        }
        out
    }

    fn table_of(&self, heads: Vec<Head>, row: impl Fn(usize) -> Vec<Cell>) -> Table {
        let one = |k: usize| {
            let mut cells: Vec<Cell> = vec![self.parts[k].name.as_str().into()];
            cells.extend(row(k));
            cells
        };
        let heads = std::iter::once(Head::text("part")).chain(heads).collect();
        Table { heads, rows: (0..self.parts.len()).map(one).collect() }
    }

    fn figures_table(&self, all: &[Figures]) -> Table {
        let heads = FIGURES.iter().map(|f| Head::number(f.key, f.symbol, f.unit)).collect();
        self.table_of(heads, |k| FIGURES.iter().map(|f| (f.value)(&all[k]).into()).collect())
    }

    fn relative_table(&self, all: &[Figures]) -> Table {
        let heads = FIGURES.iter().map(|f| Head::number(f.key, f.symbol, "1")).collect();
        self.table_of(heads, |k| FIGURES.iter().map(|f| self.relative(all, k, f.value).into()).collect())
    }

    fn sources_table(&self, all: &[Figures]) -> Table {
        let heads = [
            ("test_current", "I", "A"),
            ("gate_on", "V_GS", "V"),
            ("area", "A", "m^2"),
            ("output_charge", "Q_oss", "C"),
            ("output_energy", "E_oss", "J"),
            ("gate_charge", "Q_g", "C"),
            ("recovery_charge", "Q_rr", "C"),
            ("recovery_current", "I_RM", "A"),
        ];
        let heads = heads.map(|(name, symbol, unit)| Head::number(name, symbol, unit)).to_vec();
        self.table_of(heads, |k| {
            let f = &all[k];
            vec![
                f.current.into(),
                f.gate_on.into(),
                f.area.into(),
                f.output.charge.into(),
                f.output.energy.into(),
                f.gate_charge.into(),
                f.recovery_charge.into(),
                f.recovery_current.into(),
            ]
        })
    }

    fn parallel_table(&self) -> Table {
        let heads = [
            ("number", "number", "1"),
            ("current_each", "each", "A"),
            ("drop", "drop", "V"),
            ("heat_each", "heat each", "W"),
            ("junction", "T_j", "degC"),
            ("hottest", "T_j,max", "degC"),
        ];
        let heads = heads.map(|(name, symbol, unit)| Head::number(name, symbol, unit)).to_vec();
        self.table_of(heads, |k| {
            let s = self.parallel[k].flatten();
            vec![
                s.map(|s| f64::from(s.number)).into(),
                s.map(|s| s.current).into(),
                s.map(|s| s.drop).into(),
                s.map(|s| s.power).into(),
                s.map(|s| s.junction).into(),
                s.map(|s| s.hottest).into(),
            ]
        })
    }
}

/// "a, b and c".
fn listed(names: &[&str]) -> String {
    match names {
        [rest @ .., last] if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.join(""),
    }
}

/// With a capital and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}
