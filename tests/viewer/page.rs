//! The page in a real browser.

use std::f64::consts::TAU;
use std::fs;
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use joulestep::diagnostic::Sources;
use joulestep::output::result::{ResultFile, ResultWriter, WriterOptions};
use joulestep_engine::recorder::{Column, Layout, Recorder};
use serde_json::Value;

use super::{HOSTILE, NAMES, Served, served, value, written};
use crate::common::browser::Browser;

const SAMPLES: usize = 60_000;

/// The view's bounds as the address keeps them, s.
pub(super) fn view(browser: &Browser) -> (f64, f64) {
    let report = browser.until("return /v=([^&]*)/.exec(location.hash)?.[1]");
    let (from, to) = report.as_str().unwrap().split_once(',').unwrap();
    (from.parse().unwrap(), to.parse().unwrap())
}

/// The middle of the waveforms, window px.
pub(super) fn middle(browser: &Browser) -> (i64, i64) {
    let report = browser.run(
        "const r = document.getElementById('plot').getBoundingClientRect();
         const sheet = document.getElementById('sheet');
         return [Math.round(r.left + 0.55 * r.width), Math.round(r.top + 0.4 * sheet.clientHeight)]",
    );
    (report[0].as_i64().unwrap(), report[1].as_i64().unwrap())
}

/// A number that the page shows, in full; waits for it.
pub(super) fn reading(browser: &Browser, selector: &str) -> f64 {
    let script = format!("return document.querySelector({selector:?})?.dataset.value");
    browser.until(&script).as_str().unwrap().parse().unwrap()
}

/// A reading of a signal, in full; waits for it.
pub(super) fn cell(browser: &Browser, signal: &str, key: &str) -> f64 {
    let script = format!(
        "const bodies = [...document.querySelectorAll('#readings tbody')];
         const body = bodies.find((b) => b.dataset.signal === {signal:?});
         return body?.querySelector('[data-key={key}]')?.dataset.value"
    );
    browser.until(&script).as_str().unwrap().parse().unwrap()
}

/// A file that the browser saves.
fn saved(folder: &Path, ending: &str) -> String {
    let start = Instant::now();
    loop {
        for entry in fs::read_dir(folder).unwrap().map_while(Result::ok) {
            if entry.path().extension().is_some_and(|e| e == ending) {
                // A browser makes the file first and fills it then: it is whole with its last line.
                let text = fs::read_to_string(entry.path()).unwrap();
                if text.trim_end().ends_with("</svg>") || (ending != "svg" && text.ends_with('\n')) {
                    return text;
                }
            }
        }
        assert!(start.elapsed() < Duration::from_secs(20), "no whole {ending} is saved");
        thread::sleep(Duration::from_millis(30));
    }
}

pub(super) fn opened(browser: &Browser, served: &Served) {
    browser.open(&served.address);
    browser.until("return document.body.dataset.ready === 'yes' && Number(document.body.dataset.drawn) > 1");
}

