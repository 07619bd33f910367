//! A recall by lot number: which horses had it, when, by whom, where they are now, and who must be told.

use chrono::{DateTime, FixedOffset};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use whorl_care::ids::{AccountId, BarnId, EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::sentence::counted;

/// Why somebody must be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// It is their horse.
    Owner,
    /// They gave it, or wrote down that it was given.
    GaveIt,
    /// The horse stands in their barn.
    Barn,
}

/// Somebody who must be told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ToTell {
    /// Why.
    pub why: Why,
    /// Their account, if they have one.
    #[schema(required)]
    pub account_id: Option<AccountId>,
    /// Their name; null where this place doesn't know it.
    #[schema(required)]
    pub name: Option<String>,
}

/// Where a horse stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct StandsIn {
    /// The barn.
    pub barn_id: BarnId,
    /// Its name; null where this place doesn't know it.
    #[schema(required)]
    pub name: Option<String>,
}

/// A dose of the lot, as the record stands now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Recalled {
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called.
    #[schema(required)]
    pub horse: Option<String>,
    /// The event.
    #[schema(required)]
    pub event_id: Option<EventId>,
    /// Vaccination, deworming or medication.
    pub kind: Kind,
    /// When it was given, by the wall clock there.
    #[schema(required)]
    pub performed_at: Option<DateTime<FixedOffset>>,
    /// The product or drug as it was written.
    #[schema(required)]
    pub product: Option<String>,
    /// The lot as it was written.
    pub lot_number: String,
    /// The details as they read now.
    #[schema(value_type = Object)]
    pub details: Value,
    /// Whether they were amended.
    pub amended: bool,
    /// How far it can be relied on.
    pub provenance: Provenance,
    /// Who gave it, as far as it is written down.
    #[schema(required)]
    pub given_by: Option<String>,
    /// In which role it was recorded.
    #[schema(required)]
    pub role: Option<Role>,
    /// Where the horse stands now; null where that is not for this account to know.
    #[schema(required)]
    pub stands: Option<StandsIn>,
    /// Who must be told.
    pub tell: Vec<ToTell>,
}

/// The answer to a recall. It speaks only for what the account may see.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "lot": "T4417", "product": null, "horses_searched": 11, "horses_partly_searched": 1,
    "scope": "11 horses were searched, as far as this account may see them; of 1 not every kind of entry is open to it. Horses that it may not see may have had the lot too.",
    "items": [{
        "horse_id": "0199f3a0-7c00-7000-8000-000000000005", "horse": "Plover", "event_id": "0199f3a0-7c00-7000-8000-00000000000d", "kind": "vaccination",
        "performed_at": "2027-03-04T09:20:00-05:00", "product": "tetanus toxoid (sample)", "lot_number": "T-4417",
        "details": {"targets": ["tetanus"], "product": "tetanus toxoid (sample)", "lot_number": "T-4417"}, "amended": false, "provenance": "attested",
        "given_by": "Senna Quill", "role": "vet", "stands": {"barn_id": "0199f3a0-7c00-7000-8000-000000000004", "name": "Saltmarsh Yard"},
        "tell": [{"why": "owner", "account_id": "0199f3a0-7c00-7000-8000-000000000001", "name": "Maren Oduya"}]
    }],
    "cautions": ["What to do with the horses is for the vet, the maker and the competent authority to say; keep the packs."]
}))]
pub struct Recall {
    /// The lot as it was compared: letters and digits, in capitals.
    pub lot: String,
    /// The part of the product's name that was asked for.
    #[schema(required)]
    pub product: Option<String>,
    /// The doses: by horse, the earliest first.
    pub items: Vec<Recalled>,
    /// How many horses this account may see.
    pub horses_searched: usize,
    /// Of how many of them some kinds of entry that name lots are withheld from this account: those were not searched.
    pub horses_partly_searched: usize,
    /// What the answer can speak for, in words.
    pub scope: String,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// What an answer can speak for, in words.
#[must_use]
pub fn scope(searched: usize, partly: usize) -> String {
    let horses = counted(searched, "horse was", "horses were");
    let partly = match partly {
        0 => String::new(),
        some => format!("; of {some} not every kind of entry is open to it"),
    };
    format!(
        "{horses} searched, as far as this account may see them{partly}. Horses that it may not see may have had the lot too."
    )
}
