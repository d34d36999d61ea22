//! A file with everything in it, written through the recorder and read back by the library's own reader.
//! `outside.rs` reads it with h5py and xarray, `hardship.rs` tries what killed, starved and long runs leave.

use std::fs;
use std::thread;
use std::time::Duration;

use joulestep::diagnostic::Sources;
use joulestep::output::result::{
    LedgerTable, Precision, ResultError, ResultFile, ResultWriter, Summary, Verdict, WriterOptions,
    block_length,
};
use joulestep_engine::recorder::{Layout, Recorder, Row};

use written::*;

mod hardship;
pub(crate) mod outside;
pub(crate) mod written;

#[test]
fn what_was_written_is_read_back_bit_for_bit() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("all.h5");
    let samples = 5000;
    write(&path, samples, small(Precision::Double, 1));
    let memory = describe(samples);
    let file = ResultFile::open(&path).unwrap();
    assert!(file.complete());
    let about = file.about();
    assert_eq!((about.producer.as_str(), about.format_version), ("joulestep", 2));
    assert_eq!(about.inputs, Sources::of_text(SCENARIO));
    assert!(about.created.starts_with("20") && about.created.ends_with('Z'), "{}", about.created);

    assert_eq!((file.samples(), file.thermal_samples()), (samples, samples / 20));
    let names: Vec<&str> = file.channels().iter().map(|c| c.name.as_str()).collect();
    let written: Vec<&str> = memory.layout.channels.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names, written);
    let datasets: Vec<&str> = file.channels()[3..].iter().map(|c| c.dataset.as_str()).collect();
    assert_eq!(datasets, HOSTILE_DATASETS);
    let first = &file.channels()[0];
    assert_eq!((first.long_name.as_str(), first.unit.as_str()), ("voltage of node bus", "V"));
    assert_eq!(file.channels()[2].unit, "");

    assert_eq!(bits(&file.time(0..samples).unwrap()), bits(&memory.time));
    for (c, name) in written.iter().enumerate() {
        let values = channel(&memory, c);
        assert_eq!(bits(&file.window(name, 0..samples).unwrap()), bits(&values), "{name}");
        assert_eq!(bits(&file.window(name, 500..1030).unwrap()), bits(&values[500..1030]), "{name}");
        assert_eq!(file.window(name, 7..7).unwrap(), [0.0; 0]);
        for level in file.overview_levels() {
            let expected = extremes(&values, level);
            assert_eq!(file.overview_length(level).unwrap(), expected.len());
            let got = file.overview(level, name, 0..expected.len()).unwrap();
            assert_eq!(bits(&got.minimum), bits(&expected.iter().map(|e| e[0]).collect::<Vec<_>>()));
            assert_eq!(bits(&got.maximum), bits(&expected.iter().map(|e| e[1]).collect::<Vec<_>>()));
            let begin: Vec<f64> = memory.time.iter().copied().step_by(block_length(level)).collect();
            assert_eq!(got.begin, begin);
        }
    }
    for (c, node) in ["Q1.jfet", "Q1.mosfet"].into_iter().enumerate() {
        let expected: Vec<f64> = memory.thermal.iter().map(|celsius| celsius[c]).collect();
        assert_eq!(file.temperature(node, 0..samples / 20).unwrap(), expected);
    }
    let events = file.events().unwrap();
    assert_eq!(events.len(), memory.events.len());
    for (got, want) in events.iter().zip(&memory.events) {
        assert_eq!((got.time, got.value.to_bits()), (want.time, want.value.to_bits()));
        let texts = [&*got.kind, &*got.action, &*got.subject, &*got.note, &*got.unit];
        assert_eq!(texts, [want.kind.word(), want.action.word(), &*want.subject, &*want.note, want.unit]);
        assert_eq!((got.since, got.level.to_bits()), (want.since, want.level.to_bits()));
        assert_eq!(got.act(), want.action);
    }
    let steps = file.steps().unwrap();
    assert_eq!(steps.kind, memory.rows.iter().map(|row| row.kind).collect::<Vec<_>>());
    assert_eq!(steps.subject, memory.rows.iter().map(|row| row.subject.clone()).collect::<Vec<_>>());
    assert_eq!(steps.begin, memory.rows.iter().map(|row| row.begin).collect::<Vec<_>>());
    assert_eq!(steps.end, memory.rows.iter().map(|row| row.end).collect::<Vec<_>>());
    let energy = |row: &Row<f64>| row.switching.as_ref().map_or(f64::NAN, |s| s.energy).to_bits();
    assert!(steps.energy.iter().map(|x| x.to_bits()).eq(memory.rows.iter().map(energy)));
    let reason = |row: &Row<f64>| row.switching.as_ref().map_or(String::new(), |s| s.reason.clone());
    assert!(steps.reason.iter().cloned().eq(memory.rows.iter().map(reason)) && steps.energy.contains(&5e-5));
    assert_eq!(steps.heat, memory.rows.iter().map(|row| row.heat.clone()).collect::<Vec<_>>());
    assert_eq!(steps.peak, memory.rows.iter().map(|row| row.peaks.clone()).collect::<Vec<_>>());
    assert_eq!(steps.temperature, memory.rows.iter().map(|row| row.temperature.clone()).collect::<Vec<_>>());
    assert_eq!(steps.watched_unit, ["V", "A", "V"]);
    assert_eq!(file.ledger().unwrap(), Some(ledger()));
    let read = file.summary().unwrap().unwrap();
    assert_eq!((&read, read.verdict()), (&summary(), Verdict::Fails));
}

