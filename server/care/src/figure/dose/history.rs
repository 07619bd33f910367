//! What was given before, what is known of worms on this yard, and why it is given now.

use chrono::NaiveDate;

use crate::calendar::{Period, days_between};
use crate::code::{Efficacy, Shedder};
use crate::efficacy::YardTest;
use crate::fault::Faults;
use crate::sentence::{counted, words};
use crate::unit::plain;

use super::case::{Case, Findings, Under};
use super::code::Code;
use super::fact::DrugClass;
use super::input::{Earlier, Plan, Regimen};
use super::limit::LimitName;

/// Looks at the horse's and the yard's past.
pub(super) fn look(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    interval(case, found);
    resistance(case, found);
    programme(case, found)?;
    reduction_test(case, found)?;
    course(case, found);
    Ok(())
}

/// Case 10: too soon after the last one of its class, or the same one entered on two devices.
fn interval(case: &Case<'_>, found: &mut Findings) {
    if case.regimen == Regimen::Daily {
        return;
    }
    for earlier in &case.input.earlier {
        for id in &earlier.actives {
            let same_day = earlier.on == case.input.on;
            if same_day && case.all.iter().any(|active| active.id == *id) {
                found.warn(
                    Code::EnteredTwice,
                    format!("{} is in the record for {} already: if that is this dose, entered on another device, do not give it again", words(id), earlier.on),
                );
            } else if !same_day {
                too_soon(case, earlier, id, found);
            }
        }
    }
}

fn too_soon(case: &Case<'_>, earlier: &Earlier, id: &str, found: &mut Findings) {
    let theirs = case.pack.active(id).map(|active| &active.class);
    let ours = case.all.iter().find(|active| Some(&active.class) == theirs);
    let Some(class) = ours.and_then(|active| case.pack.class(&active.class)) else {
        return;
    };
    let days = days_between(earlier.on, case.input.on);
    if let Some(interval) = class.interval_days
        && days < i64::from(interval)
    {
        found.rest_on(case.pack, class);
        found.warn(
            Code::TooSoon,
            format!(
                "it had {} {} ago; two doses of a {} lie {} apart at least",
                words(id),
                counted(days, "day", "days"),
                class.name,
                counted(interval, "day", "days")
            ),
        );
    }
}

/// Case 15: how much of an active it already had today, in multiples of the label's dose (of one where nobody said
/// how much, or what the label gives is not known).
pub(super) fn given_today(case: &Case<'_>, active: &str, label_mg_per_kg: Option<f64>) -> f64 {
    let today = case
        .input
        .earlier
        .iter()
        .filter(|earlier| earlier.on == case.input.on);
    today
        .filter_map(|earlier| {
            let place = earlier.actives.iter().position(|id| id == active)?;
            let said = earlier.mg_per_kg.filter(|_| place == 0);
            let times = said
                .zip(label_mg_per_kg)
                .map(|(given, label)| given / label);
            Some(times.unwrap_or(1.0))
        })
        .sum()
}

/// Case 12: the yard's own egg counts say that it failed, the latest first. The vet must hear of it; the dose stays.
fn failures(case: &Case<'_>, found: &mut Findings) {
    let mut failed: Vec<&YardTest> = case
        .input
        .yard_tests
        .iter()
        .filter(|test| test.failed() && test.treated_on <= case.input.on)
        .filter(|test| {
            let tested = case.pack.active(test.active.code());
            tested.is_some_and(|tested| tested.class == case.active.class)
        })
        .collect();
    failed.sort_by_key(|test| std::cmp::Reverse(test.treated_on));
    for test in failed {
        let name = case
            .pack
            .active(test.active.code())
            .map_or("", |row| &*row.name);
        let kin = if test.active.code() == case.active.id {
            ""
        } else {
            ", which is of the same class"
        };
        let one = |percent: f64| plain((percent * 10.0).round() / 10.0);
        found.warn(
            Code::FailedHere,
            format!(
                "{name}{kin} failed in this yard: given on {}, it took {} % of the eggs away ({} to {} %, {}); ask the vet before you give it",
                test.treated_on,
                one(test.reduction_percent),
                one(test.low_percent),
                one(test.high_percent),
                counted(test.horses, "horse", "horses")
            ),
        );
    }
}

/// Case 12: it no longer works here, or nobody knows whether it does.
fn resistance(case: &Case<'_>, found: &mut Findings) {
    failures(case, found);
    let name = &case.active.name;
    let course = case.regimen == Regimen::Larvicidal
        && case.doses().any(|row| row.regimen == Regimen::Larvicidal);
    let others = case
        .pack
        .class(&case.active.class)
        .map_or("", |class| &class.others);
    match case.input.efficacy {
        Some(Efficacy::Resistant) => found.warn(
            Code::ResistantHere,
            format!("worms on this yard resist {name}: think of {others}; if you give it all the same, write down why"),
        ),
        Some(Efficacy::LowResistant) => found.warn(
            Code::ResistantHere,
            format!("worms on this yard begin to resist {name}: test again, and think of {others}"),
        ),
        Some(Efficacy::Inconclusive) | None if course => found.warn(
            Code::EfficacyUnknown,
            format!("worms widely resist {name}, and no test shows that the course works here: test first, and write down why you give it"),
        ),
        Some(Efficacy::Susceptible | Efficacy::Inconclusive) | None => {}
    }
}

