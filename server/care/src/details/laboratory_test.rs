//! A laboratory test.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Typed;
use super::check::Check;
use crate::kind::codes;

codes! {
    /// Which test.
    Test {
        /// Equine infectious anaemia, agar gel immunodiffusion (the Coggins test).
        EiaAgid = "eia_agid",
        /// Equine infectious anaemia, ELISA.
        EiaElisa = "eia_elisa",
        /// Equine viral arteritis, virus neutralisation.
        EvaNeutralisation = "eva_neutralisation",
        /// Contagious equine metritis, culture or PCR.
        Cem = "cem",
        /// Piroplasmosis, cELISA.
        PiroplasmosisElisa = "piroplasmosis_elisa",
        /// Strangles, PCR or culture.
        StranglesPcr = "strangles_pcr",
        /// Strangles, antibodies.
        StranglesSerology = "strangles_serology",
        /// Influenza, PCR.
        InfluenzaPcr = "influenza_pcr",
        /// Equine herpesvirus 1 or 4, PCR.
        EhvPcr = "ehv_pcr",
        /// West Nile virus, antibodies.
        WestNileSerology = "west_nile_serology",
        /// Tapeworm, antibodies in blood or saliva.
        TapewormAntibody = "tapeworm_antibody",
        /// Small redworm, antibodies in blood.
        CyathostominAntibody = "cyathostomin_antibody",
        /// Antibodies that a newborn foal took in with the first milk.
        FoalIgg = "foal_igg",
        /// Blood cells.
        Haematology = "haematology",
        /// Blood chemistry.
        Biochemistry = "biochemistry",
        /// Serum amyloid A.
        SerumAmyloidA = "serum_amyloid_a",
        /// ACTH (pituitary disease).
        Acth = "acth",
        /// Insulin.
        Insulin = "insulin",
        /// A culture of bacteria, with or without sensitivity.
        BacterialCulture = "bacterial_culture",
        /// Forbidden substances.
        Doping = "doping",
        /// Another; the note says which.
        Other = "other",
    }
}

impl Test {
    /// Whether it is a test for equine infectious anaemia, on which entry rules rest.
    #[must_use]
    pub const fn is_eia(self) -> bool {
        matches!(self, Self::EiaAgid | Self::EiaElisa)
    }
}

/// The results that a rule can read.
const RESULTS: &[&str] = &["negative", "positive", "inconclusive", "pending"];

/// Details of `laboratory_test`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct LaboratoryTest {
    /// Which test.
    pub test: Test,
    /// The day the sample was drawn: validity counts from it.
    pub drawn_on: Option<NaiveDate>,
    /// The day the laboratory reported.
    pub reported_on: Option<NaiveDate>,
    /// The result: negative, positive, inconclusive, pending, or a value with its unit.
    pub result: Option<String>,
    /// The laboratory's number for the sample.
    pub accession_number: Option<String>,
    /// Which laboratory.
    pub laboratory: Option<String>,
}

impl Typed for LaboratoryTest {
    fn example() -> Value {
        json!({
            "test": "eia_elisa",
            "drawn_on": "2026-04-27",
            "reported_on": "2026-05-01",
            "result": "negative",
            "accession_number": "EV-26-03318",
            "laboratory": "Estuary Veterinary Laboratory"
        })
    }

    fn check(&self, check: &mut Check<'_>) {
        check.needed(
            "/drawn_on",
            self.drawn_on.is_some(),
            "validity counts from the day it was drawn",
        );
        check.past("/drawn_on", self.drawn_on);
        check.past("/reported_on", self.reported_on);
        check.not_before(
            "/reported_on",
            self.reported_on,
            self.drawn_on,
            "the day it was drawn",
        );
        if let (Some(foaled), Some(drawn)) = (check.context.foaled_on, self.drawn_on) {
            check.that(
                drawn >= foaled.earliest(),
                "/drawn_on",
                format!("{drawn} is before the horse was foaled ({foaled})"),
            );
        }
        check.short("/result", self.result.as_deref());
        if let Some(result) = self.result.as_deref().filter(|_| self.test.is_eia()) {
            check.that(
                RESULTS.contains(&result),
                "/result",
                format!("{result} is not one of {}", RESULTS.join(", ")),
            );
        }
        if self
            .result
            .as_deref()
            .is_none_or(|result| result == "pending")
        {
            check.that(
                self.reported_on.is_none(),
                "/result",
                "the laboratory has reported, so say what it found",
            );
        }
        check.short("/accession_number", self.accession_number.as_deref());
        check.short("/laboratory", self.laboratory.as_deref());
    }
}
