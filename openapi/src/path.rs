//! The addresses of the interface, written once for both sides.

use whorl_care::ids::{
    BarnId, CalendarId, DeviceId, EventId, GrantId, HorseId, InvitationId, LicenceId, SessionId,
    ShareId, TransferId, WebhookId,
};

/// Opens an account.
pub const ACCOUNTS: &str = "/v1/accounts";
/// The caller's account.
pub const ACCOUNT: &str = "/v1/account";
/// All that the server has of the caller's account.
pub const ACCOUNT_EXPORT: &str = "/v1/account/export";
/// The caller's password.
pub const PASSWORD: &str = "/v1/account/password";
/// Another password in place of a forgotten one.
pub const PASSWORD_RESETS: &str = "/v1/password-resets";
/// The caller's sessions; signing in makes one.
pub const SESSIONS: &str = "/v1/sessions";
/// New tokens for a session.
pub const REFRESH: &str = "/v1/sessions/refresh";
/// The session that asks.
pub const CURRENT_SESSION: &str = "/v1/sessions/current";
/// The caller's devices.
pub const DEVICES: &str = "/v1/devices";
/// Barns.
pub const BARNS: &str = "/v1/barns";
/// Horses.
pub const HORSES: &str = "/v1/horses";
/// Invitations.
pub const INVITATIONS: &str = "/v1/invitations";
/// Takes an invitation up.
pub const ACCEPT_INVITATION: &str = "/v1/invitations/accept";
/// Grants; `horse_id` or `barn_id` narrow the list.
pub const GRANTS: &str = "/v1/grants";
/// Licences.
pub const LICENCES: &str = "/v1/licences";
/// Transfers that the caller offers or was offered.
pub const TRANSFERS: &str = "/v1/transfers";
/// The procedure policy in force.
pub const POLICY: &str = "/v1/policy";
/// The rules in force.
pub const RULES: &str = "/v1/rules";
/// Takes a batch of signed events.
pub const EVENTS: &str = "/v1/events";
/// Where everything stands that the caller may see.
pub const HEADS: &str = "/v1/sync/heads";
/// What the caller lacks.
pub const PULL: &str = "/v1/sync/pull";
/// Events that wait for an owner.
pub const HELD: &str = "/v1/held";
/// Which horses had a lot: `?lot=`, and `&product=` if wanted.
pub const RECALL: &str = "/v1/recall";
/// What the server says of itself.
pub const SERVER: &str = "/v1/server";
/// What the caller may do for every horse that they have to do with.
pub const DUE: &str = "/v1/due";
/// Plans visits.
pub const VISIT_PLAN: &str = "/v1/visits/plan";
/// The caller's calendars.
pub const CALENDARS: &str = "/v1/calendars";
/// The caller's notices.
pub const NOTICES: &str = "/v1/notices";
/// Marks notices as read.
pub const NOTICES_READ: &str = "/v1/notices/read";
/// Which notices the caller gets by e-mail.
pub const NOTICE_SETTINGS: &str = "/v1/notices/settings";
/// What could not be sent, for whoever runs the server.
pub const UNDELIVERED: &str = "/v1/notices/undelivered";
/// The caller's webhooks.
pub const WEBHOOKS: &str = "/v1/webhooks";
/// Whether the process lives.
pub const LIVE: &str = "/health/live";
/// Whether it can serve.
pub const READY: &str = "/health/ready";

/// Every address with an id in it, as the published document writes it.
pub const TEMPLATES: &[&str] = &[
    "/v1/sessions/{id}",
    "/v1/devices/{id}",
    "/v1/barns/{id}",
    "/v1/barns/{id}/efficacy",
    "/v1/barns/{id}/health-watch",
    "/v1/horses/{id}",
    "/v1/horses/{id}/barn",
    "/v1/horses/{id}/transfers",
    "/v1/horses/{id}/attachments",
    "/v1/horses/{id}/attachments/{sha256}",
    "/v1/horses/{id}/log",
    "/v1/horses/{id}/history",
    "/v1/horses/{id}/reactions/{event}/report",
    "/v1/horses/{id}/bundle",
    "/v1/horses/{id}/readings",
    "/v1/horses/{id}/shares",
    "/v1/horses/{id}/shares/{share}",
    "/v1/shared/{token}",
    "/v1/shared/{token}/bundle",
    "/v1/shared/{token}/pdf",
    "/v1/invitations/{id}",
    "/v1/grants/{id}",
    "/v1/licences/{id}",
    "/v1/licences/{id}/seen",
    "/v1/transfers/{id}",
    "/v1/transfers/{id}/accept",
    "/v1/transfers/{id}/decline",
    "/v1/figures/{name}",
    "/v1/held/{id}",
    "/v1/horses/{id}/due",
    "/v1/barns/{id}/due",
    "/v1/horses/{id}/entry",
    "/v1/barns/{id}/entry",
    "/v1/calendars/{id}",
    "/v1/webhooks/{id}",
    "/v1/webhooks/{id}/rotate",
    "/calendar/{token}.ics",
];

