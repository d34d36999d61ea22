//! The shipped Kubernetes job: held against the published schema of batch/v1, and its script run for every index.
//!
//! `job-batch-v1.schema.json` is what Job refers to in the OpenAPI description that Kubernetes 1.37 publishes (Apache
//! License 2.0, without its descriptions, unknown keys refused).

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::{Map, Value, json};
use yaml_rust2::{Yaml, YamlLoader};

use super::program::{Folder, TOLERANCES};
use crate::common::program::joulestep;
use crate::common::schema::validator_for;

fn value(yaml: &Yaml) -> Value {
    match yaml {
        Yaml::Real(text) => json!(text.parse::<f64>().expect("a number")),
        Yaml::Integer(x) => json!(x),
        Yaml::String(text) => json!(text),
        Yaml::Boolean(x) => json!(x),
        Yaml::Array(items) => items.iter().map(value).collect(),
        Yaml::Hash(map) => {
            let entry = |(k, v): (&Yaml, &Yaml)| (k.as_str().expect("a name").to_string(), value(v));
            Value::Object(map.iter().map(entry).collect::<Map<_, _>>())
        }
        Yaml::Null => Value::Null,
        other => panic!("{other:?} has no place in a job"),
    }
}

fn job() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/cluster/batch-job.yaml");
    let all = YamlLoader::load_from_str(&fs::read_to_string(path).unwrap()).expect("YAML");
    assert_eq!(all.len(), 1, "one document");
    value(&all[0])
}

#[test]
fn the_kubernetes_job_is_one_by_the_published_schema() {
    let schema = serde_json::from_str(include_str!("job-batch-v1.schema.json")).unwrap();
    let schema = validator_for(&schema).unwrap();
    let job = job();
    schema.validate(&job).unwrap_or_else(|why| panic!("{why}"));
    // The schema does refuse: a misspelt key, a word where a number belongs.
    for (place, wrong) in [("/spec/completion", json!(8)), ("/spec/parallelism", json!("eight"))] {
        let mut broken = job.clone();
        let (table, key) = place.rsplit_once('/').unwrap();
        broken.pointer_mut(table).unwrap()[key] = wrong;
        assert!(!schema.is_valid(&broken), "{place}");
    }
    // The controller hands out indices 0 to completions − 1, of which the script makes shards 1 to SHARDS.
    let shards = job.pointer("/spec/template/spec/containers/0/env/0").unwrap();
    let completions = job["spec"]["completions"].as_u64().unwrap();
    assert_eq!((&shards["name"], &shards["value"]), (&json!("SHARDS"), &json!(completions.to_string())));
    assert_eq!(job["spec"]["completionMode"], "Indexed");
}

/// As the nodes run it, but for the place of the volume and of the program: every index, one of them twice as after an
/// eviction; then the merge of the head comment.
#[test]
fn the_script_of_the_kubernetes_job_gives_the_table_of_a_single_machine() {
    let folder = Folder::new(TOLERANCES);
    assert!(folder.batch("alone.h5", &["--jobs", "2"]).code <= 1);
    let job = job();
    let container = job.pointer("/spec/template/spec/containers/0").unwrap();
    let [shell, flag] = [0, 1].map(|k| container["command"][k].as_str().unwrap());
    let data = folder.text("");
    let script =
        container["args"][0].as_str().unwrap().replace("/data/", &format!("{}/", data.trim_end_matches('/')));
    let program = Path::new(env!("CARGO_BIN_EXE_joulestep")).parent().unwrap();
    let path = format!("{}:{}", program.display(), std::env::var("PATH").unwrap_or_default());
    let completions = job["spec"]["completions"].as_u64().unwrap();
    for index in (0..completions).chain([0]) {
        let done = Command::new(shell)
            .args([flag, &script])
            .env("PATH", &path)
            .env("JOB_COMPLETION_INDEX", index.to_string())
            .env("SHARDS", container["env"][0]["value"].as_str().unwrap())
            .output()
            .unwrap();
        assert!(done.status.success(), "{index}: {}", String::from_utf8_lossy(&done.stderr));
    }
    let tables: Vec<String> = (1..=completions).map(|k| folder.text(&format!("table-{k}.h5"))).collect();
    let (plan, out) = (folder.text("plan.toml"), folder.text("table.h5"));
    let mut args = vec!["batch", "merge", &plan];
    args.extend(tables.iter().map(String::as_str));
    args.extend(["--out", &out]);
    let merged = joulestep(&args);
    assert!(merged.code <= 1, "{}", merged.err);
    assert!(folder.bytes("alone.h5") == folder.bytes("table.h5"), "the merged table differs");
}
