//! Names and texts of a file are text, whatever they hold.

use joulestep::diagnostic::Sources;
use joulestep::judge::Bounds;
use joulestep::output::answer::{Answer, Study, StudyFigure, StudyTable};
use joulestep::output::plot::{Axis, Bars, Chart, Curve, Figure, Mark, Panel, Series, Span};
use joulestep::output::result::{ResultWriter, Summary, Verdict, WriterOptions};
use joulestep::output::table::{Cell, Head, Table};
use joulestep_engine::recorder::{Column, Event, EventKind, Layout, Recorder};

use super::{done, page, text};

const EVIL: &str =
    "</title></svg></pre><script>alert(\"1\")</script><img src=x onerror='alert(2)'>&amp;\u{1b}[31m<!--]]>";

/// What a reader must find: the sign that steers a terminal is shown as what it is.
const SHOWN: &str =
    "</title></svg></pre><script>alert(\"1\")</script><img src=x onerror='alert(2)'>&amp;\\u{1b}[31m<!--]]>";

fn column(unit: &str) -> Column {
    Column { name: EVIL.into(), long_name: EVIL.into(), unit: unit.into() }
}

#[test]
fn a_hostile_run_is_shown_as_text() {
    let folder = tempfile::tempdir().unwrap();
    let result = folder.path().join("run.h5");
    let scenario = format!("# file: {EVIL}\ntitle = '''{EVIL}'''\n[record]\n");
    let mut writer = ResultWriter::create(
        &result,
        &Sources { files: vec![(EVIL.into(), scenario)] },
        WriterOptions::default(),
    )
    .unwrap();
    writer.begin(&Layout { channels: vec![column("V"), column(EVIL)], ..Layout::default() });
    for k in 0..100 {
        writer.sample(1e-6 * f64::from(k), &[f64::from(k), f64::from(k % 7)]);
        if k % 20 == 0 {
            let kind = if k == 40 { EventKind::Trip } else { EventKind::Scheduled };
            let note = EVIL.to_string();
            let event = Event::new(1e-6 * f64::from(k), kind, EVIL);
            writer.event(&Event { note, value: 1.0, unit: "A", ..event });
        }
    }
    let answer = Answer::new(format!("limit.{EVIL}.largest"), EVIL, 2.0, EVIL);
    let summary = Summary::of(vec![answer.limited(Bounds::at_most(1.0), "limit")]);
    writer.finish(true, None, Some(&summary)).unwrap();
    let out = folder.path().join("run.html");
    done(&["report", text(&result), "-o", text(&out)], 0);
    let page = page::parsed(&out);
    assert!(page.text.contains(SHOWN), "{}", &page.text[..2000]);
    assert!(page.text.contains("fails"));
    let markdown = folder.path().join("run.md");
    done(&["report", text(&result), "-o", text(&markdown)], 0);
    let markdown = std::fs::read_to_string(markdown).unwrap();
    // Outside the fences of listed files, which hold plain text, no sign of markup is left bare.
    let prose: String = markdown.split("```").step_by(2).collect();
    assert!(!prose.contains("<script") && !prose.contains("<img"), "{prose}");
}

#[test]
fn a_hostile_study_comes_back_and_is_shown_as_text() {
    let folder = tempfile::tempdir().unwrap();
    let evil = || EVIL.to_string();
    let chart = Chart {
        title: evil(),
        x: Axis::log(EVIL, "s"),
        y: Axis::linear(EVIL, EVIL).within(0.0, 3.0),
        curves: vec![Curve::new(EVIL, vec![(1.0, 1.0), (2.0, f64::NAN), (3.0, 2.0)]).coloured(3)],
        marks: vec![Mark { at: 1.5, label: evil() }],
        spans: vec![Span { from: 1.2, to: 1.4, label: evil() }],
        height: 120.0,
    };
    let bars = Bars {
        title: evil(),
        y: Axis::linear(EVIL, "1"),
        groups: vec![evil(), "b".into()],
        series: vec![Series { name: evil(), values: vec![Some(1.0), None] }],
        reference: Some(1.0),
        height: 0.0,
    };
    let figure = Figure::new(EVIL, vec![Panel::Chart(chart), Panel::Bars(bars)]).noted(vec![evil()]);
    let data = Table {
        heads: vec![Head::text(EVIL), Head::number(EVIL, EVIL, "A"), Head::number("plain", "p", "1")],
        rows: vec![
            vec![Cell::Text(evil()), Cell::Number(1.0), Cell::Number(0.25)],
            vec![Cell::Text(String::new()), Cell::None, Cell::Number(-3.0)],
        ],
    };
    let study = Study {
        kind: evil(),
        title: evil(),
        command: evil(),
        inputs: Sources { files: vec![(EVIL.into(), format!("{EVIL}\n"))] },
        verdict: Some(Verdict::Fails),
        answers: vec![{
            let mut answer =
                Answer::new(evil(), evil(), 1.0, EVIL).limited(Bounds::at_most(0.5), EVIL).remark(EVIL);
            answer.limited.as_mut().unwrap().limit.waived = Some(evil());
            answer
        }],
        doubts: vec![evil()],
        notes: vec![evil()],
        conditions: vec![evil()],
        definitions: vec![(evil(), evil())],
        tables: vec![StudyTable::new(EVIL, EVIL, 1, data)],
        figures: vec![StudyFigure::new(EVIL, figure)],
        ..Study::default()
    };
    let result = folder.path().join("study.h5");
    study.write(&result).unwrap();
    let read = Study::read(&result).unwrap();
    // A number that is none has no equal: compared as text. Datasets may not have any name; tables are called so.
    let mut named = study.clone();
    named.tables[0].name.clone_from(&read.tables[0].name);
    assert_eq!(format!("{read:?}"), format!("{named:?}"));
    let out = folder.path().join("study.html");
    done(&["report", text(&result), "-o", text(&out)], 0);
    let page = page::parsed(&out);
    assert!(page.text.matches(SHOWN).count() >= 8, "{}", page.text);
    assert!(page.title.contains("<script>"));
}