#[test]
fn single_precision_rounds_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("single.h5");
    write(&path, 1500, small(Precision::Single, 0));
    let memory = describe(1500);
    let file = ResultFile::open(&path).unwrap();
    for (c, name) in ["voltage(bus)", "L1.current"].into_iter().enumerate() {
        let rounded: Vec<f64> = channel(&memory, c).iter().map(|&value| f64::from(value as f32)).collect();
        assert_eq!(file.window(name, 0..1500).unwrap(), rounded);
    }
    assert_eq!(bits(&file.time(0..1500).unwrap()), bits(&memory.time));
}

#[test]
fn an_interrupted_run_leaves_all_it_had() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("interrupted.h5");
    for dropped in [false, true] {
        let mut writer =
            ResultWriter::create(&path, &Sources::of_text(SCENARIO), small(Precision::Double, 1)).unwrap();
        report(&mut writer, 1303);
        if dropped {
            drop(writer);
        } else {
            writer.finish(false, Some(&ledger()), None).unwrap();
        }
        let file = ResultFile::open(&path).unwrap();
        assert!(!file.complete());
        assert_eq!((file.samples(), file.events().unwrap().len()), (1303, 5));
        assert_eq!(bits(&file.time(0..1303).unwrap()), bits(&describe(1303).time));
        assert_eq!(file.ledger().unwrap().is_some(), !dropped);
        assert_eq!(file.summary().unwrap(), None);
    }
}

#[test]
fn an_empty_run_and_a_long_scenario_are_kept() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("empty.h5");
    // More than an attribute of fixed length could hold (64 KiB).
    let scenario = "# a comment, no more\n".repeat(20_000);
    let mut writer =
        ResultWriter::create(&path, &Sources::of_text(scenario.as_str()), WriterOptions::default()).unwrap();
    writer.begin(&Layout::default());
    writer.finish(true, Some(&LedgerTable::default()), Some(&Summary::default())).unwrap();
    let file = ResultFile::open(&path).unwrap();
    assert!(file.complete());
    assert_eq!(file.about().inputs, Sources::of_text(scenario));
    assert_eq!((file.samples(), file.channels().len(), file.overview_levels().len()), (0, 0, 0));
    assert_eq!(file.ledger().unwrap(), Some(LedgerTable::default()));
    assert_eq!(file.summary().unwrap().map(|s| s.verdict()), Some(Verdict::NotJudged));
}

#[test]
fn misuse_and_bad_files_are_refused_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("misused.h5");
    let words = |e: ResultError| e.to_string().replace(&folder.path().display().to_string(), "");
    let options = || small(Precision::Double, 1);

    let mut writer = ResultWriter::create(&path, &Sources::default(), options()).unwrap();
    writer.begin(&layout());
    writer.sample(0.0, &[1.0]);
    assert!(!writer.go_on(0.0));
    let error = words(writer.finish(true, None, None).unwrap_err());
    assert_eq!(error, "/misused.h5: found an instant with 1 values, expected 12 as the layout says");
    let file = ResultFile::open(&path).unwrap();
    assert!(!file.complete());
    let error = words(file.window("voltage(bas)", 0..0).unwrap_err());
    assert!(error.starts_with(
        "/misused.h5: found a request for \"voltage(bas)\" of waveforms, expected one of voltage(bus)"
    ));
    let error = words(file.window("voltage(bus)", 0..9).unwrap_err());
    assert_eq!(error, "/misused.h5: found a request for 0..9 of waveforms, expected a range within 0..0");
    drop(file);

    let path = folder.path().join("held.h5");
    let mut held = ResultWriter::create(&path, &Sources::default(), options()).unwrap();
    held.begin(&layout());
    while !path.exists() {
        assert!(held.go_on(0.0));
        thread::sleep(Duration::from_millis(1));
    }
    let error = words(ResultWriter::create(&path, &Sources::default(), options()).err().unwrap());
    assert_eq!(error, "cannot create /held.h5: another program is using it");
    let error = words(ResultFile::open(&path).err().unwrap());
    assert_eq!(error, "cannot open /held.h5: another program is using it");
    drop(held);

    let nowhere = folder.path().join("no/such/folder.h5");
    let error = words(ResultWriter::create(&nowhere, &Sources::default(), options()).err().unwrap());
    assert_eq!(error, "cannot create /no/such/folder.h5: No such file or directory (os error 2)");
    let error = words(ResultWriter::create(folder.path(), &Sources::default(), options()).err().unwrap());
    assert_eq!(error, "cannot create : Is a directory (os error 21)");
    let error = words(ResultFile::open(&nowhere).err().unwrap());
    assert_eq!(error, "cannot open /no/such/folder.h5: No such file or directory (os error 2)");
    let text = folder.path().join("text.h5");
    fs::write(&text, "no HDF5 here").unwrap();
    let error = words(ResultFile::open(&text).err().unwrap());
    assert_eq!(error, "/text.h5: found a file that is not HDF5, expected a result file");
    // Nothing is left of files that came to nothing.
    let left = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name());
    assert!(left.into_iter().all(|name| !name.to_string_lossy().ends_with(".part")));
}
