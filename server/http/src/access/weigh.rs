//! What follows from ownership, the barn and the grants. Pure: all that it needs is handed over.

use chrono::NaiveDateTime;
use whorl_care::ids::{AccountId, BarnId, GrantId, HorseId};
use whorl_care::kind::Role;
use whorl_store::grants::{ExemptionRow, GrantRow};

use super::Standing;

/// What is known of one person at one instant.
#[derive(Debug)]
pub(super) struct Bearing<'a> {
    /// Who asks.
    pub(super) account: AccountId,
    /// Grants of theirs, among which are all that may cover the horse.
    pub(super) grants: &'a [GrantRow],
    /// Exemptions, among which are all of the horse's.
    pub(super) exemptions: &'a [ExemptionRow],
    /// The instant, in UTC.
    pub(super) at: NaiveDateTime,
}

/// Whose a horse is, and where it stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ties {
    /// The horse.
    pub(super) horse: HorseId,
    /// Whose it is.
    pub(super) owner: AccountId,
    /// Where it stands.
    pub(super) barn: BarnId,
    /// Whose barn that is, where that is known to matter.
    pub(super) barn_owner: Option<AccountId>,
}

/// Whether a grant is in force at an instant.
pub(crate) fn in_force(grant: &GrantRow, at: NaiveDateTime) -> bool {
    grant.from_at <= at
        && grant.until_at.is_none_or(|until| at < until)
        && grant.revoked_at.is_none_or(|revoked| at < revoked)
}

/// The roles that a person has on a horse.
pub(super) fn weigh(bearing: &Bearing<'_>, ties: &Ties) -> Vec<Standing> {
    let whole = |role| Standing { role, kinds: None };
    let mut standings = Vec::new();
    if ties.owner == bearing.account {
        standings.push(whole(Role::Owner));
    } else if ties.barn_owner == Some(bearing.account) {
        // Whoever runs the barn looks after the horses that board there; they are still somebody else's.
        standings.push(whole(Role::BarnStaff));
    }
    let in_force = bearing
        .grants
        .iter()
        .filter(|grant| grant.account_id == bearing.account && in_force(grant, bearing.at));
    standings.extend(
        in_force
            .filter(|grant| covers(grant, bearing, ties))
            .map(|grant| Standing {
                role: grant.role,
                kinds: grant.kinds.as_ref().map(|kinds| kinds.0.0.clone()),
            }),
    );
    standings
}

/// Whether a grant takes in this horse.
fn covers(grant: &GrantRow, bearing: &Bearing<'_>, ties: &Ties) -> bool {
    if let Some(horse) = &grant.horse_id {
        return horse.0 == ties.horse;
    }
    // A barn's grant as owner lets its holder keep horses there; it makes nobody the owner of somebody else's.
    grant.role != Role::Owner
        && grant
            .barn_id
            .as_ref()
            .is_some_and(|barn| barn.0 == ties.barn)
        && !is_exempt(ties.horse, grant.id, bearing)
}

fn is_exempt(horse: HorseId, grant: GrantId, bearing: &Bearing<'_>) -> bool {
    let about = |row: &&ExemptionRow| row.horse_id == horse && row.grant_id == grant;
    bearing
        .exemptions
        .iter()
        .filter(about)
        .any(|row| row.from_at <= bearing.at)
}
