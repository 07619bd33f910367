//! Whether dewormers still work in a yard: its egg counts before and after treatments, put together into reduction tests.
//!
//! Nothing is asked of people but to record their counts: the pairs are found in the record, and what spoils a pair is said.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate, TimeDelta};
use serde::{Deserialize, Serialize};

use crate::code::{Active, Efficacy, Parasite};
use crate::details::{Details, Deworming, EggCount};
use crate::effective::effective;
use crate::figure::Basis;
use crate::figure::reduction::{self, Design, Factors, Side, Sides};
use crate::horse::CareEvent;
use crate::ids::HorseId;
use crate::kind::Kind;
use crate::rules::herd_health::CountWindow;
use crate::rules::{Rules, Source};
use crate::sentence::counted;

/// The kinds that tests are made of.
pub const KINDS: [Kind; 2] = [Kind::Deworming, Kind::EggCount];

/// The day after treatment at which the second count says most; of several counts the nearest to it is taken.
///
/// # Source
///
/// AAEP Internal Parasite Control Guidelines 2024, page 14: count again at day 14.
const BEST_DAY: i64 = 14;

/// A horse of the yard.
#[derive(Clone, Debug)]
pub struct Member {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub name: Option<String>,
    /// Since when it stands here; missing if as long as anybody knows. What happened elsewhere says nothing of this yard.
    pub since: Option<NaiveDate>,
    /// Its dewormings and egg counts, and what was said about them.
    pub events: Vec<CareEvent>,
}

/// A horse with both counts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct CountPair {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: Option<String>,
    /// The day of the count before.
    pub before_on: NaiveDate,
    /// The eggs seen then.
    pub before_eggs: u32,
    /// The day of the count after.
    pub after_on: NaiveDate,
    /// The eggs seen then.
    pub after_eggs: u32,
    /// Eggs per gram that one egg stood for, before and after.
    pub factors: [f64; 2],
}

/// A treated horse that can't be counted in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LeftOut {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: Option<String>,
    /// Why.
    pub why: String,
}

/// What the counts around one treatment say of a dewormer in this yard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = YardReduction))]
pub struct Test {
    /// The dewormer.
    pub active: Active,
    /// The day it was given.
    pub treated_on: NaiveDate,
    /// How many horses had it that day.
    pub horses_treated: usize,
    /// The horses with both counts.
    pub pairs: Vec<CountPair>,
    /// The others.
    pub left_out: Vec<LeftOut>,
    /// The judgement; null while there is too little to judge by.
    pub verdict: Option<Efficacy>,
    /// The reduction with its interval; null while there is too little to judge by.
    pub figure: Option<reduction::Answer>,
    /// What is lacking for a judgement, in words.
    pub missing: Vec<String>,
    /// The first and last day for the counts after.
    pub count_again: [NaiveDate; 2],
}

/// A yard's tests.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = YardEfficacy))]
pub struct Answer {
    /// The tests, the latest treatment first.
    pub tests: Vec<Test>,
    /// Treatments around which no egg was counted at all.
    pub treatments_without_counts: usize,
    /// What the answer rests on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// What a test in this yard said of a dewormer, for whoever is about to give it again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct YardTest {
    /// The dewormer.
    pub active: Active,
    /// The day of the treatment that was tested.
    pub treated_on: NaiveDate,
    /// The judgement.
    pub verdict: Efficacy,
    /// How many horses were counted.
    pub horses: usize,
    /// The reduction, in percent.
    pub reduction_percent: f64,
    /// The lower end of its interval, in percent.
    pub low_percent: f64,
    /// The upper end of its interval, in percent.
    pub high_percent: f64,
}

impl YardTest {
    /// Whether the dewormer failed.
    #[must_use]
    pub const fn failed(&self) -> bool {
        matches!(self.verdict, Efficacy::Resistant | Efficacy::LowResistant)
    }
}

impl Answer {
    /// The tests that came to a judgement, in few numbers.
    #[must_use]
    pub fn judged(&self) -> Vec<YardTest> {
        let judged = self.tests.iter().filter_map(|test| {
            let figure = test.figure.as_ref()?;
            let interval = figure.interval.as_ref()?;
            Some(YardTest {
                active: test.active,
                treated_on: test.treated_on,
                verdict: test.verdict?,
                horses: test.pairs.len(),
                reduction_percent: figure.reduction_percent,
                low_percent: interval.low,
                high_percent: interval.high,
            })
        });
        judged.collect()
    }
}

/// A count that was made.
#[derive(Clone, Debug)]
struct Count {
    on: NaiveDate,
    read: EggCount,
}

