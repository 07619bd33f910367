//! The toe of each foot before and after each visit, a small picture a foot, laid out as the feet stand.

use chrono::NaiveDate;
use maud::{Markup, html};
use whorl_care::details::{Details, MeasureMethod, Measures};
use whorl_care::horse::CareEvent;
use whorl_care::kind::{Foot, Kind};
use whorl_care::record::Record;
use whorl_care::sentence::{counted, words};
use whorl_care::unit::plain;

use super::paper::{self, LINE, Mark, Plot, Sample, WIDTH};
use super::scale::{self, ticks};
use super::{Drawn, day_text, titled};

/// How many years are shown: a visit every few weeks, before and after, fills a small picture.
const YEARS: u32 = 1;

/// No toe is as long as this in millimetres, and no angle as large in degrees.
const MOST: f64 = 500.0;

/// What is shown of a foot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Measure {
    /// The toe's length, in millimetres.
    ToeLength,
    /// The toe's angle, in degrees.
    ToeAngle,
}

impl Measure {
    const fn of(self, measures: &Measures) -> Option<f64> {
        match self {
            Self::ToeLength => measures.toe_length_mm,
            Self::ToeAngle => measures.toe_angle_deg,
        }
    }

    const fn id(self) -> &'static str {
        match self {
            Self::ToeLength => "toe-length",
            Self::ToeAngle => "toe-angle",
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::ToeLength => "Toe length",
            Self::ToeAngle => "Toe angle",
        }
    }

    const fn unit(self) -> &'static str {
        match self {
            Self::ToeLength => "mm",
            Self::ToeAngle => "degrees",
        }
    }
}

/// A number and how it was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Reading {
    number: f64,
    method: Option<MeasureMethod>,
}

/// One foot at one visit.
struct Seen {
    day: NaiveDate,
    foot: Foot,
    before: Option<Reading>,
    after: Option<Reading>,
}

impl Seen {
    fn readings(&self) -> impl Iterator<Item = Reading> {
        self.before.into_iter().chain(self.after)
    }
}

/// What the picture shows.
pub(super) struct Feet {
    measure: Measure,
    title: String,
    on: NaiveDate,
    seen: Vec<Seen>,
    older: usize,
    rows: Vec<Vec<String>>,
}

impl Feet {
    /// Takes them from a log.
    pub(super) fn of(log: &[CareEvent], on: NaiveDate, measure: Measure) -> Self {
        let mut all = Vec::new();
        for look in &Record::of(log).hoof_visits {
            let Some(Details::HoofCare(visit)) = Details::parse_known(Kind::HoofCare, look.details)
            else {
                continue;
            };
            for (foot, care) in &visit.feet {
                let reading = |measures: &Option<Measures>| {
                    let measures = measures.as_ref()?;
                    let number = measure.of(measures)?;
                    Some(Reading {
                        number,
                        method: measures.method,
                    })
                };
                let (before, after) = (reading(&care.before), reading(&care.after));
                if before.is_some() || after.is_some() {
                    all.push(Seen {
                        day: look.entry.day,
                        foot: *foot,
                        before,
                        after,
                    });
                }
            }
        }
        let rows = all.iter().rev().map(|one| row(one, measure)).collect();
        let drawable = all
            .into_iter()
            .filter(|one| {
                one.readings()
                    .all(|one| scale::can_be_drawn(one.number, MOST))
            })
            .collect();
        let (seen, older) = scale::recent(drawable, on, YEARS, |one: &Seen| one.day);
        Self {
            measure,
            title: titled(measure.name(), log),
            on,
            seen,
            older,
            rows,
        }
    }

