//! Strongyle egg counts with the limits of the shedder classes, and the wormings.

use chrono::NaiveDate;
use maud::html;
use whorl_care::code::Active;
use whorl_care::horse::CareEvent;
use whorl_care::record::{Actives, Record};
use whorl_care::rules::Rules;
use whorl_care::sentence::{counted, words};
use whorl_care::unit::plain;

use super::paper::{self, LINE, Mark, Plot, Sample, WIDTH};
use super::scale::{self, apart, ticks};
use super::{Drawn, day_text, titled};

/// How many years are shown.
const YEARS: u32 = 4;

/// No sample holds more eggs a gram than this.
const MOST: f64 = 100_000.0;

/// A count, or a dewormer given.
enum Entry {
    Count(f64),
    Worming(String),
}

/// What the picture shows.
pub(super) struct Counts {
    title: String,
    on: NaiveDate,
    entries: Vec<(NaiveDate, Entry)>,
    older: usize,
    /// From which count on a class begins, the lowest first.
    limits: Vec<(f64, String)>,
    counted: usize,
    rows: Vec<Vec<String>>,
}

impl Counts {
    /// Takes them from a log.
    pub(super) fn of(log: &[CareEvent], on: NaiveDate, rules: &Rules) -> Self {
        let record = Record::of(log);
        let mut all: Vec<(NaiveDate, Entry)> = Vec::new();
        for look in &record.egg_counts {
            if let Some(epg) = look.strongyle_epg() {
                all.push((look.entry.day, Entry::Count(epg)));
            }
        }
        let counts = all.len();
        for worming in &record.wormings {
            all.push((
                worming.entry.day,
                Entry::Worming(actives_text(worming.actives)),
            ));
        }
        // On one day the sample is taken before the paste is given.
        all.sort_by_key(|(day, entry)| (*day, matches!(entry, Entry::Worming(_))));
        let rows = all.iter().rev().map(|one| row(one, rules)).collect();
        let drawable = all
            .into_iter()
            .filter(|(_, entry)| match entry {
                Entry::Count(epg) => scale::can_be_drawn(*epg, MOST),
                Entry::Worming(_) => true,
            })
            .collect();
        let (entries, older) = scale::recent(drawable, on, YEARS, |one: &(NaiveDate, Entry)| one.0);
        let mut limits: Vec<(f64, String)> = rules
            .egg_counts
            .bands
            .iter()
            .filter(|band| band.above_epg >= 0.0 && scale::can_be_drawn(band.above_epg, MOST))
            .map(|band| {
                (
                    band.above_epg,
                    format!("{} above {}", band.shedder, plain(band.above_epg)),
                )
            })
            .collect();
        limits.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self {
            title: titled("Egg counts and wormings", log),
            on,
            entries,
            older,
            limits,
            counted: counts,
            rows,
        }
    }

    fn points(&self) -> Vec<(NaiveDate, f64)> {
        self.entries
            .iter()
            .filter_map(|(day, entry)| match entry {
                Entry::Count(epg) => Some((*day, *epg)),
                Entry::Worming(_) => None,
            })
            .collect()
    }

    fn wormings(&self) -> Vec<(NaiveDate, &str)> {
        self.entries
            .iter()
            .filter_map(|(day, entry)| match entry {
                Entry::Count(_) => None,
                Entry::Worming(actives) => Some((*day, actives.as_str())),
            })
            .collect()
    }

