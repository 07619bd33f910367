//! Visits: the fewest days on which a farrier or a vet must come, from what is due.

use std::collections::{BTreeMap, HashMap};
use std::num::NonZeroUsize;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::fault::Faults;
use whorl_care::figure::Basis;
use whorl_care::figure::due::board::Choice;
use whorl_care::figure::due::{Item, Status, basis};
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::rules::{Rules, Source};
use whorl_care::visits::{DayOfWeek, Need, Plan, Reason, Span, Work, group, one_barn_a_day, plan};

use crate::due::{DueBoard, DueHorse};
use crate::horse::Handling;

/// Horses that can be asked for on one day.
const MOST_HORSES: u32 = 500;

/// Days that one plan can span.
const LONGEST: i64 = 366;

/// Days of the week that can be named as off.
const MOST_WEEKDAYS: usize = 7;

/// Single days that can be named as off.
const MOST_DATES: usize = 400;

/// Days on which nobody comes.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct DaysOff {
    /// Days of the week.
    #[schema(max_items = 7)]
    pub weekdays: Vec<DayOfWeek>,
    /// Single days.
    #[schema(max_items = 400)]
    pub dates: Vec<NaiveDate>,
}

/// Which visits are to be planned.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"work": "hoof", "from": "2027-03-04", "until": "2027-04-30", "capacity": 6,
    "days_off": {"weekdays": ["saturday", "sunday"], "dates": ["2027-03-26"]}, "one_barn_a_day": false}))]
pub struct VisitQuestion {
    /// For what; if missing, for all that the caller may do and record.
    #[serde(default)]
    pub work: Option<Work>,
    /// For the horses of this barn; if missing, of every barn where the caller has to do with horses.
    #[serde(default)]
    pub barn_id: Option<BarnId>,
    /// The first day of the plan. What is due is told for this day.
    pub from: NaiveDate,
    /// The last day of the plan; at most 366 days.
    pub until: NaiveDate,
    /// So many horses can be seen on one day.
    #[schema(minimum = 1, maximum = 500)]
    pub capacity: u32,
    /// Days on which nobody comes.
    #[serde(default)]
    pub days_off: DaysOff,
    /// Whether each day is for the horses of one barn.
    #[serde(default)]
    pub one_barn_a_day: bool,
}

impl VisitQuestion {
    /// Checks that it can be answered.
    ///
    /// # Errors
    ///
    /// [`Faults`] with what is wrong.
    pub fn check(&self) -> Result<(), Faults> {
        let mut faults = Faults::default();
        let span = (self.until - self.from).num_days();
        if span < 0 {
            let said = format!("{} is before the first day, {}", self.until, self.from);
            faults.add("/until", said);
        }
        if span >= LONGEST {
            faults.add("/until", format!("a plan spans at most {LONGEST} days"));
        }
        if !(1..=MOST_HORSES).contains(&self.capacity) {
            faults.add("/capacity", format!("1 to {MOST_HORSES} horses a day"));
        }
        let DaysOff { weekdays, dates } = &self.days_off;
        if weekdays.len() > MOST_WEEKDAYS {
            faults.add(
                "/days_off/weekdays",
                format!("a week has {MOST_WEEKDAYS} days"),
            );
        }
        if dates.len() > MOST_DATES {
            faults.add("/days_off/dates", format!("at most {MOST_DATES} days off"));
        }
        faults.or(())
    }

    /// What of the due list the plan is made from.
    #[must_use]
    pub fn choice(&self) -> Choice {
        Choice {
            until: Some(self.until),
            ..Choice::default()
        }
    }

    /// Whether only what the caller may do is asked for.
    #[must_use]
    pub fn is_own_work(&self) -> bool {
        self.work.is_none()
    }

    fn span(&self) -> Span {
        let weekdays = self.days_off.weekdays.iter();
        Span {
            from: self.from,
            until: self.until,
            without_weekdays: weekdays.map(|day| (*day).into()).collect(),
            without: self.days_off.dates.clone(),
        }
    }
}

/// A horse on a day's round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VisitHorse {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: String,
    /// What to read before handling it.
    #[schema(required)]
    pub handling: Option<Handling>,
    /// What is to be done.
    pub items: Vec<Item>,
    /// Whether some of it should have been done before.
    pub late: bool,
    /// Whether part of its record is withheld from the caller, so that more may be due.
    pub withheld: bool,
}

