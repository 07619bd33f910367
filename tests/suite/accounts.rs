//! Accounts: opening one, its password, and who may try to guess it.

use whorl_contract::account::Account;
use whorl_contract::path;
use whorl_tests::on_both;

on_both!(an_account_is_opened_and_seen_by_its_person_only, |server| {
    let wren = server.account("Wren");

    let account: Account = wren.get(path::ACCOUNT).read();

    assert_eq!(account, wren.session.account);
    assert_eq!(account.created_at, server.now());
    assert_eq!(server.anonymous().get(path::ACCOUNT).status, 401);
});
