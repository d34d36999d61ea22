//! A real browser for the tests: headless Chromium, driven through chromedriver by the WebDriver protocol (W3C
//! Recommendation, 2018), which is JSON over HTTP. Both are looked for on the path by the build script.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

use super::http;

/// Longest wait for something to come true in a page.
const PATIENCE: Duration = Duration::from_secs(20);

/// A browser with one page; closed when it goes out of scope.
pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _profile: TempDir,
}

fn on_path(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    let places = std::env::split_paths(&path);
    places.flat_map(|place| names.iter().map(move |name| place.join(name))).find(|file| file.is_file())
}

/// The browser that the build script found, or `JOULESTEP_CHROMIUM` names.
pub fn chromium() -> PathBuf {
    let requested = std::env::var_os("JOULESTEP_CHROMIUM").map(PathBuf::from);
    let found = requested.or_else(|| on_path(&["chromium", "chromium-browser", "google-chrome"]));
    found.expect("Chromium on the path")
}

impl Browser {
    /// Starts the browser with a window of that size (CSS px). Where there is none, the tests that call this are
    /// ignored.
    pub fn start(width: u32, height: u32) -> Self {
        let driver = on_path(&["chromedriver"]).expect("chromedriver on the path");
        let chromium = chromium();
        let mut driver = Command::new(driver)
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts");
        let report = BufReader::new(driver.stdout.take().expect("its output"));
        let mut lines = report.lines().map_while(Result::ok);
        let port = lines.find_map(|line| {
            line.strip_prefix("ChromeDriver was started successfully on port ")?
                .trim_end_matches('.')
                .parse::<u16>()
                .ok()
        });
        // What it says later is read and dropped, so that it never waits for us.
        thread::spawn(move || lines.for_each(drop));
        let profile = tempfile::tempdir().expect("a folder");
        let mut browser =
            Self { driver, port: port.expect("a port"), session: String::new(), _profile: profile };
        let mut arguments: Vec<String> = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--disable-dev-shm-usage",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--force-color-profile=srgb",
        ]
        .map(String::from)
        .to_vec();
        arguments.push(format!("--user-data-dir={}", browser._profile.path().display()));
        arguments.push(format!("--window-size={width},{height}"));
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "browserName": "chrome",
            "goog:chromeOptions": { "binary": chromium, "args": arguments },
            "goog:loggingPrefs": { "browser": "ALL" },
        } } });
        let made = browser.call("POST", "/session", &wanted);
        browser.session = made["sessionId"].as_str().expect("a session").to_owned();
        browser
    }

    fn call(&self, method: &str, target: &str, body: &Value) -> Value {
        let body = if method == "POST" { body.to_string() } else { String::new() };
        let host = format!("Host: 127.0.0.1:{}", self.port);
        let headers = [host.as_str(), "Content-Type: application/json"];
        let answer = http::request(self.port, method, target, &headers, body.as_bytes());
        let answer = answer.unwrap_or_else(|e| panic!("{method} {target}: {e}"));
        let report = answer.json();
        assert_eq!(answer.status, 200, "{method} {target}: {}", report["value"]["message"]);
        report["value"].clone()
    }

    fn command(&self, what: &str, body: &Value) -> Value {
        self.call("POST", &format!("/session/{}/{what}", self.session), body)
    }

    /// Opens an address and waits until it is loaded.
    pub fn open(&self, address: &str) {
        self.command("url", &json!({ "url": address }));
    }

    /// What a script (the body of a function) returns; promises are awaited.
    pub fn run(&self, script: &str) -> Value {
        self.command("execute/sync", &json!({ "script": script, "args": [] }))
    }

    /// Waits until the script returns something that JavaScript takes for true, and gives that.
    pub fn until(&self, script: &str) -> Value {
        let start = Instant::now();
        loop {
            let value = self.run(script);
            let no = value.is_null() || value == false || value == 0 || value == "";
            if !no {
                return value;
            }
            assert!(start.elapsed() < PATIENCE, "never true: {script}\nlog: {:#?}", self.log());
            thread::sleep(Duration::from_millis(30));
        }
    }

    /// Presses keys, one after the other, on what has the focus.
    pub fn press(&self, keys: &str) {
        let strokes = keys.chars().flat_map(|key| {
            [json!({ "type": "keyDown", "value": key }), json!({ "type": "keyUp", "value": key })]
        });
        let strokes: Vec<Value> = strokes.collect();
        self.command("actions", &json!({ "actions": [{ "type": "key", "id": "keys", "actions": strokes }] }));
    }

    /// Presses at one place of the window (CSS px) and lets go at another; the same place twice is a click.
    pub fn drag(&self, from: (i64, i64), to: (i64, i64)) {
        let go =
            |(x, y): (i64, i64), ms: u32| json!({ "type": "pointerMove", "duration": ms, "x": x, "y": y });
        let mut steps = vec![go(from, 0), json!({ "type": "pointerDown", "button": 0 })];
        if from != to {
            steps.push(go(((from.0 + to.0) / 2, (from.1 + to.1) / 2), 40));
            steps.push(go(to, 40));
        }
        steps.push(json!({ "type": "pointerUp", "button": 0 }));
        let mouse = json!({
            "type": "pointer", "id": "mouse", "parameters": { "pointerType": "mouse" }, "actions": steps,
        });
        self.command("actions", &json!({ "actions": [mouse] }));
    }

    /// Turns the wheel at a place by that many CSS px.
    pub fn wheel(&self, at: (i64, i64), by: i64) {
        let turn = json!({ "type": "scroll", "x": at.0, "y": at.1, "deltaX": 0, "deltaY": by });
        self.command(
            "actions",
            &json!({ "actions": [{ "type": "wheel", "id": "wheel", "actions": [turn] }] }),
        );
    }

    /// Clicks the first element that the CSS selector finds.
    pub fn click(&self, selector: &str) {
        let found = self.command("element", &json!({ "using": "css selector", "value": selector }));
        let id = found.as_object().and_then(|o| o.values().next()).and_then(Value::as_str);
        self.command(&format!("element/{}/click", id.expect("an element")), &json!({}));
    }

    /// A command of Chromium's own debugging protocol, for what WebDriver cannot do.
    pub fn deep(&self, command: &str, parameters: &Value) -> Value {
        self.command("goog/cdp/execute", &json!({ "cmd": command, "params": parameters }))
    }

    /// Shows the page as on a small screen of that size.
    pub fn small(&self, width: u32, height: u32) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 2, "mobile": true });
        self.deep("Emulation.setDeviceMetricsOverride", &size);
        self.deep("Emulation.setTouchEmulationEnabled", &json!({ "enabled": true }));
    }

    /// Lets the page believe that the reader prefers a colour scheme: "dark" or "light".
    pub fn prefers(&self, scheme: &str) {
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        self.deep("Emulation.setEmulatedMedia", &json!({ "features": features }));
    }

    /// Takes the network away.
    pub fn offline(&self) {
        self.deep("Network.enable", &json!({}));
        let none = json!({ "offline": true, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0 });
        self.deep("Network.emulateNetworkConditions", &none);
    }

    /// Where files go that the page saves.
    pub fn save_into(&self, folder: &Path) {
        let to = json!({ "behavior": "allow", "downloadPath": folder });
        self.deep("Browser.setDownloadBehavior", &to);
    }

    /// Everything that the console received since the last call, as "LEVEL: message".
    pub fn log(&self) -> Vec<String> {
        let entries = self.command("se/log", &json!({ "type": "browser" }));
        let text = |entry: &Value, key: &str| entry[key].as_str().unwrap_or_default().to_owned();
        let entries = entries.as_array().cloned().unwrap_or_default();
        entries.iter().map(|e| format!("{}: {}", text(e, "level"), text(e, "message"))).collect()
    }

    /// Fails when the console received an error.
    pub fn no_errors(&self) {
        let log = self.log();
        let error = log.iter().filter(|l| l.starts_with("SEVERE") || l.starts_with("WARNING"));
        let error: Vec<_> = error.collect();
        assert!(error.is_empty(), "{error:#?}");
    }

    /// Takes a picture (PNG) of what is seen, for people.
    pub fn picture(&self, path: &Path) {
        let report = self.call("GET", &format!("/session/{}/screenshot", self.session), &Value::Null);
        std::fs::write(path, base64(report.as_str().unwrap_or_default())).expect("it is written");
    }
}

