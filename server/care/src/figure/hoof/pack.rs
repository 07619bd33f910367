//! The rule pack `hoof`.

use serde::Deserialize;

use crate::band::{Band, Graded, check_graded};
use crate::rules::{Header, Mark, Pack, Row, Source, overlay, overlay_sources, row};

use super::findings::Severity;
use super::grades::{Axis, Frog, HeelBalance, Hemisphere, Limb, PairGrade, Quantity};

/// A row type of this pack: its own fields, and the four that every row has.
macro_rules! rows {
    ($($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident: $type:ty,)* })*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Debug, Deserialize)]
            #[serde(deny_unknown_fields)]
            pub struct $name {
                /// The rule's name.
                pub id: String,
                $($(#[$fdoc])* pub $field: $type,)*
                /// The source of the row.
                pub source: String,
                /// Its edition.
                pub edition: String,
                /// How well it is confirmed.
                pub mark: Mark,
            }
        )*
        row!($($name),*);
    };
}

rows! {
    /// What is to be noted when a quantity lies in a band.
    FlagRule {
        /// The flag's code; that of a finding, where it is one.
        code: String,
        /// What it goes by.
        of: Quantity,
        /// Where it is up.
        range: Band,
        /// Fore or hind feet only.
        limb: Option<Limb>,
        /// The severity of the finding of this code.
        severity: Option<Severity>,
        /// What it says; `{}` stands for the value.
        says: String,
    }
    /// The toe length usual at a weight.
    ToeTarget {
        /// Body weight in pounds.
        weight_lb: f64,
        /// Toe length in inches.
        toe_in: f64,
    }
    /// How long a class of horses may wait for the farrier.
    IntervalRule {
        /// Which horses, in words.
        says: String,
        /// Their age in months.
        months: Band,
        /// Shod or not; either if missing.
        shod: Option<bool>,
        /// In winter or not; either if missing.
        winter: Option<bool>,
        /// The interval suggested.
        weeks: u32,
        /// As long as a foot in balance may wait.
        stretch_weeks: u32,
        /// Too long.
        overdue_weeks: u32,
    }
    /// No longer interval than this with such a finding.
    Cap {
        /// The finding.
        finding: String,
        /// From this severity on.
        from_severity: Severity,
        /// The longest interval.
        weeks: u32,
    }
    /// The months of winter.
    Winter {
        /// Where.
        hemisphere: Hemisphere,
        /// From 1 to 12.
        months: Vec<u32>,
    }
    /// From which change on a measure has really changed; its name is the measure's.
    Noise {
        /// Changes that are real.
        real: Band,
    }
    /// A single number.
    Amount {
        /// The number.
        value: f64,
    }
}

/// The rule pack `hoof`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hooves {
    #[serde(rename = "pack")]
    head: Header,
    #[serde(rename = "source", default)]
    sources: Vec<Source>,
    /// Grades of the hoof-pastern axis, by toe angle less pastern angle.
    #[serde(default)]
    pub axis: Vec<Graded<Axis>>,
    /// Grades of the heels, by the difference of their lengths.
    #[serde(default)]
    pub heel_balance: Vec<Graded<HeelBalance>>,
    /// Grades of the frog, by width to length.
    #[serde(default)]
    pub frog: Vec<Graded<Frog>>,
    /// Grades of a pair, by the difference of the toe angles.
    #[serde(default)]
    pub pair: Vec<Graded<PairGrade>>,
    /// Millimetres a week by age in months.
    #[serde(default)]
    pub growth: Vec<Graded<f64>>,
    /// What is noted.
    #[serde(rename = "flag", default)]
    pub flags: Vec<FlagRule>,
    /// Toe length by weight.
    #[serde(rename = "toe_target", default)]
    pub toe_targets: Vec<ToeTarget>,
    /// Intervals by class.
    #[serde(rename = "interval", default)]
    pub intervals: Vec<IntervalRule>,
    /// Intervals that findings allow.
    #[serde(rename = "cap", default)]
    pub caps: Vec<Cap>,
    /// The months of winter.
    #[serde(rename = "winter", default)]
    pub winters: Vec<Winter>,
    /// What is noise in a change.
    #[serde(rename = "noise", default)]
    pub noises: Vec<Noise>,
    /// Single numbers.
    #[serde(rename = "amount", default)]
    pub amounts: Vec<Amount>,
}

impl Hooves {
    /// The source of this name.
    #[must_use]
    pub fn source(&self, id: &str) -> Option<&Source> {
        self.sources.iter().find(|source| source.id == id)
    }

    /// The number of this name.
    #[must_use]
    pub fn amount(&self, id: &str) -> Option<&Amount> {
        self.amounts.iter().find(|amount| amount.id == id)
    }
}

