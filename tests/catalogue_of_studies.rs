//! Every study of the catalogue tells one answer, whatever the form: JSON, text, CSV, file, report, columns of a batch.

mod plans;

use std::collections::BTreeSet;

use joulestep::input::keys::shape::{Form, Key};
use joulestep::judge::Ruling;
use joulestep::output::answer::{Answer, Study};
use joulestep::output::table::{Cell, OF_ROW, Table};
use joulestep::study::{CATALOGUE, Entry};
use joulestep_engine::units::parse_unit;
use joulestep_models::model::Range;
use serde_json::Value;

use crate::common::program::{Done, joulestep};
use crate::reports::page;

/// The command with further options; it comes to a verdict.
fn requested(entry: &'static Entry, more: &[&str]) -> Done {
    let words: Vec<&str> = entry.name.split(' ').collect();
    let done = joulestep(&[&words, entry.trial.args, more].concat());
    assert!([0, 1, 5].contains(&done.code), "{}: {}{}", entry.name, done.out, done.err);
    done
}

fn in_range(range: Range, x: f64) -> bool {
    match range {
        Range::Any => x.is_finite(),
        Range::Positive => x > 0.0,
        Range::NotNegative => x >= 0.0,
        Range::Between(low, high) => low < x && x < high,
    }
}

/// The sections below one, with their names.
fn keys_below(keys: &'static [Key], path: &str, all: &mut Vec<(String, &'static Key)>) {
    for key in keys {
        let path = format!("{path}.{}", key.name);
        if let Form::Table(section) | Form::Tables(section) | Form::Named(section) = key.form {
            keys_below(section.keys, &path, all);
        }
        all.push((path, key));
    }
}

#[test]
fn every_parameter_has_help_and_a_unit() {
    for e in CATALOGUE {
        let mut all = Vec::new();
        keys_below(e.section.keys, e.section.name, &mut all);
        assert!(!all.is_empty() && !e.section.help.is_empty() && !e.help.is_empty(), "{}", e.name);
        for (path, key) in all {
            assert!(!key.help.trim().is_empty(), "{path} has no help");
            match key.form {
                Form::Quantity(unit, range) | Form::Quantities(unit, range) => {
                    assert!(unit == "1" || parse_unit(unit).is_ok(), "{path}: no unit `{unit}`");
                    let fits = key.default.is_none_or(|x| in_range(range, x));
                    assert!(fits, "{path}: its default {:?} is not {range:?}", key.default);
                }
                Form::Whole(least, most) => {
                    assert!(least < most, "{path}");
                    let fits = key.default.is_none_or(|x| (least as f64..=most as f64).contains(&x));
                    assert!(fits, "{path}: its default {:?}", key.default);
                }
                Form::Word(words) => assert!(!words.is_empty(), "{path}"),
                Form::Any => panic!("{path} takes anything"),
                _ => {}
            }
        }
        // Files are named under keys that there are.
        for input in e.inputs {
            assert!(
                e.section.keys.iter().any(|k| k.name == input.key.name),
                "{}: {}",
                e.name,
                input.key.name
            );
        }
        assert!(
            !e.examples.is_empty() && e.examples.lines().all(|l| l.starts_with("joulestep ")),
            "{}",
            e.name
        );
    }
}

#[test]
fn every_study_has_its_name_and_its_help() {
    let distinct =
        |of: fn(&Entry) -> &'static str| CATALOGUE.iter().map(|e| of(e)).collect::<BTreeSet<_>>().len();
    assert_eq!(distinct(|e| e.name), CATALOGUE.len(), "two studies of one name");
    assert_eq!(distinct(|e| e.section.name), CATALOGUE.len(), "two tables of one name");
    for e in CATALOGUE {
        let words: Vec<&str> = e.name.split(' ').collect();
        let done = joulestep(&[&words[..], &["--help"]].concat());
        assert_eq!(done.code, 0, "{}: {}", e.name, done.err);
        assert!(done.out.contains(e.section.help), "{}: {}", e.name, done.out);
        let positional = |key: &str| e.inputs.iter().any(|i| i.key.name == key && i.positional);
        let in_plans_only = |k: &Key| {
            matches!(k.form, Form::Table(_) | Form::Tables(_) | Form::Parameters(..) | Form::Pairs(..))
        };
        for key in e.section.keys.iter().filter(|k| !positional(k.name) && !in_plans_only(k)) {
            assert!(done.out.contains(&format!("--{}", key.name)), "{}: --{}", e.name, key.name);
        }
    }
}

/// Fields of CSV by RFC 4180, by a reader that is not ours.
fn csv(text: &str) -> (Vec<String>, Vec<Vec<String>>) {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let owned = |r: &csv::StringRecord| r.iter().map(str::to_string).collect::<Vec<_>>();
    let heads = owned(reader.headers().expect("heads"));
    let rows = reader.records().map(|r| owned(&r.expect("a row"))).collect();
    (heads, rows)
}

