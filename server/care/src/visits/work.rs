//! What visits are for, and the days of the week, by their codes.

use chrono::Weekday;

use crate::figure::due::Item;
use crate::kind::codes;

codes! {
    /// A field of work that somebody comes for.
    Work {
        /// Trims and shoeing.
        Hoof = "hoof",
        /// Vaccinations.
        Vaccination = "vaccination",
        /// Wormings and egg counts.
        Parasite = "parasite",
        /// Teeth.
        Dental = "dental",
        /// Weighing.
        Weight = "weight",
    }
}

codes! {
    /// A day of the week.
    DayOfWeek {
        /// Monday.
        Monday = "monday",
        /// Tuesday.
        Tuesday = "tuesday",
        /// Wednesday.
        Wednesday = "wednesday",
        /// Thursday.
        Thursday = "thursday",
        /// Friday.
        Friday = "friday",
        /// Saturday.
        Saturday = "saturday",
        /// Sunday.
        Sunday = "sunday",
    }
}

codes! {
    /// Why something due has no day in a plan.
    Reason {
        /// The days that are right for it are full with what is more pressing.
        Full = "full",
        /// Nobody can come on any day that is right for it.
        NobodyComes = "nobody_comes",
        /// A vet must say first what is right here.
        AskVet = "ask_vet",
        /// It may still be done after the plan's last day.
        CanWait = "can_wait",
    }
}

impl Reason {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Full => "the days that are right for it are full with what is more pressing",
            Self::NobodyComes => "nobody comes on a day that is right for it",
            Self::AskVet => "a vet must say first what is right",
            Self::CanWait => "it can wait until after the plan's last day",
        }
    }
}

impl Work {
    /// Whether something that is due belongs to it.
    #[must_use]
    pub fn holds(self, item: &Item) -> bool {
        item.code.split('.').next() == Some(self.code())
    }
}

impl From<DayOfWeek> for Weekday {
    fn from(day: DayOfWeek) -> Self {
        match day {
            DayOfWeek::Monday => Self::Mon,
            DayOfWeek::Tuesday => Self::Tue,
            DayOfWeek::Wednesday => Self::Wed,
            DayOfWeek::Thursday => Self::Thu,
            DayOfWeek::Friday => Self::Fri,
            DayOfWeek::Saturday => Self::Sat,
            DayOfWeek::Sunday => Self::Sun,
        }
    }
}
