//! The fewest days on which a farrier or a vet must come so that every horse is seen in its time.
//!
//! Given are the visits that horses need, each with the days that are right for it, the days on which somebody can come,
//! and how many horses can be seen on one day. Answered is a day for each visit, or why there is none.
//!
//! **What is best here**, in this order:
//! 1. As many visits as possible are fitted in. Where not all can be, what is late already goes first, then what has the
//!    earliest last day; among equals the caller's order decides.
//! 2. What is late is done as soon as possible: the day on which the last late horse is seen is as early as all other
//!    horses' windows allow.
//! 3. On the fewest days.
//! 4. Of all plans on so few days each day is as late as it can be: the first, the second and so on. A window's last day is
//!    still right for the horse, and later visits mean fewer of them in a year. A day's free places go to the horses whose
//!    turn would come next.
//!
//! **Why it is the fewest.** Taking whoever must be seen next on their last day is not enough where more horses have the
//! same last day than can be seen on it. So first, from the last day backwards, what is too much for a day is moved to the
//! day before, those first whose window opens earliest; then, from the first day on, somebody comes only on a last day, and
//! free places are filled by the earliest last days. This is the minimisation of active time for unit jobs by lazy
//! activation: J. Chang, H. N. Gabow, S. Khuller, "A model for minimizing active processor time", Algorithmica 70 (2014)
//! 368–405, <https://doi.org/10.1007/s00453-013-9807-y>. Days off drop out by counting only the days on which somebody can
//! come. Which visits fit at all is a matroid (sets of visits that can be matched to places), so taking them by rank and
//! leaving out what no longer fits leaves out as few as possible.
//!
//! **One barn a day.** If no day may be shared by barns, the barns need days that don't meet. As long as each barn's own
//! best plan takes other days, these plans together are best. Where they meet, it depends on who gives way, and no longer
//! follows from a greedy rule: `one_barn` tries the ways out, the most promising first, and says in [`Plan::is_fewest`]
//! whether it came to a proof.

mod job;
mod lazy;
mod one_barn;
mod work;

use std::num::NonZeroUsize;

use chrono::{Datelike, NaiveDate, Weekday};

pub use job::{Group, group};
pub use one_barn::one_barn_a_day;
pub use work::{DayOfWeek, Reason, Work};

use lazy::Job;

/// The days on which somebody can come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub until: NaiveDate,
    /// Days of the week on which they don't.
    pub without_weekdays: Vec<Weekday>,
    /// Days on which they don't.
    pub without: Vec<NaiveDate>,
}

impl Span {
    /// The days, in order.
    #[must_use]
    pub fn days(&self) -> Vec<NaiveDate> {
        self.from
            .iter_days()
            .take_while(|day| *day <= self.until)
            .filter(|day| {
                !self.without_weekdays.contains(&day.weekday()) && !self.without.contains(day)
            })
            .collect()
    }
}

/// A visit that a horse needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Need {
    /// The first day that is right for it.
    pub from: NaiveDate,
    /// The last day that is right for it.
    pub until: NaiveDate,
    /// Whether it should have been before now, so that it must be as soon as possible. `from` is then taken as now.
    pub late: bool,
}

/// A day for each visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// For each need, in the order of the needs.
    pub on: Vec<Result<NaiveDate, Reason>>,
    /// Whether these days are proven to be the fewest for what they hold.
    pub is_fewest: bool,
}

impl Plan {
    /// The days on which somebody must come, in order.
    #[must_use]
    pub fn days(&self) -> Vec<NaiveDate> {
        let mut days: Vec<NaiveDate> = self.on.iter().filter_map(|on| on.ok()).collect();
        days.sort_unstable();
        days.dedup();
        days
    }
}

/// Plans visits. `days` are the days on which somebody can come, in order, each once; of two needs that are pressing alike
/// the earlier in the list goes first. See the module's text for what is best and why it is found.
#[must_use]
pub fn plan(needs: &[Need], days: &[NaiveDate], capacity: NonZeroUsize) -> Plan {
    let capacity = capacity.get();
    let mut on = vec![Err(Reason::NobodyComes); needs.len()];
    let mut asked: Vec<usize> = Vec::new();
    let mut jobs: Vec<Job> = Vec::new();
    for n in by_rank(needs) {
        if let Some(job) = job_of(&needs[n], days) {
            asked.push(n);
            jobs.push(job);
        }
    }
    let fitting = lazy::fitting(&jobs, capacity);
    for (n, fits) in asked.iter().zip(&fitting) {
        if !fits {
            on[*n] = Err(Reason::Full);
        }
    }
    let mut kept = fitting.iter();
    asked.retain(|_| kept.next().is_some_and(|fits| *fits));
    let mut kept = fitting.iter();
    jobs.retain(|_| kept.next().is_some_and(|fits| *fits));
    hasten(&mut jobs, |n| needs[asked[n]].late, days.len(), capacity);
    for (n, day) in asked.iter().zip(lazy::fewest(&jobs, capacity)) {
        on[*n] = Ok(days[day]);
    }
    Plan {
        on,
        is_fewest: true,
    }
}

/// What is late first, then by last day.
fn by_rank(needs: &[Need]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..needs.len()).collect();
    order.sort_by_key(|n| {
        let need = &needs[*n];
        (!need.late, (!need.late).then_some(need.until))
    });
    order
}

/// The need in counted days; none if it holds none of them.
fn job_of(need: &Need, days: &[NaiveDate]) -> Option<Job> {
    let first = if need.late {
        0
    } else {
        days.partition_point(|day| *day < need.from)
    };
    let end = days.partition_point(|day| *day <= need.until);
    (first < end).then(|| Job {
        first,
        last: end - 1,
    })
}

/// Draws the last day of what is late to the earliest with which all still fit.
fn hasten(jobs: &mut [Job], late: impl Fn(usize) -> bool, days: usize, capacity: usize) {
    let drawn = |by: usize| -> Vec<Job> {
        let each = jobs.iter().enumerate();
        each.map(|(n, job)| Job {
            last: if late(n) { job.last.min(by) } else { job.last },
            ..*job
        })
        .collect()
    };
    let (mut low, mut high) = (0, days.saturating_sub(1));
    while low < high {
        let middle = low.midpoint(high);
        if lazy::last_days(&drawn(middle), capacity).is_some() {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    let drawn = drawn(low);
    jobs.copy_from_slice(&drawn);
}
