//! How long a horse's feet may wait for the farrier.

use chrono::{Datelike, NaiveDate};

use crate::figure::growth::age::whole_months;
use crate::rules::Rules;
use crate::sentence::{counted, words};
use crate::when::PartialDate;

use super::findings::{Judged, Severity};
use super::grades::Hemisphere;
use super::pack::{Cap, Hooves, IntervalRule};

/// What the interval goes by. What is unknown is `None`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wearer {
    /// When it was foaled.
    pub foaled_on: Option<PartialDate>,
    /// The day to answer for.
    pub on: Option<NaiveDate>,
    /// Whether it is shod.
    pub shod: Option<bool>,
    /// Where it lives, for the season; north if unknown.
    pub hemisphere: Option<Hemisphere>,
    /// Findings on its feet: code and severity.
    pub findings: Vec<(String, Severity)>,
    /// Whether a foot is out of balance or a red flag is up, so that nothing is stretched.
    pub out_of_balance: bool,
}

impl Wearer {
    /// Adds findings that were judged.
    pub fn add(&mut self, judged: &[Judged]) {
        for one in judged {
            self.findings.push((one.finding.clone(), one.severity));
            self.out_of_balance |= one.red_flag;
        }
    }
}

/// A suggested interval.
#[derive(Clone, Debug)]
pub struct Interval<'a> {
    /// Weeks from one visit to the next.
    pub weeks: u32,
    /// As long as it may be stretched.
    pub stretch_weeks: u32,
    /// Overdue from then on.
    pub overdue_weeks: u32,
    /// Why, in words, sentence by sentence.
    pub reasons: Vec<String>,
    /// The rule of its class.
    pub rule: &'a IntervalRule,
    /// The findings' rules that shorten it.
    pub caps: Vec<&'a Cap>,
}

/// The interval for a horse: its class's and season's, no longer than its findings allow. `None` where neither its age is
/// known nor that it is shod (which makes it grown).
///
/// Where age, shoes or season leave more than one class open, the shorter interval is given.
///
/// # Source
///
/// The pack `hoof`; each row names its own.
#[must_use]
pub fn suggest<'a>(wearer: &Wearer, rules: &'a Rules) -> Option<Interval<'a>> {
    let pack = &rules.hoof;
    let months = ages(wearer)?;
    let seasons: &[bool] = match wearer.on {
        Some(on) if is_winter(on, wearer.hemisphere, pack) => &[true],
        Some(_) => &[false],
        None => &[true, false],
    };
    let shods: &[bool] = match wearer.shod {
        Some(true) => &[true],
        Some(false) => &[false],
        None => &[true, false],
    };
    let fits = |row: &&IntervalRule| {
        months
            .iter()
            .any(|months| row.months.holds(f64::from(*months)))
            && row.shod.is_none_or(|shod| shods.contains(&shod))
            && row.winter.is_none_or(|winter| seasons.contains(&winter))
    };
    let rule = pack
        .intervals
        .iter()
        .filter(fits)
        .min_by_key(|row| (row.weeks, row.stretch_weeks, row.overdue_weeks))?;
    Some(shorten(rule, wearer, pack))
}

/// The ages in months that it can have; a shod horse of unknown age counts as grown.
fn ages(wearer: &Wearer) -> Option<Vec<u32>> {
    match (wearer.foaled_on, wearer.on) {
        (Some(foaled_on), Some(on)) => {
            let youngest = whole_months(foaled_on.latest().min(on), on);
            let oldest = whole_months(foaled_on.earliest(), on);
            Some((youngest..=oldest).take(600).collect())
        }
        _ if wearer.shod == Some(true) => Some(vec![60]),
        _ => None,
    }
}

fn is_winter(on: NaiveDate, hemisphere: Option<Hemisphere>, pack: &Hooves) -> bool {
    let hemisphere = hemisphere.unwrap_or(Hemisphere::North);
    pack.winters
        .iter()
        .any(|row| row.hemisphere == hemisphere && row.months.contains(&on.month()))
}

fn shorten<'a>(rule: &'a IntervalRule, wearer: &Wearer, pack: &'a Hooves) -> Interval<'a> {
    let mut interval = Interval {
        weeks: rule.weeks,
        stretch_weeks: rule.stretch_weeks,
        overdue_weeks: rule.overdue_weeks,
        reasons: vec![format!(
            "{}: it is {}.",
            counted(rule.weeks, "week", "weeks"),
            rule.says
        )],
        rule,
        caps: Vec::new(),
    };
    let found = |cap: &&Cap| {
        wearer
            .findings
            .iter()
            .any(|(code, severity)| *code == cap.finding && *severity >= cap.from_severity.max(1))
    };
    for cap in pack.caps.iter().filter(found) {
        interval.reasons.push(format!(
            "No more than {} with {}; the vet may set less.",
            counted(cap.weeks, "week", "weeks"),
            words(&cap.finding)
        ));
        interval.caps.push(cap);
        interval.weeks = interval.weeks.min(cap.weeks);
        interval.stretch_weeks = interval.stretch_weeks.min(interval.weeks);
        interval.overdue_weeks = interval.overdue_weeks.min(interval.weeks + 2);
    }
    if wearer.out_of_balance && interval.stretch_weeks > interval.weeks {
        interval.stretch_weeks = interval.weeks;
        interval
            .reasons
            .push("A foot is out of balance or needs the vet: don't stretch it.".to_owned());
    }
    interval
}
