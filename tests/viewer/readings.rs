//! The readings at the legends, in a real browser: where they stand, what they say, for whom they can be read.

use std::path::Path;
use std::thread;
use std::time::Duration;

use joulestep::diagnostic::Sources;
use joulestep::output::result::{ResultWriter, WriterOptions};
use joulestep_engine::recorder::{Column, Layout, Recorder};
use serde_json::{Value, json};

use super::page::{cell, opened, reading, view};
use super::{NAMES, Served, served};
use crate::common::browser::Browser;

/// The component whose voltage, current and power are recorded.
const SIGNALS: [(&str, &str); 4] =
    [("choke.voltage", "V"), ("choke.current", "A"), ("choke.power", "W"), ("other.current", "A")];

/// A voltage of 40 V + 20 kV/s t, a current of 3 A - 1 kA/s t, their product, and 2 A elsewhere.
fn recorded(path: &Path) {
    let mut writer =
        ResultWriter::create(path, &Sources::of_text("title = \"choke\"\n"), WriterOptions::default())
            .unwrap();
    let column =
        |name: &str, unit: &str| Column { name: name.into(), long_name: String::new(), unit: unit.into() };
    writer.begin(&Layout {
        channels: SIGNALS.iter().map(|(name, unit)| column(name, unit)).collect(),
        thermal: vec![],
        heat: vec![],
        watched: vec![],
    });
    for k in 0..30_000 {
        let t = f64::from(k) * 1e-7;
        let (v, i) = (40.0 + 2e4 * t, 3.0 - 1e3 * t);
        writer.sample(t, &[v, i, v * i, 2.0]);
    }
    writer.finish(true, None, None).unwrap();
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within * expected.abs(), "{found} against {expected}");
}

/// ∫ (p + q t)(r + s t) dt is a polynomial; a voltage times a current of 2 A is twice its integral.
#[test]
#[cfg_attr(not(with_browser), ignore = "no Chromium with chromedriver (Debian: chromium, chromium-driver)")]
fn energies_come_of_a_component_s_own_voltage_of_a_chosen_one_and_of_powers() {
    let browser = Browser::start(1280, 900);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.h5");
    recorded(&path);
    let served = Served::start(&[&path]);
    let (a, b) = (4.321e-4, 2.5e-3);
    browser.open(&format!("{}#t1={a}&t2={b}", served.address));
    browser.until("return document.body.dataset.ready === 'yes'");
    let line = |p: f64, q: f64| p * (b - a) + q * (b * b - a * a) / 2.0;
    let energy = 40.0 * 3.0 * (b - a) + (2e4 * 3.0 - 40.0 * 1e3) * (b * b - a * a) / 2.0
        - 2e4 * 1e3 * (b.powi(3) - a.powi(3)) / 3.0;
    near(cell(&browser, "choke.current", "energy"), energy, 1e-12);
    // The power's samples lie on a parabola, which straight lines miss by (1e-7)²/12 of its second derivative.
    near(cell(&browser, "choke.power", "energy"), energy, 1e-8);
    near(cell(&browser, "choke.voltage", "integral"), line(40.0, 2e4), 1e-12);
    near(cell(&browser, "other.current", "square"), 4.0 * (b - a), 1e-12);
    near(reading(&browser, "#interval [data-key=dt]"), b - a, 1e-12);
    near(reading(&browser, "#interval [data-key=rate]"), 1.0 / (b - a), 1e-12);
    let other = "[...document.querySelectorAll('#readings tbody')]\
                 .find((b) => b.dataset.signal === 'other.current').querySelector('[data-key=energy]')";
    assert_eq!(browser.run(&format!("return {other}.dataset.value ?? null")), Value::Null);
    browser.run(
        "const select = document.querySelector('[data-unit=A] thead select');
         select.value = 'choke.voltage'; select.dispatchEvent(new Event('change'));",
    );
    near(cell(&browser, "other.current", "energy"), 2.0 * line(40.0, 2e4), 1e-12);
    // What is used most comes first, and differences after it.
    let heads = "return [...document.querySelectorAll('[data-unit=A] thead th')].map((th) => th.textContent).slice(0, 5)";
    assert_eq!(browser.run(heads), json!(["t₁", "t₂", "∫dt", "rms", "I²t"]));
    browser.press("d");
    near(cell(&browser, "choke.voltage", "difference"), 2e4 * (b - a), 1e-12);
    let keys = "return [...document.querySelector('#readings tbody').querySelectorAll('[data-key]')].map((c) => c.dataset.key)";
    assert_eq!(browser.run(keys), json!(["t1", "t2", "integral", "rms", "difference", "mean", "min", "max"]));
    browser.no_errors();
}

/// Contrast of two colours as the Web Content Accessibility Guidelines 2.2 define it ("contrast ratio", "relative
/// luminance").
const CONTRAST: &str = "
    const channels = (colour) => /(\\d+), (\\d+), (\\d+)/.exec(colour).slice(1).map((c) => {
      const s = c / 255;
      return s <= 0.04045 ? s / 12.92 : ((s + 0.055) / 1.055) ** 2.4;
    });
    const luminance = (colour) => {
      const [r, g, b] = channels(colour);
      return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const ratio = (a, b) => {
      const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p);
      return (x + 0.05) / (y + 0.05);
    };
    const probe = document.createElement('i');
    document.body.append(probe);
    const colour = (name) => {
      probe.style.color = `var(--${name})`;
      return getComputedStyle(probe).color;
    };
    const pairs = [['ink', 'paper'], ['ink', 'ground'], ['grey', 'paper'], ['grey', 'ground'], ['ink', 'notice'],
      ['cursor-1', 'paper'], ['cursor-2', 'paper']];
    return pairs.map(([a, b]) => [`${a} on ${b}`, ratio(colour(a), colour(b))]);";

