//! The report of an adverse reaction that a vet can send on: everything that the record tells, and what it doesn't.

mod text;

use chrono::{DateTime, Days, FixedOffset};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::code::Sign;
use crate::details::{AdverseReaction, Details, ReactionOutcome};
use crate::effective::{Standing, effective};
use crate::fault::Faults;
use crate::figure::Basis;
use crate::horse::{CareEvent, Horse};
use crate::ids::EventId;
use crate::kind::{Kind, Provenance, Role};
use crate::profile::profile;
use crate::rules::{Rules, Source};
use crate::sentence::counted;
pub use text::text;

/// The kinds that a report rests on: what was given, who the horse is, and the reactions themselves.
pub const KINDS: [Kind; 7] = [
    Kind::AdverseReaction,
    Kind::Vaccination,
    Kind::Deworming,
    Kind::Medication,
    Kind::Identity,
    Kind::Weight,
    Kind::Breeding,
];

/// Something that was given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = GivenBefore))]
pub struct Given {
    /// The event.
    pub event_id: Option<EventId>,
    /// Vaccination, deworming or medication.
    pub kind: Kind,
    /// When, by the wall clock there.
    pub performed_at: Option<DateTime<FixedOffset>>,
    /// The product or drug.
    pub product: Option<String>,
    /// Who made it.
    pub manufacturer: Option<String>,
    /// What it is aimed at, or its actives.
    pub contains: Vec<String>,
    /// The lot (batch, serial) number.
    pub lot_number: Option<String>,
    /// When it expires.
    pub expiration_date: Option<String>,
    /// How much was given.
    pub dose: Option<String>,
    /// How.
    pub route: Option<String>,
    /// Where on the horse.
    pub site: Option<String>,
    /// Who gave it; filled in by whoever knows the signers.
    pub given_by: Option<String>,
    /// In which role it was recorded.
    pub role: Option<Role>,
    /// How far the record can be relied on.
    pub provenance: Provenance,
    /// Days before the reaction.
    pub days_before: Option<i64>,
}

/// The report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "schema", schema(as = ReactionReport))]
pub struct Report {
    /// The event that records the reaction.
    pub event_id: EventId,
    /// When it was seen, by the wall clock there.
    pub seen_at: Option<DateTime<FixedOffset>>,
    /// Who reports it; filled in by whoever knows the signers.
    pub reported_by: Option<String>,
    /// In which role.
    pub role: Option<Role>,
    /// How far the record can be relied on.
    pub provenance: Provenance,
    /// The signs.
    pub signs: Vec<Sign>,
    /// 0 none, 1 mild, 2 moderate, 3 marked, 4 an emergency.
    pub severity: Option<u8>,
    /// Hours between what was given and the reaction, as it was written down.
    pub onset_hours: Option<f64>,
    /// Hours between the two by their times, for comparison.
    pub hours_between: Option<f64>,
    /// How many hours it lasted.
    pub duration_hours: Option<f64>,
    /// What was done.
    pub treatment: Option<String>,
    /// How it ended.
    pub outcome: Option<ReactionOutcome>,
    /// What the vet makes of it.
    pub opinion: Option<String>,
    /// Who was told.
    pub reported_to: Option<String>,
    /// The maker's or authority's number.
    pub case_number: Option<String>,
    /// The horse as the record tells it.
    pub horse: Horse,
    /// How old it was.
    pub age: Option<String>,
    /// What the reaction is recorded after.
    pub after: Option<Given>,
    /// What else was given within the days before, the latest first.
    pub also_given: Vec<Given>,
    /// How many days the report looks back.
    pub looks_back_days: u32,
    /// When the same product was given before.
    pub given_before: Vec<DateTime<FixedOffset>>,
    /// Earlier reactions of this horse on record.
    pub earlier_reactions: usize,
    /// What the record doesn't tell, in words: ask before it is sent.
    pub missing: Vec<String>,
    /// What the answer rests on.
    pub sources: Vec<Source>,
    /// What must be said aloud.
    pub cautions: Vec<String>,
}

