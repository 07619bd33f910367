//! The tables of the client's own database, as migrations/client makes them.

diesel::table! {
    setting (name) {
        name -> Text,
        value -> Text,
    }
}

diesel::table! {
    outbox (position) {
        position -> BigInt,
        event_id -> Text,
        horse_id -> Text,
        kind -> Text,
        envelope -> Text,
        content -> Text,
        salt -> Text,
        signature -> Text,
        leaf -> Text,
        returned -> Bool,
        state -> Text,
        problem -> Nullable<Text>,
        queued_at -> Text,
        answered_at -> Nullable<Text>,
        answered_epoch -> Nullable<Text>,
    }
}

diesel::table! {
    new_horse (horse_id) {
        horse_id -> Text,
        barn_id -> Text,
        problem -> Nullable<Text>,
        queued_at -> Text,
    }
}

diesel::table! {
    log (horse_id, seq) {
        horse_id -> Text,
        seq -> BigInt,
        event_id -> Nullable<Text>,
        kind -> Nullable<Text>,
        received_at -> Text,
        envelope -> Nullable<Text>,
        content -> Nullable<Text>,
        salt -> Nullable<Text>,
        signature -> Nullable<Text>,
        leaf -> Text,
        head -> Text,
        open_kinds -> Nullable<Text>,
    }
}

diesel::table! {
    kept (position) {
        position -> BigInt,
        kept_at -> Text,
        epoch -> Nullable<Text>,
        horse_id -> Text,
        seq -> BigInt,
        event_id -> Nullable<Text>,
        kind -> Nullable<Text>,
        received_at -> Text,
        envelope -> Nullable<Text>,
        content -> Nullable<Text>,
        salt -> Nullable<Text>,
        signature -> Nullable<Text>,
        leaf -> Text,
        head -> Text,
    }
}

diesel::table! {
    signer (device_id) {
        device_id -> Text,
        public_key -> Text,
        account_id -> Text,
        name -> Text,
        first_seen_at -> Text,
    }
}

diesel::table! {
    horse (horse_id) {
        horse_id -> Text,
        name -> Nullable<Text>,
        body -> Nullable<Text>,
        locked_at -> Nullable<Text>,
        set_aside -> Bool,
    }
}

diesel::table! {
    barn (barn_id) {
        barn_id -> Text,
        body -> Text,
    }
}

diesel::table! {
    signed_head (horse_id, seq, head) {
        horse_id -> Text,
        seq -> BigInt,
        head -> Text,
        epoch -> Text,
        note -> Text,
    }
}

diesel::table! {
    upload (horse_id, sha256) {
        horse_id -> Text,
        sha256 -> Text,
        media_type -> Text,
        problem -> Nullable<Text>,
        done -> Bool,
    }
}

diesel::allow_tables_to_appear_in_same_query!(outbox, new_horse);