/// Level AA of the guidelines asks 4.5 of texts (success criterion 1.4.3).
#[test]
#[cfg_attr(not(with_browser), ignore = "no Chromium with chromedriver (Debian: chromium, chromium-driver)")]
fn texts_can_be_read_on_light_and_dark_and_everything_has_a_name() {
    let browser = Browser::start(1280, 900);
    let (_folder, served) = served(20_000);
    for scheme in ["light", "dark"] {
        browser.prefers(scheme);
        browser.open("about:blank");
        browser.open(&format!("{}#t1=4e-4&t2=8e-4", served.address));
        browser.until("return document.body.dataset.ready === 'yes'");
        cell(&browser, NAMES[0].0, "rms");
        let report = browser.run(CONTRAST);
        for pair in report.as_array().unwrap() {
            assert!(pair[1].as_f64().unwrap() >= 4.5, "{scheme}: {pair}");
        }
        let file = format!("view-{scheme}.png");
        browser.picture(&Path::new(env!("CARGO_TARGET_TMPDIR")).join(file));
    }
    // What assistive technology is reported (Core Accessibility API Mappings; here as the browser computes it).
    browser.press("s");
    let tree = browser.deep("Accessibility.getFullAXTree", &json!({}));
    let text = |node: &Value, key: &str| node[key]["value"].as_str().unwrap_or_default().to_owned();
    let seen: Vec<(String, String)> = tree["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|node| node["ignored"] == false)
        .map(|node| (text(node, "role"), text(node, "name")))
        .collect();
    let controls = ["button", "checkbox", "searchbox", "combobox", "table", "application", "toolbar"];
    for (role, name) in seen.iter().filter(|(role, _)| controls.contains(&role.as_str())) {
        assert!(!name.is_empty(), "a {role} without a name: {seen:?}");
    }
    let names = |role: &str| -> Vec<&str> {
        seen.iter().filter(|(r, _)| r == role).map(|(_, name)| name.as_str()).collect()
    };
    assert!(names("table").contains(&"Readings: current (A)"), "{:?}", names("table"));
    assert!(names("button").iter().any(|n| n.starts_with("Cursor 1 at 400")), "{:?}", names("button"));
    assert_eq!(names("checkbox").len(), NAMES.len() + 1);
    browser.no_errors();
}

/// Rectangles of the legends and of the plot, window px: left, top, right, bottom.
const PLACES: &str = "
    const place = (e) => { const r = e.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom]; };
    return [place(document.getElementById('plot')), ...[...document.querySelectorAll('#readings .legend')].map(place)];";

#[test]
#[cfg_attr(not(with_browser), ignore = "no Chromium with chromedriver (Debian: chromium, chromium-driver)")]
fn legends_stand_beside_their_panels_or_above_them_and_keys_alone_set_cursors() {
    let browser = Browser::start(1280, 900);
    let (_folder, served) = served(20_000);
    opened(&browser, &served);
    let places = || -> Vec<Vec<f64>> { serde_json::from_value(browser.run(PLACES)).unwrap() };
    // Letters that other programs have for such things do nothing here.
    let before = view(&browser);
    browser.press("abfz");
    // The address follows the view a moment later.
    thread::sleep(Duration::from_millis(600));
    assert_eq!(browser.run("return document.querySelectorAll('.instant:not([data-value=\"\"])').length"), 0);
    assert_eq!(view(&browser), before);

    browser.press("1");
    let first = reading(&browser, "#at-t1");
    browser.press("2>>.");
    browser.until("return document.getElementById('said').textContent.startsWith('Cursor 2 at ')");
    browser.until(&format!("return Number(document.getElementById('at-t2').dataset.value) > {first}"));
    cell(&browser, NAMES[1].0, "square");
    assert_eq!(browser.run("return document.activeElement === document.body"), true);
    let wide = places();
    let (plot, legends) = wide.split_first().unwrap();
    // Voltages, the current, the temperature, the line.
    assert!(legends.len() >= 4, "{legends:?}");
    for pair in legends.windows(2) {
        assert!(pair[0][3] <= pair[1][1], "legends overlap: {legends:?}");
    }
    for legend in legends {
        assert!(legend[0] >= plot[2] - 1.0 && legend[1] >= plot[1] && legend[3] <= plot[3] + 1.0, "{wide:?}");
    }
    browser.press("\u{e00c}");
    browser.until("return document.getElementById('at-t2').dataset.value === ''");

    browser.small(360, 740);
    browser.open("about:blank");
    browser.open(&format!("{}#t1=4e-4&t2=8e-4", served.address));
    browser.until("return document.body.dataset.ready === 'yes'");
    cell(&browser, NAMES[1].0, "square");
    browser.until("return Number(document.body.dataset.drawn) > 2");
    let width = "return [document.documentElement.scrollWidth, Math.max(...[...document.querySelectorAll(
        '#readings td, #tools button, nav button')].map((e) => e.getBoundingClientRect().right)) <= 360]";
    assert_eq!(browser.run(width), json!([360, true]));
    let small = places();
    let (plot, legends) = small.split_first().unwrap();
    for pair in legends.windows(2) {
        // A panel's waveforms have room between its legend and the next.
        assert!(pair[0][3] + 80.0 <= pair[1][1], "{legends:?}");
    }
    assert!(legends.iter().all(|l| l[0] >= plot[0] && l[2] <= plot[2]), "{small:?}");
    browser.picture(&Path::new(env!("CARGO_TARGET_TMPDIR")).join("view-small.png"));
    browser.no_errors();
}
