//! Figures as they are printed: the ratio to the machine's own limit first.

use serde_json::{Map, Value, json};

use crate::Outcome;

/// One thing that was measured.
#[derive(Clone, Debug)]
pub(crate) struct Figure {
    /// What.
    pub(crate) name: String,
    /// How much, in `unit`: the middle one of several rounds.
    pub(crate) value: f64,
    pub(crate) unit: &'static str,
    /// The limit that was measured in the same rounds.
    pub(crate) limit: Option<Limit>,
    pub(crate) goals: Vec<Goal>,
    /// Whether less is better: of a size or a time.
    pub(crate) less: bool,
    /// What else was seen.
    pub(crate) note: String,
}

/// What the machine allows.
#[derive(Clone, Debug)]
pub(crate) struct Limit {
    pub(crate) name: &'static str,
    pub(crate) value: f64,
    /// The middle one of the ratios of each round.
    pub(crate) ratio: f64,
}

/// What a figure should be.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Goal {
    AtLeast(f64),
    AtMost(f64),
    /// Of the limit.
    Ratio(f64),
}

impl Figure {
    pub(crate) fn new(name: impl Into<String>, unit: &'static str, value: f64) -> Self {
        Self {
            name: name.into(),
            value,
            unit,
            limit: None,
            goals: Vec::new(),
            less: false,
            note: String::new(),
        }
    }

    /// From rounds in which the figure and its limit were measured one after the other.
    pub(crate) fn beside(
        name: impl Into<String>,
        unit: &'static str,
        limit: &'static str,
        rounds: &[(f64, f64)],
    ) -> Self {
        let of = |pick: fn(&(f64, f64)) -> f64| middle(rounds.iter().map(pick).collect());
        let limit = Limit {
            name: limit,
            value: of(|round| round.1),
            ratio: of(|round| round.0 / round.1),
        };
        Self {
            limit: Some(limit),
            ..Self::new(name, unit, of(|round| round.0))
        }
    }

    /// A size or a time.
    pub(crate) fn less(name: impl Into<String>, unit: &'static str, value: f64) -> Self {
        Self {
            less: true,
            ..Self::new(name, unit, value)
        }
    }

    pub(crate) fn goal(mut self, goal: Goal) -> Self {
        self.goals.push(goal);
        self
    }

    pub(crate) fn note(mut self, note: impl Into<String>) -> Self {
        self.note = note.into();
        self
    }

    fn meets(&self, goal: Goal) -> bool {
        match goal {
            Goal::AtLeast(least) => self.value >= least,
            Goal::AtMost(most) => self.value <= most,
            Goal::Ratio(least) => self
                .limit
                .as_ref()
                .is_some_and(|limit| limit.ratio >= least),
        }
    }

    fn line(&self, before: Option<f64>) -> String {
        let (ratio, limit) =
            self.limit
                .as_ref()
                .map_or(("–".to_owned(), "–".to_owned()), |limit| {
                    (
                        format!("{:.2}", limit.ratio),
                        format!("{} {}", amount(limit.value), limit.name),
                    )
                });
        let beside = before.map_or("–".to_owned(), |before| {
            format!(
                "{:.2}",
                if self.less {
                    before / self.value
                } else {
                    self.value / before
                }
            )
        });
        let goals: Vec<String> = self
            .goals
            .iter()
            .map(|goal| {
                let met = if self.meets(*goal) {
                    "met"
                } else {
                    "**not met**"
                };
                match goal {
                    Goal::AtLeast(least) => format!("≥ {}: {met}", amount(*least)),
                    Goal::AtMost(most) => format!("≤ {}: {met}", amount(*most)),
                    Goal::Ratio(least) => format!("≥ {least} of the limit: {met}"),
                }
            })
            .collect();
        let (name, value, unit) = (&self.name, amount(self.value), self.unit);
        format!(
            "| {name} | {ratio} | {beside} | {value} {unit} | {limit} | {} | {} |",
            goals.join(", "),
            self.note
        )
    }
}

/// The middle one.
pub(crate) fn middle(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn amount(value: f64) -> String {
    if value.abs() < 100.0 {
        return format!("{value:.1}");
    }
    let digits = format!("{value:.0}");
    let mut spaced = String::new();
    for (n, digit) in digits.chars().enumerate() {
        if n > 0 && (digits.len() - n).is_multiple_of(3) {
            spaced.push(',');
        }
        spaced.push(digit);
    }
    spaced
}

/// The figures as a table, beside those of another run if there are some.
pub(crate) fn table(figures: &[Figure], other: &Map<String, Value>) -> String {
    let mut lines = vec![
        "| figure | of the limit | of the small herd's | measured | the limit | goal | |"
            .to_owned(),
        "| --- | --- | --- | --- | --- | --- | --- |".to_owned(),
    ];
    let before = |figure: &Figure| other.get(&figure.name).and_then(Value::as_f64);
    lines.extend(figures.iter().map(|figure| figure.line(before(figure))));
    lines.join("\n")
}

/// The figures for a later run to be compared with.
pub(crate) fn save(figures: &[Figure]) -> Outcome<String> {
    let all: Map<String, Value> = figures
        .iter()
        .map(|figure| (figure.name.clone(), json!(figure.value)))
        .collect();
    Ok(serde_json::to_string_pretty(&all)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_stands_beside_its_limit() {
        let figure = Figure::beside(
            "pushes",
            "events/s",
            "raw rows/s",
            &[(60.0, 100.0), (1.0, 100.0), (4_000.0, 8_000.0)],
        )
        .goal(Goal::Ratio(0.5))
        .goal(Goal::AtLeast(70.0));
        assert_eq!(
            figure.line(Some(120.0)),
            "| pushes | 0.50 | 0.50 | 60.0 events/s | 100 raw rows/s | ≥ 0.5 of the limit: met, ≥ 70.0: **not met** |  |"
        );
    }

    #[test]
    fn of_a_size_less_is_better() {
        let figure = Figure::less("disk", "bytes", 1_250.0).goal(Goal::AtMost(1_000.0));
        assert_eq!(
            figure.line(Some(1_000.0)),
            "| disk | – | 0.80 | 1,250 bytes | – | ≤ 1,000: **not met** |  |"
        );
    }
}
