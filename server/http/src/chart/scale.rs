//! From numbers and days to places on paper.

use chrono::{Datelike, Months, NaiveDate};

/// How much room the label of a tick of time takes, in units of the paper.
const TIME_LABEL: f64 = 52.0;

/// Whether a number is drawn: what is below nothing, or beyond the most that can be, is a slip and is left to the table.
pub(super) fn can_be_drawn(number: f64, most: f64) -> bool {
    (0.0..=most).contains(&number)
}

/// Maps the numbers from `low` to `high` to the places from `start` to `end`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    start: f64,
    end: f64,
}

impl Scale {
    /// A scale; `high` is above `low`.
    pub(super) const fn new((low, high): (f64, f64), (start, end): (f64, f64)) -> Self {
        Self {
            low,
            high,
            start,
            end,
        }
    }

    /// Where a number lies; one that is off the scale lies at its edge.
    pub(super) fn at(&self, number: f64) -> f64 {
        let share = (number.clamp(self.low, self.high) - self.low) / (self.high - self.low);
        self.start + share * (self.end - self.start)
    }
}

/// Round numbers that span all of these, at most `most` steps apart: 1, 2 or 5 times a power of ten.
pub(super) fn ticks(numbers: impl IntoIterator<Item = f64>, most: u32) -> Vec<f64> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for number in numbers {
        low = low.min(number);
        high = high.max(number);
    }
    if low > high {
        (low, high) = (0.0, 1.0);
    }
    // Numbers that hardly differ get room around them, so that a flat line looks flat.
    let room = (high.abs() * 0.1).max(1.0);
    if high - low < room {
        let middle = f64::midpoint(low, high);
        (low, high) = ((middle - room / 2.0).max(0.0), middle + room / 2.0);
    }
    let rough = (high - low) / f64::from(most.max(1));
    let power = 10.0_f64.powf(rough.log10().floor());
    let mut steps = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0]
        .into_iter()
        .map(|times| times * power);
    let fits = |step: f64| (high / step).ceil() - (low / step).floor() <= f64::from(most);
    let step = steps.find(|step| fits(*step)).unwrap_or(100.0 * power);
    let (first, last) = ((low / step).floor(), (high / step).ceil());
    let mut ticks = vec![first * step];
    let mut at = first;
    while at < last {
        at += 1.0;
        ticks.push(at * step);
    }
    ticks
}

/// The days from `first` to `last`, on paper from `start` to `end`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Time {
    first: NaiveDate,
    last: NaiveDate,
    scale: Scale,
    start: f64,
    end: f64,
}

impl Time {
    /// A scale of at least two months; a shorter time gets room on both sides.
    pub(super) fn new(first: NaiveDate, last: NaiveDate, (start, end): (f64, f64)) -> Self {
        let (mut first, mut last) = (first.min(last), first.max(last));
        if days(last) - days(first) < 60.0 {
            first = first.checked_sub_months(Months::new(1)).unwrap_or(first);
            last = last.checked_add_months(Months::new(1)).unwrap_or(last);
        }
        let scale = Scale::new((days(first), days(last)), (start, end));
        Self {
            first,
            last,
            scale,
            start,
            end,
        }
    }

    /// Where a day lies; one that is off the scale lies at its edge.
    pub(super) fn at(&self, day: NaiveDate) -> f64 {
        self.scale.at(days(day))
    }

    /// Whether a day lies on the scale.
    pub(super) fn holds(&self, day: NaiveDate) -> bool {
        (self.first..=self.last).contains(&day)
    }

    /// Firsts of months with their labels, as many as there is room for.
    pub(super) fn ticks(&self) -> Vec<(f64, String)> {
        let room = ((self.end - self.start) / TIME_LABEL).max(1.0);
        let span = (days(self.last) - days(self.first)) / 30.44;
        let step = [1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200, 6000]
            .into_iter()
            .find(|step| span / f64::from(*step) <= room)
            .unwrap_or(12_000);
        let mut ticks = Vec::new();
        let mut month = self.first.year() * 12 + self.first.month0().cast_signed();
        month = month.div_euclid(step) * step;
        loop {
            let (year, month0) = (month.div_euclid(12), month.rem_euclid(12).unsigned_abs());
            let Some(day) = NaiveDate::from_ymd_opt(year, month0 + 1, 1) else {
                break;
            };
            if day > self.last {
                break;
            }
            if day >= self.first {
                let label = if step < 12 {
                    day.format("%b ’%y").to_string()
                } else {
                    year.to_string()
                };
                ticks.push((self.at(day), label));
            }
            month += step;
        }
        ticks
    }
}

/// A day as a number.
fn days(day: NaiveDate) -> f64 {
    f64::from(day.num_days_from_ce())
}

/// Moves places apart until they are at least `gap` from each other, in their order, and none beyond `most`.
pub(super) fn apart(wanted: &[f64], gap: f64, most: f64) -> Vec<f64> {
    let mut places = wanted.to_vec();
    for n in 1..places.len() {
        places[n] = places[n].max(places[n - 1] + gap);
    }
    let mut limit = most;
    for place in places.iter_mut().rev() {
        *place = place.min(limit);
        limit = *place - gap;
    }
    places
}

/// The entries that are shown: those of the last `years` before `on`, and at least those of the last day. The others
/// are counted: a picture of twenty years is a smear.
pub(super) fn recent<T>(
    entries: Vec<T>,
    on: NaiveDate,
    years: u32,
    day: impl Fn(&T) -> NaiveDate,
) -> (Vec<T>, usize) {
    let since = on
        .checked_sub_months(Months::new(12 * years))
        .unwrap_or(NaiveDate::MIN);
    let last = entries.iter().map(&day).max().unwrap_or(since);
    let all = entries.len();
    let kept: Vec<T> = entries
        .into_iter()
        .filter(|entry| day(entry) >= since.min(last))
        .collect();
    let older = all - kept.len();
    (kept, older)
}