#[test]
#[cfg_attr(not(with_browser), ignore = "no Chromium with chromedriver (Debian: chromium, chromium-driver)")]
fn the_page_zooms_reads_jumps_and_saves() {
    let browser = Browser::start(1280, 900);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.h5");
    written(&path, SAMPLES);
    let file = ResultFile::open(&path).unwrap();
    let time = file.time(0..SAMPLES).unwrap();
    let served = Served::start(&[&path]);
    opened(&browser, &served);
    let end = time[SAMPLES - 1];
    assert_eq!(view(&browser), (0.0, end));

    // Texts stay texts.
    assert_eq!(browser.run("return window.hostile ?? null"), Value::Null);
    assert_eq!(browser.run("return document.querySelectorAll('img, iframe, script:not([src])').length"), 0);
    let name = serde_json::to_string(HOSTILE).unwrap();
    let shown =
        format!("return [...document.querySelectorAll('.signal label')].some(l => l.textContent === {name})");
    assert_eq!(browser.run(&shown), true);
    assert!(
        browser
            .run("return document.getElementById('title').textContent")
            .as_str()
            .unwrap()
            .starts_with("</title>")
    );

    // The wheel zooms about the pointer, down to single samples.
    let at = middle(&browser);
    for _ in 0..20 {
        browser.wheel(at, -240);
    }
    browser.until(
        "const [a, b] = /v=([^&]*)/.exec(location.hash)[1].split(',').map(Number); return b - a < 3e-7",
    );
    let (from, to) = view(&browser);
    assert!(from > 0.0 && to < end);

    // A click sets a cursor; what it tells is what the line shows there.
    browser.drag(at, at);
    let instant = reading(&browser, "#at-t1");
    assert!((from..=to).contains(&instant));
    let sample = time.iter().position(|&t| t > instant).expect("a sample behind it") - 1;
    for (c, (name, _)) in NAMES.iter().enumerate() {
        let held = file.window(name, sample..sample + 2).unwrap();
        let share = if c == 3 { 0.0 } else { (instant - time[sample]) / (time[sample + 1] - time[sample]) };
        let (found, expected) = (cell(&browser, name, "t1"), held[0] + (held[1] - held[0]) * share);
        assert!((found - expected).abs() <= 1e-12 * expected.abs(), "{name}: {found} against {expected}");
    }
    // A sample further.
    browser.press(".");
    let next =
        format!("return document.getElementById('at-t1').dataset.value === '{}'", js(time[sample + 1]));
    browser.until(&next);

    // Where the sheet shows blocks of samples, a cursor stands on one of them.
    browser.press("\u{e00c}w");
    browser.until("return document.getElementById('at-t1').dataset.value === ''");
    browser.drag(at, at);
    let instant = reading(&browser, "#at-t1");
    let sample = time.iter().position(|&t| t == instant).expect("a sample's instant");
    for (c, (name, _)) in NAMES.iter().enumerate() {
        assert_eq!(cell(&browser, name, "t1").to_bits(), value(c, sample).to_bits(), "{name}");
    }

    // To an event, by its list.
    browser.press("w");
    browser.click("#open-events");
    browser.click("#event-list button");
    browser.until(&format!("return document.getElementById('at-t1').dataset.value === '{}'", js(time[6000])));
    // The address follows the view a moment later.
    browser.until(&format!(
        "const [a, b] = /v=([^&]*)/.exec(location.hash)[1].split(',').map(Number);
         return Math.abs((a + b) / 2 - {}) < 1e-9 && b - a < {}",
        js(time[6000]),
        0.1 * end
    ));

    // The second cursor, differences and what lies between.
    browser.press("d2>>>>>");
    browser.until("return document.querySelector('[data-key=integral][data-value]') !== null");
    // The last key's cursor has settled when nothing changes any more.
    thread::sleep(Duration::from_millis(500));
    browser.until("return document.querySelector('[data-key=integral][data-value]') !== null");
    let (a, b) = (reading(&browser, "#at-t1"), reading(&browser, "#at-t2"));
    let (first, last) = (6000, time.iter().position(|&t| t == b).expect("a sample's instant"));
    assert!(last > first + 100, "{last}");
    assert_eq!(reading(&browser, "#interval [data-key=dt]"), b - a);
    let difference = value(0, last) - value(0, first);
    assert_eq!(cell(&browser, NAMES[0].0, "difference"), difference);
    let integral = (value(0, first) + value(0, last)) / 2.0 * (b - a);
    let near = |found: f64, expected: f64| {
        assert!((found - expected).abs() <= 1e-9 * expected.abs(), "{found} against {expected}");
    };
    near(cell(&browser, NAMES[0].0, "integral"), integral);
    near(cell(&browser, NAMES[0].0, "mean"), integral / (b - a));
    let (x, y) = (value(1, first), value(1, last));
    near(cell(&browser, NAMES[1].0, "square"), (x * x + x * y + y * y) / 3.0 * (b - a));
    browser.run(
        "const select = document.querySelector('[data-unit=A] thead select');
         select.value = select.options[1].value; select.dispatchEvent(new Event('change'));",
    );
    let (v, w) = (value(0, first), value(0, last));
    near(cell(&browser, NAMES[1].0, "energy"), (v * x + (v + w) * (x + y) + w * y) / 6.0 * (b - a));

    // For people who want to see what was tested.
    browser.picture(&Path::new(env!("CARGO_TARGET_TMPDIR")).join("view.png"));

    // Saving.
    let to = tempfile::tempdir().unwrap();
    browser.save_into(to.path());
    browser.press("x");
    browser.until("return document.getElementById('save').open && document.getElementById('save-csv-0w')");
    browser.click("#save-svg");
    let picture = saved(to.path(), "svg");
    assert!(picture.starts_with("<svg") && picture.contains("<polyline") && picture.contains("time"));
    assert!(picture.contains("&lt;img src=x") && !picture.contains("<img") && !picture.contains("<script"));
    browser.click("#save-csv-0w");
    let table = saved(to.path(), "csv");
    let (from, to) = view(&browser);
    let rows: Vec<Vec<f64>> =
        table.lines().skip(1).map(|line| line.split(',').map(|n| n.parse().unwrap()).collect()).collect();
    let inside: Vec<usize> = (0..SAMPLES).filter(|&k| time[k] >= from && time[k] <= to).collect();
    assert_eq!(rows.len(), inside.len());
    for (row, k) in rows.iter().zip(inside) {
        assert_eq!((row[0], row[1], row[5]), (time[k], value(0, k), value(4, k)));
    }
    browser.press("\u{e00c}");
    browser.no_errors();
}

