//! A change of the horse's profile.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::disease::Disease;
use crate::fault::step;
use crate::figure::growth::age::OLDEST_YEARS;
use crate::horse::{BreedType, DamVaccinated, Risk, Sex};
use crate::microchip;
use crate::when::PartialDate;

/// Details of `identity`: the changed parts of the horse's profile. What is missing stays as it was.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Identity {
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
    /// Transponder number (ISO 11784, 15 digits).
    pub microchip: Option<String>,
    /// Universal Equine Life Number (15 characters).
    pub ueln: Option<String>,
    /// Its colour.
    pub colour: Option<String>,
    /// Its markings: white, whorls, scars, brands.
    pub markings: Option<String>,
    /// What makes a risk-based vaccine advisable: the whole list, which replaces the earlier one.
    pub risks: Option<Vec<Risk>>,
    /// Whether its dam was vaccinated, for a foal's first course.
    pub dam_vaccinated: Option<DamVaccinated>,
    /// Its (expected) grown weight, in kilograms.
    pub mature_weight_kg: Option<f64>,
}

impl Typed for Identity {
    fn example() -> Value {
        json!({
            "name": "Samphire",
            "registered_name": "Saltmarsh Samphire",
            "sex": "mare",
            "foaled_on": "2017-04-19",
            "breed_type": "light",
            "microchip": "826098500123456",
            "ueln": "826002170041900",
            "colour": "bay",
            "markings": "Star; two whorls on the forehead; left hind white to the fetlock.",
            "risks": ["travels", "near_water"],
            "dam_vaccinated": true,
            "mature_weight_kg": 520.0
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.that(
            *self != Self::default(),
            "",
            "it changes nothing; name at least one part of the profile",
        );
        check.short("/name", self.name.as_deref());
        check.short("/registered_name", self.registered_name.as_deref());
        check.short("/colour", self.colour.as_deref());
        check.long("/markings", self.markings.as_deref());
        check.distinct("/risks", self.risks.as_deref().unwrap_or_default());
        check.quantity(
            "/mature_weight_kg",
            "mature_weight_kg",
            self.mature_weight_kg,
        );
        if let Some(chip) = &self.microchip
            && let Err(detail) = microchip::check(chip, &check.context.rules.microchip)
        {
            check.faults.add("/microchip", detail);
        }
        if let Some(number) = &self.ueln
            && let Err(detail) = ueln(number)
        {
            check.faults.add("/ueln", detail);
        }
        if let Some(DamVaccinated::ByDisease(diseases)) = &self.dam_vaccinated {
            for code in diseases.keys() {
                if let Err(unknown) = code.parse::<Disease>() {
                    let pointer = format!("/dam_vaccinated{}", step(code));
                    check.faults.add(pointer, unknown.to_string());
                }
            }
        }
        if let Some(foaled) = self.foaled_on {
            check.past("/foaled_on", Some(foaled.earliest()));
            let age = check.context.received_on.years_since(foaled.latest());
            check.that(
                age.unwrap_or(0) <= OLDEST_YEARS,
                "/foaled_on",
                format!("{foaled} would make it older than any horse; is the year right?"),
            );
        }
    }
}

/// Checks a Universal Equine Life Number.
///
/// # Source
///
/// UELN rules of attribution (ueln.net): 15 characters, three digits for the database's country (ISO 3166-1 numeric),
/// three for the database, nine for the horse, in digits and capital letters. There is no universal check digit.
fn ueln(number: &str) -> Result<(), String> {
    let length = number.chars().count();
    if length != 15 {
        return Err(format!("a UELN has 15 characters; this has {length}"));
    }
    if !number
        .bytes()
        .all(|byte| byte.is_ascii_digit() || byte.is_ascii_uppercase())
    {
        return Err("a UELN is of digits and capital letters, without spaces or dots".to_owned());
    }
    let country = number.get(..3).unwrap_or_default();
    if !country.bytes().all(|byte| byte.is_ascii_digit()) || country == "000" {
        return Err(format!(
            "a UELN begins with the three digits of a country, not {country}"
        ));
    }
    Ok(())
}
