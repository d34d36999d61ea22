//! Missions.

use serde_json::Value;

use super::{EXACT, STEPPED, around, ideal_buck, json, largest, printed, tally};
use crate::common::folder::Folder;

/// 20 ms: a step of the load, then a falling supply.
fn mission(steps: &str, more: &str) -> Folder {
    ideal_buck(
        steps,
        &format!(
            "[mission]\nlength = \"20 ms\"\nstart = \"rest\"\n\
             [[mission.segment]]\nparameter = \"load-resistance\"\npoints = [[\"0 s\", \"20 ohm\"], [\"6 ms\", \"8 ohm\"]]\n\
             [[mission.segment]]\nparameter = \"supply-voltage\"\nbetween = \"ramp\"\n\
             points = [[\"0 s\", \"400 V\"], [\"14 ms\", \"400 V\"], [\"20 ms\", \"340 V\"]]\n{more}"
        ),
    )
}

fn limits(celsius: f64, amperes: f64) -> String {
    format!(
        "[[limit]]\nname = \"hot\"\nsignal = \"temperature(upper-switch)\"\nmax = \"{celsius:.12} degC\"\n\
         [[limit]]\nname = \"choke\"\nsignal = \"choke.current\"\nmax = \"{amperes:.12} A\"\n"
    )
}

#[test]
fn a_mission_knows_how_wrong_its_numbers_are() {
    let all = limits(500.0, 500.0);
    let (_, mut report) = json(&mission(STEPPED, &all), "mission", &[]);
    // The ripple is that of the hottest cycle that was solved, which leaps choose.
    let tables = report["tables"].as_object_mut().expect("tables");
    ["ripple", "harmonics"].into_iter().for_each(|table| drop(tables.remove(table)));
    // Solved exactly, with leaps that err by little.
    let (_, exact) = json(&mission(EXACT, &all), "mission", &["--tolerance", "1 mK", "--closing", "1e-8"]);
    let (good, low, high, least) = tally(&report, &exact, 1e-6);
    assert!(least >= 0.25 && low * 20 <= good + low + high, "{low} below half, the least {least}");
    // All of them are cautious here: the estimate of leaps leaves out the correction that is applied. It keeps the
    // tolerance.
    let (hot, error) = largest(&report, "hot");
    assert!(error <= 0.1, "{hot} ± {error} K; {good} good, {high} cautious");
    let count = |what: &str| report["computation"][what].as_f64().unwrap();
    let cost = |what: &str| count(&format!("{what}_of_estimate")) / count(what);
    println!("steps {:.2}, iterations {:.2}", cost("steps"), cost("iterations"));
    assert!(cost("steps") <= 0.8 && cost("iterations") <= 0.8);
}

#[test]
fn a_mission_is_judged_by_the_rule() {
    let (_, report) = json(&mission(STEPPED, &limits(500.0, 500.0)), "mission", &[]);
    let (hot, choke) = (largest(&report, "hot"), largest(&report, "choke"));
    for (max, code, verdict) in around(hot) {
        let (done, report) = json(&mission(STEPPED, &limits(max, 500.0)), "mission", &[]);
        assert_eq!((done, &report["verdict"]), (code, &Value::from(verdict)), "{max}: {}", report["answers"]);
    }
    // The current that the step of the load drives through the choke counts.
    let case = mission(STEPPED, &limits(500.0, choke.0 - 2.0 * choke.1));
    let out = case.path("m.h5");
    let (code, text) = printed(&case, "mission", &["--out", &out, "--quiet"]);
    assert!(code == 1 && text.contains("verdict: fails"), "{text}");
    let file =
        joulestep::output::result::ResultFile::open(std::path::Path::new(&out)).expect("a result file");
    let summary = file.summary().unwrap().expect("a summary");
    assert_eq!(summary.verdict(), joulestep::judge::Verdict::Fails);
    let scalar = summary.answers.iter().find(|s| s.name == "upper-switch.largest").expect("the largest");
    assert!(scalar.error.plus_minus().is_some_and(|e| e > 0.0), "{:?}", scalar.error);
}