/// Gathers the report of one reaction from a horse's events.
///
/// # Errors
///
/// Faults if no standing adverse reaction has this id.
pub fn report(events: &[CareEvent], reaction: EventId, rules: &Rules) -> Result<Report, Faults> {
    let log = effective(events);
    let standing = log
        .in_force()
        .find(|one| one.event.id == Some(reaction) && one.event.kind == Kind::AdverseReaction)
        .ok_or_else(|| {
            Faults::one(
                "/event",
                "no adverse reaction with this id stands in the record",
            )
        })?;
    let Some(Details::AdverseReaction(said)) =
        Details::parse_known(Kind::AdverseReaction, standing.details)
    else {
        return Err(Faults::one("/event", "its details can't be read"));
    };
    let seen_at = standing.event.performed_at;
    let until: Vec<CareEvent> = events
        .iter()
        .filter(|event| event.target_id.is_some() || event.performed_at <= seen_at)
        .cloned()
        .collect();
    let horse = profile(&until);
    let mut basis = Basis::default();
    let looks_back_days = look_back(rules, &mut basis);
    let since = seen_at.and_then(|at| at.checked_sub_days(Days::new(looks_back_days.into())));
    let all: Vec<Given> = log
        .in_force()
        .filter_map(|one| given(one, seen_at))
        .collect();
    let after = all
        .iter()
        .find(|one| one.event_id.is_some() && one.event_id == said.after_event_id)
        .cloned();
    let mut also_given: Vec<Given> = all
        .iter()
        .filter(|one| one.event_id != said.after_event_id || one.event_id.is_none())
        .filter(|one| one.performed_at >= since && one.performed_at <= seen_at)
        .cloned()
        .collect();
    also_given.sort_by_key(|one| std::cmp::Reverse((one.performed_at, one.event_id)));
    let mut given_before: Vec<DateTime<FixedOffset>> = all
        .iter()
        .filter(|one| after.as_ref().is_some_and(|after| same_product(after, one)))
        .filter_map(|one| one.performed_at)
        .collect();
    given_before.sort_unstable();
    let earlier_reactions = log
        .in_force()
        .filter(|one| one.event.kind == Kind::AdverseReaction)
        .filter(|one| one.event.id != Some(reaction) && one.event.performed_at < seen_at)
        .count();
    let hours_between = after
        .as_ref()
        .and_then(|given| Some(hours(seen_at? - given.performed_at?)));
    let age = horse.foaled_on.zip(seen_at).map(|(foaled, at)| {
        let days = (at.date_naive() - foaled.earliest()).num_days();
        match days / 365 {
            0 => format!(
                "{} (foaled {foaled})",
                counted(days / 30, "month", "months")
            ),
            years => format!("{} (foaled {foaled})", counted(years, "year", "years")),
        }
    });
    let mut report = Report {
        event_id: reaction,
        seen_at,
        reported_by: None,
        role: standing.role,
        provenance: standing.provenance,
        signs: said.signs.clone(),
        severity: said.severity,
        onset_hours: said.onset_hours,
        hours_between,
        duration_hours: said.duration_hours,
        treatment: said.treatment.clone(),
        outcome: said.outcome,
        opinion: said.opinion.clone(),
        reported_to: said.reported_to.clone(),
        case_number: said.case_number.clone(),
        horse,
        age,
        after,
        also_given,
        looks_back_days,
        given_before,
        earlier_reactions,
        missing: Vec::new(),
        sources: Vec::new(),
        cautions: Vec::new(),
    };
    report.missing = missing(&report, &said);
    basis.caution("That something came after a dose doesn't prove that the dose caused it; report it all the same.");
    basis.caution("The vet decides what is sent. Makers and the competent authority of your country say how and by when they want it.");
    basis.caution("Keep the vial, the pack and what is left.");
    report.sources = basis.sources;
    report.cautions = basis.cautions;
    Ok(report)
}

fn look_back(rules: &Rules, basis: &mut Basis) -> u32 {
    let pack = &rules.herd_health;
    let Some(row) = pack.look_backs.last() else {
        return 0;
    };
    if let Some(source) = pack.source(row) {
        basis.rests_on(&row.id, source, row.mark);
    }
    row.days
}

#[allow(
    clippy::cast_precision_loss,
    reason = "minutes of a few years are exact in a float"
)]
fn hours(between: chrono::TimeDelta) -> f64 {
    (between.num_minutes() as f64 / 6.0).round() / 10.0
}