/// A number as CSV has it; `None` where the field is empty.
fn number(field: &str) -> Option<f64> {
    (!field.is_empty()).then(|| field.parse().unwrap_or_else(|_| panic!("{field} is no number")))
}

/// Both absent, or the same bits; JSON has no number that is not finite.
fn same(json: &Value, other: Option<f64>, what: &str) {
    let finite = other.filter(|x| x.is_finite());
    assert_eq!(json.as_f64().map(f64::to_bits), finite.map(f64::to_bits), "{what}: {json} and {other:?}");
}

fn without_blanks(text: &str) -> String {
    text.split_whitespace().collect()
}

/// Whether the words stand in the line in this order.
fn in_order(line: &str, words: &[String]) -> bool {
    let mut rest = line;
    words.iter().filter(|w| !w.is_empty()).all(|word| {
        let found = rest.find(word.as_str());
        rest = found.map_or("", |at| &rest[at + word.len()..]);
        found.is_some()
    })
}

fn answers_agree(entry: &'static Entry, json: &Value, study: &Study, (text, report): (&Done, &str)) {
    let name = entry.name;
    let given = json["answers"].as_array().expect("answers");
    assert!(!given.is_empty() && given.len() == study.answers.len(), "{name}");
    let names: BTreeSet<&str> = study.answers.iter().map(|a| a.name.as_str()).collect();
    assert_eq!(names.len(), given.len(), "{name}: two answers of one name");
    let by_csv = requested(entry, &["--csv=answers"]);
    let (heads, rows) = csv(&by_csv.out);
    assert_eq!(rows.len(), given.len(), "{name}");
    let people = study.rows();
    for (k, (a, json)) in study.answers.iter().zip(given).enumerate() {
        let what = format!("{name}: {}", a.name);
        // The file.
        for (key, text) in [
            ("name", a.name.as_str()),
            ("quantity", &a.quantity),
            ("unit", &a.unit),
            ("error_kind", a.error.word()),
            ("limit", a.set_by()),
            ("ruling", a.ruling.word()),
            ("remark", &a.remark),
        ] {
            assert_eq!(json[key], text, "{what}: {key}");
            let at = heads.iter().position(|h| h == key).unwrap_or_else(|| panic!("no column {key}"));
            assert_eq!(rows[k][at], text, "{what}: {key}");
        }
        assert!(a.unit == "1" || !a.unit.is_empty(), "{what} has no unit");
        for (key, x) in [
            ("value", Some(a.value)),
            ("error", a.error.plus_minus()),
            ("minimum", Some(a.bounds().lower)),
            ("maximum", Some(a.bounds().upper)),
        ] {
            same(&json[key], x, &format!("{what}: {key}"));
            let at = heads.iter().position(|h| h == key).unwrap_or_else(|| panic!("no column {key}"));
            same(&json[key], number(&rows[k][at]), &format!("{what}: {key} in CSV"));
        }
        // For people: what they read begins with the value that programs read.
        let digits = if a.bounds().is_none() { 3 } else { 4 };
        let shown = match json["value"].as_f64() {
            Some(x) => {
                joulestep::output::table::shown_digits(x, json["unit"].as_str().expect("a unit"), digits)
            }
            None => a.words(),
        };
        assert_eq!(people[k][1], shown, "{what}");
        let line =
            text.out.lines().find(|l| l.trim_start().starts_with(&people[k][0]) && in_order(l, &people[k]));
        assert!(line.is_some(), "{what}: {:?} is not in\n{}", people[k], text.out);
        let [quantity, value, error, limit, ruling, remark] = people[k].as_slice() else { panic!("{what}") };
        let error = &error.replace("(not converging)", "*");
        let margin = &a.margin_words();
        let row = without_blanks(
            &[quantity, value, error, limit, margin, ruling, remark].map(String::as_str).concat(),
        );
        assert!(report.contains(&row), "{what}: {row} is not in the report\n{report}");
    }
    // One verdict and exit code.
    let verdict = study.verdict.map_or("not judged", |v| v.word());
    assert_eq!(json["verdict"], verdict, "{name}");
    assert!(study.verdict.is_none() || text.out.contains(&format!("verdict: {verdict}")), "{name}");
    assert!(study.verdict.is_none() || report.contains(&without_blanks(verdict)), "{name}");
    assert_eq!(text.code, by_csv.code, "{name}");
    // What they rest on.
    for (key, sentences) in
        [("conditions", &study.conditions), ("notes", &study.notes), ("doubts", &study.doubts)]
    {
        assert_eq!(json[key], serde_json::json!(sentences), "{name}: {key}");
        let page = without_blanks(&text.out);
        assert!(sentences.iter().all(|s| page.contains(&without_blanks(s))), "{name}: {key}");
        assert!(sentences.iter().all(|s| report.contains(&without_blanks(s))), "{name}: {key}");
    }
}

