//! Weights, and for a young horse the curve that its grown weight lets expect.

use chrono::{Days, NaiveDate};
use maud::html;
use whorl_care::code::WeightMethod;
use whorl_care::details::{Details, Weight};
use whorl_care::figure::growth::pack::ToleranceName;
use whorl_care::figure::growth::{self, age};
use whorl_care::horse::{CareEvent, Horse};
use whorl_care::kind::Kind;
use whorl_care::profile::profile;
use whorl_care::record::Record;
use whorl_care::rules::Rules;
use whorl_care::sentence::counted;
use whorl_care::unit::plain;

use super::paper::{self, LINE, Mark, Plot, Sample, WIDTH};
use super::scale::{self, ticks};
use super::{Drawn, day_text, titled};

/// How many years are shown.
const YEARS: u32 = 5;

/// No horse weighs more than this, in kilograms.
const HEAVIEST: f64 = 2000.0;

/// Days between two places of the curve.
const STEP: u64 = 10;

/// A weight.
struct Weighed {
    day: NaiveDate,
    kg: f64,
    method: Option<WeightMethod>,
}

/// What is expected on a day, in kilograms.
struct Expected {
    day: NaiveDate,
    low: f64,
    middle: f64,
    high: f64,
}

/// What the picture shows.
pub(super) struct Weights {
    title: String,
    on: NaiveDate,
    weighed: Vec<Weighed>,
    older: usize,
    expected: Vec<Expected>,
    rows: Vec<Vec<String>>,
}

impl Weights {
    /// Takes them from a log.
    pub(super) fn of(log: &[CareEvent], on: NaiveDate, rules: &Rules) -> Self {
        let all: Vec<Weighed> = Record::of(log)
            .weighings
            .iter()
            .filter_map(|look| {
                let Some(Details::Weight(Weight {
                    weight_kg, method, ..
                })) = Details::parse_known(Kind::Weight, look.details)
                else {
                    return None;
                };
                Some(Weighed {
                    day: look.entry.day,
                    kg: weight_kg,
                    method,
                })
            })
            .collect();
        let horse = profile(log);
        let rows = all
            .iter()
            .rev()
            .map(|one| row(one, &horse, rules))
            .collect();
        let drawable = all
            .into_iter()
            .filter(|one| scale::can_be_drawn(one.kg, HEAVIEST))
            .collect();
        let (weighed, older) = scale::recent(drawable, on, YEARS, |one: &Weighed| one.day);
        let expected = curve(&horse, weighed.first().map(|one| one.day), on, rules);
        Self {
            title: titled("Weights", log),
            on,
            weighed,
            older,
            expected,
            rows,
        }
    }

    /// Draws them.
    pub(super) fn draw(self) -> Drawn {
        let days = || {
            let weighed = self.weighed.iter().map(|one| one.day);
            weighed.chain(self.expected.iter().map(|one| one.day))
        };
        let first = days().min().unwrap_or(self.on);
        let last = days().max().unwrap_or(self.on).max(self.on);
        let numbers = ticks(
            self.weighed
                .iter()
                .map(|one| one.kg)
                .chain(self.expected.iter().flat_map(|one| [one.low, one.high])),
            5,
        );
        let edges = (46.0, WIDTH - 24.0, 26.0, 206.0);
        let plot = Plot::new(edges, (first, last), &numbers, 6.0);
        let bottom = plot.bottom;
        let (key, height) = paper::key(&self.key(), bottom + 26.0);
        let inside = html! {
            text.unit x="4" y="14" { "kilograms" }
            (plot.ground(&numbers))
            (self.band(&plot))
            (plot.line("expected", &self.expected.iter().map(|one| (one.day, one.middle)).collect::<Vec<_>>()))
            @for method in self.methods() {
                (plot.line(line_of(method), &self.weighed.iter().filter(|one| one.method == method).map(|one| (one.day, one.kg)).collect::<Vec<_>>()))
            }
            @for one in &self.weighed {
                (mark_of(one.method).draw(plot.time.at(one.day), plot.scale.at(one.kg), &said(one)))
            }
            (key)
            @if self.older > 0 {
                text.older x="4" y=(paper::place(bottom + 26.0 + height + 14.0)) { (counted(self.older, "older weight is", "older weights are")) " in the table." }
            }
        };
        let told = self.told();
        let below = if self.older > 0 { LINE } else { 0.0 };
        let picture = paper::svg(
            "weight",
            &self.title,
            &told,
            bottom + 26.0 + height + below + 4.0,
            &inside,
        );
        Drawn {
            id: "weight",
            title: self.title,
            told,
            picture,
            columns: vec!["Day", "Weight", "How", "Against the curve"],
            rows: self.rows,
        }
    }

    /// The last day of the curve that is shown, and the kilograms expected on it.
    #[cfg(test)]
    pub(super) fn last_expected(&self) -> Option<(NaiveDate, f64)> {
        self.expected.last().map(|one| (one.day, one.middle))
    }

    fn band(&self, plot: &Plot) -> maud::Markup {
        let upper = self.expected.iter().map(|one| (one.day, one.high));
        let lower = self.expected.iter().rev().map(|one| (one.day, one.low));
        let points: Vec<String> = upper
            .chain(lower)
            .map(|(day, kg)| {
                let (x, y) = (plot.time.at(day), plot.scale.at(kg));
                format!("{},{}", paper::place(x), paper::place(y))
            })
            .collect();
        html! { @if points.len() > 3 { polygon.band points=(points.join(" ")) {} } }
    }

