//! Energies, losses, and whether the account closes.

use std::collections::BTreeMap;

use crate::output::report::people;

use super::Read;
use super::sequence::instant;
use crate::output::plot::{Axis, Bars, Chart, Curve, Figure, Marker, Panel, Series};
use crate::output::report::{Block, Drawing, Grid};
use crate::output::result::{LedgerTable, ResultError};

/// Relative ledger residual up to which energies are trusted.
const CLOSES: f64 = 1e-4;
/// Most components in the picture of the losses.
const DRAWN: usize = 10;

/// Delivered, dissipated, stored by component of the scenario.
fn owners(ledger: &LedgerTable) -> Vec<(String, [f64; 3])> {
    let mut out: Vec<(String, [f64; 3])> = Vec::new();
    for row in &ledger.rows {
        // `breaker.jfet` belongs to `breaker`: names have no point of their own.
        let owner = row.component.split('.').next().unwrap_or(&row.component);
        let energies = [row.delivered, row.dissipated, row.stored_change];
        match out.iter_mut().find(|o| o.0 == owner) {
            Some(found) => found.1.iter_mut().zip(energies).for_each(|(sum, e)| *sum += e),
            None => out.push((owner.to_string(), energies)),
        }
    }
    out
}

fn ledger_blocks(ledger: &LedgerTable) -> Vec<Block> {
    let all = owners(ledger);
    let turned: f64 = ledger.rows.iter().map(|r| r.delivered.abs()).sum();
    // What is nothing beside the rest would only lengthen the table.
    let counts = |e: &[f64; 3]| e.iter().any(|x| x.abs() > 1e-9 * turned);
    let mut rows: Vec<Vec<String>> = all
        .iter()
        .filter(|(_, e)| counts(e))
        .map(|(name, e)| {
            let shown = |x: f64| if x == 0.0 { String::new() } else { people(x, "J") };
            vec![name.clone(), shown(e[0]), shown(e[1]), shown(e[2])]
        })
        .collect();
    let sum = |k: usize| people(all.iter().map(|o| o.1[k]).sum(), "J");
    rows.push(vec!["sum".into(), sum(0), sum(1), sum(2)]);
    let caption = "Energies by component over the whole record";
    let mut blocks =
        vec![Block::Grid(Grid::new(caption, &["component", ">delivered", ">dissipated", ">stored"], rows))];
    let words = if !ledger.residual_relative.is_finite() {
        "Ledger closure: the energies are no finite numbers.".into()
    } else {
        format!(
            "Ledger closure: delivered less dissipated less stored leaves {}, {:.1e} of the energy turned over or stored.",
            people(ledger.residual, "J"),
            ledger.residual_relative
        )
    };
    blocks.push(Block::Text(words));
    let mut losses: Vec<&(String, [f64; 3])> = all.iter().filter(|o| o.1[1] > 0.0).collect();
    losses.sort_by(|a, b| b.1[1].total_cmp(&a.1[1]));
    if losses.len() > 1 {
        let shown: Vec<&&(String, [f64; 3])> = losses.iter().take(DRAWN).collect();
        let bars = Bars {
            y: Axis::linear("energy dissipated", "J"),
            groups: shown.iter().map(|o| o.0.clone()).collect(),
            series: vec![Series {
                name: String::new(),
                values: shown.iter().map(|o| Some(o.1[1])).collect(),
            }],
            height: 220.0,
            ..Bars::default()
        };
        let caption = "Energy that each component turned into heat, largest first.";
        blocks.push(drawn("losses", caption, vec![Panel::Bars(bars)]));
    }
    blocks
}

fn drawn(name: &str, caption: &str, panels: Vec<Panel>) -> Block {
    Block::Drawing(Drawing { name: name.into(), caption: caption.into(), figure: Figure::new("", panels) })
}

/// Heat handed to the thermal network, summed up over time.
fn heat(read: &Read<'_>) -> Option<Block> {
    let steps = &read.steps;
    let rows: Vec<usize> = (0..steps.kind.len()).filter(|&r| steps.kind[r] == "interval").collect();
    if steps.heat_inputs.is_empty() || rows.len() < 2 {
        return None;
    }
    let every = rows.len().div_ceil(1000);
    let curves = steps.heat_inputs.iter().enumerate().map(|(k, name)| {
        let mut sum = 0.0;
        let mut points = vec![(steps.begin[rows[0]], 0.0)];
        for (n, &r) in rows.iter().enumerate() {
            sum += steps.heat[r][k];
            if n % every == 0 || n + 1 == rows.len() {
                points.push((steps.end[r], sum));
            }
        }
        Curve::new(name, points).marked(Marker::None)
    });
    let chart = Chart {
        x: Axis::linear("time", "s"),
        y: Axis::linear("heat so far", "J"),
        curves: curves.collect(),
        height: 220.0,
        ..Chart::default()
    };
    let caption = "Heat that each die handed to the thermal network, summed up over the run.";
    Some(drawn("heat", caption, vec![Panel::Chart(chart)]))
}

/// From edge to edge of each drive: how many, and the one with the most heat.
fn edges(read: &Read<'_>) -> Option<Block> {
    let steps = &read.steps;
    let mut of: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for r in (0..steps.kind.len()).filter(|&r| steps.kind[r] == "edge") {
        of.entry(&steps.subject[r]).or_default().push(r);
    }
    if of.is_empty() || steps.heat_inputs.is_empty() {
        return None;
    }
    let mut rows = Vec::new();
    for (drive, list) in &of {
        for (k, input) in steps.heat_inputs.iter().enumerate() {
            let heat = |r: &usize| steps.heat[*r][k];
            let most = list.iter().max_by(|a, b| heat(a).total_cmp(&heat(b)));
            let sum: f64 = list.iter().map(heat).sum();
            rows.push(vec![
                (*drive).to_string(),
                input.clone(),
                list.len().to_string(),
                people(sum, "J"),
                most.map_or(String::new(), |r| people(heat(r), "J")),
                most.map_or(String::new(), |r| instant(steps.begin[*r], read.reach.1)),
            ]);
        }
    }
    let caption = "Heat of each die from one edge of a drive to the next, conduction included";
    let heads = ["drive", "heat input", ">edges", ">heat of all", ">most after one edge", ">at"];
    Some(Block::Grid(Grid::new(caption, &heads, rows)))
}

/// The section.
pub(super) fn blocks(read: &Read<'_>) -> Result<Vec<Block>, ResultError> {
    let mut blocks = match read.file.ledger()? {
        Some(ledger) => ledger_blocks(&ledger),
        None => {
            vec![Block::Text("The file holds no energy ledger: the run did not come to write it.".into())]
        }
    };
    blocks.extend(heat(read));
    blocks.extend(edges(read));
    Ok(blocks)
}

/// What must be said where the account does not close.
pub(super) fn warning(read: &Read<'_>) -> Option<String> {
    let relative = read.scalar("ledger_residual_relative")?.value;
    // Written so that a residual that is not a number is reported too.
    let closes = relative <= CLOSES;
    (!closes).then(|| {
        if !relative.is_finite() {
            return "THE LEDGER DOES NOT CLOSE: the energies are no finite numbers.".into();
        }
        format!(
            "THE LEDGER DOES NOT CLOSE ({relative:.1e} of the energy turned over or stored; up to {CLOSES:.0e} is trusted): take \
             shorter steps before trusting the energies."
        )
    })
}
