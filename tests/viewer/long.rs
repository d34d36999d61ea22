//! A long record opens at once and is zoomed without being loaded. `JOULESTEP_LONG_RECORD` sets its length in samples;
//! 100000000 is the length that was asked for and takes about a minute to write.

use std::fs;
use std::time::{Duration, Instant};

use joulestep::diagnostic::Sources;
use joulestep::output::result::{Precision, ResultWriter, WriterOptions};
use joulestep_engine::recorder::{Column, Layout, Recorder};

use super::Served;

/// Peak of resident memory, bytes; where the system tells.
fn peak(process: u32) -> Option<u64> {
    let text = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = text.lines().find(|line| line.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? * 1024)
}

#[test]
fn a_long_record_opens_at_once_and_is_not_loaded() {
    let length = std::env::var("JOULESTEP_LONG_RECORD").ok().and_then(|text| text.parse().ok());
    let samples: usize = length.unwrap_or(4_000_000);
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("long.h5");
    let options = WriterOptions { precision: Precision::Single, ..WriterOptions::default() };
    let mut writer = ResultWriter::create(&path, &Sources::of_text("title = \"long\"\n"), options).unwrap();
    let column =
        |name: &str, unit: &str| Column { name: name.into(), long_name: String::new(), unit: unit.into() };
    writer.begin(&Layout {
        channels: vec![column("voltage(bus)", "V"), column("load.current", "A")],
        thermal: vec![column("jfet", "degC")],
        heat: vec![],
        watched: vec![],
    });
    let spike = samples / 3;
    let began = Instant::now();
    for k in 0..samples {
        let t = k as f64 * 1e-8;
        // Two steps that repeat, as a converter's do, and a single sample that must be seen from any distance.
        let v = if k == spike { 700.0 } else { 400.0 + (k % 64) as f64 };
        writer.sample(t, &[v, (k % 1000) as f64 * 0.1]);
        if k % 1000 == 0 {
            writer.thermal(t, &[50.0 + (k % 100_000) as f64 * 1e-4]);
        }
    }
    let bytes = writer.finish(true, None, None).unwrap().bytes;
    println!(
        "{samples} samples, {:.0} MB, written in {:.1} s",
        bytes as f64 / 1e6,
        began.elapsed().as_secs_f64()
    );

    let began = Instant::now();
    let served = Served::start(&[&path]);
    let answering = began.elapsed();
    let report = served.json("meta");
    assert_eq!(report["files"][0]["w"]["samples"], samples);
    assert_eq!(report["files"][0]["w"]["signals"][0]["max"], 700.0);
    let window = |from: f64, to: f64| {
        let began = Instant::now();
        let answer = served.get(&format!("window?f=0&g=w&s=0,1&from={from:e}&to={to:e}&n=4000"));
        assert_eq!(answer.status, 200);
        assert!(answer.body.len() < 8 * (8 + 3 * 8200), "{}", answer.body.len());
        (began.elapsed(), answer.body)
    };
    let end = samples as f64 * 1e-8;
    let (_, body) = window(0.0, end);
    let opened = began.elapsed();
    println!("answers after {answering:.2?}, first picture after {opened:.2?}");
    assert!(opened < Duration::from_secs(2), "{opened:?}");
    // The single sample is in the first picture.
    let numbers = body.chunks_exact(4).map(|b| f32::from_le_bytes(b.try_into().unwrap()));
    assert!(numbers.into_iter().any(|x| x == 700.0));

    let mut slowest = Duration::ZERO;
    let mut sum = Duration::ZERO;
    let mut count = 0;
    let about = spike as f64 * 1e-8;
    let mut width = end;
    while width > 1e-6 {
        let (took, _) = window(about - width / 2.0, about + width / 2.0);
        slowest = slowest.max(took);
        sum += took;
        count += 1;
        width /= 1.6;
    }
    println!("zooming: {count} windows, mean {:.1?}, slowest {slowest:.1?}", sum / count);
    assert!(slowest < Duration::from_millis(500), "{slowest:?}");
    let began = Instant::now();
    let at = served.json(&format!("at?f=0&g=w&s=0&t={about:e}&reach=1e-8"));
    assert_eq!((at["samples"][0].as_u64(), at["values"][0].as_f64()), (Some(spike as u64), Some(700.0)));
    println!("cursor: {:.1?}", began.elapsed());
    let most = report["limits"]["integrals"].as_u64().unwrap() as usize;
    let piece = most.min(samples);
    let began = Instant::now();
    let report = served.json(&format!("integrals?f=0&g=w&s=0,1&p=0:1&from=0&to={}", piece - 1));
    println!("integrals of {piece} samples, two signals and a product: {:.2?}", began.elapsed());
    assert_eq!(report["samples"], piece);
    let memory = peak(served.program.id());
    if let Some(memory) = memory {
        println!("peak of resident memory: {:.1} MB", memory as f64 / 1e6);
        // The samples alone would take 16 bytes each.
        assert!(memory < 250_000_000, "{memory}");
    }
}
