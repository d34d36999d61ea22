//! A report as Markdown, with its figures in files beside it.

use std::fmt::Write;

use super::{Block, Grid, Report, labelled};
use crate::diagnostic::printable;

/// Text of which nothing is markup: signs that could be are escaped.
fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in printable(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '#' | '!' | '~' | '$' => {
                out.push('\\');
                out.push(c);
            }
            c => out.push(c),
        }
    }
    out
}

/// The text of a file between fences longer than any run of their sign in it.
fn fenced(text: &str, out: &mut String) {
    let longest = text.split(|c| c != '`').map(str::len).max().unwrap_or(0);
    let fence = "`".repeat(longest.max(2) + 1);
    let _ = writeln!(out, "{fence}text");
    for line in text.lines() {
        let _ = writeln!(out, "{}", printable(&line.replace('\t', "    ")));
    }
    let _ = writeln!(out, "{fence}\n");
}

fn grid(g: &Grid, number: usize, out: &mut String) {
    let _ = writeln!(out, "**Table {number}.** {}\n", plain(&g.caption));
    let line = |cells: Vec<String>| format!("| {} |", cells.join(" | "));
    let _ = writeln!(out, "{}", line(g.heads.iter().map(|h| plain(&h.0)).collect()));
    let _ =
        writeln!(out, "{}", line(g.heads.iter().map(|h| if h.1 { "---:" } else { "---" }.into()).collect()));
    for (k, row) in g.rows.iter().enumerate() {
        let strong = |c: &String| match (g.marked.contains(&k) || g.failed.contains(&k)) && !c.is_empty() {
            true => format!("**{}**", plain(c)),
            false => plain(c),
        };
        let _ = writeln!(out, "{}", line(row.iter().map(strong).collect()));
    }
    out.push('\n');
}

/// The report as Markdown; `place` is where a figure's file is, seen from the document.
pub fn markdown(report: &Report, place: &dyn Fn(&str) -> String) -> String {
    let mut out = format!("# {}\n\n", plain(&report.title));
    if !report.question.is_empty() {
        let _ = writeln!(out, "{}\n", plain(&report.question));
    }
    let sign = report.tone.sign();
    let verdict = format!("{sign} {}", plain(&report.verdict));
    let _ = writeln!(out, "## {}: {}\n", plain(&report.kind), verdict.trim_start());
    for answer in &report.answers {
        let _ = writeln!(out, "{}\n", plain(answer));
    }
    for warning in &report.warnings {
        let (label, text) = labelled(warning);
        let _ = writeln!(out, "> **{label}.** {}\n", plain(text));
    }
    let (mut tables, mut figures) = (0, 0);
    for (k, section) in report.sections.iter().enumerate() {
        let _ = writeln!(out, "## {}. {}\n", k + 1, plain(&section.title));
        for block in &section.blocks {
            match block {
                Block::Text(text) => {
                    let _ = writeln!(out, "{}\n", plain(text));
                }
                Block::List(items) => {
                    for item in items {
                        let _ = writeln!(out, "- {}", plain(item));
                    }
                    out.push('\n');
                }
                Block::Terms(terms) => {
                    for (term, words) in terms {
                        let _ = writeln!(out, "- **{}**: {}", plain(term), plain(words));
                    }
                    out.push('\n');
                }
                Block::Grid(g) => {
                    tables += 1;
                    grid(g, tables, &mut out);
                }
                Block::Drawing(d) => {
                    figures += 1;
                    let caption = plain(&d.caption);
                    // Blanks and brackets end an address.
                    let at = place(&d.name).replace(' ', "%20").replace('(', "%28").replace(')', "%29");
                    let _ = writeln!(out, "![{caption}]({at})\n\n**Figure {figures}.** {caption}\n");
                }
                Block::Listing { name, text } => {
                    let _ = writeln!(out, "### {}\n", plain(name));
                    fenced(text, &mut out);
                }
            }
        }
    }
    out.push_str("---\n\n");
    let _ = writeln!(out, "Report by {} {}", env!("CARGO_PKG_NAME"), env!("CARGO_PKG_VERSION"));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_no_markup() {
        assert_eq!(plain("<b>|*a_b*[x](y)`"), "&lt;b&gt;\\|\\*a\\_b\\*\\[x\\](y)\\`");
        let mut out = String::new();
        fenced("a\n````\nb", &mut out);
        assert_eq!(out, "`````text\na\n````\nb\n`````\n\n");
    }
}