    /// Draws them.
    pub(super) fn draw(self) -> Drawn {
        let days = || self.entries.iter().map(|(day, _)| *day);
        let first = days().min().unwrap_or(self.on);
        let last = days().max().unwrap_or(self.on).max(self.on);
        let (points, wormings) = (self.points(), self.wormings());
        let highest_limit = self.limits.last().map_or(0.0, |(limit, _)| limit * 1.5);
        let numbers = ticks(
            points
                .iter()
                .map(|(_, epg)| *epg)
                .chain([0.0, highest_limit]),
            5,
        );
        let edges = (52.0, WIDTH - 24.0, 42.0, 212.0);
        let plot = Plot::new(edges, (first, last), &numbers, 12.0);
        let bottom = plot.bottom;
        let (key, height) = paper::key(&self.key(), bottom + 26.0);
        // From the highest down, as they stand on paper.
        let wanted: Vec<f64> = self
            .limits
            .iter()
            .rev()
            .map(|(limit, _)| plot.scale.at(*limit) - 4.0)
            .collect();
        let labels = apart(&wanted, LINE - 3.0, bottom - 3.0);
        let inside = html! {
            text.unit x="4" y="14" { "strongyle eggs per gram" }
            (plot.ground(&numbers))
            @for ((limit, text), y) in self.limits.iter().rev().zip(labels) {
                (plot.line("limit", &[(first, *limit), (last, *limit)]))
                text.limit-name text-anchor="end" x=(paper::place(plot.right - 4.0)) y=(paper::place(y)) { (text) }
            }
            @for (day, actives) in &wormings {
                @let x = plot.time.at(*day);
                line.worming x1=(paper::place(x)) x2=(paper::place(x)) y1=(paper::place(plot.top)) y2=(paper::place(bottom)) {}
                (Mark::Wedge.draw(x, plot.top + 5.0, &format!("wormed on {} with {actives}", day_text(*day))))
            }
            (plot.line("trend", &points))
            @for (day, epg) in &points {
                (Mark::Disc.draw(plot.time.at(*day), plot.scale.at(*epg), &format!("{} on {}", per_gram(*epg), day_text(*day))))
            }
            (key)
            @if self.older > 0 {
                text.older x="4" y=(paper::place(bottom + 26.0 + height + 14.0)) { (counted(self.older, "older entry is", "older entries are")) " in the table." }
            }
        };
        let told = self.told();
        let below = if self.older > 0 { LINE } else { 0.0 };
        let picture = paper::svg(
            "egg-counts",
            &self.title,
            &told,
            bottom + 26.0 + height + below + 4.0,
            &inside,
        );
        Drawn {
            id: "egg-counts",
            title: self.title,
            told,
            picture,
            columns: vec!["Day", "What", "Found or given", "Sheds"],
            rows: self.rows,
        }
    }

    fn key(&self) -> Vec<(Sample, String)> {
        let mut key = Vec::new();
        if self.counted > 0 {
            key.push((Sample::Of(Mark::Disc), "egg count".to_owned()));
        }
        if !self.wormings().is_empty() {
            key.push((Sample::Of(Mark::Wedge), "wormed".to_owned()));
        }
        key.push((Sample::Line("limit"), "class limit".to_owned()));
        key
    }

    fn told(&self) -> String {
        if self.rows.is_empty() {
            return "No egg counts and no wormings are on record.".to_owned();
        }
        let mut told = vec![format!(
            "{} and {}.",
            counted(self.counted, "egg count", "egg counts"),
            counted(self.rows.len() - self.counted, "worming", "wormings")
        )];
        if let Some((day, epg)) = self.points().last() {
            let day = day_text(*day);
            told.push(format!("The last count is {} on {day}.", per_gram(*epg)));
        }
        if let Some((day, actives)) = self.wormings().last() {
            told.push(format!("Last wormed on {} with {actives}.", day_text(*day)));
        }
        told.join(" ")
    }
}

fn row((day, entry): &(NaiveDate, Entry), rules: &Rules) -> Vec<String> {
    let (what, found, sheds) = match entry {
        Entry::Count(epg) => {
            let (shedder, _) = rules.egg_counts.shedder(*epg);
            let found = per_gram(*epg);
            ("egg count", found, shedder.to_string())
        }
        Entry::Worming(actives) => ("wormed", actives.clone(), String::new()),
    };
    vec![day_text(*day), what.to_owned(), found, sheds]
}

fn per_gram(epg: f64) -> String {
    counted(plain(epg), "egg per gram", "eggs per gram")
}

fn actives_text(actives: Actives) -> String {
    let names: Vec<String> = Active::ALL
        .iter()
        .filter(|active| actives.contains(**active))
        .map(|active| words(active.code()))
        .collect();
    if names.is_empty() {
        "a dewormer not known here".to_owned()
    } else {
        names.join(" and ")
    }
}
