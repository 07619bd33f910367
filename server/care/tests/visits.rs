//! Visit plans against every possible plan, on small cases, and against an integer program, on large ones.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;

use chrono::{Days, NaiveDate, Weekday};
use proptest::prelude::*;
use serde::Deserialize;
use whorl_care::visits::{Need, Plan, Reason, Span, group, one_barn_a_day, plan};

fn day(offset: u64) -> NaiveDate {
    let first = NaiveDate::from_ymd_opt(2027, 3, 1).expect("a day");
    first.checked_add_days(Days::new(offset)).expect("a day")
}

fn need(from: u64, until: u64) -> Need {
    Need {
        from: day(from),
        until: day(until),
        late: false,
    }
}

fn late() -> Need {
    Need {
        late: true,
        ..need(0, 60)
    }
}

fn horses(capacity: usize) -> NonZeroUsize {
    NonZeroUsize::new(capacity).expect("at least one")
}

fn days(offsets: &[u64]) -> Vec<NaiveDate> {
    offsets.iter().map(|offset| day(*offset)).collect()
}

fn month() -> Vec<NaiveDate> {
    (0..31).map(day).collect()
}

#[test]
fn horses_that_can_share_a_day_do() {
    let needs = [need(0, 9), need(5, 12), need(11, 20), need(12, 30)];
    let plan = plan(&needs, &month(), horses(4));
    assert_eq!(plan.days(), days(&[9, 20]));
    assert_eq!(plan.on[..2], [Ok(day(9)), Ok(day(9))]);
    assert!(plan.is_fewest);
}

/// Going only when somebody must be seen, on their last day, would leave the third horse of a day for two without one.
#[test]
fn what_is_too_much_for_a_last_day_goes_to_the_day_before() {
    let needs = [need(0, 9), need(0, 9), need(3, 9)];
    let plan = plan(&needs, &month(), horses(2));
    assert_eq!(plan.days(), days(&[8, 9]));
    assert!(plan.on.iter().all(Result::is_ok));
}

#[test]
fn nobody_comes_on_a_day_off() {
    let span = Span {
        from: day(0),
        until: day(13),
        without_weekdays: vec![Weekday::Sat, Weekday::Sun],
        without: vec![day(4)],
    };
    // The first of March 2027 is a Monday.
    assert_eq!(span.days(), days(&[0, 1, 2, 3, 7, 8, 9, 10, 11]));
    let plan = plan(&[need(4, 6), need(2, 5)], &span.days(), horses(5));
    assert_eq!(plan.on, [Err(Reason::NobodyComes), Ok(day(3))]);
}

#[test]
fn what_is_late_comes_first_and_what_does_not_fit_is_named() {
    let needs = [need(0, 0), late(), late(), late(), need(0, 1)];
    let plan = plan(&needs, &month(), horses(2));
    assert_eq!(
        plan.on,
        [Ok(day(0)), Ok(day(0)), Ok(day(1)), Ok(day(2)), Ok(day(1))],
        "the late ones have until the third day only because two more must be seen before"
    );
    let needs = [need(0, 0), need(0, 0), need(0, 0)];
    let plan = whorl_care::visits::plan(&needs, &month(), horses(2));
    assert_eq!(plan.on, [Ok(day(0)), Ok(day(0)), Err(Reason::Full)]);
}

#[test]
fn one_visit_does_what_it_can() {
    let needs = [need(3, 9), need(0, 5), need(12, 20), late()];
    let groups = group(&needs, &month());
    let done: Vec<Vec<usize>> = groups.iter().map(|group| group.of.clone()).collect();
    assert_eq!(done, [vec![3, 1], vec![0], vec![2]]);
    assert_eq!(groups[0].need.until, day(5));
    let groups = group(&needs[..2], &days(&[1, 8]));
    assert_eq!(
        groups.len(),
        2,
        "nobody comes on a day that is right for both"
    );
}

#[test]
fn a_day_belongs_to_one_barn_if_it_must() {
    let needs = [need(5, 5), need(0, 5), need(3, 6), need(0, 5)];
    let barn = |n: usize| n % 2;
    let shared = plan(&needs, &month(), horses(9));
    assert_eq!(shared.days(), days(&[5]));
    let plan = one_barn_a_day(&needs, barn, &month(), horses(9));
    assert_eq!(
        plan.on,
        [Ok(day(5)), Ok(day(4)), Ok(day(5)), Ok(day(4))],
        "the barn that can't wait keeps its day"
    );
    assert!(plan.is_fewest);
    let plan = one_barn_a_day(&[need(5, 5), need(5, 5)], barn, &month(), horses(9));
    assert_eq!(plan.on, [Ok(day(5)), Err(Reason::NobodyComes)]);
    assert!(!plan.is_fewest);
}

