//! What the tests write: a run with every kind of record, ordinary and hostile names, and odd values.

use std::fs;
use std::path::Path;
use std::time::Duration;

use joulestep::diagnostic::Sources;
use joulestep::judge::Bounds;
use joulestep::output::answer::Answer;
use joulestep::output::result::{
    LedgerRow, LedgerTable, Precision, ResultWriter, Summary, WriterOptions, block_length,
};
use joulestep_engine::recorder::{
    Action, Column, Event, EventKind, InMemory, Layout, Recorder, Row, Switching,
};

pub const HOSTILE: [&str; 9] = ["/", "..", ".", "", "time", "extreme", "u(Übergang)", "a/b", "a_b"];
pub const HOSTILE_DATASETS: [&str; 9] =
    ["_", "_.", "__2", "unnamed", "time_2", "extreme", "u(Übergang)", "a_b", "a_b_2"];

pub fn column(name: &str, long_name: &str, unit: &str) -> Column {
    Column { name: name.into(), long_name: long_name.into(), unit: unit.into() }
}

pub fn layout() -> Layout {
    let mut channels = vec![
        column("voltage(bus)", "voltage of node bus", "V"),
        column("L1.current", "current through L1", "A"),
        column("line(odd)", "values that are hard to keep", ""),
    ];
    channels.extend(HOSTILE.iter().map(|name| column(name, "", "V")));
    Layout {
        channels,
        thermal: vec![column("Q1.jfet", "junction", "degC"), column("Q1.mosfet", "junction", "degC")],
        heat: vec![column("Q1.jfet", "", "J"), column("Q1.mosfet", "", "J")],
        watched: vec![
            column("voltage(drain)", "", "V"),
            column("Q1.current", "", "A"),
            column("voltage(gate)", "", "V"),
        ],
    }
}

/// Values that a careless copy would change: signed zero, infinities, NaN with a payload, subnormals.
const ODD: [f64; 8] = [
    -0.0,
    f64::INFINITY,
    f64::NEG_INFINITY,
    f64::from_bits(0x7ff8_dead_beef_0001),
    f64::MIN_POSITIVE / 8.0,
    f64::MAX,
    0.1,
    -1.0 / 3.0,
];

pub fn report(recorder: &mut impl Recorder<f64>, samples: usize) {
    recorder.begin(&layout());
    for k in 0..samples {
        let t = k as f64 * 1e-9;
        let mut values = vec![400.0 * (t * 2e5).cos(), 1e9 * t, ODD[k % ODD.len()]];
        values.extend((0..HOSTILE.len()).map(|c| (k * (c + 1) % 997) as f64 * 0.1));
        recorder.sample(t, &values);
        if k % 20 == 19 {
            recorder.thermal(t, &[25.0 + k as f64 * 1e-3, 25.0 + (k as f64).sqrt()]);
            recorder.row(&Row {
                kind: if k % 40 == 19 { "interval" } else { "edge" },
                subject: if k % 40 == 19 { String::new() } else { "drive Ω".into() },
                begin: t - 2e-8,
                end: t,
                heat: vec![1e-6 * k as f64, 2e-6],
                peaks: vec![400.0, k as f64, -15.0],
                temperature: vec![25.1, 25.2 + k as f64],
                switching: switching(k, t),
            });
        }
        if k % 250 == 100 {
            let kind = if k % 500 == 100 { EventKind::Trip } else { EventKind::LockOut };
            recorder.event(&Event {
                note: if k % 500 == 100 { "current above threshold, 400 A".into() } else { String::new() },
                value: if k % 500 == 100 { 412.5 } else { f64::NAN },
                unit: if k % 500 == 100 { "A" } else { "" },
                action: if k % 500 == 100 { Action::Rises } else { Action::None },
                level: if k % 500 == 100 { 400.0 } else { f64::NAN },
                since: 0.5 * t,
                ..Event::new(t, kind, "protection")
            });
        }
    }
}

/// Of some rows a turn-off, with an energy or a reason.
fn switching(k: usize, edge: f64) -> Option<Switching> {
    let (measured, device) = ((k / 60).is_multiple_of(2), "Q1".to_string());
    k.is_multiple_of(3).then(|| Switching {
        device,
        turns_on: false,
        edge,
        voltage: 400.0,
        current: 20.0 + k as f64,
        energy: if measured { 5e-5 } else { f64::NAN },
        reason: if measured { String::new() } else { "no current: ±0 A".into() },
    })
}

pub fn ledger() -> LedgerTable {
    let row = |component: &str, delivered, dissipated, stored_change| LedgerRow {
        component: component.into(),
        delivered,
        dissipated,
        stored_change,
    };
    LedgerTable {
        rows: vec![
            row("supply", 80.5, 0.0, 0.0),
            row("Q1.jfet", 0.0, 0.25, 1e-6),
            row("C/1", 0.0, 0.0, 80.0),
        ],
        residual: 0.249_999,
        residual_relative: 0.003_105_577_639,
    }
}

pub fn summary() -> Summary {
    let answer = |name: &str, value, unit: &str| Answer::new(name, format!("the {name}"), value, unit);
    let limited = |answer: Answer, bounds: Bounds| answer.limited(bounds, "limit");
    Summary::of(vec![
        limited(answer("peak drain voltage", 731.25, "V"), Bounds::at_most(750.0)),
        limited(answer("hottest junction", 151.0, "degC"), Bounds::at_most(150.0)),
        answer("trips", 2.0, ""),
        limited(answer("v/i", 3.0, "ohm"), Bounds::at_least(1.0)),
    ])
}

pub const SCENARIO: &str = "# Fähre\n[scenario]\nname = \"breaker, 400 V\"\n";

pub fn write(path: &Path, samples: usize, options: WriterOptions) {
    let mut writer = ResultWriter::create(path, &Sources::of_text(SCENARIO), options).unwrap();
    report(&mut writer, samples);
    assert!(writer.go_on(1.0));
    let finished = writer.finish(true, Some(&ledger()), Some(&summary())).unwrap();
    assert_eq!(finished.samples, samples as u64);
    assert_eq!(finished.bytes, fs::metadata(path).unwrap().len());
}

pub fn small(precision: Precision, deflate: u8) -> WriterOptions {
    WriterOptions { precision, deflate, chunk: 512, checkpoint_interval: Duration::from_millis(5) }
}

pub fn describe(samples: usize) -> InMemory<f64> {
    let mut memory = InMemory::default();
    report(&mut memory, samples);
    memory
}

pub fn channel(memory: &InMemory<f64>, c: usize) -> Vec<f64> {
    memory.samples.iter().map(|values| values[c]).collect()
}

pub fn bits(values: &[f64]) -> Vec<u64> {
    values.iter().map(|value| value.to_bits()).collect()
}

/// Minimum and maximum of every block, straight from the definition; NaN samples count for nothing.
pub fn extremes(values: &[f64], level: u32) -> Vec<[f64; 2]> {
    let fold = |block: &[f64]| {
        let low = block.iter().copied().fold(f64::NAN, f64::min);
        [low, block.iter().copied().fold(f64::NAN, f64::max)]
    };
    values.chunks(block_length(level)).map(fold).collect()
}
