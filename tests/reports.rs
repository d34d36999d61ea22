//! Reports: what they say is what the files hold, in HTML that parsers and browsers of others accept.

mod browser;
mod hostile;
pub mod page;
mod studies;

use std::fs;
use std::path::Path;
use std::sync::OnceLock;

use joulestep::diagnostic::Sources;
use joulestep::judge::{Bounds, Uncertainty};
use joulestep::output::answer::Answer;
use joulestep::output::result::{ResultFile, ResultWriter, Summary, WriterOptions};
use joulestep_engine::recorder::Recorder;
use joulestep_engine::units::{people, people_digits};

use crate::common::program::{describe, joulestep};

/// Runs the program with paths among its arguments; it must end with this code.
pub fn done(args: &[&str], code: i32) -> String {
    let done = joulestep(args);
    assert_eq!(done.code, code, "{args:?}: {}{}", done.out, done.err);
    done.out
}

/// The same of a study, which may come to any verdict.
pub fn judged(args: &[&str]) {
    let done = joulestep(args);
    assert!([0, 1, 5].contains(&done.code), "{args:?}: {}{}", done.out, done.err);
}

pub fn text(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

/// The ferry's breaker, cut after the short circuit and before the retry.
pub fn ferry(folder: &Path) -> std::path::PathBuf {
    // Run once for all tests.
    static RESULT: OnceLock<Vec<u8>> = OnceLock::new();
    let out = folder.join("ferry.h5");
    let result = RESULT.get_or_init(|| {
        let scenario = fs::read_to_string("examples/ferry-breaker.toml").unwrap();
        // Everything as early as it can be: the bank is charged from the start.
        let shorter = scenario
            .replace("end = \"15 ms\"", "end = \"9.6 ms\"")
            .replace("at = \"9 ms\"", "at = \"9.05 ms\"")
            // It trips, but does not lock out before the retry.
            .replace("kind = \"lock-outs\"", "kind = \"trips\"");
        assert_ne!(shorter, scenario);
        let file = folder.join("ferry.toml");
        fs::write(&file, shorter).unwrap();
        done(&["run", text(&file), "--out", text(&out), "--quiet"], 0);
        fs::read(&out).unwrap()
    });
    fs::write(&out, result).unwrap();
    out
}

/// Verdict first; every number is the file's.
#[test]
fn the_report_of_a_run_describes_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let result = ferry(folder.path());
    let out = folder.path().join("ferry.html");
    let printed = describe(&["report", text(&result), "-o", text(&out), "--json"]);
    assert_eq!(printed["verdict"], "passes");
    let page = page::parsed(&out);
    let read = |found: &str| assert!(page.text.contains(found), "{found}");
    assert_eq!(page.title, "Ferry switchboard: breaker start, short circuit, one retry, lock-out");
    let verdict = page.text.find("Kept: 11 limits set, 9 ratings of the parts.").expect("the verdict");
    assert!(verdict < page.text.find("Sequence of events").unwrap());
    let file = ResultFile::open(&result).unwrap();
    for a in file.summary().unwrap().unwrap().answers.iter().filter(|a| a.bounds().upper.is_finite()) {
        let limit = &a.limited.as_ref().unwrap().limit;
        let shown = |x: f64| match (limit.of.word(), limit.unit.as_str()) {
            ("trips" | "retries" | "lock-outs", _) => x.to_string(),
            (_, "A^2 s") => people_digits(x, "A²s", 4),
            (_, unit) => people_digits(x, unit, 4),
        };
        read(&shown(a.value));
        read(&format!("at most {}", shown(a.bounds().upper)));
    }
    for channel in file.channels() {
        assert_eq!(channel.holds, channel.name.starts_with("line("), "{}", channel.name);
    }
    let ledger = file.ledger().unwrap().unwrap();
    read(&people(ledger.residual, "J"));
    let battery: f64 = ledger.rows.iter().filter(|r| r.component == "battery").map(|r| r.delivered).sum();
    read(&people(battery, "J"));
    let trip = file.events().unwrap().into_iter().find(|e| e.kind == "trip").expect("it trips");
    read(&people(trip.value, &trip.unit));
    read(&format!("{:.4} ms", 1e3 * trip.time));
    // The rating of the part, beside the limits of the user.
    read("breaker.jfet-gate");
    // Texts of everything that went in, and the cautions.
    for word in ["shipped/cascode-700v-7m.toml", "jfet-on-resistance", "No proof of safety", "Stored energy"]
    {
        read(word);
    }
    let figures = fs::read_to_string(&out).unwrap().matches("<svg role=\"img\" aria-label=\"").count();
    assert!(figures >= 6, "{figures}");
    assert!(page.text.contains("time after the edge (µs)"), "a close up of an edge");
}

#[test]
fn the_same_file_gives_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let result = ferry(folder.path());
    let bytes = |name: &str| {
        let out = folder.path().join(name);
        done(&["report", text(&result), "-o", text(&out)], 0);
        fs::read(out).unwrap()
    };
    assert_eq!(bytes("a.html"), bytes("b.html"));
}

