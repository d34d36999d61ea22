//! A real browser opens the report: nothing is fetched, nothing is wrong, it prints.

use std::path::Path;
use std::process::{Command, Output};

use super::{done, ferry, text};
use crate::common::browser::chromium;

/// Without any name service, so that whatever would be fetched fails, and is reported.
fn browse(browser: &Path, profile: &Path, page: &Path, what: &str) -> Output {
    let address = format!("file://{}", page.display());
    let profile = format!("--user-data-dir={}", profile.display());
    let output = Command::new(browser)
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
        .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
        .args(["--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer"])
        .args(["--enable-logging=stderr", "--v=0", "--window-size=1200,900"])
        .args([&profile, what, &address])
        .output()
        .unwrap();
    let printed = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{printed}");
    let report: Vec<&str> =
        printed.lines().filter(|l| l.contains(":CONSOLE") || l.contains("ERR_")).collect();
    assert!(report.is_empty(), "{report:?}");
    output
}

#[test]
#[cfg_attr(not(with_chromium), ignore = "no Chromium (JOULESTEP_CHROMIUM names one; Debian: chromium)")]
fn a_browser_shows_and_prints_the_report() {
    let browser = chromium();
    let folder = tempfile::tempdir().unwrap();
    let result = ferry(folder.path());
    let page = folder.path().join("ferry.html");
    done(&["report", text(&result), "-o", text(&page)], 0);
    let profile = folder.path().join("profile");
    let shown = browse(&browser, &profile, &page, "--dump-dom");
    let dom = String::from_utf8_lossy(&shown.stdout);
    assert!(
        dom.contains("Kept: 11 limits set, 23 ratings of the parts.") && dom.contains("</svg>"),
        "the page is there"
    );
    let pdf = folder.path().join("ferry.pdf");
    browse(&browser, &profile, &page, &format!("--print-to-pdf={}", pdf.display()));
    let printed = std::fs::read(&pdf).unwrap();
    assert!(printed.starts_with(b"%PDF"));
    let pages = printed.windows(11).filter(|w| w == b"/Type /Page").count();
    assert!(pages >= 8, "{pages} pages");
    let picture = folder.path().join("ferry.png");
    browse(&browser, &profile, &page, &format!("--screenshot={}", picture.display()));
    assert!(std::fs::read(&picture).unwrap().starts_with(b"\x89PNG"));
}
