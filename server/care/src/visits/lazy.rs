//! Unit jobs on counted days, so many a day, on the fewest days: Chang, Gabow and Khuller (2014), see `super`.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Takes one place on one of the days `first` to `last`, both counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Job {
    pub(super) first: usize,
    pub(super) last: usize,
}

/// The last day of each job once what is too much for a day has been moved to the day before: at most `capacity` jobs
/// share one, and the same sets of days serve as before. None if the jobs don't all fit.
pub(super) fn last_days(jobs: &[Job], capacity: usize) -> Option<Vec<usize>> {
    let mut to_come: Vec<usize> = (0..jobs.len()).collect();
    to_come.sort_by_key(|n| jobs[*n].last);
    let mut last = vec![0; jobs.len()];
    // Those whose window opens latest come out first: they can least be moved.
    let mut waiting: BinaryHeap<(usize, usize)> = BinaryHeap::new();
    let mut day = 0;
    loop {
        if waiting.is_empty() {
            match to_come.last() {
                None => return Some(last),
                Some(n) => day = jobs[*n].last,
            }
        }
        while let Some(n) = to_come.pop_if(|n| jobs[*n].last == day) {
            waiting.push((jobs[n].first, n));
        }
        for (_, n) in std::iter::from_fn(|| waiting.pop()).take(capacity) {
            last[n] = day;
        }
        match waiting.peek() {
            Some((first, _)) if *first >= day => return None,
            Some(_) => day -= 1,
            None => {}
        }
    }
}

/// Which jobs are kept if they are taken one after the other and what no longer fits is left out.
pub(super) fn fitting(jobs: &[Job], capacity: usize) -> Vec<bool> {
    if last_days(jobs, capacity).is_some() {
        return vec![true; jobs.len()];
    }
    let mut kept: Vec<Job> = Vec::with_capacity(jobs.len());
    let fits = jobs.iter().map(|job| {
        kept.push(*job);
        let fits = last_days(&kept, capacity).is_some();
        if !fits {
            kept.pop();
        }
        fits
    });
    fits.collect()
}

/// A day for each job, on the fewest days; empty if they don't all fit.
pub(super) fn fewest(jobs: &[Job], capacity: usize) -> Vec<usize> {
    let Some(last) = last_days(jobs, capacity) else {
        return Vec::new();
    };
    let mut by_last: Vec<usize> = (0..jobs.len()).collect();
    by_last.sort_by_key(|n| last[*n]);
    let mut by_first: Vec<usize> = (0..jobs.len()).collect();
    by_first.sort_by_key(|n| Reverse(jobs[*n].first));
    let mut open: BinaryHeap<Reverse<(usize, usize)>> = BinaryHeap::new();
    let mut on: Vec<Option<usize>> = vec![None; jobs.len()];
    for n in by_last {
        if on[n].is_some() {
            continue;
        }
        let day = last[n];
        while let Some(n) = by_first.pop_if(|n| jobs[*n].first <= day) {
            open.push(Reverse((last[n], n)));
        }
        for Reverse((_, n)) in std::iter::from_fn(|| open.pop()).take(capacity) {
            on[n] = Some(day);
        }
    }
    on.into_iter().flatten().collect()
}