    /// Draws them: four small plots with the same scales, so that feet can be compared.
    pub(super) fn draw(self) -> Drawn {
        let days = || self.seen.iter().map(|one| one.day);
        let first = days().min().unwrap_or(self.on);
        let last = days().max().unwrap_or(self.on).max(self.on);
        let numbers = ticks(
            self.seen
                .iter()
                .flat_map(Seen::readings)
                .map(|one| one.number),
            4,
        );
        let (height, below) = (110.0, 22.0);
        let panels = Foot::ALL.iter().enumerate().map(|(n, foot)| {
            let (left, right) = if n % 2 == 0 {
                (32.0, WIDTH / 2.0 - 18.0)
            } else {
                (WIDTH / 2.0 + 28.0, WIDTH - 22.0)
            };
            let top = if n < 2 {
                40.0
            } else {
                40.0 + height + below + 24.0
            };
            let edges = (left, right, top, top + height);
            let plot = Plot::new(edges, (first, last), &numbers, 6.0);
            self.panel(*foot, &plot, &numbers)
        });
        let key_top = 40.0 + 2.0 * (height + below) + 30.0;
        let key = [
            (Sample::Of(Mark::Ring), "before".to_owned()),
            (Sample::Of(Mark::Disc), "after".to_owned()),
            (Sample::Line("trend"), "measured alike".to_owned()),
        ];
        let (key, key_height) = paper::key(&key, key_top);
        let inside = html! {
            text.unit x="4" y="14" { (self.measure.unit()) }
            @for panel in panels { (panel) }
            (key)
            @if self.older > 0 {
                text.older x="4" y=(paper::place(key_top + key_height + 14.0)) { (counted(self.older, "older measurement is", "older measurements are")) " in the table." }
            }
        };
        let told = self.told();
        let older = if self.older > 0 { LINE } else { 0.0 };
        let picture = paper::svg(
            self.measure.id(),
            &self.title,
            &told,
            key_top + key_height + older + 4.0,
            &inside,
        );
        Drawn {
            id: self.measure.id(),
            title: self.title,
            told,
            picture,
            columns: vec!["Day", "Foot", "Before", "After", "Measured with"],
            rows: self.rows,
        }
    }

    fn panel(&self, foot: Foot, plot: &Plot, numbers: &[f64]) -> Markup {
        let seen: Vec<&Seen> = self.seen.iter().filter(|one| one.foot == foot).collect();
        html! {
            g.panel {
                text.foot x=(paper::place(plot.left)) y=(paper::place(plot.top - 6.0)) { (foot_name(foot)) }
                (plot.ground(numbers))
                @for pair in seen.windows(2) { (join(pair[0], pair[1], plot)) }
                @for one in &seen {
                    @let x = plot.time.at(one.day);
                    @if let (Some(before), Some(after)) = (one.before, one.after) {
                        line.change x1=(paper::place(x)) x2=(paper::place(x)) y1=(paper::place(plot.scale.at(before.number))) y2=(paper::place(plot.scale.at(after.number))) {}
                    }
                    @for (mark, reading, when) in [(Mark::Ring, one.before, "before"), (Mark::Disc, one.after, "after")] {
                        @if let Some(reading) = reading {
                            (mark.draw(x, plot.scale.at(reading.number), &format!("{} {} {when} the visit on {}", plain(reading.number), self.measure.unit(), day_text(one.day))))
                        }
                    }
                }
                @if seen.is_empty() {
                    text.nothing text-anchor="middle" x=(paper::place(f64::midpoint(plot.left, plot.right))) y=(paper::place(f64::midpoint(plot.top, plot.bottom))) { "not measured" }
                }
            }
        }
    }

    fn told(&self) -> String {
        let feet: Vec<String> = Foot::ALL
            .iter()
            .filter_map(|foot| {
                let one = self.seen.iter().rev().find(|one| one.foot == *foot)?;
                let reading = one.after.or(one.before)?;
                Some(format!(
                    "{} {} {} on {}",
                    foot_name(*foot),
                    plain(reading.number),
                    self.measure.unit(),
                    day_text(one.day)
                ))
            })
            .collect();
        if feet.is_empty() {
            let what = self.measure.name().to_lowercase();
            return format!("No {what} is on record.");
        }
        format!("Last measured: {}.", feet.join("; "))
    }
}

/// A line from what a visit left to what the next one found, where both were measured alike: methods make no trend
/// together.
fn join(earlier: &Seen, later: &Seen, plot: &Plot) -> Markup {
    let (from, to) = (
        earlier.after.or(earlier.before),
        later.before.or(later.after),
    );
    match (from, to) {
        (Some(from), Some(to)) if from.method == to.method && from.method.is_some() => plot.line(
            "trend",
            &[(earlier.day, from.number), (later.day, to.number)],
        ),
        _ => html! {},
    }
}

fn row(one: &Seen, measure: Measure) -> Vec<String> {
    let shown = |reading: Option<Reading>| {
        reading.map_or_else(String::new, |one| {
            format!("{} {}", plain(one.number), measure.unit())
        })
    };
    let mut methods: Vec<String> = one
        .readings()
        .map(|one| {
            one.method
                .map_or("not said".to_owned(), |method| words(method.code()))
        })
        .collect();
    methods.dedup();
    vec![
        day_text(one.day),
        foot_name(one.foot).to_owned(),
        shown(one.before),
        shown(one.after),
        methods.join(", then "),
    ]
}

const fn foot_name(foot: Foot) -> &'static str {
    match foot {
        Foot::LeftFore => "left fore",
        Foot::RightFore => "right fore",
        Foot::LeftHind => "left hind",
        Foot::RightHind => "right hind",
    }
}
