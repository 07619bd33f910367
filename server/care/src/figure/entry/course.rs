//! Whether doses make an unbroken course, and what comes next in it.

use chrono::NaiveDate;

use super::rule_set::{Course, Place, Step};

/// What a course is on a day, judged from the doses given by then.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ruling {
    /// There is no dose that counts.
    NoDose,
    /// The course is in order so far, but too short for entering.
    TooShort { run: Run },
    /// The next dose should have come by `until`.
    Overdue { run: Run, until: NaiveDate },
    /// The course is in order; the next dose must come by `until`.
    InOrder { run: Run, until: NaiveDate },
}

/// An unbroken run of doses up to the last one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Run {
    /// The index of the dose that begins it.
    pub(super) start: usize,
    /// That dose.
    pub(super) began: NaiveDate,
    /// The last dose.
    pub(super) last: NaiveDate,
    /// The place of the last dose.
    pub(super) place: Place,
}

/// A dose that came too early or too late.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Break {
    pub(super) began: NaiveDate,
    pub(super) before: NaiveDate,
    pub(super) dose: NaiveDate,
    /// The place that it should have taken.
    pub(super) place: Place,
}

impl Ruling {
    /// Whether a horse with it may enter.
    pub(super) const fn met(self) -> bool {
        matches!(self, Self::InOrder { .. })
    }

    /// The run that it is about.
    pub(super) const fn run(self) -> Option<Run> {
        match self {
            Self::NoDose => None,
            Self::TooShort { run } | Self::Overdue { run, .. } | Self::InOrder { run, .. } => {
                Some(run)
            }
        }
    }
}

impl Course {
    /// The step by which a dose comes at the right time: one without a caution if there is one.
    pub(super) fn accepting(
        &self,
        place: Place,
        began: NaiveDate,
        before: NaiveDate,
        given: NaiveDate,
    ) -> Option<&Step> {
        let fits = |step: &&Step| step.covers(place, began, given) && step.accepts(before, given);
        self.steps
            .iter()
            .find(|step| step.caution.is_none() && fits(step))
            .or_else(|| self.steps.iter().find(fits))
    }

    /// Follows the doses from `start` for as long as each comes at the right time after the one before: the index
    /// of the last one that does, and its place.
    fn follow(&self, doses: &[NaiveDate], start: usize) -> (usize, Place) {
        let began = doses[start];
        let mut place = Place::First;
        let mut at = start;
        while at + 1 < doses.len() {
            let next = place.next();
            if self
                .accepting(next, began, doses[at], doses[at + 1])
                .is_none()
            {
                break;
            }
            place = next;
            at += 1;
        }
        (at, place)
    }

    /// Judges the course on `day`; `doses` are those given by then, in order, no day twice.
    ///
    /// A dose out of its time breaks the course and counts as the first of a new one.
    pub(super) fn judge(&self, doses: &[NaiveDate], day: NaiveDate) -> Ruling {
        let Some(last) = doses.last().copied() else {
            return Ruling::NoDose;
        };
        let mut best = Ruling::NoDose;
        for (start, began) in doses.iter().copied().enumerate() {
            let (end, place) = self.follow(doses, start);
            if end + 1 < doses.len() {
                continue;
            }
            let run = Run {
                start,
                began,
                last,
                place,
            };
            let until = self.next_until(run, day);
            let ruling = match until {
                _ if place < self.entry_after => Ruling::TooShort { run },
                Some(until) if day <= until => return Ruling::InOrder { run, until },
                until => Ruling::Overdue {
                    run,
                    until: until.unwrap_or(last),
                },
            };
            // The longest run explains best why the horse may not enter.
            if best == Ruling::NoDose {
                best = ruling;
            }
        }
        best
    }

    /// Every unbroken run up to the last dose, the longest first.
    pub(super) fn runs(&self, doses: &[NaiveDate]) -> Vec<Run> {
        let Some(last) = doses.last().copied() else {
            return Vec::new();
        };
        let run_from = |(start, began): (usize, &NaiveDate)| {
            let (end, place) = self.follow(doses, start);
            (end + 1 == doses.len()).then_some(Run {
                start,
                began: *began,
                last,
                place,
            })
        };
        doses.iter().enumerate().filter_map(run_from).collect()
    }

    /// Whether a dose on `given` would come at the right time after a run.
    pub(super) fn continues(&self, run: &Run, given: NaiveDate) -> bool {
        self.accepting(run.place.next(), run.began, run.last, given)
            .is_some()
    }

    /// The last day on which a dose could come after a run, whenever it is given.
    pub(super) fn latest_next(&self, run: &Run) -> Option<NaiveDate> {
        let next = run.place.next();
        let steps = self.steps.iter().filter(|step| step.place == next);
        steps
            .map(|step| {
                step.until
                    .map_or(NaiveDate::MAX, |until| until.after(run.last))
            })
            .max()
    }

    /// The place of each dose of a run, from the first on.
    pub(super) fn places() -> impl Iterator<Item = Place> {
        std::iter::successors(Some(Place::First), |place| Some(place.next()))
    }

    /// The last day for the dose after a run, by the steps that hold for doses given on `day`.
    fn next_until(&self, run: Run, day: NaiveDate) -> Option<NaiveDate> {
        let next = run.place.next();
        self.steps
            .iter()
            .filter(|step| step.covers(next, run.began, day))
            .map(|step| {
                step.until
                    .map_or(NaiveDate::MAX, |until| until.after(run.last))
            })
            .max()
    }

    /// The doses that broke a course, each taken as the first of the next one.
    pub(super) fn breaks(&self, doses: &[NaiveDate]) -> Vec<Break> {
        let mut breaks = Vec::new();
        let mut start = 0;
        while start < doses.len() {
            let (end, place) = self.follow(doses, start);
            if let Some(dose) = doses.get(end + 1) {
                breaks.push(Break {
                    began: doses[start],
                    before: doses[end],
                    dose: *dose,
                    place: place.next(),
                });
            }
            start = end + 1;
        }
        breaks
    }

    /// The steps that a dose could have come by.
    pub(super) fn steps_for(
        &self,
        place: Place,
        began: NaiveDate,
        given: NaiveDate,
    ) -> impl Iterator<Item = &Step> {
        self.steps
            .iter()
            .filter(move |step| step.covers(place, began, given))
    }

    /// The longest time that may lie between two doses, in days, roughly; none where one step sets no end.
    pub(super) fn longest_gap(&self) -> Option<u32> {
        self.steps
            .iter()
            .map(|step| step.until.map(|until| until.rough_days() + 4))
            .try_fold(0, |longest, gap| gap.map(|gap| longest.max(gap)))
    }
}