/// Markdown names its figures where they are; pixels have the size that they say.
#[test]
fn markdown_has_its_figures_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let result = ferry(folder.path());
    let out = folder.path().join("ferry.md");
    done(&["report", text(&result), "-o", text(&out), "--format", "png"], 0);
    let markdown = fs::read_to_string(&out).unwrap();
    assert!(markdown.starts_with("# Ferry switchboard"));
    assert!(markdown.contains("## Run: ✓ passes"));
    let mut count = 0;
    for link in markdown.split("](").skip(1).filter_map(|l| l.split(')').next()) {
        let bytes = fs::read(folder.path().join(link)).unwrap_or_else(|e| panic!("{link}: {e}"));
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
        let size = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!(size(16), 2 * 920, "{link}");
        assert!(size(20) > 500, "{link}");
        count += 1;
    }
    assert!(count >= 6, "{count}");
    // Every line of a table has as many cells as its head.
    let cells = |line: &str| line.replace("\\|", "").matches('|').count();
    let lines: Vec<&str> = markdown.lines().collect();
    for block in lines.split(|l| !l.starts_with('|')).filter(|b| !b.is_empty()) {
        assert!(block.iter().all(|l| cells(l) == cells(block[0])), "{}", block[0]);
    }
}

/// The verdict's first line names the number that decides, with its margin in units of its error; a sign tells the
/// verdict without colour, and the colour of failures is for failures only.
#[test]
fn the_verdict_names_what_decides() {
    let folder = tempfile::tempdir().unwrap();
    for (bound, class, word, first) in [
        (
            750.0,
            "passes",
            "✓ passes",
            "Nearest to its limit: limit.bus.largest: 700.0 V ± 10 V; at most 750.0 V (limit): kept, margin 50.0 V (6.7 %), 5.0 times the error.",
        ),
        (
            705.0,
            "unproven",
            "? not proven",
            "Not proven: limit.bus.largest: 700.0 V ± 10 V; at most 705.0 V (limit): not proven, margin 5.00 V (0.7 %), 0.50 times the error.",
        ),
        (
            680.0,
            "fails",
            "✗ fails",
            "Exceeded: limit.bus.largest: 700.0 V ± 10 V; at most 680.0 V (limit): EXCEEDED, margin -20.0 V (-2.9 %), 2.0 times the error.",
        ),
    ] {
        let path = |ending: &str| folder.path().join(format!("{class}.{ending}"));
        let mut writer = ResultWriter::create(
            &path("h5"),
            &Sources::of_text(crate::result_file::written::SCENARIO),
            WriterOptions::default(),
        )
        .unwrap();
        crate::result_file::written::report(&mut writer, 100);
        let answer = Answer::new("limit.bus.largest", "limit.bus.largest", 700.0, "V")
            .error(Uncertainty::within(10.0))
            .limited(Bounds::at_most(bound), "limit");
        let waivers = vec!["`Q1.gate`: for a reason".into()];
        let summary = Summary { waivers, ..Summary::of(vec![answer]) };
        writer.finish(true, None, Some(&summary)).unwrap();
        for ending in ["html", "md"] {
            done(&["report", text(&path("h5")), "-o", text(&path(ending))], 0);
        }
        let markdown = fs::read_to_string(path("md")).unwrap();
        let lines: Vec<&str> = markdown.lines().filter(|l| !l.is_empty()).collect();
        let verdict = lines.iter().position(|l| l.starts_with("## Run: ")).unwrap();
        assert_eq!((lines[verdict], lines[verdict + 1]), (&*format!("## Run: {word}"), first));
        assert!(markdown.contains("waived: \\`Q1.gate\\`: for a reason"), "{markdown}");
        let html = fs::read_to_string(path("html")).unwrap();
        assert!(html.contains(&format!("<section class=\"verdict {class}\"")), "{class}");
        assert!(html.contains(first));
        assert_eq!(html.contains("<tr class=\"failed\">"), class == "fails");
        assert_eq!(html.contains("<tr class=\"marked\">"), class == "unproven");
    }
}

/// A partial file says so before anything else, and is judged by what it shows only.
#[test]
fn a_partial_file_is_called_one() {
    let folder = tempfile::tempdir().unwrap();
    let result = folder.path().join("partial.h5");
    let mut writer = ResultWriter::create(
        &result,
        &Sources::of_text(crate::result_file::written::SCENARIO),
        WriterOptions::default(),
    )
    .unwrap();
    crate::result_file::written::report(&mut writer, 4000);
    assert!(writer.go_on(1.0));
    writer.finish(false, None, None).unwrap();
    let out = folder.path().join("partial.html");
    let printed = describe(&["report", text(&result), "-o", text(&out), "--json"]);
    assert_eq!(printed["verdict"], "incomplete");
    let page = page::parsed(&out);
    assert!(page.text.contains("The run did not end properly: this is a partial record, up to"));
    assert!(page.text.contains("holds no energy ledger"));
    assert!(page.text.find("partial record").unwrap() < page.text.find("Waveforms").unwrap());
}

#[test]
fn what_makes_no_report_is_reported() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    fs::write(path("no.h5"), "no HDF5").unwrap();
    let out = path("report.html");
    let refused = joulestep(&["report", text(&path("no.h5")), "-o", text(&out)]);
    assert_eq!(refused.code, 4);
    assert!(refused.err.contains("a file that is not HDF5"), "{}", refused.err);
    assert!(!out.exists());
    let refused = joulestep(&["report", text(&path("missing.h5")), "-o", text(&out)]);
    assert_eq!((refused.code, out.exists()), (4, false));
    assert_eq!(joulestep(&["report", text(&path("no.h5"))]).code, 2);
    let result = ferry(folder.path());
    fs::write(&out, "mine").unwrap();
    let refused = joulestep(&["report", text(&result), "-o", text(&out)]);
    assert_eq!(refused.code, 4);
    assert!(refused.err.contains("exists; expected a new file"), "{}", refused.err);
    assert_eq!(fs::read_to_string(&out).unwrap(), "mine");
}
