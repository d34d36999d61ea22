//! The plot layer: what it draws is where it belongs, and names stay names.

use joulestep::output::plot::{
    Axis, Bars, Chart, Curve, Figure, Line, Mark, Marker, Panel, PlotError, Series, Span, svg,
};

/// The values of an attribute in all elements of a kind.
fn attribute(picture: &str, element: &str, name: &str) -> Vec<String> {
    let lines = picture.lines().filter(|l| l.starts_with(&format!("<{element} ")));
    let key = format!(" {name}=\"");
    lines.filter_map(|l| Some(l.split(&key).nth(1)?.split('"').next()?.to_string())).collect()
}

fn places(points: &str) -> Vec<(f64, f64)> {
    let pair = |p: &str| {
        let (x, y) = p.split_once(',').unwrap();
        (x.parse().unwrap(), y.parse().unwrap())
    };
    points.split_whitespace().map(pair).collect()
}

/// Texts of the picture, entities and all.
fn texts(picture: &str) -> Vec<&str> {
    let mut lines = picture.lines();
    let mut out = Vec::new();
    while let Some(line) = lines.next() {
        if line.starts_with("<text ") {
            out.extend(lines.next());
        }
    }
    out
}

#[test]
fn hostile_names_are_shown_as_text() {
    let evil = "</text><script>alert(\"x\")</script>&\u{0}\u{1b}[31m";
    let chart = Chart {
        title: evil.into(),
        x: Axis::linear(evil, "s"),
        y: Axis::linear(evil, evil),
        curves: vec![Curve::new(evil, vec![(0.0, 1.0), (1.0, 2.0)])],
        marks: vec![Mark { at: 0.5, label: evil.into() }],
        spans: vec![Span { from: 0.2, to: 0.4, label: evil.into() }],
        height: 0.0,
    };
    let bars = Bars {
        title: evil.into(),
        y: Axis::linear(evil, "1"),
        groups: vec![evil.into()],
        series: vec![Series { name: evil.into(), values: vec![Some(1.0)] }],
        ..Bars::default()
    };
    let figure = Figure::new(evil, vec![Panel::Chart(chart), Panel::Bars(bars)]).noted(vec![evil.into()]);
    let picture = svg(&figure).unwrap();
    assert!(!picture.contains("<script"));
    assert!(picture.chars().all(|c| !c.is_control() || c == '\n'), "control characters are no XML");
    for tag in picture.split('<').skip(1) {
        let name: String = tag.chars().take_while(|c| c.is_alphanumeric() || *c == '/').collect();
        let known = ["svg", "/svg", "line", "polyline", "polygon", "rect", "circle", "text", "/text"];
        assert!(known.contains(&name.trim_end_matches('/')), "`{name}`");
    }
    for part in picture.split('&').skip(1) {
        let entity = part.split(';').next().unwrap();
        assert!(["lt", "gt", "amp", "quot", "apos"].contains(&entity), "`{entity}`");
    }
}

/// A curve y = x² on decades is a straight line of twice the decades' slope; decades are equally far apart.
#[test]
fn decades_are_where_they_belong() {
    let chart = Chart {
        x: Axis::log("f", "Hz"),
        y: Axis::log("gain", "1"),
        curves: vec![Curve::new(
            "c",
            (0..=40).map(|k| 10f64.powf(0.1 * f64::from(k))).map(|x| (x, x * x)).collect(),
        )],
        ..Chart::default()
    };
    let picture = svg(&Figure::new("", vec![Panel::Chart(chart)])).unwrap();
    let curve =
        attribute(&picture, "polyline", "points").into_iter().map(|p| places(&p)).find(|p| p.len() == 41);
    let curve = curve.expect("the curve");
    for w in curve.windows(3) {
        assert!(
            (w[2].0 - 2.0 * w[1].0 + w[0].0).abs() <= 2.0 && (w[2].1 - 2.0 * w[1].1 + w[0].1).abs() <= 2.0
        );
    }
    let found = texts(&picture);
    for label in ["1 Hz", "10 Hz", "100 Hz", "1 kHz", "10 kHz", "10⁸"] {
        assert!(found.contains(&label), "{label} in {found:?}");
    }
}

