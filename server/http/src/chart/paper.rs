//! What pictures are drawn with: marks that differ in shape, axes, a key.

use chrono::NaiveDate;
use maud::{Markup, html};

use super::scale::{Scale, Time};

/// The width of every picture, in its own units: a small phone's, so that text is as large there as the stylesheet says.
pub(super) const WIDTH: f64 = 340.0;

/// The height of a line of text.
pub(super) const LINE: f64 = 18.0;

/// How wide a letter is at the most, on average.
pub(super) const LETTER: f64 = 7.0;

/// A coordinate as it is written.
pub(super) fn place(number: f64) -> String {
    format!("{number:.1}")
}

/// A mark. Each differs from the others in shape, so that it is told apart without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Mark {
    /// A full disc.
    Disc,
    /// An open ring.
    Ring,
    /// An open lozenge.
    Lozenge,
    /// An open square.
    Square,
    /// A cross.
    Cross,
    /// A full wedge that points down.
    Wedge,
    /// A full wedge that points to the left: there is more on that side.
    Earlier,
    /// A full wedge that points to the right.
    Later,
}

impl Mark {
    /// The mark, with what it says where a pointer rests on it.
    pub(super) fn draw(self, x: f64, y: f64, says: &str) -> Markup {
        html! {
            g.point transform={ "translate(" (place(x)) " " (place(y)) ")" } {
                title { (says) }
                (self.shape())
            }
        }
    }

    fn shape(self) -> Markup {
        match self {
            Self::Disc => html! { circle.full r="4" {} },
            Self::Ring => html! { circle.open r="4" {} },
            Self::Lozenge => html! { path.open d="M0-5.500 5.500 0 0 5.500-5.500 0z" {} },
            Self::Square => html! { path.open d="M-4-4h8v8h-8z" {} },
            Self::Cross => html! { path.open d="M-4-4 4 4M-4 4 4-4" {} },
            Self::Wedge => html! { path.full d="M-5-4h10L0 5z" {} },
            Self::Earlier => html! { path.full d="M4-5v10L-5 0z" {} },
            Self::Later => html! { path.full d="M-4-5v10L5 0z" {} },
        }
    }
}

/// What an entry of the key shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sample {
    /// A mark.
    Of(Mark),
    /// A piece of a line of this class.
    Line(&'static str),
    /// A piece of an area of this class.
    Area(&'static str),
}

/// The key: entries side by side while there is room, from `top` down. Answers its height too.
pub(super) fn key(entries: &[(Sample, String)], top: f64) -> (Markup, f64) {
    let (mut x, mut y) = (4.0, top + LINE / 2.0);
    let mut placed = Vec::new();
    for (sample, text) in entries {
        let width = 22.0 + LETTER * letters(text) + 14.0;
        if x > 4.0 && x + width > WIDTH {
            (x, y) = (4.0, y + LINE);
        }
        placed.push((x, y, sample, text));
        x += width;
    }
    let height = if entries.is_empty() {
        0.0
    } else {
        y + LINE / 2.0 - top
    };
    let drawn = html! {
        g.key {
            @for (x, y, sample, text) in placed {
                @match sample {
                    Sample::Of(mark) => g transform={ "translate(" (place(x + 8.0)) " " (place(y)) ")" } { (mark.shape()) },
                    Sample::Line(class) => line class=(class) x1=(place(x)) x2=(place(x + 16.0)) y1=(place(y)) y2=(place(y)) {},
                    Sample::Area(class) => rect class=(class) x=(place(x)) y=(place(y - 5.0)) width="16" height="10" {},
                }
                text x=(place(x + 22.0)) y=(place(y + 4.5)) { (text) }
            }
        }
    };
    (drawn, height)
}

/// The number of letters of a text.
#[expect(clippy::cast_precision_loss, reason = "texts are short")]
pub(super) fn letters(text: &str) -> f64 {
    text.chars().count() as f64
}

/// A place for points: where it lies on the paper, and its scales.
pub(super) struct Plot {
    /// Its left edge.
    pub(super) left: f64,
    /// Its right edge.
    pub(super) right: f64,
    /// Its upper edge.
    pub(super) top: f64,
    /// Its lower edge.
    pub(super) bottom: f64,
    /// Its days.
    pub(super) time: Time,
    /// Its numbers.
    pub(super) scale: Scale,
}

impl Plot {
    /// Between these edges (left, right, top, bottom), from the first day to the last and from the lowest number to the
    /// highest, with so much room above the highest.
    pub(super) fn new(
        (left, right, top, bottom): (f64, f64, f64, f64),
        (first, last): (NaiveDate, NaiveDate),
        numbers: &[f64],
        above: f64,
    ) -> Self {
        let ends = (
            numbers.first().copied().unwrap_or_default(),
            numbers.last().copied().unwrap_or_default(),
        );
        Self {
            left,
            right,
            top,
            bottom,
            time: Time::new(first, last, (left + 6.0, right - 6.0)),
            scale: Scale::new(ends, (bottom - 6.0, top + above)),
        }
    }

    /// The ground with its lines and their labels; the numbers' labels stand to the left.
    pub(super) fn ground(&self, numbers: &[f64]) -> Markup {
        let (left, right) = (place(self.left), place(self.right));
        html! {
            rect.plot x=(left) y=(place(self.top)) width=(place(self.right - self.left)) height=(place(self.bottom - self.top)) {}
            @for number in numbers {
                @let y = self.scale.at(*number);
                line.grid x1=(left) x2=(right) y1=(place(y)) y2=(place(y)) {}
                text.tick text-anchor="end" x=(place(self.left - 5.0)) y=(place(y + 4.5)) { (whorl_care::unit::plain(*number)) }
            }
            @for (x, label) in self.time.ticks() {
                line.grid x1=(place(x)) x2=(place(x)) y1=(place(self.top)) y2=(place(self.bottom)) {}
                // A label that would stick out on the right is left out; its line stays.
                @if x + LETTER * letters(&label) / 2.0 <= self.right + 20.0 {
                    text.tick text-anchor="middle" x=(place(x)) y=(place(self.bottom + 16.0)) { (label) }
                }
            }
        }
    }

    /// A line through points.
    pub(super) fn line(&self, class: &str, points: &[(chrono::NaiveDate, f64)]) -> Markup {
        let path: Vec<String> = points
            .iter()
            .map(|(day, number)| {
                let (x, y) = (self.time.at(*day), self.scale.at(*number));
                format!("{},{}", place(x), place(y))
            })
            .collect();
        html! { @if path.len() > 1 { polyline class=(class) points=(path.join(" ")) {} } }
    }
}

/// The whole picture. `told` is read to whoever can't see it.
pub(super) fn svg(id: &str, title: &str, told: &str, height: f64, inside: &Markup) -> Markup {
    let (title_id, told_id) = (format!("chart-{id}-title"), format!("chart-{id}-told"));
    html! {
        svg.chart-picture xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (place(WIDTH)) " " (place(height)) }
            role="img" aria-labelledby=(title_id) aria-describedby=(told_id) {
            title id=(title_id) { (title) }
            desc id=(told_id) { (told) }
            (inside)
        }
    }
}
