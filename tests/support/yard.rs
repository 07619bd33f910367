//! A yard with an owner, and letting people and horses in.

use serde_json::json;
use uuid::Uuid;
use whorl_care::ids::{BarnId, HorseId};
use whorl_care::kind::{Kind, Role};
use whorl_contract::barn::Barn;
use whorl_contract::grant::{Grant, Invitation, InvitationCode, NewInvitation};
use whorl_contract::horse::NewHorse;
use whorl_contract::path;

use crate::ledger::accepted;
use crate::pen::Pen;
use crate::person::Person;
use crate::server::TestServer;

/// A yard whose owner has a device.
pub struct Yard {
    /// Whose it is.
    pub owner: Person,
    /// The place.
    pub barn: BarnId,
}

impl Yard {
    /// Opens one.
    #[must_use]
    pub fn open(server: &TestServer) -> Self {
        Self::of(server.device_account("Maren Oduya"))
    }

    /// Opens one for somebody.
    #[must_use]
    pub fn of(owner: Person) -> Self {
        let details =
            json!({"name": "Saltmarsh Yard", "time_zone": "Europe/London", "region": "gb"});
        let barn: Barn = owner.post(path::BARNS, &details).read();
        Self {
            owner,
            barn: barn.id,
        }
    }

    /// The owner's pen.
    #[must_use]
    pub fn pen(&self) -> Pen {
        Pen::of(&self.owner, Role::Owner)
    }

    /// A new horse with an empty log.
    ///
    /// # Panics
    ///
    /// If it isn't let in.
    #[must_use]
    pub fn horse(&self) -> HorseId {
        let new = NewHorse {
            id: HorseId(Uuid::now_v7()),
            barn_id: self.barn,
        };
        let answer = self.owner.post(path::HORSES, &new);
        assert_eq!(answer.status, 201, "{answer:?}");
        new.id
    }

    /// Lets a horse in of which the record tells who it is, from 5 January 2026 on.
    ///
    /// # Panics
    ///
    /// If it isn't let in.
    #[must_use]
    pub fn horse_who_is(&self, profile: serde_json::Value) -> HorseId {
        let horse = self.horse();
        let identity = self.pen().draft(horse, Kind::Identity).details(profile);
        let identity = identity.performed_at("2026-01-05T09:00:00+00:00");
        let _ = accepted(&self.owner, &identity.sign());
        horse
    }

    /// Gives somebody a role on one horse.
    #[must_use]
    pub fn admit(&self, person: &Person, horse: HorseId, role: Role) -> Grant {
        self.admit_to(person, horse, role, None)
    }

    /// Gives somebody a role on one horse, limited to some kinds.
    #[must_use]
    pub fn admit_to(
        &self,
        person: &Person,
        horse: HorseId,
        role: Role,
        kinds: Option<Vec<Kind>>,
    ) -> Grant {
        let new = NewInvitation {
            horse_id: Some(horse),
            barn_id: None,
            role,
            from: None,
            until: None,
            kinds,
        };
        self.invite(person, &new)
    }

    /// Invites somebody, who accepts.
    ///
    /// # Panics
    ///
    /// If no code comes.
    #[must_use]
    pub fn invite(&self, person: &Person, new: &NewInvitation) -> Grant {
        let invitation: Invitation = self.owner.post(path::INVITATIONS, new).read();
        let code = InvitationCode {
            code: invitation.code.expect("a code"),
        };
        person.post(path::ACCEPT_INVITATION, &code).read()
    }

    /// Ends a grant.
    ///
    /// # Panics
    ///
    /// If it can't be ended.
    pub fn revoke(&self, grant: &Grant) {
        let answer = self.owner.delete(&path::grant(grant.id));
        assert_eq!(answer.status, 204, "{answer:?}");
    }
}

/// Enters a licence for somebody.
///
/// # Panics
///
/// If it isn't taken.
pub fn license(person: &Person, role: Role) {
    let licence = json!({"role": role, "number": "SV-20418", "jurisdiction": "gb"});
    let answer = person.post(path::LICENCES, &licence);
    assert_eq!(answer.status, 201, "{answer:?}");
}
