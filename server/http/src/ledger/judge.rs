//! Whether an event may enter a horse's log. Pure: all that it needs is handed over.

use chrono::{DateTime, Utc};
use whorl_care::care_plan::{self, Act};
use whorl_care::details::{Context, Details, Domain, check_day};
use whorl_care::horse::CareEvent;
use whorl_care::kind::Kind as EventKind;
use whorl_care::policy::Circumstances;
use whorl_care::rules::Rules;
use whorl_care::when::PartialDate;
use whorl_contract::event::Envelope;

use super::arrival::Arrival;
use super::no_grant;
use crate::access::Access;
use crate::problem::{Kind, Problem};

/// How far a wall clock may run ahead of ours.
const AHEAD: chrono::TimeDelta = chrono::TimeDelta::hours(24);

/// What is known when an event is judged.
#[derive(Debug)]
pub(super) struct Case<'a> {
    /// The rules in force.
    pub(super) rules: &'a Rules,
    /// The jurisdiction whose policy rows apply.
    pub(super) jurisdiction: Option<&'a str>,
    /// The server's clock.
    pub(super) now: DateTime<Utc>,
    /// The event.
    pub(super) arrival: &'a Arrival,
    /// What its author may do with this horse now.
    pub(super) access: &'a Access,
    /// Whether a grant of this role and kind was in force when it was recorded.
    pub(super) covered_then: bool,
    /// Whether the author had a licence for the role on that day.
    pub(super) licensed: bool,
    /// When the horse was foaled, if its log says so.
    pub(super) foaled_on: Option<PartialDate>,
    /// The horse's events that decide how others are judged.
    pub(super) shaping: &'a [CareEvent],
    /// The event that this one is about, if it is in this horse's log.
    pub(super) target: Option<&'a Envelope>,
    /// Whether its content was erased.
    pub(super) target_erased: bool,
}

/// Where a sound event goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    /// Into the log.
    Enter,
    /// To the owner, with the reason.
    Hold(String),
}

/// Judges an event.
///
/// # Errors
///
/// Why it can't be taken; pointers are relative to the event.
pub(super) fn judge(case: &Case<'_>) -> Result<Verdict, Problem> {
    let envelope = &case.arrival.opened.envelope;
    let may = case
        .access
        .may_record(envelope.role, about(envelope, case.target));
    // First of all: whoever has no business here learns nothing of the horse from how an event is refused.
    if !may && !case.covered_then {
        return Err(no_grant(envelope));
    }
    check_target(case, envelope)?;
    check_values(case, envelope)?;
    check_policy(case, envelope)?;
    Ok(if may {
        Verdict::Enter
    } else {
        Verdict::Hold(format!(
            "recorded as {} under a grant that has ended since",
            envelope.role
        ))
    })
}

/// The kind that a grant must cover: that of the event that this one is about, if it is about one.
pub(super) fn about(envelope: &Envelope, target: Option<&Envelope>) -> EventKind {
    target.map_or(envelope.kind, |target| target.kind)
}

fn check_target(case: &Case<'_>, envelope: &Envelope) -> Result<(), Problem> {
    if envelope.target_id.is_none() {
        return Ok(());
    }
    let Some(target) = case.target else {
        return Err(Problem::invalid(
            "/envelope/target_id",
            "there is no such event in this horse's log",
        ));
    };
    if target.kind.is_about_another() {
        return Err(Problem::invalid(
            "/envelope/target_id",
            format!(
                "that event is itself a {}; name the event that it is about",
                target.kind
            ),
        ));
    }
    if case.target_erased {
        return Err(Problem::invalid(
            "/envelope/target_id",
            "the content of that event was erased; nothing more can be said about it",
        ));
    }
    if let Details::Amendment(amendment) = &case.arrival.details {
        let details = serde_json::Value::Object(amendment.details.clone());
        let parsed = Details::parse(target.kind, &details)
            .map_err(|faults| faults.under("/content/details/details"))?;
        let context = Context {
            performed_on: target.performed_at.date_naive(),
            ..context(case, envelope)
        };
        parsed
            .check(&context)
            .map_err(|faults| faults.under("/content/details/details"))?;
    }
    Ok(())
}

fn check_values(case: &Case<'_>, envelope: &Envelope) -> Result<(), Problem> {
    if envelope.performed_at.to_utc() > case.now + AHEAD {
        return Err(Problem::invalid(
            "/envelope/performed_at",
            "that hasn't come yet; a record tells what was done",
        ));
    }
    if envelope.recorded_at.to_utc() > case.now + AHEAD {
        return Err(Problem::invalid(
            "/envelope/recorded_at",
            "that hasn't come yet; check the clock of the device",
        ));
    }
    let context = context(case, envelope);
    check_day(envelope.kind, &context).map_err(|faults| faults.under("/envelope"))?;
    case.arrival
        .details
        .check(&context)
        .map_err(|faults| faults.under("/content/details"))?;
    Ok(())
}

fn context<'a>(case: &Case<'a>, envelope: &Envelope) -> Context<'a> {
    Context {
        rules: case.rules,
        performed_on: envelope.performed_at.date_naive(),
        received_on: case.now.date_naive(),
        foaled_on: case.foaled_on,
        provenance: envelope.provenance,
    }
}

/// What a care plan is about, be it recorded or amended.
fn plan_domain(case: &Case<'_>) -> Option<Domain> {
    let amended = match (&case.arrival.details, case.target) {
        (Details::Amendment(amendment), Some(target)) => amendment.new_details(target.kind).ok(),
        _ => None,
    };
    match amended.as_ref().unwrap_or(&case.arrival.details) {
        Details::CarePlan(plan) => Some(plan.domain),
        _ => None,
    }
}

fn check_policy(case: &Case<'_>, envelope: &Envelope) -> Result<(), Problem> {
    let details = &case.arrival.details;
    let act = Act {
        details,
        role: envelope.role,
        on: envelope.performed_at.date_naive(),
        amends: case
            .target
            .map(|target| (target.kind, target.performed_at.date_naive())),
    };
    let plan = care_plan::covering(case.shaping, &act);
    let around = Circumstances {
        jurisdiction: case.jurisdiction,
        has_licence: case.licensed,
        care_plan_in_force: matches!(plan, Ok(Some(_))),
        own_event: case
            .target
            .is_some_and(|target| target.author_id == envelope.author_id),
        target: case.target.map(|target| target.kind),
        plan_domain: plan_domain(case),
    };
    let decided =
        case.rules
            .policy
            .decide(envelope.role, envelope.kind, envelope.provenance, &around);
    decided.map(drop).map_err(|refusal| {
        // What the plan lacks is what the person can mend; the row says only that one is needed.
        let why = plan
            .err()
            .filter(|_| !around.care_plan_in_force && refusal.reason.contains("care plan"));
        let reason = why.map_or_else(
            || refusal.reason.clone(),
            |why| format!("{}: {why}", refusal.reason),
        );
        Problem::new(Kind::PolicyRefuses, reason).with_policy_row(refusal.row)
    })
}
