//! Where to set the syringe: rounded up to the next mark, over as many syringes as it takes.

use serde::{Deserialize, Serialize};

use crate::unit::{Given, KG_PER_LB, KILOGRAMS, POUNDS};

/// So many syringes, each set like this.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = SyringeStep))]
pub struct Step {
    /// How many syringes.
    pub syringes: u32,
    /// What each is set to, in kilograms.
    pub setting_kg: f64,
    /// The same in pounds.
    pub setting_lb: f64,
    /// Whether each is emptied.
    pub whole: bool,
}

/// A marked syringe.
#[derive(Clone, Copy)]
pub(super) struct Syringe {
    /// What one mark treats.
    pub(super) mark: Given,
    /// The dose in mg/kg that the marks stand for.
    pub(super) marks_go_by: f64,
    /// What it holds, in milligrams.
    pub(super) content_mg: Option<f64>,
}

/// How the marks of a syringe go with what it holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Fit {
    /// It holds a whole number of marks.
    Whole(u32),
    /// It holds so many marks and a rest.
    Rest(u32),
    /// The marks fit in the other unit: so many of them.
    OtherUnit(u32),
    /// One mark treats more than it holds.
    TooBig,
    /// What it holds is not known.
    Unknown,
}

/// What a dial shows, in both units; exact in the one that is on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Dial {
    pub(super) kg: f64,
    pub(super) lb: f64,
}

impl Dial {
    /// So many marks.
    fn marks(marks: u32, mark: Given) -> Self {
        let number = f64::from(marks) * mark.number;
        if mark.unit == POUNDS {
            Self {
                kg: number * KG_PER_LB,
                lb: number,
            }
        } else {
            Self::kg(number)
        }
    }

    fn kg(kg: f64) -> Self {
        Self {
            kg,
            lb: kg / KG_PER_LB,
        }
    }
}

/// Where to set it for one day's dose.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Setting {
    /// All dials of the day together.
    pub(super) dial: Dial,
    /// How much is given, in milligrams.
    pub(super) given_mg: f64,
    /// Syringes for a day, and for the whole course.
    pub(super) syringes: Option<(u32, u32)>,
    /// Syringe by syringe, for a day.
    pub(super) steps: Vec<Step>,
}

/// Takes up the rounding of binary fractions where a weight lies on a mark.
const ON_THE_MARK: f64 = 1e-9;

/// How far, as a share, a syringe's content may be off its marks: labels round pounds and kilograms.
const LABEL_ROUNDING: f64 = 0.02;

/// How far it may be off in marks.
const PART_OF_A_MARK: f64 = 0.25;

/// The most marks for which another unit is a likely slip; of very many marks some number always fits.
const MANY_MARKS: u32 = 30;

impl Syringe {
    /// What one mark gives, in milligrams.
    fn mark_mg(self) -> f64 {
        self.mark.metric() * self.marks_go_by
    }

    /// How its marks go with what it holds.
    pub(super) fn fit(self) -> Fit {
        let Some(content_mg) = self.content_mg else {
            return Fit::Unknown;
        };
        let fits = |mark_mg: f64| {
            let exact = content_mg / mark_mg;
            let nearest = exact.round();
            let within = (LABEL_ROUNDING * nearest).min(PART_OF_A_MARK);
            (nearest >= 1.0 && (exact - nearest).abs() <= within).then(|| count(nearest))
        };
        if let Some(marks) = fits(self.mark_mg()) {
            return Fit::Whole(marks);
        }
        let other = if self.mark.unit == KILOGRAMS {
            POUNDS
        } else {
            KILOGRAMS
        };
        let marks = fits(self.mark.number * other.size * self.marks_go_by);
        match (marks, count((content_mg / self.mark_mg()).floor())) {
            (Some(marks), _) if marks <= MANY_MARKS => Fit::OtherUnit(marks),
            (_, 0) => Fit::TooBig,
            (_, marks) => Fit::Rest(marks),
        }
    }

    /// The setting for `need_mg` a day on so many days: never less, on the next mark or with syringes emptied whole.
    ///
    /// The end of a syringe counts as a mark of its own where that saves opening another one: a label says 1 100 lb
    /// and 500 kg of the same syringe.
    pub(super) fn set(self, need_mg: f64, days: u32) -> Setting {
        let mark_mg = self.mark_mg();
        let marks = count((need_mg / mark_mg - ON_THE_MARK).ceil()).max(1);
        let (per_syringe, whole_fit) = match self.fit() {
            Fit::Whole(n) => (n, true),
            Fit::Rest(n) => (n, false),
            Fit::OtherUnit(_) | Fit::TooBig | Fit::Unknown => (0, false),
        };
        let content_mg = match self.content_mg {
            Some(content_mg) if per_syringe > 0 => content_mg,
            _ => return self.unlimited(marks),
        };
        let holds_mg = content_mg.max(f64::from(per_syringe) * mark_mg);
        let emptied = count((need_mg / holds_mg - ON_THE_MARK).ceil()).max(1);
        if emptied < marks.div_ceil(per_syringe) {
            return self.emptied(emptied, holds_mg, days);
        }
        // The most that the marks can give: a syringe may hold a little more than its marks say.
        let each_gives = if whole_fit {
            holds_mg / f64::from(per_syringe)
        } else {
            mark_mg
        };
        let full = marks / per_syringe;
        let rest = marks % per_syringe;
        let mut steps = Vec::new();
        if full > 0 {
            steps.push(step(full, Dial::marks(per_syringe, self.mark), whole_fit));
        }
        if rest > 0 {
            steps.push(step(1, Dial::marks(rest, self.mark), false));
        }
        let course = marks.saturating_mul(days).div_ceil(per_syringe);
        Setting {
            dial: Dial::marks(marks, self.mark),
            given_mg: f64::from(marks) * each_gives,
            syringes: Some((marks.div_ceil(per_syringe), course)),
            steps,
        }
    }

    /// So many syringes, each emptied.
    fn emptied(self, syringes: u32, holds_mg: f64, days: u32) -> Setting {
        let each_kg = holds_mg / self.marks_go_by;
        Setting {
            dial: Dial::kg(f64::from(syringes) * each_kg),
            given_mg: f64::from(syringes) * holds_mg,
            syringes: Some((syringes, syringes.saturating_mul(days))),
            steps: vec![step(syringes, Dial::kg(each_kg), true)],
        }
    }

    /// The setting where nobody knows how much a syringe holds.
    fn unlimited(self, marks: u32) -> Setting {
        Setting {
            dial: Dial::marks(marks, self.mark),
            given_mg: f64::from(marks) * self.mark_mg(),
            syringes: None,
            steps: Vec::new(),
        }
    }
}

fn step(syringes: u32, dial: Dial, whole: bool) -> Step {
    Step {
        syringes,
        setting_kg: dial.kg,
        setting_lb: dial.lb,
        whole,
    }
}

/// How many whole syringes hold `need_mg` a day for so many days.
pub(super) fn syringes(need_mg: f64, content_mg: f64, days: u32) -> u32 {
    count((need_mg * f64::from(days) / content_mg - ON_THE_MARK).ceil()).max(1)
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a conversion of a float to an integer saturates"
)]
fn count(number: f64) -> u32 {
    number as u32
}