/// The horses of one barn on a day's round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VisitBarn {
    /// The barn.
    pub barn_id: BarnId,
    /// What it is called.
    pub barn: String,
    /// The horses, by name.
    pub horses: Vec<VisitHorse>,
}

/// A day on which somebody must come.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VisitDay {
    /// The day.
    pub on: NaiveDate,
    /// How many horses are seen.
    pub horses: usize,
    /// Where, by the barns' names.
    pub barns: Vec<VisitBarn>,
}

/// Something due that has no day in the plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NotPlanned {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    pub horse: String,
    /// Where it stands.
    pub barn_id: BarnId,
    /// What that place is called.
    pub barn: String,
    /// What is due.
    pub item: Item,
    /// Why it has no day.
    pub reason: Reason,
}

/// A plan of visits.
///
/// It has the fewest days on which all that fits can be done, and each of them as late as it can be. What is late already
/// comes first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VisitPlan {
    /// What was asked.
    pub question: VisitQuestion,
    /// The days, in order.
    pub days: Vec<VisitDay>,
    /// What has no day, and why: nothing is left out without a word.
    pub not_planned: Vec<NotPlanned>,
    /// Whether fewer days are proven not to do. Only with one barn a day it may be that no proof was found.
    pub is_fewest: bool,
    /// What the rules rest on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
    /// Whether part of some horse's record is withheld from the caller. What rests on it isn't planned.
    pub withheld: bool,
}

/// A visit to one horse: the horse's place in the list, what is done, and the days that are right for it.
struct Visit {
    horse: usize,
    items: Vec<Item>,
    need: Need,
}

impl VisitPlan {
    /// Plans from what is due on the first day, as the caller may know it.
    ///
    /// # Errors
    ///
    /// [`Faults`] of the question.
    pub fn of(question: VisitQuestion, board: DueBoard, rules: &Rules) -> Result<Self, Faults> {
        question.check()?;
        let days = question.span().days();
        let mut plan = Self {
            days: Vec::new(),
            not_planned: Vec::new(),
            is_fewest: true,
            sources: Vec::new(),
            cautions: Vec::new(),
            withheld: board.withheld,
            question,
        };
        let place: HashMap<HorseId, usize> = board
            .horses
            .iter()
            .enumerate()
            .map(|(n, horse)| (horse.horse_id, n))
            .collect();
        // The board's order, the most pressing first, goes on to the visits.
        let (mut order, mut asked) = (Vec::new(), BTreeMap::<usize, Vec<(Item, Need)>>::new());
        let wanted = board.items.into_iter().filter(|entry| {
            plan.question
                .work
                .is_none_or(|work| work.holds(&entry.item))
        });
        let mut unasked = Vec::new();
        for entry in wanted {
            let Some(&horse) = place.get(&entry.horse_id) else {
                continue;
            };
            match plan.question.need(&entry.item) {
                Ok(need) => {
                    if !asked.contains_key(&horse) {
                        order.push(horse);
                    }
                    asked.entry(horse).or_default().push((entry.item, need));
                }
                Err(reason) => unasked.push((horse, entry.item, reason)),
            }
        }
        let visits: Vec<Visit> = order
            .into_iter()
            .flat_map(|horse| visits(horse, asked.remove(&horse).unwrap_or_default(), &days))
            .collect();
        let found = plan.question.find(&visits, &days, &board.horses);
        plan.is_fewest = found.is_fewest;
        for (horse, item, reason) in unasked {
            plan.leave(&board.horses[horse], item, reason);
        }
        let mut rounds = Rounds::default();
        for (visit, on) in visits.into_iter().zip(found.on) {
            let horse = &board.horses[visit.horse];
            match on {
                Ok(on) => rounds.add(on, horse, visit),
                Err(reason) => {
                    for item in visit.items {
                        plan.leave(horse, item, reason);
                    }
                }
            }
        }
        plan.days = rounds.days();
        plan.not_planned.sort_by_cached_key(|one| {
            let (name, what) = (one.horse.to_lowercase(), one.item.code.clone());
            (one.reason, name, one.horse_id, what)
        });
        let Basis { sources, cautions } = basis(plan.items(), rules);
        Ok(Self {
            sources,
            cautions,
            ..plan
        })
    }

