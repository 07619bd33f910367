//! Pictures of a horse's record, for those who look rather than read: pure functions from its log to SVG.
//!
//! A picture has no style of its own, only classes, since the pages' content security policy forbids inline style;
//! `pages/chart.css` is the stylesheet for them. Nothing is told by colour alone, and each picture comes with a table that says
//! the same in numbers. The caller gives the events that the reader may see, and the day.

mod egg_counts;
mod feet;
mod paper;
mod scale;
#[cfg(test)]
mod tests;
mod vaccinations;
mod weight;

use chrono::NaiveDate;
use maud::{Markup, Render, html};
use whorl_care::figure::due::Item;
use whorl_care::horse::CareEvent;
use whorl_care::profile::profile;
use whorl_care::rules::Rules;

/// A picture and the table that says the same.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// A name without blanks, the same each time; ids in the markup begin with it.
    id: &'static str,
    title: String,
    /// What there is to see, in a sentence or two.
    told: String,
    picture: Markup,
    columns: Vec<&'static str>,
    rows: Vec<Vec<String>>,
}

impl Drawn {
    /// What it shows.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Whether there is anything to see.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The picture alone, as an SVG element.
    #[must_use]
    pub fn svg(&self) -> Markup {
        self.picture.clone()
    }

    /// The same as a table, the latest first, for those who can't see the picture or want the numbers.
    #[must_use]
    pub fn table(&self) -> Markup {
        html! {
            div.chart-numbers role="region" tabindex="0" aria-label={ (self.title) ", in numbers" } {
                table {
                    caption { (self.title) }
                    thead { tr { @for column in &self.columns { th scope="col" { (column) } } } }
                    tbody {
                        @for row in &self.rows {
                            tr {
                                @for (n, cell) in row.iter().enumerate() {
                                    @if n == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The whole figure: the picture, what it shows, and the table folded away beneath it.
impl Render for Drawn {
    fn render(&self) -> Markup {
        html! {
            figure.chart id={ "chart-" (self.id) } {
                figcaption { (self.title) }
                @if self.is_empty() {
                    p.chart-nothing { (self.told) }
                } @else {
                    (self.picture)
                    details { summary { "The same in numbers" } (self.table()) }
                }
            }
        }
    }
}

/// A horse's weights; for a young horse against the curve that its grown weight lets expect.
#[must_use]
pub fn weight(log: &[CareEvent], on: NaiveDate, rules: &Rules) -> Drawn {
    weight::Weights::of(log, on, rules).draw()
}

/// A horse's strongyle egg counts with the limits of the shedder classes, and its wormings.
#[must_use]
pub fn egg_counts(log: &[CareEvent], on: NaiveDate, rules: &Rules) -> Drawn {
    egg_counts::Counts::of(log, on, rules).draw()
}

/// The toe's length of each foot before and after each visit.
#[must_use]
pub fn toe_length(log: &[CareEvent], on: NaiveDate) -> Drawn {
    feet::Feet::of(log, on, feet::Measure::ToeLength).draw()
}

/// The toe's angle of each foot before and after each visit.
#[must_use]
pub fn toe_angle(log: &[CareEvent], on: NaiveDate) -> Drawn {
    feet::Feet::of(log, on, feet::Measure::ToeAngle).draw()
}

/// The doses against each disease, and when the next one is due; `due` are the horse's items as the care engine's
/// `due` answers them.
#[must_use]
pub fn vaccinations(log: &[CareEvent], due: &[Item], on: NaiveDate) -> Drawn {
    vaccinations::Timeline::of(log, due, on).draw()
}

/// "Weights of Plover", or "Weights" where the log doesn't say whose.
fn titled(what: &str, log: &[CareEvent]) -> String {
    match profile(log).name {
        Some(name) => format!("{what} of {name}"),
        None => what.to_owned(),
    }
}

/// A day as people write it.
fn day_text(day: NaiveDate) -> String {
    day.format("%-d %b %Y").to_string()
}
