//! Two measured impedances of one part on two interfaces: the resistance from junction to case by where they part.

use joulestep_engine::thermal::separation::{Instant, Parting, Separation, separation, structures};
use joulestep_engine::units::people;

use super::Asked;
use super::points::typed;
use crate::judge::Uncertainty;
use crate::output::answer::{Answer, Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Chart, Curve, Figure, Marker, Panel};
use crate::output::table::Rows;
use crate::study::{Question, StudyError};

const DEFINITIONS: [(&str, &str); 5] = [
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
        "R_th junction-case, by structure functions",
        "mean of the thermal resistances from the junction at which the cumulative structure functions of the two curves, at \
         one heat capacitance, differ, for good until their largest difference, by 3 % of what the ends of the curves differ by \
         (JESD51-14, comparison of structure functions); ±: the readings at half that share and at twice it, and after half as \
         many iterations. Noise of more than about 0.01 % of the ends can part them earlier: then the two ways differ",
    ),
    (
        "structure function",
        "heat capacitance against thermal resistance from the junction outwards, of the spectrum of time constants that Bayesian \
         deconvolution finds in dZ_th/d(ln t): 20 time constants per decade, 1000 iterations",
    ),
    (
        "± by derivatives",
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
    let parting = structures(&a.points, &b.points);
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
    let words = "R_th junction-case, by structure functions";
    let (second, note) = match &parting {
        Ok(p) => {
            let error = of_structures(p);
            let remark = format!("they part at {}", people(p.capacitance, "J/K"));
            let difference = p.resistance - found.resistance;
            let share = format!(
                "{} % of the reading by derivatives",
                people(100.0 * difference / found.resistance, "1")
            );
            let answers = vec![
                answer("junction_case_by_structure", words, p.resistance, "K/W").error(error).remark(remark),
                answer("difference", "by structure functions less by derivatives", difference, "K/W")
                    .remark(share),
            ];
            (answers, apart_too_far(&found, p))
        }
        Err(why) => {
            let none = answer("junction_case_by_structure", words, f64::NAN, "K/W");
            (vec![none], Some(format!("There is no resistance by structure functions: {why}.")))
        }
    };
    let mut answers = vec![
        answer("junction_case", "R_th junction-case", found.resistance, "K/W").error(error).remark(remark),
        answer("separation_time", "where the curves part", found.time, "s"),
        answer("end", "Z_th at the end", ends[0], "K/W"),
        answer("other_end", "Z_th at the end, other interface", ends[1], "K/W"),
    ];
    answers.splice(1..1, second);
    let functions = parting.iter().flat_map(|p| {
        let of = |k: usize, name: &'static str| inner(&p.functions[k]).map(move |point| (name, point));
        of(0, "worse").chain(of(1, "better"))
    });
    let functions = Rows::of(functions)
        .text("interface", |(name, _)| *name)
        .number("resistance", "ΣR_th", "K/W", |(_, p)| p.0)
        .number("capacitance", "ΣC_th", "J/K", |(_, p)| p.1);
    Ok(Study {
        title: format!("What is the thermal resistance from junction to case, by {} and {}?", names[0], names[1]),
        answers,
        notes: note.into_iter().collect(),
        conditions: vec![
            "Both curves are of the same part under the same power, down to their steady ends; the worse interface counts."
                .into(),
        ],
        definitions: DEFINITIONS.map(|(a, b)| (a.to_string(), b.to_string())).to_vec(),
        tables: vec![
            StudyTable::new("separation", "Both curves and their difference", 1, course.table()),
            StudyTable::new("structure", "Structure functions of both curves", 2, functions.table()),
        ],
        figures: vec![StudyFigure::new(
            "Both curves, their structure functions, and where they part.",
            picture(&found, parting.as_ref().ok()),
        )],
        ..Study::default()
    })
}

/// A structure function but for its end: the last of the resistance lies before a temperature held, heat capacitance without
/// end.
fn inner(function: &[(f64, f64)]) -> impl Iterator<Item = (f64, f64)> + '_ {
    let whole = function.last().map_or(0.0, |p| p.0);
    function.iter().copied().filter(move |p| p.0 < 0.995 * whole)
}

/// What is known of the error of the reading by structure functions.
fn of_structures(p: &Parting) -> Uncertainty {
    let apart = p.between.map(|r| (r - p.resistance).abs());
    match apart[0].max(apart[1]) + (p.blurred - p.resistance).abs() {
        e if e.is_finite() && apart.iter().all(|x| x.is_finite()) => Uncertainty::within(e),
        _ => Uncertainty::not_estimated("the structure functions do not cross half the share and twice it"),
    }
}

/// Both ways differ by more than either may be wrong.
fn apart_too_far(found: &Separation, p: &Parting) -> Option<String> {
    let reach = |value: f64, all: &[f64]| all.iter().map(|x| (x - value).abs()).fold(0.0, f64::max);
    let all = reach(found.resistance, &found.between)
        + reach(p.resistance, &[p.between[0], p.between[1], p.blurred]);
    let difference = (p.resistance - found.resistance).abs();
    (difference > all).then(|| {
        "The two ways differ by more than their errors. Where heat capacity lies along the whole resistance, as in thick \
         copper, the derivatives part too early; the structure functions do not."
            .to_string()
    })
}

fn picture(found: &Separation, parting: Option<&Parting>) -> Figure {
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
    let structure = parting.map(|p| {
        let [worse, better] = p.functions.each_ref().map(|f| inner(f).collect());
        Panel::Chart(Chart {
            title: "Cumulative structure functions, junction outwards".into(),
            x: Axis::linear("thermal resistance", "K/W"),
            y: Axis::log("heat capacitance", "J/K"),
            curves: vec![
                Curve::new("worse interface", worse).marked(Marker::None),
                Curve::new("better interface", better).marked(Marker::None),
                Curve::scatter("they part", vec![(p.resistance, p.capacitance)]),
            ],
            ..Chart::default()
        })
    });
    let panels = [Panel::Chart(curves), Panel::Chart(criterion)].into_iter().chain(structure);
    Figure::new("Two interfaces", panels.collect())
}
