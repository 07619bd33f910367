//! The end-to-end tests: one binary, a file for each resource or story.

mod access_matrix;
mod account_export;
mod accounts;
mod anonymous;
mod attachments;
mod barns;
mod bundles;
mod calendars;
mod closing;
mod connections;
mod deliveries;
mod due;
mod due_golden;
mod entry;
mod erasures;
mod every_field;
mod exchange;
mod figures;
mod framing;
mod grants;
mod held;
mod history;
mod history_pdf;
mod horses;
mod hostile;
mod invariants;
mod invitations;
mod kinds;
mod ledger;
mod licences;
mod lives;
mod log_shipping;
mod logs;
mod metrics;
mod notices;
mod offline;
mod openapi;
mod pages;
mod password_resets;
mod photos;
mod pull;
mod rates;
mod reactions;
mod readings;
mod recall;
mod replicas;
mod sealed;
mod security_checks;
mod security_events;
mod server_keys;
mod sessions;
mod shape;
mod sharding;
mod shares;
mod standby;
mod thin_line;
mod traces;
mod transfers;
mod upgrade;
mod upkeep;
mod visits;
mod wording;
mod yards;

use whorl_contract::problem::Problem;
use whorl_tests::Answer;

/// Checks that something hidden looks like something that is not there.
pub(crate) fn looks_absent(hidden: &Answer, absent: &Answer) {
    assert_eq!(hidden.status, 404, "{hidden:?}");
    looks_alike(hidden, absent);
}

/// Checks that two refusals differ in nothing but the request that they answer.
pub(crate) fn looks_alike(one: &Answer, other: &Answer) {
    let plain = |answer: &Answer| Problem {
        instance: None,
        ..answer.problem()
    };
    assert_eq!(plain(one), plain(other));
}
