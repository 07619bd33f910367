//! How long the due list and fitness for entry take: one horse with a long log, a herd, a plan.
//!
//! `cargo bench -p whorl-care`. The target: the due lists of 10,000 horses within a second on one core.

use std::hint::black_box;

use chrono::{Days, NaiveDate};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use serde_json::{Value, json};
use whorl_care::figure::due::{BarnContext, Programme, items};
use whorl_care::figure::entry::{Input, answer};
use whorl_care::horse::{CareEvent, Horse};
use whorl_care::rules::Rules;

const HERD: usize = 10_000;
/// So many different logs stand for the herd, one after the other: enough that none is still in the processor's cache
/// when its turn comes again, few enough for the memory of a small machine.
const LOGS: usize = 200;

fn day(offset: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2020, 1, 7)
        .and_then(|day| day.checked_add_days(Days::new(offset)))
        .unwrap_or_default()
}

fn event(kind: &str, offset: u64, details: Value) -> CareEvent {
    let mut document = json!({"kind": kind, "performed_at": format!("{}T09:20:00+01:00", day(offset)),
        "id": format!("0197{:04x}-0000-7000-8000-{:012x}", offset % 0xffff, offset)});
    document["details"] = details;
    serde_json::from_value(document).unwrap_or_else(|error| panic!("{error}"))
}

/// A log of so many events over six years, mixed as a yard's is: trims, weights, doses, wormings, counts, teeth.
fn log(events: u64) -> Vec<CareEvent> {
    let foot = json!({"before": {"toe_length_mm": 92.0, "toe_angle_deg": 50.0, "method": "gauge"},
        "after": {"toe_length_mm": 84.0, "toe_angle_deg": 52.5, "method": "gauge"},
        "findings": [{"finding": "thrush", "severity": 1}]});
    (0..events)
        .map(|n| {
            let offset = n * 2200 / events;
            match n % 10 {
                0..=2 => event(
                    "hoof_care",
                    offset,
                    json!({"service": "trim", "next_in_weeks": 6,
                    "feet": {"LF": foot, "RF": foot, "LH": foot, "RH": foot}}),
                ),
                3 | 4 => event(
                    "weight",
                    offset,
                    json!({"weight_kg": 512.0, "method": "tape"}),
                ),
                5 => event(
                    "vaccination",
                    offset,
                    json!({"targets": ["influenza", "tetanus"],
                    "product": "Tidevax", "lot_number": "T-1", "expiration_date": "2029-01"}),
                ),
                6 => event(
                    "vaccination",
                    offset,
                    json!({"targets": ["eee", "wee", "west_nile", "rabies"]}),
                ),
                7 => event(
                    "deworming",
                    offset,
                    json!({"actives": ["ivermectin", "praziquantel"], "dosed_for_kg": 550}),
                ),
                8 => event(
                    "egg_count",
                    offset,
                    json!({"method": "mcmaster", "strongyle_epg": 350.0}),
                ),
                _ => event(
                    "vitals",
                    offset,
                    json!({"temperature_c": 37.8, "pulse_bpm": 36}),
                ),
            }
        })
        .collect()
}

fn a_horse() -> Horse {
    serde_json::from_value(
        json!({"sex": "mare", "foaled_on": "2014-04-12", "shod": true,
        "risks": ["travels", "breeding_farm"], "pregnancy": {"covered_on": "2026-04-01"}}),
    )
    .unwrap_or_else(|error| panic!("{error}"))
}

fn bench(c: &mut Criterion) {
    let rules = Rules::built_in().unwrap_or_else(|error| panic!("{error}"));
    let (horse, programme) = (a_horse(), Programme::default());
    let barn = BarnContext {
        time_zone: Some("Europe/London".to_owned()),
        region: Some("GB".to_owned()),
    };
    let on = day(2300);
    let due = |log: &[CareEvent]| items(&horse, log, on, &programme, &barn, &rules);

    for events in [20, 200, 2000] {
        let log = log(events);
        c.bench_function(&format!("due/one horse, {events} events"), |b| {
            b.iter(|| due(black_box(&log)));
        });
    }

    let mut herd = c.benchmark_group("due/herd of 10,000");
    herd.sample_size(10);
    for events in [50, 200] {
        let logs: Vec<Vec<CareEvent>> = (0..LOGS).map(|_| log(events)).collect();
        herd.bench_function(format!("{events} events each"), |b| {
            b.iter(|| {
                let herd = logs.iter().cycle().take(HERD);
                herd.map(|log| due(log).len()).sum::<usize>()
            });
        });
    }
    herd.finish();

    let asked = |rules: Value, events: Vec<CareEvent>, arrives: &str| Input {
        events,
        ..serde_json::from_value(json!({"rules": rules, "arrives_on": arrives, "on": "2026-04-01"}))
            .unwrap_or_else(|error| panic!("{error}"))
    };
    for (name, input) in [
        (
            "one dose, next week",
            asked(json!("fei-influenza"), vec![flu(2250)], "2026-04-20"),
        ),
        (
            "200 events, five rule sets",
            asked(
                json!([
                    "fei-influenza",
                    "germany-lpo-influenza",
                    "us-equestrian-vaccination",
                    "eia-12-months",
                    "health-certificate-30-days"
                ]),
                log(200),
                "2026-06-01",
            ),
        ),
        (
            "in two years",
            asked(json!("gb-racing-influenza"), vec![flu(2250)], "2028-06-01"),
        ),
    ] {
        c.bench_function(&format!("entry with plan/{name}"), |b| {
            b.iter_batched(
                || &input,
                |input| answer(black_box(input), &rules),
                BatchSize::SmallInput,
            );
        });
    }
}

fn flu(offset: u64) -> CareEvent {
    event("vaccination", offset, json!({"targets": ["influenza"]}))
}

criterion_group!(benches, bench);
criterion_main!(benches);
