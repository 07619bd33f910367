//! Visits where each day belongs to one barn.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};
use std::num::NonZeroUsize;

use chrono::NaiveDate;

use super::{Need, Plan, plan};

/// So many ways out are tried before the search gives up on a proof: well under a second for a yard of hundreds.
const TRIES: usize = 2_000;

/// Plans visits so that no day is shared by two barns; `barn` tells a need's barn by its place in the list.
///
/// Each barn's plan is the best for the days that are left to it. Where two plans meet on a day, that day belongs to one of
/// them and is taken from the others: each way is followed, the one first that promises the earliest end of what is late
/// and then the fewest days, and since taking days away never makes that better, the first plan without a shared day is the
/// best. If the tries run out, or if not all fit in this way, the barns choose their days one after the other, the most
/// pressing first, and [`Plan::is_fewest`] is false.
#[must_use]
pub fn one_barn_a_day<B: Ord + Copy>(
    needs: &[Need],
    barn: impl Fn(usize) -> B,
    days: &[NaiveDate],
    capacity: NonZeroUsize,
) -> Plan {
    let mut of: BTreeMap<B, Vec<usize>> = BTreeMap::new();
    for n in 0..needs.len() {
        of.entry(barn(n)).or_default().push(n);
    }
    let mut barns: Vec<Vec<usize>> = of.into_values().collect();
    let search = Search {
        needs,
        days,
        capacity,
    };
    let alone: Vec<Barn> = barns
        .iter()
        .map(|of| search.barn(of, BTreeSet::new()))
        .collect();
    // What doesn't fit even with all days to its barn never does.
    let mut on: Vec<_> = needs.iter().map(|_| None).collect();
    for (of, barn) in barns.iter_mut().zip(&alone) {
        for (n, day) in of.iter().zip(&barn.plan.on) {
            on[*n] = day.err().map(Err);
        }
        of.retain(|n| on[*n].is_none());
    }
    let found = search.best(&barns);
    let is_fewest = found.is_some();
    let plans = found.unwrap_or_else(|| search.one_after_the_other(&barns));
    for (of, barn) in barns.iter().zip(plans) {
        for (n, day) in of.iter().zip(barn.plan.on) {
            on[*n] = Some(day);
        }
    }
    Plan {
        on: on.into_iter().flatten().collect(),
        is_fewest,
    }
}

struct Search<'a> {
    needs: &'a [Need],
    days: &'a [NaiveDate],
    capacity: NonZeroUsize,
}

/// A barn's plan without the days that belong to others.
#[derive(Clone)]
struct Barn {
    without: BTreeSet<NaiveDate>,
    plan: Plan,
    /// The days of the plan.
    on: Vec<NaiveDate>,
    /// The place, counted from 1, of the day on which the last late horse is seen; 0 if none is late.
    late_until: usize,
}

impl Search<'_> {
    fn barn(&self, of: &[usize], without: BTreeSet<NaiveDate>) -> Barn {
        let needs: Vec<Need> = of.iter().map(|n| self.needs[*n]).collect();
        let left = self.days.iter().filter(|day| !without.contains(day));
        let days: Vec<NaiveDate> = left.copied().collect();
        let plan = plan(&needs, &days, self.capacity);
        let late = needs.iter().zip(&plan.on).filter(|(need, _)| need.late);
        let late_until = late.filter_map(|(_, on)| on.ok()).max();
        Barn {
            without,
            on: plan.days(),
            late_until: late_until.map_or(0, |last| self.days.partition_point(|day| *day <= last)),
            plan,
        }
    }

    /// The best plans without a shared day; none if there are none or if the tries ran out.
    fn best(&self, barns: &[Vec<usize>]) -> Option<Vec<Barn>> {
        let start: Vec<Barn> = barns
            .iter()
            .map(|of| self.barn(of, BTreeSet::new()))
            .collect();
        let mut open = BinaryHeap::from([Reverse((cost(&start), 0))]);
        let mut ways = vec![start];
        while let Some(Reverse((_, at))) = open.pop() {
            let way = std::mem::take(&mut ways[at]);
            let Some((day, sharing)) = shared(&way) else {
                return Some(way);
            };
            for keeps in &sharing {
                if ways.len() >= TRIES {
                    return None;
                }
                let mut next = way.clone();
                for gives_way in sharing.iter().filter(|other| *other != keeps) {
                    let mut without = next[*gives_way].without.clone();
                    without.insert(day);
                    next[*gives_way] = self.barn(&barns[*gives_way], without);
                }
                if next
                    .iter()
                    .all(|barn| barn.plan.on.iter().all(Result::is_ok))
                {
                    open.push(Reverse((cost(&next), ways.len())));
                    ways.push(next);
                }
            }
        }
        None
    }

    /// Each barn takes its days from what those before it left.
    fn one_after_the_other(&self, barns: &[Vec<usize>]) -> Vec<Barn> {
        let mut order: Vec<usize> = (0..barns.len()).collect();
        order.sort_by_key(|n| {
            let needs = barns[*n].iter().map(|need| self.needs[*need]);
            needs.map(|need| (!need.late, need.until)).min()
        });
        let mut taken = BTreeSet::new();
        let mut plans = BTreeMap::new();
        for n in order {
            let barn = self.barn(&barns[n], taken.clone());
            taken.extend(&barn.on);
            plans.insert(n, barn);
        }
        plans.into_values().collect()
    }
}

/// How late the last late horses are seen, then how many days it takes. Never less once a barn has lost a day.
fn cost(barns: &[Barn]) -> (usize, usize) {
    let late = barns.iter().map(|barn| barn.late_until).sum();
    (late, barns.iter().map(|barn| barn.on.len()).sum())
}

/// The first day that several barns' plans take, and which do.
fn shared(barns: &[Barn]) -> Option<(NaiveDate, Vec<usize>)> {
    let mut on: BTreeMap<NaiveDate, Vec<usize>> = BTreeMap::new();
    for (n, barn) in barns.iter().enumerate() {
        for day in &barn.on {
            on.entry(*day).or_default().push(n);
        }
    }
    on.into_iter().find(|(_, sharing)| sharing.len() > 1)
}