/// Holds a condition of a row.
fn hold(fine: bool, row: &dyn Row, reason: &str) -> Result<(), (String, String)> {
    if fine {
        Ok(())
    } else {
        Err((row.id().to_owned(), reason.to_owned()))
    }
}

fn all<R: Row>(rows: &[R]) -> impl Iterator<Item = &dyn Row> {
    rows.iter().map(|row| row as &dyn Row)
}

impl Pack for Hooves {
    const SUBJECT: &'static str = "hoof";
    const BUILT_IN: &'static str = include_str!("../../../rules/hoof.toml");

    fn header(&self) -> &Header {
        &self.head
    }

    fn sources(&self) -> &[Source] {
        &self.sources
    }

    fn rows(&self) -> Vec<&dyn Row> {
        all(&self.axis)
            .chain(all(&self.heel_balance))
            .chain(all(&self.frog))
            .chain(all(&self.pair))
            .chain(all(&self.growth))
            .chain(all(&self.flags))
            .chain(all(&self.toe_targets))
            .chain(all(&self.intervals))
            .chain(all(&self.caps))
            .chain(all(&self.winters))
            .chain(all(&self.noises))
            .chain(all(&self.amounts))
            .collect()
    }

    fn overlay(&mut self, theirs: Self) {
        overlay_sources(&mut self.sources, theirs.sources);
        overlay(&mut self.axis, theirs.axis);
        overlay(&mut self.heel_balance, theirs.heel_balance);
        overlay(&mut self.frog, theirs.frog);
        overlay(&mut self.pair, theirs.pair);
        overlay(&mut self.growth, theirs.growth);
        overlay(&mut self.flags, theirs.flags);
        overlay(&mut self.toe_targets, theirs.toe_targets);
        overlay(&mut self.intervals, theirs.intervals);
        overlay(&mut self.caps, theirs.caps);
        overlay(&mut self.winters, theirs.winters);
        overlay(&mut self.noises, theirs.noises);
        overlay(&mut self.amounts, theirs.amounts);
        self.toe_targets
            .sort_by(|a, b| a.weight_lb.total_cmp(&b.weight_lb));
    }

    fn check(&self) -> Result<(), (String, String)> {
        let bands = self.flags.iter().map(|row| (&row.id, row.range));
        let bands = bands.chain(self.intervals.iter().map(|row| (&row.id, row.months)));
        for (id, band) in bands.chain(self.noises.iter().map(|row| (&row.id, row.real))) {
            band.check().map_err(|reason| (id.clone(), reason))?;
        }
        for row in &self.flags {
            let fine = row.severity.is_none_or(|severity| severity <= 4);
            hold(fine, row, "a severity is 0 to 4")?;
            hold(!row.says.trim().is_empty(), row, "says is empty")?;
        }
        for row in &self.intervals {
            let fine = 0 < row.weeks
                && row.weeks <= row.stretch_weeks
                && row.stretch_weeks <= row.overdue_weeks
                && row.overdue_weeks <= 52;
            let reason = "weeks, stretch_weeks and overdue_weeks stand in that order, up to 52";
            hold(fine, row, reason)?;
        }
        for row in &self.caps {
            let fine = (1..=52).contains(&row.weeks) && row.from_severity <= 4;
            hold(fine, row, "weeks is 1 to 52, from_severity 0 to 4")?;
        }
        for row in &self.winters {
            let fine = row.months.iter().all(|month| (1..=12).contains(month));
            hold(fine, row, "months are 1 to 12")?;
        }
        for row in &self.growth {
            let fine = row.grade > 0.0 && row.grade <= 10.0;
            hold(fine, row, "a foot grows above 0 and up to 10 mm a week")?;
        }
        for row in &self.amounts {
            let fine = row.value.is_finite() && row.value > 0.0;
            hold(fine, row, "value is above 0")?;
        }
        for row in &self.toe_targets {
            let fine = row.weight_lb > 0.0 && row.toe_in > 0.0 && row.toe_in < 12.0;
            hold(
                fine,
                row,
                "weight_lb is above 0, toe_in above 0 and below 12",
            )?;
        }
        Ok(())
    }

    fn check_whole(&self) -> Result<(), (String, String)> {
        check_graded(&self.axis)?;
        check_graded(&self.heel_balance)?;
        check_graded(&self.frog)?;
        check_graded(&self.pair)?;
        check_graded(&self.growth)?;
        for pair in self.toe_targets.windows(2) {
            let fine = pair[0].weight_lb < pair[1].weight_lb && pair[0].toe_in <= pair[1].toe_in;
            hold(fine, &pair[1], "a heavier horse has no shorter toe")?;
        }
        Ok(())
    }
}