/// What is drawn of ten samples, or of many with a gap among them: from one sample to the next straight, or level where
/// the value holds. A cursor's value lies on that line (`interpolate` in the program, checked against closed forms
/// elsewhere).
#[test]
#[cfg_attr(not(with_browser), ignore = "no Chromium with chromedriver (Debian: chromium, chromium-driver)")]
fn what_holds_is_drawn_in_steps_at_every_zoom() {
    let browser = Browser::start(800, 600);
    let (_folder, served) = served(100);
    opened(&browser, &served);
    // Samples at 0 to 1 s, none from 0.2 s to 0.8 s; the value goes from 0 to 1 behind the gap. 1000 px wide, 1 px high
    // for 1: the height of what is drawn at 0.5 s.
    let drawn = |count: usize, hold: bool| {
        let report = browser.run(&format!(
            "return import(new URL('traces.js', location.href).href).then(({{ draw }}) => {{
               const instants = Array.from({{ length: {count} }}, (_, k) => k / ({count} - 1)).filter((t) => t <= 0.2 || t >= 0.8);
               const values = Float64Array.from(instants, (t) => (t < 0.5 ? 0 : 100));
               const window = {{ begins: Float64Array.from(instants), entries: instants.length, end: 1 }};
               const times = {{ from: 0, to: 1, left: 0, right: 1000, x: (t) => 1000 * t }};
               const heights = [];
               const seen = (points) => {{
                 for (let k = 2; k < points.length; k += 2) {{
                   const [a, b, c, d] = points.slice(k - 2, k + 2);
                   if (Math.min(a, c) <= 500 && Math.max(a, c) >= 500 && a !== c) {{
                     heights.push(b + ((d - b) * (500 - a)) / (c - a));
                   }}
                 }}
               }};
               const surface = {{ line: seen, area: seen, dots: () => null }};
               draw(surface, {{ window, trace: {{ values }}, shift: 0 }}, times, {{ y: (v) => v }}, {{ hold: {hold} }});
               return heights;
             }})"
        ));
        let heights: Vec<f64> = report.as_array().unwrap().iter().map(|y| y.as_f64().unwrap()).collect();
        assert!(!heights.is_empty(), "{count} samples: nothing is drawn");
        heights
    };
    for count in [11, 20_001] {
        assert!(drawn(count, true).iter().all(|&y| y == 0.0), "{count}: {:?}", drawn(count, true));
        assert!(
            drawn(count, false).iter().all(|&y| (y - 50.0).abs() < 0.5),
            "{count}: {:?}",
            drawn(count, false)
        );
    }
    // Long times are in minutes, hours and days, as in the program's texts.
    let report = browser.run(
        "return Promise.all(['numbers.js', 'axes.js'].map((name) => import(new URL(name, location.href).href)))
           .then(([{ formatted, typedTime }, { TimeAxis }]) => {
             const axis = new TimeAxis(0, 1800, 0, 600);
             return [1800, 86400, 119, -7200].map((t) => formatted(t, 's').replace('\\u202f', ' '))
               .concat(axis.title(), axis.ticks().at(-1).label, new TimeAxis(0, 1e-3, 0, 600).title(), typedTime('30 min'));
           })",
    );
    let expected = ["30 min", "24 h", "119 s", "\u{2212}2 h", "time (min)", "30", "time (ms)"];
    assert_eq!(report.as_array().unwrap()[..7], expected.map(Value::from));
    assert_eq!(report[7].as_f64(), Some(1800.0));
    browser.no_errors();
}