/// One webhook.
#[must_use]
pub fn webhook(id: WebhookId) -> String {
    format!("{WEBHOOKS}/{id}")
}

/// Gives a webhook another secret.
#[must_use]
pub fn webhook_rotate(id: WebhookId) -> String {
    format!("{WEBHOOKS}/{id}/rotate")
}

/// One session.
#[must_use]
pub fn session(id: SessionId) -> String {
    format!("{SESSIONS}/{id}")
}

/// One device.
#[must_use]
pub fn device(id: DeviceId) -> String {
    format!("{DEVICES}/{id}")
}

/// One barn.
#[must_use]
pub fn barn(id: BarnId) -> String {
    format!("{BARNS}/{id}")
}

/// One horse.
#[must_use]
pub fn horse(id: HorseId) -> String {
    format!("{HORSES}/{id}")
}

/// Where a horse stands.
#[must_use]
pub fn horse_barn(id: HorseId) -> String {
    format!("{HORSES}/{id}/barn")
}

/// Offers a horse to a buyer.
#[must_use]
pub fn horse_transfers(id: HorseId) -> String {
    format!("{HORSES}/{id}/transfers")
}

/// Takes photos and documents of a horse.
#[must_use]
pub fn attachments(id: HorseId) -> String {
    format!("{HORSES}/{id}/attachments")
}

/// One photo or document; `sha256` is lower-case hexadecimal.
#[must_use]
pub fn attachment(id: HorseId, sha256: &str) -> String {
    format!("{HORSES}/{id}/attachments/{sha256}")
}

/// A horse's raw log after a place in it.
#[must_use]
pub fn log(id: HorseId, after: i64, limit: u32) -> String {
    format!("{HORSES}/{id}/log?after={after}&limit={limit}")
}

/// A horse's history for people.
#[must_use]
pub fn history(id: HorseId) -> String {
    format!("{HORSES}/{id}/history")
}

/// What is due for a horse.
#[must_use]
pub fn horse_due(id: HorseId) -> String {
    format!("{HORSES}/{id}/due")
}

/// What is due for the horses of a barn.
#[must_use]
pub fn barn_due(id: BarnId) -> String {
    format!("{BARNS}/{id}/due")
}

/// Whether a horse may enter; `rules` and `on` follow as a query.
#[must_use]
pub fn horse_entry(id: HorseId) -> String {
    format!("{HORSES}/{id}/entry")
}

/// Whether the horses of a barn may enter; `rules` and `on` follow as a query.
#[must_use]
pub fn barn_entry(id: BarnId) -> String {
    format!("{BARNS}/{id}/entry")
}

/// Makes a bundle of a horse's history.
#[must_use]
pub fn bundle(id: HorseId) -> String {
    format!("{HORSES}/{id}/bundle")
}

/// Who read a horse's record without being its owner.
#[must_use]
pub fn readings(id: HorseId) -> String {
    format!("{HORSES}/{id}/readings")
}

/// The links by which a horse's history is shared.
#[must_use]
pub fn shares(id: HorseId) -> String {
    format!("{HORSES}/{id}/shares")
}

/// One such link.
#[must_use]
pub fn share(id: HorseId, share: ShareId) -> String {
    format!("{HORSES}/{id}/shares/{share}")
}

/// A shared history, for whoever has the link's secret.
#[must_use]
pub fn shared(token: &str) -> String {
    format!("/v1/shared/{token}")
}

/// The bundle of a shared history.
#[must_use]
pub fn shared_bundle(token: &str) -> String {
    format!("/v1/shared/{token}/bundle")
}

