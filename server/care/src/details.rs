//! The typed details of every kind of event: reading them strictly, and checking their values.
//!
//! [`Details::parse`] is about shape: a missing, unknown or wrongly typed field. [`Details::check`] is about values:
//! a lot that had expired, a weight that no horse has. Pointers are relative to the details.

mod adverse_reaction;
mod body_condition;
mod breeding;
mod care_plan;
mod check;
mod correction;
mod dental;
mod deworming;
mod egg_count;
mod finding;
mod health_certificate;
mod hoof_care;
mod hoof_check;
mod identity;
mod laboratory_test;
mod lameness_exam;
mod measures;
mod medication;
pub(crate) mod metric;
mod movement;
mod observation;
mod vaccination;
mod vitals;
mod weight;

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use crate::fault::{Fault, Faults, read};
use crate::kind::Kind;

pub use adverse_reaction::{AdverseReaction, ReactionOutcome};
pub use body_condition::BodyCondition;
pub use breeding::{Breeding, BreedingStep};
pub use care_plan::{CarePlan, Domain};
use check::Check;
pub use check::{Context, check_day};
pub use correction::{Amendment, Countersign, Erasure, Retraction};
pub use dental::{Dental, DentalProcedure};
pub use deworming::Deworming;
pub use egg_count::EggCount;
pub use finding::Finding;
pub use health_certificate::HealthCertificate;
pub use hoof_care::{FootCare, HoofCare, Service, Shoe};
pub use hoof_check::{CheckedFoot, HoofCheck};
pub use identity::Identity;
pub use laboratory_test::{LaboratoryTest, Test};
pub use lameness_exam::{LamenessExam, LamenessScale};
pub use measures::{MeasureMethod, Measures};
pub use medication::{Medication, MedicationRoute};
pub use metric::to_metric;
pub use movement::Movement;
pub use observation::Observation;
pub use vaccination::Vaccination;
pub use vitals::Vitals;
pub use weight::Weight;

/// What the details of one kind can do.
trait Typed: DeserializeOwned + Serialize {
    /// One full, valid example, for the documentation and the tests.
    fn example() -> Value;

    /// Notes what is wrong with the values.
    fn check(&self, check: &mut Check<'_>);
}

/// Declares the details of every kind, once: each struct is named like its kind.
macro_rules! details {
    ($($kind:ident,)*) => {
        /// The details of an event, by its kind.
        #[derive(Clone, Debug, PartialEq, Serialize)]
        #[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
        #[serde(untagged)]
        pub enum Details {
            $(
                #[doc = concat!("Of the kind `", stringify!($kind), "`.")]
                $kind($kind),
            )*
        }

        impl Details {
            /// Which kind they are of.
            #[must_use]
            pub const fn kind(&self) -> Kind {
                match self { $(Self::$kind(_) => Kind::$kind,)* }
            }

            fn read(kind: Kind, details: &Value) -> Result<Self, Faults> {
                match kind { $(Kind::$kind => read(details).map(Self::$kind),)* }
            }

            fn check_values(&self, check: &mut Check<'_>) {
                match self { $(Self::$kind(details) => details.check(check),)* }
            }
        }

        /// One full, valid example of a kind's details, as JSON; all examples describe one day, 4 May 2026.
        #[must_use]
        pub fn example(kind: Kind) -> Value {
            match kind { $(Kind::$kind => <$kind>::example(),)* }
        }
    };
}

details! {
    HoofCare,
    HoofCheck,
    Vaccination,
    Deworming,
    EggCount,
    Weight,
    BodyCondition,
    Vitals,
    Dental,
    LamenessExam,
    Medication,
    LaboratoryTest,
    HealthCertificate,
    Movement,
    Breeding,
    Observation,
    AdverseReaction,
    CarePlan,
    Identity,
    Amendment,
    Retraction,
    Countersign,
    Erasure,
}

impl Details {
    /// Reads the details of a kind: every field known, of the right type, none missing that the kind can't do without.
    ///
    /// # Errors
    ///
    /// Every fault of shape that can be told, with pointers relative to the details.
    pub fn parse(kind: Kind, details: &Value) -> Result<Self, Faults> {
        let first = match Self::read(kind, details) {
            Ok(read) => return Ok(read),
            Err(faults) => faults,
        };
        // Reading stops at the first fault. Take each offending field out and read on, so that a person sees all.
        let mut faults = first;
        let mut rest = details.clone();
        while let Some(pointer) = faults.0.last().map(|fault| fault.pointer.clone()) {
            if !take_field(&mut rest, &pointer) {
                break;
            }
            let Err(next) = Self::read(kind, &rest) else {
                break;
            };
            // A field that was taken out because of its value may be missed now.
            let seen = |pointer: &str| faults.0.iter().any(|old| old.pointer == pointer);
            if next.0.iter().any(|fault| seen(&fault.pointer)) {
                break;
            }
            faults.0.extend(next.0);
        }
        Err(faults)
    }