/// One horse's treatments and counts.
struct Record<'a> {
    member: &'a Member,
    treatments: Vec<(NaiveDate, Deworming)>,
    counts: Vec<Count>,
}

impl<'a> Record<'a> {
    fn of(member: &'a Member) -> Self {
        let mut record = Self {
            member,
            treatments: Vec::new(),
            counts: Vec::new(),
        };
        for one in effective(&member.events).in_force() {
            let Ok(day) = one.event.day() else { continue };
            if member.since.is_some_and(|since| day < since) {
                continue;
            }
            match Details::parse_known(one.event.kind, one.details) {
                Some(Details::Deworming(given)) => record.treatments.push((day, given)),
                Some(Details::EggCount(read)) => record.counts.push(Count {
                    on: read.collected_at.map_or(day, |at| at.date_naive()),
                    read,
                }),
                _ => {}
            }
        }
        record.counts.sort_by_key(|count| count.on);
        record
    }

    /// Its pair of counts around a treatment, or why there is none.
    fn pair(
        &self,
        active: Active,
        on: NaiveDate,
        window: &CountWindow,
    ) -> Result<CountPair, String> {
        let combined = self
            .treatments
            .iter()
            .any(|(day, given)| *day == on && given.actives != [active]);
        if combined {
            return Err(
                "it had another dewormer the same day, so nobody can tell which one worked"
                    .to_owned(),
            );
        }
        let before = self
            .counts
            .iter()
            .rev()
            .find(|count| (0..=window.before_days).contains(&(on - count.on).num_days()))
            .ok_or_else(|| {
                format!(
                    "no count within the {} days before treatment",
                    window.before_days
                )
            })?;
        let days = window.after_from_days..=window.after_until_days;
        let after = self
            .counts
            .iter()
            .filter(|count| days.contains(&(count.on - on).num_days()))
            .min_by_key(|count| ((count.on - on).num_days() - BEST_DAY).abs())
            .ok_or_else(|| {
                format!(
                    "no count from day {} to day {} after treatment",
                    window.after_from_days, window.after_until_days
                )
            })?;
        let other = self
            .treatments
            .iter()
            .find(|(day, _)| *day != on && (before.on..=after.on).contains(day));
        if let Some((day, _)) = other {
            return Err(format!(
                "it had another dewormer between the counts, on {day}"
            ));
        }
        let named = |count: &Count| {
            count
                .read
                .method
                .as_ref()
                .map(|text| text.trim().to_lowercase())
        };
        if let (Some(first), Some(second)) = (named(before), named(after))
            && first != second
        {
            return Err(format!(
                "its counts were made by different methods, {first} and {second}"
            ));
        }
        let (eggs, factor) = seen(before).ok_or_else(|| not_seen("before"))?;
        let (left, factor_after) = seen(after).ok_or_else(|| not_seen("after"))?;
        if eggs == 0 {
            return Err("no egg was seen before treatment, so none can have gone".to_owned());
        }
        Ok(CountPair {
            horse_id: self.member.horse_id,
            horse: self.member.name.clone(),
            before_on: before.on,
            before_eggs: eggs,
            after_on: after.on,
            after_eggs: left,
            factors: [factor, factor_after],
        })
    }
}

fn not_seen(when: &str) -> String {
    format!(
        "of the count {when}, only eggs per gram are on record: the eggs that were seen, and the factor, are needed"
    )
}

/// The eggs that were seen, and what one stands for.
fn seen(count: &Count) -> Option<(u32, f64)> {
    count
        .read
        .eggs_counted
        .zip(count.read.multiplication_factor)
}

