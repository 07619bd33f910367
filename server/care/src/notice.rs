//! What reaches a person without being asked for: what it is about, and how it stands.

use crate::alarm::Alarm;
use crate::figure::hoof::findings::Urgency;
use crate::kind::codes;

codes! {
    /// What a notice is about.
    Topic {
        /// A finding on a foot, or lameness.
        Hoof = "hoof",
        /// A temperature, a pulse or a breathing rate that is out of range.
        Vitals = "vitals",
        /// A disease that is suspected or was found, for whose sake contacts are traced or the law may want to know.
        Disease = "disease",
        /// A severe reaction after something was given.
        Reaction = "adverse_reaction",
        /// A record that came in after its author's grant had ended: the owner must decide.
        Held = "held",
    }
}

impl Topic {
    /// What it is about, in a line that tells nothing of the horse's state: it may stand in the subject of a letter.
    #[must_use]
    pub const fn headline(self) -> &'static str {
        match self {
            Self::Hoof => "a finding on a foot or leg",
            Self::Vitals => "a vital sign out of range",
            Self::Disease => "a disease to watch for",
            Self::Reaction => "a reaction after something was given",
            Self::Held => "a record waits for your word",
        }
    }

    /// Whether it is a red flag, and no matter of the record alone.
    #[must_use]
    pub const fn is_red_flag(self) -> bool {
        !matches!(self, Self::Held)
    }
}

codes! {
    /// How a notice stands.
    State {
        /// It holds.
        Raised = "raised",
        /// The entry was amended, and the notice reads otherwise than before.
        Changed = "changed",
        /// The entry was retracted, or amended so that it calls for nobody any more.
        Withdrawn = "withdrawn",
        /// The owner decided on the record.
        Settled = "settled",
    }
}

codes! {
    /// Which notices somebody wants by e-mail, too.
    Letters {
        /// None.
        None = "none",
        /// Red flags.
        RedFlags = "red_flags",
        /// Red flags, and records that wait for their word.
        All = "all",
    }
}

/// What goes without saying: red flags.
impl Default for Letters {
    fn default() -> Self {
        Self::RedFlags
    }
}

impl Letters {
    /// Whether a notice of this topic comes by e-mail.
    #[must_use]
    pub const fn takes(self, topic: Topic) -> bool {
        match self {
            Self::None => false,
            Self::RedFlags => topic.is_red_flag(),
            Self::All => true,
        }
    }
}

/// The alarms of an entry that must reach vet and owner, the most urgent first.
#[must_use]
pub fn red_flags(alarms: Vec<Alarm>) -> Vec<Alarm> {
    alarms.into_iter().filter(|alarm| alarm.red_flag).collect()
}

/// What the notice of an entry is about: its most urgent red flag.
#[must_use]
pub fn topic(flags: &[Alarm]) -> Option<Topic> {
    flags.first().map(|alarm| alarm.topic)
}

/// Whether a vet must be called at once or today.
#[must_use]
pub fn is_urgent(flags: &[Alarm]) -> bool {
    flags.iter().any(|alarm| alarm.urgency <= Urgency::SameDay)
}
