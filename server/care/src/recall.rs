//! A recall by lot number: what was given of a lot, as the record stands now.
//!
//! The log decides: an amendment that corrects the lot moves the dose, a retraction takes it away.

use chrono::{DateTime, FixedOffset, NaiveDate};
use serde_json::Value;

use crate::effective::{Standing, effective};
use crate::horse::CareEvent;
use crate::ids::EventId;
use crate::kind::{Kind, Provenance};

/// The kinds whose details name a lot.
pub const KINDS: [Kind; 3] = [Kind::Vaccination, Kind::Deworming, Kind::Medication];

/// A lot number as lots are compared: letters and digits alone, in capitals.
///
/// Labels and people differ in case, blanks, hyphens and points. Of two mistakes, showing a horse too many is the harmless
/// one: the lot is shown as it was written, and a person sees that it is another.
///
/// ```
/// use whorl_care::recall::LotKey;
/// assert_eq!(LotKey::of("dp 7731"), LotKey::of("DP-7731"));
/// assert!(LotKey::of(" - ").is_none());
/// ```
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LotKey(String);

impl LotKey {
    /// The key of a lot number as somebody wrote it; nothing if it has neither a letter nor a digit.
    #[must_use]
    pub fn of(text: &str) -> Option<Self> {
        let key: String = text
            .chars()
            .filter(|one| one.is_alphanumeric())
            .flat_map(char::to_uppercase)
            .collect();
        (!key.is_empty()).then_some(Self(key))
    }

    /// The key of the lot that details name, if they name one.
    #[must_use]
    pub fn in_details(details: &Value) -> Option<Self> {
        Self::of(details.get("lot_number")?.as_str()?)
    }

    /// The key of the lot that an event's content names (`content` is its JSON): its own, or for an amendment the one that it
    /// puts in another's place.
    #[must_use]
    pub fn in_content(kind: Kind, content: &str) -> Option<Self> {
        if kind != Kind::Amendment && !KINDS.contains(&kind) {
            return None;
        }
        let content: Value = serde_json::from_str(content).ok()?;
        let details = content.get("details")?;
        match kind {
            Kind::Amendment => Self::in_details(details.get("details")?),
            _ => Self::in_details(details),
        }
    }

    /// The key as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// What a recall asks for.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// The lot.
    pub lot: LotKey,
    /// A part of the product's name, in whatever case; any product if missing.
    pub product: Option<String>,
}

/// A dose of the lot that stands in the record.
#[derive(Clone, Debug, PartialEq)]
pub struct Dose {
    /// The event; missing only in a log without ids.
    pub event_id: Option<EventId>,
    /// What it was.
    pub kind: Kind,
    /// When it was given, by the wall clock there.
    pub performed_at: Option<DateTime<FixedOffset>>,
    /// The product or drug, as it was written.
    pub product: Option<String>,
    /// The lot, as it was written.
    pub lot_number: String,
    /// Its details as they read now.
    pub details: Value,
    /// Whether it reads as amended.
    pub amended: bool,
    /// How far it can be relied on.
    pub provenance: Provenance,
}

impl Dose {
    /// The day it was given.
    #[must_use]
    pub fn day(&self) -> Option<NaiveDate> {
        self.performed_at.map(|at| at.date_naive())
    }
}

/// The doses of a lot in one horse's events, in the order given.
#[must_use]
pub fn doses(events: &[CareEvent], wanted: &Wanted) -> Vec<Dose> {
    let log = effective(events);
    log.in_force()
        .filter(|one| KINDS.contains(&one.event.kind))
        .filter_map(|one| dose(one, wanted))
        .collect()
}

fn dose(one: &Standing<'_>, wanted: &Wanted) -> Option<Dose> {
    if LotKey::in_details(one.details)? != wanted.lot {
        return None;
    }
    let text = |name: &str| one.details.get(name).and_then(Value::as_str);
    let product = text("product").or_else(|| text("drug"));
    if let Some(part) = &wanted.product {
        let name = product.unwrap_or_default().to_lowercase();
        // A dose whose product nobody wrote down may be of it.
        if product.is_some() && !name.contains(&part.trim().to_lowercase()) {
            return None;
        }
    }
    Some(Dose {
        event_id: one.event.id,
        kind: one.event.kind,
        performed_at: one.event.performed_at,
        product: product.map(str::to_owned),
        lot_number: text("lot_number")?.to_owned(),
        details: one.details.clone(),
        amended: one.amended_by.is_some(),
        provenance: one.provenance,
    })
}

/// What must be said with every answer to a recall.
pub const CAUTIONS: [&str; 3] = [
    "A lot that was never written down, or was misread from the label, is not found: check the stock and the day books too.",
    "What to do with the horses is for the vet, the maker and the competent authority to say; keep the packs.",
    "A horse that fell ill after it: record an adverse reaction, and report it.",
];

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn event(n: u32, kind: &str, target: Option<u32>, details: &Value) -> CareEvent {
        let id = |n: u32| format!("01970000-0000-7000-8000-{n:012}");
        let mut document = json!({"kind": kind, "id": id(n), "details": details,
            "performed_at": format!("2026-05-{n:02}T09:00:00+01:00")});
        if let Some(target) = target {
            document["target_id"] = json!(id(target));
        }
        serde_json::from_value(document).expect("an event")
    }

    fn found(log: &[CareEvent], lot: &str, product: Option<&str>) -> Vec<String> {
        let wanted = Wanted {
            lot: LotKey::of(lot).expect("a lot"),
            product: product.map(str::to_owned),
        };
        let doses = doses(log, &wanted);
        doses.into_iter().map(|dose| dose.lot_number).collect()
    }

    #[test]
    fn every_kind_that_names_a_lot_counts_however_it_is_spelt() {
        let log = [
            event(
                1,
                "vaccination",
                None,
                &json!({"product": "Tetvax", "lot_number": "T-4417"}),
            ),
            event(
                2,
                "deworming",
                None,
                &json!({"actives": [], "lot_number": "t 4417"}),
            ),
            event(
                3,
                "medication",
                None,
                &json!({"drug": "tetracycline", "lot_number": "T4417"}),
            ),
            event(
                4,
                "vaccination",
                None,
                &json!({"product": "Tetvax", "lot_number": "T44171"}),
            ),
            event(5, "observation", None, &json!({"text": "T4417"})),
        ];
        assert_eq!(found(&log, "t44-17", None), ["T-4417", "t 4417", "T4417"]);
        // The dewormer's product is unknown: it may be the one.
        assert_eq!(found(&log, "T4417", Some("tetVAX")), ["T-4417", "t 4417"]);
    }

    #[test]
    fn an_amendment_moves_a_dose_and_a_retraction_takes_it_away() {
        let dose = event(1, "vaccination", None, &json!({"lot_number": "A1"}));
        let corrected = event(
            2,
            "amendment",
            Some(1),
            &json!({"reason": "misread", "details": {"lot_number": "B2"}}),
        );
        let log = [dose.clone(), corrected.clone()];
        assert!(found(&log, "A1", None).is_empty());
        assert_eq!(found(&log, "b2", None), ["B2"]);
        let back = event(3, "retraction", Some(2), &json!({"reason": "was right"}));
        assert_eq!(found(&[dose.clone(), corrected, back], "A1", None), ["A1"]);
        let withdrawn = event(4, "retraction", Some(1), &json!({"reason": "other horse"}));
        assert!(found(&[dose, withdrawn], "A1", None).is_empty());
    }
}
