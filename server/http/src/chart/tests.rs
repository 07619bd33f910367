//! What every picture holds to: whole markup, points where their numbers say, inside their plot; labels that can be read.

use chrono::NaiveDate;
use proptest::prelude::*;
use roxmltree::{Document, Node};
use serde_json::{Value, json};
use whorl_care::figure::due::{self, BarnContext, Programme};
use whorl_care::horse::CareEvent;
use whorl_care::profile::profile;
use whorl_care::rules::Rules;

use super::scale::{Scale, Time, apart, ticks};
use super::{Drawn, egg_counts, toe_angle, toe_length, vaccinations, weight};

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn event(kind: &str, on: NaiveDate, details: &Value) -> CareEvent {
    let document = json!({"kind": kind, "performed_on": on, "details": details});
    serde_json::from_value(document).expect("an event")
}

fn rules() -> Rules {
    Rules::built_in().expect("rules")
}

fn all(log: &[CareEvent], on: NaiveDate) -> [Drawn; 5] {
    let rules = rules();
    let (programme, barn) = (Programme::default(), BarnContext::default());
    let items = due::items(&profile(log), log, on, &programme, &barn, &rules);
    [
        weight(log, on, &rules),
        egg_counts(log, on, &rules),
        toe_length(log, on),
        toe_angle(log, on),
        vaccinations(log, &items, on),
    ]
}

fn number(node: Node<'_, '_>, name: &str) -> f64 {
    let text = node.attribute(name).unwrap_or_default();
    text.parse().unwrap_or_else(|_| panic!("{name} is {text}"))
}

fn has_class(node: Node<'_, '_>, class: &str) -> bool {
    let classes = node.attribute("class").unwrap_or_default();
    classes.split(' ').any(|one| one == class)
}

/// The places of the points in an element, in the order drawn.
fn points(node: Node<'_, '_>) -> Vec<(f64, f64)> {
    node.descendants()
        .filter(|node| has_class(*node, "point"))
        .map(|node| {
            let place = node.attribute("transform").unwrap_or_default();
            let place = place.trim_start_matches("translate(").trim_end_matches(')');
            let (x, y) = place.split_once(' ').expect("two coordinates");
            (x.parse().expect("x"), y.parse().expect("y"))
        })
        .collect()
}

/// The box that a text takes at the least: 13 units high, its letters 6 wide.
fn text_box(node: Node<'_, '_>) -> (f64, f64, f64, f64) {
    let width = 6.0 * super::paper::letters(node.text().unwrap_or_default());
    let (x, y) = (number(node, "x"), number(node, "y"));
    let left = match node.attribute("text-anchor") {
        Some("middle") => x - width / 2.0,
        Some("end") => x - width,
        _ => x,
    };
    (left, y - 10.0, left + width, y + 2.0)
}

/// Everything that holds for every picture.
fn hold(drawn: &Drawn) {
    let svg = drawn.svg().into_string();
    assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    assert!(!svg.contains("style="), "inline style is forbidden: {svg}");
    let document = Document::parse(&svg).expect("whole markup");
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    for (attribute, element) in [("aria-labelledby", "title"), ("aria-describedby", "desc")] {
        let named = root.children().find(|node| {
            node.has_tag_name((root.tag_name().namespace().unwrap_or_default(), element))
        });
        let named = named.expect("a name");
        assert_eq!(named.attribute("id"), root.attribute(attribute));
        assert!(!named.text().unwrap_or_default().is_empty());
    }
    let (width, height) = (340.0, svg_height(root));
    // A panel holds a plot of its own; other pictures are one panel.
    let panels: Vec<Node<'_, '_>> = root
        .children()
        .filter(|node| has_class(*node, "panel"))
        .collect();
    for panel in if panels.is_empty() {
        vec![root]
    } else {
        panels
    } {
        let plot = panel
            .descendants()
            .find(|node| has_class(*node, "plot"))
            .expect("a plot");
        let (left, top) = (number(plot, "x"), number(plot, "y"));
        let (right, bottom) = (left + number(plot, "width"), top + number(plot, "height"));
        for (x, y) in points(panel) {
            assert!(
                (left..=right).contains(&x) && (top..=bottom).contains(&y),
                "{x} {y} in {svg}"
            );
        }
    }
    let texts: Vec<_> = root
        .descendants()
        .filter(|node| node.tag_name().name() == "text")
        .map(|node| (text_box(node), node.text().unwrap_or_default()))
        .collect();
    for (n, ((left, top, right, bottom), text)) in texts.iter().enumerate() {
        assert!(
            *left >= 0.0 && *right <= width + 2.0 && *top >= 0.0 && *bottom <= height,
            "{text:?} sticks out of {svg}"
        );
        for ((left2, top2, right2, bottom2), text2) in &texts[n + 1..] {
            let clash = left < right2 && left2 < right && top < bottom2 && top2 < bottom;
            assert!(!clash, "{text:?} lies over {text2:?} in {svg}");
        }
    }
}