/// Cases 13 and 14: given by the calendar, beyond need, or withheld from the young.
fn programme(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    let months = case.whole(LimitName::SelectiveFromMonths)?;
    let from = Period::months(months);
    let young = case.input.foaled_on.is_some() && case.age.under(from) != Under::No;
    if young {
        if case.input.plan == Some(Plan::EggCount) {
            found.rest_on_number(case, LimitName::SelectiveFromMonths);
            found.warn(
                Code::SelectiveInYoung,
                format!("under {months} months egg counts do not decide who goes without: treat the young by their programme"),
            );
        }
        return Ok(());
    }
    if case.input.plan == Some(Plan::FixedInterval) {
        found.rest_on_number(case, LimitName::BaselineTreatments);
        found.warn(
            Code::FixedInterval,
            "dosing grown horses every few weeks all year breeds resistant worms, and the guidelines say to stop it: go by egg counts",
        );
    }
    let baseline = case.number(LimitName::BaselineTreatments)?;
    let class = case.pack.class(&case.active.class);
    let counted = class.filter(|class| class.baseline);
    if let (Some(Shedder::Low), Some(class)) = (case.input.shedder, counted)
        && case.input.plan != Some(Plan::VetOrder)
        && f64::from(in_last_year(case, class)) >= baseline
    {
        found.rest_on_number(case, LimitName::BaselineTreatments);
        found.warn(
            Code::BeyondBaseline,
            format!(
                "it sheds few eggs and had {} treatments of this class within the year: more is against the guidelines",
                in_last_year(case, class)
            ),
        );
    }
    Ok(())
}

/// How many treatments of the class it had in the year before.
fn in_last_year(case: &Case<'_>, class: &DrugClass) -> u32 {
    let of_class = |id: &String| {
        case.pack
            .active(id)
            .is_some_and(|row| row.class == class.id)
    };
    let mut days: Vec<NaiveDate> = case
        .input
        .earlier
        .iter()
        .filter(|earlier| earlier.actives.iter().any(of_class))
        .map(|earlier| earlier.on)
        .filter(|on| Period::months(12).after(*on) > case.input.on)
        .collect();
    days.sort_unstable();
    days.dedup();
    u32::try_from(days.len()).unwrap_or(u32::MAX)
}

/// Case 17: what makes a reduction test unreadable.
fn reduction_test(case: &Case<'_>, found: &mut Findings) -> Result<(), Faults> {
    let Some(test) = &case.input.reduction_test else {
        return Ok(());
    };
    let first = case.number(LimitName::ReductionFromDay)?;
    let last = case.number(LimitName::ReductionUntilDay)?;
    let mut why: Vec<String> = Vec::new();
    if let Some(counted_on) = test.counted_on {
        let days = days_between(test.treated_on, counted_on);
        let day = f64::from(i32::try_from(days).unwrap_or(i32::MAX));
        if !(first..=last).contains(&day) {
            found.rest_on_number(case, LimitName::ReductionFromDay);
            why.push(format!(
                "it was counted on day {days}, not between day {} and day {}",
                plain(first),
                plain(last)
            ));
        }
    }
    let open = test
        .counted_on
        .is_none_or(|counted_on| case.input.on <= counted_on);
    if case.input.on > test.treated_on && open {
        why.push("this treatment comes before the second count".to_owned());
    }
    if test.same_method == Some(false) {
        why.push("the two counts were made by different methods".to_owned());
    }
    let class = case.pack.class(&case.active.class);
    if let (Some(eggs), Some(class)) = (test.eggs_before, class)
        && let Some(least) = class.least_eggs.filter(|least| eggs < *least)
    {
        let rule = format!("the fewest eggs for a {}", class.name);
        found.rest_on_part(case.pack, &rule, "memory", crate::rules::Mark::FromMemory);
        why.push(format!(
            "{} counted before treatment, and {least} are the fewest that can tell",
            counted(eggs, "egg was", "eggs were")
        ));
    }
    if !why.is_empty() {
        found.warn(
            Code::ReductionTestSpoiled,
            format!("the reduction test can't be classified: {}", why.join("; ")),
        );
    }
    Ok(())
}

/// Case 20: a course of five days with a gap is no course.
fn course(case: &Case<'_>, found: &mut Findings) {
    let mut days = case.input.course_days.clone();
    if days.is_empty() {
        return;
    }
    days.push(case.input.on);
    days.sort_unstable();
    days.dedup();
    let gap = days
        .windows(2)
        .find(|pair| matches!(pair, [one, next] if days_between(*one, *next) > 1));
    if let Some([one, next]) = gap {
        found.warn(
            Code::CourseBroken,
            format!(
                "nothing was given between {one} and {next}: the course is broken and counts for nothing against larvae in the gut wall; ask your vet whether to begin again"
            ),
        );
    }
}
