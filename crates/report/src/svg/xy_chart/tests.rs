use super::*;
use crate::svg::axis::Axis;

fn errors() -> XyChart {
    let mut chart = XyChart::new(
        "errors of <weighing>",
        "each error & its limit",
        Axis::linear("load, kg").between(0.0, 200.0),
        Axis::linear("error, g").between(-100.0, 100.0),
    );
    chart.series.push(Series {
        bars: vec![[-10.0, 30.0]],
        ..Series::new("error", Ink::Main, Mark::Points, vec![[100.0, 0.0], [f64::NAN, 1.0], [300.0, 5.0]])
    });
    chart.levels.push(Level::limit("limit", 50.0));
    chart
}

/// The plotting area: right edge 706, top 14, bottom 314; left by the widest tick, "-100": 4 · 7.2 + 40.
const LEFT: f64 = 68.8;

#[test]
fn a_point_stands_at_its_values() {
    let svg = errors().svg();
    let x = f64::midpoint(LEFT, 706.0);
    assert!(svg.contains(&Ink::Main.point(x, 164.0)), "{svg}");
    // Its error bar from −10 to 30, 1.5 px a gram.
    assert!(svg.contains(&format!("M{:.1} 179.0h6m-3 0V119.0m-3 0h6", x - 3.0)), "{svg}");
    // The limit, 50 g, right across.
    assert!(svg.contains(&format!("M{LEFT:.1} 89.0L706.0 89.0")), "{svg}");
    // A gap and a point outside the range are not drawn: one point in the area, one in the key.
    assert_eq!(svg.matches("a4 4 0 1 0 8 0a").count(), 2);
}

#[test]
fn name_and_sentence_come_first_and_all_text_is_escaped() {
    let svg = errors().svg();
    let head = svg.find("<title>errors of &lt;weighing&gt;</title><desc>each error &amp; its limit</desc>");
    assert!(head.is_some_and(|at| at < 200), "{svg}");
    assert!(svg.contains(r#"role="img""#));
    for text in ["</svg><script>alert(1)</script>", "a\"b", "x<y", "p&q"] {
        let mut chart = errors();
        chart.title = text.into();
        chart.description = text.into();
        chart.x.label = text.into();
        chart.y.label = text.into();
        chart.series[0].name = text.into();
        chart.levels[0].name = text.into();
        chart.x.names = vec![(50.0, text.into())];
        let svg = chart.svg();
        assert!(!svg.contains("<script") && !svg.contains("x<y") && !svg.contains("p&q"), "{svg}");
    }
}

#[test]
fn the_same_chart_gives_the_same_text() {
    assert_eq!(errors().svg(), errors().svg());
}

#[test]
fn nothing_that_is_no_number_reaches_the_drawing() {
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -1.0, 1e300, 5e-324] {
        for axis in [Axis::linear("a"), Axis::log("a")] {
            let mut chart = XyChart::new("t", "d", axis.clone(), axis);
            chart.series.push(Series {
                bars: vec![[value, 2.0], [value, value]],
                ..Series::new("s", Ink::Second, Mark::PointsAndLine, vec![[value, 1.0], [1.0, value], [2.0, 3.0]])
            });
            let x = vec![1.0, value];
            chart.bands.push(Band { name: "b".into(), ink: Ink::Quiet, low: x.clone(), high: vec![2.0, value], x });
            chart.levels.push(Level::limit("l", value));
            for at in [Across::X(value), Across::Line { slope: value, intercept: value }] {
                chart.levels.push(Level { name: String::new(), ink: Ink::Main, mark: Mark::Line, at });
            }
            let svg = chart.svg();
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{value}: {svg}");
            assert_eq!(svg.matches("<svg").count(), svg.matches("</svg>").count());
        }
    }
}

/// A band of limits includes its upper end: the limit of 50 kg holds up to 50 kg, that of 200 kg from there.
#[test]
fn steps_hold_on_the_side_they_belong_to() {
    let corners = [[0.0, 5.0], [1.0, 5.0], [2.0, 9.0]];
    assert_eq!(stepped(&corners, Mark::StepsUpTo)[2..], [[1.0, 5.0], [1.0, 9.0], [2.0, 9.0]]);
    assert_eq!(stepped(&corners, Mark::Steps)[2..], [[1.0, 5.0], [2.0, 5.0], [2.0, 9.0]]);
    assert_eq!(stepped(&corners, Mark::Line), corners);
}

#[test]
fn a_line_across_two_linear_axes_is_straight() {
    let mut chart = errors();
    chart.levels = vec![Level {
        name: "identity".into(),
        ink: Ink::Quiet,
        mark: Mark::Line,
        at: Across::Line { slope: 1.0, intercept: -100.0 },
    }];
    // From (0 kg, −100 g) to (200 kg, 100 g): corner to corner.
    assert!(chart.svg().contains(&format!("M{LEFT:.1} 314.0L706.0 14.0")), "{}", chart.svg());
}

#[test]
fn a_long_line_keeps_its_extremes() {
    let places: Vec<[f64; 2]> =
        (0..100_000).map(|i| [f64::from(i) * 0.006, if i == 54_321 { 300.0 } else { f64::from(i % 7) }]).collect();
    let thin = thinned(&places);
    assert!(thin.len() <= 4 * 601, "{}", thin.len());
    assert!(thin.contains(&[54_321.0 * 0.006, 300.0]));
    assert_eq!((thin[0], thin[thin.len() - 1]), (places[0], places[99_999]));
}

/// Names too long to stand beside each other stand on end, and the drawing grows.
#[test]
fn long_names_stand_on_end() {
    let chart = |name: &str| XyChart::new("t", "d", Axis::named("plate", vec![name; 12]), Axis::linear("g")).svg();
    assert!(!chart("a").contains("translate(") || !chart("a").contains(r#"class="tick" text-anchor="end" transform"#));
    assert!(chart("back, right side").contains(r#"class="tick" text-anchor="end" transform"#));
}