/// Line, dashes and markers: the dash pattern's pieces lie on the line, and points outside the bounds are not drawn.
#[test]
fn styles_and_bounds() {
    let line = |l: Line| Curve::new("", vec![(0.0, 0.0), (1.0, 1.0)]).lined(l).marked(Marker::None);
    let with = |l: Line| {
        let chart = Chart {
            x: Axis::linear("x", "1").within(0.0, 1.0),
            y: Axis::linear("y", "1").within(0.0, 1.0),
            curves: vec![line(l)],
            ..Chart::default()
        };
        let picture = svg(&Figure::new("", vec![Panel::Chart(chart)])).unwrap();
        // The last polyline is the frame.
        let mut found = attribute(&picture, "polyline", "points");
        found.pop();
        found.iter().map(|p| places(p)).collect::<Vec<_>>()
    };
    let solid = with(Line::Solid);
    assert_eq!(solid.len(), 1);
    let (a, b) = (solid[0][0], solid[0][1]);
    let dashes = with(Line::Dashed);
    assert!(dashes.len() > 50);
    for p in dashes.iter().flatten() {
        let off = (p.1 - a.1) - (p.0 - a.0) * (b.1 - a.1) / (b.0 - a.0);
        assert!(off.abs() <= 1.5, "{off} of eighth pixels beside the line");
    }
    assert!(with(Line::None).is_empty());
    let cloud = Curve::scatter("", vec![(0.5, 0.5), (2.0, 0.5), (0.5, f64::NAN)]);
    let chart = Chart { x: Axis::linear("x", "1").within(0.0, 1.0), curves: vec![cloud], ..Chart::default() };
    let picture = svg(&Figure::new("", vec![Panel::Chart(chart)])).unwrap();
    assert_eq!(attribute(&picture, "circle", "cx").len(), 1);
}

#[test]
fn a_bar_is_as_high_as_its_value_and_a_missing_one_is_shown() {
    let series = |name: &str, values: Vec<Option<f64>>| Series { name: name.into(), values };
    let bars = Bars {
        y: Axis::linear("relative", "1"),
        groups: vec!["a".into(), "b".into()],
        series: vec![series("A", vec![Some(1.0), Some(2.0)]), series("B", vec![Some(4.0), None])],
        reference: Some(1.0),
        ..Bars::default()
    };
    let picture = svg(&Figure::new("", vec![Panel::Bars(bars)])).unwrap();
    let number =
        |name| attribute(&picture, "rect", name).iter().map(|x| x.parse().unwrap()).collect::<Vec<f64>>();
    let heights = number("height");
    let fills = attribute(&picture, "rect", "fill");
    // Two samples of the legend, then the bars by group; what is white lies behind the picture or a number.
    let coloured = heights.iter().zip(&fills).filter(|(_, fill)| !fill.eq_ignore_ascii_case("#ffffff"));
    let bars: Vec<f64> = coloured.map(|(height, _)| *height).skip(2).collect();
    assert!((bars[1] / bars[0] - 4.0).abs() < 0.02 && (bars[2] / bars[0] - 2.0).abs() < 0.02, "{heights:?}");
    assert_eq!(bars.len(), 3);
    assert!(texts(&picture).contains(&"–"));
}

#[test]
fn nothing_to_draw_is_said() {
    let chart = Chart { title: "empty".into(), ..Chart::default() };
    let error = svg(&Figure::new("", vec![Panel::Chart(chart)])).unwrap_err();
    assert!(matches!(&error, PlotError::Nothing { panel, .. } if panel == "empty"), "{error}");
    assert!(svg(&Figure::new("", vec![])).is_err());
    let flat = Chart { curves: vec![Curve::new("", vec![(1.0, 2.0)])], ..Chart::default() };
    assert!(svg(&Figure::new("", vec![Panel::Chart(flat)])).is_ok());
}

/// Pixels are twice as many as CSS pixels, and text is drawn with a font that the program brings along.
#[test]
fn pixels_hold_the_text_too() {
    let drawn = |title: &str| {
        let chart = Chart {
            x: Axis::linear("time", "s"),
            y: Axis::linear("voltage", "V"),
            curves: vec![Curve::new("", vec![(0.0, 1.0), (1.0, 2.0)])],
            ..Chart::default()
        };
        let figure = Figure::new(title, vec![Panel::Chart(chart)]);
        let size = attribute(&svg(&figure).unwrap(), "svg", "height")[0].parse::<u32>().unwrap();
        let bytes = joulestep::output::plot::png(&figure).unwrap();
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
        let read = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!((read(16), read(20)), (2 * 920, 2 * size));
        bytes
    };
    assert_eq!(drawn("T_j in °C"), drawn("T_j in °C"));
    // The layout is the same; only letters differ. None of the signs of the trade is the box of what the font lacks.
    let mut seen = vec![drawn("\u{4f60}")];
    assert_eq!(seen[0], drawn("\u{597d}"));
    for sign in "°µΩ²³₁₂·−≤≥±×–∞∫Δθτφ⁻⁰⁵√→äéß".chars() {
        let picture = drawn(&sign.to_string());
        assert!(!seen.contains(&picture), "{sign}");
        seen.push(picture);
    }
}