/// The bytes of a base64 text (RFC 4648, section 4).
fn base64(text: &str) -> Vec<u8> {
    let value = |letter: u8| match letter {
        b'A'..=b'Z' => Some(letter - b'A'),
        b'a'..=b'z' => Some(letter - b'a' + 26),
        b'0'..=b'9' => Some(letter - b'0' + 52),
        b'+' => Some(62),
        b'/' => Some(63),
        _ => None,
    };
    let (mut out, mut held, mut bits) = (Vec::new(), 0u32, 0);
    for six in text.bytes().filter_map(value) {
        held = held << 6 | u32::from(six);
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            out.push((held >> bits) as u8);
        }
    }
    out
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            let host = format!("Host: 127.0.0.1:{}", self.port);
            // The browser ends with its session; where that fails, with its driver.
            let target = format!("/session/{}", self.session);
            let _ = http::request(self.port, "DELETE", &target, &[&host], b"");
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

#[test]
#[cfg_attr(not(with_browser), ignore = "no Chromium with chromedriver (Debian: chromium, chromium-driver)")]
fn a_browser_runs_scripts_and_its_console_is_heard() {
    assert_eq!(base64("Sm91bGU="), b"Joule");
    let browser = Browser::start(800, 600);
    browser.open("data:text/html,<title>a page</title><button onclick='document.title=7'>b</button>");
    assert_eq!(browser.run("return document.title"), "a page");
    browser.click("button");
    assert_eq!(browser.until("return document.title === '7'"), true);
    browser.no_errors();
    browser.offline();
    assert_eq!(browser.until("return navigator.onLine === false"), true);
    browser.run("console.error('error')");
    let log = browser.log();
    assert!(log.iter().any(|line| line.starts_with("SEVERE") && line.contains("error")), "{log:?}");
}
