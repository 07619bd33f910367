//! A vaccination.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::code::{Route, Site};
use crate::disease::Disease;
use crate::when::PartialDate;

/// A vaccine given. The meanings are those of HL7 FHIR's Immunization (lot number, expiration date, route, site).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Vaccination {
    /// What it protects against; a combination names each disease.
    pub targets: Vec<Disease>,
    /// The product's name, as on the vial.
    pub product: Option<String>,
    /// Who made it.
    pub manufacturer: Option<String>,
    /// The lot (batch, serial) number of the vial.
    pub lot_number: Option<String>,
    /// When the vial expires: a day, or a month, which counts to its end.
    pub expiration_date: Option<PartialDate>,
    /// How much was given, in millilitres.
    pub dose_ml: Option<f64>,
    /// How it was given.
    pub route: Option<Route>,
    /// Where on the horse.
    pub site: Option<Site>,
    /// How long the horse was watched for a reaction, and what was seen.
    pub reaction_watch: Option<String>,
}

impl Typed for Vaccination {
    fn example() -> Value {
        json!({
            "targets": ["tetanus", "influenza"],
            "product": "Tidevax Flu-T",
            "manufacturer": "Tidewater Biologicals",
            "lot_number": "TV-20418",
            "expiration_date": "2027-03",
            "dose_ml": 1.0,
            "route": "intramuscular",
            "site": "left_neck",
            "reaction_watch": "Watched for 20 minutes, nothing seen."
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.some_of(
            "/targets",
            &self.targets,
            "disease that it protects against",
        );
        for (pointer, text, why) in [
            ("/product", &self.product, "the vial's name"),
            (
                "/lot_number",
                &self.lot_number,
                "a recall or a reaction is traced by the vial's lot",
            ),
        ] {
            check.needed(pointer, text.is_some(), why);
            check.short(pointer, text.as_deref());
        }
        check.short("/manufacturer", self.manufacturer.as_deref());
        check.needed(
            "/expiration_date",
            self.expiration_date.is_some(),
            "the vial's expiry",
        );
        check.expiry("/expiration_date", self.expiration_date);
        check.quantity("/dose_ml", "dose_ml", self.dose_ml);
        self.check_site(check);
        check.long("/reaction_watch", self.reaction_watch.as_deref());
    }
}

impl Vaccination {
    fn check_site(&self, check: &mut Check<'_>) {
        let (Some(route), Some(site)) = (self.route, self.site) else {
            return;
        };
        let fine = match route {
            Route::Intranasal => site.is_nostril(),
            Route::Intramuscular | Route::Subcutaneous => !site.is_nostril(),
            Route::Oral => false,
        };
        let wanted = match route {
            Route::Intranasal => "the site is left_nostril or right_nostril",
            Route::Oral => "there is no site",
            Route::Intramuscular | Route::Subcutaneous => "a nostril can't be the site",
        };
        check.that(
            fine,
            "/site",
            format!("{site} doesn't fit: given {route}, {wanted}"),
        );
    }
}
