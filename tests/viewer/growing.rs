//! Files that a run still writes, and files that a run left behind.

use std::thread;
use std::time::{Duration, Instant};

use joulestep::diagnostic::Sources;
use joulestep::output::result::ResultWriter;
use joulestep_engine::recorder::Recorder;

use super::{SCENARIO, STEP, Served, hasty, layout, record, value};

#[test]
fn a_file_is_seen_to_grow_and_to_be_completed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.h5");
    let mut writer = ResultWriter::create(&path, &Sources::of_text(SCENARIO), hasty()).unwrap();
    writer.begin(&layout());
    let mut next = 0;
    let mut more = |writer: &mut ResultWriter, count: usize| {
        record(writer, next, next + count);
        next += count;
        // Checkpoints are made between messages.
        for _ in 0..10 {
            assert!(writer.go_on(next as f64 * STEP));
            thread::sleep(Duration::from_millis(10));
        }
        next
    };
    more(&mut writer, 50_000);
    let served = Served::start(&[&path]);
    let mut seen = Vec::new();
    for _ in 0..4 {
        let report = served.json("meta");
        let file = &report["files"][0];
        assert_eq!((file["complete"].as_bool(), file["writing"].as_bool()), (Some(false), Some(true)));
        let samples = file["w"]["samples"].as_u64().unwrap() as usize;
        seen.push(samples);
        if samples > 0 {
            let at = served.json(&format!("at?f=0&g=w&s=0,4&i={}", samples - 1));
            assert_eq!(at["values"][0].as_f64(), Some(value(0, samples - 1)));
            let window = served.get("window?f=0&g=w&s=0,4&from=0&to=1&n=500");
            assert_eq!(window.status, 200, "{}", window.text());
        }
        more(&mut writer, 50_000);
    }
    assert!(seen.windows(2).all(|pair| pair[0] <= pair[1]) && seen[3] > seen[0], "{seen:?}");
    let all = more(&mut writer, 5_000);
    writer.finish(true, None, None).unwrap();
    let start = Instant::now();
    loop {
        let report = served.json("meta");
        let file = &report["files"][0];
        if file["complete"] == true {
            assert_eq!(file["w"]["samples"], all);
            assert_eq!(file["writing"], false);
            break;
        }
        assert!(start.elapsed() < Duration::from_secs(10), "never complete");
        thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn a_partial_file_is_shown_as_one() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.h5");
    let mut writer = ResultWriter::create(&path, &Sources::of_text(SCENARIO), hasty()).unwrap();
    writer.begin(&layout());
    record(&mut writer, 0, 30_000);
    writer.finish(false, None, None).unwrap();
    let served = Served::start(&[&path]);
    let report = served.json("meta");
    let file = &report["files"][0];
    assert_eq!((file["complete"].as_bool(), file["writing"].as_bool()), (Some(false), Some(false)));
    assert_eq!(file["w"]["samples"], 30_000);
}