    /// Everything that it speaks of.
    fn items(&self) -> impl Iterator<Item = &Item> {
        let barns = self.days.iter().flat_map(|day| &day.barns);
        let horses = barns.flat_map(|barn| &barn.horses);
        let left = self.not_planned.iter().map(|one| &one.item);
        horses.flat_map(|horse| &horse.items).chain(left)
    }

    fn leave(&mut self, horse: &DueHorse, item: Item, reason: Reason) {
        self.not_planned.push(NotPlanned {
            horse_id: horse.horse_id,
            horse: horse.horse.clone(),
            barn_id: horse.barn_id,
            barn: horse.barn.clone(),
            item,
            reason,
        });
    }
}

/// The rounds, in order: by day, then by the barns' and the horses' names.
#[derive(Default)]
struct Rounds(BTreeMap<NaiveDate, BTreeMap<(String, BarnId), Round>>);

/// The horses of one barn on one day.
#[derive(Default)]
struct Round {
    barn: String,
    horses: BTreeMap<(String, HorseId), VisitHorse>,
}

impl Rounds {
    fn add(&mut self, on: NaiveDate, horse: &DueHorse, visit: Visit) {
        let barns = self.0.entry(on).or_default();
        let round = barns
            .entry((horse.barn.to_lowercase(), horse.barn_id))
            .or_default();
        round.barn.clone_from(&horse.barn);
        // Two visits that fell on one day are one.
        let there = round
            .horses
            .entry((horse.horse.to_lowercase(), horse.horse_id))
            .or_insert_with(|| VisitHorse {
                horse_id: horse.horse_id,
                horse: horse.horse.clone(),
                handling: horse.handling.clone(),
                items: Vec::new(),
                late: false,
                withheld: horse.withheld,
            });
        there.items.extend(visit.items);
        there.late |= visit.need.late;
    }

    fn days(self) -> Vec<VisitDay> {
        let day = |(on, barns): (NaiveDate, BTreeMap<(String, BarnId), Round>)| VisitDay {
            on,
            horses: barns.values().map(|round| round.horses.len()).sum(),
            barns: barns
                .into_iter()
                .map(|((_, barn_id), round)| VisitBarn {
                    barn_id,
                    barn: round.barn,
                    horses: round.horses.into_values().collect(),
                })
                .collect(),
        };
        self.0.into_iter().map(day).collect()
    }
}

impl VisitQuestion {
    /// When something that is due must be done within the plan, or why it need not be or can't be.
    fn need(&self, item: &Item) -> Result<Need, Reason> {
        let late = item.status == Status::Overdue || item.due_by.is_some_and(|by| by < self.from);
        if item.status == Status::AskVet {
            return Err(Reason::AskVet);
        }
        let until = match item.due_by {
            _ if late => self.until,
            Some(by) if by <= self.until => by,
            // It should be done now, and nothing says by when.
            None if item.status == Status::Due => self.until,
            _ => return Err(Reason::CanWait),
        };
        Ok(Need {
            from: item.due_from.unwrap_or(self.from),
            until,
            late,
        })
    }

    fn find(&self, visits: &[Visit], days: &[NaiveDate], horses: &[DueHorse]) -> Plan {
        let needs: Vec<Need> = visits.iter().map(|visit| visit.need).collect();
        let capacity = usize::try_from(self.capacity).ok();
        let capacity = capacity
            .and_then(NonZeroUsize::new)
            .unwrap_or(NonZeroUsize::MIN);
        if self.one_barn_a_day {
            let barn = |n: usize| horses[visits[n].horse].barn_id;
            one_barn_a_day(&needs, barn, days, capacity)
        } else {
            plan(&needs, days, capacity)
        }
    }
}

/// The visits that one horse needs.
fn visits(horse: usize, asked: Vec<(Item, Need)>, days: &[NaiveDate]) -> Vec<Visit> {
    let (mut items, needs): (Vec<Option<Item>>, Vec<Need>) = asked
        .into_iter()
        .map(|(item, need)| (Some(item), need))
        .unzip();
    group(&needs, days)
        .into_iter()
        .map(|group| Visit {
            horse,
            items: group.of.iter().filter_map(|n| items[*n].take()).collect(),
            need: group.need,
        })
        .collect()
}