    /// Reads what is known of the details of a kind and leaves out the rest: an event that a newer program wrote is
    /// kept whole in the record, and is still of use. Nothing if too much is missing.
    #[must_use]
    pub fn parse_known(kind: Kind, details: &Value) -> Option<Self> {
        let mut faults = match Self::read(kind, details) {
            Ok(read) => return Some(read),
            Err(faults) => faults,
        };
        let mut rest = details.clone();
        loop {
            let pointer = faults.0.first().map(|fault| fault.pointer.as_str())?;
            if !take_field(&mut rest, pointer) && !take_item(&mut rest, pointer) {
                return None;
            }
            match Self::read(kind, &rest) {
                Ok(read) => return Some(read),
                Err(next) => faults = next,
            }
        }
    }

    /// Checks the values against each other, the day, and what is possible for a horse.
    ///
    /// # Errors
    ///
    /// Every fault found, with pointers relative to the details.
    pub fn check(&self, context: &Context<'_>) -> Result<(), Faults> {
        let mut check = Check::new(context);
        self.check_values(&mut check);
        check.faults.or(())
    }

    /// What a person should be asked before it is signed: values that are possible but unusual, such as a weight that
    /// looks like pounds. Pointers are relative to the details.
    #[must_use]
    pub fn doubts(&self, context: &Context<'_>) -> Vec<Fault> {
        let mut check = Check::new(context);
        self.check_values(&mut check);
        check.doubts
    }

    /// As JSON, without the fields that hold nothing.
    #[must_use]
    pub fn to_value(&self) -> Value {
        let mut value = serde_json::to_value(self).unwrap_or_default();
        // An amendment's new details are the author's own words.
        if !matches!(self, Self::Amendment(_)) {
            prune(&mut value);
        }
        value
    }
}

/// Removes the field of an object that `pointer` names; false if there is none.
fn take_field(document: &mut Value, pointer: &str) -> bool {
    let Some((parent, name)) = pointer.rsplit_once('/') else {
        return false;
    };
    let name = name.replace("~1", "/").replace("~0", "~");
    document
        .pointer_mut(parent)
        .and_then(Value::as_object_mut)
        .is_some_and(|fields| fields.remove(&name).is_some())
}

/// Removes the item of a list that `pointer` names; false if there is none.
fn take_item(document: &mut Value, pointer: &str) -> bool {
    let Some((parent, index)) = pointer.rsplit_once('/') else {
        return false;
    };
    let list = document.pointer_mut(parent).and_then(Value::as_array_mut);
    let index = index.parse::<usize>().ok();
    list.zip(index).is_some_and(|(list, index)| {
        let there = index < list.len();
        if there {
            list.remove(index);
        }
        there
    })
}

fn prune(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            fields.retain(|_, field| {
                prune(field);
                !field.is_null()
            });
        }
        Value::Array(items) => items.iter_mut().for_each(prune),
        _ => {}
    }
}

#[cfg(test)]
mod tests;
