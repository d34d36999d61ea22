//! Two measured impedances of one part on two interfaces: the resistance from junction to case by where they part.

use joulestep_engine::thermal::separation::{Instant, Separation, separation};
use joulestep_engine::units::people;

use super::Asked;
use super::points::typed;
use crate::judge::Uncertainty;
use crate::output::answer::{Answer, Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Chart, Curve, Figure, Marker, Panel};
use crate::output::table::Rows;
use crate::study::{Question, StudyError};

const DEFINITIONS: [(&str, &str); 3] = [
    (
        "R_th junction-case",
        "impedance on the worse interface where δ rises, for good until its maximum, through 0.0045 W/K·Z_th + 0.003 \
         (JESD51-14, transient dual interface measurement, evaluation by derivatives)",
    ),
    (
        "δ",
        "difference of dZ_th/d(ln t) of the two curves over the difference of their ends; parabolas through half a unit of \
         ln t each way",
    ),
    (
        "±",
        "the readings at half the criterion and at twice it. It says nothing of the criterion itself: where heat capacity \
         lies along the whole resistance, as in thick copper, the curves part before the heat is through, and the reading is \
         below the resistance to a case held at one temperature: for an even plate by about a half",
    ),
];

pub(super) fn study(question: &Question) -> Result<Study, StudyError> {
    let keys = [Asked::points, Asked::other_interface];
    let [a, b] = [typed(question, keys[0])?, typed(question, keys[1])?];
    for (key, curve) in keys.into_iter().zip([&a, &b]) {
        let positive = |p: &(f64, f64)| p.0 > 0.0 && p.1 > 0.0 && p.0.is_finite() && p.1.is_finite();
        if let Some(k) = curve.points.iter().position(|p| !positive(p)) {
            return Err(curve.wrong(question, key, k + 1, "a time or an impedance that is not positive"));
        }
        if let Some(k) = curve.points.windows(2).position(|w| w[1].0 <= w[0].0) {
            return Err(curve.wrong(question, key, k + 2, "a time that is not later than the one before"));
        }
    }
    let found = separation(&a.points, &b.points).map_err(|e| StudyError::Refused(e.to_string()))?;
    let apart = found.between.map(|r| (r - found.resistance).abs());
    let error = match apart[0].max(apart[1]) {
        e if apart.iter().all(|x| x.is_finite()) => Uncertainty::within(e),
        _ => Uncertainty::not_estimated("δ does not cross half the criterion and twice it"),
    };
    let names = keys.map(|key| question.files(key).join(""));
    let ends = [&a, &b].map(|c| c.points.last().map_or(f64::NAN, |p| p.1));
    let course = Rows::of(&found.course)
        .number("time", "time", "s", |i| i.time)
        .number("impedance", "Z_th", "K/W", |i| i.impedances[0])
        .number("other", "Z_th, other interface", "K/W", |i| i.impedances[1])
        .number("difference", "δ", "1", |i| i.difference)
        .number("criterion", "criterion", "1", |i| i.criterion());
    let remark = format!("the curves part at {}", people(found.time, "s"));
    let answer = |name: &str, words: &str, value: f64, unit: &str| Answer::new(name, words, value, unit);
    Ok(Study {
        title: format!("What is the thermal resistance from junction to case, by {} and {}?", names[0], names[1]),
        answers: vec![
            answer("junction_case", "R_th junction-case", found.resistance, "K/W").error(error).remark(remark),
            answer("separation_time", "where the curves part", found.time, "s"),
            answer("end", "Z_th at the end", ends[0], "K/W"),
            answer("other_end", "Z_th at the end, other interface", ends[1], "K/W"),
        ],
        conditions: vec![
            "Both curves are of the same part under the same power, down to their steady ends; the worse interface counts."
                .into(),
        ],
        definitions: DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        tables: vec![StudyTable::new("separation", "Both curves and their difference", 1, course.table())],
        figures: vec![StudyFigure::new("Both curves, and where they part.", picture(&found))],
        ..Study::default()
    })
}

fn picture(found: &Separation) -> Figure {
    let curve = |name: &str, of: &dyn Fn(&Instant) -> (f64, f64)| {
        Curve::new(name, found.course.iter().map(of).collect()).marked(Marker::None)
    };
    let curves = Chart {
        title: "Impedances".into(),
        x: Axis::log("time", "s"),
        y: Axis::log("thermal impedance", "K/W"),
        curves: vec![
            curve("worse interface", &|i| (i.time, i.impedances[0])),
            curve("better interface", &|i| (i.time, i.impedances[1])),
            Curve::scatter("they part", vec![(found.time, found.resistance)]),
        ],
        ..Chart::default()
    };
    let criterion = Chart {
        title: "Separation".into(),
        x: Axis::linear("thermal impedance", "K/W"),
        y: Axis::linear("δ", "1"),
        curves: vec![
            curve("δ", &|i| (i.impedances[0], i.difference)),
            curve("criterion", &|i| (i.impedances[0], i.criterion())),
        ],
        ..Chart::default()
    };
    Figure::new("Two interfaces", vec![Panel::Chart(curves), Panel::Chart(criterion)])
}
