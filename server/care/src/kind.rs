//! The kinds of events, the people's roles, and the grades of provenance: the one list of each.

macro_rules! codes {
    ($(#[doc = $doc:literal])* $name:ident { $($(#[doc = $meaning:literal])* $variant:ident = $code:literal,)* }) => {
        $(#[doc = $doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, ::serde::Serialize, ::serde::Deserialize)]
        #[serde(try_from = "String")]
        pub enum $name { $($(#[doc = $meaning])* #[serde(rename = $code)] $variant,)* }

        // Read as a text, so that a fault under a map's key (a foot) is pointed to by that key.
        impl TryFrom<String> for $name {
            type Error = $crate::kind::UnknownCode;
            fn try_from(text: String) -> Result<Self, Self::Error> {
                text.parse()
            }
        }

        impl $name {
            /// Every one, in the order of the vocabulary.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The code on the wire.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)* }
            }
        }

        // utoipa's derive doesn't see a code that comes out of a macro.
        #[cfg(feature = "schema")]
        impl utoipa::PartialSchema for $name {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
                let meanings = [$(($code, concat!($($meaning),*))),*];
                $crate::kind::schema(concat!($($doc),*), &meanings)
            }
        }
        #[cfg(feature = "schema")]
        impl utoipa::ToSchema for $name {}

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(self.code())
            }
        }

        impl std::str::FromStr for $name {
            type Err = $crate::kind::UnknownCode;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                Self::ALL.iter().copied().find(|one| one.code() == text).ok_or_else(|| $crate::kind::UnknownCode {
                    got: text.to_owned(),
                    known: Self::ALL.iter().map(|one| one.code()).collect::<Vec<_>>().join(", "),
                })
            }
        }
    };
}
pub(crate) use codes;

/// The published schema of a list of codes, with the meaning of each.
#[cfg(feature = "schema")]
pub(crate) fn schema(
    about: &str,
    meanings: &[(&str, &str)],
) -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
    let lines = meanings
        .iter()
        .map(|(code, meaning)| format!("- `{code}`: {}", meaning.trim()));
    let about = format!(
        "{}\n\n{}",
        about.trim(),
        lines.collect::<Vec<_>>().join("\n")
    );
    utoipa::openapi::ObjectBuilder::new()
        .schema_type(utoipa::openapi::schema::Type::String)
        .description(Some(about))
        .enum_values(Some(meanings.iter().map(|(code, _)| *code)))
        .into()
}

/// A code that the vocabulary does not have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{got}` is not one of {known}")]
pub struct UnknownCode {
    /// What was given.
    pub got: String,
    /// What there is.
    pub known: String,
}

codes! {
    /// What an event records.
    Kind {
        /// A farrier's trim or shoeing.
        HoofCare = "hoof_care",
        /// Feet picked out and looked at.
        HoofCheck = "hoof_check",
        /// A vaccination, with product, lot, route and site.
        Vaccination = "vaccination",
        /// A dewormer given.
        Deworming = "deworming",
        /// A faecal egg count.
        EggCount = "egg_count",
        /// A weight, weighed or estimated.
        Weight = "weight",
        /// A body condition score.
        BodyCondition = "body_condition",
        /// Temperature, pulse, respiration, digital pulses.
        Vitals = "vitals",
        /// Dental work or a dental exam.
        Dental = "dental",
        /// A lameness exam.
        LamenessExam = "lameness_exam",
        /// A drug given.
        Medication = "medication",
        /// A laboratory test.
        LaboratoryTest = "laboratory_test",
        /// A health certificate.
        HealthCertificate = "health_certificate",
        /// A journey from one place to another.
        Movement = "movement",
        /// Covering, pregnancy, foaling, loss, weaning.
        Breeding = "breeding",
        /// Signs that somebody saw.
        Observation = "observation",
        /// An adverse reaction to something given.
        AdverseReaction = "adverse_reaction",
        /// Standing orders of a vet or farrier.
        CarePlan = "care_plan",
        /// A change of the horse's profile.
        Identity = "identity",
        /// Replaces the details of an earlier event.
        Amendment = "amendment",
        /// Withdraws an earlier event.
        Retraction = "retraction",
        /// A professional vouches for a transcribed event.
        Countersign = "countersign",
        /// Takes the content of an earlier event away for good; what is left still proves that there was one.
        Erasure = "erasure",
    }
}

impl Kind {
    /// The kinds that are about another event, which the envelope's `target_id` names: told with that event, and seen by
    /// whoever may see it.
    pub const ABOUT_OTHERS: &'static [Self] = &[
        Self::Amendment,
        Self::Retraction,
        Self::Countersign,
        Self::Erasure,
    ];

    /// Whether it is about another event.
    #[must_use]
    pub const fn is_about_another(self) -> bool {
        matches!(
            self,
            Self::Amendment | Self::Retraction | Self::Countersign | Self::Erasure
        )
    }
}

codes! {
    /// In which capacity somebody acts on a horse's record.
    Role {
        /// The owner.
        Owner = "owner",
        /// A barn hand.
        BarnStaff = "barn_staff",
        /// A farrier.
        Farrier = "farrier",
        /// A veterinarian.
        Vet = "vet",
    }
}

codes! {
    /// How far an entry can be relied on.
    Provenance {
        /// Recorded and signed by somebody whose licence covers the procedure.
        Attested = "attested",
        /// Recorded by anyone else who is allowed to.
        Recorded = "recorded",
        /// Copied from paper.
        Transcribed = "transcribed",
    }
}

codes! {
    /// A foot.
    Foot {
        /// Left fore.
        LeftFore = "LF",
        /// Right fore.
        RightFore = "RF",
        /// Left hind.
        LeftHind = "LH",
        /// Right hind.
        RightHind = "RH",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_reads_back() {
        for kind in Kind::ALL {
            assert_eq!(kind.code().parse::<Kind>().as_ref(), Ok(kind));
            assert_eq!(serde_json::to_value(kind).expect("a string"), kind.code());
        }
        assert_eq!(Kind::ALL.len(), 23);
        for kind in Kind::ALL {
            assert_eq!(kind.is_about_another(), Kind::ABOUT_OTHERS.contains(kind));
        }
        assert!("hoofcare".parse::<Kind>().is_err());
    }
}
