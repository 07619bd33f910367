//! The horse as the figures see it, and an event as they read it.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset, NaiveDate};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::fault::Faults;
use crate::ids::EventId;
use crate::kind::{Kind, Provenance, Role, codes};
use crate::when::PartialDate;

codes! {
    /// A horse's sex.
    Sex {
        /// A grown female.
        Mare = "mare",
        /// An entire grown male.
        Stallion = "stallion",
        /// A castrated male.
        Gelding = "gelding",
        /// A young female.
        Filly = "filly",
        /// A young entire male.
        Colt = "colt",
    }
}

codes! {
    /// The build that formulas and programmes go by.
    BreedType {
        /// Light riding horses.
        Light = "light",
        /// Ponies.
        Pony = "pony",
        /// Draught breeds and their crosses.
        Draft = "draft",
        /// Warmbloods.
        Warmblood = "warmblood",
        /// Arabians.
        Arabian = "arabian",
        /// Stock types.
        Stock = "stock",
        /// Miniatures.
        Miniature = "miniature",
        /// Donkeys.
        Donkey = "donkey",
    }
}

codes! {
    /// What makes a risk-based vaccine advisable; set by owner and vet.
    Risk {
        /// The horse travels.
        Travels = "travels",
        /// It meets horses that travel.
        MixesWithTravellers = "mixes_with_travellers",
        /// It lives where mares foal.
        BreedingFarm = "breeding_farm",
        /// Mosquitoes fly for most of the year.
        MosquitoSeasonLong = "mosquito_season_long",
        /// Botulism occurs there.
        BotulismArea = "botulism_area",
        /// Anthrax occurs there.
        AnthraxArea = "anthrax_area",
        /// It lives near rivers or standing water.
        NearWater = "near_water",
        /// Venomous snakes live there.
        SnakeArea = "snake_area",
        /// Leptospirosis occurs there.
        LeptospirosisArea = "leptospirosis_area",
    }
}

/// Whether the dam was vaccinated: for all diseases alike, or disease by disease.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(untagged)]
pub enum DamVaccinated {
    /// The same answer for every disease.
    All(bool),
    /// By disease code; a disease that is missing is unknown.
    ByDisease(#[serde(deserialize_with = "known")] BTreeMap<String, bool>),
}

/// What is known of the diseases: `null` says no more than leaving one out.
fn known<'de, D: serde::Deserializer<'de>>(from: D) -> Result<BTreeMap<String, bool>, D::Error> {
    let all = BTreeMap::<String, Option<bool>>::deserialize(from)?;
    Ok(all
        .into_iter()
        .filter_map(|(code, vaccinated)| Some((code, vaccinated?)))
        .collect())
}

/// A pregnancy in hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = CoveredOn))]
#[serde(deny_unknown_fields)]
pub struct Pregnancy {
    /// The day of the (last) covering, where it is known.
    #[serde(default)]
    pub covered_on: Option<NaiveDate>,
}

/// A horse's profile, computed from its log or given to a figure. What is missing is unknown, never assumed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = HorseProfile))]
#[serde(deny_unknown_fields, default)]
pub struct Horse {
    /// What it is called in the barn.
    pub name: Option<String>,
    /// The name in its passport or stud book.
    pub registered_name: Option<String>,
    /// Its sex.
    pub sex: Option<Sex>,
    /// When it was foaled, as exactly as it is known.
    pub foaled_on: Option<PartialDate>,
    /// Its build.
    pub breed_type: Option<BreedType>,
    /// Whether its dam was vaccinated (for foals).
    pub dam_vaccinated: Option<DamVaccinated>,
    /// A pregnancy in hand.
    pub pregnancy: Option<Pregnancy>,
    /// What makes a risk-based vaccine advisable.
    pub risks: Vec<Risk>,
    /// Its last weight, in kilograms.
    pub weight_kg: Option<f64>,
    /// Its (expected) grown weight, in kilograms.
    pub mature_weight_kg: Option<f64>,
    /// Whether it wears shoes.
    pub shod: Option<bool>,
    /// Transponder number (ISO 11784, 15 digits).
    pub microchip: Option<String>,
    /// Universal Equine Life Number (15 characters).
    pub ueln: Option<String>,
    /// Its colour.
    pub colour: Option<String>,
    /// Its markings.
    pub markings: Option<String>,
}

/// An event as a figure reads it: `kind`, `details` and a day are enough.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct CareEvent {
    /// What it records.
    pub kind: Kind,
    /// Its typed details, by kind.
    pub details: Value,
    /// When it happened, by the wall clock there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub performed_at: Option<DateTime<FixedOffset>>,
    /// The day it happened, where no hour is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub performed_on: Option<NaiveDate>,
    /// Its identity; a figure's input may lack it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<EventId>,
    /// The event that it amends, retracts or countersigns.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target_id: Option<EventId>,
    /// The capacity in which its author acted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub role: Option<Role>,
    /// How far it can be relied on; missing counts as attested.
    #[serde(default = "attested")]
    pub provenance: Provenance,
    /// Set once a vet or farrier countersigned it: their role.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub countersigned_by: Option<Role>,
}

fn attested() -> Provenance {
    Provenance::Attested
}

impl CareEvent {
    /// The calendar day it happened, by the wall clock where it happened.
    ///
    /// # Errors
    ///
    /// A fault if it has neither `performed_at` nor `performed_on`, or if the two name different days.
    pub fn day(&self) -> Result<NaiveDate, Faults> {
        match (
            self.performed_at.map(|at| at.date_naive()),
            self.performed_on,
        ) {
            (Some(at), Some(on)) if at != on => Err(Faults::one(
                "/performed_on",
                format!("{on} is not the day of performed_at ({at})"),
            )),
            (Some(day), _) | (None, Some(day)) => Ok(day),
            (None, None) => Err(Faults::one(
                "/performed_at",
                "say when it happened: performed_at or performed_on",
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn null_says_no_more_of_a_dam_than_nothing() {
        let read = |text| serde_json::from_str::<DamVaccinated>(text).expect("an answer");
        let known = BTreeMap::from([("rabies".to_owned(), true)]);
        assert_eq!(
            read(r#"{"rabies": true, "tetanus": null}"#),
            DamVaccinated::ByDisease(known)
        );
        assert_eq!(read("false"), DamVaccinated::All(false));
    }
}
