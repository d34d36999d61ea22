//! A report as one self-contained HTML file: no script, nothing from outside.

use std::fmt::Write;

use super::{Block, Grid, Report, ReportError, Section, Tone, labelled, svg};
use crate::diagnostic::printable;

const STYLE: &str = include_str!("style.css");
/// Rows up to which a table is not parted by the end of a page.
const SHORT: usize = 30;
/// Letters of a name that stays in one line.
const NAME: usize = 36;
/// Nothing may be loaded or run, whatever a name in the file says.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";

/// Text as HTML; control characters are shown as what they are.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in printable(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// The text of a file: its lines stay lines.
fn listed(text: &str) -> String {
    let lines: Vec<String> = text.lines().map(|line| escaped(&line.replace('\t', "    "))).collect();
    lines.join("\n")
}

/// A symbol with its index lowered: `E_on`.
fn symbol(text: &str) -> String {
    let mut out = String::new();
    for (k, word) in text.split(' ').enumerate() {
        if k > 0 {
            out.push(' ');
        }
        let lowered = word.split_once('_').filter(|(base, index)| {
            (1..=2).contains(&base.chars().count()) && !index.is_empty() && !index.contains('_')
        });
        match lowered {
            Some((base, index)) => {
                let _ = write!(out, "{}<sub>{}</sub>", escaped(base), escaped(index));
            }
            None => out.push_str(&escaped(word)),
        }
    }
    out
}

fn grid(g: &Grid, number: &mut usize, out: &mut String) {
    *number += 1;
    let _ = write!(
        out,
        "<div class=\"wide{}\"><table>\n<caption><b>Table {number}.</b> {}</caption>\n<thead><tr>",
        if g.rows.len() <= SHORT { " short" } else { "" },
        symbol(&g.caption)
    );
    for (head, right) in &g.heads {
        let class = if *right { " class=\"n\"" } else { "" };
        let _ = write!(out, "<th scope=\"col\"{class}>{}</th>", symbol(head));
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for (k, row) in g.rows.iter().enumerate() {
        out.push_str(match k {
            k if g.failed.contains(&k) => "<tr class=\"failed\">",
            k if g.marked.contains(&k) => "<tr class=\"marked\">",
            _ => "<tr>",
        });
        for (k, cell) in row.iter().enumerate() {
            let class = match g.heads.get(k) {
                Some((_, true)) => " class=\"n\"",
                // A name of bearable length is not broken at its hyphens, a quantity not at its blanks.
                _ if (k == 0 || cell.contains(|c: char| c.is_ascii_digit()))
                    && cell.chars().count() <= NAME =>
                {
                    " class=\"k\""
                }
                _ => "",
            };
            let _ = write!(out, "<td{class}>{}</td>", escaped(cell));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
}

/// Counters of tables and figures.
#[derive(Default)]
struct Numbers {
    tables: usize,
    figures: usize,
}

fn block(b: &Block, numbers: &mut Numbers, out: &mut String) -> Result<(), ReportError> {
    match b {
        Block::Text(text) => {
            let _ = writeln!(out, "<p>{}</p>", escaped(text));
        }
        Block::List(items) => {
            out.push_str("<ul>\n");
            for item in items {
                let _ = writeln!(out, "<li>{}</li>", escaped(item));
            }
            out.push_str("</ul>\n");
        }
        Block::Terms(terms) => {
            out.push_str("<dl>\n");
            for (term, words) in terms {
                let _ = writeln!(out, "<div><dt>{}</dt><dd>{}</dd></div>", symbol(term), escaped(words));
            }
            out.push_str("</dl>\n");
        }
        Block::Grid(g) => grid(g, &mut numbers.tables, out),
        Block::Drawing(drawing) => {
            numbers.figures += 1;
            let caption = escaped(&drawing.caption);
            let drawn = svg(drawing)?;
            let named = format!("<svg role=\"img\" aria-label=\"{caption}\" ");
            let _ = writeln!(
                out,
                "<figure>\n{}<figcaption><b>Figure {}.</b> {caption}</figcaption></figure>",
                drawn.replacen("<svg ", &named, 1),
                numbers.figures
            );
        }
        Block::Listing { name, text } => {
            let _ = writeln!(
                out,
                "<h3 class=\"file\">{}</h3>\n<pre tabindex=\"0\">{}</pre>",
                escaped(name),
                listed(text)
            );
        }
    }
    Ok(())
}

fn anchor(k: usize) -> String {
    format!("part-{}", k + 1)
}

fn head(report: &Report, out: &mut String) {
    let title = escaped(&report.title);
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <meta name=\"generator\" content=\"joulestep\">\n<title>{title}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n"
    );
    let tone = match report.tone {
        Tone::Passes => "passes",
        Tone::Fails => "fails",
        Tone::NotProven => "unproven",
        Tone::Plain => "plain",
    };
    let _ = writeln!(out, "<header>\n<p class=\"kind\">{}</p>\n<h1>{title}</h1>", escaped(&report.kind));
    if !report.question.is_empty() {
        let _ = writeln!(out, "<p class=\"question\">{}</p>", escaped(&report.question));
    }
    let _ = writeln!(out, "</header>\n<main>\n<section class=\"verdict {tone}\" aria-label=\"Verdict\">");
    let sign = match report.tone.sign() {
        "" => String::new(),
        sign => format!("<span class=\"sign\" aria-hidden=\"true\">{sign}</span>"),
    };
    let _ = writeln!(out, "<p class=\"word\">{sign}<span>{}</span></p>\n<div>", escaped(&report.verdict));
    for answer in &report.answers {
        let _ = writeln!(out, "<p>{}</p>", escaped(answer));
    }
    for warning in &report.warnings {
        let (label, text) = labelled(warning);
        let class = if label == "Doubt" { "warning doubt" } else { "warning" };
        let _ = writeln!(out, "<p class=\"{class}\"><b>{label}.</b> {}</p>", escaped(text));
    }
    out.push_str("</div>\n</section>\n");
}

fn contents(sections: &[Section], out: &mut String) {
    out.push_str("<nav aria-label=\"Contents\"><ol>\n");
    for (k, section) in sections.iter().enumerate() {
        let _ = writeln!(out, "<li><a href=\"#{}\">{}</a></li>", anchor(k), escaped(&section.title));
    }
    out.push_str("</ol></nav>\n");
}

/// The report as HTML.
///
/// # Errors
/// A figure that cannot be drawn.
pub fn html(report: &Report) -> Result<String, ReportError> {
    let mut out = String::new();
    head(report, &mut out);
    contents(&report.sections, &mut out);
    let mut numbers = Numbers::default();
    for (k, section) in report.sections.iter().enumerate() {
        let _ = writeln!(
            out,
            "<section id=\"{0}\">\n<h2>{1}. {2}</h2>",
            anchor(k),
            k + 1,
            escaped(&section.title)
        );
        for b in &section.blocks {
            block(b, &mut numbers, &mut out)?;
        }
        out.push_str("</section>\n");
    }
    let version = concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"));
    let _ = writeln!(out, "</main>\n<footer><p>Report by {version}</p></footer>\n</body>\n</html>");
    Ok(out)
}
