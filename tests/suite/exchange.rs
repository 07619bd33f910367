//! What holds for every request: methods, ids, headers, and an end in good order.

use std::time::{Duration, Instant};

use reqwest::Method;
use whorl_contract::path;
use whorl_contract::problem::Kind;
use whorl_contract::server::ServerInfo;
use whorl_tests::on_both;

on_both!(the_server_says_who_it_is, |server| {
    let info: ServerInfo = server.anonymous().get(path::SERVER).read();
    assert_eq!(info.name, "saltmarsh.example");
    assert_eq!(info.time, server.now());
    server.restart();
    let again: ServerInfo = server.anonymous().get(path::SERVER).read();
    assert_eq!((again.epoch, again.key), (info.epoch, info.key));
});

on_both!(a_wrong_method_is_told_the_right_ones, |server| {
    let caller = server.anonymous();
    let send = |method: Method, path: &str| caller.send(caller.request(method, path));

    for method in [Method::PATCH, Method::DELETE, Method::TRACE] {
        let answer = send(method, path::ACCOUNT);
        assert_eq!(answer.problem().kind, Kind::MethodNotAllowed);
        assert_eq!(answer.header("allow"), Some("GET, HEAD, OPTIONS"));
    }
    // A word that is written out for one method is no id for another: an id would be looked for and not found.
    let wren = server.account("Wren");
    let word = wren.delete(path::ACCEPT_INVITATION);
    assert_eq!(word.problem().kind, Kind::MethodNotAllowed);
    assert_eq!(word.header("allow"), Some("OPTIONS, POST"));
    assert_eq!(wren.delete("/v1/invitations/none").status, 404);
    assert_eq!(send(Method::OPTIONS, path::ACCOUNT).status, 204);
    let head = send(Method::HEAD, path::SERVER);
    assert_eq!((head.status, head.body.len()), (200, 0));
    assert_eq!(
        send(Method::GET, "/v1/nothing").problem().kind,
        Kind::NotFound
    );
});

on_both!(
    every_answer_carries_its_id_and_is_kept_by_nobody,
    |server| {
        let caller = server.anonymous();
        let request = caller.request(Method::GET, path::ACCOUNT);
        let answer = caller.send(request.header("x-request-id", "aisle-7"));

        assert_eq!(answer.header("x-request-id"), Some("aisle-7"));
        assert_eq!(answer.problem().instance.as_deref(), Some("aisle-7"));
        assert_eq!(answer.header("cache-control"), Some("no-store"));
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(answer.header("www-authenticate"), Some("Bearer"));
    }
);

on_both!(a_stop_lets_nobody_hang, |server| {
    // Its connection stays open for the next request.
    let wren = server.account("Wren");
    let began = Instant::now();

    server.stop();

    assert!(
        began.elapsed() < Duration::from_secs(8),
        "{:?}",
        began.elapsed()
    );
    server.restart();
    assert_eq!(wren.get(path::ACCOUNT).status, 200);
});
