//! How long a plan of visits takes: 500 horses in a quarter of a year, with and without one barn a day, and with more
//! horses than fit.
//!
//! `cargo bench -p whorl-care --bench visits`.

use std::hint::black_box;
use std::num::NonZeroUsize;

use chrono::{Days, NaiveDate, Weekday};
use criterion::{Criterion, criterion_group, criterion_main};
use whorl_care::visits::{Need, Span, one_barn_a_day, plan};

const HORSES: u64 = 500;

fn day(offset: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 3, 1)
        .and_then(|day| day.checked_add_days(Days::new(offset)))
        .unwrap_or_default()
}

/// Windows of two weeks, spread by a multiplication that runs through all days; every twentieth horse is late.
fn needs() -> Vec<Need> {
    let each = 0..HORSES;
    each.map(|n| {
        let from = n * 37 % 80;
        Need {
            from: day(from),
            until: day((from + 13).min(91)),
            late: n % 20 == 0,
        }
    })
    .collect()
}

fn bench(c: &mut Criterion) {
    let needs = needs();
    let days = Span {
        from: day(0),
        until: day(91),
        without_weekdays: vec![Weekday::Sun],
        without: Vec::new(),
    }
    .days();
    for (name, capacity) in [("all fit", 12), ("more than fit", 5)] {
        let capacity = NonZeroUsize::new(capacity).unwrap_or(NonZeroUsize::MIN);
        c.bench_function(&format!("visits/500 horses, {name}"), |b| {
            b.iter(|| plan(black_box(&needs), &days, capacity));
        });
    }
    let capacity = NonZeroUsize::new(20).unwrap_or(NonZeroUsize::MIN);
    let mut slow = c.benchmark_group("visits/500 horses, one barn a day");
    slow.sample_size(10);
    for barns in [3, 8] {
        slow.bench_function(format!("{barns} barns"), |b| {
            b.iter(|| one_barn_a_day(black_box(&needs), |n| n % barns, &days, capacity));
        });
    }
    slow.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