/// Text and page of the answer, and its main table by the program; the others by what prints them.
fn tables_agree(entry: &'static Entry, json: &Value, study: &Study, (text, report): (&str, &str)) {
    let name = entry.name;
    let given = json["tables"].as_object().expect("tables");
    // A recorded file has some tables as waveforms.
    assert!(study.tables.iter().all(|t| given.contains_key(&t.name)), "{name}");
    let main = requested(entry, &["--csv"]).out;
    for (k, table) in study.tables.iter().enumerate() {
        let what = format!("{name}: {}", table.name);
        let json = &given[&table.name];
        assert_eq!(json["title"], table.title, "{what}");
        let own = joulestep::output::print::csv(study, Some(&table.name)).expect("there is such a table");
        let by_csv = csv(if k == 0 { &main } else { &own });
        let data: Table = table.data.plain();
        let rows = json["rows"].as_array().expect("rows");
        assert!(rows.len() == data.rows.len() && rows.len() == by_csv.1.len(), "{what}");
        // A text column without rows is not kept.
        if data.rows.is_empty() {
            continue;
        }
        assert_eq!(by_csv.0.len(), data.heads.len(), "{what}");
        for (k, head) in data.heads.iter().enumerate() {
            let unit = if matches!(head.unit.as_str(), "" | "1" | OF_ROW) {
                ""
            } else {
                &format!(" ({})", head.unit)
            };
            assert_eq!(by_csv.0[k], format!("{}{unit}", head.name), "{what}");
            if !head.unit.is_empty() {
                assert_eq!(json["units"][&head.name], head.unit, "{what}: {}", head.name);
            }
            for ((row, json), csv) in data.rows.iter().zip(rows).zip(&by_csv.1) {
                let what = format!("{what}: {}", head.name);
                match &row[k] {
                    Cell::Text(text) => assert!(json[&head.name] == *text && csv[k] == *text, "{what}"),
                    Cell::Number(x) => {
                        same(&json[&head.name], Some(*x), &what);
                        same(&json[&head.name], number(&csv[k]), &what);
                    }
                    Cell::Error(_) => panic!("{what}: an error in a plain table"),
                    Cell::None => assert!(json[&head.name].is_null() && csv[k].is_empty(), "{what}"),
                }
            }
        }
        assert!(text.contains(&table.title), "{what}: {text}");
        // A subscript is one in the page.
        let title = without_blanks(&table.title).replace('_', "");
        assert!(report.replace('_', "").contains(&title), "{what}");
    }
}

/// What every answer has, and what its report begins with.
fn file_is_whole(entry: &'static Entry, study: &Study, page: &str) {
    let name = entry.name;
    assert!(study.title.ends_with('?') || name == "run", "{}", study.title);
    assert!(!study.definitions.is_empty() && !study.tables.is_empty() && !study.figures.is_empty(), "{name}");
    assert!(study.command.starts_with("joulestep ") && study.command.contains("--out"), "{}", study.command);
    assert!(!study.inputs.files.is_empty(), "{name}");
    // What is judged is reported first.
    let beyond = study.answers.iter().max_by_key(|a| a.ruling).filter(|a| a.ruling >= Ruling::NotProven);
    let kept = study.answers.iter().filter(|a| a.ruling == Ruling::Passes);
    let share = |a: &&Answer| a.margin_share().unwrap_or(f64::INFINITY);
    let nearest = kept.min_by(|a, b| share(a).total_cmp(&share(b)).then(a.margin().total_cmp(&b.margin())));
    let first = beyond.or(nearest).unwrap_or(&study.answers[0]).sentence();
    assert!(page.find(&first).unwrap() < page.find("1. Result").unwrap(), "{name}: {first}");
}

#[test]
fn every_form_of_an_answer_tells_the_same() {
    for entry in CATALOGUE {
        let folder = tempfile::tempdir().expect("a folder");
        let out = folder.path().join("study.h5");
        let done = requested(entry, &["--json", "--out", out.to_str().expect("UTF-8")]);
        let json: Value = serde_json::from_str(&done.out).expect("JSON");
        let study = Study::read(&out).expect("a study");
        let html = folder.path().join("study.html");
        let made = joulestep(&["report", out.to_str().unwrap(), "-o", html.to_str().unwrap()]);
        assert_eq!(made.code, 0, "{}", made.err);
        assert_eq!(
            (&json["title"], &json["study"]),
            (&study.title.clone().into(), &study.kind.clone().into())
        );
        assert_eq!(study.kind, entry.section.name);
        let text = requested(entry, &["--quiet"]);
        assert_eq!(done.code, text.code, "{}", entry.name);
        let page = page::parsed(&html).text;
        file_is_whole(entry, &study, &page);
        let report = without_blanks(&page);
        answers_agree(entry, &json, &study, (&text, &report));
        tables_agree(entry, &json, &study, (&text.out, &report));
        // The same question leaves the same answer.
        requested(entry, &["--out", out.to_str().expect("UTF-8"), "--force", "--quiet"]);
        let without = |s: &Study| format!("{:?}", Study { command: String::new(), ..s.clone() });
        assert_eq!(without(&study), without(&Study::read(&out).expect("a study")), "{}", entry.name);
    }
}