/// So many of the needs can be matched to places: by augmenting paths, with nothing of what is tested.
fn matched(needs: &[&Need], days: &[NaiveDate], capacity: usize) -> usize {
    fn find(
        n: usize,
        rights: &[Vec<usize>],
        seen: &mut [bool],
        held: &mut [Option<usize>],
    ) -> bool {
        for place in &rights[n] {
            if !std::mem::replace(&mut seen[*place], true)
                && held[*place].is_none_or(|other| find(other, rights, seen, held))
            {
                held[*place] = Some(n);
                return true;
            }
        }
        false
    }
    let rights: Vec<Vec<usize>> = needs
        .iter()
        .map(|need| {
            let fits = |place: &usize| {
                let day = days[place / capacity];
                (need.late || need.from <= day) && day <= need.until
            };
            (0..days.len() * capacity).filter(fits).collect()
        })
        .collect();
    let mut held = vec![None; days.len() * capacity];
    (0..needs.len())
        .filter(|n| find(*n, &rights, &mut vec![false; held.len()], &mut held))
        .count()
}

/// What every plan must keep.
fn check(plan: &Plan, needs: &[Need], days: &[NaiveDate], capacity: usize) {
    let mut full: BTreeMap<NaiveDate, usize> = BTreeMap::new();
    assert_eq!(plan.on.len(), needs.len());
    for (need, on) in needs.iter().zip(&plan.on) {
        if let Ok(on) = on {
            assert!(days.contains(on) && *on <= need.until && (need.late || need.from <= *on));
            *full.entry(*on).or_default() += 1;
        }
    }
    assert!(full.values().all(|horses| *horses <= capacity));
}

/// Every choice among these.
fn choices<T: Copy>(all: &[T]) -> impl Iterator<Item = Vec<T>> {
    (0..1_u32 << all.len()).map(|chosen| {
        let each = all.iter().enumerate();
        each.filter(|(n, _)| chosen & (1 << n) != 0)
            .map(|(_, one)| *one)
            .collect()
    })
}

/// The day, by its place, by which the late ones among these can be done at the earliest; 0 if none is late.
fn earliest(kept: &[&Need], days: &[NaiveDate], capacity: usize) -> Vec<Need> {
    for by in days {
        let drawn: Vec<Need> = kept
            .iter()
            .map(|need| Need {
                until: if need.late {
                    need.until.min(*by)
                } else {
                    need.until
                },
                ..**need
            })
            .collect();
        if matched(&drawn.iter().collect::<Vec<_>>(), days, capacity) == drawn.len() {
            return drawn;
        }
    }
    kept.iter().map(|need| **need).collect()
}

