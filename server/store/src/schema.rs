//! The tables, for both databases, columns in the order of the migrations.

#![allow(
    missing_docs,
    unreachable_pub,
    reason = "names of tables and columns; the migrations say what they hold"
)]

diesel::table! {
    ledger (id) {
        id -> Integer,
        server_id -> Text,
        epoch -> Text,
        origin -> Text,
        place -> Nullable<Text>,
    }
}

diesel::table! {
    ledger_epoch (epoch) {
        epoch -> Text,
        began_at -> Timestamp,
        reason -> Text,
    }
}

diesel::table! {
    account (id) {
        id -> Text,
        email -> Text,
        name -> Text,
        password_hash -> Text,
        operator -> Bool,
        created_at -> Timestamp,
        disabled_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    device (id) {
        id -> Text,
        account_id -> Text,
        name -> Text,
        public_key -> Binary,
        created_at -> Timestamp,
        revoked_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    session (id) {
        id -> Text,
        account_id -> Text,
        device_id -> Nullable<Text>,
        created_at -> Timestamp,
        authenticated_at -> Timestamp,
        last_used_at -> Timestamp,
        ends_at -> Timestamp,
        generation -> BigInt,
        seed -> Binary,
        ended_at -> Nullable<Timestamp>,
        ended_why -> Nullable<Text>,
    }
}

diesel::table! {
    throttle (key) {
        key -> Text,
        failures -> BigInt,
        last_failed_at -> Timestamp,
    }
}

diesel::table! {
    barn (id) {
        id -> Text,
        owner_id -> Text,
        name -> Text,
        time_zone -> Text,
        region -> Nullable<Text>,
        created_at -> Timestamp,
    }
}

diesel::table! {
    calendar (id) {
        id -> Text,
        account_id -> Text,
        barn_id -> Nullable<Text>,
        token_hash -> Binary,
        created_at -> Timestamp,
        revoked_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    horse (id) {
        id -> Text,
        barn_id -> Text,
        owner_id -> Text,
        head_seq -> BigInt,
        head -> Binary,
        created_at -> Timestamp,
    }
}

diesel::table! {
    tenure (horse_id, from_at) {
        horse_id -> Text,
        from_at -> Timestamp,
        owner_id -> Text,
        barn_id -> Text,
    }
}

diesel::table! {
    event (horse_id, seq) {
        horse_id -> Text,
        seq -> BigInt,
        id -> Text,
        kind -> Text,
        performed_at -> Timestamp,
        author_id -> Text,
        device_id -> Text,
        target_id -> Nullable<Text>,
        received_at -> Timestamp,
        envelope -> Text,
        content -> Nullable<Text>,
        salt -> Nullable<Binary>,
        signature -> Binary,
        head -> Binary,
        shapes -> Bool,
    }
}

diesel::table! {
    held_event (id) {
        id -> Text,
        horse_id -> Text,
        author_id -> Text,
        reason -> Text,
        received_at -> Timestamp,
        envelope -> Text,
        content -> Text,
        salt -> Binary,
        signature -> Binary,
        accepted -> Nullable<Bool>,
        decided_by -> Nullable<Text>,
        decided_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    access_grant (id) {
        id -> Text,
        account_id -> Text,
        role -> Text,
        horse_id -> Nullable<Text>,
        barn_id -> Nullable<Text>,
        from_at -> Timestamp,
        until_at -> Nullable<Timestamp>,
        kinds -> Nullable<Text>,
        granted_by -> Text,
        created_at -> Timestamp,
        revoked_at -> Nullable<Timestamp>,
        revoked_by -> Nullable<Text>,
    }
}

diesel::table! {
    grant_exemption (horse_id, grant_id) {
        grant_id -> Text,
        horse_id -> Text,
        from_at -> Timestamp,
        made_by -> Text,
    }
}

diesel::table! {
    sight (account_id, horse_id) {
        account_id -> Text,
        horse_id -> Text,
        until_seq -> BigInt,
    }
}

diesel::table! {
    invitation (id) {
        id -> Text,
        code_hash -> Binary,
        role -> Text,
        horse_id -> Nullable<Text>,
        barn_id -> Nullable<Text>,
        from_at -> Timestamp,
        until_at -> Nullable<Timestamp>,
        kinds -> Nullable<Text>,
        created_by -> Text,
        created_at -> Timestamp,
        expires_at -> Timestamp,
        accepted_by -> Nullable<Text>,
        accepted_at -> Nullable<Timestamp>,
        withdrawn_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    licence (id) {
        id -> Text,
        account_id -> Text,
        role -> Text,
        number -> Text,
        jurisdiction -> Text,
        valid_until -> Nullable<Date>,
        created_at -> Timestamp,
        seen_by -> Nullable<Text>,
        seen_at -> Nullable<Timestamp>,
        withdrawn_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    transfer (id) {
        id -> Text,
        horse_id -> Text,
        from_account -> Text,
        to_email -> Text,
        state -> Text,
        offered_at -> Timestamp,
        expires_at -> Timestamp,
        decided_at -> Nullable<Timestamp>,
        at_seq -> Nullable<BigInt>,
    }
}

diesel::table! {
    attachment (horse_id, sha256) {
        horse_id -> Text,
        sha256 -> Text,
        media_type -> Text,
        bytes -> BigInt,
        uploaded_by -> Text,
        created_at -> Timestamp,
        body -> Binary,
    }
}

diesel::table! {
    lot (horse_id, seq) {
        horse_id -> Text,
        seq -> BigInt,
        lot_key -> Text,
    }
}

diesel::table! {
    notice (horse_id, event_id, account_id, held) {
        horse_id -> Text,
        event_id -> Text,
        account_id -> Text,
        held -> Bool,
        id -> Text,
        kind -> Text,
        seq -> BigInt,
        topic -> Text,
        state -> Text,
        version -> BigInt,
        raised_at -> Timestamp,
        changed_at -> Timestamp,
        read_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    notice_setting (account_id) {
        account_id -> Text,
        email -> Text,
    }
}

diesel::table! {
    webhook (id) {
        id -> Text,
        account_id -> Text,
        url -> Text,
        seed -> Binary,
        seed_before -> Nullable<Binary>,
        created_at -> Timestamp,
        rotated_at -> Nullable<Timestamp>,
        ended_at -> Nullable<Timestamp>,
        ended_why -> Nullable<Text>,
    }
}

diesel::table! {
    delivery (id) {
        id -> Text,
        account_id -> Text,
        notice_id -> Text,
        version -> BigInt,
        webhook_id -> Nullable<Text>,
        created_at -> Timestamp,
        attempts -> BigInt,
        next_at -> Nullable<Timestamp>,
        ended_at -> Nullable<Timestamp>,
        outcome -> Nullable<Text>,
        error -> Nullable<Text>,
    }
}

diesel::table! {
    projection (name) {
        name -> Text,
        caught_up_at -> Timestamp,
    }
}

diesel::table! {
    reading (horse_id, day, reader, reader_id, way) {
        horse_id -> Text,
        day -> Date,
        reader -> Text,
        reader_id -> Text,
        way -> Text,
        first_at -> Timestamp,
        last_at -> Timestamp,
        times -> BigInt,
    }
}

diesel::table! {
    share (horse_id, id) {
        horse_id -> Text,
        id -> Text,
        token_hash -> Binary,
        made_by -> Text,
        label -> Nullable<Text>,
        sealed_kinds -> Text,
        sealed_before -> Nullable<Date>,
        sealed_after -> Nullable<Date>,
        leaf_only -> Bool,
        created_at -> Timestamp,
        expires_at -> Timestamp,
        revoked_at -> Nullable<Timestamp>,
        views -> BigInt,
        last_seen_at -> Nullable<Timestamp>,
    }
}

diesel::allow_tables_to_appear_in_same_query!(
    ledger,
    ledger_epoch,
    account,
    device,
    session,
    throttle,
    barn,
    horse,
    tenure,
    event,
    held_event,
    access_grant,
    grant_exemption,
    sight,
    invitation,
    licence,
    transfer,
    attachment,
    share,
    calendar,
    notice,
    notice_setting,
    webhook,
    delivery,
    reading,
);