fn svg_height(root: Node<'_, '_>) -> f64 {
    let view = root.attribute("viewBox").unwrap_or_default();
    view.split(' ')
        .next_back()
        .and_then(|text| text.parse().ok())
        .expect("a height")
}

/// Worked by hand: 40 % of the way from 200 to 300 is 40 % of the way from 100 to 0.
#[test]
fn a_number_lies_where_it_should() {
    let scale = Scale::new((200.0, 300.0), (100.0, 0.0));
    for (number, place) in [
        (200.0, 100.0),
        (240.0, 60.0),
        (300.0, 0.0),
        (500.0, 0.0),
        (0.0, 100.0),
    ] {
        assert!((scale.at(number) - place).abs() < 1e-9, "{number}");
    }
}

#[test]
fn ticks_are_round_and_span_all() {
    for (numbers, expected) in [
        ([83.0, 512.0], vec![0.0, 200.0, 400.0, 600.0]),
        ([0.0, 750.0], vec![0.0, 200.0, 400.0, 600.0, 800.0]),
        ([80.0, 92.0], vec![80.0, 85.0, 90.0, 95.0]),
        ([500.0, 500.0], vec![460.0, 480.0, 500.0, 520.0, 540.0]),
    ] {
        assert_eq!(ticks(numbers, 5), expected, "{numbers:?}");
    }
}

/// 1 March lies 59 days after 1 January 2026, of 365 to 1 January 2027.
#[test]
fn a_day_lies_where_it_should() {
    let time = Time::new(day("2026-01-01"), day("2027-01-01"), (0.0, 365.0));
    assert!((time.at(day("2026-03-01")) - 59.0).abs() < 1e-9);
    let labels: Vec<String> = time.ticks().into_iter().map(|(_, label)| label).collect();
    assert_eq!(
        labels,
        [
            "Jan ’26",
            "Mar ’26",
            "May ’26",
            "Jul ’26",
            "Sep ’26",
            "Nov ’26",
            "Jan ’27"
        ]
    );
}

#[test]
fn labels_move_apart_and_stay_on_paper() {
    assert_eq!(apart(&[10.0, 12.0, 60.0], 15.0, 100.0), [10.0, 25.0, 60.0]);
    assert_eq!(apart(&[90.0, 95.0, 99.0], 15.0, 100.0), [70.0, 85.0, 100.0]);
}

#[test]
fn a_name_is_a_name_and_no_markup() {
    let on = day("2027-03-04");
    let log = [
        event(
            "identity",
            on,
            &json!({"name": "<script>alert('Żuk & \"Łoś\"')</script>"}),
        ),
        event("weight", on, &json!({"weight_kg": 512, "method": "scale"})),
    ];
    let drawn = weight(&log, on, &rules());
    hold(&drawn);
    let whole = maud::Render::render(&drawn).into_string();
    assert!(!whole.contains("<script"), "{whole}");
    assert!(whole.contains("Łoś"), "{whole}");
}

#[test]
fn nothing_on_record_is_said_in_words() {
    for drawn in all(&[], day("2027-03-04")) {
        hold(&drawn);
        if drawn.title().starts_with("Vaccinations") {
            continue;
        }
        assert!(drawn.is_empty(), "{}", drawn.title());
        let whole = maud::Render::render(&drawn).into_string();
        assert!(whole.contains("No ") && !whole.contains("<svg"), "{whole}");
    }
}