    /// The methods that occur, each once.
    fn methods(&self) -> Vec<Option<WeightMethod>> {
        let known = WeightMethod::ALL.iter().copied().map(Some);
        known
            .chain([None])
            .filter(|method| self.weighed.iter().any(|one| one.method == *method))
            .collect()
    }

    fn key(&self) -> Vec<(Sample, String)> {
        let mut key: Vec<(Sample, String)> = self
            .methods()
            .into_iter()
            .map(|method| (Sample::Of(mark_of(method)), method_text(method).to_owned()))
            .collect();
        if !self.expected.is_empty() {
            key.push((Sample::Line("expected"), "expected".to_owned()));
            key.push((Sample::Area("band"), "usual".to_owned()));
        }
        key
    }

    fn told(&self) -> String {
        let Some(last) = self.weighed.last() else {
            return "No weights are on record.".to_owned();
        };
        let expected = self.expected.iter().rev();
        let curve = expected.skip_while(|one| one.day > last.day).map(|one| {
            format!(
                " The curve expects about {:.0} kg then; {:.0} to {:.0} kg are usual.",
                one.middle, one.low, one.high
            )
        });
        format!(
            "{}; the last is {}.{}",
            counted(self.rows.len(), "weight", "weights"),
            said(last),
            curve.take(1).collect::<String>()
        )
    }
}

/// The curve over the days that are shown, as far as it holds; nothing where birth or grown weight isn't known.
fn curve(horse: &Horse, first: Option<NaiveDate>, on: NaiveDate, rules: &Rules) -> Vec<Expected> {
    let (Some(foaled_on), Some(off)) = (
        horse.foaled_on,
        rules.growth.tolerance(ToleranceName::Off).ok(),
    ) else {
        return Vec::new();
    };
    let until = rules
        .growth
        .curves
        .first()
        .map_or(0.0, |one| one.until_months);
    let born = foaled_on.latest();
    let mut day = first.unwrap_or(born).max(born);
    let mut expected = Vec::new();
    while day <= on && age::months(born, day) <= until {
        let answer = growth::growth(&input(horse, day, None), rules);
        let (Some(middle), Some(low), Some(high)) = answer
            .map(|one| (one.expected_kg, one.expected_low_kg, one.expected_high_kg))
            .unwrap_or_default()
        else {
            return Vec::new();
        };
        expected.push(Expected {
            day,
            low: low * (1.0 - off.percent / 100.0),
            middle,
            high: high * (1.0 + off.percent / 100.0),
        });
        let Some(next) = day.checked_add_days(Days::new(STEP)) else {
            break;
        };
        // The curve ends on the day itself, not up to a step before it.
        day = if day < on { next.min(on) } else { next };
    }
    expected
}

fn input(horse: &Horse, on: NaiveDate, weight_kg: Option<f64>) -> growth::Input {
    growth::Input {
        foaled_on: horse.foaled_on,
        on,
        mature_weight_kg: horse.mature_weight_kg,
        mature_weight_lb: None,
        weight_kg,
        weight_lb: None,
        weaned_on: None,
        curve: None,
        covered_on: None,
        breed_type: None,
    }
}

fn row(one: &Weighed, horse: &Horse, rules: &Rules) -> Vec<String> {
    let until = rules
        .growth
        .curves
        .first()
        .map_or(0.0, |one| one.until_months);
    let young = horse
        .foaled_on
        .is_some_and(|born| age::months(born.latest(), one.day) <= until);
    let against = young
        .then(|| growth::growth(&input(horse, one.day, Some(one.kg)), rules).ok())
        .flatten()
        .and_then(|answer| Some((answer.expected_kg?, answer.difference_percent?)))
        .map_or_else(String::new, |(expected, difference)| {
            format!("{difference:+.0} % of {expected:.0} kg")
        });
    vec![
        day_text(one.day),
        format!("{} kg", plain(one.kg)),
        method_text(one.method).to_owned(),
        against,
    ]
}

fn said(one: &Weighed) -> String {
    let how = method_text(one.method);
    format!("{} kg on {} ({how})", plain(one.kg), day_text(one.day))
}

const fn method_text(method: Option<WeightMethod>) -> &'static str {
    match method {
        Some(WeightMethod::Scale) => "scale",
        Some(WeightMethod::Tape) => "tape",
        Some(WeightMethod::Formula) => "formula",
        Some(WeightMethod::Visual) => "by eye",
        None => "not said how",
    }
}

const fn mark_of(method: Option<WeightMethod>) -> Mark {
    match method {
        Some(WeightMethod::Scale) => Mark::Disc,
        Some(WeightMethod::Tape) => Mark::Ring,
        Some(WeightMethod::Formula) => Mark::Lozenge,
        Some(WeightMethod::Visual) => Mark::Cross,
        None => Mark::Square,
    }
}

/// Weights are joined by method: what was weighed and what was guessed make no trend together.
const fn line_of(method: Option<WeightMethod>) -> &'static str {
    match method {
        Some(WeightMethod::Scale) => "trend",
        _ => "trend loose",
    }
}
