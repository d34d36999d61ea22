//! Heat of the dies over time.

use std::collections::BTreeMap;

use crate::output::report::people;

use super::Read;
use super::sequence::instant;
use crate::output::plot::{Axis, Chart, Curve, Figure, Marker, Panel};
use crate::output::report::{Block, Drawing, Grid};

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
pub(super) fn blocks(read: &Read<'_>) -> Vec<Block> {
    heat(read).into_iter().chain(edges(read)).collect()
}