#[test]
fn one_weight_lies_in_the_middle() {
    let on = day("2027-03-04");
    let drawn = weight(
        &[event(
            "weight",
            on,
            &json!({"weight_kg": 500, "method": "tape"}),
        )],
        on,
        &rules(),
    );
    hold(&drawn);
    let svg = drawn.svg().into_string();
    let document = Document::parse(&svg).expect("markup");
    // The plot spans 52 to 310 for a month on both sides of the day.
    let found = points(document.root_element());
    assert_eq!(found.len(), 1);
    assert!((found[0].0 - 181.0).abs() < 8.0, "{found:?}");
}

#[test]
fn a_weight_ten_years_off_stays_in_the_table() {
    let on = day("2027-03-04");
    let log = [
        event(
            "weight",
            day("2017-01-01"),
            &json!({"weight_kg": 90, "method": "scale"}),
        ),
        event(
            "weight",
            day("2026-12-01"),
            &json!({"weight_kg": 505, "method": "scale"}),
        ),
        event("weight", on, &json!({"weight_kg": 512, "method": "tape"})),
    ];
    let drawn = weight(&log, on, &rules());
    hold(&drawn);
    let svg = drawn.svg().into_string();
    assert!(svg.contains("1 older weight is in the table"), "{svg}");
    assert!(drawn.table().into_string().contains("1 Jan 2017"));
}

/// What the figure answers is checked against published weights beside it; the picture must show the same number.
#[test]
fn the_curve_is_that_of_the_growth_figure() {
    let (born, on) = (day("2026-03-01"), day("2027-03-01"));
    let log = [
        event(
            "identity",
            on,
            &json!({"name": "Kittiwake", "foaled_on": "2026-03-01", "mature_weight_kg": 520}),
        ),
        event("weight", born, &json!({"weight_kg": 52, "method": "scale"})),
        event("weight", on, &json!({"weight_kg": 300, "method": "tape"})),
    ];
    let weights = super::weight::Weights::of(&log, on, &rules());
    let (day, middle) = weights.last_expected().expect("a curve");
    assert_eq!(day, on);
    let input = json!({"foaled_on": "2026-03-01", "on": "2027-03-01", "mature_weight_kg": 520});
    let input = serde_json::from_value(input).expect("an input");
    let answer = whorl_care::figure::growth::growth(&input, &rules()).expect("an answer");
    assert_eq!(Some(middle), answer.expected_kg);
    let drawn = weights.draw();
    hold(&drawn);
    let svg = drawn.svg().into_string();
    for wanted in ["class=\"band\"", "class=\"expected\"", ">scale<", ">tape<"] {
        assert!(svg.contains(wanted), "{wanted} in {svg}");
    }
}

#[test]
fn wormings_and_limits_are_shown_beside_the_counts() {
    let on = day("2027-03-04");
    let log = [
        event(
            "egg_count",
            day("2026-05-04"),
            &json!({"eggs_counted": 18, "multiplication_factor": 25}),
        ),
        event(
            "deworming",
            day("2026-05-06"),
            &json!({"actives": ["ivermectin"]}),
        ),
        event("egg_count", day("2026-05-20"), &json!({"strongyle_epg": 0})),
    ];
    let drawn = egg_counts(&log, on, &rules());
    hold(&drawn);
    let svg = drawn.svg().into_string();
    for wanted in [
        "450 eggs per gram on 4 May 2026",
        "moderate above 200",
        "high above 500",
        "wormed on 6 May 2026 with ivermectin",
    ] {
        assert!(svg.contains(wanted), "{wanted} in {svg}");
    }
    let table = drawn.table().into_string();
    assert!(
        table.contains("450 eggs per gram") && table.contains("moderate"),
        "{table}"
    );
}

#[test]
fn feet_measured_otherwise_make_no_trend() {
    let visit = |on: &str, method: &str| {
        let measures = |length: f64| json!({"toe_length_mm": length, "method": method});
        event(
            "hoof_care",
            day(on),
            &json!({"service": "trim", "feet": {"LF": {"before": measures(92.0), "after": measures(84.0)}}}),
        )
    };
    let trend = |second: &str| {
        let log = [visit("2026-12-01", "gauge"), visit("2027-01-15", second)];
        let drawn = toe_length(&log, day("2027-03-04"));
        hold(&drawn);
        drawn.svg().into_string().contains("<polyline")
    };
    assert!(trend("gauge"));
    assert!(!trend("by_eye"));
}

