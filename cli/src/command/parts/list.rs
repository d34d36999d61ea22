//! `parts list`: the shipped parts.

use std::io;

use joulestep_engine::units::people;
use serde::Serialize;

use super::on_resistance;
use crate::command::args::PartsListArgs;
use crate::command::refuse_in;
use crate::exit::DONE;
use crate::input::keys::include::open;
use crate::input::parts::load;
use crate::output::streams::Streams;
use crate::output::table::aligned;

#[derive(Serialize)]
struct List {
    parts: Vec<Listed>,
}

#[derive(Serialize)]
struct Listed {
    name: &'static str,
    title: String,
    kind: &'static str,
    technology: &'static str,
    invented: bool,
    rated_voltage: Option<f64>,
    gate_limit: Option<f64>,
    gate_limit_negative: Option<f64>,
    maximum_temperature: Option<f64>,
    on_resistance: Option<f64>,
    junction_case: Option<f64>,
}

impl List {
    fn text(&self) -> String {
        let heads = ["part", "technology", "rated", "R_on 25 °C", "T_j,max", "title"].map(String::from);
        let or_dash = |x: Option<f64>, unit: &str| x.map_or_else(|| "-".to_string(), |x| people(x, unit));
        let row = |p: &Listed| {
            vec![
                p.name.to_string(),
                p.technology.to_string(),
                or_dash(p.rated_voltage, "V"),
                or_dash(p.on_resistance, "ohm"),
                or_dash(p.maximum_temperature, "degC"),
                p.title.clone(),
            ]
        };
        let rows: Vec<_> = std::iter::once(heads.to_vec()).chain(self.parts.iter().map(row)).collect();
        aligned(&rows, &[false, false, true, true, true, false])
    }
}

pub(super) fn list(args: &PartsListArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let mut parts = Vec::new();
    for (name, _) in joulestep_models::parts::shipped() {
        let part = match load(name, &open) {
            Ok(loaded) => loaded.part,
            Err(error) => return refuse_in("a shipped part", &error, name.as_ref(), args.json, streams),
        };
        parts.push(Listed {
            name,
            kind: part.kind,
            technology: part.technology.key(),
            invented: part.invented,
            rated_voltage: part.rated_voltage(),
            gate_limit: part.gate_limits().map(|g| g.1),
            gate_limit_negative: part.gate_limits().map(|g| g.0),
            maximum_temperature: part.hottest(),
            on_resistance: on_resistance(&part, 25.0),
            junction_case: part.thermal.junction_case,
            title: part.title,
        });
    }
    let list = List { parts };
    if args.json {
        streams.json(&list)?;
    } else {
        write!(streams.out, "{}", list.text())?;
    }
    Ok(DONE)
}