/// A shared history to print.
#[must_use]
pub fn shared_pdf(token: &str) -> String {
    format!("/v1/shared/{token}/pdf")
}

/// One calendar.
#[must_use]
pub fn calendar(id: CalendarId) -> String {
    format!("{CALENDARS}/{id}")
}

/// What a calendar program fetches; `token` is the secret.
#[must_use]
pub fn calendar_feed(token: &str) -> String {
    format!("/calendar/{token}.ics")
}

/// One invitation.
#[must_use]
pub fn invitation(id: InvitationId) -> String {
    format!("{INVITATIONS}/{id}")
}

/// One grant.
#[must_use]
pub fn grant(id: GrantId) -> String {
    format!("{GRANTS}/{id}")
}

/// One licence.
#[must_use]
pub fn licence(id: LicenceId) -> String {
    format!("{LICENCES}/{id}")
}

/// Marks a licence as seen.
#[must_use]
pub fn licence_seen(id: LicenceId) -> String {
    format!("{LICENCES}/{id}/seen")
}

/// One transfer.
#[must_use]
pub fn transfer(id: TransferId) -> String {
    format!("{TRANSFERS}/{id}")
}

/// Accepts a transfer.
#[must_use]
pub fn transfer_accept(id: TransferId) -> String {
    format!("{TRANSFERS}/{id}/accept")
}

/// Declines a transfer.
#[must_use]
pub fn transfer_decline(id: TransferId) -> String {
    format!("{TRANSFERS}/{id}/decline")
}

/// Computes a figure; `name` is one of the care engine's list.
#[must_use]
pub fn figure(name: &str) -> String {
    format!("/v1/figures/{name}")
}

/// One held event.
#[must_use]
pub fn held(id: EventId) -> String {
    format!("{HELD}/{id}")
}

/// The report of an adverse reaction.
#[must_use]
pub fn reaction_report(id: HorseId, event: EventId) -> String {
    format!("{HORSES}/{id}/reactions/{event}/report")
}

/// Whether dewormers still work in a barn.
#[must_use]
pub fn efficacy(id: BarnId) -> String {
    format!("{BARNS}/{id}/efficacy")
}

/// Fevers and contagious diseases in a barn, and who is watched.
#[must_use]
pub fn health_watch(id: BarnId) -> String {
    format!("{BARNS}/{id}/health-watch")
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    /// Whether `path` is an instance of `template`; a query doesn't count.
    fn fits(template: &str, path: &str) -> bool {
        let path = path.split('?').next().unwrap_or(path);
        let (template, path): (Vec<_>, Vec<_>) =
            (template.split('/').collect(), path.split('/').collect());
        template.len() == path.len()
            && template
                .iter()
                .zip(&path)
                .all(|(want, got)| want.starts_with('{') || want == got)
    }

    #[test]
    fn every_template_has_a_builder_and_every_builder_a_template() {
        let id = Uuid::from_u128(7);
        let built = [
            session(id.into()),
            device(id.into()),
            barn(id.into()),
            horse(id.into()),
            horse_barn(id.into()),
            horse_transfers(id.into()),
            attachments(id.into()),
            attachment(id.into(), "e3b0c4"),
            log(id.into(), 3, 500),
            history(id.into()),
            bundle(id.into()),
            readings(id.into()),
            shares(id.into()),
            share(id.into(), id.into()),
            shared("u8qZ1x"),
            shared_bundle("u8qZ1x"),
            shared_pdf("u8qZ1x"),
            invitation(id.into()),
            grant(id.into()),
            licence(id.into()),
            licence_seen(id.into()),
            transfer(id.into()),
            transfer_accept(id.into()),
            transfer_decline(id.into()),
            figure("dose"),
            held(id.into()),
            reaction_report(id.into(), id.into()),
            efficacy(id.into()),
            health_watch(id.into()),
            horse_due(id.into()),
            barn_due(id.into()),
            horse_entry(id.into()),
            barn_entry(id.into()),
            calendar(id.into()),
            calendar_feed("hS3vJ8yq"),
            webhook(id.into()),
            webhook_rotate(id.into()),
        ];
        for path in &built {
            let count = TEMPLATES.iter().filter(|one| fits(one, path)).count();
            assert_eq!(count, 1, "{path}");
        }
        for template in TEMPLATES {
            assert!(built.iter().any(|path| fits(template, path)), "{template}");
        }
    }
}