#[test]
fn doses_differ_by_shape_and_the_next_has_its_window() {
    let on = day("2027-03-04");
    let mut copied = event(
        "vaccination",
        day("2026-03-10"),
        &json!({"targets": ["tetanus"]}),
    );
    copied.provenance = whorl_care::kind::Provenance::Transcribed;
    let log = [
        event(
            "identity",
            on,
            &json!({"name": "Plover", "foaled_on": "2016-04-19"}),
        ),
        copied,
        event(
            "vaccination",
            day("2026-04-10"),
            &json!({"targets": ["tetanus", "rabies"]}),
        ),
        event(
            "vaccination",
            day("2019-04-10"),
            &json!({"targets": ["rabies"]}),
        ),
    ];
    let drawn = &all(&log, on)[4];
    hold(drawn);
    let svg = drawn.svg().into_string();
    for wanted in [
        "10 Mar 2026, transcribed",
        "10 Apr 2026, attested",
        "class=\"window\"",
        "older, in the table",
        ">today<",
    ] {
        assert!(svg.contains(wanted), "{wanted} in {svg}");
    }
    let table = drawn.table().into_string();
    assert!(
        table.contains("10 Apr 2019") && table.contains("next dose"),
        "{table}"
    );
}

#[test]
fn a_window_without_a_last_day_runs_on_to_the_edge() {
    let on = day("2027-03-04");
    let item = |by: Option<&str>| {
        serde_json::from_value(json!({"code": "vaccination.rabies", "status": "due", "due_from": "2027-03-04", "due_by": by,
            "dose_number": 1, "last_on": null, "reason": "", "rule": "r", "who": ["vet"], "source": "s", "mark": "read"}))
        .expect("an item")
    };
    let end = |by: Option<&str>| {
        let drawn = vaccinations(&[], &[item(by)], on);
        hold(&drawn);
        let svg = drawn.svg().into_string();
        let document = Document::parse(&svg).expect("markup");
        let row = document
            .descendants()
            .find(|node| has_class(*node, "row"))
            .expect("a row");
        let window = row
            .children()
            .find(|node| has_class(*node, "window"))
            .expect("a window");
        number(window, "x") + number(window, "width")
    };
    assert!((end(None) - 328.0).abs() < 0.2);
    assert!(end(Some("2027-04-04")) < 310.0);
}

fn any_event() -> impl Strategy<Value = CareEvent> {
    let day = (-4000_i64..4000).prop_map(|days| day("2027-03-04") + chrono::TimeDelta::days(days));
    let number = prop_oneof![
        0.0..2000.0_f64,
        any::<f64>().prop_filter("JSON has no others", |one| one.is_finite()),
        Just(0.0),
        Just(1e300),
        Just(-5.0)
    ];
    let method = prop_oneof![
        Just("scale"),
        Just("tape"),
        Just("visual"),
        Just("by guess")
    ];
    (day, number.clone(), number, method, 0..5).prop_map(|(on, one, two, method, which)| match which {
        0 => event("weight", on, &json!({"weight_kg": one, "method": method})),
        1 => event("egg_count", on, &json!({"strongyle_epg": one})),
        2 => event("deworming", on, &json!({"actives": ["moxidectin", "praziquantel"]})),
        3 => event("hoof_care", on, &json!({"service": "trim", "feet": {"LF": {"before": {"toe_length_mm": one, "toe_angle_deg": two, "method": "gauge"}}, "RH": {"after": {"toe_length_mm": two}}}})),
        _ => event("vaccination", on, &json!({"targets": ["tetanus", "vee", "ehv_1_4"], "expiration_date": "2027-01"})),
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn whatever_is_on_record_the_pictures_hold(
        mut log in proptest::collection::vec(any_event(), 0..40),
        born in proptest::option::of(-6000_i64..200),
        grown in prop_oneof![Just(None), (100.0..1200.0_f64).prop_map(Some)],
    ) {
        let on = day("2027-03-04");
        let born = born.map(|days| on + chrono::TimeDelta::days(days));
        log.push(event("identity", on, &json!({"name": "Plover & Co", "foaled_on": born, "mature_weight_kg": grown})));
        for drawn in all(&log, on) {
            hold(&drawn);
        }
    }
}