/// The tests that a yard's record holds, as they can be judged on a day.
///
/// One for each dewormer and day of treatment around which eggs were counted.
#[must_use]
pub fn efficacy(members: &[Member], on: NaiveDate, rules: &Rules) -> Answer {
    let records: Vec<Record<'_>> = members.iter().map(Record::of).collect();
    let mut treatments: BTreeMap<(NaiveDate, Active), Vec<&Record<'_>>> = BTreeMap::new();
    for record in &records {
        for (day, given) in &record.treatments {
            for active in &given.actives {
                let horses = treatments.entry((*day, *active)).or_default();
                if *day <= on && !horses.iter().any(|one| std::ptr::eq(*one, record)) {
                    horses.push(record);
                }
            }
        }
    }
    let mut basis = Basis::default();
    let (mut tests, mut without) = (Vec::new(), 0);
    for ((day, active), horses) in treatments.into_iter().rev() {
        let Some(window) = rules
            .herd_health
            .window(active)
            .filter(|_| !horses.is_empty())
        else {
            continue;
        };
        let around = |count: &Count| {
            let days = (count.on - day).num_days();
            (-window.before_days..=window.after_until_days).contains(&days)
        };
        if !horses.iter().any(|record| record.counts.iter().any(around)) {
            without += 1;
            continue;
        }
        if let Some(source) = rules.herd_health.source(window) {
            basis.rests_on(&window.id, source, window.mark);
        }
        tests.push(test((day, active), &horses, window, (on, rules)));
    }
    for test in &tests {
        let Some(figure) = &test.figure else { continue };
        for source in &figure.sources {
            if !basis.sources.contains(source) {
                basis.sources.push(source.clone());
            }
        }
        figure.cautions.iter().for_each(|one| basis.caution(one));
    }
    basis.caution("A test of a few horses speaks for this yard and this time. Ask your vet before you change dewormers.");
    Answer {
        tests,
        treatments_without_counts: without,
        sources: basis.sources,
        cautions: basis.cautions,
    }
}

fn test(
    (day, active): (NaiveDate, Active),
    horses: &[&Record<'_>],
    window: &CountWindow,
    (on, rules): (NaiveDate, &Rules),
) -> Test {
    let (mut pairs, mut left_out) = (Vec::new(), Vec::new());
    for record in horses {
        match record.pair(active, day, window) {
            Ok(pair) => pairs.push(pair),
            Err(why) => left_out.push(LeftOut {
                horse_id: record.member.horse_id,
                horse: record.member.name.clone(),
                why,
            }),
        }
    }
    let after = |days: i64| {
        let days = u64::try_from(days).unwrap_or(0);
        day.checked_add_days(Days::new(days)).unwrap_or(day)
    };
    let count_again = [
        after(window.after_from_days),
        after(window.after_until_days),
    ];
    let mut missing = lacks(&pairs, rules);
    if !missing.is_empty() && on <= count_again[1] {
        missing.push(format!(
            "count the same horses again between {} and {}, by the same method",
            count_again[0], count_again[1]
        ));
    }
    let mut figure = None;
    if missing.is_empty() {
        match reduction::reduction(&input(&pairs, active), rules) {
            Ok(answer) => figure = Some(answer),
            Err(faults) => missing.push(faults.to_string()),
        }
    }
    Test {
        active,
        treated_on: day,
        horses_treated: horses.len(),
        verdict: figure.as_ref().map(|answer| answer.class),
        pairs,
        left_out,
        figure,
        missing,
        count_again,
    }
}

/// What a judgement lacks.
fn lacks(pairs: &[CountPair], rules: &Rules) -> Vec<String> {
    let mut missing = Vec::new();
    if let Some(size) = rules.egg_counts.sizes.last() {
        if pairs.len() < size.horses {
            missing.push(format!(
                "{} with a count before and after, and at least {} are needed",
                counted(pairs.len(), "horse", "horses"),
                size.horses
            ));
        }
        let eggs: f64 = pairs.iter().map(|pair| f64::from(pair.before_eggs)).sum();
        if eggs < size.eggs_before {
            missing.push(format!(
                "{} seen before treatment in all, and at least {} are needed: count more of each sample",
                counted(eggs, "egg", "eggs"),
                size.eggs_before
            ));
        }
    } else if pairs.is_empty() {
        missing.push("no horse has a count before and after".to_owned());
    }
    missing
}

fn input(pairs: &[CountPair], active: Active) -> reduction::Input {
    let side = |at: usize| Side::Each(pairs.iter().map(|pair| pair.factors[at]).collect());
    reduction::Input {
        active: Some(active),
        parasite: Some(Parasite::Strongyles),
        design: Some(Design::Paired),
        before: pairs.iter().map(|pair| pair.before_eggs).collect(),
        after: pairs.iter().map(|pair| pair.after_eggs).collect(),
        multiplication_factor: Some(Factors::Sides(Sides {
            before: side(0),
            after: side(1),
        })),
        expected_percent: None,
        lower_percent: None,
    }
}

/// The first day of a horse's stay from which on its record speaks for a yard: a stay that began before the record did has
/// no first day. `moves` are the days on which it came to a barn, the earliest first, with whether that is the one.
#[must_use]
pub fn since(moves: &[(NaiveDate, bool)]) -> Option<NaiveDate> {
    let last_elsewhere = moves.iter().rposition(|(_, here)| !here)?;
    moves
        .get(last_elsewhere + 1)
        .map(|(day, _)| *day)
        .or_else(|| moves.last().map(|(day, _)| *day + TimeDelta::days(1)))
}
