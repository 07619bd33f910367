//! What the server would say to an event, said here first.
//!
//! What is wrong in itself is refused. What only seems wrong by what this device knows (a care plan or a licence that
//! it may not have heard of) is a warning: the work is kept, and the server decides.

use chrono::NaiveDate;
use diesel::sqlite::SqliteConnection;
use whorl_care::care_plan::{self, Act};
use whorl_care::details::{Context, Details, check_day};
use whorl_care::fault::Faults;
use whorl_care::horse::CareEvent;
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::policy::{Circumstances, Policy, Refusal};
use whorl_care::rules::Rules;
use whorl_contract::event::Envelope;
use whorl_contract::licence::Licence;

use super::Draft;
use crate::care_log;
use crate::failure::Failure;
use crate::herd;

/// What is known around a draft.
pub(super) struct Around<'x> {
    pub(super) rules: &'x Rules,
    pub(super) policy: &'x Policy,
    pub(super) licences: &'x [Licence],
    pub(super) author: whorl_care::ids::AccountId,
    pub(super) today: NaiveDate,
}

/// A draft that may be signed: at this grade, with these warnings.
pub(super) struct Passed {
    pub(super) provenance: Provenance,
    pub(super) warnings: Vec<String>,
}

impl Around<'_> {
    /// Checks everything.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] with what is wrong.
    pub(super) fn check(
        &self,
        conn: &mut SqliteConnection,
        draft: &Draft,
        role: Role,
    ) -> Result<Passed, Failure> {
        let details = Details::parse(draft.kind, &draft.content.details)?;
        let events = care_log::events(conn, draft.horse_id)?;
        let target = target(conn, draft)?;
        let (provenance, warnings) = self.grade(draft, role, &details, &events, target.as_ref())?;
        let foaled_on = herd::foaled_on(conn, draft.horse_id, &events)?;
        let context = Context {
            rules: self.rules,
            performed_on: draft.performed_at.date_naive(),
            received_on: self.today,
            foaled_on,
            provenance,
        };
        let mut faults = Faults::default();
        for found in [check_day(draft.kind, &context), details.check(&context)] {
            faults
                .0
                .extend(found.err().map(|found| found.0).unwrap_or_default());
        }
        if let (Details::Amendment(amendment), Some(target)) = (&details, &target) {
            let whole = serde_json::Value::Object(amendment.details.clone());
            let then = Context {
                performed_on: target.performed_at.date_naive(),
                ..context
            };
            let found = Details::parse(target.kind, &whole).and_then(|whole| whole.check(&then));
            let found = found.map_err(|found| found.under("/details"));
            faults
                .0
                .extend(found.err().map(|found| found.0).unwrap_or_default());
        }
        faults
            .or(Passed {
                provenance,
                warnings,
            })
            .map_err(Failure::from)
    }

    /// The best grade that the policy gives, and what may stand against it.
    fn grade(
        &self,
        draft: &Draft,
        role: Role,
        details: &Details,
        events: &[CareEvent],
        target: Option<&Envelope>,
    ) -> Result<(Provenance, Vec<String>), Failure> {
        let on = draft.performed_at.date_naive();
        let act = Act {
            details,
            role,
            on,
            amends: target.map(|target| (target.kind, target.performed_at.date_naive())),
        };
        let plan = care_plan::covering(events, &act);
        let known = Circumstances {
            jurisdiction: None,
            has_licence: self.has_licence(role, on),
            care_plan_in_force: matches!(plan, Ok(Some(_))),
            own_event: target.is_some_and(|target| target.author_id == self.author),
            target: target.map(|target| target.kind),
            plan_domain: match details {
                Details::CarePlan(plan) => Some(plan.domain),
                _ => None,
            },
        };
        let at_best = Circumstances {
            has_licence: true,
            care_plan_in_force: true,
            ..known
        };
        let grades: &[Provenance] = if draft.transcribed {
            &[Provenance::Transcribed]
        } else {
            &[Provenance::Attested, Provenance::Recorded]
        };
        let decide = |grade: Provenance, around: &Circumstances<'_>| {
            self.policy.decide(role, draft.kind, grade, around)
        };
        for &grade in grades {
            if let Ok(allowed) = decide(grade, &known) {
                let lower =
                    grade == Provenance::Recorded && decide(Provenance::Attested, &at_best).is_ok();
                let mut warnings: Vec<String> = allowed.says.into_iter().collect();
                if lower {
                    warnings.push(format!(
                        "this is recorded, not attested: no {role} licence of yours is on record here (`whorl licence \
                         add`)"
                    ));
                }
                return Ok((grade, warnings));
            }
        }
        let mut refusal: Option<Refusal> = None;
        for &grade in grades {
            match decide(grade, &at_best) {
                Ok(_) => {
                    let doubt = decide(grade, &known)
                        .err()
                        .map(|refusal| refusal.to_string());
                    let lacking = plan.as_ref().err().filter(|_| !known.care_plan_in_force);
                    let reason = lacking
                        .filter(|_| self.policy_needs_plan(role, draft.kind))
                        .map(|why| format!(": {why}"))
                        .unwrap_or_default();
                    let warning = format!(
                        "the server may refuse this, by what this device knows: {}{reason}",
                        doubt.unwrap_or_default()
                    );
                    return Ok((grade, vec![warning]));
                }
                Err(why) => refusal = Some(why),
            }
        }
        let mut text = refusal.map(|why| why.to_string()).unwrap_or_default();
        if !draft.transcribed && decide(Provenance::Transcribed, &at_best).is_ok() {
            text.push_str("; if you copy it from paper, say so with --transcribed");
        }
        Err(Failure::input(text))
    }

    fn policy_needs_plan(&self, role: Role, kind: Kind) -> bool {
        self.policy
            .row(kind, None)
            .is_some_and(|row| row.cell(role).only == Some(whorl_care::policy::Condition::CarePlan))
    }

    fn has_licence(&self, role: Role, on: NaiveDate) -> bool {
        self.licences.iter().any(|licence| {
            licence.account_id == self.author
                && licence.role == role
                && licence.withdrawn_at.is_none()
                && licence.valid_until.is_none_or(|until| until >= on)
        })
    }
}

/// The event that a draft is about, which must be in the same horse's log or wait to get there.
fn target(conn: &mut SqliteConnection, draft: &Draft) -> Result<Option<Envelope>, Failure> {
    let Some(id) = draft.target_id else {
        return Ok(None);
    };
    let found = care_log::envelope(conn, id)?
        .filter(|target| target.horse_id == draft.horse_id)
        .ok_or_else(|| {
            Failure::input(format!(
                "there is no entry {id} in this horse's record on this device; `whorl sync` fetches news"
            ))
        })?;
    if found.kind.is_about_another() {
        return Err(Failure::input(format!(
            "entry {id} is itself a {}; name the entry that it is about",
            found.kind
        )));
    }
    Ok(Some(found))
}