fn same_product(after: &Given, other: &Given) -> bool {
    let name = |one: &Given| one.product.as_ref().map(|text| text.trim().to_lowercase());
    name(after).is_some()
        && name(after) == name(other)
        && after.event_id != other.event_id
        && other.performed_at < after.performed_at
}

fn given(one: &Standing<'_>, seen_at: Option<DateTime<FixedOffset>>) -> Option<Given> {
    let text = |name: &str| match one.details.get(name)? {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    };
    let list = |name: &str| {
        let items = one.details.get(name).and_then(Value::as_array);
        let items = items.into_iter().flatten().filter_map(Value::as_str);
        items.map(str::to_owned).collect::<Vec<_>>()
    };
    let (product, contains, dose) = match one.event.kind {
        Kind::Vaccination => (
            text("product"),
            list("targets"),
            text("dose_ml").map(|ml| format!("{ml} ml")),
        ),
        Kind::Deworming => {
            let mg = text("dose_mg").map(|mg| format!("{mg} mg"));
            let kg = text("dosed_for_kg").map(|kg| format!("for {kg} kg"));
            let parts: Vec<String> = mg.into_iter().chain(kg).collect();
            (
                text("product"),
                list("actives"),
                (!parts.is_empty()).then(|| parts.join(" ")),
            )
        }
        Kind::Medication => (text("drug"), Vec::new(), text("dose")),
        _ => return None,
    };
    let days_before = seen_at
        .zip(one.event.performed_at)
        .map(|(seen, gave)| (seen.date_naive() - gave.date_naive()).num_days());
    Some(Given {
        event_id: one.event.id,
        kind: one.event.kind,
        performed_at: one.event.performed_at,
        product,
        manufacturer: text("manufacturer"),
        contains,
        lot_number: text("lot_number"),
        expiration_date: text("expiration_date"),
        dose,
        route: text("route"),
        site: text("site"),
        given_by: None,
        role: one.role,
        provenance: one.provenance,
        days_before,
    })
}

/// What a report asks for and the record doesn't tell.
///
/// # Source
///
/// The data elements of VICH GL42 and of the forms of makers and authorities, as far as they are remembered: reporter,
/// animal, product with lot and expiry, dose, route, site, times, signs, treatment, outcome.
fn missing(report: &Report, said: &AdverseReaction) -> Vec<String> {
    let mut missing = Vec::new();
    let mut lacks = |absent: bool, text: &str| {
        if absent {
            missing.push(text.to_owned());
        }
    };
    match &report.after {
        None if said.after_event_id.is_some() => lacks(
            true,
            "what it came after: the entry that it names was withdrawn, or isn't open to this account",
        ),
        None => lacks(true, "what it came after: no entry is named"),
        Some(given) => {
            lacks(given.product.is_none(), "the product's name");
            lacks(
                given.manufacturer.is_none() && given.kind == Kind::Vaccination,
                "who made the product",
            );
            lacks(given.lot_number.is_none(), "the lot number");
            lacks(given.expiration_date.is_none(), "the expiry date");
            lacks(given.dose.is_none(), "the dose");
            lacks(
                given.route.is_none() && given.kind != Kind::Deworming,
                "how it was given (the route)",
            );
            lacks(
                given.site.is_none() && given.kind == Kind::Vaccination,
                "where on the horse it was given",
            );
        }
    }
    lacks(
        said.onset_hours.is_none(),
        "how many hours after it the signs began, as somebody saw it",
    );
    lacks(said.severity.is_none(), "how severe it was");
    lacks(said.duration_hours.is_none(), "how long it lasted");
    lacks(said.treatment.is_none(), "what was done against it");
    lacks(said.outcome.is_none(), "how it ended");
    lacks(said.opinion.is_none(), "the vet's opinion");
    lacks(said.reported_to.is_none(), "whether anybody was told");
    lacks(report.horse.sex.is_none(), "the horse's sex");
    lacks(report.horse.foaled_on.is_none(), "the horse's age");
    lacks(
        report.horse.breed_type.is_none(),
        "the horse's breed or build",
    );
    lacks(report.horse.weight_kg.is_none(), "the horse's weight");
    missing
}

#[cfg(test)]
mod tests;
