//! The routes: one file a resource, all listed here.

mod account_export;
pub(crate) mod accounts;
mod attachments;
mod barns;
mod bundles;
mod calendars;
mod devices;
pub(crate) mod docs;
mod due;
mod entry;
mod events;
mod figures;
pub(crate) mod grants;
mod health;
mod held;
pub(crate) mod history;
mod history_pdf;
mod horses;
mod invitations;
mod licences;
mod log;
pub(crate) mod notices;
mod policy;
mod reactions;
pub(crate) mod readings;
pub(crate) mod recall;
mod server;
mod sessions;
pub(crate) mod shares;
pub(crate) mod sync;
mod transfers;
mod visits;
mod webhooks;
mod yards;

use actix_web::dev::HttpServiceFactory;
use actix_web::web;
use utoipa_actix_web::OpenApiFactory;
use utoipa_actix_web::service_config::ServiceConfig as Described;

/// Takes operations: to serve them, or to serve and describe them. Describing takes time and memory that only the
/// description is worth.
pub(crate) trait Operations {
    /// Takes one.
    fn service(&mut self, one: impl HttpServiceFactory + OpenApiFactory + 'static) -> &mut Self;
}

impl Operations for web::ServiceConfig {
    fn service(&mut self, one: impl HttpServiceFactory + OpenApiFactory + 'static) -> &mut Self {
        Self::service(self, one)
    }
}

impl Operations for Described<'_> {
    fn service(&mut self, one: impl HttpServiceFactory + OpenApiFactory + 'static) -> &mut Self {
        Self::service(self, one)
    }
}

/// Every operation of the server. The router tries them in this order, one pattern after the other, so what is asked most comes
/// first.
pub(crate) fn all(config: &mut impl Operations) {
    config
        .service(events::push_events)
        .service(sync::get_heads)
        .service(sync::pull_events)
        .service(history::get_history)
        .service(due::my_due_list)
        .service(due::due_in_barn)
        .service(due::due_for_horse)
        .service(health::live)
        .service(health::ready)
        .service(barns::open_barn)
        .service(barns::list_barns)
        .service(barns::get_barn)
        .service(barns::put_barn)
        .service(horses::add_horse)
        .service(horses::list_horses)
        .service(horses::get_horse)
        .service(horses::move_horse)
        .service(attachments::add_attachment)
        .service(attachments::get_attachment)
        .service(invitations::invite)
        .service(invitations::list_invitations)
        .service(invitations::accept_invitation)
        .service(invitations::withdraw_invitation)
        .service(grants::list_grants)
        .service(grants::revoke_grant)
        .service(licences::enter_licence)
        .service(licences::list_licences)
        .service(licences::withdraw_licence)
        .service(licences::see_licence)
        .service(transfers::offer_horse)
        .service(transfers::list_transfers)
        .service(transfers::accept_transfer)
        .service(transfers::decline_transfer)
        .service(transfers::withdraw_transfer)
        .service(policy::get_policy)
        .service(policy::list_rules)
        .service(figures::compute_figure)
        .service(held::list_held)
        .service(held::decide_held)
        .service(notices::list_notices)
        .service(notices::mark_notices_read)
        .service(notices::get_notice_settings)
        .service(notices::choose_notice_settings)
        .service(notices::list_undelivered)
        .service(webhooks::make_webhook)
        .service(webhooks::list_webhooks)
        .service(webhooks::rotate_webhook)
        .service(webhooks::end_webhook)
        .service(recall::recall_lot)
        .service(yards::get_efficacy)
        .service(yards::get_health_watch)
        .service(reactions::get_reaction_report)
        .service(visits::plan_visits)
        .service(calendars::make_calendar)
        .service(calendars::list_calendars)
        .service(calendars::revoke_calendar)
        .service(calendars::calendar_feed)
        .service(entry::entry_of_horse)
        .service(entry::entry_of_barn)
        .service(log::get_log)
        .service(bundles::make_bundle)
        .service(bundles::get_shared_bundle)
        .service(readings::list_readings)
        .service(shares::share_history)
        .service(shares::list_shares)
        .service(shares::end_share)
        .service(shares::get_shared_history)
        .service(shares::get_shared_pdf)
        .service(history_pdf::get_history_pdf)
        .service(server::get_server)
        .service(accounts::open_account)
        .service(accounts::get_account)
        .service(accounts::change_password)
        .service(accounts::reset_password)
        .service(account_export::export_account)
        .service(sessions::open_session)
        .service(sessions::refresh_session)
        .service(sessions::list_sessions)
        .service(sessions::end_current_session)
        .service(sessions::end_session)
        .service(devices::list_devices)
        .service(devices::revoke_device);
}
