//! Photos and documents of a horse, named by the hash of their bytes.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE, ETAG};
use actix_web::web::{Data, Path, Payload};
use actix_web::{HttpRequest, HttpResponse, get, post};
use std::fmt::Write as _;
use whorl_care::ids::HorseId;
use whorl_contract::attachment::{Attachment, LARGEST, MEDIA_TYPES};
use whorl_contract::key::Hash;
use whorl_contract::problem::Problem as ProblemDocument;
use whorl_store::attachments::{self, AttachmentRow};
use whorl_store::{StoreError, horses};

use crate::access;
use crate::caller::Caller;
use crate::problem::{Kind, Problem};
use crate::state::State;

/// What the bytes are by how they begin; `None` for anything that isn't taken.
fn sniffed(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [0xff, 0xd8, 0xff, ..] => Some("image/jpeg"),
        [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, ..] => Some("image/png"),
        [
            b'R',
            b'I',
            b'F',
            b'F',
            _,
            _,
            _,
            _,
            b'W',
            b'E',
            b'B',
            b'P',
            ..,
        ] => Some("image/webp"),
        [b'%', b'P', b'D', b'F', b'-', ..] => Some("application/pdf"),
        _ => None,
    }
}

fn hex(hash: &Hash) -> String {
    hash.0
        .iter()
        .fold(String::with_capacity(64), |mut text, byte| {
            // Writing to a string can't fail.
            let _ = write!(text, "{byte:02x}");
            text
        })
}

fn view(row: &AttachmentRow) -> Attachment {
    Attachment {
        sha256: row.sha256.clone(),
        media_type: row.media_type.clone(),
        bytes: u64::try_from(row.bytes).unwrap_or(0),
        uploaded_by: row.uploaded_by,
        created_at: row.created_at.and_utc(),
    }
}

/// Brings a photo or document of a horse: JPEG, PNG, WebP or PDF, at most 16 MiB. Bringing it again changes nothing.
#[utoipa::path(
    tag = "horses",
    params(("horse" = HorseId, Path, description = "The horse")),
    request_body(content((Vec<u8> = "image/jpeg"), (Vec<u8> = "image/png"), (Vec<u8> = "image/webp"), (Vec<u8> = "application/pdf"))),
    responses(
        (status = 201, description = "The attachment; name it from an event by its hash", body = Attachment),
        (status = 200, description = "It was there before", body = Attachment),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[post("/v1/horses/{horse}/attachments")]
pub(crate) async fn add_attachment(
    state: Data<State>,
    caller: Caller,
    horse: Path<HorseId>,
    request: HttpRequest,
    body: Payload,
) -> Result<HttpResponse, Problem> {
    let claimed = request
        .headers()
        .get(CONTENT_TYPE)
        .and_then(|value| value.to_str().ok())
        .unwrap_or("");
    let claimed = claimed
        .split(';')
        .next()
        .unwrap_or("")
        .trim()
        .to_ascii_lowercase();
    if !MEDIA_TYPES.contains(&claimed.as_str()) {
        return Err(Problem::new(
            Kind::UnsupportedMediaType,
            format!("send one of {}", MEDIA_TYPES.join(", ")),
        ));
    }
    let body = body
        .to_bytes_limited(LARGEST)
        .await
        .map_err(|_| Problem::new(Kind::TooLarge, format!("at most {LARGEST} bytes")))?
        .map_err(|error| Problem::new(Kind::Malformed, error.to_string()))?;
    if sniffed(&body) != Some(claimed.as_str()) {
        return Err(Problem::new(
            Kind::UnsupportedMediaType,
            format!("the bytes are no {claimed}"),
        ));
    }
    let now = state.clock.now();
    let row = AttachmentRow {
        horse_id: *horse,
        sha256: hex(&Hash::of(&[&body])),
        media_type: claimed,
        bytes: i64::try_from(body.len()).unwrap_or(i64::MAX),
        uploaded_by: caller.account,
        created_at: now.naive_utc(),
        body: body.to_vec(),
    };
    let (added, row) = state
        .write(move |db| {
            let horse = horses::get(db, row.horse_id)?;
            let access = access::of_horse(db, caller.account, &horse, now)?;
            if !access.is_anything() {
                return Err(Problem::not_found());
            }
            if access.roles().is_empty() {
                return Err(Problem::new(
                    Kind::Forbidden,
                    "you may only read this horse's record",
                ));
            }
            let key = (row.horse_id, row.sha256.clone());
            let added = attachments::add(db, row)?;
            Ok((added, attachments::get(db, key.0, &key.1)?))
        })
        .await?;
    let mut answer = if added {
        HttpResponse::Created()
    } else {
        HttpResponse::Ok()
    };
    Ok(answer.json(view(&row)))
}

/// Gives an attachment's bytes. Neither a grant that is limited to some kinds nor a seller's sight reaches attachments.
#[utoipa::path(
    tag = "horses",
    params(
        ("horse" = HorseId, Path, description = "The horse"),
        ("sha256" = String, Path, description = "The hash of its bytes, in hexadecimal"),
    ),
    responses(
        (status = 200, description = "The bytes", content(
            (Vec<u8> = "image/jpeg"), (Vec<u8> = "image/png"), (Vec<u8> = "image/webp"), (Vec<u8> = "application/pdf"),
        )),
        (status = "4XX", description = "The request was refused", body = ProblemDocument,
         content_type = "application/problem+json"),
    ),
)]
#[get("/v1/horses/{horse}/attachments/{sha256}")]
pub(crate) async fn get_attachment(
    state: Data<State>,
    caller: Caller,
    path: Path<(HorseId, String)>,
) -> Result<HttpResponse, Problem> {
    let now = state.clock.now();
    let row = state
        .read(move |db| {
            let horse = horses::get(db, path.0)?;
            let access = access::of_horse(db, caller.account, &horse, now)?;
            // Which event names a photo is in sealed content; whoever may not read all of it may not browse its photos.
            if access.roles().is_empty() || access.is_limited() {
                return Err(StoreError::NotFound);
            }
            attachments::get(db, horse.id, &path.1)
        })
        .await?;
    Ok(HttpResponse::Ok()
        .content_type(row.media_type)
        .insert_header((ETAG, format!("\"{}\"", row.sha256)))
        .insert_header((CACHE_CONTROL, "private, max-age=31536000, immutable"))
        .insert_header((CONTENT_DISPOSITION, "attachment"))
        .insert_header(("X-Content-Type-Options", "nosniff"))
        .body(row.body))
}
