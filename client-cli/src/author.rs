//! Making an event: checked here so that a slip is found in the barn, signed, and in the outbox before anyone is told.

use chrono::{DateTime, FixedOffset};
use diesel::sqlite::SqliteConnection;
use whorl_care::ids::{EventId, HorseId, VisitId};
use whorl_care::kind::{Kind, Role};
use whorl_care::policy::Policy;
use whorl_care::rules::Rules;
use whorl_contract::event::{AttachmentRef, Content, Envelope, SignedEvent, VOCABULARY};
use whorl_contract::key::{Hash, Salt, SecretKey};
use whorl_contract::licence::Licence;

use crate::attachments;
use crate::failure::Failure;
use crate::herd;
use crate::home::{Home, Membership};
use crate::world::Machine;
use crate::{outbox, setting};

mod check;

use check::{Around, Passed};

/// What somebody wants recorded.
#[derive(Clone, Debug)]
pub struct Draft {
    /// The horse.
    pub horse_id: HorseId,
    /// What it records.
    pub kind: Kind,
    /// When it happened, by the wall clock there.
    pub performed_at: DateTime<FixedOffset>,
    /// In which capacity; none takes the role that the author has on this horse.
    pub role: Option<Role>,
    /// Whether it is copied from paper.
    pub transcribed: bool,
    /// The trip that it belongs to.
    pub visit_id: Option<VisitId>,
    /// The event that it amends, retracts or countersigns.
    pub target_id: Option<EventId>,
    /// Note, attachments and the typed details, in metric units.
    pub content: Content,
}

/// An event that has been checked and signed, and is not in the outbox yet.
#[derive(Clone, Debug)]
pub struct Signed {
    /// The envelope as it was signed.
    pub envelope: Envelope,
    /// The event.
    pub event: SignedEvent,
    /// What its author should know.
    pub warnings: Vec<String>,
    /// The files that it names.
    pub attachments: Vec<AttachmentRef>,
}

/// Who signs: the person, their device's key, and the rules by which it is checked.
pub struct Author<'a> {
    machine: Machine<'a>,
    membership: Membership,
    key: SecretKey,
    rules: Rules,
    /// The server's policy, as last heard.
    policy: Option<Policy>,
    licences: Vec<Licence>,
}

impl<'a> Author<'a> {
    /// The author whom this folder belongs to.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] before `join`; [`Failure::Device`] if the key can't be read.
    pub fn new(
        home: &Home,
        conn: &mut SqliteConnection,
        machine: Machine<'a>,
    ) -> Result<Self, Failure> {
        let membership = home.member()?;
        let key = home.existing_key()?.ok_or_else(|| {
            Failure::Device(
                "this device's key is gone; put it back from a copy, or run `whorl join` again"
                    .to_owned(),
            )
        })?;
        let rules = Rules::built_in().map_err(|error| Failure::Device(error.to_string()))?;
        Ok(Self {
            machine,
            membership,
            key,
            rules,
            policy: setting::document(conn, setting::POLICY)?,
            licences: setting::document(conn, setting::LICENCES)?.unwrap_or_default(),
        })
    }

    /// The same author by other rules: an operator's are laid over the program's.
    #[must_use]
    pub fn by(mut self, rules: Rules) -> Self {
        self.rules = rules;
        self
    }

    /// The person.
    #[must_use]
    pub fn membership(&self) -> &Membership {
        &self.membership
    }

    /// The rules in force on this device.
    #[must_use]
    pub fn rules(&self) -> &Rules {
        &self.rules
    }

    /// Checks and signs, and writes nothing.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] with every fault found.
    pub fn sign(&self, conn: &mut SqliteConnection, draft: &Draft) -> Result<Signed, Failure> {
        let role = role(conn, draft)?;
        let around = Around {
            rules: &self.rules,
            policy: self.policy.as_ref().unwrap_or(&self.rules.policy),
            licences: &self.licences,
            author: self.membership.account_id,
            today: self.machine.now().date_naive(),
        };
        let Passed {
            provenance,
            warnings,
        } = around.check(conn, draft, role)?;
        let envelope = Envelope {
            id: self.machine.id()?,
            horse_id: draft.horse_id,
            kind: draft.kind,
            vocabulary: VOCABULARY,
            performed_at: draft.performed_at,
            recorded_at: self.machine.now(),
            author_id: self.membership.account_id,
            device_id: self.membership.device_id,
            role,
            provenance,
            visit_id: draft.visit_id,
            target_id: draft.target_id,
            content_hash: Hash([0; 32]),
            other: serde_json::Map::new(),
        };
        let salt = Salt(self.machine.bytes()?);
        let event = SignedEvent::sign(envelope.clone(), &draft.content, salt, &self.key)
            .map_err(|error| Failure::input(error.to_string()))?;
        let opened = event
            .open()
            .map_err(|error| Failure::input(error.to_string()))?;
        Ok(Signed {
            envelope: opened.envelope,
            event,
            warnings,
            attachments: draft.content.attachments.clone(),
        })
    }

    /// Puts signed events into the outbox, all or none; they are on the disk when this returns.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if they can't be written; nothing is, then.
    pub fn queue(&self, conn: &mut SqliteConnection, signed: &[Signed]) -> Result<(), Failure> {
        conn.immediate_transaction(|conn| self.queue_within(conn, signed))
    }

    /// The same, within a transaction of the caller's.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if they can't be written.
    pub fn queue_within(
        &self,
        conn: &mut SqliteConnection,
        signed: &[Signed],
    ) -> Result<(), Failure> {
        let now = self.machine.utc();
        for one in signed {
            let Envelope {
                id, horse_id, kind, ..
            } = &one.envelope;
            outbox::queue(conn, *id, *horse_id, kind.code(), &one.event, now)?;
            for file in &one.attachments {
                attachments::queue(conn, *horse_id, file)?;
            }
        }
        Ok(())
    }
}

fn role(conn: &mut SqliteConnection, draft: &Draft) -> Result<Role, Failure> {
    let known = herd::horse(conn, draft.horse_id)?;
    let roles = known
        .as_ref()
        .and_then(|known| known.horse.as_ref())
        .map(|horse| horse.roles.clone())
        .unwrap_or_default();
    let name = || {
        known
            .as_ref()
            .map_or_else(|| draft.horse_id.to_string(), herd::Known::label)
    };
    match (draft.role, roles.as_slice()) {
        (Some(role), roles) if roles.contains(&role) => Ok(role),
        (Some(role), _) => Err(Failure::input(format!(
            "you are no {role} for {}; ask the owner for a grant, then run `whorl sync`",
            name()
        ))),
        (None, []) => Err(Failure::input(format!(
            "you have no role on {}; ask the owner for a grant, then run `whorl sync`",
            name()
        ))),
        (None, [only]) => Ok(*only),
        (None, several) => {
            let list: Vec<&str> = several.iter().map(|role| role.code()).collect();
            Err(Failure::input(format!(
                "you are {} for {}; say in which role you did this with --role",
                list.join(" and "),
                name()
            )))
        }
    }
}