/// Samples close together, then far apart, as an engine with steps of its own takes them: the quiet stretch is not
/// drawn as a few wide boxes, and the page comes to rest.
#[test]
#[cfg_attr(not(with_browser), ignore = "no Chromium with chromedriver (Debian: chromium, chromium-driver)")]
fn a_quiet_stretch_of_an_uneven_record_is_shown_finely() {
    let browser = Browser::start(1280, 900);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.h5");
    let mut writer =
        ResultWriter::create(&path, &Sources::of_text("title = \"uneven\"\n"), WriterOptions::default())
            .unwrap();
    let column = Column { name: "bus.voltage".into(), long_name: String::new(), unit: "V".into() };
    writer.begin(&Layout { channels: vec![column], thermal: vec![], heat: vec![], watched: vec![] });
    let dense = (0..200_000).map(|k| f64::from(k) * 1e-8);
    for t in dense.chain((0..2_000).map(|k| 2e-3 + f64::from(k) * 2e-6)) {
        writer.sample(t, &[(TAU * 500.0 * t).sin()]);
    }
    writer.finish(true, None, None).unwrap();
    let served = Served::start(&[&path]);
    opened(&browser, &served);
    let widest = "return import(new URL('record.js', location.href).href).then(async ({ Record }) => {
        const record = new Record(() => null);
        await record.open();
        const [from, to] = record.whole();
        const width = () => {
          const begins = record.windowFor(record.shown()[0], from, to)?.window.begins ?? [];
          return begins.length > 0 ? 1000 * Math.max(...begins.slice(1).map((t, k) => t - begins[k])) / (to - from) : Infinity;
        };
        for (let k = 0; k < 200 && width() > 3; k += 1) {
          record.ensure(from, to, 1000);
          await new Promise((done) => setTimeout(done, 50));
        }
        return width();
      })";
    let widest = browser.run(widest).as_f64().unwrap();
    assert!(widest <= 3.0, "blocks of {widest} px of 1000");
    let requests =
        "return performance.getEntriesByType('resource').filter((e) => e.name.includes('window?')).length";
    thread::sleep(Duration::from_secs(1));
    let count = browser.run(requests);
    thread::sleep(Duration::from_secs(1));
    assert_eq!(browser.run(requests), count, "the page goes on asking");
    browser.no_errors();
}

/// A number as JavaScript writes it.
fn js(x: f64) -> String {
    let text = serde_json::to_string(&x).unwrap();
    text.trim_end_matches(".0").to_owned()
}

#[test]
#[cfg_attr(not(with_browser), ignore = "no Chromium with chromedriver (Debian: chromium, chromium-driver)")]
fn the_page_works_by_keyboard_dark_and_on_a_small_screen() {
    let browser = Browser::start(1280, 900);
    let folder = tempfile::tempdir().unwrap();
    let (path, other) = (folder.path().join("a.h5"), folder.path().join("b.h5"));
    written(&path, SAMPLES);
    written(&other, SAMPLES / 2);
    let served = Served::start(&[&path, &other]);
    browser.prefers("dark");
    opened(&browser, &served);
    let ground = "return getComputedStyle(document.body).backgroundColor";
    let dark = browser.run(ground);
    browser.press("l");
    let light = browser.run(ground);
    assert_ne!(dark, light);

    // Arrows zoom and move; Backspace goes back.
    let (_, end) = view(&browser);
    browser.press("\u{e013}\u{e013}\u{e013}");
    browser.until(&format!(
        "const [a, b] = /v=([^&]*)/.exec(location.hash)[1].split(',').map(Number); return b - a < {}",
        0.3 * end
    ));
    let (from, to) = view(&browser);
    browser.press("\u{e014}");
    browser.until(&format!("return Number(/v=([^,]*)/.exec(location.hash)[1]) > {from}"));
    browser.press("\u{e003}");
    browser.until(&format!("return location.hash.includes('v={},{}')", js(from), js(to)));

    // Search, and choose by the keyboard alone.
    browser.press("/");
    browser.press("gate");
    browser.until("return document.querySelectorAll('.signal').length === 2");
    browser.press("\u{e004}\u{e004}");
    assert_eq!(browser.run("return document.activeElement.type"), "checkbox");
    browser.press(" ");
    browser
        .until("return [...document.querySelectorAll('.signal input')].filter(i => i.checked).length === 1");
    assert_eq!(browser.run("return document.activeElement.type"), "checkbox");
    browser.press("?");
    assert_eq!(browser.run("return document.getElementById('keys').open"), true);
    browser.press("\u{e00c}");
    assert_eq!(browser.run("return document.getElementById('keys').open"), false);

    // Both results are there under their numbers, and one can be shifted.
    assert_eq!(browser.run("return document.querySelectorAll('.shift input').length"), 1);
    let names = browser.run("return [...document.querySelectorAll('.signal label')].map(l => l.textContent)");
    assert_eq!(names, serde_json::json!(["1: breaker.gate", "2: breaker.gate"]));

    browser.small(360, 740);
    browser.open("about:blank");
    opened(&browser, &served);
    assert_eq!(
        browser.run("return [innerWidth, document.documentElement.scrollWidth]"),
        serde_json::json!([360, 360])
    );
    assert_eq!(browser.run("return document.getElementById('side').offsetHeight"), 0);
    browser.click("#open-events");
    browser.click("#event-list button");
    browser.until("return document.getElementById('at-t1').dataset.value");
    assert_eq!(browser.run("return document.getElementById('side').offsetHeight"), 0);
    browser.no_errors();
}