fn a_need() -> impl Strategy<Value = Need> {
    (0_u64..7, 0_u64..5, prop::bool::weighted(0.2)).prop_map(|(from, length, late)| Need {
        late,
        ..need(from, from + length)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4_000, ..ProptestConfig::default() })]

    /// Against every set of days: as many as can be, what is late as early as can be, the fewest days, as late as can be.
    #[test]
    fn no_plan_is_better(
        needs in prop::collection::vec(a_need(), 0..9),
        comes in prop::collection::vec(prop::bool::weighted(0.8), 7),
        capacity in 1_usize..4,
    ) {
        let days: Vec<NaiveDate> = (0..7).zip(&comes).filter(|(_, comes)| **comes).map(|(n, _)| day(n)).collect();
        let plan = plan(&needs, &days, horses(capacity));
        check(&plan, &needs, &days, capacity);
        let all: Vec<&Need> = needs.iter().collect();
        let late: Vec<&Need> = needs.iter().filter(|need| need.late).collect();
        let kept: Vec<&Need> = needs.iter().zip(&plan.on).filter(|(_, on)| on.is_ok()).map(|(need, _)| need).collect();
        prop_assert_eq!(kept.len(), matched(&all, &days, capacity));
        prop_assert_eq!(kept.iter().filter(|need| need.late).count(), matched(&late, &days, capacity));
        for (need, on) in needs.iter().zip(&plan.on) {
            prop_assert_eq!(*on == Err(Reason::NobodyComes), matched(&[need], &days, capacity) == 0);
        }

        let drawn = earliest(&kept, &days, capacity);
        let on: Vec<NaiveDate> = plan.on.iter().filter_map(|on| on.ok()).collect();
        prop_assert!(drawn.iter().zip(&on).all(|(need, on)| *on <= need.until));

        let ours = plan.days();
        let drawn: Vec<&Need> = drawn.iter().collect();
        for other in choices(&days).filter(|other| other.len() <= ours.len()) {
            if matched(&drawn, &other, capacity) == drawn.len() {
                prop_assert_eq!(other.len(), ours.len(), "fewer days would do: {:?}", other);
                prop_assert!(other.iter().zip(&ours).all(|(theirs, ours)| theirs <= ours), "later days would do: {:?}", other);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    /// Against every way of giving the days to the barns.
    #[test]
    fn no_plan_of_one_barn_a_day_is_better(
        needs in prop::collection::vec((a_need(), 0_usize..3), 0..8),
        capacity in 1_usize..4,
    ) {
        let days: Vec<NaiveDate> = (0..6).map(day).collect();
        // What is late has an order of its own, which the test of the plain plan holds.
        let (needs, barns): (Vec<Need>, Vec<usize>) =
            needs.into_iter().map(|(need, barn)| (Need { late: false, ..need }, barn)).unzip();
        let plan = one_barn_a_day(&needs, |n| barns[n], &days, horses(capacity));
        check(&plan, &needs, &days, capacity);
        let mut whose: BTreeMap<NaiveDate, usize> = BTreeMap::new();
        for (on, barn) in plan.on.iter().zip(&barns) {
            if let Ok(on) = on {
                prop_assert_eq!(*whose.entry(*on).or_insert(*barn), *barn);
            }
        }
        let of = |barn: usize| -> Vec<&Need> {
            needs.iter().zip(&barns).filter(|(_, other)| **other == barn).map(|(need, _)| need).collect()
        };
        let possible: Vec<Vec<&Need>> = (0..3)
            .map(|barn| of(barn).into_iter().filter(|need| matched(&[need], &days, 1) == 1).collect())
            .collect();
        let alone_fit = possible.iter().all(|of| matched(of, &days, capacity) == of.len());
        // Four choices a day: nobody, or one of three barns.
        let best = (0..4_usize.pow(6)).filter_map(|ways| {
            let owner = |n: usize| ways / 4_usize.pow(u32::try_from(n).unwrap_or(0)) % 4;
            let fits = possible.iter().enumerate().all(|(barn, of)| {
                let theirs: Vec<NaiveDate> = (0..6).filter(|n| owner(*n) == barn).map(|n| days[n]).collect();
                matched(of, &theirs, capacity) == of.len()
            });
            fits.then(|| (0..6).filter(|n| owner(*n) < 3).count())
        }).min();
        match best {
            Some(best) => {
                prop_assert!(plan.is_fewest);
                prop_assert_eq!(plan.days().len(), best);
            }
            None => prop_assert!(!alone_fit || !plan.is_fewest),
        }
    }
}

#[derive(Deserialize)]
struct Case {
    name: String,
    capacity: usize,
    days: Vec<u64>,
    needs: Vec<(u64, u64, usize)>,
    one_barn_a_day: bool,
    fewest: usize,
}

/// Source: `tests/oracles/visits.py`, an integer program that scipy's solver proves optimal.
#[test]
fn an_integer_program_finds_no_better_plan() {
    let cases: Vec<Case> =
        serde_json::from_str(include_str!("golden/visits.json")).expect("the golden file");
    assert!(cases.len() >= 30);
    for case in cases {
        let needs: Vec<Need> = case
            .needs
            .iter()
            .map(|(from, until, _)| need(*from, *until))
            .collect();
        let days = days(&case.days);
        let plan = if case.one_barn_a_day {
            one_barn_a_day(&needs, |n| case.needs[n].2, &days, horses(case.capacity))
        } else {
            plan(&needs, &days, horses(case.capacity))
        };
        check(&plan, &needs, &days, case.capacity);
        assert!(
            plan.on.iter().all(Result::is_ok) && plan.is_fewest,
            "{}",
            case.name
        );
        assert_eq!(plan.days().len(), case.fewest, "{}", case.name);
    }
}
